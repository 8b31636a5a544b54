//! Rows of the store to plain data and back. Every number goes with its printed digits, so a statement read back is
//! the statement that was written.

use super::error::LibraryError;
use super::types::{
    Chirality, Compound, CompoundId, Entry, EntryContent, EntryId, EntryKind, Hand, Identity, LimitMethod, ReviewState,
    Source, SourceId, SourceKind,
};
use crate::quantity::{ConcentrationUnit, Length, Medium, MolarMass, Printed, SpectralLine, Wavelength};
use crate::solvent::Solvent;
use crate::statement::{
    PrintedConcentration, Role, RotationKind, Sign, Stage, StatedExcess, StatedTemperature, Statement,
};
use rusqlite::types::{FromSql, Value, ValueRef};
use rusqlite::{Connection, Row};
use std::sync::LazyLock;

/// The columns that hold what an entry says, in the order in which they are written and read.
const CONTENT_COLUMNS: &str = "compound, source, kind, identity, hand, state, kept_out, substance, seen, comment, \
    preparation, divide_by, divide_by_decimals, rotation, value, value_decimals, low, low_decimals, high, \
    high_decimals, sign, plus_minus, plus_minus_decimals, approx, temperature, temperature_decimals, \
    temperature_high, temperature_high_decimals, temperature_words, line, wavelength, medium, line_name, solvent, \
    concentration, concentration_decimals, concentration_high, concentration_high_decimals, concentration_unit, \
    concentration_unit_printed, path, form, basis, stage, time_note, ee, ee_decimals, ee_at_least, ee_method, role, \
    enantiomer_note, as_printed, place, doubts";

/// Reads whole entries; a condition is to follow.
pub(super) static SELECT_ENTRY: LazyLock<String> =
    LazyLock::new(|| format!("SELECT id, uid, revision, {CONTENT_COLUMNS} FROM entry"));

/// Adds an entry: content, then uid, revision, batch.
pub(super) static INSERT_ENTRY: LazyLock<String> = LazyLock::new(|| {
    let n_columns = CONTENT_COLUMNS.split(',').count() + 3;
    let marks = vec!["?"; n_columns].join(", ");
    format!("INSERT INTO entry ({CONTENT_COLUMNS}, uid, revision, batch) VALUES ({marks})")
});

/// Replaces the content of an entry: content, then its number.
pub(super) static UPDATE_ENTRY: LazyLock<String> = LazyLock::new(|| {
    let assignments: Vec<String> = CONTENT_COLUMNS
        .split(',')
        .map(|column| format!("{} = ?", column.trim()))
        .collect();
    format!(
        "UPDATE entry SET {}, revision = revision + 1 WHERE id = ?",
        assignments.join(", ")
    )
});

/// The values of [`CONTENT_COLUMNS`].
pub(super) fn content_values(content: &EntryContent) -> Vec<Value> {
    let mut row = Values::default();
    let statement = &content.statement;
    row.integer(content.compound.0);
    row.integer(content.source.0);
    row.word(content.kind.as_str());
    row.word(content.identity.as_str());
    row.word(content.hand.as_str());
    row.word(content.state.as_str());
    row.text(content.kept_out.as_deref());
    row.text(content.substance.as_deref());
    row.text(content.seen.as_deref());
    row.text(content.comment.as_deref());
    row.text(content.method.as_ref().and_then(|method| method.preparation.as_deref()));
    row.printed(content.method.as_ref().and_then(|method| method.divide_by));
    row.word(RotationKind::as_str(statement.kind));
    row.printed(statement.value);
    row.printed(statement.low);
    row.printed(statement.high);
    row.word(Sign::as_str(statement.sign));
    row.printed(statement.plus_minus);
    row.integer(i64::from(statement.approx));
    match &statement.temperature {
        None => row.nulls(5),
        Some(StatedTemperature::At(at)) => {
            row.printed(Some(*at));
            row.nulls(3);
        }
        Some(StatedTemperature::Range(low, high)) => {
            row.printed(Some(*low));
            row.printed(Some(*high));
            row.nulls(1);
        }
        Some(StatedTemperature::Words(words)) => {
            row.nulls(4);
            row.word(words);
        }
    }
    match &statement.line {
        None => row.nulls(4),
        Some(SpectralLine::SodiumD) => {
            row.word("sodium-D");
            row.nulls(3);
        }
        Some(SpectralLine::At(wavelength)) => {
            row.word("wavelength");
            row.real(Some(wavelength.nanometres()));
            row.word(match wavelength.medium() {
                Medium::Air => "air",
                Medium::Vacuum => "vacuum",
            });
            row.nulls(1);
        }
        Some(SpectralLine::Named(name)) => {
            row.word("named");
            row.nulls(2);
            row.word(name);
        }
    }
    row.text(statement.solvent.as_ref().map(ToString::to_string).as_deref());
    match &statement.concentration {
        None => row.nulls(6),
        Some(concentration) => {
            row.printed(Some(concentration.low));
            row.printed(concentration.high);
            row.word(concentration.unit.as_str());
            row.integer(i64::from(concentration.unit_printed));
        }
    }
    row.real(statement.path.map(Length::decimetres));
    row.text(statement.form.as_deref());
    row.text(statement.basis.as_deref());
    row.text(statement.stage.map(Stage::as_str));
    row.text(statement.time_note.as_deref());
    match &statement.ee {
        None => row.nulls(4),
        Some(ee) => {
            row.printed(Some(ee.percent));
            row.integer(i64::from(ee.at_least));
            row.text(ee.method.as_deref());
        }
    }
    row.text(statement.role.map(Role::as_str));
    row.text(statement.enantiomer_note.as_deref());
    row.word(&statement.as_printed);
    row.text(statement.place.as_deref());
    row.word(&serde_json::Value::from(statement.doubts.clone()).to_string());
    row.0
}

/// Reads one row of [`SELECT_ENTRY`].
pub(super) fn entry_from_row(row: &Row<'_>) -> Result<Entry, LibraryError> {
    let mut fields = Fields { row, at: 0 };
    let id = EntryId(fields.get()?);
    let uid = fields.get()?;
    let revision = fields.get()?;
    let compound = CompoundId(fields.get()?);
    let source = SourceId(fields.get()?);
    let kind = fields.word("kind of entry", EntryKind::from_word)?;
    let identity = fields.word("identity", Identity::from_word)?;
    let hand = fields.word("hand", Hand::from_word)?;
    let state = fields.word("review state", ReviewState::from_word)?;
    let kept_out = fields.get()?;
    let substance = fields.get()?;
    let seen = fields.get()?;
    let comment = fields.get()?;
    let method = LimitMethod {
        preparation: fields.get()?,
        divide_by: fields.printed()?,
    };
    Ok(Entry {
        id,
        uid,
        compound,
        source,
        kind,
        statement: statement(&mut fields)?,
        identity,
        hand,
        state,
        kept_out,
        substance,
        seen,
        comment,
        method: (method != LimitMethod::default()).then_some(method),
        revision,
    })
}

fn statement(fields: &mut Fields<'_, '_>) -> Result<Statement, LibraryError> {
    Ok(Statement {
        kind: fields.word("kind of rotation", RotationKind::from_word)?,
        value: fields.printed()?,
        low: fields.printed()?,
        high: fields.printed()?,
        sign: fields.word("sign", Sign::from_word)?,
        plus_minus: fields.printed()?,
        approx: fields.get()?,
        temperature: temperature(fields)?,
        line: line(fields)?,
        solvent: solvent(fields)?,
        concentration: concentration(fields)?,
        path: fields.get::<Option<f64>>()?.map(Length::from_decimetres),
        form: fields.get()?,
        basis: fields.get()?,
        stage: fields.optional_word("stage", Stage::from_word)?,
        time_note: fields.get()?,
        ee: excess(fields)?,
        role: fields.optional_word("role", Role::from_word)?,
        enantiomer_note: fields.get()?,
        as_printed: fields.get()?,
        place: fields.get()?,
        doubts: {
            let text: String = fields.get()?;
            serde_json::from_str(&text).map_err(|_| LibraryError::Stored {
                what: "list of doubts",
                value: text,
            })?
        },
    })
}

fn temperature(fields: &mut Fields<'_, '_>) -> Result<Option<StatedTemperature>, LibraryError> {
    let low = fields.printed()?;
    let high = fields.printed()?;
    let words: Option<String> = fields.get()?;
    Ok(match (low, high, words) {
        (Some(low), Some(high), _) => Some(StatedTemperature::Range(low, high)),
        (Some(at), None, _) => Some(StatedTemperature::At(at)),
        (None, _, Some(words)) => Some(StatedTemperature::Words(words)),
        (None, _, None) => None,
    })
}

fn line(fields: &mut Fields<'_, '_>) -> Result<Option<SpectralLine>, LibraryError> {
    let line: Option<String> = fields.get()?;
    let nanometres: Option<f64> = fields.get()?;
    let medium: Option<String> = fields.get()?;
    let name: Option<String> = fields.get()?;
    let Some(line) = line else { return Ok(None) };
    let wavelength = match (nanometres, medium.as_deref()) {
        (Some(nanometres), Some("vacuum")) => Wavelength::in_vacuum(nanometres).ok(),
        (Some(nanometres), _) => Wavelength::in_air(nanometres).ok(),
        (None, _) => None,
    };
    match (line.as_str(), wavelength, name) {
        ("sodium-D", _, _) => Ok(Some(SpectralLine::SodiumD)),
        ("wavelength", Some(wavelength), _) => Ok(Some(SpectralLine::At(wavelength))),
        ("named", _, Some(name)) => Ok(Some(SpectralLine::Named(name))),
        _ => Err(LibraryError::Stored {
            what: "line",
            value: format!("{line} {nanometres:?}"),
        }),
    }
}

fn solvent(fields: &mut Fields<'_, '_>) -> Result<Option<Solvent>, LibraryError> {
    let text: Option<String> = fields.get()?;
    let Some(text) = text else { return Ok(None) };
    match Solvent::parse(&text).or_else(|_| Solvent::parse_lenient(&text)) {
        Ok(solvent) => Ok(Some(solvent)),
        Err(_) => Err(LibraryError::Stored {
            what: "solvent",
            value: text,
        }),
    }
}

fn concentration(fields: &mut Fields<'_, '_>) -> Result<Option<PrintedConcentration>, LibraryError> {
    let low = fields.printed()?;
    let high = fields.printed()?;
    let unit = fields.optional_word("unit of concentration", ConcentrationUnit::from_name)?;
    let unit_printed: Option<bool> = fields.get()?;
    Ok(match (low, unit) {
        (Some(low), Some(unit)) => Some(PrintedConcentration {
            low,
            high,
            unit,
            unit_printed: unit_printed.unwrap_or(true),
        }),
        _ => None,
    })
}

fn excess(fields: &mut Fields<'_, '_>) -> Result<Option<StatedExcess>, LibraryError> {
    let percent = fields.printed()?;
    let at_least: Option<bool> = fields.get()?;
    let method = fields.get()?;
    Ok(percent.map(|percent| StatedExcess {
        percent,
        at_least: at_least.unwrap_or(false),
        method,
    }))
}

/// Reads compounds without their names and numbers; a condition is to follow.
pub(super) const SELECT_COMPOUND: &str = "SELECT id, uid, name, smiles, inchi, inchikey, descriptor, formula, \
    molar_mass, chirality, mirror_key, parent_key FROM compound";

/// Reads one row of [`SELECT_COMPOUND`] and the compound's other names and CAS numbers.
pub(super) fn compound_from_row(connection: &Connection, row: &Row<'_>) -> Result<Compound, LibraryError> {
    let mut fields = Fields { row, at: 0 };
    let id: i64 = fields.get()?;
    let uid = fields.get()?;
    let name: String = fields.get()?;
    let texts = |sql: &str| -> Result<Vec<String>, rusqlite::Error> {
        connection
            .prepare_cached(sql)?
            .query_map([id], |row| row.get(0))?
            .collect()
    };
    Ok(Compound {
        id: CompoundId(id),
        uid,
        name,
        other_names: texts("SELECT name FROM compound_name WHERE compound = ? AND kind = 'other' ORDER BY id")?,
        cas: texts("SELECT number FROM cas_number WHERE compound = ? ORDER BY number")?,
        smiles: fields.get()?,
        inchi: fields.get()?,
        inchikey: fields.get()?,
        descriptor: fields.get()?,
        formula: fields.get()?,
        molar_mass: fields.get::<Option<f64>>()?.map(MolarMass::from_grams_per_mole),
        chirality: fields.word("chirality", Chirality::from_word)?,
        mirror_key: fields.get()?,
        parent_key: fields.get()?,
    })
}

/// Reads sources; a condition is to follow.
pub(super) const SELECT_SOURCE: &str = "SELECT id, uid, kind, citation, doi, year, url FROM source";

/// Reads one row of [`SELECT_SOURCE`].
pub(super) fn source_from_row(row: &Row<'_>) -> Result<Source, LibraryError> {
    let mut fields = Fields { row, at: 0 };
    Ok(Source {
        id: SourceId(fields.get()?),
        uid: fields.get()?,
        kind: fields.word("kind of source", SourceKind::from_word)?,
        citation: fields.get()?,
        doi: fields.get()?,
        year: fields.get()?,
        url: fields.get()?,
    })
}

/// A record of any table as JSON, without its empty fields: what the history keeps of it.
pub(super) fn row_as_json(
    connection: &Connection,
    table: &str,
    id: i64,
) -> Result<Option<serde_json::Value>, LibraryError> {
    let mut found = None;
    rows_as_json(connection, &format!("SELECT * FROM {table} WHERE id = ?"), id, |row| {
        found = Some(row);
    })?;
    Ok(found)
}

/// The records a query with one number selects, each as JSON, without empty fields.
pub(super) fn rows_as_json(
    connection: &Connection,
    sql: &str,
    number: i64,
    mut visit: impl FnMut(serde_json::Value),
) -> Result<(), LibraryError> {
    let mut select = connection.prepare_cached(sql)?;
    // In the order of the names, however the JSON library keeps its objects: the text is hashed.
    let mut columns: Vec<(usize, String)> = select
        .column_names()
        .iter()
        .map(ToString::to_string)
        .enumerate()
        .collect();
    columns.sort_by(|(_, a), (_, b)| a.cmp(b));
    let mut rows = select.query([number])?;
    while let Some(row) = rows.next()? {
        let mut fields = serde_json::Map::new();
        for (at, name) in &columns {
            let value = match row.get_ref(*at)? {
                ValueRef::Null => continue,
                ValueRef::Integer(number) => number.into(),
                ValueRef::Real(number) => number.into(),
                ValueRef::Text(text) | ValueRef::Blob(text) => String::from_utf8_lossy(text).into_owned().into(),
            };
            fields.insert(name.clone(), value);
        }
        visit(fields.into());
    }
    Ok(())
}

/// Column values in order.
#[derive(Default)]
struct Values(Vec<Value>);

impl Values {
    fn nulls(&mut self, n: usize) {
        self.0.extend(std::iter::repeat_n(Value::Null, n));
    }

    fn integer(&mut self, number: i64) {
        self.0.push(Value::Integer(number));
    }

    fn real(&mut self, number: Option<f64>) {
        self.0.push(number.map_or(Value::Null, Value::Real));
    }

    fn word(&mut self, word: &str) {
        self.0.push(Value::Text(word.to_owned()));
    }

    fn text(&mut self, text: Option<&str>) {
        self.0
            .push(text.map_or(Value::Null, |text| Value::Text(text.to_owned())));
    }

    fn printed(&mut self, number: Option<Printed>) {
        match number {
            None => self.nulls(2),
            Some(number) => {
                self.real(Some(number.value()));
                self.integer(i64::from(number.decimals()));
            }
        }
    }
}

/// Columns read one after the other.
struct Fields<'row, 'statement> {
    row: &'row Row<'statement>,
    at: usize,
}

impl Fields<'_, '_> {
    fn get<T: FromSql>(&mut self) -> Result<T, LibraryError> {
        let value = self.row.get(self.at)?;
        self.at += 1;
        Ok(value)
    }

    fn printed(&mut self) -> Result<Option<Printed>, LibraryError> {
        let value: Option<f64> = self.get()?;
        let decimals: Option<u8> = self.get()?;
        Ok(value.map(|value| Printed::new(value, decimals.unwrap_or(0))))
    }

    fn optional_word<T>(
        &mut self,
        what: &'static str,
        from_word: impl Fn(&str) -> Option<T>,
    ) -> Result<Option<T>, LibraryError> {
        let word: Option<String> = self.get()?;
        match word {
            None => Ok(None),
            Some(word) => from_word(&word)
                .map(Some)
                .ok_or(LibraryError::Stored { what, value: word }),
        }
    }

    fn word<T>(&mut self, what: &'static str, from_word: impl Fn(&str) -> Option<T>) -> Result<T, LibraryError> {
        self.optional_word(what, from_word)?.ok_or(LibraryError::Stored {
            what,
            value: "nothing".to_owned(),
        })
    }
}
