//! Crystallographic information files: one data block an entry, with items of the core dictionary.
//!
//! Written in the CIF 1.1 syntax (International Tables for Crystallography G, 2005, ch. 2.2): ASCII, Greek letters and
//! accents as backslash codes, long texts in semicolon fields. The rotation is written by [`crate::notation`]. Not for:
//! reading. A character without a code is written as a numeric character reference, `&#x2025;`, and so are `\`, `^`
//! and `~` that are no markup; dashes and primes become the ASCII ones.

use super::export::{ExportError, Exported, LeftOut, Limit, Row, Sink};
use crate::notation::{self, Style};
use std::io::{self, BufWriter, Write};
use unicode_normalization::UnicodeNormalization;

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
    "medium",
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
        match rotation(&entry.statement) {
            Ok(rotation) => item(out, "_chemical.optical_rotation", &rotation)?,
            Err(error) => {
                writeln!(out, "# The rotation of this entry has no form in CIF.")?;
                done.left_out.push(LeftOut {
                    entry: entry.id.0,
                    reason: error.to_string(),
                });
            }
        }
        item(out, "_citation.id", "1")?;
        if let Some(doi) = &source.doi {
            item(out, "_citation.doi", &ascii(doi))?;
        }
        if let Some(year) = source.year {
            item(out, "_citation.year", &year.to_string())?;
        }
        item(out, "_citation.details", &prose(&source.citation))?;
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

/// Prose in ASCII: markup characters that are none are written as references.
fn prose(text: &str) -> String {
    let text = text.replace("&#", "&#x26;#");
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | '^' | '~' => reference(c, &mut plain),
            c => plain.push(c),
        }
    }
    ascii(&plain)
}

/// The text with every character beyond ASCII as a code, an ASCII look-alike or a reference.
fn ascii(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            c if c.is_ascii_control() => plain.push(' '),
            c if c.is_ascii() => plain.push(c),
            '\u{2010}'..='\u{2015}' | '\u{2212}' => plain.push('-'),
            '\u{2032}' | '\u{2018}' | '\u{2019}' => plain.push('\''),
            '\u{2033}' => plain.push_str("''"),
            '\u{2034}' => plain.push_str("'''"),
            '\u{201C}' | '\u{201D}' => plain.push('"'),
            '\u{A0}' | '\u{2009}' | '\u{202F}' => plain.push(' '),
            c => match code(c) {
                Some(code) => plain.push_str(&code),
                None => reference(c, &mut plain),
            },
        }
    }
    plain
}

fn reference(c: char, out: &mut String) {
    out.push_str(&format!("&#x{:X};", u32::from(c)));
}

/// The Greek letters and the ASCII letters that stand for them behind a backslash.
const GREEK: [(char, char); 24] = [
    ('α', 'a'),
    ('β', 'b'),
    ('χ', 'c'),
    ('δ', 'd'),
    ('ε', 'e'),
    ('φ', 'f'),
    ('γ', 'g'),
    ('η', 'h'),
    ('ι', 'i'),
    ('κ', 'k'),
    ('λ', 'l'),
    ('μ', 'm'),
    ('ν', 'n'),
    ('ο', 'o'),
    ('π', 'p'),
    ('θ', 'q'),
    ('ρ', 'r'),
    ('σ', 's'),
    ('τ', 't'),
    ('υ', 'u'),
    ('ω', 'w'),
    ('ξ', 'x'),
    ('ψ', 'y'),
    ('ζ', 'z'),
];

/// Combining accents and the characters that stand for them behind a backslash.
const ACCENTS: [(char, char); 11] = [
    ('\u{301}', '\''),
    ('\u{300}', '`'),
    ('\u{302}', '^'),
    ('\u{308}', '"'),
    ('\u{303}', '~'),
    ('\u{327}', ','),
    ('\u{328}', ';'),
    ('\u{30B}', '>'),
    ('\u{30C}', '<'),
    ('\u{304}', '='),
    ('\u{306}', '('),
];

/// The backslash code of a character.
fn code(c: char) -> Option<String> {
    let single = match c {
        'ß' => Some("\\&s"),
        'ø' => Some("\\/o"),
        'Ø' => Some("\\/O"),
        'ł' => Some("\\/l"),
        'Ł' => Some("\\/L"),
        'å' => Some("\\%a"),
        'Å' => Some("\\%A"),
        '°' => Some("\\%"),
        _ => None,
    };
    if let Some(code) = single {
        return Some(code.to_owned());
    }
    let lower: Vec<char> = c.to_lowercase().collect();
    if let Some((greek, latin)) = GREEK.iter().find(|(greek, _)| lower == [*greek]) {
        let latin = if *greek == c {
            *latin
        } else {
            latin.to_ascii_uppercase()
        };
        return Some(format!("\\{latin}"));
    }
    let parts: Vec<char> = std::iter::once(c).nfd().collect();
    match parts[..] {
        [letter, accent] if letter.is_ascii_alphabetic() => {
            let (_, mark) = ACCENTS.iter().find(|(known, _)| *known == accent)?;
            Some(format!("\\{mark}{letter}"))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes as listed in the "common semantic features" of CIF 1.1 (International Tables G, 2.2.7.4.12 ff.).
    #[test]
    fn characters_have_their_codes() {
        for (text, written) in [
            ("(−)-α-Pinene", "(-)-\\a-Pinene"),
            ("Müller, José, Ångström", "M\\\"uller, Jos\\'e, \\%Angstr\\\"om"),
            ("Ω at 20 °C", "\\W at 20 \\%C"),
            ("N^2^ ~ 1\\2", "N&#x5E;2&#x5E; &#x7E; 1&#x5C;2"),
            ("亮氨酸", "&#x4EAE;&#x6C28;&#x9178;"),
            ("&#x41;", "&#x26;#x41;"),
        ] {
            assert_eq!(prose(text), written);
        }
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
