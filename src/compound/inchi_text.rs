//! The text of a standard InChI and its key: layers, mirror image, components.
//!
//! Layers are read as the InChI Technical Manual describes them: `/c` connections, `/h` hydrogens, `/q` charge, `/p`
//! protons, `/b` double bonds, `/t` centres, `/m` whether the centres are inverted, `/s` kind of stereo, `/i` isotopes
//! with stereo layers of their own. Nothing here knows chemistry; texts made here go through the InChI library again.

use std::collections::{BTreeMap, HashMap};
use std::fmt;
use std::str::FromStr;
use std::sync::LazyLock;

use super::smiles::shortened;
use super::structure::{Stereocentres, StructureError};

/// A standard InChI as the InChI library prints it; made by [`Structure`](super::Structure) only.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Inchi(String);

/// A standard InChIKey: the hash of a standard InChI.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct InchiKey(String);

/// One layer behind the formula.
#[derive(Clone, Copy)]
struct Layer<'a> {
    letter: char,
    text: &'a str,
    isotopic: bool,
}

/// Whether the standard InChI `given` is one of the structures that `open` leaves open: the same but for centres that `open`
/// does not give, as an anomer is of its sugar. False for texts of several components or with isotopes.
pub fn leaves_open(open: &str, given: &str) -> bool {
    let (open, given) = (Inchi(open.to_owned()), Inchi(given.to_owned()));
    if open.without_stereo() != given.without_stereo() || open.double_bonds() != given.double_bonds() {
        return false;
    }
    let (Some(open), Some(given)) = (open.absolute_centres(), given.absolute_centres()) else {
        return false;
    };
    open.len() == given.len()
        && open.values().any(|parity| *parity == '?')
        && given
            .iter()
            .all(|(at, parity)| *parity != '?' && open.get(at).is_some_and(|known| *known == '?' || known == parity))
}

impl Inchi {
    /// How every standard InChI begins.
    pub const PREFIX: &'static str = "InChI=1S/";

    /// Wraps a text that the InChI library has printed or is about to check.
    pub(super) fn trusted(text: String) -> Inchi {
        Inchi(text)
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The formula layer: Hill order, components separated by dots; empty for a bare proton.
    ///
    /// Protons that `/p` adds or removes are not counted in it.
    pub fn hill_formula(&self) -> &str {
        let first = self.body().split('/').next().unwrap_or("");
        if first.starts_with(|c: char| c.is_ascii_uppercase() || c.is_ascii_digit()) {
            first
        } else {
            ""
        }
    }

    fn body(&self) -> &str {
        self.0.split_once('/').map_or("", |(_, body)| body)
    }

    fn layers(&self) -> Vec<Layer<'_>> {
        let mut isotopic = false;
        let skipped = usize::from(!self.hill_formula().is_empty());
        let mut layers = Vec::new();
        for text in self.body().split('/').skip(skipped) {
            let Some(letter) = text.chars().next() else { continue };
            isotopic |= letter == 'i';
            layers.push(Layer {
                letter,
                text: &text[letter.len_utf8()..],
                isotopic,
            });
        }
        layers
    }

    /// Formula and all layers but those of stereo.
    pub(super) fn without_stereo(&self) -> String {
        let kept = self
            .layers()
            .into_iter()
            .filter(|layer| !matches!(layer.letter, 'b' | 't' | 'm' | 's'));
        self.rebuilt(kept.map(|layer| (layer.letter, layer.text.to_string())))
    }

    /// Whether a charge that no moving of protons explains is negative.
    pub(super) fn has_negative_charge(&self) -> bool {
        self.layers()
            .iter()
            .any(|layer| layer.letter == 'q' && layer.text.contains('-'))
    }

    /// Whether nothing in the text changes under reflection.
    pub(super) fn is_own_mirror_text(&self) -> bool {
        !self
            .layers()
            .iter()
            .any(|layer| layer.letter == 'm' && layer.text.contains(['0', '1']))
    }

    /// The text with every `/m` inverted. The `/t` layer is that of one enantiomer, the same for both hands.
    pub(super) fn mirrored_text(&self) -> String {
        let inverted = |c: char| match c {
            '0' => '1',
            '1' => '0',
            c => c,
        };
        let layers = self.layers().into_iter().map(|layer| {
            let text = if layer.letter == 'm' {
                layer.text.chars().map(inverted).collect()
            } else {
                layer.text.to_string()
            };
            (layer.letter, text)
        });
        self.rebuilt(layers)
    }

    fn rebuilt(&self, layers: impl Iterator<Item = (char, String)>) -> String {
        let head = self.0.split_once('/').map_or("", |(head, _)| head);
        let formula = Some(self.hill_formula().to_string()).filter(|formula| !formula.is_empty());
        let layers = layers.map(|(letter, text)| format!("{letter}{text}"));
        let parts: Vec<String> = std::iter::once(head.to_string()).chain(formula).chain(layers).collect();
        parts.join("/")
    }

    /// Counts the elements of the stereo layers. Isotopic stereo layers, where there are any, hold all elements.
    pub(super) fn count_stereo(&self) -> Stereocentres {
        let layers = self.layers();
        let mut counted = Stereocentres::default();
        for letter in ['b', 't'] {
            let of_letter = layers.iter().filter(|layer| layer.letter == letter);
            let Some(layer) = of_letter.max_by_key(|layer| layer.isotopic) else {
                continue;
            };
            for (text, times) in layer.text.split(';').map(repeated) {
                let given = times * text.matches(['+', '-']).count();
                // A minus of a double bond's atom pair, as in `12-11+`, is no parity.
                let pairs = if letter == 'b' {
                    times * text.split(',').filter(|e| !e.is_empty()).count()
                } else {
                    0
                };
                let open = times * text.matches(['?', 'u']).count();
                counted.given += given - pairs.min(given);
                counted.open += open;
                counted.double_bonds += pairs;
            }
        }
        counted
    }

    fn double_bonds(&self) -> Option<String> {
        let found = self.layers().into_iter().find(|layer| layer.letter == 'b');
        found.map(|layer| layer.text.to_owned())
    }

    /// The centres of a text of one component with their absolute parities: `+`, `-`, or `?` where it is open. None for
    /// other texts, and where the configuration is relative only.
    fn absolute_centres(&self) -> Option<BTreeMap<&str, char>> {
        let layers = self.layers();
        let text = |letter: char| {
            layers
                .iter()
                .find(|layer| layer.letter == letter)
                .map(|layer| layer.text)
        };
        let centres = text('t')?;
        if layers.iter().any(|layer| layer.isotopic) || centres.contains([';', '*']) || text('s') != Some("1") {
            return None;
        }
        let is_inverted = text('m') == Some("1");
        centres
            .split(',')
            .map(|element| {
                let at = element.trim_end_matches(['+', '-', '?', 'u']);
                let parity = match (element.chars().last()?, is_inverted) {
                    ('+', false) | ('-', true) => '+',
                    ('-', false) | ('+', true) => '-',
                    _ => '?',
                };
                Some((at, parity))
            })
            .collect()
    }

    /// The text of the one main component, neutral, without counter-ions and solvent; see
    /// [`Structure::parent`](super::Structure::parent).
    pub(super) fn main_component(&self) -> Option<String> {
        let components = self.components()?;
        let mut distinct: Vec<&Component> = Vec::new();
        for component in &components {
            if !distinct.iter().any(|known| known.text == component.text) {
                distinct.push(component);
            }
        }
        for rank in 1..=2 {
            if distinct.len() > 1 {
                let kept: Vec<_> = distinct
                    .iter()
                    .copied()
                    .filter(|component| component.rank > rank)
                    .collect();
                if !kept.is_empty() {
                    distinct = kept;
                }
            }
        }
        match distinct[..] {
            [single] => Some(single.text.clone()),
            _ => None,
        }
    }

    /// The components as texts of their own; `None` where a layer cannot be divided.
    fn components(&self) -> Option<Vec<Component>> {
        let formulas: Vec<String> = self
            .hill_formula()
            .split('.')
            .flat_map(|formula| {
                let digits = formula.len() - formula.trim_start_matches(|c: char| c.is_ascii_digit()).len();
                let times = formula[..digits].parse().unwrap_or(1usize).min(MAX_COMPONENTS);
                std::iter::repeat_n(formula[digits..].to_string(), times)
            })
            .collect();
        let count = formulas.len();
        if count > MAX_COMPONENTS {
            return None;
        }
        let mut texts: Vec<String> = formulas
            .iter()
            .map(|formula| format!("{}{formula}", Inchi::PREFIX))
            .collect();
        let mut skeletons = formulas;
        for layer in self.layers() {
            let divided: Vec<String> = match layer.letter {
                'p' | 's' => continue,
                'm' => layer
                    .text
                    .chars()
                    .map(|c| if c == '.' { String::new() } else { format!("{c}/s1") })
                    .collect(),
                // Mobile isotopic hydrogens belong to the whole.
                'h' if layer.isotopic && count > 1 => return None,
                _ => divide(layer.text),
            };
            if divided.len() != count || divided.iter().any(|text| text.contains(['m', 'n', 'M'])) {
                return None;
            }
            for (n, part) in divided.iter().enumerate().filter(|(_, part)| !part.is_empty()) {
                texts[n].push('/');
                texts[n].push(layer.letter);
                texts[n].push_str(part);
                if layer.letter == 'c' {
                    skeletons[n].push_str("/c");
                    skeletons[n].push_str(part);
                }
            }
        }
        Some(
            texts
                .into_iter()
                .zip(&skeletons)
                .map(|(text, skeleton)| Component {
                    text,
                    rank: rank_of(skeleton),
                })
                .collect(),
        )
    }
}

/// More components than this are not divided.
const MAX_COMPONENTS: usize = 200;

/// One component of an InChI.
struct Component {
    /// Its own InChI, not yet normalised.
    text: String,
    /// 1 and 2 for what is left out first and second, 3 for anything else.
    rank: u8,
}

/// A component text with its count: `2*1-5(2,3)4`.
fn repeated(text: &str) -> (&str, usize) {
    match text.split_once('*') {
        Some((times, rest)) => (rest, times.parse().unwrap_or(1usize).min(MAX_COMPONENTS)),
        None => (text, 1),
    }
}

/// A layer divided at its semicolons.
fn divide(layer: &str) -> Vec<String> {
    let parts = layer.split(';').map(repeated);
    parts
        .flat_map(|(text, times)| std::iter::repeat_n(text.to_string(), times))
        .collect()
}

/// The rank of a component with this formula and connection layer (`data/counter_ions.csv`).
fn rank_of(skeleton: &str) -> u8 {
    static RANKS: LazyLock<HashMap<String, u8>> = LazyLock::new(|| {
        let mut table = csv::Reader::from_reader(include_str!("../../data/counter_ions.csv").as_bytes());
        let rows = table.deserialize::<(String, u8, String, String, String)>();
        rows.map(|row| row.expect("data/counter_ions.csv is compiled in and a test reads it"))
            .map(|(_, rank, skeleton, _, _)| (skeleton, rank))
            .collect()
    });
    let element =
        skeleton.len() <= 2 && skeleton.bytes().all(|b| b.is_ascii_alphabetic()) && !matches!(skeleton, "C" | "CH");
    if element {
        1
    } else {
        RANKS.get(skeleton).copied().unwrap_or(3)
    }
}

impl InchiKey {
    /// Wraps a key that the InChI library has printed.
    pub(super) fn trusted(key: String) -> InchiKey {
        InchiKey(key)
    }

    /// The key.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The first block, which stands for formula and connectivity: stereoisomers share it.
    pub fn connectivity(&self) -> &str {
        &self.0[..14]
    }
}

impl FromStr for InchiKey {
    type Err = StructureError;

    /// Checks the form only; a key cannot be turned back into a structure.
    fn from_str(text: &str) -> Result<Self, StructureError> {
        let text = text.trim().strip_prefix("InChIKey=").unwrap_or(text.trim());
        let blocks: Vec<&str> = text.split('-').collect();
        let letters =
            |block: &str, length: usize| block.len() == length && block.bytes().all(|b| b.is_ascii_uppercase());
        let sound =
            matches!(blocks[..], [a, b, c] if letters(a, 14) && letters(b, 10) && letters(c, 1) && b.ends_with("SA"));
        if sound {
            Ok(InchiKey(text.to_string()))
        } else {
            Err(StructureError::Key { key: shortened(text) })
        }
    }
}

impl fmt::Display for Inchi {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Display for InchiKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
