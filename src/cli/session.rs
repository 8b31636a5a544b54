//! The streams and settings one run of the program works with.
//!
//! Results go to standard output, everything else to standard error. All writing passes through here, so that a closed
//! pipe is an ordinary end and never a panic.

use super::failure::Failure;
use crate::report::Page;
use anstream::{AutoStream, ColorChoice};
use serde::Serialize;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::PathBuf;

/// Columns of a page where no terminal tells its width.
const DEFAULT_WIDTH: usize = 100;

/// Widest page; longer lines are hard to read.
const MOST_WIDTH: usize = 140;

/// When colour and bold are used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Color {
    /// On a terminal, unless `NO_COLOR` is set.
    #[default]
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

/// How a run speaks with its user, and which library it is about.
#[derive(Clone, Debug, Default)]
pub struct Manner {
    /// The library file, when one is named.
    pub library: Option<PathBuf>,
    /// Results as JSON.
    pub json: bool,
    /// No notices and no progress.
    pub quiet: bool,
    /// When colour and bold are used.
    pub color: Color,
}

/// The streams and settings of one run.
pub struct Session {
    out: AutoStream<io::Stdout>,
    err: AutoStream<io::Stderr>,
    manner: Manner,
    width: usize,
    can_ask: bool,
}

impl Session {
    /// Takes the streams of the process.
    pub fn new(manner: Manner) -> Self {
        let told = std::env::var("COLUMNS").ok().and_then(|text| text.parse().ok());
        let seen = || terminal_size::terminal_size().map(|(width, _)| usize::from(width.0));
        let (out, err) = (io::stdout(), io::stderr());
        let can_ask = !manner.json && io::stdin().is_terminal() && err.is_terminal();
        let (out_choice, err_choice) = match manner.color {
            Color::Auto => (AutoStream::choice(&out), AutoStream::choice(&err)),
            Color::Always => (ColorChoice::Always, ColorChoice::Always),
            Color::Never => (ColorChoice::Never, ColorChoice::Never),
        };
        Self {
            out: AutoStream::new(out, out_choice),
            err: AutoStream::new(err, err_choice),
            manner,
            width: told.or_else(seen).unwrap_or(DEFAULT_WIDTH).min(MOST_WIDTH),
            can_ask,
        }
    }

    /// Whether results are wanted as JSON.
    pub const fn json(&self) -> bool {
        self.manner.json
    }

    /// Whether progress may be shown: on a terminal, and not told to be quiet.
    pub fn shows_progress(&self) -> bool {
        !self.manner.quiet && io::stderr().is_terminal()
    }

    /// Whether a person is there to answer a question.
    pub const fn can_ask(&self) -> bool {
        self.can_ask
    }

    /// Gives the answer of a command: `json` as one JSON document, or what `text` writes on a page.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn answer<T: Serialize>(&mut self, json: &T, text: impl FnOnce(&mut Page)) -> Result<(), Failure> {
        if self.manner.json {
            let document = serde_json::to_string_pretty(json).map_err(io::Error::from)?;
            writeln!(self.out, "{document}")?;
        } else {
            let mut page = Page::new(self.width);
            text(&mut page);
            self.out.write_all(page.as_str().as_bytes())?;
        }
        self.out.flush()?;
        Ok(())
    }

    /// Writes one line of JSON Lines to standard output.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn json_line<T: Serialize>(&mut self, json: &T) -> Result<(), Failure> {
        let line = serde_json::to_string(json).map_err(io::Error::from)?;
        writeln!(self.out, "{line}")?;
        Ok(())
    }

    /// Writes bytes to standard output as they are, such as a completion script.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn raw(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        self.out.write_all(bytes)?;
        self.out.flush()?;
        Ok(())
    }

    /// Tells the user something that is no result; nothing is said when told to be quiet.
    pub fn notice(&mut self, text: &str) {
        if !self.manner.quiet {
            self.say(text);
        }
    }

    /// Warns the user, also when told to be quiet.
    pub fn warn(&mut self, text: &str) {
        self.say(&format!("warning: {text}"));
    }

    /// Asks for a line of text. None when nobody is there to ask, or the answer is empty or ends the input.
    pub fn ask(&mut self, question: &str) -> Option<String> {
        if !self.can_ask {
            return None;
        }
        write!(self.err, "{question} ").and_then(|()| self.err.flush()).ok()?;
        let mut line = String::new();
        io::stdin().lock().read_line(&mut line).ok()?;
        let answer = line.trim();
        (!answer.is_empty()).then(|| answer.to_owned())
    }

    /// Reports a failure where its reader looks for it: as JSON on standard output, or in words on standard error.
    pub fn report(&mut self, failure: &Failure) {
        if failure.fault == super::failure::Fault::ClosedPipe {
            return;
        }
        if self.manner.json {
            // The program is about to end with an error code; there is nobody left to tell of a second failure.
            let _ = self.answer(&failure.to_json(), |_| {});
            return;
        }
        let mut page = Page::new(self.width);
        super::failure::write_on(failure, &mut page);
        let _ = self.err.write_all(page.as_str().as_bytes());
    }

    /// Writes to standard error; when that is closed, there is nobody to tell.
    fn say(&mut self, text: &str) {
        for line in crate::report::wrap(text, self.width) {
            let _ = writeln!(self.err, "{line}");
        }
    }
}
