//! Values in running text that no symbol or noun introduces: their sign, degree sign and conditions must speak for them.
//! A part of [`Grammar`].

use super::condition::{Conditions, Reader};
use super::doubts::Doubt;
use super::grammar::{Grammar, Joint, PROSE_REACH};
use super::head::{Form, Head};
use super::light::Light;
use super::token::Kind;
use super::value::{Unit, Value};
use crate::statement::{RotationKind, StatedTemperature};

impl Grammar<'_> {
    /// `measured −12° to −16° (c=1, CHCl3)`: a signed angle with a concentration and a solvent behind it needs no head.
    pub(super) fn headless(&mut self, at: usize) -> Option<usize> {
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
        // `ρ = −2.1`: a quantity of another name.
        let other = bare && at >= 2 && s.is_mark(at - 1, '=') && {
            let name = s.text(at - 2);
            s.kind(at - 2) == Some(Kind::Word) && name.chars().count() == 1 && !matches!(name, "D" | "α" | "a")
        };
        if bare && !led
            || other
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

    /// `0,1532 g Sbst. in 10 ccm Alkohol: [α]D …`: the sample as it was weighed, close before its head.
    pub(super) fn weighed_sample(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        let number = s.number(at).filter(|_| s.is_word(at + 1, &["g", "mg"]))?;
        let mut reader = Reader::new(s);
        let found = reader.mass_per_volume(at + 1, number.printed)?;
        let (solvent, end) = s.solvent(found.end + usize::from(s.is_word(found.end, &["of", "in"])))?;
        let near = (end..end + 3).any(|n| super::head::head_at(s, n).is_some());
        if !near {
            return None;
        }
        reader.conditions.solvent = Some(solvent);
        reader.set_concentration(crate::statement::PrintedConcentration {
            low: found.value,
            high: None,
            unit: found.unit,
            unit_printed: true,
        });
        self.ambient = Some(reader.conditions);
        Some(end)
    }

    /// `measured at c=1 in 5M HCl is -6.0 ± 0.5°`: conditions that announce a value without a head.
    pub(super) fn measured_at(&mut self, at: usize) -> Option<usize> {
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

    /// `with jatrophan (8′S, +87)`: a value of comparison in a bracket behind a descriptor of configuration.
    pub(super) fn compared(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        let last = self.drafts.last()?;
        let near = at <= last.to + PROSE_REACH;
        if !near || !s.is_open(at) || last.value.unit != Unit::None {
            return None;
        }
        let close = s.behind_bracket(at, 10)?;
        let comma = (at + 2..close).find(|&n| s.is_mark(n, ','))?;
        let descriptor = (at + 1..comma).any(|n| matches!(s.text(n), "R" | "S" | "D" | "L"));
        let value = self.value(comma + 1).filter(|value| {
            value.sign == crate::statement::Sign::Stated && value.unit == Unit::None && value.end + 1 == close
        })?;
        let comparison = (at.saturating_sub(30)..at).any(|n| s.is_word(n, &["with", "compared", "comparison"]));
        if !descriptor || !comparison {
            return None;
        }
        let kind = last.kind;
        self.push(kind, value, Conditions::default(), at, close, Joint::Prose);
        if let Some(draft) = self.drafts.last_mut() {
            draft.role = Some(crate::statement::Role::Lit);
            draft.doubts.push(Doubt::NoSymbol);
        }
        Some(close)
    }

    /// A signed angle in the prose behind a statement.
    pub(super) fn prose(&mut self, at: usize) -> Option<usize> {
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

    /// `1.8920 of optical rotation`.
    pub(super) fn value_before(&mut self, head: &Head) -> Option<usize> {
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

    /// The conditions of the statement before, when the text says that they are the same.
    pub(super) fn identical_conditions(&self, from: usize, to: usize) -> Option<Conditions> {
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
