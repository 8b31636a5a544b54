//! Tables: columns as wide as they need to be, cells in lines, the head on every page.

use super::lines::{Line, Look, Span, widest_word, wrap};
use super::pages::{Pages, SIDE, WIDTH};
use super::{INK, QUIET};
use crate::report::document::Grid;
use pdf_writer::types::StructRole;

/// Sizes of text that are tried, points.
const SIZES: [f32; 3] = [8.5, 7.5, 6.5];
/// Space between columns, points.
const GAP: f32 = 13.0;
/// Space above and below the text of a row, points.
const PAD: f32 = 2.6;
/// Cells of at most so many signs stand in one line.
const ONE_LINE: usize = 14;

/// A row: the lines of each cell.
type Row = Vec<Vec<Line>>;

/// The layout of a table.
struct Layout {
    look: Look,
    widths: Vec<f32>,
    numbers: Vec<bool>,
}

/// A table whose lines are known.
struct Set {
    layout: Layout,
    caption: Vec<Line>,
    head: Row,
    rows: Vec<Row>,
}

const CAPTION: Look = Look::new(8.5, QUIET);

impl Set {
    fn new(pages: &mut Pages, grid: &Grid) -> Option<Self> {
        let n = grid.columns.len();
        if n == 0 {
            return None;
        }
        // Every row has a cell for each column, whatever a kept document says.
        let cells: Vec<Vec<String>> = (grid.rows.iter())
            .map(|row| {
                let cell = |at| pages.fonts.writable(row.get(at).map_or("", String::as_str));
                (0..n).map(cell).collect()
            })
            .collect();
        let heads: Vec<String> = (grid.columns.iter())
            .map(|column| pages.fonts.writable(&column.text))
            .collect();
        let layout = layout(pages, grid, &heads, &cells);
        let head = layout.row(pages, &heads, layout.look.bold());
        let rows = cells.iter().map(|row| layout.row(pages, row, layout.look)).collect();
        let text = pages.fonts.writable(&grid.caption);
        let caption = wrap(&pages.fonts, &[Span { text, look: CAPTION }], WIDTH);
        Some(Self {
            layout,
            caption,
            head,
            rows,
        })
    }

    /// How much of it must stand together, points: all of it where that is not much, or else its beginning.
    fn beginning(&self) -> f32 {
        let above = self.caption.len() as f32 * CAPTION.leading() + self.layout.height(&self.head) + 6.0;
        let all = above + self.rows.iter().map(|row| self.layout.height(row)).sum::<f32>();
        if all < Pages::whole() * 0.45 {
            all
        } else {
            above + self.rows.first().map_or(0.0, |row| self.layout.height(row).min(80.0))
        }
    }
}

/// How much of a table must stand together with what is above it, points.
pub(super) fn beginning(pages: &mut Pages, grid: &Grid) -> f32 {
    Set::new(pages, grid).map_or(0.0, |set| set.beginning())
}

/// Writes a table.
pub(super) fn write(pages: &mut Pages, grid: &Grid) {
    let Some(set) = Set::new(pages, grid) else {
        return;
    };
    let (layout, head) = (&set.layout, &set.head);
    pages.need(set.beginning());
    pages.begin(StructRole::Table);
    let element = pages.begin(StructRole::Caption);
    pages.write_all(element, &set.caption, SIDE, CAPTION);
    pages.end();
    pages.y += 2.0;

    pages.begin(StructRole::TR);
    let elements = begin_cells(pages, head.len(), StructRole::TH);
    layout.head(pages, head, Some(&elements));
    pages.end();
    for row in set.rows {
        pages.begin(StructRole::TR);
        let elements = begin_cells(pages, head.len(), StructRole::TD);
        layout.body_row(pages, head, row, &elements);
        pages.end();
    }
    let y = pages.y + 0.5;
    pages.rule(SIDE, SIDE + layout.total(), y, (0.9, INK));
    pages.y += 8.0;
    pages.end();
}

fn begin_cells(pages: &mut Pages, n: usize, role: StructRole) -> Vec<usize> {
    (0..n)
        .map(|_| {
            let element = pages.begin(role);
            pages.end();
            element
        })
        .collect()
}

/// The largest size of text in which no word must be broken, and the widths of the columns in it.
fn layout(pages: &Pages, grid: &Grid, heads: &[String], cells: &[Vec<String>]) -> Layout {
    let n = heads.len();
    let room = WIDTH - GAP * (n - 1) as f32;
    let numbers: Vec<bool> = grid.columns.iter().map(|column| column.number).collect();
    let fonts = &pages.fonts;
    let mut last = None;
    for size in SIZES {
        let look = Look::new(size, INK);
        let whole = |text: &str, look: Look| fonts.width(text, look.weight) * look.size;
        let word = |text: &str, look: Look| widest_word(fonts, text, look);
        let mut least = vec![0.0f32; n];
        let mut most = vec![0.0f32; n];
        for (at, head) in heads.iter().enumerate() {
            least[at] = word(head, look.bold()).min(room * 0.4);
            most[at] = least[at].max(whole("mmm", look));
        }
        for row in cells {
            for (at, cell) in row.iter().enumerate() {
                let all = whole(cell, look);
                let is_short = numbers[at] || cell.chars().count() <= ONE_LINE;
                let part = if is_short { all } else { word(cell, look) };
                least[at] = least[at].max(part.min(room * 0.4));
                most[at] = most[at].max(all);
            }
        }
        // Heads stand in one line where there is room for that.
        let in_one_line: Vec<f32> = (heads.iter().zip(&most))
            .map(|(head, most)| most.max(whole(head, look.bold())))
            .collect();
        if in_one_line.iter().sum::<f32>() <= room {
            most = in_one_line;
        }
        let (fits, widths) = share(&least, &most, room);
        last = Some(Layout {
            look,
            widths,
            numbers: numbers.clone(),
        });
        if fits {
            break;
        }
    }
    last.unwrap_or(Layout {
        look: Look::new(SIZES[0], INK),
        widths: vec![room / n as f32; n],
        numbers,
    })
}

/// The widths of columns that need at least and want at most so much, and whether the least is met.
fn share(least: &[f32], most: &[f32], room: f32) -> (bool, Vec<f32>) {
    let [low, high] = [least, most].map(|all| all.iter().sum::<f32>());
    if high <= room {
        // What is left over is shared, but numbers do not drift far from their neighbours.
        let more = ((room - high) / most.len() as f32).min(10.0);
        return (true, most.iter().map(|width| width + more).collect());
    }
    if low <= room {
        let part = (room - low) / (high - low).max(1e-3);
        let widths = least.iter().zip(most).map(|(low, high)| low + (high - low) * part);
        return (true, widths.collect());
    }
    (false, fill(most, room))
}

/// Room dealt out evenly: a column that wants less than its share leaves the rest to the others.
fn fill(most: &[f32], room: f32) -> Vec<f32> {
    let mut order: Vec<usize> = (0..most.len()).collect();
    order.sort_by(|a, b| most[*a].total_cmp(&most[*b]));
    let mut widths = vec![0.0; most.len()];
    let mut left = room;
    for (done, at) in order.into_iter().enumerate() {
        widths[at] = most[at].min(left / (most.len() - done) as f32);
        left -= widths[at];
    }
    widths
}

impl Layout {
    fn total(&self) -> f32 {
        self.widths.iter().sum::<f32>() + GAP * (self.widths.len() - 1) as f32
    }

    fn row(&self, pages: &Pages, cells: &[String], look: Look) -> Row {
        let in_lines = |(cell, width): (&String, &f32)| {
            // A short cell is not broken at its spaces.
            let text = cell.clone();
            wrap(&pages.fonts, &[Span { text, look }], *width + 0.01)
        };
        cells.iter().zip(&self.widths).map(in_lines).collect()
    }

    fn height(&self, row: &Row) -> f32 {
        let lines = row.iter().map(Vec::len).max().unwrap_or(1);
        lines as f32 * self.look.leading() + 2.0 * PAD
    }

    /// Writes lines of each cell at the present height.
    fn lines(&self, pages: &mut Pages, row: &Row, elements: Option<&[usize]>) {
        let mut x = SIDE;
        for (at, lines) in row.iter().enumerate() {
            for (n, line) in lines.iter().enumerate() {
                let aside = if self.numbers[at] {
                    self.widths[at] - line.width
                } else {
                    0.0
                };
                let y = pages.y + PAD + self.look.size + n as f32 * self.look.leading();
                let element = elements.and_then(|all| all.get(at).copied());
                pages.write(element, line, [x + aside.max(0.0), y]);
            }
            x += self.widths[at] + GAP;
        }
        pages.y += self.height(row);
    }

    /// The head between two rules; on a later page it is there for the eye only.
    fn head(&self, pages: &mut Pages, head: &Row, elements: Option<&[usize]>) {
        let end = SIDE + self.total();
        let y = pages.y;
        pages.rule(SIDE, end, y, (0.9, INK));
        // Heads of one line stand at the foot of the row.
        let most = head.iter().map(Vec::len).max().unwrap_or(1);
        let lowered: Row = head
            .iter()
            .map(|lines| {
                let mut cell = vec![Line::default(); most - lines.len()];
                cell.extend(lines.iter().cloned());
                cell
            })
            .collect();
        self.lines(pages, &lowered, elements);
        let y = pages.y;
        pages.rule(SIDE, end, y, (0.5, INK));
        pages.y += 1.0;
    }

    /// A row, on a new page where it does not fit; one that is higher than a page goes on on the next.
    fn body_row(&self, pages: &mut Pages, head: &Row, mut row: Row, elements: &[usize]) {
        let above = self.height(head) + 1.0;
        loop {
            let height = self.height(&row);
            if height <= pages.left() {
                self.lines(pages, &row, Some(elements));
                return;
            }
            let fits_a_page = height + above <= Pages::whole();
            let n = ((pages.left() - 2.0 * PAD) / self.look.leading()).max(0.0) as usize;
            if !fits_a_page && n >= 3 {
                let rest = row
                    .iter_mut()
                    .map(|lines| lines.split_off(n.min(lines.len())))
                    .collect();
                self.lines(pages, &row, Some(elements));
                row = rest;
            }
            let y = pages.y + 0.5;
            pages.rule(SIDE, SIDE + self.total(), y, (0.5, INK));
            pages.turn();
            if above + 4.0 * self.look.leading() < Pages::whole() {
                self.head(pages, head, None);
            }
        }
    }
}
