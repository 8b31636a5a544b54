//! `biot read`: the rotations printed in a text.

use super::failure::file_failure;
use super::{Failure, Outcome, Session};
use crate::notation::{self, Found};
use crate::report::{self, json::ReadJson};
use clap::Args;
use std::fs::File;
use std::io::{self, BufRead, BufReader, IsTerminal, Read};
use std::path::{Path, PathBuf};

/// Arguments of `biot read`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  \
    biot read thesis.txt                       every rotation in the text, with its conditions and doubts\n  \
    pdftotext paper.pdf - | biot read          from standard input\n  \
    biot read --text \"[α]D20 −49.1 (c 1.0, EtOH)\"\n  \
    biot read --lines --json strings.txt       one JSON object a line: {\"line\": n, \"statements\": […]}")]
pub struct ReadArguments {
    /// Files to read; standard input when none is named, or for -
    #[arg(value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Text to read in place of a file
    #[arg(long, conflicts_with = "files", value_name = "TEXT")]
    pub text: Option<String>,
    /// Take each line as a text of its own
    #[arg(long)]
    pub lines: bool,
}

/// Reads the texts and lists what is found.
pub fn run(arguments: &ReadArguments, session: &mut Session) -> Result<Outcome, Failure> {
    if let Some(text) = &arguments.text {
        if arguments.lines {
            each_line(text.as_bytes(), Path::new("--text"), session)?;
        } else {
            whole(&[Input::new(None, text.clone())], session)?;
        }
        return Ok(Outcome::Answered);
    }
    let standard_input = [PathBuf::from("-")];
    let files = if arguments.files.is_empty() {
        &standard_input[..]
    } else {
        &arguments.files
    };
    if arguments.files.is_empty() && io::stdin().is_terminal() {
        session.notice("Reading from the terminal; end the text with Ctrl-D, or name a file.");
    }
    if arguments.lines {
        for file in files {
            each_line(open(file)?, file, session)?;
        }
        return Ok(Outcome::Answered);
    }
    let mut texts = Vec::new();
    for file in files {
        let mut bytes = Vec::new();
        let failed = |error: io::Error| file_failure("read", file, &error);
        open(file)?.read_to_end(&mut bytes).map_err(failed)?;
        texts.push(Input::new(
            Some(file.clone()),
            String::from_utf8_lossy(&bytes).into_owned(),
        ));
    }
    whole(&texts, session)?;
    Ok(Outcome::Answered)
}

/// A text with the rotations found in it.
struct Input {
    file: Option<PathBuf>,
    text: String,
    found: Vec<Found>,
}

impl Input {
    fn new(file: Option<PathBuf>, text: String) -> Self {
        Self {
            found: notation::read(&text),
            file,
            text,
        }
    }
}

/// Answers each text with one object, a line each.
fn whole(texts: &[Input], session: &mut Session) -> Result<(), Failure> {
    for text in texts {
        session.line(&ReadJson::new(text.file.as_deref(), &text.found), |page| {
            if let Some(file) = text.file.as_ref().filter(|_| texts.len() > 1) {
                page.heading(&file.display().to_string());
            }
            report::read::list(&text.text, &text.found, page);
        })?;
    }
    session.flush()
}

/// Reads a stream line by line in constant memory and answers each line as it comes.
fn each_line(mut input: impl BufRead, file: &Path, session: &mut Session) -> Result<(), Failure> {
    let mut bytes = Vec::new();
    let mut number = 0;
    loop {
        bytes.clear();
        let n_read = input
            .read_until(b'\n', &mut bytes)
            .map_err(|error| file_failure("read", file, &error))?;
        if n_read == 0 {
            return session.flush();
        }
        number += 1;
        let text = String::from_utf8_lossy(&bytes);
        let found = notation::read(text.trim_end_matches(['\n', '\r']));
        session.line(&report::json::LineJson::new(number, &found), |page| {
            report::read::line(number, &found, page);
        })?;
    }
}

fn open(file: &Path) -> Result<Box<dyn BufRead>, Failure> {
    if file == Path::new("-") {
        return Ok(Box::new(BufReader::new(io::stdin())));
    }
    let opened = File::open(file).map_err(|error| file_failure("open", file, &error))?;
    Ok(Box::new(BufReader::new(opened)))
}
