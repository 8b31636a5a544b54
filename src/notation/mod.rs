//! Printed text to statements and back.
//!
//! [`read`] finds every statement of rotation in any text: places that may hold one are picked out, the text around
//! them is brought to one plain form, cut into tokens, and read by a grammar that recovers from what it does not
//! understand. A statement holds only what was printed and carries its doubts. [`write()`] is the inverse.

mod amount;
mod clean;
mod condition;
mod doubts;
mod grammar;
mod head;
mod json;
mod light;
mod pharmacopoeia;
mod prose;
mod relation;
mod segment;
mod series;
mod stream;
mod table;
mod token;
mod value;
mod write;

pub use json::ReadStatement;
pub use write::{Style, WriteError, lowered_digits, write};

use crate::statement::Statement;
use doubts::plausibility;
use grammar::{Draft, Grammar};
use stream::Stream;

/// A statement found in a text.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The statement.
    pub statement: Statement,
    /// First byte in the text.
    pub start: usize,
    /// The byte behind it.
    pub end: usize,
    /// The wavelength in nm as printed, where a number was printed.
    pub printed_nanometres: Option<f64>,
}

/// Finds every statement of rotation in a text, in order of appearance.
///
/// Takes any text of any size in time that grows with its length. Nothing is filled in that was not printed; what is not
/// sure is said in [`Statement::doubts`].
pub fn read(text: &str) -> Vec<Found> {
    let mut all = Vec::new();
    for segment in segment::segments(text) {
        let stream = Stream::new(&text[segment.clone()]);
        let drafts = Grammar::run(&stream);
        let mut found: Vec<Found> = drafts
            .into_iter()
            .map(|draft| finish(&stream, draft, text, segment.start))
            .collect();
        name_forms(&text[segment], &mut found);
        all.extend(found);
    }
    all
}

/// Turns a draft into a statement.
fn finish(stream: &Stream, draft: Draft, text: &str, base: usize) -> Found {
    let (start, end) = stream.span(draft.from, draft.to);
    let (start, end) = (base + start, base + end);
    let Draft {
        kind,
        value,
        conditions,
        role,
        stage,
        enantiomer,
        doubts,
        ..
    } = draft;
    let printed_nanometres = conditions.light.as_ref().and_then(|light| light.nanometres);
    let mut all = value.doubts;
    all.extend(conditions.doubts);
    all.extend(doubts);
    let mut statement = Statement {
        kind,
        value: value.single,
        low: value.low,
        high: value.high,
        sign: value.sign,
        plus_minus: value.plus_minus,
        approx: value.approx,
        temperature: conditions.temperature,
        line: conditions.light.map(|light| light.line),
        solvent: conditions.solvent,
        concentration: conditions.concentration,
        path: conditions.path,
        form: conditions.form,
        basis: conditions.basis.map(str::to_owned),
        stage,
        time_note: conditions.time,
        ee: conditions.ee,
        role,
        enantiomer_note: enantiomer,
        as_printed: text.get(start..end).unwrap_or_default().to_owned(),
        place: None,
        doubts: Vec::new(),
    };
    all.extend(plausibility(&statement));
    for doubt in all {
        let sentence = doubt.to_string();
        if !statement.doubts.contains(&sentence) {
            statement.doubts.push(sentence);
        }
    }
    Found {
        statement,
        start,
        end,
        printed_nanometres,
    }
}

/// Compilations name what was measured between slashes at the end: `… (c = 1 in water) /Hydrochloride/`.
fn name_forms(text: &str, found: &mut [Found]) {
    let trimmed = text.trim_end_matches(['.', ' ', '\n', ';', ')']);
    let inner = trimmed.strip_suffix('/').unwrap_or(trimmed);
    let Some(slash) = inner.rfind('/') else { return };
    let name = &inner[slash + 1..];
    let opens = slash == 0 || inner[..slash].ends_with([' ', '\n']);
    let fits = opens
        && (3..=90).contains(&name.len())
        && name.starts_with(|c: char| c.is_alphanumeric() || c == '(')
        && name.chars().filter(|c| c.is_alphabetic()).count() >= 3;
    if fits {
        for found in found {
            found.statement.form.get_or_insert_with(|| name.trim().to_owned());
        }
    }
}
