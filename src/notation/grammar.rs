//! From tokens to statements: a head, what stands before its value, the value, its conditions, and the values that
//! follow in series.
//!
//! The descent recovers: what is not understood is stepped over, and the farther it goes without understanding, the
//! surer the next number must look before it counts as a rotation. Start at [`Grammar::run`].

use super::condition::{Conditions, Reader};
use super::doubts::Doubt;
use super::head::{Form, Head, head_at};
use super::light::{Light, is_wavelength};
use super::pharmacopoeia::pharmacopoeial_clause;
use super::relation::relate;
use super::stream::Stream;
use super::token::Kind;
use super::value::{Unit, Value, value};
use crate::statement::{Role, RotationKind, Sign, Stage};

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
    pub joint: Joint,
}

/// How a statement is joined to the one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Joint {
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
/// Constants that stand beside the optical rotation in tables of oils.
const COLUMN_LABELS: [&str; 12] = [
    "refractive",
    "index",
    "saponification",
    "ester",
    "acid",
    "iodine",
    "value",
    "gravity",
    "boiling",
    "melting",
    "point",
    "solubility",
];
/// Words that are not understood between a head and its value.
const MOST_UNKNOWN: usize = 12;
/// Tokens of a bracket of citations before a value in it.
const MOST_IN_CITATION: usize = 60;
/// Tokens behind a statement within which a signed angle counts as another one.
pub(super) const PROSE_REACH: usize = 90;

/// Reads all statements of a stream.
pub(super) struct Grammar<'a> {
    pub(super) s: &'a Stream,
    /// Hyphens stand for decimal points elsewhere in the text.
    decimal_hyphens: bool,
    pub(super) drafts: Vec<Draft>,
    /// Conditions in a bracket that belongs to no value yet, with the token behind it.
    pub(super) ambient: Option<Conditions>,
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
        relate(s, &mut grammar.drafts);
        grammar.drafts
    }

    /// Reads what begins at `at`; the place to go on from.
    fn step(&mut self, at: usize) -> usize {
        let s = self.s;
        if s.is_sentence_start(at) {
            self.ambient = None;
        }
        if let Some(head) = head_at(s, at) {
            return self.body(head);
        }
        if s.is_open(at) && s.text(at) == "(" {
            if let Some(end) = self.compared(at) {
                return end;
            }
            // Only a bracket with a concentration in it is kept.
            let keyed = (at + 1..at + 24).take_while(|&n| !s.is_close(n)).any(|n| {
                matches!(s.kind(n), Some(Kind::Percent | Kind::Mark('©')))
                    || s.is_word(
                        n,
                        &["c", "с", "conc", "concn", "concentration", "cone", "g", "mg", "molar"],
                    )
            });
            if !keyed {
                return at + 1;
            }
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
        // `a solution in chloroform (c 1.0) showed …`, `an aqueous solution (p = 9.8) gave …`
        if (s.is_word(at, &["in"]) || s.is_word(at + 1, &["aqueous"]))
            && let Some((solvent, end)) = s.solvent(at + 1)
            && s.text(end) == "("
        {
            let mut reader = Reader::new(s);
            if let Some(behind) = reader.bracket(end)
                && reader.conditions.concentration.is_some_and(|c| c.unit_printed)
                && !self.holds_head(end, behind)
            {
                reader.conditions.solvent.get_or_insert(solvent);
                self.ambient = Some(reader.conditions);
                return behind;
            }
        }
        if let Some(end) = self.measured_at(at).or_else(|| self.weighed_sample(at)) {
            return end;
        }
        self.prose(at).or_else(|| self.headless(at)).unwrap_or(at + 1)
    }

    pub(super) fn value(&self, at: usize) -> Option<Value> {
        value(self.s, at, self.decimal_hyphens)
    }

    /// Reads from a head to the end of its series.
    pub(super) fn body(&mut self, mut head: Head) -> usize {
        let s = self.s;
        if head.form == Form::Symbol
            && s.is_open(head.end)
            && s.is_word(head.end + 1, &["c"])
            && s.is_mark(head.end + 2, ',')
            && s.number(head.end + 3).is_none()
            && let Some(end) = self.table(&head)
        {
            return end;
        }
        let mut before = Reader::with(s, Conditions::default());
        let mut from = head.start;
        let mut at = head.end;
        let mut tight = true;
        let mut unknown = 0;
        let mut columns = false;
        let first = loop {
            if at >= s.len() || at > head.end + MOST_BEFORE_VALUE || unknown > MOST_UNKNOWN {
                return self.without_value(&head);
            }
            if at == head.end && s.is_mark(at, '/') {
                at = self.behind_unit_of_rotation(at);
            }
            // Labels of a column whose values stand apart from them.
            let new_line = s.is_sentence_start(at) || s.get(at).is_some_and(|token| token.newline);
            let label = s.is_word(at, &COLUMN_LABELS) && (new_line || columns);
            if head.form == Form::Words && (label || columns && self.is_in_columns(at)) {
                columns = true;
                tight = false;
                at += 1;
                continue;
            }
            if at > head.end && s.is_sentence_start(at) {
                return self.without_value(&head);
            }
            if let Some(next) = head_at(s, at) {
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
            let labels =
                head.form == Form::Symbol && head.conditions.light.is_none() && self.labels_wavelength(at).is_some();
            if let Some(value) = self
                .value(at)
                .filter(|_| !labels)
                .filter(|value| !power && self.accepts(value, &head, tight, unknown) && (!columns || value.is_angle()))
            {
                break value;
            }
            if tight && let Some(end) = self.behind_subject(at, head.form) {
                at = end;
                continue;
            }
            // `589 −22.7`: the wavelength of the value, where the symbol names none.
            if head.form == Form::Symbol
                && head.conditions.light.is_none()
                && let Some(light) = self.labels_wavelength(at)
            {
                before.set_light(light);
                at += 1 + usize::from(s.is_word(at + 1, &["nm"]));
                continue;
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
        // `[α] = 0.05`: without line, temperature, sample, sign and degree it is any quantity.
        let bare = first.unit == Unit::None && !first.is_signed() && s.kind(first.end) == Some(Kind::Word);
        if head.form == Form::Symbol
            && bare
            && own.light.is_none()
            && own.temperature.is_none()
            && own.is_without_sample()
        {
            return head.end;
        }
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
        if let (true, Some(draft)) = (columns, self.drafts.get_mut(index)) {
            draft.doubts.push(Doubt::ColumnsApart);
        }
        if (self.is_quoted(from) || self.is_cited_behind(from, end))
            && let Some(draft) = self.drafts.get_mut(index)
        {
            draft.role = Some(Role::Lit);
        }
        shared.ee = None;
        shared.time = None;
        self.series(&head, &shared, end)
    }

    /// A head that no value follows: one may stand before it, or rows below it.
    fn without_value(&mut self, head: &Head) -> usize {
        self.value_before(head).or_else(|| self.table(head)).unwrap_or(head.end)
    }

    /// Conditions behind a value, and the place where they end.
    pub(super) fn conditions_behind(&self, value: &Value) -> (Conditions, usize) {
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
        // `-51.2(3)`: the uncertainty of the last digit, as crystallographers print it.
        // `−12 (3)`: the number of the compound.
        let whole = s.number(at + 1).is_some_and(|digits| digits.printed.decimals() == 0) && s.text(at + 1).len() <= 2;
        let letter = usize::from(s.kind(at + 2) == Some(Kind::Word) && s.is_glued(at + 2) && s.text(at + 2).len() == 1);
        if s.text(at) == "(" && whole && s.is_close(at + 2 + letter) {
            at += 3 + letter;
        }
        if s.is_word(at, &["solution", "soln"]) {
            at += 1;
        }
        let mut end = own.line(at);
        if end == at && at > value.end && s.is_close(at - 1) {
            return (own.conditions, end);
        }
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
        // `× 10−1 deg cm2 g−1`: the unit of tables that keep to the SI.
        let power = at + usize::from(s.is_any_mark(at, &['·', '×', '*', '/']) || s.is_open(at));
        let si = s.text(power) == "10"
            && s.kind(power + 1) == Some(Kind::Minus)
            && s.text(power + 2) == "1"
            && s.is_word(power + 3, &["deg"]);
        let opens = si
            || s.is_any_mark(at, &['·', '×', '*', '/']) && is_unit(at + 1)
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
                || si && s.is_word(next, &["deg"])
                || s.kind(next) == Some(Kind::Minus) && matches!(s.text(next + 1), "1" | "2" | "3")
                || s.is_any_mark(next, &['·', '×', '*', '/'])
                || s.is_close(next)
                || s.is_open(next)
                    && (is_unit(next + 1)
                        || s.is_word(next + 1, &["deg"])
                        || si
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
            && !(at + 1..end).any(|n| s.is_mark(n, ';') || head_at(s, n).is_some());
        fits.then(|| (inner.to_owned(), end))
    }

    /// `of 3 =`, `for (S)-4:`: what was measured, between a head and its value; the place of the mark behind it.
    fn behind_subject(&self, at: usize, form: Form) -> Option<usize> {
        let s = self.s;
        if !s.is_word(at, &["of", "for", "von", "für", "de"]) {
            return None;
        }
        for next in at + 1..at + 10 {
            if s.is_any_mark(next, &[':', '=']) || s.is_word(next, &["is", "was", "were"]) {
                let signed = matches!(s.kind(next + 1), Some(Kind::Plus | Kind::Minus)) && s.number(next + 2).is_some();
                return (signed && next > at + 1).then_some(next);
            }
            let names = matches!(
                s.kind(next),
                Some(Kind::Word | Kind::Minus | Kind::Open('(') | Kind::Close(')'))
            ) || s.number(next).is_some_and(|digits| digits.printed.decimals() == 0);
            // Behind words only numbers of compounds: "of the neat liquid" and the like say more.
            let numbers = s.number(next).is_some() || s.is_word(next, &["and"]);
            if form != Form::Symbol && !numbers {
                return None;
            }
            if !names || matches!(s.text(next), "c" | "C") || s.is_sentence_start(next) {
                return None;
            }
        }
        None
    }

    /// The wavelength at `at`, when a signed value stands right behind it.
    pub(super) fn labels_wavelength(&self, at: usize) -> Option<Light> {
        let s = self.s;
        let digits = s.number(at).filter(|&digits| is_wavelength(digits))?;
        let named = at + 1 + usize::from(s.is_word(at + 1, &["nm"]));
        self.signed_behind(named)?;
        Light::at(digits.printed.value())
    }

    /// What stands between the labels of a column and a value with a sign and a degree sign: other labels and values.
    fn is_in_columns(&self, at: usize) -> bool {
        let s = self.s;
        match s.kind(at) {
            Some(Kind::Word) => s.text(at).starts_with(char::is_uppercase) && head_at(s, at).is_none(),
            Some(Kind::Minus) => s.is_glued(at),
            Some(Kind::Number(_) | Kind::Mark('.' | ',' | '„' | '\'' | '*' | '"')) => true,
            _ => false,
        }
    }

    /// Whether a head stands in the bracket at `open`.
    fn holds_head(&self, open: usize, end: usize) -> bool {
        (open + 1..end).any(|n| head_at(self.s, n).is_some())
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
            // A rotation of something else, in space.
            (Form::Bare, _)
                if (head.start.saturating_sub(1)..value.start)
                    .any(|n| s.is_word(n, &["axis", "axes", "barrier", "bond", "θ", "φ", "ψ", "ω", "screw"])) =>
            {
                false
            }
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
                        || unknown <= 2 && (s.is_open(end) || s.is_any_mark(end, &['.', ',', ';', '|'])))
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
                || s.kind(value.end) == Some(Kind::Minus)
                || s.is_any_mark(value.end, &[',', ':'])
                    && matches!(s.kind(value.end + 1), Some(Kind::Plus | Kind::Minus))
                    && s.number(value.end + 2).is_some())
    }

    /// A unit that is none of rotation.
    pub(super) fn has_foreign_unit(&self, at: usize) -> bool {
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
            "V",
            "mV",
        ];
        if s.kind(at) == Some(Kind::Percent) {
            // Damaged degree sign: `658% (c = 0.1, methanol)`.
            return !(s.is_open(at + 1) && (at + 2..at + 5).any(|n| s.is_mark(n, '=')));
        }
        s.is_word(at, &words)
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
        // "their reported optical rotations", "that reported ([α]D …", "Reported: [α]D"
        let opens = usize::from(from > 0 && s.is_open(from - 1));
        let colon = usize::from(from > opens && s.is_mark(from - opens - 1, ':'));
        if from
            .checked_sub(1 + opens + colon)
            .is_some_and(|before| s.is_word(before, &["reported"]))
        {
            return true;
        }
        // Everything in a bracket that opens with "lit." or "cf.".
        let mut depth = 0usize;
        for at in (from.saturating_sub(MOST_IN_CITATION)..from).rev() {
            if s.is_close(at) {
                depth += 1;
            } else if s.is_open(at) {
                if depth == 0 && s.is_word(at + 1, &["lit", "literature", "cf", "reported"]) {
                    return true;
                }
                depth = depth.saturating_sub(1);
            }
        }
        false
    }

    /// `{[α]D −35.2 (c 0.7, EtOH)}.3`: a bracket with the number of a reference close behind it.
    fn is_cited_behind(&self, from: usize, end: usize) -> bool {
        let s = self.s;
        let number = end + 2;
        from > 0
            && s.is_open(from - 1)
            && s.is_close(end)
            && s.is_any_mark(end + 1, &[',', '.'])
            && s.is_glued(end + 1)
            && s.is_glued(number)
            && s.number(number).is_some_and(|digits| digits.printed.decimals() == 0)
            && s.text(number).len() <= 3
    }

    pub(super) fn push(
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
