//! What a laboratory writes down of its shared instruments: instruments, cells, presets and control standards. Plain data.
//!
//! Lines are kept as they are written (`D`, `546 nm`) and read by [`SpectralLine`]; dates are YYYY-MM-DD.

use crate::quantity::{Angle, Concentration, Length, SpectralLine, Temperature, Volume};
use serde::{Deserialize, Serialize};

/// What is wrong with a record, or with a field of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordFault {
    /// The field, in the words of the options: `angle-uncertainty`.
    pub field: &'static str,
    /// A stable word for programs.
    pub code: &'static str,
    /// What is wrong; one sentence without full stop.
    pub message: String,
    /// What to do about it; may be empty.
    pub hint: &'static str,
}

/// The first of fields that must be above zero where they are given, and is not.
fn not_positive(fields: &[(&'static str, Option<f64>)]) -> Option<RecordFault> {
    fields.iter().find_map(|&(field, value)| {
        let value = value.filter(|value| !(*value > 0.0 && value.is_finite()))?;
        Some(RecordFault {
            field,
            code: "not-positive",
            message: format!("{} is {value}, but it must be above zero", field.replace('-', " ")),
            hint: "",
        })
    })
}

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
    /// What keeps it from being registered.
    pub fn fault(&self) -> Option<RecordFault> {
        not_positive(&[
            ("angle-uncertainty", self.angle_uncertainty_deg),
            ("resolution", self.resolution_deg),
        ])
    }

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
    /// What keeps it from being registered.
    pub fn fault(&self) -> Option<RecordFault> {
        not_positive(&[
            ("length", Some(self.length_mm)),
            ("length-uncertainty", self.length_uncertainty_mm),
            ("volume", self.volume_ml),
        ])
    }

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
    /// What keeps it from being registered. Whether its instrument and cell are registered is asked of the library.
    pub fn fault(&self) -> Option<RecordFault> {
        let alone = || RecordFault {
            field: "settle-over",
            code: "settle",
            message: "a time to settle is given, but not how much may change in it".to_owned(),
            hint: "give both, such as 0.002 ° over 60 s",
        };
        not_positive(&[("settle", self.settle_deg), ("settle-over", self.settle_over_s)])
            .or_else(|| (self.settle_over_s.is_some() && self.settle_deg.is_none()).then(alone))
    }

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
    /// What keeps it from being registered: a plate counts by its certificate, a solution by that or by its concentration.
    pub fn fault(&self) -> Option<RecordFault> {
        let fault = |field, code, message: String, hint| {
            Some(RecordFault {
                field,
                code,
                message,
                hint,
            })
        };
        let found = not_positive(&[
            ("expanded-uncertainty", self.expanded_uncertainty_deg),
            ("cell", self.cell_mm),
        ]);
        if found.is_some() {
            return found;
        }
        if (self.coefficient_per_kelvin).is_some_and(|it| it.is_nan() || it.abs() >= 0.1) {
            return fault(
                "coefficient",
                "coefficient",
                "the coefficient is the relative change per kelvin, such as 0.000144".to_owned(),
                "",
            );
        }
        if self.certified_deg.is_none() && !matches!(self.kind, StandardKind::Sucrose | StandardKind::Dextrose) {
            return fault(
                "value",
                "value",
                format!("a {} counts by its certificate", self.kind.as_str()),
                "give the certified angle, and its expanded uncertainty",
            );
        }
        if self.certified_deg.is_none() && self.concentration_g_per_100ml.is_none() {
            return fault(
                "conc",
                "concentration",
                "a solution without a certified angle needs its concentration".to_owned(),
                "give its concentration and the cell, or the certified angle",
            );
        }
        None
    }

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
