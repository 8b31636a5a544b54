//! A reference as the model takes it, and what its printed value can have been worth.

use super::conditions::{Conditions, FormLink};
use crate::quantity::{
    Angle, Concentration, Density, Length, MolarMass, MolarRotation, QuantityError, SpecificRotation,
    StatedConcentration,
};
use crate::solvent::Solvent;
use crate::statement::{
    RotationKind, Sign, StatedExcess, Statement, specific_from_angle, specific_from_molar, specific_of_neat_liquid,
};

/// The enantiomeric excess of a reference's sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SampleExcess {
    /// Stated by a method other than rotation: mean and standard uncertainty, fractions of one.
    Stated {
        /// Mean.
        mean: f64,
        /// Standard uncertainty.
        sd: f64,
    },
    /// Not stated: a prior near one.
    NotStated,
}

/// Standard uncertainty of a stated enantiomeric excess, fraction (chromatographic integration, common practice).
const STATED_EXCESS_SD: f64 = 0.01;

impl SampleExcess {
    /// The excess a statement gives. One derived from a rotation is circular and counts as not stated; "> 99 %" is taken
    /// as a rectangular distribution from there to 100 %.
    pub fn of(stated: Option<&StatedExcess>) -> Self {
        match stated {
            Some(stated) if !stated.is_from_rotation() => {
                let fraction = stated.fraction().ratio().clamp(-1.0, 1.0);
                if stated.at_least {
                    let width = 1.0 - fraction;
                    Self::Stated {
                        mean: f64::midpoint(1.0, fraction),
                        sd: width / 12f64.sqrt(),
                    }
                } else {
                    Self::Stated {
                        mean: fraction,
                        sd: STATED_EXCESS_SD,
                    }
                }
            }
            _ => Self::NotStated,
        }
    }
}

/// How the hand of a reference is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HandKnown {
    /// From something other than the printed sign.
    Independent,
    /// From the printed sign, or not at all: the reference informs |M| only.
    FromSign,
}

/// One reference.
#[derive(Clone, Debug)]
pub struct Reference {
    /// The value, hand as in its entry, at its own conditions.
    pub value: SpecificRotation,
    /// Its own standard uncertainty.
    pub own_uncertainty: SpecificRotation,
    /// Whether the entry is of the mirror image.
    pub mirror: bool,
    /// Number of the source: entries of one source share a draw.
    pub source: i64,
    /// Enantiomeric excess of its sample.
    pub excess: SampleExcess,
    /// How its hand is known.
    pub hand: HandKnown,
    /// Its conditions.
    pub conditions: Conditions,
    /// How its form stands to the form measured.
    pub form: FormLink,
    /// Whether it is an unconfirmed draft.
    pub draft: bool,
    /// Whether it quotes or compiles values measured elsewhere.
    pub quoted: bool,
    /// Why it must not be used, when so; it is listed all the same.
    pub excluded: Option<String>,
}

/// What an observed angle can have been worth, and which c and l to assume when they are not printed.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingWorth {
    /// Standard uncertainty of a published observed angle.
    pub angle: Angle,
    /// Concentrations of the library at equal steps of probability (middle 90 %), for a reference without c.
    pub concentrations: Vec<Concentration>,
    /// Cell length assumed when none is printed.
    pub length: Length,
}

impl Default for ReadingWorth {
    /// 5 millidegrees in a 1 dm cell (common practice), and the concentrations of the starter library: the 5, 15, … 95 %
    /// points of those printed.
    fn default() -> Self {
        let quantiles = [0.2, 0.56, 0.9, 1.0, 1.0, 1.1, 1.5, 2.0, 3.4, 8.0];
        Self {
            angle: Angle::from_degrees(0.005),
            concentrations: quantiles.map(Concentration::from_grams_per_100_millilitres).to_vec(),
            length: Length::from_decimetres(1.0),
        }
    }
}

/// Why a statement gives no specific rotation.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ValueError {
    /// No number, or a one-sided limit.
    #[error("no value is printed, or only one limit")]
    NoValue,
    /// An observed angle without cell length.
    #[error("an observed angle without a cell length")]
    NoLength,
    /// An observed angle without concentration or density.
    #[error("an observed angle without concentration (or, for a neat liquid, density)")]
    NoConcentration,
    /// A concentration that cannot be converted.
    #[error("{0}")]
    Concentration(#[from] QuantityError),
    /// A molar rotation without molar mass.
    #[error("a molar rotation, and the molar mass is not known")]
    NoMolarMass,
    /// No sign, or ± as the sign.
    #[error("the sign is not printed")]
    NoSign,
}

/// The mass concentration a statement prints, when it can be told in g per 100 mL (middle of a range).
pub(super) fn concentration_of(
    statement: &Statement,
    molar_mass: Option<MolarMass>,
    density: Option<Density>,
) -> Result<Option<Concentration>, QuantityError> {
    let Some(printed) = statement.concentration else {
        return Ok(None);
    };
    let stated = StatedConcentration {
        value: printed.low,
        unit: printed.unit,
    };
    let low = stated
        .to_mass_concentration(molar_mass, density)?
        .grams_per_100_millilitres();
    let c = match printed.high {
        None => low,
        Some(high) => {
            let stated = StatedConcentration {
                value: high,
                unit: printed.unit,
            };
            let high = stated
                .to_mass_concentration(molar_mass, density)?
                .grams_per_100_millilitres();
            (low * high).max(0.0).sqrt()
        }
    };
    Ok((c > 0.0).then(|| Concentration::from_grams_per_100_millilitres(c)))
}

impl Conditions {
    /// The conditions a statement prints; a concentration that cannot be converted to g per 100 mL stays unknown.
    pub fn of(statement: &Statement, molar_mass: Option<MolarMass>) -> Self {
        Self::at_density(statement, molar_mass, None)
    }

    /// Likewise, with the density of the solution, for a concentration by mass.
    pub fn at_density(statement: &Statement, molar_mass: Option<MolarMass>, density: Option<Density>) -> Self {
        Self {
            temperature: statement
                .temperature
                .as_ref()
                .and_then(crate::statement::StatedTemperature::celsius)
                .map(|(celsius, _)| crate::quantity::Temperature::from_celsius(celsius)),
            line: statement.line.clone(),
            solvent: statement.solvent.clone(),
            concentration: concentration_of(statement, molar_mass, density).ok().flatten(),
            stage: statement.stage,
            basis: statement.basis.clone(),
        }
    }
}

/// The specific rotation a statement gives and its standard uncertainty.
///
/// The uncertainty has three parts, added in quadrature: the printed ± (or half the printed range) as the half-width of
/// a rectangular distribution, `a/√3` (JCGM 100:2008, 4.3.7); the rounding of the last printed digit, likewise; and what
/// the angle can have been worth, `100 u_α/(l c)`, with the mean variance over the library's own concentrations where c
/// is not printed. "About" doubles the rounding.
///
/// # Errors
/// When the statement gives no specific rotation.
pub fn value_of(
    statement: &Statement,
    molar_mass: Option<MolarMass>,
    density: Option<Density>,
    worth: &ReadingWorth,
) -> Result<(SpecificRotation, SpecificRotation), ValueError> {
    if statement.sign != Sign::Stated {
        return Err(ValueError::NoSign);
    }
    let centre = statement.central_value().ok_or(ValueError::NoValue)?;
    let digit = statement
        .value
        .or(statement.low)
        .map_or(0.5, crate::quantity::Printed::half_last_digit);
    let rounding = if statement.approx { 2.0 * digit } else { digit };
    let stated = match (statement.plus_minus, statement.value, statement.low, statement.high) {
        (Some(half_width), ..) => half_width.value().abs(),
        (None, None, Some(low), Some(high)) => (high.value() - low.value()).abs() / 2.0,
        _ => 0.0,
    };
    let printed_variance = (stated * stated + rounding * rounding) / 3.0;
    let is_neat = statement
        .solvent
        .as_ref()
        .is_some_and(|solvent| *solvent == Solvent::Neat);
    let concentration = concentration_of(statement, molar_mass, density);
    let length = statement.path.unwrap_or(worth.length);
    // d[α]/dα, degrees to specific rotation.
    let per_degree = |c: Concentration, l: Length| specific_from_angle(Angle::from_degrees(1.0), l, c).conventional();
    let (value, scale) = match statement.kind {
        RotationKind::Specific => (centre, 1.0),
        RotationKind::Molar => {
            let mass = molar_mass.ok_or(ValueError::NoMolarMass)?;
            let scale = specific_from_molar(MolarRotation::from_conventional(1.0), mass).conventional();
            (centre * scale, scale)
        }
        RotationKind::Observed => {
            let length = statement.path.ok_or(ValueError::NoLength)?;
            let scale = if is_neat {
                let density = density.ok_or(ValueError::NoConcentration)?;
                specific_of_neat_liquid(Angle::from_degrees(1.0), length, density).conventional()
            } else {
                per_degree(concentration.clone()?.ok_or(ValueError::NoConcentration)?, length)
            };
            (centre * scale, scale)
        }
    };
    let angle_variance = |c: Concentration| (worth.angle.degrees() * per_degree(c, length)).powi(2);
    let angle_part = match concentration {
        _ if is_neat => angle_variance(Concentration::from_grams_per_100_millilitres(90.0)),
        Ok(Some(c)) => angle_variance(c),
        _ if worth.concentrations.is_empty() => 0.0,
        _ => worth.concentrations.iter().map(|&c| angle_variance(c)).sum::<f64>() / worth.concentrations.len() as f64,
    };
    let variance = printed_variance * scale * scale + angle_part;
    Ok((
        SpecificRotation::from_conventional(value),
        SpecificRotation::from_conventional(variance.sqrt()),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{ConcentrationUnit, Printed};
    use crate::statement::PrintedConcentration;

    fn statement(value: &str, c: Option<&str>) -> Statement {
        Statement {
            value: Some(value.parse().unwrap()),
            concentration: c.map(|c| PrintedConcentration {
                low: c.parse::<Printed>().unwrap(),
                high: None,
                unit: ConcentrationUnit::GramsPer100Millilitres,
                unit_printed: true,
            }),
            ..Statement::default()
        }
    }

    /// DESIGN, the model: a value taken at c 0.1 in a 1 dm cell is good to several degrees, whatever it prints. By hand:
    /// 100 · 0.005 / (1 · 0.1) = 5.
    #[test]
    fn a_dilute_reading_is_worth_degrees_whatever_it_prints() {
        let (_, u) = value_of(&statement("-49.12", Some("0.1")), None, None, &ReadingWorth::default()).unwrap();
        assert!((u.conventional() - 5.0).abs() < 1e-3, "{u}");
        let (_, u) = value_of(&statement("-49.1", Some("10")), None, None, &ReadingWorth::default()).unwrap();
        let by_hand = (0.05f64 * 0.05 / 3.0 + 0.05 * 0.05).sqrt();
        assert!((u.conventional() - by_hand).abs() < 1e-12);
    }

    #[test]
    fn an_angle_without_a_cell_is_no_specific_rotation() {
        let mut angle = statement("-12.3", Some("1"));
        angle.kind = RotationKind::Observed;
        assert_eq!(
            value_of(&angle, None, None, &ReadingWorth::default()),
            Err(ValueError::NoLength)
        );
        angle.path = Some(Length::from_decimetres(2.0));
        let (value, _) = value_of(&angle, None, None, &ReadingWorth::default()).unwrap();
        assert!((value.conventional() + 615.0).abs() < 1e-9);
        let mut unsigned = statement("12.3", None);
        unsigned.sign = Sign::NotStated;
        assert_eq!(
            value_of(&unsigned, None, None, &ReadingWorth::default()),
            Err(ValueError::NoSign)
        );
    }

    #[test]
    fn an_excess_from_rotation_is_not_used() {
        let stated = StatedExcess {
            percent: "92".parse().unwrap(),
            at_least: false,
            method: Some("by optical rotation".to_owned()),
        };
        assert_eq!(SampleExcess::of(Some(&stated)), SampleExcess::NotStated);
    }
}
