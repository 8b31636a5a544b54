//! Strengths (`0.1 N`, `95 %`, `1 equiv`) and ratios (`9:1, v/v`).

use super::super::lexicon::longest_name;
use super::super::{Amount, MAX_COMPONENTS, Ratio, Strength, Substance};
use super::{LEAST_SOLVENT_PERCENT, MEDIUM_ADJECTIVES, Mode, Reader, STRENGTH_WORDS};

impl Reader<'_> {
    /// A number with a unit of strength: `0.1 N`, `6 mol/L`, `95 %`, `1 equiv`, `N/10`.
    pub(super) fn strength(self, start: usize) -> Option<(Strength, usize)> {
        if let Some(tenth) = self.reciprocal_normality(start) {
            return Some(tenth);
        }
        let (amount, at) = self.number(start)?;
        let at = self.after_spaces(at);
        let at = self.symbol(at, '-').unwrap_or(at);
        let (strength, end) = self.unit(amount, at)?;
        // A printed zero is a misprint; the number is lost, the acid or base is not.
        let lost = amount.is_zero() && self.mode == Mode::Prefix;
        Some((if lost { Strength::Unstated } else { strength }, end))
    }

    /// The unit of strength at `at`.
    pub(super) fn unit(self, amount: Amount, at: usize) -> Option<(Strength, usize)> {
        let percent = [
            "%ige",
            "%iger",
            "%iges",
            "%",
            "per cent.",
            "per cent",
            "percent",
            "vol%",
            "vol.-%",
            "vol.%",
            "proz.",
            "prozentiger",
        ];
        if let Some(end) = percent.iter().find_map(|word| self.words(at, word)) {
            let (by_mass, end) = self.basis(end).unwrap_or((false, end));
            return Some((
                if by_mass {
                    Strength::PercentByMass(amount)
                } else {
                    Strength::Percent(amount)
                },
                end,
            ));
        }
        let equivalents = [
            "equivalents",
            "equivalent",
            "equivs",
            "equiv.",
            "equiv",
            "mol equiv",
            "eq.",
            "eq",
        ];
        if let Some(end) = equivalents.iter().find_map(|word| self.words(at, word)) {
            return Some((Strength::Equivalents(amount), end));
        }
        let molar = [
            "mol/L",
            "mol/dm3",
            "mol dm-3",
            "mol L-1",
            "mol·L-1",
            "mol·dm-3",
            "mol.L-1",
            "mole/L",
            "moles/L",
            "molar",
        ];
        if let Some(end) = molar.iter().find_map(|word| self.words(at, word)) {
            return Some((Strength::Molar(amount), end));
        }
        let millimolar = ["mmol/L", "mmol dm-3", "millimolar"];
        let millimolar = millimolar
            .iter()
            .find_map(|word| self.words(at, word))
            .or_else(|| self.letters(at, "mM"));
        if let Some(end) = millimolar {
            return Some((Strength::Molar(amount.exact_div(1000)?), end));
        }
        if let Some(end) = self
            .word(at, "normal")
            .or_else(|| self.letters(at, "N"))
            .or_else(|| self.word(at, "n"))
        {
            return Some((Strength::Normal(amount), end));
        }
        let molar = self.letters(at, "M").or_else(|| self.letters(at, "м"))?;
        Some((Strength::Molar(amount), molar))
    }

    /// `N/10`.
    pub(super) fn reciprocal_normality(self, start: usize) -> Option<(Strength, usize)> {
        let at = self.symbol(start, 'N')?;
        let at = self.symbol(at, '/')?;
        let (divisor, end) = self.number(at)?;
        let divisor = divisor.exact_div(1)?.to_f64();
        let strength = Amount::whole(1)
            .exact_div(divisor as u64)
            .filter(|_| divisor.fract() == 0.0)?;
        Some((Strength::Normal(strength), end))
    }

    /// `N HCl`, `normal HCl`: a normality or molarity of one, before an acid or base only.
    pub(super) fn bare_normality(self, start: usize) -> Option<(Strength, usize)> {
        let tenth = "0.1".parse().ok()?;
        let half = "0.5".parse().ok()?;
        let words = [
            ("decinormal", Strength::Normal(tenth)),
            ("seminormal", Strength::Normal(half)),
            ("normal", Strength::Normal(Amount::whole(1))),
        ];
        let word = words
            .iter()
            .find_map(|(word, strength)| Some((*strength, self.word(start, word)?)));
        let letter = || {
            let normal = self
                .letters(start, "N")
                .map(|end| (Strength::Normal(Amount::whole(1)), end));
            normal.or_else(|| Some((Strength::Molar(Amount::whole(1)), self.letters(start, "M")?)))
        };
        let (strength, end) = word.or_else(letter)?;
        let at = self.after_spaces(self.symbol(end, '-').unwrap_or(end));
        let rest = Reader {
            mode: Mode::Prefix,
            ..self
        };
        let (solution, _) = longest_name(self.text, at).or_else(|| {
            let adjective = MEDIUM_ADJECTIVES.iter().find_map(|(word, _)| rest.word(at, word))?;
            longest_name(self.text, self.after_spaces(adjective))
        })?;
        let medium_first = solution.is_liquid() && !solution.ionises();
        let follows = || {
            let (_, end) = longest_name(self.text, at)?;
            longest_name(self.text, self.after_spaces(end)).filter(|(solute, _)| !solute.is_liquid())
        };
        (!medium_first || follows().is_some()).then_some((strength, end))
    }

    /// A strength printed behind a name: `HCl 1 N`, `hydrochloric acid, 0.5 N`, `ethanol (95%)`.
    pub(super) fn strength_behind(self, name: Substance, start: usize) -> Option<(Strength, usize)> {
        let at = self.after_spaces(start);
        let comma = self.symbol(at, ',');
        let bracket = self.symbol(at, '(');
        let at = self.after_spaces(comma.or(bracket).unwrap_or(at));
        let words = if comma.is_none() { &STRENGTH_WORDS[..] } else { &[] };
        let word = words
            .iter()
            .find_map(|(word, strength)| Some((*strength, self.word(at, word)?)));
        let (strength, end) = self.strength(at).or(word)?;
        let end = if bracket.is_some() {
            self.symbol(self.after_spaces(end), ')')?
        } else {
            end
        };
        if self.mode == Mode::Whole {
            return Some((strength, end));
        }
        let allowed = match strength {
            Strength::Dilute | Strength::Concentrated => true,
            Strength::Normal(_) | Strength::Molar(_) | Strength::Equivalents(_) => !name.is_liquid() || name.ionises(),
            // Running text: a percentage may be the concentration of the measured substance.
            Strength::Percent(p) | Strength::PercentByMass(p) => {
                let aqueous = ["aq", "aq.", "in water"]
                    .iter()
                    .any(|words| self.words(self.after_spaces(end), words).is_some());
                comma.is_none() && (aqueous || (name.class() == "lower alcohol" && p >= LEAST_SOLVENT_PERCENT))
            }
            Strength::Unstated => false,
        };
        allowed.then_some((strength, end))
    }

    /// A ratio of two or more parts, `9:1`, `(1:1, v/v)`, with its basis.
    pub(super) fn ratio(self, start: usize) -> Option<(Ratio, usize)> {
        let at = self.after_spaces(start);
        let (bracket, mut at) = match self.symbol(at, '(') {
            Some(at) => (true, self.after_spaces(at)),
            None => (false, at),
        };
        let (first, end) = self.number(at)?;
        let mut parts = vec![first];
        at = end;
        while parts.len() < MAX_COMPONENTS {
            let separator = self.after_spaces(at);
            let Some((_, next)) = self.char_folded(separator).filter(|(c, _)| matches!(c, ':' | '/')) else {
                break;
            };
            let Some((part, end)) = self.number(self.after_spaces(next)) else {
                break;
            };
            parts.push(part);
            at = end;
        }
        if parts.len() < 2 {
            return None;
        }
        let (by_mass, after_basis) = self.basis(at).unwrap_or((false, at));
        at = after_basis;
        if bracket {
            at = self.symbol(self.after_spaces(at), ')')?;
            if let Some((by_mass, end)) = self.basis(at) {
                return Some((ratio_of(parts, by_mass)?, end));
            }
        }
        Some((ratio_of(parts, by_mass)?, at))
    }

    /// The basis behind a ratio or a percentage: `v/v`, `w/w`, `by volume`. True for a basis by mass.
    pub(super) fn basis(self, start: usize) -> Option<(bool, usize)> {
        let mut at = self.after_spaces(start);
        at = self.symbol(at, ',').map_or(at, |at| self.after_spaces(at));
        let (bracket, at) = match self.symbol(at, '(') {
            Some(at) => (true, self.after_spaces(at)),
            None => (false, at),
        };
        let bases = [
            ("v/v/v/v", false),
            ("v/v/v", false),
            ("v/v", false),
            ("vol/vol", false),
            ("v:v", false),
            ("by volume", false),
            ("by vol.", false),
            ("by vol", false),
            ("vol.", false),
            ("vol", false),
            ("w/w", true),
            ("m/m", true),
            ("wt/wt", true),
            ("by weight", true),
            ("by mass", true),
            ("w/v", false),
            ("m/v", false),
            ("wt/vol", false),
        ];
        let (by_mass, at) = bases
            .iter()
            .find_map(|(words, by_mass)| Some((*by_mass, self.words(at, words)?)))?;
        let end = if bracket {
            self.symbol(self.after_spaces(at), ')')?
        } else {
            at
        };
        Some((by_mass, end))
    }

    pub(super) fn trailing_ratio(self, start: usize) -> Option<(Ratio, usize)> {
        let at = self.after_spaces(start);
        let at = [',', '='].iter().find_map(|c| self.symbol(at, *c)).unwrap_or(at);
        self.ratio(at)
    }
}

fn ratio_of(parts: Vec<Amount>, by_mass: bool) -> Option<Ratio> {
    if by_mass {
        Ratio::by_mass(parts)
    } else {
        Ratio::by_volume(parts)
    }
}
