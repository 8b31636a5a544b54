//! What statements of one text tell about each other: conditions printed once for several, stages of mutarotation, the
//! sample or enantiomer a value is of, a sign given in words. Works on drafts when all of them are there.

use super::condition::Reader;
use super::doubts::Doubt;
use super::grammar::{Draft, Joint};
use super::stream::Stream;
use super::token::Kind;
use crate::quantity::Printed;
use crate::statement::{Sign, Stage};

/// Settles what the statements of a text tell about each other.
pub(super) fn relate(s: &Stream, drafts: &mut Vec<Draft>) {
    mark_stages(s, drafts);
    share_conditions(s, drafts);
    name_enantiomers(s, drafts);
    name_samples(s, drafts);
    for draft in drafts {
        sign_from_words(s, draft);
    }
}

/// Conditions printed once behind several values.
fn share_conditions(s: &Stream, drafts: &mut [Draft]) {
    for n in (1..drafts.len()).rev() {
        let (before, behind) = drafts.split_at_mut(n);
        let (Some(first), Some(second)) = (before.last_mut(), behind.first()) else {
            continue;
        };
        let adjacent = second.from >= first.to
            && (first.to..second.from).all(|at| {
                s.is_any_mark(at, &[',', ';', '|', '&', '→'])
                    || s.is_word(at, &["and", "und", "et", "to", "bis", "changing", "changed"])
            });
        if !adjacent {
            continue;
        }
        // `+13.6 and +14.2 deg at 25 °C`
        let stages = first.stage == Some(Stage::Initial) && second.stage == Some(Stage::Final);
        if matches!(second.joint, Joint::Twin | Joint::Onward) || stages {
            first.conditions.fill_from(&second.conditions);
        }
        // `+48 deg at 25 °C/D; +257.9 deg at 365 nm (c = 1.0 in water)`: one solution, two lines.
        let lines = match (&first.conditions.light, &second.conditions.light) {
            (Some(a), Some(b)) => a.line != b.line,
            _ => false,
        };
        // `[α]D20 −22.7; [α]D40 −19.8 (c 1.0, EtOH)`: one solution, two temperatures.
        let temperatures = second.joint == Joint::Head
            && matches!(
                (&first.conditions.temperature, &second.conditions.temperature),
                (Some(a), Some(b)) if a != b
            );
        if (lines || temperatures) && first.conditions.is_without_sample() && !second.conditions.is_without_sample() {
            first.conditions.fill_sample_from(&second.conditions);
            if first.conditions.temperature.is_none() && second.joint == Joint::Head {
                first.conditions.temperature.clone_from(&second.conditions.temperature);
            }
        }
    }
}

/// Initial and final readings of a mutarotation.
fn mark_stages(s: &Stream, drafts: &mut Vec<Draft>) {
    // `+63.5 to +6.2 (…) mutarotatory`: the ends of the range are the two stages.
    let mut n = 0;
    while n < drafts.len() {
        let draft = &drafts[n];
        let reach = draft.to..draft.to + 8;
        let mutarotation = reach
            .into_iter()
            .any(|at| s.text(at).to_ascii_lowercase().starts_with("mutarot"))
            || (draft.from..draft.value.start)
                .any(|at| s.is_word(at, &["changes", "changing", "changed", "falls", "rises"]));
        if let (true, Some(low), Some(high)) = (mutarotation, draft.value.low, draft.value.high) {
            let mut first = draft.clone();
            let mut second = draft.clone();
            let rises = first_end_is_low(s, draft);
            (first.value.single, second.value.single) = if rises {
                (Some(low), Some(high))
            } else {
                (Some(high), Some(low))
            };
            for (part, stage) in [(&mut first, Stage::Initial), (&mut second, Stage::Final)] {
                part.value.low = None;
                part.value.high = None;
                part.value.doubts.retain(|doubt| *doubt != Doubt::RangeFalls);
                part.stage = Some(stage);
            }
            second.joint = Joint::Series;
            drafts.splice(n..=n, [first, second]);
            n += 1;
        }
        n += 1;
    }
    // Readings in series, the last of them with a time.
    let mut first = 0;
    for n in 1..=drafts.len() {
        let goes_on = drafts
            .get(n)
            .is_some_and(|draft| matches!(draft.joint, Joint::Series | Joint::Twin | Joint::Onward));
        if goes_on {
            continue;
        }
        let last = n - 1;
        let timed = drafts[first..=last]
            .iter()
            .filter(|draft| draft.conditions.time.is_some())
            .count();
        if last > first && drafts[last].conditions.time.is_some() && timed >= 1 {
            // A time that a twin took over belongs to the last reading.
            if drafts[last].joint == Joint::Twin {
                drafts[first].conditions.time = None;
            }
            drafts[first].stage.get_or_insert(Stage::Initial);
            drafts[last].stage.get_or_insert(Stage::Final);
        }
        first = n;
    }
}

/// Whether the end of a range that was printed first is the lower one.
fn first_end_is_low(s: &Stream, draft: &Draft) -> bool {
    let first = (draft.value.start..draft.value.end).find(|&at| s.number(at).is_some());
    let negative_first = first.is_some_and(|at| at > 0 && s.kind(at - 1) == Some(Kind::Minus));
    match (first.and_then(|at| s.number(at)), draft.value.low) {
        (Some(digits), Some(low)) => {
            let value = if negative_first {
                -digits.printed.value()
            } else {
                digits.printed.value()
            };
            (value - low.value()).abs() < 1e-9
        }
        _ => true,
    }
}

/// "(R)-enantiomer", "L-enantiomer" before or close behind a statement.
fn name_enantiomers(s: &Stream, drafts: &mut [Draft]) {
    let mut floor = 0;
    for draft in drafts {
        let from = floor.max(draft.from.saturating_sub(24));
        let before = (from..draft.from).rev().find(|&at| is_enantiomer(s, at));
        let behind = (draft.to..draft.to + 10)
            .find(|&at| is_enantiomer(s, at) && (draft.to..at).any(|n| s.is_word(n, &["for"])));
        floor = draft.to;
        let Some(noun) = behind.or(before) else { continue };
        let mut start = noun;
        // `(S)-(+)-enantiomer`, `L-enantiomer`
        while start > 0 && noun - start < 8 {
            let descriptor = matches!(
                s.kind(start - 1),
                Some(Kind::Minus | Kind::Plus | Kind::Close(')') | Kind::Open('('))
            ) || matches!(s.text(start - 1), "R" | "S" | "L" | "D" | "l" | "d");
            if !descriptor || s.kind(start - 1) == Some(Kind::Minus) && !s.is_glued(start) && !s.is_glued(start - 1) {
                break;
            }
            start -= 1;
        }
        let note = if s.text(start) == "(" {
            s.slice(start, noun).trim_end_matches(['-', ' ']).to_owned()
        } else {
            s.slice(start, noun + 1).to_owned()
        };
        if start < noun {
            draft.enantiomer = Some(note);
        }
    }
}

/// `(+)-1: [α]D …` names the sample; `at 98% ee, the rotation is …` gives its excess.
fn name_samples(s: &Stream, drafts: &mut [Draft]) {
    let mut floor = 0;
    for draft in drafts {
        let from = draft.from;
        if draft.conditions.form.is_none() && from >= 5 && s.is_mark(from - 1, ':') {
            let signed = (from.saturating_sub(7)..from).rev().find(|&at| {
                s.is_open(at)
                    && matches!(s.kind(at + 1), Some(Kind::Plus | Kind::Minus))
                    && s.is_close(at + 2)
                    && s.kind(at + 3) == Some(Kind::Minus)
            });
            if let Some(at) = signed {
                let name: String = s.slice(at, from - 1).split_whitespace().collect();
                draft.conditions.form = Some(name);
            }
        }
        if draft.conditions.ee.is_none() && draft.joint == Joint::Head {
            for at in (floor.max(from.saturating_sub(16))..from).rev() {
                if s.is_sentence_start(at + 1) && at + 1 < from {
                    break;
                }
                let mut reader = Reader::new(s);
                if reader.excess(at).is_some_and(|end| end <= from) && !s.is_any_mark(at.wrapping_sub(1), &['>', '≥'])
                {
                    draft.conditions.ee = reader.conditions.ee;
                    break;
                }
            }
        }
        floor = draft.to;
    }
}

fn is_enantiomer(s: &Stream, at: usize) -> bool {
    s.is_word(at, &["enantiomer", "antipode"])
}

/// A value without sign whose sentence says which way it turns.
fn sign_from_words(s: &Stream, draft: &mut Draft) {
    if draft.value.sign != Sign::NotStated {
        return;
    }
    let mut at = draft.value.start;
    for _ in 0..40 {
        if at == 0 || s.is_sentence_start(at) {
            return;
        }
        at -= 1;
        let word = s.text(at).to_lowercase();
        let left = matches!(
            word.as_str(),
            "levorotatory" | "laevorotatory" | "linksdrehend" | "lévogyre" | "levorotatorio"
        );
        let right = matches!(
            word.as_str(),
            "dextrorotatory" | "rechtsdrehend" | "dextrogyre" | "destrorotatorio"
        );
        if left || right {
            if left {
                let negative = |printed: &mut Option<Printed>| {
                    *printed = printed.map(Printed::negated);
                };
                negative(&mut draft.value.single);
                std::mem::swap(&mut draft.value.low, &mut draft.value.high);
                negative(&mut draft.value.low);
                negative(&mut draft.value.high);
            }
            draft.doubts.push(Doubt::SignFromWord(word));
            return;
        }
    }
}
