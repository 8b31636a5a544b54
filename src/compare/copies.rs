//! Copies: the same compound, value, line and compatible conditions in several sources are probably one measurement.

use super::reference::Reference;

/// For each reference, the one that stands for it when it is probably a copy.
///
/// Two references are copies when they come from different sources or the same one, are of the same hand after
/// mirroring, print the same value (to a part in 10⁶), and no condition that both print differs. The one that prints most
/// stands for the group; a measured value stands before a quoted one.
pub(super) fn representatives(references: &[Reference]) -> Vec<Option<usize>> {
    let mut order: Vec<usize> = (0..references.len())
        .filter(|&i| references[i].excluded.is_none())
        .collect();
    order.sort_by_key(|&i| (references[i].quoted, std::cmp::Reverse(richness(&references[i]))));
    let mut stands_for = vec![None; references.len()];
    let mut chosen: Vec<usize> = Vec::new();
    for &i in &order {
        match chosen.iter().find(|&&j| is_copy(&references[i], &references[j])) {
            Some(&j) => stands_for[i] = Some(j),
            None => chosen.push(i),
        }
    }
    stands_for
}

/// How many conditions a reference prints.
fn richness(reference: &Reference) -> usize {
    let c = &reference.conditions;
    [
        c.temperature.is_some(),
        c.line.is_some(),
        c.solvent.is_some(),
        c.concentration.is_some(),
        c.stage.is_some(),
        c.basis.is_some(),
    ]
    .into_iter()
    .filter(|&printed| printed)
    .count()
}

fn is_copy(a: &Reference, b: &Reference) -> bool {
    fn compatible<T>(a: Option<&T>, b: Option<&T>, same: impl Fn(&T, &T) -> bool) -> bool {
        match (a, b) {
            (Some(a), Some(b)) => same(a, b),
            _ => true,
        }
    }
    let near = |x: f64, y: f64| (x - y).abs() <= 1e-6 * x.abs().max(y.abs()).max(1.0);
    let (x, y) = (&a.conditions, &b.conditions);
    a.mirror == b.mirror
        && near(a.value.conventional(), b.value.conventional())
        && a.form == b.form
        && a.excess == b.excess
        && compatible(
            x.line.as_ref(),
            y.line.as_ref(),
            crate::quantity::SpectralLine::same_light,
        )
        && compatible(x.solvent.as_ref(), y.solvent.as_ref(), |p, q| p == q)
        && compatible(x.temperature.as_ref(), y.temperature.as_ref(), |p, q| {
            (p.celsius() - q.celsius()).abs() <= 1.0
        })
        && compatible(x.concentration.as_ref(), y.concentration.as_ref(), |p, q| {
            near(p.grams_per_100_millilitres(), q.grams_per_100_millilitres())
        })
        && compatible(x.stage.as_ref(), y.stage.as_ref(), |p, q| p == q)
}
