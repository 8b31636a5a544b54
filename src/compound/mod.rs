//! Compounds: names, formulas, CAS numbers, structures, mirror images, and the key that identifies a compound.
//!
//! [`Structure`] is a standard InChI made from SMILES or InChI; it answers questions on hand and kinship. [`CompoundKey`]
//! is what entries are filed under. [`Formula`] and [`CasNumber`] read printed text, [`name`] folds names for search.
//! Not for: canonical SMILES, drawings, R/S labels. Start reading at [`Structure`].

mod cas;
mod formula;
mod inchi_text;
mod key;
pub mod name;
mod smiles;
mod structure;

pub use cas::{CasError, CasNumber};
pub use formula::{Formula, FormulaError};
pub use inchi_text::{Inchi, InchiKey, leaves_open};
pub use key::{CompoundKey, Descriptor, KeyError};
pub use structure::{Chirality, Relation, Stereocentres, Structure, StructureError};
