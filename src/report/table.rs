//! Tables that fit the width of the page.

use comfy_table::{
    Cell, CellAlignment, ColumnConstraint, ContentArrangement, ContentLineStyle, LineStyle, Row, TableStyle,
};

/// How a column behaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Column {
    /// Numbers: to the right, never broken.
    Number(&'static str),
    /// Short words: to the left, never broken.
    Word(&'static str),
    /// Text: to the left, broken into lines where the page is narrow.
    Text(&'static str),
}

/// A table in the making. Columns that stay empty in every row are left out.
#[derive(Clone, Debug)]
pub struct Table {
    columns: Vec<Column>,
    rows: Vec<Vec<String>>,
}

/// Most lines a row takes; more is cut with `…`.
const MOST_LINES: usize = 3;

impl Table {
    /// Begins a table.
    pub fn new(columns: &[Column]) -> Self {
        Self {
            columns: columns.to_vec(),
            rows: Vec::new(),
        }
    }

    /// Adds a row; missing cells are empty and surplus ones are left out.
    pub fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().take(self.columns.len()).collect());
    }

    /// Whether there is no row.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table's text in lines of at most `width` columns, as far as its unbroken columns allow.
    pub(crate) fn render(&self, width: usize) -> String {
        let shown: Vec<usize> = (0..self.columns.len())
            .filter(|&at| {
                self.rows
                    .iter()
                    .any(|row| row.get(at).is_some_and(|cell| !cell.is_empty()))
            })
            .collect();
        let mut table = comfy_table::Table::new();
        table
            .load_style(
                TableStyle::new()
                    .header_lines(ContentLineStyle::none().junction(' '))
                    .header_separator(LineStyle::none().fill('─').junction(' '))
                    .content_lines(ContentLineStyle::none().junction(' ')),
            )
            .set_truncation_indicator("…")
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(u16::try_from(width).unwrap_or(u16::MAX))
            .set_header(shown.iter().map(|&at| self.columns[at].title()));
        for cells in &self.rows {
            let mut row = Row::new();
            for &at in &shown {
                row.add_cell(Cell::new(cells.get(at).map_or("", String::as_str)));
            }
            row.max_height(MOST_LINES);
            table.add_row(row);
        }
        for (column, &at) in table.column_iter_mut().zip(&shown) {
            let is_last = shown.last() == Some(&at);
            column.set_padding((0, u16::from(!is_last)));
            match self.columns[at] {
                Column::Number(_) => {
                    column.set_cell_alignment(CellAlignment::Right);
                    column.set_constraint(ColumnConstraint::ContentWidth);
                }
                Column::Word(_) => {
                    column.set_constraint(ColumnConstraint::ContentWidth);
                }
                Column::Text(_) => {}
            }
        }
        let lines: Vec<String> = table.lines().map(|line| line.trim_end().to_owned()).collect();
        lines.join("\n") + "\n"
    }
}

impl Column {
    const fn title(self) -> &'static str {
        match self {
            Self::Number(title) | Self::Word(title) | Self::Text(title) => title,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stay_whole_and_text_breaks() {
        let mut table = Table::new(&[Column::Number("[α]"), Column::Word("empty"), Column::Text("source")]);
        table.row([
            "−49.1".to_owned(),
            String::new(),
            "A journal with a long title, 1912, page 12".to_owned(),
        ]);
        table.row(["+5".to_owned()]);
        let text = table.render(24);
        assert_eq!(
            text,
            "  [α]  source\n────── ─────────────────\n−49.1  A journal with a\n       long title, 1912,\n       page 12\n   +5\n"
        );
    }
}
