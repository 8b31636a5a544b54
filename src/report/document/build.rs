//! Answers as documents.

use super::{Block, Document, Grid, SetLine, SourceLine};
use crate::dispersion::Drude;
use crate::library::{KeptCheck, LibraryError};
use crate::notation::Style;
use crate::quantity::{Printed, SpecificRotation};
use crate::report::number;
use crate::report::result as rows;
use crate::report::svg::{self, Dot, Place};
use crate::solvent::Solvent;
use crate::tasks::check::{CheckResult, ReferenceShown};
use crate::tasks::dispersion::{DispersionResult, medium};
use crate::tasks::measured::Measured;
use crate::tasks::report::{CheckReport, Input, MeasurementReport, Provenance};

/// What stands at the end of every report.
const CARE: &str = "The answer is about the rotation alone: it cannot prove what is in the flask. Follow the safety data \
                    sheet, local rules and the official texts in force.";
/// The label of the line for the experimental part of a paper.
const IN_PRINT: &str = "For the experimental part";
/// Most readings that are printed.
const MOST_READINGS: usize = 200;

/// The report of a check. `given` is what was measured, for the journal line.
pub fn of_check(report: &CheckReport, given: Option<&Measured>, typed: Option<Printed>, made_on: &str) -> Document {
    let result = &report.result;
    let journal = given.map(|given| {
        let line = |style| rows::journal(given, typed, result, style);
        Block::Line {
            label: IN_PRINT.to_owned(),
            text: line(Style::Plain),
            // A solvent by a name of its own is free text, which the writer of statements leaves as it is.
            set: (!matches!(given.solvent, Some(Solvent::Other(_)))).then(|| SetLine {
                html: line(Style::Html),
                markdown: line(Style::Markdown),
                latex: line(Style::Latex),
            }),
        }
    });
    Document {
        title: result.compound.name.clone(),
        kind: "Check of a measured optical rotation".to_owned(),
        made_on: made_on.to_owned(),
        blocks: check_blocks(report, journal),
        provenance: provenance(&report.provenance),
    }
}

fn heading(text: &str) -> Block {
    Block::Heading { text: text.to_owned() }
}

fn provenance(provenance: &Provenance) -> Vec<(String, String)> {
    let mut lines = vec![("Program".to_owned(), format!("biot {}", provenance.version))];
    if provenance.library_changes > 0 {
        lines.push((
            "Library".to_owned(),
            format!(
                "after change {}, state {}",
                provenance.library_changes, provenance.library_state
            ),
        ));
    }
    let inputs: Vec<String> = provenance.inputs.iter().map(input).collect();
    lines.push(("Inputs".to_owned(), inputs.join("; ")));
    lines.push((
        "Digest".to_owned(),
        format!("{} (SHA-256 over all of the above and the answer)", provenance.digest),
    ));
    lines
}

fn input(input: &Input) -> String {
    if input.value.is_empty() {
        input.name.clone()
    } else {
        format!("{} {}", input.name, input.value)
    }
}

fn owned(pairs: Vec<(&'static str, String)>) -> Vec<(String, String)> {
    pairs.into_iter().map(|(name, text)| (name.to_owned(), text)).collect()
}

/// A kept check as it was written then, with a remark where the library has changed since.
///
/// # Errors
/// `Stored` when what is kept cannot be read.
pub fn of_kept(kept: &KeptCheck, changes_since: u64) -> Result<Document, LibraryError> {
    let mut document: Document =
        serde_json::from_value(kept.content["document"].clone()).map_err(|error| LibraryError::Stored {
            what: "report",
            value: error.to_string(),
        })?;
    document.provenance.insert(
        0,
        (
            "Kept".to_owned(),
            format!("\"{}\", {} by {}", kept.name, kept.at, kept.who),
        ),
    );
    if !kept.is_intact {
        document.remark(
            "This record was changed outside the program after it was kept, so it is not the answer that was given then. Do \
             not rely on it: take it from a backup made before, or check again under a new name. biot history --verify looks \
             for other such records."
                .to_owned(),
        );
    }
    if changes_since > 0 {
        document.remark(format!(
            "This is the check as it was answered when it was kept. The library has changed since ({changes_since} \
             change{}): asked today, the answer may differ.",
            if changes_since == 1 { "" } else { "s" }
        ));
    }
    Ok(document)
}

/// What was said of sample and operator.
fn labels(provenance: &Provenance) -> impl Iterator<Item = (String, String)> {
    [("sample", "Sample"), ("operator", "Measured by"), ("note", "Note")]
        .into_iter()
        .filter_map(|(name, label)| {
            let input = provenance.inputs.iter().find(|input| input.name == name)?;
            Some((label.to_owned(), input.value.clone()))
        })
}

fn check_blocks(report: &CheckReport, journal: Option<Block>) -> Vec<Block> {
    let result = &report.result;
    let mut facts: Vec<(String, String)> = labels(&report.provenance).collect();
    facts.extend(owned(rows::facts(result)));
    facts.extend((result.compound.inchikey.as_ref()).map(|key| ("InChIKey".to_owned(), key.clone())));
    let mut blocks = vec![
        Block::Verdict {
            code: result.verdict.code.as_str().to_owned(),
            tone: rows::tone(result.verdict.code).to_owned(),
            sentence: result.verdict.sentence.clone(),
        },
        Block::Facts { rows: facts },
    ];
    let bars = rows::bars(result);
    let title = rows::bars_title(result);
    let mut numbers = Grid::new("The numbers of the drawing", &["row", "#value", "#95 % from", "#to"]);
    numbers.rows = bars.iter().map(rows::bar_row).collect();
    blocks.push(Block::Figure {
        svg: svg::number_line("number-line", &title, &rows::bars_axis(), &bars),
        title,
        table: numbers,
    });
    blocks.extend(journal);
    if !result.references.is_empty() {
        blocks.push(heading("Measured and published values"));
        blocks.push(Block::Table {
            table: literature(report),
            supporting: true,
        });
        blocks.push(Block::Sources {
            items: report
                .sources
                .iter()
                .map(|source| SourceLine {
                    citation: source.citation.clone(),
                    doi: source.doi.clone(),
                    entries: source
                        .entries
                        .iter()
                        .map(|entry| format!("#{entry}"))
                        .collect::<Vec<_>>()
                        .join(", "),
                })
                .collect(),
        });
        blocks.push(heading("Weights, and how the references differ"));
        blocks.push(Block::Table {
            table: differences(result),
            supporting: false,
        });
    }
    blocks.extend(explanations(result));
    blocks.push(heading("Uncertainty of the measurement"));
    let mut budget = Grid::new(
        "Where the uncertainty comes from",
        &["input", "standard uncertainty", "#share of the variance"],
    );
    budget.rows = rows::budget_rows(result);
    blocks.push(Block::Table {
        table: budget,
        supporting: false,
    });
    blocks.push(Block::Paragraph { text: CARE.to_owned() });
    blocks
}

/// Causes, meanings and cautions.
fn explanations(result: &CheckResult) -> Vec<Block> {
    let mut blocks = Vec::new();
    let causes = rows::causes(result);
    if !causes.is_empty() {
        blocks.push(heading("What may explain it"));
        let told = |(sentence, tell): &(String, String)| format!("{sentence} To tell: {tell}.");
        blocks.push(Block::Points {
            items: causes
                .iter()
                .map(|cause| match cause.members.as_slice() {
                    [one] => format!("{}: {}", cause.share, told(one)),
                    many => format!(
                        "{}: one of these, which this value alone cannot tell apart. {}",
                        cause.share,
                        many.iter().map(told).collect::<Vec<_>>().join(" Or: ")
                    ),
                })
                .collect(),
        });
    }
    let meanings: Vec<String> = (result.excess_check.iter().flat_map(|excess| &excess.meanings))
        .map(|meaning| format!("{} To tell: {}", meaning.sentence, meaning.how_to_tell))
        .collect();
    if !meanings.is_empty() {
        blocks.push(heading("What the difference between rotation and ee can mean"));
        blocks.push(Block::Points { items: meanings });
    }
    if !result.cautions.is_empty() {
        blocks.push(heading("Bear in mind"));
        blocks.push(Block::Points {
            items: result.cautions.clone(),
        });
    }
    blocks
}

/// The comparison with the literature: this work first, then every reference, with the number of its source.
fn literature(report: &CheckReport) -> Grid {
    let result = &report.result;
    let name = &result.compound.name;
    let mut grid = Grid::new(
        &format!("Specific rotation of {name}, measured and published"),
        &[
            "",
            "#[α] / deg mL g⁻¹ dm⁻¹",
            "λ",
            "#T / °C",
            "#c / g per 100 mL",
            "solvent",
            "source",
        ],
    );
    let measured = &result.measured;
    let conditions = &measured.conditions;
    let row = |label: String, value: String, of: &crate::tasks::check::ConditionsShown, source: String| {
        let given = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), short);
        let mut solvent = of.solvent.clone().unwrap_or_else(|| "–".to_owned());
        for more in [&of.form, &of.stage, &of.basis].into_iter().flatten() {
            solvent = format!("{solvent}, {more}");
        }
        vec![
            label,
            value,
            of.line.clone().map_or_else(|| "–".to_owned(), light),
            given(of.temperature_c),
            given(of.conc_g_per_100ml),
            solvent,
            source,
        ]
    };
    grid.rows.push(row(
        "this work".to_owned(),
        number::signed_with_uncertainty(measured.value, measured.standard_uncertainty),
        conditions,
        String::new(),
    ));
    for reference in &result.references {
        let source = (report.sources.iter()).position(|source| source.entries.contains(&reference.entry));
        grid.rows.push(row(
            format!("lit. #{}{}", reference.entry, if reference.used { "" } else { " †" }),
            published(reference),
            &reference.conditions,
            source.map_or_else(String::new, |at| format!("[{}]", at + 1)),
        ));
    }
    grid
}

fn published(reference: &ReferenceShown) -> String {
    let value = reference.value.map_or_else(
        || reference.as_printed.clone(),
        |value| number::signed(value, if (value * 10.0).fract().abs() < 1e-9 { 1 } else { 2 }),
    );
    if reference.mirror_image {
        format!("{value} (mirror image)")
    } else {
        value
    }
}

fn light(line: String) -> String {
    if line.parse::<f64>().is_ok() {
        format!("{line} nm")
    } else {
        line
    }
}

/// A number in at most four significant digits.
fn short(value: f64) -> String {
    let decimals = (3.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0);
    let factor = 10f64.powf(decimals);
    format!("{}", (value * factor).round() / factor).replace('-', "\u{2212}")
}

fn differences(result: &CheckResult) -> Grid {
    let mut grid = Grid::new(
        "Each reference, its share in the pooled value, and what a difference in a condition may do to it (standard \
         deviation); = is the same, ? is not known",
        &["entry", "#weight"],
    );
    let references: Vec<rows::ReferenceRow> = result.references.iter().map(rows::reference_row).collect();
    // An aspect in which nothing differs has no column.
    let told: Vec<usize> = (0..rows::ASPECTS.len())
        .filter(|&at| {
            references
                .iter()
                .any(|row| !matches!(row.cells[at].words.as_str(), "" | "="))
        })
        .collect();
    for &at in &told {
        grid.columns.push(super::Head {
            text: rows::ASPECTS[at].1.to_owned(),
            number: false,
        });
    }
    let has_notes = references.iter().any(|row| !row.note.is_empty());
    if has_notes {
        grid.columns.push(super::Head {
            text: "note".to_owned(),
            number: false,
        });
    }
    for row in references {
        let mut cells = vec![format!("#{}", row.entry), row.weight.clone()];
        cells.extend(told.iter().map(|&at| row.cells[at].words.clone()));
        cells.extend(has_notes.then_some(row.note));
        grid.rows.push(cells);
    }
    grid
}

/// The report of a kept measurement.
pub fn of_measurement(report: &MeasurementReport, made_on: &str) -> Document {
    let shown = &report.measurement;
    let it = &shown.listed;
    let mut facts: Vec<(String, String)> = labels(&report.provenance).collect();
    let mut fact = |name: &str, text: Option<String>| {
        if let Some(text) = text.filter(|text| !text.is_empty()) {
            facts.push((name.to_owned(), text));
        }
    };
    fact(
        "Measured",
        Some(format!(
            "{} {}",
            number::signed_with_uncertainty(it.value, it.standard_uncertainty),
            rows::UNIT
        )),
    );
    fact("Compound", it.compound.clone());
    fact("Instrument", it.instrument.clone());
    fact("Cell", it.cell.clone());
    fact("Read by", Some(format!("{}, kept {}", it.operator, it.at)));
    fact("Supersedes", it.supersedes.map(|old| format!("measurement {old}")));
    let mut blocks = vec![Block::Facts { rows: facts }];
    blocks.extend(it.journal.as_ref().map(|line| Block::Line {
        label: IN_PRINT.to_owned(),
        text: line.clone(),
        set: None,
    }));
    if let Some(by) = it.superseded_by {
        blocks.insert(
            0,
            Block::Paragraph {
                text: format!("This measurement is superseded by measurement {by}."),
            },
        );
    }
    let flags: Vec<String> = (shown.result["flags"].as_array().into_iter().flatten())
        .map(|flag| {
            let word = |name: &str| flag[name].as_str().unwrap_or_default();
            format!("{} ({}): {}", word("severity"), word("code"), word("sentence"))
        })
        .collect();
    if !flags.is_empty() {
        blocks.push(heading("Quality of the readings"));
        blocks.push(Block::Points { items: flags });
    }
    if let Some(check) = &report.check {
        blocks.push(heading("Check against published values"));
        let mut parts = check_blocks(check, None);
        // The caution stands at the end of the whole.
        parts.pop();
        blocks.extend(parts);
    }
    blocks.push(heading("Readings"));
    blocks.push(readings(report));
    blocks.push(Block::Paragraph { text: CARE.to_owned() });
    Document {
        title: format!("Measurement {}: {}", it.measurement, it.sample),
        kind: "Measurement of an optical rotation".to_owned(),
        made_on: made_on.to_owned(),
        blocks,
        provenance: provenance(&report.provenance),
    }
}

fn readings(report: &MeasurementReport) -> Block {
    let all = &report.measurement.readings;
    let caption = if all.len() > MOST_READINGS {
        format!(
            "The first {MOST_READINGS} of {} readings; biot measurements --json has all",
            all.len()
        )
    } else {
        format!("{} readings", all.len())
    };
    let mut table = Grid::new(
        &caption,
        &[
            "#row",
            "role",
            "#α / °",
            "#t / s",
            "#T / °C",
            "#λ / nm",
            "#cell / mm",
            "operator",
        ],
    );
    let plain = |value: Option<f64>| value.map(short_or_exact).unwrap_or_default();
    table.rows = (all.iter().take(MOST_READINGS))
        .map(|reading| {
            vec![
                reading.line.to_string(),
                reading.role.as_str().to_owned(),
                number::signed(reading.angle_deg, 4),
                plain(reading.time_s),
                plain(reading.temperature_c),
                plain(reading.wavelength_nm),
                plain(reading.cell_mm),
                reading.operator.clone().unwrap_or_default(),
            ]
        })
        .collect();
    Block::Table {
        table,
        supporting: false,
    }
}

/// A number as it was read.
fn short_or_exact(value: f64) -> String {
    format!("{value}").replace('-', "\u{2212}")
}

/// The report of a dispersion table.
pub fn of_dispersion(title: &str, made: &DispersionResult, from: &Provenance, made_on: &str) -> Document {
    let found = &made.dispersion;
    let mut blocks = Vec::new();
    let mut facts: Vec<(String, String)> = labels(from).collect();
    facts.extend(law_facts(made));
    if !made.entries.is_empty() {
        let entries: Vec<String> = made.entries.iter().map(|entry| format!("#{entry}")).collect();
        facts.push(("Entries".to_owned(), entries.join(", ")));
    }
    blocks.push(Block::Facts { rows: facts });
    let unit = made.unit.clone().unwrap_or_else(|| rows::UNIT.to_owned());
    let mut table = Grid::new(
        &format!("Rotation of {title} against wavelength"),
        &["#λ / nm", "medium", &format!("#[α] / {unit}"), "#u", "#less the law"],
    );
    let residuals = found.law().map(Drude::residuals);
    for (at, point) in found.points.iter().enumerate() {
        let value = point.rotation.conventional();
        let u = point.uncertainty.map(SpecificRotation::conventional);
        table.rows.push(vec![
            number::number(point.wavelength.nanometres(), 1),
            medium(point.wavelength).to_owned(),
            short_signed(value),
            u.map(short).unwrap_or_default(),
            residuals.map(|all| short_signed(all[at])).unwrap_or_default(),
        ]);
    }
    let dots: Vec<Dot> = (found.points.iter())
        .map(|point| Dot {
            place: Place::At(point.wavelength.nanometres()),
            value: point.rotation.conventional(),
            label: format!(
                "{} nm: {}",
                number::number(point.wavelength.nanometres(), 1),
                short_signed(point.rotation.conventional())
            ),
            mirror: false,
            counts: true,
        })
        .collect();
    let figure = format!("Rotation of {title} against wavelength");
    blocks.push(Block::Figure {
        svg: svg::points("dispersion", &figure, "λ / nm", &format!("[α] / {unit}"), &dots),
        title: figure,
        table: Grid::default(),
    });
    blocks.push(Block::Table {
        table,
        supporting: true,
    });
    blocks.extend(predictions(made, &unit));
    if !found.flags.is_empty() {
        blocks.push(heading("To know"));
        blocks.push(Block::Points {
            items: found.flags.iter().map(|flag| flag.sentence.clone()).collect(),
        });
    }
    let mut left_out: Vec<String> = (made.left_out.iter())
        .map(|(entry, why)| format!("Entry #{entry}: {why}"))
        .collect();
    left_out.extend(
        made.refused
            .iter()
            .map(|row| format!("Row {}: {}", row.line, row.reason)),
    );
    if !left_out.is_empty() {
        blocks.push(heading("Left out"));
        blocks.push(Block::Points { items: left_out });
    }
    Document {
        title: title.to_owned(),
        kind: "Optical rotatory dispersion".to_owned(),
        made_on: made_on.to_owned(),
        blocks,
        provenance: provenance(from),
    }
}

fn law_facts(made: &DispersionResult) -> Vec<(String, String)> {
    let found = &made.dispersion;
    let Some(law) = found.law() else {
        return vec![("Law".to_owned(), "none could be fitted".to_owned())];
    };
    let mut facts = vec![(
        "Law".to_owned(),
        format!(
            "[α] = Σ A/(λ² − λ0²) with {} term{}, λ in vacuum",
            law.terms.len(),
            if law.terms.len() == 1 { "" } else { "s" }
        ),
    )];
    for (at, term) in law.terms.iter().enumerate() {
        let strength = number::signed_with_uncertainty(term.strength, term.strength_uncertainty);
        let band = if term.band_square < 0.0 {
            format!("a smooth background, λ0² {} µm²", number::number(term.band_square, 3))
        } else {
            format!(
                "λ0 {} nm",
                number::with_uncertainty(term.band_nm, term.band_uncertainty)
            )
        };
        facts.push((
            format!("Term {}", at + 1),
            format!("A {strength} (value × µm²), {band}"),
        ));
    }
    facts
}

fn predictions(made: &DispersionResult, unit: &str) -> Option<Block> {
    if made.predicted.is_empty() {
        return None;
    }
    let mut table = Grid::new(
        "At other lines, by the law",
        &["#λ / nm in air", &format!("#[α] / {unit}"), "note"],
    );
    table.rows = (made.predicted.iter())
        .map(|(at, predicted)| {
            let nm = number::number(at.to_air().nanometres(), 1);
            match predicted {
                Ok(found) => vec![
                    nm,
                    number::signed_with_uncertainty(found.rotation.conventional(), found.uncertainty.conventional()),
                    if found.extrapolated { "outside the data" } else { "" }.to_owned(),
                ],
                Err(error) => vec![nm, "–".to_owned(), error.to_string()],
            }
        })
        .collect();
    Some(Block::Table {
        table,
        supporting: true,
    })
}

fn short_signed(value: f64) -> String {
    let text = short(value);
    if value > 0.0 { format!("+{text}") } else { text }
}
