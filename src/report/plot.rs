//! Values on a number line, and residuals over an axis, in text.

use super::number;
use super::page::truncate;
use unicode_width::UnicodeWidthStr;

/// One value to draw.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// The row it belongs to, such as the solvent.
    pub group: String,
    /// The value, or the middle of a range.
    pub value: f64,
    /// The ends of a printed range.
    pub ends: Option<(f64, f64)>,
    /// Whether it counts; a value that is only listed is drawn hollow.
    pub counts: bool,
}

/// Widest label of a row, columns.
const MOST_LABEL: usize = 18;

/// Draws values as dots above one number line, one row per group in the order of first appearance.
///
/// `●` is a value that counts, `○` one that is only listed, a digit (or `+` from ten) several at the same place. Values
/// that are not finite are left out; a printed range is a line with its middle as the dot; with no value left the text is empty. `width` is in columns and at least 40.
pub fn number_line(points: &[Point], width: usize) -> String {
    let finite: Vec<&Point> = points.iter().filter(|point| point.value.is_finite()).collect();
    let ends = |point: &Point| point.ends.filter(|(low, high)| low.is_finite() && high.is_finite());
    let drawn = finite.iter().flat_map(|point| {
        let (low, high) = ends(point).unwrap_or((point.value, point.value));
        [point.value, low, high]
    });
    let Some(range) = Range::around(drawn) else {
        return String::new();
    };
    let mut groups: Vec<&str> = Vec::new();
    for point in &finite {
        if !groups.contains(&point.group.as_str()) {
            groups.push(&point.group);
        }
    }
    let label = groups
        .iter()
        .map(|group| group.width())
        .max()
        .unwrap_or(0)
        .min(MOST_LABEL);
    let columns = width.max(40).saturating_sub(label + 4);
    let place = |value: f64| range.place(value, columns);

    let mut text = String::new();
    for group in groups {
        let mut cells = vec![(0_usize, false); columns];
        let mut bars = vec![false; columns];
        for point in finite.iter().filter(|point| point.group == group) {
            if let Some((low, high)) = ends(point) {
                bars[place(low.min(high))..=place(high.max(low))].fill(true);
            }
            let cell = &mut cells[place(point.value)];
            cell.0 += 1;
            cell.1 |= point.counts;
        }
        let marks: String = cells
            .iter()
            .enumerate()
            .map(|(at, &(count, counts))| match count {
                0 if bars[at] => '─',
                0 if range.has_zero() && at == place(0.0) => '·',
                0 => ' ',
                1 if counts => '●',
                1 => '○',
                2..=9 => char::from_digit(u32::try_from(count).unwrap_or(9), 10).unwrap_or('+'),
                _ => '+',
            })
            .collect();
        push_row(&mut text, group, label, &marks);
    }

    push_axis(&mut text, label, &range, columns);
    text
}

/// A residual to draw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Residual {
    /// Where on the axis.
    pub x: f64,
    /// How far from the law.
    pub off: f64,
}

/// Rows of a drawing of residuals; odd, so that zero has one of its own.
const RESIDUAL_ROWS: usize = 9;

/// Draws residuals as dots around a line at zero, over the axis of x. A digit (or `+` from ten) is several at one place.
/// Values that are not finite are left out; with none left the text is empty. `width` is in columns and at least 40;
/// `decimals` is how many digits the marks of the upright axis have.
pub fn residuals(points: &[Residual], decimals: usize, width: usize) -> String {
    let finite: Vec<&Residual> = points.iter().filter(|p| p.x.is_finite() && p.off.is_finite()).collect();
    let Some(range) = Range::around(finite.iter().map(|p| p.x)) else {
        return String::new();
    };
    let most = finite.iter().map(|p| p.off.abs()).fold(0.0, f64::max);
    let half = (RESIDUAL_ROWS / 2) as f64;
    let marks = [
        number::signed(most, decimals),
        number::number(0.0, 0),
        number::signed(-most, decimals),
    ];
    let label = marks.iter().map(|mark| mark.width()).max().unwrap_or(0);
    let columns = width.max(40).saturating_sub(label + 4);
    let mut cells = vec![vec![0_usize; columns]; RESIDUAL_ROWS];
    for point in finite {
        let share = if most > 0.0 { point.off / most } else { 0.0 };
        let row = ((half - share * half).round().max(0.0) as usize).min(RESIDUAL_ROWS - 1);
        cells[row][range.place(point.x, columns)] += 1;
    }
    let mut text = String::new();
    for (at, row) in cells.iter().enumerate() {
        let is_zero = at == RESIDUAL_ROWS / 2;
        let drawn: String = row
            .iter()
            .map(|&count| match count {
                0 if is_zero => '┄',
                0 => ' ',
                1 => '●',
                2..=9 => char::from_digit(u32::try_from(count).unwrap_or(9), 10).unwrap_or('+'),
                _ => '+',
            })
            .collect();
        let mark = match at {
            0 => &marks[0],
            at if at == RESIDUAL_ROWS - 1 => &marks[2],
            _ if is_zero => &marks[1],
            _ => "",
        };
        let mark = format!("{}{mark}", " ".repeat(label.saturating_sub(mark.width())));
        push_row(&mut text, &mark, label, &drawn);
    }
    push_axis(&mut text, label, &range, columns);
    text
}

/// A control chart to draw.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlRows {
    /// The rows from top to bottom: a label, the value, and whether it breaks a rule.
    pub rows: Vec<(String, f64, bool)>,
    /// The centre and the control limits.
    pub lines: Option<(f64, [f64; 2])>,
}

/// Draws one row per check over one axis: `●` a check, `✕` one that breaks a rule, `│` the control limits, `┊` the centre.
/// `width` is in columns and at least 40; with no value the text is empty.
pub fn control_rows(chart: &ControlRows, width: usize) -> String {
    let lines = chart
        .lines
        .iter()
        .flat_map(|(centre, [low, high])| [*centre, *low, *high]);
    let Some(range) = Range::around(chart.rows.iter().map(|(_, value, _)| *value).chain(lines).chain([0.0])) else {
        return String::new();
    };
    let labels = chart.rows.iter().map(|(label, _, _)| label.width());
    let label = labels.max().unwrap_or(0).min(MOST_LABEL);
    let columns = width.max(40).saturating_sub(label + 4);
    let mut text = String::new();
    for (name, value, broken) in &chart.rows {
        let mut cells = vec![' '; columns];
        if let Some((centre, [low, high])) = chart.lines {
            cells[range.place(centre, columns)] = '┊';
            cells[range.place(low, columns)] = '│';
            cells[range.place(high, columns)] = '│';
        }
        cells[range.place(*value, columns)] = if *broken { '✕' } else { '●' };
        push_row(&mut text, name, label, &cells.into_iter().collect::<String>());
    }
    push_axis(&mut text, label, &range, columns);
    text
}

/// Draws the axis below with its numbers.
fn push_axis(text: &mut String, label: usize, range: &Range, columns: usize) {
    let mut axis = vec!['─'; columns];
    let mut labels = vec![' '; columns];
    let mut free_from = 0;
    for tick in range.ticks() {
        let at = range.place(tick, columns);
        axis[at] = '┴';
        let name = number::number(tick, range.decimals);
        let length = name.chars().count();
        let start = at.saturating_sub(length / 2).min(columns.saturating_sub(length));
        if start >= free_from && start + length <= columns {
            for (offset, c) in name.chars().enumerate() {
                labels[start + offset] = c;
            }
            free_from = start + length + 1;
        }
    }
    push_row(text, "", label, &axis.into_iter().collect::<String>());
    push_row(text, "", label, &labels.into_iter().collect::<String>());
}

fn push_row(text: &mut String, label: &str, label_width: usize, marks: &str) {
    let label = truncate(label, label_width);
    let pad = " ".repeat(label_width.saturating_sub(label.width()));
    let line = format!("  {label}{pad}  {marks}");
    text.push_str(line.trim_end());
    text.push('\n');
}

/// The drawn part of the number line: its ends lie on ticks.
struct Range {
    low: f64,
    high: f64,
    step: f64,
    decimals: usize,
}

impl Range {
    /// About five ticks at 1, 2 or 5 times a power of ten, around all values.
    fn around(values: impl Iterator<Item = f64>) -> Option<Self> {
        let (mut least, mut most) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values {
            least = least.min(value);
            most = most.max(value);
        }
        if least > most {
            return None;
        }
        let span = if most > least {
            most - least
        } else {
            (most.abs() * 0.1).max(1.0)
        };
        let power = 10f64.powf((span / 5.0).log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .map(|factor| factor * power)
            .into_iter()
            .find(|step| span / step <= 5.0)
            .unwrap_or(span);
        let mut low = (least / step).floor() * step;
        let mut high = (most / step).ceil() * step;
        if low >= high {
            low -= step;
            high += step;
        }
        let decimals = usize::try_from(-(step.log10().floor() as i32)).unwrap_or(0).min(6);
        Some(Self {
            low,
            high,
            step,
            decimals,
        })
    }

    /// The column of a value.
    fn place(&self, value: f64, columns: usize) -> usize {
        let share = (value - self.low) / (self.high - self.low);
        ((share * (columns - 1) as f64).round() as usize).min(columns - 1)
    }

    fn has_zero(&self) -> bool {
        self.low <= 0.0 && self.high >= 0.0
    }

    fn ticks(&self) -> impl Iterator<Item = f64> {
        let count = ((self.high - self.low) / self.step).round() as usize;
        (0..=count.min(20)).map(|at| self.low + at as f64 * self.step)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(group: &str, value: f64, counts: bool) -> Point {
        Point {
            group: group.to_owned(),
            value,
            ends: None,
            counts,
        }
    }

    #[test]
    fn dots_stand_over_their_values() {
        let text = number_line(
            &[
                point("EtOH", -50.0, true),
                point("EtOH", -49.9, true),
                point("EtOH", -46.0, false),
                point("CHCl3", -45.0, true),
            ],
            48,
        );
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 4, "{text}");
        assert!(lines[0].contains('2') || lines[0].matches('●').count() == 2, "{text}");
        assert!(lines[0].contains('○') && lines[1].contains('●'), "{text}");
        // The dot at −45 stands over the tick named −45, the last one.
        let at = lines[1].chars().position(|c| c == '●').unwrap();
        assert_eq!(lines[2].chars().nth(at), Some('┴'), "{text}");
        assert!(lines[3].contains("−50") && lines[3].contains("−45"), "{text}");
    }

    #[test]
    fn a_range_is_drawn_from_end_to_end() {
        let range = Point {
            ends: Some((-51.0, -45.0)),
            ..point("H2O", -48.0, true)
        };
        let text = number_line(&[range, point("H2O", -40.0, true)], 60);
        let row = text.lines().next().unwrap();
        assert!(row.contains("─●─") && row.ends_with("  ●"), "{text}");
    }

    #[test]
    fn residuals_stand_above_and_below_zero() {
        let at = |x, off| Residual { x, off };
        let text = residuals(&[at(0.0, 0.02), at(5.0, 0.0), at(10.0, -0.02), at(10.0, -0.02)], 3, 50);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), RESIDUAL_ROWS + 2, "{text}");
        assert!(lines[0].starts_with("  +0.020  ●"), "{text}");
        assert!(lines[4].contains('┄') && lines[4].contains('●'), "{text}");
        assert!(lines[8].starts_with("  −0.020") && lines[8].ends_with('2'), "{text}");
        assert_eq!(residuals(&[at(f64::NAN, 1.0)], 1, 60), "");
        assert!(residuals(&[at(1.0, 0.0)], 1, 60).contains('●'));
    }

    #[test]
    fn a_control_chart_has_its_limits_and_a_scale() {
        let chart = ControlRows {
            rows: vec![
                ("2026-11-24".to_owned(), 0.0, false),
                ("2026-11-25".to_owned(), 0.004, true),
            ],
            lines: Some((0.0005, [-0.002, 0.003])),
        };
        let text = control_rows(&chart, 60);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 4, "{text}");
        let at = |line: &str, mark: char| line.chars().position(|c| c == mark);
        // The limit at −0.002 stands over the tick of that name, the check beyond the upper limit right of it.
        let low = at(lines[0], '│').unwrap();
        assert_eq!(lines[2].chars().nth(low), Some('┴'), "{text}");
        assert!(lines[3].contains("−0.002") && lines[3].contains("0.004"), "{text}");
        assert!(
            at(lines[1], '✕') > lines[1].chars().collect::<Vec<_>>().iter().rposition(|&c| c == '│'),
            "{text}"
        );
        assert!(control_rows(&ControlRows { lines: None, ..chart }, 60).contains('✕'));
    }

    #[test]
    fn one_value_and_none_are_drawn_or_left_out() {
        assert!(number_line(&[point("H2O", 12.0, true)], 60).contains('●'));
        assert_eq!(number_line(&[point("H2O", f64::NAN, true)], 60), "");
        assert_eq!(number_line(&[], 60), "");
    }

    proptest::proptest! {
        #[test]
        fn every_value_is_drawn_within_the_width(values in proptest::collection::vec(-1e4..1e4f64, 1..30), width in 20usize..120) {
            let points: Vec<Point> = values.iter().map(|&value| point("any", value, true)).collect();
            let text = number_line(&points, width);
            let drawn: usize = text.lines().next().unwrap().chars().skip(7).map(|c| match c {
                '●' => 1,
                '+' => 10,
                c => c.to_digit(10).unwrap_or(0) as usize,
            }).sum();
            proptest::prop_assert!(drawn <= values.len() && drawn > 0);
            for line in text.lines() {
                proptest::prop_assert!(line.width() <= width.max(40));
            }
        }
    }
}
