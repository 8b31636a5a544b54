//! Writes a statement as journals, CIF files and plain text print it: the inverse of reading.
//!
//! What stands in the brackets, and in which order, is decided once in [`parts`]; a [`Style`] only decides how each part
//! is marked up. Reading what was written gives the same statement (`tests/it/notation.rs`).

use crate::quantity::{ConcentrationUnit, Medium, Printed, SpectralLine, Wavelength};
use crate::solvent::Solvent;
use crate::statement::{PrintedConcentration, RotationKind, Sign, Stage, StatedTemperature, Statement};
use std::fmt::Write;

/// How a statement is marked up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Style {
    /// `[α]_D^20 −49.1 (c 1.00, EtOH)`
    Plain,
    /// `[alpha]20/D -49.1 (c 1.00, EtOH)`
    Ascii,
    /// `[α]<sub>D</sub><sup>20</sup> −49.1 (*c* 1.00, EtOH)`
    Markdown,
    /// `[α]<sub>D</sub><sup>20</sup> −49.1 (<i>c</i> 1.00, EtOH)`
    Html,
    /// `$[\alpha]_{\mathrm{D}}^{20}$ $-49.1$ ($c$ 1.00, EtOH)`
    Latex,
    /// `_chemical.optical_rotation '[\a]^20^~D~ = -49.1 (c = 1.00, EtOH)'`, the item of the CIF core dictionary.
    Cif,
}

impl Style {
    /// All styles.
    pub const ALL: [Self; 6] = [
        Self::Plain,
        Self::Ascii,
        Self::Markdown,
        Self::Html,
        Self::Latex,
        Self::Cif,
    ];

    const fn is_ascii(self) -> bool {
        matches!(self, Self::Ascii | Self::Cif)
    }
}

/// Why a statement cannot be written in journal style.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WriteError {
    /// There is no number.
    #[error("the statement has neither a value nor a bound; enter one before writing it")]
    NoValue,
    /// The line has no printed form that journals know.
    #[error("the wavelength is given in vacuum or by an unusual letter; give it in nm in air")]
    Line,
    /// A negative number whose sign was not printed cannot be written without one.
    #[error("the value is negative but its sign is marked as not printed; state the sign")]
    UnsignedNegative,
    /// A number that no bench has, of which nothing says what was meant.
    #[error("a number of the statement is outside what can be; look whether it was printed or read wrongly")]
    BeyondAnyBench,
}

/// Writes a statement: symbol with temperature and line, value, and the conditions in brackets.
///
/// Form, role, notes and place are not part of the notation and are left out.
///
/// # Errors
/// When there is no value, a number is beyond any bench, or line or sign cannot be printed.
pub fn write(statement: &Statement, style: Style) -> Result<String, WriteError> {
    if statement.beyond_any_bench().is_some() {
        return Err(WriteError::BeyondAnyBench);
    }
    let value = value(statement, style)?;
    let head = head(statement, style)?;
    let mut text = head.text;
    if statement.sign == Sign::NotStated || style == Style::Cif || head.needs_equals {
        // A bound or a tilde takes the place of the equals sign.
        let leaders = ["≥", "≤", "≈", ">", "<", "~", "$\\geq", "$\\leq", "$\\approx"];
        let led = leaders.iter().any(|leader| value.starts_with(leader));
        text.push_str(if led { "" } else { " =" });
    }
    text.push(' ');
    text.push_str(&value);
    let conditions = parts(statement, style, head.left).join(", ");
    if !conditions.is_empty() {
        let _ = write!(text, " ({conditions})");
    }
    Ok(if style == Style::Cif {
        format!("_chemical.optical_rotation '{text}'")
    } else {
        text
    })
}

/// The symbol or words before the value, and what of the conditions they do not show.
struct Head {
    text: String,
    left: Left,
    /// The words of the head need an equals sign before the value.
    needs_equals: bool,
}

/// Conditions the head leaves to the brackets.
#[derive(Clone, Copy)]
struct Left {
    temperature: bool,
    line: bool,
}

fn head(statement: &Statement, style: Style) -> Result<Head, WriteError> {
    let line = match &statement.line {
        None => None,
        Some(SpectralLine::SodiumD) => Some("D".to_owned()),
        // An index is taken for a wavelength only where polarimeters work; others keep their unit, in the brackets.
        Some(SpectralLine::At(wavelength)) if is_index(*wavelength) => Some(wavelength.nanometres().to_string()),
        Some(SpectralLine::At(wavelength)) if wavelength.medium() == Medium::Air => None,
        Some(SpectralLine::Named(name)) if name == "Hg" => Some(name.clone()),
        Some(_) => return Err(WriteError::Line),
    };
    // Beside a bare α a higher number may be that of a compound; it goes into the brackets, with its unit.
    let hottest = if statement.kind == RotationKind::Observed {
        60.0
    } else {
        100.0
    };
    let temperature = match &statement.temperature {
        Some(StatedTemperature::At(at)) if (0.0..=hottest).contains(&at.value()) => Some(at.to_string()),
        _ => None,
    };
    let by_symbol = match statement.kind {
        RotationKind::Specific => true,
        RotationKind::Molar => line.is_some(),
        RotationKind::Observed => line.as_deref() == Some("D"),
    };
    if !by_symbol {
        if line.as_deref() == Some("Hg") {
            return Err(WriteError::Line);
        }
        let words = if statement.kind == RotationKind::Molar {
            "molar rotation"
        } else {
            "optical rotation"
        };
        return Ok(Head {
            text: words.to_owned(),
            left: Left {
                temperature: true,
                line: true,
            },
            needs_equals: true,
        });
    }
    let symbol = match (statement.kind, style) {
        (RotationKind::Specific, Style::Ascii) => "[alpha]",
        (RotationKind::Specific, Style::Cif) => "[\\a]",
        (RotationKind::Specific, Style::Latex) => "[\\alpha]",
        (RotationKind::Specific, _) => "[α]",
        (RotationKind::Observed, Style::Ascii) => "alpha",
        (RotationKind::Observed, Style::Cif) => "\\a",
        (RotationKind::Observed, Style::Latex) => "\\alpha",
        (RotationKind::Observed, _) => "α",
        (RotationKind::Molar, _) => "[M]",
    };
    let line = line.unwrap_or_default();
    let at = temperature.as_deref().unwrap_or_default();
    let text = match style {
        Style::Plain => format!("{symbol}{}{}", after("_", &line), after("^", at)),
        Style::Ascii if statement.kind == RotationKind::Observed => format!("{symbol}-{line}{}", around("[", at, "]")),
        Style::Ascii => format!(
            "{symbol}{at}{}{line}",
            if at.is_empty() || line.is_empty() { "" } else { "/" }
        ),
        Style::Markdown | Style::Html => {
            format!(
                "{symbol}{}{}",
                around("<sub>", &line, "</sub>"),
                around("<sup>", at, "</sup>")
            )
        }
        Style::Latex => format!(
            "${symbol}{}{}$",
            around("_{\\mathrm{", &line, "}}"),
            around("^{", at, "}")
        ),
        Style::Cif => format!("{symbol}{}{}", around("^", at, "^"), around("~", &line, "~")),
    };
    Ok(Head {
        text,
        left: Left {
            temperature: temperature.is_none(),
            line: matches!(&statement.line, Some(SpectralLine::At(wavelength)) if !is_index(*wavelength)),
        },
        needs_equals: statement.kind == RotationKind::Observed,
    })
}

/// Whether a number behind the symbol is read as a wavelength.
fn is_index(wavelength: Wavelength) -> bool {
    wavelength.medium() == Medium::Air && (230.0..=1100.0).contains(&wavelength.nanometres())
}

fn after(mark: &str, text: &str) -> String {
    around(mark, text, "")
}

/// `text` between two marks; nothing when there is no text.
fn around(before: &str, text: &str, behind: &str) -> String {
    if text.is_empty() {
        String::new()
    } else {
        format!("{before}{text}{behind}")
    }
}

fn value(statement: &Statement, style: Style) -> Result<String, WriteError> {
    let number = |printed: Printed| signed(printed, statement.sign, style);
    let math = |text: String| {
        if style == Style::Latex {
            format!("${text}$")
        } else {
            text
        }
    };
    let (least, most) = match style {
        Style::Latex => ("\\geq ", "\\leq "),
        _ if style.is_ascii() => (">= ", "<= "),
        _ => ("≥ ", "≤ "),
    };
    let mut text = match (statement.value, statement.low, statement.high) {
        (Some(value), _, _) => {
            let tolerance = statement.plus_minus.map(|tolerance| match style {
                Style::Latex => format!(" \\pm {tolerance}"),
                _ if style.is_ascii() => format!(" +- {tolerance}"),
                _ => format!(" ± {tolerance}"),
            });
            math(number(value)? + &tolerance.unwrap_or_default())
        }
        (None, Some(low), Some(high)) => format!("{} to {}", math(number(low)?), math(number(high)?)),
        (None, Some(low), None) => math(format!("{least}{}", number(low)?)),
        (None, None, Some(high)) => math(format!("{most}{}", number(high)?)),
        (None, None, None) => return Err(WriteError::NoValue),
    };
    if statement.kind == RotationKind::Observed {
        text.push_str(match style {
            Style::Latex => "$^{\\circ}$",
            _ if style.is_ascii() => " deg",
            _ => "°",
        });
    }
    if statement.approx {
        text = match style {
            Style::Latex => format!("$\\approx$ {text}"),
            _ if style.is_ascii() => format!("~ {text}"),
            _ => format!("≈ {text}"),
        };
    }
    Ok(text)
}

/// A number with its sign as it stood in print.
fn signed(printed: Printed, sign: Sign, style: Style) -> Result<String, WriteError> {
    let negative = printed.value() < 0.0;
    let magnitude = if negative { printed.negated() } else { printed };
    let mark = match sign {
        Sign::NotStated if negative => return Err(WriteError::UnsignedNegative),
        Sign::NotStated => "",
        Sign::Ambiguous if style == Style::Latex => "\\pm ",
        Sign::Ambiguous if style.is_ascii() => "+-",
        Sign::Ambiguous => "±",
        Sign::Stated if negative && (style.is_ascii() || style == Style::Latex) => "-",
        Sign::Stated if negative => "−",
        Sign::Stated => "+",
    };
    Ok(format!("{mark}{magnitude}"))
}

/// The conditions in the brackets, each as one text.
fn parts(statement: &Statement, style: Style, left: Left) -> Vec<String> {
    let mut parts = Vec::new();
    let solvent = statement.solvent.as_ref();
    // An unknown name is recognised behind "in" only.
    let named_with_in = matches!(solvent, Some(Solvent::Other(_)));
    let solvent_text = solvent.map(|solvent| lowered(&percent(&solvent.to_string(), style), style));
    match (statement.concentration, &solvent_text) {
        (Some(c), Some(name)) if named_with_in => parts.push(format!("{} in {name}", concentration(&c, style))),
        (None, Some(name)) if named_with_in => parts.push(format!("in {name}")),
        (c, name) => {
            parts.extend(c.map(|c| concentration(&c, style)));
            parts.extend(name.clone());
        }
    }
    if left.temperature {
        match &statement.temperature {
            Some(StatedTemperature::At(at)) => parts.push(celsius(&at.to_string(), style)),
            Some(StatedTemperature::Range(low, high)) => parts.push(celsius(&format!("{low}-{high}"), style)),
            Some(StatedTemperature::Words(words)) => parts.push(format!("{words} temperature")),
            None => {}
        }
    }
    if left.line {
        match &statement.line {
            Some(SpectralLine::SodiumD) => parts.push("D line".to_owned()),
            Some(SpectralLine::At(wavelength)) => parts.push(format!("{} nm", wavelength.nanometres())),
            _ => {}
        }
    }
    if let Some(path) = statement.path {
        parts.push(format!("{} mm", path.millimetres()));
    }
    if let Some(basis) = &statement.basis {
        parts.push(format!("{basis} basis"));
    }
    if let Some(time) = &statement.time_note {
        parts.push(time.clone());
    }
    match statement.stage {
        Some(Stage::Initial) => parts.push("initial".to_owned()),
        Some(Stage::Final) => parts.push("equilibrium".to_owned()),
        None => {}
    }
    if let Some(ee) = &statement.ee {
        let bound = if ee.at_least { ">" } else { "" };
        parts.push(percent(&format!("{bound}{}% ee", ee.percent), style));
    }
    parts
}

fn concentration(c: &PrintedConcentration, style: Style) -> String {
    let key = match style {
        _ if !c.unit_printed => "",
        Style::Cif => "c = ",
        Style::Html => "<i>c</i> ",
        Style::Markdown => "*c* ",
        Style::Latex => "$c$ ",
        _ => "c ",
    };
    let number = c
        .high
        .map_or_else(|| c.low.to_string(), |high| format!("{}-{high}", c.low));
    let unit = match c.unit {
        ConcentrationUnit::GramsPer100Millilitres => "",
        ConcentrationUnit::Percent => "%",
        ConcentrationUnit::PercentByMass => "% w/w",
        ConcentrationUnit::GramsPerMillilitre => " g/mL",
        ConcentrationUnit::MilligramsPerMillilitre => " mg/mL",
        ConcentrationUnit::MilligramsPerLitre => " mg/L",
        ConcentrationUnit::MolesPerLitre => " mol/L",
    };
    percent(&format!("{key}{number}{unit}"), style)
}

fn celsius(number: &str, style: Style) -> String {
    match style {
        Style::Latex => format!("{number} $^{{\\circ}}$C"),
        _ if style.is_ascii() => format!("{number} deg C"),
        _ => format!("{number} °C"),
    }
}

/// In LaTeX a bare per cent sign begins a comment.
fn percent(text: &str, style: Style) -> String {
    if style == Style::Latex {
        text.replace('%', "\\%")
    } else {
        text.to_owned()
    }
}

/// Lowers the digits of formulas: `CHCl3` but not `1,2-dichloroethane` or `HCl 1 N`.
fn lowered(text: &str, style: Style) -> String {
    let (before, behind) = match style {
        Style::Html | Style::Markdown => ("<sub>", "</sub>"),
        Style::Latex => ("$_{", "}$"),
        Style::Cif => ("~", "~"),
        Style::Plain | Style::Ascii => return text.to_owned(),
    };
    lower(text, |digits| format!("{before}{digits}{behind}"))
}

/// Text with the digits of formulas lowered by signs of their own: `CHCl₃`.
pub fn lowered_digits(text: &str) -> String {
    const LOW: [char; 10] = ['₀', '₁', '₂', '₃', '₄', '₅', '₆', '₇', '₈', '₉'];
    lower(text, |digits| {
        digits.bytes().map(|digit| LOW[usize::from(digit - b'0')]).collect()
    })
}

/// Text with each run of digits that counts atoms written in another way.
fn lower(text: &str, write: impl Fn(&str) -> String) -> String {
    let mut out = String::new();
    let mut letters = false;
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        if letters && c.is_ascii_digit() {
            let mut digits = c.to_string();
            while let Some(digit) = chars.next_if(char::is_ascii_digit) {
                digits.push(digit);
            }
            out.push_str(&write(&digits));
        } else {
            out.push(c);
        }
        letters = c.is_ascii_alphabetic() || letters && c.is_ascii_digit();
    }
    out
}
