//! Reads a printed value: sign, digits, degree sign, tolerance, range.
//!
//! Damage that print and scanning are known for is understood and noted as a doubt, never silently repaired.

use super::doubts::Doubt;
use super::stream::Stream;
use super::token::Kind;
use crate::quantity::Printed;
use crate::statement::Sign;

/// The unit printed behind a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    /// None.
    None,
    /// A degree sign or a word for it.
    Degree,
    /// A degree sign with a C behind.
    Celsius,
}

/// A value as printed.
#[derive(Clone, Debug)]
pub(super) struct Value {
    /// The number; none for a range.
    pub single: Option<Printed>,
    /// The low end.
    pub low: Option<Printed>,
    /// The high end.
    pub high: Option<Printed>,
    /// How the sign stood.
    pub sign: Sign,
    /// The tolerance.
    pub plus_minus: Option<Printed>,
    /// About, ca., ~.
    pub approx: bool,
    /// The unit.
    pub unit: Unit,
    /// What is not sure.
    pub doubts: Vec<Doubt>,
    /// The first token.
    pub start: usize,
    /// The token behind.
    pub end: usize,
}

impl Value {
    /// Whether a sign stands before the number, or the number is zero.
    pub(super) fn is_signed(&self) -> bool {
        self.sign != Sign::NotStated || self.single.is_some_and(|value| value.value() == 0.0)
    }

    /// Whether the number cannot be anything but an angle: a sign and a degree sign, or a range of such.
    pub(super) fn is_angle(&self) -> bool {
        self.unit == Unit::Degree && self.is_signed()
    }
}

/// A sign before a number.
#[derive(Clone, Copy, PartialEq)]
enum SignMark {
    Plus,
    Minus,
    Either,
}

/// What stands for a sign that could not be read.
pub(super) const DAMAGED_SIGNS: [char; 5] = ['?', '¿', '¡', '\u{FFFD}', '_'];

/// Reads a value at `at`. `decimal_hyphens` says that the text has hyphens for decimal points elsewhere.
pub(super) fn value(s: &Stream, at: usize, decimal_hyphens: bool) -> Option<Value> {
    let reader = Reader { s, decimal_hyphens };
    reader.value(at)
}

struct Reader<'a> {
    s: &'a Stream,
    decimal_hyphens: bool,
}

/// One signed number with its unit.
struct Term {
    sign: Option<SignMark>,
    number: Printed,
    unit: Unit,
    minutes: bool,
    spelled: String,
    end: usize,
}

impl Reader<'_> {
    fn value(&self, start: usize) -> Option<Value> {
        let s = self.s;
        let mut at = start;
        let mut doubts = Vec::new();
        let mut approx = false;
        let mut between = false;
        let mut bound = None;
        // "about", "between", "not less than" in any order.
        for _ in 0..4 {
            if let Some(next) = self.approx(at) {
                approx = true;
                at = next;
            } else if let Some((next, this)) = self.bound(at) {
                bound = Some(this);
                at = next;
            } else if s.is_word(
                at,
                &[
                    "between", "zwischen", "entre", "from", "von", "tra", "fra", "od", "от", "між", "de",
                ],
            ) {
                between = true;
                at += 1;
            } else {
                break;
            }
        }
        let first = self.term(at, &mut doubts)?;
        at = first.end;
        let mut value = Value {
            single: None,
            low: None,
            high: None,
            sign: Sign::Stated,
            plus_minus: None,
            approx,
            unit: first.unit,
            doubts: Vec::new(),
            start,
            end: at,
        };
        if let Some((second, end)) = self.second_term(at, &first, between, &mut doubts) {
            self.range(&mut value, &first, &second, &mut doubts);
            value.end = end;
        } else {
            value.sign = match first.sign {
                Some(SignMark::Either) => Sign::Ambiguous,
                Some(_) => Sign::Stated,
                None => Sign::NotStated,
            };
            let signed = if first.sign == Some(SignMark::Minus) {
                first.number.negated()
            } else {
                first.number
            };
            if let Some((tolerance, end)) = self.tolerance(at, &mut doubts) {
                value.plus_minus = Some(tolerance.number);
                if value.unit == Unit::None {
                    value.unit = tolerance.unit;
                }
                value.end = end;
            }
            match bound {
                Some(Bound::Least) => value.low = Some(signed),
                Some(Bound::Most) => value.high = Some(signed),
                None => value.single = Some(signed),
            }
            if bound.is_some() && signed.value() < 0.0 {
                doubts.push(Doubt::BoundOfNegative);
            }
        }
        value.doubts = doubts;
        Some(value)
    }

    fn approx(&self, at: usize) -> Option<usize> {
        let s = self.s;
        if s.is_any_mark(at, &['~', '≈', '≃', '∼', '≅']) {
            return Some(at + 1);
        }
        let words = [
            "about",
            "approximately",
            "approx",
            "ca",
            "circa",
            "around",
            "etwa",
            "environ",
            "roughly",
            "nearly",
            "ungefähr",
            "约",
            "約",
            "cca",
            "zirka",
        ];
        if s.is_word(at, &words) {
            return Some(if s.is_mark(at + 1, '.') { at + 2 } else { at + 1 });
        }
        None
    }

    fn bound(&self, at: usize) -> Option<(usize, Bound)> {
        let s = self.s;
        let phrases: [(&[&str], Bound); 17] = [
            (&["min"], Bound::Least),
            (&["minimum"], Bound::Least),
            (&["max"], Bound::Most),
            (&["maximum"], Bound::Most),
            (&["not", "less", "than"], Bound::Least),
            (&["no", "less", "than"], Bound::Least),
            (&["not", "lower", "than"], Bound::Least),
            (&["at", "least"], Bound::Least),
            (&["nlt"], Bound::Least),
            (&["mindestens"], Bound::Least),
            (&["not", "more", "than"], Bound::Most),
            (&["not", "greater", "than"], Bound::Most),
            (&["at", "most"], Bound::Most),
            (&["nmt"], Bound::Most),
            (&["höchstens"], Bound::Most),
            (&["more", "than"], Bound::Least),
            (&["less", "than"], Bound::Most),
        ];
        if let Some((words, bound)) = phrases.iter().find(|(words, _)| s.are_words(at, words)) {
            let stop = usize::from(s.is_mark(at + words.len(), '.'));
            return Some((at + words.len() + stop, *bound));
        }
        let bound = match s.kind(at)? {
            Kind::Mark('≥' | '>' | '≧' | '⩾') => Bound::Least,
            Kind::Mark('≤' | '<' | '≦' | '⩽') => Bound::Most,
            _ => return None,
        };
        let next = if s.is_mark(at + 1, '=') && s.is_glued(at + 1) {
            at + 2
        } else {
            at + 1
        };
        Some((next, bound))
    }

    fn term(&self, at: usize, doubts: &mut Vec<Doubt>) -> Option<Term> {
        let (sign, mut next) = self.sign(at, doubts);
        let spelled_from = next;
        let (number, end) = self.magnitude(next, sign.is_some(), doubts)?;
        next = end;
        let spelled = self.s.slice(spelled_from, next).to_owned();
        let (mut unit, mut next) = self.unit(next, doubts);
        let mut number = number;
        let mut minutes = false;
        // `- 47 32'`: the degree sign is lost, the minutes are not.
        let lost_degree = unit == Unit::None
            && self.s.is_mark(next + 1, '\'')
            && self.s.is_glued(next + 1)
            && self.s.get(next).is_some_and(|token| token.spaced && !token.newline);
        if lost_degree && self.minutes(number, next).is_some() {
            doubts.push(Doubt::DegreeDamaged);
            unit = Unit::Degree;
        }
        if unit == Unit::Degree
            && let Some((with_minutes, end)) = self.minutes(number, next)
        {
            number = with_minutes;
            minutes = true;
            next = end;
        }
        Some(Term {
            sign,
            number,
            unit,
            minutes,
            spelled,
            end: next,
        })
    }

    fn sign(&self, at: usize, doubts: &mut Vec<Doubt>) -> (Option<SignMark>, usize) {
        let s = self.s;
        let mark = |at: usize| match s.kind(at) {
            Some(Kind::Plus) => Some(SignMark::Plus),
            Some(Kind::Minus) => Some(SignMark::Minus),
            Some(Kind::PlusMinus) => Some(SignMark::Either),
            _ => None,
        };
        if let Some(sign) = mark(at) {
            // A doubled dash is one printed minus.
            let next = if sign == SignMark::Minus && mark(at + 1) == Some(SignMark::Minus) && s.is_glued(at + 1) {
                at + 2
            } else {
                at + 1
            };
            let zero = s.number(next).is_some_and(|digits| digits.printed.value() == 0.0);
            if sign == SignMark::Either && !zero {
                doubts.push(Doubt::SignAmbiguous);
            }
            return (Some(sign), next);
        }
        if s.is_open(at)
            && s.is_close(at + 2)
            && s.number(at + 3).is_some()
            && let Some(sign @ (SignMark::Plus | SignMark::Minus)) = mark(at + 1)
        {
            return (Some(sign), at + 3);
        }
        if s.number(at + 1).is_some() {
            if s.is_word(at, &["plus"]) {
                return (Some(SignMark::Plus), at + 1);
            }
            if s.is_word(at, &["minus", "negative", "moins"]) {
                return (Some(SignMark::Minus), at + 1);
            }
            if s.is_glued(at + 1) && s.is_word(at, &["f"]) {
                doubts.push(Doubt::SignAmbiguous);
                return (Some(SignMark::Either), at + 1);
            }
            if s.is_glued(at + 1) && s.is_any_mark(at, &DAMAGED_SIGNS) {
                doubts.push(Doubt::SignLost);
                return (None, at + 1);
            }
            if s.is_glued(at + 1) && (s.is_mark(at, '$') || s.is_word(at, &["þ"])) {
                doubts.push(Doubt::SignDamaged);
                return (Some(SignMark::Plus), at + 1);
            }
        }
        (None, at)
    }

    /// The digits, with what scanned print has for a decimal point.
    fn magnitude(&self, at: usize, signed: bool, doubts: &mut Vec<Doubt>) -> Option<(Printed, usize)> {
        let s = self.s;
        // `−l2.7`
        if signed
            && s.is_word(at, &["l", "i", "o"])
            && s.is_glued(at)
            && s.is_glued(at + 1)
            && s.number(at + 1).is_some()
        {
            let digit = if s.is_word(at, &["o"]) { "0" } else { "1" };
            let joined = format!("{digit}{}", s.text(at + 1)).replace([',', '·'], ".");
            doubts.push(Doubt::DigitDamaged);
            return Some((joined.parse::<Printed>().ok()?, at + 2));
        }
        let digits = s.number(at)?;
        if digits.leading_zero {
            doubts.push(Doubt::LeadingZero);
        }
        if digits.thousands {
            doubts.push(Doubt::ThousandsOrDecimals);
        }
        let plain_integer = digits.printed.decimals() == 0 && !digits.thousands;
        if let (true, Some(next)) = (plain_integer, s.number(at + 2)) {
            let glued = s.is_glued(at + 1) && s.is_glued(at + 2);
            let joined = || format!("{}.{}", s.text(at), s.text(at + 2)).parse::<Printed>().ok();
            let degree_behind = s.kind(at + 3) == Some(Kind::Degree);
            let few = s.text(at + 2).len() <= 3 && next.printed.decimals() == 0;
            let damaged = match s.kind(at + 1) {
                Some(Kind::Mark('\'' | '*' | '"' | ':')) => few && degree_behind,
                // `30-2°`: no range falls like this, and `7-69°` is one only where hyphens are not decimal points.
                Some(Kind::Minus) => {
                    few && degree_behind
                        && signed
                        && (self.decimal_hyphens || next.printed.value() < digits.printed.value())
                }
                _ => false,
            };
            if glued && damaged {
                doubts.push(Doubt::DecimalMarkDamaged);
                return Some((joined()?, at + 3));
            }
        }
        if let Some(found) = self.broken_decimals(at, plain_integer) {
            doubts.push(Doubt::DecimalMarkDamaged);
            return Some(found);
        }
        // `33°.09834`
        if plain_integer
            && s.kind(at + 1) == Some(Kind::Degree)
            && s.is_mark(at + 2, '.')
            && s.is_glued(at + 2)
            && s.is_glued(at + 3)
            && s.number(at + 3).is_some_and(|after| after.printed.decimals() == 0)
        {
            // `1O.7`: the letter is a digit rather than a degree sign.
            let letter = s.text(at + 1) == "O";
            if letter {
                doubts.push(Doubt::DigitDamaged);
            }
            let zero = if letter { "0" } else { "" };
            let joined = format!("{}{zero}.{}", s.text(at), s.text(at + 3))
                .parse::<Printed>()
                .ok()?;
            // The degree sign stands inside the number; the caller finds no other behind it.
            return Some((joined, at + 4));
        }
        // `158 000`
        if plain_integer
            && s.text(at).len() <= 3
            && s.text(at) != "0"
            && s.text(at + 1).len() == 3
            && s.number(at + 1).is_some_and(|next| next.printed.decimals() == 0)
            && s.get(at + 1).is_some_and(|token| token.spaced && !token.newline)
            && !matches!(s.kind(at + 2), Some(Kind::Mark('/' | '.')))
            && !s.is_word(at + 2, &["nm", "mm", "mg", "MHz"])
        {
            let joined = format!("{}{}", s.text(at), s.text(at + 1)).parse::<Printed>().ok()?;
            return Some((joined, at + 2));
        }
        // `1.2e3`, as programs write it.
        if s.is_word(at + 1, &["e", "E"]) && s.is_glued(at + 1) {
            let sign = usize::from(matches!(s.kind(at + 2), Some(Kind::Plus | Kind::Minus)));
            let power = at + 2 + sign;
            if s.number(power).is_some() && (at + 2..=power).all(|part| s.is_glued(part)) {
                let joined: String = (at..=power).map(|part| s.text(part)).collect();
                return Some((joined.parse::<Printed>().ok()?, power + 1));
            }
        }
        // `1.2 × 10^3`
        if (s.is_any_mark(at + 1, &['×', 'x']) || s.is_word(at + 1, &["x"]))
            && let (Some(ten), Some(power)) = (s.number(at + 2), s.number(at + 3))
        {
            let raised = s
                .get(at + 3)
                .is_some_and(|token| token.script == super::clean::Script::Super);
            let power_value = power.printed.value();
            if ten.printed.value() == 10.0 && raised && power_value <= 6.0 {
                let decimals = i32::from(digits.printed.decimals()) - power_value as i32;
                let number = Printed::new(
                    digits.printed.value() * 10f64.powi(power_value as i32),
                    u8::try_from(decimals.max(0)).unwrap_or(0),
                );
                return Some((number, at + 4));
            }
        }
        // `1.28 × 103`: the power lost its place above the line.
        if s.is_any_mark(at + 1, &['×', 'x'])
            && s.number(at + 2).is_some()
            && let Some(power) = s.text(at + 2).strip_prefix("10")
            && let Ok(power @ 1..=5) = power.parse::<i32>()
        {
            doubts.push(Doubt::DigitDamaged);
            let decimals = (i32::from(digits.printed.decimals()) - power).max(0);
            let number = Printed::new(digits.printed.value() * 10f64.powi(power), decimals as u8);
            return Some((number, at + 3));
        }
        Some((digits.printed, at + 1))
    }

    /// `12 .3 (c 1.0`, `12. 3°`, `1 2.3 (c 1.0`: blanks within a number that conditions or a degree sign follow.
    fn broken_decimals(&self, at: usize, plain_integer: bool) -> Option<(Printed, usize)> {
        let s = self.s;
        if !plain_integer || s.kind(at + 1) == Some(Kind::Degree) {
            return None;
        }
        let dot = s.is_mark(at + 1, '.') && !s.get(at + 1)?.newline;
        let last = at + 1 + usize::from(dot);
        let behind = s.number(last)?;
        let spaced = s.get(last)?.spaced || s.get(at + 1)?.spaced;
        let newline = s.get(last)?.newline;
        let whole = behind.printed.decimals() == 0 && s.text(last).len() <= 2;
        let keyed = s.is_open(last + 1) && matches!(s.text(last + 2), "c" | "C");
        let fits = spaced
            && !newline
            && (keyed || s.kind(last + 1) == Some(Kind::Degree) && s.text(last + 2) != "C")
            && (dot && whole
                || !dot
                    && behind.printed.decimals() > 0
                    && s.text(at).len() <= 2
                    && (keyed || matches!(s.text(last + 3), "c" | "C")));
        if !fits {
            return None;
        }
        let joined = if dot {
            format!("{}.{}", s.text(at), s.text(last))
        } else {
            format!("{}{}", s.text(at), s.text(last)).replace([',', '·'], ".")
        };
        Some((joined.parse::<Printed>().ok()?, last + 1))
    }

    /// The unit behind a number. A damaged degree sign counts as one.
    fn unit(&self, at: usize, doubts: &mut Vec<Doubt>) -> (Unit, usize) {
        let s = self.s;
        let celsius_behind = |at: usize| s.is_word(at, &["c"]) && s.text(at) == "C" && !s.is_mark(at + 1, '=');
        match s.kind(at) {
            Some(Kind::Degree) => {
                if celsius_behind(at + 1) && !(s.is_mark(at + 2, '.') && s.number(at + 3).is_some()) {
                    return (Unit::Celsius, at + 2);
                }
                (Unit::Degree, at + 1)
            }
            Some(Kind::Word) => {
                let words = [
                    "deg", "degs", "degree", "degrees", "de", "grad", "grado", "gradi", "grados", "degré", "degrés",
                    "度", "град", "stopni", "grader",
                ];
                if s.is_word(at, &words) && !(s.is_word(at, &["de", "grad"]) && s.is_glued(at)) {
                    let mut next = at + 1;
                    if s.is_word(next, &["deg"]) {
                        next += 1;
                    }
                    if s.is_mark(next, '.') && !s.is_sentence_start(next + 1) {
                        next += 1;
                    }
                    if celsius_behind(next) {
                        return (Unit::Celsius, next + 1);
                    }
                    return (Unit::Degree, next);
                }
                if s.is_word(at, &["degC", "oC"]) || (celsius_behind(at) && s.number(at + 1).is_none()) {
                    return (Unit::Celsius, at + 1);
                }
                let ends = s.is_open(at + 1) || self.is_end_mark(at + 1) || s.is_word(at + 1, &["in", "at"]);
                if s.is_glued(at) && s.is_word(at, &["a"]) && ends {
                    doubts.push(Doubt::DegreeDamaged);
                    return (Unit::Degree, at + 1);
                }
                (Unit::None, at)
            }
            Some(Kind::Mark('\'' | '"')) if s.is_glued(at) && (s.is_open(at + 1) || self.is_end_mark(at + 1)) => {
                // A quotation mark ends a quotation; a prime before a bracket is a damaged degree sign.
                if s.is_open(at + 1) {
                    doubts.push(Doubt::DegreeDamaged);
                    return (Unit::Degree, at + 1);
                }
                (Unit::None, at)
            }
            // `22.7 0 (c 0.5`: a degree sign read as a zero.
            Some(Kind::Number(_)) if s.text(at) == "0" && s.is_open(at + 1) && !s.is_glued(at) => {
                doubts.push(Doubt::DegreeDamaged);
                (Unit::Degree, at + 1)
            }
            // The degree sign was inside the number (33°.09834).
            _ if at >= 3 && s.kind(at - 3) == Some(Kind::Degree) && s.is_mark(at - 2, '.') && s.is_glued(at - 1) => {
                (Unit::Degree, at)
            }
            _ => (Unit::None, at),
        }
    }

    fn is_end_mark(&self, at: usize) -> bool {
        self.s.get(at).is_none() || self.s.is_any_mark(at, &['.', ',', ';'])
    }

    /// `12° 30'` and `0 deg 30 min`.
    fn minutes(&self, degrees: Printed, at: usize) -> Option<(Printed, usize)> {
        let s = self.s;
        let minutes = s.number(at)?.printed;
        let mark = s.is_mark(at + 1, '\'') || s.is_word(at + 1, &["min", "minutes"]);
        (degrees.decimals() == 0 && mark && minutes.value() < 60.0).then(|| {
            let decimals = if minutes.value() % 6.0 == 0.0 { 1 } else { 4 };
            let value = degrees.value() + minutes.value() / 60.0;
            let scale = 10f64.powi(decimals);
            (Printed::new((value * scale).round() / scale, decimals as u8), at + 2)
        })
    }

    /// The other end of a range that begins with `first`.
    fn second_term(&self, at: usize, first: &Term, between: bool, doubts: &mut Vec<Doubt>) -> Option<(Term, usize)> {
        let s = self.s;
        let mut probe = Vec::new();
        if s.is_word(
            at,
            &[
                "to", "bis", "à", "至", "til", "till", "until", "through", "do", "до", "auf", "a", "až",
            ],
        ) || (between && s.is_word(at, &["and", "und", "et", "e", "y"]))
            || (between && s.is_mark(at, '&'))
            || s.is_any_mark(at, &['~', '÷', '…'])
            || s.is_any_mark(at, &['„', '"']) && s.get(at).is_some_and(|token| token.spaced)
        {
            let ditto = s.is_any_mark(at, &['„', '"']);
            let mut next = at + 1;
            // "between … to …", "to about"
            if let Some(after) = self.approx(next) {
                next = after;
            }
            let second = self.term(next, &mut probe)?;
            // `25 °C to 30 °C` is no continuation of a value in degrees.
            if second.unit == Unit::Celsius && first.unit != Unit::Celsius {
                return None;
            }
            if ditto {
                probe.push(Doubt::DittoMark);
            }
            doubts.append(&mut probe);
            let end = second.end;
            return Some((second, end));
        }
        // `..` and `...`
        if s.is_mark(at, '.') && s.is_mark(at + 1, '.') {
            let next = if s.is_mark(at + 2, '.') { at + 3 } else { at + 2 };
            let second = self.term(next, &mut probe)?;
            doubts.append(&mut probe);
            let end = second.end;
            return Some((second, end));
        }
        if s.kind(at) != Some(Kind::Minus) || first.minutes {
            return None;
        }
        let spaced_before = !s.is_glued(at);
        let spaced_behind = s.get(at + 1).is_some_and(|token| token.spaced);
        let newline = s.get(at).is_some_and(|token| token.newline);
        // A dash set close to the second number only is that number's own sign.
        if (spaced_before && !spaced_behind) || newline {
            return None;
        }
        let second = self.term(at + 1, &mut probe)?;
        // `- 13° - 14°`: two values rather than a range that lost a sign; `4-+ 24°`: a stray digit.
        let two_values =
            spaced_before && first.unit == Unit::Degree && first.sign == Some(SignMark::Minus) && second.sign.is_none();
        let stray = !spaced_before && first.sign.is_none() && second.sign == Some(SignMark::Plus);
        if two_values || stray {
            return None;
        }
        if second.unit == Unit::Celsius || s.is_word(second.end, &["nm", "mm", "cm"]) {
            return None;
        }
        doubts.append(&mut probe);
        let end = second.end;
        Some((second, end))
    }

    fn range(&self, value: &mut Value, first: &Term, second: &Term, doubts: &mut Vec<Doubt>) {
        use SignMark::{Either, Minus, Plus};
        if value.unit == Unit::None {
            value.unit = second.unit;
        }
        let a = first.number;
        let b = second.number;
        value.sign = Sign::Stated;
        let (a, b) = match (first.sign, second.sign) {
            (Some(Minus), Some(Minus)) => (a.negated(), b.negated()),
            (Some(Minus), Some(_)) => (a.negated(), b),
            (Some(Plus), None | Some(Plus)) | (None, Some(Plus)) => (a, b),
            (Some(Plus | Either), Some(Minus)) => (a, b.negated()),
            (Some(Minus), None) => {
                // `-45-51°` shares its sign; `-34 to 38` may not.
                let dash = self.s.kind(first.end) == Some(Kind::Minus);
                if !dash || b.value() < a.value() {
                    doubts.push(Doubt::SecondSignMissing);
                }
                (a.negated(), b.negated())
            }
            (None, Some(Minus)) => {
                doubts.push(Doubt::FirstSignMissing);
                (a, b.negated())
            }
            (None, None) => {
                value.sign = Sign::NotStated;
                (a, b)
            }
            (Some(Either), _) | (_, Some(Either)) => {
                value.sign = Sign::Ambiguous;
                (a, b)
            }
        };
        let (low, high) = if a.value() <= b.value() { (a, b) } else { (b, a) };
        value.low = Some(low);
        value.high = Some(high);
        let falls = b.value().abs() < a.value().abs() && first.sign.is_some() && second.sign.is_none();
        if falls && !first.spelled.is_empty() && !doubts.contains(&Doubt::SecondSignMissing) {
            doubts.push(Doubt::RangeFalls);
        }
    }

    /// `± 2°`, `+/- 2`, `+ or - 2`.
    fn tolerance(&self, at: usize, doubts: &mut Vec<Doubt>) -> Option<(Term, usize)> {
        let s = self.s;
        let mut next = at;
        if s.is_mark(next, ',') && s.kind(next + 1) == Some(Kind::PlusMinus) {
            next += 1;
        }
        if s.is_open(next) && s.kind(next + 1) == Some(Kind::PlusMinus) {
            let mut probe = Vec::new();
            let term = self.term(next + 2, &mut probe)?;
            return s.is_close(term.end).then(|| {
                let end = term.end + 1;
                (term, end)
            });
        }
        next = if s.kind(next) == Some(Kind::PlusMinus) {
            next + 1
        } else if s.are_words(next, &["plus", "or", "minus"])
            || s.kind(next) == Some(Kind::Plus)
                && s.is_word(next + 1, &["or", "oder", "ou"])
                && s.kind(next + 2) == Some(Kind::Minus)
        {
            next + 3
        } else {
            return None;
        };
        let term = self.term(next, doubts)?;
        if term.sign.is_some() || term.unit == Unit::Celsius {
            return None;
        }
        let end = term.end;
        Some((term, end))
    }
}

#[derive(Clone, Copy)]
enum Bound {
    Least,
    Most,
}
