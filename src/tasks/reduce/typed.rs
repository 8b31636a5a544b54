//! Angles as a person types them into one field.

use crate::quantity::{Angle, parse_angle};

/// The angles of a text that holds nothing else: on one line with spaces or semicolons between, or one a line. None where
/// it holds anything else, a table for one.
pub fn typed_angles(text: &str) -> Option<Vec<Angle>> {
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
    let angle = |text: &str| parse_angle(text).ok();
    match lines[..] {
        [] => None,
        [line] => match angle(line) {
            Some(one) => Some(vec![one]),
            None => line
                .split(|c: char| c == ';' || c.is_whitespace())
                .filter(|piece| !piece.is_empty())
                .map(angle)
                .collect(),
        },
        _ => lines.into_iter().map(angle).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_are_read_and_tables_are_not() {
        let degrees = |text: &str| {
            typed_angles(text).map(|angles| angles.iter().map(|angle| angle.degrees()).collect::<Vec<_>>())
        };
        assert_eq!(degrees("-0.482"), Some(vec![-0.482]));
        assert_eq!(degrees(" −0,482; -0.480 -0.483 "), Some(vec![-0.482, -0.480, -0.483]));
        assert_eq!(degrees("0.1\n0.2\n\n0.3\n"), Some(vec![0.1, 0.2, 0.3]));
        assert_eq!(degrees("482 mdeg"), Some(vec![0.482]));
        for table in ["", "angle\n0.1", "0 0.1\n60 0.2", "role,angle_deg\nsample,0.1"] {
            assert_eq!(degrees(table), None, "{table}");
        }
    }
}
