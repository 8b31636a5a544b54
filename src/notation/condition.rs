//! Reads the conditions printed around a value: temperature, light, solvent, concentration, cell length, ee, time.
//!
//! Conditions stand in brackets, where anything not understood is stepped over, or on the line, where the first thing
//! not understood ends them. Start at [`Reader::bracket`] and [`Reader::line`].

use super::doubts::Doubt;
use super::light::{Light, is_wavelength, kelvin};
use super::stream::Stream;
use super::token::Kind;
use crate::quantity::{ConcentrationUnit, Length, Printed};
use crate::solvent::Solvent;
use crate::statement::{PrintedConcentration, Stage, StatedExcess, StatedTemperature};

/// Conditions as far as they were printed.
#[derive(Clone, Debug, Default)]
pub(super) struct Conditions {
    /// Temperature.
    pub temperature: Option<StatedTemperature>,
    /// Light.
    pub light: Option<Light>,
    /// Solvent.
    pub solvent: Option<Solvent>,
    /// Concentration.
    pub concentration: Option<PrintedConcentration>,
    /// Cell length.
    pub path: Option<Length>,
    /// Basis.
    pub basis: Option<&'static str>,
    /// Stage of mutarotation.
    pub stage: Option<Stage>,
    /// Enantiomeric excess.
    pub ee: Option<StatedExcess>,
    /// Time of the reading.
    pub time: Option<String>,
    /// Tolerance given in words.
    pub plus_minus: Option<Printed>,
    /// What was measured, when a bracket says nothing else.
    pub form: Option<String>,
    /// What is not sure.
    pub doubts: Vec<Doubt>,
}

impl Conditions {
    /// Whether neither solvent nor anything else about the sample was printed.
    pub(super) fn is_without_sample(&self) -> bool {
        self.solvent.is_none() && self.concentration.is_none() && self.path.is_none() && self.ee.is_none()
    }

    /// Fills what is missing from conditions stated for several values at once. A solvent and a concentration belong
    /// together and are taken apart only where each side states one of the two.
    pub(super) fn fill_from(&mut self, shared: &Self) {
        if self.temperature.is_none() {
            self.temperature.clone_from(&shared.temperature);
        }
        if self.light.is_none() {
            self.light.clone_from(&shared.light);
        }
        self.fill_sample_from(shared);
    }

    /// As [`Conditions::fill_from`], for the sample only.
    pub(super) fn fill_sample_from(&mut self, shared: &Self) {
        match (self.solvent.is_some(), self.concentration.is_some()) {
            (false, false) => {
                self.solvent.clone_from(&shared.solvent);
                self.concentration = shared.concentration;
            }
            (true, false) if shared.solvent.is_none() => self.concentration = shared.concentration,
            (false, true) if shared.concentration.is_none() => self.solvent.clone_from(&shared.solvent),
            _ => {}
        }
        self.path = self.path.or(shared.path);
        self.basis = self.basis.or(shared.basis);
    }
}

/// Reads conditions into a set; what was read first stays.
pub(super) struct Reader<'a> {
    pub s: &'a Stream,
    /// The conditions read so far.
    pub conditions: Conditions,
}

/// The most tokens of one bracket.
const MOST_IN_BRACKET: usize = 90;

impl<'a> Reader<'a> {
    /// A reader with nothing read.
    pub(super) fn new(s: &'a Stream) -> Self {
        Self {
            s,
            conditions: Conditions::default(),
        }
    }

    /// A reader that goes on from conditions read before.
    pub(super) fn with(s: &'a Stream, conditions: Conditions) -> Self {
        Self { s, conditions }
    }

    /// Reads the bracket that opens at `open`; the place behind it, when something in it was understood.
    ///
    /// A bracket that does not close ends where a sentence, a value or something else begins.
    pub(super) fn bracket(&mut self, open: usize) -> Option<usize> {
        let s = self.s;
        let mut at = open + 1;
        let mut read = 0;
        let mut depth = 1usize;
        let close = s.behind_bracket(open, MOST_IN_BRACKET);
        let limit = close.unwrap_or(open + MOST_IN_BRACKET).min(s.len());
        let inner = s.slice(open + 1, limit.saturating_sub(usize::from(close.is_some())));
        // `(589)`
        if close == Some(open + 3)
            && let Some(light) = s
                .number(open + 1)
                .filter(|&digits| is_wavelength(digits))
                .and_then(|digits| Light::at(digits.printed.value()))
        {
            self.set_light(light);
            return Some(limit);
        }
        // Words for "no solvent" that mean it only when they stand alone.
        let words = [
            "neat", "pur", "homog", "undil", "unverd", "without", "no solv", "in subs", "ohne", "net", "sans",
            "solvent",
        ];
        let folded = inner
            .trim_start()
            .get(..7.min(inner.trim_start().len()))
            .unwrap_or("")
            .to_ascii_lowercase();
        if inner.len() <= 40
            && words.iter().any(|word| folded.starts_with(word))
            && let Ok(Solvent::Neat) = Solvent::parse(inner)
        {
            self.conditions.solvent.get_or_insert(Solvent::Neat);
            return Some(limit);
        }
        while at < limit {
            if close.is_none() && self.ends_open_bracket(at) {
                break;
            }
            if s.is_open(at) {
                // `(CH3)2CO`
                if let Some(next) = self.multiplied_group(at) {
                    at = next;
                    read += 1;
                    continue;
                }
                depth += 1;
                at += 1;
                continue;
            }
            if s.is_close(at) {
                depth -= 1;
                at += 1;
                if depth == 0 {
                    break;
                }
                continue;
            }
            if self.is_citation(at) {
                // The quoted value is read in its own right.
                return (read > 0).then_some(at);
            }
            let inside_name = s.is_glued(at)
                && (matches!(s.kind(at - 1), Some(Kind::Word | Kind::Number(_)))
                    || s.kind(at - 1) == Some(Kind::Minus) && s.is_glued(at - 1) && at > open + 2);
            let starts_word = at == open + 1 || !inside_name;
            match self.item(at, Place::Bracket { starts_word }) {
                Some(next) if next > at => {
                    at = next;
                    read += 1;
                }
                _ => at += 1,
            }
        }
        let end = close.unwrap_or(at);
        if read == 0 {
            return None;
        }
        Some(end)
    }

    /// A solvent printed as a formula that begins with a group a digit multiplies: `(C2H5)2O`.
    fn multiplied_group(&mut self, open: usize) -> Option<usize> {
        let s = self.s;
        let behind = s.behind_bracket(open, 8)?;
        if s.text(open) != "(" || !s.is_glued(behind) || s.number(behind).is_none() || !s.is_glued(behind + 1) {
            return None;
        }
        let (solvent, end) = s.formula_from_bracket(open)?;
        self.set_solvent(solvent, open, end);
        Some(end)
    }

    /// A quoted value begins: it belongs to another statement.
    fn is_citation(&self, at: usize) -> bool {
        self.s.is_word(at, &["lit"])
    }

    fn ends_open_bracket(&self, at: usize) -> bool {
        let s = self.s;
        s.is_sentence_start(at)
            || s.is_word(
                at,
                &[
                    "max",
                    "maximum",
                    "uv",
                    "absorption",
                    "mp",
                    "ir",
                    "specific",
                    "nmr",
                    "hrms",
                    "optical",
                ],
            )
            || s.get(at).is_some_and(|token| token.newline) && s.is_word(at, &["refractive"])
            || (s.is_any_mark(at, &[';', ',']) && matches!(s.kind(at + 1), Some(Kind::Plus | Kind::Minus)))
    }

    /// `water: -8 deg`: a solvent and a colon announce a value.
    pub(super) fn label(&mut self, at: usize) -> Option<usize> {
        let (solvent, end) = self.solvent_at(at)?;
        if !self.s.is_mark(end, ':') {
            return None;
        }
        self.set_solvent(solvent, at, end);
        Some(end)
    }

    /// Temperature or light in the words above a table.
    pub(super) fn condition_of_table(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        if s.number(at).is_some() {
            let at_light = s.is_word(at + 1, &["nm"]);
            let at_temperature = self.behind_celsius(at + 1).is_some();
            return (at_light || at_temperature)
                .then(|| self.numbered(at, Place::Bracket { starts_word: true }))
                .flatten();
        }
        s.is_word(at, &["sodium", "na"])
            .then(|| self.light(at, Place::Bracket { starts_word: true }))
            .flatten()
    }

    /// Reads conditions that stand on the line from `at` on; the place where they end.
    pub(super) fn line(&mut self, mut at: usize) -> usize {
        let s = self.s;
        for _ in 0..40 {
            // The last token only leads on to a condition when one follows.
            let mut probe = at;
            let mut linked = false;
            let mut dissolved = false;
            for _ in 0..6 {
                if self.is_link(probe) && !self.is_shift(probe) && !self.is_light_behind_slash(probe) {
                    linked |= !s.is_any_mark(probe, &[',', '.']);
                    dissolved |=
                        s.is_word(probe, &["in", "dans", "en", "with", "als", "w", "в", "l"]) || s.is_mark(probe, '|');
                    probe += 1;
                    // `dans l'eau`
                    if s.is_word(probe - 1, &["l", "d"]) && s.is_mark(probe, '\'') {
                        probe += 1;
                    }
                } else {
                    break;
                }
            }
            if s.is_open(probe) && (s.text(probe) != "[" || self.is_square_condition(probe)) {
                if self.is_quoted(probe) {
                    break;
                }
                // `−22.7, (CHCl3) −35.1`: a bracket behind a comma that leads on to the next value.
                if probe > at
                    && s.is_mark(probe - 1, ',')
                    && let Some(next) = s.behind_bracket(probe, 40)
                    && matches!(s.kind(next), Some(Kind::Plus | Kind::Minus))
                    && s.number(next + 1).is_some()
                {
                    break;
                }
                match self.bracket(probe) {
                    Some(next) => {
                        at = next;
                        continue;
                    }
                    None => break,
                }
            }
            let comma = probe > at && s.is_mark(probe - 1, ',');
            let semicolon = s.is_mark(probe, ';');
            if semicolon {
                if s.is_word(probe + 1, &["c"])
                    && s.is_mark(probe + 2, '=')
                    && let Some(next) = self.item(
                        probe + 1,
                        Place::Line {
                            linked: true,
                            dissolved: true,
                        },
                    )
                {
                    at = next;
                    continue;
                }
                // `between + 25° and + 26°; (10 % solution in 2N HCl)`, unless the bracket announces the next value.
                if s.is_open(probe + 1) && self.conditions.is_without_sample() {
                    let mut bracket = Reader::with(s, self.conditions.clone());
                    if let Some(next) = bracket.bracket(probe + 1) {
                        let announces = s.is_any_mark(next, &[':', '='])
                            || matches!(s.kind(next), Some(Kind::Plus | Kind::Minus | Kind::Number(_)));
                        if !announces && !bracket.conditions.is_without_sample() {
                            self.conditions = bracket.conditions;
                            at = next;
                            continue;
                        }
                    }
                }
                // `at 25 °C; 546.1 nm in pyridine`
                if s.number(probe + 1).is_some()
                    && s.is_word(probe + 2, &["nm"])
                    && let Some(next) = self.item(
                        probe + 1,
                        Place::Line {
                            linked: true,
                            dissolved: true,
                        },
                    )
                {
                    at = next;
                    continue;
                }
                break;
            }
            let direct = comma || self.may_follow_directly(probe);
            let place = Place::Line {
                linked: linked || direct,
                dissolved: dissolved || direct,
            };
            let unmeasured = self.conditions.concentration.is_none();
            match self.item(probe, place) {
                Some(next) if next > probe => at = next,
                _ => break,
            }
            // `c 1.0 MeOH`: only a blank of a table stands between concentration and solvent.
            if unmeasured
                && self.conditions.concentration.is_some()
                && self.conditions.solvent.is_none()
                && let Some((solvent, next)) = self.solvent_at(at)
            {
                self.set_solvent(solvent, at, next);
                at = next;
            }
        }
        at
    }

    /// `[c = 1.0, CHCl3]`
    fn is_square_condition(&self, open: usize) -> bool {
        let s = self.s;
        let key = matches!(s.text(open + 1), "c" | "C")
            && (s.is_any_mark(open + 2, &['=', ':', ',']) || s.number(open + 2).is_some());
        key || s.is_word(open + 1, &["conc", "in"]) || self.solvent_at(open + 1).is_some()
    }

    fn is_quoted(&self, open: usize) -> bool {
        self.s.is_word(open + 1, &["lit", "literature", "cf", "ref"])
    }

    /// A sign before a number is never a link: it begins a value.
    fn is_shift(&self, at: usize) -> bool {
        matches!(self.s.kind(at), Some(Kind::Plus | Kind::Minus | Kind::PlusMinus))
    }

    /// Words and marks that lead from a value to its conditions.
    fn is_link(&self, at: usize) -> bool {
        let s = self.s;
        if s.is_any_mark(at, &[',', '/', '@']) {
            return true;
        }
        // A cell of a table leads on to a condition or to a solvent that fills it.
        if s.is_mark(at, '|') {
            let fills =
                |end: usize| s.get(end).is_none() || s.is_mark(end, '|') || s.number(end).is_some() || s.is_open(end);
            return s.is_word(at + 1, &["c"])
                || s.is_open(at + 1)
                || self
                    .solvent_at(at + 1)
                    .is_some_and(|(_, end)| fills(end) || s.is_mark(end, ','));
        }
        let words = [
            "at",
            "in",
            "for",
            "on",
            "with",
            "the",
            "a",
            "an",
            "ar",
            "measured",
            "determined",
            "recorded",
            "by",
            "using",
            "of",
            "and",
            "when",
            "taken",
            "bei",
            "à",
            "en",
            "dans",
            "für",
            "als",
            "for",
            "calculated",
            "und",
            "et",
            "through",
            "under",
            "as",
            "an",
            "solution",
            "soln",
            "concentration",
            "bestimmt",
            "gemessen",
            "einer",
            "im",
            "déterminé",
            "mesuré",
            "sur",
            "une",
            "d",
            "l",
            "la",
            "solución",
            "soluzione",
            "medido",
            "w",
            "roztwór",
            "roztworze",
            "в",
            "раствор",
            "растворе",
            "при",
        ];
        // "and" leads on to light only: "and 589 nm".
        if s.is_word(at, &["and", "und", "et"]) {
            return s.number(at + 1).is_some() && s.is_word(at + 2, &["nm"]);
        }
        if s.is_word(at, &["of"]) {
            return false;
        }
        // `l'eau` and `d'eau`: a letter is a link only with its apostrophe.
        if s.is_word(at, &["l", "d"]) {
            return s.is_mark(at + 1, '\'') && s.is_glued(at + 1);
        }
        s.is_word(at, &words) && self.s.text(at) != "A"
    }

    /// Conditions that need no link before them: a temperature, a per cent, a bracket, a solvent behind `/D`.
    fn may_follow_directly(&self, at: usize) -> bool {
        let s = self.s;
        let Some(before) = at.checked_sub(1) else { return false };
        s.number(at).is_some()
            || s.is_word(before, &["d", "deg", "degree", "degrees", "solution", "soln"])
            || matches!(s.kind(before), Some(Kind::Degree | Kind::Percent))
            || s.is_close(before) && s.kind(before.wrapping_sub(1)) != Some(Kind::Word)
            || s.is_word(at, &["aqueous", "aq", "neat"])
    }

    /// Reads one condition at `at`.
    fn item(&mut self, at: usize, place: Place) -> Option<usize> {
        let s = self.s;
        self.excess(at)
            .or_else(|| self.indices(at))
            .or_else(|| self.keyed_concentration(at, place))
            .or_else(|| self.path_length(at))
            .or_else(|| self.words(at, place))
            .or_else(|| match s.kind(at) {
                Some(Kind::Number(_)) => self.numbered(at, place),
                _ => None,
            })
            .or_else(|| self.light(at, place))
            .or_else(|| self.solvent(at, place))
    }

    /// `98% ee`, `ee = 98%`, `>99% ee`, `enantiomeric excess 98 %`.
    pub(super) fn excess(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        let is_ee = |at: usize| -> Option<usize> {
            if s.is_word(at, &["ee"]) {
                Some(at + 1)
            } else if s.is_word(at, &["e"]) && s.is_mark(at + 1, '.') && s.is_word(at + 2, &["e"]) {
                Some(if s.is_mark(at + 3, '.') { at + 4 } else { at + 3 })
            } else if s.are_words(at, &["enantiomeric", "excess"]) {
                Some(at + 2)
            } else {
                None
            }
        };
        let mut next = at;
        let mut at_least = false;
        if s.is_any_mark(next, &['>', '≥']) {
            at_least = true;
            next += if s.is_mark(next + 1, '=') { 2 } else { 1 };
        }
        if let (Some(number), Some(Kind::Percent)) = (s.number(next), s.kind(next + 1)) {
            let end = is_ee(next + 2)?;
            self.set_excess(number.printed, at_least);
            return Some(end);
        }
        let mut next = is_ee(at)?;
        while s.is_any_mark(next, &['=', ':', '~', '≈']) || s.is_word(next, &["of", "was", "is"]) {
            next += 1;
        }
        if s.is_any_mark(next, &['>', '≥']) {
            at_least = true;
            next += 1;
        }
        let number = s.number(next)?;
        if s.kind(next + 1) != Some(Kind::Percent) {
            return None;
        }
        self.set_excess(number.printed, at_least);
        Some(next + 2)
    }

    fn set_excess(&mut self, percent: Printed, at_least: bool) {
        if percent.value() <= 100.0 {
            self.conditions.ee.get_or_insert(StatedExcess {
                percent,
                at_least,
                method: None,
            });
        }
    }

    /// `l = 1 dm`, `200 mm tube`, `1-dm path length`.
    fn path_length(&mut self, at: usize) -> Option<usize> {
        let s = self.s;
        let mut next = at;
        let mut keyed = false;
        if matches!(s.text(at), "l" | "L" | "d" | "ℓ") && s.is_mark(at + 1, '=') {
            keyed = true;
            next = at + 2;
        } else if s.are_words(at, &["path", "length"]) || s.are_words(at, &["cell", "length"]) {
            keyed = true;
            next = at + 2;
            while s.is_any_mark(next, &['=', ':', ',']) || s.is_word(next, &["of", "was"]) {
                next += 1;
            }
        } else if s.text(at) == "l" && s.number(at + 1).is_some() {
            keyed = true;
            next = at + 1;
        }
        let number = s.number(next)?.printed;
        let mut unit_at = next + 1;
        if s.kind(unit_at) == Some(Kind::Minus) && s.is_glued(unit_at) {
            unit_at += 1;
        }
        let unit = match s.text(unit_at) {
            "mm" | "MM" => Some(1.0),
            "cm" | "CM" => Some(10.0),
            "dm" | "DM" => Some(100.0),
            _ => None,
        };
        let is_density = s.text(at) == "d" || s.text(unit_at + 1) == "3" && s.is_glued(unit_at + 1);
        let millimetres = match unit {
            // `2 cm methanol` is a misprint for "in".
            Some(_) if self.solvent_at(unit_at + 1).is_some() && !keyed => return None,
            Some(_) if s.is_mark(unit_at + 1, '-') || s.text(unit_at + 1) == "-" && s.text(unit_at + 2) == "1" => {
                return None;
            }
            Some(factor) if !is_density || keyed => number.value() * factor,
            None if keyed && s.text(at) != "d" => {
                // A bare length is in dm by the definition; a large one can only be mm.
                if number.value() >= 10.0 {
                    number.value()
                } else {
                    number.value() * 100.0
                }
            }
            _ => return None,
        };
        if !(1.0..=1000.0).contains(&millimetres) {
            return None;
        }
        self.conditions
            .path
            .get_or_insert(Length::from_millimetres(millimetres));
        let mut end = if unit.is_some() { unit_at + 1 } else { next + 1 };
        while s.is_word(end, &["tube", "cell", "path", "length", "cuvette", "polarimeter"]) {
            end += 1;
        }
        Some(end)
    }

    /// Words with a meaning of their own.
    fn words(&mut self, at: usize, place: Place) -> Option<usize> {
        let s = self.s;
        if matches!(place, Place::Bracket { .. })
            && s.is_word(at, &["pur", "pure"])
            && (s.is_close(at + 1) || s.is_any_mark(at + 1, &[',', ';']))
        {
            self.conditions.solvent.get_or_insert(Solvent::Neat);
            return Some(at + 1);
        }
        if s.is_word(at, &["pure"]) && s.is_word(at + 1 + usize::from(s.is_mark(at + 1, ',')), &["d"]) {
            self.conditions.solvent.get_or_insert(Solvent::Neat);
            return Some(at + 1);
        }
        if s.is_word(at, &["ph"]) && s.number(at + 1).is_some() && self.conditions.solvent.is_some() {
            return Some(at + 2);
        }
        if s.is_mark(at, '@') && s.is_word(at + 1, &["ph"]) && s.number(at + 2).is_some() {
            return Some(at + 3);
        }
        if s.are_words(at, &["room", "temperature"]) || s.are_words(at, &["ambient", "temperature"]) {
            self.set_temperature(StatedTemperature::Words(s.text(at).to_lowercase()));
            return Some(at + 2);
        }
        if s.text(at) == "rt" || s.text(at) == "RT" {
            self.set_temperature(StatedTemperature::Words("room".to_owned()));
            return Some(at + 1);
        }
        if s.is_word(at, &["t"]) && s.is_any_mark(at + 1, &['=', ':']) {
            if let Some(celsius) = kelvin(s, at + 2) {
                self.set_temperature(StatedTemperature::At(celsius));
                return Some(at + 4);
            }
            let number = s.number(at + 2)?;
            self.set_temperature(StatedTemperature::At(number.printed));
            return Some(self.behind_celsius(at + 3).unwrap_or(at + 3));
        }
        if matches!(place, Place::Bracket { .. }) {
            let stage = if s.is_word(at, &["initial", "initially", "anfangs"]) {
                Some(Stage::Initial)
            } else if s.is_word(at, &["final", "equilibrium", "equil", "constant"]) {
                Some(Stage::Final)
            } else {
                None
            };
            if stage.is_some() {
                self.conditions.stage = self.conditions.stage.or(stage);
                return Some(at + 1);
            }
        }
        if s.is_word(at, &["unspecified"]) && s.is_word(at + 1, &["temperature"]) {
            return Some(at + 2);
        }
        if s.is_word(at, &["error"]) {
            let within = usize::from(s.is_word(at + 1, &["within"]));
            let number = s.number(at + 1 + within)?;
            self.conditions.plus_minus = Some(number.printed);
            return Some(at + 2 + within);
        }
        if s.is_word(at, &["solvent", "Lösungsmittel", "solvant"]) && s.is_any_mark(at + 1, &['=', ':']) {
            return Some(at + 2);
        }
        if s.is_word(at, &["calculated", "calcd", "calc", "based", "corrected"]) {
            let mut next = at + 1;
            for _ in 0..7 {
                if self.set_basis(next) {
                    next += 1;
                    if s.is_word(next, &["basis", "substance", "material", "form", "matter"]) {
                        next += 1;
                    }
                    return Some(next);
                }
                if s.is_open(next) || s.is_close(next) || s.number(next).is_some() {
                    return None;
                }
                next += 1;
            }
            return None;
        }
        let bracketed = matches!(place, Place::Bracket { .. });
        let basis_named = (1..=3).any(|n| s.is_word(at + n, &["basis", "substance", "material"]))
            || at > 0 && s.is_word(at - 1, &["as", "on", "a"]);
        if basis_named && self.solvent_at(at).is_none() && self.set_basis(at) {
            let mut next = at + 1;
            if s.is_word(next, &["basis", "substance", "material"]) {
                next += 1;
            }
            return Some(next);
        }
        if bracketed && s.text(at) == "乾" && s.text(at + 1) == "燥" {
            self.conditions.basis.get_or_insert("dried");
            return Some(at + 2);
        }
        None
    }

    fn set_basis(&mut self, at: usize) -> bool {
        let word = self.s.text(at).to_lowercase();
        let basis = if word.starts_with("anhydr") {
            "anhydrous"
        } else if word == "dried" || word == "dry" {
            "dried"
        } else {
            return false;
        };
        self.conditions.basis.get_or_insert(basis);
        true
    }

    /// Sets the temperature; a number that can be none is not kept, but doubted.
    pub(super) fn set_temperature(&mut self, temperature: StatedTemperature) {
        if let StatedTemperature::At(at) | StatedTemperature::Range(_, at) = &temperature
            && !(-100.0..230.0).contains(&at.value())
        {
            self.conditions.doubts.push(Doubt::Temperature(at.value()));
            return;
        }
        self.conditions.temperature.get_or_insert(temperature);
    }

    /// The place behind `°C`, `C`, `deg C` and the like at `at`.
    pub(super) fn behind_celsius(&self, at: usize) -> Option<usize> {
        let s = self.s;
        if s.kind(at) == Some(Kind::Degree) {
            if s.text(at + 1) == "C" && !s.is_mark(at + 2, '=') {
                return Some(at + 2);
            }
            return None;
        }
        if s.is_word(at, &["oC", "degC", "deC", "℃"]) {
            return Some(at + 1);
        }
        if s.is_word(at, &["deg", "de", "degree", "degrees", "o"]) && s.text(at + 1) == "C" {
            return Some(at + 2);
        }
        if s.text(at) == "C" && !s.is_mark(at + 1, '=') {
            return Some(at + 1);
        }
        None
    }

    /// Conditions that begin with a number.
    fn numbered(&mut self, at: usize, place: Place) -> Option<usize> {
        let s = self.s;
        let number = s.number(at)?.printed;
        let bracketed = matches!(place, Place::Bracket { .. });
        // A temperature, or a range of temperatures.
        if let Some(end) = self.behind_celsius(at + 1) {
            // `at 365 °C`: no rotation is measured there, but at 365 nm.
            if number.value() >= 230.0
                && let Some(light) = Light::at(number.value())
            {
                self.conditions
                    .doubts
                    .push(Doubt::WavelengthUnit(s.slice(at, end).to_owned()));
                self.set_light(light);
                return Some(end);
            }
            // `-20 °C` within a bracket is below zero; on the line a dash may be something else.
            let minus = at > 0
                && s.kind(at - 1) == Some(Kind::Minus)
                && s.is_glued(at)
                && (at < 2 || !s.is_glued(at - 1) || s.is_open(at - 2));
            let number = if minus && bracketed { number.negated() } else { number };
            self.set_temperature(StatedTemperature::At(number));
            return Some(self.light_behind_temperature(end));
        }
        if (s.kind(at + 1) == Some(Kind::Minus)
            || s.is_word(at + 1, &["to"])
            || s.kind(at + 1) == Some(Kind::PlusMinus))
            && let (Some(second), Some(end)) = (s.number(at + 2), self.behind_celsius(at + 3))
        {
            self.set_temperature(if s.kind(at + 1) == Some(Kind::PlusMinus) {
                StatedTemperature::At(number)
            } else {
                StatedTemperature::Range(number, second.printed)
            });
            return Some(self.light_behind_temperature(end));
        }
        if let Some(celsius) = kelvin(s, at) {
            self.set_temperature(StatedTemperature::At(celsius));
            return Some(at + 2);
        }
        // `28/D`, `20/D`, and `at 20°` where the C is not printed.
        let plausible = (0.0..=60.0).contains(&number.value());
        if plausible
            && s.is_mark(at + 1, '/')
            && (s.is_word(at + 2, &["d"]) || s.number(at + 2).is_some_and(is_wavelength))
        {
            self.set_temperature(StatedTemperature::At(number));
            return Some(self.light_behind_temperature(at + 1));
        }
        if plausible && s.kind(at + 1) == Some(Kind::Degree) {
            let linked = at > 0 && (s.is_word(at - 1, &["at", "bei", "à"]) || s.is_mark(at - 1, '@'));
            let alone = bracketed && (s.is_any_mark(at + 2, &[',', ';']) || s.is_close(at + 2));
            if linked || alone && self.conditions.temperature.is_none() {
                self.set_temperature(StatedTemperature::At(number));
                return Some(self.light_behind_temperature(at + 2));
            }
        }
        if s.is_word(at + 1, &["nm", "mμ", "Å", "A"]) || s.text(at + 1) == "m" && s.text(at + 2) == "μ" {
            let end = if s.text(at + 1) == "m" { at + 3 } else { at + 2 };
            if let (true, Some(light)) = (
                s.text(at + 1) != "A" || number.value() > 2300.0,
                if s.is_word(at + 1, &["Å", "A"]) {
                    Light::at(number.value())
                } else {
                    Light::at_nanometres(number.value())
                },
            ) {
                self.set_light(light);
                return Some(end);
            }
        }
        if s.is_word(
            at + 1,
            &[
                "hr", "hrs", "h", "hour", "hours", "min", "mins", "minute", "minutes", "day", "days",
            ],
        ) {
            let end = if s.is_mark(at + 2, '.') && !s.is_sentence_start(at + 3) {
                at + 3
            } else {
                at + 2
            };
            self.conditions.time.get_or_insert(s.slice(at, at + 2).to_owned());
            return Some(end);
        }
        if let Some(end) = self.strength(at, number) {
            return Some(end);
        }
        let of_solution = s.kind(at + 1) == Some(Kind::Percent)
            && (self.ratio_unit(at + 2).is_some() || s.is_word(at + 2, &["solution", "soln"]));
        if !of_solution && let Some((solvent, end)) = self.solvent_at(at) {
            self.set_solvent(solvent, at, end);
            return Some(end);
        }
        // `99% pure` and `92% yield` are no concentrations; `in 15 mL` contradicts one.
        if s.kind(at + 1) == Some(Kind::Percent)
            && s.is_word(
                at + 2,
                &[
                    "pure",
                    "purity",
                    "yield",
                    "optical",
                    "op",
                    "optically",
                    "conversion",
                    "de",
                    "dr",
                    "er",
                ],
            )
        {
            return bracketed.then_some(at + 3);
        }
        // `EtOH, 95%`: a strength behind its solvent, where the concentration is known.
        if s.kind(at + 1) == Some(Kind::Percent)
            && bracketed
            && number.value() >= 50.0
            && self.conditions.concentration.is_some()
            && (s.is_close(at + 2) || s.is_any_mark(at + 2, &[',', ';']))
            && let Some(solvent @ Solvent::Pure(_)) = &self.conditions.solvent
            && let Ok(weaker) = Solvent::parse(&format!("{}% {solvent}", s.text(at)))
        {
            self.conditions.solvent = Some(weaker);
            return Some(at + 2);
        }
        if s.is_word(at + 1, &["ml"]) && bracketed && self.conditions.concentration.is_some() {
            self.conditions.doubts.push(Doubt::ConcentrationGarbled);
            return Some(at + 2);
        }
        // `10 % solution`, `350 mg in 50 mL`, `5 % (w/v)`
        let mass = s.is_word(at + 1, &["g", "mg", "gm", "gin"]);
        let loose_mass = mass
            && !(s.is_mark(at + 2, '/')
                || s.is_word(at + 2, &["in", "per", "dissolved"])
                || s.number(at + 2).is_some());
        if !loose_mass && let Some(found) = self.mass_unit(at + 1, number) {
            let molar = found.unit == ConcentrationUnit::MolesPerLitre;
            if bracketed || !molar {
                self.set_concentration(PrintedConcentration {
                    low: found.value,
                    high: None,
                    unit: found.unit,
                    unit_printed: true,
                });
                return Some(found.end);
            }
        }
        if bracketed || matches!(place, Place::Line { linked: true, .. }) {
            // `5-10%`
            if s.kind(at + 1) == Some(Kind::Minus)
                && let (Some(second), Some(Kind::Percent)) = (s.number(at + 2), s.kind(at + 3))
            {
                self.set_concentration(PrintedConcentration {
                    low: number,
                    high: Some(second.printed),
                    unit: ConcentrationUnit::Percent,
                    unit_printed: true,
                });
                return Some(at + 4);
            }
        }
        if bracketed {
            return self.bare_concentration(at, number);
        }
        None
    }

    /// The solvent at `at`, with the place behind it.
    pub(super) fn solvent_at(&self, at: usize) -> Option<(Solvent, usize)> {
        self.s.solvent(at)
    }

    fn solvent(&mut self, at: usize, place: Place) -> Option<usize> {
        let s = self.s;
        let allowed = match place {
            Place::Bracket { starts_word } => starts_word,
            Place::Line { dissolved, .. } => dissolved,
            Place::Slash => false,
        };
        if !allowed {
            return None;
        }
        if let Some((solvent, end)) = self.solvent_at(at) {
            self.set_solvent(solvent, at, end);
            return Some(end);
        }
        // An unknown name behind "in" within a bracket is kept as printed.
        if s.is_word(at, &["in"]) && matches!(place, Place::Bracket { .. }) && s.kind(at + 1) == Some(Kind::Word) {
            let mut from = at + 1;
            while s.is_word(from, &["a", "an", "the", "about", "ca", "approximately"]) || s.is_mark(from, '.') {
                from += 1;
            }
            if self.solvent_at(from).is_some() || self.conditions.solvent.is_some() {
                return Some(from);
            }
            let mut end = from;
            while end < from + 5 && matches!(s.kind(end), Some(Kind::Word | Kind::Minus | Kind::Number(_))) {
                end += 1;
            }
            let ends = s.is_close(end) || s.is_any_mark(end, &[',', ';']);
            if ends
                && end > from
                && let Ok(solvent) = Solvent::parse_lenient(s.slice(from, end))
            {
                self.conditions.solvent = Some(solvent);
                return Some(end);
            }
            return Some(from);
        }
        None
    }

    pub(super) fn set_solvent(&mut self, solvent: Solvent, from: usize, end: usize) {
        if self.conditions.solvent.is_some() {
            return;
        }
        let printed = self.s.slice(from, end);
        if is_damaged_formula(printed) {
            self.conditions.doubts.push(Doubt::SolventDamaged(printed.to_owned()));
        }
        self.conditions.solvent = Some(solvent);
    }
}

/// Where a condition stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Place {
    /// In a bracket; whether a word starts here.
    Bracket {
        /// Whether the token is not the inside of a name.
        starts_word: bool,
    },
    /// On the line; whether a word or mark such as "in" led here.
    Line {
        /// Whether a link stands before it.
        linked: bool,
        /// Whether that link can lead to a solvent.
        dissolved: bool,
    },
    /// Behind the slash of `°C/D`.
    Slash,
}

/// Whether a formula has a one for an l or a zero for an O (`CHC13`, `H20`).
fn is_damaged_formula(printed: &str) -> bool {
    let letters: Vec<char> = printed.chars().filter(|c| !c.is_whitespace()).collect();
    let has = |pattern: &str| printed.contains(pattern);
    has("C13") || has("CI3") || has("C12") && has("CH2") || has("H20") || has("0H") && letters.len() <= 6 || has("D20")
}
