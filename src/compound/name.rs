//! Names of compounds, folded for search and comparison.
//!
//! `(−)-menthol`, `l-menthol`, `menthol, (1R,2S,5R)-` and `L-(-)-Menthol` share the stem `menthol`; their descriptors are
//! listed apart, with the letter case that was printed, because `l-` (laevorotatory) and `L-` (configuration) are two
//! things that old texts mix. Descriptors rank candidates and never decide the hand. Not for: generating names or
//! structures. Start at [`NameKey`].

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// A name taken apart for comparison.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NameKey {
    /// Words, locants and numbers in folded form; what stereoisomers and hands share.
    pub stem: String,
    /// Stereodescriptors in printed order, each as folded: `(-)`, `1R`, `L`, `alpha`.
    pub descriptors: Vec<String>,
}

/// A piece of a name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token {
    /// What it is.
    pub kind: TokenKind,
    /// Its folded text.
    pub text: String,
}

/// What a [`Token`] is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum TokenKind {
    /// A word or part of one between hyphens.
    Word,
    /// A position: `1`, `N`, `2H`.
    Locant,
    /// A stereodescriptor: a sign in brackets, `R`, `1S`, `E`, `D`, `l`, `rac`, `meso`, `cis`, `alpha`.
    Descriptor,
    /// A number that is no position: the 80 of `polysorbate 80`.
    Number,
}

impl NameKey {
    /// Takes a name apart; an inverted index name is turned around first.
    pub fn of(name: &str) -> NameKey {
        let pieces = pieces(&fold(&turned_around(name)));
        NameKey {
            stem: join_stem(&pieces),
            descriptors: descriptors_of(pieces),
        }
    }
}

/// The folded name: compatibility characters resolved, accents dropped, dashes and primes made plain, Greek letters
/// spelled out, single spaces, lower case but for letters that are locants or descriptors (`N`, `1R`, `L`).
///
/// Folding a folded name changes nothing.
pub fn fold(name: &str) -> String {
    let mut plain = String::with_capacity(name.len());
    for c in name
        .chars()
        .map(plain_sign)
        .nfkd()
        .map(plain_sign)
        .filter(|c| !is_combining_mark(*c))
    {
        match greek(c) {
            Some(spelled) => plain.push_str(spelled),
            None => plain.push(c),
        }
    }
    let mut folded = String::with_capacity(plain.len());
    for word in plain.split_whitespace() {
        if !folded.is_empty() {
            folded.push(' ');
        }
        for run in runs(word) {
            if keeps_case(run) {
                folded.push_str(run);
            } else {
                let lower = run.chars().flat_map(char::to_lowercase);
                folded.extend(lower.nfkd().filter(|c| !is_combining_mark(*c) && !c.is_whitespace()));
            }
        }
    }
    folded
}

/// The tokens of a name, in printed order, after folding and turning around.
pub fn tokens(name: &str) -> Vec<Token> {
    pieces(&fold(&turned_around(name)))
        .into_iter()
        .map(|piece| piece.token)
        .collect()
}

/// The stem of a name: [`NameKey::stem`].
pub fn stem(name: &str) -> String {
    NameKey::of(name).stem
}

/// The descriptors of a name: [`NameKey::descriptors`].
pub fn descriptors(name: &str) -> Vec<String> {
    NameKey::of(name).descriptors
}

/// Turns an inverted index name around: `menthol, (1R,2S,5R)-` to `(1R,2S,5R)-menthol`, `benzoic acid, 2-hydroxy-,
/// methyl ester` to `2-hydroxybenzoic acid methyl ester`. Other names are left as they are.
pub fn turned_around(name: &str) -> String {
    let plain: String = name.chars().map(plain_sign).collect();
    let mut parts = plain.split(", ").map(str::trim);
    let Some(base) = parts.next() else { return plain };
    let rest: Vec<&str> = parts.filter(|part| !part.is_empty()).collect();
    if base.is_empty() || !rest.iter().any(|part| part.ends_with('-')) {
        return plain;
    }
    let (prefixes, suffixes): (Vec<&str>, Vec<&str>) = rest.into_iter().partition(|part| part.ends_with('-'));
    let mut turned = prefixes.concat();
    turned.push_str(base);
    for suffix in suffixes {
        turned.push(' ');
        turned.push_str(suffix);
    }
    turned
}

/// Dashes, minus signs and primes of all kinds as the plain ones.
fn plain_sign(c: char) -> char {
    match c {
        '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{FE58}' | '\u{FE63}' | '\u{FF0D}' => '-',
        '′' | '’' | '‘' | 'ʹ' | '´' | '`' | 'ʼ' => '\'',
        '\u{00AD}' | '\u{200B}'..='\u{200D}' | '\u{FEFF}' => '\u{0301}',
        c => c,
    }
}

/// The name of a Greek letter of either case.
fn greek(c: char) -> Option<&'static str> {
    const NAMES: [(&str, &str); 24] = [
        ("αΑ", "alpha"),
        ("βΒϐ", "beta"),
        ("γΓ", "gamma"),
        ("δΔ", "delta"),
        ("εΕϵ", "epsilon"),
        ("ζΖ", "zeta"),
        ("ηΗ", "eta"),
        ("θΘϑ", "theta"),
        ("ιΙ", "iota"),
        ("κΚ", "kappa"),
        ("λΛ", "lambda"),
        ("μΜ", "mu"),
        ("νΝ", "nu"),
        ("ξΞ", "xi"),
        ("οΟ", "omicron"),
        ("πΠ", "pi"),
        ("ρΡ", "rho"),
        ("σςΣ", "sigma"),
        ("τΤ", "tau"),
        ("υΥ", "upsilon"),
        ("φΦϕ", "phi"),
        ("χΧ", "chi"),
        ("ψΨ", "psi"),
        ("ωΩ", "omega"),
    ];
    let is_greek = ('\u{0370}'..='\u{03FF}').contains(&c);
    NAMES
        .iter()
        .find(|(letters, _)| is_greek && letters.contains(c))
        .map(|(_, name)| *name)
}

/// Maximal runs of letters and digits, and what stands between them.
fn runs(word: &str) -> Vec<&str> {
    let mut runs = Vec::new();
    let mut start = 0;
    let mut previous = None;
    for (at, c) in word.char_indices() {
        let kind = c.is_alphanumeric();
        if previous.is_some_and(|previous| previous != kind) {
            runs.push(&word[start..at]);
            start = at;
        }
        previous = Some(kind);
    }
    runs.push(&word[start..]);
    runs
}

/// Whether a run is a locant or descriptor whose letter case means something: `N`, `2H`, `1R`, `3aS`, `DL`.
fn keeps_case(run: &str) -> bool {
    let after_number = run.trim_start_matches(|c: char| c.is_ascii_digit());
    let numbered = after_number.len() < run.len();
    let letters = match after_number.as_bytes() {
        [fusion, _, ..] if numbered && fusion.is_ascii_lowercase() => &after_number[1..],
        _ => after_number,
    };
    let single = letters.len() == 1 && letters.bytes().all(|b| b.is_ascii_alphabetic());
    single
        || matches!(letters, "RS" | "SR")
        || (!numbered && matches!(letters, "DL" | "LD" | "dl" | "Ra" | "Sa" | "Rp" | "Sp"))
}

/// A token with what stood before it.
struct Piece {
    token: Token,
    /// A space stood before it.
    spaced: bool,
}

/// Takes a folded name apart.
fn pieces(folded: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut spaced = false;
    let mut at = 0;
    while let Some(c) = folded[at..].chars().next() {
        let rest = &folded[at..];
        if let Some((sign, length)) = sign(rest) {
            pieces.push(Piece {
                token: Token {
                    kind: TokenKind::Descriptor,
                    text: sign.to_string(),
                },
                spaced,
            });
            (spaced, at) = (false, at + length);
        } else if c.is_alphanumeric() {
            let length = rest.find(|c: char| !c.is_alphanumeric()).unwrap_or(rest.len());
            let run = &rest[..length];
            let kind = classify(run, &folded[..at], &rest[length..]);
            pieces.push(Piece {
                token: Token {
                    kind,
                    text: run.to_string(),
                },
                spaced,
            });
            (spaced, at) = (false, at + length);
        } else {
            spaced |= c.is_whitespace();
            at += c.len_utf8();
        }
    }
    pieces
}

/// A sign of rotation in brackets and its length.
fn sign(rest: &str) -> Option<(&'static str, usize)> {
    let signs = [
        ("(+)", "(+)"),
        ("(-)", "(-)"),
        ("(±)", "(±)"),
        ("(+/-)", "(±)"),
        ("(+-)", "(±)"),
        ("(-/+)", "(±)"),
        ("(∓)", "(±)"),
        ("[+]", "(+)"),
        ("[-]", "(-)"),
        ("±", "(±)"),
    ];
    signs
        .iter()
        .find(|(printed, _)| rest.starts_with(printed))
        .map(|(printed, sign)| (*sign, printed.len()))
}

/// Runs without a number that are descriptors where they stand before a hyphen or in brackets.
const DESCRIPTORS: [&str; 39] = [
    "R", "S", "RS", "SR", "E", "Z", "D", "L", "d", "l", "DL", "dl", "Ra", "Sa", "Rp", "Sp", "P", "M", "rac", "racemic",
    "rel", "meso", "ent", "epi", "cis", "trans", "endo", "exo", "syn", "anti", "threo", "erythro", "dextro", "laevo",
    "levo", "alpha", "beta", "gamma", "delta",
];

/// What a run of letters and digits is, from its form and what stands around it.
fn classify(run: &str, before: &str, after: &str) -> TokenKind {
    let linked = after.starts_with(['-', ',', '\'', ')', ']', '*', ':']);
    let opens = before.is_empty() || before.ends_with(['(', '[', '-', ',', ' ']);
    if run.bytes().all(|b| b.is_ascii_digit()) {
        let locant = linked || before.ends_with(['-', ',']);
        return if locant { TokenKind::Locant } else { TokenKind::Number };
    }
    let letters = run.trim_start_matches(|c: char| c.is_ascii_digit());
    let numbered = letters.len() < run.len();
    if numbered {
        let parity = letters
            .strip_prefix(|c: char| c.is_ascii_lowercase())
            .filter(|rest| !rest.is_empty())
            .unwrap_or(letters);
        return match (parity, letters) {
            ("R" | "S" | "RS" | "SR" | "E" | "Z" | "r" | "s", _) | (_, "alpha" | "beta" | "xi") if linked => {
                TokenKind::Descriptor
            }
            _ if letters.len() == 1 && linked => TokenKind::Locant,
            _ => TokenKind::Word,
        };
    }
    let leads = linked || (before.is_empty() && after.starts_with(' '));
    match run {
        _ if opens && leads && DESCRIPTORS.contains(&run) => TokenKind::Descriptor,
        _ if run.len() == 1 && run.bytes().all(|b| b.is_ascii_alphabetic()) && linked => TokenKind::Locant,
        _ => TokenKind::Word,
    }
}

/// The stem: words joined as printed but without hyphens between them, locants before a hyphen.
fn join_stem(pieces: &[Piece]) -> String {
    let mut stem = String::new();
    let mut last = None;
    let mut spaced = false;
    for piece in pieces {
        spaced |= piece.spaced;
        if piece.token.kind == TokenKind::Descriptor {
            continue;
        }
        let between = match (last, piece.token.kind) {
            (None, _) => "",
            (Some(TokenKind::Locant), TokenKind::Locant) => ",",
            _ if spaced => " ",
            (Some(TokenKind::Word), TokenKind::Word) => "",
            _ => "-",
        };
        stem.push_str(between);
        stem.push_str(&piece.token.text.to_lowercase());
        (last, spaced) = (Some(piece.token.kind), false);
    }
    stem
}

fn descriptors_of(pieces: Vec<Piece>) -> Vec<String> {
    pieces
        .into_iter()
        .map(|piece| piece.token)
        .filter(|token| token.kind == TokenKind::Descriptor)
        .map(|token| token.text)
        .collect()
}
