//! From a SMILES string to the input of the InChI library: atoms, bonds and 0D stereo descriptions.
//!
//! InChI wants each stereo element as an ordered list of neighbours with a parity; SMILES gives the order of writing.
//! The translation below follows the diagrams in `inchi_api.h` (InChI 1.07) and the OpenSMILES specification. Start at
//! [`read`].

use std::panic::{AssertUnwindSafe, catch_unwind};

use chematic_core::ez_markers::marker_side;
use chematic_core::{
    AtomIdx, BondIdx, BondOrder, Chirality, Molecule, STEREO_H_SENTINEL, apply_kekule, implicit_hcount, kekulize,
};
use chematic_smiles::{SmilesParseLimits, parse_with_limits};
use inchi::{Atom, BondOrder as InchiBond, ImplicitH, Parity, Stereo};

use super::structure::StructureError;

/// The longest SMILES read, in bytes.
const MAX_BYTES: usize = 20_000;
/// The most atoms the InChI library takes (`MAX_ATOMS` in `inchi_api.h`, less one).
const MAX_ATOMS: usize = 1023;

/// Reads a SMILES string into a structure for the InChI library.
pub(super) fn read(smiles: &str) -> Result<inchi::Molecule, StructureError> {
    let wrong = |reason: String| StructureError::Smiles {
        smiles: shortened(smiles),
        reason,
    };
    let limits = SmilesParseLimits {
        max_input_bytes: MAX_BYTES,
        max_atoms: MAX_ATOMS,
        max_bonds: 2 * MAX_ATOMS,
    };
    // The parser and the search for alternating bonds are young foreign code; a panic in them must not end the program.
    let molecules = catch_unwind(AssertUnwindSafe(|| {
        let written = parse_with_limits(smiles.trim(), &limits).map_err(|error| error.to_string())?;
        let localised = kekulize(&written).map_err(|error| error.detail)?;
        let bonded = apply_kekule(&written, &localised);
        Ok((written, bonded))
    }));
    let (written, bonded) = match molecules {
        Ok(result) => result.map_err(wrong)?,
        Err(_) => return Err(wrong("the reader of SMILES failed on it".to_string())),
    };
    translate(&written, &bonded).map_err(wrong)
}

/// The start of a text for an error message.
pub(super) fn shortened(text: &str) -> String {
    const SHOWN: usize = 80;
    let mut shown: String = text.chars().take(SHOWN).collect();
    if text.chars().count() > SHOWN {
        shown.push('…');
    }
    shown
}

/// `written` has the hydrogen counts and the order of writing, `bonded` the same atoms with localised double bonds.
fn translate(written: &Molecule, bonded: &Molecule) -> Result<inchi::Molecule, String> {
    let mut target = inchi::Molecule::new();
    for (index, atom) in written.atoms() {
        if atom.wildcard {
            return Err("an open place `*` stands for no structure".to_string());
        }
        let hydrogens = ImplicitH::Exactly(implicit_hcount(written, index));
        let mut translated = Atom::new(atom.element.symbol())
            .charge(atom.charge)
            .implicit_hydrogens(hydrogens);
        if let Some(mass_number) = atom.isotope {
            translated = translated.isotope(mass_number);
        }
        target.add_atom(translated);
    }
    for (_, bond) in bonded.bonds() {
        let order = match bond.order {
            BondOrder::Single | BondOrder::Up | BondOrder::Down | BondOrder::Dative => InchiBond::Single,
            BondOrder::Double => InchiBond::Double,
            BondOrder::Triple => InchiBond::Triple,
            _ => return Err("it has a bond that InChI cannot express".to_string()),
        };
        target
            .add_bond(place(bond.atom1), place(bond.atom2), order)
            .map_err(|error| error.to_string())?;
    }
    for (index, atom) in written.atoms() {
        if let Some(parity) = parity_of(atom.chirality) {
            let allene = written.is_allene_stereo(index);
            let stereo = if allene {
                axis(written, index, parity)
            } else {
                centre(written, index, parity)
            };
            if let Some(stereo) = stereo {
                target.add_stereo(stereo);
            }
        }
    }
    for stereo in double_bonds(bonded) {
        target.add_stereo(stereo);
    }
    Ok(target)
}

fn place(atom: AtomIdx) -> usize {
    atom.0 as usize
}

/// Seen from the first neighbour, `@@` has the others clockwise: InChI's even.
fn parity_of(chirality: Chirality) -> Option<Parity> {
    match chirality {
        Chirality::Clockwise => Some(Parity::Even),
        Chirality::CounterClockwise => Some(Parity::Odd),
        _ => None,
    }
}

fn flipped(parity: Parity) -> Parity {
    match parity {
        Parity::Even => Parity::Odd,
        Parity::Odd => Parity::Even,
        other => other,
    }
}

/// A tetrahedral centre. InChI names the centre itself in the first place where a hydrogen or a lone pair stands.
fn centre(molecule: &Molecule, index: AtomIdx, parity: Parity) -> Option<Stereo> {
    let centre = place(index);
    let mut order: Vec<usize> = molecule
        .stereo_neighbor_order(index)?
        .iter()
        .map(|n| if *n == STEREO_H_SENTINEL { centre } else { *n as usize })
        .collect();
    if order.len() == 3 && !order.contains(&centre) {
        // A lone pair counts as written behind the first neighbour, also where the centre begins the string.
        order.insert(1, centre);
    }
    let mut neighbors: [usize; 4] = order.try_into().ok()?;
    let mut parity = parity;
    if let Some(unseen) = neighbors.iter().position(|n| *n == centre) {
        // Each step towards the front exchanges two neighbours.
        neighbors[..=unseen].rotate_right(1);
        if unseen % 2 == 1 {
            parity = flipped(parity);
        }
    }
    Some(Stereo::Tetrahedral {
        center: centre,
        neighbors,
        parity,
    })
}

/// The axis of an allene, from the order `[A, a1, a2, B, b1, b2]` of its ends and their substituents.
///
/// `@@` has a2, b1, b2 clockwise seen from a1. With A above B, a1 and a2 to the right and left, b1 and b2 behind and in
/// front, that makes A, B, b1 counter-clockwise seen from a1: InChI's odd. Taking the other substituent of an end turns
/// the parity.
fn axis(molecule: &Molecule, index: AtomIdx, parity: Parity) -> Option<Stereo> {
    let &[end_a, a1, a2, end_b, b1, b2] = molecule.stereo_neighbor_order(index)? else {
        return None;
    };
    let mut parity = flipped(parity);
    let mut seen = |first: u32, second: u32| {
        if first == STEREO_H_SENTINEL {
            parity = flipped(parity);
            (second != STEREO_H_SENTINEL).then_some(second as usize)
        } else {
            Some(first as usize)
        }
    };
    let ends = [seen(a1, a2)?, end_a as usize, end_b as usize, seen(b1, b2)?];
    Some(Stereo::Allene {
        center: place(index),
        ends,
        parity,
    })
}

/// Double bonds, and longer chains of an odd number of them, that have a direction mark at either end.
fn double_bonds(molecule: &Molecule) -> Vec<Stereo> {
    let mut found = Vec::new();
    for (first_bond, bond) in molecule.bonds().filter(|(_, bond)| bond.order == BondOrder::Double) {
        for (near, next) in [(bond.atom1, bond.atom2), (bond.atom2, bond.atom1)] {
            let Some((x, x_is_up)) = marked_substituent(molecule, near) else {
                continue;
            };
            let Some((far, count)) = end_of_double_bonds(molecule, first_bond, near, next) else {
                continue;
            };
            let Some((y, y_is_up)) = marked_substituent(molecule, far) else {
                continue;
            };
            if count % 2 == 1 && near < far {
                let parity = if x_is_up == y_is_up { Parity::Odd } else { Parity::Even };
                let ends = [x, near, far, y].map(place);
                found.push(Stereo::DoubleBond { ends, parity });
            }
        }
    }
    found
}

/// A substituent of a doubly bonded atom with a direction mark, and whether it lies up seen from that atom.
///
/// `None` without a mark, or where two marks contradict each other.
fn marked_substituent(molecule: &Molecule, end: AtomIdx) -> Option<(AtomIdx, bool)> {
    let mut marks = molecule
        .neighbors(end)
        .filter_map(|(atom, bond)| Some((atom, marker_side(molecule, bond, end)?)));
    let first = marks.next()?;
    marks.all(|(_, is_up)| is_up != first.1).then_some(first)
}

/// Follows double bonds from `near` over `next` to the other end: the end and the number of double bonds.
fn end_of_double_bonds(molecule: &Molecule, first: BondIdx, near: AtomIdx, next: AtomIdx) -> Option<(AtomIdx, usize)> {
    let (mut bond, mut atom, mut count) = (first, next, 1);
    loop {
        let onward = molecule
            .neighbors(atom)
            .find(|(_, b)| *b != bond && molecule.bond(*b).order == BondOrder::Double);
        match onward {
            Some((next, next_bond)) if molecule.degree(atom) == 2 => {
                (bond, atom, count) = (next_bond, next, count + 1);
                if atom == near || count > molecule.bond_count() {
                    return None;
                }
            }
            _ => return Some((atom, count)),
        }
    }
}
