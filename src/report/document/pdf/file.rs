//! The file: fonts, pages, what everything is, and what the document says of itself (ISO 32000-1:2008).

use super::PdfError;
use super::face::Face;
use super::pages::{Element, FONT_NAMES, Kid, PAPER, Pages, Place, up};
use crate::report::document::{Document, shown};
use flate2::Compression;
use flate2::write::ZlibEncoder;
use pdf_writer::types::{CidFontType, FontFlags, StructRole, SystemInfo, TableHeaderScope, UnicodeCmap};
use pdf_writer::writers::StructTreeRoot;
use pdf_writer::{Date, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use sha2::{Digest, Sha256};
use std::io::Write;

const IDENTITY: SystemInfo = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"Identity"),
    supplement: 0,
};

/// Numbers of the objects.
struct Numbers(i32);

impl Numbers {
    fn next(&mut self) -> Ref {
        self.0 += 1;
        Ref::new(self.0)
    }
}

/// Puts the file together.
pub(super) fn assemble(document: &Document, pages: Pages) -> Result<Vec<u8>, PdfError> {
    let mut numbers = Numbers(0);
    let [catalog, tree, info, root] = [(); 4].map(|()| numbers.next());
    let fonts = [(); 2].map(|()| numbers.next());
    let sheets: Vec<[Ref; 2]> = (pages.sheets.iter())
        .map(|_| [numbers.next(), numbers.next()])
        .collect();
    let elements: Vec<Ref> = pages.elements.iter().map(|_| numbers.next()).collect();
    let parents: Vec<Ref> = pages.sheets.iter().map(|_| numbers.next()).collect();
    let headings: Vec<Ref> = pages.headings.iter().map(|_| numbers.next()).collect();
    let outline = numbers.next();

    let mut pdf = Pdf::new();
    pdf.set_version(1, 7);
    let mut entries = pdf.catalog(catalog);
    entries.pages(tree).lang(TextStr("en")).outlines(outline);
    entries.viewer_preferences().display_doc_title(true);
    entries.mark_info().marked(true);
    entries.pair(Name(b"StructTreeRoot"), root);
    entries.finish();
    let mut structure = pdf.indirect(root).start::<StructTreeRoot>();
    structure.child(elements[0]);
    let mut by_page = structure.parent_tree();
    let mut list = by_page.nums();
    for (at, parent) in parents.iter().enumerate() {
        list.insert(count(at), *parent);
    }
    list.finish();
    by_page.finish();
    structure.parent_tree_next_key(count(parents.len()));
    structure.finish();
    about(&mut pdf, info, document);
    write_outline(&mut pdf, &pages.headings, outline, &headings, &sheets);

    for (face, id) in pages.fonts.faces.iter().zip(fonts) {
        font(&mut pdf, &mut numbers, id, face)?;
    }
    pdf.pages(tree)
        .kids(sheets.iter().map(|[page, _]| *page))
        .count(count(sheets.len()));
    for (at, element) in pages.elements.iter().enumerate() {
        let parent = if at == 0 { root } else { elements[element.parent] };
        write_element(&mut pdf, element, [elements[at], parent], &elements, &sheets);
    }
    for (at, (sheet, [page, content])) in pages.sheets.into_iter().zip(&sheets).enumerate() {
        let mut entry = pdf.page(*page);
        entry
            .parent(tree)
            .media_box(Rect::new(0.0, 0.0, PAPER[0], PAPER[1]))
            .contents(*content)
            .struct_parents(count(at));
        let mut resources = entry.resources();
        let mut known = resources.fonts();
        for (name, id) in FONT_NAMES.into_iter().zip(fonts) {
            known.pair(name, id);
        }
        known.finish();
        resources.finish();
        entry.finish();
        let packed = packed(sheet.content.finish().as_slice())?;
        pdf.stream(*content, &packed).filter(Filter::FlateDecode);
        let mut marks = pdf.indirect(parents[at]).array();
        for element in sheet.marks {
            marks.item(elements[element]);
        }
    }
    Ok(pdf.finish())
}

fn count(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn packed(bytes: &[u8]) -> Result<Vec<u8>, PdfError> {
    let mut packer = ZlibEncoder::new(Vec::new(), Compression::best());
    let written = packer.write_all(bytes).and_then(|()| packer.finish());
    written.map_err(|error| PdfError::Packing(error.to_string()))
}

/// What the document says of itself. Its date is the day that stands in it, no clock is asked.
fn about(pdf: &mut Pdf, id: Ref, document: &Document) {
    let text = serde_json::to_vec(document).unwrap_or_default();
    let digest = Sha256::digest(&text)[..16].to_vec();
    pdf.set_file_id((digest.clone(), digest));
    let program = format!("biot {}", crate::tasks::report::VERSION);
    let mut info = pdf.document_info(id);
    info.title(TextStr(&shown(&format!("{} · {}", document.title, document.kind))))
        .subject(TextStr(&shown(&document.kind)))
        .creator(TextStr(&program))
        .producer(TextStr(&program));
    let day: Vec<u16> = document
        .made_on
        .split('-')
        .filter_map(|part| part.parse().ok())
        .collect();
    if let [year, month, day] = day[..] {
        let small = |n: u16| u8::try_from(n).unwrap_or(1);
        info.creation_date(Date::new(year).month(small(month)).day(small(day)));
    }
}

/// The headings as an outline to jump by.
fn write_outline(pdf: &mut Pdf, headings: &[Place], id: Ref, ids: &[Ref], sheets: &[[Ref; 2]]) {
    let mut outline = pdf.outline(id);
    if let (Some(first), Some(last)) = (ids.first(), ids.last()) {
        outline.first(*first).last(*last).count(count(ids.len()));
    }
    outline.finish();
    for (at, heading) in headings.iter().enumerate() {
        let mut item = pdf.outline_item(ids[at]);
        item.title(TextStr(&heading.text)).parent(id);
        if at > 0 {
            item.prev(ids[at - 1]);
        }
        if let Some(next) = ids.get(at + 1) {
            item.next(*next);
        }
        item.dest().page(sheets[heading.page][0]).xyz(0.0, up(heading.y), None);
    }
}

/// What an element is and what it consists of. `ids`: its own and its parent's number.
fn write_element(pdf: &mut Pdf, element: &Element, ids: [Ref; 2], elements: &[Ref], sheets: &[[Ref; 2]]) {
    let mut entry = pdf.struct_element(ids[0]);
    entry.kind(element.role).parent(ids[1]);
    if let Some(alt) = &element.alt {
        entry.alt(TextStr(alt));
    }
    if element.role == StructRole::TH {
        let mut attributes = entry.attributes();
        attributes.push().table().scope(TableHeaderScope::Column);
    }
    let mut kids = entry.children();
    for kid in &element.kids {
        match *kid {
            Kid::Element(at) => {
                kids.struct_element(elements[at]);
            }
            Kid::Mark { page, id } => {
                kids.marked_content_ref().page(sheets[page][0]).marked_content_id(id);
            }
        }
    }
}

/// A font with the glyphs that are used, and the signs they stand for.
fn font(pdf: &mut Pdf, numbers: &mut Numbers, id: Ref, face: &Face) -> Result<(), PdfError> {
    let [descendant, descriptor, file, signs] = [(); 4].map(|()| numbers.next());
    let embedded = face.embedded()?;
    // A part of a font has a name with six letters in front (section 9.6.4), here of its own bytes.
    let tag: String = (Sha256::digest(&embedded).iter().take(6))
        .map(|byte| char::from(b'A' + byte % 26))
        .collect();
    let name = format!("{tag}+{}", face.name);
    let name = Name(name.as_bytes());
    pdf.type0_font(id)
        .base_font(name)
        .encoding_predefined(Name(b"Identity-H"))
        .descendant_font(descendant)
        .to_unicode(signs);
    pdf.cid_font(descendant)
        .subtype(CidFontType::Type2)
        .base_font(name)
        .system_info(IDENTITY)
        .font_descriptor(descriptor)
        .cid_to_gid_map_predefined(Name(b"Identity"))
        .widths()
        .consecutive(0, face.widths());
    let tables = &face.tables;
    let bounds = tables.global_bounding_box();
    let scaled = |units: i16| face.thousandths(units);
    pdf.font_descriptor(descriptor)
        .name(name)
        .flags(FontFlags::SYMBOLIC)
        .bbox(Rect::new(
            scaled(bounds.x_min),
            scaled(bounds.y_min),
            scaled(bounds.x_max),
            scaled(bounds.y_max),
        ))
        .italic_angle(0.0)
        .ascent(scaled(tables.ascender()))
        .descent(scaled(tables.descender()))
        .cap_height(scaled(tables.capital_height().unwrap_or(0)))
        .stem_v(if tables.is_bold() { 160.0 } else { 80.0 })
        .font_file2(file);
    let length = count(embedded.len());
    pdf.stream(file, &packed(&embedded)?)
        .filter(Filter::FlateDecode)
        .pair(Name(b"Length1"), length);
    let mut map = UnicodeCmap::new(Name(b"Biot-Signs"), IDENTITY);
    for (glyph, sign) in &face.signs {
        map.pair(*glyph, *sign);
    }
    let map = packed(map.finish().as_slice())?;
    pdf.cmap(signs, &map).filter(Filter::FlateDecode);
    Ok(())
}
