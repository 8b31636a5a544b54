//! Sources from files of references: RIS and BibTeX, and the form of a DOI.
//!
//! Rows refer to a reference by its key or its DOI. A DOI is checked in its form only and never looked up.

use crate::library::{NewSource, SourceKind};
use biblatex::{Bibliography, ChunksExt, Entry, EntryType, PermissiveType, Person};
use std::collections::HashMap;

/// The references of a file, by key and by DOI.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct References {
    by_key: HashMap<String, NewSource>,
    by_doi: HashMap<String, NewSource>,
    /// References that hold no citation, with their place.
    pub refused: Vec<String>,
}

/// Why a text holds no references, or is no DOI.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ReferenceError {
    /// The BibTeX file cannot be read.
    #[error("the BibTeX file is not understood at line {line}: {detail}; mend it, or give the references as RIS")]
    Bibtex {
        /// The line.
        line: usize,
        /// What is wrong.
        detail: String,
    },
    /// There is no reference in it.
    #[error("the file holds no reference; it must be RIS (lines such as \"TY  - JOUR\") or BibTeX (@article{{…}})")]
    Empty,
    /// A text is no DOI.
    #[error("\"{text}\" does not have the form of a DOI (10.1000/xyz)")]
    Doi {
        /// The text.
        text: String,
    },
}

impl References {
    /// Reads RIS or BibTeX, told apart by content.
    ///
    /// # Errors
    /// When the text is neither, or holds no reference.
    pub fn read(text: &str) -> Result<Self, ReferenceError> {
        let text = text.trim_start_matches('\u{FEFF}');
        let is_ris = text
            .lines()
            .any(|line| ris_tag(line).is_some_and(|(tag, _)| tag == "TY"));
        let mut references = Self::default();
        if is_ris {
            references.read_ris(text);
        } else {
            references.read_bibtex(text)?;
        }
        if references.by_key.is_empty() && references.by_doi.is_empty() {
            return Err(ReferenceError::Empty);
        }
        Ok(references)
    }

    /// The reference with a key.
    pub fn by_key(&self, key: &str) -> Option<&NewSource> {
        self.by_key.get(key.trim())
    }

    /// The reference with a DOI, in the form [`doi`] gives.
    pub fn by_doi(&self, doi: &str) -> Option<&NewSource> {
        self.by_doi.get(doi)
    }

    /// How many references there are.
    pub fn len(&self) -> usize {
        self.by_key.len().max(self.by_doi.len())
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    fn add(&mut self, key: Option<&str>, place: String, source: NewSource) {
        if source.citation.is_empty() {
            self.refused.push(place);
            return;
        }
        if let Some(doi) = &source.doi {
            self.by_doi.insert(doi.clone(), source.clone());
        }
        let key = key.map(str::trim).filter(|key| !key.is_empty());
        if let Some(key) = key {
            self.by_key.insert(key.to_owned(), source);
        }
    }

    fn read_bibtex(&mut self, text: &str) -> Result<(), ReferenceError> {
        let bibliography = Bibliography::parse(text).map_err(|error| ReferenceError::Bibtex {
            line: text.get(..error.span.start).unwrap_or_default().lines().count().max(1),
            detail: error.kind.to_string(),
        })?;
        for entry in bibliography.iter() {
            self.add(
                Some(&entry.key),
                format!("reference {}", entry.key),
                bibtex_source(entry),
            );
        }
        Ok(())
    }

    fn read_ris(&mut self, text: &str) {
        let mut record = RisRecord::default();
        for (at, line) in text.lines().enumerate() {
            let Some((tag, value)) = ris_tag(line) else { continue };
            match tag {
                "TY" => {
                    record = RisRecord {
                        line: at + 1,
                        kind: value.to_owned(),
                        ..RisRecord::default()
                    }
                }
                "ER" => {
                    let record = std::mem::take(&mut record);
                    let place = format!("line {}", record.line);
                    let key = record.value(&["ID", "LB"]).map(str::to_owned);
                    self.add(key.as_deref(), place, record.source());
                }
                _ if !value.is_empty() => record.fields.push((tag.to_owned(), value.to_owned())),
                _ => {}
            }
        }
    }
}

/// The tag and value of a RIS line: two capitals or digits, two spaces, a hyphen.
fn ris_tag(line: &str) -> Option<(&str, &str)> {
    let line = line.trim_end();
    let tag = line.get(..2)?;
    let value = line.get(2..)?.trim_start().strip_prefix('-')?;
    let is_tag = tag.starts_with(|c: char| c.is_ascii_uppercase())
        && tag
            .bytes()
            .all(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit());
    is_tag.then(|| (tag, value.trim()))
}

/// One record of a RIS file.
#[derive(Default)]
struct RisRecord {
    line: usize,
    kind: String,
    fields: Vec<(String, String)>,
}

impl RisRecord {
    fn value(&self, tags: &[&str]) -> Option<&str> {
        tags.iter().find_map(|wanted| {
            self.fields
                .iter()
                .find(|(tag, _)| tag == wanted)
                .map(|(_, value)| value.as_str())
        })
    }

    fn source(&self) -> NewSource {
        let authors: Vec<&str> = self
            .fields
            .iter()
            .filter(|(tag, _)| tag == "AU" || tag == "A1")
            .map(|(_, value)| value.as_str())
            .collect();
        let year = self.value(&["PY", "Y1", "DA"]).and_then(year_in);
        let pages = match (self.value(&["SP"]), self.value(&["EP"])) {
            (Some(first), Some(last)) => Some(format!("{first}-{last}")),
            (first, _) => first.map(str::to_owned),
        };
        NewSource {
            kind: match self.kind.as_str() {
                "JOUR" | "EJOUR" | "MGZN" | "CPAPER" | "CONF" | "JFULL" | "INPR" => SourceKind::Paper,
                "PAT" => SourceKind::Patent,
                "BOOK" | "CHAP" | "EBOOK" | "ECHAP" | "EDBOOK" => SourceKind::Book,
                "THES" => SourceKind::Thesis,
                "STAND" | "LEGAL" => SourceKind::Standard,
                "DBASE" | "DATA" => SourceKind::Compilation,
                _ => SourceKind::Other,
            },
            citation: citation(&Parts {
                authors: &authors,
                container: self
                    .value(&["JO", "JF", "T2", "JA", "BT"])
                    .or_else(|| self.value(&["PB"])),
                title: self.value(&["TI", "T1"]),
                volume: self.value(&["VL"]),
                year,
                pages: pages.as_deref(),
            }),
            doi: self.value(&["DO", "M3"]).and_then(|text| doi(text).ok()),
            year,
            url: self.value(&["UR", "L2"]).map(str::to_owned),
        }
    }
}

fn bibtex_source(entry: &Entry) -> NewSource {
    let text = |name: &str| {
        entry
            .get(name)
            .map(|chunks| chunks.format_verbatim().trim().to_owned())
            .filter(|text| !text.is_empty())
    };
    let authors: Vec<String> = entry
        .author()
        .unwrap_or_default()
        .iter()
        .map(|Person { name, given_name, .. }| {
            if given_name.is_empty() {
                name.clone()
            } else {
                format!("{name}, {given_name}")
            }
        })
        .collect();
    let authors: Vec<&str> = authors.iter().map(String::as_str).collect();
    let year = text("date").or_else(|| text("year")).and_then(|text| year_in(&text));
    let pages = match entry.pages() {
        Ok(PermissiveType::Typed(ranges)) => ranges.first().map(|range| {
            if range.start == range.end {
                range.start.to_string()
            } else {
                format!("{}-{}", range.start, range.end)
            }
        }),
        _ => text("pages"),
    };
    let container = text("journaltitle")
        .or_else(|| text("journal"))
        .or_else(|| text("booktitle"))
        .or_else(|| text("publisher"))
        .or_else(|| text("school"))
        .or_else(|| text("institution"));
    NewSource {
        kind: match entry.entry_type {
            EntryType::Article | EntryType::InProceedings => SourceKind::Paper,
            EntryType::Patent => SourceKind::Patent,
            EntryType::Book | EntryType::InBook | EntryType::InCollection | EntryType::Collection => SourceKind::Book,
            EntryType::Thesis | EntryType::PhdThesis | EntryType::MastersThesis => SourceKind::Thesis,
            EntryType::Dataset => SourceKind::Compilation,
            _ => SourceKind::Other,
        },
        citation: citation(&Parts {
            authors: &authors,
            container: container.as_deref(),
            title: text("title").as_deref(),
            volume: text("volume").as_deref(),
            year,
            pages: pages.as_deref(),
        }),
        doi: text("doi").and_then(|text| doi(&text).ok()),
        year,
        url: text("url"),
    }
}

/// The parts of a citation.
struct Parts<'a> {
    authors: &'a [&'a str],
    /// Journal, book or publisher.
    container: Option<&'a str>,
    title: Option<&'a str>,
    volume: Option<&'a str>,
    year: Option<i32>,
    pages: Option<&'a str>,
}

/// A citation in the style of the starter library: authors, journal volume (year) pages. The title stands where there is
/// no journal. Empty when nothing but numbers is known.
fn citation(parts: &Parts<'_>) -> String {
    let authors = match parts.authors {
        [] => String::new(),
        all if all.len() > 3 => format!("{} et al.", all[0].trim_end_matches('.').trim()),
        all => all.join("; "),
    };
    let main = match (parts.container, parts.title) {
        (Some(container), _) => container.to_owned(),
        (None, Some(title)) => title.to_owned(),
        (None, None) => String::new(),
    };
    if authors.is_empty() && main.is_empty() {
        return String::new();
    }
    let mut place = main;
    for (before, part, after) in [
        (" ", parts.volume.map(str::to_owned), ""),
        (" (", parts.year.map(|year| year.to_string()), ")"),
        (" ", parts.pages.map(|pages| pages.replace("--", "-")), ""),
    ] {
        if let Some(part) = part {
            place.push_str(before);
            place.push_str(&part);
            place.push_str(after);
        }
    }
    let joined = if authors.is_empty() {
        place
    } else {
        format!("{authors}, {}", place.trim_start())
    };
    joined.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The first four digits of a date that are a year.
fn year_in(text: &str) -> Option<i32> {
    text.split(|c: char| !c.is_ascii_digit())
        .find(|digits| digits.len() == 4)?
        .parse()
        .ok()
        .filter(|year| (1600..2200).contains(year))
}

/// A DOI in lower case, without resolver or label. Its form is checked (`10.`, four to nine digits, a slash, a suffix
/// without spaces); whether it exists is not.
///
/// # Errors
/// When the text has another form.
pub fn doi(text: &str) -> Result<String, ReferenceError> {
    let wrong = || ReferenceError::Doi {
        text: text.chars().take(100).collect(),
    };
    let lower = text.trim().to_lowercase();
    let mut bare = lower.as_str();
    for start in [
        "https://",
        "http://",
        "dx.doi.org/",
        "doi.org/",
        "www.doi.org/",
        "doi:",
        "doi ",
    ] {
        bare = bare.strip_prefix(start).unwrap_or(bare).trim_start();
    }
    let (prefix, suffix) = bare.split_once('/').ok_or_else(wrong)?;
    let registrant = prefix.strip_prefix("10.").ok_or_else(wrong)?;
    let digits = registrant.split('.').next().unwrap_or_default();
    let fits = (4..=9).contains(&digits.len())
        && registrant.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
        && !suffix.is_empty()
        && !suffix.contains(|c: char| c.is_whitespace() || c.is_control());
    fits.then(|| bare.to_owned()).ok_or_else(wrong)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dois_are_checked_in_form() {
        for text in [
            "10.1000/XYZ-1(2)",
            "https://doi.org/10.1000/xyz-1(2)",
            "doi: 10.1000/xyz-1(2)",
            "DOI:10.1000/xyz-1(2)",
            "http://dx.doi.org/10.1000/xyz-1(2)",
        ] {
            assert_eq!(doi(text).as_deref(), Ok("10.1000/xyz-1(2)"), "{text}");
        }
        for text in [
            "",
            "10.1000",
            "11.1000/x",
            "10.10/x",
            "10.1000/x y",
            "see text",
            "10.1000/",
        ] {
            assert!(doi(text).is_err(), "{text}");
        }
    }

    #[test]
    fn ris_and_bibtex_say_the_same() {
        let ris = "TY  - JOUR\r\nID  - inv2020\r\nAU  - Writer, A.\r\nAU  - Other, B.\r\nJO  - J. Invented Chem.\r\nVL  - 1\r\n\
                   PY  - 2020/05/01\r\nSP  - 12\r\nEP  - 19\r\nDO  - 10.1000/xyz\r\nER  - \r\n";
        let bib = "@article{inv2020, author = {Writer, A. and Other, B.}, journal = {J. Invented Chem.}, volume = {1}, \
                   year = 2020, pages = {12--19}, doi = {10.1000/xyz}}";
        let ris = References::read(ris).unwrap();
        let bib = References::read(bib).unwrap();
        let source = ris.by_key("inv2020").unwrap();
        assert_eq!(
            source.citation,
            "Writer, A.; Other, B., J. Invented Chem. 1 (2020) 12-19"
        );
        assert_eq!(source, bib.by_key("inv2020").unwrap());
        assert_eq!(ris.by_doi("10.1000/xyz"), Some(source));
        assert_eq!(source.year, Some(2020));
        assert_eq!(References::read("nothing here"), Err(ReferenceError::Empty));
        assert!(matches!(
            References::read("@article{a, title = {open"),
            Err(ReferenceError::Bibtex { .. })
        ));
    }

    proptest::proptest! {
        #[test]
        fn no_text_panics(text in proptest::collection::vec(proptest::sample::select(vec![
            "@article{", "a,", "title", "=", "{", "}", "\"", "TY  - JOUR\n", "ER  - \n", "DO  - 10.1/x\n", "\\", "é", "\n",
        ]), 0..40)) {
            let _ = References::read(&text.concat());
            let _ = doi(&text.concat());
        }
    }
}
