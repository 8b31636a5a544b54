//! The measurement against the method of a monograph: basis, temperature, line, solvent, concentration, tube, time.

use super::conformity::Estimate;
use super::{LimitRule, Sample, Share};
use crate::quantity::{Length, SpectralLine};
use crate::solvent::{Kinship, Solvent, kinship};
use crate::statement::RotationKind;
use serde::Serialize;

/// What a mass was weighed as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Basis {
    /// The sample as it is.
    AsIs,
    /// Less what it loses on drying.
    Dried,
    /// Less its water.
    Anhydrous,
}

impl Basis {
    /// Reads the words for a basis, such as "calculated on the dried basis", "previously dried", "undried".
    pub fn read(text: &str) -> Option<Self> {
        let text = text.to_lowercase();
        let says = |word: &str| text.contains(word);
        if says("undried") || says("not dried") || says("as is") || says("as-is") {
            Some(Self::AsIs)
        } else if says("anhydrous") {
            Some(Self::Anhydrous)
        } else if says("dried") || says("dry") {
            Some(Self::Dried)
        } else {
            None
        }
    }

    /// The basis in words.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::AsIs => "as is",
            Self::Dried => "dried",
            Self::Anhydrous => "anhydrous",
        }
    }
}

/// When a monograph says to read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ReadingTime {
    /// Not later than this many minutes after dissolving.
    Within(f64),
    /// Not earlier than this many minutes after dissolving.
    After(f64),
}

impl ReadingTime {
    /// Reads "within 30 min of preparation", "read after 30 min", "after 1 h"; none for other words.
    pub fn read(text: &str) -> Option<Self> {
        let text = text.to_lowercase();
        let digits = text.find(|c: char| c.is_ascii_digit())?;
        let rest = &text[digits..];
        let end = rest
            .find(|c: char| !(c.is_ascii_digit() || c == '.'))
            .unwrap_or(rest.len());
        let number: f64 = rest[..end].parse().ok()?;
        let unit = rest[end..].trim_start();
        let minutes = if unit.starts_with('h') {
            60.0 * number
        } else if unit.starts_with("min") {
            number
        } else {
            return None;
        };
        let before = &text[..digits];
        if before.contains("within") {
            Some(Self::Within(minutes))
        } else if before.contains("after") {
            Some(Self::After(minutes))
        } else {
            None
        }
    }
}

/// What of a method is compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum MethodAspect {
    /// Temperature.
    Temperature,
    /// Light.
    Line,
    /// Solvent.
    Solvent,
    /// Concentration.
    Concentration,
    /// Tube.
    Cell,
    /// Basis of the value.
    Basis,
    /// Time of reading.
    Time,
    /// Preparation in words.
    Preparation,
}

impl MethodAspect {
    /// The aspect in words.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::Line => "line",
            Self::Solvent => "solvent",
            Self::Concentration => "concentration",
            Self::Cell => "cell",
            Self::Basis => "basis",
            Self::Time => "time of reading",
            Self::Preparation => "preparation",
        }
    }
}

/// How the measurement stands to the method in one aspect.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Standing {
    /// As the method says.
    AsPrescribed,
    /// The method says it, the measurement does not: the result holds provided that it was followed.
    NotGiven,
    /// The limits as they stand in the library do not say it.
    NotPrinted,
    /// Not quite as the method says, but close.
    Close,
    /// Not as the method says: nothing is decided.
    Differs,
}

/// One aspect of the method against the measurement.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct MethodCheck {
    /// The aspect.
    pub aspect: MethodAspect,
    /// What the method says.
    pub method: Option<String>,
    /// What was done.
    pub sample: Option<String>,
    /// How they stand to each other.
    pub standing: Standing,
    /// The same in a sentence.
    pub sentence: String,
}

/// Kelvins within which a temperature is the prescribed one (the customary tolerance of pharmacopoeial methods; common
/// practice).
const SAME_TEMPERATURE: f64 = 0.5;
/// Relative difference within which a concentration is the prescribed one (what "about" allows in pharmacopoeial
/// methods; common practice).
const SAME_CONCENTRATION: f64 = 0.1;
/// Relative difference within which a tube is the prescribed one: an ordinary tube is made to much better than this.
const SAME_LENGTH: f64 = 0.005;

/// Compares the measurement with the method, aspect by aspect.
pub(super) fn compare(rule: &LimitRule, sample: &Sample) -> Vec<MethodCheck> {
    let (method, made) = (&rule.conditions, &sample.conditions);
    let is_neat = method.solvent == Some(Solvent::Neat);
    let mut checks = vec![
        aspect(
            MethodAspect::Temperature,
            method.temperature.map(|t| format!("{} °C", t.celsius())),
            made.temperature.map(|t| format!("{} °C", t.celsius())),
            || match (method.temperature, made.temperature) {
                (Some(a), Some(b)) if (a.celsius() - b.celsius()).abs() > SAME_TEMPERATURE => Standing::Differs,
                _ => Standing::AsPrescribed,
            },
        ),
        aspect(
            MethodAspect::Line,
            method.line.as_ref().map(shown_line),
            made.line.as_ref().map(shown_line),
            || match (&method.line, &made.line) {
                (Some(a), Some(b)) if !a.same_light(b) => Standing::Differs,
                _ => Standing::AsPrescribed,
            },
        ),
        aspect(
            MethodAspect::Solvent,
            method.solvent.as_ref().map(ToString::to_string),
            made.solvent.as_ref().map(ToString::to_string),
            || match (&method.solvent, &made.solvent) {
                // Word for word as printed, also where the strength is not stated.
                (Some(a), Some(b)) if a == b => Standing::AsPrescribed,
                (Some(a), Some(b)) => match kinship(a, b) {
                    Kinship::Same => Standing::AsPrescribed,
                    Kinship::Kindred => Standing::Close,
                    Kinship::Other => Standing::Differs,
                },
                _ => Standing::AsPrescribed,
            },
        ),
    ];
    if !is_neat {
        let show = |c: crate::quantity::Concentration| format!("{} g/100 mL", short(c.grams_per_100_millilitres()));
        checks.push(aspect(
            MethodAspect::Concentration,
            method.concentration.map(show),
            made.concentration.map(show),
            || match (method.concentration, made.concentration) {
                (Some(a), Some(b)) => {
                    let (a, b) = (a.grams_per_100_millilitres(), b.grams_per_100_millilitres());
                    if (b / a - 1.0).abs() <= SAME_CONCENTRATION {
                        Standing::AsPrescribed
                    } else {
                        Standing::Differs
                    }
                }
                _ => Standing::AsPrescribed,
            },
        ));
    }
    checks.push(cell(rule, sample));
    if rule.kind != RotationKind::Observed {
        checks.push(basis(rule, sample));
    }
    checks.extend(time(rule, sample));
    checks.extend(rule.preparation.as_ref().map(|words| MethodCheck {
        aspect: MethodAspect::Preparation,
        method: Some(words.clone()),
        sample: None,
        standing: Standing::NotGiven,
        sentence: format!("The monograph says of the preparation: {words}."),
    }));
    checks
}

fn aspect(
    aspect: MethodAspect,
    method: Option<String>,
    sample: Option<String>,
    standing: impl FnOnce() -> Standing,
) -> MethodCheck {
    let name = aspect.as_str();
    let (standing, sentence) = match (&method, &sample) {
        (None, _) => (
            Standing::NotPrinted,
            format!("The {name} of the method is not stated with these limits."),
        ),
        (Some(method), None) => (
            Standing::NotGiven,
            format!("The method says {name} {method}; it was not given with the measurement."),
        ),
        (Some(method), Some(sample)) => {
            let standing = standing();
            let sentence = match standing {
                Standing::Differs => format!("The method says {name} {method}; the measurement was made at {sample}."),
                Standing::Close => {
                    format!("The method says {name} {method}; {sample} is close to it, but not the same.")
                }
                _ => format!("The {name} is as the method says: {method}."),
            };
            (standing, sentence)
        }
    };
    MethodCheck {
        aspect,
        method,
        sample,
        standing,
        sentence,
    }
}

fn shown_line(line: &SpectralLine) -> String {
    match line {
        SpectralLine::At(_) => format!("{line} nm"),
        _ => line.to_string(),
    }
}

/// Why an angle cannot be held against limits without a tube.
const TUBE_NOT_STATED: &str = "The limits are on an observed angle, but the tube (and with it the meaning of the angle) is \
                               not stated with them; look it up in the official text.";

/// The tube: of a specific rotation it is only noted, an observed angle holds in its own tube.
fn cell(rule: &LimitRule, sample: &Sample) -> MethodCheck {
    let show = |length: Length| format!("{} mm", short(length.millimetres()));
    let is_observed = rule.kind == RotationKind::Observed;
    let mut check = aspect(
        MethodAspect::Cell,
        rule.path.map(show),
        sample.cell.map(show),
        || match (rule.path, sample.cell) {
            (Some(a), Some(b)) if (b.decimetres() / a.decimetres() - 1.0).abs() > SAME_LENGTH => {
                if is_observed {
                    Standing::Differs
                } else {
                    Standing::Close
                }
            }
            _ => Standing::AsPrescribed,
        },
    );
    match check.standing {
        Standing::Close => {
            check.sentence = format!(
                "The method says a tube of {}; {} was used. The specific rotation takes the length into account, its \
                 uncertainty does not stay the same.",
                check.method.as_deref().unwrap_or_default(),
                check.sample.as_deref().unwrap_or_default()
            );
        }
        Standing::Differs => {
            check.sentence = format!(
                "The limits are on the angle in a tube of {}; the angle was read in {} and is not converted.",
                check.method.as_deref().unwrap_or_default(),
                check.sample.as_deref().unwrap_or_default()
            );
        }
        Standing::NotPrinted if is_observed => {
            check.standing = Standing::Differs;
            TUBE_NOT_STATED.clone_into(&mut check.sentence);
        }
        _ => {}
    }
    check
}

/// The basis the value stands on before any conversion: a sample with a water content or a loss on drying is as it is.
fn stated_basis(sample: &Sample) -> Option<Basis> {
    sample
        .basis
        .or_else(|| (sample.water.is_some() || sample.loss_on_drying.is_some()).then_some(Basis::AsIs))
}

fn basis(rule: &LimitRule, sample: &Sample) -> MethodCheck {
    let wanted = rule.basis.as_deref().and_then(Basis::read);
    let has = stated_basis(sample);
    let convertible = |from: Basis, to: Basis| {
        let known = |basis: Basis| match basis {
            Basis::AsIs => true,
            Basis::Dried => sample.loss_on_drying.is_some(),
            Basis::Anhydrous => sample.water.is_some(),
        };
        from == to || (known(from) && known(to))
    };
    let mut check = aspect(
        MethodAspect::Basis,
        rule.basis.clone(),
        has.map(|basis| basis.as_str().to_owned()),
        || match (wanted, has) {
            (Some(wanted), Some(has)) if convertible(has, wanted) => Standing::AsPrescribed,
            (None, _) => Standing::NotGiven,
            _ => Standing::Differs,
        },
    );
    match (check.standing, wanted, has) {
        (Standing::AsPrescribed, Some(wanted), Some(has)) if wanted != has => {
            check.sentence = format!(
                "The value was brought from the basis {} to {}.",
                has.as_str(),
                wanted.as_str()
            );
        }
        (Standing::Differs, Some(wanted), Some(has)) => {
            let needed = |basis| match basis {
                Basis::AsIs => None,
                Basis::Dried => Some("the loss on drying"),
                Basis::Anhydrous => Some("the water content"),
            };
            let missing: Vec<&str> = [(has, sample), (wanted, sample)]
                .into_iter()
                .filter(|(basis, sample)| match basis {
                    Basis::AsIs => false,
                    Basis::Dried => sample.loss_on_drying.is_none(),
                    Basis::Anhydrous => sample.water.is_none(),
                })
                .filter_map(|(basis, _)| needed(basis))
                .collect();
            check.sentence = format!(
                "The limits are on the basis \"{}\", the value is {}; give {}.",
                rule.basis.as_deref().unwrap_or_default(),
                has.as_str(),
                missing.join(" and ")
            );
        }
        _ => {}
    }
    check
}

/// Brings the value to the monograph's basis where it can be done; says what was done.
///
/// `[α]` of the dry substance is `[α] / (1 − w)`, w the mass fraction of water or of the loss on drying.
///
/// # Errors
/// When a share of one or more is given.
pub(super) fn to_basis(rule: &LimitRule, sample: &Sample, estimate: &mut Estimate) -> Result<Option<String>, String> {
    let Some((wanted, has)) = rule.basis.as_deref().and_then(Basis::read).zip(stated_basis(sample)) else {
        return Ok(None);
    };
    if wanted == has {
        return Ok(None);
    }
    let share = |basis: Basis| match basis {
        Basis::AsIs => Some(None),
        Basis::Dried => sample.loss_on_drying.map(Some),
        Basis::Anhydrous => sample.water.map(Some),
    };
    let Some((from, to)) = share(has).zip(share(wanted)) else {
        return Ok(None);
    };
    let remaining = |share: Option<Share>| 1.0 - share.map_or(0.0, |share| share.fraction);
    if [from, to].into_iter().any(|share| remaining(share) <= 0.0) {
        return Err("A water content or loss on drying of 100 % or more leaves nothing to measure.".to_owned());
    }
    let factor = remaining(from) / remaining(to);
    let relative = |share: Option<Share>| share.map_or(0.0, |it| it.standard_uncertainty / (1.0 - it.fraction));
    let relative = relative(from).hypot(relative(to));
    let value = estimate.value * factor;
    estimate.standard_uncertainty = (estimate.standard_uncertainty * factor).hypot(value * relative);
    estimate.value = value;
    let name = |basis: Basis, share: Option<Share>| {
        share.map(|it| {
            let what = if basis == Basis::Dried {
                "loss on drying"
            } else {
                "water"
            };
            format!("{what} {} %", short(100.0 * it.fraction))
        })
    };
    let used: Vec<String> = [name(has, from), name(wanted, to)].into_iter().flatten().collect();
    Ok(Some(format!(
        "from {} to {}, with {}",
        has.as_str(),
        rule.basis.as_deref().unwrap_or_default(),
        used.join(" and ")
    )))
}

fn time(rule: &LimitRule, sample: &Sample) -> Option<MethodCheck> {
    let words = rule.time_note.as_ref()?;
    let read = sample.read_after_minutes;
    Some(aspect(
        MethodAspect::Time,
        Some(words.clone()),
        read.map(|minutes| format!("{} min after dissolving", short(minutes))),
        || match (ReadingTime::read(words), read) {
            (Some(ReadingTime::Within(most)), Some(minutes)) if minutes > most => Standing::Differs,
            (Some(ReadingTime::After(least)), Some(minutes)) if minutes < least => Standing::Differs,
            (Some(_), _) => Standing::AsPrescribed,
            (None, _) => Standing::NotGiven,
        },
    ))
}

/// At most four significant digits, without trailing zeros.
fn short(value: f64) -> f64 {
    let factor = 10f64.powf((3.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 9.0));
    (value * factor).round() / factor
}
