//! A report as Markdown (CommonMark with tables).

use super::{Block, Document, Grid, shown};
use std::fmt::Write;

pub(super) fn write(document: &Document) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail, here and below.
    let _ = writeln!(
        out,
        "# {}\n\n{}\n\nMade on {}",
        escape(&document.title),
        escape(&document.kind),
        escape(&document.made_on)
    );
    for block in &document.blocks {
        write_block(&mut out, block);
    }
    out.push_str("\n## Where this comes from\n\n");
    for (name, text) in &document.provenance {
        let _ = writeln!(out, "- **{}**: {}", escape(name), escape(text));
    }
    out
}

fn write_block(out: &mut String, block: &Block) {
    match block {
        Block::Heading { text } => {
            let _ = writeln!(out, "\n## {}", escape(text));
        }
        Block::Verdict { code, sentence, .. } => {
            let _ = writeln!(out, "\n> **{}**: {}", escape(code), escape(sentence));
        }
        Block::Facts { rows } => {
            out.push('\n');
            for (name, text) in rows {
                let _ = writeln!(out, "- **{}**: {}", escape(name), escape(text));
            }
        }
        Block::Paragraph { text } => {
            let _ = writeln!(out, "\n{}", escape(text));
        }
        Block::Points { items } => {
            out.push('\n');
            for item in items {
                let _ = writeln!(out, "- {}", escape(item));
            }
        }
        Block::Figure { title, table, .. } => {
            if !table.rows.is_empty() {
                let _ = writeln!(out, "\n## {}", escape(title));
                grid(out, table);
            }
        }
        Block::Table { table, .. } => {
            let _ = writeln!(out, "\n{}", escape(&table.caption));
            grid(out, table);
        }
        Block::Sources { items } => {
            out.push('\n');
            for (at, source) in items.iter().enumerate() {
                let doi = source.doi.as_ref().map(|doi| format!(" DOI {doi}")).unwrap_or_default();
                let text = format!("{}{doi} ({})", source.citation, source.entries);
                let _ = writeln!(out, "{}. {}", at + 1, escape(&text));
            }
        }
        Block::Line { label, text, set } => {
            let line = set.as_ref().map_or_else(|| escape(text), |set| set.markdown.clone());
            let _ = writeln!(out, "\n**{}**: {line}", escape(label));
        }
    }
}

fn grid(out: &mut String, table: &Grid) {
    out.push('\n');
    let line = |cells: &mut dyn Iterator<Item = String>| {
        let cells: Vec<String> = cells.collect();
        format!("| {} |\n", cells.join(" | "))
    };
    out.push_str(&line(&mut table.columns.iter().map(|column| escape(&column.text))));
    out.push_str(&line(
        &mut table
            .columns
            .iter()
            .map(|column| if column.number { "---:" } else { "---" }.to_owned()),
    ));
    for row in &table.rows {
        out.push_str(&line(&mut row.iter().map(|cell| escape(cell))));
    }
}

/// Text without anything that Markdown takes for itself: signs of markup get a backslash, lines are joined.
fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let joined = shown(text).split_whitespace().collect::<Vec<_>>().join(" ");
    for (at, c) in joined.char_indices() {
        let opens_a_line = at == 0 && matches!(c, '#' | '+' | '-' | '=' | '~');
        if opens_a_line || matches!(c, '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '&') {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::escape;

    #[test]
    fn markup_in_words_is_taken_for_words() {
        assert_eq!(
            escape("a|b\n# c <i> *x* [y]_z"),
            "a\\|b # c \\<i\\> \\*x\\* \\[y\\]\\_z"
        );
        assert_eq!(escape("#12"), "\\#12");
        assert_eq!(escape("-12.5"), "\\-12.5");
    }
}
