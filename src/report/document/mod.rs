//! Written reports: one document of plain blocks, written as a page for print (HTML), as PDF, as Markdown, and as tables
//! for supporting information (LaTeX).
//!
//! [`Document`] is made from an answer (`check`, `measurement`, `dispersion`) and holds words and figures as they will be
//! printed, so that a kept one is printed later as it was written. Each writer takes only the document: the same document
//! gives the same bytes. Start reading at [`Document`].

mod build;
mod dispersion;
mod html;
mod latex;
mod markdown;
mod measured;
#[cfg(feature = "pdf")]
mod pdf;

pub use build::{of_check, of_kept};
pub use dispersion::of_dispersion;
pub use html::style_hash;
pub use measured::of_measurement;

use serde::{Deserialize, Serialize};
use std::path::Path;

/// A report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Document {
    /// What it is about.
    pub title: String,
    /// What kind of report it is.
    pub kind: String,
    /// The day it was made on, YYYY-MM-DD.
    pub made_on: String,
    /// What it says, in order.
    pub blocks: Vec<Block>,
    /// Where it comes from: a name and a text each.
    pub provenance: Vec<(String, String)>,
}

/// A part of a report.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "block", rename_all = "kebab-case")]
pub enum Block {
    /// A heading.
    Heading {
        /// Its text.
        text: String,
    },
    /// The verdict.
    Verdict {
        /// Its code.
        code: String,
        /// `good`, `warn`, `bad` or `open`.
        tone: String,
        /// Its sentence.
        sentence: String,
    },
    /// Names and texts.
    Facts {
        /// The pairs.
        rows: Vec<(String, String)>,
    },
    /// A paragraph.
    Paragraph {
        /// Its text.
        text: String,
    },
    /// A list.
    Points {
        /// The points.
        items: Vec<String>,
    },
    /// A drawing, with its numbers in a table.
    Figure {
        /// What it shows.
        title: String,
        /// The drawing, as [`crate::report::svg`] makes it.
        svg: String,
        /// Its numbers.
        table: Grid,
    },
    /// A table.
    Table {
        /// The table.
        table: Grid,
        /// Whether it is one for supporting information.
        supporting: bool,
    },
    /// The sources, numbered from 1.
    Sources {
        /// The sources.
        items: Vec<SourceLine>,
    },
    /// A line to copy.
    Line {
        /// What it is.
        label: String,
        /// The line.
        text: String,
        /// The same with its marks set as each form sets them; none where only the plain line is known.
        #[serde(default)]
        set: Option<SetLine>,
    },
}

/// A line with its marks set.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetLine {
    /// In HTML.
    pub html: String,
    /// In Markdown.
    pub markdown: String,
    /// In LaTeX.
    pub latex: String,
}

/// A table.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Grid {
    /// What it shows.
    pub caption: String,
    /// The columns.
    pub columns: Vec<Head>,
    /// The rows, a cell for each column.
    pub rows: Vec<Vec<String>>,
}

/// The head of a column.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// Its text.
    pub text: String,
    /// Whether its cells are numbers, set flush right.
    pub number: bool,
}

impl Grid {
    /// A table without rows; a head that begins with `#` is that of a column of numbers.
    pub fn new(caption: &str, heads: &[&str]) -> Self {
        Self {
            caption: caption.to_owned(),
            columns: heads
                .iter()
                .map(|head| Head {
                    text: head.trim_start_matches('#').to_owned(),
                    number: head.starts_with('#'),
                })
                .collect(),
            rows: Vec::new(),
        }
    }

    /// Takes out the columns in which no row says anything.
    fn drop_empty_columns(&mut self) {
        for at in (0..self.columns.len()).rev() {
            if self.rows.iter().all(|row| row.get(at).is_none_or(String::is_empty)) {
                self.columns.remove(at);
                for row in &mut self.rows {
                    if at < row.len() {
                        row.remove(at);
                    }
                }
            }
        }
    }
}

/// A source in a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SourceLine {
    /// Citation.
    pub citation: String,
    /// DOI without resolver.
    pub doi: Option<String>,
    /// Its entries.
    pub entries: String,
}

/// How a report is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A page of its own, to look at and to print.
    Html,
    /// Pages of paper. Only in a program that is built with it.
    Pdf,
    /// Markdown.
    Md,
    /// LaTeX tables for supporting information.
    Tex,
}

impl Form {
    /// The form that the ending of a file names.
    pub fn of_file(path: &Path) -> Option<Self> {
        match path.extension()?.to_str()?.to_ascii_lowercase().as_str() {
            "html" | "htm" => Some(Self::Html),
            "md" | "markdown" => Some(Self::Md),
            "tex" => Some(Self::Tex),
            "pdf" => Some(Self::Pdf),
            _ => None,
        }
    }

    /// All forms.
    pub const ALL: [Self; 4] = [Self::Html, Self::Pdf, Self::Md, Self::Tex];

    /// The form of a word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|form| form.word() == word)
    }

    /// Whether this program is built with it.
    pub const fn is_built_in(self) -> bool {
        match self {
            Self::Html | Self::Md | Self::Tex => true,
            Self::Pdf => cfg!(feature = "pdf"),
        }
    }

    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Html => "html",
            Self::Pdf => "pdf",
            Self::Md => "md",
            Self::Tex => "tex",
        }
    }

    /// Its media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Html => "text/html; charset=utf-8",
            Self::Pdf => "application/pdf",
            Self::Md => "text/markdown; charset=utf-8",
            Self::Tex => "application/x-tex; charset=utf-8",
        }
    }
}

/// Why a report cannot be written in a form.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WriteError {
    /// The program is built without it.
    #[error("this biot is built without PDF")]
    NotBuiltIn,
    /// The PDF could not be put together.
    #[error("the PDF cannot be written: {0}")]
    Pdf(String),
}

impl Document {
    /// The report in a form: the bytes of a file.
    ///
    /// # Errors
    /// When the program is built without the form, or a PDF cannot be put together.
    pub fn write(&self, form: Form) -> Result<Vec<u8>, WriteError> {
        match form {
            Form::Html => Ok(html::write(self).into_bytes()),
            Form::Md => Ok(markdown::write(self).into_bytes()),
            Form::Tex => Ok(latex::write(self).into_bytes()),
            #[cfg(feature = "pdf")]
            Form::Pdf => pdf::write(self).map_err(|error| WriteError::Pdf(error.to_string())),
            #[cfg(not(feature = "pdf"))]
            Form::Pdf => Err(WriteError::NotBuiltIn),
        }
    }

    /// Puts a remark at the top.
    fn remark(&mut self, text: String) {
        self.blocks.insert(0, Block::Paragraph { text });
    }
}

/// A text as it may be shown: signs that are invisible and can turn a line around are shown as what they are, unknown.
fn shown(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\t' => ' ',
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => char::REPLACEMENT_CHARACTER,
            c if c.is_control() => char::REPLACEMENT_CHARACTER,
            c => c,
        })
        .collect()
}
