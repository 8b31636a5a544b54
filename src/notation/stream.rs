//! The tokens of one text, with the questions the grammar asks of them.

use super::clean::Clean;
use super::token::{Digits, Kind, Token, tokens};
use crate::solvent::Solvent;
use std::cell::RefCell;
use std::collections::HashMap;

/// Plain text cut into tokens; every question about a place past the end is answered with no.
pub(super) struct Stream {
    clean: Clean,
    tokens: Vec<Token>,
    /// Solvents looked for so far, by token: the same place is asked about many times.
    solvents: RefCell<HashMap<usize, Option<(Solvent, usize)>>>,
}

impl Stream {
    /// Cleans and cuts a text.
    pub(super) fn new(source: &str) -> Self {
        let clean = Clean::new(source);
        let tokens = tokens(&clean);
        Self {
            clean,
            tokens,
            solvents: RefCell::default(),
        }
    }

    /// The number of tokens.
    pub(super) fn len(&self) -> usize {
        self.tokens.len()
    }

    /// The token at `at`.
    pub(super) fn get(&self, at: usize) -> Option<&Token> {
        self.tokens.get(at)
    }

    /// What the token at `at` is.
    pub(super) fn kind(&self, at: usize) -> Option<Kind> {
        self.get(at).map(|token| token.kind)
    }

    /// The plain text of the token at `at`.
    pub(super) fn text(&self, at: usize) -> &str {
        self.get(at)
            .map_or("", |token| &self.clean.text[token.start..token.end])
    }

    /// The plain text from token `from` up to before token `to`.
    pub(super) fn slice(&self, from: usize, to: usize) -> &str {
        match (self.get(from), to.checked_sub(1).and_then(|last| self.get(last))) {
            (Some(first), Some(last)) if first.start < last.end => &self.clean.text[first.start..last.end],
            _ => "",
        }
    }

    /// The plain text from token `at` on.
    fn tail(&self, at: usize) -> &str {
        self.get(at).map_or("", |token| &self.clean.text[token.start..])
    }

    /// The original bytes from token `from` up to before token `to`.
    pub(super) fn span(&self, from: usize, to: usize) -> (usize, usize) {
        match (self.get(from), to.checked_sub(1).and_then(|last| self.get(last))) {
            (Some(first), Some(last)) => self.clean.original(first.start, last.end),
            _ => (0, 0),
        }
    }

    /// The longest solvent phrase that begins at token `at`, with the token behind it.
    pub(super) fn solvent(&self, at: usize) -> Option<(Solvent, usize)> {
        if !matches!(self.kind(at), Some(Kind::Word | Kind::Number(_))) {
            return None;
        }
        // `H 2 O`
        if self.text(at) == "H" && self.text(at + 1) == "2" && self.text(at + 2) == "O" && !self.is_glued(at + 1) {
            return Some((Solvent::parse("H2O").ok()?, at + 3));
        }
        if let Some(known) = self.solvents.borrow().get(&at) {
            return known.clone();
        }
        let found = Solvent::find_at(self.tail(at)).map(|(solvent, length)| (solvent, self.after_bytes(at, length)));
        self.solvents.borrow_mut().insert(at, found.clone());
        found
    }

    /// The solvent phrase that begins `offset` bytes inside token `at`, with the token behind it.
    pub(super) fn solvent_inside(&self, at: usize, offset: usize) -> Option<(Solvent, usize)> {
        let (solvent, length) = Solvent::find_at(self.tail(at).get(offset..)?)?;
        Some((solvent, self.after_bytes(at, offset + length)))
    }

    /// The solvent whose formula begins with the bracket at `open`.
    pub(super) fn formula_from_bracket(&self, open: usize) -> Option<(Solvent, usize)> {
        let (solvent, length) = Solvent::find_at(self.tail(open))?;
        Some((solvent, self.after_bytes(open, length)))
    }

    /// The first token that begins at or behind `length` bytes past the start of token `at`.
    fn after_bytes(&self, at: usize, length: usize) -> usize {
        let Some(token) = self.get(at) else { return at };
        let end = token.start + length;
        let mut next = at + 1;
        while self.get(next).is_some_and(|token| token.start < end) {
            next += 1;
        }
        next
    }

    /// The number at `at`.
    pub(super) fn number(&self, at: usize) -> Option<Digits> {
        match self.kind(at) {
            Some(Kind::Number(digits)) => Some(digits),
            _ => None,
        }
    }

    /// Whether the word at `at` is one of these, without regard to case.
    pub(super) fn is_word(&self, at: usize, words: &[&str]) -> bool {
        self.kind(at) == Some(Kind::Word) && words.iter().any(|word| same_letters(self.text(at), word))
    }

    /// Whether the words from `at` on are these, without regard to case.
    pub(super) fn are_words(&self, at: usize, words: &[&str]) -> bool {
        words.iter().enumerate().all(|(n, word)| self.is_word(at + n, &[word]))
    }

    /// Whether a mark stands at `at`.
    pub(super) fn is_mark(&self, at: usize, mark: char) -> bool {
        self.kind(at) == Some(Kind::Mark(mark))
    }

    /// Whether one of these marks stands at `at`.
    pub(super) fn is_any_mark(&self, at: usize, marks: &[char]) -> bool {
        matches!(self.kind(at), Some(Kind::Mark(mark)) if marks.contains(&mark))
    }

    /// Whether an opening bracket stands at `at`.
    pub(super) fn is_open(&self, at: usize) -> bool {
        matches!(self.kind(at), Some(Kind::Open(_)))
    }

    /// Whether a closing bracket stands at `at`.
    pub(super) fn is_close(&self, at: usize) -> bool {
        matches!(self.kind(at), Some(Kind::Close(_)))
    }

    /// Whether nothing stands between the token at `at` and the one before.
    pub(super) fn is_glued(&self, at: usize) -> bool {
        self.get(at).is_some_and(|token| !token.spaced)
    }

    /// Whether a sentence ends before the token at `at`: a full stop with a capital behind it, or an empty line.
    pub(super) fn is_sentence_start(&self, at: usize) -> bool {
        let Some(token) = self.get(at) else { return true };
        let before = at.checked_sub(1);
        let stop = before.is_some_and(|before| self.is_any_mark(before, &['.', '?', '!']));
        let capital = self.text(at).starts_with(char::is_uppercase);
        // `lit. `, `c. `, `sp. ` and initials are abbreviations.
        let abbreviation = before
            .and_then(|before| before.checked_sub(1))
            .is_some_and(|word| self.kind(word) == Some(Kind::Word) && self.text(word).len() <= 3);
        stop && token.spaced && capital && !abbreviation
    }

    /// The place behind the bracket that closes the one at `open`, looked for over at most `most` tokens.
    pub(super) fn behind_bracket(&self, open: usize, most: usize) -> Option<usize> {
        let mut depth = 0usize;
        for at in open..(open + most).min(self.len()) {
            if self.is_open(at) {
                depth += 1;
            } else if self.is_close(at) {
                depth -= 1;
                if depth == 0 {
                    return Some(at + 1);
                }
            }
        }
        None
    }
}

/// Equality without regard to case, for all alphabets.
fn same_letters(a: &str, b: &str) -> bool {
    a.eq_ignore_ascii_case(b)
        || (!a.is_ascii()
            && a.chars()
                .flat_map(char::to_lowercase)
                .eq(b.chars().flat_map(char::to_lowercase)))
}
