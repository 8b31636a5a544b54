//! Forms of a substance: what was weighed against what a reference weighed.

use crate::compare::{FormLink, KnownForm};
use crate::compound::Formula;
use crate::library::Compound;
use crate::quantity::MolarMass;

/// What a structure's components are: copies of the parent, waters, and the rest.
#[derive(Clone, Debug, PartialEq)]
struct Composition {
    parents: f64,
    waters: f64,
    others: Vec<(String, f64)>,
}

impl Composition {
    /// Reads the formula layer of an InChI: `2C17H19NO3.H2O4S.5H2O`. The largest component is the parent.
    fn of(inchi: &str) -> Option<Self> {
        let layer = inchi.split('/').nth(1)?;
        let mut parts: Vec<(String, f64)> = layer
            .split('.')
            .map(|part| {
                let digits = part.len() - part.trim_start_matches(|c: char| c.is_ascii_digit()).len();
                (part[digits..].to_owned(), part[..digits].parse().unwrap_or(1.0))
            })
            .collect();
        let waters = parts
            .iter()
            .filter(|(formula, _)| formula == "H2O")
            .map(|(_, n)| n)
            .sum();
        parts.retain(|(formula, _)| formula != "H2O");
        // InChI lists components from the largest down in its own order; the parent is the one with most carbon.
        let carbon = |formula: &str| -> u32 {
            formula
                .strip_prefix('C')
                .filter(|rest| !rest.starts_with(|c: char| c.is_ascii_lowercase()))
                .map_or(0, |rest| {
                    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
                    digits.parse().unwrap_or(1)
                })
        };
        let parent = (0..parts.len()).max_by_key(|&i| carbon(&parts[i].0))?;
        let (_, parents) = parts.remove(parent);
        parts.sort_by(|a, b| a.0.cmp(&b.0));
        Some(Self {
            parents,
            waters,
            others: parts,
        })
    }

    /// Whether two forms differ by water alone.
    fn same_but_for_water(&self, other: &Self) -> bool {
        let per_parent = |c: &Self| -> Vec<(String, f64)> {
            c.others
                .iter()
                .map(|(formula, n)| (formula.clone(), n / c.parents))
                .collect()
        };
        per_parent(self) == per_parent(other)
    }
}

/// Molar mass of water, g/mol (IUPAC standard atomic weights 2021, conventional: H 1.008, O 15.999).
const WATER: f64 = 18.015;

/// The form that was weighed.
pub(super) struct MeasuredForm {
    /// The compound asked for.
    compound: i64,
    molar_mass: Option<MolarMass>,
    composition: Option<Composition>,
    /// Waters per parent that the user states beyond those of the compound's own formula; none when not stated.
    stated_waters: Option<f64>,
    /// The user named a form that is not understood.
    unknown: bool,
}

impl MeasuredForm {
    pub(super) fn of(compound: &Compound, form: Option<&str>, notes: &mut Vec<String>) -> Self {
        let composition = compound.inchi.as_deref().and_then(Composition::of);
        let mut made = Self {
            compound: compound.id.0,
            molar_mass: compound.molar_mass,
            composition,
            stated_waters: None,
            unknown: false,
        };
        let Some(form) = form else { return made };
        match waters_in(form) {
            Some(waters) if made.molar_mass.is_some() => made.stated_waters = Some(waters),
            _ if names_form(compound, form) => {}
            _ => {
                made.unknown = true;
                notes.push(format!(
                    "The form \"{form}\" is not one this compound is known by here; it is treated as unknown. Name the salt \
                     itself as the compound, or write a hydrate as \"monohydrate\"."
                ));
            }
        }
        made
    }

    /// Molar mass per parent of the form measured.
    fn mass_per_parent(&self) -> Option<f64> {
        let mass = self.molar_mass?.grams_per_mole();
        let (parents, own_waters) = self.composition.as_ref().map_or((1.0, 0.0), |c| (c.parents, c.waters));
        let per_parent = mass / parents;
        Some(match self.stated_waters {
            Some(waters) => per_parent + (waters - own_waters / parents) * WATER,
            None => per_parent,
        })
    }

    /// Forms that can be weighed in its place and follow from its own structure: without water, and without counter-ions.
    /// The factor is the molar mass of the form measured over theirs, both per parent.
    pub(super) fn parts_of(&self) -> Vec<KnownForm> {
        let Some((composition, here)) = self.composition.as_ref().zip(self.mass_per_parent()) else {
            return Vec::new();
        };
        let waters = self.stated_waters.unwrap_or(composition.waters / composition.parents);
        let dry = here - waters * WATER;
        let counter: Option<f64> = composition
            .others
            .iter()
            .map(|(formula, n)| {
                Some(n / composition.parents * Formula::parse(formula).ok()?.molar_mass().grams_per_mole())
            })
            .sum();
        let mut found = Vec::new();
        let mut add = |name: &str, mass: f64, is_hydrate: bool| {
            found.push(KnownForm {
                name: name.to_owned(),
                factor: here / mass,
                is_hydrate,
            });
        };
        if waters > 0.0 {
            add("the anhydrous form", dry, true);
        }
        if let Some(counter) = counter
            && !composition.others.is_empty()
            && dry - counter > 0.0
        {
            add("the free base or acid", dry - counter, false);
        }
        found
    }

    /// Whether the compound is itself a salt, a hydrate or a solvate.
    pub(super) fn is_salt_or_hydrate(&self) -> bool {
        self.composition
            .as_ref()
            .is_some_and(|c| c.waters > 0.0 || !c.others.is_empty())
    }

    /// Molar mass of the form measured, as weighed.
    pub(super) fn mass(&self) -> Option<MolarMass> {
        let parents = self.composition.as_ref().map_or(1.0, |c| c.parents);
        self.mass_per_parent()
            .map(|mass| MolarMass::from_grams_per_mole(mass * parents))
    }

    /// How a reference's form stands to this one.
    ///
    /// # Errors
    /// Why the two forms cannot be compared.
    pub(super) fn link(&self, of: &Compound) -> Result<FormLink, String> {
        if self.unknown {
            return Ok(FormLink::Unknown);
        }
        let own = self.compound == of.id.0;
        let composition = if own {
            self.composition.clone()
        } else {
            of.inchi.as_deref().and_then(Composition::of)
        };
        let is_mirror_or_own = own || composition == self.composition;
        if is_mirror_or_own && self.stated_waters.is_none() {
            return Ok(FormLink::Same);
        }
        let refused = || format!("another form: {}", of.name);
        let mass = of.molar_mass.ok_or_else(refused)?.grams_per_mole();
        let here = self.mass_per_parent().ok_or_else(refused)?;
        let (there, by_water) = match (&composition, &self.composition) {
            (Some(theirs), Some(ours)) => (mass / theirs.parents, ours.same_but_for_water(theirs)),
            _ if own => (mass, true),
            _ => return Err(refused()),
        };
        let factor = there / here;
        Ok(if by_water {
            FormLink::Hydrate { factor }
        } else {
            FormLink::Salt { factor }
        })
    }
}

/// Waters that a word for a hydrate means.
fn waters_in(form: &str) -> Option<f64> {
    const WORDS: [(&str, f64); 12] = [
        ("anhydrous", 0.0),
        ("anhydrate", 0.0),
        ("hemihydrate", 0.5),
        ("sesquihydrate", 1.5),
        ("monohydrate", 1.0),
        ("dihydrate", 2.0),
        ("trihydrate", 3.0),
        ("tetrahydrate", 4.0),
        ("pentahydrate", 5.0),
        ("hexahydrate", 6.0),
        ("heptahydrate", 7.0),
        ("octahydrate", 8.0),
    ];
    let form = form.trim().to_lowercase();
    WORDS.iter().find(|(word, _)| form == *word).map(|&(_, waters)| waters)
}

/// Whether a compound is known by a name that holds the form's word.
fn names_form(compound: &Compound, form: &str) -> bool {
    let form = form.trim().to_lowercase();
    std::iter::once(&compound.name)
        .chain(&compound.other_names)
        .any(|name| name.to_lowercase().contains(&form))
}
