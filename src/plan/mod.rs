//! What to measure, at which conditions, with how much sample. Pure.
//!
//! [`plan`] tries the conditions of the references themselves: at each it pools all references as a check would, and
//! works out what a measurement there with the bench at hand would say of the optical purity. The predicted uncertainty
//! is that of the check itself, computed with the same functions on the value to be expected.

mod checklist;

pub use checklist::{ChecklistItem, checklist};

use crate::compare::{Conditions, EffectTable, Measured, Options, Pooling, Reference, Size, Thresholds, judge, pool};
use crate::measurement::{Amount, Defaults, from_angle};
use crate::quantity::{
    Angle, Concentration, Density, Fraction, Length, Mass, SpecificRotation, SpectralLine, Temperature, Volume,
};
use crate::solvent::Solvent;
use crate::statement::observed_angle;
use serde::Serialize;

/// What the bench offers and what is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct Bench {
    /// The cells at hand.
    pub cells: Vec<Length>,
    /// The sample there is.
    pub mass: Option<Mass>,
    /// The volume a solution is made up to.
    pub volume: Option<Volume>,
    /// Density of the neat liquid; without it neat conditions are not planned.
    pub density: Option<Density>,
    /// Standard uncertainty of an angle; none takes the default.
    pub angle_uncertainty: Option<Angle>,
    /// The standard uncertainty of the optical purity that is wanted.
    pub wanted: Fraction,
    /// The optical purity the sample is expected to have.
    pub expected_purity: Fraction,
}

/// What is fixed beforehand; what is none is proposed.
pub type Fixed = Conditions;

/// One cell at proposed conditions.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CellPlan {
    /// Cell length, mm.
    pub cell_mm: f64,
    /// The angle to be expected, degrees.
    pub expected_angle: f64,
    /// 95 % interval of it, from what is known of the enantiopure compound.
    pub expected_angle95: [f64; 2],
    /// Standard uncertainty of the specific rotation that would be measured.
    pub value_uncertainty: f64,
    /// Standard uncertainty of the optical purity that a check would state, as a fraction.
    pub purity_uncertainty: f64,
    /// Share of the measurement in that variance; the rest is the references'.
    pub share_of_measurement: f64,
    /// Concentration for the wanted uncertainty, g per 100 mL; null where no concentration reaches it.
    pub concentration_needed: Option<f64>,
    /// Mass for it at the volume given, g.
    pub mass_needed: Option<f64>,
    /// Whether the angle passes ±90°, so that the instrument shows another.
    pub beyond_90: bool,
}

/// Conditions that are proposed, with what a measurement there would tell.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// The conditions.
    pub conditions: Conditions,
    /// What was chosen because no reference says it.
    pub chosen: Vec<String>,
    /// References at the same or nearly the same conditions.
    pub references_close: usize,
    /// The pooling at these conditions.
    pub pooling: Pooling,
    /// The cells, in the order given.
    pub cells: Vec<CellPlan>,
}

impl Proposal {
    /// The smallest uncertainty of the ratio among its cells whose angle stays within ±90°.
    fn best(&self) -> f64 {
        let of = |cells: &mut dyn Iterator<Item = &CellPlan>| {
            cells.map(|cell| cell.purity_uncertainty).fold(f64::INFINITY, f64::min)
        };
        let within = of(&mut self.cells.iter().filter(|cell| !cell.beyond_90));
        if within.is_finite() {
            within
        } else {
            of(&mut self.cells.iter())
        }
    }
}

/// The models and tables a plan is made with; those of a check.
#[derive(Clone, Copy, Debug)]
pub struct Model<'a> {
    /// Condition effects.
    pub effects: &'a EffectTable,
    /// Settings of the pooling.
    pub options: &'a Options,
    /// Thresholds of the verdict.
    pub thresholds: &'a Thresholds,
    /// Uncertainties where none is stated.
    pub defaults: &'a Defaults,
}

/// Most sets of conditions that are tried.
const MOST_CANDIDATES: usize = 40;

/// Temperature proposed where no reference prints one, °C (common practice).
const USUAL_TEMPERATURE: f64 = 20.0;
/// Concentration proposed where no reference prints one, g per 100 mL (common practice).
const USUAL_CONCENTRATION: f64 = 1.0;

/// Proposes conditions, the best first; empty when no reference can be used.
pub fn plan(references: &[Reference], fixed: &Fixed, bench: &Bench, model: &Model<'_>) -> Vec<Proposal> {
    let mut proposals: Vec<Proposal> = candidates(references, fixed)
        .into_iter()
        .filter_map(|(conditions, chosen)| propose(references, conditions, chosen, bench, model))
        .collect();
    // Uncertainties within a tenth of each other are alike: then more close references decide, then the milder solvent.
    let step = |proposal: &Proposal| (proposal.best().ln() / 1.1f64.ln()).round();
    let cautions = |proposal: &Proposal| {
        let solvent = proposal.conditions.solvent.as_ref();
        solvent.map_or(0, |solvent| solvent.cautions().len())
    };
    proposals.sort_by(|a, b| {
        step(a)
            .total_cmp(&step(b))
            .then(b.references_close.cmp(&a.references_close))
            .then(cautions(a).cmp(&cautions(b)))
            .then(a.best().total_cmp(&b.best()))
    });
    proposals
}

/// The conditions of the usable references, what is fixed put in and what is missing filled: each set once.
fn candidates(references: &[Reference], fixed: &Fixed) -> Vec<(Conditions, Vec<String>)> {
    let usable: Vec<&Conditions> = references
        .iter()
        .filter(|reference| reference.excluded.is_none())
        .map(|reference| &reference.conditions)
        .collect();
    let usual_temperature = commonest(usable.iter().filter_map(|c| c.temperature), Temperature::celsius);
    // The sodium line is what a polarimeter without any other shows (common practice).
    let usual_line = usable
        .iter()
        .find_map(|c| c.line.clone())
        .unwrap_or(SpectralLine::SodiumD);
    let mut found: Vec<(Conditions, Vec<String>)> = Vec::new();
    for conditions in &usable {
        let mut chosen = Vec::new();
        let mut made = (*conditions).clone();
        made.solvent = fixed.solvent.clone().or(made.solvent);
        made.line = fixed.line.clone().or(made.line);
        made.stage = fixed.stage.or(made.stage);
        made.basis = fixed.basis.clone().or(made.basis);
        made.temperature = fixed.temperature.or(made.temperature).or_else(|| {
            let t = usual_temperature.unwrap_or(Temperature::from_celsius(USUAL_TEMPERATURE));
            chosen.push(format!("{} °C", t.celsius()));
            Some(t)
        });
        made.line = made.line.or_else(|| {
            let line = usual_line.clone();
            chosen.push(line.to_string());
            Some(line)
        });
        // A solvent that a reference does not print cannot be made up.
        if made.solvent.is_none() {
            continue;
        }
        if made.solvent == Some(Solvent::Neat) {
            made.concentration = None;
        } else {
            made.concentration = fixed.concentration.or(made.concentration).or_else(|| {
                let same = usable.iter().filter(|c| c.solvent == made.solvent);
                let c = commonest(
                    same.filter_map(|c| c.concentration),
                    Concentration::grams_per_100_millilitres,
                )
                .unwrap_or(Concentration::from_grams_per_100_millilitres(USUAL_CONCENTRATION));
                chosen.push(format!("c {}", c.grams_per_100_millilitres()));
                Some(c)
            });
        }
        if found.len() < MOST_CANDIDATES && !found.iter().any(|(known, _)| *known == made) {
            found.push((made, chosen));
        }
    }
    found
}

/// The value that occurs most often, the first of equals.
fn commonest<T: Copy>(values: impl Iterator<Item = T>, number: impl Fn(T) -> f64) -> Option<T> {
    let values: Vec<T> = values.collect();
    let count = |value: T| {
        values
            .iter()
            .filter(|other| (number(**other) - number(value)).abs() < 1e-9)
            .count()
    };
    let most = values.iter().map(|value| count(*value)).max()?;
    values.iter().copied().find(|value| count(*value) == most)
}

fn propose(
    references: &[Reference],
    conditions: Conditions,
    chosen: Vec<String>,
    bench: &Bench,
    model: &Model<'_>,
) -> Option<Proposal> {
    let pooling = pool(&conditions, references, model.effects, model.options);
    // Of a neat liquid the density says how much the light meets.
    let amount = match conditions.concentration {
        Some(c) => weighed(c, bench),
        None => Amount::Neat(bench.density?),
    };
    let m = pooling.pooled.as_ref()?.value;
    if m == 0.0 {
        return None;
    }
    let references_close = pooling
        .references
        .iter()
        .filter(|r| r.used && r.differences.iter().all(|d| matches!(d.size, Size::None | Size::Small)))
        .count();
    let cells = bench
        .cells
        .iter()
        .map(|&cell| cell_plan(cell, amount, &pooling, bench, model))
        .collect();
    Some(Proposal {
        conditions,
        chosen,
        references_close,
        pooling,
        cells,
    })
}

/// How much substance a concentration is: weighed into the volume of the bench, or stated.
fn weighed(c: Concentration, bench: &Bench) -> Amount {
    match bench.volume {
        Some(volume) => Amount::MassInVolume {
            mass: Mass::from_grams(c.grams_per_100_millilitres() * volume.millilitres() / 100.0),
            volume,
        },
        None => Amount::Concentration(c),
    }
}

fn cell_plan(cell: Length, amount: Amount, pooling: &Pooling, bench: &Bench, model: &Model<'_>) -> CellPlan {
    let c = amount.concentration();
    let pooled = pooling.pooled.as_ref();
    let m = pooled.map_or(0.0, |pooled| pooled.value);
    let p = bench.expected_purity.ratio();
    let expected = SpecificRotation::from_conventional(p * m);
    let angle = observed_angle(expected, cell, c);
    let reduced = from_angle(angle, bench.angle_uncertainty, cell, amount, model.defaults);
    let judgement = judge(
        pooling,
        &Measured {
            value: reduced.value,
            uncertainty: reduced.uncertainty,
            degrees_of_freedom: reduced.degrees_of_freedom,
            excess: None,
        },
        model.thresholds,
    );
    let total = judgement
        .optical_purity
        .map_or(f64::INFINITY, |p| p.standard_uncertainty);
    let of_measurement = reduced.uncertainty.conventional() / m.abs().max(f64::MIN_POSITIVE);
    let of_references2 = (total * total - of_measurement * of_measurement).max(0.0);
    let needed = match amount {
        Amount::Neat(_) => None,
        _ => concentration_needed(cell, expected, of_references2, bench, model),
    };
    let angle_of = |value: f64| observed_angle(SpecificRotation::from_conventional(p * value), cell, c).degrees();
    let mut expected_angle95 = pooled.map_or([0.0; 2], |pooled| pooled.interval95.map(angle_of));
    expected_angle95.sort_by(f64::total_cmp);
    CellPlan {
        cell_mm: cell.millimetres(),
        expected_angle: angle.degrees(),
        expected_angle95,
        value_uncertainty: reduced.uncertainty.conventional(),
        purity_uncertainty: total,
        share_of_measurement: (of_measurement / total).powi(2).min(1.0),
        concentration_needed: needed.map(Concentration::grams_per_100_millilitres),
        mass_needed: needed
            .zip(bench.volume)
            .map(|(c, volume)| c.grams_per_100_millilitres() * volume.millilitres() / 100.0),
        beyond_90: expected_angle95.iter().any(|angle| angle.abs() > 90.0),
    }
}

/// Highest concentration that is looked at, g per 100 mL.
const MOST_CONCENTRATED: f64 = 50.0;
/// Lowest concentration that is looked at, g per 100 mL.
const LEAST_CONCENTRATED: f64 = 1e-3;

/// The least concentration at which the wanted uncertainty is reached, by bisection. None where the references, or the
/// relative uncertainties of cell, volume and purity, leave more than that at any concentration.
///
/// `u(p)² = of_references² + (u/M)²` (JCGM 100:2008, 5.1.2): the references' part, as a variance, is that of the planned
/// conditions; the measurement's part is worked out again at each concentration.
fn concentration_needed(
    cell: Length,
    expected: SpecificRotation,
    of_references2: f64,
    bench: &Bench,
    model: &Model<'_>,
) -> Option<Concentration> {
    let m = (expected.conventional() / bench.expected_purity.ratio()).abs();
    let reaches = |c: f64| {
        let c = Concentration::from_grams_per_100_millilitres(c);
        let angle = observed_angle(expected, cell, c);
        let reduced = from_angle(angle, bench.angle_uncertainty, cell, weighed(c, bench), model.defaults);
        let of_measurement = reduced.uncertainty.conventional() / m;
        of_references2 + of_measurement * of_measurement <= bench.wanted.ratio().powi(2)
    };
    if !reaches(MOST_CONCENTRATED) {
        return None;
    }
    let (mut low, mut high) = (LEAST_CONCENTRATED.ln(), MOST_CONCENTRATED.ln());
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if reaches(middle.exp()) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Some(Concentration::from_grams_per_100_millilitres(high.exp()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::{FormLink, HandKnown, SampleExcess};
    use crate::quantity::parse_line;

    fn reference(value: f64, solvent: &str, c: f64, source: i64) -> Reference {
        Reference {
            value: SpecificRotation::from_conventional(value),
            own_uncertainty: SpecificRotation::from_conventional(0.3),
            mirror: false,
            source,
            excess: SampleExcess::NotStated,
            hand: HandKnown::Independent,
            conditions: Conditions {
                temperature: Some(Temperature::from_celsius(20.0)),
                line: Some(parse_line("D").unwrap()),
                solvent: Some(Solvent::parse(solvent).unwrap()),
                concentration: Some(Concentration::from_grams_per_100_millilitres(c)),
                ..Conditions::default()
            },
            form: FormLink::Same,
            draft: false,
            quoted: false,
            excluded: None,
        }
    }

    fn bench() -> Bench {
        Bench {
            cells: vec![Length::from_millimetres(100.0), Length::from_millimetres(10.0)],
            mass: None,
            volume: Some(Volume::from_millilitres(10.0)),
            density: None,
            angle_uncertainty: Some(Angle::from_degrees(0.005)),
            wanted: Fraction::from_percent(6.0),
            expected_purity: Fraction::from_ratio(0.8),
        }
    }

    fn made(references: &[Reference], bench: &Bench) -> Vec<Proposal> {
        let (effects, options) = (EffectTable::built_in(), Options::default());
        let (thresholds, defaults) = (Thresholds::built_in(), Defaults::built_in());
        let model = Model {
            effects: &effects,
            options: &options,
            thresholds: &thresholds,
            defaults: &defaults,
        };
        plan(references, &Conditions::default(), bench, &model)
    }

    fn three() -> Vec<Reference> {
        vec![
            reference(-50.0, "EtOH", 5.0, 1),
            reference(-49.4, "EtOH", 5.0, 2),
            reference(-50.3, "EtOH", 4.0, 3),
            reference(-43.0, "CHCl3", 1.0, 4),
        ]
    }

    /// Ten seeded measurements at the planned conditions: angle with the planned uncertainty, judged by the functions of
    /// a check. Their stated uncertainties of p scatter around the predicted one, and the one at the expected angle is it.
    #[test]
    fn the_predicted_uncertainty_is_what_a_check_then_states() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, StandardNormal};
        let references = three();
        let bench = bench();
        let best = &made(&references, &bench)[0];
        let cell = &best.cells[0];
        let mut random = rand_pcg::Pcg64::seed_from_u64(7);
        let mut stated = Vec::new();
        for k in 0..10 {
            let normal: f64 = StandardNormal.sample(&mut random);
            let noise = if k == 0 { 0.0 } else { 0.005 * normal };
            let reduced = from_angle(
                Angle::from_degrees(cell.expected_angle + noise),
                bench.angle_uncertainty,
                bench.cells[0],
                weighed(best.conditions.concentration.unwrap(), &bench),
                &Defaults::built_in(),
            );
            let pooling = pool(
                &best.conditions,
                &references,
                &EffectTable::built_in(),
                &Options::default(),
            );
            let judged = judge(
                &pooling,
                &Measured {
                    value: reduced.value,
                    uncertainty: reduced.uncertainty,
                    degrees_of_freedom: None,
                    excess: None,
                },
                &Thresholds::built_in(),
            );
            stated.push(judged.optical_purity.unwrap().standard_uncertainty);
        }
        assert!(
            (stated[0] - cell.purity_uncertainty).abs() < 1e-12,
            "{stated:?} {cell:?}"
        );
        let mean = stated.iter().sum::<f64>() / stated.len() as f64;
        assert!((mean / cell.purity_uncertainty - 1.0).abs() < 0.02, "{mean} {cell:?}");
    }

    #[test]
    fn the_best_conditions_are_those_of_most_references() {
        let proposals = made(&three(), &bench());
        assert_eq!(proposals[0].conditions.solvent, Some(Solvent::parse("EtOH").unwrap()));
        assert!(proposals[0].references_close >= 3);
        let far = proposals
            .iter()
            .find(|p| p.conditions.solvent == Some(Solvent::parse("CHCl3").unwrap()));
        assert!(far.unwrap().best() > proposals[0].best());
        assert!(made(&[], &bench()).is_empty());
    }

    /// By hand: α = −0.8 · 50 · 1 · 5/100 = −2; ten times less in 10 mm.
    #[test]
    fn angles_follow_the_definition_and_ninety_degrees_are_pointed_out() {
        let references = three();
        let best = &made(&references, &bench())[0];
        let m = best.pooling.pooled.as_ref().unwrap().value;
        let c = best.conditions.concentration.unwrap().grams_per_100_millilitres();
        assert!((best.cells[0].expected_angle - 0.8 * m * c / 100.0).abs() < 1e-9);
        assert!((best.cells[0].expected_angle / best.cells[1].expected_angle - 10.0).abs() < 1e-9);
        assert!(best.cells.iter().all(|cell| !cell.beyond_90));
        let strong: Vec<Reference> = three()
            .into_iter()
            .map(|mut reference| {
                reference.value = SpecificRotation::from_conventional(60.0 * reference.value.conventional());
                reference
            })
            .collect();
        let best = &made(&strong, &bench())[0];
        assert!(best.cells[0].beyond_90 && !best.cells[1].beyond_90, "{:?}", best.cells);
    }

    /// Planned again at the concentration said to be needed, the wanted uncertainty is just reached.
    #[test]
    fn the_concentration_needed_gives_the_uncertainty_wanted() {
        let references = three();
        let mut bench = bench();
        bench.cells = vec![Length::from_millimetres(10.0)];
        let first = made(&references, &bench).swap_remove(0);
        let needed = first.cells[0].concentration_needed.unwrap();
        let (effects, options) = (EffectTable::built_in(), Options::default());
        let (thresholds, defaults) = (Thresholds::built_in(), Defaults::built_in());
        let model = Model {
            effects: &effects,
            options: &options,
            thresholds: &thresholds,
            defaults: &defaults,
        };
        let at = |c: f64| {
            let amount = weighed(Concentration::from_grams_per_100_millilitres(c), &bench);
            cell_plan(bench.cells[0], amount, &first.pooling, &bench, &model).purity_uncertainty
        };
        assert!((at(needed) / 0.06 - 1.0).abs() < 0.03, "{needed} {}", at(needed));
        assert!(at(needed / 3.0) > 0.08);
        // What the references leave cannot be mended by more sample.
        bench.wanted = Fraction::from_percent(0.01);
        assert!(made(&references, &bench)[0].cells[0].concentration_needed.is_none());
    }
}
