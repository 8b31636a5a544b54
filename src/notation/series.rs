//! Values that follow the first one of a head: `; -12 deg (…)`, `and +14.2`, `(c = 1 in methanol): +48`, `to +39 deg (6 min)`,
//! `(lit. -50)`. A part of [`Grammar`].

use super::condition::{Conditions, Reader};
use super::doubts::Doubt;
use super::grammar::{Grammar, Joint};
use super::head::{Form, Head, head_at};
use super::light::is_shifted;
use super::stream::Stream;
use super::token::Kind;
use super::value::{Unit, Value};
use crate::statement::{Role, Sign, Stage};

impl Grammar<'_> {
    /// Values that follow the first one: `; -12 deg (…)`, `and +14.2`, `(c = 1 in methanol): +48`, `(lit. -50)`.
    pub(super) fn series(&mut self, head: &Head, shared: &Conditions, mut at: usize) -> usize {
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
            if s.is_mark(next, '/') && s.is_word(next + 1, &["lit"]) {
                next += 1;
            }
            if s.is_word(next, &["vs", "cf"]) {
                next += 1 + usize::from(s.is_mark(next + 1, '.'));
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
            if let Some(end) = self.conditions_in_cell(at, next) {
                return end;
            }
            if head_at(s, next).is_some() {
                return at;
            }
            if s.is_word(next, &["changing", "falling", "rising", "changed"]) && s.is_word(next + 1, &["to"]) {
                if let Some(end) = self.onward(head, shared, at, next + 2) {
                    at = end;
                    continue;
                }
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
            let mut label_ends = None;
            if head.form == Form::Symbol && separators > 0 && !s.is_mark(at, ':') {
                if let Some(light) = self.labels_wavelength(next) {
                    before.set_light(light);
                    label_ends = self.signed_behind(next + 1 + usize::from(s.is_word(next + 1, &["nm"])));
                } else {
                    label_ends = self.behind_compound_label(next);
                }
            }
            let labelled = label_ends.is_some();
            let from = next;
            let mut value_at = label_ends.unwrap_or(next);
            let next = value_at;
            if !(matches!(s.kind(next), Some(Kind::Plus | Kind::Minus)) && s.number(next + 1).is_some()) {
                if s.is_open(next) {
                    match before.bracket(next) {
                        Some(end) => value_at = end,
                        None => return at,
                    }
                }
                value_at = before.label(value_at).unwrap_or_else(|| before.line(value_at));
            }
            let led = value_at > next || labelled;
            let mut filler = usize::from(labelled);
            while filler < 3 && s.is_any_mark(value_at, &[':', '=']) {
                value_at += 1;
                filler += 1;
            }
            let Some(value) = self.value(value_at) else { return at };
            let listed = head.form == Form::Symbol && separators > 0 && self.is_listed(&value, at);
            if !listed && !self.follows(&value, separators > 0, led && filler > 0, s.kind(at)) {
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
            self.push(head.kind, value, own, from, end, joint);
            at = end;
        }
        at
    }

    /// `| +14.5° | [α]20/D, c=1, MeOH`: a cell of conditions behind the value, with the symbol but without another value.
    fn conditions_in_cell(&mut self, at: usize, next: usize) -> Option<usize> {
        let s = self.s;
        let head = head_at(s, next).filter(|head| s.is_mark(at, '|') && head.form == Form::Symbol)?;
        let mut reader = Reader::with(s, head.conditions);
        let end = reader.line(head.end);
        let ends = s.get(end).is_none_or(|token| token.newline) || s.is_mark(end, '|');
        let last = self.drafts.last_mut().filter(|draft| draft.to == at && ends)?;
        if last.conditions.light.is_some() || !last.conditions.is_without_sample() {
            return None;
        }
        last.conditions.fill_from(&reader.conditions);
        last.to = end;
        Some(end)
    }

    /// The place of a signed number at `at`, or behind one mark such as an equals sign.
    pub(super) fn signed_behind(&self, at: usize) -> Option<usize> {
        let s = self.s;
        let at = at + usize::from(s.is_any_mark(at, &['=', ':', ',']));
        let signed = matches!(s.kind(at), Some(Kind::Plus | Kind::Minus)) && s.number(at + 1).is_some();
        signed.then_some(at)
    }

    /// `2, −18.9; 3, +4.0` and `5b: −12`: the number of a compound before its value, which lies where this ends.
    fn behind_compound_label(&self, at: usize) -> Option<usize> {
        let s = self.s;
        if s.is_word(at, &["result", "found", "measured", "typical", "observed"]) && s.is_mark(at + 1, ':') {
            return self.signed_behind(at + 1);
        }
        let whole = s.number(at).is_some_and(|digits| digits.printed.decimals() == 0) && s.text(at).len() <= 3;
        let letter = usize::from(s.kind(at + 1) == Some(Kind::Word) && s.is_glued(at + 1) && s.text(at + 1).len() == 1);
        let end = at + 1 + letter;
        (whole && s.is_any_mark(end, &[',', ':', '=']))
            .then(|| self.signed_behind(end))
            .flatten()
    }

    /// `/Hydrochloride/`: compilations name what was measured between slashes.
    pub(super) fn slash_form(&self, at: usize) -> Option<(String, usize)> {
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

    /// `[α]D +45, +60 and +75`: a bare signed number in a list of such.
    fn is_listed(&self, value: &Value, at: usize) -> bool {
        let s = self.s;
        let end = value.end;
        let bare_before = self
            .drafts
            .last()
            .is_some_and(|draft| draft.to == at && draft.value.end == at && draft.value.sign == Sign::Stated);
        let ends = s.is_word(end, &["and", "for", "or", "respectively"])
            || s.is_any_mark(end, &[',', ';', '.'])
            || s.is_close(end)
            || s.get(end).is_none();
        bare_before && value.sign == Sign::Stated && value.unit != Unit::Celsius && ends && !self.has_foreign_unit(end)
    }

    /// Whether a value may stand in a series.
    pub(super) fn follows(&self, value: &Value, separated: bool, led: bool, separator: Option<Kind>) -> bool {
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
    pub(super) fn onward(&mut self, head: &Head, shared: &Conditions, at: usize, next: usize) -> Option<usize> {
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
        let arrow = is_behind_arrow(self.s, next) || self.s.is_word(next.wrapping_sub(2), &["changing", "changed"]);
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
    pub(super) fn quoted(&mut self, at: usize) -> Option<usize> {
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
                && (s.get(next).is_some_and(|token| is_shifted(token.script))
                    || s.is_glued(next)
                    || matches!(s.kind(next + 1), Some(Kind::Plus | Kind::Minus | Kind::Mark(':' | ','))))
            {
                next += 1;
            } else {
                break;
            }
        }
        // A symbol behind "lit." is a head of its own and is read as one.
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

/// Whether an arrow stands before the token at `at`.
fn is_behind_arrow(s: &Stream, at: usize) -> bool {
    at > 0 && s.is_mark(at - 1, '→')
}
