//! Searching: exact names and numbers in the file, near ones through the index, ranked for a person to choose from.
//!
//! A hit is an offer. Deciding that a text means one compound is the business of `tasks::resolve`.

use super::Library;
use super::error::LibraryError;
use super::folded;
use super::index::{LONG_WORD, NameIndex, SHORTEST_BEGINNING, words_of_name};
use super::types::{Compound, CompoundId, EntryKind, ReviewState, Source, SourceId};
use crate::compound::Formula;
use crate::compound::name;
use crate::quantity::SpectralLine;
use crate::solvent::Solvent;
use crate::statement::RotationKind;
use rusqlite::OptionalExtension;
use std::collections::HashSet;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Why a compound was found, from the surest to the vaguest; hits are ranked in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Why {
    /// By InChIKey.
    InchiKey,
    /// By CAS number.
    Cas,
    /// By DOI of a source.
    Doi,
    /// By formula.
    Formula,
    /// By a name it owns, spelling of dashes, Greek letters and case aside.
    ExactName,
    /// By a name that is the same but for stereodescriptors.
    SameStem,
    /// By a name that is the same but for one typing error in a long word.
    TypingError,
    /// By a name that is the same but for one typing error and stereodescriptors.
    TypingErrorInStem,
    /// By a name that holds all words typed.
    AllWords,
    /// By a name with words that begin with the words typed.
    BeginsWith,
    /// By a name that holds some of the words typed.
    SomeWords,
}

/// A compound found.
#[derive(Clone, Debug, PartialEq)]
pub struct Hit {
    /// The compound.
    pub compound: Compound,
    /// Its name, number or formula that matched.
    pub matched: String,
    /// How it matched.
    pub why: Why,
}

/// What a search found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Found {
    /// Compounds, best first, each once.
    pub hits: Vec<Hit>,
    /// What a person should know about the search, such as that the index could not be written.
    pub notice: Option<String>,
}

/// The sign a value must have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dextro {
    /// Dextrorotatory, +.
    Plus,
    /// Laevorotatory, −.
    Minus,
}

/// What a compound's entries must hold; one entry must meet all that is asked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filter {
    /// The solvent.
    pub solvent: Option<Solvent>,
    /// The line.
    pub line: Option<SpectralLine>,
    /// The sign.
    pub sign: Option<Dextro>,
    /// The kind of entry.
    pub kind: Option<EntryKind>,
    /// The kind of rotation.
    pub rotation: Option<RotationKind>,
}

impl Library {
    /// Searches compounds by name, CAS number, InChIKey, formula or DOI of a source.
    pub fn search(&self, typed: &str, filter: &Filter, limit: usize) -> Result<Found, LibraryError> {
        let typed = typed.trim();
        let mut found = Found::default();
        if typed.is_empty() || limit == 0 {
            return Ok(found);
        }
        let mut seen = HashSet::new();
        let mut hits = self.exact_hits(typed)?;
        if hits.is_empty() {
            hits = self.named_hits(typed)?;
            let sure = hits.len();
            let (near, notice) = self.near_hits(typed)?;
            found.notice = notice;
            hits.extend(near);
            // Exact names and stems come first, whatever the order of the rest.
            hits[sure..].sort_by_key(|(_, rank)| *rank);
        }
        for (hit, _) in hits {
            if found.hits.len() == limit {
                break;
            }
            if seen.insert(hit.compound.id) && self.passes(hit.compound.id, filter)? {
                found.hits.push(hit);
            }
        }
        Ok(found)
    }

    /// Searches sources by words of their citation or by DOI.
    pub fn search_sources(&self, typed: &str, limit: usize) -> Result<Vec<Source>, LibraryError> {
        let by_doi = self.sources_by_doi(plain_doi(typed))?;
        if !by_doi.is_empty() {
            return Ok(by_doi);
        }
        if let Ok((sources, _)) = self.with_index(|index| index.sources(typed, limit))? {
            return sources.into_iter().map(|id| self.source(SourceId(id))).collect();
        }
        // Without an index: the words in their order, by a scan.
        let pattern = format!("%{}%", typed.split_whitespace().collect::<Vec<_>>().join("%"));
        let ids: Vec<i64> = self
            .connection
            .prepare_cached("SELECT id FROM source WHERE citation LIKE ? LIMIT ?")?
            .query_map((pattern, i64::try_from(limit).unwrap_or(i64::MAX)), |row| row.get(0))?
            .collect::<Result<_, _>>()?;
        ids.into_iter().map(|id| self.source(SourceId(id))).collect()
    }

    /// Hits by numbers and formulas, which match exactly or not at all.
    fn exact_hits(&self, typed: &str) -> Result<Vec<RankedHit>, LibraryError> {
        let hit = |why: Why| {
            move |compound: Compound| {
                let hit = Hit {
                    compound,
                    matched: typed.to_owned(),
                    why,
                };
                (hit, Rank::of(why, 0, 0))
            }
        };
        if is_inchikey(typed) {
            return Ok(self
                .compounds_by_inchikey(typed)?
                .into_iter()
                .map(hit(Why::InchiKey))
                .collect());
        }
        if is_cas_form(typed) {
            return Ok(self.compounds_by_cas(typed)?.into_iter().map(hit(Why::Cas)).collect());
        }
        if plain_doi(typed).starts_with("10.") {
            let mut hits = Vec::new();
            for source in self.sources_by_doi(plain_doi(typed))? {
                for entry in self.entries_of_source(source.id)? {
                    hits.push(hit(Why::Doi)(self.compound(entry.compound)?));
                }
            }
            return Ok(hits);
        }
        let starts_like_formula = typed.starts_with(|c: char| c.is_ascii_uppercase());
        if let Some(formula) = Formula::parse(typed).ok().filter(|_| starts_like_formula) {
            return Ok(self
                .compounds_by_formula(&formula.to_string())?
                .into_iter()
                .map(hit(Why::Formula))
                .collect());
        }
        Ok(Vec::new())
    }

    /// Hits by a name that is owned, or owned but for descriptors.
    fn named_hits(&self, typed: &str) -> Result<Vec<RankedHit>, LibraryError> {
        let mut hits = Vec::new();
        let exact = self.compounds_by_name(typed)?;
        let same_stem = self.compounds_by_stem(&name::stem(typed))?;
        for (compounds, why) in [(exact, Why::ExactName), (same_stem, Why::SameStem)] {
            for compound in compounds {
                let matched = best_name(&compound, typed, why);
                let rank = Rank::of(
                    why,
                    strsim::osa_distance(&folded(typed), &folded(&matched)),
                    matched.len(),
                );
                hits.push((Hit { compound, matched, why }, rank));
            }
        }
        hits.sort_by_key(|(_, rank)| *rank);
        Ok(hits)
    }

    /// Hits through the index, unranked, and what to tell about the index.
    fn near_hits(&self, typed: &str) -> Result<(Vec<RankedHit>, Option<String>), LibraryError> {
        let (names, notice) = match self.with_index(|index| index.candidates(typed))? {
            Ok((names, notice)) => (names, notice),
            Err(problem) => (
                self.names_by_scan(typed)?,
                Some(format!(
                    "the search index cannot be used ({problem}); only the beginnings of names were searched"
                )),
            ),
        };
        let typed_folded = folded(typed);
        let typed_stem = name::stem(typed);
        let typed_words = words_of_name(typed);
        let mut ranked: Vec<(Rank, String, CompoundId)> = Vec::with_capacity(names.len());
        for (name, compound) in names {
            // A stale index may know a name that is gone.
            let row: Option<(String, String, String)> = self
                .connection
                .prepare_cached("SELECT name, folded, stem FROM compound_name WHERE id = ?")?
                .query_row([name], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
                .optional()?;
            let Some((name, folded, stem)) = row else { continue };
            let why = if is_typing_error(&typed_folded, &folded) {
                Why::TypingError
            } else if is_typing_error(&typed_stem, &stem) {
                Why::TypingErrorInStem
            } else {
                let words = words_of_name(&name);
                if holds_all(&words, &typed_words, is_word_meant) {
                    Why::AllWords
                } else if holds_all(&words, &typed_words, |typed, word| {
                    is_word_meant(typed, word) || is_beginning(typed, word)
                }) {
                    Why::BeginsWith
                } else {
                    Why::SomeWords
                }
            };
            let rank = Rank::of(why, strsim::osa_distance(&typed_folded, &folded), folded.len());
            ranked.push((rank, name, CompoundId(compound)));
        }
        ranked.sort_by_key(|(rank, ..)| *rank);
        let mut seen = HashSet::new();
        let mut hits = Vec::new();
        for (rank, matched, id) in ranked {
            if seen.insert(id) && hits.len() < MOST_HITS {
                let compound = self.compound(id)?;
                let why = rank.why;
                hits.push((Hit { compound, matched, why }, rank));
            }
        }
        Ok((hits, notice))
    }

    /// Runs a search in the index, opening or renewing it first. When it fails, it is rebuilt and tried once more; when
    /// that fails too, the inner error says why it has to do without.
    fn with_index<T>(
        &self,
        run: impl Fn(&NameIndex) -> Result<T, LibraryError>,
    ) -> Result<Result<(T, Option<String>), String>, LibraryError> {
        let mut slot = self.index.borrow_mut();
        for is_last in [false, true] {
            let attempt = catch_unwind(AssertUnwindSafe(|| -> Result<(T, Option<String>), LibraryError> {
                let index = match slot.take() {
                    Some(mut index) => {
                        if !index.is_current(&self.connection)? {
                            index.refresh(&self.connection)?;
                        }
                        index
                    }
                    None => NameIndex::open(&self.connection, &self.path)?,
                };
                let result = run(&index)?;
                let notice = index.notice.clone();
                *slot = Some(index);
                Ok((result, notice))
            }));
            let problem = match attempt {
                Ok(Ok(result)) => return Ok(Ok(result)),
                Ok(Err(LibraryError::Sqlite(error))) => return Err(super::file::in_words(&self.path, error)),
                Ok(Err(error)) => error.to_string(),
                // Reading damaged files of the index may end in a panic of its library.
                Err(_) => "it is damaged".to_owned(),
            };
            *slot = None;
            if is_last {
                return Ok(Err(problem));
            }
            NameIndex::discard(&self.path);
        }
        Ok(Err("it could not be opened".to_owned()))
    }

    /// Names that begin like the typed one: what is left without an index.
    fn names_by_scan(&self, typed: &str) -> Result<Vec<(i64, i64)>, LibraryError> {
        let stem = name::stem(typed);
        let beginning: String = stem.chars().take(4).collect();
        if beginning.is_empty() {
            return Ok(Vec::new());
        }
        let end = format!("{beginning}\u{10FFFF}");
        let mut select = self
            .connection
            .prepare_cached("SELECT id, compound FROM compound_name WHERE stem >= ? AND stem < ? LIMIT 5000")?;
        let names = select.query_map((beginning, end), |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(names.collect::<Result<_, _>>()?)
    }

    fn passes(&self, compound: CompoundId, filter: &Filter) -> Result<bool, LibraryError> {
        if *filter == Filter::default() {
            return Ok(true);
        }
        let entries = self.entries(compound)?;
        Ok(entries
            .iter()
            .filter(|entry| entry.state != ReviewState::Withdrawn)
            .any(|entry| {
                let statement = &entry.statement;
                let solvent_fits = filter.solvent.is_none() || statement.solvent == filter.solvent;
                let line_fits = filter
                    .line
                    .as_ref()
                    .is_none_or(|line| statement.line.as_ref().is_some_and(|stated| stated.same_light(line)));
                let sign_fits = filter.sign.is_none_or(|sign| {
                    statement.central_value().is_some_and(|value| match sign {
                        Dextro::Plus => value > 0.0,
                        Dextro::Minus => value < 0.0,
                    })
                });
                let kind_fits = filter.kind.is_none_or(|kind| entry.kind == kind);
                let rotation_fits = filter.rotation.is_none_or(|rotation| statement.kind == rotation);
                solvent_fits && line_fits && sign_fits && kind_fits && rotation_fits
            }))
    }
}

/// A hit and where it stands.
type RankedHit = (Hit, Rank);

/// Most hits that are made into compounds before the filter.
const MOST_HITS: usize = 200;

/// Where a hit stands among others.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Rank {
    why: Why,
    distance: usize,
    length: usize,
}

impl Rank {
    fn of(why: Why, distance: usize, length: usize) -> Self {
        Self { why, distance, length }
    }
}

/// The name of a compound that made it a hit.
fn best_name(compound: &Compound, typed: &str, why: Why) -> String {
    let wanted = folded(typed);
    let stem = name::stem(typed);
    std::iter::once(&compound.name)
        .chain(&compound.other_names)
        .filter(|name| match why {
            Why::ExactName => folded(name) == wanted,
            _ => name::stem(name) == stem,
        })
        .min_by_key(|name| strsim::osa_distance(&wanted, &folded(name)))
        .unwrap_or(&compound.name)
        .clone()
}

/// Whether two folded names differ by one insertion, deletion, exchange or transposition inside one word of at least
/// six letters, everything else being the same.
fn is_typing_error(typed: &str, meant: &str) -> bool {
    if strsim::osa_distance(typed, meant) != 1 {
        return false;
    }
    // What is left between the common beginning and the common end, widened to whole words.
    let typed: Vec<char> = typed.chars().collect();
    let meant: Vec<char> = meant.chars().collect();
    let start = typed.iter().zip(&meant).take_while(|(a, b)| a == b).count();
    let most_end = typed.len().min(meant.len()) - start;
    let end = typed
        .iter()
        .rev()
        .zip(meant.iter().rev())
        .take(most_end)
        .take_while(|(a, b)| a == b)
        .count();
    let changed_typed = &typed[start..typed.len() - end];
    let changed_meant = &meant[start..meant.len() - end];
    if !changed_typed.iter().chain(changed_meant).all(|c| c.is_alphabetic()) {
        return false;
    }
    let before = meant[..start].iter().rev().take_while(|c| c.is_alphabetic()).count();
    let after = meant[meant.len() - end..]
        .iter()
        .take_while(|c| c.is_alphabetic())
        .count();
    before + changed_meant.len() + after >= LONG_WORD
}

/// Whether each word typed may stand for some word of a name.
fn holds_all(words: &[String], typed: &[String], may_be: impl Fn(&str, &str) -> bool) -> bool {
    typed.iter().all(|typed| words.iter().any(|word| may_be(typed, word)))
}

/// Whether a word typed is the one meant; a long word may differ by one typing error.
fn is_word_meant(typed: &str, meant: &str) -> bool {
    typed == meant || (meant.chars().count() >= LONG_WORD && is_typing_error(typed, meant))
}

/// Whether a word typed is the beginning of another, and long enough to be taken for it.
fn is_beginning(typed: &str, meant: &str) -> bool {
    typed.chars().filter(|c| c.is_alphabetic()).count() >= SHORTEST_BEGINNING && meant.starts_with(typed)
}

/// A DOI without resolver or label.
fn plain_doi(text: &str) -> &str {
    let text = text.trim();
    [
        "https://doi.org/",
        "http://doi.org/",
        "https://dx.doi.org/",
        "http://dx.doi.org/",
        "doi:",
        "DOI:",
    ]
    .iter()
    .find_map(|prefix| text.strip_prefix(prefix))
    .unwrap_or(text)
    .trim()
}

/// Whether a text has the form of an InChIKey: 14, 10 and 1 capital letters.
pub fn is_inchikey(text: &str) -> bool {
    let blocks: Vec<&str> = text.split('-').collect();
    blocks.iter().map(|block| block.len()).eq([14, 10, 1])
        && blocks.iter().all(|block| block.bytes().all(|b| b.is_ascii_uppercase()))
}

/// Whether a text has the form of a CAS number.
fn is_cas_form(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    parts.len() == 3
        && (2..=7).contains(&parts[0].len())
        && parts[1].len() == 2
        && parts[2].len() == 1
        && parts.iter().all(|part| part.bytes().all(|b| b.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_typing_error_is_one_slip_in_a_long_word() {
        assert!(is_typing_error("(r)-carvnoe", "(r)-carvone"));
        assert!(is_typing_error("alanin hydrochloride", "alanine hydrochloride"));
        assert!(!is_typing_error("(r)-carvone", "(s)-carvone"));
        assert!(!is_typing_error("2-methylbutane", "3-methylbutane"));
        assert!(!is_typing_error("serinr", "serinr"));
        assert!(!is_typing_error("borane", "borame hydride"));
    }

    #[test]
    fn a_beginning_has_three_letters() {
        assert!(is_beginning("cho", "cholesterol"));
        assert!(!is_beginning("ch", "cholesterol"));
        assert!(!is_beginning("17-", "17-beta"));
        assert!(!is_beginning("esterol", "cholesterol"));
    }

    #[test]
    fn numbers_are_known_by_their_form() {
        assert!(is_inchikey("ULDHMXUKGWMISQ-SECBINFHSA-N"));
        assert!(!is_inchikey("ULDHMXUKGWMISQ-SECBINFHSA"));
        assert!(is_cas_form("99-49-0") && !is_cas_form("1-2-3"));
        assert_eq!(plain_doi("https://doi.org/10.1021/x"), "10.1021/x");
    }
}
