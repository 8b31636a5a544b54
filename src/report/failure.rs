//! What a user is told when there is no answer: one type for every error that reaches a person or a program.
//!
//! [`Failure`] says what is wrong, where, and what to do. The errors of the library and the tasks are enums with fields;
//! the sentence a person reads, its place, the hint on what to do and the exit code are put together here, once. The
//! command line and the pages show the same.

use super::document::WriteError;
use super::{Column, Page, Table, json};
use crate::exchange::export::ExportError;
use crate::exchange::mapping::MappingError;
use crate::exchange::rows::ReadError;
use crate::exchange::take::TakeError;
use crate::library::{Compound, LibraryError};
use crate::tasks::accounts::AccountError;
use crate::tasks::curate::CurateError;
use crate::tasks::measured::MeasuredError;
use crate::tasks::resolve::{self, Resolution};
use crate::tasks::share::ShareError;
use serde::Serialize;
use std::io;

/// Exit code of an answer that was given, whatever it says.
pub const ANSWERED: u8 = 0;
/// Exit code of a job that was done with rejected rows or findings.
pub const WITH_FINDINGS: u8 = 5;

/// Whose fault a failure is; decides the exit code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Bad usage or bad input.
    Usage,
    /// The compound is unknown or ambiguous.
    Compound,
    /// The library cannot be opened or written.
    Library,
    /// The reader of our output went away; no failure at all.
    ClosedPipe,
}

impl Fault {
    /// The exit code of the program.
    pub const fn exit_code(self) -> u8 {
        match self {
            Self::ClosedPipe => ANSWERED,
            Self::Usage => 2,
            Self::Compound => 3,
            Self::Library => 4,
        }
    }
}

/// One compound that an ambiguous or misspelled name may mean.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Candidate {
    /// Number of the compound in this library; every command takes it in place of a name.
    pub compound: i64,
    /// Preferred name.
    pub name: String,
    /// Its name or number that matched.
    pub matched: String,
    /// Stereodescriptors of its names.
    pub descriptors: Vec<String>,
    /// Signs of its printed values: `+`, `-`, `+-`, or null.
    pub signs: Option<&'static str>,
    /// How many literature values the library holds for it.
    pub values: usize,
}

/// Why no answer was given.
#[derive(Clone, Debug)]
pub struct Failure {
    /// Whose fault it is.
    pub fault: Fault,
    /// A stable word for programs, in kebab-case.
    pub code: &'static str,
    /// What is wrong, with the value found; one sentence without full stop.
    pub message: String,
    /// Where: the option, file and line, or entry.
    pub place: Option<String>,
    /// What to do about it.
    pub hint: Option<String>,
    /// Compounds the user may have meant.
    pub candidates: Vec<Candidate>,
}

impl Failure {
    /// Makes a failure with a message alone.
    pub fn new(fault: Fault, code: &'static str, message: impl Into<String>) -> Self {
        Self {
            fault,
            code,
            message: message.into(),
            place: None,
            hint: None,
            candidates: Vec::new(),
        }
    }

    /// Bad usage or input.
    pub fn usage(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Fault::Usage, code, message)
    }

    /// The library cannot be opened or written.
    pub fn library(code: &'static str, message: impl Into<String>) -> Self {
        Self::new(Fault::Library, code, message)
    }

    /// Takes message and hint from the sentence of an error: what to do stands after its last semicolon.
    #[must_use]
    pub fn told(mut self, sentence: &str) -> Self {
        match sentence.rsplit_once("; ") {
            Some((message, hint)) => {
                message.clone_into(&mut self.message);
                self.hint = Some(hint.to_owned());
            }
            None => sentence.clone_into(&mut self.message),
        }
        self
    }

    /// Says where.
    #[must_use]
    pub fn at(mut self, place: impl Into<String>) -> Self {
        self.place = Some(place.into());
        self
    }

    /// Says what to do.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// The JSON document of this failure.
    pub fn to_json(&self) -> impl Serialize + '_ {
        ErrorDocument {
            error: ErrorJson {
                code: self.code,
                message: &self.message,
                place: self.place.as_deref(),
                hint: self.hint.as_deref(),
                candidates: &self.candidates,
            },
        }
    }
}

/// What `--json` prints instead of a result: `{"error": {...}}`.
#[derive(Serialize)]
struct ErrorDocument<'a> {
    error: ErrorJson<'a>,
}

/// The failure, field by field as in [`Failure`].
#[derive(Serialize)]
struct ErrorJson<'a> {
    code: &'a str,
    message: &'a str,
    #[serde(rename = "where")]
    place: Option<&'a str>,
    hint: Option<&'a str>,
    candidates: &'a [Candidate],
}

impl From<io::Error> for Failure {
    /// An error of the output streams; files that the user named are reported with their path by `file_failure`.
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self::new(Fault::ClosedPipe, "closed-pipe", "the reader of the output went away")
        } else {
            Self::usage("output", format!("the output cannot be written: {error}"))
        }
    }
}

impl From<WriteError> for Failure {
    fn from(error: WriteError) -> Self {
        let hint = match error {
            WriteError::NotBuiltIn => {
                "build it with the feature pdf, which is on by default; or write .html and print that to a PDF"
            }
            WriteError::Pdf(_) => "write .html and print that to a PDF; please report this with the report that failed",
        };
        Self::usage("format", error.to_string()).hint(hint)
    }
}

impl From<CurateError> for Failure {
    fn from(error: CurateError) -> Self {
        let code = match error {
            CurateError::Library(error) => return error.into(),
            CurateError::Ambiguous {
                ref asked,
                ref candidates,
            } => return ambiguous(&format!("\"{asked}\" may be any of several compounds"), candidates),
            CurateError::UnknownCompound { ref asked, ref nearest } => {
                return unknown(asked, &format!("the library holds no compound \"{asked}\""), nearest)
                    .hint("choose one of the nearest names, or add it with --new-compound");
            }
            CurateError::NoCompound => "no-compound",
            CurateError::NameMissing => "name-missing",
            CurateError::Structure(_) => "structure",
            CurateError::Cas(_) => "cas-number",
            CurateError::Contradiction { .. } => "contradiction",
            CurateError::NoValue => "no-value",
            CurateError::Beyond(_) => "quantity",
        };
        Self::usage(code, "").told(&error.to_string())
    }
}

impl From<MeasuredError> for Failure {
    fn from(error: MeasuredError) -> Self {
        let code = match error {
            MeasuredError::Nothing => "measured",
            MeasuredError::Uncertainty(_) => "uncertainty",
            MeasuredError::NoCell => "cell",
            MeasuredError::NoConcentration | MeasuredError::DensityInSolvent(_) => "concentration",
            MeasuredError::DensityBeside(_) => "density",
            MeasuredError::Quantity(error) => return Self::usage("quantity", error.to_string()),
        };
        Self::usage(code, "").told(&error.to_string())
    }
}

impl From<ShareError> for Failure {
    fn from(error: ShareError) -> Self {
        let code = match error {
            ShareError::Export(ExportError::Library(error)) | ShareError::Take(TakeError::Library(error)) => {
                return error.into();
            }
            ShareError::Export(ExportError::Io(error)) => return error.into(),
            ShareError::File { doing, path, source } => return file_failure(doing, &path, &source),
            ShareError::Export(ExportError::Unholdable { .. }) => "format",
            ShareError::Take(TakeError::Bundle(_)) => "bundle",
            ShareError::Conflicts { .. } => "conflicts-file",
            ShareError::UnknownSource { .. } => "unknown-source",
        };
        Self::usage(code, "").told(&error.to_string())
    }
}

impl From<AccountError> for Failure {
    fn from(error: AccountError) -> Self {
        let code = match error {
            AccountError::Library(error) => return error.into(),
            AccountError::Short(_) | AccountError::Long | AccountError::IsName | AccountError::Hash(_) => "password",
            AccountError::NoLabel => "label",
        };
        Self::usage(code, "").told(&error.to_string())
    }
}

impl From<ReadError> for Failure {
    fn from(error: ReadError) -> Self {
        let code = match error {
            ReadError::Io { .. } => "file",
            ReadError::Format { .. } => "format",
            ReadError::Empty { .. } => "empty-file",
            ReadError::NoHeadings { .. } => "no-headings",
            ReadError::Columns { .. } => "too-many-columns",
            ReadError::Encoding { .. } => "encoding",
            ReadError::Spreadsheet { .. } => "damaged-spreadsheet",
            ReadError::Sheet { .. } => "no-sheet",
            ReadError::TooLarge { .. } | ReadError::Bound { .. } => "too-large",
        };
        Self::usage(code, "")
            .told(&error.to_string())
            .at(error.path().display().to_string())
    }
}

impl From<MappingError> for Failure {
    fn from(error: MappingError) -> Self {
        Self::usage("mapping", "").told(&error.to_string())
    }
}

impl From<LibraryError> for Failure {
    fn from(error: LibraryError) -> Self {
        use LibraryError as E;
        let (fault, code, place) = match &error {
            E::NotFound { path } => (Fault::Library, "library-not-found", Some(path)),
            E::Exists { path } => (Fault::Usage, "file-exists", Some(path)),
            E::NotALibrary { path, .. } => (Fault::Library, "not-a-library", Some(path)),
            E::Damaged { path, .. } => (Fault::Library, "library-damaged", Some(path)),
            E::Newer { path, .. } => (Fault::Library, "library-newer", Some(path)),
            E::Unwritable { path, .. } => (Fault::Library, "library-unwritable", Some(path)),
            E::NetworkDrive { path, .. } => (Fault::Library, "library-on-network-drive", Some(path)),
            E::ReadOnly { path } => (Fault::Library, "library-read-only", Some(path)),
            E::Busy { path, .. } => (Fault::Library, "library-busy", Some(path)),
            E::CopyDiffers { path, .. } => (Fault::Library, "copy-differs", Some(path)),
            E::Io { path, .. } => (Fault::Library, "file", Some(path)),
            E::Unknown { what: "compound", .. } => (Fault::Compound, "unknown-compound", None),
            E::Unknown { what: "entry", .. } => (Fault::Usage, "unknown-entry", None),
            E::Unknown { .. } => (Fault::Usage, "unknown-record", None),
            E::CompoundExists { .. } => (Fault::Usage, "compound-exists", None),
            E::RevisionChanged { .. } => (Fault::Usage, "revision-changed", None),
            E::Refused(_) => (Fault::Usage, "refused", None),
            E::Stored { .. } => (Fault::Library, "library-damaged", None),
            E::Sqlite(_) => (Fault::Library, "store", None),
            E::Index(_) => (Fault::Library, "search-index", None),
        };
        Self {
            place: place.map(|path| path.display().to_string()),
            ..Self::new(fault, code, "").told(&error.to_string())
        }
    }
}

/// The one compound a text was resolved to, or the failure to tell the user, with a notice about the search itself.
///
/// # Errors
/// When the text means several compounds or none.
pub fn one_compound(text: &str, resolution: Resolution) -> Result<Compound, Box<(Failure, Option<String>)>> {
    match resolution {
        Resolution::One(resolved) => Ok(resolved.compound),
        Resolution::Ambiguous { reason, candidates } => Err(Box::new((ambiguous(&reason, &candidates), None))),
        Resolution::Unknown {
            reason,
            nearest,
            notice,
        } => Err(Box::new((unknown(text, &reason, &nearest), notice))),
    }
}

/// The failure of a text that means several compounds.
pub fn ambiguous(reason: &str, candidates: &[resolve::Candidate]) -> Failure {
    Failure {
        candidates: candidates.iter().map(Into::into).collect(),
        ..Failure::new(Fault::Compound, "ambiguous-compound", sentence(reason))
    }
    .hint(match candidates {
        [only] => format!("if this is the one, say so: biot show {}", only.compound.id),
        _ => "name one of them, or give its number, CAS number or InChIKey".to_owned(),
    })
}

/// The failure of a text that means no compound.
pub fn unknown(text: &str, reason: &str, nearest: &[resolve::Candidate]) -> Failure {
    let hint = if nearest.is_empty() && text.contains(char::is_alphabetic) {
        format!("biot search \"{text}\" looks for parts of the name")
    } else if nearest.is_empty() {
        "biot search looks for parts of a name".to_owned()
    } else {
        "the nearest names are listed; give one of them, its number or its CAS number".to_owned()
    };
    Failure {
        candidates: nearest.iter().map(Into::into).collect(),
        ..Failure::new(Fault::Compound, "unknown-compound", sentence(reason))
    }
    .hint(hint)
}

/// A reason as the message of a failure: without the full stop of a sentence.
fn sentence(reason: &str) -> String {
    reason.trim_end_matches('.').to_owned()
}

impl From<&resolve::Candidate> for Candidate {
    fn from(candidate: &resolve::Candidate) -> Self {
        let signs = candidate.signs;
        Self {
            compound: candidate.compound.id.0,
            name: candidate.compound.name.clone(),
            matched: candidate.matched.clone(),
            descriptors: candidate.descriptors.clone(),
            signs: json::signs(signs),
            values: signs.plus + signs.minus + signs.unsigned,
        }
    }
}

/// Writes a failure in words: what, where, the candidates, what to do.
pub fn write_on(failure: &Failure, page: &mut Page) {
    page.lead("error: ", &failure.message);
    if let Some(place) = failure.place.as_ref().filter(|place| !failure.message.contains(*place)) {
        page.lead("  at: ", place);
    }
    if !failure.candidates.is_empty() {
        write_candidates(&failure.candidates, page);
    }
    if let Some(hint) = &failure.hint {
        page.lead("hint: ", hint);
    }
}

/// Writes the compounds to choose from as a table.
pub fn write_candidates(candidates: &[Candidate], page: &mut Page) {
    let mut table = Table::new(&[
        Column::Number("compound"),
        Column::Text("name"),
        Column::Text("configuration"),
        Column::Word("sign"),
        Column::Number("values"),
        Column::Text("found by"),
    ]);
    // What matched tells candidates apart only where it differs.
    let differ = candidates.windows(2).any(|pair| pair[0].matched != pair[1].matched);
    for candidate in candidates {
        let matched = Some(&candidate.matched).filter(|matched| differ && **matched != candidate.name);
        table.row([
            candidate.compound.to_string(),
            candidate.name.clone(),
            candidate.descriptors.join(", ").replace("(-)", "(\u{2212})"),
            candidate.signs.map(human_signs).unwrap_or_default(),
            candidate.values.to_string(),
            matched.cloned().unwrap_or_default(),
        ]);
    }
    page.gap();
    page.table(&table);
    page.gap();
}

fn human_signs(signs: &str) -> String {
    let parts: Vec<String> = signs.chars().map(|c| c.to_string().replace('-', "\u{2212}")).collect();
    parts.join(" and ")
}

/// The failure of reading or writing a file that the user named.
pub fn file_failure(doing: &str, path: &std::path::Path, error: &io::Error) -> Failure {
    let hint = match error.kind() {
        io::ErrorKind::NotFound => "check the path",
        io::ErrorKind::PermissionDenied => "check the permissions of the file and its folder",
        io::ErrorKind::AlreadyExists => "choose another file name",
        io::ErrorKind::InvalidData => "the file must be text in UTF-8",
        _ => "check the path and the disk",
    };
    Failure::usage("file", format!("cannot {doing} {}: {error}", path.display()))
        .at(path.display().to_string())
        .hint(hint)
}
