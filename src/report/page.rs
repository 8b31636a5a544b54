//! The text of one answer, wrapped to a width.

use super::Table;
use anstyle::Style;
use unicode_width::UnicodeWidthStr;

const HEADING: Style = Style::new().bold();
const FAINT: Style = Style::new().dimmed();

/// The text of one answer. Lines are wrapped to the width it is made with; headings carry escape codes.
#[derive(Clone, Debug)]
pub struct Page {
    width: usize,
    text: String,
}

impl Page {
    /// Begins an empty page; widths below 40 columns are taken as 40.
    pub fn new(width: usize) -> Self {
        Self {
            width: width.max(40),
            text: String::new(),
        }
    }

    /// The width in columns that lines are wrapped to.
    pub const fn width(&self) -> usize {
        self.width
    }

    /// The page so far.
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// Writes a heading, with an empty line before it unless it is the first line.
    pub fn heading(&mut self, text: &str) {
        if !self.text.is_empty() {
            self.text.push('\n');
        }
        for line in wrap(text, self.width) {
            self.styled(HEADING, &line);
        }
    }

    /// Writes a paragraph.
    pub fn paragraph(&mut self, text: &str) {
        self.hanging("", text);
    }

    /// Writes a paragraph of less weight, such as a note below a table.
    pub fn note(&mut self, text: &str) {
        for line in wrap(text, self.width) {
            self.styled(FAINT, &line);
        }
    }

    /// Writes a point of a list.
    pub fn point(&mut self, text: &str) {
        self.hanging("  - ", text);
    }

    /// Writes a label and a text beside it; the text of all fields of a page starts in the same column.
    pub fn field(&mut self, label: &str, text: &str) {
        const LABEL: usize = 16;
        let pad = LABEL.saturating_sub(label.width());
        self.hanging(&format!("  {label}{} ", " ".repeat(pad)), text);
    }

    /// Writes a lead, such as "hint: ", in bold and a text that hangs behind it.
    pub fn lead(&mut self, lead: &str, text: &str) {
        let at = self.text.len();
        self.hanging(lead, text);
        self.text
            .replace_range(at..at + lead.len(), &format!("{HEADING}{lead}{HEADING:#}"));
    }

    /// Writes a text as it is, such as a drawing, and ends the line.
    pub fn verbatim(&mut self, text: &str) {
        self.text.push_str(text.trim_end_matches('\n'));
        self.text.push('\n');
    }

    /// Writes an empty line.
    pub fn gap(&mut self) {
        self.text.push('\n');
    }

    /// Writes a table.
    pub fn table(&mut self, table: &Table) {
        let text = table.render(self.width);
        self.verbatim(&text);
    }

    fn styled(&mut self, style: Style, line: &str) {
        for part in [
            &style.render().to_string(),
            line,
            &style.render_reset().to_string(),
            "\n",
        ] {
            self.text.push_str(part);
        }
    }

    /// Writes a lead and a text whose further lines start below its first letter.
    fn hanging(&mut self, lead: &str, text: &str) {
        let indent = lead.width();
        let mut first = true;
        for line in wrap(text, self.width.saturating_sub(indent).max(20)) {
            if first {
                self.text.push_str(lead);
            } else {
                self.text.push_str(&" ".repeat(indent));
            }
            first = false;
            self.text.push_str(&line);
            self.text.push('\n');
        }
        if first {
            self.text.push_str(lead.trim_end());
            self.text.push('\n');
        }
    }
}

/// Breaks a text at spaces so that no line is wider than `width`; a single longer word, such as an InChI, is cut.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    for paragraph in text.lines() {
        let mut line = String::new();
        for word in paragraph.split_whitespace() {
            let mut word = word;
            if !line.is_empty() && line.width() + 1 + word.width() > width {
                lines.push(std::mem::take(&mut line));
            }
            while word.width() > width {
                let (head, tail) = cut(word, width);
                lines.push(head.to_owned());
                word = tail;
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
        lines.push(line);
    }
    lines
}

/// The text cut to `width` columns, with `…` where something was dropped.
pub fn truncate(text: &str, width: usize) -> String {
    if text.width() <= width {
        return text.to_owned();
    }
    let (head, _) = cut(text, width.saturating_sub(1));
    format!("{}…", head.trim_end())
}

/// Splits a text where it has reached `width` columns; at least one character stands in the first part.
fn cut(text: &str, width: usize) -> (&str, &str) {
    let mut used = 0;
    for (at, c) in text.char_indices() {
        used += unicode_width::UnicodeWidthChar::width(c).unwrap_or(0);
        if used > width && at > 0 {
            return text.split_at(at);
        }
    }
    (text, "")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_broken_at_spaces_and_long_words_cut() {
        assert_eq!(wrap("one two three", 7), ["one two", "three"]);
        assert_eq!(wrap("abcdefghij k", 4), ["abcd", "efgh", "ij k"]);
        assert_eq!(truncate("(1R,2S,5R)-2-isopropyl", 10), "(1R,2S,5R…");
        assert_eq!(truncate("short", 10), "short");
    }

    #[test]
    fn fields_hang_below_their_text() {
        let mut page = Page::new(40);
        page.field("other names", "l-menthol, levomenthol, hexahydrothymol");
        for line in page.as_str().lines() {
            assert!(line.width() <= 40, "{line}");
        }
        assert!(page.as_str().lines().nth(1).unwrap().starts_with("                   "));
    }

    proptest::proptest! {
        #[test]
        fn no_line_is_wider_than_the_page_and_no_word_is_lost(text in "[a-zα-ω ]{0,200}", width in 20usize..60) {
            let lines = wrap(&text, width);
            for line in &lines {
                proptest::prop_assert!(line.width() <= width);
            }
            let without_spaces = |text: &str| text.replace(char::is_whitespace, "");
            proptest::prop_assert_eq!(without_spaces(&lines.concat()), without_spaces(&text));
        }
    }
}
