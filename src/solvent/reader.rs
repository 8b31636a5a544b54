//! Reads a printed solvent: strengths, qualifiers, names, mixtures, ratios, buffers.
//!
//! A hand-written descent over the text; every step looks at a bounded number of characters. Start at [`whole`].

mod amounts;
mod scan;

use super::lexicon::{all_names, longest_name, squeeze};
use super::{
    Amount, BUFFER_SPECIES, Buffer, Component, MAX_COMPONENTS, Mixture, Ratio, Solution, Solvent, Strength, Substance,
};

/// A lower percentage before an organic solvent in running text is taken for the concentration of the measured
/// substance (`2% ethanol`), not for a strength.
const LEAST_SOLVENT_PERCENT: Amount = Amount::whole(30);

/// Reads the whole text as one solvent; the error is the part that was not understood, empty for an empty text.
pub(super) fn whole(text: &str) -> Result<Solvent, &str> {
    let mut inner = text.trim();
    while let Some(stripped) = strip_outer(inner) {
        inner = stripped.trim();
    }
    if is_neat(inner) {
        return Ok(Solvent::Neat);
    }
    let reader = Reader {
        text: inner,
        mode: Mode::Whole,
    };
    match reader.solvent(0) {
        Some((solvent, end)) if reader.after_spaces(end) == inner.len() => Ok(solvent),
        Some((_, end)) => Err(inner[end..].trim()),
        None => Err(inner),
    }
}

/// Reads the longest solvent phrase at the start of the text; see [`Solvent::find_at`].
pub(super) fn prefix(text: &str) -> Option<(Solvent, usize)> {
    let reader = Reader {
        text,
        mode: Mode::Prefix,
    };
    let neat = [
        "neat",
        "undiluted",
        "unverdünnt",
        "unverd",
        "ohne Lösungsmittel",
        "sans solvant",
        "without solvent",
        "no solvent",
        "senza solvente",
        "sin disolvente",
        "bez rozpuszczalnika",
    ]
    .iter()
    .find_map(|word| reader.word(0, word));
    if let Some(end) = neat {
        return Some((Solvent::Neat, end));
    }
    reader.solvent(0)
}

/// Removes one pair of brackets around everything, or one full stop at the end.
fn strip_outer(text: &str) -> Option<&str> {
    let inside = text.strip_prefix('(').and_then(|rest| rest.strip_suffix(')'));
    let balanced = inside.filter(|inside| {
        let mut depth = 0i32;
        inside.bytes().all(|b| {
            depth += i32::from(b == b'(') - i32::from(b == b')');
            depth >= 0
        })
    });
    balanced.or_else(|| text.strip_suffix('.'))
}

fn is_neat(text: &str) -> bool {
    let words = [
        "neat",
        "pure",
        "pure liquid",
        "neat liquid",
        "undiluted",
        "without solvent",
        "no solvent",
        "solvent-free",
        "homogeneous",
        "homog",
        "unverdünnt",
        "unverd",
        "in Substanz",
        "ohne Lösungsmittel",
        "net",
        "pur",
        "sans solvant",
    ];
    let text = squeeze(text);
    words.iter().any(|word| squeeze(word) == text)
}

/// Canonical ids whose printed names resemble `text`, best first.
pub(super) fn nearest(text: &str) -> Vec<String> {
    const LEAST_LIKENESS: f64 = 0.7;
    let wanted: String = squeeze(text).chars().take(60).collect();
    let mut likeness: Vec<(f64, &str)> = Vec::new();
    for (name, substance) in all_names() {
        let like = strsim::normalized_damerau_levenshtein(name, &wanted);
        if like >= LEAST_LIKENESS {
            likeness.push((like, substance.id()));
        }
    }
    likeness.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut ids: Vec<String> = Vec::new();
    for (_, id) in likeness {
        if ids.len() < 3 && !ids.iter().any(|known| known == id) {
            ids.push(id.to_string());
        }
    }
    ids
}

#[derive(Clone, Copy, PartialEq)]
enum Mode {
    /// The text is a solvent and nothing else.
    Whole,
    /// Running text goes on behind the solvent.
    Prefix,
}

#[derive(Clone, Copy)]
struct Reader<'a> {
    text: &'a str,
    mode: Mode,
}

/// What was read before the name of a component.
#[derive(Default)]
struct Qualifiers {
    strength: Option<Strength>,
    medium: Option<Substance>,
    unnamed: Option<Substance>,
    dry: bool,
}

/// Adjectives that name the medium of a dissolved acid or base.
const MEDIUM_ADJECTIVES: [(&str, &str); 12] = [
    ("aqueous", "H2O"),
    ("aq", "H2O"),
    ("wässrige", "H2O"),
    ("wässriger", "H2O"),
    ("wss", "H2O"),
    ("methanolic", "MeOH"),
    ("methanolischer", "MeOH"),
    ("ethanolic", "EtOH"),
    ("alcoholic", "EtOH"),
    ("alkoholischer", "EtOH"),
    ("alkoholische", "EtOH"),
    ("isopropanolic", "iPrOH"),
];

const STRENGTH_WORDS: [(&str, Strength); 11] = [
    ("dilute", Strength::Dilute),
    ("diluted", Strength::Dilute),
    ("dil", Strength::Dilute),
    ("verd", Strength::Dilute),
    ("verdünnte", Strength::Dilute),
    ("verdünnter", Strength::Dilute),
    ("concentrated", Strength::Concentrated),
    ("conc", Strength::Concentrated),
    ("concd", Strength::Concentrated),
    ("konz", Strength::Concentrated),
    ("konzentrierte", Strength::Concentrated),
];

const DRY_WORDS: [&str; 10] = [
    "anhydrous",
    "anhyd",
    "anh",
    "dry",
    "absolute",
    "abs",
    "dehydrated",
    "absol",
    "trockenes",
    "wasserfreies",
];

/// Words on purity that do not change what the solvent is.
const PURITY_WORDS: [&str; 8] = [
    "pure",
    "purified",
    "redistilled",
    "distilled",
    "spectroscopic",
    "fresh",
    "commercial",
    "hot",
];

impl Reader<'_> {
    fn solvent(self, start: usize) -> Option<(Solvent, usize)> {
        self.parts_mixture(start).or_else(|| self.mixture(start))
    }

    /// `a mixture of 1 part A + 2 parts B`, `equal volumes of A and B`.
    fn parts_mixture(self, start: usize) -> Option<(Solvent, usize)> {
        let opening = ["a mixture of", "mixture of", "the mixture of"];
        let of = opening.iter().find_map(|words| self.words(start, words));
        let at = self.after_spaces(of.unwrap_or(start));
        let equal = ["equal parts of", "equal volumes of", "equal parts"]
            .iter()
            .find_map(|words| self.words(at, words));
        if let Some(at) = equal {
            let (components, end) = self.components(at, Joint::AlsoAnd)?;
            let parts = vec![Amount::whole(1); components.len()];
            return Some((
                Solvent::Mixture(Mixture::new(components, Ratio::by_volume(parts))?),
                end,
            ));
        }
        let (mut components, mut parts) = (Vec::new(), Vec::new());
        let mut at = at;
        let mut end = None;
        while components.len() < MAX_COMPONENTS {
            let Some((part, component, after)) = self.part_of(at) else {
                break;
            };
            parts.push(part);
            components.push(component);
            end = Some(after);
            match self.joint(after, Joint::AlsoAnd) {
                Some(next) => at = next,
                None => break,
            }
        }
        if let Some(mixture) = Ratio::by_volume(parts).and_then(|ratio| Mixture::new(components, Some(ratio))) {
            return Some((Solvent::Mixture(mixture), end?));
        }
        self.mixture_with(self.after_spaces(of?), Joint::AlsoAnd)
    }

    /// `2 parts ethanol`, `1 vol. of water`.
    fn part_of(self, start: usize) -> Option<(Amount, Component, usize)> {
        let (amount, at) = self.number(self.after_spaces(start))?;
        let units = ["parts", "part", "vols.", "vol.", "vols", "vol", "volumes", "volume"];
        let at = self.after_spaces(at);
        let at = units.iter().find_map(|unit| self.word(at, unit))?;
        let at = self.word(self.after_spaces(at), "of").unwrap_or(at);
        let (component, end) = self.component(self.after_spaces(at))?;
        Some((amount, component, end))
    }

    fn mixture(self, start: usize) -> Option<(Solvent, usize)> {
        self.mixture_with(start, Joint::Symbols)
    }

    fn mixture_with(self, start: usize, joint: Joint) -> Option<(Solvent, usize)> {
        let leading = self.ratio(start);
        let at = match &leading {
            Some((_, end)) => self.after_ratio(*end),
            None => start,
        };
        let (components, end) = self.components(at, joint)?;
        let trailing = if leading.is_none() {
            self.trailing_ratio(end)
        } else {
            None
        };
        let ratio = match (leading, &trailing) {
            (Some((ratio, _)), _) => Some(ratio),
            (None, Some((ratio, _))) => Some(ratio.clone()),
            (None, None) => None,
        };
        let fits = ratio
            .as_ref()
            .is_some_and(|ratio| ratio.parts.len() == components.len());
        if fits {
            let end = trailing.map_or(end, |(_, end)| end);
            return Some((Solvent::Mixture(Mixture::new(components, ratio)?), end));
        }
        // `methanol and water` without a ratio may be two conditions; with one, `A and B 1:1` is a mixture.
        if joint == Joint::Symbols
            && let Some(mixture) = self.words_with_ratio(at)
        {
            return Some(mixture);
        }
        if ratio.is_some() && at != start {
            return None;
        }
        if let [Component::Solution(percent), Component::Pure(diluent)] = components[..]
            && matches!(percent.strength, Strength::Percent(_) | Strength::PercentByMass(_))
            && percent.medium == diluent
        {
            return Some((Solvent::Solution(percent), end));
        }
        match components[..] {
            [single] => Some((single.into(), end)),
            _ => Some((Solvent::Mixture(Mixture::new(components, None)?), end)),
        }
    }

    /// `methanol and water (1:1)`: joined by a word or a space, accepted only with a fitting ratio behind.
    fn words_with_ratio(self, start: usize) -> Option<(Solvent, usize)> {
        let (components, end) = self.components(start, Joint::AlsoAnd)?;
        let (ratio, end) = self.trailing_ratio(end)?;
        Some((Solvent::Mixture(Mixture::new(components, Some(ratio))?), end))
    }

    fn components(self, start: usize, joint: Joint) -> Option<(Vec<Component>, usize)> {
        let (first, mut end) = self.component(self.after_spaces(start))?;
        let mut components = vec![first];
        while components.len() < MAX_COMPONENTS {
            let next = self.joint(end, joint).and_then(|at| self.component(at));
            let Some((component, after)) = next.filter(|(component, _)| !components.contains(component)) else {
                break;
            };
            components.push(component);
            end = after;
        }
        Some((components, end))
    }

    /// The byte behind what joins two components, such as `/`, `-` or ` + `.
    fn joint(self, start: usize, joint: Joint) -> Option<usize> {
        let at = self.after_spaces(start);
        let symbol = self
            .char_folded(at)
            .filter(|(c, _)| matches!(c, '/' | '-' | ':' | '+' | '&' | '\\'));
        if let Some((_, end)) = symbol {
            return Some(self.after_spaces(end));
        }
        let words = ["and", "with", "und", "et"];
        let word = words
            .iter()
            .find_map(|word| self.word(at, word))
            .map(|end| self.after_spaces(end));
        (joint == Joint::AlsoAnd).then_some(word.or((at > start).then_some(at)))?
    }

    /// The byte behind `mixture of` or `of` after a leading ratio.
    fn after_ratio(self, start: usize) -> usize {
        let at = self.after_spaces(start);
        let at = self
            .words(at, "mixture of")
            .or_else(|| self.word(at, "of"))
            .unwrap_or(at);
        self.after_spaces(at)
    }

    fn component(self, start: usize) -> Option<(Component, usize)> {
        if let Some((buffer, end)) = self.buffer(start) {
            return Some((Component::Buffer(buffer), end));
        }
        let (before, at) = self.qualifiers(start);
        let (mut name, mut end) = longest_name(self.text, at)?;
        let mut medium = before.medium;
        // `0.1 N alcoholic HCl` as `N alcohol KOH`, `an aqueous solution of HCl`.
        if name.is_liquid() {
            let of = self.word(self.after_spaces(end), "of").unwrap_or(end);
            let solute = longest_name(self.text, self.after_spaces(of)).filter(|(solute, _)| !solute.is_liquid());
            if let Some((solute, after)) = solute {
                (medium, name, end) = (Some(name), solute, after);
            }
        }
        let (after, mut end) = self.behind_name(name, before.strength.is_some(), end);
        if medium.is_none() {
            medium = after.medium;
        }
        let strength = before.strength.or(after.strength);
        if let Some(unnamed) = before.unnamed {
            let solution = Solution::new(unnamed, Strength::Unstated, name)?;
            return Some((Component::Solution(solution), end));
        }
        if self.mode == Mode::Prefix && is_doubtful(name, &before, strength) {
            return None;
        }
        if strength.is_none() && medium.is_none() && name.is_liquid() {
            if let Some((solution, after)) = self.additive(name, end) {
                return Some((Component::Solution(solution), after));
            }
            let dry = if before.dry { name.dry_grade() } else { None };
            if before.dry && self.mode == Mode::Whole {
                end = self.word(self.after_spaces(end), "solution").unwrap_or(end);
            }
            return Some((Component::Pure(dry.unwrap_or(name)), end));
        }
        let medium = medium.unwrap_or_else(Substance::water);
        let component = match strength {
            Some(Strength::Percent(p) | Strength::PercentByMass(p)) if p == Amount::whole(100) && name.is_liquid() => {
                Component::Pure(name.dry_grade().unwrap_or(name))
            }
            strength => Component::Solution(Solution::new(name, strength.unwrap_or(Strength::Unstated), medium)?),
        };
        Some((component, end))
    }

    /// Strengths and adjectives before a name; stops where a name begins.
    fn qualifiers(self, start: usize) -> (Qualifiers, usize) {
        let mut found = Qualifiers::default();
        let mut at = start;
        for _ in 0..5 {
            at = self.after_spaces(at);
            if longest_name(self.text, at).is_some_and(|(_, end)| !self.is_adjective(at, end)) {
                break;
            }
            let Some(end) = self.qualifier(at, &mut found) else {
                break;
            };
            at = self.symbol(end, '.').unwrap_or(end);
        }
        (found, self.after_spaces(at))
    }

    /// Whether the name from `at` to `end` is one of the adjectives (`abs.` before a name).
    fn is_adjective(self, at: usize, end: usize) -> bool {
        MEDIUM_ADJECTIVES
            .iter()
            .any(|(word, _)| self.word(at, word).is_some_and(|after| after >= end))
    }

    fn qualifier(self, at: usize, found: &mut Qualifiers) -> Option<usize> {
        if found.strength.is_none() {
            if let Some((strength, end)) = self.strength(at).or_else(|| self.bare_normality(at)) {
                found.strength = Some(strength);
                let end = self.symbol(end, '-').unwrap_or(end);
                // In running text `a 5% solution of X` tells the concentration of X.
                let of = ["of", "ige", "iger", "iges", "solution of", "soln of"];
                let of = if self.mode == Mode::Whole { &of[..] } else { &of[..4] };
                return Some(
                    of.iter()
                        .find_map(|words| self.words(self.after_spaces(end), words))
                        .unwrap_or(end),
                );
            }
            let word = STRENGTH_WORDS
                .iter()
                .find_map(|(word, strength)| Some((*strength, self.word(at, word)?)));
            if let Some((strength, end)) = word {
                found.strength = Some(strength);
                return Some(end);
            }
        }
        if found.medium.is_none() {
            let adjective = MEDIUM_ADJECTIVES
                .iter()
                .find_map(|(word, id)| Some((Substance::by_id(id)?, self.word(at, word)?)));
            if let Some((medium, end)) = adjective {
                found.medium = Some(medium);
                return Some(end);
            }
        }
        let unnamed = [
            ("acidic", Substance::unnamed_acid()),
            ("acidified", Substance::unnamed_acid()),
            ("basic", Substance::unnamed_base()),
            ("alkaline", Substance::unnamed_base()),
        ];
        if let Some((substance, end)) = unnamed.iter().find_map(|(word, s)| Some((*s, self.word(at, word)?))) {
            found.unnamed = Some(substance);
            return Some(end);
        }
        if let Some(end) = DRY_WORDS.iter().find_map(|word| self.word(at, word)) {
            found.dry = true;
            return Some(end);
        }
        PURITY_WORDS.iter().find_map(|word| self.word(at, word))
    }

    /// What stands behind a name: a strength, `aq`, `solution`, `in` a medium. Returns the end of what was read.
    fn behind_name(self, name: Substance, has_strength: bool, start: usize) -> (Qualifiers, usize) {
        let mut found = Qualifiers::default();
        let mut end = start;
        for _ in 0..4 {
            let strength_is_open = !has_strength && found.strength.is_none();
            let strength = if strength_is_open {
                self.strength_behind(name, end)
            } else {
                None
            };
            if let Some((strength, after)) = strength {
                found.strength = Some(strength);
                end = after;
                continue;
            }
            let at = self.after_spaces(end);
            let dissolved = !name.is_liquid() || has_strength || found.strength.is_some() || self.mode == Mode::Whole;
            if found.medium.is_none() && dissolved {
                let aqueous = [
                    "(aq.)",
                    "(aq)",
                    "aq.",
                    "aq",
                    "aqueous",
                    "in water",
                    "in aqueous solution",
                ];
                if let Some(after) = aqueous.iter().find_map(|words| self.words(at, words)) {
                    found.medium = Some(Substance::water());
                    end = after;
                    continue;
                }
                let medium = self.word(at, "in").and_then(|at| {
                    let at = self.after_spaces(at);
                    longest_name(self.text, at).filter(|(medium, _)| medium.is_liquid() && *medium != name)
                });
                if let Some((medium, after)) = medium {
                    found.medium = Some(medium);
                    end = after;
                    continue;
                }
            }
            let solution = ["solution", "soln.", "soln", "sol.", "溶液"];
            let after = solution.iter().find_map(|word| self.word(at, word));
            match after {
                Some(after) if dissolved => end = after,
                _ => break,
            }
        }
        (found, end)
    }

    /// `water with 1 equiv HCl`, `MeOH containing 1% TFA`: a solution in `medium`.
    fn additive(self, medium: Substance, start: usize) -> Option<(Solution, usize)> {
        let at = self.after_spaces(start);
        let joints = ["with", "containing", "plus", "+", "cont.", "mit"];
        let at = joints.iter().find_map(|word| self.words(at, word))?;
        let (strength, at) = self.strength(self.after_spaces(at))?;
        let at = self.after_spaces(at);
        let at = self.word(at, "of").map_or(at, |at| self.after_spaces(at));
        let (solute, end) = longest_name(self.text, at)?;
        Some((Solution::new(solute, strength, medium)?, end))
    }

    /// `pH 7 buffer`, `phosphate buffer, pH 7.4`, `0.1 M acetate buffer`, `water pH 7 buffer`.
    fn buffer(self, start: usize) -> Option<(Buffer, usize)> {
        let (mut ph, mut species, mut molar, mut named) = (None, None, None, false);
        let mut at = start;
        let mut end = start;
        for _ in 0..8 {
            at = self.after_spaces(at);
            at = self
                .symbol(at, ',')
                .filter(|_| named)
                .map_or(at, |at| self.after_spaces(at));
            let bracket = self.symbol(at, '(').filter(|_| named);
            let inside = self.after_spaces(bracket.unwrap_or(at));
            if ph.is_none()
                && let Some((value, after)) = self.ph(inside)
            {
                ph = Some(value);
                at = if bracket.is_some() {
                    self.symbol(self.after_spaces(after), ')')?
                } else {
                    after
                };
            } else if molar.is_none()
                && let Some((Strength::Molar(value), after)) = self.strength(inside)
            {
                molar = Some(value);
                at = if bracket.is_some() {
                    self.symbol(self.after_spaces(after), ')')?
                } else {
                    after
                };
            } else if let Some(after) = [
                "buffer solution",
                "buffered solution",
                "buffered water",
                "buffer",
                "Puffer",
            ]
            .iter()
            .find_map(|words| self.words(at, words))
            .filter(|_| !named)
            {
                named = true;
                at = after;
            } else if let Some((name, after)) = BUFFER_SPECIES
                .iter()
                .find_map(|name| Some((*name, self.word(at, name)?)))
                .filter(|_| species.is_none() && !named)
            {
                species = Some(name);
                at = after;
            } else if let Some(after) = ["aqueous", "aq.", "aq", "sodium", "potassium", "water", "HCl"]
                .iter()
                .find_map(|word| self.word(at, word))
                .filter(|_| !named)
            {
                at = after;
            } else {
                break;
            }
            if named {
                end = at;
            }
        }
        named.then_some((Buffer::new(ph, species, molar)?, end))
    }

    fn ph(self, start: usize) -> Option<(Amount, usize)> {
        let at = self.letters_any_case(start, "ph")?;
        let at = self.after_spaces(at);
        let at = ['=', ':'].iter().find_map(|c| self.symbol(at, *c)).unwrap_or(at);
        self.number(self.after_spaces(at))
    }
}

/// What may join the components of a mixture.
#[derive(Clone, Copy, PartialEq)]
enum Joint {
    /// `/`, `-`, `:`, `+`, `&`.
    Symbols,
    /// Also `and` and a mere space.
    AlsoAnd,
}

/// Whether in running text the words may mean something else than this solvent.
fn is_doubtful(name: Substance, before: &Qualifiers, strength: Option<Strength>) -> bool {
    let unnamed = name == Substance::unnamed_acid() || name == Substance::unnamed_base();
    let concentration = matches!(before.strength, Some(Strength::Percent(p)) if p < LEAST_SOLVENT_PERCENT)
        && name.is_liquid()
        && !name.ionises()
        && before.medium.is_none();
    let water = name == Substance::water() && strength.is_some();
    unnamed || concentration || water
}
