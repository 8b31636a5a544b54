//! Records as named fields: the one form from which every exported file is written, in which records of two libraries
//! are compared, and from which a bundle is read back.
//!
//! Names are those of the reader's output where it has them. A number keeps its printed digits as text. Nothing is
//! filled in: a field that is not there has no cell. Start reading at [`Record`].

use crate::library::{
    Chirality, Compound, CompoundId, EntryContent, EntryKind, Hand, Identity, LimitMethod, NewCompound, NewSource,
    ReviewState, Source, SourceId, SourceKind,
};
use crate::quantity::{ConcentrationUnit, Length, Medium, MolarMass, Printed, SpectralLine, Wavelength};
use crate::solvent::Solvent;
use crate::statement::{
    PrintedConcentration, Role, RotationKind, Sign, Stage, StatedExcess, StatedTemperature, Statement,
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;

/// What a field holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FieldKind {
    /// Text.
    Text,
    /// A number.
    Number,
    /// True or false.
    Flag,
    /// Several texts.
    List,
}

use FieldKind::{Flag, List, Number, Text};

/// The fields of a compound, in the order of columns.
pub const COMPOUND_FIELDS: [(&str, FieldKind); 12] = [
    ("name", Text),
    ("other_names", List),
    ("cas", List),
    ("inchikey", Text),
    ("smiles", Text),
    ("inchi", Text),
    ("descriptor", Text),
    ("formula", Text),
    ("molar_mass", Number),
    ("chirality", Text),
    ("mirror_key", Text),
    ("parent_key", Text),
];

/// The fields of an entry: its statement, then what the library says of it.
pub const ENTRY_FIELDS: [(&str, FieldKind); 48] = [
    ("entry_kind", Text),
    ("kind", Text),
    ("value", Number),
    ("low", Number),
    ("high", Number),
    ("sign", Text),
    ("plus_minus", Number),
    ("approx", Flag),
    ("temperature_c", Number),
    ("temperature_low", Number),
    ("temperature_high", Number),
    ("temperature_note", Text),
    ("line", Text),
    ("wavelength_nm", Number),
    ("wavelength_medium", Text),
    ("solvent", Text),
    ("conc", Number),
    ("conc_low", Number),
    ("conc_high", Number),
    ("conc_unit", Text),
    ("conc_unit_printed", Flag),
    ("path_mm", Number),
    ("path_dm", Number),
    ("form", Text),
    ("basis", Text),
    ("stage", Text),
    ("time_note", Text),
    ("ee_percent", Number),
    ("ee_at_least", Flag),
    ("ee_method", Text),
    ("role", Text),
    ("enantiomer_note", Text),
    ("as_printed", Text),
    ("place", Text),
    ("doubts", List),
    ("preparation", Text),
    ("divide_by", Number),
    ("substance", Text),
    ("state", Text),
    ("identity", Text),
    ("hand", Text),
    ("kept_out", Text),
    ("seen", Text),
    ("comment", Text),
    ("revision", Number),
    ("uid", Text),
    ("compound_uid", Text),
    ("source_uid", Text),
];

/// The fields of a source.
pub const SOURCE_FIELDS: [(&str, FieldKind); 5] = [
    ("source_kind", Text),
    ("citation", Text),
    ("doi", Text),
    ("year", Number),
    ("url", Text),
];

/// A number of a record: its value and, where digits were printed, how many stood behind the decimal mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    /// The value.
    pub value: f64,
    /// Printed decimals; None for a number that is none of print, such as a wavelength.
    pub decimals: Option<u8>,
}

impl Figure {
    /// Whether the text is that of the number alone, as all but artificial numbers are.
    pub fn is_plain(self) -> bool {
        self.decimals.is_none_or(|decimals| {
            let printed = Printed::new(self.value, decimals);
            printed.to_string().parse() == Ok(printed)
        })
    }
}

impl From<Printed> for Figure {
    fn from(printed: Printed) -> Self {
        Self {
            value: printed.value(),
            decimals: Some(printed.decimals()),
        }
    }
}

impl fmt::Display for Figure {
    /// The digits as printed. A value finer than its printed digits is followed by their number, `1.234:2`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.decimals {
            None => write!(f, "{}", self.value),
            Some(decimals) if self.is_plain() => Printed::new(self.value, decimals).fmt(f),
            Some(decimals) => write!(f, "{}:{decimals}", self.value),
        }
    }
}

/// What stands in a field.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Cell {
    /// True or false.
    Flag(bool),
    /// A text, or the digits of a number.
    Text(String),
    /// A number that is not yet text; read back as one.
    #[serde(skip_deserializing, serialize_with = "as_text")]
    Number(Figure),
    /// Several texts.
    List(Vec<String>),
}

fn as_text<S: serde::Serializer>(figure: &Figure, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(figure)
}

impl fmt::Display for Cell {
    /// The text of the cell. Texts of a list are joined by ` | `; a bar or backslash within one follows a backslash.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag(flag) => flag.fmt(f),
            Self::Text(text) => f.write_str(text),
            Self::Number(figure) => figure.fmt(f),
            Self::List(texts) => {
                for (at, text) in texts.iter().enumerate() {
                    if at > 0 {
                        f.write_str(" | ")?;
                    }
                    f.write_str(&text.replace('\\', "\\\\").replace('|', "\\|"))?;
                }
                Ok(())
            }
        }
    }
}

/// The texts that the text of a list cell was joined from.
pub fn split_list(joined: &str) -> Vec<String> {
    let mut texts = vec![String::new()];
    let mut rest = joined;
    while let Some(c) = rest.chars().next() {
        let last = texts.len() - 1;
        if let Some(behind) = rest.strip_prefix(" | ") {
            texts.push(String::new());
            rest = behind;
        } else if let Some(escaped) = rest.strip_prefix('\\').and_then(|behind| behind.chars().next()) {
            texts[last].push(escaped);
            rest = &rest[1 + escaped.len_utf8()..];
        } else {
            texts[last].push(c);
            rest = &rest[c.len_utf8()..];
        }
    }
    texts
}

/// A compound, source or entry as named fields.
pub type Record = BTreeMap<String, Cell>;

/// Why fields make no record.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the field {field} holds {found}, where {expected} belongs")]
pub struct FieldError {
    /// The field.
    pub field: String,
    /// What it holds.
    pub found: String,
    /// What belongs there.
    pub expected: String,
}

/// What a compound holds apart from its number and stable id.
pub fn compound_content(compound: &Compound) -> NewCompound {
    NewCompound {
        name: compound.name.clone(),
        other_names: compound.other_names.clone(),
        cas: compound.cas.clone(),
        smiles: compound.smiles.clone(),
        inchi: compound.inchi.clone(),
        inchikey: compound.inchikey.clone(),
        mirror_key: compound.mirror_key.clone(),
        parent_key: compound.parent_key.clone(),
        descriptor: compound.descriptor.clone(),
        formula: compound.formula.clone(),
        molar_mass: compound.molar_mass,
        chirality: compound.chirality,
    }
}

/// What a source holds apart from its number and stable id.
pub fn source_content(source: &Source) -> NewSource {
    NewSource {
        kind: source.kind,
        citation: source.citation.clone(),
        doi: source.doi.clone(),
        year: source.year,
        url: source.url.clone(),
    }
}

/// A compound as fields, without its stable id.
pub fn compound_record(compound: &NewCompound) -> Record {
    let mut record = Writer::default();
    record.text("name", Some(&compound.name));
    record.list("other_names", &compound.other_names);
    record.list("cas", &compound.cas);
    record.text("inchikey", compound.inchikey.as_ref());
    record.text("smiles", compound.smiles.as_ref());
    record.text("inchi", compound.inchi.as_ref());
    record.text("descriptor", compound.descriptor.as_ref());
    record.text("formula", compound.formula.as_ref());
    record.real("molar_mass", compound.molar_mass.map(MolarMass::grams_per_mole));
    record.text("chirality", Some(compound.chirality.as_str()));
    record.text("mirror_key", compound.mirror_key.as_ref());
    record.text("parent_key", compound.parent_key.as_ref());
    record.0
}

/// The compound that fields make.
pub fn compound_from(record: Record) -> Result<NewCompound, FieldError> {
    let mut fields = Reader(record);
    let compound = NewCompound {
        name: fields.needed("name", "a name")?,
        other_names: fields.list("other_names")?,
        cas: fields.list("cas")?,
        inchikey: fields.text("inchikey")?,
        smiles: fields.text("smiles")?,
        inchi: fields.text("inchi")?,
        descriptor: fields.text("descriptor")?,
        formula: fields.text("formula")?,
        molar_mass: fields.real("molar_mass")?.map(MolarMass::from_grams_per_mole),
        chirality: fields
            .word("chirality", Chirality::from_word)?
            .unwrap_or(Chirality::Unknown),
        mirror_key: fields.text("mirror_key")?,
        parent_key: fields.text("parent_key")?,
    };
    fields.end()?;
    Ok(compound)
}

/// A source as fields, without its stable id.
pub fn source_record(source: &NewSource) -> Record {
    let mut record = Writer::default();
    record.text("source_kind", Some(source.kind.as_str()));
    record.text("citation", Some(&source.citation));
    record.text("doi", source.doi.as_ref());
    record.real("year", source.year.map(f64::from));
    record.text("url", source.url.as_ref());
    record.0
}

/// The source that fields make.
pub fn source_from(record: Record) -> Result<NewSource, FieldError> {
    let mut fields = Reader(record);
    let year = fields.text("year")?;
    let source = NewSource {
        kind: fields.needed_word("source_kind", SourceKind::from_word)?,
        citation: fields.needed("citation", "a citation")?,
        doi: fields.text("doi")?,
        year: year
            .map(|year| year.parse().map_err(|_| wrong("year", &year, "a year")))
            .transpose()?,
        url: fields.text("url")?,
    };
    fields.end()?;
    Ok(source)
}

/// An entry as fields, without its stable id, revision, compound and source.
pub fn entry_record(entry: &EntryContent) -> Record {
    let mut record = Writer::default();
    record.text("entry_kind", Some(entry.kind.as_str()));
    write_statement(&entry.statement, &mut record);
    if let Some(method) = &entry.method {
        record.text("preparation", method.preparation.as_ref());
        record.printed("divide_by", method.divide_by);
    }
    record.text("substance", entry.substance.as_ref());
    record.text("state", Some(entry.state.as_str()));
    record.text("identity", Some(entry.identity.as_str()));
    record.text("hand", Some(entry.hand.as_str()));
    record.text("kept_out", entry.kept_out.as_ref());
    record.text("seen", entry.seen.as_ref());
    record.text("comment", entry.comment.as_ref());
    record.0
}

/// The entry that fields make, of a compound and a source.
pub fn entry_from(record: Record, compound: CompoundId, source: SourceId) -> Result<EntryContent, FieldError> {
    let mut fields = Reader(record);
    let method = LimitMethod {
        preparation: fields.text("preparation")?,
        divide_by: fields.printed("divide_by")?,
    };
    let content = EntryContent {
        compound,
        source,
        kind: fields.needed_word("entry_kind", EntryKind::from_word)?,
        statement: read_statement(&mut fields)?,
        identity: fields.needed_word("identity", Identity::from_word)?,
        hand: fields.needed_word("hand", Hand::from_word)?,
        state: fields.needed_word("state", ReviewState::from_word)?,
        kept_out: fields.text("kept_out")?,
        substance: fields.text("substance")?,
        seen: fields.text("seen")?,
        comment: fields.text("comment")?,
        method: (method != LimitMethod::default()).then_some(method),
    };
    fields.end()?;
    Ok(content)
}

fn write_statement(s: &Statement, record: &mut Writer) {
    record.text("kind", Some(RotationKind::as_str(s.kind)));
    record.printed("value", s.value);
    record.printed("low", s.low);
    record.printed("high", s.high);
    record.text("sign", Some(Sign::as_str(s.sign)));
    record.printed("plus_minus", s.plus_minus);
    if s.approx {
        record.flag("approx", true);
    }
    match &s.temperature {
        None => {}
        Some(StatedTemperature::At(at)) => record.printed("temperature_c", Some(*at)),
        Some(StatedTemperature::Range(low, high)) => {
            record.printed("temperature_low", Some(*low));
            record.printed("temperature_high", Some(*high));
        }
        Some(StatedTemperature::Words(words)) => record.text("temperature_note", Some(words)),
    }
    match &s.line {
        None => {}
        Some(SpectralLine::At(wavelength)) => {
            record.real("wavelength_nm", Some(wavelength.nanometres()));
            let medium = match wavelength.medium() {
                Medium::Air => "air",
                Medium::Vacuum => "vacuum",
            };
            record.text("wavelength_medium", Some(medium));
        }
        Some(line) => record.text("line", Some(line.to_string())),
    }
    record.text("solvent", s.solvent.as_ref().map(ToString::to_string));
    if let Some(c) = &s.concentration {
        record.printed(if c.high.is_some() { "conc_low" } else { "conc" }, Some(c.low));
        record.printed("conc_high", c.high);
        record.text("conc_unit", Some(c.unit.as_str()));
        record.flag("conc_unit_printed", c.unit_printed);
    }
    if let Some(path) = s.path {
        // Millimetres, as people write it, where they give back the same length to the last bit.
        let exact = |mm: &f64| Length::from_millimetres(*mm) == path;
        let rounded = (path.millimetres() * 1e6).round() / 1e6;
        match [rounded, path.millimetres()].into_iter().find(exact) {
            Some(mm) => record.real("path_mm", Some(mm)),
            None => record.real("path_dm", Some(path.decimetres())),
        }
    }
    record.text("form", s.form.as_ref());
    record.text("basis", s.basis.as_ref());
    record.text("stage", s.stage.map(Stage::as_str));
    record.text("time_note", s.time_note.as_ref());
    if let Some(ee) = &s.ee {
        record.printed("ee_percent", Some(ee.percent));
        record.flag("ee_at_least", ee.at_least);
        record.text("ee_method", ee.method.as_ref());
    }
    record.text("role", s.role.map(Role::as_str));
    record.text("enantiomer_note", s.enantiomer_note.as_ref());
    record.text("as_printed", Some(&s.as_printed));
    record.text("place", s.place.as_ref());
    record.list("doubts", &s.doubts);
}

fn read_statement(fields: &mut Reader) -> Result<Statement, FieldError> {
    Ok(Statement {
        kind: fields.needed_word("kind", RotationKind::from_word)?,
        value: fields.printed("value")?,
        low: fields.printed("low")?,
        high: fields.printed("high")?,
        sign: fields.needed_word("sign", Sign::from_word)?,
        plus_minus: fields.printed("plus_minus")?,
        approx: fields.flag("approx")?.unwrap_or(false),
        temperature: temperature(fields)?,
        line: line(fields)?,
        solvent: solvent(fields)?,
        concentration: concentration(fields)?,
        path: match (fields.real("path_mm")?, fields.real("path_dm")?) {
            (Some(mm), _) => Some(Length::from_millimetres(mm)),
            (None, dm) => dm.map(Length::from_decimetres),
        },
        form: fields.text("form")?,
        basis: fields.text("basis")?,
        stage: fields.word("stage", Stage::from_word)?,
        time_note: fields.text("time_note")?,
        ee: excess(fields)?,
        role: fields.word("role", Role::from_word)?,
        enantiomer_note: fields.text("enantiomer_note")?,
        as_printed: fields.text("as_printed")?.unwrap_or_default(),
        place: fields.text("place")?,
        doubts: fields.list("doubts")?,
    })
}

fn temperature(fields: &mut Reader) -> Result<Option<StatedTemperature>, FieldError> {
    let at = fields.printed("temperature_c")?;
    let low = fields.printed("temperature_low")?;
    let high = fields.printed("temperature_high")?;
    let words = fields.text("temperature_note")?;
    match (at, low, high, words) {
        (None, None, None, None) => Ok(None),
        (Some(at), None, None, None) => Ok(Some(StatedTemperature::At(at))),
        (None, Some(low), Some(high), None) => Ok(Some(StatedTemperature::Range(low, high))),
        (None, None, None, Some(words)) => Ok(Some(StatedTemperature::Words(words))),
        _ => Err(wrong(
            "temperature_c",
            "several temperatures",
            "one temperature, a range with both ends, or words",
        )),
    }
}

fn line(fields: &mut Reader) -> Result<Option<SpectralLine>, FieldError> {
    let name = fields.text("line")?;
    let nanometres = fields.real("wavelength_nm")?;
    let medium = fields.text("wavelength_medium")?;
    match (name.as_deref(), nanometres) {
        (None, None) => Ok(None),
        (Some("D"), None) => Ok(Some(SpectralLine::SodiumD)),
        (Some(name), None) => Ok(Some(SpectralLine::Named(name.to_owned()))),
        (None, Some(nm)) => {
            let wavelength = match medium.as_deref() {
                Some("vacuum") => Wavelength::in_vacuum(nm),
                Some("air") | None => Wavelength::in_air(nm),
                Some(other) => return Err(wrong("wavelength_medium", other, "air or vacuum")),
            };
            wavelength
                .map(|wavelength| Some(SpectralLine::At(wavelength)))
                .map_err(|error| wrong("wavelength_nm", &nm.to_string(), &error.to_string()))
        }
        (Some(name), Some(_)) => Err(wrong("line", name, "a line or a wavelength, not both")),
    }
}

fn solvent(fields: &mut Reader) -> Result<Option<Solvent>, FieldError> {
    let Some(text) = fields.text("solvent")? else {
        return Ok(None);
    };
    Solvent::parse(&text)
        .or_else(|_| Solvent::parse_lenient(&text))
        .map(Some)
        .map_err(|_| wrong("solvent", &text, "a solvent"))
}

fn concentration(fields: &mut Reader) -> Result<Option<PrintedConcentration>, FieldError> {
    let one = fields.printed("conc")?;
    let low = fields.printed("conc_low")?;
    let high = fields.printed("conc_high")?;
    let unit = fields.word("conc_unit", ConcentrationUnit::from_name)?;
    let unit_printed = fields.flag("conc_unit_printed")?.unwrap_or(true);
    let (low, high) = match (one, low, high) {
        (None, None, None) => return Ok(None),
        (Some(one), None, None) => (one, None),
        (None, Some(low), Some(high)) => (low, Some(high)),
        _ => {
            return Err(wrong(
                "conc",
                "several concentrations",
                "one number or a range with both ends",
            ));
        }
    };
    let Some(unit) = unit else {
        return Err(wrong("conc_unit", "nothing", "the unit of the concentration"));
    };
    Ok(Some(PrintedConcentration {
        low,
        high,
        unit,
        unit_printed,
    }))
}

fn excess(fields: &mut Reader) -> Result<Option<StatedExcess>, FieldError> {
    let percent = fields.printed("ee_percent")?;
    let at_least = fields.flag("ee_at_least")?.unwrap_or(false);
    let method = fields.text("ee_method")?;
    Ok(percent.map(|percent| StatedExcess {
        percent,
        at_least,
        method,
    }))
}

/// Fields that are written one after the other.
#[derive(Default)]
struct Writer(Record);

impl Writer {
    fn put(&mut self, field: &str, cell: Cell) {
        self.0.insert(field.to_owned(), cell);
    }

    fn text(&mut self, field: &str, text: Option<impl Into<String>>) {
        if let Some(text) = text {
            self.put(field, Cell::Text(text.into()));
        }
    }

    fn list(&mut self, field: &str, texts: &[String]) {
        if !texts.is_empty() {
            self.put(field, Cell::List(texts.to_vec()));
        }
    }

    fn flag(&mut self, field: &str, flag: bool) {
        self.put(field, Cell::Flag(flag));
    }

    fn printed(&mut self, field: &str, number: Option<Printed>) {
        if let Some(number) = number {
            self.put(field, Cell::Number(number.into()));
        }
    }

    fn real(&mut self, field: &str, value: Option<f64>) {
        if let Some(value) = value {
            let decimals = None;
            self.put(field, Cell::Number(Figure { value, decimals }));
        }
    }
}

/// Fields that are taken one after the other; what is left at the end is not known.
struct Reader(Record);

impl Reader {
    fn text(&mut self, field: &str) -> Result<Option<String>, FieldError> {
        match self.0.remove(field) {
            None => Ok(None),
            Some(Cell::Text(text)) => Ok(Some(text)),
            Some(Cell::Number(figure)) => Ok(Some(figure.to_string())),
            Some(other) => Err(wrong(field, &other.to_string(), "a text")),
        }
    }

    fn needed(&mut self, field: &str, expected: &str) -> Result<String, FieldError> {
        self.text(field)?
            .filter(|text| !text.trim().is_empty())
            .ok_or_else(|| wrong(field, "nothing", expected))
    }

    fn list(&mut self, field: &str) -> Result<Vec<String>, FieldError> {
        match self.0.remove(field) {
            None => Ok(Vec::new()),
            Some(Cell::List(texts)) => Ok(texts),
            Some(other) => Err(wrong(field, &other.to_string(), "a list of texts")),
        }
    }

    fn flag(&mut self, field: &str) -> Result<Option<bool>, FieldError> {
        match self.0.remove(field) {
            None => Ok(None),
            Some(Cell::Flag(flag)) => Ok(Some(flag)),
            Some(other) => Err(wrong(field, &other.to_string(), "true or false")),
        }
    }

    fn word<T>(&mut self, field: &str, from_word: impl Fn(&str) -> Option<T>) -> Result<Option<T>, FieldError> {
        match self.text(field)? {
            None => Ok(None),
            Some(word) => from_word(&word)
                .map(Some)
                .ok_or_else(|| wrong(field, &word, "one of the words of this field")),
        }
    }

    fn needed_word<T>(&mut self, field: &str, from_word: impl Fn(&str) -> Option<T>) -> Result<T, FieldError> {
        self.word(field, from_word)?
            .ok_or_else(|| wrong(field, "nothing", "one of the words of this field"))
    }

    fn printed(&mut self, field: &str) -> Result<Option<Printed>, FieldError> {
        let Some(text) = self.text(field)? else {
            return Ok(None);
        };
        let number = match text.split_once(':') {
            Some((value, decimals)) => match (value.parse::<f64>(), decimals.parse()) {
                (Ok(value), Ok(decimals)) if Printed::is_held(value) => Some(Printed::new(value, decimals)),
                _ => None,
            },
            None => text.parse().ok(),
        };
        number.map(Some).ok_or_else(|| wrong(field, &text, "a number"))
    }

    fn real(&mut self, field: &str) -> Result<Option<f64>, FieldError> {
        let Some(text) = self.text(field)? else {
            return Ok(None);
        };
        match text.parse::<f64>() {
            Ok(value) if value.is_finite() && value > 0.0 => Ok(Some(value)),
            _ => Err(wrong(field, &text, "a number above zero")),
        }
    }

    fn end(self) -> Result<(), FieldError> {
        match self.0.into_iter().next() {
            None => Ok(()),
            Some((field, cell)) => Err(wrong(&field, &cell.to_string(), "nothing: there is no such field")),
        }
    }
}

fn wrong(field: &str, found: &str, expected: &str) -> FieldError {
    FieldError {
        field: field.to_owned(),
        found: match found {
            "nothing" => found.to_owned(),
            found => format!("\"{}\"", found.chars().take(60).collect::<String>()),
        },
        expected: expected.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn lists_come_back_from_their_text(texts in proptest::collection::vec("[a |\\\\b\n]{0,6}", 1..4)) {
            let joined = Cell::List(texts.clone()).to_string();
            prop_assert_eq!(split_list(&joined), texts);
        }

        #[test]
        fn numbers_keep_value_and_digits(value in -1e7..1e7f64, decimals in 0u8..13) {
            let printed = Printed::new(value, decimals);
            let mut record = Writer::default();
            record.printed("value", Some(printed));
            let text = record.0["value"].to_string();
            let mut fields = Reader(Record::from([("value".to_owned(), Cell::Text(text))]));
            prop_assert_eq!(fields.printed("value").unwrap(), Some(printed));
        }
    }
}
