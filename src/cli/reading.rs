//! The options that say how a file of rows is read, shared by the commands that read one.

use super::Failure;
use super::failure::file_failure;
use crate::exchange::mapping::Mapping;
use crate::exchange::rows::{Format, ReadOptions};
use crate::exchange::spreadsheet_bounds::SpreadsheetBounds;
use clap::{Args, ValueEnum};
use std::fs;
use std::path::PathBuf;

/// How a file of rows is read.
#[derive(Clone, Debug, Default, Args)]
pub struct ReadingArguments {
    /// Format; found by content and name
    #[arg(long, value_name = "FORMAT", help_heading = "How the file is read")]
    pub format: Option<FormatWord>,
    /// Encoding, such as windows-1252; found by content
    #[arg(long, value_name = "NAME", help_heading = "How the file is read")]
    pub encoding: Option<String>,
    /// Delimiter of a table: one character, or tab; found by content
    #[arg(long, value_parser = delimiter, value_name = "CHARACTER", help_heading = "How the file is read")]
    pub delimiter: Option<char>,
    /// Sheet of a spreadsheet; the first one
    #[arg(long, value_name = "NAME", help_heading = "How the file is read")]
    pub sheet: Option<String>,
    /// What a column holds, with its unit where the heading has none: "Konz.=conc:mg/mL"; "Nr.=-" leaves it out
    #[arg(long, value_name = "COLUMN=FIELD", help_heading = "How the file is read")]
    pub map: Vec<String>,
    /// Saved mapping of columns; --map overrules it
    #[arg(long, value_name = "FILE", help_heading = "How the file is read")]
    pub mapping: Option<PathBuf>,
}

/// Formats, as typed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum FormatWord {
    /// Table with any delimiter
    #[value(alias = "tsv")]
    Csv,
    /// Spreadsheet
    Xlsx,
    /// One JSON object a line
    Jsonl,
    /// Crystallographic information file
    Cif,
    /// Printed text
    Text,
}

impl From<FormatWord> for Format {
    fn from(word: FormatWord) -> Self {
        match word {
            FormatWord::Csv => Self::Table,
            FormatWord::Xlsx => Self::Xlsx,
            FormatWord::Jsonl => Self::JsonLines,
            FormatWord::Cif => Self::Cif,
            FormatWord::Text => Self::Text,
        }
    }
}

impl ReadingArguments {
    /// Whether none is given.
    pub fn is_empty(&self) -> bool {
        self.format.is_none()
            && self.encoding.is_none()
            && self.delimiter.is_none()
            && self.sheet.is_none()
            && self.map.is_empty()
            && self.mapping.is_none()
    }

    /// How the file is read.
    pub fn options(&self) -> ReadOptions {
        ReadOptions {
            format: self.format.map(Format::from),
            encoding: self.encoding.clone(),
            delimiter: self.delimiter,
            sheet: self.sheet.clone(),
            bounds: SpreadsheetBounds::OWN_FILE,
        }
    }

    /// What is known of its columns.
    ///
    /// # Errors
    /// When a saved mapping cannot be read, or an option maps no column.
    pub fn mapping(&self) -> Result<Mapping, Failure> {
        let mut mapping = match &self.mapping {
            None => Mapping::default(),
            Some(path) => {
                let text = fs::read_to_string(path).map_err(|error| file_failure("read", path, &error))?;
                Mapping::from_toml(&text).map_err(|error| Failure::from(error).at(path.display().to_string()))?
            }
        };
        for text in &self.map {
            mapping.add(text).map_err(|error| Failure::from(error).at("--map"))?;
        }
        Ok(mapping)
    }
}

fn delimiter(text: &str) -> Result<char, String> {
    match text {
        "tab" | "\\t" => return Ok('\t'),
        "space" => return Ok(' '),
        _ => {}
    }
    let mut chars = text.chars();
    match (chars.next(), chars.next()) {
        (Some(c), None) if c.is_ascii() && !matches!(c, '"' | '\n' | '\r') => Ok(c),
        _ => Err("a delimiter is one ASCII character, or tab".to_owned()),
    }
}
