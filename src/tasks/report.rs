//! What a written report holds beside the answer: where it comes from, so that it can be made again, and a digest over
//! all of it; and checks that are kept with their report.

use crate::compare::MethodExcess;
use crate::library::{Change, CompoundId, EntryId, KeptCheck, Library, LibraryError, NewCheck, Source};
use crate::tasks::check::{CheckRequest, CheckResult, CheckSettings, check};
use crate::tasks::dispersion::{DispersionError, DispersionResult};
use crate::tasks::measured::Measured;
use crate::tasks::measurements::{self, ShownMeasurement};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// The version of the program.
pub const VERSION: &str = env!("CARGO_PKG_VERSION");

/// One thing that was given: an option and its value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Input {
    /// The option's name without dashes; `compound` for the compound.
    pub name: String,
    /// Its value with its unit; empty where the option takes none.
    pub value: String,
}

impl Input {
    /// An input.
    pub fn new(name: &str, value: &(impl ToString + ?Sized)) -> Self {
        Self {
            name: name.to_owned(),
            value: value.to_string(),
        }
    }
}

/// Who and what a report is for: it is printed, and is part of the digest.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Labels {
    /// The sample.
    pub sample: Option<String>,
    /// Who measured.
    pub operator: Option<String>,
    /// A note.
    pub note: Option<String>,
}

impl Labels {
    fn inputs(&self) -> impl Iterator<Item = Input> {
        [
            ("sample", &self.sample),
            ("operator", &self.operator),
            ("note", &self.note),
        ]
        .into_iter()
        .filter_map(|(name, text)| Some(Input::new(name, text.as_deref()?)))
    }
}

/// Where an answer comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Provenance {
    /// The program's version.
    pub version: &'static str,
    /// Changes of the library so far; the state of the library is that after the last of them. 0 where none was asked.
    pub library_changes: u64,
    /// The hash of the newest line of its history, which stands for all lines before it; SHA-256, hexadecimal.
    pub library_state: String,
    /// What was given.
    pub inputs: Vec<Input>,
    /// SHA-256 over version, state of the library, inputs and answer, hexadecimal.
    pub digest: String,
}

impl Provenance {
    /// The provenance of an answer in the present state of the library.
    ///
    /// # Errors
    /// When the library fails, or the answer cannot be written as JSON.
    pub fn of(library: Option<&Library>, inputs: Vec<Input>, answer: &impl Serialize) -> Result<Self, LibraryError> {
        let head = library.map(Library::history_head).transpose()?.flatten();
        let (library_changes, library_state) = head.map_or((0, String::new()), |head| (head.n_lines, head.digest));
        let text = serde_json::to_string(&(VERSION, library_changes, &library_state, &inputs, answer))
            .map_err(|error| LibraryError::Refused(format!("the answer cannot be written: {error}")))?;
        Ok(Self {
            version: VERSION,
            library_changes,
            library_state,
            inputs,
            digest: sha256(&text),
        })
    }
}

/// SHA-256 of a text, hexadecimal.
fn sha256(text: &str) -> String {
    let digest = Sha256::digest(text.as_bytes());
    digest.iter().fold(String::with_capacity(64), |mut hex, byte| {
        // Writing to a string cannot fail.
        let _ = write!(hex, "{byte:02x}");
        hex
    })
}

/// A check with its sources and where it comes from.
#[derive(Clone, Debug, Serialize)]
pub struct CheckReport {
    /// Where it comes from.
    pub provenance: Provenance,
    /// The answer.
    pub result: CheckResult,
    /// The sources of its references, in the order in which they appear.
    pub sources: Vec<CitedSource>,
}

/// A source and its entries in a report.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct CitedSource {
    /// Citation.
    pub citation: String,
    /// DOI without resolver.
    pub doi: Option<String>,
    /// The entries from it.
    pub entries: Vec<i64>,
}

/// What is checked for a report.
#[derive(Clone, Debug)]
pub struct CheckQuestion {
    /// The request.
    pub request: CheckRequest,
    /// The settings.
    pub settings: CheckSettings,
    /// What was measured, as it was given; none for a kept measurement.
    pub given: Option<Measured>,
    /// The kept measurement.
    pub measurement: Option<i64>,
    /// The stage of mutarotation, as typed.
    pub stage: Option<String>,
    /// Who and what it is for.
    pub labels: Labels,
}

/// The sources of references, in the order in which they appear.
///
/// # Errors
/// When the library fails.
pub fn sources_of(library: &Library, result: &CheckResult) -> Result<Vec<(Source, Vec<i64>)>, LibraryError> {
    let mut sources: Vec<(Source, Vec<i64>)> = Vec::new();
    for reference in &result.references {
        let source = library.entry(EntryId(reference.entry))?.source;
        match sources.iter_mut().find(|(known, _)| known.id == source) {
            Some((_, entries)) => entries.push(reference.entry),
            None => sources.push((library.source(source)?, vec![reference.entry])),
        }
    }
    Ok(sources)
}

/// Checks and tells where the answer comes from, on one state of the library.
///
/// # Errors
/// When the library fails.
pub fn of_check(library: &Library, question: &CheckQuestion) -> Result<CheckReport, LibraryError> {
    library.in_snapshot(|library| {
        let mut result = check(library, &question.request, &question.settings)?;
        if let Some(id) = question.measurement {
            result.cautions.extend(measurements::cautions(library, id)?);
        }
        let sources = sources_of(library, &result)?;
        Ok(CheckReport {
            provenance: Provenance::of(Some(library), check_inputs(question, &result), &result)?,
            sources: sources.into_iter().map(cited).collect(),
            result,
        })
    })
}

fn cited((source, entries): (Source, Vec<i64>)) -> CitedSource {
    CitedSource {
        citation: source.citation,
        doi: source.doi,
        entries,
    }
}

fn check_inputs(question: &CheckQuestion, result: &CheckResult) -> Vec<Input> {
    let request = &question.request;
    let name = result.compound.name.trim_start_matches("mirror image of ");
    let key = result.compound.inchikey.as_ref();
    let mut inputs = vec![Input::new("compound", name)];
    inputs.extend(key.map(|key| Input::new("inchikey", key)));
    inputs.extend(question.measurement.map(|id| Input::new("measurement", &id)));
    if let Some(given) = &question.given {
        inputs.extend(measured_inputs(given));
    }
    inputs.extend((request.blank).map(|blank| Input::new("blank", &format!("{} deg", twelve_digits(blank.degrees())))));
    inputs.extend(question.stage.as_ref().map(|stage| Input::new("stage", stage)));
    inputs.extend(
        (request.conditions.basis.as_ref())
            .filter(|_| question.measurement.is_none())
            .map(|basis| Input::new("basis", basis)),
    );
    if request.mirror_image {
        inputs.push(Input::new("mirror-image", ""));
    }
    inputs.extend(request.form.as_ref().map(|form| Input::new("form", form)));
    let percent = |ratio: f64| format!("{} %", twelve_digits(100.0 * ratio));
    match request.excess {
        None => {}
        Some(MethodExcess::Value { ratio, sd }) => {
            inputs.push(Input::new("ee", &percent(ratio)));
            inputs.push(Input::new("ee-uncertainty", &percent(sd)));
        }
        Some(MethodExcess::AtLeast(bound)) => inputs.push(Input::new("ee", &format!(">{}", percent(bound)))),
    }
    let standard = CheckSettings::default();
    if question.settings.options != standard.options {
        let factor = question.settings.options.draft_variance_factor;
        inputs.push(Input::new("draft-variance", &factor));
    }
    if question.settings.effects != standard.effects {
        let table = sha256(&format!("{:?}", question.settings.effects));
        inputs.push(Input::new("effects", &format!("a table of its own, {}", &table[..16])));
    }
    inputs.extend(question.labels.inputs());
    inputs
}

/// What was measured, option by option, each with its unit.
fn measured_inputs(given: &Measured) -> Vec<Input> {
    let unit = |value: f64, unit: &str| format!("{} {unit}", twelve_digits(value));
    [
        ("value", given.value.map(|it| it.to_string())),
        ("angle", given.angle.map(|it| unit(it.degrees(), "deg"))),
        ("uncertainty", given.uncertainty.map(|it| it.to_string())),
        ("cell", given.cell.map(|it| unit(it.millimetres(), "mm"))),
        ("conc", given.conc.map(|it| it.to_string())),
        ("mass", given.mass.map(|it| unit(it.grams(), "g"))),
        ("volume", given.volume.map(|it| unit(it.millilitres(), "mL"))),
        (
            "density",
            given.density.map(|it| unit(it.grams_per_millilitre(), "g/mL")),
        ),
        ("solvent", given.solvent.as_ref().map(ToString::to_string)),
        ("temp", given.temperature.map(|it| unit(it.celsius(), "°C"))),
        ("line", given.line.as_ref().map(ToString::to_string)),
    ]
    .into_iter()
    .filter_map(|(name, text)| Some(Input::new(name, &text?)))
    .collect()
}

/// A number without what conversion between units added behind its twelfth digit.
fn twelve_digits(value: f64) -> f64 {
    format!("{value:.11e}").parse().unwrap_or(value)
}

/// A kept measurement and where it comes from.
#[derive(Clone, Debug, Serialize)]
pub struct MeasurementReport {
    /// Where it comes from.
    pub provenance: Provenance,
    /// The measurement.
    pub measurement: ShownMeasurement,
    /// What to bear in mind of the measurement itself.
    pub cautions: Vec<String>,
    /// What the library says to it, where a compound is known.
    pub check: Option<CheckReport>,
}

/// A kept measurement, with a check where one is asked for.
///
/// # Errors
/// `Unknown` when there is no such measurement.
pub fn of_measurement(
    library: &Library,
    id: i64,
    question: Option<&CheckQuestion>,
    labels: &Labels,
) -> Result<MeasurementReport, LibraryError> {
    let measurement = measurements::show(library, id)?;
    let check = question.map(|question| of_check(library, question)).transpose()?;
    let mut inputs = match &check {
        Some(check) => check.provenance.inputs.clone(),
        None => vec![Input::new("measurement", &id)],
    };
    inputs.extend(labels.inputs());
    let answer = (&measurement, check.as_ref().map(|check| &check.result));
    Ok(MeasurementReport {
        provenance: Provenance::of(Some(library), inputs, &answer)?,
        cautions: measurements::cautions(library, id)?,
        measurement,
        check,
    })
}

/// The provenance of a dispersion table: `made` by [`crate::tasks::dispersion`], `shown` its document.
///
/// # Errors
/// When the library fails.
pub fn of_dispersion(
    library: Option<&Library>,
    what: &str,
    solvent: Option<&str>,
    made: &DispersionResult,
    shown: &impl Serialize,
    labels: &Labels,
) -> Result<Provenance, DispersionError> {
    let mut inputs = vec![Input::new("dispersion", what)];
    inputs.extend(solvent.map(|solvent| Input::new("solvent", solvent)));
    inputs.extend(made.predicted.iter().map(|(at, _)| {
        let nm = twelve_digits(at.to_air().nanometres());
        Input::new("at", &format!("{nm} nm"))
    }));
    inputs.extend(labels.inputs());
    Ok(Provenance::of(library, inputs, shown)?)
}

/// Keeps a check with its report, which is printed later as it was written now.
///
/// # Errors
/// `Refused` when the name is taken.
pub fn keep(
    library: &mut Library,
    name: &str,
    report: &CheckReport,
    document: &impl Serialize,
    change: &Change,
) -> Result<KeptCheck, LibraryError> {
    let json = |value: Result<serde_json::Value, serde_json::Error>| {
        value.map_err(|error| LibraryError::Refused(format!("the check cannot be written: {error}")))
    };
    let new = NewCheck {
        name: name.to_owned(),
        compound: CompoundId(report.result.compound.id),
        digest: report.provenance.digest.clone(),
        content: serde_json::json!({
            "report": json(serde_json::to_value(report))?,
            "document": json(serde_json::to_value(document))?,
        }),
    };
    library.keep_check(&new, change)?;
    library.kept_check(name)
}

/// How a kept check is listed.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ListedCheck {
    /// Its name.
    pub name: String,
    /// When it was kept, RFC 3339 in UTC.
    pub at: String,
    /// Who kept it.
    pub who: String,
    /// The compound.
    pub compound: String,
    /// The verdict as it was answered.
    pub verdict: String,
    /// The digest that its report prints.
    pub digest: String,
}

/// The kept checks, newest first.
///
/// # Errors
/// When the library fails.
pub fn list(library: &Library, most: u32) -> Result<Vec<ListedCheck>, LibraryError> {
    library
        .kept_checks(most)?
        .into_iter()
        .map(|kept| {
            let result = &kept.content["report"]["result"];
            let word = |value: &serde_json::Value| value.as_str().unwrap_or_default().to_owned();
            Ok(ListedCheck {
                verdict: word(&result["verdict"]["code"]),
                compound: word(&result["compound"]["name"]),
                name: kept.name,
                at: kept.at,
                who: kept.who,
                digest: kept.digest,
            })
        })
        .collect()
}

/// Whether the library has changed since a check was kept, other than by keeping it.
///
/// # Errors
/// When the library fails.
pub fn changes_since(library: &Library, kept: &KeptCheck) -> Result<u64, LibraryError> {
    let then = kept.content["report"]["provenance"]["library_changes"]
        .as_u64()
        .unwrap_or(0);
    let now = library.history_head()?.map_or(0, |head| head.n_lines);
    Ok(now.saturating_sub(then + 1))
}
