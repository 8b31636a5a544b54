//! Values in an order, against time or against a number, with upper and lower lines and a curve through them.

use super::{BOTTOM, HEIGHT, LEFT, RIGHT, Scale, TOP, WIDTH, diamond, escape, line, opening, text};
use crate::report::number;
use std::fmt::Write;

/// What a mark stands for; decides its look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// A value: a filled circle.
    Value,
    /// A value that belongs to the side, such as a blank: hollow.
    Aside,
    /// A value that wants attention: a large diamond.
    Alarm,
}

/// A value to draw.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Where along the horizontal axis.
    pub x: f64,
    /// The value.
    pub value: f64,
    /// The ends of its interval.
    pub ends: Option<[f64; 2]>,
    /// Its look.
    pub look: Look,
    /// What to call it.
    pub label: String,
}

/// A line across the drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// Its height.
    pub value: f64,
    /// Whether it bounds, and is not a centre.
    pub is_limit: bool,
    /// What it is, in a word or two.
    pub label: String,
}

/// A chart.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Chart<'a> {
    /// A name for its parts, one on a page.
    pub id: &'a str,
    /// Its title.
    pub title: &'a str,
    /// Name and unit of the horizontal axis.
    pub x_axis: &'a str,
    /// Name and unit of the upright axis.
    pub y_axis: &'a str,
    /// The values.
    pub marks: Vec<Mark>,
    /// Lines across.
    pub rules: Vec<Rule>,
    /// Points of a curve.
    pub curve: Vec<[f64; 2]>,
    /// Whether the horizontal axis counts.
    pub is_counted: bool,
    /// Whether a thin line joins the values in their order.
    pub is_joined: bool,
}

impl Chart<'_> {
    /// Draws it. Empty when nothing finite is to be drawn.
    pub fn draw(&self) -> String {
        let marks: Vec<&Mark> = (self.marks.iter())
            .filter(|mark| mark.x.is_finite() && mark.value.is_finite())
            .collect();
        if marks.is_empty() {
            return String::new();
        }
        let curve: Vec<[f64; 2]> = (self.curve.iter().copied())
            .filter(|point| point.iter().all(|value| value.is_finite()))
            .collect();
        let ends = |mark: &&Mark| mark.ends.filter(|ends| ends.iter().all(|end| end.is_finite()));
        let heights = (marks.iter())
            .flat_map(|mark| ends(mark).into_iter().flatten().chain([mark.value]))
            .chain(
                self.rules
                    .iter()
                    .map(|rule| rule.value)
                    .filter(|value| value.is_finite()),
            )
            .chain(curve.iter().map(|point| point[1]));
        let foot = HEIGHT - BOTTOM;
        let y = Scale::around(heights, foot - 6.0, TOP + 6.0);
        let wide = marks
            .iter()
            .map(|mark| mark.x)
            .chain(curve.iter().map(|point| point[0]));
        let x = Scale::around(wide, LEFT + 12.0, WIDTH - RIGHT - 12.0);
        let mut svg = opening(self.id, self.title, HEIGHT);
        self.axes(&mut svg, &x, &y, foot);
        for rule in self.rules.iter().filter(|rule| rule.value.is_finite()) {
            let at = y.place(rule.value);
            let class = if rule.is_limit { "limit" } else { "centre" };
            line(&mut svg, class, [LEFT, at], [WIDTH - RIGHT, at]);
        }
        let path = |points: &mut dyn Iterator<Item = [f64; 2]>| {
            points.fold(String::new(), |mut path, [at_x, at_y]| {
                let step = if path.is_empty() { 'M' } else { 'L' };
                let _ = write!(path, "{step}{:.1} {:.1}", x.place(at_x), y.place(at_y));
                path
            })
        };
        if self.is_joined {
            let joined = path(&mut marks.iter().map(|mark| [mark.x, mark.value]));
            let _ = write!(svg, "<path class=\"joined\" d=\"{joined}\"/>");
        }
        if curve.len() > 1 {
            let _ = write!(
                svg,
                "<path class=\"curve\" d=\"{}\"/>",
                path(&mut curve.iter().copied())
            );
        }
        for mark in &marks {
            let (at_x, at_y) = (x.place(mark.x), y.place(mark.value));
            let class = match mark.look {
                Look::Value => "own counts",
                Look::Aside => "own listed",
                Look::Alarm => "alarm",
            };
            let _ = write!(svg, "<g class=\"dot {class}\"><title>{}</title>", escape(&mark.label));
            if let Some([low, high]) = ends(mark) {
                line(&mut svg, "whisker", [at_x, y.place(low)], [at_x, y.place(high)]);
            }
            if mark.look == Look::Alarm {
                svg.push_str(&diamond(at_x, at_y, 7.0));
            } else {
                let size = if marks.len() > 60 { 2.8 } else { 4.5 };
                let _ = write!(svg, "<circle cx=\"{at_x:.1}\" cy=\"{at_y:.1}\" r=\"{size}\"/>");
            }
            svg.push_str("</g>");
        }
        // On top of everything, so that no line crosses the words.
        for rule in self.rules.iter().filter(|rule| rule.value.is_finite()) {
            let at = y.place(rule.value) - 5.0;
            text(&mut svg, "rule", "end", WIDTH - RIGHT - 4.0, at, &rule.label);
        }
        svg.push_str("</svg>");
        svg
    }

    fn axes(&self, svg: &mut String, x: &Scale, y: &Scale, foot: f64) {
        for tick in y.ticks() {
            let at = y.place(tick);
            let class = if tick == 0.0 { "zero" } else { "grid" };
            line(svg, class, [LEFT, at], [WIDTH - RIGHT, at]);
            let words = number::number(tick, y.decimals);
            text(svg, "tick", "end", LEFT - 8.0, at + 4.0, &words);
        }
        line(svg, "axis", [LEFT, foot], [WIDTH - RIGHT, foot]);
        for tick in x.ticks().filter(|tick| !self.is_counted || tick.fract() == 0.0) {
            let at = x.place(tick);
            line(svg, "axis", [at, foot], [at, foot + 5.0]);
            text(
                svg,
                "tick",
                "middle",
                at,
                foot + 19.0,
                &number::number(tick, if self.is_counted { 0 } else { x.decimals }),
            );
        }
        let middle = f64::midpoint(LEFT, WIDTH - RIGHT);
        text(svg, "name", "middle", middle, HEIGHT - 8.0, self.x_axis);
        let _ = write!(
            svg,
            "<text class=\"name\" text-anchor=\"middle\" transform=\"translate(17 {:.1}) rotate(-90)\">{}</text>",
            f64::midpoint(TOP, foot),
            escape(self.y_axis)
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(x: f64, value: f64, look: Look) -> Mark {
        Mark {
            x,
            value,
            ends: Some([value - 0.1, value + 0.1]),
            look,
            label: "<check>".to_owned(),
        }
    }

    #[test]
    fn a_chart_draws_what_is_finite_with_its_lines() {
        let chart = Chart {
            id: "c",
            title: "t & u",
            x_axis: "check",
            y_axis: "difference / °",
            marks: vec![
                mark(1.0, 0.2, Look::Value),
                mark(2.0, f64::NAN, Look::Value),
                mark(3.0, 0.9, Look::Alarm),
            ],
            rules: vec![Rule {
                value: 0.5,
                is_limit: true,
                label: "upper limit".to_owned(),
            }],
            is_counted: true,
            is_joined: true,
            ..Chart::default()
        };
        let svg = chart.draw();
        assert_eq!(svg.matches("<circle").count(), 1, "{svg}");
        assert_eq!(svg.matches("dot alarm").count(), 1);
        assert_eq!(svg.matches("class=\"limit\"").count(), 1);
        assert!(
            svg.contains("t &amp; u") && svg.contains("&lt;check&gt;") && !svg.contains("NaN"),
            "{svg}"
        );
        // Counted axes name whole numbers only.
        assert!(!svg.contains(">1.5<"), "{svg}");
        let none = Chart {
            marks: vec![mark(f64::NAN, 1.0, Look::Value)],
            ..chart
        };
        assert_eq!(none.draw(), "");
    }
}
