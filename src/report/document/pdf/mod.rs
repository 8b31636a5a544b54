//! A report as PDF: A4, tagged, with its fonts inside. The same document gives the same bytes.

mod face;
mod figure;
mod file;
mod lines;
mod pages;
mod table;

use super::{Block, Document, Grid, SourceLine, shown};
use figure::Drawing;
use lines::{Colour, Look, Span, wrap};
use pages::{Pages, SIDE, WIDTH};
use pdf_writer::types::StructRole;

const INK: Colour = [0.114, 0.129, 0.161];
const QUIET: Colour = [0.337, 0.365, 0.412];
const RULE: Colour = [0.788, 0.780, 0.749];
/// Text, headings, the title, and small text.
const TEXT: Look = Look::new(9.5, INK);
const HEADING: Look = Look::new(11.5, INK).bold();
const TITLE: Look = Look::new(16.0, INK).bold();
const SMALL: Look = Look::new(8.0, QUIET);

/// Why a PDF could not be written.
#[derive(Debug, thiserror::Error)]
pub(super) enum PdfError {
    /// A font of the program cannot be read.
    #[error("the font {0}")]
    Font(String),
    /// A part cannot be packed.
    #[error("a part cannot be packed: {0}")]
    Packing(String),
}

/// A colour between two; `part` of the first.
fn mix(one: Colour, other: Colour, part: f32) -> Colour {
    [0, 1, 2].map(|at| one[at] * part + other[at] * (1.0 - part))
}

/// Writes the report.
pub(super) fn write(document: &Document) -> Result<Vec<u8>, PdfError> {
    let mut pages = Pages::new()?;
    paragraph(&mut pages, StructRole::P, &document.kind, Look::new(9.0, QUIET));
    paragraph(&mut pages, StructRole::H1, &document.title, TITLE);
    let made = format!("Made on {}", document.made_on);
    paragraph(&mut pages, StructRole::P, &made, Look::new(9.0, QUIET));
    pages.space(6.0);
    for (at, block) in document.blocks.iter().enumerate() {
        write_block(&mut pages, block, document.blocks.get(at + 1));
    }
    pages.space(8.0);
    heading(&mut pages, "Where this comes from", 30.0);
    pairs(&mut pages, &document.provenance, Look::new(8.0, INK));
    told_missing(&mut pages);
    let digest = (document.provenance.iter())
        .find(|(name, _)| name == "Digest")
        .and_then(|(_, text)| text.split_whitespace().next());
    let foot = digest.map(|digest| format!("Digest {digest}")).unwrap_or_default();
    let foot = pages.fonts.writable(&foot);
    pages.feet(&foot, Look::new(7.0, QUIET));
    file::assemble(document, pages)
}

/// Says which signs are written by their codes.
fn told_missing(pages: &mut Pages) {
    let missing: Vec<String> = (pages.fonts.missing.iter())
        .map(|c| format!("U+{:04X}", u32::from(*c)))
        .collect();
    if missing.is_empty() {
        return;
    }
    let most = 40;
    let more = if missing.len() > most { " and others" } else { "" };
    let shown: Vec<&str> = missing.iter().take(most).map(String::as_str).collect();
    let text = format!(
        "Signs that the fonts of this file do not have are written by their Unicode numbers: {}{more}. The HTML and Markdown \
         forms of the report hold the signs themselves.",
        shown.join(", ")
    );
    paragraph(pages, StructRole::P, &text, SMALL);
}

fn write_block(pages: &mut Pages, block: &Block, next: Option<&Block>) {
    match block {
        Block::Heading { text } => {
            pages.space(9.0);
            let below = next.map_or(0.0, |next| beginning(pages, next));
            heading(pages, text, below);
        }
        Block::Verdict { code, tone, sentence } => verdict(pages, code, tone, sentence),
        Block::Facts { rows } => {
            pairs(pages, rows, TEXT);
            pages.space(6.0);
        }
        Block::Paragraph { text } => {
            paragraph(pages, StructRole::P, text, TEXT);
            pages.space(4.0);
        }
        Block::Points { items } => {
            let items: Vec<_> = items.iter().map(|item| ("•".to_owned(), item.clone())).collect();
            list(pages, &items);
        }
        Block::Figure { title, svg, table } => figure(pages, title, svg, table),
        Block::Table { table, .. } => table::write(pages, table),
        Block::Sources { items } => {
            let items: Vec<_> = (items.iter().enumerate())
                .map(|(at, item)| (format!("{}.", at + 1), source(item)))
                .collect();
            list(pages, &items);
        }
        Block::Line { label, text, set } => {
            let html = set.as_ref().map(|set| set.html.as_str());
            line_to_copy(pages, label, text, html);
        }
    }
}

/// How much of a block must stand below its heading, points.
fn beginning(pages: &mut Pages, block: &Block) -> f32 {
    match block {
        Block::Figure { svg, .. } => Drawing::read(svg).map_or(40.0, |drawing| drawing.height() + 20.0),
        Block::Table { table, .. } => table::beginning(pages, table),
        _ => 30.0,
    }
}

fn source(source: &SourceLine) -> String {
    // Written out, for a reader of PDF makes a link of an address that it can see.
    let doi = (source.doi.as_ref()).map_or_else(String::new, |doi| format!(" https://doi.org/{doi}"));
    format!("{}{doi} ({})", source.citation, source.entries)
}

fn spans(pages: &mut Pages, text: &str, look: Look) -> [Span; 1] {
    let text = pages.fonts.writable(text);
    [Span { text, look }]
}

fn heading(pages: &mut Pages, text: &str, below: f32) {
    let spans = spans(pages, text, HEADING);
    let lines = wrap(&pages.fonts, &spans, WIDTH);
    pages.need(lines.len() as f32 * HEADING.leading() + below + 4.0);
    pages.mark_heading(shown(text));
    let element = pages.begin(StructRole::H2);
    pages.write_all(element, &lines, SIDE, HEADING);
    pages.end();
    pages.space(2.0);
}

fn paragraph(pages: &mut Pages, role: StructRole, text: &str, look: Look) {
    let spans = spans(pages, text, look);
    let lines = wrap(&pages.fonts, &spans, WIDTH);
    let element = pages.begin(role);
    pages.write_all(element, &lines, SIDE, look);
    pages.end();
}

/// The verdict behind a bar in the colour of its tone.
fn verdict(pages: &mut Pages, code: &str, tone: &str, sentence: &str) {
    const INSET: f32 = 14.0;
    let colour = match tone {
        "good" => [0.110, 0.420, 0.227],
        "warn" => [0.541, 0.353, 0.0],
        "bad" => [0.639, 0.137, 0.122],
        _ => [0.302, 0.333, 0.388],
    };
    let strong = Look::new(11.0, colour).bold();
    let look = Look::new(10.0, INK);
    let head = spans(pages, code, strong);
    let head = wrap(&pages.fonts, &head, WIDTH - INSET);
    let body = spans(pages, sentence, look);
    let body = wrap(&pages.fonts, &body, WIDTH - INSET);
    let height = head.len() as f32 * strong.leading() + body.len() as f32 * look.leading() + 6.0;
    let fits = height < Pages::whole();
    if fits {
        pages.need(height);
        let corner = [SIDE, pages.y];
        pages.filled(corner, [5.0, height], colour);
    }
    pages.y += 2.0;
    pages.begin(StructRole::Sect);
    for (lines, look) in [(head, strong), (body, look)] {
        let element = pages.begin(StructRole::P);
        pages.write_all(element, &lines, SIDE + INSET, look);
        pages.end();
    }
    pages.end();
    pages.space(10.0);
}

/// Names and texts side by side.
fn pairs(pages: &mut Pages, rows: &[(String, String)], look: Look) {
    if rows.is_empty() {
        return;
    }
    let quiet = Look { colour: QUIET, ..look };
    let widest = (rows.iter())
        .map(|(name, _)| pages.fonts.width(name, quiet.weight) * quiet.size)
        .fold(0.0, f32::max);
    list_of(pages, rows, [quiet, look], widest.clamp(60.0, 150.0) + 12.0);
}

/// Points or numbered items.
fn list(pages: &mut Pages, items: &[(String, String)]) {
    let inset = if items.len() > 9 { 20.0 } else { 14.0 };
    list_of(pages, items, [TEXT, TEXT], inset);
    pages.space(4.0);
}

/// A list of labels and texts, the texts beginning at an inset.
fn list_of(pages: &mut Pages, rows: &[(String, String)], looks: [Look; 2], inset: f32) {
    pages.begin(StructRole::L);
    for (label, text) in rows {
        let label = spans(pages, label, looks[0]);
        let label = wrap(&pages.fonts, &label, inset - 4.0);
        let text = spans(pages, text, looks[1]);
        let text = wrap(&pages.fonts, &text, WIDTH - inset);
        // Two lines of an item stay together.
        pages.need(label.len().max(text.len().min(2)) as f32 * looks[1].leading());
        pages.begin(StructRole::LI);
        let (page, top) = (pages.sheets.len(), pages.y);
        let element = pages.begin(StructRole::Lbl);
        pages.write_all(element, &label, SIDE, looks[0]);
        pages.end();
        let below = pages.y;
        if pages.sheets.len() == page {
            pages.y = top;
        }
        let element = pages.begin(StructRole::LBody);
        pages.write_all(element, &text, SIDE + inset, looks[1]);
        pages.end();
        pages.end();
        if pages.sheets.len() == page {
            pages.y = pages.y.max(below);
        }
        pages.y += 1.5;
    }
    pages.end();
}

/// A drawing with its title above; its numbers are told to who cannot see it. What cannot be drawn is told in numbers.
fn figure(pages: &mut Pages, title: &str, svg: &str, table: &Grid) {
    if svg.is_empty() {
        return;
    }
    let Some(drawing) = Drawing::read(svg) else {
        paragraph(
            pages,
            StructRole::P,
            "The drawing cannot be shown in this form; its numbers:",
            TEXT,
        );
        table::write(pages, table);
        return;
    };
    let look = Look::new(8.5, QUIET);
    let spans = spans(pages, title, look);
    let lines = wrap(&pages.fonts, &spans, WIDTH);
    pages.need(lines.len() as f32 * look.leading() + drawing.height() + 6.0);
    pages.begin(StructRole::Sect);
    let element = pages.begin(StructRole::Caption);
    pages.write_all(element, &lines, SIDE, look);
    pages.end();
    pages.y += 2.0;
    let element = pages.begin(StructRole::Figure);
    let numbers: Vec<String> = (table.rows.iter())
        .map(|row| {
            let cells = row.iter().zip(&table.columns);
            let told = cells.map(|(cell, head)| format!("{} {cell}", head.text));
            told.collect::<Vec<_>>().join(", ")
        })
        .collect();
    let told = if numbers.is_empty() {
        title.to_owned()
    } else {
        format!("{title}: {}", numbers.join("; "))
    };
    pages.elements[element].alt = Some(shown(&told));
    drawing.draw(pages, element);
    pages.end();
    pages.end();
    pages.space(8.0);
}

/// A line to copy, between two rules, with its marks set where they are known.
fn line_to_copy(pages: &mut Pages, label: &str, text: &str, html: Option<&str>) {
    let small = Look::new(8.5, QUIET);
    let label = spans(pages, label, small);
    let label = wrap(&pages.fonts, &label, WIDTH);
    let marked = html.and_then(|html| set(html, TEXT));
    let mut line = marked.unwrap_or_else(|| {
        vec![Span {
            text: text.to_owned(),
            look: TEXT,
        }]
    });
    for span in &mut line {
        span.text = pages.fonts.writable(&span.text);
    }
    let line = wrap(&pages.fonts, &line, WIDTH);
    let height = label.len() as f32 * small.leading() + line.len() as f32 * (TEXT.leading() + 1.0) + 10.0;
    pages.need(height.min(Pages::whole()));
    let y = pages.y;
    pages.rule(SIDE, SIDE + WIDTH, y, (0.6, RULE));
    pages.y += 4.0;
    for (lines, look) in [(label, small), (line, TEXT)] {
        let element = pages.begin(StructRole::P);
        pages.write_all(element, &lines, SIDE, look);
        pages.end();
    }
    let y = pages.y + 4.0;
    pages.rule(SIDE, SIDE + WIDTH, y, (0.6, RULE));
    pages.y = y;
    pages.space(8.0);
}

/// The line that the writer of statements sets in HTML with `i`, `sub` and `sup`; none where it holds anything else.
fn set(html: &str, look: Look) -> Option<Vec<Span>> {
    let mut spans = Vec::new();
    let (mut slant, mut rise) = (false, 0i8);
    let mut rest = html;
    loop {
        let (text, tail) = rest
            .split_once('<')
            .map_or((rest, None), |(text, tail)| (text, Some(tail)));
        if !text.is_empty() {
            spans.push(Span {
                text: plain(text)?,
                look: Look {
                    slant,
                    size: if rise == 0 { look.size } else { look.size * 0.7 },
                    rise: match rise {
                        0 => 0.0,
                        1.. => 0.5,
                        _ => -0.25,
                    },
                    ..look
                },
            });
        }
        let Some(tail) = tail else { return Some(spans) };
        let (tag, after) = tail.split_once('>')?;
        match tag {
            "i" => slant = true,
            "/i" => slant = false,
            "sup" => rise = 1,
            "sub" => rise = -1,
            "/sup" | "/sub" => rise = 0,
            _ => return None,
        }
        rest = after;
    }
}

/// Text with its escaped signs put back; none where there are others.
fn plain(text: &str) -> Option<String> {
    const ESCAPED: [(&str, char); 6] = [
        ("&amp;", '&'),
        ("&lt;", '<'),
        ("&gt;", '>'),
        ("&quot;", '"'),
        ("&#39;", '\''),
        ("&nbsp;", '\u{a0}'),
    ];
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('&') {
        out.push_str(&rest[..at]);
        let (name, sign) = ESCAPED.iter().find(|(name, _)| rest[at..].starts_with(name))?;
        out.push(*sign);
        rest = &rest[at + name.len()..];
    }
    out.push_str(rest);
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_of_a_set_line_become_looks() {
        let spans = set("[<i>α</i>]<sub>D</sub><sup>20</sup> −5.0 (a &lt; b)", TEXT).expect("it is read");
        let told: Vec<(&str, bool, f32)> = (spans.iter())
            .map(|span| (span.text.as_str(), span.look.slant, span.look.rise))
            .collect();
        assert_eq!(
            told,
            [
                ("[", false, 0.0),
                ("α", true, 0.0),
                ("]", false, 0.0),
                ("D", false, -0.25),
                ("20", false, 0.5),
                (" −5.0 (a < b)", false, 0.0),
            ]
        );
        for other in ["<b>x</b>", "a & b", "a < b"] {
            assert!(set(other, TEXT).is_none(), "{other}");
        }
    }
}
