//! A row of a table of measurements: which compound, what was measured, at which conditions.

use super::{Cells, GivenCompound, Maker, Refusal, with_digits};
use crate::exchange::cell_in;
use crate::exchange::field::Field;
use crate::exchange::mapping::Assignment;
use crate::exchange::rows::Row;
use crate::quantity::{
    Angle, Density, Fraction, Mass, Printed, QuantityError, Volume, parse_angle, parse_density, parse_mass,
    parse_percent, parse_volume,
};
use crate::statement::{Sign, Statement};

/// A measured value, as a row gives it.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredRow {
    /// The compound; empty when the row names none.
    pub compound: GivenCompound,
    /// The value and its conditions.
    pub statement: Statement,
    /// Standard uncertainty of the value, above zero, in the unit of the value.
    pub uncertainty: Option<Printed>,
    /// Density of the neat liquid, or of the solution where the concentration is by mass.
    pub density: Option<Density>,
    /// Mass dissolved and the volume it was made up to.
    pub weighed: Option<(Mass, Volume)>,
    /// Blank that was subtracted from the angle.
    pub blank: Option<Angle>,
    /// Standard uncertainty of the enantiomeric excess, above zero.
    pub excess_uncertainty: Option<Fraction>,
}

impl MeasuredRow {
    /// The fields that a row of measurements can have.
    pub const FIELDS: [Field; 42] = [
        Field::SampleId,
        Field::Compound,
        Field::Cas,
        Field::Smiles,
        Field::Inchi,
        Field::Inchikey,
        Field::Kind,
        Field::Value,
        Field::Observed,
        Field::Molar,
        Field::PlusMinus,
        Field::Uncertainty,
        Field::Sign,
        Field::SignStated,
        Field::SignAmbiguous,
        Field::Temperature,
        Field::TemperatureLow,
        Field::TemperatureHigh,
        Field::TemperatureNote,
        Field::Line,
        Field::Wavelength,
        Field::Medium,
        Field::Digits,
        Field::Solvent,
        Field::Conc,
        Field::ConcLow,
        Field::ConcHigh,
        Field::ConcUnit,
        Field::Density,
        Field::Mass,
        Field::Volume,
        Field::Blank,
        Field::Path,
        Field::PathDm,
        Field::Form,
        Field::Basis,
        Field::Stage,
        Field::Ee,
        Field::Er,
        Field::EeUncertainty,
        Field::EeMethod,
        Field::AsPrinted,
    ];
}

impl Maker {
    /// Reads a row of measurements.
    ///
    /// # Errors
    /// Why the row cannot be used.
    pub fn measured(&mut self, row: &Row, assignment: &Assignment) -> Result<MeasuredRow, Refusal> {
        if let Some(fault) = &row.fault {
            return Err(Refusal::row(fault.clone()));
        }
        let with_digits = with_digits(row, assignment);
        let cells = Cells {
            assignment,
            row: with_digits.as_ref().unwrap_or(row),
        };
        let compound = self.compound(&cells)?;
        let statement = self.statement(&cells)?;
        if statement.value.is_none() {
            return Err(cells.refusal(Field::Value, "a measured value is one number, not a range"));
        }
        if statement.sign != Sign::Stated {
            return Err(cells.refusal(Field::Value, "the sign of the value is not given"));
        }
        let uncertainty = cells.read(Field::Uncertainty, |text| {
            let (number, _) = cell_in::number(cell_in::without_degrees(text.trim_start_matches(['±', ' '])))?;
            if number.value() > 0.0 {
                Ok(number)
            } else {
                Err(format!("the uncertainty is {number}, but it must be above zero"))
            }
        })?;
        let density = with_unit(&cells, Field::Density, parse_density)?;
        let mass = with_unit(&cells, Field::Mass, parse_mass)?;
        let volume = with_unit(&cells, Field::Volume, parse_volume)?;
        let weighed = match (mass, volume) {
            (None, None) => None,
            (Some(mass), Some(volume)) if statement.concentration.is_none() => Some((mass, volume)),
            (Some(_), Some(_)) => {
                return Err(cells.refusal(
                    Field::Mass,
                    "the row gives a concentration and a mass; leave one of them out",
                ));
            }
            (Some(_), None) => return Err(cells.refusal(Field::Mass, "a mass needs the volume it was made up to")),
            (None, Some(_)) => return Err(cells.refusal(Field::Volume, "a volume needs the mass dissolved")),
        };
        let blank = with_unit(&cells, Field::Blank, parse_angle)?;
        let excess_uncertainty = cells.read(Field::EeUncertainty, |text| {
            match parse_percent(text.trim_start_matches(['±', ' '])) {
                Ok(percent) if percent.ratio() > 0.0 => Ok(percent),
                Ok(_) => Err("the uncertainty of an ee must be above zero".to_owned()),
                Err(error) => Err(error.to_string()),
            }
        })?;
        let bounded = statement.ee.as_ref().is_some_and(|ee| ee.at_least);
        if excess_uncertainty.is_some() && (bounded || statement.ee.is_none()) {
            return Err(cells.refusal(
                Field::EeUncertainty,
                "an uncertainty of an ee needs an ee that is no lower bound",
            ));
        }
        Ok(MeasuredRow {
            compound,
            statement,
            uncertainty,
            density,
            weighed,
            blank,
            excess_uncertainty,
        })
    }
}

/// A number with its unit: that of the cell, else that of the heading.
fn with_unit<T>(
    cells: &Cells<'_>,
    field: Field,
    read: impl Fn(&str) -> Result<T, QuantityError>,
) -> Result<Option<T>, Refusal> {
    cells.read(field, |text| {
        let is_bare = !text.contains(char::is_alphabetic);
        let text = match cells.unit(field) {
            Some(unit) if is_bare => format!("{text} {unit}"),
            _ => text.to_owned(),
        };
        read(&text).map_err(|error| error.to_string())
    })
}
