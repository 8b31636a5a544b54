//! What is wrong with a measurement: each flag with the number it rests on and what to do about it.
//!
//! Flags never change a value; the reading they speak of stays in. How often each is right and how often it cries wolf is
//! measured by simulation (`cargo bench --bench flags`).

use super::budget::BudgetLine;
use super::reading::{Filling, Level, Mean, Reading, mean, standard_deviation};
use super::student::{grubbs_critical, t_tails, t_two_sided};
use super::turns::{Scaled, Turns, discord};
use super::{AngleSummary, MonteCarlo, Reduced, Setup};
use serde::Serialize;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// How much a flag matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Severity {
    /// Good to know.
    Note,
    /// The value or its uncertainty may be off.
    Warning,
    /// The value should not be used before this is settled.
    Serious,
}

impl Severity {
    /// The severity's word.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Serious => "serious",
        }
    }
}

/// One thing that is wrong, or worth knowing.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Flag {
    /// A stable word, in kebab-case; [`CODES`] lists all.
    pub code: String,
    /// What is seen, with its number, and what to do.
    pub sentence: String,
    /// How much it matters.
    pub severity: Severity,
}

impl Flag {
    /// Makes a flag.
    pub fn new(code: &'static str, severity: Severity, sentence: String) -> Self {
        Self {
            code: code.to_owned(),
            sentence,
            severity,
        }
    }
}

/// Every code with what it looks for.
pub const CODES: [(&str, &str); 27] = [
    ("few-readings", "too few readings to know their scatter"),
    (
        "outlying-reading",
        "one reading far from its fellows: Grubbs' test at 1 %",
    ),
    ("straggling-reading", "the same at 5 %"),
    ("drift", "a slope of angle against time: t test at 1 %"),
    ("noisy-sample", "the sample scatters more than the blank: F test at 1 %"),
    (
        "identical-readings",
        "five or more readings that do not differ in the last digit",
    ),
    ("duplicate-readings", "rows that repeat another one, time and all"),
    ("time-backwards", "a time earlier than that of the row before"),
    ("small-angle", "the angle is less than ten times its uncertainty"),
    ("no-blank", "no blank was read"),
    (
        "blank-not-zero",
        "the blank is more than three of its uncertainties from zero",
    ),
    (
        "blank-changed",
        "the blank before and after the sample differ: t test at 1 %",
    ),
    ("blank-other-cell", "no blank was read in the cell of the sample"),
    ("temperature-off", "more than 0.5 K from the stated temperature"),
    ("temperature-unsteady", "more than 1 K between readings of the sample"),
    ("near-90", "a reading beyond 75°, where a half turn is easily missed"),
    ("past-90", "a reading beyond 90°"),
    ("half-turn", "half turns found by a second concentration or cell"),
    (
        "not-proportional",
        "α/(l c) differs between concentrations or cells by more than three uncertainties",
    ),
    ("low-light", "absorbance above 1"),
    ("turbid", "turbidity above 3 NTU"),
    (
        "cell-differs",
        "the cell given and that of a row differ by more than 1 %",
    ),
    ("mixed-units", "angles in another unit than the column's"),
    (
        "instrument-control",
        "the instrument is overdue for a control standard, or failed one",
    ),
    ("losses-overlap", "residual solvent and loss on drying both taken off"),
    ("mostly-assumed", "more than half of the variance rests on defaults"),
    (
        "law-and-simulation",
        "the Monte Carlo interval differs by more than 5 % from that of the law of propagation",
    ),
];

/// What the flags are found in.
pub(super) struct Seen<'a> {
    pub(super) sample: &'a [&'a Reading],
    pub(super) blank: &'a [&'a Reading],
    pub(super) fillings: &'a [Filling],
    /// Sample angles brought to one size.
    pub(super) scaled: &'a [f64],
    /// Sample angles less blank, half turns added.
    pub(super) net: &'a [f64],
    pub(super) turns: Option<&'a Turns>,
    pub(super) groups: &'a [Scaled],
    pub(super) relative: f64,
    pub(super) blank_mean: Option<&'a Mean>,
    pub(super) angle: &'a AngleSummary,
    pub(super) setup: &'a Setup,
    pub(super) reduced: &'a Reduced,
    pub(super) monte_carlo: Option<&'a MonteCarlo>,
    pub(super) instrument: f64,
}

/// Finds what is wrong, worst first.
pub(super) fn find(seen: &Seen<'_>) -> Vec<Flag> {
    let mut flags = Vec::new();
    few(seen, &mut flags);
    let slope = time(seen, &mut flags);
    outlying(seen, slope.as_ref(), &mut flags);
    repeated(seen, &mut flags);
    blank(seen, &mut flags);
    angle(seen, &mut flags);
    sizes(seen, &mut flags);
    surroundings(seen, &mut flags);
    budget(seen, &mut flags);
    flags.sort_by_key(|flag| std::cmp::Reverse(flag.severity));
    flags
}

/// A number in three significant digits with a true minus sign.
fn short(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let decimals = (2.0 - value.abs().log10().floor()).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    text.replace('-', "\u{2212}")
}

fn few(seen: &Seen<'_>, flags: &mut Vec<Flag>) {
    let angle = seen.angle;
    let n = angle.n_level;
    let sentence = match (n, angle.level) {
        (1, _) => "One angle tells nothing of its scatter; read it at least five times.".to_owned(),
        (2, level) => format!(
            "Two {} give one degree of freedom, and their interval is {} times the uncertainty; repeat until there are \
             five or more.",
            level.plural(),
            short(t_two_sided(0.05, 1.0))
        ),
        (3 | 4, Level::Reading) => format!(
            "{n} readings are few (Student's t {}); five or more are usual.",
            short(t_two_sided(0.05, (n - 1) as f64))
        ),
        _ => return,
    };
    let severity = if n < 3 { Severity::Warning } else { Severity::Note };
    flags.push(Flag::new("few-readings", severity, sentence));
}

/// The standard deviation of readings about the mean of their filling, with its degrees of freedom.
pub(super) fn within(fillings: &[Filling], angles: &[f64]) -> Option<(f64, usize)> {
    let mut sum = 0.0;
    let mut freedom = 0;
    for filling in fillings {
        let values: Vec<f64> = filling.readings.iter().map(|&i| angles[i]).collect();
        sum += standard_deviation(&values).powi(2) * values.len().saturating_sub(1) as f64;
        freedom += values.len().saturating_sub(1);
    }
    (freedom > 0).then(|| ((sum / freedom as f64).sqrt(), freedom))
}

fn step(seen: &Seen<'_>) -> f64 {
    seen.setup.resolution.map_or(0.0, crate::quantity::Angle::degrees)
}

/// A common slope of angle against time within the fillings.
struct Slope {
    per_unit: f64,
    /// The time of each reading about the mean of its filling.
    centred: Vec<f64>,
}

/// Times that run backwards, and a drift. The slope is given back where it is clear, so that a drift is not taken for
/// outliers.
fn time(seen: &Seen<'_>, flags: &mut Vec<Flag>) -> Option<Slope> {
    let backwards: Vec<(u64, u64)> = seen
        .fillings
        .iter()
        .flat_map(|filling| filling.readings.windows(2))
        .filter_map(|pair| {
            let (first, second) = (seen.sample[pair[0]], seen.sample[pair[1]]);
            (second.seconds? < first.seconds?).then_some((first.line, second.line))
        })
        .collect();
    if let Some((before, after)) = backwards.first() {
        flags.push(Flag::new(
            "time-backwards",
            Severity::Warning,
            format!(
                "The time runs backwards {} (first from row {before} to row {after}): two series may be mixed, or the \
                 clock was set; check the order. No drift was looked for.",
                times(backwards.len())
            ),
        ));
        return None;
    }
    let has_times = seen.sample.iter().all(|r| r.seconds.is_some());
    let mut centred = vec![0.0; seen.sample.len()];
    let (mut sxx, mut sxy, mut syy, mut span) = (0.0, 0.0, 0.0, 0.0f64);
    let mut freedom = 0usize;
    for filling in seen.fillings {
        let x: Vec<f64> = filling
            .readings
            .iter()
            .enumerate()
            .map(|(order, &i)| seen.sample[i].seconds.filter(|_| has_times).unwrap_or(order as f64))
            .collect();
        let y: Vec<f64> = filling.readings.iter().map(|&i| seen.scaled[i]).collect();
        let (mx, my) = (mean(&x), mean(&y));
        for ((&i, x), y) in filling.readings.iter().zip(&x).zip(&y) {
            centred[i] = x - mx;
            sxx += (x - mx).powi(2);
            sxy += (x - mx) * (y - my);
            syy += (y - my).powi(2);
        }
        if let (Some(first), Some(last)) = (x.first(), x.last()) {
            span = span.max((last - first).abs());
        }
        freedom += x.len().saturating_sub(1);
    }
    let freedom = freedom.checked_sub(1).filter(|&nu| nu >= 2)? as f64;
    if sxx <= 0.0 {
        return None;
    }
    let per_unit = sxy / sxx;
    let change = per_unit * span;
    // Rounding is scatter too, where the readings themselves show less.
    let floor = step(seen).powi(2) / 12.0;
    let residual = ((syy - sxy * per_unit).max(0.0) / freedom)
        .max(floor)
        .max(f64::MIN_POSITIVE);
    let t = per_unit / (residual / sxx).sqrt();
    if t_tails(t, freedom) >= 0.01 || change.abs() < 2.0 * step(seen) {
        return None;
    }
    let over = if has_times {
        format!("{} s", short(span))
    } else {
        format!("{} readings", seen.sample.len())
    };
    let severity = if change.abs() > 2.0 * seen.angle.standard_uncertainty {
        Severity::Serious
    } else {
        Severity::Warning
    };
    flags.push(Flag::new(
        "drift",
        severity,
        format!(
            "The angle changes by {}° over {over} (t = {}): the sample is not at its temperature, or it mutarotates. Wait \
             until readings stay, or fit the change with time.",
            short(change),
            short(t)
        ),
    ));
    Some(Slope { per_unit, centred })
}

fn times(n: usize) -> String {
    if n == 1 {
        "once".to_owned()
    } else {
        format!("{n} times")
    }
}

/// The value farthest from the mean, its distance in standard deviations, and whether it outlies at 5 % and at 1 %.
fn farthest(values: &[f64], level_divisor: f64, step: f64) -> Option<(usize, f64, bool)> {
    let n = values.len();
    let sd = standard_deviation(values);
    let centre = mean(values);
    let at = (0..n).max_by(|&a, &b| (values[a] - centre).abs().total_cmp(&(values[b] - centre).abs()))?;
    let distance = (values[at] - centre).abs();
    // Two steps of the display are no outlier, however still the others stand.
    if sd <= 0.0 || distance < 2.0 * step {
        return None;
    }
    let g = distance / sd;
    if g > grubbs_critical(n, 0.01 / level_divisor)? {
        Some((at, g, true))
    } else if g > grubbs_critical(n, 0.05 / level_divisor)? {
        Some((at, g, false))
    } else {
        None
    }
}

fn outlying(seen: &Seen<'_>, slope: Option<&Slope>, flags: &mut Vec<Flag>) {
    let straight: Vec<f64> = match slope {
        Some(slope) => seen
            .scaled
            .iter()
            .zip(&slope.centred)
            .map(|(angle, x)| angle - slope.per_unit * x)
            .collect(),
        None => seen.scaled.to_vec(),
    };
    let tested: Vec<&Filling> = seen
        .fillings
        .iter()
        .filter(|filling| filling.readings.len() > 2)
        .collect();
    for filling in &tested {
        let values: Vec<f64> = filling.readings.iter().map(|&i| straight[i]).collect();
        let Some((at, g, clear)) = farthest(&values, tested.len() as f64, step(seen)) else {
            continue;
        };
        let reading = seen.sample[filling.readings[at]];
        let rest: Vec<f64> = values
            .iter()
            .enumerate()
            .filter(|(i, _)| *i != at)
            .map(|(_, v)| *v)
            .collect();
        let (code, severity) = if clear {
            ("outlying-reading", Severity::Warning)
        } else {
            ("straggling-reading", Severity::Note)
        };
        flags.push(Flag::new(
            code,
            severity,
            format!(
                "The reading {}° (row {}) lies {} standard deviations from the mean of its {} fellows (Grubbs); without \
                 it the mean would be {}°. Look for a bubble, an open lid or a slip of the pen. It stays in.",
                short(reading.angle.degrees()),
                reading.line,
                short(g),
                values.len() - 1,
                short(mean(&rest)),
            ),
        ));
    }
    if seen.fillings.len() < 3 {
        return;
    }
    let means: Vec<f64> = seen
        .fillings
        .iter()
        .map(|filling| mean(&filling.readings.iter().map(|&i| straight[i]).collect::<Vec<f64>>()))
        .collect();
    if let Some((at, g, true)) = farthest(&means, 1.0, step(seen)) {
        let row = seen.sample[seen.fillings[at].readings[0]].line;
        flags.push(Flag::new(
            "outlying-reading",
            Severity::Warning,
            format!(
                "The filling that begins at row {row} has the mean {}°, {} standard deviations from the other {} (Grubbs). \
                 Fill the cell again, without bubbles, or weigh again. It stays in.",
                short(means[at]),
                short(g),
                means.len() - 1
            ),
        ));
    }
}

fn repeated(seen: &Seen<'_>, flags: &mut Vec<Flag>) {
    if seen.angle.n_duplicates > 0 {
        flags.push(Flag::new(
            "duplicate-readings",
            Severity::Warning,
            format!(
                "{} of the rows repeat another one, time and all: probably copied twice. Each is counted once.",
                seen.angle.n_duplicates
            ),
        ));
    }
    let n = seen.sample.len();
    let first = seen.sample[0].angle;
    if n >= 5 && seen.sample.iter().all(|r| r.angle == first) {
        flags.push(Flag::new(
            "identical-readings",
            Severity::Note,
            format!(
                "All {n} readings are {}°: the scatter lies below the last digit, or one reading was copied. The rounding \
                 counts instead.",
                short(first.degrees())
            ),
        ));
    }
    let (Some((s, nu)), true) = (within(seen.fillings, seen.net), seen.blank.len() > 3) else {
        return;
    };
    let blank: Vec<f64> = seen.blank.iter().map(|r| r.angle.degrees()).collect();
    let floor = step(seen) / 12f64.sqrt();
    let (s_blank, nu_blank) = (standard_deviation(&blank).max(floor), blank.len() - 1);
    let ratio = (s / s_blank).powi(2);
    let Ok(fisher) = FisherSnedecor::new(nu as f64, nu_blank as f64) else {
        return;
    };
    if s > 0.0 && nu >= 3 && fisher.sf(ratio) < 0.01 {
        flags.push(Flag::new(
            "noisy-sample",
            Severity::Warning,
            format!(
                "The sample's readings scatter {} times as much as the blank's ({}° against {}°): too little light, a \
                 cloudy solution, a bubble, or not yet at temperature. Filter it, dilute it, or take a shorter cell.",
                short(ratio.sqrt()),
                short(s),
                short(s_blank)
            ),
        ));
    }
}

fn blank(seen: &Seen<'_>, flags: &mut Vec<Flag>) {
    let Some(zero) = seen.blank_mean else {
        if seen.setup.counts_instrument {
            flags.push(Flag::new(
                "no-blank",
                Severity::Warning,
                "No blank was read; zero is taken as it stands. Read the solvent in the same cell before and after."
                    .to_owned(),
            ));
        }
        return;
    };
    let u = zero.uncertainty.unwrap_or(0.0).hypot(seen.instrument);
    let net = seen.angle.net_degrees;
    if zero.degrees.abs() > 3.0 * u {
        let share = (zero.degrees / net).abs();
        flags.push(Flag::new(
            "blank-not-zero",
            if share > 0.05 { Severity::Warning } else { Severity::Note },
            format!(
                "The blank reads {}°, {} times its uncertainty and {} % of the angle: clean the cell and its windows, see \
                 that it held pure solvent, and set zero anew.",
                short(zero.degrees),
                short(zero.degrees.abs() / u),
                short(100.0 * share)
            ),
        ));
    }
    if let Some(cell) = seen.sample[0].cell
        && seen.blank.iter().all(|r| r.cell.is_some_and(|other| other != cell))
    {
        flags.push(Flag::new(
            "blank-other-cell",
            Severity::Warning,
            format!(
                "No blank was read in the cell of {} mm; that of another cell was taken off, and windows differ. Read one.",
                short(cell.millimetres())
            ),
        ));
    }
    blank_changed(seen, flags);
}

fn blank_changed(seen: &Seen<'_>, flags: &mut Vec<Flag>) {
    let (first, last) = (seen.sample[0].line, seen.sample[seen.sample.len() - 1].line);
    let angles = |keep: &dyn Fn(u64) -> bool| -> Vec<f64> {
        seen.blank
            .iter()
            .filter(|r| keep(r.line))
            .map(|r| r.angle.degrees())
            .collect()
    };
    let (before, after) = (angles(&|line| line < first), angles(&|line| line > last));
    if before.len() < 2 || after.len() < 2 {
        return;
    }
    let difference = mean(&after) - mean(&before);
    let floor = step(seen) / 12f64.sqrt();
    let part = |values: &[f64]| standard_deviation(values).max(floor).powi(2) / values.len() as f64;
    let (a, b) = (part(&before), part(&after));
    let nu = (a + b).powi(2) / (a * a / (before.len() - 1) as f64 + b * b / (after.len() - 1) as f64);
    let t = difference / (a + b).sqrt();
    if t_tails(t, nu) < 0.01 && difference.abs() > 2.0 * step(seen) {
        flags.push(Flag::new(
            "blank-changed",
            Severity::Warning,
            format!(
                "The blank moved by {}° between before and after the sample (t = {}): let the lamp warm up, wipe the \
                 windows, keep the cell's position, and repeat.",
                short(difference),
                short(t)
            ),
        ));
    }
}

fn angle(seen: &Seen<'_>, flags: &mut Vec<Flag>) {
    let (net, u) = (seen.angle.net_degrees, seen.angle.standard_uncertainty);
    if u > 0.0 && net.abs() < 10.0 * u {
        let serious = net.abs() < 2.0 * u;
        flags.push(Flag::new(
            "small-angle",
            if serious { Severity::Serious } else { Severity::Warning },
            format!(
                "The angle {}° is only {} times its uncertainty{}: take more substance, a longer cell or a shorter line.",
                short(net),
                short(net.abs() / u),
                if serious { ", so that not even its sign is known" } else { "" }
            ),
        ));
    }
    let most = seen.sample.iter().map(|r| r.angle.degrees().abs()).fold(0.0, f64::max);
    if seen.turns.is_some() {
        return;
    }
    let one_size = seen.groups.len() < 2;
    if most > 90.0 {
        flags.push(Flag::new(
            "past-90",
            Severity::Serious,
            format!(
                "A reading of {}° lies beyond 90°: an analyser cannot tell it from {}°. Read it in a cell of half the \
                 length, or at half the concentration.",
                short(most),
                short(most - 180.0)
            ),
        ));
    } else if most > 75.0 && one_size {
        flags.push(Flag::new(
            "near-90",
            Severity::Warning,
            format!(
                "A reading of {}° is close to 90°, where α and α ± 180° are easily mistaken. Read it in a cell of half the \
                 length, or at half the concentration.",
                short(most)
            ),
        ));
    }
}

fn sizes(seen: &Seen<'_>, flags: &mut Vec<Flag>) {
    if let Some(found) = seen.turns {
        let told: Vec<String> = seen
            .groups
            .iter()
            .zip(&found.added)
            .filter(|(_, turn)| **turn != 0)
            .map(|(group, &turn)| {
                format!(
                    "{}° is {}°",
                    short(group.degrees),
                    short(group.degrees + 180.0 * f64::from(turn))
                )
            })
            .collect();
        flags.push(Flag::new(
            "half-turn",
            Severity::Warning,
            format!(
                "Between the cells or concentrations only half turns make the angles proportional: {} (as read they \
                 disagree by {} uncertainties, so by {}). The value is counted so; confirm it with a third.",
                told.join(", "),
                short(found.discord_as_read),
                short(found.discord)
            ),
        ));
        return;
    }
    if seen.groups.len() < 2 {
        return;
    }
    let apart = discord(seen.groups, &vec![0; seen.groups.len()], seen.relative);
    if apart > 3.0 {
        let values: Vec<String> = seen
            .groups
            .iter()
            .map(|group| {
                format!(
                    "{} at l c = {}",
                    short(100.0 * group.degrees / group.size),
                    short(group.size)
                )
            })
            .collect();
        flags.push(Flag::new(
            "not-proportional",
            Severity::Serious,
            format!(
                "The specific rotation is not the same at all sizes: {} ({} uncertainties apart; l in dm, c in g/100 mL). A \
                 dilution or a cell is wrong, the substance associates, or a half turn is missed. Prepare the dilution \
                 again.",
                values.join(", "),
                short(apart)
            ),
        ));
    }
}

/// Greatest difference from the stated temperature, K: pharmacopoeial chapters ask for ±0.5 °C (from memory).
const TEMPERATURE_TOLERANCE: f64 = 0.5;

fn surroundings(seen: &Seen<'_>, flags: &mut Vec<Flag>) {
    let celsius = |t: crate::quantity::Temperature| t.celsius();
    if let (Some(read), Some(stated)) = (
        seen.setup.temperature.map(celsius),
        seen.setup.stated_temperature.map(celsius),
    ) && (read - stated).abs() > TEMPERATURE_TOLERANCE
    {
        let (severity, then) = if seen.setup.temperature_coefficient.is_some() {
            (
                Severity::Note,
                "the value is brought to it by the coefficient given".to_owned(),
            )
        } else {
            (
                Severity::Warning,
                "temper the cell, or give --temperature-coefficient".to_owned(),
            )
        };
        flags.push(Flag::new(
            "temperature-off",
            severity,
            format!(
                "The sample was read at {} °C, {} K from the {} °C wanted; {then}.",
                short(read),
                short(read - stated),
                short(stated)
            ),
        ));
    }
    let (low, high) = seen
        .sample
        .iter()
        .filter_map(|r| r.temperature.map(celsius))
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| {
            (low.min(t), high.max(t))
        });
    if high - low > 1.0 {
        flags.push(Flag::new(
            "temperature-unsteady",
            Severity::Warning,
            format!(
                "The temperature moved from {} to {} °C between readings; wait for it to settle and close the lid.",
                short(low),
                short(high)
            ),
        ));
    }
    let most = |get: &dyn Fn(&Reading) -> Option<f64>| seen.sample.iter().filter_map(|r| get(r)).fold(0.0, f64::max);
    let absorbance = most(&|r| r.absorbance);
    if absorbance > 1.0 {
        flags.push(Flag::new(
            "low-light",
            if absorbance > 2.0 { Severity::Serious } else { Severity::Warning },
            format!(
                "The absorbance is {}, so only {} % of the light comes through: take a shorter cell, dilute, or read at a \
                 longer line.",
                short(absorbance),
                short(100.0 * 10f64.powf(-absorbance))
            ),
        ));
    }
    let turbidity = most(&|r| r.turbidity);
    if turbidity > 3.0 {
        flags.push(Flag::new(
            "turbid",
            Severity::Warning,
            format!(
                "The turbidity is {} NTU: a cloudy solution depolarises. Filter or centrifuge it and fill the cell again.",
                short(turbidity)
            ),
        ));
    }
}

fn budget(seen: &Seen<'_>, flags: &mut Vec<Flag>) {
    if let (Some(residual), Some(loss)) = (seen.setup.residual_solvent, seen.setup.loss_on_drying) {
        flags.push(Flag::new(
            "losses-overlap",
            Severity::Warning,
            format!(
                "Residual solvent ({} %) and loss on drying ({} %) are both taken off, but drying drives solvent off too: \
                 give the one that holds the other.",
                short(residual.percent()),
                short(loss.percent())
            ),
        ));
    }
    let assumed: Vec<&BudgetLine> = seen.reduced.budget.iter().filter(|line| line.assumed).collect();
    let share: f64 = assumed.iter().map(|line| line.share).sum();
    if share > 0.5
        && let Some(most) = assumed.iter().max_by(|a, b| a.share.total_cmp(&b.share))
    {
        flags.push(Flag::new(
            "mostly-assumed",
            Severity::Note,
            format!(
                "{} % of the variance rests on defaults of this program, most on \"{}\" ({} %): state your own uncertainties.",
                short(100.0 * share),
                most.source,
                short(100.0 * most.share)
            ),
        ));
    }
    if let Some(drawn) = seen
        .monte_carlo
        .filter(|drawn| !drawn.agrees && (drawn.width_ratio - 1.0).abs() > 0.05)
    {
        flags.push(Flag::new(
            "law-and-simulation",
            Severity::Note,
            format!(
                "The simulated interval is {} times as wide as that of the law of propagation: few readings, or an equation \
                 that bends within its uncertainties. Quote the simulated one, {} to {}.",
                short(drawn.width_ratio),
                short(drawn.interval95[0]),
                short(drawn.interval95[1])
            ),
        ));
    }
}
