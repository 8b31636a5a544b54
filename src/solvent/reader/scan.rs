//! Single characters, words and numbers at a place of the text.

use super::super::Amount;
use super::super::lexicon::{fold, is_unspaced_script};
use super::Reader;

/// The longest number looked at, in characters.
const MAX_NUMBER: usize = 24;
/// Spaces allowed between two parts of a phrase.
const MAX_SPACES: usize = 6;

impl Reader<'_> {
    /// A decimal number; a comma or a point is the decimal sign when a digit follows.
    pub(super) fn number(self, start: usize) -> Option<(Amount, usize)> {
        let mut digits = String::new();
        let mut end = start;
        let mut has_point = false;
        while digits.len() < MAX_NUMBER {
            let Some(c) = self.char(end) else { break };
            let folded: String = fold(c).collect();
            if folded.len() == 1 && folded.as_bytes()[0].is_ascii_digit() {
                digits.push_str(&folded);
            } else if folded == "1/2" && digits.is_empty() {
                return Some(("0.5".parse().ok()?, end + c.len_utf8()));
            } else if matches!(c, '.' | ',') && !has_point && self.char(end + 1).is_some_and(|c| c.is_ascii_digit()) {
                has_point = true;
                digits.push('.');
            } else {
                break;
            }
            end += c.len_utf8();
        }
        (end > start).then_some((digits.parse().ok()?, end))
    }

    pub(super) fn char(self, at: usize) -> Option<char> {
        self.text.get(at..)?.chars().next()
    }

    /// The folded character at `at`, if it folds to exactly one, and the byte behind it.
    pub(super) fn char_folded(self, at: usize) -> Option<(char, usize)> {
        let c = self.char(at)?;
        let mut folded = fold(c);
        let first = folded.next()?;
        folded.next().is_none().then_some((first, at + c.len_utf8()))
    }

    /// The byte behind `wanted` at `at`, compared as it stands or folded.
    pub(super) fn symbol(self, at: usize, wanted: char) -> Option<usize> {
        let c = self.char(at)?;
        (c == wanted || fold(c).eq([wanted])).then_some(at + c.len_utf8())
    }

    pub(super) fn after_spaces(self, at: usize) -> usize {
        let rest = self.text.get(at..).unwrap_or("");
        at + rest
            .chars()
            .take(MAX_SPACES)
            .take_while(|c| c.is_whitespace())
            .map(char::len_utf8)
            .sum::<usize>()
    }

    /// The byte behind `wanted`, compared with its letter case, unless a lower-case letter follows (`N` in `5NHCl`).
    pub(super) fn letters(self, at: usize, wanted: &str) -> Option<usize> {
        let rest = self.text.get(at..)?.strip_prefix(wanted)?;
        let ends = !rest.starts_with(|c: char| c.is_lowercase() || c.is_ascii_digit());
        ends.then_some(at + wanted.len())
    }

    /// The byte behind `wanted` in any letter case, whatever follows.
    pub(super) fn letters_any_case(self, at: usize, wanted: &str) -> Option<usize> {
        let candidate = self.text.get(at..at + wanted.len())?;
        candidate.eq_ignore_ascii_case(wanted).then_some(at + wanted.len())
    }

    /// The byte behind one folded word that ends there.
    pub(super) fn word(self, at: usize, wanted: &str) -> Option<usize> {
        self.words(at, wanted)
    }

    /// The byte behind words in folded form, with any spaces between them, that end at the end of a word.
    pub(super) fn words(self, start: usize, wanted: &str) -> Option<usize> {
        // Most words fail at their first letter.
        if let (Some(found), Some(first)) = (self.text.as_bytes().get(start), wanted.as_bytes().first())
            && found.is_ascii()
            && first.is_ascii()
            && !found.eq_ignore_ascii_case(first)
        {
            return None;
        }
        let mut at = start;
        let mut last = ' ';
        for c in wanted.chars() {
            if c == ' ' {
                at = self.after_spaces(at);
                continue;
            }
            for folded in fold(c) {
                // An accent of its own in the text folds to nothing.
                while self.char(at).is_some_and(|c| fold(c).next().is_none()) {
                    at += self.char(at).map_or(0, char::len_utf8);
                }
                let (found, end) = self.char_folded(at)?;
                if found != folded {
                    return None;
                }
                at = end;
                last = found;
            }
        }
        let goes_on = |c: char| c.is_alphanumeric() && !is_unspaced_script(c) && !is_unspaced_script(last);
        let ends = !last.is_alphanumeric() || !self.char(at).is_some_and(goes_on);
        ends.then_some(at)
    }
}
