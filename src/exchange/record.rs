//! From a row of cells to what the library holds: the compound as given, the source, the statement. Or the reason why not,
//! with the column.
//!
//! Nothing is filled in that the row, its heading or the user's options do not say. A cell that cannot be read refuses the
//! row; what can be read in two ways is read in one and leaves a doubt. Start reading at [`Maker::record`].

mod measured;

pub use measured::MeasuredRow;

use super::cell::unguard_cell;
use super::cell_in;
use super::field::Field;
use super::mapping::{Assigned, Assignment};
use super::references::{self, References};
use super::rows::Row;
use crate::compound::{CasError, CasNumber, name};
use crate::library::{EntryKind, Hand, Identity, LimitMethod, NewSource, SourceKind, is_inchikey};
use crate::notation;
use crate::quantity::{ConcentrationUnit, Length, Printed, SpectralLine, parse_concentration, parse_length};
use crate::solvent::Solvent;
use crate::statement::{
    PrintedConcentration, Role, RotationKind, Sign, Stage, StatedExcess, StatedTemperature, Statement, printed_celsius,
    split_range,
};
use std::collections::{BTreeSet, HashMap};

/// The compound of a row, as the file gives it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub struct GivenCompound {
    /// Its name, or `#` and its number in the library.
    pub name: Option<String>,
    /// Further names.
    pub other_names: Vec<String>,
    /// CAS number.
    pub cas: Option<String>,
    /// Further CAS numbers.
    pub other_cas: Vec<String>,
    /// SMILES.
    pub smiles: Option<String>,
    /// Standard InChI.
    pub inchi: Option<String>,
    /// Standard InChIKey.
    pub inchikey: Option<String>,
    /// Own label where InChI cannot tell.
    pub descriptor: Option<String>,
    /// Formula.
    pub formula: Option<String>,
}

impl GivenCompound {
    /// Takes one text for what it is: a CAS number, an InChIKey, an InChI, or a name.
    pub fn from_text(text: &str) -> Self {
        let mut given = Self::default();
        given.put(text);
        given
    }

    /// Whether nothing says which compound it is.
    pub fn is_empty(&self) -> bool {
        [&self.name, &self.cas, &self.smiles, &self.inchi, &self.inchikey]
            .iter()
            .all(|field| field.is_none())
    }

    /// What a person calls it.
    pub fn label(&self) -> &str {
        [&self.name, &self.cas, &self.inchikey, &self.smiles, &self.inchi]
            .into_iter()
            .flatten()
            .next()
            .map_or("", String::as_str)
    }

    fn put(&mut self, text: &str) {
        let text = text.trim();
        let field = if is_inchikey(text) {
            &mut self.inchikey
        } else if text.starts_with("InChI=") {
            &mut self.inchi
        } else if !matches!(text.parse::<CasNumber>(), Err(CasError::Form { .. })) {
            &mut self.cas
        } else {
            &mut self.name
        };
        if !text.is_empty() {
            field.get_or_insert_with(|| text.to_owned());
        }
    }
}

/// An entry to be added, without the numbers of its compound and source.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The compound.
    pub compound: GivenCompound,
    /// The source.
    pub source: NewSource,
    /// Value or specification.
    pub kind: EntryKind,
    /// The statement.
    pub statement: Statement,
    /// How sure the identity is.
    pub identity: Identity,
    /// How the hand is known.
    pub hand: Hand,
    /// Substance name as the source gives it.
    pub substance: Option<String>,
    /// How the figure was seen.
    pub seen: Option<String>,
    /// Stable id of the entry, where an export wrote it.
    pub uid: Option<String>,
    /// Remark.
    pub comment: Option<String>,
    /// Why it is kept out of pooling.
    pub kept_out: Option<String>,
    /// Of a specification: its method.
    pub method: Option<LimitMethod>,
}

impl Record {
    /// What makes the record itself, in one text: source, compound (by `identity`) and statement. Equal records of two
    /// files have equal keys; what the reader doubts is no part of it.
    pub fn key(&self, identity: &str) -> String {
        let s = &self.statement;
        let digits = |printed: Option<Printed>| printed.map(|printed| printed.to_string()).unwrap_or_default();
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let temperature = match &s.temperature {
            None => String::new(),
            Some(StatedTemperature::At(at)) => at.to_string(),
            Some(StatedTemperature::Range(low, high)) => format!("{low}..{high}"),
            Some(StatedTemperature::Words(words)) => words.clone(),
        };
        let light = match &s.line {
            None => String::new(),
            Some(SpectralLine::At(wavelength)) => wavelength.to_string(),
            Some(line) => line.to_string(),
        };
        let concentration = s.concentration.map_or_else(String::new, |c| {
            format!("{}..{} {} {}", c.low, digits(c.high), c.unit, c.unit_printed)
        });
        let ee = s.ee.as_ref().map_or_else(String::new, |ee| {
            format!("{} {} {}", ee.percent, ee.at_least, text(&ee.method))
        });
        let method = self.method.as_ref().map_or_else(String::new, |method| {
            format!("{} {}", text(&method.preparation), digits(method.divide_by))
        });
        [
            self.source
                .doi
                .clone()
                .unwrap_or_else(|| self.source.citation.trim().to_owned()),
            identity.to_owned(),
            self.kind.to_string(),
            format!("{:?} {:?} {:?} {:?} {}", s.kind, s.sign, s.stage, s.role, s.approx),
            digits(s.value),
            digits(s.low),
            digits(s.high),
            digits(s.plus_minus),
            temperature,
            light,
            s.solvent.as_ref().map(ToString::to_string).unwrap_or_default(),
            concentration,
            s.path.map(|path| path.millimetres().to_string()).unwrap_or_default(),
            text(&s.form),
            text(&s.basis),
            text(&s.time_note),
            ee,
            text(&s.enantiomer_note),
            text(&s.place),
            method,
        ]
        .join("\u{1F}")
    }
}

/// Why a row is refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// The heading of the column, when one cell is to blame.
    pub column: Option<String>,
    /// The field.
    pub field: Option<Field>,
    /// Why, as a sentence without full stop.
    pub reason: String,
}

impl Refusal {
    /// A row refused as a whole.
    pub fn row(reason: impl Into<String>) -> Self {
        Self {
            column: None,
            field: None,
            reason: reason.into(),
        }
    }
}

/// What holds for every row that does not say otherwise.
#[derive(Clone, Debug, Default)]
pub struct Defaults {
    /// The compound.
    pub compound: GivenCompound,
    /// Citation of the source.
    pub citation: Option<String>,
    /// DOI of the source, in the form [`references::doi`] gives.
    pub doi: Option<String>,
    /// Year of the source.
    pub year: Option<i32>,
    /// Where the text was read.
    pub url: Option<String>,
    /// Kind of the source.
    pub source_kind: Option<SourceKind>,
    /// Key of a reference.
    pub reference: Option<String>,
    /// The references that rows name.
    pub references: References,
    /// How sure the identity is; sure without it.
    pub identity: Option<Identity>,
    /// How the hand is known; unclear without it.
    pub hand: Option<Hand>,
}

/// Makes records of rows.
pub struct Maker {
    defaults: Defaults,
    solvents: HashMap<String, Solvent>,
    /// Solvents that are not in the table, kept as they are printed.
    pub unknown_solvents: BTreeSet<String>,
}

/// Most texts of solvents that are remembered.
const MOST_SOLVENTS: usize = 10_000;

/// Most unknown solvents that are listed.
const MOST_UNKNOWN: usize = 50;

/// The cells of a row by field.
struct Cells<'a> {
    assignment: &'a Assignment,
    row: &'a Row,
}

impl<'a> Cells<'a> {
    /// The text of a field: trimmed, without the apostrophe that keeps a spreadsheet from running it; none when empty.
    fn text(&self, field: Field) -> Option<&'a str> {
        let column = self.assignment.column(field)?;
        let text = unguard_cell(self.row.cells.get(column)?.trim()).trim();
        Some(text).filter(|text| !text.is_empty())
    }

    fn owned(&self, field: Field) -> Option<String> {
        self.text(field).map(str::to_owned)
    }

    fn assigned(&self, field: Field) -> Option<&'a Assigned> {
        self.assignment.columns.get(self.assignment.column(field)?)?.as_ref()
    }

    fn unit(&self, field: Field) -> Option<&'a str> {
        self.assigned(field)?.heading.unit.as_deref()
    }

    fn refusal(&self, field: Field, reason: impl Into<String>) -> Refusal {
        Refusal {
            column: self
                .assignment
                .column(field)
                .and_then(|column| self.assignment.headings.get(column).cloned()),
            field: Some(field),
            reason: reason.into(),
        }
    }

    /// Reads a field with a reader of texts.
    fn read<T, E: ToString>(
        &self,
        field: Field,
        read: impl FnOnce(&str) -> Result<T, E>,
    ) -> Result<Option<T>, Refusal> {
        self.text(field)
            .map(|text| read(text).map_err(|error| self.refusal(field, error.to_string())))
            .transpose()
    }

    fn number(&self, field: Field) -> Result<Option<Printed>, Refusal> {
        self.read(field, |text| {
            cell_in::number(cell_in::without_degrees(text)).map(|(number, _)| number)
        })
    }

    fn truth(&self, field: Field) -> Result<Option<bool>, Refusal> {
        self.read(field, |text| match text.to_lowercase().as_str() {
            "true" | "yes" | "1" | "x" | "ja" | "oui" => Ok(true),
            "false" | "no" | "0" | "nein" | "non" => Ok(false),
            _ => Err(format!("\"{text}\" is neither yes nor no")),
        })
    }

    fn word<T>(&self, field: Field, from_word: impl Fn(&str) -> Option<T>, known: &str) -> Result<Option<T>, Refusal> {
        self.read(field, |text| {
            from_word(&text.to_lowercase()).ok_or_else(|| format!("\"{text}\" is not known; write one of {known}"))
        })
    }
}

impl Maker {
    /// Begins with what holds for all rows.
    pub fn new(defaults: Defaults) -> Self {
        Self {
            defaults,
            solvents: HashMap::new(),
            unknown_solvents: BTreeSet::new(),
        }
    }

    /// Makes the record of a row.
    ///
    /// # Errors
    /// Why the row is refused.
    pub fn record(&mut self, row: &Row, assignment: &Assignment) -> Result<Record, Refusal> {
        if let Some(fault) = &row.fault {
            return Err(Refusal::row(fault.clone()));
        }
        let with_digits = with_digits(row, assignment);
        let row = with_digits.as_ref().unwrap_or(row);
        let cells = Cells { assignment, row };
        let statement = self.statement(&cells)?;
        let preparation = cells.owned(Field::Preparation);
        let divide_by = cells.number(Field::DivideBy)?;
        let method = LimitMethod { preparation, divide_by };
        Ok(Record {
            compound: self.compound(&cells)?,
            source: self.source(&cells)?,
            kind: cells
                .word(Field::EntryKind, EntryKind::from_word, "value, specification")?
                .unwrap_or(EntryKind::Value),
            statement,
            identity: cells
                .word(Field::Identity, Identity::from_word, "sure, likely, unclear")?
                .or(self.defaults.identity)
                .unwrap_or(Identity::Sure),
            hand: cells
                .word(Field::Hand, Hand::from_word, "independent, inferred, unclear")?
                .or(self.defaults.hand)
                .unwrap_or(Hand::Unclear),
            substance: cells.owned(Field::Substance),
            seen: cells.owned(Field::Seen),
            uid: cells.owned(Field::Uid),
            comment: cells.owned(Field::Comment),
            kept_out: cells.owned(Field::KeptOut),
            method: (method != LimitMethod::default()).then_some(method),
        })
    }

    fn compound(&self, cells: &Cells<'_>) -> Result<GivenCompound, Refusal> {
        let mut numbers = cells
            .text(Field::Cas)
            .map(cell_in::listed)
            .unwrap_or_default()
            .into_iter();
        let mut given = GivenCompound {
            cas: numbers.next(),
            other_cas: numbers.collect(),
            other_names: cells.text(Field::OtherNames).map(cell_in::listed).unwrap_or_default(),
            smiles: cells.owned(Field::Smiles),
            inchi: cells.owned(Field::Inchi),
            inchikey: cells.owned(Field::Inchikey),
            descriptor: cells.owned(Field::Descriptor),
            formula: cells
                .text(Field::Formula)
                .map(|formula| formula.chars().filter(|c| !c.is_whitespace()).collect()),
            name: None,
        };
        if let Some(key) = given.inchikey.as_deref().filter(|key| !is_inchikey(key)) {
            return Err(cells.refusal(
                Field::Inchikey,
                format!("\"{key}\" does not have the form of a standard InChIKey (27 capitals and hyphens)"),
            ));
        }
        if let Some(text) = cells.text(Field::Compound) {
            given.put(text);
        }
        if given.is_empty() {
            given = self.defaults.compound.clone();
        }
        if given.is_empty() {
            return Err(cells.refusal(Field::Compound, "nothing says which compound this is"));
        }
        Ok(given)
    }

    fn source(&self, cells: &Cells<'_>) -> Result<NewSource, Refusal> {
        let defaults = &self.defaults;
        let year = cells.read(Field::Year, |text| {
            text.parse::<i32>()
                .ok()
                .filter(|year| (1600..2200).contains(year))
                .ok_or_else(|| format!("\"{text}\" is no year"))
        })?;
        let kind = cells.word(
            Field::SourceKind,
            SourceKind::from_word,
            "paper, patent, book, thesis, teaching, standard, compilation, data-sheet, own, other",
        )?;
        let citation = cells.owned(Field::Citation);
        let url = cells.owned(Field::Url);
        let own_doi = cells.read(Field::Doi, references::doi)?;
        let own_key = cells.text(Field::Reference);
        // The options name one source: they are taken together, and only where the row names none.
        let names_none = citation.is_none() && own_doi.is_none() && own_key.is_none();
        let key = own_key.or(if names_none {
            defaults.reference.as_deref()
        } else {
            None
        });
        let doi = own_doi.or_else(|| if names_none { defaults.doi.clone() } else { None });
        let citation = citation.or_else(|| if names_none { defaults.citation.clone() } else { None });

        let listed = match key {
            Some(key) => Some(defaults.references.by_key(key).ok_or_else(|| {
                cells.refusal(
                    Field::Reference,
                    format!("the references hold no key \"{key}\"; give them with --sources"),
                )
            })?),
            None => doi
                .as_deref()
                .and_then(|doi| defaults.references.by_doi(doi))
                .or_else(|| defaults.references.by_key(citation.as_deref()?)),
        };
        if let Some(listed) = listed {
            if let (Some(own), Some(other)) = (&doi, &listed.doi)
                && own != other
            {
                return Err(cells.refusal(
                    Field::Doi,
                    format!("the row has the DOI {own}, its reference {other}; one of them is wrong"),
                ));
            }
            return Ok(NewSource {
                doi: listed.doi.clone().or(doi),
                ..listed.clone()
            });
        }
        let citation = match (citation, &doi) {
            (Some(citation), _) => citation,
            (None, Some(doi)) => format!("doi:{doi}"),
            (None, None) => {
                return Err(cells.refusal(
                    Field::Citation,
                    "no source is given; fill citation or doi, or name one for all rows with --citation, --doi or --sources",
                ));
            }
        };
        Ok(NewSource {
            kind: kind.or(defaults.source_kind).unwrap_or(SourceKind::Paper),
            citation,
            doi,
            year: year.or(if names_none { defaults.year } else { None }),
            url: url.or_else(|| if names_none { defaults.url.clone() } else { None }),
        })
    }

    fn statement(&mut self, cells: &Cells<'_>) -> Result<Statement, Refusal> {
        let printed = cells.text(Field::AsPrinted);
        let has_value = [Field::Value, Field::Observed, Field::Molar, Field::Low, Field::High]
            .iter()
            .any(|&field| cells.text(field).is_some());
        let has_doubts = cells.assignment.column(Field::Doubts).is_some();
        let mut statement = match (&cells.row.statement, printed) {
            (Some(statement), _) => (**statement).clone(),
            (None, Some(text)) if !has_value => {
                cell_in::read_one(text).map_err(|reason| cells.refusal(Field::AsPrinted, reason))?
            }
            (None, text) => Statement {
                as_printed: text.unwrap_or_default().to_owned(),
                ..Statement::default()
            },
        };
        let was_read = cells.row.statement.is_some() || (printed.is_some() && !has_value);
        let before = was_read.then(|| statement.clone());
        if has_value {
            value(cells, &mut statement)?;
        }
        self.conditions(cells, &mut statement)?;
        sample(cells, &mut statement)?;
        if let Some(before) = before {
            doubt_differences(&before, &mut statement);
        } else if let (Some(text), false) = (printed, has_doubts) {
            doubt_printed(text, &mut statement);
        }
        if let Some(text) = cells.text(Field::Doubts) {
            for doubt in cell_in::listed(text) {
                if !statement.doubts.contains(&doubt) {
                    statement.doubts.push(doubt);
                }
            }
        }
        if statement.value.is_none() && statement.low.is_none() && statement.high.is_none() {
            return Err(cells.refusal(Field::Value, "there is no value"));
        }
        if let Some(number) = statement.beyond_any_bench() {
            return Err(cells.refusal(Field::Value, format!("{:e} is outside what can be", number.value())));
        }
        if let (Some(low), Some(high)) = (statement.low, statement.high)
            && low.value() > high.value()
        {
            return Err(cells.refusal(Field::Low, format!("the low end {low} is above the high end {high}")));
        }
        Ok(statement)
    }

    /// Temperature, light, solvent, concentration and cell.
    fn conditions(&mut self, cells: &Cells<'_>, statement: &mut Statement) -> Result<(), Refusal> {
        if let Some(temperature) = temperature(cells)? {
            statement.temperature = Some(temperature);
        }
        if let Some(light) = light(cells)? {
            statement.line = Some(light);
        }
        if let Some(text) = cells.text(Field::Solvent) {
            statement.solvent = Some(self.solvent(text));
        }
        if let Some(concentration) = concentration(cells)? {
            statement.concentration = Some(concentration);
        }
        if let Some(path) = path(cells)? {
            statement.path = Some(path);
        }
        Ok(())
    }

    fn solvent(&mut self, text: &str) -> Solvent {
        if let Some(known) = self.solvents.get(text) {
            return known.clone();
        }
        // A text that is not empty always gives a solvent; one that is not in the table keeps its name.
        let solvent = Solvent::parse_lenient(text).unwrap_or(Solvent::Neat);
        if matches!(solvent, Solvent::Other(_)) && self.unknown_solvents.len() < MOST_UNKNOWN {
            self.unknown_solvents.insert(text.to_owned());
        }
        if self.solvents.len() >= MOST_SOLVENTS {
            self.solvents.clear();
        }
        self.solvents.insert(text.to_owned(), solvent.clone());
        solvent
    }
}

/// The row with its numbers written with the decimals that its column of digits names; none when it names none.
fn with_digits(row: &Row, assignment: &Assignment) -> Option<Row> {
    let digits = row.cells.get(assignment.column(Field::Digits)?)?;
    let mut changed = None;
    for part in digits.split(';') {
        let Some((column, decimals)) = part.trim().rsplit_once(' ') else {
            continue;
        };
        let at = assignment.headings.iter().position(|heading| heading == column);
        let (Some(at), Ok(decimals @ 0..=12)) = (at, decimals.parse::<usize>()) else {
            continue;
        };
        let Some(value) = row.cells.get(at).and_then(|cell| cell.trim().parse::<f64>().ok()) else {
            continue;
        };
        let text = format!("{value:.decimals$}");
        // More digits are put on; none that stand there are taken away.
        if text.parse() == Ok(value) {
            changed.get_or_insert_with(|| row.clone()).cells[at] = text;
        }
    }
    changed
}

/// Form, basis, stage, ee, role and place.
fn sample(cells: &Cells<'_>, statement: &mut Statement) -> Result<(), Refusal> {
    let put = |field: &mut Option<String>, given: Option<String>| {
        if given.is_some() {
            *field = given;
        }
    };
    put(&mut statement.form, cells.owned(Field::Form));
    put(&mut statement.basis, cells.owned(Field::Basis));
    put(&mut statement.time_note, cells.owned(Field::TimeNote));
    put(&mut statement.enantiomer_note, cells.owned(Field::EnantiomerNote));
    put(&mut statement.place, cells.owned(Field::Place));
    let stage = cells.word(
        Field::Stage,
        |word| match word {
            "initial" => Some(Stage::Initial),
            "final" | "equilibrium" => Some(Stage::Final),
            _ => None,
        },
        "initial, final",
    )?;
    if stage.is_some() {
        statement.stage = stage;
    }
    let role = cells.word(
        Field::Role,
        |word| match word {
            "measured" => Some(Role::Measured),
            "lit" | "lit." | "quoted" | "literature" => Some(Role::Lit),
            "compiled" => Some(Role::Compiled),
            _ => None,
        },
        "measured, lit, compiled",
    )?;
    if role.is_some() {
        statement.role = role;
    }
    stated_excess(cells, statement)
}

/// How far an ee and a ratio of the enantiomers in one row may lie apart, per cent: both are rounded.
const ROUNDING_PERCENT: f64 = 1.0;

/// The excess of the sample: an ee, a ratio of the enantiomers, or an optical purity, which is a rotation again.
fn stated_excess(cells: &Cells<'_>, statement: &mut Statement) -> Result<(), Refusal> {
    let ee = cells.read(Field::Ee, StatedExcess::read)?;
    let er = cells.read(Field::Er, cell_in::ratio)?;
    let purity = cells.read(Field::OpticalPurity, StatedExcess::read)?;
    if let (Some(ee), Some(er)) = (&ee, &er)
        && (ee.percent.value().abs() - er.percent.value()).abs() > ROUNDING_PERCENT
    {
        return Err(cells.refusal(
            Field::Er,
            format!("the ratio gives an ee of {} %, the row {} %", er.percent, ee.percent),
        ));
    }
    let method = cells.owned(Field::EeMethod).unwrap_or_default();
    let printed = match (ee.or(er), purity) {
        (Some(excess), _) => Some(excess.by(&method)),
        // Whatever the method says, an optical purity was found by a rotation.
        (None, Some(purity)) => Some(purity.by("optical purity")),
        (None, None) => None,
    };
    if let Some(mut excess) = printed {
        excess.at_least |= cells.truth(Field::EeAtLeast)?.unwrap_or(false);
        statement.ee = Some(excess);
    } else if let Some(excess) = statement.ee.take() {
        statement.ee = Some(excess.by(&method));
    }
    Ok(())
}

/// The value, its kind, sign and tolerance.
fn value(cells: &Cells<'_>, statement: &mut Statement) -> Result<(), Refusal> {
    let given: Vec<Field> = [Field::Value, Field::Observed, Field::Molar]
        .into_iter()
        .filter(|&field| cells.text(field).is_some())
        .collect();
    if let [_, second, ..] = given[..] {
        return Err(cells.refusal(second, "the row gives two kinds of rotation; split it into two rows"));
    }
    let (low, high) = (cells.number(Field::Low)?, cells.number(Field::High)?);
    if let (Some(&field), true) = (given.first(), low.is_some() || high.is_some()) {
        return Err(cells.refusal(field, "the row gives a value and a range; leave one of them out"));
    }
    let mut signed = true;
    if let Some(&field) = given.first() {
        let text = cells.text(field).unwrap_or_default();
        let assigned = cells.assigned(field);
        if let Some(unit) = cells.unit(field).filter(|unit| !cell_in::is_unit_of_rotation(unit)) {
            return Err(cells.refusal(
                field,
                format!("the unit \"{unit}\" of the heading is not known for a rotation; map the column with its field alone"),
            ));
        }
        let read = cell_in::rotation(text).map_err(|reason| cells.refusal(field, reason))?;
        signed = read.sign_seen;
        let conditions = assigned.and_then(|assigned| assigned.heading.conditions.as_deref());
        let printed = std::mem::take(&mut statement.as_printed);
        *statement = read.statement;
        if !printed.is_empty() {
            statement.as_printed = printed;
        }
        if let Some(conditions) = conditions {
            fill(&mut statement.temperature, conditions.temperature.as_ref());
            fill(&mut statement.line, conditions.line.as_ref());
            fill(&mut statement.solvent, conditions.solvent.as_ref());
            fill(&mut statement.concentration, conditions.concentration.as_ref());
        }
        match field {
            Field::Observed => statement.kind = RotationKind::Observed,
            Field::Molar => statement.kind = RotationKind::Molar,
            _ => {}
        }
    } else {
        (statement.low, statement.high) = (low, high);
    }
    let kind = cells.word(
        Field::Kind,
        |word| match word {
            "specific" | "specific rotation" => Some(RotationKind::Specific),
            "observed" | "observed rotation" => Some(RotationKind::Observed),
            "molar" | "molar rotation" => Some(RotationKind::Molar),
            _ => None,
        },
        "specific, observed, molar",
    )?;
    if let Some(kind) = kind {
        if let Some(&field) = given
            .first()
            .filter(|&&field| field != Field::Value && kind != statement.kind)
        {
            return Err(cells.refusal(
                Field::Kind,
                format!("the kind contradicts the column of {}", field.word()),
            ));
        }
        statement.kind = kind;
    }
    if let Some(tolerance) = cells.read(Field::PlusMinus, |text| {
        cell_in::number(cell_in::without_degrees(text.trim_start_matches(['±', ' ']))).map(|(number, _)| number)
    })? {
        statement.plus_minus = Some(tolerance);
    }
    if let Some(approx) = cells.truth(Field::Approx)? {
        statement.approx = approx;
    }
    sign(cells, statement, signed)
}

/// The columns that say how the sign stood in print, or give it.
fn sign(cells: &Cells<'_>, statement: &mut Statement, signed: bool) -> Result<(), Refusal> {
    if cells.truth(Field::SignStated)? == Some(false) {
        statement.sign = Sign::NotStated;
    }
    if cells.truth(Field::SignAmbiguous)? == Some(true) {
        statement.sign = Sign::Ambiguous;
    }
    let Some(text) = cells.text(Field::Sign) else {
        return Ok(());
    };
    let negative = match text.to_lowercase().as_str() {
        "stated" => {
            statement.sign = Sign::Stated;
            return Ok(());
        }
        "not-stated" | "not stated" | "none" | "unknown" | "?" => {
            statement.sign = Sign::NotStated;
            return Ok(());
        }
        "ambiguous" | "±" | "+/-" | "+-" => {
            statement.sign = Sign::Ambiguous;
            return Ok(());
        }
        "+" | "(+)" | "plus" | "dextro" | "positive" => false,
        "-" | "\u{2212}" | "\u{2013}" | "(-)" | "(\u{2212})" | "minus" | "levo" | "laevo" | "negative" => true,
        _ => {
            return Err(cells.refusal(
                Field::Sign,
                format!("\"{text}\" is no sign; write +, -, ±, or not stated"),
            ));
        }
    };
    let Some(value) = statement.value else {
        return Err(cells.refusal(
            Field::Sign,
            "a sign belongs to a single value; give the ends of a range with theirs",
        ));
    };
    if signed && (value.value() < 0.0) != negative {
        return Err(cells.refusal(
            Field::Sign,
            format!("the sign \"{text}\" contradicts the value {value}"),
        ));
    }
    if negative && value.value() > 0.0 {
        statement.value = Some(value.negated());
    }
    statement.sign = Sign::Stated;
    Ok(())
}

fn temperature(cells: &Cells<'_>) -> Result<Option<StatedTemperature>, Refusal> {
    let unit = cells.unit(Field::Temperature).unwrap_or_default();
    if let Some(at) = cells.read(Field::Temperature, |text| StatedTemperature::parse(text, unit))? {
        return Ok(Some(at));
    }
    if let Some(words) = cells.text(Field::TemperatureNote) {
        return Ok(Some(StatedTemperature::Words(words.to_lowercase())));
    }
    let low = cells.read(Field::TemperatureLow, |text| printed_celsius(text, ""))?;
    let high = cells.read(Field::TemperatureHigh, |text| printed_celsius(text, ""))?;
    Ok(match (low, high) {
        (Some(low), Some(high)) => Some(StatedTemperature::Range(low, high)),
        (Some(one), None) | (None, Some(one)) => Some(StatedTemperature::At(one)),
        (None, None) => None,
    })
}

fn light(cells: &Cells<'_>) -> Result<Option<SpectralLine>, Refusal> {
    if let Some(line) = cells.read(Field::Line, |text| cell_in::spectral_line(text, ""))? {
        return Ok(Some(line));
    }
    let unit = cells.unit(Field::Wavelength).unwrap_or_default();
    let is_vacuum = cells.word(
        Field::Medium,
        |word| match word {
            "air" => Some(false),
            "vacuum" => Some(true),
            _ => None,
        },
        "air, vacuum",
    )?;
    cells.read(Field::Wavelength, |text| {
        if is_vacuum == Some(true) {
            cell_in::spectral_line(&format!("{text} (vacuum)"), unit)
        } else {
            cell_in::spectral_line(text, unit)
        }
    })
}

fn concentration(cells: &Cells<'_>) -> Result<Option<PrintedConcentration>, Refusal> {
    let unit = cells.text(Field::ConcUnit).or_else(|| cells.unit(Field::Conc));
    // The letter c stands for g per 100 mL (common practice); any other heading without a unit leaves the unit open.
    let is_letter = cells
        .assignment
        .column(Field::Conc)
        .and_then(|column| cells.assignment.headings.get(column))
        .is_some_and(|heading| heading.trim() == "c");
    let one = |text: &str, unit: Option<&str>| {
        let number_only = !text.contains(|c: char| c.is_alphabetic() || c == '%');
        let text = match unit {
            Some(unit) if number_only => format!("{text} {unit}"),
            _ => text.to_owned(),
        };
        parse_concentration(&text)
            .map(|stated| (stated, !number_only || unit.is_some()))
            .map_err(|error| error.to_string())
    };
    let whole = cells.read(Field::Conc, |text| {
        let text = text.trim_start_matches("c ").trim_start_matches(['=', ' ']);
        match split_range(text) {
            Some((low, high)) => {
                let (high, has_unit) = one(high, unit)?;
                let (low, _) = one(low, Some(high.unit.as_str()))?;
                Ok((low, Some(high), has_unit))
            }
            None => one(text, unit).map(|(stated, has_unit)| (stated, None, has_unit)),
        }
    })?;
    let ends = if whole.is_some() {
        whole
    } else {
        let low = cells.read(Field::ConcLow, |text| one(text, unit))?;
        let high = cells.read(Field::ConcHigh, |text| one(text, unit))?;
        match (low, high) {
            (Some((low, has_unit)), high) => Some((low, high.map(|(high, _)| high), has_unit)),
            (None, Some((high, has_unit))) => Some((high, None, has_unit)),
            (None, None) => None,
        }
    };
    let Some((low, high, has_unit)) = ends else {
        return Ok(None);
    };
    let printed = cells.truth(Field::ConcUnitPrinted)?;
    Ok(Some(PrintedConcentration {
        low: low.value,
        high: high.map(|high| high.value),
        unit: if has_unit {
            low.unit
        } else {
            ConcentrationUnit::GramsPer100Millilitres
        },
        unit_printed: printed.unwrap_or(has_unit || is_letter),
    }))
}

/// The cell length; a number needs a unit, in the cell or in the heading, because 1 may be dm or cm.
fn path(cells: &Cells<'_>) -> Result<Option<Length>, Refusal> {
    if cells.text(Field::Path).is_none() {
        return cells.read(Field::PathDm, |text| {
            let (number, _) = cell_in::number(text)?;
            parse_length(&format!("{} dm", number.value())).map_err(|error| error.to_string())
        });
    }
    let unit = cells.unit(Field::Path);
    cells.read(Field::Path, |text| {
        let number_only = !text.contains(char::is_alphabetic);
        match unit {
            None if number_only => Err(format!(
                "the cell length \"{text}\" has no unit; write 100 mm or 1 dm, or map the column with \"=path:mm\""
            )),
            Some(unit) if number_only => parse_length(&format!("{text} {unit}")).map_err(|error| error.to_string()),
            _ => parse_length(text).map_err(|error| error.to_string()),
        }
    })
}

fn fill<T: Clone>(field: &mut Option<T>, given: Option<&T>) {
    if field.is_none() {
        *field = given.cloned();
    }
}

/// Says where columns overruled what was read from the printed text.
fn doubt_differences(before: &Statement, statement: &mut Statement) {
    let mut differing = Vec::new();
    if before.value.is_some() && before.value != statement.value {
        differing.push("value");
    }
    if before.temperature.is_some() && before.temperature != statement.temperature {
        differing.push("temperature");
    }
    if before.line.is_some() && before.line != statement.line {
        differing.push("line");
    }
    if before.solvent.is_some() && before.solvent != statement.solvent {
        differing.push("solvent");
    }
    if let (Some(read), Some(given)) = (before.concentration, statement.concentration)
        && (read.low.value() != given.low.value() || read.unit != given.unit)
    {
        differing.push("concentration");
    }
    for field in differing {
        statement.doubts.push(format!(
            "The column of the {field} says something else than the printed text."
        ));
    }
}

/// Says when the printed text beside a value reads as another value.
fn doubt_printed(text: &str, statement: &mut Statement) {
    let Some(value) = statement.value else { return };
    if let [found] = notation::read(text).as_slice()
        && let Some(read) = found.statement.value
        && !read.same_value(value)
    {
        statement.doubts.push(format!(
            "The value is given as {value}, but the printed text reads as {read}."
        ));
    }
}

/// The form of a name in which rows are held to be of one compound.
pub fn folded_name(name: &str) -> String {
    name::fold(&name::turned_around(name))
}
