//! Half turns: an analyser cannot tell α from α ± 180°. A second concentration or cell length can.

/// One angle with what stands behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scaled {
    /// Blank subtracted, degrees.
    pub degrees: f64,
    /// Its standard uncertainty, degrees, without what is proportional to the angle.
    pub uncertainty: f64,
    /// Length times concentration, dm g/100 mL.
    pub size: f64,
}

/// What the angles at several sizes tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Turns {
    /// Half turns to add to each angle.
    pub added: Vec<i32>,
    /// How far apart the scaled values are, in their standard uncertainties, with these turns.
    pub discord: f64,
    /// The same without any turn.
    pub discord_as_read: f64,
}

/// Standard uncertainties beyond which values disagree, and below which a turn explains them.
const DISAGREE: f64 = 5.0;
const AGREE: f64 = 2.5;
/// A missed half turn moves an angle by tens of degrees; a smaller mismatch is a wrong dilution, which turns added to both
/// angles would only hide in their larger uncertainty.
const LEAST_MISMATCH: f64 = 30.0;
/// Most half turns that are tried.
const MOST_TURNS: i32 = 3;

/// Finds the fewest half turns that make `α / (l c)` one value: none when the angles agree as read, when no few turns
/// explain them, or when several ways are equally short. `relative` is the standard uncertainty of each size.
pub fn resolve(angles: &[Scaled], relative: f64) -> Option<Turns> {
    if angles.len() < 2 {
        return None;
    }
    let as_read = discord(angles, &vec![0; angles.len()], relative);
    if as_read <= DISAGREE || mismatch(angles)? < LEAST_MISMATCH {
        return None;
    }
    // The turns of the angle with the smallest size are tried; each gives the turns of the others.
    let smallest = (0..angles.len()).min_by(|&a, &b| angles[a].size.total_cmp(&angles[b].size))?;
    let mut good: Vec<(i32, Turns)> = (-MOST_TURNS..=MOST_TURNS)
        .map(|turn| (angles[smallest].degrees + 180.0 * f64::from(turn)) / angles[smallest].size)
        .filter_map(|rotation| {
            let turns: Vec<i32> = angles
                .iter()
                .map(|angle| ((rotation * angle.size - angle.degrees) / 180.0).round())
                .map(|turn| turn.clamp(-1e6, 1e6) as i32)
                .collect();
            let discord = discord(angles, &turns, relative);
            let found = Turns {
                added: turns,
                discord,
                discord_as_read: as_read,
            };
            (discord < AGREE).then(|| (found.added.iter().map(|turn| turn.abs()).sum(), found))
        })
        .collect();
    // At sizes of one to two a half turn of the smaller is two of the larger: the fewest turns are taken, if only one way
    // has so few.
    good.sort_by_key(|(n_turns, _)| *n_turns);
    match &good[..] {
        [] => None,
        [(first, _), (second, _), ..] if first == second => None,
        [(n_turns, found), ..] => (*n_turns <= MOST_TURNS).then(|| found.clone()),
    }
}

/// How far the angle of the largest size lies from what that of the smallest makes of it, degrees.
fn mismatch(angles: &[Scaled]) -> Option<f64> {
    let by_size = |a: &&Scaled, b: &&Scaled| a.size.total_cmp(&b.size);
    let (small, large) = (angles.iter().min_by(by_size)?, angles.iter().max_by(by_size)?);
    Some((large.degrees - small.degrees * large.size / small.size).abs())
}

/// The largest difference of two scaled values in its standard uncertainty.
pub fn discord(angles: &[Scaled], turns: &[i32], relative: f64) -> f64 {
    let values: Vec<(f64, f64)> = angles
        .iter()
        .zip(turns)
        .map(|(angle, &turn)| {
            let value = (angle.degrees + 180.0 * f64::from(turn)) / angle.size;
            let u = (angle.uncertainty / angle.size).hypot(relative * value);
            (value, u)
        })
        .collect();
    let mut most: f64 = 0.0;
    for (i, a) in values.iter().enumerate() {
        for b in &values[..i] {
            most = most.max((a.0 - b.0).abs() / a.1.hypot(b.1).max(f64::MIN_POSITIVE));
        }
    }
    most
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scaled(degrees: f64, size: f64) -> Scaled {
        Scaled {
            degrees,
            uncertainty: 0.003,
            size,
        }
    }

    /// By hand: a rotation of +5.0° per unit at sizes 20 and 10 is +100°, read as −80°, and +50°.
    #[test]
    fn a_second_size_finds_the_half_turn() {
        let found = resolve(&[scaled(-80.0, 20.0), scaled(50.0, 10.0)], 0.005).unwrap();
        assert_eq!(found.added, [1, 0]);
        assert_eq!(resolve(&[scaled(60.0, 20.0), scaled(30.0, 10.0)], 0.005), None);
        // So is one by 5 % at large angles, although two turns and one would hide it.
        assert_eq!(resolve(&[scaled(60.0, 20.0), scaled(31.5, 10.0)], 0.0032), None);
        // A dilution that is wrong by 10 % is no half turn.
        assert_eq!(resolve(&[scaled(6.0, 20.0), scaled(3.3, 10.0)], 0.005), None);
    }
}
