//! Text in CIF: ASCII with backslash codes, and back.
//!
//! Codes are those of the "common semantic features" of CIF 1.1 (International Tables for Crystallography G, 2005,
//! 2.2.7.4.12 ff.). A character without a code is written as a numeric character reference, `&#x4EAE;`, and so are `\`,
//! `^` and `~` that are no markup; dashes, primes and quotation marks become the ASCII ones.

use unicode_normalization::UnicodeNormalization;

/// Prose in ASCII: markup characters that are none are written as references.
pub fn prose(text: &str) -> String {
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
pub fn ascii(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let mut characters = text.chars().peekable();
    while let Some(c) = characters.next() {
        match c {
            // Behind a degree sign these letters would make it an å.
            '°' if matches!(characters.peek(), Some('a' | 'A')) => reference(c, &mut plain),
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

/// The text that codes and references stand for; what is neither is left as it is.
pub fn plain(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(['\\', '&']) {
        plain.push_str(&rest[..at]);
        rest = &rest[at..];
        if let Some((c, length)) = decoded(rest) {
            plain.push(c);
            rest = &rest[length..];
        } else {
            plain.push_str(&rest[..1]);
            rest = &rest[1..];
        }
    }
    plain + rest
}

/// The character of a code or reference at the start of a text, and the length of the code.
fn decoded(text: &str) -> Option<(char, usize)> {
    if let Some(number) = text.strip_prefix("&#x") {
        let (digits, _) = number.split_once(';').filter(|(digits, _)| digits.len() <= 6)?;
        let c = char::from_u32(u32::from_str_radix(digits, 16).ok()?)?;
        return Some((c, digits.len() + 4));
    }
    let code = text.strip_prefix('\\')?;
    if let Some((c, code)) = SINGLE.iter().find(|(_, known)| code.starts_with(known)) {
        return Some((*c, code.len() + 1));
    }
    let mut characters = code.chars();
    let mark = characters.next()?;
    if let Some((greek, _)) = GREEK.iter().find(|(_, latin)| *latin == mark.to_ascii_lowercase()) {
        let c = if mark.is_ascii_uppercase() {
            greek.to_uppercase().next()?
        } else {
            *greek
        };
        return Some((c, 2));
    }
    let (accent, _) = ACCENTS.iter().find(|(_, known)| *known == mark)?;
    let letter = characters.next().filter(char::is_ascii_alphabetic)?;
    let c = unicode_normalization::char::compose(letter, *accent)?;
    Some((c, 3))
}

fn reference(c: char, out: &mut String) {
    use std::fmt::Write;
    // Writing to a string cannot fail.
    let _ = write!(out, "&#x{:X};", u32::from(c));
}

/// Characters with a code of their own; the longer codes first.
const SINGLE: [(char, &str); 8] = [
    ('ß', "&s"),
    ('ø', "/o"),
    ('Ø', "/O"),
    ('ł', "/l"),
    ('Ł', "/L"),
    ('å', "%a"),
    ('Å', "%A"),
    ('°', "%"),
];

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
    if let Some((_, code)) = SINGLE.iter().find(|(known, _)| *known == c) {
        return Some(format!("\\{code}"));
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
    use proptest::prelude::*;

    /// Codes as listed in the "common semantic features" of CIF 1.1 (International Tables G, 2.2.7.4.12 ff.).
    #[test]
    fn characters_have_their_codes() {
        for (text, written) in [
            ("(−)-α-Pinene", "(-)-\\a-Pinene"),
            ("Müller, José, Ångström", "M\\\"uller, Jos\\'e, \\%Angstr\\\"om"),
            ("Ω at 20 °C", "\\W at 20 \\%C"),
            ("20°a", "20&#xB0;a"),
            ("N^2^ ~ 1\\2", "N&#x5E;2&#x5E; &#x7E; 1&#x5C;2"),
            ("亮氨酸", "&#x4EAE;&#x6C28;&#x9178;"),
            ("&#x41;", "&#x26;#x41;"),
        ] {
            assert_eq!(prose(text), written);
        }
        assert_eq!(
            plain("\\a-Pinene, M\\\"uller, 20 \\%C, \\x and \\"),
            "α-Pinene, Müller, 20 °C, ξ and \\"
        );
        assert_eq!(plain("&#x4EAE; &#xD800; &#x; &#"), "亮 &#xD800; &#x; &#");
    }

    proptest! {
        #[test]
        fn prose_comes_back(text in "[ -~α-ωΑ-Ωäéñçåø°ß亮]{0,30}") {
            prop_assert_eq!(plain(&prose(&text)), text);
        }
    }
}
