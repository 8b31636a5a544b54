//! What the library keeps of shared instruments: equipment by name, loans, and checks against control standards. What a
//! record's fields mean is the business of [`crate::instrument::register`]; here they are one JSON object.

use super::Library;
use super::error::LibraryError;
use super::history;
use super::types::Change;
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde_json::{Value, json};
use uuid::Uuid;

/// What a piece of equipment is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum EquipmentKind {
    /// A polarimeter.
    Instrument,
    /// A cell.
    Cell,
    /// How a kind of measurement is made.
    Preset,
    /// A control standard: a quartz plate or a solution.
    Standard,
}

impl EquipmentKind {
    /// All kinds.
    pub const ALL: [Self; 4] = [Self::Instrument, Self::Cell, Self::Preset, Self::Standard];
    /// Their words, in the same order.
    pub const WORDS: &'static [&'static str] = &["instrument", "cell", "preset", "standard"];

    /// The word it is stored as.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Instrument => "instrument",
            Self::Cell => "cell",
            Self::Preset => "preset",
            Self::Standard => "standard",
        }
    }

    /// The kind a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == word)
    }
}

impl std::fmt::Display for EquipmentKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.as_str())
    }
}

/// A piece of equipment.
#[derive(Clone, Debug, PartialEq)]
pub struct Equipment {
    /// Number in this library.
    pub id: i64,
    /// Stable id.
    pub uid: String,
    /// What it is.
    pub kind: EquipmentKind,
    /// What it is called in the laboratory.
    pub name: String,
    /// Its fields.
    pub content: Value,
    /// When it was taken out of use, RFC 3339 in UTC.
    pub retired_at: Option<String>,
    /// Grows by one with each change.
    pub revision: i64,
}

/// A loan.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Loan {
    /// Stable id.
    pub uid: String,
    /// Who has it.
    pub borrower: String,
    /// Since when, YYYY-MM-DD.
    pub lent_on: String,
    /// Until when.
    pub due_on: Option<String>,
    /// When it came back.
    pub back_on: Option<String>,
}

/// A control standard read on an instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlCheck {
    /// Number in this library.
    pub id: i64,
    /// Stable id.
    pub uid: String,
    /// The instrument.
    pub instrument: i64,
    /// The standard.
    pub standard: i64,
    /// When it was read, RFC 3339 in UTC.
    pub at: String,
    /// By whom.
    pub operator: String,
    /// Readings, expected value, result.
    pub content: Value,
    /// When it was struck out.
    pub struck_at: Option<String>,
}

const EQUIPMENT: &str = "SELECT id, uid, kind, name, content, retired_at, revision FROM equipment";
const CHECK: &str = "SELECT id, uid, instrument, standard, at, operator, content, struck_at FROM control_check";

impl Library {
    /// All equipment of one kind, or of all kinds, by kind and name.
    pub fn equipment(&self, kind: Option<EquipmentKind>, with_retired: bool) -> Result<Vec<Equipment>, LibraryError> {
        let mut select = self.connection.prepare_cached(&format!(
            "{EQUIPMENT} WHERE (?1 IS NULL OR kind = ?1) AND (?2 OR retired_at IS NULL) ORDER BY kind, lower(name), id"
        ))?;
        let rows = select.query_map(
            params![kind.map(EquipmentKind::as_str), with_retired],
            equipment_from_row,
        )?;
        rows.map(|row| equipment_from_parts(row?)).collect()
    }

    /// The equipment in use of that kind and name, whatever the case of its letters.
    pub fn equipment_named(&self, kind: EquipmentKind, name: &str) -> Result<Option<Equipment>, LibraryError> {
        equipment_named(&self.connection, kind, name)
    }

    /// The equipment with that number.
    ///
    /// # Errors
    /// `Unknown` when there is none.
    pub fn equipment_by_id(&self, id: i64) -> Result<Equipment, LibraryError> {
        by_id(&self.connection, id)
    }

    /// Adds a piece of equipment.
    ///
    /// # Errors
    /// `Refused` when the name is empty or in use for that kind.
    pub fn add_equipment(
        &mut self,
        kind: EquipmentKind,
        name: &str,
        content: &Value,
        change: &Change,
    ) -> Result<Equipment, LibraryError> {
        let name = name.trim();
        if name.is_empty() {
            return Err(LibraryError::Refused(format!("the {kind} has no name; give it one")));
        }
        self.in_transaction(|tx| {
            // Asked within the transaction: another process may be adding the same name.
            if equipment_named(tx, kind, name)?.is_some() {
                return Err(LibraryError::Refused(format!(
                    "there is a {kind} \"{name}\" already; change it, or choose another name"
                )));
            }
            let uid = Uuid::now_v7().to_string();
            tx.execute(
                "INSERT INTO equipment (uid, kind, name, content, revision) VALUES (?, ?, ?, ?, 1)",
                (&uid, kind.as_str(), name, content.to_string()),
            )?;
            let id = tx.last_insert_rowid();
            let after = json!({"name": name, "content": content});
            history::record(tx, change, "add", kind.as_str(), &uid, None, Some(&after))?;
            by_id(tx, id)
        })
    }

    /// Changes the fields of a piece of equipment. `seen` is the revision that the change was made from.
    ///
    /// # Errors
    /// `Refused` when somebody changed it since, or it is retired.
    pub fn change_equipment(
        &mut self,
        id: i64,
        seen: i64,
        content: &Value,
        change: &Change,
    ) -> Result<Equipment, LibraryError> {
        self.in_transaction(|tx| {
            let before = in_use(tx, id)?;
            if before.revision != seen {
                return Err(LibraryError::Refused(format!(
                    "the {} \"{}\" was changed by somebody else meanwhile; look at it again",
                    before.kind, before.name
                )));
            }
            tx.execute(
                "UPDATE equipment SET content = ?, revision = revision + 1 WHERE id = ?",
                (content.to_string(), id),
            )?;
            history::record(
                tx,
                change,
                "edit",
                before.kind.as_str(),
                &before.uid,
                Some(&before.content),
                Some(content),
            )?;
            by_id(tx, id)
        })
    }

    /// Takes a piece of equipment out of use; its records stay.
    ///
    /// # Errors
    /// `Refused` when it is retired already, or lent.
    pub fn retire_equipment(&mut self, id: i64, change: &Change) -> Result<Equipment, LibraryError> {
        self.in_transaction(|tx| {
            let before = in_use(tx, id)?;
            if let Some(loan) = open_loan(tx, id)? {
                return Err(LibraryError::Refused(format!(
                    "the {} \"{}\" is lent to {}; take it back first",
                    before.kind, before.name, loan.borrower
                )));
            }
            tx.execute(
                "UPDATE equipment SET retired_at = ?, revision = revision + 1 WHERE id = ?",
                (history::instant(change)?, id),
            )?;
            history::record(
                tx,
                change,
                "withdraw",
                before.kind.as_str(),
                &before.uid,
                Some(&before.content),
                None,
            )?;
            by_id(tx, id)
        })
    }

    /// The loan that is not back yet.
    pub fn open_loan(&self, equipment: i64) -> Result<Option<Loan>, LibraryError> {
        open_loan(&self.connection, equipment)
    }

    /// Lends a piece of equipment. Dates are YYYY-MM-DD.
    ///
    /// # Errors
    /// `Refused` when it is lent already.
    pub fn lend(
        &mut self,
        id: i64,
        borrower: &str,
        lent_on: &str,
        due_on: Option<&str>,
        change: &Change,
    ) -> Result<Loan, LibraryError> {
        self.in_transaction(|tx| {
            let what = in_use(tx, id)?;
            if let Some(loan) = open_loan(tx, id)? {
                return Err(LibraryError::Refused(format!(
                    "the {} \"{}\" is lent to {} since {}; take it back first",
                    what.kind, what.name, loan.borrower, loan.lent_on
                )));
            }
            let uid = Uuid::now_v7().to_string();
            tx.execute(
                "INSERT INTO loan (uid, equipment, borrower, lent_on, due_on) VALUES (?, ?, ?, ?, ?)",
                (&uid, id, borrower, lent_on, due_on),
            )?;
            let after = json!({"loan": uid, "to": borrower, "on": lent_on, "until": due_on});
            history::record(tx, change, "lend", what.kind.as_str(), &what.uid, None, Some(&after))?;
            open_loan(tx, id)?.ok_or(LibraryError::Unknown { what: "loan", id: uid })
        })
    }

    /// Takes a piece of equipment back.
    ///
    /// # Errors
    /// `Refused` when it is not lent.
    pub fn take_back(&mut self, id: i64, back_on: &str, change: &Change) -> Result<Loan, LibraryError> {
        self.in_transaction(|tx| {
            let what = by_id(tx, id)?;
            let Some(mut loan) = open_loan(tx, id)? else {
                return Err(LibraryError::Refused(format!(
                    "the {} \"{}\" is not lent",
                    what.kind, what.name
                )));
            };
            tx.execute("UPDATE loan SET back_on = ? WHERE uid = ?", (back_on, &loan.uid))?;
            let before = json!({"loan": loan.uid, "to": loan.borrower, "on": loan.lent_on});
            history::record(
                tx,
                change,
                "take-back",
                what.kind.as_str(),
                &what.uid,
                Some(&before),
                None,
            )?;
            loan.back_on = Some(back_on.to_owned());
            Ok(loan)
        })
    }

    /// Checks of an instrument, or of all, with one standard, or with any, oldest first; struck ones are left out.
    pub fn control_checks(
        &self,
        instrument: Option<i64>,
        standard: Option<i64>,
    ) -> Result<Vec<ControlCheck>, LibraryError> {
        let mut select = self.connection.prepare_cached(&format!(
            "{CHECK} WHERE (?1 IS NULL OR instrument = ?1) AND (?2 IS NULL OR standard = ?2) AND struck_at IS NULL \
             ORDER BY at, id"
        ))?;
        let rows = select.query_map(params![instrument, standard], check_from_row)?;
        rows.map(|row| check_from_parts(row?)).collect()
    }

    /// Keeps a check. `at` is RFC 3339 in UTC.
    pub fn add_control_check(
        &mut self,
        (instrument, standard): (&Equipment, &Equipment),
        at: &str,
        operator: &str,
        content: &Value,
        change: &Change,
    ) -> Result<ControlCheck, LibraryError> {
        self.in_transaction(|tx| {
            let uid = Uuid::now_v7().to_string();
            tx.execute(
                "INSERT INTO control_check (uid, instrument, standard, at, operator, content) VALUES (?, ?, ?, ?, ?, ?)",
                (&uid, instrument.id, standard.id, at, operator, content.to_string()),
            )?;
            let id = tx.last_insert_rowid();
            let after = json!({
                "instrument": instrument.uid, "standard": standard.uid, "at": at, "operator": operator,
                "content": content,
            });
            history::record(tx, change, "add", "control-check", &uid, None, Some(&after))?;
            check_by_id(tx, id)
        })
    }

    /// Strikes a check out, with a reason; it stays in the file and its history.
    ///
    /// # Errors
    /// `Unknown` when there is no such check, `Refused` without a reason or when it is struck already.
    pub fn strike_control_check(&mut self, id: i64, change: &Change) -> Result<ControlCheck, LibraryError> {
        if change.why.trim().is_empty() {
            return Err(LibraryError::Refused(
                "a check is struck out with a reason; say why".to_owned(),
            ));
        }
        self.in_transaction(|tx| {
            let before = check_by_id(tx, id)?;
            if before.struck_at.is_some() {
                return Err(LibraryError::Refused(format!("check {id} is struck out already")));
            }
            tx.execute(
                "UPDATE control_check SET struck_at = ? WHERE id = ?",
                (history::instant(change)?, id),
            )?;
            history::record(
                tx,
                change,
                "withdraw",
                "control-check",
                &before.uid,
                Some(&before.content),
                None,
            )?;
            check_by_id(tx, id)
        })
    }
}

type EquipmentParts = (i64, String, String, String, String, Option<String>, i64);
type CheckParts = (i64, String, i64, i64, String, String, String, Option<String>);

fn equipment_from_row(row: &Row<'_>) -> Result<EquipmentParts, rusqlite::Error> {
    row.try_into()
}

fn equipment_from_parts(parts: EquipmentParts) -> Result<Equipment, LibraryError> {
    let (id, uid, kind, name, content, retired_at, revision) = parts;
    Ok(Equipment {
        id,
        uid,
        kind: EquipmentKind::from_word(&kind).ok_or(LibraryError::Stored {
            what: "kind of equipment",
            value: kind,
        })?,
        name,
        content: object("equipment", content)?,
        retired_at,
        revision,
    })
}

fn check_from_row(row: &Row<'_>) -> Result<CheckParts, rusqlite::Error> {
    row.try_into()
}

fn check_from_parts(parts: CheckParts) -> Result<ControlCheck, LibraryError> {
    let (id, uid, instrument, standard, at, operator, content, struck_at) = parts;
    Ok(ControlCheck {
        id,
        uid,
        instrument,
        standard,
        at,
        operator,
        content: object("control check", content)?,
        struck_at,
    })
}

fn object(what: &'static str, text: String) -> Result<Value, LibraryError> {
    serde_json::from_str(&text).map_err(|_| LibraryError::Stored { what, value: text })
}

fn by_id(connection: &Connection, id: i64) -> Result<Equipment, LibraryError> {
    connection
        .prepare_cached(&format!("{EQUIPMENT} WHERE id = ?"))?
        .query_row([id], equipment_from_row)
        .optional()?
        .map_or_else(
            || {
                Err(LibraryError::Unknown {
                    what: "equipment",
                    id: id.to_string(),
                })
            },
            equipment_from_parts,
        )
}

fn equipment_named(
    connection: &Connection,
    kind: EquipmentKind,
    name: &str,
) -> Result<Option<Equipment>, LibraryError> {
    connection
        .prepare_cached(&format!(
            "{EQUIPMENT} WHERE kind = ? AND lower(name) = lower(?) AND retired_at IS NULL"
        ))?
        .query_row((kind.as_str(), name.trim()), equipment_from_row)
        .optional()?
        .map(equipment_from_parts)
        .transpose()
}

fn in_use(connection: &Connection, id: i64) -> Result<Equipment, LibraryError> {
    let found = by_id(connection, id)?;
    if found.retired_at.is_some() {
        return Err(LibraryError::Refused(format!(
            "the {} \"{}\" is out of use",
            found.kind, found.name
        )));
    }
    Ok(found)
}

fn check_by_id(connection: &Connection, id: i64) -> Result<ControlCheck, LibraryError> {
    connection
        .prepare_cached(&format!("{CHECK} WHERE id = ?"))?
        .query_row([id], check_from_row)
        .optional()?
        .map_or_else(
            || {
                Err(LibraryError::Unknown {
                    what: "control check",
                    id: id.to_string(),
                })
            },
            check_from_parts,
        )
}

fn open_loan(connection: &Connection, equipment: i64) -> Result<Option<Loan>, LibraryError> {
    Ok(connection
        .prepare_cached(
            "SELECT uid, borrower, lent_on, due_on, back_on FROM loan WHERE equipment = ? AND back_on IS NULL",
        )?
        .query_row([equipment], |row| {
            Ok(Loan {
                uid: row.get(0)?,
                borrower: row.get(1)?,
                lent_on: row.get(2)?,
                due_on: row.get(3)?,
                back_on: row.get(4)?,
            })
        })
        .optional()?)
}

/// Records of equipment, checks and loans that are not what the history says they are: changed, added or gone outside the
/// program. Their stable ids are added to `changed`.
pub(super) fn changed_outside(connection: &Connection, changed: &mut Vec<String>) -> Result<(), LibraryError> {
    for sql in [CHANGED_EQUIPMENT, CHANGED_CHECKS, CHANGED_LOANS] {
        let mut select = connection.prepare(sql)?;
        let mut rows = select.query([])?;
        while let Some(row) = rows.next()? {
            let uid: String = row.get(0)?;
            // JSON may be spelled in more than one way; what counts is what it says.
            let said: Option<String> = row.get(1)?;
            let held: Option<String> = row.get(2)?;
            let fits_otherwise: bool = row.get(3)?;
            let read = |text: Option<String>| text.and_then(|text| serde_json::from_str::<Value>(&text).ok());
            if !fits_otherwise || read(said) != read(held) {
                changed.push(uid);
            }
        }
    }
    Ok(())
}

/// The stable id, the fields the history says, the fields held, and whether everything else fits.
const CHANGED_EQUIPMENT: &str = "\
    SELECT line.entity_uid, iif(line.action = 'add', json_extract(line.after, '$.content'), line.after), it.content, \
           it.uid IS NOT NULL AND (it.retired_at IS NOT NULL) = EXISTS \
               (SELECT 1 FROM history WHERE entity_uid = line.entity_uid AND action = 'withdraw') \
    FROM history AS line LEFT JOIN equipment AS it ON it.uid = line.entity_uid \
    WHERE line.entity IN ('instrument', 'cell', 'preset', 'standard') AND line.action IN ('add', 'edit') \
      AND NOT EXISTS (SELECT 1 FROM history WHERE entity_uid = line.entity_uid AND action = 'edit' AND id > line.id) \
    UNION ALL SELECT uid, NULL, NULL, 0 FROM equipment \
    WHERE NOT EXISTS (SELECT 1 FROM history WHERE entity_uid = equipment.uid AND action = 'add')";

const CHANGED_CHECKS: &str = "\
    SELECT line.entity_uid, json_extract(line.after, '$.content'), it.content, \
           it.uid IS NOT NULL AND it.at = json_extract(line.after, '$.at') \
           AND it.operator = json_extract(line.after, '$.operator') \
           AND (SELECT uid FROM equipment WHERE id = it.instrument) = json_extract(line.after, '$.instrument') \
           AND (SELECT uid FROM equipment WHERE id = it.standard) = json_extract(line.after, '$.standard') \
           AND (it.struck_at IS NOT NULL) = EXISTS \
               (SELECT 1 FROM history WHERE entity_uid = line.entity_uid AND action = 'withdraw') \
    FROM history AS line LEFT JOIN control_check AS it ON it.uid = line.entity_uid \
    WHERE line.entity = 'control-check' AND line.action = 'add' \
    UNION ALL SELECT uid, NULL, NULL, 0 FROM control_check \
    WHERE NOT EXISTS (SELECT 1 FROM history WHERE entity_uid = control_check.uid AND action = 'add')";

const CHANGED_LOANS: &str = "\
    SELECT json_extract(line.after, '$.loan'), NULL, NULL, \
           it.uid IS NOT NULL AND it.borrower = json_extract(line.after, '$.to') \
           AND it.lent_on = json_extract(line.after, '$.on') AND it.due_on IS json_extract(line.after, '$.until') \
           AND (SELECT uid FROM equipment WHERE id = it.equipment) = line.entity_uid \
           AND (it.back_on IS NOT NULL) = EXISTS \
               (SELECT 1 FROM history WHERE entity_uid = line.entity_uid AND action = 'take-back' \
                AND json_extract(before, '$.loan') = it.uid) \
    FROM history AS line LEFT JOIN loan AS it ON it.uid = json_extract(line.after, '$.loan') \
    WHERE line.action = 'lend' \
    UNION ALL SELECT uid, NULL, NULL, 0 FROM loan \
    WHERE NOT EXISTS (SELECT 1 FROM history WHERE action = 'lend' AND json_extract(after, '$.loan') = loan.uid)";
