//! Tables of rotations: a head that names the column, and rows of values below it. A part of [`Grammar`].
//!
//! Plain text keeps no columns, so a row must speak for itself: a signed number beside the solvent it was measured in, in
//! a cell between bars, or before its concentration in a bracket that the head of the column announced. One such row is
//! enough between bars or brackets; rows of names and solvents must be two.

use super::condition::{Conditions, Reader};
use super::grammar::{Grammar, Joint};
use super::head::{Head, head_at};
use super::token::Kind;
use super::value::{Unit, Value};
use crate::quantity::{ConcentrationUnit, Printed};
use crate::statement::{PrintedConcentration, Sign, StatedTemperature};

/// Tokens between two rows at most: names and formulas.
const MOST_BETWEEN_ROWS: usize = 24;
/// Tokens between the head and the first row.
const MOST_BEFORE_ROWS: usize = 60;

/// A row.
struct Row {
    value: Value,
    conditions: Conditions,
    from: usize,
    to: usize,
    /// The row stands between bars or carries its announced concentration.
    framed: bool,
}

impl Grammar<'_> {
    /// Reads the rows below `head`, which no value follows; the place behind the last one.
    pub(super) fn table(&mut self, head: &Head) -> Option<usize> {
        let s = self.s;
        let mut above = Reader::with(s, head.conditions.clone());
        // `[α]D25 (c, CHCl3)`: the column holds values with their concentrations in brackets.
        let concentrations = s.is_open(head.end)
            && s.is_word(head.end + 1, &["c"])
            && s.behind_bracket(head.end, 10)
                .is_some_and(|end| (head.end..end).all(|n| s.number(n).is_none() || s.is_glued(n)));
        let mut rows: Vec<Row> = Vec::new();
        let mut at = head.end;
        let mut last = head.end;
        while at < s.len() {
            let reach = if rows.is_empty() {
                MOST_BEFORE_ROWS
            } else {
                MOST_BETWEEN_ROWS
            };
            if at > last + reach || at > head.end && head_at(s, at).is_some_and(|next| next.end > at + 1) {
                break;
            }
            if let Some(row) = self.row(at, concentrations) {
                at = row.to;
                last = at;
                rows.push(row);
                continue;
            }
            if rows.is_empty() {
                let end = match s.kind(at) {
                    Some(Kind::Open(_)) => above.bracket(at).unwrap_or(at + 1),
                    Some(Kind::Word | Kind::Number(_)) => above.condition_of_table(at).unwrap_or(at + 1),
                    _ => at + 1,
                };
                at = end.max(at + 1);
            } else {
                at += 1;
            }
        }
        let framed = rows.iter().any(|row| row.framed);
        if rows.is_empty() || rows.len() < 2 && !framed {
            return None;
        }
        let mut shared = above.conditions;
        shared.doubts.clear();
        let end = rows.last()?.to;
        for mut row in rows {
            row.conditions.fill_from(&shared);
            self.push(head.kind, row.value, row.conditions, row.from, row.to, Joint::Head);
        }
        Some(end)
    }

    /// The row whose first cell of meaning begins at `at`.
    fn row(&self, at: usize, concentrations: bool) -> Option<Row> {
        let s = self.s;
        let sound = |value: &Value| {
            value.sign == Sign::Stated
                && value.unit != Unit::Celsius
                && value.single.is_some()
                && !self.has_foreign_unit(value.end)
        };
        let signed = |at: usize| {
            matches!(s.kind(at), Some(Kind::Plus | Kind::Minus))
                && s.get(at).is_some_and(|token| token.spaced)
                && s.is_glued(at + 1)
        };
        // `woda +66,46`, with a temperature of its own in a bracket
        if s.get(at).is_some_and(|token| token.spaced)
            && let Some((solvent, behind)) = s.solvent(at)
            && signed(behind)
        {
            let value = self.value(behind).filter(sound)?;
            let mut own = Reader::new(s);
            let mut to = value.end;
            if let Some(temperature) = self.lone_temperature(to) {
                own.conditions.temperature = Some(StatedTemperature::At(temperature));
                to = s.behind_bracket(to, 5)?;
            }
            own.set_solvent(solvent, at, behind);
            return Some(Row {
                value,
                conditions: own.conditions,
                from: at,
                to,
                framed: false,
            });
        }
        if !signed(at) {
            return None;
        }
        let value = self.value(at).filter(sound)?;
        let mut own = Reader::new(s);
        let end = value.end;
        // `−34.5 (1.0)`
        if concentrations && s.is_open(end) && s.is_close(end + 2) {
            own.conditions.concentration = Some(PrintedConcentration {
                low: s.number(end + 1)?.printed,
                high: None,
                unit: ConcentrationUnit::GramsPer100Millilitres,
                unit_printed: true,
            });
            return Some(Row {
                value,
                conditions: own.conditions,
                from: at,
                to: end + 3,
                framed: true,
            });
        }
        // `| −12.5 | CHCl3`
        if at > 0 && s.is_mark(at - 1, '|') && self.ends_cell(end) {
            let to = own.line(end);
            return Some(Row {
                value,
                conditions: own.conditions,
                from: at,
                to,
                framed: true,
            });
        }
        None
    }

    /// Whether a cell ends at `end`: at a bar, at a line end, or where the label of the next row stands.
    fn ends_cell(&self, end: usize) -> bool {
        let s = self.s;
        let letter = usize::from(s.kind(end + 1) == Some(Kind::Word) && s.is_glued(end + 1));
        s.is_mark(end, '|')
            || s.get(end).is_none_or(|token| token.newline)
            || s.number(end).is_some() && s.is_mark(end + 1 + letter, '|')
    }

    /// `(15°C)`
    fn lone_temperature(&self, open: usize) -> Option<Printed> {
        let s = self.s;
        let number = s.number(open + 1).filter(|_| s.is_open(open))?;
        let end = Reader::new(s).behind_celsius(open + 2)?;
        s.is_close(end).then_some(number.printed)
    }
}
