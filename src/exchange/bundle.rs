//! The bundle: a file from which another library takes compounds, sources and entries under their stable ids.
//!
//! JSON Lines, described by `schema/bundle.schema.json`: a header with the version of the format, the compounds, the
//! sources, the entries, and a last line with their counts and the SHA-256 of all lines before it. Every number is a
//! text, so that its digits survive. [`BundleWriter`] writes one; [`BundleReader`] reads one line after the other and
//! refuses what is newer, damaged or cut off, with the line. What becomes of a record that differs from one here is the
//! business of [`super::take`].

use super::export::{Exported, Limit, entry_line};
use super::fields::{self, Cell, FieldError, Record, compound_content, compound_record, source_content, source_record};
use crate::compound::{InchiKey, Structure};
use crate::library::{Compound, Entry, HistoryHead, NewCompound, NewSource, Source};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::HashSet;
use std::io::{self, BufRead, Read, Write};
use uuid::Uuid;

/// The word that tells a bundle from other JSON Lines.
const FORMAT: &str = "biot-bundle";

/// The version of the format that is written, and the newest that is read.
pub const VERSION: u64 = 1;

/// Longest line that is read, bytes; no record comes near it.
const MOST_LINE: u64 = 16 << 20;

/// What a bundle cannot hold.
pub const LIMITS: [Limit; 2] = [
    Limit {
        what: "history",
        why: "its newest hash stands in the header, its lines stay here",
    },
    Limit {
        what: "revision",
        why: "another library counts the changes made there",
    },
];

/// The first line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// `header`.
    record: String,
    /// `biot-bundle`.
    format: String,
    /// Version of the format.
    pub version: u64,
    /// Version of the program that wrote it.
    pub program: String,
    /// When, RFC 3339.
    pub created: String,
    /// Lines of the history of the library it was written from.
    #[serde(default)]
    pub history_lines: u64,
    /// The hash of the newest of them.
    #[serde(default)]
    pub history_digest: Option<String>,
}

/// The last line.
#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct End {
    record: String,
    compounds: u64,
    sources: u64,
    entries: u64,
    sha256: String,
}

/// Why a bundle is refused. Nothing of it is taken in.
#[derive(Debug, thiserror::Error)]
pub enum BundleError {
    /// The file is something else.
    #[error("line 1: this is no bundle ({found}); a bundle is written by `biot export FILE.bundle`")]
    NotABundle {
        /// What stands there.
        found: String,
    },
    /// A newer program wrote it.
    #[error("line 1: the bundle has version {found}, newer than version {VERSION} of this program; use a newer Biot")]
    Newer {
        /// Its version.
        found: u64,
    },
    /// A line is damaged.
    #[error("line {line}: {reason}; ask for the bundle once more")]
    Damaged {
        /// The line, from one.
        line: u64,
        /// What is wrong with it.
        reason: String,
    },
    /// The file cannot be read.
    #[error("line {line}: the bundle cannot be read: {source}")]
    Io {
        /// The line, from one.
        line: u64,
        /// What the system says.
        source: io::Error,
    },
}

/// A record of a bundle.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// A compound.
    Compound {
        /// Its stable id.
        uid: String,
        /// What it holds.
        compound: NewCompound,
    },
    /// A source.
    Source {
        /// Its stable id.
        uid: String,
        /// What it holds.
        source: NewSource,
    },
    /// An entry.
    Entry {
        /// Its stable id.
        uid: String,
        /// The stable id of its compound, which stands before it in the bundle.
        compound: String,
        /// The stable id of its source, which stands before it in the bundle.
        source: String,
        /// Its fields.
        fields: Record,
    },
}

/// Writes a bundle.
pub struct BundleWriter<'a> {
    out: io::BufWriter<&'a mut dyn Write>,
    digest: Sha256,
    done: Exported,
}

impl<'a> BundleWriter<'a> {
    /// Writes the header.
    pub fn new(out: &'a mut dyn Write, created: &str, history: Option<&HistoryHead>) -> io::Result<Self> {
        let mut writer = Self {
            out: io::BufWriter::new(out),
            digest: Sha256::new(),
            done: Exported::default(),
        };
        writer.line(&Header {
            record: "header".to_owned(),
            format: FORMAT.to_owned(),
            version: VERSION,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            created: created.to_owned(),
            history_lines: history.map_or(0, |history| history.n_lines),
            history_digest: history.map(|history| history.digest.clone()),
        })?;
        Ok(writer)
    }

    /// Writes a compound.
    pub fn compound(&mut self, compound: &Compound) -> io::Result<()> {
        self.done.compounds += 1;
        self.record(
            "compound",
            Some(&compound.uid),
            compound_record(&compound_content(compound)),
        )
    }

    /// Writes a source.
    pub fn source(&mut self, source: &Source) -> io::Result<()> {
        self.done.sources += 1;
        self.record("source", Some(&source.uid), source_record(&source_content(source)))
    }

    /// Writes an entry; its compound and source must have been written.
    pub fn entry(&mut self, entry: &Entry, compound_uid: &str, source_uid: &str) -> io::Result<()> {
        self.done.entries += 1;
        self.record("entry", None, entry_line(entry, compound_uid, source_uid))
    }

    /// Writes the last line.
    pub fn finish(mut self) -> io::Result<Exported> {
        let end = End {
            record: "end".to_owned(),
            compounds: self.done.compounds,
            sources: self.done.sources,
            entries: self.done.entries,
            sha256: hexadecimal(&self.digest.clone().finalize()),
        };
        self.line(&end)?;
        self.out.flush()?;
        Ok(self.done)
    }

    fn record(&mut self, kind: &str, uid: Option<&str>, mut record: Record) -> io::Result<()> {
        record.insert("record".to_owned(), Cell::Text(kind.to_owned()));
        if let Some(uid) = uid {
            record.insert("uid".to_owned(), Cell::Text(uid.to_owned()));
        }
        self.line(&record)
    }

    fn line(&mut self, line: &impl Serialize) -> io::Result<()> {
        let mut text = serde_json::to_vec(line)?;
        text.push(b'\n');
        self.digest.update(&text);
        self.out.write_all(&text)
    }
}

/// Reads a bundle line by line.
pub struct BundleReader<R> {
    input: R,
    header: Header,
    line: u64,
    digest: Sha256,
    /// Stable ids of the compounds, sources and entries so far.
    seen: [HashSet<Uuid>; 3],
    is_at_end: bool,
}

impl<R: BufRead> BundleReader<R> {
    /// Reads the header.
    pub fn new(input: R) -> Result<Self, BundleError> {
        let mut reader = Self {
            input,
            header: Header {
                record: String::new(),
                format: String::new(),
                version: 0,
                program: String::new(),
                created: String::new(),
                history_lines: 0,
                history_digest: None,
            },
            line: 0,
            digest: Sha256::new(),
            seen: Default::default(),
            is_at_end: false,
        };
        let not_a_bundle = |found: &str| BundleError::NotABundle {
            found: found.to_owned(),
        };
        let text = match reader.next_line() {
            Ok(Some(text)) => text,
            Ok(None) => return Err(not_a_bundle("it is empty")),
            Err(BundleError::Damaged { reason, .. }) => return Err(not_a_bundle(&reason)),
            Err(error) => return Err(error),
        };
        // The version is looked at before the rest, which a newer version may have changed.
        let value: serde_json::Value =
            serde_json::from_str(&text).map_err(|_| not_a_bundle("its first line is no JSON"))?;
        if value["format"] != FORMAT {
            return Err(not_a_bundle("its first line is no header of one"));
        }
        match value["version"].as_u64() {
            Some(version) if version > VERSION => return Err(BundleError::Newer { found: version }),
            Some(version) if version > 0 => {}
            _ => return Err(reader.damaged("the header has no version")),
        }
        reader.header = serde_json::from_value(value)
            .map_err(|error| reader.damaged(format!("the header cannot be read: {error}")))?;
        Ok(reader)
    }

    /// The header.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// The line of the item read last, from one.
    pub fn line(&self) -> u64 {
        self.line
    }

    /// The next item; None behind the last, when the counts and the digest of the last line are right.
    ///
    /// # Errors
    /// When the line is damaged, and when the bundle ends without its last line.
    pub fn next_item(&mut self) -> Result<Option<Item>, BundleError> {
        if self.is_at_end {
            return Ok(None);
        }
        let so_far = self.digest.clone();
        let Some(text) = self.next_line()? else {
            self.line += 1;
            return Err(self.damaged("the last line is missing: the file was cut off"));
        };
        let value: serde_json::Value =
            serde_json::from_str(&text).map_err(|error| self.damaged(format!("this is no JSON ({error})")))?;
        if value["record"] == "end" {
            self.end(value, so_far)?;
            return Ok(None);
        }
        let mut record: Record = serde_json::from_value(value)
            .map_err(|_| self.damaged("a field holds neither a text, nor true or false, nor a list of texts"))?;
        let kind = self.take_text(&mut record, "record")?;
        let uid = self.take_uid(&mut record, "uid")?;
        let place = match kind.as_str() {
            "compound" => 0,
            "source" => 1,
            "entry" => 2,
            other => return Err(self.damaged(format!("\"{other}\" is no kind of record"))),
        };
        if !self.seen[place].insert(uid) {
            return Err(self.damaged(format!("the {kind} {uid} stands here for the second time")));
        }
        let uid = uid.to_string();
        let item = match place {
            0 => {
                let compound = fields::compound_from(record).map_err(|error| self.field(&error))?;
                self.check_structure(&compound)?;
                Item::Compound { uid, compound }
            }
            1 => {
                let mut source = fields::source_from(record).map_err(|error| self.field(&error))?;
                source.doi = source.doi.map(|doi| doi.trim().to_lowercase());
                Item::Source { uid, source }
            }
            _ => {
                let compound = self.take_uid(&mut record, "compound_uid")?;
                let source = self.take_uid(&mut record, "source_uid")?;
                // The number of changes made elsewhere says nothing here.
                record.remove("revision");
                for (place, id, what) in [(0, compound, "compound"), (1, source, "source")] {
                    if !self.seen[place].contains(&id) {
                        return Err(self.damaged(format!("the {what} {id} of this entry does not stand before it")));
                    }
                }
                Item::Entry {
                    uid,
                    compound: compound.to_string(),
                    source: source.to_string(),
                    fields: record,
                }
            }
        };
        Ok(Some(item))
    }

    /// An error of a field of the item read last.
    pub fn field(&self, error: &FieldError) -> BundleError {
        self.damaged(error.to_string())
    }

    /// An error of the item read last.
    pub fn damaged(&self, reason: impl Into<String>) -> BundleError {
        BundleError::Damaged {
            line: self.line,
            reason: reason.into(),
        }
    }

    fn end(&mut self, value: serde_json::Value, digest: Sha256) -> Result<(), BundleError> {
        let end: End = serde_json::from_value(value)
            .map_err(|error| self.damaged(format!("the last line is damaged: {error}")))?;
        let found = self.seen.each_ref().map(|seen| seen.len() as u64);
        if found != [end.compounds, end.sources, end.entries] {
            return Err(self.damaged("records are missing, or there are more than were written"));
        }
        if end.sha256 != hexadecimal(&digest.finalize()) {
            return Err(self.damaged("the SHA-256 does not fit the lines above: one of them was changed"));
        }
        if self.next_line()?.is_some() {
            return Err(self.damaged("this stands behind the last line"));
        }
        self.is_at_end = true;
        Ok(())
    }

    /// The InChIKey must be that of the InChI, and the mirror image its mirror image: a wrong one would file values
    /// under another compound.
    fn check_structure(&self, compound: &NewCompound) -> Result<(), BundleError> {
        for (field, key) in [("inchikey", &compound.inchikey), ("mirror_key", &compound.mirror_key)] {
            if let Some(key) = key
                && key.parse::<InchiKey>().is_err()
            {
                return Err(self.damaged(format!("the field {field} holds \"{key}\", which is no InChIKey")));
            }
        }
        let (Some(inchi), Some(key)) = (&compound.inchi, &compound.inchikey) else {
            return Ok(());
        };
        let Ok(structure) = Structure::from_inchi(inchi) else {
            return Err(self.damaged("the InChI cannot be read"));
        };
        if structure.key().as_str() != key {
            return Err(self.damaged(format!(
                "the InChIKey {key} is not that of the InChI, {}",
                structure.key()
            )));
        }
        if let (Some(mirror), Ok(image)) = (&compound.mirror_key, structure.mirror_image())
            && image.key().as_str() != mirror
        {
            return Err(self.damaged(format!("{mirror} is not the InChIKey of the mirror image")));
        }
        Ok(())
    }

    fn take_text(&self, record: &mut Record, field: &str) -> Result<String, BundleError> {
        match record.remove(field) {
            Some(Cell::Text(text)) => Ok(text),
            _ => Err(self.damaged(format!("the field {field} is missing"))),
        }
    }

    fn take_uid(&self, record: &mut Record, field: &str) -> Result<Uuid, BundleError> {
        let text = self.take_text(record, field)?;
        Uuid::try_parse(&text)
            .ok()
            .filter(|uid| uid.to_string() == text)
            .ok_or_else(|| self.damaged(format!("the field {field} holds \"{text}\", which is no stable id")))
    }

    fn next_line(&mut self) -> Result<Option<String>, BundleError> {
        let mut bytes = Vec::new();
        let read = (&mut self.input).take(MOST_LINE).read_until(b'\n', &mut bytes);
        match read {
            Err(source) => Err(BundleError::Io {
                line: self.line + 1,
                source,
            }),
            Ok(0) => Ok(None),
            Ok(n) => {
                self.line += 1;
                if n as u64 == MOST_LINE && !bytes.ends_with(b"\n") {
                    return Err(self.damaged(format!("it has more than {MOST_LINE} bytes")));
                }
                self.digest.update(&bytes);
                String::from_utf8(bytes)
                    .map(Some)
                    .map_err(|_| self.damaged("it is no text in UTF-8"))
            }
        }
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
