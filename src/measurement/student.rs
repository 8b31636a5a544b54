//! Quantiles of Student's distribution and the critical value of an outlier test.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// The t that a share `tail` of Student's distribution exceeds on both sides together.
///
/// Found by bisection on the tail probability, which stays exact far out; above 10⁸ degrees of freedom the normal
/// distribution is taken. Below 1 degree of freedom it is taken at 1.
pub fn t_two_sided(tail: f64, degrees_of_freedom: f64) -> f64 {
    let upper = |t: f64| -> f64 {
        if degrees_of_freedom > 1e8 {
            Normal::standard().sf(t)
        } else {
            StudentsT::new(0.0, 1.0, degrees_of_freedom.max(1.0)).map_or(f64::NAN, |student| student.sf(t))
        }
    };
    let (mut low, mut high) = (0.0, 1.0);
    while upper(high) > tail / 2.0 && high < 1e12 {
        high *= 2.0;
    }
    for _ in 0..100 {
        let middle = f64::midpoint(low, high);
        if upper(middle) > tail / 2.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

/// Probability that |t| of Student's distribution is at least this large.
pub fn t_tails(t: f64, degrees_of_freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, degrees_of_freedom.max(1.0)).map_or(1.0, |student| 2.0 * student.sf(t.abs()))
}

/// The critical value of Grubbs' test for the one reading farthest from the mean, on either side, of `n` readings at
/// level `level`: `(n−1)/√n · √(t² / (n − 2 + t²))`, t exceeded by `level/(2n)` of Student's distribution with n − 2
/// degrees of freedom. Grubbs, Technometrics 11 (1969) 1; tabulated in ISO 5725-2. None below three readings.
pub fn grubbs_critical(n: usize, level: f64) -> Option<f64> {
    if n < 3 {
        return None;
    }
    let size = n as f64;
    let t = t_two_sided(level / size, size - 2.0);
    Some((size - 1.0) / size.sqrt() * (t * t / (size - 2.0 + t * t)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 5725-2:1994, table 5 (one outlier, 5 % and 1 %), from memory; the table rounds 1.1543 up.
    #[test]
    fn grubbs_critical_values_are_those_of_the_table() {
        for (n, five, one) in [
            (3, 1.155, 1.155),
            (5, 1.715, 1.764),
            (10, 2.290, 2.482),
            (20, 2.709, 3.001),
        ] {
            assert!((grubbs_critical(n, 0.05).unwrap() - five).abs() < 8e-4, "{n}");
            assert!((grubbs_critical(n, 0.01).unwrap() - one).abs() < 8e-4, "{n}");
        }
        assert_eq!(grubbs_critical(2, 0.05), None);
    }

    /// JCGM 100:2008, table G.2: t of 95 % and 99 %.
    #[test]
    fn t_is_that_of_table_g2() {
        for (nu, p95, p99) in [
            (1.0, 12.71, 63.66),
            (2.0, 4.30, 9.92),
            (5.0, 2.57, 4.03),
            (16.0, 2.12, 2.92),
        ] {
            assert!((t_two_sided(0.05, nu) - p95).abs() < 5.1e-3, "{nu}");
            assert!((t_two_sided(0.01, nu) - p99).abs() < 5.1e-3, "{nu}");
        }
        assert!((t_two_sided(0.05, f64::INFINITY) - 1.959_964).abs() < 1e-6);
    }
}
