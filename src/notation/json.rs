//! The JSON shape of a statement that was read: only what was printed has a key.

use super::Found;
use crate::quantity::{Printed, SpectralLine};
use crate::statement::{Role, RotationKind, Sign, Stage, StatedTemperature};
use serde::Serialize;

/// A statement as a JSON object; a key is left out when the text does not print it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
#[serde(default)]
pub struct ReadStatement {
    /// `observed` or `molar`; left out for specific rotation.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<RotationKind>,
    /// The signed number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// The low end of a range.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub low: Option<f64>,
    /// The high end of a range.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub high: Option<f64>,
    /// False when no sign is printed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sign_stated: Option<bool>,
    /// True when ± is printed as the sign.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sign_ambiguous: Option<bool>,
    /// Printed tolerance, degrees.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plus_minus: Option<f64>,
    /// True for about, ca., ~.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub approx: Option<bool>,
    /// Temperature, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// The low end of a range of temperatures, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_low: Option<f64>,
    /// The high end of a range of temperatures, °C.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_high: Option<f64>,
    /// Temperature in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_note: Option<String>,
    /// Wavelength as printed, nm; 589 for D or sodium.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wavelength_nm: Option<f64>,
    /// A printed line without number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<String>,
    /// Canonical solvent, without regard to grade.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub solvent: Option<String>,
    /// Concentration as printed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conc: Option<f64>,
    /// The low end of a range of concentrations.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conc_low: Option<f64>,
    /// The high end of a range of concentrations.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conc_high: Option<f64>,
    /// The unit of the concentration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conc_unit: Option<&'static str>,
    /// False where the number stands without `c` or a unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub conc_unit_printed: Option<bool>,
    /// Cell length, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub path_mm: Option<f64>,
    /// Printed qualifier of what was measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub form: Option<String>,
    /// dried, anhydrous …
    #[serde(skip_serializing_if = "Option::is_none")]
    pub basis: Option<String>,
    /// Stage of a mutarotating solution.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<Stage>,
    /// Printed time of the reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time_note: Option<String>,
    /// Printed ee of the sample, per cent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ee_percent: Option<f64>,
    /// `lit` for a quoted literature value.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub role: Option<Role>,
    /// Printed words on which enantiomer the value is of.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub enantiomer_note: Option<String>,
    /// What the reader was not sure of, in sentences.
    pub doubts: Vec<String>,
    /// First byte of the statement and the byte behind it, in the text that was read.
    pub span: [usize; 2],
}

impl From<&Found> for ReadStatement {
    fn from(found: &Found) -> Self {
        let s = &found.statement;
        let number = |printed: Option<Printed>| printed.map(Printed::value);
        let mut json = Self {
            kind: (s.kind != RotationKind::Specific).then_some(s.kind),
            value: number(s.value),
            low: number(s.low),
            high: number(s.high),
            sign_stated: (s.sign == Sign::NotStated).then_some(false),
            sign_ambiguous: (s.sign == Sign::Ambiguous).then_some(true),
            plus_minus: number(s.plus_minus),
            approx: s.approx.then_some(true),
            solvent: s.solvent.as_ref().map(|solvent| solvent.without_grade().to_string()),
            path_mm: s.path.map(super::super::quantity::Length::millimetres),
            form: s.form.clone(),
            basis: s.basis.clone(),
            stage: s.stage,
            time_note: s.time_note.clone(),
            ee_percent: s.ee.as_ref().map(|ee| ee.percent.value()),
            role: s.role,
            enantiomer_note: s.enantiomer_note.clone(),
            doubts: s.doubts.clone(),
            span: [found.start, found.end],
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
        match &s.line {
            Some(SpectralLine::SodiumD) => json.wavelength_nm = Some(found.printed_nanometres.unwrap_or(589.0)),
            Some(SpectralLine::At(wavelength)) => json.wavelength_nm = Some(wavelength.nanometres()),
            Some(SpectralLine::Named(name)) => json.line = Some(name.clone()),
            None => {}
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
            json.conc_unit_printed = (!c.unit_printed).then_some(false);
        }
        json
    }
}
