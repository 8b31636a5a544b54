//! Plans a measurement: conditions, angle and sample that make the result comparable with what is published.

use super::check::{CheckSettings, Holdings, reading_worth};
use crate::compare::{Conditions, Reference};
use crate::library::{CompoundId, Library, LibraryError};
use crate::measurement::Defaults;
use crate::plan::{Bench, CellPlan, ChecklistItem, Model, Proposal, checklist, plan};
use crate::quantity::{Concentration, Temperature};
use crate::solvent::Solvent;
use serde::Serialize;

/// What is to be planned.
#[derive(Clone, Debug)]
pub struct PlanRequest {
    /// The compound.
    pub compound: CompoundId,
    /// What is fixed beforehand.
    pub fixed: Conditions,
    /// What the bench offers and what is wanted.
    pub bench: Bench,
    /// The form that will be weighed, as typed.
    pub form: Option<String>,
}

/// Proposed conditions.
#[derive(Clone, Debug, Serialize)]
pub struct ProposalShown {
    /// Solvent.
    pub solvent: Option<String>,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Line.
    pub line: Option<String>,
    /// Concentration, g per 100 mL; null for a neat liquid.
    pub conc_g_per_100ml: Option<f64>,
    /// What was chosen because no reference prints it.
    pub chosen: Vec<String>,
    /// The rotation of the enantiopure compound there, deg mL g⁻¹ dm⁻¹.
    pub expected_value: f64,
    /// Its 95 % interval.
    pub interval95: [f64; 2],
    /// References that would be pooled.
    pub references_used: usize,
    /// References at the same or nearly the same conditions.
    pub references_close: usize,
    /// Sources they come from.
    pub independent_sources: usize,
    /// Whether the hand could be tested there.
    pub hand_can_be_tested: bool,
    /// The cells.
    pub cells: Vec<CellPlan>,
}

/// Another line, with the rotation expected there.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OtherLine {
    /// The line.
    pub line: String,
    /// How many times larger the rotation is expected there.
    pub times_larger: f64,
    /// References at that line.
    pub references_close: usize,
}

/// A plan.
#[derive(Clone, Debug, Serialize)]
pub struct PlanResult {
    /// Number of the compound in this library file.
    pub compound: i64,
    /// Preferred name.
    pub name: String,
    /// Wanted standard uncertainty of the optical purity, a fraction.
    pub wanted: f64,
    /// Optical purity the sample is expected to have, a fraction.
    pub expected_purity: f64,
    /// Standard uncertainty of the angle, degrees.
    pub angle_uncertainty: f64,
    /// The proposals, the best first; empty when there is no reference to compare with.
    pub proposals: Vec<ProposalShown>,
    /// Lines that rotate clearly more than that of the first proposal, in its solvent.
    pub other_lines: Vec<OtherLine>,
    /// The other lines with values in its solvent.
    pub no_larger_lines: Vec<OtherLine>,
    /// What to do at the bench for the first proposal.
    pub checklist: Vec<ChecklistItem>,
    /// Cautions for its solvent.
    pub cautions: Vec<String>,
    /// What to bear in mind.
    pub notes: Vec<String>,
}

/// Plans a measurement.
///
/// # Errors
/// When the library holds no such compound, or fails.
pub fn plan_measurement(
    library: &Library,
    request: &PlanRequest,
    settings: &CheckSettings,
) -> Result<PlanResult, LibraryError> {
    let holdings = Holdings::read(library, library.compound(request.compound)?)?;
    let worth = reading_worth(library)?;
    let gathered = holdings.against(false, request.form.as_deref(), &worth);
    let references: Vec<Reference> = gathered.references.iter().map(|g| g.reference.clone()).collect();
    let defaults = Defaults::built_in();
    let model = Model {
        effects: &settings.effects,
        options: &settings.options,
        thresholds: &settings.thresholds,
        defaults: &defaults,
    };
    let proposals = plan(&references, &request.fixed, &request.bench, &model);
    let first = proposals.first();
    let mut notes: Vec<String> = gathered.form_notes.clone();
    notes.extend(remarks(&proposals, &references, request));
    let (other_lines, no_larger_lines) = first
        .map(|first| {
            if request.fixed.line.is_none() {
                return other_lines(first, &proposals);
            }
            // A fixed line leaves the others out of the proposals; what they would give is worth knowing all the same.
            let open = Conditions {
                line: None,
                solvent: first.conditions.solvent.clone(),
                ..request.fixed.clone()
            };
            other_lines(first, &plan(&references, &open, &request.bench, &model))
        })
        .unwrap_or_default()
        .into_iter()
        .partition(|line| line.times_larger > CLEARLY_LARGER);
    Ok(PlanResult {
        compound: holdings.compound.id.0,
        name: holdings.compound.name.clone(),
        wanted: request.bench.wanted.ratio(),
        expected_purity: request.bench.expected_purity.ratio(),
        angle_uncertainty: request
            .bench
            .angle_uncertainty
            .map_or(defaults.angle_degrees, crate::quantity::Angle::degrees),
        other_lines,
        no_larger_lines,
        checklist: first
            .map(|first| checklist(&first.conditions, first.cells.iter().any(|cell| cell.beyond_90)))
            .unwrap_or_default(),
        cautions: first
            .and_then(|first| first.conditions.solvent.as_ref())
            .map(Solvent::cautions)
            .unwrap_or_default(),
        proposals: proposals.iter().map(shown).collect(),
        notes,
    })
}

fn shown(proposal: &Proposal) -> ProposalShown {
    let conditions = &proposal.conditions;
    let pooled = proposal.pooling.pooled.as_ref();
    ProposalShown {
        solvent: conditions.solvent.as_ref().map(ToString::to_string),
        temperature_c: conditions.temperature.map(Temperature::celsius),
        line: conditions.line.as_ref().map(ToString::to_string),
        conc_g_per_100ml: conditions.concentration.map(Concentration::grams_per_100_millilitres),
        chosen: proposal.chosen.clone(),
        expected_value: pooled.map_or(f64::NAN, |pooled| pooled.value),
        interval95: pooled.map_or([f64::NAN; 2], |pooled| pooled.interval95),
        references_used: pooled.map_or(0, |pooled| pooled.entries_used),
        references_close: proposal.references_close,
        independent_sources: pooled.map_or(0, |pooled| pooled.independent_sources),
        hand_can_be_tested: proposal.pooling.hand_can_be_tested,
        cells: proposal.cells.clone(),
    }
}

/// Lines of other proposals in the same solvent where the expected rotation is larger, the largest of each line.
/// Rotation at another line over that of the proposal from which a change of line is worth naming.
const CLEARLY_LARGER: f64 = 1.1;

fn other_lines(first: &Proposal, all: &[Proposal]) -> Vec<OtherLine> {
    let size = |proposal: &Proposal| {
        proposal
            .pooling
            .pooled
            .as_ref()
            .map_or(0.0, |pooled| pooled.value.abs())
    };
    let mut found: Vec<OtherLine> = Vec::new();
    for other in all {
        let same_light = match (&first.conditions.line, &other.conditions.line) {
            (Some(a), Some(b)) => a.same_light(b),
            _ => true,
        };
        let line = other
            .conditions
            .line
            .as_ref()
            .map(ToString::to_string)
            .unwrap_or_default();
        if !same_light
            && other.conditions.solvent == first.conditions.solvent
            && !found.iter().any(|known| known.line == line)
        {
            found.push(OtherLine {
                line,
                times_larger: size(other) / size(first),
                references_close: other.references_close,
            });
        }
    }
    found.sort_by(|a, b| b.times_larger.total_cmp(&a.times_larger));
    found
}

/// Most reasons why references are not used that are told.
const MOST_REASONS: usize = 4;

fn remarks(proposals: &[Proposal], references: &[Reference], request: &PlanRequest) -> Vec<String> {
    let mut said = Vec::new();
    let Some(first) = proposals.first() else {
        said.push(
            if references.iter().any(|r| r.excluded.is_none()) {
                "No reference prints its solvent; fix one with --solvent (of a neat liquid give --density too)."
            } else {
                "The library holds no reference that a measurement of this compound could be compared with: whatever the \
                 conditions, the result can be told, not judged."
            }
            .to_owned(),
        );
        let mut reasons: Vec<&str> = references.iter().filter_map(|r| r.excluded.as_deref()).collect();
        reasons.sort_unstable();
        reasons.dedup();
        said.extend(
            reasons
                .into_iter()
                .take(MOST_REASONS)
                .map(|reason| format!("Not used: {reason}.")),
        );
        return said;
    };
    if let Some(mass) = request.bench.mass
        && request.bench.volume.is_none()
        && let Some(c) = first.conditions.concentration
    {
        said.push(format!(
            "{} g of sample makes {:.1} mL at c {}; see that this fills the cell.",
            mass.grams(),
            100.0 * mass.grams() / c.grams_per_100_millilitres(),
            c.grams_per_100_millilitres()
        ));
    }
    if let (Some(mass), Some(volume), Some(c)) =
        (request.bench.mass, request.bench.volume, first.conditions.concentration)
    {
        let needed = c.grams_per_100_millilitres() * volume.millilitres() / 100.0;
        if needed > mass.grams() * (1.0 + 1e-9) {
            said.push(format!(
                "The first proposal needs {needed:.3} g of sample; there is {} g.",
                mass.grams()
            ));
        }
    }
    if !first.pooling.hand_can_be_tested {
        said.push(
            "The hand could not be tested there: no reference of independently known hand stands in the same or a kindred \
             solvent."
                .to_owned(),
        );
    }
    if first.references_close == 0 {
        said.push(
            "No reference stands at the same or nearly the same conditions: the comparison would be a transfer."
                .to_owned(),
        );
    }
    let best = first
        .cells
        .iter()
        .map(|cell| cell.share_of_measurement)
        .fold(f64::INFINITY, f64::min);
    if best < 0.2 {
        said.push(
            "The references limit the result, not the measurement: more sample or a longer cell would hardly help, a \
             sample of known ee would."
                .to_owned(),
        );
    }
    if first.cells.iter().all(|cell| cell.beyond_90) {
        said.push("In every cell the angle may pass ±90°; take a shorter cell or a lower concentration.".to_owned());
    }
    said
}
