//! Text into lines of a width.

use super::face::{Fonts, Weight};

/// A colour: red, green and blue from 0 to 1.
pub(super) type Colour = [f32; 3];

/// How text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Look {
    pub(super) weight: Weight,
    /// Size, points.
    pub(super) size: f32,
    pub(super) colour: Colour,
    /// How far it is raised, in sizes of it; negative for lowered text.
    pub(super) rise: f32,
    /// Whether it leans.
    pub(super) slant: bool,
}

impl Look {
    pub(super) const fn new(size: f32, colour: Colour) -> Self {
        Self {
            weight: Weight::Regular,
            size,
            colour,
            rise: 0.0,
            slant: false,
        }
    }

    pub(super) const fn bold(self) -> Self {
        Self {
            weight: Weight::Bold,
            ..self
        }
    }

    /// The distance from one line to the next, points.
    pub(super) fn leading(self) -> f32 {
        self.size * 1.36
    }
}

/// Text of one look.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Span {
    pub(super) text: String,
    pub(super) look: Look,
}

/// Text at a place in a line.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Piece {
    /// Where it begins, points from the beginning of the line.
    pub(super) x: f32,
    pub(super) span: Span,
}

/// A line.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Line {
    pub(super) pieces: Vec<Piece>,
    /// Its width without a space at its end, points.
    pub(super) width: f32,
}

impl Line {
    /// A line of one look, not broken.
    pub(super) fn of(fonts: &Fonts, text: &str, look: Look) -> Self {
        let mut line = Self::default();
        line.push(fonts, text, look);
        line
    }

    fn push(&mut self, fonts: &Fonts, text: &str, look: Look) {
        let x = self.width;
        self.width += fonts.width(text, look.weight) * look.size;
        match self.pieces.last_mut() {
            Some(last) if last.span.look == look => last.span.text.push_str(text),
            _ => self.pieces.push(Piece {
                x,
                span: Span {
                    text: text.to_owned(),
                    look,
                },
            }),
        }
    }

    /// A space at the end of a broken line, which keeps the words apart where the text is read back.
    fn end_with_space(&mut self) {
        if let Some(last) = self.pieces.last_mut() {
            last.span.text.push(' ');
        }
    }
}

/// A word: text between places where a line may be broken.
#[derive(Default)]
struct Word {
    parts: Vec<Span>,
    width: f32,
}

/// Whether a line may be broken at this sign.
fn is_space(c: char) -> bool {
    c.is_whitespace() && !matches!(c, '\u{a0}' | '\u{202f}' | '\u{2007}')
}

/// Text in lines of at most a width. A word that is wider is broken, behind a hyphen or a comma where there is one.
pub(super) fn wrap(fonts: &Fonts, spans: &[Span], width: f32) -> Vec<Line> {
    let mut lines = Vec::new();
    let mut line = Line::default();
    for word in words(fonts, spans) {
        let look = word.parts[0].look;
        let space = fonts.width(" ", look.weight) * look.size;
        if !line.pieces.is_empty() {
            if line.width + space + word.width <= width {
                line.push(fonts, " ", look);
            } else {
                line.end_with_space();
                lines.push(std::mem::take(&mut line));
            }
        }
        if word.width <= width {
            for part in word.parts {
                line.push(fonts, &part.text, part.look);
            }
        } else {
            break_word(fonts, &word, width, &mut line, &mut lines);
        }
    }
    if !line.pieces.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

/// The width of the widest word of a text, points.
pub(super) fn widest_word(fonts: &Fonts, text: &str, look: Look) -> f32 {
    let text = text.to_owned();
    let words = words(fonts, &[Span { text, look }]);
    words.iter().map(|word| word.width).fold(0.0, f32::max)
}

/// Units that stay with the number before them.
const UNITS: [&str; 10] = ["°C", "nm", "%", "°", "mm", "mL", "g", "mg", "dm", "deg"];

fn words(fonts: &Fonts, spans: &[Span]) -> Vec<Word> {
    let mut words = Vec::new();
    let mut word = Word::default();
    for span in spans {
        let mut after_number = false;
        for (at, text) in span.text.split(is_space).enumerate() {
            let bare = text.trim_end_matches([',', ';', '.', ')', ':']);
            let glued = format!(" {text}");
            let stays = after_number && UNITS.contains(&bare);
            if at > 0 && !stays && !word.parts.is_empty() {
                words.push(std::mem::take(&mut word));
            }
            after_number = text.ends_with(|c: char| c.is_ascii_digit());
            let text = if stays { glued.as_str() } else { text };
            if !text.is_empty() {
                word.width += fonts.width(text, span.look.weight) * span.look.size;
                word.parts.push(Span {
                    text: text.to_owned(),
                    look: span.look,
                });
            }
        }
    }
    if !word.parts.is_empty() {
        words.push(word);
    }
    words
}

/// Breaks a word that is wider than a line.
fn break_word(fonts: &Fonts, word: &Word, width: f32, line: &mut Line, lines: &mut Vec<Line>) {
    for part in &word.parts {
        let mut rest = part.text.as_str();
        while !rest.is_empty() {
            let cut = fitting(fonts, rest, part.look, width - line.width, line.pieces.is_empty());
            let (now, later) = rest.split_at(cut);
            if !now.is_empty() {
                line.push(fonts, now, part.look);
            }
            rest = later;
            if !rest.is_empty() {
                lines.push(std::mem::take(line));
            }
        }
    }
}

/// How many bytes of a text go into a space; at least one sign where the line is empty.
fn fitting(fonts: &Fonts, text: &str, look: Look, space: f32, is_first: bool) -> usize {
    let mut used = 0.0;
    let mut cut = 0;
    let mut good_cut = 0;
    for (at, c) in text.char_indices() {
        used += fonts.width(c.encode_utf8(&mut [0; 4]), look.weight) * look.size;
        if used > space && !(is_first && at == 0) {
            // A break behind a hyphen or a comma is taken where it does not leave most of the line empty.
            return if good_cut * 2 > cut { good_cut } else { cut };
        }
        cut = at + c.len_utf8();
        if matches!(c, '-' | '\u{2010}' | ',' | ';' | '/' | ')' | ']' | '_' | '&' | '=') {
            good_cut = cut;
        }
    }
    cut
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOK: Look = Look::new(10.0, [0.0; 3]);

    fn wrapped(text: &str, width: f32) -> Vec<String> {
        let fonts = Fonts::new().expect("the fonts are in the program");
        let span = Span {
            text: text.to_owned(),
            look: LOOK,
        };
        let lines = wrap(&fonts, &[span], width);
        for line in &lines {
            assert!(line.width <= width || line.pieces[0].span.text.trim().chars().count() == 1);
        }
        lines
            .iter()
            .map(|line| line.pieces.iter().map(|piece| piece.span.text.as_str()).collect())
            .collect()
    }

    #[test]
    fn no_sign_is_lost_in_breaking() {
        for text in [
            "(1R,2S,5R)-2-isopropyl-5-methylcyclohexan-1-ol in ethanol",
            "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa",
            "",
            "a b",
        ] {
            for width in [1.0, 30.0, 80.0, 1000.0] {
                assert_eq!(wrapped(text, width).concat(), text, "{width}");
            }
        }
    }

    #[test]
    fn a_number_keeps_its_unit() {
        assert_eq!(wrapped("measured at 25", 72.0).len(), 1, "the number itself would fit");
        let lines = wrapped("measured at 25 °C, in water", 72.0);
        assert_eq!(lines, ["measured at ", "25 °C, in water"]);
    }

    #[test]
    fn a_long_name_is_broken_behind_a_hyphen() {
        let lines = wrapped("(1R,2S,5R)-2-isopropyl-5-methylcyclohexan-1-ol", 100.0);
        assert!(lines[0].ends_with('-'), "{lines:?}");
    }
}
