//! Whether a polarimeter is right: control standards, acceptance, control charts; and what is written down of shared
//! instruments. Pure.
//!
//! [`sugar`] and [`quartz`] hold the published laws, [`control`] what a standard must read and whether it did, [`chart`] the
//! control chart, [`materials`] what a solvent does to a cell, [`register`] the records. A certificate's own value and
//! coefficient always win over a built-in law.

pub mod chart;
pub mod control;
pub mod materials;
pub mod quartz;
pub mod register;
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
