//! Reads printed concentrations: `c = 1.0`, `2 g in 100 mL`, `5 % w/v`, `0.1 in chloroform`.
//!
//! A part of [`Reader`]; the unit is kept as printed where the labels of concentrations have a name for it, and brought to
//! the nearest one by a power of ten or a plain quotient where not.

use super::condition::{Place, Reader};
use super::doubts::Doubt;
use super::token::Kind;
use crate::quantity::{ConcentrationUnit, Printed};
use crate::solvent::Solvent;
use crate::statement::PrintedConcentration;

impl Reader<'_> {
    /// `c = 1.0`, `c 0.5 g/100 mL`, `concn by volume = 2 g in 100 mL`, `p = 10`.
    pub(super) fn keyed_concentration(&mut self, at: usize, place: Place) -> Option<usize> {
        let s = self.s;
        let mut next = at + 1;
        let word = s.text(at);
        let short = s.kind(at) == Some(Kind::Word) && matches!(word, "c" | "C" | "с" | "С");
        let copyright = s.is_mark(at, '©');
        let long = s.is_word(
            at,
            &[
                "conc",
                "concn",
                "concentration",
                "cone",
                "concd",
                "konz",
                "Konzentration",
                "concentrazione",
                "concentración",
                "concd",
            ],
        );
        let damaged = s.kind(at) == Some(Kind::Word)
            && word.len() == 2
            && word.ends_with('c')
            && s.is_mark(at + 1, '=')
            && matches!(place, Place::Bracket { .. });
        let by_mass = s.kind(at) == Some(Kind::Word) && matches!(word, "p" | "q") && s.is_mark(at + 1, '=');
        if !(short || copyright || long || damaged || by_mass) {
            return None;
        }
        // `C6H6` is a formula.
        if short
            && s.number(next).is_some()
            && s.is_glued(next)
            && s.is_glued(next + 1)
            && s.kind(next + 1) == Some(Kind::Word)
            && s.solvent(at).is_some()
        {
            return None;
        }
        if copyright && s.is_close(next) {
            next += 1;
        }
        if long {
            while s.is_word(next, &["by", "volume", "of", "vol"]) || s.is_mark(next, '.') {
                next += 1;
            }
        }
        let mut marks = 0;
        while s.is_any_mark(next, &['=', ':', ',', '.', '~', '≈', ';']) && marks < 3 {
            next += 1;
            marks += 1;
        }
        // `c in g/100 mL` names the unit only.
        let number = s.number(next)?;
        // On the line a bare letter needs its equals sign, or a number with a decimal mark.
        let line = matches!(place, Place::Line { .. });
        if line && short && marks == 0 && number.printed.decimals() == 0 {
            return None;
        }
        if s.kind(next + 1) == Some(Kind::Degree) {
            return None;
        }
        // `C=5,6N HCl`: the comma separates concentration and strength.
        if number.comma
            && s.is_glued(next + 1)
            && matches!(s.text(next + 1), "N" | "M")
            && let Some((whole, _)) = s.text(next).split_once(',')
            && let Ok(low) = whole.parse::<Printed>()
            && let Some((solvent, behind)) = s.solvent_inside(next, whole.len() + 1)
        {
            self.set_concentration(PrintedConcentration {
                low,
                high: None,
                unit: ConcentrationUnit::GramsPer100Millilitres,
                unit_printed: true,
            });
            self.set_solvent(solvent, next, behind);
            return Some(behind);
        }
        let mut unit = if by_mass {
            ConcentrationUnit::PercentByMass
        } else {
            ConcentrationUnit::GramsPer100Millilitres
        };
        let mut low = number.printed;
        let mut high = None;
        let mut end = next + 1;
        if let Some((scaled, next)) = self.power_of_ten(end, low) {
            low = scaled;
            end = next;
        }
        let joined = s.kind(end) == Some(Kind::Minus) || s.is_word(end, &["to", "bis", "至"]) || s.is_mark(end, '~');
        if joined && let Some(second) = s.number(end + 1) {
            high = Some(second.printed);
            end += 2;
        }
        if let Some(found) = self.mass_unit(end, low) {
            unit = found.unit;
            low = found.value;
            end = found.end;
        }
        self.set_concentration(PrintedConcentration {
            low,
            high,
            unit,
            unit_printed: true,
        });
        // "8.55 in dilute acetic acid", "2 cm methanol" for "2 in methanol"
        if s.is_word(end, &["cm"]) && self.solvent_at(end + 1).is_some() {
            end += 1;
        }
        Some(end)
    }

    /// `1.1 × 10−3` and `10−2`, where `end` lies behind the first number: the product with the place behind it.
    fn power_of_ten(&self, end: usize, number: Printed) -> Option<(Printed, usize)> {
        let s = self.s;
        let times = s.is_any_mark(end, &['×', '·', '*']) || s.is_word(end, &["x"]);
        let ten = if times { end + 1 } else { end.checked_sub(1)? };
        let power = s
            .number(ten + 2)
            .filter(|_| s.text(ten) == "10" && s.kind(ten + 1) == Some(Kind::Minus))?;
        let fits = s.is_glued(ten + 1) && s.is_glued(ten + 2) && s.text(ten + 2).len() == 1;
        let factor = if times { number } else { Printed::new(1.0, 0) };
        fits.then(|| (shifted(factor, -(power.printed.value() as i32)), ten + 3))
    }

    pub(super) fn set_concentration(&mut self, concentration: PrintedConcentration) {
        if let Some(before) = self.conditions.concentration {
            if before != concentration {
                self.conditions.doubts.push(Doubt::ConcentrationGarbled);
            }
            return;
        }
        self.conditions.concentration = Some(concentration);
    }

    /// A unit of concentration at `at`, for the number `value` before it.
    pub(super) fn mass_unit(&mut self, at: usize, value: Printed) -> Option<MassUnit> {
        use ConcentrationUnit as U;
        let s = self.s;
        let found = |unit, value, end| Some(MassUnit { unit, value, end });
        // A unit may be bracketed: `1.0 (g/100 mL)`.
        if s.is_open(at) {
            let inner = self.mass_unit(at + 1, value)?;
            return s.is_close(inner.end).then_some(MassUnit {
                end: inner.end + 1,
                ..inner
            });
        }
        if s.kind(at) == Some(Kind::Percent) || s.is_word(at, &["percent"]) || s.are_words(at, &["per", "cent"]) {
            let mut next = if s.is_word(at, &["per"]) { at + 2 } else { at + 1 };
            // `10 per cent. aqueous solution`
            if s.is_word(next - 1, &["cent"]) && s.is_mark(next, '.') && !s.is_sentence_start(next + 1) {
                next += 1;
            }
            if let Some((unit, end)) = self.ratio_unit(next) {
                return found(unit, value, end);
            }
            if s.is_word(
                next,
                &["solution", "soln", "roztwór", "раствор", "solución", "soluzione"],
            ) {
                next += 1;
            }
            return found(U::Percent, value, next);
        }
        // `an einer 10-prozentigen Lösung`
        let hyphen = usize::from(s.kind(at) == Some(Kind::Minus) && s.is_glued(at) && s.is_glued(at + 1));
        if s.is_word(
            at + hyphen,
            &["prozentige", "prozentigen", "prozentiger", "proz", "prozent"],
        ) {
            return found(U::Percent, value, at + 1 + hyphen);
        }
        // `4.55 p.c. solution`
        if s.is_word(at, &["p"]) && s.is_mark(at + 1, '.') && s.is_word(at + 2, &["c"]) && s.is_mark(at + 3, '.') {
            let solution = usize::from(s.is_word(at + 4, &["solution", "soln"]));
            return found(U::Percent, value, at + 4 + solution);
        }
        if let Some((unit, end)) = self.ratio_unit(at)
            && s.kind(end) == Some(Kind::Percent)
        {
            return found(unit, value, end + 1);
        }
        if s.is_word(at, &["wt"]) && s.kind(at + 1) == Some(Kind::Percent) {
            return found(U::PercentByMass, value, at + 2);
        }
        if s.is_word(at, &["molar", "moles", "mole", "mol"]) {
            let mut next = at + 1;
            if s.is_mark(next, '/') && s.is_word(next + 1, &["l", "dm", "litre", "liter"]) {
                next += 2;
                if s.number(next).is_some() && s.is_glued(next) {
                    next += 1;
                }
            }
            return found(U::MolesPerLitre, value, next);
        }
        if s.text(at) == "M" && s.kind(at) == Some(Kind::Word) && self.solvent_at(at + 1).is_none() {
            return found(U::MolesPerLitre, value, at + 1);
        }
        if s.is_word(at, &["mM", "mmol"]) && (s.text(at) == "mM" || s.is_mark(at + 1, '/')) {
            let end = if s.is_mark(at + 1, '/') { at + 3 } else { at + 1 };
            return found(U::MolesPerLitre, shifted(value, -3), end);
        }
        self.mass_per_volume(at, value)
    }

    /// `(w/v)`, `w/w`, `m/v`.
    pub(super) fn ratio_unit(&self, at: usize) -> Option<(ConcentrationUnit, usize)> {
        let s = self.s;
        let open = usize::from(s.is_open(at));
        let from = at + open;
        let end = |length: usize| {
            let end = from + length;
            if open == 1 {
                s.is_close(end).then_some(end + 1)
            } else {
                Some(end)
            }
        };
        if s.is_mark(from + 1, '/') {
            let unit = if s.is_word(from, &["w", "m", "wt"]) && s.is_word(from + 2, &["v", "vol"]) {
                ConcentrationUnit::GramsPer100Millilitres
            } else if s.is_word(from, &["w", "m", "wt"]) && s.is_word(from + 2, &["w", "m", "wt"]) {
                ConcentrationUnit::PercentByMass
            } else {
                return None;
            };
            return end(3).map(|end| (unit, end));
        }
        None
    }

    /// `g/100 mL`, `mg/mL`, `g in 100 ml`, `g in 15 g aq soln`.
    pub(super) fn mass_per_volume(&mut self, at: usize, value: Printed) -> Option<MassUnit> {
        use ConcentrationUnit as U;
        let s = self.s;
        let milligrams = s.is_word(at, &["mg"]);
        // `GIN 100 ML`: a blank was lost.
        let joined = s.is_word(at, &["gin"]);
        if !(milligrams || joined || s.is_word(at, &["g", "gm", "gram", "grams", "gms"])) {
            return None;
        }
        let mut next = at + 1;
        if s.is_mark(next, '.') {
            next += 1;
        }
        // `g Sbst. in 10 ccm`: the word for "substance".
        if s.is_word(next, &["sbst", "subst", "substanz", "substance"]) {
            next += 1 + usize::from(s.is_mark(next + 1, '.'));
        }
        let slash = s.is_mark(next, '/') || s.is_word(next, &["per"]);
        let link = slash || s.is_word(next, &["in", "dissolved"]);
        if link {
            next += 1;
        }
        // `g dm⁻³`, `mg mL⁻¹`
        let volume_at = at + 1 + usize::from(s.is_any_mark(at + 1, &['·', '.', '*']));
        let per_volume = s.is_word(volume_at, &["ml", "l", "dl", "dm", "cm"])
            && s.kind(volume_at + 1) == Some(Kind::Minus)
            && s.number(volume_at + 2).is_some();
        if per_volume {
            let decilitre = s.is_word(volume_at, &["dl"]);
            let millilitre = s.is_word(volume_at, &["ml", "cm"]);
            let (unit, value) = match (milligrams, millilitre, decilitre) {
                (false, true, _) => (U::GramsPerMillilitre, value),
                (false, _, true) => (U::GramsPer100Millilitres, value),
                (true, _, true) => (U::GramsPer100Millilitres, shifted(value, -3)),
                (false, ..) | (true, true, _) => (U::MilligramsPerMillilitre, value),
                (true, ..) => (U::MilligramsPerLitre, value),
            };
            return Some(MassUnit {
                unit,
                value,
                end: volume_at + 3,
            });
        }
        if !link && !joined && s.number(next).is_none() {
            // `c = 0.5 g in 5.6 N HCl`: the mass is per 100 mL by habit.
            return Some(MassUnit {
                unit: U::GramsPer100Millilitres,
                value,
                end: at + 1,
            });
        }
        let per = s.number(next);
        let amount = per.map_or(1.0, |digits| digits.printed.value());
        let unit_at = if per.is_some() { next + 1 } else { next };
        let millilitre = s.is_word(unit_at, &["ml", "cc", "ccm", "mls", "millilitre", "milliliter"]);
        let cubic = s.is_word(unit_at, &["cm"]) && s.is_glued(unit_at + 1) && s.text(unit_at + 1) == "3";
        let litre = s.is_word(unit_at, &["l", "litre", "liter"]);
        let decilitre = s.is_word(unit_at, &["dl"]);
        let cubic_decimetre = s.is_word(unit_at, &["dm"]) && s.is_glued(unit_at + 1) && s.text(unit_at + 1) == "3";
        let gram = s.is_word(unit_at, &["g", "gm"]);
        let end = unit_at + 1 + usize::from(cubic || cubic_decimetre);
        if !(millilitre || cubic || litre || decilitre || cubic_decimetre || gram) || amount <= 0.0 {
            if link && !slash && !joined {
                return Some(MassUnit {
                    unit: U::GramsPer100Millilitres,
                    value,
                    end: at + 1,
                });
            }
            return None;
        }
        let millilitres = amount
            * if litre || cubic_decimetre {
                1000.0
            } else if decilitre {
                100.0
            } else {
                1.0
            };
        let (unit, value) = if gram {
            (
                U::PercentByMass,
                scaled(value, 100.0 / amount * if milligrams { 1e-3 } else { 1.0 }),
            )
        } else {
            match (milligrams, millilitres) {
                (false, 1.0) => (U::GramsPerMillilitre, value),
                (false, 100.0) => (U::GramsPer100Millilitres, value),
                (false, 1000.0) | (true, 1.0) => (U::MilligramsPerMillilitre, value),
                (true, 1000.0) => (U::MilligramsPerLitre, value),
                (true, 100.0) => (U::GramsPer100Millilitres, shifted(value, -3)),
                (false, volume) => (U::GramsPer100Millilitres, scaled(value, 100.0 / volume)),
                (true, volume) => (U::MilligramsPerMillilitre, scaled(value, 1.0 / volume)),
            }
        };
        Some(MassUnit { unit, value, end })
    }

    /// The strength of a solution named before: `sodium hydroxide, 2.43% in 0.5 N`; or a strength of zero.
    pub(super) fn strength(&mut self, at: usize, number: Printed) -> Option<usize> {
        let s = self.s;
        let unit = s.text(at + 1);
        if !matches!(unit, "N" | "M" | "n" | "m") {
            return None;
        }
        if number.value() == 0.0 {
            let (solvent, end) = self.solvent_at(at + 2)?;
            self.conditions
                .doubts
                .push(Doubt::ZeroStrength(s.slice(at, end).to_owned()));
            // The name without its strength.
            let name = Solvent::parse(s.slice(at + 2, end)).unwrap_or(solvent);
            self.set_solvent(name, at + 2, end);
            return Some(end);
        }
        let ends = s.is_close(at + 2) || s.is_any_mark(at + 2, &[',', ';']);
        let named = self.conditions.solvent.as_ref().filter(|_| ends)?.to_string();
        let name = named.strip_suffix(" aq")?;
        if name.contains(' ') {
            return None;
        }
        let unit = unit.to_uppercase();
        let solvent = Solvent::parse(&format!("{} {unit} {name}", s.text(at))).ok()?;
        self.conditions.solvent = Some(solvent);
        Some(at + 2)
    }

    /// A number without a unit beside a solvent: `0.1 in chloroform`, `MeOH, 0.5`, `1.0, CHCl3`.
    pub(super) fn bare_concentration(&mut self, at: usize, number: Printed) -> Option<usize> {
        let s = self.s;
        let before = at > 0 && (s.is_any_mark(at - 1, &[',', ';']) && self.conditions.solvent.is_some());
        let ends = s.is_close(at + 1) || s.is_any_mark(at + 1, &[',', ';']);
        let opens = at > 0 && s.is_open(at - 1);
        let in_solvent = s.is_word(at + 1, &["in"]) && self.solvent_at(at + 2).is_some();
        let comma_solvent = opens && s.is_any_mark(at + 1, &[',', ';']) && self.solvent_at(at + 2).is_some();
        if self.conditions.concentration.is_none()
            && number.value() > 0.0
            && number.value() <= 100.0
            && (in_solvent || comma_solvent || before && ends)
        {
            self.conditions.concentration = Some(PrintedConcentration {
                low: number,
                high: None,
                unit: ConcentrationUnit::GramsPer100Millilitres,
                unit_printed: false,
            });
            return Some(at + 1);
        }
        None
    }
}

/// A unit of concentration with the number as it is in that unit.
pub(super) struct MassUnit {
    /// The unit.
    pub unit: ConcentrationUnit,
    /// The number in it.
    pub value: Printed,
    /// The token behind the unit.
    pub end: usize,
}

/// The same digits times a power of ten.
fn shifted(value: Printed, power: i32) -> Printed {
    let decimals = (i32::from(value.decimals()) - power).clamp(0, 12);
    Printed::new(value.value() * 10f64.powi(power), decimals as u8)
}

/// A number times a factor, with as many decimals as it needs, six at most.
fn scaled(value: Printed, factor: f64) -> Printed {
    let product = value.value() * factor;
    let decimals = (0..=6u8)
        .find(|&decimals| {
            let scale = 10f64.powi(i32::from(decimals));
            ((product * scale).round() / scale - product).abs() <= 1e-9 * product.abs().max(1e-3)
        })
        .unwrap_or(6);
    let scale = 10f64.powi(i32::from(decimals));
    Printed::new((product * scale).round() / scale, decimals)
}
