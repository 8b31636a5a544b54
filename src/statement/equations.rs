//! The definition equations of specific and molar rotation.
//!
//! `[α] = 100 α / (l c)` with α in degrees, l in dm and c in g per 100 mL; of a neat liquid `[α] = α / (l ρ)`;
//! `[M] = [α] M / 100`. IUPAC Gold Book, "specific optical rotation" and "molar optical rotation"; the same factors are
//! used by the CIF core dictionary for `_chemical.optical_rotation`.

use crate::quantity::{
    Angle, Concentration, Density, Fraction, Length, Mass, MolarMass, MolarRotation, SpecificRotation, Volume,
};

/// The specific rotation of a dissolved substance: `[α] = 100 α / (l c)`.
///
/// The result is not finite when the length or the concentration is zero; the parsers of these quantities refuse zero.
pub fn specific_from_angle(angle: Angle, length: Length, concentration: Concentration) -> SpecificRotation {
    SpecificRotation::from_conventional(
        100.0 * angle.degrees() / (length.decimetres() * concentration.grams_per_100_millilitres()),
    )
}

/// The specific rotation of a neat liquid: `[α] = α / (l ρ)`.
pub fn specific_of_neat_liquid(angle: Angle, length: Length, density: Density) -> SpecificRotation {
    SpecificRotation::from_conventional(angle.degrees() / (length.decimetres() * density.grams_per_millilitre()))
}

/// The angle a specific rotation gives: `α = [α] l c / 100`.
pub fn observed_angle(rotation: SpecificRotation, length: Length, concentration: Concentration) -> Angle {
    Angle::from_degrees(
        rotation.conventional() * length.decimetres() * concentration.grams_per_100_millilitres() / 100.0,
    )
}

/// The concentration an angle means for a substance of known specific rotation: `c = 100 α / (l [α])`.
///
/// The result is negative when angle and rotation differ in sign, and not finite when the rotation or the length is zero.
pub fn concentration_from_angle(angle: Angle, length: Length, rotation: SpecificRotation) -> Concentration {
    Concentration::from_grams_per_100_millilitres(
        100.0 * angle.degrees() / (length.decimetres() * rotation.conventional()),
    )
}

/// The concentration of a mass made up to a volume: `c = 100 m / V`.
pub fn concentration_of_mass_in_volume(mass: Mass, volume: Volume) -> Concentration {
    Concentration::from_grams_per_100_millilitres(100.0 * mass.grams() / volume.millilitres())
}

/// The mass of solute in a volume of solution: `m = c V / 100`.
pub fn mass_in_volume(concentration: Concentration, volume: Volume) -> Mass {
    Mass::from_grams(concentration.grams_per_100_millilitres() * volume.millilitres() / 100.0)
}

/// The molar rotation: `[M] = [α] M / 100`.
pub fn molar_rotation(rotation: SpecificRotation, molar_mass: MolarMass) -> MolarRotation {
    MolarRotation::from_conventional(rotation.conventional() * molar_mass.grams_per_mole() / 100.0)
}

/// The specific rotation of a molar one: `[α] = 100 [M] / M`.
pub fn specific_from_molar(rotation: MolarRotation, molar_mass: MolarMass) -> SpecificRotation {
    SpecificRotation::from_conventional(100.0 * rotation.conventional() / molar_mass.grams_per_mole())
}

/// The optical purity: the signed ratio `[α] / [α]max` of a sample's specific rotation to that of the enantiopure compound
/// under the same conditions. IUPAC Gold Book, "optical purity".
///
/// It is not cut to −1…1, and not finite when the enantiopure compound does not rotate. It equals the enantiomeric excess
/// only where rotation is linear in composition and both samples are chemically pure.
pub fn optical_purity(sample: SpecificRotation, enantiopure: SpecificRotation) -> Fraction {
    Fraction::from_ratio(sample.conventional() / enantiopure.conventional())
}

/// The specific rotation of a mixture of enantiomers of a given signed excess of the one whose rotation is given,
/// `[α] = ee [α]max`, where rotation is linear in composition.
pub fn specific_of_mixture(excess: Fraction, enantiopure: SpecificRotation) -> SpecificRotation {
    SpecificRotation::from_conventional(excess.ratio() * enantiopure.conventional())
}

/// The fraction of an enantiomer that is in excess by `ee` (signed): `F = (1 + ee) / 2`; of the other it is `1 − F`.
///
/// From the definition `ee = F₊ − F₋` with `F₊ + F₋ = 1`: IUPAC Gold Book, "enantiomer excess".
pub fn enantiomer_fraction(excess: Fraction) -> Fraction {
    Fraction::from_ratio(f64::midpoint(1.0, excess.ratio()))
}

/// The signed excess of an enantiomer that makes up the given fraction of both: `ee = 2 F − 1`.
pub fn excess_of_fraction(fraction: Fraction) -> Fraction {
    Fraction::from_ratio(2.0 * fraction.ratio() - 1.0)
}
