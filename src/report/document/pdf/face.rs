//! The two fonts of a PDF report: which signs they have, how wide text is, and what of them a file has used.

use super::PdfError;
use crate::report::document::shown;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use subsetter::GlyphRemapper;
use unicode_normalization::UnicodeNormalization;

/// DejaVu Sans Condensed, see `data/fonts/README.md`.
const FILES: [(&str, &[u8]); 2] = [
    (
        "DejaVuSansCondensed",
        include_bytes!("../../../../data/fonts/DejaVuSansCondensed.ttf"),
    ),
    (
        "DejaVuSansCondensed-Bold",
        include_bytes!("../../../../data/fonts/DejaVuSansCondensed-Bold.ttf"),
    ),
];

/// Which of the fonts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Weight {
    Regular,
    Bold,
}

/// A font and what was used of it.
pub(super) struct Face {
    /// Its name in the file.
    pub(super) name: &'static str,
    data: &'static [u8],
    /// Its tables.
    pub(super) tables: ttf_parser::Face<'static>,
    glyphs: GlyphRemapper,
    /// The sign of each glyph used, by the glyph's number in the embedded font.
    pub(super) signs: BTreeMap<u16, char>,
}

impl Face {
    fn new((name, data): (&'static str, &'static [u8])) -> Result<Self, PdfError> {
        let tables = ttf_parser::Face::parse(data, 0).map_err(|error| PdfError::Font(format!("{name}: {error}")))?;
        Ok(Self {
            name,
            data,
            tables,
            glyphs: GlyphRemapper::new(),
            signs: BTreeMap::new(),
        })
    }

    /// A length of the font in thousandths of its size.
    pub(super) fn thousandths(&self, units: impl Into<f32>) -> f32 {
        units.into() * 1000.0 / f32::from(self.tables.units_per_em())
    }

    fn has(&self, c: char) -> bool {
        self.tables
            .glyph_index(c)
            .is_some_and(|glyph| c.is_whitespace() || self.tables.glyph_bounding_box(glyph).is_some())
    }

    fn advance(&self, c: char) -> f32 {
        let glyph = self.tables.glyph_index(c).unwrap_or_default();
        self.thousandths(self.tables.glyph_hor_advance(glyph).unwrap_or(0))
    }

    /// The widths of the glyphs used, in the order of the embedded font.
    pub(super) fn widths(&self) -> Vec<f32> {
        self.glyphs
            .remapped_gids()
            .map(|old| self.thousandths(self.tables.glyph_hor_advance(ttf_parser::GlyphId(old)).unwrap_or(0)))
            .collect()
    }

    /// The font with the used glyphs only.
    pub(super) fn embedded(&self) -> Result<Vec<u8>, PdfError> {
        subsetter::subset(self.data, 0, &self.glyphs).map_err(|error| PdfError::Font(format!("{}: {error}", self.name)))
    }
}

/// The fonts of a file.
pub(super) struct Fonts {
    /// Regular and bold.
    pub(super) faces: [Face; 2],
    /// Signs that the fonts do not have.
    pub(super) missing: BTreeSet<char>,
}

impl Fonts {
    pub(super) fn new() -> Result<Self, PdfError> {
        let [regular, bold] = FILES;
        Ok(Self {
            faces: [Face::new(regular)?, Face::new(bold)?],
            missing: BTreeSet::new(),
        })
    }

    fn face(&self, weight: Weight) -> &Face {
        &self.faces[weight as usize]
    }

    /// A text in signs that both fonts have; any other is written by its code, as in `[U+6C34]`, and remembered.
    pub(super) fn writable(&mut self, text: &str) -> String {
        let mut out = String::with_capacity(text.len());
        for c in shown(text).nfc() {
            if self.faces.iter().all(|face| face.has(c)) {
                out.push(c);
            } else {
                // Writing to a string cannot fail.
                let _ = write!(out, "[U+{:04X}]", u32::from(c));
                self.missing.insert(c);
            }
        }
        out
    }

    /// The width of a text of size 1.
    pub(super) fn width(&self, text: &str, weight: Weight) -> f32 {
        let face = self.face(weight);
        text.chars().map(|c| face.advance(c)).sum::<f32>() / 1000.0
    }

    /// A text as the numbers of its glyphs in the embedded font, two bytes each.
    pub(super) fn encode(&mut self, text: &str, weight: Weight) -> Vec<u8> {
        let face = &mut self.faces[weight as usize];
        let mut bytes = Vec::with_capacity(2 * text.len());
        for c in text.chars() {
            let glyph = face.tables.glyph_index(c).unwrap_or_default();
            let new = face.glyphs.remap(glyph.0);
            // One glyph may serve two signs; the first seen is the one that is read back, and looks the same.
            face.signs.entry(new).or_insert(c);
            bytes.extend(new.to_be_bytes());
        }
        bytes
    }
}
