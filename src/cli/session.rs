//! The streams and settings one run of the program works with.
//!
//! Results go to standard output, everything else to standard error. All writing passes through here, so that a closed
//! pipe is an ordinary end and never a panic.

use super::failure::Failure;
use crate::library::{Access, Library};
use crate::report::Page;
use crate::tasks::care::{self, Notice};
use anstream::{AutoStream, ColorChoice};
use indicatif::ProgressBar;
use serde::Serialize;
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::PathBuf;

/// Columns of a page where no terminal tells its width.
const DEFAULT_WIDTH: usize = 100;

/// Widest page; longer lines are hard to read.
const MOST_WIDTH: usize = 140;

/// Bytes that go out at a time where answers come in a stream.
const BLOCK: usize = 1 << 16;

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
    /// Answers of a stream that are not yet out.
    waiting: Vec<u8>,
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
            waiting: Vec::new(),
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

    /// The library file: the one named, that of the environment, or the default place.
    ///
    /// # Errors
    /// When none is named and the system names no home folder.
    pub fn library_path(&self) -> Result<PathBuf, Failure> {
        // The variable is no default of the option, or usage texts would show the option as one that was typed.
        let from_environment = || {
            std::env::var_os("BIOT_LIBRARY")
                .filter(|path| !path.is_empty())
                .map(PathBuf::from)
        };
        match self.manner.library.clone().or_else(from_environment) {
            Some(path) => Ok(path),
            None => Ok(care::default_path()?),
        }
    }

    /// Opens the library; at first use one is made with the starter entries, and the user is told.
    ///
    /// # Errors
    /// When it cannot be made, opened or written; exit code 4.
    pub fn library(&mut self, access: Access) -> Result<Library, Failure> {
        let path = self.library_path()?;
        let mut bar = None;
        let library = care::open_or_create(&path, access, &mut |notice| match notice {
            Notice::FirstUse { path } => self.notice(&format!(
                "First use: making a library with the starter entries at {}",
                path.display()
            )),
            Notice::Loading { done, total } => {
                if self.shows_progress() {
                    let bar = bar.get_or_insert_with(|| ProgressBar::new(total as u64));
                    bar.set_position(done as u64);
                }
            }
            Notice::Loaded(report) => {
                if let Some(bar) = bar.take() {
                    bar.finish_and_clear();
                }
                self.notice(&format!(
                    "Loaded {} entries, {} compounds known by name only.",
                    report.loaded, report.name_only
                ));
                for row in &report.refused {
                    self.warn(&format!(
                        "{} line {} was not loaded: {}",
                        row.file, row.line, row.reason
                    ));
                }
            }
        })?;
        Ok(library)
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

    /// Gives one of many answers that come in a stream: `json` as one line of JSON Lines, or what `text` writes. On a
    /// terminal each shows at once; otherwise they go out in blocks, the last by [`Session::flush`].
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn line<T: Serialize>(&mut self, json: &T, text: impl FnOnce(&mut Page)) -> Result<(), Failure> {
        if self.manner.json {
            serde_json::to_writer(&mut self.waiting, json).map_err(io::Error::from)?;
            self.waiting.push(b'\n');
        } else {
            let mut page = Page::new(self.width);
            text(&mut page);
            self.waiting.extend_from_slice(page.as_str().as_bytes());
        }
        if self.waiting.len() >= BLOCK || self.out.is_terminal() {
            self.flush()?;
        }
        Ok(())
    }

    /// Sends out everything answered so far.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn flush(&mut self) -> Result<(), Failure> {
        self.out.write_all(&self.waiting)?;
        self.waiting.clear();
        Ok(self.out.flush()?)
    }

    /// Whether standard output is a terminal, which bytes that are no text would upset.
    pub fn shows_on_terminal(&self) -> bool {
        self.out.is_terminal()
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

    /// Standard output itself, for a file that is written to it: no byte of it is changed. What was answered before
    /// comes before it.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn bytes(&mut self) -> Result<io::Stdout, Failure> {
        self.flush()?;
        Ok(io::stdout())
    }

    /// Tells the user something that is no result; nothing is said when told to be quiet.
    pub fn notice(&mut self, text: &str) {
        if !self.manner.quiet {
            self.say(text);
        }
    }

    /// Shows a page that is no result on standard error; nothing is shown when told to be quiet.
    pub fn remark(&mut self, text: impl FnOnce(&mut Page)) {
        if !self.manner.quiet {
            self.tell(text);
        }
    }

    /// Warns the user, also when told to be quiet.
    pub fn warn(&mut self, text: &str) {
        self.say(&format!("warning: {text}"));
    }

    /// Shows a person a page on standard error, before a question about it.
    pub fn tell(&mut self, text: impl FnOnce(&mut Page)) {
        let mut page = Page::new(self.width);
        text(&mut page);
        let _ = self.err.write_all(page.as_str().as_bytes());
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
        // What was answered before the failure comes before it; there is nobody left to tell of a second failure.
        let _ = self.flush();
        if self.manner.json {
            let _ = self.answer(&failure.to_json(), |_| {});
            return;
        }
        self.tell(|page| super::failure::write_on(failure, page));
    }

    /// Writes to standard error; when that is closed, there is nobody to tell.
    fn say(&mut self, text: &str) {
        for line in crate::report::wrap(text, self.width) {
            let _ = writeln!(self.err, "{line}");
        }
    }
}
