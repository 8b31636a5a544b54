//! Picks out the parts of a text that may hold a statement, so that only those are cleaned and cut into tokens.

use std::ops::Range;

/// Bytes before a place that are read for conditions printed ahead of a value.
const BEFORE: usize = 400;
/// Bytes behind a place that are read for its value and a series of others.
const BEHIND: usize = 1600;
/// The longest segment; a longer run of places is cut.
const LONGEST: usize = 1 << 16;

/// The segments of a text, in order and without overlap, each beginning and ending between characters.
pub(super) fn segments(text: &str) -> Vec<Range<usize>> {
    let mut segments: Vec<Range<usize>> = Vec::new();
    for place in places(text.as_bytes()) {
        let from = place.saturating_sub(BEFORE);
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

/// Places that may belong to a head: the symbol alpha, a bracketed letter, a noun of rotation.
fn places(bytes: &[u8]) -> impl Iterator<Item = usize> + '_ {
    (0..bytes.len()).filter(|&at| INTERESTING[usize::from(bytes[at])] && is_place(bytes, at))
}

/// Bytes a place can begin with; all others are passed over at once.
static INTERESTING: [bool; 256] = {
    let mut table = [false; 256];
    let starts = *b"[{(rRdDaAcC&\\";
    let mut n = 0;
    while n < starts.len() {
        table[starts[n] as usize] = true;
        n += 1;
    }
    // First bytes of α, ɑ, and of 旋, вращ, skręc, 𝛼 and private-use alphas.
    table[0xCE] = true;
    table[0xC9] = true;
    table[0xD0] = true;
    table[0xE6] = true;
    table[0xEF] = true;
    table[0xF0] = true;
    table[0xC4] = true;
    table[0xE2] = true;
    table
};

fn is_place(bytes: &[u8], at: usize) -> bool {
    let rest = &bytes[at..];
    let folded = |word: &[u8]| rest.len() >= word.len() && rest[..word.len()].eq_ignore_ascii_case(word);
    match rest[0] {
        b'r' | b'R' => {
            folded(b"rotati")
                || folded(b"rot.")
                || folded(b"rot:")
                || folded(b"rotato")
                || folded(b"rotaz")
                || folded(b"rotaci")
                || folded(b"rotac")
                || folded(b"rotai")
        }
        b'd' | b'D' => folded(b"drehung") || folded(b"drehwert") || folded(b"drehverm"),
        // `[` and a short inside, or indices behind a symbol.
        b'[' | b'{' => bracket(&rest[1..rest.len().min(40)]),
        b'a' | b'A' => {
            folded(b"alpha")
                && rest
                    .get(5)
                    .is_some_and(|&b| matches!(b, b']' | b'D' | b'-' | b' ' | b')' | b'_' | b'('))
                || rest.starts_with(b"aD")
                || rest.starts_with("aᴅ".as_bytes())
        }
        b'c' | b'C' => rest.starts_with(b"c=") || rest.starts_with(b"c ="),
        // `(c 1.0, CHCl3)` behind a value whose symbol was a picture.
        b'(' => {
            let inside = rest[1..rest.len().min(12)].trim_ascii_start();
            matches!(inside.first(), Some(b'c' | b'C'))
                && inside.get(1).is_some_and(|&b| b" =,.0123456789".contains(&b))
        }
        b'&' => folded(b"&alpha") || folded(b"&#945") || folded(b"&#x3b1"),
        b'\\' => rest.starts_with(b"\\alpha"),
        0xCE => rest.starts_with("α".as_bytes()),
        0xC9 => rest.starts_with("ɑ".as_bytes()),
        0xD0 => rest.starts_with("вращ".as_bytes()),
        0xE6 => rest.starts_with("旋".as_bytes()),
        0xEF => rest.starts_with("\u{F061}".as_bytes()),
        0xF0 => rest.starts_with(&[0xF0, 0x9D]),
        0xC4 => rest.starts_with("ęc".as_bytes()),
        0xE2 => rest.starts_with("∝".as_bytes()) || rest.starts_with("⍺".as_bytes()),
        _ => false,
    }
}

/// Whether what follows an opening bracket may be the inside of a symbol: at most a few characters that are no digits,
/// and the letter of a line close behind.
fn bracket(rest: &[u8]) -> bool {
    let latin = rest
        .trim_ascii_start()
        .first()
        .is_some_and(|b| matches!(b, b'a' | b'A' | b'M' | b'm'))
        && rest.get(1) == Some(&b']');
    latin
        || rest
            .iter()
            .any(|b| matches!(b, b'D' | b'd' | 0xCE | 0xCF | 0xF0) || *b == 0xEF)
        || rest.windows(2).any(|pair| pair == b"Hg")
}
