//! The register of shared equipment: adding, changing, retiring, lending and taking back, each written into the history.

use crate::instrument::register::{Cell, Instrument, Preset, Standard};
use crate::library::{Change, Equipment, EquipmentKind, Library, LibraryError, Loan};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use time::macros::format_description;

/// A piece of equipment with who has it.
#[derive(Clone, Debug, PartialEq)]
pub struct Listed {
    /// The record.
    pub equipment: Equipment,
    /// The loan that is not back yet.
    pub loan: Option<Loan>,
}

/// Everything of one kind, or of all.
pub fn list(library: &Library, kind: Option<EquipmentKind>, with_retired: bool) -> Result<Vec<Listed>, LibraryError> {
    library
        .equipment(kind, with_retired)?
        .into_iter()
        .map(|equipment| {
            let loan = library.open_loan(equipment.id)?;
            Ok(Listed { equipment, loan })
        })
        .collect()
}

/// The equipment of that name.
///
/// # Errors
/// `Refused`, naming what there is, when there is none.
pub fn named(library: &Library, kind: EquipmentKind, name: &str) -> Result<Equipment, LibraryError> {
    if let Some(found) = library.equipment_named(kind, name)? {
        return Ok(found);
    }
    let known: Vec<String> = library
        .equipment(Some(kind), false)?
        .into_iter()
        .map(|it| it.name)
        .collect();
    Err(LibraryError::Refused(if known.is_empty() {
        format!("no {kind} \"{name}\": none is registered; biot register {kind} adds one")
    } else {
        format!("no {kind} \"{name}\"; registered are: {}", known.join(", "))
    }))
}

/// The typed fields of a record.
///
/// # Errors
/// `Stored` when the library holds something else.
pub fn content<T: DeserializeOwned>(equipment: &Equipment) -> Result<T, LibraryError> {
    serde_json::from_value(equipment.content.clone()).map_err(|_| LibraryError::Stored {
        what: "fields of equipment",
        value: equipment.content.to_string(),
    })
}

/// Adds a record, or changes the one of that name with `change_existing`. `fields` is the whole new record.
///
/// # Errors
/// When the library refuses.
pub fn keep<T: Serialize>(
    library: &mut Library,
    (kind, name): (EquipmentKind, &str),
    fields: &T,
    change_existing: bool,
    change: &Change,
) -> Result<Equipment, LibraryError> {
    if change_existing {
        let before = named(library, kind, name)?;
        return self::change(library, &before, before.revision, fields, change);
    }
    let value = serde_json::to_value(fields).unwrap_or(Value::Null);
    library.add_equipment(kind, name, &value, change)
}

/// Changes a record that was seen at the revision `seen`. `fields` is the whole new record.
///
/// # Errors
/// `Refused` when somebody changed it since, or it is out of use.
pub fn change<T: Serialize>(
    library: &mut Library,
    it: &Equipment,
    seen: i64,
    fields: &T,
    change: &Change,
) -> Result<Equipment, LibraryError> {
    let value = serde_json::to_value(fields).unwrap_or(Value::Null);
    library.change_equipment(it.id, seen, &value, change)
}

/// A registered instrument, cell, preset or standard by name, with its typed fields.
///
/// # Errors
/// As [`named`].
pub fn instrument(library: &Library, name: &str) -> Result<(Equipment, Instrument), LibraryError> {
    typed(library, EquipmentKind::Instrument, name)
}

/// As [`instrument`], of a cell.
///
/// # Errors
/// As [`named`].
pub fn cell(library: &Library, name: &str) -> Result<(Equipment, Cell), LibraryError> {
    typed(library, EquipmentKind::Cell, name)
}

/// As [`instrument`], of a preset.
///
/// # Errors
/// As [`named`].
pub fn preset(library: &Library, name: &str) -> Result<(Equipment, Preset), LibraryError> {
    typed(library, EquipmentKind::Preset, name)
}

/// As [`instrument`], of a control standard.
///
/// # Errors
/// As [`named`].
pub fn standard(library: &Library, name: &str) -> Result<(Equipment, Standard), LibraryError> {
    typed(library, EquipmentKind::Standard, name)
}

fn typed<T: DeserializeOwned>(
    library: &Library,
    kind: EquipmentKind,
    name: &str,
) -> Result<(Equipment, T), LibraryError> {
    let equipment = named(library, kind, name)?;
    let fields = content(&equipment)?;
    Ok((equipment, fields))
}

/// Lends a cell. `until` is a date.
///
/// # Errors
/// When it is lent already, nobody is named or `until` is past.
pub fn lend(
    library: &mut Library,
    name: &str,
    borrower: &str,
    until: Option<time::Date>,
    change: &Change,
) -> Result<(Equipment, Loan), LibraryError> {
    let cell = named(library, EquipmentKind::Cell, name)?;
    let borrower = borrower.trim();
    if borrower.is_empty() {
        return Err(LibraryError::Refused("nothing says who takes it; name them".to_owned()));
    }
    let today = change.at.date();
    if let Some(until) = until
        && until < today
    {
        return Err(LibraryError::Refused(format!(
            "a loan until {} is over already; name a later date",
            date(until)
        )));
    }
    let due = until.map(date);
    let loan = library.lend(cell.id, borrower, &date(today), due.as_deref(), change)?;
    Ok((cell, loan))
}

/// Takes a cell back.
///
/// # Errors
/// When it is not lent.
pub fn take_back(library: &mut Library, name: &str, change: &Change) -> Result<(Equipment, Loan), LibraryError> {
    let cell = named(library, EquipmentKind::Cell, name)?;
    let loan = library.take_back(cell.id, &date(change.at.date()), change)?;
    Ok((cell, loan))
}

/// Takes something out of use.
///
/// # Errors
/// When it is lent, or unknown.
pub fn retire(
    library: &mut Library,
    kind: EquipmentKind,
    name: &str,
    change: &Change,
) -> Result<Equipment, LibraryError> {
    let it = named(library, kind, name)?;
    library.retire_equipment(it.id, change)
}

/// A date as YYYY-MM-DD.
pub fn date(date: time::Date) -> String {
    date.format(format_description!("[year]-[month]-[day]"))
        .unwrap_or_default()
}

/// Reads a date written YYYY-MM-DD.
pub fn parse_date(text: &str) -> Option<time::Date> {
    time::Date::parse(text.trim(), format_description!("[year]-[month]-[day]")).ok()
}
