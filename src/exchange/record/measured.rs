//! A row of a table of measurements: which compound, what was measured, at which conditions.

use super::{Cells, GivenCompound, Maker, Refusal, with_digits};
use crate::exchange::cell_in;
use crate::exchange::field::Field;
use crate::exchange::mapping::Assignment;
use crate::exchange::rows::Row;
use crate::quantity::{Density, Printed, parse_density};
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
}

impl MeasuredRow {
    /// The fields that a row of measurements can have.
    pub const FIELDS: [Field; 37] = [
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
        Field::Path,
        Field::PathDm,
        Field::Form,
        Field::Basis,
        Field::Stage,
        Field::Ee,
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
        let density = cells.read(Field::Density, |text| {
            let is_bare = !text.contains(char::is_alphabetic);
            let text = match cells.unit(Field::Density) {
                Some(unit) if is_bare => format!("{text} {unit}"),
                _ => text.to_owned(),
            };
            parse_density(&text).map_err(|error| error.to_string())
        })?;
        Ok(MeasuredRow {
            compound,
            statement,
            uncertainty,
            density,
        })
    }
}
