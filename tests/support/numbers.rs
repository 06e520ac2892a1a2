//! Means, medians and percentiles to the last digit of Python's `statistics` and `round`, with
//! which the takes' own scorer works.

use serde_json::{Value, json};

/// The middle value of what is there, the mean of the two middle ones of an even count.
///
/// # Panics
/// Of nothing.
pub fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let count = sorted.len();
    if count % 2 == 1 {
        sorted[count / 2]
    } else {
        (sorted[count / 2 - 1] + sorted[count / 2]) / 2.0
    }
}

/// Linear interpolation between the closest ranks of an ordered list; `share` is in per cent.
pub fn percentile(ordered: &[f64], share: f64) -> f64 {
    let rank = (ordered.len() - 1) as f64 * share / 100.0;
    let below = rank as usize;
    let above = (below + 1).min(ordered.len() - 1);
    ordered[below] + (rank - below as f64) * (ordered[above] - ordered[below])
}

/// `value` to so many decimals: the nearest decimal number to the exact binary value, as Python
/// rounds and as Rust formats.
pub fn round(value: f64, decimals: usize) -> f64 {
    format!("{value:.decimals$}").parse().expect("a number")
}

/// The mean with an exact sum: partial sums that do not overlap (Shewchuk 1997, *Adaptive
/// precision floating-point arithmetic*, Discrete & Computational Geometry 18, section 2).
pub fn mean(values: &[f64]) -> f64 {
    let mut partials: Vec<f64> = Vec::new();
    for &value in values {
        let mut x = value;
        let mut kept = Vec::new();
        for &partial in &partials {
            let (large, small) = if x.abs() < partial.abs() {
                (partial, x)
            } else {
                (x, partial)
            };
            let sum = large + small;
            let rest = small - (sum - large);
            if rest != 0.0 {
                kept.push(rest);
            }
            x = sum;
        }
        kept.push(x);
        partials = kept;
    }
    partials.iter().sum::<f64>() / values.len() as f64
}

/// Count, mean and median of the magnitudes, their 95th percentile, and the median with its sign.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    pub n: usize,
    pub mae: f64,
    pub median_abs: f64,
    pub p95: f64,
    pub median_error: f64,
}

impl Spread {
    /// `None` of nothing.
    pub fn of(values: &[f64]) -> Option<Self> {
        if values.is_empty() {
            return None;
        }
        let mut sizes: Vec<f64> = values.iter().map(|v| v.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        Some(Self {
            n: values.len(),
            mae: round(mean(&sizes), 3),
            median_abs: round(median(&sizes), 3),
            p95: round(percentile(&sizes, 95.0), 3),
            median_error: round(median(values), 3),
        })
    }

    /// As the takes' scorer writes it.
    pub fn to_json(of: Option<Self>) -> Value {
        of.map_or(Value::Null, |s| {
            json!({"n": s.n, "mae": s.mae, "median_abs": s.median_abs, "p95": s.p95,
                   "median_error": s.median_error})
        })
    }
}

/// Python's documentation: `round(2.675, 2)` gives 2.67, for 2.675 is a little less in binary;
/// half to even where a tie is exact (`round(0.5)`, `round(1.5)`).
#[test]
fn rounds_as_python_does() {
    assert_eq!(round(2.675, 2), 2.67);
    assert_eq!(round(0.5, 0), 0.0);
    assert_eq!(round(1.5, 0), 2.0);
    assert_eq!(round(-0.0625, 3), -0.062);
}

/// Python's documentation of `math.fsum`: ten times 0.1 is 1.0. And a sum that a plain loop loses.
#[test]
fn sums_exactly() {
    assert_eq!(mean(&[0.1; 10]), 0.1);
    assert_eq!(mean(&[1e16, 1.0, -1e16]), 1.0 / 3.0);
}

/// Python's documentation of `statistics.median`: of 1, 3, 5 it is 3, of 1, 3, 5, 7 it is 4.
/// Percentile: closed form on a ramp.
#[test]
fn finds_the_middle_and_the_edge() {
    assert_eq!(median(&[5.0, 1.0, 3.0]), 3.0);
    assert_eq!(median(&[7.0, 1.0, 5.0, 3.0]), 4.0);
    let ramp: Vec<f64> = (0..=20).map(f64::from).collect();
    assert_eq!(percentile(&ramp, 95.0), 19.0);
    assert_eq!(percentile(&[0.0, 1.0], 95.0), 0.95);
    assert_eq!(percentile(&[4.0], 95.0), 4.0);
}
