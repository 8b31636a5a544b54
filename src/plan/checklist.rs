//! What to do at the bench, from a table of the trade's habits, with the cautions of the solvent.

use crate::compare::Conditions;
use crate::solvent::Solvent;
use serde::{Deserialize, Serialize};

/// One thing to do at the bench.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ChecklistItem {
    /// A stable word.
    pub code: String,
    /// What to do.
    pub sentence: String,
}

/// A row of the table.
#[derive(Clone, Debug, Deserialize)]
struct Row {
    code: String,
    when: String,
    sentence: String,
    #[expect(dead_code, reason = "for the reader of the table")]
    source: String,
}

fn rows() -> Vec<Row> {
    csv::Reader::from_reader(include_str!("../../data/bench_checklist.csv").as_bytes())
        .deserialize()
        .filter_map(Result::ok)
        .collect()
}

/// The list for measuring at some conditions. `large_angle` says that the angle may pass ±90°.
pub fn checklist(conditions: &Conditions, large_angle: bool) -> Vec<ChecklistItem> {
    let is_neat = conditions.solvent == Some(Solvent::Neat);
    let mut items: Vec<ChecklistItem> = rows()
        .into_iter()
        .filter(|row| match row.when.as_str() {
            "always" => !(is_neat && row.code == "zero"),
            "solution" => !is_neat,
            "neat" => is_neat,
            "large-angle" => large_angle,
            "stage" => conditions.stage.is_some(),
            _ => false,
        })
        .map(|row| ChecklistItem {
            code: row.code,
            sentence: row.sentence,
        })
        .collect();
    if let Some(solvent) = &conditions.solvent
        && !is_neat
    {
        let attacked: Vec<String> = solvent
            .substances()
            .into_iter()
            .filter(|substance| !substance.attacks().is_empty())
            .map(|substance| format!("{} may attack {}", substance.name(), substance.attacks()))
            .collect();
        items.push(ChecklistItem {
            code: "cell-material".to_owned(),
            sentence: if attacked.is_empty() {
                format!("See that windows, seals and caps of the cell withstand {solvent}.")
            } else {
                format!(
                    "See that windows, seals and caps of the cell withstand {solvent}: {}.",
                    attacked.join("; ")
                )
            },
        });
    }
    items
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_read_and_shown_somewhere() {
        let lines = include_str!("../../data/bench_checklist.csv").lines().count() - 1;
        assert_eq!(rows().len(), lines);
        let conditions = |solvent: Solvent| Conditions {
            solvent: Some(solvent),
            stage: Some(crate::statement::Stage::Final),
            ..Conditions::default()
        };
        let mut shown: Vec<String> = [Solvent::Neat, Solvent::parse("CHCl3").unwrap()]
            .into_iter()
            .flat_map(|solvent| checklist(&conditions(solvent), true))
            .map(|item| item.code)
            .collect();
        shown.sort();
        shown.dedup();
        assert_eq!(shown.len(), lines + 1);
        let plain = checklist(&Conditions::default(), false);
        assert!(
            !plain
                .iter()
                .any(|item| item.code == "half-turn" || item.code == "mutarotation")
        );
    }

    #[test]
    fn a_solvent_that_attacks_parts_of_the_cell_is_named() {
        let conditions = Conditions {
            solvent: Some(Solvent::parse("CHCl3").unwrap()),
            ..Conditions::default()
        };
        let item = checklist(&conditions, false).pop().unwrap();
        assert!(item.sentence.contains("chloroform may attack"), "{}", item.sentence);
    }
}
