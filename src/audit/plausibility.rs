//! What a single entry says, against what a polarimeter can read.

use super::{Code, Finding, Item, Severity, Subject, shown, signed};
use crate::compare::Conditions;
use crate::quantity::{Angle, Concentration, Length, Printed, SpecificRotation, SpectralLine, Temperature};
use crate::solvent::Solvent;
use crate::statement::{RotationKind, Sign, Statement, observed_angle, specific_from_angle};

/// Finest step in which any polarimeter shows an angle (common practice: 0.0001° for the best).
const FINEST_STEP: Angle = Angle::from_degrees(0.0001);

/// Smallest angle that any polarimeter tells from zero (common practice: two thousandths of a degree).
const SMALLEST_ANGLE: Angle = Angle::from_degrees(0.002);

/// Largest angle that is read without an unknown half turn (common practice: ±89.9° or ±90°).
const LARGEST_ANGLE: Angle = Angle::from_degrees(90.0);

/// Cell length taken where none is printed: the longest in common use, so that nothing is called too small that may have
/// been read, and the shortest, so that nothing is called too large (common practice: 0.5 to 2 dm).
const LONGEST_CELL: Length = Length::from_decimetres(2.0);
const SHORTEST_CELL: Length = Length::from_decimetres(0.5);

/// Wavelengths of the lamps and lasers in use, nm (sodium, mercury, cadmium, hydrogen, helium, neon, potassium; common
/// practice).
const LAMPS: [f64; 22] = [
    253.7, 280.0, 296.7, 302.2, 313.2, 325.0, 334.1, 365.0, 404.7, 435.8, 486.1, 508.6, 546.1, 577.0, 578.0, 579.1,
    589.3, 632.8, 643.8, 656.3, 670.8, 882.6,
];

/// How far a printed wavelength may lie from a lamp's, nm.
const LAMP_WIDTH: f64 = 2.0;

/// Rotations are printed between these (common practice: dispersion from the near ultraviolet to the near infrared).
const WAVELENGTHS: std::ops::RangeInclusive<f64> = 220.0..=1100.0;

/// Temperatures at which rotations are read in ordinary cells (common practice), and at which they are read at all.
const ORDINARY: std::ops::RangeInclusive<f64> = 5.0..=60.0;
const POSSIBLE: std::ops::RangeInclusive<f64> = -110.0..=130.0;

/// Finds what is implausible about one entry.
pub(super) fn of_item(subject: &Subject, at: usize, item: &Item, found: &mut Vec<Finding>) {
    let statement = &item.statement;
    let mut push = |code, severity, reason| found.push(Finding::new(code, severity, reason, vec![at]));
    if let (Some(low), Some(high)) = (statement.low, statement.high)
        && low.value() > high.value()
    {
        let reason = format!(
            "The low {} {} stands above the high one, {}.",
            if item.specification { "limit" } else { "end" },
            signed(low.value()),
            signed(high.value())
        );
        push(Code::LimitsReversed, Severity::High, reason);
    }
    angle(subject, item, &mut push);
    wavelength(statement, &mut push);
    temperature(statement, &mut push);
    missing(item, &mut push);
}

/// The angle that the value makes at the printed concentration, and the digits it would need.
fn angle(subject: &Subject, item: &Item, push: &mut impl FnMut(Code, Severity, String)) {
    let statement = &item.statement;
    let too_large = |angle: f64, where_: &str| {
        format!(
            "{where_} an angle of {angle}°, past the ±90° that are read without an unknown half turn.",
            angle = shown(angle)
        )
    };
    if statement.kind == RotationKind::Observed {
        if let Some(value) = statement.central_value()
            && value.abs() > LARGEST_ANGLE.degrees()
        {
            let reason = too_large(value, "It is printed as");
            push(
                Code::AngleTooLarge,
                Severity::Medium,
                format!("{reason} A specific rotation may be meant."),
            );
        }
        return;
    }
    if item.specification || statement.kind != RotationKind::Specific {
        return;
    }
    let (Some(value), Some(concentration)) = (
        statement.central_value(),
        Conditions::of(statement, subject.molar_mass).concentration,
    ) else {
        return;
    };
    let rotation = SpecificRotation::from_conventional(value);
    let c = shown(concentration.grams_per_100_millilitres());
    let shortest = statement.path.unwrap_or(SHORTEST_CELL);
    let longest = statement.path.unwrap_or(LONGEST_CELL);
    let largest = observed_angle(rotation, shortest, concentration).degrees();
    let smallest = observed_angle(rotation, longest, concentration).degrees();
    let cell = |length: Length| {
        let mm = shown(length.millimetres());
        if statement.path.is_some() {
            format!("in the printed {mm} mm cell")
        } else {
            format!("even in a {mm} mm cell")
        }
    };
    if largest.abs() > LARGEST_ANGLE.degrees() {
        let lead = format!("{} at c {c} g/100 mL makes {}", signed(value), cell(shortest));
        push(Code::AngleTooLarge, Severity::Medium, too_large(largest, &lead));
    } else if value != 0.0 && smallest.abs() < SMALLEST_ANGLE.degrees() {
        let reason = format!(
            "{} at c {c} g/100 mL makes {} an angle of {}°, which no polarimeter tells from zero; is the unit of c right?",
            signed(value),
            cell(longest),
            shown(smallest)
        );
        push(Code::AngleTooSmall, Severity::Medium, reason);
    } else if let Some(printed) = statement.value {
        let step = 2.0 * printed.half_last_digit();
        let carried = carried_step(longest, concentration);
        if step < 0.99 * carried {
            let reason = format!(
                "The last digit of {} stands for {step}, but at c {c} g/100 mL {} one step of the finest polarimeter \
                 (0.0001°) is {}.",
                printed_signed(printed),
                cell(longest),
                shown(carried)
            );
            push(Code::TooManyDigits, Severity::Low, reason);
        }
    }
}

/// The specific rotation that one step of the finest polarimeter is worth, deg mL g⁻¹ dm⁻¹.
fn carried_step(length: Length, concentration: Concentration) -> f64 {
    specific_from_angle(FINEST_STEP, length, concentration).conventional()
}

fn printed_signed(printed: Printed) -> String {
    let text = printed.to_string().replace('-', "\u{2212}");
    if printed.value() > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}

fn wavelength(statement: &Statement, push: &mut impl FnMut(Code, Severity, String)) {
    let Some(SpectralLine::At(wavelength)) = &statement.line else {
        return;
    };
    let nm = wavelength.to_air().nanometres();
    if !WAVELENGTHS.contains(&nm) {
        let reason = format!(
            "{nm} nm lies outside the {} to {} nm in which rotations are read.",
            WAVELENGTHS.start(),
            WAVELENGTHS.end()
        );
        push(Code::WavelengthImplausible, Severity::High, reason);
        return;
    }
    if LAMPS.iter().any(|lamp| (lamp - nm).abs() <= LAMP_WIDTH) {
        return;
    }
    let digits = |nm: f64| {
        let mut digits: Vec<char> = format!("{:.0}", nm.floor()).chars().collect();
        digits.sort_unstable();
        digits
    };
    match LAMPS
        .iter()
        .find(|&&lamp| digits(lamp) == digits(nm) || one_digit_off(lamp, nm))
    {
        Some(lamp) => push(
            Code::WavelengthImplausible,
            Severity::Medium,
            format!("{nm} nm is the light of no usual lamp; {lamp} nm may be meant."),
        ),
        // A monochromator gives any wavelength, and prints round ones.
        None if nm.rem_euclid(5.0) == 0.0 => {}
        None => push(
            Code::WavelengthImplausible,
            Severity::Low,
            format!("{nm} nm is the light of no usual lamp."),
        ),
    }
}

/// Whether the printed wavelength is the sodium or green mercury line with one digit wrong; other lines are too rare for
/// a misprint to be likelier than a monochromator.
fn one_digit_off(lamp: f64, nm: f64) -> bool {
    if lamp != 589.3 && lamp != 546.1 {
        return false;
    }
    let (a, b) = (format!("{:.0}", lamp.floor()), format!("{:.0}", nm.floor()));
    a.len() == b.len() && a.chars().zip(b.chars()).filter(|(x, y)| x != y).count() == 1
}

fn temperature(statement: &Statement, push: &mut impl FnMut(Code, Severity, String)) {
    let Some(celsius) = statement.temperature.as_ref().and_then(|t| t.celsius()).map(|(t, _)| t) else {
        return;
    };
    let temperature = Temperature::from_celsius(celsius);
    let t = shown(temperature.celsius());
    if !POSSIBLE.contains(&celsius) {
        let reason = format!("{t} °C is no temperature at which a solution is read in a polarimeter.");
        push(Code::TemperatureImplausible, Severity::High, reason);
    } else if !ORDINARY.contains(&celsius) {
        let reason = format!(
            "{t} °C is unusual: rotations are read between {} and {} °C.",
            ORDINARY.start(),
            ORDINARY.end()
        );
        push(Code::TemperatureImplausible, Severity::Low, reason);
    }
}

fn missing(item: &Item, push: &mut impl FnMut(Code, Severity, String)) {
    let statement = &item.statement;
    let is_neat = statement.solvent == Some(Solvent::Neat);
    let observed = statement.kind == RotationKind::Observed;
    let mut absent = Vec::new();
    let mut note = |is_absent: bool, what: &'static str| {
        if is_absent {
            absent.push(what);
        }
    };
    note(statement.sign != Sign::Stated, "sign");
    note(statement.line.is_none(), "line");
    note(statement.temperature.is_none(), "temperature");
    note(statement.solvent.is_none(), "solvent");
    note(statement.concentration.is_none() && !is_neat, "concentration");
    note(observed && statement.path.is_none(), "cell length");
    if absent.is_empty() {
        return;
    }
    // Without these the value cannot be compared with any other.
    let useless = statement.sign != Sign::Stated
        || (observed && (statement.path.is_none() || (statement.concentration.is_none() && !is_neat)));
    let severity = if useless || absent.len() >= 4 {
        Severity::Medium
    } else {
        Severity::Low
    };
    push(
        Code::MissingConditions,
        severity,
        format!("Not printed: {}.", absent.join(", ")),
    );
}
