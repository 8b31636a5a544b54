//! Invented libraries of any size, the same for the same seed: names made of syllables, keys that look like InChIKeys,
//! every skeleton as a pair of mirror images, about three values for each compound and one source for twenty entries.
//!
//! Nothing here is a substance or a published value. A compound follows from its number alone, so a bench can ask about
//! any of them without holding the library in memory.

use biot::compound::CasNumber;
use biot::library::{Change, LoadCounts};
use biot::library::{
    Chirality, CompoundId, EntryContent, EntryKind, Hand, Identity, Library, LibraryError, Loader, NewCompound,
    NewSource, ReviewState, SourceId, SourceKind,
};
use biot::quantity::{ConcentrationUnit, MolarMass, Printed, SpectralLine};
use biot::solvent::Solvent;
use biot::statement::{PrintedConcentration, Role, StatedTemperature, Statement};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;
use std::fmt::Write;
use std::sync::LazyLock;

const ONSETS: [&str; 20] = [
    "b", "br", "c", "d", "f", "g", "gl", "h", "l", "m", "n", "p", "ph", "r", "s", "st", "t", "th", "v", "x",
];
const VOWELS: [&str; 6] = ["a", "e", "i", "o", "u", "y"];
const CODAS: [&str; 8] = ["", "", "", "l", "n", "r", "m", "s"];
const ENDINGS: [&str; 12] = [
    "ol", "one", "ine", "ane", "ene", "al", "amide", "oside", "ic acid", "olide", "imine", "itol",
];
/// Prefixes, common ones first: they are drawn with falling probability, as in real names.
const PREFIXES: [&str; 16] = [
    "methyl",
    "hydroxy",
    "amino",
    "phenyl",
    "oxo",
    "ethyl",
    "chloro",
    "methoxy",
    "benzyl",
    "fluoro",
    "bromo",
    "acetyl",
    "isopropyl",
    "nitro",
    "cyano",
    "tert-butyl",
];
/// Solvents with their share of the values.
static SOLVENTS: LazyLock<Vec<(Solvent, f64)>> = LazyLock::new(|| {
    [
        ("CHCl3", 0.45),
        ("MeOH", 0.15),
        ("EtOH", 0.12),
        ("H2O", 0.12),
        ("CH2Cl2", 0.08),
        ("acetone", 0.04),
        ("benzene", 0.04),
    ]
    .into_iter()
    .filter_map(|(name, share)| Some((Solvent::parse(name).ok()?, share)))
    .collect()
});

/// An invented library.
#[derive(Clone, Copy)]
pub struct Synthetic {
    /// How many entries it holds.
    pub n_entries: u64,
    /// Where its randomness starts.
    pub seed: u64,
}

/// A compound of an invented library with its values.
pub struct Invented {
    /// The compound; its first other name is the short one, with a sign in front.
    pub compound: NewCompound,
    /// The short name without anything in front.
    pub trivial: String,
    /// Its values, each with the number of its source.
    pub values: Vec<(u64, Statement)>,
}

impl Synthetic {
    /// How many sources are drawn from.
    fn n_sources(self) -> u64 {
        (self.n_entries / 20).max(1)
    }

    /// The compound with a number, counted from 0; numbers 2k and 2k + 1 are mirror images.
    pub fn compound(self, number: u64) -> Invented {
        let mut skeleton = self.rng(1, number / 2);
        let is_second = number % 2 == 1;
        let (trivial, parts, configuration) = names(&mut skeleton);
        let block = letters(&mut skeleton, 14);
        let (own, other) = (letters(&mut skeleton, 8), letters(&mut skeleton, 8));
        let key = |second: bool| format!("{block}-{}SA-N", if second { &other } else { &own });
        let magnitude = (skeleton.random_range(1.0f64..5.6)).exp();
        let first_is_plus = skeleton.random_bool(0.5);
        let rotation = if first_is_plus == is_second {
            -magnitude
        } else {
            magnitude
        };
        let carbons = skeleton.random_range(5..30u32);
        let hydrogens = 2 * carbons - skeleton.random_range(0..8);
        let oxygens = skeleton.random_range(1..8u32);
        let mass = 12.011 * f64::from(carbons) + 1.008 * f64::from(hydrogens) + 15.999 * f64::from(oxygens);
        let descriptors: Vec<String> = configuration
            .iter()
            .map(|(locant, is_r)| format!("{locant}{}", if *is_r == is_second { 'S' } else { 'R' }))
            .collect();
        let descriptors = descriptors.join(",");
        let sign = if rotation > 0.0 { '+' } else { '-' };
        let compound = NewCompound {
            other_names: vec![
                format!("({sign})-{trivial}"),
                format!("{trivial}, {parts}-, ({descriptors})-"),
            ],
            cas: cas_number(number).into_iter().collect(),
            inchikey: Some(key(is_second)),
            mirror_key: Some(key(!is_second)),
            parent_key: key(is_second).get(..25).map(str::to_owned),
            formula: Some(format!("C{carbons}H{hydrogens}O{oxygens}")),
            molar_mass: Some(MolarMass::from_grams_per_mole(mass)),
            chirality: Chirality::Chiral,
            ..NewCompound::named(format!("({descriptors})-{parts}{trivial}"))
        };
        let mut own = self.rng(2, number);
        let values = (0..own.random_range(1..=5u32))
            .map(|_| (own.random_range(0..self.n_sources()), value(&mut own, rotation)))
            .collect();
        Invented {
            compound,
            trivial,
            values,
        }
    }

    /// The source with a number.
    pub fn source(self, number: u64) -> NewSource {
        let mut rng = self.rng(3, number);
        let year = rng.random_range(1950..2025);
        let (author, other) = (word(&mut rng, 2), word(&mut rng, 3));
        let (journal, volume, page) = (word(&mut rng, 2), rng.random_range(1..200), rng.random_range(1..9000));
        NewSource {
            kind: SourceKind::Paper,
            citation: format!("{author}, A.; {other}, B. Invented J. {journal}. {year}, {volume}, {page} [{number}]"),
            doi: Some(format!("10.99999/invented.{number}")),
            year: Some(year),
            url: None,
        }
    }

    /// Calls `visit` with every compound until the library has its number of entries; how many compounds that takes.
    pub fn for_each<E>(self, mut visit: impl FnMut(Invented) -> Result<(), E>) -> Result<u64, E> {
        let (mut n_compounds, mut left) = (0, self.n_entries);
        while left > 0 {
            let mut invented = self.compound(n_compounds);
            invented.values.truncate(usize::try_from(left).unwrap_or(usize::MAX));
            left -= invented.values.len() as u64;
            n_compounds += 1;
            visit(invented)?;
        }
        Ok(n_compounds)
    }

    /// Loads everything into a library, as an import does: in a stream, each source looked up or added.
    pub fn load_into(self, library: &mut Library) -> Result<LoadCounts, LibraryError> {
        let change = Change::now("bench", "an invented library");
        let (_, counts) = library.load("an invented library", &change, |loader| {
            self.for_each(|invented| self.load_one(loader, invented))
        })?;
        Ok(counts)
    }

    fn load_one(self, loader: &mut Loader<'_>, invented: Invented) -> Result<(), LibraryError> {
        let compound = loader.compound(&invented.compound)?;
        for (source, statement) in invented.values {
            let source = loader.source(&self.source(source))?;
            loader.entry(&content(compound, source, statement), None)?;
        }
        Ok(())
    }

    fn rng(self, stream: u64, number: u64) -> Pcg64 {
        Pcg64::seed_from_u64(self.seed ^ (stream << 60) ^ number.wrapping_mul(0x9E37_79B9_7F4A_7C15))
    }
}

/// The short name, what stands between it and the descriptors in the long one, and the centres of the first hand.
fn names(rng: &mut Pcg64) -> (String, String, Vec<(u32, bool)>) {
    let n_syllables = rng.random_range(3..=4);
    let trivial = word(rng, n_syllables) + ENDINGS[rng.random_range(0..ENDINGS.len())];
    let mut parts = String::new();
    for at in 0..rng.random_range(1..=3u32) {
        // The square of a uniform number favours the first ones.
        let place = (rng.random::<f64>().powi(2) * PREFIXES.len() as f64) as usize;
        let dash = if at == 0 { "" } else { "-" };
        // Writing to a string cannot fail.
        let _ = write!(parts, "{dash}{}-{}", rng.random_range(2..9u32) + at, PREFIXES[place]);
    }
    let configuration = (0..rng.random_range(1..=3u32))
        .map(|at| (1 + 2 * at + rng.random_range(0..2u32), rng.random_bool(0.5)))
        .collect();
    (trivial, parts, configuration)
}

fn word(rng: &mut Pcg64, n_syllables: u32) -> String {
    let mut word = String::new();
    for _ in 0..n_syllables {
        word.push_str(ONSETS[rng.random_range(0..ONSETS.len())]);
        word.push_str(VOWELS[rng.random_range(0..VOWELS.len())]);
        word.push_str(CODAS[rng.random_range(0..CODAS.len())]);
    }
    word
}

fn letters(rng: &mut Pcg64, n: usize) -> String {
    (0..n).map(|_| char::from(rng.random_range(b'A'..=b'Z'))).collect()
}

/// A number with a right check digit, found by trying all ten.
fn cas_number(number: u64) -> Option<String> {
    let body = 10_000 + number;
    (0..10)
        .map(|check| format!("{}-{:02}-{check}", body / 100, body % 100))
        .find(|text| text.parse::<CasNumber>().is_ok())
}

/// A value near the compound's rotation, with conditions as they are printed; some are not.
fn value(rng: &mut Pcg64, rotation: f64) -> Statement {
    let printed = Printed::new((rotation * rng.random_range(0.9..1.05) * 10.0).round() / 10.0, 1);
    let celsius = [20.0, 20.0, 25.0, 22.0][rng.random_range(0..4usize)];
    let concentration = Printed::new(rng.random_range(10..300u32).into(), 0).value() / 100.0;
    let mut draw = rng.random::<f64>();
    let (solvent, _) = SOLVENTS
        .iter()
        .find(|(_, share)| {
            draw -= share;
            draw < 0.0
        })
        .unwrap_or(&SOLVENTS[0]);
    let has_temperature = rng.random_bool(0.9);
    let has_concentration = rng.random_bool(0.9);
    let mut as_printed = "[α]D".to_owned();
    if has_temperature {
        let _ = write!(as_printed, "{celsius}");
    }
    let _ = write!(as_printed, " {:+.1} (", printed.value());
    if has_concentration {
        let _ = write!(as_printed, "c {concentration:.2}, ");
    }
    let _ = write!(as_printed, "{solvent})");
    Statement {
        value: Some(printed),
        temperature: has_temperature.then_some(StatedTemperature::At(Printed::new(celsius, 0))),
        line: Some(SpectralLine::SodiumD),
        solvent: Some(solvent.clone()),
        concentration: has_concentration.then_some(PrintedConcentration {
            low: Printed::new(concentration, 2),
            high: None,
            unit: ConcentrationUnit::GramsPer100Millilitres,
            unit_printed: true,
        }),
        role: Some(Role::Measured),
        as_printed,
        place: Some(format!("p. {}", rng.random_range(1..400u32))),
        ..Statement::default()
    }
}

fn content(compound: CompoundId, source: SourceId, statement: Statement) -> EntryContent {
    EntryContent {
        compound,
        source,
        kind: EntryKind::Value,
        statement,
        identity: Identity::Sure,
        hand: Hand::Independent,
        state: ReviewState::Confirmed,
        kept_out: None,
        substance: None,
        seen: Some("yes".to_owned()),
        comment: None,
        method: None,
    }
}
