//! The hypotheses that can apply to a measurement, each with its prior weight.

use super::likelihood::Isomer;
use super::settings::CauseTable;
use super::{CauseCode, CauseContext};
use crate::compare::conditions::Conditions;
use crate::compare::judge::Measured;
use crate::compare::lines::one_term_factor;
use crate::instrument::sugar::{self, SugarDegrees};
use crate::quantity::{Concentration, Length, SpectralLine, Wavelength};
use crate::solvent::Solvent;
use std::collections::BTreeMap;

/// How the reported value x comes from y, what a right measurement of the enantiopure compound would read.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Kind {
    /// x = factor · y, the factor with a relative standard deviation. `reading` is what an angle is worth in x (deg mL g⁻¹
    /// dm⁻¹) where the slip was made after the reading, so that the factor multiplies the error of the angle too; 0 where it
    /// was made before, or where that is not known.
    Scale {
        factor: f64,
        relative_sd: f64,
        reading: f64,
    },
    /// x = y + shift, the shift with a standard deviation; `reading` is what an angle is worth (all deg mL g⁻¹ dm⁻¹).
    Shift { shift: f64, sd: f64, reading: f64 },
    /// x = p y with the optical purity p, of the hand asked for or of the other.
    Purity { is_opposite: bool },
    /// x = d y with the mass fraction d.
    Dilution,
    /// x lies between y and a value at another stage (mean and variance).
    Stage { values: Vec<(f64, f64)> },
    /// x is the value of another compound (mean and variance).
    Other { values: Vec<(f64, f64)> },
    /// x is right and the references are not.
    Suspect,
}

/// What a sentence needs to know beyond the code.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Detail {
    /// What would have been used or weighed: a cell, a form, a line, another compound.
    pub(super) actual: String,
    /// What was entered or stated; empty where it is not known.
    pub(super) stated: String,
}

/// A hypothesis.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Hypothesis {
    pub(super) code: CauseCode,
    pub(super) kind: Kind,
    pub(super) prior: f64,
    pub(super) detail: Detail,
}

/// A factor within this of 1 is no change.
const NO_CHANGE: f64 = 1e-6;

/// Angles up to this are read on a half circle, degrees: instruments show −90 to +90.
const HALF_CIRCLE: f64 = 90.0;

/// How far beyond the ends of its circle a reading may fall, degrees.
const EDGE: f64 = 1.0;

/// All hypotheses that can apply, their priors summing to 1.
pub(super) fn all(
    measured: &Measured,
    conditions: &Conditions,
    context: &CauseContext,
    salt_sd: f64,
    table: &CauseTable,
) -> Vec<Hypothesis> {
    let mut collected = Collected {
        table,
        hypotheses: Vec::new(),
    };
    let one = |kind: Kind| vec![(kind, 1.0, Detail::default())];
    let factor = |factor: f64| Kind::Scale {
        factor,
        relative_sd: 0.0,
        reading: 0.0,
    };
    collected.add(CauseCode::None, one(factor(1.0)));
    // Where another method gives an excess, a sample that is less pure means that this excess is wrong.
    let is_excess_stated = measured.excess.is_some();
    let doubt = if is_excess_stated {
        table.purity.excess_wrong
    } else {
        1.0
    };
    let purity = Detail {
        actual: String::new(),
        stated: (if is_excess_stated { "excess" } else { "" }).to_owned(),
    };
    let partial = vec![(Kind::Purity { is_opposite: false }, 1.0, purity)];
    collected.add_doubted(CauseCode::PartialPurity, doubt, partial);
    collected.add(CauseCode::Diluted, one(Kind::Dilution));
    let impure = table.purity.impure_opposite;
    let opposite = [
        (factor(-1.0), 1.0 - impure),
        (Kind::Purity { is_opposite: true }, impure),
    ];
    let opposite = opposite.map(|(kind, weight)| (kind, weight, Detail::default()));
    collected.add(CauseCode::OppositeHand, opposite.to_vec());
    collected.add(CauseCode::ReferenceSuspect, one(Kind::Suspect));
    let units = table.concentrations.iter();
    // An angle that was given was divided by the concentration that was given: its error is counted with that.
    let reading = if context.angle_given {
        0.0
    } else {
        reading_worth(conditions, context, table)
    };
    collected.add(
        CauseCode::ConcentrationUnit,
        units
            .map(|unit| {
                let kind = Kind::Scale {
                    factor: unit.factor,
                    relative_sd: 0.0,
                    reading,
                };
                (kind, unit.weight, Detail::default())
            })
            .collect(),
    );
    collected.add(CauseCode::CellLength, cells(context, table));
    collected.add(CauseCode::AngleAsSpecific, angles(conditions, context, table));
    collected.add(CauseCode::HalfTurn, turns(measured, conditions, context, table));
    collected.add(CauseCode::SugarDegrees, sugar_degrees());
    collected.add(CauseCode::MolarAsSpecific, molar(conditions, context, table));
    collected.add(CauseCode::BlankSign, blanks(conditions, context, table));
    collected.add(CauseCode::OtherForm, forms(context, salt_sd, table));
    collected.add(CauseCode::OtherLine, lines(conditions, context, table));
    if !context.other_stages.is_empty() {
        let values = context.other_stages.iter();
        let values = values
            .map(|(value, u)| {
                let value = value.conventional();
                let extra = table.scatter.other_value_relative * value;
                (value, u.conventional().powi(2) + extra * extra)
            })
            .collect();
        collected.add(CauseCode::NotAtEquilibrium, one(Kind::Stage { values }));
    }
    let isomers = context.isomers.iter().filter(|isomer| !isomer.values.is_empty());
    collected.add(CauseCode::OtherStereoisomer, isomers.map(other_isomer).collect());
    collected.finish()
}

struct Collected<'t> {
    table: &'t CauseTable,
    hypotheses: Vec<Hypothesis>,
}

impl Collected<'_> {
    /// Adds the variants of a cause; its prior is shared among them by their weights.
    fn add(&mut self, code: CauseCode, variants: Vec<Variant>) {
        self.add_doubted(code, 1.0, variants);
    }

    /// The same, with only a share of its prior.
    fn add_doubted(&mut self, code: CauseCode, share: f64, variants: Vec<Variant>) {
        let total: f64 = variants.iter().map(|(_, weight, _)| weight).sum();
        let prior = share * self.table.of(code).prior;
        for (kind, weight, detail) in variants {
            self.hypotheses.push(Hypothesis {
                code,
                kind,
                prior: prior * weight / total,
                detail,
            });
        }
    }

    fn finish(self) -> Vec<Hypothesis> {
        let mut hypotheses = self.hypotheses;
        let total: f64 = hypotheses.iter().map(|h| h.prior).sum();
        for h in &mut hypotheses {
            h.prior /= total;
        }
        hypotheses
    }
}

type Variant = (Kind, f64, Detail);

fn exact(factor: f64, weight: f64, detail: Detail) -> Option<Variant> {
    ((factor - 1.0).abs() > NO_CHANGE && factor > 0.0 && factor.is_finite()).then_some((
        Kind::Scale {
            factor,
            relative_sd: 0.0,
            reading: 0.0,
        },
        weight,
        detail,
    ))
}

/// A specific rotation that one degree makes in a cell of so many decimetres.
fn per_degree(decimetres: f64, concentration: Concentration) -> f64 {
    100.0 / (decimetres * concentration.grams_per_100_millilitres())
}

/// What an angle is worth in the specific rotation; 0 where the concentration is not known. A cell that is not known is taken
/// as 100 mm long.
fn reading_worth(conditions: &Conditions, context: &CauseContext, table: &CauseTable) -> f64 {
    let length = context.cell.map_or(1.0, Length::decimetres);
    conditions
        .concentration
        .map_or(0.0, |c| table.scatter.angle_degrees * per_degree(length, c))
}

/// The angle is that of the cell used, the value was computed with the length entered: x = y · used / entered.
fn cells(context: &CauseContext, table: &CauseTable) -> Vec<Variant> {
    if let Some(entered) = context.cell {
        let stated = format!("{} mm", rounded(entered.millimetres()));
        return table
            .cells
            .iter()
            .filter_map(|used| {
                let detail = Detail {
                    actual: format!("{} mm", rounded(used.millimetres)),
                    stated: stated.clone(),
                };
                exact(used.millimetres / entered.millimetres(), used.weight, detail)
            })
            .collect();
    }
    // The cell entered is not known: every pair, equal ratios together, named by the usual pair.
    let mut ratios: BTreeMap<i64, (f64, f64, f64, Detail)> = BTreeMap::new();
    for entered in &table.cells {
        for used in &table.cells {
            let ratio = used.millimetres / entered.millimetres;
            let weight = used.weight * entered.weight;
            let detail = Detail {
                actual: format!("{} mm", rounded(used.millimetres)),
                stated: format!("{} mm", rounded(entered.millimetres)),
            };
            let group = ratios
                .entry((1e6 * ratio).round() as i64)
                .or_insert_with(|| (ratio, 0.0, 0.0, Detail::default()));
            group.1 += weight;
            if weight > group.2 {
                (group.2, group.3) = (weight, detail);
            }
        }
    }
    ratios
        .into_values()
        .filter_map(|(ratio, weight, _, detail)| exact(ratio, weight, detail))
        .collect()
}

/// Angle and specific rotation mixed up: x = α = y l c / 100, or, where an angle was asked for, the reverse.
fn angles(conditions: &Conditions, context: &CauseContext, table: &CauseTable) -> Vec<Variant> {
    let neat = conditions.solvent.as_ref() == Some(&Solvent::Neat);
    let (concentration, relative_sd) = match conditions.concentration {
        Some(c) => (c.grams_per_100_millilitres(), 0.0),
        None if neat => {
            let scatter = table.scatter;
            (
                100.0 * scatter.neat_density,
                scatter.neat_density_sd / scatter.neat_density,
            )
        }
        None => return Vec::new(),
    };
    usual_cells(context, table)
        .into_iter()
        .filter_map(|(decimetres, weight)| {
            let per_specific = decimetres * concentration / 100.0;
            let factor = if context.angle_given {
                1.0 / per_specific
            } else {
                per_specific
            };
            let detail = Detail {
                actual: format!("{} mm", rounded(100.0 * decimetres)),
                stated: if context.angle_given { "angle" } else { "specific" }.to_owned(),
            };
            let (_, weight, detail) = exact(factor, weight, detail)?;
            let kind = Kind::Scale {
                factor,
                relative_sd,
                reading: table.scatter.angle_degrees / per_specific,
            };
            Some((kind, weight, detail))
        })
        .collect()
}

/// A turn of n · 180°: needs the angle behind the value, and so c and l; a cell that is not known may be any usual one. An
/// instrument that shows −90 to +90° loses a turn only when the true angle lies beyond; one that shows more may have added it.
fn turns(measured: &Measured, conditions: &Conditions, context: &CauseContext, table: &CauseTable) -> Vec<Variant> {
    let Some(c) = conditions.concentration else {
        return Vec::new();
    };
    let double = table.scatter.double_turn;
    let each = [
        (-1.0, (1.0 - double) / 2.0),
        (1.0, (1.0 - double) / 2.0),
        (-2.0, double / 2.0),
        (2.0, double / 2.0),
    ];
    let in_cell = |(decimetres, share): (f64, f64)| {
        let per_degree = per_degree(decimetres, c);
        let angle = measured.value.conventional() / per_degree;
        let turned = each.into_iter().filter(move |(n, _)| {
            if angle.abs() <= HALF_CIRCLE {
                true
            } else {
                angle.abs() <= 2.0 * HALF_CIRCLE + EDGE && (angle + 180.0 * n).abs() <= HALF_CIRCLE + EDGE
            }
        });
        let place = match context.cell {
            Some(_) => String::new(),
            None => format!(" in a cell of {} mm", rounded(100.0 * decimetres)),
        };
        turned.map(move |(n, weight)| {
            let detail = Detail {
                actual: signed_degrees(angle + 180.0 * n),
                stated: format!("{}{place}", signed_degrees(angle)),
            };
            let kind = Kind::Shift {
                shift: -180.0 * n * per_degree,
                sd: 0.0,
                reading: table.scatter.angle_degrees * per_degree,
            };
            (kind, share * weight, detail)
        })
    };
    usual_cells(context, table).into_iter().flat_map(in_cell).collect()
}

/// The cell in decimetres, or, where it is not known, the usual ones with their weights.
fn usual_cells(context: &CauseContext, table: &CauseTable) -> Vec<(f64, f64)> {
    match context.cell {
        Some(cell) => vec![(cell.decimetres(), 1.0)],
        None => table
            .cells
            .iter()
            .map(|cell| (cell.millimetres / 100.0, cell.weight))
            .collect(),
    }
}

/// A reading in °Z taken for degrees: 100 °Z are 34.626° at the sodium line (see `instrument::sugar`).
fn sugar_degrees() -> Vec<Variant> {
    let sodium = Wavelength::in_vacuum(589.44).ok();
    let angle = sodium.and_then(|line| sugar::angle_of(SugarDegrees::from_z(100.0), line).ok());
    angle
        .and_then(|angle| exact(100.0 / angle.degrees(), 1.0, Detail::default()))
        .into_iter()
        .collect()
}

/// `[M] = [α] M / 100`, and old tables without the division.
fn molar(conditions: &Conditions, context: &CauseContext, table: &CauseTable) -> Vec<Variant> {
    let Some(mass) = context.molar_mass else {
        return Vec::new();
    };
    let undivided = table.scatter.undivided_molar;
    let reading = reading_worth(conditions, context, table);
    let variant = |factor: f64, weight: f64, text: &str| {
        let detail = Detail {
            actual: text.to_owned(),
            stated: String::new(),
        };
        let (_, weight, detail) = exact(factor, weight, detail)?;
        let kind = Kind::Scale {
            factor,
            relative_sd: 0.0,
            reading,
        };
        Some((kind, weight, detail))
    };
    [
        variant(mass.grams_per_mole() / 100.0, 1.0 - undivided, ""),
        variant(mass.grams_per_mole(), undivided, "undivided"),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// A blank b added instead of subtracted: x = y + 2 b · 100/(l c). An unknown blank is some hundredths of a degree; a cell
/// that is not known may be any usual one.
fn blanks(conditions: &Conditions, context: &CauseContext, table: &CauseTable) -> Vec<Variant> {
    let Some(c) = conditions.concentration else {
        return Vec::new();
    };
    usual_cells(context, table)
        .into_iter()
        .map(|(decimetres, weight)| {
            let per_degree = per_degree(decimetres, c);
            let (shift, sd) = match context.blank {
                Some(blank) => (2.0 * blank.degrees() * per_degree, 0.0),
                None => (0.0, 2.0 * table.scatter.blank_degrees * per_degree),
            };
            let reading = table.scatter.angle_degrees * per_degree;
            (Kind::Shift { shift, sd, reading }, weight, Detail::default())
        })
        .collect()
}

/// Weight of a form that the library knows, beside those in `data/forms.csv` that could exist (common practice).
const KNOWN: f64 = 4.0;

/// Another form weighed: x = y · M(form measured) / M(form weighed).
fn forms(context: &CauseContext, salt_sd: f64, table: &CauseTable) -> Vec<Variant> {
    let scale = |factor: f64, is_hydrate: bool| Kind::Scale {
        factor,
        relative_sd: if is_hydrate { 0.0 } else { salt_sd },
        reading: 0.0,
    };
    let detail = |name: &str| Detail {
        actual: name.to_owned(),
        stated: String::new(),
    };
    let mut variants: Vec<Variant> = context
        .known_forms
        .iter()
        .filter(|form| (form.factor - 1.0).abs() > NO_CHANGE)
        .map(|form| (scale(form.factor, form.is_hydrate), KNOWN, detail(&form.name)))
        .collect();
    let Some(mass) = context.molar_mass.map(crate::quantity::MolarMass::grams_per_mole) else {
        return variants;
    };
    let formula = context.formula.as_deref().unwrap_or_default();
    for form in table.forms() {
        let fits = has_element(formula, &form.needs) && (form.is_hydrate || !context.is_salt_or_hydrate);
        let factor = mass / (mass + form.added);
        let is_known = context
            .known_forms
            .iter()
            .any(|known| (known.factor / factor - 1.0).abs() < 2e-3);
        if fits && !is_known {
            variants.push((scale(factor, form.is_hydrate), form.weight, detail(&form.name)));
        }
    }
    variants
}

/// Whether a formula in Hill order contains an element.
fn has_element(formula: &str, symbol: &str) -> bool {
    formula
        .match_indices(symbol)
        .any(|(at, _)| !formula[at + symbol.len()..].starts_with(|c: char| c.is_ascii_lowercase()))
}

/// Read at another line: x = y · g(read) / g(stated), by the compound's own values at both lines where the library has
/// them, else by the one-term law. A line that is not stated is taken as D.
fn lines(conditions: &Conditions, context: &CauseContext, table: &CauseTable) -> Vec<Variant> {
    let stated = conditions.line.clone().unwrap_or(SpectralLine::SodiumD);
    let Some(from) = stated.wavelength() else {
        return Vec::new();
    };
    table
        .lamps
        .iter()
        .filter_map(|lamp| {
            let read = Wavelength::in_air(lamp.nanometres).ok()?;
            // Lamps a nanometre apart are the same light.
            if (read.nanometres() - from.to_air().nanometres()).abs() < 1.0 {
                return None;
            }
            let own = context.own_lines.iter().find(|own| own.line == read);
            let (factor, relative_sd) = match own {
                Some(own) => (own.factor, own.relative_sd),
                None => one_term_factor(from.to_air().nanometres(), read.nanometres())?,
            };
            let detail = Detail {
                actual: format!("{} nm", rounded(lamp.nanometres)),
                stated: match &stated {
                    SpectralLine::At(wavelength) => wavelength.to_string(),
                    other => other.to_string(),
                },
            };
            let kind = Kind::Scale {
                factor,
                relative_sd: relative_sd.abs(),
                reading: 0.0,
            };
            Some((kind, lamp.weight, detail))
        })
        .collect()
}

fn other_isomer(isomer: &Isomer) -> Variant {
    let detail = Detail {
        actual: isomer.name.clone(),
        stated: String::new(),
    };
    let kind = Kind::Other {
        values: isomer.values.clone(),
    };
    (kind, 1.0, detail)
}

/// Four significant digits without trailing zeros.
fn rounded(value: f64) -> f64 {
    let factor = 10f64.powf((3.0 - value.abs().max(1e-9).log10().floor()).clamp(0.0, 6.0));
    (value * factor).round() / factor
}

fn signed_degrees(angle: f64) -> String {
    format!("{angle:+.2}°").replace('-', "\u{2212}")
}
