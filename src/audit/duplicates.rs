//! Duplicates: one print entered twice, and values that are probably one measurement.

use super::{Code, Finding, Item, Severity, fields, labels, shown};
use crate::quantity::SpectralLine;
use crate::statement::Statement;
use std::collections::HashMap;

/// What one print is: a source, and all it says of one value.
#[derive(PartialEq, Eq, Hash)]
struct Print {
    source: i64,
    specification: bool,
    fields: Vec<(&'static str, String)>,
    as_printed: String,
}

impl Print {
    fn of(item: &Item) -> Self {
        let words: Vec<&str> = item.statement.as_printed.split_whitespace().collect();
        Self {
            source: item.source,
            specification: item.specification,
            fields: fields(&item.statement),
            as_printed: words.join(" "),
        }
    }
}

/// Finds duplicates. Entries are grouped by what they print, so that no pairs of unlike entries are looked at.
pub(super) fn among(items: &[Item], found: &mut Vec<Finding>) {
    let mut same_print: HashMap<Print, Vec<usize>> = HashMap::new();
    for (at, item) in items.iter().enumerate() {
        same_print.entry(Print::of(item)).or_default().push(at);
    }
    let mut prints: Vec<Vec<usize>> = same_print.into_values().collect();
    prints.sort();
    for places in prints.iter().filter(|places| places.len() > 1) {
        let reason = format!(
            "Entries {} have one source, one value and the same conditions.",
            labels(items, places)
        );
        found.push(Finding::new(
            Code::ExactDuplicate,
            Severity::Medium,
            reason,
            places.clone(),
        ));
    }
    // One of each print stands for it; among equal values those whose printed conditions agree are one measurement.
    let mut by_value: HashMap<(bool, String), Vec<usize>> = HashMap::new();
    for places in &prints {
        let item = &items[places[0]];
        if let Some(value) = value_key(&item.statement) {
            by_value.entry((item.specification, value)).or_default().push(places[0]);
        }
    }
    let mut groups: Vec<Vec<usize>> = by_value.into_values().filter(|places| places.len() > 1).collect();
    groups.sort();
    for mut places in groups {
        // The one that prints most is the one that others are held against.
        places.sort_by_key(|&at| (std::cmp::Reverse(fields(&items[at].statement).len()), at));
        let mut clusters: Vec<Vec<usize>> = Vec::new();
        for at in places {
            let known = clusters
                .iter_mut()
                .take(MOST_CLUSTERS)
                .find(|cluster| compatible(&items[cluster[0]].statement, &items[at].statement));
            match known {
                Some(cluster) => cluster.push(at),
                None => clusters.push(vec![at]),
            }
        }
        for mut cluster in clusters.into_iter().filter(|cluster| cluster.len() > 1) {
            cluster.sort_unstable();
            let value = items[cluster[0]].statement.central_value().unwrap_or_default();
            let reason = format!(
                "Entries {} give the same value {} and no condition that differs: probably one measurement, which is \
                 pooled once.",
                labels(items, &cluster),
                shown(value)
            );
            found.push(Finding::new(Code::NearDuplicate, Severity::Low, reason, cluster));
        }
    }
}

/// Entries of one value are held against at most this many with other conditions.
const MOST_CLUSTERS: usize = 50;

/// What makes two values the same number; a specification's limits count both.
fn value_key(statement: &Statement) -> Option<String> {
    let number = |printed: Option<crate::quantity::Printed>| {
        printed.map_or(String::new(), |printed| format!("{:.6}", printed.value() + 0.0))
    };
    if statement.value.or(statement.low).or(statement.high).is_none() {
        return None;
    }
    Some(format!(
        "{:?} {} {} {}",
        statement.kind,
        number(statement.value),
        number(statement.low),
        number(statement.high)
    ))
}

/// Whether no condition that both print differs.
fn compatible(a: &Statement, b: &Statement) -> bool {
    fn agree<T>(a: Option<T>, b: Option<T>, same: impl Fn(T, T) -> bool) -> bool {
        match (a, b) {
            (Some(a), Some(b)) => same(a, b),
            _ => true,
        }
    }
    let near = |x: f64, y: f64| (x - y).abs() <= 1e-6 * x.abs().max(y.abs());
    agree(a.line.as_ref(), b.line.as_ref(), SpectralLine::same_light)
        && agree(a.solvent.as_ref(), b.solvent.as_ref(), |x, y| x == y)
        && agree(
            a.temperature.as_ref().and_then(|t| t.celsius()),
            b.temperature.as_ref().and_then(|t| t.celsius()),
            |(x, dx), (y, dy)| (x - y).abs() <= 1.0_f64.max(dx + dy),
        )
        && agree(a.concentration, b.concentration, |x, y| {
            x.unit == y.unit && near(x.low.value(), y.low.value()) && x.high.is_some() == y.high.is_some()
        })
        && agree(a.path, b.path, |x, y| near(x.decimetres(), y.decimetres()))
        && agree(a.stage, b.stage, |x, y| x == y)
        && agree(a.form.as_ref(), b.form.as_ref(), |x, y| x.eq_ignore_ascii_case(y))
        && agree(a.basis.as_ref(), b.basis.as_ref(), |x, y| x.eq_ignore_ascii_case(y))
        && agree(a.ee.as_ref(), b.ee.as_ref(), |x, y| {
            near(x.percent.value(), y.percent.value())
        })
}
