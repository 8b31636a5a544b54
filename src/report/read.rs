//! Rotations found in a text, in words.

use super::Page;
use super::entry::statement_sentence;
use crate::notation::Found;

/// Lists the rotations found in a whole text, each with its line in the text.
pub fn list(text: &str, found: &[Found], page: &mut Page) {
    if found.is_empty() {
        page.paragraph("No rotation is found in the text.");
        return;
    }
    let mut line = 1;
    let mut at = 0;
    for one in found {
        // Spans are in order, so that lines are counted once over the text.
        if let Some(between) = text.get(at..one.start) {
            line += between.matches('\n').count();
            at = one.start;
        }
        page.lead(&format!("{line:>5}: "), &statement_sentence(&one.statement));
        details(one, page);
    }
    page.gap();
    let doubtful = found.iter().filter(|one| !one.statement.doubts.is_empty()).count();
    let s = if found.len() == 1 { "" } else { "s" };
    page.note(&match doubtful {
        0 => format!("{} rotation{s}.", found.len()),
        n => format!("{} rotation{s}, {n} with doubts.", found.len()),
    });
}

/// Lists the rotations found in one line; nothing is written for a line without.
pub fn line(number: usize, found: &[Found], page: &mut Page) {
    for one in found {
        page.lead(&format!("{number:>5}: "), &statement_sentence(&one.statement));
        details(one, page);
    }
}

fn details(found: &Found, page: &mut Page) {
    page.lead("       printed: ", &found.statement.as_printed);
    for doubt in &found.statement.doubts {
        page.lead("       doubt: ", doubt);
    }
}
