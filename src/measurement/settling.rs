//! When an angle has settled: the criterion a preset names.

use super::kinetics::TimedReading;
use crate::quantity::{Angle, Time};
use std::collections::VecDeque;

/// What readings with their times say of a settling criterion.
#[derive(Clone, Debug, PartialEq)]
pub enum Settling {
    /// From this moment on the angle changed by no more than the criterion allows.
    Settled {
        /// The moment.
        from: Time,
        /// Places of the readings before it, in the order given.
        before: Vec<usize>,
    },
    /// It still changed at the end.
    Moving {
        /// Largest less smallest angle within the time of the criterion before the last reading.
        change: Angle,
    },
    /// The readings span less than the time of the criterion.
    TooShort {
        /// What they span.
        span: Time,
    },
}

/// Holds readings against a criterion: no two of them that lie within `over` of each other differ by more than `within`
/// (common practice; there is no standard for it). Settled means that this holds from one moment to the end, and that at
/// least the time of the criterion lies between. Readings are taken in the order of their times. None without a reading.
pub fn settling(readings: &[TimedReading], within: Angle, over: Time) -> Option<Settling> {
    let mut order: Vec<usize> = (0..readings.len()).collect();
    order.sort_by(|&a, &b| readings[a].time.seconds().total_cmp(&readings[b].time.seconds()));
    let at: Vec<(f64, f64)> = order
        .iter()
        .map(|&i| (readings[i].time.seconds(), readings[i].angle.degrees()))
        .collect();
    let (&(first, _), &(last, _)) = (at.first()?, at.last()?);
    if last - first < over.seconds() {
        return Some(Settling::TooShort {
            span: Time::from_seconds(last - first),
        });
    }
    let changes = changes_after(&at, over.seconds());
    // Rounding in the arithmetic must not unsettle readings that differ by exactly as much.
    let limit = within.degrees() + 1e-9;
    let settled = changes
        .iter()
        .rposition(|&change| change > limit)
        .map_or(0, |bad| bad + 1);
    if settled < at.len() && last - at[settled].0 >= over.seconds() {
        return Some(Settling::Settled {
            from: Time::from_seconds(at[settled].0),
            before: order[..settled].to_vec(),
        });
    }
    let tail = at.iter().filter(|(time, _)| last - time <= over.seconds());
    let (low, high) = tail.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), (_, angle)| {
        (low.min(*angle), high.max(*angle))
    });
    Some(Settling::Moving {
        change: Angle::from_degrees(high - low),
    })
}

/// For each reading, largest less smallest angle from it to `over` seconds after it, by a window of falling and one of rising
/// angles: one pass.
fn changes_after(at: &[(f64, f64)], over: f64) -> Vec<f64> {
    let (mut highs, mut lows): (VecDeque<usize>, VecDeque<usize>) = (VecDeque::new(), VecDeque::new());
    let mut end = 0;
    let mut changes = Vec::with_capacity(at.len());
    for start in 0..at.len() {
        while end < at.len() && at[end].0 - at[start].0 <= over {
            while highs.back().is_some_and(|&i| at[i].1 <= at[end].1) {
                highs.pop_back();
            }
            while lows.back().is_some_and(|&i| at[i].1 >= at[end].1) {
                lows.pop_back();
            }
            highs.push_back(end);
            lows.push_back(end);
            end += 1;
        }
        while highs.front().is_some_and(|&i| i < start) {
            highs.pop_front();
        }
        while lows.front().is_some_and(|&i| i < start) {
            lows.pop_front();
        }
        let change = highs.front().zip(lows.front());
        changes.push(change.map_or(0.0, |(&high, &low)| at[high].1 - at[low].1));
    }
    changes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(values: &[(f64, f64)], within: f64, over: f64) -> Option<Settling> {
        let readings: Vec<TimedReading> = values
            .iter()
            .map(|&(seconds, degrees)| TimedReading {
                time: Time::from_seconds(seconds),
                angle: Angle::from_degrees(degrees),
                uncertainty: None,
            })
            .collect();
        settling(&readings, Angle::from_degrees(within), Time::from_seconds(over))
    }

    /// By hand: within 0.002° over 60 s. Readings 20 s apart; the second differs from the fourth, 40 s later, by 0.003°.
    #[test]
    fn settled_from_the_first_reading_no_later_one_contradicts() {
        let warm = [
            (0.0, 1.02),
            (20.0, 1.004),
            (40.0, 1.002),
            (60.0, 1.001),
            (80.0, 1.0),
            (100.0, 1.001),
        ];
        let settled = Settling::Settled {
            from: Time::from_seconds(40.0),
            before: vec![0, 1],
        };
        assert_eq!(of(&warm, 0.002, 60.0), Some(settled));
        // The same readings in another order: the places are those given.
        let mut turned = warm;
        turned.reverse();
        let Some(Settling::Settled { from, before }) = of(&turned, 0.002, 60.0) else {
            panic!("not settled");
        };
        assert_eq!((from.seconds(), before), (40.0, vec![5, 4]));
        // Too little time after the moment: not yet settled; the last 60 s changed by 0.002.
        let short = &warm[..5];
        let Some(Settling::Moving { change }) = of(short, 0.002, 60.0) else {
            panic!("settled too soon");
        };
        assert!((change.degrees() - 0.004).abs() < 1e-9);
        assert!(matches!(of(&warm[..2], 0.002, 60.0), Some(Settling::TooShort { .. })));
        assert_eq!(of(&[], 0.002, 60.0), None);
    }

    /// A jump at the end unsettles everything before it within the time of the criterion.
    #[test]
    fn a_late_jump_unsettles() {
        let mut values: Vec<(f64, f64)> = (0..20).map(|i| (f64::from(i) * 10.0, 1.0)).collect();
        assert!(matches!(of(&values, 0.0, 60.0), Some(Settling::Settled { .. })));
        values.push((200.0, 1.1));
        assert!(matches!(of(&values, 0.002, 60.0), Some(Settling::Moving { .. })));
    }

    proptest::proptest! {
        /// The one-pass windows against the plain double loop.
        #[test]
        fn windows_are_those_of_the_plain_loop(steps in proptest::collection::vec((0u8..4, -5i8..6), 1..40), over in 0u8..20) {
            let mut time = 0.0;
            let at: Vec<(f64, f64)> = steps.iter().map(|&(step, angle)| {
                time += f64::from(step);
                (time, f64::from(angle))
            }).collect();
            let over = f64::from(over);
            let plain: Vec<f64> = (0..at.len()).map(|start| {
                let window = at[start..].iter().take_while(|(time, _)| time - at[start].0 <= over);
                let angles: Vec<f64> = window.map(|(_, angle)| *angle).collect();
                angles.iter().copied().fold(f64::MIN, f64::max) - angles.iter().copied().fold(f64::MAX, f64::min)
            }).collect();
            proptest::prop_assert_eq!(changes_after(&at, over), plain);
        }
    }
}
