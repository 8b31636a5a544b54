//! The JSON shape of a stored statement: the keys of the reader's output, each with null where nothing is printed.

use crate::quantity::{Length, Medium, Printed, SpectralLine};
use crate::statement::{Role, RotationKind, Sign, Stage, StatedTemperature, Statement};
use serde::Serialize;

/// A statement in the library.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct StatementJson {
    /// `specific`, `observed` or `molar`.
    pub kind: RotationKind,
    /// The signed number.
    pub value: Option<f64>,
    /// The low end of a range or limit.
    pub low: Option<f64>,
    /// The high end of a range or limit.
    pub high: Option<f64>,
    /// Digits after the decimal mark of the printed number, or of the low or high end.
    pub decimals: Option<u8>,
    /// `stated`, `notstated` or `ambiguous` (± as the sign).
    pub sign: Sign,
    /// Printed tolerance, degrees.
    pub plus_minus: Option<f64>,
    /// True for "about".
    pub approx: bool,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// The low end of a range of temperatures, °C.
    pub temperature_low: Option<f64>,
    /// The high end of a range of temperatures, °C.
    pub temperature_high: Option<f64>,
    /// Temperature in words.
    pub temperature_note: Option<String>,
    /// Wavelength, nm; 589.3 for the sodium D line.
    pub wavelength_nm: Option<f64>,
    /// The medium the wavelength is given in.
    pub medium: Option<Medium>,
    /// The line by name: `D`, or as printed.
    pub line: Option<String>,
    /// Canonical solvent.
    pub solvent: Option<String>,
    /// Concentration as printed.
    pub conc: Option<f64>,
    /// The low end of a range of concentrations.
    pub conc_low: Option<f64>,
    /// The high end of a range of concentrations.
    pub conc_high: Option<f64>,
    /// The unit of the concentration.
    pub conc_unit: Option<&'static str>,
    /// False where the number stands without `c` or a unit.
    pub conc_unit_printed: Option<bool>,
    /// Cell length, mm.
    pub path_mm: Option<f64>,
    /// What was measured: salt, hydrate, anomer.
    pub form: Option<String>,
    /// The basis of the value: dried, anhydrous.
    pub basis: Option<String>,
    /// The stage of a mutarotating solution.
    pub stage: Option<Stage>,
    /// The printed time of the reading.
    pub time_note: Option<String>,
    /// Enantiomeric excess of the sample, per cent.
    pub ee_percent: Option<f64>,
    /// True where the enantiomeric excess is a lower bound.
    pub ee_at_least: Option<bool>,
    /// The method the enantiomeric excess was found with.
    pub ee_method: Option<String>,
    /// Measured, quoted or compiled.
    pub role: Option<Role>,
    /// Printed words on which enantiomer the value is of.
    pub enantiomer_note: Option<String>,
    /// The text as printed.
    pub as_printed: String,
    /// Place in the source.
    pub place: Option<String>,
    /// What the reader was not sure of, in sentences.
    pub doubts: Vec<String>,
}

impl From<&Statement> for StatementJson {
    fn from(s: &Statement) -> Self {
        let number = |printed: Option<Printed>| printed.map(Printed::value);
        let mut json = Self {
            kind: s.kind,
            value: number(s.value),
            low: number(s.low),
            high: number(s.high),
            decimals: s.value.or(s.low).or(s.high).map(Printed::decimals),
            sign: s.sign,
            plus_minus: number(s.plus_minus),
            approx: s.approx,
            solvent: s.solvent.as_ref().map(ToString::to_string),
            path_mm: s.path.map(Length::millimetres),
            form: s.form.clone(),
            basis: s.basis.clone(),
            stage: s.stage,
            time_note: s.time_note.clone(),
            role: s.role,
            enantiomer_note: s.enantiomer_note.clone(),
            as_printed: s.as_printed.clone(),
            place: s.place.clone(),
            doubts: s.doubts.clone(),
            ..Self::default()
        };
        match &s.temperature {
            Some(StatedTemperature::At(at)) => json.temperature_c = Some(at.value()),
            Some(StatedTemperature::Range(low, high)) => {
                json.temperature_low = Some(low.value());
                json.temperature_high = Some(high.value());
            }
            Some(StatedTemperature::Words(words)) => json.temperature_note = Some(words.clone()),
            None => {}
        }
        if let Some(line) = &s.line {
            // A printed number keeps its medium; a named line is given in air, where its wavelength is known.
            let wavelength = match line {
                SpectralLine::At(wavelength) => Some(*wavelength),
                SpectralLine::SodiumD | SpectralLine::Named(_) => line.wavelength(),
            };
            json.wavelength_nm = wavelength.map(crate::quantity::Wavelength::nanometres);
            json.medium = wavelength.map(crate::quantity::Wavelength::medium);
            json.line = (!matches!(line, SpectralLine::At(_))).then(|| line.to_string());
        }
        if let Some(c) = s.concentration {
            match c.high {
                Some(high) => {
                    json.conc_low = Some(c.low.value());
                    json.conc_high = Some(high.value());
                }
                None => json.conc = Some(c.low.value()),
            }
            json.conc_unit = Some(c.unit.as_str());
            json.conc_unit_printed = Some(c.unit_printed);
        }
        if let Some(ee) = &s.ee {
            json.ee_percent = Some(ee.percent.value());
            json.ee_at_least = Some(ee.at_least);
            json.ee_method.clone_from(&ee.method);
        }
        json
    }
}
