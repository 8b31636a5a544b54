//! Finds where a statement of rotation begins: the symbol `[α]` with its indices, or words such as "specific rotation".
//!
//! A symbol that print or scanning damaged (`[a]`, `[R]`, `[]`, `[cY]`) counts only with the letter of a line behind it.

use super::clean::Script;
use super::condition::Conditions;
use super::doubts::Doubt;
use super::light::{Light, is_shifted, is_wavelength, kelvin};
use super::stream::Stream;
use super::token::Kind;
use super::value::DAMAGED_SIGNS;
use crate::quantity::Printed;
use crate::statement::{RotationKind, StatedTemperature};

/// How a statement begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    /// A symbol.
    Symbol,
    /// A noun with an adjective: "optical rotation", "specific rotation".
    Words,
    /// The noun or verb alone: "rotation", "rotates".
    Bare,
}

/// The beginning of a statement.
#[derive(Clone, Debug)]
pub(super) struct Head {
    /// What kind of rotation is announced.
    pub kind: RotationKind,
    /// Symbol or words.
    pub form: Form,
    /// Temperature and light among the indices.
    pub conditions: Conditions,
    /// The first token.
    pub start: usize,
    /// The token behind.
    pub end: usize,
}

/// The head whose symbol or noun stands at `at`.
pub(super) fn head_at(s: &Stream, at: usize) -> Option<Head> {
    match s.kind(at)? {
        Kind::Open(bracket) => symbol(s, at, bracket),
        // Most words are passed over by their first letter.
        Kind::Word if !may_begin(s.text(at)) => None,
        Kind::Word => letter(s, at).or_else(|| scrambled(s, at)).or_else(|| words(s, at)),
        _ => None,
    }
}

/// Whether a word can be the noun or letter of a head: alpha, `D` of a scrambled symbol, the nouns.
fn may_begin(word: &str) -> bool {
    match word.as_bytes().first() {
        Some(b'a' | b'A') => word == "aD" || word.eq_ignore_ascii_case("alpha"),
        Some(b'd' | b'D') => word.len() == 1 || word.len() >= 7,
        Some(b'r' | b'R') => word.len() >= 3,
        Some(b's') => word.starts_with("skr"),
        Some(b) => !b.is_ascii(),
        None => false,
    }
}

/// How sure a symbol is.
#[derive(Clone, Copy, PartialEq)]
enum Symbol {
    /// `[α]`.
    Alpha,
    /// `[a]`: alpha set in Latin letters.
    Latin,
    /// `[M]`, `[Φ]`.
    Molar,
    /// Something else in the place of alpha.
    Damaged,
}

fn symbol(s: &Stream, at: usize, bracket: char) -> Option<Head> {
    // The inside is at most four tokens long.
    let close = (at + 1..at + 6).find(|&n| s.is_close(n));
    let first = s.text(at + 1);
    let mut from = at + 2;
    let mut doubts = Vec::new();
    let inner: String = match close {
        Some(close) => s.slice(at + 1, close).chars().filter(|c| !c.is_whitespace()).collect(),
        None => String::new(),
    };
    let symbol = if matches!(first, "α" | "alpha" | "ALPHA") {
        if inner == first {
            from = close? + 1;
        }
        Symbol::Alpha
    } else if bracket != '[' && bracket != '{' {
        return None;
    } else if matches!(inner.as_str(), "a" | "A") {
        from = close? + 1;
        Symbol::Latin
    } else if matches!(inner.as_str(), "M" | "m" | "Φ" | "φ" | "ϕ" | "Ф" | "ф") {
        from = close? + 1;
        Symbol::Molar
    } else if close.is_some() && is_damaged_alpha(&inner) {
        from = close? + 1;
        Symbol::Damaged
    } else if matches!(first, "a" | "ct" | "oc")
        && matches!(s.text(at + 2), "l" | "1" | "J" | "j" | "I" | "!")
        && s.is_word(at + 3, &["d"])
    {
        // `[ a l D`: the closing bracket was read as a letter.
        from = at + 3;
        Symbol::Damaged
    } else {
        return None;
    };
    if symbol == Symbol::Damaged {
        doubts.push(Doubt::SymbolDamaged(s.slice(at, from).to_owned()));
    }
    let mut indices = Indices::new(s, from, symbol == Symbol::Damaged);
    indices.read();
    // `[α-14C]`: an open bracket is a symbol only with its indices inside.
    if symbol == Symbol::Alpha && inner != first && indices.conditions.light.is_none() {
        return None;
    }
    // `[a]25 +5.6` and `[a] = +39`: Latin letters that announce a signed value.
    let announces =
        symbol == Symbol::Latin && bracket == '[' && indices.announces_signed(indices.conditions.temperature.is_some());
    if symbol != Symbol::Alpha && !indices.sure_line && !announces {
        return None;
    }
    // `[a]d` is more often something else.
    let spelled = symbol == Symbol::Latin || first != "α";
    if spelled && indices.lower_case_line && !announces && !indices.announces_signed(true) {
        return None;
    }
    if bracket != '[' && indices.conditions.light.is_none() && symbol == Symbol::Alpha && bracket == '(' {
        return None;
    }
    let mut conditions = indices.conditions;
    conditions.doubts.splice(0..0, doubts);
    Some(Head {
        kind: if symbol == Symbol::Molar {
            RotationKind::Molar
        } else {
            RotationKind::Specific
        },
        form: Form::Symbol,
        conditions,
        start: at,
        end: indices.at,
    })
}

/// Whether print or scanning may have made this of an alpha. Letters that stand in brackets for something else
/// (concentrations, footnotes, chemical symbols, the refractive index) do not count.
fn is_damaged_alpha(inner: &str) -> bool {
    let known = [
        "", "R", "o", "O", "0", "d", "x", "u", "z", "e", "s", "t", "r", "q", "y", "v", "tt", "tx", "«", "»", "?", "&",
        "<", "~", "*", "^", "c~", "~x", "CY", "CX", "°", "8", "2", "K",
    ];
    let lower_pair =
        inner.len() == 2 && inner.starts_with(['o', 'c', 'a', 'e', 'u']) && inner.chars().all(char::is_alphanumeric);
    known.contains(&inner) || lower_pair
}

/// `αD = -2°`, `alpha-D[20] = -10.19`: an observed angle.
fn letter(s: &Stream, at: usize) -> Option<Head> {
    let word = s.text(at);
    let before = at.checked_sub(1);
    if before.is_some_and(|before| s.is_glued(at) && !matches!(s.kind(before), Some(Kind::Open(_) | Kind::Mark(_)))) {
        return None;
    }
    let from = if matches!(word, "α" | "alpha" | "Alpha" | "ALPHA") {
        let hyphen = usize::from(s.kind(at + 1) == Some(Kind::Minus) && s.is_glued(at + 1) && s.is_glued(at + 2));
        let slash = usize::from(s.is_mark(at + 2, '/'));
        let number_first = hyphen == 0 && s.number(at + 1).is_some() && s.text(at + 2 + slash) == "D";
        let bracketed = s.is_open(at + 1) && s.text(at + 2) == "D" && s.is_close(at + 3);
        if s.text(at + 1 + hyphen) != "D" && !number_first && !bracketed
            || hyphen == 1 && s.kind(at + 3) == Some(Kind::Minus) && s.is_glued(at + 3)
        {
            return None;
        }
        at + 1 + hyphen
    } else if word == "aD" {
        at + 1
    } else {
        return None;
    };
    let mut indices = Indices::new(s, from, false);
    if word == "aD" {
        indices.conditions.light = Some(Light::sodium());
    }
    indices.read();
    let end = indices.at;
    let value_follows = s.is_any_mark(end, &['=', ':', '≈', '≥', '≤', '~', '<', '>'])
        || matches!(s.kind(end), Some(Kind::Plus | Kind::Minus | Kind::PlusMinus)) && s.number(end + 1).is_some();
    (value_follows && indices.conditions.light.is_some()).then_some(Head {
        kind: RotationKind::Observed,
        form: Form::Symbol,
        conditions: indices.conditions,
        start: at,
        end,
    })
}

/// `D 20 α [ ]`: glyphs in the order of a drawing program.
fn scrambled(s: &Stream, at: usize) -> Option<Head> {
    let temperature = s.number(at + 1)?;
    let fits = s.text(at) == "D" && s.text(at + 2) == "α" && s.is_open(at + 3) && s.is_close(at + 4);
    fits.then(|| Head {
        kind: RotationKind::Specific,
        form: Form::Symbol,
        conditions: Conditions {
            temperature: Some(StatedTemperature::At(temperature.printed)),
            light: Some(Light::sodium()),
            doubts: vec![Doubt::GlyphsScrambled],
            ..Conditions::default()
        },
        start: at,
        end: at + 5,
    })
}

/// The indices behind a symbol: temperature and line in any order.
struct Indices<'a> {
    s: &'a Stream,
    at: usize,
    conditions: Conditions,
    /// The symbol is damaged, so its indices may be too.
    damaged: bool,
    /// A line is printed as a letter or as a raised, lowered or glued number.
    sure_line: bool,
    /// The line is printed as a small d that is neither raised nor lowered.
    lower_case_line: bool,
}

impl<'a> Indices<'a> {
    fn new(s: &'a Stream, at: usize, damaged: bool) -> Self {
        Self {
            s,
            at,
            conditions: Conditions::default(),
            damaged,
            sure_line: false,
            lower_case_line: false,
        }
    }

    fn read(&mut self) {
        for _ in 0..12 {
            if !self.step() {
                break;
            }
        }
    }

    /// Reads one index; false when none stands here.
    fn step(&mut self) -> bool {
        let s = self.s;
        let at = self.at;
        match s.kind(at) {
            Some(Kind::Word) if s.is_word(at, &["sub", "sup"]) || s.text(at) == "λ" && s.is_glued(at) => {
                self.at += 1;
                true
            }
            Some(Kind::Word) => self.room(at) || self.line(at),
            Some(Kind::Number(_)) => self.run_together(at) || self.digits_apart(at) || self.number(at),
            // `[alpha]-D 20`
            Some(Kind::Minus)
                if self.at_bracket(at) && s.is_glued(at) && s.is_glued(at + 1) && s.text(at + 1) == "D" =>
            {
                self.at += 1;
                true
            }
            Some(Kind::Mark('/' | '_' | '^' | '|' | ',')) => {
                let next_is_index = self.is_line(at + 1)
                    || s.number(at + 1).is_some() && self.conditions.temperature.is_none() && !s.is_mark(at, ',')
                    || s.number(at + 1).is_some_and(is_wavelength) && self.conditions.light.is_none()
                    // `[α]D,20 =`
                    || s.is_glued(at)
                        && s.is_glued(at + 1)
                        && self.conditions.temperature.is_none()
                        && s.number(at + 1).is_some_and(|digits| (0.0..=60.0).contains(&digits.printed.value()))
                        && self.value_begins_with_mark(self.behind_degree(at + 2).0);
                if next_is_index {
                    self.at += 1;
                }
                next_is_index
            }
            Some(Kind::Mark('=')) if self.conditions.light.is_none() && s.is_glued(at) && s.text(at + 1) == "D" => {
                self.conditions.doubts.push(Doubt::StrayCharacters);
                self.at += 1;
                true
            }
            Some(Kind::Mark('~' | '\'' | '"' | '!' | '?' | '*' | ';' | ':' | '.'))
                if self.conditions.light.is_none() =>
            {
                let more = s.is_any_mark(at + 1, &['~', '\'', '"', '!', '?', '*']);
                let fits = self.is_line(at + 1) || more && self.is_line(at + 2);
                if fits && (self.damaged || s.is_glued(at)) {
                    self.conditions.doubts.push(Doubt::StrayCharacters);
                    self.at += 1 + usize::from(more);
                }
                fits && (self.damaged || s.is_glued(at))
            }
            Some(Kind::Mark('?')) if s.number(at + 1).is_none() => {
                self.conditions.doubts.push(Doubt::StrayCharacters);
                self.at += 1;
                true
            }
            Some(Kind::Open(_)) => self.bracketed(at),
            Some(Kind::Close(_)) => {
                // The bracket of `[αD20]` closes behind its indices.
                let inside =
                    self.conditions.light.is_some() && self.s.text(at) == "]" && at >= 2 && self.opens_alpha(at);
                if inside {
                    self.at += 1;
                }
                inside
            }
            _ => false,
        }
    }

    /// Whether the token at `at` stands right behind the symbol's bracket.
    fn at_bracket(&self, at: usize) -> bool {
        at > 0 && self.s.is_close(at - 1)
    }

    /// Whether an equals sign and a signed number follow, or the signed number alone when that is enough.
    fn announces_signed(&self, sign_is_enough: bool) -> bool {
        let equals = usize::from(self.s.is_mark(self.at, '='));
        let sign = self.at + equals;
        let bracket_behind =
            self.s.is_open(sign + 2) || self.s.kind(sign + 2) == Some(Kind::Degree) && self.s.is_open(sign + 3);
        (equals == 1 || sign_is_enough || bracket_behind)
            && matches!(self.s.kind(sign), Some(Kind::Plus | Kind::Minus))
            && self.s.number(sign + 1).is_some()
    }

    fn opens_alpha(&self, close: usize) -> bool {
        let s = self.s;
        (close.saturating_sub(6)..close)
            .rev()
            .find(|&n| s.is_open(n) || s.is_close(n))
            .is_some_and(|n| s.is_open(n))
    }

    fn is_line(&self, at: usize) -> bool {
        let text = self.s.text(at);
        self.s.kind(at) == Some(Kind::Word) && matches!(text, "D" | "d" | "Na" | "NaD" | "Hg" | "ᴅ" | "Д")
            || self.s.number(at).is_some_and(is_wavelength)
    }

    fn line(&mut self, at: usize) -> bool {
        let s = self.s;
        let text = s.text(at);
        let stray = text.len() == 2 && text.starts_with('D') && s.is_mark(at + 1, '?');
        let damaged = matches!(text, "p" | "n" | "o" | "O" | "P" | "b" | "u" | "ð" | "о")
            && self.conditions.light.is_none()
            && self.at_bracket(at)
            && s.is_glued(at)
            && s.is_glued(at + 1)
            && s.number(at + 1)
                .is_some_and(|digits| (10.0..=40.0).contains(&digits.printed.value()))
            && self.value_begins_with_mark(at + 2);
        if damaged {
            self.conditions.doubts.push(Doubt::LineLetter(text.to_owned()));
            self.conditions.light = Some(Light::sodium());
        } else if text == "Hg" && self.conditions.light.is_none() {
            self.conditions.light = Some(Light {
                line: crate::quantity::SpectralLine::Named("Hg".to_owned()),
                nanometres: None,
            });
        } else if matches!(text, "j" | "r") && s.is_glued(at) && self.conditions.light.is_none() && self.at_bracket(at)
        {
            // The transition tint and the red line of old polarimeters.
            self.conditions.light = Some(Light {
                line: crate::quantity::SpectralLine::Named(text.to_owned()),
                nanometres: None,
            });
        } else if matches!(text, "D" | "d" | "Na" | "NaD" | "Д") || stray {
            // `[α] d-limonene` is no index, nor is a second letter.
            if self.conditions.light.is_some() && text != "D"
                || text == "d"
                    && s.kind(at + 1) == Some(Kind::Minus)
                    && s.is_glued(at + 1)
                    && s.kind(at + 2) == Some(Kind::Word)
            {
                return false;
            }
            self.conditions.light.get_or_insert_with(Light::sodium);
            self.lower_case_line |= text == "d" && !s.get(at).is_some_and(|token| is_shifted(token.script));
        } else {
            return false;
        }
        self.sure_line = true;
        self.at += 1;
        if stray {
            self.conditions.doubts.push(Doubt::StrayCharacters);
            self.at += 1;
        }
        true
    }

    /// `[α]RT`: room temperature.
    fn room(&mut self, at: usize) -> bool {
        let room = matches!(self.s.text(at), "RT" | "rt") && self.conditions.temperature.is_none();
        if room {
            self.conditions.temperature = Some(StatedTemperature::Words("room".to_owned()));
            self.at += 1;
        }
        room
    }

    /// `[α]20546` and `[α]58925`: temperature and wavelength whose places on the line were lost.
    fn run_together(&mut self, at: usize) -> bool {
        let s = self.s;
        let text = s.text(at);
        let free = self.conditions.light.is_none() && self.conditions.temperature.is_none();
        if !free || text.len() != 5 || !text.bytes().all(|b| b.is_ascii_digit()) {
            return false;
        }
        let named = usize::from(s.is_word(at + 1, &["nm"]));
        if !self.value_begins_with_mark(at + 1 + named) {
            return false;
        }
        for (temperature, line) in [(&text[..2], &text[2..]), (&text[3..], &text[..3])] {
            let (Ok(temperature), Ok(nanometres)) = (temperature.parse::<Printed>(), line.parse::<f64>()) else {
                continue;
            };
            if (10.0..=40.0).contains(&temperature.value()) && LINES.contains(&line) {
                self.conditions.light = Light::at_nanometres(nanometres);
                self.sure_line = true;
                return self.set_temperature(temperature, at + 1 + named);
            }
        }
        false
    }

    /// `D 2 5 -12.3` and `2D0 -12.3`: the digits of a temperature set apart.
    fn digits_apart(&mut self, at: usize) -> bool {
        let s = self.s;
        let line_between = s.text(at + 1) == "D" && s.is_glued(at + 1) && s.is_glued(at + 2);
        let second = at + 1 + usize::from(line_between);
        let digit = |at: usize| s.number(at).filter(|_| s.text(at).len() == 1);
        let (Some(tens), Some(ones)) = (digit(at), digit(second)) else {
            return false;
        };
        let apart = line_between && self.conditions.light.is_none()
            || !line_between && self.conditions.light.is_some() && s.get(second).is_some_and(|token| token.spaced);
        let degrees = tens.printed.value() * 10.0 + ones.printed.value();
        if !apart
            || self.conditions.temperature.is_some()
            || !(10.0..=40.0).contains(&degrees)
            || !self.value_begins_with_mark(second + 1)
        {
            return false;
        }
        self.conditions.light.get_or_insert_with(Light::sodium);
        self.sure_line = true;
        self.conditions.doubts.push(Doubt::GlyphsScrambled);
        self.set_temperature(Printed::new(degrees, 0), second + 1)
    }

    /// Whether a sign with a number, or an equals sign, stands at `at`.
    fn value_begins_with_mark(&self, at: usize) -> bool {
        self.value_begins(at) && !matches!(self.s.kind(at), Some(Kind::Number(_) | Kind::Word))
    }

    fn number(&mut self, at: usize) -> bool {
        let s = self.s;
        let Some(digits) = s.number(at) else { return false };
        let number = digits.printed;
        let shifted = s.get(at).is_some_and(|token| is_shifted(token.script));
        // `[α]Hg546`
        let unnumbered = self.conditions.light.as_ref().is_some_and(|light| {
            light.nanometres.is_none() && light.line == crate::quantity::SpectralLine::Named("Hg".to_owned())
        });
        if unnumbered && is_wavelength(digits) && (s.is_glued(at) || shifted) {
            self.conditions.light = Light::at(number.value());
            self.at = at + 1 + usize::from(s.is_word(at + 1, &["nm"]));
            return true;
        }
        // `[α]D298K`
        if let Some(celsius) = kelvin(s, at).filter(|_| self.conditions.temperature.is_none()) {
            return self.set_temperature(celsius, at + 2);
        }
        if self.conditions.light.is_none() && is_wavelength(digits) {
            let named = s.is_word(at + 1, &["nm"]);
            if (shifted || named || s.is_glued(at) || self.value_begins(at + 1))
                && let Some(light) = Light::at(number.value())
            {
                self.conditions.light = Some(light);
                self.sure_line |= shifted || named || s.is_glued(at);
                self.at = at + 1 + usize::from(named);
                return true;
            }
            return false;
        }
        if self.conditions.temperature.is_some() || !(-80.0..=110.0).contains(&number.value()) {
            return false;
        }
        let (mut behind, celsius) = self.behind_degree(at + 1);
        // `[α]λ20 [nm]`: the unit of the wavelengths that follow.
        if s.is_open(behind) && s.is_word(behind + 1, &["nm"]) && s.is_close(behind + 2) {
            behind += 3;
        }
        // A range of temperatures: `20-25 °C`, `20-25 =`.
        if s.kind(at + 1) == Some(Kind::Minus)
            && let Some(second) = s.number(at + 2)
        {
            let (end, celsius) = self.behind_degree(at + 3);
            let raised = s.get(at + 2).is_some_and(|token| token.script == Script::Super);
            let then_value = self.value_begins(end) && s.kind(at + 3) != Some(Kind::Degree);
            // `20–22 −56.2`: a blank before the dash makes it the sign of a value.
            let sign_apart = s.get(end).is_some_and(|token| token.spaced) && s.is_glued(end + 1);
            let value_is_range =
                s.kind(end) == Some(Kind::Minus) && !sign_apart || s.kind(end) == Some(Kind::PlusMinus);
            let sign_of_value =
                s.get(at + 1).is_some_and(|token| token.spaced) && s.is_glued(at + 2) && !celsius && !raised;
            let rises = second.printed.value() > number.value() && !sign_of_value;
            if rises && (celsius || raised || then_value && !value_is_range) && second.printed.value() <= 60.0 {
                self.conditions.temperature = Some(StatedTemperature::Range(number, second.printed));
                self.at = end;
                return true;
            }
        }
        let before_line = self.conditions.light.is_none()
            && (self.is_line(behind) || s.is_any_mark(behind, &['/', '_', '^', ',']) && self.is_line(behind + 1));
        if celsius || shifted || before_line {
            return self.set_temperature(number, behind);
        }
        // `[α]D20 (c 1.00, EtOH): -49.1`, `[α]D25, -7.2`
        let behind_bracket = s.is_open(behind).then(|| s.behind_bracket(behind, 40)).flatten();
        let announced = behind_bracket.is_some_and(|end| {
            s.is_any_mark(end, &[':', '='])
                || matches!(s.kind(end), Some(Kind::Plus | Kind::Minus)) && s.number(end + 1).is_some()
        });
        let unit = s.is_mark(behind, '/') && s.text(behind + 1) == "10" && s.is_word(behind + 4, &["deg"]);
        // The head of a column: the values stand farther on.
        let column = s.is_glued(at)
            && number.decimals() == 0
            && self.conditions.light.is_some()
            && behind_bracket.is_some_and(|end| {
                (end..end + 12)
                    .take_while(|&n| !s.is_sentence_start(n) && s.text(n) != "[")
                    .any(|n| {
                        matches!(s.kind(n), Some(Kind::Plus | Kind::Minus))
                            && s.get(n).is_some_and(|token| token.spaced)
                            && s.is_glued(n + 1)
                            && s.number(n + 1).is_some()
                    })
            });
        if unit || column {
            return self.set_temperature(number, behind);
        }
        let comma = s.is_mark(behind, ',') && matches!(s.kind(behind + 1), Some(Kind::Plus | Kind::Minus));
        if announced || comma {
            return self.set_temperature(number, behind);
        }
        if self.value_begins(behind) {
            if s.kind(behind) == Some(Kind::Minus) {
                self.doubt_dash(at, number, behind);
            }
            return self.set_temperature(number, behind);
        }
        // Nothing like a value follows: set close to the line it is still a temperature; a sentence or a table goes on.
        let usual = (10.0..=40.0).contains(&number.value()) && self.conditions.light.is_some();
        let degree = s.kind(at + 1) == Some(Kind::Degree) && s.is_mark(behind, ',');
        if s.is_glued(at) && number.decimals() == 0 && usual && (s.is_any_mark(behind, &[',', '|']) || degree) {
            return self.set_temperature(number, behind);
        }
        let heads_column = s.is_open(behind)
            && matches!(s.text(behind + 1), "c" | "C")
            && s.number(behind + 2).is_none()
            && s.behind_bracket(behind, 8)
                .is_some_and(|end| (behind..end).all(|n| s.number(n).is_none_or(|_| s.is_glued(n))));
        if s.is_glued(at) && number.decimals() == 0 && usual && heads_column {
            return self.set_temperature(number, behind);
        }
        let goes_on = s.is_close(behind) || s.kind(behind) == Some(Kind::Word);
        if s.is_glued(at) && number.decimals() == 0 && behind == at + 1 && goes_on {
            return self.set_temperature(number, behind);
        }
        if number.decimals() == 0
            && behind == at + 1
            && (15.0..=30.0).contains(&number.value())
            && self.conditions.light.is_some()
        {
            self.conditions.doubts.push(Doubt::ValueOrTemperature);
        }
        false
    }

    fn set_temperature(&mut self, number: Printed, end: usize) -> bool {
        self.conditions.temperature = Some(StatedTemperature::At(number));
        self.at = end;
        true
    }

    /// `[α]D20-46`: a doubt when the two numbers could be the ends of a range.
    fn doubt_dash(&mut self, at: usize, number: Printed, dash: usize) {
        let s = self.s;
        let glued = s.is_glued(dash) && s.is_glued(dash + 1);
        let Some(second) = s.number(dash + 1) else { return };
        let second = second.printed;
        if glued
            && dash == at + 1
            && second.decimals() == 0
            && second.value() > number.value()
            && second.value() <= 35.0
        {
            self.conditions.doubts.push(Doubt::MinusOrRange);
        }
    }

    /// The place behind a degree sign, with or without C.
    fn behind_degree(&self, at: usize) -> (usize, bool) {
        let s = self.s;
        if s.kind(at) == Some(Kind::Degree) {
            return if s.text(at + 1) == "C" {
                (at + 2, true)
            } else {
                (at + 1, false)
            };
        }
        if s.text(at) == "C" || s.is_word(at, &["oC", "degC"]) {
            return (at + 1, true);
        }
        (at, false)
    }

    /// Whether a value begins at `at`: a sign and a number, an equals sign, a word such as "of", or a number.
    fn value_begins(&self, at: usize) -> bool {
        let s = self.s;
        match s.kind(at) {
            Some(Kind::Plus | Kind::Minus | Kind::PlusMinus) => {
                s.number(at + 1).is_some()
                    || s.kind(at + 1) == Some(Kind::Minus) && s.number(at + 2).is_some()
                    || matches!(s.text(at + 1), "l" | "I" | "O") && s.is_glued(at + 2) && s.number(at + 2).is_some()
            }
            Some(Kind::Mark('=' | ':' | '≈' | '~' | '≥' | '≤' | '>' | '<')) => true,
            Some(Kind::Mark(mark)) if DAMAGED_SIGNS.contains(&mark) => s.number(at + 1).is_some() && s.is_glued(at + 1),
            Some(Kind::Open(_)) => {
                matches!(s.kind(at + 1), Some(Kind::Plus | Kind::Minus))
                    && (s.is_close(at + 2) || s.number(at + 2).is_some())
            }
            Some(Kind::Number(digits)) => !is_wavelength(digits) || self.conditions.light.is_some(),
            Some(Kind::Word) => s.is_word(
                at,
                &[
                    "of",
                    "is",
                    "was",
                    "between",
                    "ca",
                    "about",
                    "approximately",
                    "zwischen",
                    "minus",
                    "plus",
                    "not",
                    "was",
                    "von",
                    "为",
                    "為",
                ],
            ),
            _ => false,
        }
    }

    /// `[α](D)`, `[20]`, `(20 °C, D)`.
    fn bracketed(&mut self, at: usize) -> bool {
        let s = self.s;
        let mut next = at + 1;
        let mut temperature = None;
        let mut light = None;
        for _ in 0..6 {
            if self.is_line(next) && s.number(next).is_none() && light.is_none() {
                light = Some(Light::sodium());
                next += 1;
            } else if let Some(digits) = s.number(next) {
                if is_wavelength(digits) && light.is_none() {
                    light = Light::at(digits.printed.value());
                    next += 1 + usize::from(s.is_word(next + 1, &["nm"]));
                } else if temperature.is_none() && (0.0..=60.0).contains(&digits.printed.value()) {
                    temperature = Some(digits.printed);
                    next = self.behind_degree(next + 1).0;
                } else {
                    return false;
                }
            } else if s.is_any_mark(next, &[',', '/', ';']) {
                next += 1;
            } else {
                break;
            }
        }
        if !s.is_close(next) || temperature.is_none() && light.is_none() {
            return false;
        }
        // `[α]D (20)` may quote a reference; without light known a lone number in brackets is no index, unless the line
        // follows as in `[α](20)(D)`.
        let line_follows = self.is_line(next + 1) || s.is_open(next + 1) && self.is_line(next + 2);
        if light.is_none() && self.conditions.light.is_none() && !line_follows {
            return false;
        }
        if let Some(number) = temperature {
            self.conditions.temperature.get_or_insert(StatedTemperature::At(number));
        }
        if let Some(light) = light {
            self.conditions.light.get_or_insert(light);
            self.sure_line = true;
        }
        self.at = next + 1;
        true
    }
}

/// Wavelengths rotations are printed for, nm: what five digits in a row are searched for.
const LINES: [&str; 13] = [
    "589", "578", "577", "546", "436", "435", "405", "404", "365", "364", "334", "633", "302",
];

/// Nouns of rotation.
const NOUNS: [&str; 22] = [
    "rotation",
    "rotations",
    "drehung",
    "drehwert",
    "drehwerte",
    "drehvermögen",
    "drehungsvermögen",
    "rotationsvermögen",
    "rotationswert",
    "rotazione",
    "rotación",
    "rotacion",
    "rotação",
    "rotace",
    "rotatie",
    "вращение",
    "вращения",
    "skręcalność",
    "skręcająca",
    "rot",
    "rotaion",
    "rotaton",
];

/// Adjectives, with the kind they make of the rotation.
const ADJECTIVES: [(&str, RotationKind); 50] = [
    ("sp", RotationKind::Specific),
    ("opt", RotationKind::Observed),
    ("specific", RotationKind::Specific),
    ("specifc", RotationKind::Specific),
    ("spec", RotationKind::Specific),
    ("spezifische", RotationKind::Specific),
    ("spezifischer", RotationKind::Specific),
    ("spezifisches", RotationKind::Specific),
    ("spez", RotationKind::Specific),
    ("spécifique", RotationKind::Specific),
    ("specifique", RotationKind::Specific),
    ("specifico", RotationKind::Specific),
    ("specifica", RotationKind::Specific),
    ("específica", RotationKind::Specific),
    ("específico", RotationKind::Specific),
    ("especifica", RotationKind::Specific),
    ("удельное", RotationKind::Specific),
    ("právě", RotationKind::Specific),
    ("właściwa", RotationKind::Specific),
    ("molar", RotationKind::Molar),
    ("molecular", RotationKind::Molar),
    ("molare", RotationKind::Molar),
    ("molekulare", RotationKind::Molar),
    ("molaire", RotationKind::Molar),
    ("optical", RotationKind::Observed),
    ("optische", RotationKind::Observed),
    ("optischer", RotationKind::Observed),
    ("angular", RotationKind::Observed),
    ("observed", RotationKind::Observed),
    ("optica", RotationKind::Observed),
    ("óptica", RotationKind::Observed),
    ("ottica", RotationKind::Observed),
    ("optique", RotationKind::Observed),
    ("optyczna", RotationKind::Observed),
    ("оптическое", RotationKind::Observed),
    ("optická", RotationKind::Observed),
    ("optické", RotationKind::Observed),
    ("optisk", RotationKind::Observed),
    ("óptico", RotationKind::Observed),
    ("ottico", RotationKind::Observed),
    ("удельный", RotationKind::Specific),
    ("удельного", RotationKind::Specific),
    ("spezifischen", RotationKind::Specific),
    ("optischen", RotationKind::Observed),
    ("specifická", RotationKind::Specific),
    ("specifické", RotationKind::Specific),
    ("specifieke", RotationKind::Specific),
    ("specifik", RotationKind::Specific),
    ("właściwej", RotationKind::Specific),
    ("optycznej", RotationKind::Observed),
];

fn adjective(s: &Stream, at: usize) -> Option<RotationKind> {
    ADJECTIVES
        .iter()
        .find(|(word, _)| s.is_word(at, &[word]))
        .map(|&(_, kind)| kind)
}

fn words(s: &Stream, at: usize) -> Option<Head> {
    if let Some(head) = ideographs(s, at) {
        return Some(head);
    }
    let mut end = at + 1;
    if s.is_word(at, &["rotatory", "rotatoire", "rotatorio", "rotatory"]) {
        let power_behind = s.is_word(at + 1, &["power"]);
        let power_before = at > 0 && s.is_word(at - 1, &["pouvoir", "potere", "poder"]);
        if !power_behind && !power_before {
            return None;
        }
        end += usize::from(power_behind);
    } else if !s.is_word(at, &NOUNS) {
        return None;
    }
    let mut start = at;
    let mut kinds = Vec::new();
    for n in 1..=4 {
        let Some(before) = at.checked_sub(n) else { break };
        if let Some(kind) = adjective(s, before) {
            kinds.push(kind);
            start = before;
        } else if !(s.is_mark(before, '.') || s.is_word(before, &["pouvoir", "potere", "poder", "zdolność"])) {
            break;
        }
    }
    // Romance languages set the adjective behind.
    for _ in 0..2 {
        if let Some(kind) = adjective(s, end) {
            kinds.push(kind);
            end += 1;
        }
    }
    if s.is_word(at, &["rot"]) && s.is_mark(end, '.') {
        end += 1;
    }
    if s.is_word(end, &["value", "values", "index", "angle", "power"]) {
        end += 1;
    }
    let kind = if kinds.contains(&RotationKind::Molar) {
        RotationKind::Molar
    } else if kinds.contains(&RotationKind::Specific) {
        RotationKind::Specific
    } else {
        RotationKind::Observed
    };
    let noun_is_enough = s.is_word(
        at,
        &["drehwert", "drehvermögen", "drehungsvermögen", "rotatoire", "rotatorio"],
    );
    if kinds.is_empty() && s.is_word(at, &["rot"]) {
        return None;
    }
    if kinds.is_empty() && !noun_is_enough {
        return Some(bare(kind, at, end));
    }
    Some(Head {
        kind,
        form: Form::Words,
        conditions: Conditions::default(),
        start,
        end,
    })
}

fn bare(kind: RotationKind, start: usize, end: usize) -> Head {
    Head {
        kind,
        form: Form::Bare,
        conditions: Conditions::default(),
        start,
        end,
    }
}

/// 比旋度, 比旋光度 (specific), 旋光度 (observed).
fn ideographs(s: &Stream, at: usize) -> Option<Head> {
    let spells = |word: &str| {
        word.chars()
            .enumerate()
            .all(|(n, c)| s.text(at + n).starts_with(c) && s.kind(at + n) == Some(Kind::Word))
    };
    let (kind, length) = [
        ("比旋光度", RotationKind::Specific),
        ("比旋度", RotationKind::Specific),
        ("比旋光本领", RotationKind::Specific),
        ("旋光度", RotationKind::Observed),
    ]
    .into_iter()
    .find(|(word, _)| spells(word))
    .map(|(word, kind)| (kind, word.chars().count()))?;
    Some(Head {
        kind,
        form: Form::Words,
        conditions: Conditions::default(),
        start: at,
        end: at + length,
    })
}
