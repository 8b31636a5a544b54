//! What each cause means, in a sentence.

use super::CauseCode;
use super::hypotheses::{Hypothesis, Kind};
use crate::compare::judge::Measured;
use crate::quantity::round_to;

/// A rotation in print form: sign and as many digits as its size deserves.
fn rotation(value: f64) -> String {
    let digits = match value.abs() {
        size if size >= 100.0 => 0,
        size if size >= 1.0 => 1,
        _ => 2,
    };
    format!("{:+.digits$}", round_to(value, digits)).replace('-', "\u{2212}")
}

/// A whole factor: "10 times".
fn times(factor: f64) -> String {
    format!("{factor:.0} times")
}

/// The sentence of a hypothesis; `corrected` is the value without the slip.
pub(super) fn sentence(hypothesis: &Hypothesis, corrected: f64, measured: &Measured) -> String {
    let x = measured.value.conventional();
    let value = rotation(corrected);
    let detail = &hypothesis.detail;
    let per_cent = || {
        if corrected == 0.0 {
            "an unknown share".to_owned()
        } else {
            format!("{:.0} %", (100.0 * x / corrected).abs().min(100.0))
        }
    };
    let factor = match hypothesis.kind {
        Kind::Scale { factor, .. } => factor,
        _ => 1.0,
    };
    match hypothesis.code {
        CauseCode::None => format!("Nothing is wrong: {} is taken as it is.", rotation(x)),
        CauseCode::PartialPurity if detail.stated == "excess" => format!(
            "The enantiomeric excess is not the one stated: an optical purity of about {} would read this where {value} is \
             expected of the enantiopure compound.",
            per_cent()
        ),
        CauseCode::PartialPurity if (x / corrected).abs() < 0.02 => "The sample is racemic or nearly so.".to_owned(),
        CauseCode::PartialPurity if (x / corrected).abs() > 0.995 => {
            "The sample is not quite enantiopure, but by less than this value can show.".to_owned()
        }
        CauseCode::PartialPurity => format!(
            "The sample is not enantiopure: an optical purity of about {} would read this where {value} is expected.",
            per_cent()
        ),
        CauseCode::Diluted if (x / corrected).abs() > 0.995 => {
            "The sample holds residual solvent, water or another inactive admixture, but less than this value can show."
                .to_owned()
        }
        CauseCode::Diluted => format!(
            "The sample holds residual solvent, water or another inactive admixture: about {} of it by mass would be the \
             compound.",
            per_cent()
        ),
        CauseCode::OppositeHand if hypothesis.kind == (Kind::Purity { is_opposite: true }) => {
            format!(
                "It is the other enantiomer, and not pure: an optical purity of about {} of that hand.",
                per_cent()
            )
        }
        CauseCode::OppositeHand => {
            format!("It is the other enantiomer, or the sign was lost; with the sign turned it is {value}.")
        }
        CauseCode::ConcentrationUnit if factor > 1.0 => format!(
            "The concentration was taken in another unit, so that the value came out {} too large; put right it is {value}.",
            times(factor)
        ),
        CauseCode::ConcentrationUnit => format!(
            "The concentration was taken in another unit, so that the value came out {} too small; put right it is {value}.",
            times(1.0 / factor)
        ),
        CauseCode::CellLength => format!(
            "The cell was not the one entered: read in {} and computed with {}, the value would be {value} with the right \
             length.",
            detail.actual, detail.stated
        ),
        CauseCode::AngleAsSpecific if detail.stated == "angle" => {
            format!("A specific rotation was entered as an angle; the value would be {value}.")
        }
        CauseCode::AngleAsSpecific => format!(
            "The number is the observed angle, not the specific rotation; with a cell of {} it would be {value}.",
            detail.actual
        ),
        CauseCode::HalfTurn => format!(
            "The angle of {} is off by a half-turn; {} would give {value}.",
            detail.stated, detail.actual
        ),
        CauseCode::SugarDegrees => {
            format!("The reading was in sugar degrees (°Z), not in degrees; in degrees it gives {value}.")
        }
        CauseCode::MolarAsSpecific if detail.actual == "undivided" => format!(
            "The number is a molar rotation of the old kind, without the division by 100; the specific one is {value}."
        ),
        CauseCode::MolarAsSpecific => {
            format!("The number is a molar rotation; the specific one is {value}.")
        }
        CauseCode::BlankSign if rotation(corrected) == rotation(x) => {
            "The blank was added where it was to be subtracted, or not taken off, but moved the value by less than it can \
             show."
                .to_owned()
        }
        CauseCode::BlankSign => format!(
            "The blank was added where it was to be subtracted, or not taken off; the value would be about {value}."
        ),
        CauseCode::OtherForm => format!(
            "Another form was weighed ({}); by molar mass the value of the form asked for would be {value}.",
            detail.actual
        ),
        CauseCode::OtherLine => format!(
            "It was read at {} and not at {}; at {} it would be about {value}.",
            detail.actual, detail.stated, detail.stated
        ),
        CauseCode::NotAtEquilibrium => {
            format!("The solution was at another stage of mutarotation; at the stage asked for {value} is expected.")
        }
        CauseCode::OtherStereoisomer => format!(
            "It is another stereoisomer of the same connectivity: {} has published values that fit {}.",
            detail.actual,
            rotation(x)
        ),
        CauseCode::ReferenceSuspect => format!(
            "{} is right and the references are not: one is wrong, or they do not hold at these conditions.",
            rotation(x)
        ),
    }
}
