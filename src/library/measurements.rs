//! Own measurements with their raw readings: added, listed, never changed. A correction is a new measurement that
//! supersedes the old one, which stays.

use super::Library;
use super::error::LibraryError;
use super::history;
use super::types::{Change, CompoundId};
use crate::measurement::{Reading, ReadingRole};
use crate::quantity::{Angle, Concentration, Length, SpecificRotation, Temperature};
use rusqlite::types::ValueRef;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// A measurement to be kept.
#[derive(Clone, Debug, PartialEq)]
pub struct NewMeasurement {
    /// Who read.
    pub operator: String,
    /// The sample.
    pub sample: String,
    /// The compound it is filed under.
    pub compound: Option<CompoundId>,
    /// The instrument, by its number in the register.
    pub instrument: Option<i64>,
    /// The cell, likewise.
    pub cell: Option<i64>,
    /// The measurement this one corrects.
    pub supersedes: Option<i64>,
    /// The specific rotation.
    pub value: SpecificRotation,
    /// Its standard uncertainty.
    pub uncertainty: SpecificRotation,
    /// Its degrees of freedom.
    pub degrees_of_freedom: Option<f64>,
    /// Concentration as weighed.
    pub concentration: Option<Concentration>,
    /// Conditions and result as they were shown.
    pub content: Value,
    /// The raw readings.
    pub readings: Vec<Reading>,
}

/// A kept measurement without its readings.
#[derive(Clone, Debug, PartialEq)]
pub struct Measurement {
    /// Number in this library.
    pub id: i64,
    /// Stable id.
    pub uid: String,
    /// When it was kept, RFC 3339 in UTC.
    pub at: String,
    /// Who read.
    pub operator: String,
    /// The sample.
    pub sample: String,
    /// The compound.
    pub compound: Option<CompoundId>,
    /// The instrument.
    pub instrument: Option<i64>,
    /// The cell.
    pub cell: Option<i64>,
    /// The one it corrects.
    pub supersedes: Option<i64>,
    /// The one that corrects it.
    pub superseded_by: Option<i64>,
    /// The specific rotation.
    pub value: SpecificRotation,
    /// Its standard uncertainty.
    pub uncertainty: SpecificRotation,
    /// Its degrees of freedom.
    pub degrees_of_freedom: Option<f64>,
    /// Concentration as weighed.
    pub concentration: Option<Concentration>,
    /// Conditions and result as they were shown.
    pub content: Value,
}

/// Which measurements are listed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MeasurementFilter {
    /// Of this compound.
    pub compound: Option<CompoundId>,
    /// By this operator, whatever the case.
    pub operator: Option<String>,
    /// Of this sample, whatever the case.
    pub sample: Option<String>,
    /// On or after this date, YYYY-MM-DD.
    pub since: Option<String>,
    /// On or before this date.
    pub until: Option<String>,
    /// Also those that another one corrects.
    pub with_superseded: bool,
    /// Most that are given back; all without it.
    pub most: Option<u32>,
}

const SELECT: &str = "SELECT m.id, m.uid, m.at, m.operator, m.sample, m.compound, m.instrument, m.cell, m.supersedes, \
    (SELECT id FROM measurement AS later WHERE later.supersedes = m.id), m.value, m.standard_uncertainty, \
    m.degrees_of_freedom, m.concentration, m.content FROM measurement AS m";

impl Library {
    /// Keeps measurements with their readings, all or none; their numbers come back in order.
    ///
    /// # Errors
    /// `Refused` without an operator or a sample, or when the one to be corrected is corrected already; `Unknown` when it, or
    /// the compound, is not there.
    pub fn add_measurements(&mut self, new: &[NewMeasurement], change: &Change) -> Result<Vec<i64>, LibraryError> {
        let compounds: Vec<Option<CompoundId>> = new
            .iter()
            .map(|it| {
                it.compound
                    .map(|id| self.compound(id).map(|found| found.id))
                    .transpose()
            })
            .collect::<Result<_, _>>()?;
        self.in_transaction(|tx| {
            new.iter()
                .zip(compounds)
                .map(|(it, compound)| add(tx, it, compound, change))
                .collect()
        })
    }

    /// The measurement with this number.
    ///
    /// # Errors
    /// `Unknown` when there is none.
    pub fn measurement(&self, id: i64) -> Result<Measurement, LibraryError> {
        self.connection
            .prepare_cached(&format!("{SELECT} WHERE m.id = ?"))?
            .query_row([id], from_row)
            .optional()?
            .ok_or_else(|| unknown(id))?
    }

    /// The measurements a filter lets through, newest first.
    pub fn measurements(&self, filter: &MeasurementFilter) -> Result<Vec<Measurement>, LibraryError> {
        let compound = filter
            .compound
            .map(|id| self.compound(id).map(|found| found.id.0))
            .transpose()?;
        let mut select = self.connection.prepare_cached(&format!(
            "{SELECT} WHERE (?1 IS NULL OR m.compound = ?1 OR m.compound IN (SELECT id FROM compound WHERE merged_into = ?1)) \
             AND (?2 IS NULL OR lower(m.operator) = lower(?2)) AND (?3 IS NULL OR lower(m.sample) = lower(?3)) \
             AND (?4 IS NULL OR substr(m.at, 1, 10) >= ?4) AND (?5 IS NULL OR substr(m.at, 1, 10) <= ?5) \
             AND (?6 OR NOT EXISTS (SELECT 1 FROM measurement AS later WHERE later.supersedes = m.id)) \
             ORDER BY m.id DESC LIMIT ?7"
        ))?;
        let rows = select.query_map(
            params![
                compound,
                filter.operator,
                filter.sample,
                filter.since,
                filter.until,
                filter.with_superseded,
                filter.most.map_or(-1, i64::from)
            ],
            from_row,
        )?;
        rows.map(|row| row?).collect()
    }

    /// Whether a measurement with its readings is what the history says was kept; if not, it was changed outside the program.
    ///
    /// # Errors
    /// When the library fails.
    pub fn measurement_is_intact(&self, id: i64) -> Result<bool, LibraryError> {
        is_intact(&self.connection, id)
    }

    /// The raw readings of a measurement, in the order in which they came.
    pub fn readings_of(&self, id: i64) -> Result<Vec<Reading>, LibraryError> {
        let mut select = self.connection.prepare_cached(
            "SELECT line, role, angle, seconds, temperature, wavelength, cell, concentration, sample, operator, filling, \
             preparation, absorbance, turbidity FROM reading WHERE measurement = ? ORDER BY number",
        )?;
        let rows = select.query_map([id], |row| {
            let role: String = row.get(1)?;
            Ok(Reading {
                line: row.get::<_, i64>(0)?.cast_unsigned(),
                role: match role.as_str() {
                    "blank" => ReadingRole::Blank,
                    "standard" => ReadingRole::Standard,
                    _ => ReadingRole::Sample,
                },
                angle: Angle::from_degrees(row.get(2)?),
                seconds: row.get(3)?,
                temperature: row.get::<_, Option<f64>>(4)?.map(Temperature::from_celsius),
                wavelength_nm: row.get(5)?,
                cell: row.get::<_, Option<f64>>(6)?.map(Length::from_decimetres),
                concentration: row
                    .get::<_, Option<f64>>(7)?
                    .map(Concentration::from_grams_per_100_millilitres),
                sample: row.get(8)?,
                operator: row.get(9)?,
                filling: row.get(10)?,
                preparation: row.get(11)?,
                absorbance: row.get(12)?,
                turbidity: row.get(13)?,
            })
        })?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

fn unknown(id: i64) -> LibraryError {
    LibraryError::Unknown {
        what: "measurement",
        id: id.to_string(),
    }
}

fn add(
    tx: &Transaction<'_>,
    new: &NewMeasurement,
    compound: Option<CompoundId>,
    change: &Change,
) -> Result<i64, LibraryError> {
    for (what, text) in [("an operator", &new.operator), ("a sample", &new.sample)] {
        if text.trim().is_empty() {
            return Err(LibraryError::Refused(format!(
                "a kept measurement needs {what}; name it"
            )));
        }
    }
    let mut before = None;
    if let Some(old) = new.supersedes {
        let uid: Option<String> = tx
            .query_row("SELECT uid FROM measurement WHERE id = ?", [old], |row| row.get(0))
            .optional()?;
        let uid = uid.ok_or_else(|| unknown(old))?;
        let by: Option<i64> = tx
            .query_row("SELECT id FROM measurement WHERE supersedes = ?", [old], |row| {
                row.get(0)
            })
            .optional()?;
        if let Some(by) = by {
            return Err(LibraryError::Refused(format!(
                "measurement {old} is superseded by {by} already; supersede that one"
            )));
        }
        before = Some((uid, json!({ "measurement": old })));
    }
    let uid = Uuid::now_v7().to_string();
    tx.prepare_cached(
        "INSERT INTO measurement (uid, at, operator, sample, compound, instrument, cell, supersedes, value, \
         standard_uncertainty, degrees_of_freedom, concentration, content) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )?
    .execute(params![
        uid,
        history::instant(change)?,
        new.operator.trim(),
        new.sample.trim(),
        compound.map(|id| id.0),
        new.instrument,
        new.cell,
        new.supersedes,
        new.value.conventional(),
        new.uncertainty.conventional(),
        new.degrees_of_freedom,
        new.concentration.map(Concentration::grams_per_100_millilitres),
        new.content.to_string(),
    ])?;
    let id = tx.last_insert_rowid();
    let mut insert = tx.prepare_cached(
        "INSERT INTO reading (measurement, number, line, role, angle, seconds, temperature, wavelength, cell, concentration, \
         sample, operator, filling, preparation, absorbance, turbidity) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
    )?;
    for (number, reading) in (1i64..).zip(&new.readings) {
        insert.execute(params![
            id,
            number,
            reading.line.cast_signed(),
            reading.role.as_str(),
            reading.angle.degrees(),
            reading.seconds,
            reading.temperature.map(Temperature::celsius),
            reading.wavelength_nm,
            reading.cell.map(Length::decimetres),
            reading.concentration.map(Concentration::grams_per_100_millilitres),
            reading.sample,
            reading.operator,
            reading.filling,
            reading.preparation,
            reading.absorbance,
            reading.turbidity,
        ])?;
    }
    let after = json!({
        "sample": new.sample.trim(),
        "operator": new.operator.trim(),
        "value": new.value.conventional(),
        "standard_uncertainty": new.uncertainty.conventional(),
        "n_readings": new.readings.len(),
        "supersedes": before.as_ref().map(|(uid, _)| uid),
        "record_sha256": record_digest(tx, id)?,
    });
    history::record(tx, change, "add", "measurement", &uid, None, Some(&after))?;
    if let Some((old_uid, old)) = before {
        let by = json!({ "superseded_by": uid });
        history::record(tx, change, "supersede", "measurement", &old_uid, Some(&old), Some(&by))?;
    }
    Ok(id)
}

/// SHA-256 over all that is kept of a measurement and of its readings, hexadecimal. The columns are named here, so that a
/// column added later changes no digest.
fn record_digest(connection: &Connection, id: i64) -> Result<String, LibraryError> {
    let mut hasher = Sha256::new();
    for sql in [
        "SELECT uid, at, operator, sample, compound, instrument, cell, supersedes, value, standard_uncertainty, \
         degrees_of_freedom, concentration, content FROM measurement WHERE id = ?",
        "SELECT number, line, role, angle, seconds, temperature, wavelength, cell, concentration, sample, operator, filling, \
         preparation, absorbance, turbidity FROM reading WHERE measurement = ? ORDER BY number",
    ] {
        let mut select = connection.prepare_cached(sql)?;
        let n_columns = select.column_count();
        let mut rows = select.query([id])?;
        while let Some(row) = rows.next()? {
            let fields = (0..n_columns).map(|at| {
                Ok(match row.get_ref(at)? {
                    ValueRef::Null => Value::Null,
                    ValueRef::Integer(n) => json!(n),
                    ValueRef::Real(x) => json!(x),
                    ValueRef::Text(text) | ValueRef::Blob(text) => json!(String::from_utf8_lossy(text)),
                })
            });
            let fields: Vec<Value> = fields.collect::<Result<_, rusqlite::Error>>()?;
            let text = Value::from(fields).to_string();
            hasher.update((text.len() as u64).to_le_bytes());
            hasher.update(text.as_bytes());
        }
    }
    Ok(history::hexadecimal(&hasher.finalize()))
}

/// Whether a measurement with its readings is what the history says was kept. One that was kept before the history held a
/// digest is compared in the fields it names.
fn is_intact(connection: &Connection, id: i64) -> Result<bool, LibraryError> {
    let mut select = connection.prepare_cached(
        "SELECT m.at, line.at, line.after, json_object('sample', m.sample, 'operator', m.operator, \
         'n_readings', (SELECT count(*) FROM reading WHERE measurement = m.id), \
         'supersedes', (SELECT uid FROM measurement AS old WHERE old.id = m.supersedes)), m.value, m.standard_uncertainty \
         FROM measurement AS m LEFT JOIN history AS line \
         ON line.entity_uid = m.uid AND line.entity = 'measurement' AND line.action = 'add' WHERE m.id = ?",
    )?;
    let mut rows = select.query([id])?;
    let Some(row) = rows.next()? else {
        return Ok(false);
    };
    let at: String = row.get(0)?;
    let said_at: Option<String> = row.get(1)?;
    let after: Option<String> = row.get(2)?;
    let said: Value = (after.and_then(|after| serde_json::from_str(&after).ok())).unwrap_or_default();
    let held: String = row.get(3)?;
    let held: Value = serde_json::from_str(&held).unwrap_or_default();
    let words = ["sample", "operator", "n_readings", "supersedes"];
    let numbers = [("value", row.get::<_, f64>(4)?), ("standard_uncertainty", row.get(5)?)];
    let is_same = said_at.as_deref() == Some(at.as_str())
        && words.iter().all(|word| said[word] == held[word])
        && (numbers.iter()).all(|(name, value)| said[name].as_f64().is_some_and(|said| is_near(said, *value)));
    Ok(is_same
        && match said["record_sha256"].as_str() {
            Some(digest) => record_digest(connection, id)? == digest,
            None => true,
        })
}

/// Measurements that are not what the history says was kept, or are gone, or were never kept; readings count. Their stable
/// ids are added to `changed`.
pub(super) fn changed_outside(connection: &Connection, changed: &mut Vec<String>) -> Result<(), LibraryError> {
    let mut select = connection.prepare("SELECT id, uid FROM measurement ORDER BY id")?;
    let mut rows = select.query([])?;
    while let Some(row) = rows.next()? {
        if !is_intact(connection, row.get(0)?)? {
            changed.push(row.get(1)?);
        }
    }
    history::gone(connection, "measurement", "measurement", changed)
}

/// Whether two numbers are the same but for what reading a number from JSON may change of its last digit.
fn is_near(one: f64, other: f64) -> bool {
    (one - other).abs() <= 4.0 * f64::EPSILON * other.abs()
}

fn from_row(row: &Row<'_>) -> Result<Result<Measurement, LibraryError>, rusqlite::Error> {
    let content: String = row.get(14)?;
    let Ok(content) = serde_json::from_str(&content) else {
        return Ok(Err(LibraryError::Stored {
            what: "measurement",
            value: content,
        }));
    };
    Ok(Ok(Measurement {
        id: row.get(0)?,
        uid: row.get(1)?,
        at: row.get(2)?,
        operator: row.get(3)?,
        sample: row.get(4)?,
        compound: row.get::<_, Option<i64>>(5)?.map(CompoundId),
        instrument: row.get(6)?,
        cell: row.get(7)?,
        supersedes: row.get(8)?,
        superseded_by: row.get(9)?,
        value: SpecificRotation::from_conventional(row.get(10)?),
        uncertainty: SpecificRotation::from_conventional(row.get(11)?),
        degrees_of_freedom: row.get(12)?,
        concentration: row
            .get::<_, Option<f64>>(13)?
            .map(Concentration::from_grams_per_100_millilitres),
        content,
    }))
}
