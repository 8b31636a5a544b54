//! A structure as its standard InChI: from SMILES or InChI, with key, stereocentres, mirror image and parent.

use std::fmt;
use std::time::Duration;

use inchi::Options;

use super::inchi_text::{Inchi, InchiKey};
use super::smiles;

/// A structure known by its standard InChI.
///
/// Two spellings of one structure are equal. What standard InChI cannot tell apart (an axis of chirality, a polymer,
/// mobile hydrogens) is equal too; see [`CompoundKey`](super::CompoundKey).
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Structure {
    inchi: Inchi,
    key: InchiKey,
    centres: Stereocentres,
}

/// How many stereogenic elements (centres, double bonds, allene axes) a structure has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct Stereocentres {
    /// Elements whose configuration is given.
    pub given: usize,
    /// Elements whose configuration is open.
    pub open: usize,
    /// Those of the given and open elements that are double bonds.
    pub double_bonds: usize,
}

/// What a structure says of its chirality.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Chirality {
    /// It differs from its mirror image, and every stereogenic element is given.
    Chiral,
    /// It equals its mirror image although it has centres of given configuration.
    Meso,
    /// InChI sees no stereocentre. An axis of chirality (biaryls, helices) is not seen.
    Achiral,
    /// The configuration of at least one element is open.
    Open,
}

/// How two structures are related, as far as standard InChI tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Relation {
    /// The same InChI.
    Same,
    /// Mirror images of each other.
    MirrorImage,
    /// The same connectivity, another configuration: diastereomers (or, with mixtures, another composition).
    Diastereomer,
    /// The same connectivity, and the configuration of one of them is partly or wholly open.
    OpenStereo,
    /// Another connectivity, charge or isotope.
    Different,
}

/// Why a structure cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StructureError {
    /// The SMILES string is not understood.
    #[error("the SMILES `{smiles}` cannot be read: {reason}")]
    Smiles {
        /// The string, shortened.
        smiles: String,
        /// What is wrong.
        reason: String,
    },
    /// The text is no standard InChI of a structure.
    #[error("`{inchi}` is not a standard InChI: {reason}")]
    Inchi {
        /// The text, shortened.
        inchi: String,
        /// What is wrong.
        reason: String,
    },
    /// The text does not have the form of a standard InChIKey.
    #[error("`{key}` is not a standard InChIKey (fourteen letters, hyphen, eight letters with SA, hyphen, one letter)")]
    Key {
        /// The text, shortened.
        key: String,
    },
    /// The InChI library gave no result.
    #[error("no InChI can be made for `{structure}`: {reason}")]
    Library {
        /// The structure as given, shortened.
        structure: String,
        /// The library's own words.
        reason: String,
    },
}

impl Structure {
    /// Reads a SMILES string.
    ///
    /// # Errors
    /// [`StructureError`] for a string that is not understood, has open places (`*`), more than 1,023 atoms or 20,000
    /// bytes, or for which InChI has no text that is read back as the same structure.
    pub fn from_smiles(smiles: &str) -> Result<Structure, StructureError> {
        let molecule = smiles::read(smiles)?;
        let failed = |error: inchi::InchiError| StructureError::Library {
            structure: smiles::shortened(smiles),
            reason: error.to_string(),
        };
        let inchi = molecule.to_inchi(standard()).map_err(failed)?.into_inchi();
        let all = molecule.to_inchi(with_every_element()).map_err(failed)?.into_inchi();
        let structure = Structure::assemble(Inchi::trusted(inchi), &Inchi::trusted(all))?;
        // What the library writes but cannot read again (chains of hundreds of atoms) could be stored and never restored.
        match Structure::from_inchi(structure.inchi.as_str()) {
            Ok(again) if again.key == structure.key => Ok(structure),
            _ => Err(StructureError::Library {
                structure: smiles::shortened(smiles),
                reason: "its InChI is not read back as the same structure".to_string(),
            }),
        }
    }

    /// Reads a standard InChI; the text is normalised by a round trip through the InChI library.
    ///
    /// # Errors
    /// [`StructureError::Inchi`] for a text that is not a standard InChI, is truncated, or does not survive the round
    /// trip.
    pub fn from_inchi(text: &str) -> Result<Structure, StructureError> {
        let text = text.trim();
        let wrong = |reason: String| StructureError::Inchi {
            inchi: smiles::shortened(text),
            reason,
        };
        if !text.starts_with(Inchi::PREFIX) {
            return Err(wrong(format!("it does not begin with `{}`", Inchi::PREFIX)));
        }
        if text.len() > 20_000 || !text.is_ascii() || text.contains(char::is_whitespace) {
            return Err(wrong(
                "it has spaces, other than ASCII characters, or more than 20,000 of them".to_string(),
            ));
        }
        let reread = inchi::inchi_to_inchi(text, standard());
        let normal = reread.map_err(|error| wrong(error.to_string()))?.into_inchi();
        if Inchi::trusted(text.to_string()).hill_formula() != Inchi::trusted(normal.clone()).hill_formula() {
            return Err(wrong("its layers do not fit each other".to_string()));
        }
        let all = every_element_of(&normal).map_err(|error| wrong(error.to_string()))?;
        Structure::assemble(Inchi::trusted(normal), &Inchi::trusted(all))
    }

    /// `all` is the InChI of the same structure with every stereogenic element in it, given or not.
    fn assemble(inchi: Inchi, all: &Inchi) -> Result<Structure, StructureError> {
        let key = inchi::inchikey(inchi.as_str()).map_err(|error| StructureError::Library {
            structure: smiles::shortened(inchi.as_str()),
            reason: error.to_string(),
        })?;
        // The structure read back from an InChI has lost isotopic hydrogens and the centres that hang on them.
        let (here, all) = (inchi.count_stereo(), all.count_stereo());
        let centres = Stereocentres {
            given: here.given.max(all.given),
            open: here.open.max(all.open),
            double_bonds: here.double_bonds.max(all.double_bonds),
        };
        Ok(Structure {
            key: InchiKey::trusted(key),
            centres,
            inchi,
        })
    }

    /// The standard InChI.
    pub fn inchi(&self) -> &Inchi {
        &self.inchi
    }

    /// The standard InChIKey.
    pub fn key(&self) -> &InchiKey {
        &self.key
    }

    /// How many stereogenic elements are given and open.
    pub fn stereocentres(&self) -> Stereocentres {
        self.centres
    }

    /// The mirror image; equal to the structure itself where that is not chiral.
    ///
    /// # Errors
    /// [`StructureError`] if the InChI library does not accept the mirrored text.
    pub fn mirror_image(&self) -> Result<Structure, StructureError> {
        if self.inchi.is_own_mirror_text() {
            return Ok(self.clone());
        }
        Structure::from_inchi(&self.inchi.mirrored_text())
    }

    /// What the structure says of its chirality.
    ///
    /// # Errors
    /// As [`Structure::mirror_image`].
    pub fn chirality(&self) -> Result<Chirality, StructureError> {
        let centres = self.centres;
        if centres.open > 0 {
            return Ok(Chirality::Open);
        }
        if self.mirror_image()?.inchi != self.inchi {
            return Ok(Chirality::Chiral);
        }
        Ok(if centres.given > centres.double_bonds {
            Chirality::Meso
        } else {
            Chirality::Achiral
        })
    }

    /// How `other` is related to this structure.
    ///
    /// # Errors
    /// As [`Structure::mirror_image`].
    pub fn relation(&self, other: &Structure) -> Result<Relation, StructureError> {
        if self.inchi == other.inchi {
            return Ok(Relation::Same);
        }
        if self.inchi.without_stereo() != other.inchi.without_stereo() {
            return Ok(Relation::Different);
        }
        if self.centres.open > 0 || other.centres.open > 0 {
            return Ok(Relation::OpenStereo);
        }
        let mirrored = self.mirror_image()?.inchi == other.inchi;
        Ok(if mirrored {
            Relation::MirrorImage
        } else {
            Relation::Diastereomer
        })
    }

    /// The one main component without water, counter-ions and solvate molecules, as the neutral acid or base.
    ///
    /// `None` where several different components remain, or none; a structure of one neutral component is its own
    /// parent. What counts as a counter-ion is a list of common practice.
    ///
    /// # Errors
    /// [`StructureError`] if the InChI library does not accept the text of the component.
    pub fn parent(&self) -> Result<Option<Structure>, StructureError> {
        let Some(text) = self.inchi.main_component() else {
            return Ok(None);
        };
        let component = Structure::from_inchi(&text)?;
        if !component.inchi.has_negative_charge() {
            return Ok(Some(component));
        }
        let failed = |error: inchi::InchiError| StructureError::Library {
            structure: smiles::shortened(&text),
            reason: error.to_string(),
        };
        let protonated = protonated(component.inchi.as_str()).map_err(failed)?;
        Structure::from_inchi(&protonated).map(Some)
    }
}

impl fmt::Display for Structure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.inchi.fmt(f)
    }
}

/// Options for a standard InChI without auxiliary text, with a limit on the time that a hostile structure may take.
fn standard() -> Options {
    Options::new().aux_info(false).timeout(Duration::from_secs(10))
}

/// Options for a text that shows every stereogenic element, open ones as `?` or `u`; not a standard InChI.
fn with_every_element() -> Options {
    standard().raw("SUU")
}

/// The InChI, with every stereogenic element, of the structure that a standard InChI describes.
fn every_element_of(text: &str) -> Result<String, inchi::InchiError> {
    let read = inchi::struct_from_inchi(text)?;
    let atoms = read
        .atoms()
        .iter()
        .map(|atom| (atom.charge, atom.implicit_hydrogens))
        .collect::<Vec<_>>();
    Ok(rebuilt(&read, &atoms)?.to_inchi(with_every_element())?.into_inchi())
}

/// The standard InChI of an anion with a proton on every negative atom that has no positive neighbour.
fn protonated(text: &str) -> Result<String, inchi::InchiError> {
    let read = inchi::struct_from_inchi(text)?;
    let mut atoms: Vec<(i8, u8)> = read
        .atoms()
        .iter()
        .map(|atom| (atom.charge, atom.implicit_hydrogens))
        .collect();
    for (n, atom) in read.atoms().iter().enumerate() {
        let neighbours = read.bonds().iter().filter_map(|bond| match (bond.from, bond.to) {
            (from, to) if from == n => Some(to),
            (from, to) if to == n => Some(from),
            _ => None,
        });
        let balanced = neighbours
            .into_iter()
            .any(|neighbour| read.atoms()[neighbour].charge > 0);
        if atom.charge == -1 && !balanced {
            atoms[n] = (0, atom.implicit_hydrogens.saturating_add(1));
        }
    }
    Ok(rebuilt(&read, &atoms)?.to_inchi(standard())?.into_inchi())
}

/// A structure for the InChI library from one that it has read, with other charges and hydrogen counts.
fn rebuilt(read: &inchi::Structure, atoms: &[(i8, u8)]) -> Result<inchi::Molecule, inchi::InchiError> {
    let mut molecule = inchi::Molecule::new();
    for (atom, (charge, hydrogens)) in read.atoms().iter().zip(atoms) {
        let hydrogens = inchi::ImplicitH::Exactly(*hydrogens);
        let copy = inchi::Atom::new(atom.element.clone())
            .charge(*charge)
            .implicit_hydrogens(hydrogens);
        molecule.add_atom(match atom.isotope {
            Some(mass_number) => copy.isotope(mass_number),
            None => copy,
        });
    }
    for bond in read.bonds() {
        molecule.add_bond(bond.from, bond.to, bond.order)?;
    }
    for stereo in read.stereo() {
        molecule.add_stereo(*stereo);
    }
    Ok(molecule)
}
