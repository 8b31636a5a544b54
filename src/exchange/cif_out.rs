//! Crystallographic information files: one data block an entry, with items of the core dictionary.
//!
//! Written in the CIF 1.1 syntax (International Tables for Crystallography G, 2005, ch. 2.2): ASCII, Greek letters and
//! accents as backslash codes, long texts in semicolon fields. The rotation is written by [`crate::notation`]. Not for:
//! reading (`cif_in.rs`).

use super::cif_text::{ascii, prose};
use super::export::{ExportError, Exported, LeftOut, Limit, Row, Sink};
use super::fields;
use crate::library::{Entry, EntryContent};
use crate::notation::{self, Style};
use std::io::{self, BufWriter, Write};

/// Fields that have no item in the block of an entry.
const WITHOUT_ITEM: [&str; 32] = [
    "other_names",
    "cas",
    "smiles",
    "descriptor",
    "chirality",
    "mirror_key",
    "parent_key",
    "entry_kind",
    "wavelength_medium",
    "form",
    "ee_method",
    "role",
    "enantiomer_note",
    "as_printed",
    "place",
    "doubts",
    "preparation",
    "divide_by",
    "substance",
    "state",
    "identity",
    "hand",
    "kept_out",
    "seen",
    "comment",
    "revision",
    "compound_uid",
    "source_uid",
    "source_kind",
    "url",
    "history",
    "compounds and sources without an entry",
];

/// What a block cannot hold.
pub fn limits() -> Vec<Limit> {
    let without_item = WITHOUT_ITEM.iter().map(|what| Limit {
        what,
        why: "the core dictionary has no item for it",
    });
    let changed = [
        Limit {
            what: "dashes, primes and quotation marks of names and citations",
            why: "they become the ASCII ones",
        },
        Limit {
            what: "line breaks and repeated spaces of names and citations",
            why: "they become one space",
        },
        Limit {
            what: "values without a printed form",
            why: "their entries are written without rotation, and named",
        },
        Limit {
            what: "conditions in words that the notation does not know",
            why: "they are written, and each entry from which they cannot be read back is named",
        },
        Limit {
            what: "InChI of more than 2040 characters",
            why: "lines are no longer; it is left out, and named",
        },
    ];
    without_item.chain(changed).collect()
}

/// Longest line that is written where a text can be broken.
const LINE: usize = 80;

/// Longest text without a space (CIF 1.1 allows lines of 2048 characters).
const MOST_LINE: usize = 2040;

/// Writes data blocks.
pub struct CifOut<'a> {
    out: BufWriter<&'a mut (dyn Write + Send)>,
}

impl<'a> CifOut<'a> {
    /// Writes the magic line.
    pub fn new(out: &'a mut (dyn Write + Send)) -> Result<Self, ExportError> {
        let mut out = BufWriter::new(out);
        out.write_all(b"#\\#CIF_1.1\n")?;
        Ok(Self { out })
    }
}

impl Sink for CifOut<'_> {
    fn entry(&mut self, row: &Row<'_>, done: &mut Exported) -> Result<(), ExportError> {
        let Row {
            entry,
            compound,
            source,
        } = row;
        let out = &mut self.out;
        writeln!(out, "\ndata_{}", block_code(&entry.uid))?;
        item(out, "_chemical.name_common", &prose(&compound.name))?;
        if let Some(formula) = &compound.formula {
            item(out, "_chemical_formula.sum", &spaced_formula(formula))?;
        }
        if let Some(mass) = compound.molar_mass {
            item(out, "_chemical_formula.weight", &mass.grams_per_mole().to_string())?;
        }
        match &compound.inchi {
            Some(inchi) if inchi.len() > MOST_LINE => done.left_out.push(LeftOut {
                entry: entry.id.0,
                reason: format!("its InChI is longer than a line of {MOST_LINE} characters"),
            }),
            Some(inchi) => item(out, "_chemical.identifier_inchi", inchi)?,
            None => {}
        }
        if let Some(key) = &compound.inchikey {
            item(out, "_chemical.identifier_inchi_key", key)?;
        }
        let mut left_out = |reason: String| {
            done.left_out.push(LeftOut {
                entry: entry.id.0,
                reason,
            });
        };
        match rotation(&entry.statement) {
            Ok(rotation) => {
                let lost = lost_fields(entry, &rotation);
                if lost.iter().any(|field| DECISIVE.contains(field)) {
                    writeln!(out, "# The rotation of this entry has no form in CIF.")?;
                    left_out(format!(
                        "the rotation is left out, as {} would be lost",
                        lost.join(", ")
                    ));
                } else {
                    item(out, "_chemical.optical_rotation", &rotation)?;
                    if !lost.is_empty() {
                        left_out(format!("{} cannot be read back from \"{rotation}\"", lost.join(", ")));
                    }
                }
            }
            Err(error) => {
                writeln!(out, "# The rotation of this entry has no form in CIF.")?;
                left_out(error.to_string());
            }
        }
        item(out, "_citation.id", "1")?;
        if let Some(doi) = &source.doi {
            item(out, "_citation.doi", &ascii(doi))?;
        }
        if let Some(year) = source.year {
            item(out, "_citation.year", &year.to_string())?;
        }
        item(out, "_citation.special_details", &prose(&source.citation))?;
        Ok(())
    }

    fn finish(mut self: Box<Self>) -> Result<(), ExportError> {
        Ok(self.out.flush()?)
    }
}

/// The value of `_chemical.optical_rotation`, without quotation marks.
fn rotation(statement: &crate::statement::Statement) -> Result<String, notation::WriteError> {
    let line = notation::write(statement, Style::Cif)?;
    let value = line
        .split_once('\'')
        .and_then(|(_, value)| value.strip_suffix('\''))
        .unwrap_or(&line);
    Ok(ascii(value))
}

/// Fields without which a rotation is another one.
const DECISIVE: [&str; 7] = ["kind", "value", "low", "high", "sign", "plus_minus", "approx"];

/// The fields of an entry's statement that reading its written rotation does not give back, of those that have an item.
fn lost_fields(entry: &Entry, rotation: &str) -> Vec<&'static str> {
    let read = notation::read(&format!("_chemical.optical_rotation '{rotation}'"));
    let there = EntryContent::from(entry.clone());
    let back = EntryContent {
        statement: read.into_iter().next().map(|found| found.statement).unwrap_or_default(),
        ..there.clone()
    };
    let (there, back) = (fields::entry_record(&there), fields::entry_record(&back));
    fields::ENTRY_FIELDS
        .iter()
        .map(|(field, _)| *field)
        .filter(|field| !WITHOUT_ITEM.contains(field) && there.get(*field) != back.get(*field))
        .collect()
}

/// Letters and digits of a stable id; a block code has no blanks and at most 75 characters.
fn block_code(uid: &str) -> String {
    uid.chars()
        .filter(|c| c.is_ascii_alphanumeric() || *c == '-')
        .take(60)
        .collect()
}

/// A formula as the dictionary wants it, elements apart: `C10 H20 O`.
fn spaced_formula(formula: &str) -> String {
    let mut spaced = String::with_capacity(formula.len() + 8);
    for c in ascii(formula).chars() {
        if c.is_ascii_uppercase() && spaced.ends_with(|c: char| c.is_ascii_alphanumeric()) {
            spaced.push(' ');
        }
        spaced.push(c);
    }
    spaced
}

/// Writes a data name and its value: bare, in quotation marks, or as a text field.
fn item(out: &mut impl Write, name: &str, value: &str) -> io::Result<()> {
    let value = value.split_whitespace().collect::<Vec<_>>().join(" ");
    let is_bare = !value.is_empty()
        && value
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || "-./()=+,".contains(c))
        && value.starts_with(|c: char| c.is_ascii_alphanumeric());
    let fits = name.len() + value.len() + 3 <= LINE;
    match () {
        () if fits && is_bare && !is_reserved(&value) => writeln!(out, "{name} {value}"),
        () if fits && !value.contains('\'') => writeln!(out, "{name} '{value}'"),
        () if fits && !value.contains('"') => writeln!(out, "{name} \"{value}\""),
        () => {
            writeln!(out, "{name}")?;
            let mut line = String::from(";");
            let mut is_first = true;
            for word in value.split(' ') {
                if !is_first && line.len() + 1 + word.len() > LINE {
                    writeln!(out, "{line}")?;
                    line.clear();
                    // A semicolon at the start of a line would end the field.
                    if let Some(rest) = word.strip_prefix(';') {
                        line.push_str("&#x3B;");
                        line.push_str(rest);
                        continue;
                    }
                } else if !is_first {
                    line.push(' ');
                }
                line.push_str(word);
                is_first = false;
            }
            writeln!(out, "{line}\n;")
        }
    }
}

/// Whether a bare value would be read as a keyword.
fn is_reserved(value: &str) -> bool {
    let lower = value.to_lowercase();
    ["data_", "save_", "loop_", "stop_", "global_"]
        .iter()
        .any(|word| lower.starts_with(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn elements_of_a_formula_stand_apart() {
        assert_eq!(spaced_formula("C10H20O"), "C10 H20 O");
        assert_eq!(spaced_formula("C8H11NaClO2"), "C8 H11 Na Cl O2");
    }

    #[test]
    fn values_are_quoted_so_that_they_read_back() {
        let written = |value: &str| {
            let mut out = Vec::new();
            item(&mut out, "_x", value).unwrap();
            String::from_utf8(out).unwrap()
        };
        assert_eq!(written("C10 H20 O"), "_x 'C10 H20 O'\n");
        assert_eq!(written("5'-AMP"), "_x \"5'-AMP\"\n");
        assert_eq!(written("loop_"), "_x 'loop_'\n");
        assert_eq!(written("1"), "_x 1\n");
        let long = written(&"word ;next ".repeat(20));
        assert!(long.starts_with("_x\n;word") && long.ends_with("\n;\n"), "{long}");
        assert!(
            long.lines().skip(2).filter(|line| line.starts_with(';')).count() == 1,
            "{long}"
        );
    }
}
