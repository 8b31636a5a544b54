//! Usual slips applied to real entries of the starter library, and the best classifier there can be for them.
//!
//! Each case takes an entry at its own printed conditions, draws what the enantiopure compound would read there (the
//! entry's value, scattered as sources scatter), applies one slip with a variant of its own, adds the noise of an ordinary
//! instrument, and runs the check as a user would. The classifier beside it knows how the cases are made: how often each
//! slip and variant is drawn, the distribution of the true value and of the noise. It does not know the draws.
//!
//! A cause counts as found when the class holds its code with the corrected value of the variant drawn; partial purity and
//! dilution share a class, since both make any smaller value.

use biot::compare::{CauseCode, CauseTable, Conditions};
use biot::library::{Access, Chirality, Compound, EntryKind, Hand, Identity, Library, ReviewState};
use biot::measurement::{self, Defaults};
use biot::quantity::{Concentration, Length, SpecificRotation, SpectralLine, Temperature};
use biot::statement::{RotationKind, Sign, Stage};
use biot::tasks::check::{CheckRequest, CheckResult, CheckSettings, check};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use std::collections::BTreeMap;
use std::path::Path;

/// Scatter between sources: scale of the half-normal distribution of its standard deviation, relative.
const BETWEEN: f64 = 0.04;
/// Noise of a measurement: of the angle in degrees, and relative (weighing, flask, cell, purity).
const ANGLE_NOISE: f64 = 0.003;
const RELATIVE_NOISE: f64 = 0.0075;
/// Relative standard deviation of a salt's molar rotation against its base's.
const SALT_SCATTER: f64 = 0.15;
/// Blanks, standard deviation in degrees.
const BLANK: f64 = 0.03;

/// A real entry with what a slip could need.
pub struct Real {
    /// Its compound, value (deg mL g⁻¹ dm⁻¹) and conditions.
    pub compound: Compound,
    pub value: f64,
    pub conditions: Conditions,
    concentration: f64,
    /// Values of the same compound at the initial stage.
    initial: Vec<f64>,
    /// Values of other stereoisomers.
    isomers: Vec<f64>,
}

/// How a slip makes the reported value out of the true one.
#[derive(Clone, Copy, Debug)]
pub enum Slip {
    /// Times a factor, with a relative standard deviation.
    Factor(f64, f64),
    /// Plus a shift, with a standard deviation.
    Shift(f64, f64),
    /// Times a number drawn evenly between two ends.
    Between(f64, f64),
    /// Part of the way, drawn evenly from 0.1 to 1, to another value.
    Towards(f64),
    /// Another compound's value.
    Instead(f64),
}

/// A case: what was done and what was reported.
pub struct Case {
    pub code: CauseCode,
    pub slip: Slip,
    pub reported: f64,
    pub cell: f64,
}

/// Counts of one simulation.
#[derive(Default)]
pub struct Score {
    /// Cases.
    pub n: usize,
    /// The right class first: program, best classifier.
    pub first: usize,
    pub best_first: usize,
    /// The right class among the first three.
    pub among_three: usize,
    pub best_among_three: usize,
    /// Cases in which the best classifier is at least 90 % sure; in how many of them the program has the right class first
    /// and among the first three, and the classifier itself the right one.
    pub sure: usize,
    pub sure_first: usize,
    pub sure_among_three: usize,
    pub best_sure_first: usize,
    /// Consistent values, and how many raised a cause above `none`.
    pub consistent: usize,
    pub raised: usize,
    /// What was done against the code first named.
    pub confusion: BTreeMap<(CauseCode, CauseCode), usize>,
    /// By what was done: cases, program right, best right.
    pub by_code: BTreeMap<CauseCode, (usize, usize, usize)>,
}

/// The entries of the starter library that slips can be applied to: specific rotations of a chiral compound with printed
/// sign and solvent, of at least 5.
pub fn real_entries(library: &Library) -> Vec<Real> {
    let mut compounds = Vec::new();
    library
        .for_each_compound(|compound| {
            if compound.chirality == Chirality::Chiral {
                compounds.push(compound);
            }
            Ok(())
        })
        .unwrap();
    let usable = |entry: &biot::library::Entry| {
        let s = &entry.statement;
        entry.kind == EntryKind::Value
            && entry.state != ReviewState::Withdrawn
            && entry.kept_out.is_none()
            && entry.identity != Identity::Unclear
            && s.kind == RotationKind::Specific
            && s.sign == Sign::Stated
            && s.ee.as_ref().is_none_or(|ee| ee.percent.value() >= 98.0)
            && s.line.as_ref().is_none_or(|line| *line == SpectralLine::SodiumD)
            && s.central_value().is_some()
    };
    let mut found = Vec::new();
    for compound in compounds {
        let entries = library.entries(compound.id).unwrap();
        let initial: Vec<f64> = entries
            .iter()
            .filter(|e| usable(e) && e.statement.stage == Some(Stage::Initial))
            .filter_map(|e| e.statement.central_value())
            .collect();
        let isomers: Vec<f64> = library
            .stereoisomers(&compound)
            .unwrap()
            .iter()
            .filter(|isomer| isomer.inchikey != compound.mirror_key && isomer.chirality == Chirality::Chiral)
            .flat_map(|isomer| library.entries(isomer.id).unwrap())
            .filter(|e| usable(e) && e.statement.stage != Some(Stage::Initial))
            .filter_map(|e| e.statement.central_value())
            .collect();
        for entry in entries.iter().filter(|e| usable(e) && e.hand == Hand::Independent) {
            let statement = &entry.statement;
            let value = statement.central_value().unwrap();
            if value.abs() < 5.0 || statement.solvent.is_none() || statement.stage == Some(Stage::Initial) {
                continue;
            }
            let mut conditions = Conditions::of(statement, compound.molar_mass);
            conditions.line.get_or_insert(SpectralLine::SodiumD);
            conditions.temperature.get_or_insert(Temperature::from_celsius(20.0));
            let c = conditions
                .concentration
                .map_or(1.0, Concentration::grams_per_100_millilitres);
            conditions.concentration = Some(Concentration::from_grams_per_100_millilitres(c));
            found.push(Real {
                compound: compound.clone(),
                value,
                conditions,
                concentration: c,
                initial: initial.clone(),
                isomers: isomers.clone(),
            });
        }
    }
    found
}

/// The starter library in a folder.
pub fn starter(folder: &Path) -> Library {
    let file = folder.join("starter.biot");
    biot::tasks::care::open_or_create(&file, Access::Read, &mut |_| {}).unwrap();
    Library::open(&file, Access::Read).unwrap()
}

/// The one-term law's factor from the sodium line to another, λ0 in nm.
fn drude(nanometres: f64, lambda0: f64) -> f64 {
    (589.3f64.powi(2) - lambda0 * lambda0) / (nanometres * nanometres - lambda0 * lambda0)
}

/// All that can be done to an entry read in a cell (mm), with the probability of each variant within its code.
fn slips(real: &Real, cell: f64) -> BTreeMap<CauseCode, Vec<(f64, Slip)>> {
    let per_degree = 100.0 / (cell / 100.0 * real.concentration);
    let angle = real.value / per_degree;
    let even = |slips: Vec<Slip>| -> Vec<(f64, Slip)> {
        let share = 1.0 / slips.len() as f64;
        slips.into_iter().map(|slip| (share, slip)).collect()
    };
    let exact = |factor: f64| Slip::Factor(factor, 0.0);
    let mut all: BTreeMap<CauseCode, Vec<(f64, Slip)>> = BTreeMap::new();
    let mut put = |code: CauseCode, variants: Vec<(f64, Slip)>| {
        if !variants.is_empty() {
            all.insert(code, variants);
        }
    };
    put(CauseCode::None, even(vec![exact(1.0)]));
    put(CauseCode::PartialPurity, even(vec![Slip::Between(0.05, 0.95)]));
    put(CauseCode::Diluted, even(vec![Slip::Between(0.6, 0.97)]));
    put(CauseCode::OppositeHand, even(vec![exact(-1.0)]));
    let cells = [10.0, 20.0, 25.0, 50.0, 100.0, 200.0];
    put(
        CauseCode::CellLength,
        even(
            cells
                .iter()
                .filter(|used| **used != cell)
                .map(|used| exact(used / cell))
                .collect(),
        ),
    );
    put(
        CauseCode::ConcentrationUnit,
        vec![
            (0.35, exact(10.0)),
            (0.35, exact(0.1)),
            (0.15, exact(100.0)),
            (0.15, exact(0.01)),
        ],
    );
    put(CauseCode::AngleAsSpecific, even(vec![exact(1.0 / per_degree)]));
    if angle.abs() < 85.0 {
        let turn = if angle < 0.0 { 180.0 } else { -180.0 };
        put(CauseCode::HalfTurn, even(vec![Slip::Shift(turn * per_degree, 0.0)]));
    }
    put(CauseCode::SugarDegrees, even(vec![exact(100.0 / 34.626)]));
    let mass = real.compound.molar_mass.map(biot::quantity::MolarMass::grams_per_mole);
    if let Some(mass) = mass {
        put(CauseCode::MolarAsSpecific, even(vec![exact(mass / 100.0)]));
        let formula = real.compound.formula.clone().unwrap_or_default();
        let is_salt = real
            .compound
            .inchi
            .as_deref()
            .is_some_and(|inchi| inchi.split('/').nth(1).is_some_and(|f| f.contains('.')));
        let forms = CauseTable::built_in()
            .forms()
            .iter()
            .filter(|form| !is_salt && formula.contains(form.needs.as_str()))
            .map(|form| {
                Slip::Factor(
                    mass / (mass + form.added),
                    if form.is_hydrate { 0.0 } else { SALT_SCATTER },
                )
            })
            .collect();
        put(CauseCode::OtherForm, even(forms));
    }
    put(
        CauseCode::BlankSign,
        even(vec![Slip::Shift(0.0, 2.0 * BLANK * per_degree)]),
    );
    let lines = [578.0, 546.1, 435.8, 365.0].map(|line| {
        // Three λ0 a standard deviation apart, for the size of the scatter.
        let (low, middle, high) = (drude(line, 135.0), drude(line, 180.0), drude(line, 225.0));
        Slip::Factor(middle, (high - low) / 2.0 / middle)
    });
    put(CauseCode::OtherLine, even(lines.to_vec()));
    put(
        CauseCode::NotAtEquilibrium,
        even(real.initial.iter().map(|v| Slip::Towards(*v)).collect()),
    );
    put(
        CauseCode::OtherStereoisomer,
        even(real.isomers.iter().map(|v| Slip::Instead(*v)).collect()),
    );
    all
}

/// One simulation: `n` cases from the seed. `prior` gives the weight of each code among those that can be done to an entry.
pub fn simulate(
    library: &Library,
    real: &[Real],
    n: usize,
    seed: u64,
    prior: impl Fn(CauseCode) -> f64,
    mut on_miss: impl FnMut(&Real, &Case, &CheckResult, f64),
) -> Score {
    let mut rng = Pcg64::seed_from_u64(seed);
    let settings = CheckSettings::default();
    let mut score = Score::default();
    for _ in 0..n {
        let entry = &real[rng.random_range(0..real.len())];
        let cell = [100.0, 100.0, 100.0, 50.0, 10.0, 200.0][rng.random_range(0..6)];
        let possible = slips(entry, cell);
        let weighted: Vec<(f64, CauseCode, Slip)> = possible
            .iter()
            .flat_map(|(code, variants)| {
                variants
                    .iter()
                    .map(|(share, slip)| (prior(*code) * share, *code, *slip))
            })
            .collect();
        let total: f64 = weighted.iter().map(|(weight, ..)| weight).sum();
        let mut at = rng.random_range(0.0..total);
        let (_, code, slip) = *weighted
            .iter()
            .find(|(weight, ..)| {
                at -= weight;
                at < 0.0
            })
            .unwrap_or(&weighted[0]);
        let case = draw(entry, code, slip, cell, &mut rng);
        let result = run(library, entry, &case, &settings);
        count(&mut score, entry, &case, &result, &weighted, &mut on_miss);
    }
    score
}

/// Draws the true value, the slip's own chance and the noise.
fn draw(entry: &Real, code: CauseCode, slip: Slip, cell: f64, rng: &mut Pcg64) -> Case {
    let mut normal = || -> f64 { StandardNormal.sample(&mut *rng) };
    let tau = BETWEEN * normal().abs();
    let scatter = 1.0 + tau * normal();
    let (noise, blur, chance) = (normal(), normal(), normal());
    let even: f64 = rng.random_range(0.0..1.0);
    let truth = entry.value * scatter;
    let per_degree = 100.0 / (cell / 100.0 * entry.concentration);
    let wanted = match slip {
        Slip::Factor(factor, sd) => truth * factor * (1.0 + sd * chance),
        Slip::Shift(_, sd) => truth + sd * chance,
        Slip::Between(low, high) => truth * (low + (high - low) * even),
        Slip::Towards(other) => truth + (0.1 + 0.9 * even) * (other - truth),
        Slip::Instead(other) => other * scatter,
    };
    // A turn is exact: it stands in the reading, not in the weighing.
    let turn = if let Slip::Shift(shift, _) = slip { shift } else { 0.0 };
    let reported = wanted * (1.0 + RELATIVE_NOISE * noise) + ANGLE_NOISE * per_degree * blur + turn;
    // Three decimals, as typed.
    let reported = (reported * 1000.0).round() / 1000.0;
    Case {
        code,
        slip,
        reported,
        cell,
    }
}

fn run(library: &Library, entry: &Real, case: &Case, settings: &CheckSettings) -> CheckResult {
    let cell = Length::from_millimetres(case.cell);
    let value = SpecificRotation::from_conventional(case.reported);
    let concentration = entry.conditions.concentration;
    let request = CheckRequest {
        compound: entry.compound.id,
        mirror_image: false,
        measured: measurement::of_value(value, 0.0005, concentration, Some(cell), &Defaults::built_in()),
        conditions: entry.conditions.clone(),
        cell: Some(cell),
        form: None,
        excess: None,
    };
    check(library, &request, settings).unwrap()
}

/// The standard half-normal distribution at the middles of twelve equal steps of probability.
const QUANTILES: [f64; 12] = [
    0.0522, 0.1573, 0.2641, 0.3741, 0.4888, 0.6103, 0.7416, 0.8871, 1.0545, 1.2582, 1.5341, 2.0368,
];

/// Density of the reported value under a slip, with the true value and the noise as they are drawn.
fn density(entry: &Real, slip: Slip, x: f64, cell: f64) -> f64 {
    let per_degree = 100.0 / (cell / 100.0 * entry.concentration);
    let angle = ANGLE_NOISE * per_degree;
    let normal = |deviation: f64, variance: f64| {
        (-0.5 * deviation * deviation / variance).exp() / (2.0 * std::f64::consts::PI * variance).sqrt()
    };
    let v = entry.value;
    let turn = if let Slip::Shift(shift, _) = slip { shift } else { 0.0 };
    let noise = RELATIVE_NOISE * (x - turn);
    let own = angle * angle + noise * noise;
    let steps = |n: usize, low: f64, high: f64, each: &dyn Fn(f64) -> f64| -> f64 {
        let width = (high - low) / n as f64;
        (0..n).map(|i| each(low + (i as f64 + 0.5) * width)).sum::<f64>() / n as f64
    };
    QUANTILES
        .iter()
        .map(|q| {
            let tau = BETWEEN * q * v;
            match slip {
                Slip::Factor(f, sd) => normal(x - f * v, f * f * (tau * tau + sd * sd * v * v) + own),
                Slip::Shift(s, sd) => normal(x - v - s, tau * tau + sd * sd + own),
                Slip::Between(low, high) => steps(400, low, high, &|p| normal(x - p * v, p * p * tau * tau + own)),
                Slip::Towards(other) => steps(100, 0.1, 1.0, &|q| {
                    normal(x - v - q * (other - v), (1.0 - q).powi(2) * tau * tau + own)
                }),
                Slip::Instead(other) => normal(x - other, (BETWEEN * q * other).powi(2) + own),
            }
        })
        .sum::<f64>()
        / QUANTILES.len() as f64
}

/// What the value would be without the slip; none for slips that take any value in a range.
fn corrected(slip: Slip, x: f64) -> Option<f64> {
    match slip {
        Slip::Factor(factor, _) => Some(x / factor),
        Slip::Shift(shift, 0.0) => Some(x - shift),
        Slip::Shift(..) | Slip::Between(..) | Slip::Towards(_) | Slip::Instead(_) => None,
    }
}

/// Whether two slips fall into one class of the best classifier.
fn one_class(a: (CauseCode, Slip), b: (CauseCode, Slip), x: f64, u: f64) -> bool {
    match (corrected(a.1, x), corrected(b.1, x)) {
        (Some(p), Some(q)) => {
            let stretch = |slip: Slip| {
                if let Slip::Factor(factor, _) = slip {
                    factor.abs()
                } else {
                    1.0
                }
            };
            let turned = |slip: Slip| matches!(slip, Slip::Shift(..));
            a.0 != CauseCode::OppositeHand
                && b.0 != CauseCode::OppositeHand
                && turned(a.1) == turned(b.1)
                && (p - q).abs() <= 1.96 * (u / stretch(a.1)).hypot(u / stretch(b.1))
        }
        (None, None) => a.0 == b.0 || (matches!(a.1, Slip::Between(..)) && matches!(b.1, Slip::Between(..))),
        _ => false,
    }
}

fn count(
    score: &mut Score,
    entry: &Real,
    case: &Case,
    result: &CheckResult,
    weighted: &[(f64, CauseCode, Slip)],
    on_miss: &mut impl FnMut(&Real, &Case, &CheckResult, f64),
) {
    let (x, u) = (case.reported, result.measured.standard_uncertainty);
    let truth = (case.code, case.slip);
    // The best classifier: classes led by their most probable member, as the program makes them.
    let mut posterior: Vec<(f64, (CauseCode, Slip))> = weighted
        .iter()
        .map(|(weight, code, slip)| (weight * density(entry, *slip, x, case.cell), (*code, *slip)))
        .collect();
    posterior.sort_by(|a, b| b.0.total_cmp(&a.0));
    let total: f64 = posterior.iter().map(|(weight, _)| weight).sum();
    let mut classes: Vec<(f64, Vec<(CauseCode, Slip)>)> = Vec::new();
    for (weight, member) in posterior {
        match classes
            .iter_mut()
            .find(|(_, members)| one_class(members[0], member, x, u))
        {
            Some((sum, members)) => {
                *sum += weight;
                members.push(member);
            }
            None => classes.push((weight, vec![member])),
        }
    }
    classes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best_holds = |class: &(f64, Vec<(CauseCode, Slip)>)| class.1.contains(&truth);
    let best_rank = classes.iter().position(best_holds).unwrap_or(usize::MAX);
    let sure = classes[0].0 / total;

    let is_right = |code: CauseCode, value: f64| -> bool {
        match corrected(case.slip, x) {
            _ if code != case.code => {
                matches!(case.slip, Slip::Between(..)) && matches!(code, CauseCode::PartialPurity | CauseCode::Diluted)
            }
            _ if code == CauseCode::OppositeHand => true,
            Some(right) => (value - right).abs() <= 0.03 * right.abs() + 3.0 * u,
            None => true,
        }
    };
    let rank = result
        .causes
        .iter()
        .filter(|cause| is_right(cause.code, cause.corrected_value))
        .map(|cause| cause.class - 1)
        .min()
        .unwrap_or(usize::MAX);
    score.n += 1;
    score.first += usize::from(rank == 0);
    score.best_first += usize::from(best_rank == 0);
    score.among_three += usize::from(rank < 3);
    score.best_among_three += usize::from(best_rank < 3);
    if sure >= 0.9 {
        score.sure += 1;
        score.sure_first += usize::from(rank == 0);
        score.sure_among_three += usize::from(rank < 3);
        score.best_sure_first += usize::from(best_rank == 0);
    }
    if case.code == CauseCode::None {
        score.consistent += 1;
        score.raised += usize::from(rank != 0);
    }
    let named = if rank == 0 {
        case.code
    } else {
        result
            .causes
            .first()
            .map_or(CauseCode::ReferenceSuspect, |cause| cause.code)
    };
    *score.confusion.entry((case.code, named)).or_default() += 1;
    let line = score.by_code.entry(case.code).or_default();
    line.0 += 1;
    line.1 += usize::from(rank == 0);
    line.2 += usize::from(best_rank == 0);
    if rank != 0 && sure >= 0.9 && best_rank == 0 {
        on_miss(entry, case, result, sure);
    }
}

impl PartialEq for Slip {
    fn eq(&self, other: &Self) -> bool {
        format!("{self:?}") == format!("{other:?}")
    }
}

/// The confusion table and the shares, as text.
pub fn table(score: &Score) -> String {
    use std::fmt::Write;
    let percent = |a: usize, b: usize| 100.0 * a as f64 / b.max(1) as f64;
    let mut text = String::new();
    let mut named: Vec<CauseCode> = score.confusion.keys().map(|(_, named)| *named).collect();
    named.sort();
    named.dedup();
    let _ = writeln!(text, "done                 cases  right  best   named instead");
    for (code, (n, right, best)) in &score.by_code {
        let _ = write!(
            text,
            "{:20} {n:5} {:5.1} % {:5.1} %",
            code.as_str(),
            percent(*right, *n),
            percent(*best, *n)
        );
        let mut others: Vec<(usize, CauseCode)> = named
            .iter()
            .filter(|named| *named != code)
            .filter_map(|named| Some((*score.confusion.get(&(*code, *named))?, *named)))
            .collect();
        others.sort_by_key(|(n, _)| std::cmp::Reverse(*n));
        let others: Vec<String> = others
            .iter()
            .map(|(n, named)| format!("{} {n}", named.as_str()))
            .collect();
        let _ = writeln!(text, "  {}", others.join(", "));
    }
    let _ = writeln!(
        text,
        "first: {:.1} % of {} (best classifier {:.1} %); among three: {:.1} % (best {:.1} %)",
        percent(score.first, score.n),
        score.n,
        percent(score.best_first, score.n),
        percent(score.among_three, score.n),
        percent(score.best_among_three, score.n),
    );
    let _ = writeln!(
        text,
        "where the best classifier is at least 90 % sure ({} cases, right itself in {:.1} %): first {:.1} %, among three {:.1} %",
        score.sure,
        percent(score.best_sure_first, score.sure),
        percent(score.sure_first, score.sure),
        percent(score.sure_among_three, score.sure),
    );
    let _ = writeln!(
        text,
        "consistent values that raise a cause above none: {} of {} ({:.1} %)",
        score.raised,
        score.consistent,
        percent(score.raised, score.consistent)
    );
    text
}
