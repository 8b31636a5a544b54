//! Own measurements: kept with their readings, listed, shown, and handed to a check.

use crate::compare::Conditions;
use crate::library::{
    Change, CompoundId, EquipmentKind, Library, LibraryError, Measurement, MeasurementFilter, NewMeasurement,
};
use crate::measurement::{Reading, ReadingRole, Reduced, stated};
use crate::quantity::{Angle, Length, Temperature, parse_line};
use crate::solvent::Solvent;
use crate::tasks::check::CheckRequest;
use crate::tasks::control;
use crate::tasks::reduce::SampleResult;
use serde::Serialize;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// What a kept measurement is filed under.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filing {
    /// The compound.
    pub compound: Option<CompoundId>,
    /// The instrument of the register.
    pub instrument: Option<i64>,
    /// The cell of the register.
    pub cell: Option<i64>,
    /// The measurement that is corrected.
    pub supersedes: Option<i64>,
}

/// Keeps results with their readings, all or none; each result is given its number.
///
/// # Errors
/// `Refused` when a result has no sample or no operator, or several results are to supersede one measurement.
pub fn keep(
    library: &mut Library,
    results: &mut [SampleResult],
    filing: &Filing,
    change: &Change,
) -> Result<Vec<i64>, LibraryError> {
    if filing.supersedes.is_some() && results.len() > 1 {
        return Err(LibraryError::Refused(format!(
            "{} results cannot supersede one measurement; reduce one sample at a time",
            results.len()
        )));
    }
    let new: Vec<NewMeasurement> = results
        .iter()
        .map(|result| {
            let mut shown = result.shown.clone();
            // A check is made anew from what the library then holds.
            shown.check = None;
            Ok(NewMeasurement {
                operator: shown.operator.clone().unwrap_or_else(|| change.who.clone()),
                sample: shown.sample.clone().unwrap_or_default(),
                compound: filing.compound,
                instrument: filing.instrument,
                cell: filing.cell,
                supersedes: filing.supersedes,
                value: result.reduced.value,
                uncertainty: result.reduced.uncertainty,
                degrees_of_freedom: result.reduced.degrees_of_freedom,
                concentration: result.reduced.concentration,
                content: serde_json::to_value(&shown)
                    .map_err(|error| LibraryError::Refused(format!("the result cannot be written: {error}")))?,
                readings: result.readings.clone(),
            })
        })
        .collect::<Result<_, LibraryError>>()?;
    let ids = library.add_measurements(&new, change)?;
    for (result, id) in results.iter_mut().zip(&ids) {
        result.shown.measurement = Some(*id);
    }
    Ok(ids)
}

/// One line of a list of measurements.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ListedMeasurement {
    /// Its number.
    pub measurement: i64,
    /// Its stable id.
    #[serde(skip)]
    pub uid: String,
    /// When it was kept, RFC 3339 in UTC.
    pub at: String,
    /// Who read.
    pub operator: String,
    /// The sample.
    pub sample: String,
    /// Name of the compound.
    pub compound: Option<String>,
    /// Name of the instrument.
    pub instrument: Option<String>,
    /// Name of the cell.
    pub cell: Option<String>,
    /// Specific rotation, deg mL g⁻¹ dm⁻¹.
    pub value: f64,
    /// Standard uncertainty.
    pub standard_uncertainty: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: Option<f64>,
    /// As journals print it.
    pub journal: Option<String>,
    /// How many flags are more than a note.
    pub n_warnings: usize,
    /// The one it corrects.
    pub supersedes: Option<i64>,
    /// The one that corrects it.
    pub superseded_by: Option<i64>,
}

/// One reading as it is shown.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ReadingShown {
    /// Row of the file.
    pub line: u64,
    /// Sample, blank or standard.
    pub role: ReadingRole,
    /// Angle, degrees.
    pub angle_deg: f64,
    /// Seconds.
    pub time_s: Option<f64>,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Wavelength, nm.
    pub wavelength_nm: Option<f64>,
    /// Cell, mm.
    pub cell_mm: Option<f64>,
    /// Sample.
    pub sample: Option<String>,
    /// Who read.
    pub operator: Option<String>,
}

impl From<&Reading> for ReadingShown {
    fn from(reading: &Reading) -> Self {
        Self {
            line: reading.line,
            role: reading.role,
            angle_deg: reading.angle.degrees(),
            time_s: reading.seconds,
            temperature_c: reading.temperature.map(Temperature::celsius),
            wavelength_nm: reading.wavelength_nm,
            cell_mm: reading.cell.map(Length::millimetres),
            sample: reading.sample.clone(),
            operator: reading.operator.clone(),
        }
    }
}

/// A measurement with everything kept of it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShownMeasurement {
    /// What a list shows.
    #[serde(flatten)]
    pub listed: ListedMeasurement,
    /// The result as biot reduce gave it.
    pub result: serde_json::Value,
    /// The raw readings.
    pub readings: Vec<ReadingShown>,
}

/// The measurements a filter lets through, newest first.
///
/// # Errors
/// When the library fails.
pub fn list(library: &Library, filter: &MeasurementFilter) -> Result<Vec<ListedMeasurement>, LibraryError> {
    let found = library.measurements(filter)?;
    found.iter().map(|measurement| listed(library, measurement)).collect()
}

/// One measurement with its readings.
///
/// # Errors
/// `Unknown` when there is none.
pub fn show(library: &Library, id: i64) -> Result<ShownMeasurement, LibraryError> {
    let measurement = library.measurement(id)?;
    Ok(ShownMeasurement {
        listed: listed(library, &measurement)?,
        readings: library.readings_of(id)?.iter().map(ReadingShown::from).collect(),
        result: measurement.content,
    })
}

fn listed(library: &Library, measurement: &Measurement) -> Result<ListedMeasurement, LibraryError> {
    let equipment = |kind: EquipmentKind, id: Option<i64>| -> Result<Option<String>, LibraryError> {
        let found = id.map(|id| library.equipment_by_id(id)).transpose()?;
        Ok(found.filter(|it| it.kind == kind).map(|it| it.name))
    };
    let flags = measurement.content.get("flags").and_then(serde_json::Value::as_array);
    Ok(ListedMeasurement {
        measurement: measurement.id,
        uid: measurement.uid.clone(),
        at: measurement.at.clone(),
        operator: measurement.operator.clone(),
        sample: measurement.sample.clone(),
        compound: measurement
            .compound
            .map(|id| library.compound(id))
            .transpose()?
            .map(|it| it.name),
        instrument: equipment(EquipmentKind::Instrument, measurement.instrument)?,
        cell: equipment(EquipmentKind::Cell, measurement.cell)?,
        value: measurement.value.conventional(),
        standard_uncertainty: measurement.uncertainty.conventional(),
        degrees_of_freedom: measurement.degrees_of_freedom,
        journal: measurement
            .content
            .get("journal")
            .and_then(|it| it.as_str())
            .map(str::to_owned),
        n_warnings: flags.map_or(0, |flags| {
            flags.iter().filter(|flag| flag["severity"] != "note").count()
        }),
        supersedes: measurement.supersedes,
        superseded_by: measurement.superseded_by,
    })
}

/// What to bear in mind of a measurement itself: it was changed, a later one corrects it, or its instrument was not in
/// control.
///
/// # Errors
/// `Unknown` when there is no such measurement.
pub fn cautions(library: &Library, id: i64) -> Result<Vec<String>, LibraryError> {
    let measurement = library.measurement(id)?;
    let mut said = Vec::new();
    if !library.measurement_is_intact(id)? {
        said.push(format!(
            "Measurement {id} was changed outside the program after it was kept: do not rely on it, and take it from a backup \
             made before."
        ));
    }
    if let Some(by) = measurement.superseded_by {
        said.push(format!(
            "Measurement {id} is superseded by measurement {by}; check that one."
        ));
    }
    let at = OffsetDateTime::parse(&measurement.at, &Rfc3339).ok();
    if let (Some(instrument), Some(at)) = (measurement.instrument, at) {
        let name = library.equipment_by_id(instrument)?.name;
        said.extend(control::state_at(library, instrument, at)?.caution(&name));
    }
    Ok(said)
}

/// What a check is asked for a kept measurement: its value with uncertainty and degrees of freedom, at its conditions.
///
/// `compound` stands in where the measurement is filed under none.
///
/// # Errors
/// `Unknown` when there is no such measurement, `Refused` when no compound is known.
pub fn check_request(library: &Library, id: i64, compound: Option<CompoundId>) -> Result<CheckRequest, LibraryError> {
    let measurement = library.measurement(id)?;
    let compound = compound
        .or(measurement.compound)
        .ok_or_else(|| LibraryError::Refused(format!("measurement {id} is filed under no compound; name one")))?;
    let conditions = &measurement.content["conditions"];
    let text = |field: &str| conditions.get(field).and_then(|it| it.as_str());
    let number = |field: &str| conditions.get(field).and_then(serde_json::Value::as_f64);
    Ok(CheckRequest {
        compound,
        mirror_image: false,
        measured: Reduced {
            degrees_of_freedom: measurement.degrees_of_freedom,
            ..stated(measurement.value, measurement.uncertainty, measurement.concentration)
        },
        conditions: Conditions {
            temperature: number("temperature_c").map(Temperature::from_celsius),
            line: text("line").and_then(|line| parse_line(line).ok()),
            solvent: text("solvent").and_then(|solvent| Solvent::parse_lenient(solvent).ok()),
            concentration: measurement.concentration,
            basis: text("basis").map(str::to_owned),
            ..Conditions::default()
        },
        cell: number("path_mm").map(Length::from_millimetres),
        blank: measurement.content["angle"]["blank_degrees"]
            .as_f64()
            .map(Angle::from_degrees),
        form: None,
        excess: None,
    })
}
