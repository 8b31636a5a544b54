//! Usual slips applied to real entries of the starter library, and the best classifier there can be for them.
//!
//! Each case takes an entry at its own printed conditions, draws what the enantiopure compound would read there (the
//! entry's value, scattered as sources scatter), applies one slip with a variant of its own, adds the noise of an ordinary
//! instrument, and runs the check as a user would. In a quarter of the cases the cell is not told, in half of them the
//! blank is. The classifier beside it is Bayes' theorem with the distributions the cases are drawn from: how often each
//! slip and variant is drawn, the true value, the noise, the cell where it is not told. It knows no draw. That it is that
//! classifier shows in the share of right answers its own probabilities foretell, which must be the share it gets.
//!
//! A cause counts as found when the class holds its code with the corrected value of the variant drawn; partial purity and
//! dilution share a class, since both make any smaller value. Both are judged by that one rule.

use biot::compare::{Aspect, Case as EffectCase, CauseCode, CauseTable, Conditions, EffectTable};
use biot::compound::leaves_open;
use biot::library::{Access, Chirality, Compound, EntryKind, Hand, Identity, Library, ReviewState};
use biot::measurement::{self, Defaults};
use biot::quantity::{Angle, Concentration, Length, SpecificRotation, SpectralLine, Temperature};
use biot::statement::{RotationKind, Sign, Stage};
use biot::tasks::check::{CheckRequest, CheckResult, CheckSettings, check};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;
use statrs::distribution::{ContinuousCDF, Normal};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::LazyLock;

/// Scatter between sources: scale of the half-normal distribution of its standard deviation, relative, as the starter
/// library has it. The true value is scattered around the entry by it; the entry's own scatter is not drawn beside it.
static BETWEEN: LazyLock<f64> = LazyLock::new(|| {
    // At a size at which no floor counts.
    EffectTable::built_in().sd(Aspect::Source, EffectCase::Between, 1e6) / 1e6
});
/// Noise of a measurement: of the angle in degrees, and relative (weighing, flask, cell, purity).
const ANGLE_NOISE: f64 = 0.003;
const RELATIVE_NOISE: f64 = 0.0075;
/// Relative standard deviation of a salt's molar rotation against its base's.
const SALT_SCATTER: f64 = 0.15;
/// Blanks, standard deviation in degrees, and the share of cases in which the blank is told.
const BLANK: f64 = 0.03;
const BLANK_TOLD: f64 = 0.5;
/// Cells (mm) with how often each is used, and the share of cases in which it is told.
const CELLS: [(f64, f64); 4] = [(100.0, 0.5), (50.0, 1.0 / 6.0), (10.0, 1.0 / 6.0), (200.0, 1.0 / 6.0)];
const CELL_TOLD: f64 = 0.75;
/// Where a reference is suspect and not altogether wrong, the standard deviation of what it is off by, relative.
const SUSPECT: f64 = 0.3;

/// A real entry with what a slip could need.
pub struct Real {
    /// Its compound, value (deg mL g⁻¹ dm⁻¹) and conditions.
    pub compound: Compound,
    pub value: f64,
    pub conditions: Conditions,
    concentration: f64,
    /// Values of the same compound, or of its anomers, at the initial stage.
    initial: Vec<f64>,
    /// Values of other stereoisomers.
    isomers: Vec<f64>,
}

/// How a slip makes the reported value out of the true one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Slip {
    /// Times a factor, with a relative standard deviation.
    Factor(f64, f64),
    /// Plus a shift in the reading, exact.
    Shift(f64),
    /// Plus a shift that is not known, with a standard deviation.
    Blur(f64),
    /// Times a number drawn evenly between two ends.
    Between(f64, f64),
    /// Part of the way, drawn evenly from 0.1 to 1, to another value.
    Towards(f64),
    /// Another compound's value.
    Instead(f64),
    /// The reference is off, with a relative standard deviation.
    Off(f64),
    /// The reference belongs to another compound: the true value is that of any entry.
    Anywhere,
}

/// A case: what was done and what was reported.
pub struct Case {
    pub code: CauseCode,
    pub slip: Slip,
    pub reported: f64,
    /// The cell where it is told, mm.
    pub told_cell: Option<f64>,
    /// The blank that is told, degrees.
    pub told_blank: Option<f64>,
}

/// One way a case can have come about, with its probability before the value is seen.
#[derive(Clone, Copy)]
struct Way {
    weight: f64,
    code: CauseCode,
    slip: Slip,
    cell: f64,
}

/// Counts of one simulation.
#[derive(Clone, Default)]
pub struct Score {
    /// Cases.
    pub n: usize,
    /// The right class first: program, best classifier, one of them alone; and what the best classifier foretold of itself.
    pub first: usize,
    pub best_first: usize,
    pub best_alone: usize,
    pub program_alone: usize,
    pub foretold: f64,
    /// The right class among the first three.
    pub among_three: usize,
    pub best_among_three: usize,
    /// Cases in which the best classifier is at least 90 % sure; in how many of them the program has the right class first
    /// and among the first three, and the classifier itself the right one.
    pub sure: usize,
    pub sure_first: usize,
    pub sure_among_three: usize,
    pub best_sure_first: usize,
    pub best_sure_among_three: usize,
    /// Consistent values, and how many raised a cause above `none`.
    pub consistent: usize,
    pub raised: usize,
    /// What was done against the code first named.
    pub confusion: BTreeMap<(CauseCode, CauseCode), usize>,
    /// By what was done: cases, program right, best right.
    pub by_code: BTreeMap<CauseCode, (usize, usize, usize)>,
}

impl Score {
    /// Takes up the counts of another simulation.
    pub fn add(&mut self, other: &Self) {
        self.foretold += other.foretold;
        for (mine, theirs) in [
            (&mut self.n, other.n),
            (&mut self.first, other.first),
            (&mut self.best_first, other.best_first),
            (&mut self.best_alone, other.best_alone),
            (&mut self.program_alone, other.program_alone),
            (&mut self.among_three, other.among_three),
            (&mut self.best_among_three, other.best_among_three),
            (&mut self.sure, other.sure),
            (&mut self.sure_first, other.sure_first),
            (&mut self.sure_among_three, other.sure_among_three),
            (&mut self.best_sure_first, other.best_sure_first),
            (&mut self.best_sure_among_three, other.best_sure_among_three),
            (&mut self.consistent, other.consistent),
            (&mut self.raised, other.raised),
        ] {
            *mine += theirs;
        }
        for (key, n) in &other.confusion {
            *self.confusion.entry(*key).or_default() += n;
        }
        for (code, (n, right, best)) in &other.by_code {
            let line = self.by_code.entry(*code).or_default();
            *line = (line.0 + n, line.1 + right, line.2 + best);
        }
    }

    /// By how much the best classifier is ahead with the right class first, and the standard error of that, shares. Both see
    /// the same cases, so only those count in which one of them is right.
    pub fn behind(&self) -> (f64, f64) {
        let (n, ahead, back) = (self.n as f64, self.best_alone as f64, self.program_alone as f64);
        let mean = (ahead - back) / n;
        (mean, ((ahead + back) / n - mean * mean).max(0.0).sqrt() / n.sqrt())
    }
}

/// The entries of the starter library that slips can be applied to: specific rotations of a chiral compound (of a sugar
/// whose anomers are left open too) with printed
/// sign and solvent, of at least 5, that the other entries do not contradict.
pub fn real_entries(library: &Library) -> Vec<Real> {
    let mut compounds = Vec::new();
    library
        .for_each_compound(|compound| {
            if matches!(compound.chirality, Chirality::Chiral | Chirality::Open) {
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
        let family = library.stereoisomers(&compound).unwrap();
        let of_anomers: Vec<_> = family
            .iter()
            .filter(|other| {
                let texts = compound.inchi.as_deref().zip(other.inchi.as_deref());
                texts.is_some_and(|(own, other)| leaves_open(own, other))
            })
            .flat_map(|anomer| library.entries(anomer.id).unwrap())
            .collect();
        let initial: Vec<f64> = entries
            .iter()
            .chain(&of_anomers)
            .filter(|e| usable(e) && e.statement.stage == Some(Stage::Initial))
            .filter_map(|e| e.statement.central_value())
            .collect();
        let isomers: Vec<f64> = family
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
    found.retain(|real| is_supported(library, real));
    found
}

/// Whether the references as a whole bear an entry out: what it says lies where they lead to expect another source. Where the
/// library contradicts itself nobody can know which value is right, the best classifier least of all.
fn is_supported(library: &Library, real: &Real) -> bool {
    let case = Case {
        code: CauseCode::None,
        slip: Slip::Factor(1.0, 0.0),
        reported: real.value,
        told_cell: None,
        told_blank: None,
    };
    let pooled = run(library, real, &case, &CheckSettings::default()).pooled;
    pooled.is_some_and(|pooled| (pooled.prediction95[0]..=pooled.prediction95[1]).contains(&real.value))
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

/// All that can be done to an entry read in a cell (mm), with the probability of each variant within its code; `blank` is
/// the blank where it is told, degrees.
fn slips(real: &Real, cell: f64, blank: Option<f64>) -> BTreeMap<CauseCode, Vec<(f64, Slip)>> {
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
    put(
        CauseCode::PartialPurity,
        vec![(0.9, Slip::Between(0.05, 0.95)), (0.1, Slip::Between(0.0, 0.0))],
    );
    put(CauseCode::Diluted, even(vec![Slip::Between(0.6, 0.97)]));
    put(
        CauseCode::OppositeHand,
        vec![(0.7, exact(-1.0)), (0.3, Slip::Between(-0.95, -0.05))],
    );
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
        put(CauseCode::HalfTurn, even(vec![Slip::Shift(turn * per_degree)]));
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
        even(vec![match blank {
            Some(blank) => Slip::Shift(2.0 * blank * per_degree),
            None => Slip::Blur(2.0 * BLANK * per_degree),
        }]),
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
    put(
        CauseCode::ReferenceSuspect,
        even(vec![Slip::Off(SUSPECT), Slip::Anywhere]),
    );
    all
}

/// Every way a case of an entry can have come about, where the cell is one of `cells` (mm, with its probability).
fn ways(real: &Real, cells: &[(f64, f64)], blank: Option<f64>, prior: &dyn Fn(CauseCode) -> f64) -> Vec<Way> {
    let in_cell = |&(cell, chance): &(f64, f64)| -> Vec<Way> {
        let possible = slips(real, cell, blank);
        let total: f64 = possible.keys().map(|code| prior(*code)).sum();
        let way = |code: CauseCode, share: f64, slip: Slip| Way {
            weight: chance * prior(code) / total * share,
            code,
            slip,
            cell,
        };
        possible
            .iter()
            .flat_map(|(code, variants)| variants.iter().map(|(share, slip)| way(*code, *share, *slip)))
            .collect()
    };
    cells.iter().flat_map(in_cell).collect()
}

/// One simulation: `n` cases from the seed. `prior` gives the weight of each code among those that can be done to an entry.
pub fn simulate(
    library: &Library,
    settings: &CheckSettings,
    real: &[Real],
    n: usize,
    seed: u64,
    prior: &dyn Fn(CauseCode) -> f64,
    mut on_miss: impl FnMut(&Real, &Case, &CheckResult, f64),
) -> Score {
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut score = Score::default();
    for _ in 0..n {
        let entry = &real[rng.random_range(0..real.len())];
        let cell = picked(&CELLS, |cell| cell.1, &mut rng).0;
        let told_cell = (rng.random_range(0.0..1.0) < CELL_TOLD).then_some(cell);
        let is_blank_told = rng.random_range(0.0..1.0) < BLANK_TOLD;
        let blank: f64 = StandardNormal.sample(&mut rng);
        let told_blank = is_blank_told.then_some(BLANK * blank);
        let way = *picked(
            &ways(entry, &[(cell, 1.0)], told_blank, prior),
            |way| way.weight,
            &mut rng,
        );
        let case = Case {
            code: way.code,
            slip: way.slip,
            reported: reported(entry, &way, real, &mut rng),
            told_cell,
            told_blank,
        };
        let result = run(library, entry, &case, settings);
        let possible = match told_cell {
            Some(cell) => ways(entry, &[(cell, 1.0)], told_blank, prior),
            None => ways(entry, &CELLS, told_blank, prior),
        };
        count(&mut score, entry, real, &case, &result, &possible, &mut on_miss);
    }
    score
}

/// One of several, as often as its weight says.
fn picked<'a, T>(of: &'a [T], weight: impl Fn(&T) -> f64, rng: &mut Pcg64) -> &'a T {
    let total: f64 = of.iter().map(&weight).sum();
    let mut at = rng.random_range(0.0..total);
    of.iter()
        .find(|one| {
            at -= weight(one);
            at < 0.0
        })
        .unwrap_or(&of[0])
}

/// What the noise of the angle makes of the reported value, standard deviation. A slip in the arithmetic after the reading
/// multiplies it; one before, as a wrong cell or salt, does not.
fn angle_noise(way: &Way, concentration: f64) -> f64 {
    let noise = ANGLE_NOISE * 100.0 / (way.cell / 100.0 * concentration);
    match (way.code, way.slip) {
        (
            CauseCode::ConcentrationUnit
            | CauseCode::AngleAsSpecific
            | CauseCode::MolarAsSpecific
            | CauseCode::SugarDegrees,
            Slip::Factor(factor, _),
        ) => noise * factor,
        _ => noise,
    }
}

/// Draws the true value, the slip's own chance and the noise.
fn reported(entry: &Real, way: &Way, real: &[Real], rng: &mut Pcg64) -> f64 {
    let mut normal = || -> f64 { StandardNormal.sample(&mut *rng) };
    let tau = *BETWEEN * normal().abs();
    let scatter = 1.0 + tau * normal();
    let (noise, blur, chance) = (normal(), normal(), normal());
    let even: f64 = rng.random_range(0.0..1.0);
    let any = &real[rng.random_range(0..real.len())];
    let truth = entry.value * scatter;
    let wanted = match way.slip {
        Slip::Factor(factor, sd) => truth * factor * (1.0 + sd * chance),
        Slip::Shift(_) => truth,
        Slip::Blur(sd) => truth + sd * chance,
        Slip::Between(low, high) => truth * (low + (high - low) * even),
        Slip::Towards(other) => truth + (0.1 + 0.9 * even) * (other - truth),
        Slip::Instead(other) => other * scatter,
        Slip::Off(sd) => truth * (1.0 + sd * chance),
        Slip::Anywhere => any.value * scatter,
    };
    // A turn is exact: it stands in the reading, not in the weighing.
    let turn = if let Slip::Shift(shift) = way.slip { shift } else { 0.0 };
    let reported = wanted * (1.0 + RELATIVE_NOISE * noise) + angle_noise(way, entry.concentration) * blur + turn;
    // Three decimals, as typed.
    (reported * 1000.0).round() / 1000.0
}

fn run(library: &Library, entry: &Real, case: &Case, settings: &CheckSettings) -> CheckResult {
    let cell = case.told_cell.map(Length::from_millimetres);
    let value = SpecificRotation::from_conventional(case.reported);
    let concentration = entry.conditions.concentration;
    let request = CheckRequest {
        compound: entry.compound.id,
        mirror_image: false,
        measured: measurement::of_value(value, 0.0005, concentration, cell, &Defaults::built_in()),
        conditions: entry.conditions.clone(),
        cell,
        blank: case.told_blank.map(Angle::from_degrees),
        form: None,
        excess: None,
    };
    check(library, &request, settings).unwrap()
}

/// The standard half-normal distribution at the middles of equal steps of probability.
static QUANTILES: LazyLock<[f64; 24]> = LazyLock::new(|| {
    let normal = Normal::standard();
    std::array::from_fn(|i| normal.inverse_cdf(0.5 + 0.5 * (i as f64 + 0.5) / 24.0))
});

/// Density of the reported value under a slip, with the true value and the noise as they are drawn.
fn density(entry: &Real, real: &[Real], way: &Way, x: f64) -> f64 {
    let angle = angle_noise(way, entry.concentration);
    let normal = |deviation: f64, variance: f64| {
        (-0.5 * deviation * deviation / variance).exp() / (2.0 * std::f64::consts::PI * variance).sqrt()
    };
    let v = entry.value;
    let turn = if let Slip::Shift(shift) = way.slip { shift } else { 0.0 };
    let noise = RELATIVE_NOISE * (x - turn);
    let own = angle * angle + noise * noise;
    let steps = |n: usize, low: f64, high: f64, each: &dyn Fn(f64) -> f64| -> f64 {
        let width = (high - low) / n as f64;
        (0..n).map(|i| each(low + (i as f64 + 0.5) * width)).sum::<f64>() / n as f64
    };
    let of_tau = |relative: f64| {
        let tau = relative * v;
        match way.slip {
            Slip::Factor(f, sd) => normal(x - f * v, f * f * (tau * tau + sd * sd * v * v) + own),
            Slip::Shift(s) => normal(x - v - s, tau * tau + own),
            Slip::Blur(sd) => normal(x - v, tau * tau + sd * sd + own),
            Slip::Between(low, high) => steps(400, low, high, &|p| normal(x - p * v, p * p * tau * tau + own)),
            Slip::Towards(other) => steps(100, 0.1, 1.0, &|q| {
                normal(x - v - q * (other - v), (1.0 - q).powi(2) * tau * tau + own)
            }),
            Slip::Instead(other) => normal(x - other, (relative * other).powi(2) + own),
            Slip::Off(sd) => normal(x - v, tau * tau + sd * sd * v * v + own),
            Slip::Anywhere => {
                let each = |any: &Real| normal(x - any.value, (relative * any.value).powi(2) + own);
                real.iter().map(each).sum::<f64>() / real.len() as f64
            }
        }
    };
    QUANTILES.iter().map(|q| of_tau(*BETWEEN * q)).sum::<f64>() / QUANTILES.len() as f64
}

/// What the value would be without a slip.
#[derive(Clone, Copy)]
struct Corrected {
    value: f64,
    /// Standard uncertainty that comes from the measurement, and from the slip's own factor.
    uncertainty: f64,
    spread: f64,
}

/// What the value would be without the slip, where the uncertainty of the value is u; none for slips that take any value in
/// a range.
fn corrected(slip: Slip, x: f64, u: f64) -> Option<Corrected> {
    match slip {
        Slip::Factor(factor, sd) => Some(Corrected {
            value: x / factor,
            uncertainty: u / factor.abs(),
            spread: sd * (x / factor).abs(),
        }),
        Slip::Shift(shift) => Some(Corrected {
            value: x - shift,
            uncertainty: u,
            spread: 0.0,
        }),
        Slip::Blur(_) | Slip::Between(..) | Slip::Towards(_) | Slip::Instead(_) | Slip::Off(_) | Slip::Anywhere => None,
    }
}

/// Whether two slips fall into one class: how well a slip's own factor is known counts between variants of one cause only.
fn one_class(a: &Way, b: &Way, x: f64, u: f64) -> bool {
    let is_between = |way: &Way| matches!(way.slip, Slip::Between(..));
    match (corrected(a.slip, x, u), corrected(b.slip, x, u)) {
        _ if a.code == CauseCode::OppositeHand || b.code == CauseCode::OppositeHand => a.code == b.code,
        (Some(p), Some(q)) => {
            let spread = if a.code == b.code {
                p.spread.hypot(q.spread)
            } else {
                0.0
            };
            (p.value - q.value).abs() <= 1.96 * p.uncertainty.hypot(q.uncertainty).hypot(spread)
        }
        (None, None) => a.code == b.code || (is_between(a) && is_between(b)),
        _ => false,
    }
}

/// Whether a cause of this code and corrected value explains the case.
fn explains(case: &Case, u: f64, code: CauseCode, value: f64) -> bool {
    let is_reduced = |code| matches!(code, CauseCode::PartialPurity | CauseCode::Diluted);
    if code != case.code {
        return is_reduced(code) && is_reduced(case.code);
    }
    match corrected(case.slip, case.reported, u) {
        Some(right) if code != CauseCode::OppositeHand => {
            (value - right.value).abs() <= 0.03 * right.value.abs() + 3.0 * u + 1.96 * 2f64.sqrt() * right.spread
        }
        _ => true,
    }
}

/// The ranking of the best classifier: the place of the right class, and the probability of the first.
fn best(possible: &[Way], entry: &Real, real: &[Real], case: &Case, u: f64) -> (usize, f64) {
    let x = case.reported;
    let mut posterior: Vec<(f64, &Way)> = possible
        .iter()
        .map(|way| (way.weight * density(entry, real, way, x), way))
        .collect();
    posterior.sort_by(|a, b| b.0.total_cmp(&a.0));
    let total: f64 = posterior.iter().map(|(weight, _)| weight).sum();
    // Classes are led by their most probable member, as the program makes them.
    let mut classes: Vec<(f64, Vec<&Way>)> = Vec::new();
    for (weight, way) in posterior {
        match classes.iter_mut().find(|(_, ways)| one_class(ways[0], way, x, u)) {
            Some((sum, ways)) => {
                *sum += weight;
                ways.push(way);
            }
            None => classes.push((weight, vec![way])),
        }
    }
    classes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let is_right = |way: &&Way| explains(case, u, way.code, corrected(way.slip, x, u).map_or(x, |it| it.value));
    let rank = classes.iter().position(|(_, ways)| ways.iter().any(is_right));
    (rank.unwrap_or(usize::MAX), classes[0].0 / total)
}

fn count(
    score: &mut Score,
    entry: &Real,
    real: &[Real],
    case: &Case,
    result: &CheckResult,
    possible: &[Way],
    on_miss: &mut impl FnMut(&Real, &Case, &CheckResult, f64),
) {
    let u = result.measured.standard_uncertainty;
    let (best_rank, sure) = best(possible, entry, real, case, u);
    let rank = result
        .causes
        .iter()
        .filter(|cause| explains(case, u, cause.code, cause.corrected_value))
        .map(|cause| cause.class - 1)
        .min()
        .unwrap_or(usize::MAX);
    score.n += 1;
    score.first += usize::from(rank == 0);
    score.best_first += usize::from(best_rank == 0);
    score.best_alone += usize::from(best_rank == 0 && rank != 0);
    score.program_alone += usize::from(best_rank != 0 && rank == 0);
    score.foretold += sure;
    score.among_three += usize::from(rank < 3);
    score.best_among_three += usize::from(best_rank < 3);
    if sure >= 0.9 {
        score.sure += 1;
        score.sure_first += usize::from(rank == 0);
        score.sure_among_three += usize::from(rank < 3);
        score.best_sure_first += usize::from(best_rank == 0);
        score.best_sure_among_three += usize::from(best_rank < 3);
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
    if (rank != 0 && sure >= 0.9 && best_rank == 0) || (rank >= 3 && best_rank < 3) {
        on_miss(entry, case, result, sure);
    }
}

/// A share with its standard error, per cent.
fn share(part: usize, of: usize) -> String {
    let (n, p) = (of.max(1) as f64, part as f64 / of.max(1) as f64);
    format!("{:.1} ± {:.1} %", 100.0 * p, 100.0 * (p * (1.0 - p) / n).sqrt())
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
    let (behind, error) = score.behind();
    let _ = writeln!(
        text,
        "first: {} of {} (best classifier {}, foretold {:.1} %; ahead by {:.1} ± {:.1} points); among three: {} (best {})",
        share(score.first, score.n),
        score.n,
        share(score.best_first, score.n),
        100.0 * score.foretold / score.n.max(1) as f64,
        100.0 * behind,
        100.0 * error,
        share(score.among_three, score.n),
        share(score.best_among_three, score.n),
    );
    let _ = writeln!(
        text,
        "where the best classifier is at least 90 % sure ({} cases): first {} (best {}), among three {} (best {})",
        score.sure,
        share(score.sure_first, score.sure),
        share(score.best_sure_first, score.sure),
        share(score.sure_among_three, score.sure),
        share(score.best_sure_among_three, score.sure),
    );
    let _ = writeln!(
        text,
        "consistent values that raise a cause above none: {} of {} ({})",
        score.raised,
        score.consistent,
        share(score.raised, score.consistent)
    );
    text
}
