//! Plots as SVG: drawn on the server, styled by classes, so that a page's stylesheet gives light and dark. Each has a
//! title and names its axes with their units; whoever shows one shows a table of the same numbers beside it.

mod chart;

pub use chart::{Chart, Look, Mark, Rule};

use super::number;
use std::fmt::Write;

/// Width of every plot, user units.
const WIDTH: f64 = 640.0;
/// Height of a plot of points.
const HEIGHT: f64 = 320.0;
/// Space at the left for labels, at the right, at the top, and at the bottom for ticks and the axis' name.
const LEFT: f64 = 94.0;
const RIGHT: f64 = 16.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 52.0;
/// Height of a row of a number line.
const ROW: f64 = 24.0;
/// Width of the labels of a number line.
const LABELS: f64 = 164.0;

/// A place along the horizontal axis.
#[derive(Clone, Debug, PartialEq)]
pub enum Place {
    /// A number.
    At(f64),
    /// A category, such as a solvent.
    Named(String),
}

/// A value to draw.
#[derive(Clone, Debug, PartialEq)]
pub struct Dot {
    /// Where along the horizontal axis.
    pub place: Place,
    /// The value.
    pub value: f64,
    /// What to call it.
    pub label: String,
    /// Whether it is of the mirror image; drawn as a diamond.
    pub mirror: bool,
    /// Whether it counts; a value that is only listed is drawn hollow.
    pub counts: bool,
}

/// A row of a number line.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// Its label.
    pub label: String,
    /// Class of its look: `measured`, `pooled`, `band`, `reference` or `mirror`.
    pub class: &'static str,
    /// The value; none where only the interval is drawn.
    pub value: Option<f64>,
    /// The interval.
    pub ends: [f64; 2],
}

/// Values against a number or a category. Empty when nothing finite is to be drawn.
pub fn points(id: &str, title: &str, x_axis: &str, y_axis: &str, dots: &[Dot]) -> String {
    let finite: Vec<&Dot> = dots
        .iter()
        .filter(|dot| dot.value.is_finite() && !matches!(dot.place, Place::At(x) if !x.is_finite()))
        .collect();
    if finite.is_empty() {
        return String::new();
    }
    let y = Scale::around(finite.iter().map(|dot| dot.value), HEIGHT - BOTTOM - 8.0, TOP + 4.0);
    let mut names: Vec<&str> = Vec::new();
    for dot in &finite {
        if let Place::Named(name) = &dot.place
            && !names.contains(&name.as_str())
        {
            names.push(name);
        }
    }
    let numbers = finite.iter().filter_map(|dot| match dot.place {
        Place::At(x) => Some(x),
        Place::Named(_) => None,
    });
    let x = Scale::around(numbers, LEFT + 12.0, WIDTH - RIGHT - 12.0);
    let step = (WIDTH - RIGHT - LEFT) / names.len().max(1) as f64;
    let mut svg = opening(id, title, HEIGHT);
    for tick in y.ticks() {
        let at = y.place(tick);
        let class = if tick == 0.0 { "zero" } else { "grid" };
        line(&mut svg, class, [LEFT, at], [WIDTH - RIGHT, at]);
        text(
            &mut svg,
            "tick",
            "end",
            LEFT - 8.0,
            at + 4.0,
            &number::number(tick, y.decimals),
        );
    }
    let foot = HEIGHT - BOTTOM;
    line(&mut svg, "axis", [LEFT, foot], [WIDTH - RIGHT, foot]);
    if names.is_empty() {
        for tick in x.ticks() {
            let at = x.place(tick);
            line(&mut svg, "axis", [at, foot], [at, foot + 5.0]);
            text(
                &mut svg,
                "tick",
                "middle",
                at,
                foot + 19.0,
                &number::number(tick, x.decimals),
            );
        }
    }
    for (place, name) in names.iter().enumerate() {
        let at = LEFT + step * (place as f64 + 0.5);
        let most = ((step / 6.5) as usize).clamp(3, 24);
        // Many names are set on two levels, or they would run into each other.
        let level = if names.len() > 6 {
            (place % 2) as f64 * 13.0
        } else {
            0.0
        };
        text(
            &mut svg,
            "tick category",
            "middle",
            at,
            foot + 15.0 + level,
            &super::page::truncate(name, most),
        );
    }
    text(
        &mut svg,
        "name",
        "middle",
        f64::midpoint(LEFT, WIDTH - RIGHT),
        HEIGHT - 8.0,
        x_axis,
    );
    let _ = write!(
        svg,
        "<text class=\"name\" text-anchor=\"middle\" transform=\"translate(17 {:.1}) rotate(-90)\">{}</text>",
        f64::midpoint(TOP, foot),
        escape(y_axis)
    );
    for dot in finite {
        let at = match &dot.place {
            Place::At(value) => x.place(*value),
            Place::Named(name) => {
                let place = names.iter().position(|known| known == name).unwrap_or(0);
                LEFT + step * (place as f64 + 0.5)
            }
        };
        mark(&mut svg, dot, at, y.place(dot.value));
    }
    svg.push_str("</svg>");
    svg
}

/// Values and intervals above one number line, a row each. Empty when nothing finite is to be drawn.
pub fn number_line(id: &str, title: &str, axis: &str, bars: &[Bar]) -> String {
    let finite: Vec<&Bar> = bars
        .iter()
        .filter(|bar| bar.ends.iter().chain(&bar.value).all(|value| value.is_finite()))
        .collect();
    if finite.is_empty() {
        return String::new();
    }
    let foot = TOP + ROW * finite.len() as f64 + 6.0;
    let height = foot + BOTTOM - 6.0;
    let all = finite.iter().flat_map(|bar| bar.ends.into_iter().chain(bar.value));
    let x = Scale::around(all, LABELS + 10.0, WIDTH - RIGHT - 12.0);
    let mut svg = opening(id, title, height);
    for tick in x.ticks() {
        let at = x.place(tick);
        line(
            &mut svg,
            if tick == 0.0 { "zero" } else { "grid" },
            [at, TOP],
            [at, foot],
        );
        text(
            &mut svg,
            "tick",
            "middle",
            at,
            foot + 18.0,
            &number::signed(tick, x.decimals),
        );
    }
    line(&mut svg, "axis", [LABELS, foot], [WIDTH - RIGHT, foot]);
    for (row, bar) in finite.iter().enumerate() {
        let at = TOP + ROW * (row as f64 + 0.5);
        text(
            &mut svg,
            "label",
            "end",
            LABELS - 6.0,
            at + 4.0,
            &super::page::truncate(&bar.label, 22),
        );
        let [low, high] = bar.ends.map(|end| x.place(end));
        let _ = write!(
            svg,
            "<g class=\"bar {}\"><title>{}</title><line x1=\"{low:.1}\" x2=\"{:.1}\" y1=\"{at:.1}\" y2=\"{at:.1}\"/>",
            bar.class,
            escape(&bar_words(bar)),
            high.max(low + 0.5),
        );
        if let Some(value) = bar.value {
            let at_x = x.place(value);
            if bar.class == "mirror" || bar.class == "measured" {
                let size = if bar.class == "measured" { 7.0 } else { 5.0 };
                svg.push_str(&diamond(at_x, at, size));
            } else {
                let _ = write!(svg, "<circle cx=\"{at_x:.1}\" cy=\"{at:.1}\" r=\"4.5\"/>");
            }
        }
        svg.push_str("</g>");
    }
    text(
        &mut svg,
        "name",
        "middle",
        f64::midpoint(LABELS, WIDTH - RIGHT),
        height - 8.0,
        axis,
    );
    svg.push_str("</svg>");
    svg
}

fn bar_words(bar: &Bar) -> String {
    let range = number::interval(bar.ends[0], bar.ends[1]);
    match bar.value {
        Some(value) => format!("{}: {} ({range})", bar.label, number::signed(value, 2)),
        None => format!("{}: {range}", bar.label),
    }
}

fn mark(svg: &mut String, dot: &Dot, x: f64, y: f64) {
    let _ = write!(
        svg,
        "<g class=\"dot {} {}\"><title>{}</title>",
        if dot.mirror { "mirror" } else { "own" },
        if dot.counts { "counts" } else { "listed" },
        escape(&dot.label)
    );
    if dot.mirror {
        svg.push_str(&diamond(x, y, 5.5));
    } else {
        let _ = write!(svg, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4.5\"/>");
    }
    svg.push_str("</g>");
}

fn diamond(x: f64, y: f64, size: f64) -> String {
    format!(
        "<path d=\"M{x:.1} {:.1}l{size} {size}l-{size} {size}l-{size} -{size}z\"/>",
        y - size
    )
}

fn opening(id: &str, title: &str, height: f64) -> String {
    let (id, title) = (escape(id), escape(title));
    format!(
        "<svg class=\"plot\" viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" aria-labelledby=\"{id}-title\" \
         xmlns=\"http://www.w3.org/2000/svg\"><title id=\"{id}-title\">{title}</title>"
    )
}

fn line(svg: &mut String, class: &str, from: [f64; 2], to: [f64; 2]) {
    let _ = write!(
        svg,
        "<line class=\"{class}\" x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\"/>",
        from[0], from[1], to[0], to[1]
    );
}

fn text(svg: &mut String, class: &str, anchor: &str, x: f64, y: f64, words: &str) {
    let _ = write!(
        svg,
        "<text class=\"{class}\" text-anchor=\"{anchor}\" x=\"{x:.1}\" y=\"{y:.1}\">{}</text>",
        escape(words)
    );
}

/// Text as it may stand in SVG and in an attribute of it.
fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
        .replace('\'', "&#39;")
}

/// A linear axis whose ends lie on ticks.
struct Scale {
    low: f64,
    high: f64,
    step: f64,
    decimals: usize,
    from: f64,
    to: f64,
}

impl Scale {
    /// An axis around all values, from one place of the drawing to another, with about six ticks.
    fn around(values: impl Iterator<Item = f64>, from: f64, to: f64) -> Self {
        let (mut low, mut high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        let middle = f64::midpoint(low, high);
        let span = (high - low).max(middle.abs() * 0.02).max(1e-6);
        let power = 10f64.powf((span / 6.0).log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .map(|factor| factor * power)
            .into_iter()
            .find(|step| span / step <= 6.0)
            .unwrap_or(span);
        low = (low.min(middle - span / 2.0) / step).floor() * step;
        high = (high.max(middle + span / 2.0) / step).ceil() * step;
        let decimals = usize::try_from(-(step.log10().floor() as i32)).unwrap_or(0).min(6);
        Self {
            low,
            high,
            step,
            decimals,
            from,
            to,
        }
    }

    fn place(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    fn ticks(&self) -> impl Iterator<Item = f64> {
        let count = ((self.high - self.low) / self.step).round() as usize;
        (0..=count.min(20)).map(|at| {
            let tick = self.low + at as f64 * self.step;
            // Rounding must not leave a zero that is not zero.
            if tick.abs() < self.step * 1e-6 { 0.0 } else { tick }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dot(x: f64, value: f64) -> Dot {
        Dot {
            place: Place::At(x),
            value,
            label: "<script>\"&'".to_owned(),
            mirror: false,
            counts: true,
        }
    }

    #[test]
    fn words_from_outside_are_escaped() {
        let svg = points("p", "<b>", "\"x\"", "a & b", &[dot(1.0, 2.0)]);
        assert!(!svg.contains("<script>") && !svg.contains("<b>"), "{svg}");
        assert!(
            svg.contains("&lt;script&gt;&quot;&amp;&#39;") && svg.contains("a &amp; b"),
            "{svg}"
        );
    }

    #[test]
    fn what_is_not_finite_is_left_out() {
        assert_eq!(
            points("p", "t", "x", "y", &[dot(f64::NAN, 1.0), dot(1.0, f64::INFINITY)]),
            ""
        );
        let bar = |value| Bar {
            label: "a".to_owned(),
            class: "reference",
            value: Some(value),
            ends: [value - 1.0, value + 1.0],
        };
        assert_eq!(number_line("n", "t", "x", &[bar(f64::NAN)]), "");
        let one = number_line("n", "t", "x", &[bar(f64::NAN), bar(3.0)]);
        assert_eq!(one.matches("<circle").count(), 1, "{one}");
        assert!(!one.contains("NaN") && !one.contains("inf"), "{one}");
    }

    #[test]
    fn places_stand_inside_the_drawing() {
        for values in [
            vec![0.0],
            vec![-1e-9, 1e-9],
            vec![-5e5, 3.0],
            vec![-49.1, -49.1],
            vec![89.5],
        ] {
            let scale = Scale::around(values.iter().copied(), 100.0, 600.0);
            assert!(scale.ticks().count() >= 2, "{values:?}");
            for value in values {
                assert!((100.0..=600.0).contains(&scale.place(value)), "{value}");
            }
        }
    }
}
