//! The register of shared equipment as text and JSON.

use super::Page;
use super::failure::Failure;
use super::table::{Column, Table};
use crate::instrument::register::RecordFault;
use crate::library::{Equipment, EquipmentKind, Loan};
use crate::tasks::register::Listed;
use serde::Serialize;
use serde_json::Value;

impl From<RecordFault> for Failure {
    fn from(fault: RecordFault) -> Self {
        let failure = Self::usage(fault.code, fault.message).at(fault.field);
        if fault.hint.is_empty() {
            failure
        } else {
            failure.hint(fault.hint)
        }
    }
}

/// A piece of equipment.
#[derive(Clone, Debug, Serialize)]
pub struct EquipmentJson<'a> {
    /// Number in this library.
    pub id: i64,
    /// Stable id.
    pub uid: &'a str,
    /// What it is.
    pub kind: EquipmentKind,
    /// Its name.
    pub name: &'a str,
    /// Its fields.
    pub fields: &'a Value,
    /// Who has it.
    pub loan: Option<&'a Loan>,
    /// When it was taken out of use.
    pub retired_at: Option<&'a str>,
}

impl<'a> EquipmentJson<'a> {
    /// The record, with its loan.
    pub fn new(equipment: &'a Equipment, loan: Option<&'a Loan>) -> Self {
        Self {
            id: equipment.id,
            uid: &equipment.uid,
            kind: equipment.kind,
            name: &equipment.name,
            fields: &equipment.content,
            loan,
            retired_at: equipment.retired_at.as_deref(),
        }
    }
}

/// The answer of `biot register list`.
#[derive(Clone, Debug, Serialize)]
pub struct RegisterJson<'a> {
    /// What is registered.
    pub equipment: Vec<EquipmentJson<'a>>,
}

impl<'a> From<&'a [Listed]> for RegisterJson<'a> {
    fn from(listed: &'a [Listed]) -> Self {
        Self {
            equipment: listed
                .iter()
                .map(|it| EquipmentJson::new(&it.equipment, it.loan.as_ref()))
                .collect(),
        }
    }
}

/// Writes the register as a table per kind.
pub fn list(listed: &[Listed], page: &mut Page) {
    if listed.is_empty() {
        page.paragraph("Nothing is registered; biot register instrument NAME begins.");
    }
    for kind in EquipmentKind::ALL {
        let mut table = Table::new(&[Column::Word("name"), Column::Text("what it is"), Column::Text("lent")]);
        for it in listed.iter().filter(|it| it.equipment.kind == kind) {
            let retired = if it.equipment.retired_at.is_some() {
                " (out of use)"
            } else {
                ""
            };
            table.row([
                format!("{}{retired}", it.equipment.name),
                fields(&it.equipment),
                it.loan.as_ref().map(lent).unwrap_or_default(),
            ]);
        }
        if !table.is_empty() {
            page.heading(&format!("{}s", capital(kind.as_str())));
            page.table(&table);
        }
    }
}

/// Who has it, until when.
pub fn lent(loan: &Loan) -> String {
    loan.due_on.as_ref().map_or_else(
        || format!("to {} since {}", loan.borrower, loan.lent_on),
        |due| format!("to {} until {due}", loan.borrower),
    )
}

/// The fields of a record in one line: `length 100 mm, windows glass`.
pub fn fields(equipment: &Equipment) -> String {
    let Some(object) = equipment.content.as_object() else {
        return String::new();
    };
    object
        .iter()
        .filter_map(|(name, value)| {
            let text = match value {
                Value::Null | Value::Bool(false) => return None,
                Value::Bool(true) => return Some(name.replace('_', " ")),
                Value::Array(items) if items.is_empty() => return None,
                Value::Array(items) => items.iter().map(plain).collect::<Vec<_>>().join(", "),
                other => plain(other),
            };
            Some(labelled(name, &text))
        })
        .collect::<Vec<_>>()
        .join(" · ")
}

fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

/// A field's name in words with its unit behind the value.
fn labelled(name: &str, text: &str) -> String {
    const UNITS: [(&str, &str); 8] = [
        ("_deg", "°"),
        ("_mm", " mm"),
        ("_ml", " mL"),
        ("_c", " °C"),
        ("_per_kelvin", " per K"),
        ("_g_per_100ml", " g/100 mL"),
        ("_days", " days"),
        ("_s", " s"),
    ];
    for (suffix, unit) in UNITS {
        if let Some(bare) = name.strip_suffix(suffix) {
            return format!("{} {text}{unit}", bare.replace('_', " "));
        }
    }
    format!("{} {text}", name.replace('_', " "))
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters
        .next()
        .map(|first| first.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}
