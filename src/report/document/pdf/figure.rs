//! The drawings of a report, which are SVG of this program's own making ([`crate::report::svg`]), as vector drawings.

use super::lines::{Colour, Line, Look};
use super::pages::{PAPER, Pages, SIDE, show, up};
use super::{INK, QUIET, mix};
use pdf_writer::Content;
use quick_xml::events::{BytesStart, Event};

/// Width of a drawing on paper, points.
const WIDTH: f32 = 430.0;

/// A drawing that was read.
pub(super) struct Drawing {
    width: f32,
    height: f32,
    shapes: Vec<Shape>,
}

/// A part of a drawing, with the classes of its group and its own.
struct Shape {
    class: String,
    form: Shaped,
}

enum Shaped {
    Line([f32; 4]),
    Circle([f32; 3]),
    Path {
        corners: Vec<[f32; 2]>,
        is_closed: bool,
    },
    Text {
        at: [f32; 2],
        anchor: String,
        is_upright: bool,
        words: String,
    },
}

impl Drawing {
    /// Reads a drawing; none where it is not one that this program makes.
    pub(super) fn read(svg: &str) -> Option<Self> {
        let mut reader = quick_xml::Reader::from_str(svg);
        let mut drawing = Self {
            width: 0.0,
            height: 0.0,
            shapes: Vec::new(),
        };
        let mut groups: Vec<String> = Vec::new();
        let mut words: Option<Shape> = None;
        loop {
            match reader.read_event().ok()? {
                Event::Start(tag) => match tag.name().as_ref() {
                    "svg" => {
                        let view = attribute(&tag, "viewBox")?;
                        let view: Vec<f32> = view.split(' ').filter_map(|part| part.parse().ok()).collect();
                        let [_, _, width, height] = view.try_into().ok()?;
                        (drawing.width, drawing.height) = (width, height);
                    }
                    "g" => groups.push(attribute(&tag, "class").unwrap_or_default()),
                    "text" => words = Some(text(&tag, &groups)?),
                    // Titles are for the pointer.
                    _ => {}
                },
                Event::Empty(tag) => drawing.shapes.push(shape(&tag, &groups)?),
                Event::Text(part) => {
                    if let Some(Shape {
                        form: Shaped::Text { words, .. },
                        ..
                    }) = &mut words
                    {
                        words.push_str(&part);
                    }
                }
                Event::GeneralRef(name) => {
                    if let Some(Shape {
                        form: Shaped::Text { words, .. },
                        ..
                    }) = &mut words
                    {
                        words.push(entity(&name)?);
                    }
                }
                Event::End(tag) => match tag.name().as_ref() {
                    "g" => {
                        groups.pop();
                    }
                    "text" => drawing.shapes.extend(words.take()),
                    "svg" => break,
                    _ => {}
                },
                Event::Eof => return None,
                _ => {}
            }
        }
        (drawing.width > 0.0 && drawing.height > 0.0).then_some(drawing)
    }

    fn scale(&self) -> f32 {
        (WIDTH / self.width).min((Pages::whole() - 40.0) / self.height)
    }

    /// Its height on paper, points.
    pub(super) fn height(&self) -> f32 {
        self.height * self.scale()
    }

    /// Draws it at the present height.
    pub(super) fn draw(mut self, pages: &mut Pages, element: usize) {
        for shape in &mut self.shapes {
            if let Shaped::Text { words, .. } = &mut shape.form {
                *words = pages.fonts.writable(words);
            }
        }
        let scale = self.scale();
        let top = pages.y;
        pages.draw(Some(element), |content, fonts| {
            content.save_state();
            content.transform([scale, 0.0, 0.0, scale, SIDE, up(top) - PAPER[1] * scale]);
            for shape in &self.shapes {
                let Shaped::Text {
                    at,
                    anchor,
                    is_upright,
                    words,
                } = &shape.form
                else {
                    paint(content, shape);
                    continue;
                };
                let look = if shape.class.contains("tick") {
                    Look::new(11.0, QUIET)
                } else {
                    Look::new(12.0, INK)
                };
                let line = Line::of(fonts, words, look);
                let aside = match anchor.as_str() {
                    "end" => -line.width,
                    "middle" => -line.width / 2.0,
                    _ => 0.0,
                };
                if *is_upright {
                    content.save_state();
                    content.transform([0.0, 1.0, -1.0, 0.0, at[0], up(at[1])]);
                    show(content, fonts, &line, [aside, PAPER[1]]);
                    content.restore_state();
                } else {
                    show(content, fonts, &line, [at[0] + aside, at[1]]);
                }
            }
            content.restore_state();
        });
        pages.y += self.height();
    }
}

fn attribute(tag: &BytesStart, name: &str) -> Option<String> {
    let attribute = tag.try_get_attribute(name).ok()??;
    Some(attribute.value.into_owned())
}

fn number(tag: &BytesStart, name: &str) -> Option<f32> {
    attribute(tag, name)?
        .parse()
        .ok()
        .filter(|value: &f32| value.is_finite())
}

fn class(tag: &BytesStart, groups: &[String]) -> String {
    let own = attribute(tag, "class").unwrap_or_default();
    format!("{} {own}", groups.join(" "))
}

/// A sign written by its name or number.
fn entity(name: &str) -> Option<char> {
    match name {
        "amp" => Some('&'),
        "lt" => Some('<'),
        "gt" => Some('>'),
        "quot" => Some('"'),
        "apos" => Some('\''),
        _ => char::from_u32(name.strip_prefix('#')?.parse().ok()?),
    }
}

fn text(tag: &BytesStart, groups: &[String]) -> Option<Shape> {
    let turned = attribute(tag, "transform");
    let at = match &turned {
        // translate(x y) rotate(-90)
        Some(turned) => {
            let inside = turned.strip_prefix("translate(")?.split_once(')')?.0;
            let (x, y) = inside.split_once(' ')?;
            [x.parse().ok()?, y.parse().ok()?]
        }
        None => [number(tag, "x")?, number(tag, "y")?],
    };
    Some(Shape {
        class: class(tag, groups),
        form: Shaped::Text {
            at,
            anchor: attribute(tag, "text-anchor").unwrap_or_default(),
            is_upright: turned.is_some(),
            words: String::new(),
        },
    })
}

/// A shape; none for what cannot be read.
fn shape(tag: &BytesStart, groups: &[String]) -> Option<Shape> {
    let form = match tag.name().as_ref() {
        "line" => {
            let [x1, y1, x2, y2] = ["x1", "y1", "x2", "y2"].map(|name| number(tag, name));
            Shaped::Line([x1?, y1?, x2?, y2?])
        }
        "circle" => Shaped::Circle([number(tag, "cx")?, number(tag, "cy")?, number(tag, "r")?]),
        "path" => {
            let (corners, is_closed) = path(&attribute(tag, "d")?)?;
            Shaped::Path { corners, is_closed }
        }
        _ => return None,
    };
    Some(Shape {
        class: class(tag, groups),
        form,
    })
}

/// The corners of a path of straight lines (`M`, `L`, `l` and `z`), and whether it is closed.
fn path(d: &str) -> Option<(Vec<[f32; 2]>, bool)> {
    let mut corners: Vec<[f32; 2]> = Vec::new();
    let mut is_closed = false;
    let mut rest = d;
    while let Some(step) = rest.chars().next() {
        let after = rest.get(1..)?;
        let end = after.find(|c: char| c.is_ascii_alphabetic()).unwrap_or(after.len());
        let (numbers, next) = after.split_at(end);
        rest = next;
        if step == 'z' {
            is_closed = true;
            continue;
        }
        // A minus may stand for the space.
        let spaced = numbers.trim().replace('-', " -");
        let mut parts = spaced.split_whitespace().map(str::parse::<f32>);
        let (x, y) = (parts.next()?.ok()?, parts.next()?.ok()?);
        let from = match step {
            'M' | 'L' => [0.0, 0.0],
            'l' => *corners.last()?,
            _ => return None,
        };
        corners.push([from[0] + x, from[1] + y]);
    }
    Some((corners, is_closed))
}

/// How a shape is painted: the fill, the line and its weight, and whether it is dashed.
struct Paint {
    fill: Option<Colour>,
    line: Colour,
    weight: f32,
    is_dashed: bool,
}

const OWN: Colour = [0.043, 0.310, 0.541];
const MIRROR: Colour = [0.639, 0.267, 0.122];
const BAND: Colour = [0.561, 0.592, 0.647];
const GRID: Colour = [0.894, 0.886, 0.855];
const PAPER_COLOUR: Colour = [1.0, 1.0, 1.0];

fn look(class: &str) -> Paint {
    let is = |word: &str| class.split_whitespace().any(|part| part == word);
    let paint = |fill, line, weight| Paint {
        fill,
        line,
        weight,
        is_dashed: false,
    };
    if is("bar") {
        return match () {
            () if is("measured") => paint(Some(INK), INK, 4.0),
            () if is("band") => paint(None, mix(BAND, PAPER_COLOUR, 0.6), 9.0),
            () if is("mirror") => paint(Some(MIRROR), MIRROR, 2.0),
            () if is("reference") => paint(Some(PAPER_COLOUR), OWN, 2.0),
            () => paint(Some(OWN), OWN, 3.0),
        };
    }
    if is("dot") {
        let own = if is("mirror") || is("alarm") { MIRROR } else { OWN };
        return paint((!is("listed")).then_some(own), own, 1.6);
    }
    match () {
        () if is("grid") => paint(None, GRID, 1.0),
        () if is("zero") || is("limit") => Paint {
            is_dashed: true,
            ..paint(None, BAND, 1.0)
        },
        () if is("curve") => paint(None, MIRROR, 2.0),
        () => paint(None, QUIET, 1.0),
    }
}

fn paint(content: &mut Content, shape: &Shape) {
    let look = look(&shape.class);
    let [r, g, b] = look.line;
    content.set_stroke_rgb(r, g, b).set_line_width(look.weight);
    if look.is_dashed {
        content.set_dash_pattern([4.0, 3.0], 0.0);
    }
    if let Some([r, g, b]) = look.fill {
        content.set_fill_rgb(r, g, b);
    }
    let is_area = match &shape.form {
        Shaped::Line([x1, y1, x2, y2]) => {
            content.move_to(*x1, up(*y1)).line_to(*x2, up(*y2));
            false
        }
        Shaped::Circle(circle) => {
            trace_circle(content, *circle);
            true
        }
        Shaped::Path { corners, is_closed } => {
            for (at, [x, y]) in corners.iter().enumerate() {
                if at == 0 {
                    content.move_to(*x, up(*y));
                } else {
                    content.line_to(*x, up(*y));
                }
            }
            if *is_closed {
                content.close_path();
            }
            *is_closed
        }
        Shaped::Text { .. } => return,
    };
    // A mark on a bar has no line of its own, or it would grow with the bar's weight; a hollow one has.
    let is_solid_mark = shape.class.contains("bar") && !shape.class.contains("reference");
    match (is_area && look.fill.is_some(), is_solid_mark) {
        (true, true) => content.fill_nonzero(),
        (true, false) => content.fill_nonzero_and_stroke(),
        (false, _) => content.stroke(),
    };
    if look.is_dashed {
        content.set_dash_pattern([], 0.0);
    }
}

/// A circle of four curves; 0.5523 brings each within 0.03 % of the arc (common practice).
fn trace_circle(content: &mut Content, [x, y, r]: [f32; 3]) {
    let (y, k) = (up(y), 0.5523 * r);
    content.move_to(x + r, y);
    content.cubic_to(x + r, y + k, x + k, y + r, x, y + r);
    content.cubic_to(x - k, y + r, x - r, y + k, x - r, y);
    content.cubic_to(x - r, y - k, x - k, y - r, x, y - r);
    content.cubic_to(x + k, y - r, x + r, y - k, x + r, y);
    content.close_path();
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::svg::{Bar, number_line};

    #[test]
    fn drawings_of_this_program_are_read_whole() {
        let bar = |class, value| Bar {
            label: "a < b & c".to_owned(),
            class,
            value: Some(value),
            ends: [value - 1.0, value + 1.0],
        };
        let svg = number_line("n", "title", "axis", &[bar("measured", 1.0), bar("reference", 2.0)]);
        let drawing = Drawing::read(&svg).expect("it is one");
        let words: Vec<&str> = (drawing.shapes.iter())
            .filter_map(|shape| match &shape.form {
                Shaped::Text { words, .. } => Some(words.as_str()),
                _ => None,
            })
            .collect();
        assert_eq!(
            words.iter().filter(|words| **words == "a < b & c").count(),
            2,
            "{words:?}"
        );
        assert_eq!(drawing.shapes.len(), svg.matches("<line").count() + 2 + words.len());
        for wrong in ["", "<svg>", "<svg viewBox=\"0 0 a b\"></svg>", "<p>words</p>"] {
            assert!(Drawing::read(wrong).is_none(), "{wrong}");
        }
    }
}
