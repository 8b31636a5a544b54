//! How the solution was made, in the words of East Asian pharmacopoeias.

use super::condition::Conditions;
use super::stream::Stream;
use crate::quantity::{ConcentrationUnit, Printed};
use crate::statement::PrintedConcentration;

/// How the solution was made, in the words of East Asian pharmacopoeias before the value: `加水溶解并定量稀释制成每1ml中约含20mg的溶液`
/// (add water to dissolve and dilute to about 20 mg in 1 mL), `取本品10g … 稀释至100ml`.
pub(super) fn pharmacopoeial_clause(s: &Stream, head: usize) -> Conditions {
    let mut conditions = Conditions::default();
    let floor = head.saturating_sub(170);
    let spells = |at: usize, word: &str| word.chars().enumerate().all(|(n, c)| s.text(at + n).starts_with(c));
    let mut taken = None;
    for at in floor..head {
        let solvent_at = if s.text(at) == "加" || s.text(at) == "用" {
            Some(at + 1)
        } else {
            None
        };
        if let Some(from) = solvent_at {
            // `用80ml的水溶解`
            let from = if s.number(from).is_some() && spells(from + 2, "的") {
                from + 3
            } else {
                from
            };
            if let Some((solvent, _)) = s.solvent(from) {
                conditions.solvent.get_or_insert(solvent);
            }
        }
        if let Some(number) = s.number(at) {
            let mass = s.is_word(at + 1, &["mg", "g"]);
            let before = |word: &str| at >= word.chars().count() && spells(at - word.chars().count(), word);
            if mass && before("含") && conditions.concentration.is_none() {
                let unit = if s.is_word(at + 1, &["mg"]) {
                    ConcentrationUnit::MilligramsPerMillilitre
                } else {
                    ConcentrationUnit::GramsPerMillilitre
                };
                conditions.concentration = Some(printed(number.printed, unit));
            } else if mass && (before("本品") || before("本品约") || before("本品約")) && s.is_word(at + 1, &["g"])
            {
                taken = Some(number.printed);
            } else if s.is_word(at + 1, &["ml"])
                && before("至")
                && s.text(at) == "100"
                && let (Some(grams), None) = (taken, conditions.concentration)
            {
                conditions.concentration = Some(printed(grams, ConcentrationUnit::GramsPer100Millilitres));
            }
        }
        if spells(at, "按") {
            let clause = at + 1..(at + 4).min(head);
            if clause.clone().any(|n| spells(n, "无水") || spells(n, "無水")) {
                conditions.basis = Some("anhydrous");
            } else if clause.clone().any(|n| spells(n, "干燥") || spells(n, "乾燥")) {
                conditions.basis = Some("dried");
            }
        }
    }
    conditions
}

fn printed(low: Printed, unit: ConcentrationUnit) -> PrintedConcentration {
    PrintedConcentration {
        low,
        high: None,
        unit,
        unit_printed: true,
    }
}
