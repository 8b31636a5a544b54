//! The definition equations of specific and molar rotation.
//!
//! `[α] = 100 α / (l c)` with α in degrees, l in dm and c in g per 100 mL; of a neat liquid `[α] = α / (l ρ)`;
//! `[M] = [α] M / 100`. IUPAC Gold Book, "specific optical rotation" and "molar optical rotation"; the same factors are
//! used by the CIF core dictionary for `_chemical.optical_rotation`.

use crate::quantity::{Angle, Concentration, Density, Length, MolarMass, MolarRotation, SpecificRotation};

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

/// The molar rotation: `[M] = [α] M / 100`.
pub fn molar_rotation(rotation: SpecificRotation, molar_mass: MolarMass) -> MolarRotation {
    MolarRotation::from_conventional(rotation.conventional() * molar_mass.grams_per_mole() / 100.0)
}

/// The specific rotation of a molar one: `[α] = 100 [M] / M`.
pub fn specific_from_molar(rotation: MolarRotation, molar_mass: MolarMass) -> SpecificRotation {
    SpecificRotation::from_conventional(100.0 * rotation.conventional() / molar_mass.grams_per_mole())
}
