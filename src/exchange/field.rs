//! The fields an imported row can have, and the headings by which a column is known to hold one.
//!
//! A heading may name its unit ("T/°C", "c (mg/mL)", "path_mm") and, for a rotation, its conditions ("`[α]D20 (CHCl3)`").
//! A heading that is not in the table is never guessed at. Start reading at [`recognise`].

use crate::notation;
use crate::statement::Statement;

/// Defines the fields with the word that names each in a mapping and the headings that mean it.
macro_rules! fields {
    ($($(#[$doc:meta])* $variant:ident = $word:literal [$($heading:literal),* $(,)?]),+ $(,)?) => {
        /// What a column holds.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Field {
            $($(#[$doc])* $variant),+
        }

        impl Field {
            /// All fields.
            pub const ALL: &[Self] = &[$(Self::$variant),+];

            /// The word that names the field in a mapping.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// Headings of the field, folded, beside its own word.
            const fn headings(self) -> &'static [&'static str] {
                match self { $(Self::$variant => &[$($heading),*]),+ }
            }
        }
    };
}

fields! {
    /// The compound in any form that names one: name, CAS number, InChIKey, InChI, or `#` and its number.
    Compound = "compound" ["compound name", "substance name", "name", "verbindung", "stoff", "substanz", "composé", "nom",
        "chemical", "chemical name", "compound.name", "molecule", "analyte"],
    /// Further names, separated by `|`.
    OtherNames = "other_names" ["synonyms", "synonym", "other names", "synonyme", "aliases", "compound.other names"],
    /// CAS number.
    Cas = "cas" ["cas number", "cas no", "casno", "cas rn", "cas nummer", "compound.cas", "registry number", "n° cas"],
    /// SMILES.
    Smiles = "smiles" ["canonical smiles", "isomeric smiles", "compound.smiles"],
    /// Standard InChI.
    Inchi = "inchi" ["standard inchi", "compound.inchi"],
    /// Standard InChIKey.
    Inchikey = "inchikey" ["inchi key", "standard inchikey", "compound.inchikey"],
    /// Own label where InChI cannot tell.
    Descriptor = "descriptor" ["compound.descriptor"],
    /// Formula.
    Formula = "formula" ["molecular formula", "sum formula", "summenformel", "mf", "compound.formula"],
    /// Value or specification.
    EntryKind = "entry_kind" ["entry kind", "record kind"],
    /// Specific, observed or molar.
    Kind = "kind" ["kind of rotation", "rotation kind"],
    /// A value of the kind that [`Field::Kind`] names; specific without it. A heading that says only "optical rotation"
    /// may mean the angle, so it is not taken for one.
    Value = "value" ["specific rotation", "specific optical rotation", "spezifische drehung", "spezifischer drehwert",
        "spez drehung", "spez. drehung", "pouvoir rotatoire spécifique", "rotation spécifique", "rotación específica",
        "sr", "spec rot", "spec. rotation"],
    /// A value of observed rotation, an angle.
    Observed = "observed" ["observed rotation", "angle of rotation", "alpha obs", "α", "αobs", "rotation angle"],
    /// A value of molar rotation.
    Molar = "molar" ["molar rotation", "molecular rotation", "[m]", "[φ]", "molare drehung"],
    /// Low end of a range.
    Low = "low" ["lower limit", "minimum", "min", "value low", "untergrenze"],
    /// High end of a range.
    High = "high" ["upper limit", "maximum", "max", "value high", "obergrenze"],
    /// Printed tolerance.
    PlusMinus = "plus_minus" ["±", "+/-", "tolerance", "plus minus", "uncertainty printed", "toleranz"],
    /// How the sign stood in print, or the sign of a value given without one.
    Sign = "sign" ["vorzeichen", "signe", "sense of rotation"],
    /// Whether the sign was printed.
    SignStated = "sign_stated" ["sign stated", "sign printed"],
    /// Whether ± was printed as the sign.
    SignAmbiguous = "sign_ambiguous" ["sign ambiguous"],
    /// Whether "about" was printed.
    Approx = "approx" ["about", "approximate", "circa"],
    /// Temperature, a range of it, or words.
    Temperature = "temperature" ["temp", "temperatur", "température", "t", "temperature c", "temp c", "t c"],
    /// Low end of a range of temperatures.
    TemperatureLow = "temperature_low" ["temperature low"],
    /// High end of a range of temperatures.
    TemperatureHigh = "temperature_high" ["temperature high"],
    /// Temperature in words.
    TemperatureNote = "temperature_note" ["temperature note", "temperature words"],
    /// Light: D, a wavelength, or a line's letter.
    Line = "line" ["spectral line", "light", "spektrallinie", "raie"],
    /// Wavelength.
    Wavelength = "wavelength" ["λ", "lambda", "wellenlänge", "longueur d'onde", "wavelength nm", "line nm", "wl"],
    /// Decimals of the printed numbers of a row, by column, as an export writes them: `value 2; conc 1`.
    Digits = "digits" [],
    /// Medium of the wavelength: air or vacuum.
    Medium = "medium" ["wavelength medium"],
    /// Solvent.
    Solvent = "solvent" ["lösungsmittel", "lösemittel", "solvant", "disolvente", "solvente", "lm"],
    /// Concentration or a range of it.
    Conc = "conc" ["concentration", "konzentration", "konz", "c", "concentración"],
    /// Low end of a range of concentrations.
    ConcLow = "conc_low" ["conc low", "concentration low"],
    /// High end of a range of concentrations.
    ConcHigh = "conc_high" ["conc high", "concentration high"],
    /// Unit of the concentration.
    ConcUnit = "conc_unit" ["concentration unit", "unit of concentration", "c unit", "conc unit"],
    /// Whether the unit of the concentration was printed.
    ConcUnitPrinted = "conc_unit_printed" ["conc unit printed"],
    /// Cell length.
    Path = "path" ["path length", "cell length", "tube length", "schichtdicke", "küvettenlänge", "rohrlänge", "l",
        "path mm", "pathlength", "longueur de cuve", "cell"],
    /// Cell length in dm, where a number of millimetres would not give it back.
    PathDm = "path_dm" [],
    /// What was measured: a salt, hydrate or anomer.
    Form = "form" ["salt form", "form measured", "form printed"],
    /// Basis of the value: dried, anhydrous.
    Basis = "basis" ["basis of the value", "bezug"],
    /// Stage of a mutarotating solution.
    Stage = "stage" ["mutarotation"],
    /// Printed time of the reading.
    TimeNote = "time_note" ["time note", "time of reading"],
    /// Enantiomeric excess, per cent.
    Ee = "ee" ["ee percent", "enantiomeric excess", "enantiomerenüberschuss", "ee %", "e.e", "% ee"],
    /// Ratio of the enantiomers, the larger share first: 98:2.
    Er = "er" ["e.r", "enantiomeric ratio", "enantiomer ratio", "ratio of enantiomers", "enantiomerenverhältnis"],
    /// Optical purity, per cent: an excess that was itself found by a rotation.
    OpticalPurity = "op" ["o.p", "op percent", "op %", "% op", "optische reinheit"],
    /// Of a measurement: standard uncertainty of the enantiomeric excess, in per cent of the whole.
    EeUncertainty = "ee_uncertainty" ["ee uncertainty", "u ee", "u(ee)", "uncertainty of ee"],
    /// Method of the enantiomeric excess.
    EeMethod = "ee_method" ["ee method", "method of ee"],
    /// Whether the enantiomeric excess is a lower bound.
    EeAtLeast = "ee_at_least" ["ee at least"],
    /// Measured, quoted or compiled.
    Role = "role" ["measured or quoted"],
    /// Printed words on which enantiomer the value is of.
    EnantiomerNote = "enantiomer_note" ["enantiomer note", "enantiomer"],
    /// The printed text; read where the row has no value of its own.
    AsPrinted = "as_printed" ["as printed", "printed", "printed text", "statement", "text", "[α] as printed"],
    /// Place in the source.
    Place = "place" ["page", "seite", "compound in source", "place in source"],
    /// What is not sure, in sentences separated by `|`.
    Doubts = "doubts" ["doubt", "remarks of the reader"],
    /// How sure the identity is.
    Identity = "identity" ["identity sure"],
    /// How the hand is known.
    Hand = "hand" ["hand known"],
    /// Substance name as the source gives it.
    Substance = "substance" ["substance as printed", "name as printed", "name in source"],
    /// How the figure was seen.
    Seen = "seen" ["seen in source"],
    /// Stable id of an entry that an export wrote.
    Uid = "uid" ["entry uid"],
    /// Remark.
    Comment = "comment" ["comments", "remark", "remarks", "note", "notes", "bemerkung", "bemerkungen", "kommentar"],
    /// Why the entry is kept out of pooling.
    KeptOut = "kept_out" ["kept out", "kept out of pooling"],
    /// Preparation of a specification's solution, in words.
    Preparation = "preparation" ["preparation of the solution"],
    /// Factor of a specification's method.
    DivideBy = "divide_by" ["divide by"],
    /// Citation of the source.
    Citation = "citation" ["source", "reference", "literature", "quelle", "literatur", "zitat", "source.citation", "ref"],
    /// Key of the source in the file of references.
    Reference = "reference_key" ["reference key", "citation key", "citekey", "cite key", "bibtex key", "ref id", "source key"],
    /// DOI of the source.
    Doi = "doi" ["source.doi", "digital object identifier"],
    /// Year of the source.
    Year = "year" ["jahr", "année", "source.year", "publication year"],
    /// Where the text was read.
    Url = "url" ["link", "source.url"],
    /// Kind of the source.
    SourceKind = "source_kind" ["source kind", "source.kind", "kind of source"],
    /// Of a measurement: the person's own name for the sample.
    SampleId = "id" ["sample", "sample id", "sample name", "probe", "probennummer", "batch", "lot", "charge", "échantillon"],
    /// Of a measurement: density of the neat liquid, or of the solution where the concentration is by mass.
    Density = "density" ["dichte", "densité", "density of the solution", "densidad", "rho", "ρ"],
    /// Of a measurement: mass dissolved.
    Mass = "mass" ["mass dissolved", "einwaage", "weighed mass", "m", "pesée"],
    /// Of a measurement: volume it was made up to.
    Volume = "volume" ["volume made up to", "volumen", "v"],
    /// Of a measurement: blank that was subtracted from its angle.
    Blank = "blank" ["blank subtracted", "blank angle", "blindwert", "blanc"],
    /// Of a measurement: standard uncertainty of its value.
    Uncertainty = "uncertainty" ["standard uncertainty", "u", "standardunsicherheit", "incertitude-type", "unsicherheit"],
}

impl Field {
    /// Whether the field is of a measurement and no part of a published value.
    pub const fn is_of_measurement(self) -> bool {
        matches!(
            self,
            Self::SampleId
                | Self::Density
                | Self::Uncertainty
                | Self::EeUncertainty
                | Self::Mass
                | Self::Volume
                | Self::Blank
        )
    }

    /// The field a mapping names.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|field| field.word() == word)
    }
}

/// What a heading says of its column.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heading {
    /// The unit of its numbers.
    pub unit: Option<String>,
    /// Conditions printed in the heading, as in `[α]D20 (c 1, CHCl3)`.
    pub conditions: Option<Box<Statement>>,
}

/// Headings that are left out when read: what the program itself writes of an entry beside what an import needs.
const IGNORED: [&str; 11] = [
    "reason",
    "rejected",
    "state",
    "revision",
    "entry",
    "compound uid",
    "source uid",
    "molar mass",
    "chirality",
    "mirror key",
    "parent key",
];

/// Whether a heading is of a column that is left out on purpose.
pub fn is_ignored(heading: &str) -> bool {
    IGNORED.contains(&folded(heading).as_str())
}

/// The field a heading means, when it is known.
pub fn recognise(heading: &str) -> Option<(Field, Heading)> {
    let heading = heading.trim();
    if let Some(field) = by_name(heading) {
        let unit = implied_unit(&folded(heading)).map(str::to_owned);
        return Some((field, Heading { unit, conditions: None }));
    }
    if let Some(found) = rotation(heading) {
        return Some(found);
    }
    let (name, unit) = split_unit(heading)?;
    let field = by_name(name)?;
    Some((
        field,
        Heading {
            unit: Some(unit.to_owned()),
            conditions: None,
        },
    ))
}

/// The conditions and the unit of a heading that its user mapped.
pub fn describe(heading: &str) -> Heading {
    match recognise(heading) {
        Some((_, heading)) => heading,
        None => Heading {
            unit: split_unit(heading.trim()).map(|(_, unit)| unit.to_owned()),
            conditions: None,
        },
    }
}

fn by_name(name: &str) -> Option<Field> {
    // The symbols T, c, l are told from t, C, L by their case; U is an expanded uncertainty, not a standard one.
    match name {
        "t" | "C" | "L" | "U" => return None,
        _ => {}
    }
    let folded = folded(name);
    if folded.is_empty() {
        return None;
    }
    Field::ALL
        .iter()
        .copied()
        .find(|field| field.word().replace('_', " ") == folded || field.headings().contains(&folded.as_str()))
}

/// Lower case, with single spaces for every run of spaces and low lines.
pub(super) fn folded(heading: &str) -> String {
    heading
        .to_lowercase()
        .split(|c: char| c.is_whitespace() || c == '_' || c == '\u{FEFF}')
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(" ")
        .trim_end_matches(['.', ':'])
        .to_owned()
}

/// The unit in names such as `path_mm`.
fn implied_unit(folded: &str) -> Option<&'static str> {
    match folded {
        "path mm" => Some("mm"),
        "path dm" => Some("dm"),
        "temperature c" | "temp c" | "t c" => Some("°C"),
        "wavelength nm" | "line nm" => Some("nm"),
        _ => None,
    }
}

/// Splits "T/°C", "c (g/100 mL)", "path, mm", "T in °C" and "T [°C]" into name and unit.
pub(super) fn split_unit(heading: &str) -> Option<(&str, &str)> {
    if let Some((name, unit)) = heading.split_once(" in ") {
        return Some((name.trim(), unit.trim()));
    }
    let at = heading
        .char_indices()
        .skip(1)
        .find(|(_, c)| matches!(c, '/' | '(' | '[' | ','))?
        .0;
    let unit = heading[at + 1..].trim();
    let unit = match heading.as_bytes()[at] {
        b'(' => unit.strip_suffix(')').unwrap_or(unit),
        b'[' => unit.strip_suffix(']').unwrap_or(unit),
        _ => unit
            .strip_prefix('(')
            .and_then(|inside| inside.strip_suffix(')'))
            .unwrap_or(unit),
    };
    let unit = unit.trim();
    (!unit.is_empty()).then(|| (heading[..at].trim(), unit))
}

/// Headings that are the symbol of a rotation, alone or with conditions.
fn rotation(heading: &str) -> Option<(Field, Heading)> {
    let lower = heading.to_lowercase();
    let bracketed = ["[α]", "[a]", "[alpha]", "[\\a]"]
        .iter()
        .any(|symbol| lower.starts_with(symbol));
    let angle = ["α", "alpha"].iter().any(|symbol| lower.starts_with(symbol));
    if !bracketed && !angle {
        return None;
    }
    let symbol_only = ["[α]", "[a]", "[alpha]", "[\\a]"].contains(&lower.as_str());
    if symbol_only {
        return Some((Field::Value, Heading::default()));
    }
    // A unit behind a slash or in brackets is no condition.
    let bare = [" (deg", "/°", " / °", " (°", "/deg", " / deg", " [°"]
        .iter()
        .find_map(|unit| lower.find(unit))
        .and_then(|at| heading.get(..at))
        .unwrap_or(heading);
    // The value stands before conditions in brackets.
    let (symbol, conditions) = match bare.split_once(" (") {
        Some((symbol, conditions)) => (symbol, format!(" ({conditions}")),
        None => (bare, String::new()),
    };
    let read = notation::read(&format!("{symbol} +1.5{conditions}"));
    let [found] = read.as_slice() else {
        let is_symbol = bare.chars().count() <= 3 && bracketed;
        return is_symbol.then(|| (Field::Value, Heading::default()));
    };
    if found.statement.value.is_none_or(|value| value.value() != 1.5) {
        return None;
    }
    let field = if bracketed { Field::Value } else { Field::Observed };
    Some((
        field,
        Heading {
            unit: None,
            conditions: Some(Box::new(found.statement.clone())),
        },
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::SpectralLine;

    #[test]
    fn headings_of_many_tables_are_known() {
        for (heading, field, unit) in [
            ("[α]", Field::Value, None),
            ("[a]", Field::Value, None),
            ("Specific rotation", Field::Value, None),
            ("α", Field::Observed, None),
            ("c", Field::Conc, None),
            ("c (mg/mL)", Field::Conc, Some("mg/mL")),
            ("c / (g/100 mL)", Field::Conc, Some("g/100 mL")),
            ("T/°C", Field::Temperature, Some("°C")),
            ("T [K]", Field::Temperature, Some("K")),
            ("temperature_c", Field::Temperature, Some("°C")),
            ("l/dm", Field::Path, Some("dm")),
            ("path_mm", Field::Path, Some("mm")),
            ("λ/nm", Field::Wavelength, Some("nm")),
            ("Lösungsmittel", Field::Solvent, None),
            ("Solvant", Field::Solvent, None),
            ("InChI Key", Field::Inchikey, None),
            ("CAS No.", Field::Cas, None),
            ("Name", Field::Compound, None),
            ("source.doi", Field::Doi, None),
        ] {
            let (found, described) = recognise(heading).unwrap_or_else(|| panic!("{heading} is not known"));
            assert_eq!((found, described.unit.as_deref()), (field, unit), "{heading}");
        }
        for heading in [
            "",
            "t",
            "C",
            "melting point",
            "optical rotation",
            "rotation",
            "Drehwert",
            "yield (%)",
            "Rf",
            "αlpha",
        ] {
            assert!(
                recognise(heading).is_none(),
                "{heading} is taken for {:?}",
                recognise(heading)
            );
        }
    }

    #[test]
    fn conditions_in_a_heading_are_read() {
        let (field, heading) = recognise("[α]D20 (CHCl3)").unwrap();
        assert_eq!(field, Field::Value);
        let conditions = heading.conditions.unwrap();
        assert_eq!(conditions.line, Some(SpectralLine::SodiumD));
        assert_eq!(
            conditions.solvent.map(|solvent| solvent.to_string()).as_deref(),
            Some("CHCl3")
        );
    }

    #[test]
    fn no_heading_means_two_fields() {
        let mut seen = std::collections::HashSet::new();
        for field in Field::ALL {
            for heading in field.headings() {
                assert_eq!(&folded(heading), heading, "the heading is not folded");
                assert!(seen.insert(*heading), "{heading} stands twice");
            }
        }
    }
}
