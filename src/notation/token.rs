//! Cuts plain text into numbers, words and marks.
//!
//! A token knows whether white space stood before it and whether it was raised or lowered, because print sets a
//! temperature apart from a value by nothing else. What the tokens mean is the business of the grammar.

use super::clean::{Clean, Script};
use crate::quantity::Printed;

/// What a token is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    /// Digits with at most one decimal mark.
    Number(Digits),
    /// Letters of one alphabet; a single sign of a script without spaces.
    Word,
    /// `+`.
    Plus,
    /// Any dash.
    Minus,
    /// `±`, `+/-`, `+-`.
    PlusMinus,
    /// A degree sign, also a raised `o` or `0` behind a number.
    Degree,
    /// `%`.
    Percent,
    /// `(`, `[` or `{`.
    Open(char),
    /// `)`, `]` or `}`.
    Close(char),
    /// Any other single character.
    Mark(char),
}

/// A number as printed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Digits {
    /// The number, without sign.
    pub printed: Printed,
    /// `1,234` and `12,345` are read as thousands, though they may be decimals.
    pub thousands: bool,
    /// A zero stands before another digit (`04.4`).
    pub leading_zero: bool,
    /// The decimal mark is a comma.
    pub comma: bool,
}

/// A piece of plain text.
#[derive(Clone, Copy, Debug)]
pub(super) struct Token {
    /// What it is.
    pub kind: Kind,
    /// First byte in the plain text.
    pub start: usize,
    /// Byte behind it in the plain text.
    pub end: usize,
    /// White space stands before it.
    pub spaced: bool,
    /// A line ends before it.
    pub newline: bool,
    /// How it stood on the line.
    pub script: Script,
}

/// The tokens of a plain text.
pub(super) fn tokens(clean: &Clean) -> Vec<Token> {
    let mut lexer = Lexer {
        clean,
        at: 0,
        tokens: Vec::with_capacity(clean.text.len() / 3),
    };
    while lexer.at < clean.text.len() {
        lexer.step();
    }
    lexer.tokens
}

struct Lexer<'a> {
    clean: &'a Clean,
    at: usize,
    tokens: Vec<Token>,
}

impl Lexer<'_> {
    fn step(&mut self) {
        let text = &self.clean.text;
        let mut spaced = false;
        let mut newline = false;
        while let Some(b' ' | b'\n') = text.as_bytes().get(self.at) {
            newline |= text.as_bytes()[self.at] == b'\n';
            spaced = true;
            self.at += 1;
        }
        let Some(c) = text[self.at..].chars().next() else {
            return;
        };
        let start = self.at;
        let script = self.clean.script(start);
        let (kind, end) = match c {
            // Each of these takes at least one character, or the text would never end.
            '0'..='9' => self.number(start, script),
            '.' if self.opens_decimals(start) => self.number(start, script),
            '+' if text[start..].starts_with("+/-") => (Kind::PlusMinus, start + 3),
            '+' if text[start..].starts_with("+-") => (Kind::PlusMinus, start + 2),
            '+' => (Kind::Plus, start + 1),
            '±' => (Kind::PlusMinus, start + 2),
            '-' => (Kind::Minus, start + 1),
            '°' => (Kind::Degree, start + 2),
            '%' => (Kind::Percent, start + 1),
            '(' | '[' | '{' => (Kind::Open(c), start + 1),
            ')' | ']' | '}' => (Kind::Close(c), start + 1),
            c if c.is_alphabetic() => (Kind::Word, self.split_index(start, self.word(start, script))),
            c => (Kind::Mark(c), start + c.len_utf8()),
        };
        let kind = self
            .degree_behind_number(kind, start, end, spaced, script)
            .unwrap_or(kind);
        self.tokens.push(Token {
            kind,
            start,
            end,
            spaced,
            newline,
            script,
        });
        self.at = end;
    }

    /// A raised `o` or `0`, or a lone `o`, behind a number is a degree sign.
    fn degree_behind_number(&self, kind: Kind, start: usize, end: usize, spaced: bool, script: Script) -> Option<Kind> {
        let before = self.tokens.last()?;
        if spaced || !matches!(before.kind, Kind::Number(_)) {
            return None;
        }
        let text = &self.clean.text[start..end];
        let lone_word = kind == Kind::Word && matches!(text, "o" | "O" | "ο" | "о");
        let raised = script == Script::Super && before.script == Script::Normal && matches!(text, "o" | "O" | "0");
        // `20oC` is one word to the lexer and left to the grammar.
        (raised || lone_word).then_some(Kind::Degree)
    }

    /// `-.5`: a decimal point right behind a sign or a bracket.
    fn opens_decimals(&self, start: usize) -> bool {
        let text = &self.clean.text;
        text.as_bytes().get(start + 1).is_some_and(u8::is_ascii_digit)
            && self.clean.script(start + 1) == self.clean.script(start)
            && text[..start].trim_end_matches(' ').ends_with(['-', '+', '±', '=', '('])
    }

    fn number(&self, start: usize, script: Script) -> (Kind, usize) {
        let bytes = self.clean.text.as_bytes();
        let run = |from: usize| {
            bytes[from..]
                .iter()
                .enumerate()
                .take_while(|&(n, b)| b.is_ascii_digit() && self.clean.script(from + n) == script)
                .count()
        };
        let whole = run(start);
        let mut end = start + whole;
        let mut decimals = 0;
        let mut comma = false;
        let mut thousands = false;
        let mark = self.clean.text[end..]
            .chars()
            .next()
            .filter(|c| matches!(c, '.' | ',' | '·'));
        if let Some(mark) = mark {
            let from = end + mark.len_utf8();
            let after = if from < bytes.len() { run(from) } else { 0 };
            if after > 0 && self.clean.script(end) == script {
                let next_mark = bytes.get(from + after) == Some(&b',')
                    && bytes.get(from + after + 1).is_some_and(u8::is_ascii_digit);
                if mark == ',' && after == 3 && whole <= 3 && bytes[start] != b'0' {
                    thousands = true;
                } else {
                    comma = mark == ',';
                    decimals = after;
                }
                // `210,252,280` is a list: the number ends before its comma.
                if mark == ',' && next_mark {
                    thousands = false;
                    comma = false;
                    decimals = 0;
                } else {
                    end = from + after;
                }
            }
        }
        let mut plain: String = self.clean.text[start..end].to_owned();
        if thousands {
            plain = plain.replace(',', "");
            // `12,345.6`
            let bytes = self.clean.text.as_bytes();
            if bytes.get(end) == Some(&b'.') && bytes.get(end + 1).is_some_and(u8::is_ascii_digit) {
                let more = run(end + 1);
                plain.push('.');
                plain.push_str(&self.clean.text[end + 1..end + 1 + more]);
                end += 1 + more;
                decimals = more;
                thousands = false;
            }
        }
        let plain = plain.replace([',', '·'], ".");
        let value = plain.parse::<f64>().unwrap_or(f64::NAN);
        // Hundreds of digits are no number.
        if !value.is_finite() {
            return (Kind::Word, end);
        }
        let printed = Printed::new(value, u8::try_from(decimals).unwrap_or(u8::MAX));
        let leading_zero = whole > 1 && bytes[start] == b'0';
        (
            Kind::Number(Digits {
                printed,
                thousands,
                leading_zero,
                comma,
            }),
            end,
        )
    }

    /// `20°CD` and `[α]DRT`: indices that lost their places run into one word; the end of its first part.
    fn split_index(&self, start: usize, end: usize) -> usize {
        let text = &self.clean.text;
        let behind_degree = text[..start].ends_with('°');
        let behind_symbol = text[..start].ends_with(']');
        match &text[start..end] {
            "CD" | "CNa" | "CHg" if behind_degree => start + 1,
            "DRT" | "Drt" if behind_symbol => start + 1,
            "RTD" | "rtD" if behind_symbol => end - 1,
            _ => end,
        }
    }

    fn word(&self, start: usize, script: Script) -> usize {
        let mut alphabet = None;
        for (n, c) in self.clean.text[start..].char_indices() {
            let this = Alphabet::of(c);
            if this.is_none()
                || alphabet.is_some_and(|first| Some(first) != this)
                || self.clean.script(start + n) != script
            {
                return start + n;
            }
            if this == Some(Alphabet::Ideographs) {
                return start + n + c.len_utf8();
            }
            alphabet = this;
        }
        self.clean.text.len()
    }
}

/// Alphabets that print runs together (`αD`, `比旋度`).
#[derive(Clone, Copy, PartialEq)]
enum Alphabet {
    Latin,
    Greek,
    Ideographs,
    Other,
}

impl Alphabet {
    fn of(c: char) -> Option<Self> {
        match c {
            'a'..='z' | 'A'..='Z' | '\u{00C0}'..='\u{024F}' | '\u{0300}'..='\u{036F}' => Some(Self::Latin),
            '\u{0370}'..='\u{03FF}' | '\u{1F00}'..='\u{1FFF}' => Some(Self::Greek),
            '\u{3040}'..='\u{30FF}' | '\u{3400}'..='\u{9FFF}' | '\u{F900}'..='\u{FAFF}' | '\u{20000}'..='\u{3134F}' => {
                Some(Self::Ideographs)
            }
            c if c.is_alphabetic() => Some(Self::Other),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kinds(source: &str) -> Vec<Kind> {
        tokens(&Clean::new(source)).iter().map(|token| token.kind).collect()
    }

    #[test]
    fn numbers_keep_their_digits() {
        for (source, value, decimals, thousands) in [
            ("25,4", 25.4, 1, false),
            ("0,125", 0.125, 3, false),
            ("1,234", 1234.0, 0, true),
            ("1,234.5", 1234.5, 1, false),
            ("12.30", 12.3, 2, false),
            ("7·5", 7.5, 1, false),
        ] {
            let [Kind::Number(digits)] = kinds(source)[..] else {
                panic!("{source} is one number");
            };
            assert_eq!(
                (digits.printed.value(), digits.printed.decimals()),
                (value, decimals),
                "{source}"
            );
            assert_eq!(digits.thousands, thousands, "{source}");
        }
    }

    /// Found by made-up texts: a point on the line before raised digits opened a number of no characters.
    #[test]
    fn a_point_before_a_raised_digit_is_a_mark() {
        let found = kinds("(.<sup>1</sup> c");
        assert!(
            matches!(
                found[..],
                [Kind::Open('('), Kind::Mark('.'), Kind::Number(_), Kind::Word]
            ),
            "{found:?}"
        );
    }

    #[test]
    fn a_raised_zero_or_o_behind_a_number_is_a_degree() {
        for source in ["39.9⁰", "39.9<sup>o</sup>", "39.9^o", "39.9º", "39.9°"] {
            assert_eq!(kinds(source)[1..], [Kind::Degree], "{source}");
        }
    }

    #[test]
    fn alphabets_are_told_apart() {
        assert_eq!(kinds("αD比旋").len(), 4);
        assert_eq!(kinds("D20").len(), 2);
    }

    proptest::proptest! {
        #[test]
        fn tokens_cover_the_text_in_order(source in "\\PC{0,120}") {
            let clean = Clean::new(&source);
            let mut at = 0;
            for token in tokens(&clean) {
                proptest::prop_assert!(token.start >= at && token.end > token.start);
                proptest::prop_assert!(clean.text.get(token.start..token.end).is_some());
                proptest::prop_assert!(clean.text[at..token.start].chars().all(|c| c == ' ' || c == '\n'));
                at = token.end;
            }
        }
    }
}
