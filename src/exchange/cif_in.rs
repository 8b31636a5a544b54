//! Crystallographic information files: the items of the core dictionary that say what a compound is and how it rotates.
//!
//! A subset of STAR (Hall, J. Chem. Inf. Comput. Sci. 31 (1991) 326; CIF 1.1, IUCr): data blocks, loops, quoted values,
//! text fields between semicolons at the start of a line. Item names of both the old (`_chemical_optical_rotation`) and
//! the new dictionary (`_chemical.optical_rotation`) are understood. Save frames and everything else are passed over.

use super::cif_text;
use super::decode::read_whole;
use super::rows::{About, Event, Format, ReadError, ReadOptions, Row, n_line_ends};
use super::table_in::text_fault;
use crate::notation;
use std::collections::HashMap;
use std::path::Path;

/// The columns a data block becomes.
const COLUMNS: [&str; 11] = [
    "compound",
    "other_names",
    "formula",
    "inchi",
    "inchikey",
    "hand",
    "as_printed",
    "citation",
    "doi",
    "year",
    "place",
];

/// Reads the blocks; one row for each rotation in them.
pub(super) fn read<E: From<ReadError>>(
    path: &Path,
    options: &ReadOptions,
    visit: &mut dyn FnMut(Event<'_>) -> Result<(), E>,
) -> Result<(), E> {
    let (text, encoding) = read_whole(path, options.encoding.as_deref())?;
    visit(Event::Begin(&About {
        encoding: Some(encoding.encoding.name()),
        encoding_guessed: encoding.guessed,
        ..About::of(Format::Cif)
    }))?;
    visit(Event::Columns(&COLUMNS.map(str::to_owned)))?;
    let mut block = Block::default();
    let mut tokens = Tokens::new(&text);
    let mut waiting: Option<String> = None;
    while let Some(token) = tokens.next() {
        let n_bytes = tokens.at as u64;
        match token.kind {
            Kind::Data(name) => {
                waiting = None;
                std::mem::replace(&mut block, Block::named(name)).rows(n_bytes, visit)?;
            }
            Kind::Loop => {
                waiting = None;
                tokens.read_loop(&mut block);
            }
            Kind::Tag(tag) => waiting = Some(tag),
            Kind::Value(value) => {
                if let Some(tag) = waiting.take() {
                    block.add(&tag, value, token.line);
                }
            }
            Kind::Unclosed => block.fault = Some((token.line, "a quoted value or text field is not closed".to_owned())),
            Kind::Other => waiting = None,
        }
    }
    block.rows(text.len() as u64, visit)
}

/// One data block: the values of the items that matter, by item name without its dots.
#[derive(Default)]
struct Block {
    name: String,
    items: HashMap<String, Vec<(String, u64)>>,
    fault: Option<(u64, String)>,
}

impl Block {
    fn named(name: String) -> Self {
        Self {
            name,
            ..Self::default()
        }
    }

    fn add(&mut self, tag: &str, value: String, line: u64) {
        let is_missing = matches!(value.trim(), "" | "?" | ".");
        let wanted = ["_chemical", "_journal", "_citation", "_publ"]
            .iter()
            .any(|start| tag.starts_with(start));
        if wanted && !is_missing {
            self.items.entry(tag.to_owned()).or_default().push((value, line));
        }
    }

    /// The first value of the first item that has one.
    fn first(&self, names: &[&str]) -> Option<&str> {
        names
            .iter()
            .find_map(|name| self.items.get(*name)?.first())
            .map(|(value, _)| value.as_str())
    }

    fn rows<E>(self, bytes: u64, visit: &mut dyn FnMut(Event<'_>) -> Result<(), E>) -> Result<(), E> {
        let rotations = self.items.get("_chemical_optical_rotation");
        if rotations.is_none() && self.fault.is_none() {
            return Ok(());
        }
        let join = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let mut names: Vec<String> = ["_chemical_name_common", "_chemical_name_systematic"]
            .iter()
            .filter_map(|name| self.first(&[name]).map(|name| cif_text::plain(&join(name))))
            .collect();
        let name = if names.is_empty() {
            String::new()
        } else {
            names.remove(0)
        };
        let hand = match self.first(&["_chemical_absolute_configuration"]).map(str::trim) {
            // Reference molecule, anomalous dispersion, both, synthesis from a known one (core dictionary): none of them
            // is taken from the sign.
            Some("rm" | "ad" | "rmad" | "syn") => "independent",
            Some(_) => "unclear",
            None => "",
        };
        let mut cells = vec![
            name,
            names.join(" | "),
            self.first(&["_chemical_formula_sum"]).map(join).unwrap_or_default(),
            self.first(&["_chemical_identifier_inchi"])
                .map(|text| text.split_whitespace().collect())
                .unwrap_or_default(),
            self.first(&["_chemical_identifier_inchi_key"])
                .map(|text| text.trim().trim_start_matches("InChIKey=").to_owned())
                .unwrap_or_default(),
            hand.to_owned(),
            String::new(),
            self.citation(),
            self.first(&["_journal_paper_doi", "_citation_doi"])
                .map(str::trim)
                .unwrap_or_default()
                .to_owned(),
            self.first(&["_journal_year", "_citation_year"])
                .map(str::trim)
                .unwrap_or_default()
                .to_owned(),
            format!("data block {}", self.name),
        ];
        if let Some((line, fault)) = &self.fault {
            visit(Event::Row(Row {
                line: *line,
                cells: cells.clone(),
                fault: Some(fault.clone()),
                bytes,
                ..Row::default()
            }))?;
            return Ok(());
        }
        for (rotation, line) in rotations.into_iter().flatten() {
            cells[6] = join(rotation);
            // Some texts are a rotation only by the name of their item, such as `\a^25^~D~ = -10 deg`.
            if notation::read(&cells[6]).is_empty() {
                cells[6] = format!("_chemical.optical_rotation '{}'", cells[6]);
            }
            visit(Event::Row(Row {
                line: *line,
                fault: text_fault(&cells.concat(), "the encoding of the file"),
                cells: cells.clone(),
                bytes,
                ..Row::default()
            }))?;
        }
        Ok(())
    }

    /// The citation as far as the block gives one.
    fn citation(&self) -> String {
        let item = |names: &[&str]| self.first(names).map(|text| text.trim().to_owned());
        let journal = item(&[
            "_journal_name_full",
            "_citation_journal_full",
            "_citation_journal_abbrev",
        ]);
        let Some(mut text) = journal else {
            // A citation in one piece, as our own export writes it.
            let whole = self.first(&["_citation_special_details"]).unwrap_or_default();
            let whole: Vec<&str> = whole.split_whitespace().collect();
            return cif_text::plain(&whole.join(" "));
        };
        for (before, names) in [
            (" ", ["_journal_volume", "_citation_journal_volume"]),
            (" (", ["_journal_year", "_citation_year"]),
            (" ", ["_journal_page_first", "_citation_page_first"]),
        ] {
            if let Some(value) = item(&names) {
                text.push_str(before);
                text.push_str(&value);
                if before == " (" {
                    text.push(')');
                }
            }
        }
        text
    }
}

/// A token with the line it starts on.
struct Token {
    kind: Kind,
    line: u64,
}

enum Kind {
    /// A data block begins.
    Data(String),
    /// A loop begins.
    Loop,
    /// An item name in lower case, its dot written as a low line.
    Tag(String),
    /// A value.
    Value(String),
    /// A value that runs to the end of the file without being closed.
    Unclosed,
    /// A save frame or another reserved word.
    Other,
}

/// The tokens of a file.
struct Tokens<'a> {
    text: &'a str,
    at: usize,
    line: u64,
}

impl<'a> Tokens<'a> {
    const fn new(text: &'a str) -> Self {
        Self { text, at: 0, line: 1 }
    }

    /// Reads the heading and the values of a loop.
    fn read_loop(&mut self, block: &mut Block) {
        let mut tags = Vec::new();
        let mut n_values = 0;
        loop {
            let (at, line) = (self.at, self.line);
            let Some(token) = self.next() else { return };
            match token.kind {
                Kind::Tag(tag) if n_values == 0 => tags.push(tag),
                Kind::Value(value) if !tags.is_empty() => {
                    block.add(&tags[n_values % tags.len()], value, token.line);
                    n_values += 1;
                }
                _ => {
                    (self.at, self.line) = (at, line);
                    return;
                }
            }
        }
    }

    fn next(&mut self) -> Option<Token> {
        self.skip_space();
        let rest = &self.text[self.at..];
        let first = rest.chars().next()?;
        let line = self.line;
        let starts_line = self.at == 0 || self.text.as_bytes()[self.at - 1] == b'\n';
        let kind = match first {
            ';' if starts_line => self.text_field(rest),
            '\'' | '"' => self.quoted(rest, first),
            _ => self.bare(rest),
        };
        Some(Token { kind, line })
    }

    fn skip_space(&mut self) {
        let mut in_comment = false;
        for (at, c) in self.text[self.at..].char_indices() {
            match c {
                '\n' => {
                    self.line += 1;
                    in_comment = false;
                }
                '#' => in_comment = true,
                _ if in_comment || c.is_whitespace() || c == '\u{FEFF}' => {}
                _ => {
                    self.at += at;
                    return;
                }
            }
        }
        self.at = self.text.len();
    }

    /// A text field: from a semicolon at the start of a line to the next one there.
    fn text_field(&mut self, rest: &str) -> Kind {
        match rest.find("\n;") {
            Some(end) => {
                let value = rest[1..end].trim().to_owned();
                self.advance(end + 2);
                Kind::Value(value)
            }
            None => self.unclosed(rest),
        }
    }

    /// A quoted value: the closing mark is followed by space or the end.
    fn quoted(&mut self, rest: &str, mark: char) -> Kind {
        let line_end = rest.find('\n').unwrap_or(rest.len());
        let line = &rest[1..line_end];
        let close = line
            .match_indices(mark)
            .map(|(at, _)| at)
            .find(|at| line[at + 1..].chars().next().is_none_or(char::is_whitespace));
        let Some(close) = close else {
            self.advance(line_end);
            return Kind::Unclosed;
        };
        let value = line[..close].to_owned();
        self.advance(close + 2);
        Kind::Value(value)
    }

    fn bare(&mut self, rest: &str) -> Kind {
        let end = rest.find(char::is_whitespace).unwrap_or(rest.len());
        let word = &rest[..end];
        self.advance(end);
        let lower = word.to_lowercase();
        if lower.starts_with("data_") {
            return Kind::Data(word.get(5..).unwrap_or_default().to_owned());
        }
        if lower == "loop_" {
            return Kind::Loop;
        }
        if lower.starts_with("save_") || lower == "global_" || lower == "stop_" {
            return Kind::Other;
        }
        if lower.starts_with('_') {
            return Kind::Tag(lower.replace('.', "_"));
        }
        Kind::Value(word.to_owned())
    }

    fn unclosed(&mut self, rest: &str) -> Kind {
        self.advance(rest.len());
        Kind::Unclosed
    }

    fn advance(&mut self, n_bytes: usize) {
        let passed = &self.text.as_bytes()[self.at..self.at + n_bytes];
        self.line += n_line_ends(passed);
        self.at += n_bytes;
    }
}
