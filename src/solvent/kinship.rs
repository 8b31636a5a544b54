//! Whether two rotations in different solvents may be compared, and how closely.

use super::{Amount, Buffer, Component, Mixture, Ratio, Solution, Solvent, Strength, Substance};

/// How alike two solvents are as conditions of a rotation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kinship {
    /// The same condition.
    Same,
    /// Alike enough that the rotation usually keeps its sign and most of its size.
    Kindred,
    /// Anything else: no statement.
    Other,
}

/// A fraction from which on the rest of a mixture is a minor addition.
const MAJOR_FRACTION: f64 = 0.9;
/// Strengths of one acid, base or salt within this factor are kindred.
const STRENGTH_FACTOR: f64 = 2.0;
/// Buffers within this difference of pH are kindred.
const PH_DIFFERENCE: f64 = 0.5;
/// Relative difference below which two amounts are the same number.
const SAME_AMOUNT: f64 = 1e-9;

/// How alike `a` and `b` are as conditions; symmetric.
///
/// The rules (all common practice; none of them is a measured effect):
///
/// - names of one substance are the same; grades of one substance (dry, stabilised, absolute) are kindred;
/// - pure solvents of one class are kindred (lower alcohols; chloroform, deuterochloroform and dichloromethane;
///   saturated hydrocarbons; H2O and D2O), others are not;
/// - neat and anything else, water and any acid, base, salt or buffer in it: no statement (ionisation);
/// - one acid, base or salt in one medium: kindred within a factor of two in strength; normality and mol/L are compared
///   through the equivalents of the acid or base; strengths in units that cannot be converted: no statement; where
///   neither strength is stated, the two are kindred, never the same;
/// - mixtures and percent alcohols of the same components: the same at the same ratio, kindred at another or an
///   unstated one; kindred with a pure component that makes up 90 % or more, unless the rest is an acid or base;
/// - buffers: the same when everything printed agrees and the pH is stated, kindred within 0.5 in pH;
/// - plain names: the same when they are spelled alike.
pub fn kinship(a: &Solvent, b: &Solvent) -> Kinship {
    use Solvent as S;
    match (a, b) {
        (S::Neat, S::Neat) => Kinship::Same,
        (S::Other(a), S::Other(b)) if a.as_str().eq_ignore_ascii_case(b.as_str()) => Kinship::Same,
        (S::Buffer(a), S::Buffer(b)) => buffers(*a, *b),
        (S::Pure(a), S::Pure(b)) => substances(*a, *b),
        (S::Solution(a), S::Solution(b)) if !is_blend(*a) || !is_blend(*b) => solutions(*a, *b),
        _ => match (Blend::of(a), Blend::of(b)) {
            (Some(a), Some(b)) => blends(&a, &b),
            _ => Kinship::Other,
        },
    }
}

fn substances(a: Substance, b: Substance) -> Kinship {
    let (a, b) = (a.preferred(), b.preferred());
    if a == b {
        Kinship::Same
    } else if a.class() == b.class() && a.is_liquid() == b.is_liquid() {
        Kinship::Kindred
    } else {
        Kinship::Other
    }
}

fn buffers(a: Buffer, b: Buffer) -> Kinship {
    let (Some(ph_a), Some(ph_b)) = (a.ph(), b.ph()) else {
        return if a == b { Kinship::Kindred } else { Kinship::Other };
    };
    if a == b {
        Kinship::Same
    } else if (ph_a.to_f64() - ph_b.to_f64()).abs() <= PH_DIFFERENCE {
        Kinship::Kindred
    } else {
        Kinship::Other
    }
}

/// Acids, bases and salts in a medium.
fn solutions(a: Solution, b: Solution) -> Kinship {
    if a.solute().preferred() != b.solute().preferred() || a.medium().preferred() != b.medium().preferred() {
        return Kinship::Other;
    }
    let Some(ratio) = strength_ratio(a, b) else {
        let both_vague = std::mem::discriminant(&a.strength()) == std::mem::discriminant(&b.strength());
        return if both_vague { Kinship::Kindred } else { Kinship::Other };
    };
    if (ratio - 1.0).abs() < SAME_AMOUNT {
        Kinship::Same
    } else if (1.0 / STRENGTH_FACTOR - SAME_AMOUNT..=STRENGTH_FACTOR + SAME_AMOUNT).contains(&ratio) {
        Kinship::Kindred
    } else {
        Kinship::Other
    }
}

/// Strength of `a` over that of `b`, where both are numbers in units that can be converted.
fn strength_ratio(a: Solution, b: Solution) -> Option<f64> {
    use Strength as S;
    let quotient = |x: Amount, y: Amount| x.to_f64() / y.to_f64();
    let equivalents = || a.solute().equivalents().map(f64::from);
    match (a.strength(), b.strength()) {
        (S::Normal(x), S::Normal(y))
        | (S::Molar(x), S::Molar(y))
        | (S::Percent(x), S::Percent(y))
        | (S::PercentByMass(x), S::PercentByMass(y))
        | (S::Equivalents(x), S::Equivalents(y)) => Some(quotient(x, y)),
        (S::Normal(x), S::Molar(y)) => Some(quotient(x, y) / equivalents()?),
        (S::Molar(x), S::Normal(y)) => Some(quotient(x, y) * equivalents()?),
        _ => None,
    }
}

/// Whether a solution is two miscible liquids by per cent (`EtOH 95%`), not an acid, base or salt of some strength.
fn is_blend(solution: Solution) -> bool {
    let by_percent = matches!(solution.strength(), Strength::Unstated | Strength::Percent(_));
    by_percent && solution.solute().is_liquid() && !solution.solute().ionises()
}

/// A mixture in comparable form: components in a fixed order with their volume fractions where known.
struct Blend {
    parts: Vec<(Component, Option<f64>)>,
    by_mass: bool,
}

impl Blend {
    fn of(solvent: &Solvent) -> Option<Blend> {
        match solvent {
            Solvent::Pure(substance) => Some(Blend::pure(Component::Pure(*substance))),
            Solvent::Solution(solution) if is_blend(*solution) => Some(Blend::by_percent(*solution)),
            Solvent::Solution(solution) => Some(Blend::pure(Component::Solution(*solution))),
            Solvent::Buffer(buffer) => Some(Blend::pure(Component::Buffer(*buffer))),
            Solvent::Mixture(mixture) => Some(Blend::mixed(mixture)),
            Solvent::Neat | Solvent::Other(_) => None,
        }
    }

    fn pure(component: Component) -> Blend {
        Blend {
            parts: vec![(preferred(component), Some(1.0))],
            by_mass: false,
        }
    }

    fn by_percent(solution: Solution) -> Blend {
        let rest = match solution.strength() {
            Strength::Percent(p) => Amount::whole(100)
                .minus(p)
                .map(|rest| (p.to_f64() / 100.0, rest.to_f64() / 100.0)),
            _ => None,
        };
        let solute = (
            preferred(Component::Pure(solution.solute())),
            rest.map(|(part, _)| part),
        );
        let medium = (
            preferred(Component::Pure(solution.medium())),
            rest.map(|(_, rest)| rest),
        );
        Blend::sorted(vec![solute, medium], false)
    }

    fn mixed(mixture: &Mixture) -> Blend {
        let total = mixture
            .ratio()
            .map(|ratio| ratio.parts().iter().map(|part| part.to_f64()).sum::<f64>());
        let fraction = |n: usize| Some(mixture.ratio()?.parts().get(n)?.to_f64() / total?);
        let parts = mixture
            .components()
            .iter()
            .enumerate()
            .map(|(n, c)| (preferred(*c), fraction(n)))
            .collect();
        Blend::sorted(parts, mixture.ratio().is_some_and(Ratio::is_by_mass))
    }

    fn sorted(mut parts: Vec<(Component, Option<f64>)>, by_mass: bool) -> Blend {
        parts.sort_by_key(|(component, _)| *component);
        Blend { parts, by_mass }
    }

    /// The component that makes up nearly all, when the rest is neither acid nor base nor salt.
    fn major(&self) -> Option<Component> {
        let major = self
            .parts
            .iter()
            .find(|(_, fraction)| fraction.is_some_and(|f| f >= MAJOR_FRACTION))?
            .0;
        let rest = self.parts.iter().filter(|(component, _)| *component != major);
        let inert = |component: &Component| matches!(component, Component::Pure(substance) if !substance.ionises());
        rest.map(|(component, _)| component).all(inert).then_some(major)
    }
}

fn preferred(component: Component) -> Component {
    match component {
        Component::Pure(substance) => Component::Pure(substance.preferred()),
        other => other,
    }
}

fn blends(a: &Blend, b: &Blend) -> Kinship {
    if a.parts.len() == b.parts.len() {
        return same_components(a, b);
    }
    match (a.parts.len(), b.parts.len(), a.major(), b.major()) {
        (1, _, Some(a), Some(b)) | (_, 1, Some(a), Some(b)) => match components(a, b) {
            Kinship::Other => Kinship::Other,
            Kinship::Same | Kinship::Kindred => Kinship::Kindred,
        },
        _ => Kinship::Other,
    }
}

fn same_components(a: &Blend, b: &Blend) -> Kinship {
    let mut closest = if a.by_mass == b.by_mass {
        Kinship::Same
    } else {
        Kinship::Kindred
    };
    for ((component_a, fraction_a), (component_b, fraction_b)) in a.parts.iter().zip(&b.parts) {
        closest = closest.max(components(*component_a, *component_b));
        let same = matches!((fraction_a, fraction_b), (Some(x), Some(y)) if (x - y).abs() < SAME_AMOUNT);
        if !same {
            closest = closest.max(Kinship::Kindred);
        }
    }
    closest
}

fn components(a: Component, b: Component) -> Kinship {
    match (a, b) {
        (Component::Pure(a), Component::Pure(b)) => substances(a, b),
        (Component::Solution(a), Component::Solution(b)) => solutions(a, b),
        (Component::Buffer(a), Component::Buffer(b)) => buffers(a, b),
        _ => Kinship::Other,
    }
}
