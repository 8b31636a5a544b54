//! Picks out the parts of a text that may hold a statement, so that only those are cleaned and cut into tokens.

use std::ops::Range;

/// Bytes before a place that are read for conditions printed ahead of a value.
const BEFORE: usize = 300;
/// The same before ideographs: how the solution was made stands ahead of the value there.
const BEFORE_IDEOGRAPHS: usize = 700;
/// Bytes behind a place that are read for its value and a series of others.
const BEHIND: usize = 700;
/// A text up to this length is read whole when it holds any place.
const SHORT: usize = 4096;
/// The longest segment; a longer run of places is cut.
const LONGEST: usize = 1 << 16;

/// The segments of a text, in order and without overlap, each beginning and ending between characters.
pub(super) fn segments(text: &str) -> Vec<Range<usize>> {
    let mut segments: Vec<Range<usize>> = Vec::new();
    for place in places(text.as_bytes()) {
        if text.len() <= SHORT {
            return std::iter::once(0..text.len()).collect();
        }
        let before = if text.as_bytes()[place] == 0xE6 {
            BEFORE_IDEOGRAPHS
        } else {
            BEFORE
        };
        let from = place.saturating_sub(before);
        let to = (place + BEHIND).min(text.len());
        match segments.last_mut() {
            Some(last) if from <= last.end && to - last.start <= LONGEST => last.end = last.end.max(to),
            Some(last) if from < last.end => {
                let start = last.end;
                if to > start {
                    segments.push(start..to);
                }
            }
            _ => segments.push(from..to),
        }
    }
    let mut end_before = 0;
    for segment in &mut segments {
        segment.start = boundary(text, segment.start.max(end_before));
        segment.end = boundary(text, segment.end).max(segment.start);
        end_before = segment.end;
    }
    segments
}

/// A place at or behind `at` between two words, or between two characters when no blank is near.
fn boundary(text: &str, at: usize) -> usize {
    if at == 0 || at >= text.len() {
        return at.min(text.len());
    }
    let near = &text.as_bytes()[at..(at + 80).min(text.len())];
    let mut place = at + near.iter().position(u8::is_ascii_whitespace).unwrap_or(0);
    while !text.is_char_boundary(place) {
        place += 1;
    }
    place
}

/// Places that may belong to a head: a symbol with its indices, a noun of rotation, a concentration in brackets.
fn places(bytes: &[u8]) -> impl Iterator<Item = usize> + '_ {
    (0..bytes.len()).filter(|&at| INTERESTING[usize::from(bytes[at])] && is_place(bytes, at))
}

/// Bytes a place can begin with; all others are passed over at once.
static INTERESTING: [bool; 256] = {
    let mut table = [false; 256];
    // Last: first bytes of α, ɑ, вращ, 旋, private-use and mathematical alphas, ęc, ∝ and ⍺.
    let starts = *b"[{(rRdDaAcC&\\\xCE\xC9\xD0\xE6\xEF\xF0\xC4\xE2";
    let mut n = 0;
    while n < starts.len() {
        table[starts[n] as usize] = true;
        n += 1;
    }
    table
};

fn is_place(bytes: &[u8], at: usize) -> bool {
    let rest = &bytes[at..];
    let folded = |word: &[u8]| rest.len() >= word.len() && rest[..word.len()].eq_ignore_ascii_case(word);
    let begins = |text: &str| rest.starts_with(text.as_bytes());
    let alpha = |length: usize| is_symbol(bytes, at, at + length);
    match rest[0] {
        b'r' | b'R' => {
            folded(b"rota")
                && [&b"rotati"[..], b"rotato", b"rotaz", b"rotac", b"rotai"]
                    .iter()
                    .any(|word| folded(word))
                || folded(b"rot.")
                || folded(b"rot:")
        }
        b'd' | b'D' => folded(b"dreh") && (folded(b"drehung") || folded(b"drehwert") || folded(b"drehverm")),
        b'[' | b'{' => is_bracketed(&rest[1..rest.len().min(64)]),
        b'a' | b'A' => begins("aD") || begins("aᴅ") || folded(b"alpha") && alpha(5),
        b'c' | b'C' => begins("c=") || begins("c ="),
        // `(c 1.0, CHCl3)` behind a value whose symbol was a picture.
        b'(' => {
            let inside = rest[1..rest.len().min(12)].trim_ascii_start();
            matches!(inside.first(), Some(b'c' | b'C'))
                && inside.get(1).is_some_and(|b| b" =,.0123456789".contains(b))
                && inside[1..].iter().any(u8::is_ascii_digit)
        }
        b'&' => {
            folded(b"&alpha;") && alpha(7)
                || folded(b"&agr;")
                || folded(b"&#945;") && alpha(6)
                || folded(b"&#x3b1;") && alpha(7)
        }
        b'\\' => begins("\\alpha") && alpha(6),
        0xCE => (begins("α") || begins("ά")) && alpha(2),
        0xC9 => begins("ɑ") && alpha(2),
        0xD0 => begins("вращ"),
        0xE6 => begins("旋度") || begins("旋光度"),
        0xEF => begins("\u{F061}"),
        0xF0 => ["𝛼", "𝜶", "𝝰", "𝞪"].iter().any(|letter| begins(letter)) && alpha(4),
        0xC4 => begins("ęc"),
        0xE2 => (begins("∝") || begins("⍺")) && alpha(3),
        _ => false,
    }
}

/// Whether the alpha in `start..end` is a symbol of rotation rather than part of a name: a bracket stands before it, or a
/// closing one or the letter of a line behind it.
fn is_symbol(bytes: &[u8], start: usize, end: usize) -> bool {
    let before = &bytes[start.saturating_sub(16)..start];
    let markup = |b: &&u8| {
        matches!(
            **b,
            b' ' | b'\n' | b'$' | b'*' | b'\\' | b'{' | b'}' | b'.' | b'_' | b'^' | b'~' | b'>' | b'/'
        )
    };
    let opened = before.iter().rev().find(|b| !markup(b)).is_some_and(|b| *b == b'[');
    // Brackets of East Asian type: `［α］`, `〔α〕`, `【α】`.
    let wide = ["［", "〔", "【", "\u{F05B}"]
        .iter()
        .any(|open| before.ends_with(open.as_bytes()));
    if opened || wide {
        return true;
    }
    let behind = &bytes[end..bytes.len().min(end + 28)];
    match behind.iter().position(|b| !markup(&b)) {
        Some(n) => match behind[n] {
            b']' | b'[' => true,
            b')' => behind[n..].iter().take(16).any(|b| matches!(b, b'D' | 0xF0 | 0xE1)),
            // `αD`, `α20D`, `α<sub>D</sub>`, `α-D[20]`; `αDglc` and `α-D-glucose` are names.
            b'D' | b'0'..=b'9' | b'<' | 0xC2 | 0xE1 | 0xE2 | b'(' => line_behind(&behind[n..]),
            b'-' => {
                behind.get(n + 1) == Some(&b'D') && behind.get(n + 2).is_some_and(|b| b"[ =(<_^0123456789".contains(b))
            }
            // `\alpha_{\mathrm{D}}`
            _ => behind[..n].iter().any(|b| matches!(b, b'_' | b'^')) && line_behind(&behind[n..]),
        },
        None => false,
    }
}

/// Whether the letter of a line stands by itself in what follows a symbol.
fn line_behind(behind: &[u8]) -> bool {
    behind.iter().enumerate().any(|(n, b)| {
        *b == b'D' && !behind.get(n + 1).is_some_and(u8::is_ascii_alphabetic)
            || *b == 0xE1 && behind.get(n + 1) == Some(&0xB4)
    })
}

/// Whether what follows an opening bracket may be the inside of a damaged symbol, with the letter of a line close behind.
fn is_bracketed(rest: &[u8]) -> bool {
    let Some(close) = rest.iter().take(40).position(|&b| b == b']') else {
        // `[ a l D`: the closing bracket was read as a letter.
        let start = rest.trim_ascii_start();
        return matches!(start.first(), Some(b'a' | b'c' | b'o')) && start.iter().take(10).any(|&b| b == b'D');
    };
    let inner = rest[..close].trim_ascii();
    // `[M + H]+`, `[12]`
    let other = inner.len() > 6 && !inner.contains(&b'\\')
        || inner.iter().any(|b| matches!(b, b'+' | b'-' | b','))
        || inner.iter().all(u8::is_ascii_digit) && !inner.is_empty();
    if other {
        return false;
    }
    let formula = inner.contains(&b'\\');
    let behind = &rest[close + 1..rest.len().min(close + if formula { 40 } else { 18 })];
    matches!(inner, b"a" | b"A" | b"M" | b"m")
        || line_behind(behind)
        || behind.first() == Some(&b'd')
        || behind.windows(2).any(|pair| pair == b"Hg")
        || inner.iter().any(|b| matches!(b, 0xCE | 0xCF))
}
