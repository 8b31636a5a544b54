//! Text cells of spreadsheets and the formula guard.
//!
//! A spreadsheet runs a text that begins with `=`, `+`, `-`, `@`, a tab or a carriage return as a formula. Such texts are
//! written with a leading apostrophe and read without it. Numbers are never guarded: they stay numbers.

use std::borrow::Cow;

/// Whether a text, its leading apostrophes aside, begins as a formula does.
fn looks_like_formula(text: &str) -> bool {
    text.trim_start_matches('\'')
        .starts_with(['=', '+', '-', '@', '\t', '\r'])
}

/// A text as it is written into a cell. A text that has an apostrophe there already gets one more, so that
/// [`unguard_cell`] gives back every text as it was.
pub fn guard_cell(text: &str) -> Cow<'_, str> {
    if looks_like_formula(text) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// A text as it was before [`guard_cell`].
pub fn unguard_cell(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(inner) if looks_like_formula(inner) => inner,
        _ => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn formulas_are_guarded_and_other_texts_left_alone() {
        for (text, guarded) in [
            ("=1+1", "'=1+1"),
            ("-menthol", "'-menthol"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\tx", "'\tx"),
            ("\r=x", "'\r=x"),
            ("'=1", "''=1"),
            ("menthol", "menthol"),
            ("'quoted'", "'quoted'"),
            ("5'-AMP", "5'-AMP"),
            ("", ""),
        ] {
            assert_eq!(guard_cell(text), guarded);
            assert_eq!(unguard_cell(guarded), text);
        }
    }

    proptest! {
        #[test]
        fn every_text_comes_back_and_none_runs(text in "['=+@\t\r\n-]{0,4}.{0,20}") {
            let guarded = guard_cell(&text);
            prop_assert_eq!(unguard_cell(&guarded), &text[..]);
            prop_assert!(!guarded.starts_with(['=', '+', '-', '@', '\t', '\r']));
        }
    }
}
