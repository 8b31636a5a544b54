//! Control standards of a polarimeter: the international sugar scale and the rotation of quartz. Pure.
//!
//! For what a standard must read, at which wavelength and temperature. Not for whether an instrument is right: a control
//! chart needs the standard's own certificate and the readings. Start at [`sugar`] for solutions, [`quartz`] for plates.
//!
//! A quartz plate tests the angle only; a sugar solution tests cell, concentration and temperature too.

pub mod quartz;
pub mod sugar;

use crate::quantity::Wavelength;

/// Why a standard has no published value at the conditions asked for.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum StandardError {
    /// The formula does not reach this wavelength.
    #[error("{wavelength}: the {standard} is defined from {lowest} to {highest} nm ({medium}) only")]
    Wavelength {
        /// The standard.
        standard: &'static str,
        /// The wavelength asked for.
        wavelength: Wavelength,
        /// Lowest wavelength of the formula, nm.
        lowest: f64,
        /// Highest wavelength of the formula, nm.
        highest: f64,
        /// The medium of the limits.
        medium: &'static str,
    },
    /// The temperature law was not measured there.
    #[error("{celsius} °C: the temperature law of quartz is used from {lowest} to {highest} °C only")]
    Temperature {
        /// The temperature asked for, °C.
        celsius: f64,
        /// Lowest, °C.
        lowest: f64,
        /// Highest, °C.
        highest: f64,
    },
}
