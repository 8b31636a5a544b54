//! The pages as they fill: text, rules and boxes at places, and the tree that says what each of them is (tagged PDF,
//! ISO 32000-1:2008, section 14.8).

use super::PdfError;
use super::face::{Fonts, Weight};
use super::lines::{Colour, Line, Look};
use pdf_writer::types::{ArtifactSubtype, ArtifactType, StructRole};
use pdf_writer::{Content, Name, Str};

/// Width and height of A4, points.
pub(super) const PAPER: [f32; 2] = [595.28, 841.89];
/// Margins at the left and the right, at the top, and below the text, points.
pub(super) const SIDE: f32 = 48.0;
const TOP: f32 = 50.0;
const BOTTOM: f32 = 62.0;
/// Height of the foot line above the edge of the paper, points.
const FOOT: f32 = 36.0;
/// Width of the text, points.
pub(super) const WIDTH: f32 = PAPER[0] - 2.0 * SIDE;

/// Names of the fonts in the pages.
pub(super) const FONT_NAMES: [Name; 2] = [Name(b"F0"), Name(b"F1")];

/// What something in the document is.
pub(super) struct Element {
    pub(super) role: StructRole,
    pub(super) parent: usize,
    pub(super) kids: Vec<Kid>,
    /// Words for who cannot see it.
    pub(super) alt: Option<String>,
}

/// What an element consists of.
#[derive(Clone, Copy)]
pub(super) enum Kid {
    /// Another element.
    Element(usize),
    /// A part of a page.
    Mark { page: usize, id: i32 },
}

/// A heading and where it stands.
pub(super) struct Place {
    pub(super) text: String,
    pub(super) page: usize,
    /// Height from the top of the paper, points.
    pub(super) y: f32,
}

/// A page.
pub(super) struct Sheet {
    pub(super) content: Content,
    /// The element of each marked part, by its number.
    pub(super) marks: Vec<usize>,
}

impl Sheet {
    fn new() -> Self {
        Self {
            content: Content::new(),
            marks: Vec::new(),
        }
    }
}

/// The pages so far. Heights count from the top of the paper.
pub(super) struct Pages {
    pub(super) fonts: Fonts,
    /// At least one.
    pub(super) sheets: Vec<Sheet>,
    /// The elements; the first is the document.
    pub(super) elements: Vec<Element>,
    /// The headings, for the outline.
    pub(super) headings: Vec<Place>,
    open: Vec<usize>,
    /// Where the next thing is put.
    pub(super) y: f32,
}

impl Pages {
    pub(super) fn new() -> Result<Self, PdfError> {
        Ok(Self {
            fonts: Fonts::new()?,
            sheets: vec![Sheet::new()],
            elements: vec![Element {
                role: StructRole::Document,
                parent: 0,
                kids: Vec::new(),
                alt: None,
            }],
            headings: Vec::new(),
            open: vec![0],
            y: TOP,
        })
    }

    /// What is left of the page, points.
    pub(super) fn left(&self) -> f32 {
        PAPER[1] - BOTTOM - self.y
    }

    /// What a whole page holds, points.
    pub(super) const fn whole() -> f32 {
        PAPER[1] - BOTTOM - TOP
    }

    /// Notes that a heading begins here.
    pub(super) fn mark_heading(&mut self, text: String) {
        let page = self.sheets.len() - 1;
        self.headings.push(Place { text, page, y: self.y });
    }

    /// Begins a new page.
    pub(super) fn turn(&mut self) {
        self.sheets.push(Sheet::new());
        self.y = TOP;
    }

    /// Begins a new page where less than a height is left on this.
    pub(super) fn need(&mut self, height: f32) {
        if self.left() < height && self.y > TOP {
            self.turn();
        }
    }

    /// Leaves a space, except at the top of a page.
    pub(super) fn space(&mut self, height: f32) {
        if self.y > TOP {
            self.y += height;
        }
    }

    /// Begins an element inside the one that is open.
    pub(super) fn begin(&mut self, role: StructRole) -> usize {
        let parent = self.open.last().copied().unwrap_or(0);
        let new = self.elements.len();
        self.elements.push(Element {
            role,
            parent,
            kids: Vec::new(),
            alt: None,
        });
        self.elements[parent].kids.push(Kid::Element(new));
        self.open.push(new);
        new
    }

    /// Ends the element begun last.
    pub(super) fn end(&mut self) {
        self.open.pop();
    }

    /// Draws something that belongs to an element, or to nothing but the layout.
    pub(super) fn draw(&mut self, element: Option<usize>, draw: impl FnOnce(&mut Content, &mut Fonts)) {
        let page = self.sheets.len() - 1;
        let Sheet { content, marks } = &mut self.sheets[page];
        match element {
            Some(at) => {
                let id = i32::try_from(marks.len()).unwrap_or(i32::MAX);
                marks.push(at);
                let element = &mut self.elements[at];
                element.kids.push(Kid::Mark { page, id });
                content
                    .begin_marked_content_with_properties(element.role.to_name())
                    .properties()
                    .identify(id);
            }
            None => {
                content
                    .begin_marked_content_with_properties(Name(b"Artifact"))
                    .properties()
                    .artifact()
                    .kind(ArtifactType::Layout);
            }
        }
        draw(content, &mut self.fonts);
        content.end_marked_content();
    }

    /// Writes a line from a place on, its base line at the height given.
    pub(super) fn write(&mut self, element: Option<usize>, line: &Line, at: [f32; 2]) {
        self.draw(element, |content, fonts| show(content, fonts, line, at));
    }

    /// Writes lines below each other at the present height, each page as full as it goes.
    pub(super) fn write_all(&mut self, element: usize, lines: &[Line], x: f32, look: Look) {
        for line in lines {
            self.need(look.leading());
            let at = [x, self.y + look.size];
            self.write(Some(element), line, at);
            self.y += look.leading();
        }
    }

    /// A level rule of a weight at a height.
    pub(super) fn rule(&mut self, from: f32, to: f32, y: f32, look: (f32, Colour)) {
        self.draw(None, |content, _| {
            let (weight, [r, g, b]) = look;
            content.set_stroke_rgb(r, g, b).set_line_width(weight);
            content.move_to(from, up(y)).line_to(to, up(y)).stroke();
        });
    }

    /// A filled box from a corner at the top left; width and height.
    pub(super) fn filled(&mut self, corner: [f32; 2], size: [f32; 2], colour: Colour) {
        self.draw(None, |content, _| {
            content.set_fill_rgb(colour[0], colour[1], colour[2]);
            content
                .rect(corner[0], up(corner[1] + size[1]), size[0], size[1])
                .fill_nonzero();
        });
    }

    /// The foot of every page: a text at the left, and the number of the page.
    pub(super) fn feet(&mut self, text: &str, look: Look) {
        let all = self.sheets.len();
        let left = Line::of(&self.fonts, text, look);
        for page in 0..all {
            let right = Line::of(&self.fonts, &format!("Page {} of {all}", page + 1), look);
            let x = PAPER[0] - SIDE - right.width;
            let y = PAPER[1] - FOOT;
            let sheet = &mut self.sheets[page];
            sheet
                .content
                .begin_marked_content_with_properties(Name(b"Artifact"))
                .properties()
                .artifact()
                .kind(ArtifactType::Pagination)
                .subtype(ArtifactSubtype::Footer);
            show(&mut sheet.content, &mut self.fonts, &left, [SIDE, y]);
            show(&mut sheet.content, &mut self.fonts, &right, [x, y]);
            sheet.content.end_marked_content();
        }
    }
}

/// A height from the top of the paper as one from its foot.
pub(super) fn up(y: f32) -> f32 {
    PAPER[1] - y
}

/// Writes a line, its base line at the height given.
pub(super) fn show(content: &mut Content, fonts: &mut Fonts, line: &Line, [x, y]: [f32; 2]) {
    if line.pieces.is_empty() {
        return;
    }
    content.begin_text();
    for piece in &line.pieces {
        let look = piece.span.look;
        let [r, g, b] = look.colour;
        let glyphs = fonts.encode(&piece.span.text, look.weight);
        let lean = if look.slant { 0.21 } else { 0.0 };
        content
            .set_font(FONT_NAMES[usize::from(look.weight == Weight::Bold)], look.size)
            .set_fill_rgb(r, g, b)
            .set_text_matrix([1.0, 0.0, lean, 1.0, x + piece.x, up(y) + look.rise * look.size])
            .show(Str(&glyphs));
    }
    content.end_text();
}
