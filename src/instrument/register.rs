//! What a laboratory writes down of its shared instruments: instruments, cells, presets and control standards. Plain data.
//!
//! Lines are kept as they are written (`D`, `546 nm`) and read by [`SpectralLine`]; dates are YYYY-MM-DD.

use crate::quantity::{Angle, Concentration, Length, SpectralLine, Temperature, Volume};
use serde::{Deserialize, Serialize};

/// A polarimeter.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// Its spectral lines.
    #[serde(default)]
    pub lines: Vec<SpectralLine>,
    /// Standard uncertainty of an angle, calibration and zero together, degrees.
    pub angle_uncertainty_deg: Option<f64>,
    /// Smallest step of its display, degrees.
    pub resolution_deg: Option<f64>,
    /// Days after which it wants a check against a control standard.
    pub check_every_days: Option<u32>,
    /// Where it stands, what to know of it.
    pub note: Option<String>,
}

impl Instrument {
    /// Standard uncertainty of an angle.
    pub fn angle_uncertainty(&self) -> Option<Angle> {
        self.angle_uncertainty_deg.map(Angle::from_degrees)
    }

    /// Smallest step of its display.
    pub fn resolution(&self) -> Option<Angle> {
        self.resolution_deg.map(Angle::from_degrees)
    }

    /// Standard uncertainty of one reading apart from its scatter: that of the angle, and of a reading rounded to the step of
    /// the display, step / √12 (JCGM 100:2008, F.2.2.1). None where neither is known.
    pub fn reading_uncertainty(&self) -> Option<Angle> {
        let rounding = self.resolution_deg.map(|step| step / 12f64.sqrt());
        match (self.angle_uncertainty_deg, rounding) {
            (None, None) => None,
            (own, rounding) => Some(Angle::from_degrees(own.unwrap_or(0.0).hypot(rounding.unwrap_or(0.0)))),
        }
    }
}

/// A cell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cell {
    /// Certified length, mm.
    pub length_mm: f64,
    /// Standard uncertainty of the length, mm.
    pub length_uncertainty_mm: Option<f64>,
    /// Filling, mL.
    pub volume_ml: Option<f64>,
    /// Whether a liquid or a block holds its temperature.
    #[serde(default)]
    pub jacketed: bool,
    /// Material of the windows.
    pub windows: Option<String>,
    /// Material of the seals.
    pub seals: Option<String>,
    /// What to know of it.
    pub note: Option<String>,
}

impl Cell {
    /// Certified length.
    pub const fn length(&self) -> Length {
        Length::from_millimetres(self.length_mm)
    }

    /// Standard uncertainty of the length.
    pub fn length_uncertainty(&self) -> Option<Length> {
        self.length_uncertainty_mm.map(Length::from_millimetres)
    }

    /// Filling.
    pub fn volume(&self) -> Option<Volume> {
        self.volume_ml.map(Volume::from_millilitres)
    }
}

/// How a kind of measurement is made; fills in what a measurement does not say.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Preset {
    /// The lines, one for a single rotation, several for a dispersion.
    #[serde(default)]
    pub lines: Vec<SpectralLine>,
    /// The temperature held, °C; none means ambient.
    pub temperature_c: Option<f64>,
    /// Readings to take.
    pub readings: Option<u32>,
    /// Settling criterion: the angle has settled when it changes by no more than this, degrees.
    pub settle_deg: Option<f64>,
    /// Over this time, s; none where the last readings stand for it.
    pub settle_over_s: Option<f64>,
    /// The instrument.
    pub instrument: Option<String>,
    /// The cell.
    pub cell: Option<String>,
    /// What to know of it.
    pub note: Option<String>,
}

impl Preset {
    /// The temperature held.
    pub fn temperature(&self) -> Option<Temperature> {
        self.temperature_c.map(Temperature::from_celsius)
    }

    /// Whether it makes a dispersion table.
    pub const fn is_dispersion(&self) -> bool {
        self.lines.len() > 1
    }
}

/// What a control standard is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StandardKind {
    /// A quartz control plate.
    QuartzPlate,
    /// A solution of sucrose in water.
    Sucrose,
    /// A solution of anhydrous dextrose in water, at equilibrium.
    Dextrose,
    /// Another one, which counts by its certificate alone.
    Other,
}

impl StandardKind {
    /// The words, in the order of [`Self::ALL`].
    pub const WORDS: &'static [&'static str] = &["quartz-plate", "sucrose", "dextrose", "other"];
    /// All kinds.
    pub const ALL: [Self; 4] = [Self::QuartzPlate, Self::Sucrose, Self::Dextrose, Self::Other];

    /// The kind a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::WORDS
            .iter()
            .position(|known| *known == word)
            .map(|at| Self::ALL[at])
    }

    /// Its word.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::QuartzPlate => "quartz-plate",
            Self::Sucrose => "sucrose",
            Self::Dextrose => "dextrose",
            Self::Other => "other",
        }
    }

    /// What a check with it tests, and what it does not.
    pub const fn tests(self) -> &'static str {
        match self {
            Self::QuartzPlate => {
                "A plate tests the angle only; cell length, concentration and the sample's temperature stay untested."
            }
            Self::Sucrose | Self::Dextrose => {
                "A solution tests angle, cell, temperature and the making of the solution together."
            }
            Self::Other => "It tests what its certificate says.",
        }
    }
}

/// A control standard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Standard {
    /// What it is.
    pub kind: StandardKind,
    /// Certified angle, degrees; for a solution the angle in `cell_mm`.
    pub certified_deg: Option<f64>,
    /// Expanded uncertainty of the certified angle (k = 2), degrees.
    pub expanded_uncertainty_deg: Option<f64>,
    /// Temperature of the certified angle, °C.
    pub temperature_c: f64,
    /// Line of the certified angle.
    pub line: SpectralLine,
    /// Relative change of the angle per kelvin, from the certificate.
    pub coefficient_per_kelvin: Option<f64>,
    /// Concentration of a solution, g per 100 mL.
    pub concentration_g_per_100ml: Option<f64>,
    /// Cell in which a solution has its certified angle, mm.
    pub cell_mm: Option<f64>,
    /// When the certificate or the solution expires.
    pub due_on: Option<String>,
    /// Number of the certificate, what to know of it.
    pub note: Option<String>,
}

impl Standard {
    /// Certified angle.
    pub fn certified(&self) -> Option<Angle> {
        self.certified_deg.map(Angle::from_degrees)
    }

    /// Temperature of the certified angle.
    pub const fn temperature(&self) -> Temperature {
        Temperature::from_celsius(self.temperature_c)
    }

    /// Concentration of a solution.
    pub fn concentration(&self) -> Option<Concentration> {
        self.concentration_g_per_100ml
            .map(Concentration::from_grams_per_100_millilitres)
    }

    /// Cell in which a solution has its certified angle.
    pub fn cell(&self) -> Option<Length> {
        self.cell_mm.map(Length::from_millimetres)
    }
}
