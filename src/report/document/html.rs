//! A report as one HTML file: no script, nothing loaded from elsewhere, one stylesheet inside that is allowed by its hash.

use super::{Block, Document, Grid, shown};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// The stylesheet, for the screen and for paper of either size (A4, Letter).
const STYLE: &str = include_str!("report.css");

/// The source expression by which a content security policy allows the stylesheet of a report.
pub fn style_hash() -> String {
    format!("'sha256-{}'", STANDARD.encode(Sha256::digest(STYLE.as_bytes())))
}

/// Cells of a table of at most so many characters stand in one line.
const ONE_LINE: usize = 14;

pub(super) fn write(document: &Document) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail, here and below.
    let _ = writeln!(
        out,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src {}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{}</title>\n\
         <style>{STYLE}</style>\n</head>\n<body>\n<header>\n<p class=\"kind\">{}</p>\n<h1>{}</h1>\n\
         <p class=\"made\">Made on {}</p>\n</header>\n<main>",
        style_hash(),
        escape(&format!("{} · {}", document.title, document.kind)),
        escape(&document.kind),
        escape(&document.title),
        escape(&document.made_on),
    );
    for block in &document.blocks {
        write_block(&mut out, block);
    }
    out.push_str("</main>\n<footer>\n<h2>Where this comes from</h2>\n");
    pairs(&mut out, &document.provenance);
    out.push_str("</footer>\n</body>\n</html>\n");
    out
}

fn write_block(out: &mut String, block: &Block) {
    match block {
        Block::Heading { text } => {
            let _ = writeln!(out, "<h2>{}</h2>", escape(text));
        }
        Block::Verdict { code, tone, sentence } => {
            let _ = writeln!(
                out,
                "<section class=\"verdict {}\" aria-label=\"Verdict\"><p class=\"code\">{}</p><p>{}</p></section>",
                escape(tone),
                escape(code),
                escape(sentence)
            );
        }
        Block::Facts { rows } => pairs(out, rows),
        Block::Paragraph { text } => {
            let _ = writeln!(out, "<p>{}</p>", escape(text));
        }
        Block::Points { items } => {
            out.push_str("<ul>\n");
            for item in items {
                let _ = writeln!(out, "<li>{}</li>", escape(item));
            }
            out.push_str("</ul>\n");
        }
        Block::Figure { title, svg, table } => {
            if svg.is_empty() {
                return;
            }
            // The drawing is made by this program, which escapes every word in it.
            let _ = writeln!(out, "<figure>\n<figcaption>{}</figcaption>\n{svg}", escape(title));
            if !table.rows.is_empty() {
                out.push_str("<details class=\"numbers\"><summary>Table of these numbers</summary>\n");
                grid(out, table);
                out.push_str("</details>\n");
            }
            out.push_str("</figure>\n");
        }
        Block::Table { table, .. } => grid(out, table),
        Block::Sources { items } => {
            out.push_str("<ol>\n");
            for source in items {
                let _ = write!(out, "<li>{}", escape(&source.citation));
                if let Some(doi) = &source.doi {
                    let doi = escape(doi);
                    let _ = write!(
                        out,
                        " DOI <a href=\"https://doi.org/{doi}\" rel=\"noreferrer\">{doi}</a>"
                    );
                }
                let _ = writeln!(out, " ({})</li>", escape(&source.entries));
            }
            out.push_str("</ol>\n");
        }
        Block::Line { label, text, set } => {
            // What is set comes from the writer of statements, which escapes the words in it.
            let line = set.as_ref().map_or_else(|| escape(text), |set| set.html.clone());
            let _ = writeln!(out, "<p class=\"line\"><b>{}</b>{line}</p>", escape(label));
        }
    }
}

fn pairs(out: &mut String, rows: &[(String, String)]) {
    if rows.is_empty() {
        return;
    }
    out.push_str("<dl>\n");
    for (name, text) in rows {
        let _ = writeln!(out, "<dt>{}</dt><dd>{}</dd>", escape(name), escape(text));
    }
    out.push_str("</dl>\n");
}

fn grid(out: &mut String, table: &Grid) {
    let class = |at: usize| {
        if table.columns.get(at).is_some_and(|column| column.number) {
            " class=\"number\""
        } else {
            ""
        }
    };
    let _ = write!(
        out,
        "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{0}\">\n<table>\n<caption>{0}</caption>\n<thead><tr>",
        escape(&table.caption)
    );
    for (at, column) in table.columns.iter().enumerate() {
        if column.text.is_empty() {
            out.push_str("<th scope=\"col\"><span>\u{a0}</span></th>");
        } else {
            let _ = write!(out, "<th scope=\"col\"{}>{}</th>", class(at), escape(&column.text));
        }
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in &table.rows {
        out.push_str("<tr>");
        for (at, cell) in row.iter().enumerate() {
            // A short cell is not broken.
            let text = if cell.chars().count() <= ONE_LINE {
                escape(cell).replace(' ', "\u{a0}")
            } else {
                escape(cell)
            };
            let _ = write!(out, "<td{}>{text}</td>", class(at));
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody>\n</table>\n</div>\n");
}

/// Text as it may stand in HTML and in an attribute of it.
fn escape(text: &str) -> String {
    shown(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
        .replace('\'', "&#39;")
}
