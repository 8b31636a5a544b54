//! The fields of equipment as a form shows and sends them, in the units and words of the options of the command line.

use super::fields::field;
use crate::instrument::register::{Cell, Instrument, Preset, RecordFault, Standard, StandardKind};
use crate::library::{Equipment, EquipmentKind, Library};
use crate::quantity::{self, Angle, Length, SpectralLine, Temperature, Time, Volume};
use crate::report::failure::Failure;
use crate::tasks::register;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Display;

/// What a form sent, by the names of its fields.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(transparent)]
pub(super) struct Given(BTreeMap<String, String>);

impl Given {
    /// A field; empty where it was not sent.
    pub(super) fn text(&self, name: &str) -> &str {
        self.0.get(name).map_or("", |text| text.trim())
    }

    /// The revision that the form was made from.
    ///
    /// # Errors
    /// When the form does not say.
    pub(super) fn revision(&self) -> Result<i64, Failure> {
        (self.text("revision").parse())
            .map_err(|_| Failure::usage("form", "the form does not say which revision it is based on"))
    }

    fn words(&self, name: &str) -> Option<String> {
        Some(self.text(name).to_owned()).filter(|text| !text.is_empty())
    }

    fn number<T, E: Display>(
        &self,
        name: &'static str,
        reader: impl FnOnce(&str) -> Result<T, E>,
        number: impl FnOnce(T) -> f64,
    ) -> Result<Option<f64>, Failure> {
        Ok(field(name, self.text(name), reader)?.map(|read| tidy(number(read))))
    }

    fn count(&self, name: &'static str, most: u32) -> Result<Option<u32>, Failure> {
        field(name, self.text(name), |text| {
            (text.parse().ok().filter(|count| (1..=most).contains(count)))
                .ok_or_else(|| format!("a whole number from 1 to {most} is wanted"))
        })
    }

    fn lines(&self) -> Result<Vec<SpectralLine>, Failure> {
        self.text("line")
            .split([';', ','])
            .filter(|part| !part.trim().is_empty())
            .map(|part| {
                let read = field("line", part, quantity::parse_line)?;
                read.ok_or_else(|| Failure::usage("field", "line: none is named").at("line"))
            })
            .collect()
    }
}

impl<const N: usize> From<[(&str, String); N]> for Given {
    fn from(pairs: [(&str, String); N]) -> Self {
        Self(pairs.map(|(name, text)| (name.to_owned(), text)).into())
    }
}

/// A number without the last digits of a change of units, which nobody typed.
fn tidy(number: f64) -> f64 {
    format!("{number:.11e}").parse().unwrap_or(number)
}

/// A field of a form.
#[derive(Clone, Debug, Default)]
pub(super) struct FormField {
    pub(super) id: &'static str,
    pub(super) label: &'static str,
    /// `text`, `date`, `choice`, `tick` or `long`.
    pub(super) look: &'static str,
    pub(super) value: String,
    /// What can be chosen: word and label.
    pub(super) choices: Vec<(String, String)>,
    pub(super) is_required: bool,
    /// What is wrong with it.
    pub(super) error: String,
}

/// Identifier, label, look; a field that is required has a star before its look.
type Spec = (&'static str, &'static str, &'static str);

const INSTRUMENT: &[Spec] = &[
    ("line", "Its lines: D; 546; 436", "text"),
    ("angle-uncertainty", "Standard uncertainty of an angle, °", "text"),
    ("resolution", "Smallest step of its display, °", "text"),
    ("check-every", "Days between checks", "text"),
];
const CELL: &[Spec] = &[
    ("length", "Certified length, mm", "*text"),
    ("length-uncertainty", "Its standard uncertainty, mm", "text"),
    ("volume", "Filling, mL", "text"),
    ("windows", "Material of the windows", "text"),
    ("seals", "Material of the seals", "text"),
    ("jacketed", "It is jacketed: it holds its temperature", "tick"),
];
const PRESET: &[Spec] = &[
    ("line", "Line; several for a dispersion", "text"),
    ("temp", "Temperature held, °C", "text"),
    ("readings", "Readings to take", "text"),
    ("settle", "Settled: changes by no more than, °", "text"),
    ("settle-over", "within this time, s", "text"),
    ("instrument", "Instrument", "choice"),
    ("cell", "Cell", "choice"),
];
const STANDARD: &[Spec] = &[
    ("kind", "What it is", "choice"),
    ("value", "Certified angle, °", "text"),
    ("expanded-uncertainty", "Expanded U (k = 2), °", "text"),
    ("temp", "at the temperature, °C", "text"),
    ("line", "with the line", "text"),
    ("coefficient", "Relative change per kelvin", "text"),
    ("conc", "Concentration of a solution", "text"),
    ("cell", "Cell of a solution, mm", "text"),
    ("due", "Certificate or solution expires on", "date"),
];

const fn specs(kind: EquipmentKind) -> &'static [Spec] {
    match kind {
        EquipmentKind::Instrument => INSTRUMENT,
        EquipmentKind::Cell => CELL,
        EquipmentKind::Preset => PRESET,
        EquipmentKind::Standard => STANDARD,
    }
}

fn made((id, label, look): Spec, given: &Given) -> FormField {
    FormField {
        id,
        label,
        look: look.trim_start_matches('*'),
        is_required: look.starts_with('*'),
        value: given.text(id).to_owned(),
        ..FormField::default()
    }
}

/// The fields of a kind, filled in.
///
/// # Errors
/// When the library fails.
pub(super) fn form(library: &Library, kind: EquipmentKind, given: &Given) -> Result<Vec<FormField>, Failure> {
    let mut form = vec![made(("name", "Name in the laboratory", "*text"), given)];
    form.extend(specs(kind).iter().map(|spec| made(*spec, given)));
    form.push(made(("note", "What to know of it", "long"), given));
    for field in form.iter_mut().filter(|field| field.look == "choice") {
        field.choices = match field.id {
            "kind" => [
                ("quartz-plate", "quartz plate"),
                ("sucrose", "solution of sucrose"),
                ("dextrose", "solution of dextrose"),
                ("other", "another, by its certificate"),
            ]
            .map(|(word, label)| (word.to_owned(), label.to_owned()))
            .into(),
            named => {
                let of = EquipmentKind::from_word(named);
                let mut names: Vec<String> = register::list(library, of, false)?
                    .into_iter()
                    .map(|it| it.equipment.name)
                    .collect();
                if !field.value.is_empty() && !names.contains(&field.value) {
                    names.push(field.value.clone());
                }
                std::iter::once((String::new(), "none".to_owned()))
                    .chain(names.into_iter().map(|name| (name.clone(), name)))
                    .collect()
            }
        };
    }
    Ok(form)
}

/// The fields of a loan.
pub(super) fn loan_form(given: &Given) -> Vec<FormField> {
    vec![
        made(("to", "Who takes it", "*text"), given),
        made(("until", "Until when", "date"), given),
    ]
}

/// What an empty form begins with.
pub(super) fn empty(kind: EquipmentKind) -> Given {
    match kind {
        EquipmentKind::Standard => [
            ("kind", "quartz-plate".to_owned()),
            ("temp", "20".to_owned()),
            ("line", "D".to_owned()),
        ]
        .into(),
        _ => Given::default(),
    }
}

/// A record as a form shows it.
///
/// # Errors
/// When the library holds something else.
pub(super) fn shown(it: &Equipment) -> Result<Given, Failure> {
    let number = |value: Option<f64>| value.map(|value| tidy(value).to_string()).unwrap_or_default();
    let count = |value: Option<u32>| value.map(|value| value.to_string()).unwrap_or_default();
    let lines = |lines: &[SpectralLine]| lines.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
    let note: Option<String>;
    let mut given: Given = match it.kind {
        EquipmentKind::Instrument => {
            let of: Instrument = register::content(it)?;
            note = of.note;
            [
                ("line", lines(&of.lines)),
                ("angle-uncertainty", number(of.angle_uncertainty_deg)),
                ("resolution", number(of.resolution_deg)),
                ("check-every", count(of.check_every_days)),
            ]
            .into()
        }
        EquipmentKind::Cell => {
            let of: Cell = register::content(it)?;
            note = of.note;
            [
                ("length", number(Some(of.length_mm))),
                ("length-uncertainty", number(of.length_uncertainty_mm)),
                ("volume", number(of.volume_ml)),
                ("windows", of.windows.unwrap_or_default()),
                ("seals", of.seals.unwrap_or_default()),
                ("jacketed", if of.jacketed { "on" } else { "" }.to_owned()),
            ]
            .into()
        }
        EquipmentKind::Preset => {
            let of: Preset = register::content(it)?;
            note = of.note;
            [
                ("line", lines(&of.lines)),
                ("temp", number(of.temperature_c)),
                ("readings", count(of.readings)),
                ("settle", number(of.settle_deg)),
                ("settle-over", number(of.settle_over_s)),
                ("instrument", of.instrument.unwrap_or_default()),
                ("cell", of.cell.unwrap_or_default()),
            ]
            .into()
        }
        EquipmentKind::Standard => {
            let of: Standard = register::content(it)?;
            note = of.note;
            [
                ("kind", of.kind.as_str().to_owned()),
                ("value", number(of.certified_deg)),
                ("expanded-uncertainty", number(of.expanded_uncertainty_deg)),
                ("temp", number(Some(of.temperature_c))),
                ("line", of.line.to_string()),
                ("coefficient", number(of.coefficient_per_kelvin)),
                (
                    "conc",
                    (of.concentration_g_per_100ml)
                        .map(|it| format!("{} g/100mL", tidy(it)))
                        .unwrap_or_default(),
                ),
                ("cell", number(of.cell_mm)),
                ("due", of.due_on.unwrap_or_default()),
            ]
            .into()
        }
    };
    given.0.insert("name".to_owned(), it.name.clone());
    given.0.insert("note".to_owned(), note.unwrap_or_default());
    Ok(given)
}

/// The record that a form describes, whole.
///
/// # Errors
/// With the field that cannot be read, or that keeps the record from being registered.
pub(super) fn content(library: &Library, kind: EquipmentKind, given: &Given) -> Result<Value, Failure> {
    match kind {
        EquipmentKind::Instrument => {
            let it = Instrument {
                lines: given.lines()?,
                angle_uncertainty_deg: given.number("angle-uncertainty", quantity::parse_angle, Angle::degrees)?,
                resolution_deg: given.number("resolution", quantity::parse_angle, Angle::degrees)?,
                check_every_days: given.count("check-every", 3650)?,
                note: given.words("note"),
            };
            sound(it.fault(), &it)
        }
        EquipmentKind::Cell => {
            let length = given.number("length", quantity::parse_length, Length::millimetres)?;
            let it = Cell {
                length_mm: length.ok_or_else(|| Failure::usage("field", "a cell has a length").at("length"))?,
                length_uncertainty_mm: given.number(
                    "length-uncertainty",
                    quantity::parse_length,
                    Length::millimetres,
                )?,
                volume_ml: given.number("volume", quantity::parse_volume, Volume::millilitres)?,
                jacketed: given.text("jacketed") == "on",
                windows: given.words("windows"),
                seals: given.words("seals"),
                note: given.words("note"),
            };
            sound(it.fault(), &it)
        }
        EquipmentKind::Preset => {
            let it = Preset {
                lines: given.lines()?,
                temperature_c: given.number("temp", quantity::parse_temperature, Temperature::celsius)?,
                readings: given.count("readings", 100_000)?,
                settle_deg: given.number("settle", quantity::parse_angle, Angle::degrees)?,
                settle_over_s: given.number("settle-over", quantity::parse_time, Time::seconds)?,
                instrument: given.words("instrument"),
                cell: given.words("cell"),
                note: given.words("note"),
            };
            if let Some(name) = &it.instrument {
                register::instrument(library, name).map_err(|error| Failure::from(error).at("instrument"))?;
            }
            if let Some(name) = &it.cell {
                register::cell(library, name).map_err(|error| Failure::from(error).at("cell"))?;
            }
            sound(it.fault(), &it)
        }
        EquipmentKind::Standard => standard(given),
    }
}

fn standard(given: &Given) -> Result<Value, Failure> {
    let concentration = match field("conc", given.text("conc"), quantity::parse_concentration)? {
        Some(stated) => Some(
            (stated.to_mass_concentration(None, None))
                .map_err(|error| Failure::usage("quantity", format!("conc: {error}")).at("conc"))?,
        ),
        None => None,
    };
    let it = Standard {
        kind: StandardKind::from_word(given.text("kind"))
            .ok_or_else(|| Failure::usage("field", "nothing says what kind of standard it is").at("kind"))?,
        certified_deg: given.number("value", quantity::parse_angle, Angle::degrees)?,
        expanded_uncertainty_deg: given.number("expanded-uncertainty", quantity::parse_angle, Angle::degrees)?,
        temperature_c: (given.number("temp", quantity::parse_temperature, Temperature::celsius)?).unwrap_or(20.0),
        line: field("line", given.text("line"), quantity::parse_line)?.unwrap_or(SpectralLine::SodiumD),
        coefficient_per_kelvin: given.number("coefficient", quantity::parse_number, quantity::Printed::value)?,
        concentration_g_per_100ml: concentration.map(|it| tidy(it.grams_per_100_millilitres())),
        cell_mm: given.number("cell", quantity::parse_length, Length::millimetres)?,
        due_on: field("due", given.text("due"), |text| {
            register::parse_date(text).ok_or("a date is written YYYY-MM-DD")
        })?
        .map(register::date),
        note: given.words("note"),
    };
    sound(it.fault(), &it)
}

fn sound(fault: Option<RecordFault>, record: &impl Serialize) -> Result<Value, Failure> {
    match fault {
        Some(fault) => Err(fault.into()),
        None => serde_json::to_value(record)
            .map_err(|error| Failure::usage("form", format!("the record cannot be written: {error}"))),
    }
}

/// Where two forms of one kind differ.
pub(super) fn differences(register: &[FormField], form: &[FormField]) -> Vec<Vec<String>> {
    (register.iter().zip(form))
        .filter(|(a, b)| a.value != b.value && a.id != "name")
        .map(|(a, b)| {
            let said = |text: &str| {
                if text.is_empty() {
                    "nothing".to_owned()
                } else {
                    text.to_owned()
                }
            };
            vec![a.label.to_owned(), said(&a.value), said(&b.value)]
        })
        .collect()
}
