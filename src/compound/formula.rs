//! Molecular formulas as printed, and the molar mass they give.

use std::collections::BTreeMap;
use std::collections::HashMap;
use std::fmt;
use std::str::FromStr;
use std::sync::LazyLock;

use serde::Deserialize;
use unicode_normalization::UnicodeNormalization;

use crate::quantity::MolarMass;

/// A formula: one part, or several joined by dots as in `C20H24N2O2·2H2O`.
///
/// Printed in Hill order: carbon, hydrogen, then the other elements by symbol.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Formula {
    /// At least one part; the multiplier of the first is nearly always one.
    parts: Vec<Part>,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Part {
    multiplier: Multiplier,
    /// At least one atom, no count zero.
    atoms: BTreeMap<Nuclide, u32>,
    charge: i32,
}

/// A positive fraction in lowest terms: how often a part is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
struct Multiplier {
    over: u32,
    under: u32,
}

/// An element of natural composition, or one nuclide of it.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Nuclide {
    symbol: &'static str,
    mass_number: Option<u16>,
}

/// Why a text is no formula.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FormulaError {
    /// Nothing to read, or more than 400 characters.
    #[error("a formula must have 1 to 400 characters")]
    Length,
    /// A character that cannot stand where it stands.
    #[error("`{found}` cannot be read at character {at} of the formula `{formula}`")]
    Unexpected {
        /// The formula.
        formula: String,
        /// Its place, counted from one, in the formula without spaces.
        at: usize,
        /// The characters there.
        found: String,
    },
    /// Letters that are no element.
    #[error("`{symbol}` in the formula `{formula}` is not an element")]
    Element {
        /// The formula.
        formula: String,
        /// The letters.
        symbol: String,
    },
    /// A nuclide whose mass is not in the table.
    #[error("the mass of the nuclide {mass_number}{symbol} in `{formula}` is not in the table (data/nuclides.csv)")]
    Nuclide {
        /// The formula.
        formula: String,
        /// The element.
        symbol: String,
        /// The mass number.
        mass_number: u16,
    },
    /// A count or charge too large to mean anything, or a count of zero.
    #[error("the formula `{formula}` has a count of zero or above a million")]
    Count {
        /// The formula.
        formula: String,
    },
    /// Digits before a final sign that may be a count or a charge, as in `SO42-`.
    #[error(
        "it is not clear whether the digits before the sign in `{formula}` count atoms or charges; write `[SO4]2-`"
    )]
    Charge {
        /// The formula.
        formula: String,
    },
}

/// The longest formula read, in characters.
const MAX_LENGTH: usize = 400;
/// The largest count of one nuclide in a part.
const MAX_COUNT: u32 = 1_000_000;
/// The deepest nesting of brackets.
const MAX_DEPTH: usize = 20;

#[derive(Deserialize)]
struct Row {
    symbol: String,
    mass_number: Option<u16>,
    mass: f64,
}

/// Standard atomic weights and nuclide masses in g/mol by symbol and mass number (`data/nuclides.csv`, with sources).
static MASSES: LazyLock<HashMap<(String, Option<u16>), f64>> = LazyLock::new(|| {
    let mut table = csv::Reader::from_reader(include_str!("../../data/nuclides.csv").as_bytes());
    let rows = table.deserialize::<Row>();
    rows.map(|row| row.expect("data/nuclides.csv is compiled in and a test reads it"))
        .map(|row| ((row.symbol, row.mass_number), row.mass))
        .collect()
});

/// The symbols of the table as static text.
static SYMBOLS: LazyLock<Vec<&'static str>> = LazyLock::new(|| {
    let natural = MASSES.keys().filter(|(_, mass_number)| mass_number.is_none());
    natural.map(|(symbol, _)| symbol.as_str()).collect()
});

impl Formula {
    /// Reads a printed formula.
    ///
    /// Takes dots (`·`, `.`, `*`, `•`) with multipliers (`½H2O`, `0.5H2O`, `1/2 H2O`), brackets, subscripts, nuclides
    /// (`D`, `T`, `[13C]`) and charges at the end of a part (`+`, `²⁺`, `^2+`, `[…]2-`).
    pub fn parse(text: &str) -> Result<Formula, FormulaError> {
        let length = text.chars().count();
        if text.trim().is_empty() || length > MAX_LENGTH {
            return Err(FormulaError::Length);
        }
        Reader::new(text).formula()
    }

    /// The molar mass from standard atomic weights; the mass of electrons lost or gained is left out (5·10⁻⁴ g/mol).
    pub fn molar_mass(&self) -> MolarMass {
        let mass = |nuclide: &Nuclide| {
            MASSES
                .get(&(nuclide.symbol.to_string(), nuclide.mass_number))
                .copied()
                .unwrap_or(f64::NAN)
        };
        let of_part = |part: &Part| {
            part.atoms
                .iter()
                .map(|(nuclide, count)| mass(nuclide) * f64::from(*count))
                .sum::<f64>()
        };
        MolarMass::from_grams_per_mole(
            self.parts
                .iter()
                .map(|part| part.multiplier.to_f64() * of_part(part))
                .sum(),
        )
    }

    /// The formula of the part that stands first: without solvent of crystallisation and whatever else follows a dot.
    #[must_use]
    pub fn main_part(&self) -> Formula {
        let first = self.parts.iter().take(1).map(|part| Part {
            multiplier: Multiplier::ONE,
            ..part.clone()
        });
        Formula { parts: first.collect() }
    }
}

impl FromStr for Formula {
    type Err = FormulaError;

    fn from_str(text: &str) -> Result<Self, FormulaError> {
        Formula::parse(text)
    }
}

impl Part {
    fn in_hill_order(&self) -> Vec<(&Nuclide, u32)> {
        let has_carbon = self.atoms.keys().any(|nuclide| nuclide.symbol == "C");
        let rank = |nuclide: &Nuclide| match nuclide.symbol {
            "C" if has_carbon => 0,
            "H" if has_carbon => 1,
            _ => 2,
        };
        let mut atoms: Vec<_> = self.atoms.iter().map(|(nuclide, count)| (nuclide, *count)).collect();
        atoms.sort_by_key(|(nuclide, _)| rank(nuclide));
        atoms
    }

    /// The count of the nuclide printed last.
    fn last_count(&self) -> u32 {
        self.in_hill_order().last().map_or(1, |(_, count)| *count)
    }
}

impl Multiplier {
    const ONE: Multiplier = Multiplier { over: 1, under: 1 };

    /// The largest multiplier: its written form, with up to three decimals, stays within [`MAX_COUNT`].
    const MOST: u32 = MAX_COUNT / 1000;

    /// A reduced fraction; `None` when it is zero or out of range.
    fn new(over: u32, under: u32) -> Option<Multiplier> {
        let (mut a, mut b) = (over, under);
        while b != 0 {
            (a, b) = (b, a % b);
        }
        let is_within = u64::from(over) <= u64::from(Self::MOST) * u64::from(under);
        let within = over > 0 && under > 0 && over <= MAX_COUNT && under <= MAX_COUNT && is_within;
        within.then(|| Multiplier {
            over: over / a,
            under: under / a,
        })
    }

    fn to_f64(self) -> f64 {
        f64::from(self.over) / f64::from(self.under)
    }
}

/// What a formula reader works on: characters without spaces, with raised digits marked.
struct Reader {
    original: String,
    /// Folded characters and whether each was raised (superscript, or behind `^`).
    chars: Vec<(char, bool)>,
    at: usize,
}

/// A charge beyond this means nothing.
const MOST_CHARGES: i32 = 99;

type Atoms = BTreeMap<Nuclide, u32>;

impl Reader {
    fn new(text: &str) -> Reader {
        let mut chars = Vec::new();
        let mut caret = false;
        for c in text.chars().filter(|c| !matches!(c, '_' | '{' | '}' | '$' | '~')) {
            if c == '^' || c.is_whitespace() {
                caret = true;
            } else {
                let raised = "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻".contains(c);
                for folded in std::iter::once(c).nfkc() {
                    let folded = match folded {
                        '−' | '–' | '‐' | '‑' => '-',
                        '•' | '∙' | '⋅' | '*' | '×' | '・' => '·',
                        '⁄' => '/',
                        other => other,
                    };
                    // A gap or caret raises the digits up to the sign: `SO4 2-`.
                    let behind_caret = caret && (folded.is_ascii_digit() || matches!(folded, '+' | '-'));
                    chars.push((folded, raised || behind_caret));
                    caret = behind_caret;
                }
            }
        }
        Reader {
            original: text.trim().to_string(),
            chars,
            at: 0,
        }
    }

    fn formula(mut self) -> Result<Formula, FormulaError> {
        let mut parts = vec![self.part()?];
        while self.peek().is_some_and(|c| c == '·' || c == '.') {
            self.at += 1;
            parts.push(self.part()?);
        }
        match self.peek() {
            Some(_) => Err(self.unexpected()),
            None => Ok(Formula { parts }),
        }
    }

    fn part(&mut self) -> Result<Part, FormulaError> {
        let multiplier = self.multiplier()?;
        let atoms = self.atoms(0)?;
        if atoms.is_empty() {
            return Err(self.unexpected());
        }
        let (atoms, charge) = self.charge(atoms)?;
        Ok(Part {
            multiplier,
            atoms,
            charge,
        })
    }

    /// `2`, `0.5`, `1/2`, `½`, `2½`.
    fn multiplier(&mut self) -> Result<Multiplier, FormulaError> {
        let Some(whole) = self.digits()? else {
            return Ok(Multiplier::ONE);
        };
        let fraction = match (self.peek(), self.peek_at(1)) {
            (Some('/'), Some(c)) if c.is_ascii_digit() => {
                self.at += 1;
                let under = self.digits()?.ok_or_else(|| self.count_error())?;
                // `2½` folds to the digits 2, 1 and a slash: a mixed number with a one-digit numerator.
                let mixed = self.original.contains(['½', '⅓', '⅔', '¼', '¾']) && whole > 9;
                if mixed {
                    let over = (whole / 10).checked_mul(under).and_then(|n| n.checked_add(whole % 10));
                    (over.ok_or_else(|| self.count_error())?, under)
                } else {
                    (whole, under)
                }
            }
            (Some('.'), Some(c)) if c.is_ascii_digit() => {
                self.at += 1;
                let start = self.at;
                let decimals = self.digits()?.unwrap_or(0);
                let scale = 10u32
                    .checked_pow((self.at - start) as u32)
                    .ok_or_else(|| self.count_error())?;
                (
                    whole
                        .checked_mul(scale)
                        .and_then(|n| n.checked_add(decimals))
                        .ok_or_else(|| self.count_error())?,
                    scale,
                )
            }
            _ => (whole, 1),
        };
        Multiplier::new(fraction.0, fraction.1).ok_or_else(|| self.count_error())
    }

    fn atoms(&mut self, depth: usize) -> Result<Atoms, FormulaError> {
        let mut atoms = Atoms::new();
        while let Some(c) = self.peek() {
            let group = if let Some(nuclide) = self.nuclide()? {
                Atoms::from([(nuclide, 1)])
            } else if matches!(c, '(' | '[') && depth < MAX_DEPTH {
                self.at += 1;
                let inside = self.atoms(depth + 1)?;
                let closing = if c == '(' { ')' } else { ']' };
                if self.peek() != Some(closing) || inside.is_empty() {
                    return Err(self.unexpected());
                }
                self.at += 1;
                inside
            } else {
                break;
            };
            let count = self.count(c)?;
            for (nuclide, n) in group {
                let total = n
                    .checked_mul(count)
                    .and_then(|n| n.checked_add(atoms.get(&nuclide).copied().unwrap_or(0)));
                let total = total
                    .filter(|total| (1..=MAX_COUNT).contains(total))
                    .ok_or_else(|| self.count_error())?;
                atoms.insert(nuclide, total);
            }
        }
        Ok(atoms)
    }

    /// The count behind an atom or group that began with `first`; digits that belong to a charge are left.
    fn count(&mut self, first: char) -> Result<u32, FormulaError> {
        if self.chars.get(self.at).is_some_and(|(_, raised)| *raised) {
            return Ok(1);
        }
        let start = self.at;
        let count = self.digits()?;
        let signed = self.peek().is_some_and(|c| matches!(c, '+' | '-'));
        if count.is_some() && signed && !self.chars[self.at].1 {
            // `[SO4]2-` and `Ca2+`: a charge; `NH4+`: a count; `SO42-`: not clear.
            let before = self.chars[..start]
                .iter()
                .rev()
                .take_while(|(c, _)| !matches!(c, '·' | '.'));
            let atoms_before = before.filter(|(c, _)| c.is_ascii_uppercase()).count();
            let alone = atoms_before == 1 && first.is_ascii_uppercase() && first != 'H';
            if first == '[' || alone {
                self.at = start;
                return Ok(1);
            }
            if count.is_some_and(|count| count > 9) {
                return Err(FormulaError::Charge {
                    formula: self.original.clone(),
                });
            }
        }
        match count {
            Some(0) => Err(self.count_error()),
            Some(count) => Ok(count),
            None => Ok(1),
        }
    }

    /// The charge at the end of a part.
    fn charge(&mut self, atoms: Atoms) -> Result<(Atoms, i32), FormulaError> {
        let start = self.at;
        let number = self.digits()?;
        let mut charge = 0i32;
        while let Some(sign) = self.peek().filter(|c| matches!(c, '+' | '-')) {
            self.at += 1;
            charge += if sign == '+' { 1 } else { -1 };
        }
        // `^+2` beside `^2+`.
        let number = if number.is_none() && charge != 0 {
            self.digits()?
        } else {
            number
        };
        match number {
            Some(_) if charge == 0 => {
                self.at = start;
                Err(self.unexpected())
            }
            // Signs and a number together count too: what is read must be what can be written.
            number => match i32::try_from(number.unwrap_or(1))
                .ok()
                .and_then(|n| charge.checked_mul(n))
            {
                Some(charge) if charge.abs() <= MOST_CHARGES => Ok((atoms, charge)),
                _ => Err(self.count_error()),
            },
        }
    }

    /// An element, `D`, `T`, or a nuclide in brackets; `None` where none begins.
    fn nuclide(&mut self) -> Result<Option<Nuclide>, FormulaError> {
        match (self.peek(), self.peek_at(1)) {
            (Some('['), Some(c)) if c.is_ascii_digit() => {
                let start = self.at;
                self.at += 1;
                let mass_number = self.digits()?.and_then(|n| u16::try_from(n).ok());
                let symbol = self.symbol()?;
                if self.peek() != Some(']') {
                    self.at = start;
                    return Err(self.unexpected());
                }
                self.at += 1;
                let (Some(symbol), Some(mass_number)) = (symbol, mass_number) else {
                    return Err(self.unexpected());
                };
                self.known(symbol, mass_number).map(Some)
            }
            (Some('D'), next) if !next.is_some_and(|c| matches!(c, 'y' | 'b' | 's')) => {
                self.at += 1;
                self.known("H", 2).map(Some)
            }
            (Some('T'), next) if !next.is_some_and(|c| c.is_ascii_lowercase()) => {
                self.at += 1;
                self.known("H", 3).map(Some)
            }
            _ => Ok(self.symbol()?.map(|symbol| Nuclide {
                symbol,
                mass_number: None,
            })),
        }
    }

    fn known(&self, symbol: &'static str, mass_number: u16) -> Result<Nuclide, FormulaError> {
        if MASSES.contains_key(&(symbol.to_string(), Some(mass_number))) {
            return Ok(Nuclide {
                symbol,
                mass_number: Some(mass_number),
            });
        }
        Err(FormulaError::Nuclide {
            formula: self.original.clone(),
            symbol: symbol.to_string(),
            mass_number,
        })
    }

    /// The symbol of an element: a capital and at most one small letter.
    fn symbol(&mut self) -> Result<Option<&'static str>, FormulaError> {
        let Some(capital) = self.peek().filter(char::is_ascii_uppercase) else {
            return Ok(None);
        };
        let small = self.peek_at(1).filter(char::is_ascii_lowercase);
        let wanted: String = std::iter::once(capital).chain(small).collect();
        match SYMBOLS.iter().find(|symbol| **symbol == wanted) {
            Some(symbol) => {
                self.at += wanted.len();
                Ok(Some(symbol))
            }
            None => Err(FormulaError::Element {
                formula: self.original.clone(),
                symbol: wanted,
            }),
        }
    }

    fn digits(&mut self) -> Result<Option<u32>, FormulaError> {
        let start = self.at;
        let mut number = 0u32;
        let raised = self.chars.get(self.at).is_some_and(|(_, raised)| *raised);
        let alike = |reader: &Self| {
            reader
                .chars
                .get(reader.at)
                .filter(|(_, r)| *r == raised)
                .map(|(c, _)| *c)
        };
        while let Some(digit) = alike(self).and_then(|c| c.to_digit(10)) {
            let next = number
                .checked_mul(10)
                .and_then(|n| n.checked_add(digit))
                .filter(|n| *n <= MAX_COUNT);
            number = next.ok_or_else(|| self.count_error())?;
            self.at += 1;
        }
        Ok((self.at > start).then_some(number))
    }

    fn peek(&self) -> Option<char> {
        self.peek_at(0)
    }

    fn peek_at(&self, ahead: usize) -> Option<char> {
        self.chars.get(self.at + ahead).map(|(c, _)| *c)
    }

    fn unexpected(&self) -> FormulaError {
        let found: String = self.chars[self.at.min(self.chars.len())..]
            .iter()
            .take(8)
            .map(|(c, _)| c)
            .collect();
        let found = if found.is_empty() { "the end".to_string() } else { found };
        FormulaError::Unexpected {
            formula: self.original.clone(),
            at: self.at + 1,
            found,
        }
    }

    fn count_error(&self) -> FormulaError {
        FormulaError::Count {
            formula: self.original.clone(),
        }
    }
}

impl PartialOrd for Nuclide {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Nuclide {
    /// Alphabetical; [`Formula`] puts carbon and hydrogen in front where there is carbon.
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.symbol, self.mass_number).cmp(&(other.symbol, other.mass_number))
    }
}

impl fmt::Display for Formula {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, part) in self.parts.iter().enumerate() {
            write!(f, "{}{part}", if n == 0 { "" } else { "·" })?;
        }
        Ok(())
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.multiplier != Multiplier::ONE {
            self.multiplier.fmt(f)?;
        }
        for (nuclide, count) in self.in_hill_order() {
            nuclide.fmt(f)?;
            if count > 1 {
                write!(f, "{count}")?;
            }
        }
        let sign = if self.charge > 0 { '+' } else { '-' };
        // Without the caret a count before the sign could be read as a charge.
        let last_count = self.last_count();
        let unclear = last_count > 9 || (last_count > 1 && self.atoms.len() == 1);
        match self.charge.abs() {
            0 => Ok(()),
            1 if unclear => write!(f, "^{sign}"),
            1 => write!(f, "{sign}"),
            charge => write!(f, "^{charge}{sign}"),
        }
    }
}

impl fmt::Display for Multiplier {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let thousandths = u64::from(self.over) * 1000;
        match (self.under, thousandths % u64::from(self.under)) {
            (1, _) => write!(f, "{}", self.over),
            (_, 0) => write!(f, "{}", self.to_f64()),
            _ => write!(f, "{}/{}", self.over, self.under),
        }
    }
}

impl fmt::Display for Nuclide {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.symbol, self.mass_number) {
            (symbol, None) => f.write_str(symbol),
            ("H", Some(2)) => f.write_str("D"),
            ("H", Some(3)) => f.write_str("T"),
            (symbol, Some(mass_number)) => write!(f, "[{mass_number}{symbol}]"),
        }
    }
}
