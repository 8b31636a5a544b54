//! Readers of option values. An option takes a number with its unit; the parser of the command line puts the option's
//! name before what the reader says.

pub use crate::tasks::typed::{rotation, sign, solvent, stated_temperature};

use clap::builder::{PossibleValuesParser, TypedValueParser};

/// Words for how sure an identity is.
pub const IDENTITIES: [&str; 3] = ["sure", "likely", "unclear"];
/// Words for how a hand is known.
pub const HANDS: [&str; 3] = ["independent", "inferred", "unclear"];
/// Words for kinds of sources.
pub const SOURCE_KINDS: [&str; 10] = [
    "paper",
    "patent",
    "book",
    "thesis",
    "teaching",
    "standard",
    "compilation",
    "data-sheet",
    "own",
    "other",
];

/// A reader of one of the words in which the library stores a choice.
pub fn words<T: Clone + Send + Sync + 'static>(
    words: &'static [&'static str],
    from_word: fn(&str) -> Option<T>,
) -> impl TypedValueParser<Value = T> {
    PossibleValuesParser::new(words)
        .try_map(move |word| from_word(&word).ok_or_else(|| format!("\"{word}\" is not known")))
}

/// Reads an entry's number, with or without a leading `#`.
pub fn entry(text: &str) -> Result<crate::library::EntryId, String> {
    text.trim()
        .trim_start_matches('#')
        .parse()
        .map(crate::library::EntryId)
        .map_err(|_| "an entry is named by its number, as biot show lists it".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_listed_word_is_one_the_library_stores() {
        use crate::library::{Hand, Identity, SourceKind};
        assert!(IDENTITIES.iter().all(|word| Identity::from_word(word).is_some()));
        assert!(HANDS.iter().all(|word| Hand::from_word(word).is_some()));
        assert!(SOURCE_KINDS.iter().all(|word| SourceKind::from_word(word).is_some()));
    }
}
