//! From tokens to statements: a head, what stands before its value, the value, its conditions, and the values that
//! follow in series.
//!
//! The descent recovers: what is not understood is stepped over, and the farther it goes without understanding, the
//! surer the next number must look before it counts as a rotation. Start at [`Grammar::run`].

use super::condition::{Conditions, Light, Reader};
use super::doubts::Doubt;
use super::head::{Form, Head, head};
use super::stream::Stream;
use super::token::Kind;
use super::value::{Unit, Value, value};
use crate::quantity::ConcentrationUnit;
use crate::statement::{PrintedConcentration, Role, RotationKind, Sign, Stage, StatedTemperature};

/// A statement that still refers to tokens.
#[derive(Clone, Debug)]
pub(super) struct Draft {
    /// What kind of rotation.
    pub kind: RotationKind,
    /// The value.
    pub value: Value,
    /// Its conditions.
    pub conditions: Conditions,
    /// Measured or quoted.
    pub role: Option<Role>,
    /// Stage of mutarotation.
    pub stage: Option<Stage>,
    /// Words on the enantiomer.
    pub enantiomer: Option<String>,
    /// Doubts about the statement beside those of value and conditions.
    pub doubts: Vec<Doubt>,
    /// First token.
    pub from: usize,
    /// Token behind.
    pub to: usize,
    /// How it is joined to the draft before.
    joint: Joint,
}

/// How a statement is joined to the one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Joint {
    /// It has its own head.
    Head,
    /// It follows in series.
    Series,
    /// It follows at once by "and": conditions behind it belong to both.
    Twin,
    /// It follows by "to", as the next reading of the same solution.
    Onward,
    /// It stands farther on in the prose.
    Prose,
}

/// Tokens that may stand between a head and its value.
const MOST_BEFORE_VALUE: usize = 70;
/// Words that are not understood between a head and its value.
const MOST_UNKNOWN: usize = 12;
/// Tokens behind a statement within which a signed angle counts as another one.
const PROSE_REACH: usize = 90;

/// Reads all statements of a stream.
pub(super) struct Grammar<'a> {
    s: &'a Stream,
    decimal_hyphens: bool,
    drafts: Vec<Draft>,
    /// Conditions in a bracket that belongs to no value yet, with the token behind it.
    ambient: Option<Conditions>,
}

impl<'a> Grammar<'a> {
    /// Reads a stream.
    pub(super) fn run(s: &'a Stream) -> Vec<Draft> {
        let mut grammar = Self {
            s,
            decimal_hyphens: has_decimal_hyphens(s),
            drafts: Vec::new(),
            ambient: None,
        };
        let mut at = 0;
        while at < s.len() {
            at = grammar.step(at).max(at + 1);
        }
        share_conditions(s, &mut grammar.drafts);
        mark_stages(s, &mut grammar.drafts);
        name_enantiomers(s, &mut grammar.drafts);
        name_samples(s, &mut grammar.drafts);
        for draft in &mut grammar.drafts {
            sign_from_words(s, draft);
        }
        grammar.drafts
    }

    /// Reads what begins at `at`; the place to go on from.
    fn step(&mut self, at: usize) -> usize {
        let s = self.s;
        if s.is_sentence_start(at) {
            self.ambient = None;
        }
        if let Some(head) = head(s, at) {
            return self.body(head);
        }
        if s.is_open(at) && s.text(at) == "(" {
            let mut reader = Reader::new(s);
            if let Some(end) = reader.bracket(at)
                && (reader.conditions.concentration.is_some() && reader.conditions.solvent.is_some()
                    || reader.conditions.concentration.is_some_and(|c| c.unit_printed))
            {
                // A head within the bracket is read in its own right.
                if !self.holds_head(at, end) {
                    self.ambient = Some(reader.conditions);
                    return end;
                }
            }
            return at + 1;
        }
        if let Some(end) = self.measured_at(at) {
            return end;
        }
        self.prose(at).or_else(|| self.headless(at)).unwrap_or(at + 1)
    }

    /// `measured −12° to −16° (c=1, CHCl3)`: a signed angle with a concentration and a solvent behind it needs no head.
    fn headless(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        if !matches!(s.kind(at), Some(Kind::Plus | Kind::Minus)) || s.is_glued(at) && at > 0 && !s.is_open(at - 1) {
            return None;
        }
        let value = self.value(at).filter(|value| value.unit != Unit::Celsius)?;
        if !s.is_open(value.end) {
            return None;
        }
        // Without a degree sign only behind an equals sign, a line end or the like.
        let bare = !value.is_angle();
        let led =
            at == 0 || s.is_any_mark(at - 1, &['=', ':', ';', '|', ',']) || s.is_word(at - 1, &["is", "was", "of"]);
        let led = led || self.drafts.last().is_some_and(|draft| at < draft.to + PROSE_REACH);
        if bare && !led
            || (1..=6).any(|n| {
                at.checked_sub(n)
                    .is_some_and(|n| s.is_word(n, &["ε", "δε", "λ", "ecd", "cd", "nm", "log", "θ"]))
            })
        {
            return None;
        }
        let (mut own, end) = self.conditions_behind(&value);
        if own.solvent.is_none() || !own.concentration.is_some_and(|c| c.unit_printed) {
            return None;
        }
        // `D 20: +148°`: the symbol was a picture, its indices are left.
        let mut from = at;
        let indices = (1..=4).find(|&n| {
            at.checked_sub(n)
                .is_some_and(|place| s.text(place) == "D" && s.number(place + 1).is_some())
        });
        if let Some(n) = indices {
            let number = s.number(at - n + 1);
            let near = (at - n + 2..at).all(|place| s.is_any_mark(place, &[':', '=']));
            if let (true, Some(number)) = (near, number) {
                own.temperature.get_or_insert(StatedTemperature::At(number.printed));
                own.light.get_or_insert_with(Light::sodium);
                from = at - n;
            }
        }
        let bare = bare || from < at;
        self.push(RotationKind::Specific, value, own, from, end, Joint::Head);
        if let (true, Some(draft)) = (bare, self.drafts.last_mut()) {
            draft.doubts.push(Doubt::NoSymbol);
        }
        Some(end)
    }

    /// `measured at c=1 in 5M HCl is -6.0 ± 0.5°`: conditions that announce a value without a head.
    fn measured_at(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        if s.text(at) != "c" || !s.is_mark(at + 1, '=') || s.number(at + 2).is_none() {
            return None;
        }
        let mut reader = Reader::new(s);
        let end = reader.line(at);
        if end == at || !(s.is_word(end, &["is", "was", "are"]) || s.is_any_mark(end, &['=', ':'])) {
            return None;
        }
        let value = self.value(end + 1).filter(Value::is_angle)?;
        let mut own = Reader::new(s);
        let to = own.line(value.end);
        own.conditions.fill_from(&reader.conditions);
        self.push(RotationKind::Specific, value, own.conditions, at, to, Joint::Head);
        Some(to)
    }

    fn value(&self, at: usize) -> Option<Value> {
        value(self.s, at, self.decimal_hyphens)
    }

    /// Reads from a head to the end of its series.
    fn body(&mut self, mut head: Head) -> usize {
        let s = self.s;
        let mut before = Reader::with(s, Conditions::default());
        let mut from = head.start;
        let mut at = head.end;
        let mut tight = true;
        let mut unknown = 0;
        let first = loop {
            if at >= s.len() || at > head.end + MOST_BEFORE_VALUE || unknown > MOST_UNKNOWN {
                return self.value_before(&head).unwrap_or(head.end);
            }
            if at > head.end && s.is_sentence_start(at) {
                return self.value_before(&head).unwrap_or(head.end);
            }
            if let Some(next) = self::head(s, at) {
                if next.form == Form::Bare && !tight {
                    at = next.end;
                    continue;
                }
                if !tight {
                    before = Reader::new(s);
                    from = next.start;
                }
                if next.form == Form::Symbol && head.kind == RotationKind::Molar {
                    head = Head {
                        kind: RotationKind::Molar,
                        ..next
                    };
                } else {
                    let symbol = std::mem::replace(&mut head, next);
                    if symbol.form == Form::Symbol && tight {
                        head.conditions.fill_from(&symbol.conditions);
                    }
                }
                at = head.end;
                tight = true;
                unknown = 0;
                continue;
            }
            // `10−1 deg cm2 g−1`: the dash belongs to a power.
            let power = at > head.end && s.is_glued(at) && matches!(s.kind(at - 1), Some(Kind::Number(_)));
            if let Some(value) = self
                .value(at)
                .filter(|value| !power && self.accepts(value, &head, tight, unknown))
            {
                break value;
            }
            if self.is_filler(at) {
                at += 1;
                continue;
            }
            if s.is_open(at) {
                if s.behind_bracket(at, 40).is_some_and(|end| self.holds_head(at, end)) {
                    at += 1;
                    continue;
                }
                match before.bracket(at) {
                    Some(end) if !self.holds_value(at, end, &head) => at = end,
                    _ => at += 1,
                }
                continue;
            }
            let end = before.line(at);
            if end > at {
                at = end;
                continue;
            }
            tight = false;
            unknown += 1;
            at += 1;
        };
        let mut shared = head.conditions.clone();
        shared.fill_from(&before.conditions);
        if shared.time.is_none() {
            shared.time.clone_from(&before.conditions.time);
        }
        shared.ee = shared.ee.or(before.conditions.ee.clone());
        if s.text(head.start).starts_with(['比', '旋']) {
            shared.fill_sample_from(&pharmacopoeial_clause(s, head.start));
        }
        let shared_doubts = std::mem::take(&mut shared.doubts);
        let (mut own, end) = self.conditions_behind(&first);
        if head.form == Form::Symbol {
            // The indices of the symbol are nearest to the value.
            own.temperature = shared
                .temperature
                .clone()
                .filter(|_| head.conditions.temperature.is_some())
                .or(own.temperature);
            if head
                .conditions
                .light
                .as_ref()
                .is_some_and(|light| light.nanometres.is_some())
            {
                own.light.clone_from(&shared.light);
            } else if own.light.as_ref().is_none_or(|light| light.nanometres.is_none()) {
                own.light = shared.light.clone().or(own.light);
            }
        }
        own.fill_from(&shared);
        own.time = own.time.or(shared.time.clone());
        own.ee = own.ee.or(shared.ee.clone());
        own.form = own.form.or(before.conditions.form.clone());
        own.doubts.extend(shared_doubts);
        own.doubts.extend(before.conditions.doubts.iter().cloned());
        let index = self.drafts.len();
        // "an opposite rotation of …" is of the kind that was spoken of.
        let spoken = self
            .drafts
            .last()
            .filter(|draft| head.form == Form::Bare && from < draft.to + PROSE_REACH);
        let kind = spoken.map_or(head.kind, |draft| draft.kind);
        head.kind = kind;
        self.push(kind, first, own, from, end, Joint::Head);
        if let Some(draft) = self.drafts.get_mut(index)
            && draft.value.unit == Unit::None
            && head.form != Form::Symbol
            && draft.value.sign == Sign::NotStated
        {
            let zero = draft.value.single.is_some_and(|single| single.value() == 0.0);
            if !zero && draft.conditions.is_without_sample() && draft.conditions.temperature.is_none() {
                draft.doubts.push(Doubt::BareNumber);
            }
        }
        if ((from..end).any(|n| {
            s.is_word(n, &["calculated", "calcd", "predicted", "computed"])
                && !s.is_word(n + 1, &["as", "on", "for", "with"])
        }) || from > 0 && s.is_word(from - 1, &["calculated", "predicted", "computed"]))
            && let Some(draft) = self.drafts.get_mut(index)
            && draft.conditions.basis.is_none()
        {
            draft.doubts.push(Doubt::Calculated);
        }
        if head.form == Form::Bare
            && index == 0
            && let Some(draft) = self.drafts.get_mut(index)
        {
            let led = draft.value.start > 0
                && (s.is_word(draft.value.start - 1, &["of", "by", "was", "is"])
                    || s.is_any_mark(draft.value.start - 1, &[':', '=']));
            if led && draft.conditions.is_without_sample() && draft.conditions.light.is_none() {
                draft.doubts.push(Doubt::KindNotSaid);
            }
        }
        if self.is_quoted(from)
            && let Some(draft) = self.drafts.get_mut(index)
        {
            draft.role = Some(Role::Lit);
        }
        shared.ee = None;
        shared.time = None;
        self.series(&head, &shared, end)
    }

    /// Conditions behind a value, and the place where they end.
    fn conditions_behind(&self, value: &Value) -> (Conditions, usize) {
        let s = self.s;
        let mut own = Reader::new(s);
        let mut at = self.behind_unit_of_rotation(value.end);
        // `-9.4 deg 3 deg at 25 °C`
        if value.unit == Unit::Degree
            && s.number(at).is_some()
            && s.is_word(at + 1, &["deg"])
            && !s.is_word(at + 2, &["c"])
        {
            own.conditions.doubts.push(Doubt::StrayNumber);
            at += 2;
        }
        // `658% (c = 0.1)`
        if s.kind(at) == Some(Kind::Percent) {
            own.conditions.doubts.push(Doubt::PercentForDegree);
            at += 1;
        }
        if s.is_mark(at, '\'') && s.is_glued(at) && s.is_open(at + 1) {
            at += 1;
        }
        if s.is_word(at, &["solution", "soln"]) {
            at += 1;
        }
        let mut end = own.line(at);
        if end == at {
            end = self.behind_unit_of_rotation(value.end);
            if let Some((form, behind)) = self.form_in_bracket(end) {
                own.conditions.form = Some(form);
                end = own.line(behind);
            }
        }
        (own.conditions, end)
    }

    /// The place behind `deg cm³ g⁻¹ dm⁻¹` and its like.
    fn behind_unit_of_rotation(&self, at: usize) -> usize {
        let s = self.s;
        let is_unit = |at: usize| s.is_word(at, &["cm", "ml", "dm", "g", "cc", "mL"]);
        let opens = s.is_any_mark(at, &['·', '×', '*', '/']) && is_unit(at + 1)
            || is_unit(at)
            || s.is_open(at) && is_unit(at + 1) && s.is_any_mark(at + 2, &['/', '·', '×', '*']);
        if !opens {
            return at;
        }
        let mut end = at;
        let mut units = 0;
        for next in at..at + 24 {
            let small = s
                .number(next)
                .is_some_and(|digits| matches!(s.text(next), "1" | "2" | "3" | "10") && digits.printed.decimals() == 0);
            let joins = is_unit(next)
                || small
                || s.kind(next) == Some(Kind::Minus)
                || s.is_any_mark(next, &['·', '×', '*', '/'])
                || s.is_close(next)
                || s.is_open(next)
                    && (is_unit(next + 1)
                        || s.is_word(next + 1, &["deg"])
                        || s.number(next + 1).is_some() && s.is_close(next + 2));
            if !joins {
                break;
            }
            units += usize::from(is_unit(next));
            if !s.is_close(next) || units > 0 {
                end = next + 1;
            }
        }
        if units >= 2 { end } else { at }
    }

    /// `(poly-D-lactic acid)`: a bracket that names what was measured.
    fn form_in_bracket(&self, at: usize) -> Option<(String, usize)> {
        let s = self.s;
        if s.text(at) != "(" {
            return None;
        }
        let end = s.behind_bracket(at, 24)?;
        let inner = s.slice(at + 1, end - 1);
        let fits = inner.len() >= 4
            && inner.len() <= 60
            && s.kind(at + 1) == Some(Kind::Word)
            && !(end == at + 3 && inner.starts_with(char::is_uppercase))
            && !s.is_word(
                at + 1,
                &[
                    "lit",
                    "literature",
                    "cf",
                    "ref",
                    "see",
                    "error",
                    "dec",
                    "fig",
                    "usp",
                    "table",
                ],
            )
            && inner.chars().filter(|c| c.is_alphabetic()).count() * 2 > inner.len()
            && !(at + 1..end).any(|n| s.is_mark(n, ';') || head(s, n).is_some());
        fits.then(|| (inner.to_owned(), end))
    }

    /// Whether a head stands in the bracket at `open`.
    fn holds_head(&self, open: usize, end: usize) -> bool {
        (open + 1..end).any(|n| head(self.s, n).is_some())
    }

    /// Whether the bracket at `open` holds a value rather than conditions only.
    fn holds_value(&self, open: usize, end: usize, head: &Head) -> bool {
        (open + 1..end).any(|n| {
            matches!(self.s.kind(n), Some(Kind::Plus | Kind::Minus))
                && self
                    .value(n)
                    .is_some_and(|value| value.is_angle() && self.accepts(&value, head, false, 0))
        })
    }

    /// `1.8920 of optical rotation`.
    fn value_before(&mut self, head: &Head) -> Option<usize> {
        let s = self.s;
        let number_at = head.start.checked_sub(2)?;
        if head.form != Form::Words || !s.is_word(head.start - 1, &["of", "as"]) {
            return None;
        }
        s.number(number_at)?;
        let signed = number_at > 0 && matches!(s.kind(number_at - 1), Some(Kind::Plus | Kind::Minus));
        let start = if signed { number_at - 1 } else { number_at };
        if start > 0 && s.kind(start - 1) == Some(Kind::Open('[')) {
            return None;
        }
        let value = self.value(start).filter(|value| value.end == head.start - 1)?;
        if self.drafts.last().is_some_and(|draft| draft.to > start) {
            return None;
        }
        let bare = value.unit == Unit::None;
        self.push(head.kind, value, Conditions::default(), start, head.end, Joint::Head);
        if let (true, Some(draft)) = (bare, self.drafts.last_mut()) {
            draft.doubts.push(Doubt::BareNumber);
        }
        Some(head.end)
    }

    /// Words and marks between a head and its value that say nothing.
    fn is_filler(&self, at: usize) -> bool {
        let s = self.s;
        match s.kind(at) {
            Some(Kind::Mark('>')) => at > 0 && s.is_mark(at - 1, '='),
            Some(Kind::Mark('.')) => {
                s.is_mark(at + 1, '.')
                    || s.is_mark(at.wrapping_sub(1), '.')
                    || matches!(s.kind(at + 1), Some(Kind::Plus | Kind::Minus))
                    || s.get(at + 1).is_some_and(|token| token.newline)
            }
            Some(Kind::Close(_) | Kind::Mark(':' | '=' | ',' | '|' | '"' | '\'' | ';' | '≡')) => true,
            Some(Kind::Word) => s.is_word(
                at,
                &[
                    "of", "is", "was", "were", "are", "be", "value", "values", "has", "had", "equals", "equal", "von",
                    "beträgt", "ist", "war", "di", "为", "為", "是", "应", "應", "于", "應", "est", "the", "found",
                    "being", "to",
                ],
            ),
            _ => false,
        }
    }

    /// Whether a number may be the value of a head.
    fn accepts(&self, value: &Value, head: &Head, tight: bool, unknown: usize) -> bool {
        let s = self.s;
        let end = value.end;
        let signed = value.is_signed();
        if value.unit == Unit::None && self.has_foreign_unit(end) {
            return false;
        }
        if value.unit == Unit::Celsius && !signed {
            return false;
        }
        if value.unit == Unit::Degree && !signed {
            // `at 20°` and `(15°)` are temperatures.
            let prepared =
                value.start > 0 && (s.is_word(value.start - 1, &["at", "bei", "à"]) || s.is_mark(value.start - 1, '@'));
            if prepared {
                return false;
            }
        }
        // `20/D`: a temperature with its line.
        if !signed && value.unit == Unit::None && s.is_mark(end, '/') && s.is_word(end + 1, &["d"]) {
            return false;
        }
        // `[α] (20) …`: a lone number in brackets is no value.
        let alone = value.start > 0 && s.is_open(value.start - 1) && s.is_close(end) && s.text(value.start - 1) == "(";
        if alone && value.unit == Unit::None && !signed {
            return false;
        }
        match (head.form, tight) {
            (Form::Bare, _) if self.is_style_sheet(value) => false,
            (Form::Bare, true) if value.start > 0 && s.is_word(value.start - 1, &["of"]) => {
                // "a rotation of 33°" is one of light only where light was spoken of before.
                value.unit == Unit::Degree
                    && (signed
                        || self
                            .drafts
                            .last()
                            .is_some_and(|draft| value.start < draft.to + PROSE_REACH))
            }
            (Form::Bare, _) => {
                let about = (end..end + 3).any(|n| s.is_word(n, &["about", "around", "along", "per", "relative"]));
                value.unit == Unit::Degree && (signed || value.low.is_some()) && unknown <= 3 && !about
            }
            (Form::Symbol, true) => !self.is_compound_number(value),
            (Form::Words, true) => {
                let led = value.start == head.end
                    || s.is_any_mark(value.start - 1, &[':', '=', '|', '.', '"'])
                    || s.is_close(value.start - 1)
                    || s.is_word(
                        value.start - 1,
                        &[
                            "of", "is", "was", "为", "為", "line", "d", "von", "beträgt", "be", "应", "to",
                        ],
                    );
                value.unit != Unit::None || signed || led && !self.is_compound_number(value)
            }
            (Form::Symbol, false) => {
                signed
                    && (value.unit == Unit::Degree
                        || unknown <= 2 && (s.is_open(end) || s.is_any_mark(end, &['.', ',', ';'])))
                    || value.unit == Unit::Degree && unknown <= 2
            }
            (Form::Words, false) => {
                let led = value.start > 0
                    && (s.is_mark(value.start - 1, '=') || s.is_word(value.start - 1, &["is", "was", "being"]));
                value.is_angle()
                    || value.unit == Unit::Degree && unknown <= 4
                    || value.sign == Sign::Stated && led && unknown <= 6
            }
        }
    }

    /// `rotation: -90deg` turns a picture.
    fn is_style_sheet(&self, value: &Value) -> bool {
        let s = self.s;
        let deg = value.end - 1;
        s.is_word(deg, &["deg"]) && s.is_glued(deg)
    }

    /// A number that names a compound or a citation: `2 (`, `3-5 were`, followed by a word other than a unit.
    fn is_compound_number(&self, value: &Value) -> bool {
        let s = self.s;
        let whole = value.single.or(value.low).is_some_and(|number| number.decimals() == 0);
        value.unit == Unit::None
            && value.sign == Sign::NotStated
            && whole
            && (s.kind(value.end) == Some(Kind::Word) && !s.is_word(value.end, &["at", "in", "for", "c"])
                || s.kind(value.end) == Some(Kind::Minus))
    }

    /// A unit that is none of rotation.
    fn has_foreign_unit(&self, at: usize) -> bool {
        let s = self.s;
        let words = [
            "nm",
            "mm",
            "cm",
            "dm",
            "mg",
            "g",
            "ml",
            "mL",
            "MHz",
            "Hz",
            "ppm",
            "eV",
            "kcal",
            "kJ",
            "mmol",
            "mol",
            "K",
            "min",
            "h",
            "hr",
            "Å",
            "cal",
            "torr",
            "mmHg",
            "atm",
            "wt",
            "N",
            "M",
            "mbar",
            "Pa",
            "times",
            "fold",
            "years",
            "compounds",
            "samples",
        ];
        if s.kind(at) == Some(Kind::Percent) {
            // Damaged degree sign: `658% (c = 0.1, methanol)`.
            return !(s.is_open(at + 1) && (at + 2..at + 5).any(|n| s.is_mark(n, '=')));
        }
        s.is_word(at, &words)
    }

    /// Values that follow the first one: `; -12 deg (…)`, `and +14.2`, `(c = 1 in methanol): +48`, `(lit. -50)`.
    fn series(&mut self, head: &Head, shared: &Conditions, mut at: usize) -> usize {
        let s = self.s;
        for _ in 0..200 {
            // Separators.
            let mut next = at;
            let mut separators = 0;
            let mut word = false;
            while separators < 4 {
                if s.is_any_mark(next, &[';', ',', '&', '|']) || s.is_close(next) && separators == 0 {
                    next += 1;
                } else if s.is_word(next, &["and", "or", "und", "et", "resp", "oder", "then", "ou"]) {
                    word = true;
                    next += 1;
                } else {
                    break;
                }
                separators += 1;
            }
            if s.is_sentence_start(next) || next >= s.len() {
                return at;
            }
            if let Some(end) = self.quoted(next) {
                at = end;
                continue;
            }
            if let Some((form, end)) = self.slash_form(next) {
                for draft in self.drafts.iter_mut().rev() {
                    if draft.conditions.form.is_some() {
                        break;
                    }
                    draft.conditions.form = Some(form.clone());
                }
                at = end;
                continue;
            }
            if self::head(s, next).is_some() {
                return at;
            }
            if s.is_word(next, &["to", "→", "bis", "至"]) || s.is_mark(next, '→') {
                match self.onward(head, shared, at, next + 1) {
                    Some(end) => {
                        at = end;
                        continue;
                    }
                    None => return at,
                }
            }
            // Conditions before the value.
            let mut before = Reader::new(s);
            let mut value_at = next;
            if !(matches!(s.kind(next), Some(Kind::Plus | Kind::Minus)) && s.number(next + 1).is_some()) {
                if s.is_open(next) {
                    match before.bracket(next) {
                        Some(end) => value_at = end,
                        None => return at,
                    }
                }
                value_at = before.label(value_at).unwrap_or_else(|| before.line(value_at));
            }
            let led = value_at > next;
            let mut filler = 0;
            while filler < 3 && s.is_any_mark(value_at, &[':', '=']) {
                value_at += 1;
                filler += 1;
            }
            let Some(value) = self.value(value_at) else { return at };
            if !self.follows(&value, separators > 0, led && filler > 0, s.kind(at)) {
                return at;
            }
            let (mut own, end) = self.conditions_behind(&value);
            if let (true, Some(last)) = (word, self.drafts.last_mut())
                && last.to == at
                && other_bound(&mut last.value, &value)
            {
                own.fill_from(&last.conditions);
                last.conditions = own;
                last.to = end;
                at = end;
                continue;
            }
            own.fill_from(&before.conditions);
            own.fill_from(shared);
            own.doubts.extend(before.conditions.doubts);
            let twin = word || s.is_mark(at, '&');
            let bare_before = self.drafts.last().is_some_and(|draft| draft.to == draft.value.end) && twin;
            let joint = if bare_before { Joint::Twin } else { Joint::Series };
            self.push(head.kind, value, own, next, end, joint);
            at = end;
        }
        at
    }

    /// `/Hydrochloride/`: compilations name what was measured between slashes.
    fn slash_form(&self, at: usize) -> Option<(String, usize)> {
        let s = self.s;
        if !s.is_mark(at, '/') || s.is_glued(at) || !s.is_glued(at + 1) || s.is_mark(at + 1, '/') {
            return None;
        }
        let close = (at + 2..at + 24).find(|&n| s.is_mark(n, '/') || s.is_sentence_start(n))?;
        let name = s.slice(at + 1, close);
        let fits = s.is_mark(close, '/')
            && (3..=90).contains(&name.len())
            && name.chars().filter(|c| c.is_alphabetic()).count() >= 3;
        fits.then(|| (name.to_owned(), close + 1))
    }

    /// Whether a value may stand in a series.
    fn follows(&self, value: &Value, separated: bool, led: bool, separator: Option<Kind>) -> bool {
        let s = self.s;
        let end = value.end;
        if self.has_foreign_unit(end) {
            return false;
        }
        let signed = value.is_signed();
        if value.unit == Unit::Celsius {
            // In a series printed in °C throughout.
            return signed
                && (led || separated)
                && self
                    .drafts
                    .last()
                    .is_some_and(|draft| draft.value.unit == Unit::Celsius);
        }
        if value.unit == Unit::Degree {
            return signed || separated || led;
        }
        let before_conditions = s.is_open(end)
            || s.is_word(end, &["at", "in"])
            || s.is_any_mark(end, &['@', ';'])
            || s.get(end).is_none()
            || s.is_mark(end, '.')
            || s.is_close(end)
            || s.is_mark(end, ',') && s.is_word(end + 1, &["respectively", "resp"]);
        let strong_separator = matches!(separator, Some(Kind::Mark(';' | ',' | '|') | Kind::Word));
        value.sign == Sign::Stated && (separated || led) && before_conditions && (strong_separator || led)
    }

    /// `… to +39 deg (6 minutes)`: the other end of a range, or the next reading of a mutarotation.
    fn onward(&mut self, head: &Head, shared: &Conditions, at: usize, next: usize) -> Option<usize> {
        let value = self
            .value(next)
            .filter(|value| value.unit == Unit::Degree || value.is_signed())?;
        if value.single.is_none() || value.unit == Unit::Celsius {
            return None;
        }
        let (mut own, end) = self.conditions_behind(&value);
        let last = self.drafts.last_mut()?;
        if last.to != at {
            return None;
        }
        let arrow = s_is_arrow(self.s, next);
        if arrow {
            last.stage = Some(Stage::Initial);
        }
        let staged = last.stage.is_some() || own.stage.is_some();
        if arrow || staged || last.conditions.time.is_some() || own.time.is_some() {
            own.fill_from(shared);
            self.push(head.kind, value, own, next, end, Joint::Onward);
            if let (true, Some(draft)) = (arrow, self.drafts.last_mut()) {
                draft.stage = Some(Stage::Final);
            }
            return Some(end);
        }
        let (first, second) = (last.value.single?, value.single?);
        let (low, high) = if first.value() <= second.value() {
            (first, second)
        } else {
            (second, first)
        };
        last.value.low = Some(low);
        last.value.high = Some(high);
        last.value.single = None;
        last.value.doubts.extend(value.doubts);
        own.fill_from(&last.conditions);
        own.doubts.extend(std::mem::take(&mut last.conditions.doubts));
        last.conditions = own;
        last.to = end;
        Some(end)
    }

    /// `(lit. -12.5 (c 1, CHCl3))`: a literature value beside a measured one.
    fn quoted(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        let open = usize::from(s.is_open(at));
        if !s.is_word(at + open, &["lit", "literature", "ref"]) {
            return None;
        }
        let mut next = at + open + 1;
        if s.is_mark(next, '.') {
            next += 1;
        }
        // A reference: `lit.17`, `lit. [17]`, `lit.17a`, `lit. value`
        for _ in 0..6 {
            if s.is_any_mark(next, &[':', '=', ',']) || s.is_word(next, &["value", "a", "b"]) {
                next += 1;
            } else if s.is_open(next) && s.number(next + 1).is_some() && s.is_close(next + 2) {
                next += 3;
            } else if s.number(next).is_some()
                && (s
                    .get(next)
                    .is_some_and(|token| super::condition::is_shifted(token.script))
                    || s.is_glued(next)
                    || matches!(s.kind(next + 1), Some(Kind::Plus | Kind::Minus | Kind::Mark(':' | ','))))
            {
                next += 1;
            } else {
                break;
            }
        }
        if let Some(head) = head(s, next) {
            let before = self.drafts.len();
            let end = self.body(head);
            if let Some(draft) = self.drafts.get_mut(before) {
                draft.role = Some(Role::Lit);
            }
            return (self.drafts.len() > before).then_some(end);
        }
        let value = self.value(next)?;
        let last = self.drafts.last()?;
        let kind = last.kind;
        let sound = value.unit != Unit::Celsius
            && !self.has_foreign_unit(value.end)
            && (value.is_signed() || value.unit == Unit::Degree);
        if !sound {
            return None;
        }
        let (own, mut end) = self.conditions_behind(&value);
        self.push(kind, value, own, at, end, Joint::Prose);
        if let Some(draft) = self.drafts.last_mut() {
            draft.role = Some(Role::Lit);
        }
        if open == 1 && s.is_close(end) {
            end += 1;
        }
        Some(end)
    }

    /// A signed angle in the prose behind a statement.
    fn prose(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        let last = self.drafts.last()?;
        if at > last.to + PROSE_REACH {
            return None;
        }
        let begins = matches!(s.kind(at), Some(Kind::Plus | Kind::Minus | Kind::Mark('~'))) || s.text(at) == "0";
        if !begins
            || at > 0
                && s.is_glued(at)
                && matches!(
                    s.kind(at - 1),
                    Some(Kind::Number(_) | Kind::Word | Kind::Degree | Kind::Close(_))
                )
        {
            return None;
        }
        let mut value = self.value(at).filter(Value::is_angle)?;
        let before = |n: usize, words: &[&str]| at.checked_sub(n).is_some_and(|place| s.is_word(place, words));
        let verb = before(2, &["rotates", "rotated", "reported", "rotation"]);
        let cold = ["at", "to", "below", "cooled", "bath", "from", "above"];
        if !verb && (before(1, &cold) || before(2, &["cooled", "at"])) && value.single.is_some() {
            return None;
        }
        let angles = [
            "torsion", "dihedral", "angle", "angles", "tilt", "twist", "θ", "2θ", "contact",
        ];
        if (1..=8).any(|n| before(n, &angles)) {
            return None;
        }
        let kind = last.kind;
        value.approx |= before(1, &["about", "around", "approximately", "ca", "roughly", "nearly"]);
        let (own, end) = self.conditions_behind(&value);
        self.push(kind, value, own, at, end, Joint::Prose);
        Some(end)
    }

    /// Whether "lit.", "cf." or the like announces the statement that begins at `from`.
    fn is_quoted(&self, from: usize) -> bool {
        let s = self.s;
        let floor = self
            .drafts
            .iter()
            .rev()
            .nth(1)
            .map_or(0, |draft| draft.to)
            .max(from.saturating_sub(7));
        for at in (floor..from).rev() {
            if s.is_sentence_start(at + 1) && at + 1 < from {
                return false;
            }
            if s.is_word(at, &["lit", "literature", "cf"]) {
                return true;
            }
        }
        false
    }

    fn push(
        &mut self,
        kind: RotationKind,
        mut value: Value,
        mut conditions: Conditions,
        from: usize,
        to: usize,
        joint: Joint,
    ) {
        if let Some(shared) = self.identical_conditions(from, to) {
            conditions.fill_from(&shared);
        } else if matches!(joint, Joint::Head | Joint::Prose)
            && let Some(ambient) = &self.ambient
        {
            conditions.fill_from(ambient);
        }
        if value.unit == Unit::Celsius {
            value.doubts.push(Doubt::CelsiusForDegrees);
        }
        if value.plus_minus.is_none() {
            value.plus_minus = conditions.plus_minus;
        }
        let stage = conditions.stage;
        self.drafts.push(Draft {
            kind,
            value,
            conditions,
            role: None,
            stage,
            enantiomer: None,
            doubts: Vec::new(),
            from,
            to,
            joint,
        });
    }

    /// The conditions of the statement before, when the text says that they are the same.
    fn identical_conditions(&self, from: usize, to: usize) -> Option<Conditions> {
        let s = self.s;
        let last = self.drafts.last()?;
        if from > last.to + PROSE_REACH {
            return None;
        }
        let said = (to..to + 4).any(|n| {
            s.is_word(n, &["under", "in"])
                && (1..=2).any(|m| s.is_word(n + m, &["identical", "same"]))
                && (2..=6).any(|m| s.is_word(n + m, &["conditions", "solvent"]))
        });
        said.then(|| {
            let mut shared = last.conditions.clone();
            shared.doubts.clear();
            shared
        })
    }
}

/// How the solution was made, in the words of East Asian pharmacopoeias before the value: `加水溶解并定量稀释制成每1ml中约含20mg的溶液`
/// (add water to dissolve and dilute to about 20 mg in 1 mL), `取本品10g … 稀释至100ml`.
fn pharmacopoeial_clause(s: &Stream, head: usize) -> Conditions {
    let mut conditions = Conditions::default();
    let floor = head.saturating_sub(170);
    let spells = |at: usize, word: &str| word.chars().enumerate().all(|(n, c)| s.text(at + n).starts_with(c));
    let mut taken = None;
    for at in floor..head {
        let solvent_at = if s.text(at) == "加" || s.text(at) == "用" {
            Some(at + 1)
        } else {
            None
        };
        if let Some(from) = solvent_at {
            // `用80ml的水溶解`
            let from = if s.number(from).is_some() && spells(from + 2, "的") {
                from + 3
            } else {
                from
            };
            if let Some((solvent, _)) = s.solvent(from) {
                conditions.solvent.get_or_insert(solvent);
            }
        }
        if let Some(number) = s.number(at) {
            let mass = s.is_word(at + 1, &["mg", "g"]);
            let before = |word: &str| at >= word.chars().count() && spells(at - word.chars().count(), word);
            if mass && before("含") && conditions.concentration.is_none() {
                let unit = if s.is_word(at + 1, &["mg"]) {
                    ConcentrationUnit::MilligramsPerMillilitre
                } else {
                    ConcentrationUnit::GramsPerMillilitre
                };
                conditions.concentration = Some(printed(number.printed, unit));
            } else if mass && (before("本品") || before("本品约") || before("本品約")) && s.is_word(at + 1, &["g"])
            {
                taken = Some(number.printed);
            } else if s.is_word(at + 1, &["ml"])
                && before("至")
                && s.text(at) == "100"
                && let (Some(grams), None) = (taken, conditions.concentration)
            {
                conditions.concentration = Some(printed(grams, ConcentrationUnit::GramsPer100Millilitres));
            }
        }
        if spells(at, "按") {
            let clause = at + 1..(at + 4).min(head);
            if clause.clone().any(|n| spells(n, "无水") || spells(n, "無水")) {
                conditions.basis = Some("anhydrous");
            } else if clause.clone().any(|n| spells(n, "干燥") || spells(n, "乾燥")) {
                conditions.basis = Some("dried");
            }
        }
    }
    conditions
}

fn printed(low: crate::quantity::Printed, unit: ConcentrationUnit) -> PrintedConcentration {
    PrintedConcentration {
        low,
        high: None,
        unit,
        unit_printed: true,
    }
}

/// Whether an arrow stands before the token at `at`.
fn s_is_arrow(s: &Stream, at: usize) -> bool {
    at > 0 && s.is_mark(at - 1, '→')
}

/// "Not less than … and not more than …": the two bounds of one range.
fn other_bound(first: &mut Value, second: &Value) -> bool {
    match (
        first.single,
        first.low,
        first.high,
        second.single,
        second.low,
        second.high,
    ) {
        (None, Some(_), None, None, None, Some(high)) => first.high = Some(high),
        (None, None, Some(_), None, Some(low), None) => first.low = Some(low),
        _ => return false,
    }
    first.doubts.retain(|doubt| *doubt != Doubt::BoundOfNegative);
    if let (Some(low), Some(high)) = (first.low, first.high)
        && low.value() > high.value()
    {
        first.low = Some(high);
        first.high = Some(low);
    }
    true
}

/// Whether the text prints hyphens for decimal points elsewhere (`0-8655`, `1-4690`): refractive indices and densities.
fn has_decimal_hyphens(s: &Stream) -> bool {
    (0..s.len()).any(|at| {
        matches!(s.text(at), "0" | "1")
            && s.number(at + 2).is_some_and(|digits| digits.printed.decimals() == 0)
            && matches!(s.text(at + 1), "-" | "'" | "*")
            && s.is_glued(at + 1)
            && s.is_glued(at + 2)
            && (3..=4).contains(&s.text(at + 2).len())
    })
}

/// Conditions printed once behind several values.
fn share_conditions(s: &Stream, drafts: &mut [Draft]) {
    for n in (1..drafts.len()).rev() {
        let (before, behind) = drafts.split_at_mut(n);
        let (Some(first), Some(second)) = (before.last_mut(), behind.first()) else {
            continue;
        };
        let adjacent = second.from >= first.to
            && (first.to..second.from).all(|at| {
                s.is_any_mark(at, &[',', ';', '|', '&', '→']) || s.is_word(at, &["and", "und", "et", "to", "bis"])
            });
        if !adjacent {
            continue;
        }
        // `+13.6 and +14.2 deg at 25 °C`
        let stages = first.stage == Some(Stage::Initial) && second.stage == Some(Stage::Final);
        if matches!(second.joint, Joint::Twin | Joint::Onward) || stages {
            first.conditions.fill_from(&second.conditions);
        }
        // `+48 deg at 25 °C/D; +257.9 deg at 365 nm (c = 1.0 in water)`: one solution, two lines.
        let lines = match (&first.conditions.light, &second.conditions.light) {
            (Some(a), Some(b)) => a.line != b.line,
            _ => false,
        };
        if lines && first.conditions.is_without_sample() && !second.conditions.is_without_sample() {
            first.conditions.fill_sample_from(&second.conditions);
        }
    }
}

/// Initial and final readings of a mutarotation.
fn mark_stages(s: &Stream, drafts: &mut Vec<Draft>) {
    // `+63.5 to +6.2 (…) mutarotatory`: the ends of the range are the two stages.
    let mut n = 0;
    while n < drafts.len() {
        let draft = &drafts[n];
        let reach = draft.to..draft.to + 8;
        let mutarotation = reach
            .into_iter()
            .any(|at| s.text(at).to_ascii_lowercase().starts_with("mutarot"))
            || (draft.from..draft.value.start)
                .any(|at| s.is_word(at, &["changes", "changing", "changed", "falls", "rises"]));
        if let (true, Some(low), Some(high)) = (mutarotation, draft.value.low, draft.value.high) {
            let mut first = draft.clone();
            let mut second = draft.clone();
            let rises = first_end_is_low(s, draft);
            (first.value.single, second.value.single) = if rises {
                (Some(low), Some(high))
            } else {
                (Some(high), Some(low))
            };
            for (part, stage) in [(&mut first, Stage::Initial), (&mut second, Stage::Final)] {
                part.value.low = None;
                part.value.high = None;
                part.value.doubts.retain(|doubt| *doubt != Doubt::RangeFalls);
                part.stage = Some(stage);
            }
            second.joint = Joint::Series;
            drafts.splice(n..=n, [first, second]);
            n += 1;
        }
        n += 1;
    }
    // Readings in series, the last of them with a time.
    let mut first = 0;
    for n in 1..=drafts.len() {
        let goes_on = drafts
            .get(n)
            .is_some_and(|draft| matches!(draft.joint, Joint::Series | Joint::Twin | Joint::Onward));
        if goes_on {
            continue;
        }
        let last = n - 1;
        let timed = drafts[first..=last]
            .iter()
            .filter(|draft| draft.conditions.time.is_some())
            .count();
        if last > first && drafts[last].conditions.time.is_some() && timed >= 1 {
            // A time that a twin took over belongs to the last reading.
            if drafts[last].joint == Joint::Twin {
                drafts[first].conditions.time = None;
            }
            drafts[first].stage.get_or_insert(Stage::Initial);
            drafts[last].stage.get_or_insert(Stage::Final);
        }
        first = n;
    }
}

/// Whether the end of a range that was printed first is the lower one.
fn first_end_is_low(s: &Stream, draft: &Draft) -> bool {
    let first = (draft.value.start..draft.value.end).find(|&at| s.number(at).is_some());
    let negative_first = first.is_some_and(|at| at > 0 && s.kind(at - 1) == Some(Kind::Minus));
    match (first.and_then(|at| s.number(at)), draft.value.low) {
        (Some(digits), Some(low)) => {
            let value = if negative_first {
                -digits.printed.value()
            } else {
                digits.printed.value()
            };
            (value - low.value()).abs() < 1e-9
        }
        _ => true,
    }
}

/// "(R)-enantiomer", "L-enantiomer" before or close behind a statement.
fn name_enantiomers(s: &Stream, drafts: &mut [Draft]) {
    let mut floor = 0;
    for draft in drafts {
        let from = floor.max(draft.from.saturating_sub(24));
        let before = (from..draft.from).rev().find(|&at| is_enantiomer(s, at));
        let behind = (draft.to..draft.to + 10)
            .find(|&at| is_enantiomer(s, at) && (draft.to..at).any(|n| s.is_word(n, &["for"])));
        floor = draft.to;
        let Some(noun) = behind.or(before) else { continue };
        let mut start = noun;
        // `(S)-(+)-enantiomer`, `L-enantiomer`
        while start > 0 && noun - start < 8 {
            let descriptor = matches!(
                s.kind(start - 1),
                Some(Kind::Minus | Kind::Plus | Kind::Close(')') | Kind::Open('('))
            ) || matches!(s.text(start - 1), "R" | "S" | "L" | "D" | "l" | "d");
            if !descriptor || s.kind(start - 1) == Some(Kind::Minus) && !s.is_glued(start) && !s.is_glued(start - 1) {
                break;
            }
            start -= 1;
        }
        let note = if s.text(start) == "(" {
            s.slice(start, noun).trim_end_matches(['-', ' ']).to_owned()
        } else {
            s.slice(start, noun + 1).to_owned()
        };
        if start < noun {
            draft.enantiomer = Some(note);
        }
    }
}

/// `(+)-1: [α]D …` names the sample; `at 98% ee, the rotation is …` gives its excess.
fn name_samples(s: &Stream, drafts: &mut [Draft]) {
    let mut floor = 0;
    for draft in drafts {
        let from = draft.from;
        if draft.conditions.form.is_none() && from >= 5 && s.is_mark(from - 1, ':') {
            let signed = (from.saturating_sub(7)..from).rev().find(|&at| {
                s.is_open(at)
                    && matches!(s.kind(at + 1), Some(Kind::Plus | Kind::Minus))
                    && s.is_close(at + 2)
                    && s.kind(at + 3) == Some(Kind::Minus)
            });
            if let Some(at) = signed {
                let name: String = s.slice(at, from - 1).split_whitespace().collect();
                draft.conditions.form = Some(name);
            }
        }
        if draft.conditions.ee.is_none() && draft.joint == Joint::Head {
            for at in (floor.max(from.saturating_sub(16))..from).rev() {
                if s.is_sentence_start(at + 1) && at + 1 < from {
                    break;
                }
                let mut reader = Reader::new(s);
                if reader.excess(at).is_some_and(|end| end <= from) && !s.is_any_mark(at.wrapping_sub(1), &['>', '≥'])
                {
                    draft.conditions.ee = reader.conditions.ee;
                    break;
                }
            }
        }
        floor = draft.to;
    }
}

fn is_enantiomer(s: &Stream, at: usize) -> bool {
    s.is_word(at, &["enantiomer", "antipode"])
}

/// A value without sign whose sentence says which way it turns.
fn sign_from_words(s: &Stream, draft: &mut Draft) {
    if draft.value.sign != Sign::NotStated {
        return;
    }
    let mut at = draft.value.start;
    for _ in 0..40 {
        if at == 0 || s.is_sentence_start(at) {
            return;
        }
        at -= 1;
        let word = s.text(at).to_lowercase();
        let left = matches!(
            word.as_str(),
            "levorotatory" | "laevorotatory" | "linksdrehend" | "lévogyre" | "levorotatorio"
        );
        let right = matches!(
            word.as_str(),
            "dextrorotatory" | "rechtsdrehend" | "dextrogyre" | "destrorotatorio"
        );
        if left || right {
            if left {
                let negative = |printed: &mut Option<crate::quantity::Printed>| {
                    *printed = printed.map(crate::quantity::Printed::negated);
                };
                negative(&mut draft.value.single);
                std::mem::swap(&mut draft.value.low, &mut draft.value.high);
                negative(&mut draft.value.low);
                negative(&mut draft.value.high);
            }
            draft.doubts.push(Doubt::SignFromWord(word));
            return;
        }
    }
}
