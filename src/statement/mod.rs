//! One printed value of rotation with all that was printed about it, and the equations that define it.
//!
//! A missing field stays missing: nothing here fills in 20 °C or the sodium line. The type is shared by the reader, the
//! library and the files that are exchanged; how a statement is compared is not its business.

mod equations;

pub use equations::{
    concentration_from_angle, concentration_of_mass_in_volume, enantiomer_fraction, excess_of_fraction, mass_in_volume,
    molar_rotation, observed_angle, optical_purity, specific_from_angle, specific_from_molar, specific_of_mixture,
    specific_of_neat_liquid,
};

use crate::quantity::{
    ConcentrationUnit, Fraction, Length, Printed, QuantityError, SpectralLine, parse_number, parse_temperature,
};
use crate::solvent::Solvent;
use serde::{Deserialize, Serialize};

/// What kind of rotation a number is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum RotationKind {
    /// Specific rotation `[α]`.
    #[default]
    Specific,
    /// Observed rotation α, an angle.
    Observed,
    /// Molar rotation `[M]`.
    Molar,
}

/// How the sign stood in print.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sign {
    /// + or − was printed (also in words: levorotatory).
    #[default]
    Stated,
    /// No sign was printed.
    NotStated,
    /// ± was printed as the sign.
    Ambiguous,
}

/// The stage of a mutarotating solution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Stage {
    /// Read soon after dissolving.
    Initial,
    /// Read at equilibrium.
    Final,
}

/// Whether a value was measured by its source or quoted from elsewhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Measured by the authors of the source.
    Measured,
    /// A literature value quoted beside a measured one.
    Lit,
    /// Compiled in a table or handbook from sources not printed.
    Compiled,
}

/// A printed temperature.
#[derive(Clone, Debug, PartialEq)]
pub enum StatedTemperature {
    /// A number in °C.
    At(Printed),
    /// A range in °C.
    Range(Printed, Printed),
    /// Words, such as "room".
    Words(String),
}

impl StatedTemperature {
    /// Reads a temperature as a person types it or a table holds it: a number with a unit of its own or in `unit` (°C when
    /// that is empty), a range (`20..25`, `20 to 25`, `20–25`), or words such as "room".
    ///
    /// # Errors
    /// When a number is no temperature, its unit is not known, or it lies outside −100 to 300 °C; or nothing is there.
    pub fn parse(text: &str, unit: &str) -> Result<Self, QuantityError> {
        let text = text.trim();
        if !text.is_empty() && !text.contains(|c: char| c.is_ascii_digit()) {
            return Ok(Self::Words(text.to_lowercase()));
        }
        if let Some((low, high)) = split_range(text)
            && !low.is_empty()
        {
            return Ok(Self::Range(printed_celsius(low, unit)?, printed_celsius(high, unit)?));
        }
        printed_celsius(text, unit).map(Self::At)
    }

    /// The temperature in °C and the half-width of what it can have been. Room temperature is 22.5 ± 3 °C (common
    /// practice).
    pub fn celsius(&self) -> Option<(f64, f64)> {
        match self {
            Self::At(value) => Some((value.value(), value.half_last_digit())),
            Self::Range(low, high) => Some((
                f64::midpoint(low.value(), high.value()),
                (high.value() - low.value()).abs() / 2.0,
            )),
            Self::Words(words) if words.contains("room") || words.contains("ambient") => Some((22.5, 3.0)),
            Self::Words(_) => None,
        }
    }
}

/// Reads one temperature in °C, with the digits it has where it is a plain number; `unit` is that of a number without one.
///
/// # Errors
/// As [`StatedTemperature::parse`].
pub fn printed_celsius(text: &str, unit: &str) -> Result<Printed, QuantityError> {
    let has_unit = text.contains(|c: char| c.is_alphabetic() || c == '°' || c == 'º');
    let temperature = if has_unit || unit.is_empty() {
        parse_temperature(text)?
    } else {
        parse_temperature(&format!("{text} {unit}"))?
    };
    let plain = text.trim().trim_end_matches(['C', '°', 'º', ' ']);
    match parse_number(plain) {
        Ok(printed) if (printed.value() - temperature.celsius()).abs() < 1e-9 => Ok(printed),
        _ => Ok(Printed::new((temperature.celsius() * 100.0).round() / 100.0, 2)),
    }
}

/// Splits a range at `..`, "to", "bis", or a dash between digits.
pub fn split_range(text: &str) -> Option<(&str, &str)> {
    for between in ["..", " to ", " bis "] {
        if let Some((low, high)) = text.split_once(between) {
            return Some((low.trim(), high.trim()));
        }
    }
    let (at, c) = text.char_indices().find(|&(at, c)| {
        matches!(c, '-' | '\u{2010}'..='\u{2014}' | '\u{2212}')
            && text[..at].trim_end().ends_with(|before: char| before.is_ascii_digit())
            && text[at + c.len_utf8()..]
                .trim_start()
                .starts_with(|after: char| after.is_ascii_digit())
    })?;
    Some((text[..at].trim(), text[at + c.len_utf8()..].trim()))
}

/// A printed concentration: one number or a range, with the unit it was printed in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PrintedConcentration {
    /// The number, or the low end of a range.
    pub low: Printed,
    /// The high end of a range.
    pub high: Option<Printed>,
    /// The unit; g/100 mL for a bare `c = x`.
    pub unit: ConcentrationUnit,
    /// False where the number stands without `c` or a unit.
    pub unit_printed: bool,
}

/// The enantiomeric excess of the sample, as stated.
#[derive(Clone, Debug, PartialEq)]
pub struct StatedExcess {
    /// The number in per cent.
    pub percent: Printed,
    /// True for "> 99 %": the number is a lower bound.
    pub at_least: bool,
    /// The method, in words, such as "HPLC, chiral column".
    pub method: Option<String>,
}

impl StatedExcess {
    /// Reads an enantiomeric excess, in per cent: `98`, `98.5 %`, `>99`, `99 % ee`, `ee 99 %`, or a ratio of the enantiomers, `98:2`.
    ///
    /// # Errors
    /// When it is no number, lies beyond 100 %, or is a ratio that cannot be.
    pub fn read(text: &str) -> Result<Self, String> {
        if let Some(ratio) = Self::from_ratio(text) {
            return ratio;
        }
        let named = text.trim().trim_end_matches(['e', '.', ' ']);
        let bare_of_name = named.strip_prefix("e.e.").or_else(|| named.strip_prefix("ee"));
        let text = bare_of_name.unwrap_or(named).trim_start();
        let bare = text.trim_start_matches(['>', '≥', '=', ' ']);
        let number = bare.trim_end_matches(['%', ' ']);
        let percent = crate::quantity::parse_number(number).map_err(|error| error.to_string())?;
        if percent.value().abs() > 100.0 {
            return Err(format!("an enantiomeric excess of {percent} % cannot be"));
        }
        Ok(Self {
            percent,
            at_least: bare.len() < text.len(),
            method: None,
        })
    }

    /// With the method as it is printed. One such as "HPLC, chiral column (>98)" or ">99 as printed" says that the number is a
    /// lower bound; what stands before the sign is the method.
    #[must_use]
    pub fn by(mut self, printed: &str) -> Self {
        let (method, bound) = match printed.split_once(['>', '≥']) {
            Some((method, _)) => (method.trim_end_matches(['(', ' ']), true),
            None => (printed.trim(), false),
        };
        self.at_least |= bound;
        if !method.is_empty() {
            self.method = Some(method.to_owned());
        }
        self
    }

    /// Reads a ratio of the enantiomers, the larger share first: `98:2`, `98.5 : 1.5`, `97/3`, `>99:1`. The excess is
    /// `ee = 100 (a − b)/(a + b)`, with the decimals of the shares. None when the text is no ratio at all.
    ///
    /// # Errors
    /// When a share is no number, the smaller share comes first (it would name the other enantiomer, or not), or nothing is
    /// divided.
    pub fn from_ratio(text: &str) -> Option<Result<Self, String>> {
        let text = text.trim();
        let bare = text.trim_start_matches(['>', '≥', '=', ' ']);
        let words = bare.trim_start_matches("e.r.").trim_start_matches("er").trim_start();
        let (major, minor) = words.split_once([':', '/'])?;
        let minor = minor.trim_end_matches("e.r.").trim_end_matches("er");
        let share = |text: &str| {
            let text = text.trim().trim_end_matches(['%', ' ']);
            match crate::quantity::parse_number(text) {
                Ok(number) if number.value() >= 0.0 => Ok(number),
                _ => Err(format!("\"{text}\" is no share of a ratio of enantiomers such as 98:2")),
            }
        };
        Some(share(major).and_then(|a| Ok((a, share(minor)?))).and_then(|(a, b)| {
            if a.value() < b.value() {
                return Err(format!(
                    "the ratio {a}:{b} names the smaller share first; give the larger first, or the excess with its sign"
                ));
            }
            let whole = a.value() + b.value();
            if whole <= 0.0 {
                return Err("a ratio of enantiomers needs a share above zero".to_owned());
            }
            Ok(Self {
                percent: Printed::new(100.0 * (a.value() - b.value()) / whole, a.decimals().max(b.decimals())),
                at_least: bare.len() < text.len(),
                method: None,
            })
        }))
    }

    /// The excess as a fraction of one.
    pub fn fraction(&self) -> Fraction {
        Fraction::from_percent(self.percent.value())
    }

    /// Whether the method is itself a rotation: such a value is circular and never used in comparing.
    pub fn is_from_rotation(&self) -> bool {
        self.method.as_deref().is_some_and(|method| {
            let method = method.to_lowercase();
            ["rotation", "optical purity", "polarim", "[α]", "[a]"]
                .iter()
                .any(|word| method.contains(word))
        })
    }
}

/// One value of rotation with all that was printed about it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Statement {
    /// What kind of rotation the number is.
    pub kind: RotationKind,
    /// The signed number; none for a range.
    pub value: Option<Printed>,
    /// The low end of a range, or alone for "not less than".
    pub low: Option<Printed>,
    /// The high end of a range, or alone for "not more than".
    pub high: Option<Printed>,
    /// How the sign stood in print.
    pub sign: Sign,
    /// The printed tolerance, degrees.
    pub plus_minus: Option<Printed>,
    /// True for "about", "ca.", "~".
    pub approx: bool,
    /// The temperature.
    pub temperature: Option<StatedTemperature>,
    /// The light.
    pub line: Option<SpectralLine>,
    /// The solvent, or neat.
    pub solvent: Option<Solvent>,
    /// The concentration.
    pub concentration: Option<PrintedConcentration>,
    /// The cell length.
    pub path: Option<Length>,
    /// What was measured: salt, hydrate, anomer.
    pub form: Option<String>,
    /// The basis of the value: dried, anhydrous.
    pub basis: Option<String>,
    /// The stage of a mutarotating solution.
    pub stage: Option<Stage>,
    /// The printed time of the reading.
    pub time_note: Option<String>,
    /// The enantiomeric excess of the sample.
    pub ee: Option<StatedExcess>,
    /// Measured, quoted or compiled.
    pub role: Option<Role>,
    /// Printed words on which enantiomer the value is of.
    pub enantiomer_note: Option<String>,
    /// The text as printed.
    pub as_printed: String,
    /// Place in the source: page, compound number.
    pub place: Option<String>,
    /// Everything the reader was not sure of, in sentences.
    pub doubts: Vec<String>,
}

impl Statement {
    /// The value, or the middle of a range that has both ends.
    pub fn central_value(&self) -> Option<f64> {
        match (self.value, self.low, self.high) {
            (Some(value), _, _) => Some(value.value()),
            (None, Some(low), Some(high)) => Some(f64::midpoint(low.value(), high.value())),
            _ => None,
        }
    }

    /// The first number that no bench has ([`Printed::is_held`]): print is read whatever it says, and kept out of a library.
    pub fn beyond_any_bench(&self) -> Option<Printed> {
        let concentration = self.concentration.as_ref();
        let numbers = [
            self.value,
            self.low,
            self.high,
            self.plus_minus,
            concentration.map(|printed| printed.low),
            concentration.and_then(|printed| printed.high),
        ];
        numbers
            .into_iter()
            .flatten()
            .find(|number| !Printed::is_held(number.value()))
    }
}

/// Defines the word an enum is stored and exchanged by.
macro_rules! words {
    ($type:ident, $($variant:ident = $word:literal),+) => {
        impl $type {
            /// The word it is stored and exchanged by.
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// The value with this word.
            pub fn from_word(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)+ _ => None }
            }
        }
    };
}

words!(
    RotationKind,
    Specific = "specific",
    Observed = "observed",
    Molar = "molar"
);
words!(
    Sign,
    Stated = "stated",
    NotStated = "not-stated",
    Ambiguous = "ambiguous"
);
words!(Stage, Initial = "initial", Final = "final");
words!(Role, Measured = "measured", Lit = "lit", Compiled = "compiled");
