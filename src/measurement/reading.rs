//! Readings of an instrument, and what repeating them tells.

use crate::quantity::{Angle, Concentration, Length, Temperature};
use serde::{Deserialize, Serialize};

/// What a reading was of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ReadingRole {
    /// The sample.
    #[default]
    Sample,
    /// The solvent in the same cell, or the empty instrument.
    Blank,
    /// A control standard; kept, and not part of the result.
    Standard,
}

impl ReadingRole {
    /// The role's word.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Sample => "sample",
            Self::Blank => "blank",
            Self::Standard => "standard",
        }
    }
}

/// One reading as it was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Where it stands: line of a file, or its number.
    pub line: u64,
    /// What it was of.
    pub role: ReadingRole,
    /// The angle.
    pub angle: Angle,
    /// Seconds since some beginning.
    pub seconds: Option<f64>,
    /// Temperature of the sample.
    pub temperature: Option<Temperature>,
    /// Wavelength in air, nm.
    pub wavelength_nm: Option<f64>,
    /// The cell.
    pub cell: Option<Length>,
    /// Concentration, where it differs between readings.
    pub concentration: Option<Concentration>,
    /// The sample.
    pub sample: Option<String>,
    /// Who read.
    pub operator: Option<String>,
    /// Which filling of the cell.
    pub filling: Option<String>,
    /// Which fresh preparation.
    pub preparation: Option<String>,
    /// Absorbance at the wavelength of the reading.
    pub absorbance: Option<f64>,
    /// Turbidity, NTU.
    pub turbidity: Option<f64>,
}

impl Reading {
    /// A reading of which only the angle is known.
    pub const fn of(line: u64, role: ReadingRole, angle: Angle) -> Self {
        Self {
            line,
            role,
            angle,
            seconds: None,
            temperature: None,
            wavelength_nm: None,
            cell: None,
            concentration: None,
            sample: None,
            operator: None,
            filling: None,
            preparation: None,
            absorbance: None,
            turbidity: None,
        }
    }

    /// Length and concentration behind the angle, where the file tells them.
    fn condition(&self) -> (Option<u64>, Option<u64>) {
        (
            self.cell.map(|l| l.decimetres().to_bits()),
            self.concentration.map(|c| c.grams_per_100_millilitres().to_bits()),
        )
    }
}

/// At which level repetitions were made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Level {
    /// Readings of one filling.
    Reading,
    /// Fillings of the cell from one preparation.
    Filling,
    /// Fresh preparations.
    Preparation,
}

impl Level {
    /// The plural in the trade's words.
    pub const fn plural(self) -> &'static str {
        match self {
            Self::Reading => "readings of one filling",
            Self::Filling => "fillings of the cell",
            Self::Preparation => "fresh preparations",
        }
    }
}

/// The readings of one filling, by their place in the list they came in.
#[derive(Clone, Debug, PartialEq)]
pub struct Filling {
    /// Number of its preparation, in order of appearance.
    pub preparation: usize,
    /// Its readings.
    pub readings: Vec<usize>,
}

/// Sorts readings into fillings, in the order in which they appear. A change of cell length is another filling, a change
/// of concentration another preparation.
pub fn fillings(readings: &[&Reading]) -> Vec<Filling> {
    use std::collections::HashMap;
    let mut preparations: HashMap<(Option<&str>, Option<u64>), usize> = HashMap::new();
    let mut places: HashMap<(usize, Option<&str>, Option<u64>), usize> = HashMap::new();
    let mut found: Vec<Filling> = Vec::new();
    for (at, reading) in readings.iter().enumerate() {
        let (cell, concentration) = reading.condition();
        let n = preparations.len();
        let preparation = *preparations
            .entry((reading.preparation.as_deref(), concentration))
            .or_insert(n);
        let place = *places
            .entry((preparation, reading.filling.as_deref(), cell))
            .or_insert_with(|| {
                found.push(Filling {
                    preparation,
                    readings: Vec::new(),
                });
                found.len() - 1
            });
        found[place].readings.push(at);
    }
    found
}

/// A mean and its type A standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mean {
    /// The mean, degrees.
    pub degrees: f64,
    /// Its standard uncertainty; none with a single value, which tells nothing of its scatter.
    pub uncertainty: Option<f64>,
    /// Degrees of freedom of that.
    pub degrees_of_freedom: f64,
    /// The level the scatter was taken at.
    pub level: Level,
    /// How many values of that level.
    pub n: usize,
}

/// The mean of means of the highest level that was repeated, and `s/√n` of those (JCGM 100:2008, 4.2.3).
///
/// Repeated readings of one filling are not independent preparations: when fillings or preparations were repeated, only
/// their means count.
pub fn mean_of(fillings: &[Filling], angles: &[f64]) -> Option<Mean> {
    let filling_means: Vec<(usize, f64)> = fillings
        .iter()
        .filter(|filling| !filling.readings.is_empty())
        .map(|filling| {
            let values: Vec<f64> = filling.readings.iter().map(|&at| angles[at]).collect();
            (filling.preparation, mean(&values))
        })
        .collect();
    let n_preparations = filling_means.iter().map(|&(preparation, _)| preparation + 1).max()?;
    let preparation_means: Vec<f64> = (0..n_preparations)
        .filter_map(|number| {
            let values: Vec<f64> = filling_means
                .iter()
                .filter(|(p, _)| *p == number)
                .map(|(_, m)| *m)
                .collect();
            (!values.is_empty()).then(|| mean(&values))
        })
        .collect();
    let (level, values) = if preparation_means.len() > 1 {
        (Level::Preparation, preparation_means)
    } else if filling_means.len() > 1 {
        (Level::Filling, filling_means.into_iter().map(|(_, m)| m).collect())
    } else {
        (Level::Reading, angles.to_vec())
    };
    let n = values.len();
    Some(Mean {
        degrees: mean(&values),
        uncertainty: (n > 1).then(|| standard_deviation(&values) / (n as f64).sqrt()),
        degrees_of_freedom: n.saturating_sub(1) as f64,
        level,
        n,
    })
}

/// The mean, summed about the first value so that many nearly equal readings lose nothing.
pub fn mean(values: &[f64]) -> f64 {
    let Some(&first) = values.first() else { return f64::NAN };
    first + values.iter().map(|value| value - first).sum::<f64>() / values.len() as f64
}

/// The experimental standard deviation (JCGM 100:2008, eq. 4); zero for fewer than two values.
pub fn standard_deviation(values: &[f64]) -> f64 {
    if values.len() < 2 {
        return 0.0;
    }
    let centre = mean(values);
    (values.iter().map(|value| (value - centre).powi(2)).sum::<f64>() / (values.len() - 1) as f64).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(angle: f64, preparation: &str, filling: &str) -> Reading {
        Reading {
            preparation: Some(preparation.to_owned()),
            filling: Some(filling.to_owned()),
            ..Reading::of(1, ReadingRole::Sample, Angle::from_degrees(angle))
        }
    }

    /// By hand: preparation means 1.0 and 1.2, so the mean is 1.1 and u = |1.2 − 1.0|/2 = 0.1 with 1 degree of freedom,
    /// however many readings stand behind them.
    #[test]
    fn the_highest_repeated_level_counts() {
        let all = [
            reading(0.9, "1", "a"),
            reading(1.1, "1", "a"),
            reading(1.0, "1", "b"),
            reading(1.2, "2", "a"),
            reading(1.2, "2", "a"),
        ];
        let refs: Vec<&Reading> = all.iter().collect();
        let angles: Vec<f64> = all.iter().map(|r| r.angle.degrees()).collect();
        let made = mean_of(&fillings(&refs), &angles).unwrap();
        assert_eq!((made.level, made.n), (Level::Preparation, 2));
        assert!((made.degrees - 1.1).abs() < 1e-12 && (made.uncertainty.unwrap() - 0.1).abs() < 1e-12);
        let one = mean_of(&fillings(&refs[..3]), &angles[..3]).unwrap();
        assert_eq!((one.level, one.n), (Level::Filling, 2));
        let single = mean_of(&fillings(&refs[..1]), &angles[..1]).unwrap();
        assert_eq!(single.uncertainty, None);
    }
}
