//! The search index: a cache of names and citations beside the file, in the folder `<file>.index`.
//!
//! It shows one state of one library, which it records; it is brought up to date, or rebuilt when absent, damaged or of
//! another library, by whoever searches next. Where its folder cannot be used it is built in memory, or done without.
//! Exact names, numbers and formulas never come here: the file itself answers them. Start reading at [`NameIndex`].

use super::error::LibraryError;
use super::folded;
use crate::compound::name::{self, TokenKind};
use rusqlite::{Connection, OptionalExtension};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tantivy::collector::TopDocs;
use tantivy::query::{BooleanQuery, FuzzyTermQuery, Occur, Query, TermQuery};
use tantivy::schema::{Field, INDEXED, IndexRecordOption, STRING, Schema, TextFieldIndexing, TextOptions};
use tantivy::tokenizer::{PreTokenizedString, Token};
use tantivy::{Index, IndexReader, IndexWriter, ReloadPolicy, Searcher, TantivyDocument, TantivyError, Term};

/// Raised when the fields or the folding of names change, so that older indexes are rebuilt.
pub(super) const INDEX_FORMAT: u32 = 1;

/// Up to this many names an index is built in memory where the folder cannot be used; beyond, it would take too long.
const MOST_NAMES_IN_MEMORY: i64 = 100_000;

/// Memory of the writer, bytes.
const WRITER_MEMORY: usize = 64 << 20;

/// Words of at least this many letters may hold one typing error.
pub(super) const LONG_WORD: usize = 6;

/// Words are taken for the beginning of longer ones from this many letters on.
pub(super) const SHORTEST_BEGINNING: usize = 3;

/// How many names are taken from the index before they are ranked.
const N_CANDIDATES: usize = 120;

/// How many names with words that begin as typed are taken from the index before they are ranked.
const N_BEGUN_CANDIDATES: usize = 400;

/// Most spellings a word with a typing error is taken for.
const MOST_SPELLINGS: usize = 64;

/// Most longer words a beginning is taken for, the shortest ones.
const MOST_BEGUN: usize = 256;

/// Most words of the dictionary looked at for one beginning.
const MOST_BEGUN_READ: usize = 10_000;

/// An index that shows the present state, or the newest one that could be had.
pub(super) struct NameIndex {
    index: Index,
    reader: IndexReader,
    fields: Fields,
    shown: Shown,
    folder: Option<PathBuf>,
    /// What a person should know about the index, such as that it could not be written.
    pub(super) notice: Option<String>,
}

/// The state an index shows, recorded in its newest commit.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
struct Shown {
    format: u32,
    /// The library's stable id.
    library: String,
    /// The state of names and sources.
    state: i64,
    /// The newest line of the history then, which tells a library from a copy that went another way.
    line: i64,
    /// That line's hash.
    hash: String,
}

/// A word typed, as the words of names it may stand for.
struct WordTyped {
    /// The word itself, or, where it is long, its spellings with one typing error.
    spellings: Vec<Term>,
    /// Longer words that begin with it.
    begun: Vec<Term>,
}

#[derive(Clone, Copy)]
struct Fields {
    compound: Field,
    name_id: Field,
    folded: Field,
    stem: Field,
    tokens: Field,
    source: Field,
    words: Field,
}

impl NameIndex {
    /// Opens the index of a library and brings it up to date.
    ///
    /// # Errors
    /// When neither the folder nor memory will do; searching then goes on in the file.
    pub(super) fn open(connection: &Connection, library: &Path) -> Result<Self, LibraryError> {
        let folder = folder_of(library);
        match Self::open_in_folder(connection, &folder) {
            Ok(index) => Ok(index),
            Err(problem) => {
                let n_names: i64 = connection.query_row("SELECT count(*) FROM compound_name", [], |row| row.get(0))?;
                if n_names > MOST_NAMES_IN_MEMORY {
                    return Err(problem);
                }
                let mut index = Self::in_memory(connection)?;
                index.notice = Some(format!(
                    "the search index {} cannot be used ({problem}); names are searched in memory",
                    folder.display()
                ));
                Ok(index)
            }
        }
    }

    /// Throws the folder away, to be rebuilt by the next search.
    pub(super) fn discard(library: &Path) {
        // A folder that cannot be removed is found stale or damaged later, and said so then.
        let _ = set_aside(&folder_of(library));
    }

    /// Whether the index shows the present state.
    pub(super) fn is_current(&self, connection: &Connection) -> Result<bool, LibraryError> {
        Ok(self.shown.state == present(connection)?.state)
    }

    /// Brings an open index up to date.
    pub(super) fn refresh(&mut self, connection: &Connection) -> Result<(), LibraryError> {
        let now = present(connection)?;
        if self.shown == now || self.shown.state == now.state {
            return Ok(());
        }
        match self.update(connection) {
            Ok(()) => {
                self.notice = None;
                Ok(())
            }
            Err(LibraryError::Index(TantivyError::LockFailure(..))) if self.folder.is_some() => {
                self.notice =
                    Some("another process is renewing the search index; newest names may be missing".to_owned());
                Ok(())
            }
            Err(error) => Err(error),
        }
    }

    /// Names that may be what was typed, for ranking: (name number, compound number).
    pub(super) fn candidates(&self, typed: &str) -> Result<Vec<(i64, i64)>, LibraryError> {
        let searcher = self.reader.searcher();
        let mut found: BTreeSet<(i64, i64)> = BTreeSet::new();
        let folded = folded(typed);
        let stem = name::stem(typed);
        // The whole name, or all of it but its descriptors, with one typing error.
        for (field, text) in [(self.fields.folded, &folded), (self.fields.stem, &stem)] {
            if has_long_word(text) && text.len() <= 1000 {
                let spellings = Self::spellings(&searcher, field, text)?;
                found.extend(Self::names(&searcher, &any_of(&spellings), N_CANDIDATES)?);
            }
        }
        // All words, each with one typing error; then all, each whole or begun; then any of them.
        let words = self.words_typed(&searcher, typed)?;
        if !words.is_empty() {
            let all = words.iter().map(|word| must(&word.spellings)).collect();
            found.extend(Self::names(&searcher, &BooleanQuery::new(all), N_CANDIDATES)?);
            if words.iter().any(|word| !word.begun.is_empty()) {
                let all = words
                    .iter()
                    .map(|word| must(&[word.spellings.as_slice(), &word.begun].concat()))
                    .collect();
                found.extend(Self::names(&searcher, &BooleanQuery::new(all), N_BEGUN_CANDIDATES)?);
            }
            if found.is_empty() {
                let any: Vec<Term> = words.into_iter().flat_map(|word| word.spellings).collect();
                found.extend(Self::names(&searcher, &any_of(&any), N_CANDIDATES)?);
            }
        }
        Ok(found.into_iter().collect())
    }

    /// Sources whose citation holds the words, best first.
    pub(super) fn sources(&self, typed: &str, limit: usize) -> Result<Vec<i64>, LibraryError> {
        let searcher = self.reader.searcher();
        let clauses: Vec<(Occur, Box<dyn Query>)> = words_of(typed)
            .into_iter()
            .map(|word| -> (Occur, Box<dyn Query>) {
                let term = Term::from_field_text(self.fields.words, &word);
                (
                    Occur::Must,
                    Box::new(TermQuery::new(term, IndexRecordOption::WithFreqs)),
                )
            })
            .collect();
        if clauses.is_empty() || limit == 0 {
            return Ok(Vec::new());
        }
        let top = searcher.search(
            &BooleanQuery::new(clauses),
            &TopDocs::with_limit(limit).order_by_score(),
        )?;
        let mut sources = Vec::with_capacity(top.len());
        for (_, address) in top {
            let column = searcher
                .segment_reader(address.segment_ord)
                .fast_fields()
                .u64("source")?;
            if let Some(source) = column.first(address.doc_id) {
                sources.push(source.cast_signed());
            }
        }
        Ok(sources)
    }

    /// What each word typed may stand for in a name; words of one letter, locants and descriptors are left out.
    fn words_typed(&self, searcher: &Searcher, typed: &str) -> Result<Vec<WordTyped>, LibraryError> {
        let mut words = Vec::new();
        for token in name::tokens(typed) {
            if token.kind == TokenKind::Descriptor {
                continue;
            }
            let word = token.text;
            let n_letters = word.chars().filter(|c| c.is_alphabetic()).count();
            if n_letters < 2 {
                continue;
            }
            // A letter may be the one that was left out.
            let spellings = if n_letters + 1 >= LONG_WORD {
                Self::spellings(searcher, self.fields.tokens, &word)?
            } else {
                vec![Term::from_field_text(self.fields.tokens, &word)]
            };
            let begun = if n_letters >= SHORTEST_BEGINNING {
                self.begun(searcher, &word)?
            } else {
                Vec::new()
            };
            words.push(WordTyped { spellings, begun });
        }
        Ok(words)
    }

    /// The longer words that begin with a text, the shortest first; descriptors, such as `trans`, are no words.
    fn begun(&self, searcher: &Searcher, beginning: &str) -> Result<Vec<Term>, LibraryError> {
        let mut words: BTreeSet<(usize, String)> = BTreeSet::new();
        for segment in searcher.segment_readers() {
            let inverted = segment.inverted_index(self.fields.tokens)?;
            let dictionary = inverted.terms();
            let mut terms = dictionary
                .range()
                .gt(beginning)
                .into_stream()
                .map_err(TantivyError::from)?;
            let mut n_read = 0;
            while n_read < MOST_BEGUN_READ && terms.advance() && terms.key().starts_with(beginning.as_bytes()) {
                n_read += 1;
                if let Ok(word) = std::str::from_utf8(terms.key()) {
                    words.insert((word.len(), word.to_owned()));
                }
                if words.len() > MOST_BEGUN {
                    words.pop_last();
                }
            }
        }
        Ok(words
            .into_iter()
            .filter(|(_, word)| name::descriptors(&format!("{word}-")).is_empty())
            .map(|(_, word)| Term::from_field_text(self.fields.tokens, &word))
            .collect())
    }

    /// The terms of a field within one insertion, deletion, exchange or transposition of a text.
    fn spellings(searcher: &Searcher, field: Field, text: &str) -> Result<Vec<Term>, LibraryError> {
        let mut spellings = BTreeSet::new();
        let query = FuzzyTermQuery::new(Term::from_field_text(field, text), 1, true);
        for segment in searcher.segment_readers() {
            let inverted = segment.inverted_index(field)?;
            let mut terms = inverted
                .terms()
                .search(query.automaton()?)
                .into_stream()
                .map_err(TantivyError::from)?;
            while terms.advance() && spellings.len() < MOST_SPELLINGS {
                if let Ok(text) = std::str::from_utf8(terms.key()) {
                    spellings.insert(Term::from_field_text(field, text));
                }
            }
        }
        Ok(spellings.into_iter().collect())
    }

    /// The names that meet a query best, not more than a number.
    fn names(searcher: &Searcher, query: &dyn Query, most: usize) -> Result<Vec<(i64, i64)>, LibraryError> {
        let top = searcher.search(query, &TopDocs::with_limit(most).order_by_score())?;
        let columns = searcher
            .segment_readers()
            .iter()
            .map(|segment| {
                let fast = segment.fast_fields();
                Ok((fast.u64("name_id")?, fast.u64("compound")?))
            })
            .collect::<Result<Vec<_>, TantivyError>>()?;
        let mut names = Vec::with_capacity(top.len());
        for (_, address) in top {
            let Some((name_id, compound)) = columns.get(address.segment_ord as usize) else {
                continue;
            };
            if let (Some(name), Some(compound)) = (name_id.first(address.doc_id), compound.first(address.doc_id)) {
                names.push((name.cast_signed(), compound.cast_signed()));
            }
        }
        Ok(names)
    }

    /// The index in the folder, brought up to date; a new one is built beside it and takes its name in one step, so that
    /// no other process ever sees half an index or loses the one it reads.
    fn open_in_folder(connection: &Connection, folder: &Path) -> Result<Self, LibraryError> {
        if let Some(index) = Self::usable(connection, folder) {
            return Ok(index);
        }
        let staged = beside(folder, "new");
        let built = create_private_folder(&staged)
            .map_err(|error| io(folder, error))
            .and_then(|()| Ok(Index::create_in_dir(&staged, schema().0)?))
            .and_then(|index| Self::filled(connection, index, None));
        let placed = built.and_then(|index| {
            drop(index);
            if std::fs::rename(&staged, folder).is_ok() {
                return Ok(());
            }
            // Something has the name: what another process has built meanwhile, or the unusable one.
            if Self::usable(connection, folder).is_none() {
                set_aside(folder).map_err(|error| io(folder, error))?;
                std::fs::rename(&staged, folder).map_err(|error| io(folder, error))?;
            }
            Ok(())
        });
        // Nothing is left of it unless it took the name or could not be used; a rest would only take up space.
        let _ = std::fs::remove_dir_all(&staged);
        placed?;
        Self::usable(connection, folder)
            .ok_or_else(|| LibraryError::Refused("another process keeps renewing it".to_owned()))
    }

    /// The index in the folder when it can be used, brought up to date as far as that can be.
    fn usable(connection: &Connection, folder: &Path) -> Option<Self> {
        let mut index = Self::existing(connection, folder).ok()?;
        match index.refresh(connection) {
            Ok(()) => Some(index),
            Err(LibraryError::Index(TantivyError::DataCorruption(_))) => None,
            // It may only be read: what it shows is still right, if not the newest.
            Err(error) => {
                index.notice = Some(format!(
                    "the search index {} could not be brought up to date ({error}); newest names may be missing",
                    folder.display()
                ));
                Some(index)
            }
        }
    }

    /// An index found in the folder, when it is sound and of this library.
    fn existing(connection: &Connection, folder: &Path) -> Result<Self, LibraryError> {
        let index = Index::open_in_dir(folder)?;
        let (expected, fields) = schema();
        let refused = |what: &str| LibraryError::Refused(what.to_owned());
        if index.schema() != expected {
            return Err(refused("the index has other fields"));
        }
        if size_of_folder(folder) < MOST_BYTES_VERIFIED && !index.validate_checksum()?.is_empty() {
            return Err(refused("the index is damaged"));
        }
        let payload = index.load_metas()?.payload.unwrap_or_default();
        let shown: Shown =
            serde_json::from_str(&payload).map_err(|_| refused("the index does not say what it shows"))?;
        let now = present(connection)?;
        let same_past: Option<i64> = connection
            .prepare_cached("SELECT id FROM history WHERE id = ? AND hash = ?")?
            .query_row((shown.line, &shown.hash), |row| row.get(0))
            .optional()?;
        if shown.format != INDEX_FORMAT
            || shown.library != now.library
            || shown.state > now.state
            || same_past.is_none()
        {
            return Err(refused("the index is of another library"));
        }
        Ok(Self {
            reader: manual_reader(&index)?,
            index,
            fields,
            shown,
            folder: Some(folder.to_owned()),
            notice: None,
        })
    }

    fn in_memory(connection: &Connection) -> Result<Self, LibraryError> {
        let (schema, _) = schema();
        Self::filled(connection, Index::create_in_ram(schema), None)
    }

    fn filled(connection: &Connection, index: Index, folder: Option<PathBuf>) -> Result<Self, LibraryError> {
        let (_, fields) = schema();
        let mut filled = Self {
            reader: manual_reader(&index)?,
            index,
            fields,
            shown: Shown {
                state: 0,
                ..present(connection)?
            },
            folder,
            notice: None,
        };
        filled.update(connection)?;
        Ok(filled)
    }

    /// Writes what changed since the state shown, in one commit that records the new state.
    fn update(&mut self, connection: &Connection) -> Result<(), LibraryError> {
        let mut writer = self.writer()?;
        // One snapshot for the state and the rows it stands for.
        let snapshot = connection.unchecked_transaction()?;
        let now = present(&snapshot)?;
        let is_new = self.shown.state == 0;
        self.write_names(&snapshot, &writer, is_new)?;
        self.write_sources(&snapshot, &writer, is_new)?;
        snapshot.finish()?;
        let mut commit = writer.prepare_commit()?;
        let payload = serde_json::to_string(&now).map_err(|error| LibraryError::Refused(error.to_string()))?;
        commit.set_payload(&payload);
        commit.commit()?;
        if is_new {
            writer.wait_merging_threads()?;
        }
        self.reader.reload()?;
        self.shown = now;
        Ok(())
    }

    /// The writer; when another process has it, it is waited for a little.
    fn writer(&self) -> Result<IndexWriter, LibraryError> {
        let mut n_tries = 0;
        loop {
            match self.index.writer_with_num_threads(1, WRITER_MEMORY) {
                Err(TantivyError::LockFailure(..)) if n_tries < 20 => {
                    n_tries += 1;
                    std::thread::sleep(Duration::from_millis(25));
                }
                writer => return Ok(writer?),
            }
        }
    }

    fn write_names(&self, connection: &Connection, writer: &IndexWriter, is_new: bool) -> Result<(), LibraryError> {
        if !is_new {
            let mut changed = connection.prepare_cached("SELECT id FROM compound WHERE changed > ?")?;
            let mut rows = changed.query([self.shown.state])?;
            while let Some(row) = rows.next()? {
                let id: i64 = row.get(0)?;
                writer.delete_term(Term::from_field_u64(self.fields.compound, id.cast_unsigned()));
            }
        }
        let mut select = connection.prepare_cached(
            "SELECT compound_name.id, compound_name.compound, compound_name.name, folded, stem FROM compound \
             JOIN compound_name ON compound_name.compound = compound.id WHERE changed > ?",
        )?;
        let mut rows = select.query([self.shown.state])?;
        while let Some(row) = rows.next()? {
            let (name_id, compound): (i64, i64) = (row.get(0)?, row.get(1)?);
            let (name, folded, stem): (String, String, String) = (row.get(2)?, row.get(3)?, row.get(4)?);
            let mut document = TantivyDocument::default();
            document.add_u64(self.fields.name_id, name_id.cast_unsigned());
            document.add_u64(self.fields.compound, compound.cast_unsigned());
            document.add_text(self.fields.folded, &folded);
            document.add_text(self.fields.stem, &stem);
            document.add_pre_tokenized_text(self.fields.tokens, pre_tokenized(words_of_name(&name)));
            writer.add_document(document)?;
        }
        Ok(())
    }

    fn write_sources(&self, connection: &Connection, writer: &IndexWriter, is_new: bool) -> Result<(), LibraryError> {
        let mut select = connection.prepare_cached("SELECT id, citation FROM source WHERE changed > ?")?;
        let mut rows = select.query([self.shown.state])?;
        while let Some(row) = rows.next()? {
            let (id, citation): (i64, String) = (row.get(0)?, row.get(1)?);
            if !is_new {
                writer.delete_term(Term::from_field_u64(self.fields.source, id.cast_unsigned()));
            }
            let mut document = TantivyDocument::default();
            document.add_u64(self.fields.source, id.cast_unsigned());
            document.add_pre_tokenized_text(self.fields.words, pre_tokenized(words_of(&citation)));
            writer.add_document(document)?;
        }
        Ok(())
    }
}

/// Indexes below this size are read whole and checked when they are opened.
const MOST_BYTES_VERIFIED: u64 = 4 << 20;

/// The folder of a library's index.
pub(super) fn folder_of(library: &Path) -> PathBuf {
    let mut name = library.as_os_str().to_owned();
    name.push(".index");
    PathBuf::from(name)
}

/// Whether a text holds a word long enough to be read with a typing error; one letter may have been left out.
fn has_long_word(text: &str) -> bool {
    text.split(|c: char| !c.is_alphabetic())
        .any(|word| word.chars().count() + 1 >= LONG_WORD)
}

/// The words, locants, numbers and descriptors of a name.
pub(super) fn words_of_name(name: &str) -> Vec<String> {
    name::tokens(name).into_iter().map(|token| token.text).collect()
}

/// The words of a citation.
fn words_of(text: &str) -> Vec<String> {
    text.to_lowercase()
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(ToOwned::to_owned)
        .collect()
}

fn must(terms: &[Term]) -> (Occur, Box<dyn Query>) {
    (Occur::Must, Box::new(any_of(terms)))
}

fn any_of(terms: &[Term]) -> BooleanQuery {
    let clauses = terms
        .iter()
        .map(|term| -> (Occur, Box<dyn Query>) {
            (
                Occur::Should,
                Box::new(TermQuery::new(term.clone(), IndexRecordOption::WithFreqs)),
            )
        })
        .collect();
    BooleanQuery::new(clauses)
}

fn schema() -> (Schema, Fields) {
    let tokens = || {
        TextOptions::default().set_indexing_options(
            TextFieldIndexing::default()
                .set_tokenizer("raw")
                .set_index_option(IndexRecordOption::WithFreqs),
        )
    };
    let mut schema = Schema::builder();
    let number = INDEXED | tantivy::schema::FAST;
    let fields = Fields {
        compound: schema.add_u64_field("compound", number.clone()),
        name_id: schema.add_u64_field("name_id", tantivy::schema::FAST),
        folded: schema.add_text_field("folded", STRING),
        stem: schema.add_text_field("stem", STRING),
        tokens: schema.add_text_field("tokens", tokens()),
        source: schema.add_u64_field("source", number),
        words: schema.add_text_field("words", tokens()),
    };
    (schema.build(), fields)
}

fn pre_tokenized(words: Vec<String>) -> PreTokenizedString {
    let tokens = words
        .into_iter()
        .enumerate()
        .map(|(position, text)| Token {
            position,
            text,
            ..Token::default()
        })
        .collect();
    PreTokenizedString {
        text: String::new(),
        tokens,
    }
}

/// The present state of the file.
fn present(connection: &Connection) -> Result<Shown, LibraryError> {
    let meta = |key: &str| -> Result<String, LibraryError> {
        Ok(connection
            .prepare_cached("SELECT value FROM meta WHERE key = ?")?
            .query_row([key], |row| row.get(0))?)
    };
    let state = meta("state")?;
    let (line, hash) = connection
        .prepare_cached("SELECT id, hash FROM history ORDER BY id DESC LIMIT 1")?
        .query_row([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(Shown {
        format: INDEX_FORMAT,
        library: meta("uid")?,
        state: state.parse().map_err(|_| LibraryError::Stored {
            what: "state of the library",
            value: state,
        })?,
        line,
        hash,
    })
}

/// A reader that is renewed when we say so: a process lives for one command, and no thread should watch the folder.
fn manual_reader(index: &Index) -> Result<IndexReader, TantivyError> {
    index.reader_builder().reload_policy(ReloadPolicy::Manual).try_into()
}

fn size_of_folder(folder: &Path) -> u64 {
    let Ok(files) = std::fs::read_dir(folder) else { return 0 };
    files
        .filter_map(|file| file.ok()?.metadata().ok())
        .map(|metadata| metadata.len())
        .sum()
}

/// A name beside the folder that nothing else has.
fn beside(folder: &Path, word: &str) -> PathBuf {
    let mut name = folder.as_os_str().to_owned();
    name.push(format!(".{word}-{}", uuid::Uuid::now_v7().simple()));
    PathBuf::from(name)
}

/// Takes the name from a folder and removes it; a file of that name is nothing of ours and stays.
fn set_aside(folder: &Path) -> std::io::Result<()> {
    if !folder.is_dir() {
        return Err(std::io::Error::from(std::io::ErrorKind::NotADirectory));
    }
    let aside = beside(folder, "old");
    std::fs::rename(folder, &aside)?;
    std::fs::remove_dir_all(aside)
}

fn io(path: &Path, source: std::io::Error) -> LibraryError {
    LibraryError::Io {
        path: path.to_owned(),
        source,
    }
}

/// Makes a folder for its owner only.
fn create_private_folder(folder: &Path) -> std::io::Result<()> {
    let mut builder = std::fs::DirBuilder::new();
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt;
        builder.mode(0o700);
    }
    builder.create(folder)
}
