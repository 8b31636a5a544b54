//! What a control standard must read, and whether it did.
//!
//! The certificate's own value and coefficient win over every built-in law; a law stands in only where the certificate is
//! silent, and the result says so. No verdict rests on a law whose figures are from memory ([`NoVerdict`]): the difference is
//! still told.

use super::quartz::TemperatureLaw;
use super::register::{Standard, StandardKind};
use super::{StandardError, sugar};
use crate::quantity::{Angle, Concentration, Length, SpectralLine, Temperature};
use serde::{Deserialize, Serialize};

/// What a standard must read.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// The angle.
    pub angle: Angle,
    /// Its standard uncertainty.
    pub uncertainty: Angle,
    /// What it rests on, a sentence each.
    pub basis: Vec<String>,
    /// Published laws at these conditions where there are several: name and angle.
    pub laws: Vec<(&'static str, Angle)>,
    /// The largest amount by which a law without a source can have moved the angle: a change with temperature.
    pub unsourced: Option<(Unsourced, Angle)>,
}

/// What of an expected angle has no source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unsourced {
    /// The angle itself.
    Value,
    /// The change from the standard's temperature to that of the reading.
    Temperature,
    /// The same, and the temperature was not read.
    TemperatureNotRead,
}

/// Why a check has no verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum NoVerdict {
    /// The expected angle comes from a law that is from memory.
    ValueNotSourced,
    /// The temperature differs from that of the standard, and the law that bridges them is from memory.
    TemperatureLawNotSourced,
    /// The temperature was not read, and the standard has no coefficient with a source.
    TemperatureNotRead,
}

impl NoVerdict {
    /// What to say of it: a sentence with what to do. `reference` is the standard's temperature.
    pub fn sentence(self, reference: Temperature) -> String {
        let at = reference.celsius();
        match self {
            Self::ValueNotSourced => {
                "no verdict: the law for this solution is not sourced; give the certified angle of the solution"
                    .to_owned()
            }
            Self::TemperatureLawNotSourced => format!(
                "no verdict: the temperature law is not sourced; measure at {at:.1} °C or give the certificate's coefficient"
            ),
            Self::TemperatureNotRead => format!(
                "no verdict: the temperature was not read, and the temperature law is not sourced; measure at {at:.1} °C \
                 and give --temp, or give the certificate's coefficient"
            ),
        }
    }

    /// Whether the differences of such checks, among themselves, still tell a drift: a wrong but constant expected angle
    /// only moves the centre of the chart.
    pub const fn is_charted(self) -> bool {
        matches!(self, Self::ValueNotSourced)
    }
}

/// Why nothing can be expected of a standard.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ControlError {
    /// A plate or another standard without a certificate.
    #[error("a {0} counts by its certificate; enter the certified angle and its uncertainty")]
    NoCertificate(&'static str),
    /// Another line than that of the certificate.
    #[error(
        "the certificate is for line {certified}, the check for {read}; read at the certificate's line, or register the \
         standard a second time with that line's certified angle"
    )]
    OtherLine {
        /// The certificate's line.
        certified: String,
        /// The line of the check.
        read: String,
    },
    /// A solution without certificate and concentration.
    #[error("a solution without a certified angle needs its concentration and the cell length")]
    NoConcentration,
    /// No law for this line.
    #[error("no published law for dextrose at line {0}; use the sodium line, or a certified angle")]
    NoLaw(String),
    /// Nothing to judge the difference by.
    #[error(
        "neither the instrument \"{instrument}\" nor the certificate states an uncertainty, so that nothing can be judged; \
         register the instrument's angle uncertainty or resolution, or the expanded uncertainty of the certificate"
    )]
    NoUncertainty {
        /// The instrument.
        instrument: String,
    },
    /// A law does not reach.
    #[error(transparent)]
    Law(#[from] StandardError),
}

/// Half-width of what a temperature that is not read may be off from that of the certificate, K.
const TEMPERATURE_NOT_READ: f64 = 2.0;

/// Relative change of the rotation of a sucrose solution per kelvin near 20 °C, made up at 20 °C: -0.000184 for the specific
/// rotation, the rest for the expansion. From memory of the sugar handbooks: it orients, and no verdict rests on it.
const SUCROSE_PER_KELVIN: f64 = -0.000_471;

/// More than the rotation of an aqueous solution of sucrose, or of dextrose at equilibrium, changes per kelvin near 20 °C,
/// relative: twice the coefficient above. It only decides how near to its temperature a solution must be read.
const SOLUTION_AT_MOST: f64 = 0.001;

/// The same for a standard of another kind: fructose, one of the steepest, has about 0.006 per kelvin (common practice).
const OTHER_AT_MOST: f64 = 0.01;

/// The steepest of the published laws of quartz, relative change per kelvin (Soret and Sarasin, see [`TemperatureLaw`]).
const QUARTZ_AT_MOST: f64 = 0.000_179;

/// What a law without a source may move E_n by before there is no verdict.
const NEGLIGIBLE_IN_E_N: f64 = 0.1;

/// Relative standard uncertainty of the built-in law of sucrose: the 34.62° of ISO 592:1998 and the 34.602° of the scale at
/// the air wavelength 589.3 nm differ by 0.05 %.
const SUCROSE_LAW: f64 = 0.000_5;

/// Relative standard uncertainty of the built-in law of dextrose, whose coefficients are from memory.
const DEXTROSE_LAW: f64 = 0.002;

/// What a standard must read at a line and a temperature. `temperature` none: it was not read, and widens the answer.
///
/// # Errors
/// When the certificate is silent and no published law reaches these conditions.
pub fn expected(
    standard: &Standard,
    line: &SpectralLine,
    temperature: Option<Temperature>,
    cell: Option<Length>,
) -> Result<Expected, ControlError> {
    let mut found = match standard.certified() {
        Some(certified) => certified_value(standard, certified, line, cell)?,
        None => from_law(standard, line, cell)?,
    };
    apply_temperature(standard, temperature, &mut found)?;
    Ok(found)
}

fn certified_value(
    standard: &Standard,
    certified: Angle,
    line: &SpectralLine,
    cell: Option<Length>,
) -> Result<Expected, ControlError> {
    if !line.same_light(&standard.line) {
        return Err(ControlError::OtherLine {
            certified: standard.line.to_string(),
            read: line.to_string(),
        });
    }
    let mut basis = Vec::new();
    let mut angle = certified;
    if let (Some(own), Some(used)) = (standard.cell(), cell)
        && standard.kind != StandardKind::QuartzPlate
        && (own.millimetres() - used.millimetres()).abs() > 1e-9
    {
        angle = Angle::from_degrees(certified.degrees() * used.millimetres() / own.millimetres());
        basis.push(format!(
            "scaled from the {} mm of the certificate to {} mm",
            own.millimetres(),
            used.millimetres()
        ));
    }
    let uncertainty = if let Some(expanded) = standard.expanded_uncertainty_deg {
        basis.insert(
            0,
            format!("certificate {}°, U = {expanded}° (k = 2)", certified.degrees()),
        );
        Angle::from_degrees(expanded / 2.0)
    } else {
        basis.insert(
            0,
            format!(
                "certificate {}°, without an uncertainty: taken as exact",
                certified.degrees()
            ),
        );
        Angle::from_degrees(0.0)
    };
    Ok(Expected {
        angle,
        uncertainty,
        basis,
        laws: Vec::new(),
        unsourced: None,
    })
}

fn from_law(standard: &Standard, line: &SpectralLine, cell: Option<Length>) -> Result<Expected, ControlError> {
    let length = cell.or_else(|| standard.cell());
    let (Some(concentration), Some(length)) = (standard.concentration(), length) else {
        return Err(match standard.kind {
            StandardKind::QuartzPlate | StandardKind::Other => ControlError::NoCertificate(standard.kind.as_str()),
            StandardKind::Sucrose | StandardKind::Dextrose => ControlError::NoConcentration,
        });
    };
    let (laws, relative, basis) = match standard.kind {
        StandardKind::Sucrose => (
            sucrose_laws(concentration, length, line)?,
            SUCROSE_LAW,
            "no certificate: international sugar scale (GOST 8.258-2013, partly reconstructed)",
        ),
        StandardKind::Dextrose => (
            vec![("Tollens at 20 °C, from memory", dextrose(concentration, length, line)?)],
            DEXTROSE_LAW,
            "no certificate: law of Tollens for dextrose at equilibrium, from memory",
        ),
        kind => return Err(ControlError::NoCertificate(kind.as_str())),
    };
    let angle = laws.first().map_or(Angle::from_degrees(0.0), |(_, angle)| *angle);
    Ok(Expected {
        angle,
        uncertainty: Angle::from_degrees(relative * angle.degrees().abs()),
        basis: vec![basis.to_owned()],
        laws,
        unsourced: (standard.kind == StandardKind::Dextrose).then_some((Unsourced::Value, angle)),
    })
}

/// The angle of a sucrose solution at 20 °C by the published laws, the one that counts first: the sugar scale, taken as
/// linear in the concentration; at the sodium line also Landolt's polynomial `[α] = 66.435 + 0.00870 c − 0.000235 c²` (from
/// memory, 0 to 65 g per 100 mL).
///
/// # Errors
/// When the sugar scale does not reach the line.
pub fn sucrose_laws(
    concentration: Concentration,
    length: Length,
    line: &SpectralLine,
) -> Result<Vec<(&'static str, Angle)>, ControlError> {
    let wavelength = line.wavelength().ok_or_else(|| ControlError::NoLaw(line.to_string()))?;
    let share = concentration.grams_per_100_millilitres() / sugar::NORMAL_CONCENTRATION.grams_per_100_millilitres()
        * (length.decimetres() / sugar::CELL.decimetres());
    let mut laws = vec![(
        "sugar scale at 20 °C",
        Angle::from_degrees(sugar::normal_solution(wavelength)?.degrees() * share),
    )];
    if *line == SpectralLine::SodiumD {
        let c = concentration.grams_per_100_millilitres();
        let specific = 66.435 + c * (0.008_70 - 0.000_235 * c);
        laws.push((
            "Landolt at 20 °C, from memory",
            Angle::from_degrees(specific * c / 100.0 * length.decimetres()),
        ));
    }
    Ok(laws)
}

/// The angle of a solution of anhydrous dextrose at equilibrium, 20 °C, sodium line: `[α] = 52.50 + 0.018796 p + 0.00051683 p²`
/// with p in per cent by mass (Tollens; from memory), p from c with the density 0.9982 + 0.0038 c g/mL (common practice).
fn dextrose(concentration: Concentration, length: Length, line: &SpectralLine) -> Result<Angle, ControlError> {
    if *line != SpectralLine::SodiumD {
        return Err(ControlError::NoLaw(line.to_string()));
    }
    let c = concentration.grams_per_100_millilitres();
    let p = c / (0.998_2 + 0.003_8 * c);
    let specific = 52.50 + p * (0.018_796 + 0.000_516_83 * p);
    Ok(Angle::from_degrees(specific * c / 100.0 * length.decimetres()))
}

/// Moves the expected angle from the standard's temperature to that of the check.
fn apply_temperature(
    standard: &Standard,
    temperature: Option<Temperature>,
    found: &mut Expected,
) -> Result<(), ControlError> {
    let at_rest = found.angle.degrees();
    let reference = standard.temperature_c;
    let certified = standard.coefficient_per_kelvin;
    let at_most = match standard.kind {
        StandardKind::QuartzPlate => QUARTZ_AT_MOST,
        StandardKind::Sucrose | StandardKind::Dextrose => SOLUTION_AT_MOST,
        StandardKind::Other => OTHER_AT_MOST,
    };
    let has_law = certified.is_some() || standard.kind == StandardKind::QuartzPlate;
    let Some(temperature) = temperature else {
        let half_width = at_rest.abs() * certified.map_or(at_most, f64::abs) * TEMPERATURE_NOT_READ;
        if has_law {
            found.widen(half_width / 3f64.sqrt());
        } else {
            found.mark(Unsourced::TemperatureNotRead, half_width);
        }
        found.basis.push(format!(
            "the temperature was not read: taken as within {TEMPERATURE_NOT_READ} K of the {reference} °C of the standard"
        ));
        return Ok(());
    };
    let difference = temperature.celsius() - reference;
    if difference == 0.0 {
        return Ok(());
    }
    let (coefficient, origin) = match (certified, standard.kind) {
        (Some(coefficient), _) => (coefficient, "coefficient of the certificate"),
        (None, StandardKind::QuartzPlate) => return quartz_by_laws(standard, temperature, at_rest, found),
        (None, StandardKind::Sucrose) => (SUCROSE_PER_KELVIN, "coefficient of sucrose solutions, from memory"),
        (None, _) => (0.0, "no coefficient known: none applied"),
    };
    found.angle = Angle::from_degrees(at_rest * (1.0 + coefficient * difference));
    if certified.is_none() {
        found.mark(
            Unsourced::Temperature,
            at_rest.abs() * at_most.max(coefficient.abs()) * difference.abs(),
        );
    }
    found.basis.push(format!(
        "moved from {reference} to {} °C ({origin})",
        temperature.celsius()
    ));
    Ok(())
}

impl Expected {
    /// Adds an independent standard uncertainty, degrees.
    fn widen(&mut self, degrees: f64) {
        self.uncertainty = Angle::from_degrees(self.uncertainty.degrees().hypot(degrees));
    }

    /// Notes what has no source, unless the angle itself has none.
    fn mark(&mut self, what: Unsourced, degrees: f64) {
        if self.unsourced.is_none() {
            self.unsourced = Some((what, Angle::from_degrees(degrees)));
        }
    }

    /// Why no verdict can rest on this angle; none where what has no source moves E_n by no more than 0.1.
    pub fn no_verdict(&self, found: &Found) -> Option<NoVerdict> {
        let (what, at_most) = self.unsourced?;
        let expanded = 2.0 * found.uncertainty.degrees().hypot(self.uncertainty.degrees());
        match what {
            Unsourced::Value => Some(NoVerdict::ValueNotSourced),
            _ if at_most.degrees() <= NEGLIGIBLE_IN_E_N * expanded => None,
            Unsourced::Temperature => Some(NoVerdict::TemperatureLawNotSourced),
            Unsourced::TemperatureNotRead => Some(NoVerdict::TemperatureNotRead),
        }
    }
}

/// Moves a plate by the published laws: Wiley's counts, the spread of all three is its uncertainty.
fn quartz_by_laws(
    standard: &Standard,
    temperature: Temperature,
    at_rest: f64,
    found: &mut Expected,
) -> Result<(), ControlError> {
    let mut angles = Vec::new();
    for (name, law) in [
        ("Wiley", TemperatureLaw::Wiley),
        ("Sohncke", TemperatureLaw::Sohncke),
        ("Soret and Sarasin", TemperatureLaw::SoretSarasin),
    ] {
        let ratio = law.factor_from_0_celsius(temperature)? / law.factor_from_0_celsius(standard.temperature())?;
        angles.push((name, Angle::from_degrees(at_rest * ratio)));
    }
    let (low, high) = angles
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (_, angle)| {
            (low.min(angle.degrees()), high.max(angle.degrees()))
        });
    found.angle = angles[0].1;
    // The laws as ends of a rectangular distribution.
    let extra = (high - low) / 2.0 / 3f64.sqrt();
    found.widen(extra);
    found.basis.push(format!(
        "moved from {} to {} °C by the published law of quartz; the three laws spread over {:.4}°",
        standard.temperature_c,
        temperature.celsius(),
        high - low
    ));
    found.laws = angles;
    Ok(())
}

/// Readings of a standard, blank subtracted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// Mean of the readings.
    pub angle: Angle,
    /// Its standard uncertainty, the instrument's own included.
    pub uncertainty: Angle,
    /// Readings of the standard.
    pub readings: usize,
}

/// The mean of the readings less that of the blank, with the standard uncertainty of both and of the instrument. None
/// without a reading, or when one is not a number.
pub fn found(readings: &[Angle], blank: &[Angle], instrument: Option<Angle>) -> Option<Found> {
    let (mean, variance) = mean_and_variance(readings)?;
    let (zero, zero_variance) = if blank.is_empty() {
        (0.0, 0.0)
    } else {
        mean_and_variance(blank)?
    };
    let own = instrument.map_or(0.0, Angle::degrees);
    Some(Found {
        angle: Angle::from_degrees(mean - zero),
        uncertainty: Angle::from_degrees((variance + zero_variance + own * own).sqrt()),
        readings: readings.len(),
    })
}

/// Mean and variance of the mean.
fn mean_and_variance(readings: &[Angle]) -> Option<(f64, f64)> {
    let n = readings.len() as f64;
    if readings.is_empty() || readings.iter().any(|reading| !reading.degrees().is_finite()) {
        return None;
    }
    let mean = readings.iter().map(|reading| reading.degrees()).sum::<f64>() / n;
    if readings.len() < 2 {
        return Some((mean, 0.0));
    }
    let squares: f64 = readings.iter().map(|reading| (reading.degrees() - mean).powi(2)).sum();
    Some((mean, squares / (n - 1.0) / n))
}

/// The E_n score `(x − X) / √(U²(x) + U²(X))` with expanded uncertainties (k = 2): ISO 13528:2022, 9.7 (E_n scores). The check
/// passes when its magnitude is at most 1. None when neither side has an uncertainty.
pub fn e_n(found: &Found, expected: &Expected) -> Option<f64> {
    let combined = 2.0 * found.uncertainty.degrees().hypot(expected.uncertainty.degrees());
    (combined > 0.0).then(|| (found.angle.degrees() - expected.angle.degrees()) / combined)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plate(coefficient: Option<f64>) -> Standard {
        Standard {
            kind: StandardKind::QuartzPlate,
            certified_deg: Some(33.0),
            expanded_uncertainty_deg: Some(0.002),
            temperature_c: 0.0,
            line: SpectralLine::SodiumD,
            coefficient_per_kelvin: coefficient,
            concentration_g_per_100ml: None,
            cell_mm: None,
            due_on: None,
            note: None,
        }
    }

    /// Wiley, Principles and Practice of Agricultural Analysis, vol. 3: a plate of 33° at 0 °C reads 33.09834° at 20 °C as
    /// printed; his own formula, 33 (1 + 0.000146 · 20), gives 33.09636°.
    #[test]
    fn wileys_plate_at_20_celsius() {
        let found = expected(
            &plate(None),
            &SpectralLine::SodiumD,
            Some(Temperature::from_celsius(20.0)),
            None,
        )
        .unwrap();
        assert!((found.angle.degrees() - 33.0 * (1.0 + 0.000_146 * 20.0)).abs() < 1e-9);
        assert!((found.angle.degrees() - 33.098_34).abs() < 0.003);
        assert_eq!(found.laws.len(), 3);
    }

    /// The certificate's coefficient wins: 33 (1 + 0.0002 · 20).
    #[test]
    fn the_certificate_wins_over_the_law() {
        let found = expected(
            &plate(Some(0.000_2)),
            &SpectralLine::SodiumD,
            Some(Temperature::from_celsius(20.0)),
            None,
        )
        .unwrap();
        assert!((found.angle.degrees() - 33.132).abs() < 1e-9);
        assert!((found.uncertainty.degrees() - 0.001).abs() < 1e-12);
        assert!(found.laws.is_empty());
        let other = expected(&plate(None), &SpectralLine::at_nanometres(546.1).unwrap(), None, None);
        assert!(matches!(other, Err(ControlError::OtherLine { .. })));
    }

    /// ISO 592:1998: 26.00 g of anhydrous sucrose in 100 mL, 200 mm, 20 °C: +34.62°. The scale's own value at the vacuum line
    /// 589.44 nm is 34.626° for 26.016 g.
    #[test]
    fn a_sucrose_solution_reads_what_iso_592_says() {
        let solution = Standard {
            kind: StandardKind::Sucrose,
            certified_deg: None,
            expanded_uncertainty_deg: None,
            temperature_c: 20.0,
            concentration_g_per_100ml: Some(26.0),
            cell_mm: Some(200.0),
            ..plate(None)
        };
        let found = expected(
            &solution,
            &SpectralLine::SodiumD,
            Some(Temperature::from_celsius(20.0)),
            None,
        )
        .unwrap();
        // The reading's last digit and the law's own uncertainty.
        assert!((found.angle.degrees() - 34.62).abs() < 0.02 + 0.005, "{found:?}");
        assert_eq!(found.laws.len(), 2);
        assert!((found.laws[0].1.degrees() - found.laws[1].1.degrees()).abs() < 0.1);
    }

    fn solution(kind: StandardKind, certified: Option<f64>) -> Standard {
        Standard {
            kind,
            certified_deg: certified,
            expanded_uncertainty_deg: certified.map(|_| 0.01),
            temperature_c: 20.0,
            concentration_g_per_100ml: Some(26.0),
            cell_mm: Some(200.0),
            ..plate(None)
        }
    }

    fn verdict(standard: &Standard, celsius: Option<f64>, angle: f64) -> Option<NoVerdict> {
        let reading = Found {
            angle: Angle::from_degrees(angle),
            uncertainty: Angle::from_degrees(0.003),
            readings: 3,
        };
        let temperature = celsius.map(Temperature::from_celsius);
        let due = expected(standard, &SpectralLine::SodiumD, temperature, None).unwrap();
        due.no_verdict(&reading)
    }

    /// U is 2 √(0.003² + 0.005²) = 0.0117°: a solution of 34.6° may be off by 0.1 · 0.0117/(34.6 · 0.001) = 0.034 K.
    #[test]
    fn no_verdict_rests_on_a_law_from_memory() {
        let certified = solution(StandardKind::Sucrose, Some(34.6));
        for (celsius, why) in [
            (Some(20.0), None),
            (Some(20.03), None),
            (Some(19.96), Some(NoVerdict::TemperatureLawNotSourced)),
            (Some(25.0), Some(NoVerdict::TemperatureLawNotSourced)),
            (None, Some(NoVerdict::TemperatureNotRead)),
        ] {
            assert_eq!(verdict(&certified, celsius, 34.6), why, "{celsius:?}");
            // A reading far off is not condemned either.
            assert_eq!(verdict(&certified, celsius, 31.0), why, "{celsius:?}");
        }
        let own = Standard {
            coefficient_per_kelvin: Some(-0.000_47),
            ..certified
        };
        assert_eq!(verdict(&own, Some(25.0), 34.6), None);
        assert_eq!(verdict(&own, None, 34.6), None);
        for celsius in [Some(20.0), Some(25.0), None] {
            let plain = solution(StandardKind::Dextrose, None);
            assert_eq!(verdict(&plain, celsius, 27.5), Some(NoVerdict::ValueNotSourced));
        }
        let dextrose = solution(StandardKind::Dextrose, Some(27.5));
        assert_eq!(verdict(&dextrose, Some(20.0), 27.5), None);
        assert_eq!(
            verdict(&dextrose, Some(21.0), 27.5),
            Some(NoVerdict::TemperatureLawNotSourced)
        );
        assert_eq!(
            verdict(&solution(StandardKind::Other, Some(27.5)), Some(20.0), 27.5),
            None
        );
        assert!(verdict(&solution(StandardKind::Other, Some(27.5)), Some(20.1), 27.5).is_some());
        // Quartz has published laws.
        assert_eq!(verdict(&plate(None), Some(20.0), 33.1), None);
        assert_eq!(verdict(&plate(None), None, 33.1), None);
    }

    /// E_n = (34.612 − 34.6) / √(0.004² + 0.003²) = 2.4: ISO 13528:2022, 9.7, computed by hand.
    #[test]
    fn e_n_is_the_difference_over_the_expanded_uncertainties() {
        let reading = Found {
            angle: Angle::from_degrees(34.612),
            uncertainty: Angle::from_degrees(0.002),
            readings: 5,
        };
        let due = Expected {
            angle: Angle::from_degrees(34.6),
            uncertainty: Angle::from_degrees(0.001_5),
            basis: Vec::new(),
            laws: Vec::new(),
            unsourced: None,
        };
        assert!((e_n(&reading, &due).unwrap() - 2.4).abs() < 1e-9);
    }

    #[test]
    fn readings_give_the_mean_and_its_uncertainty() {
        let degrees = |values: &[f64]| values.iter().copied().map(Angle::from_degrees).collect::<Vec<_>>();
        // s of 1, 2, 3 is 1; of the mean 1/√3; the blank's mean is 0.5 with s² = 0.02, of the mean 0.1.
        let it = found(&degrees(&[1.0, 2.0, 3.0]), &degrees(&[0.4, 0.6]), None).unwrap();
        assert!((it.angle.degrees() - 1.5).abs() < 1e-12);
        assert!((it.uncertainty.degrees() - (1.0f64 / 3.0 + 0.01).sqrt()).abs() < 1e-12);
        assert!(found(&[], &[], None).is_none());
        assert!(found(&degrees(&[f64::NAN]), &[], None).is_none());
    }
}
