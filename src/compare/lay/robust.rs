//! Robust least squares of a polynomial of degree 0 to 2.
//!
//! # Source
//! Tukey's biweight: Beaton & Tukey (1974), Technometrics 16, 147-185. The start from least
//! absolute deviations keeps the redescending weights from locking onto outliers.

use crate::units::SPREAD_OF_MEDIAN;

/// One point of the fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Point {
    /// Place in the line, in seconds at the written tempo.
    pub at_s: f64,
    /// Time in the take, in seconds.
    pub t_s: f64,
    /// Weight before any robust weighting, at least 0.
    pub weight: f64,
}

/// What is believed of the slope before any note is heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SlopePrior {
    /// Played seconds per written second.
    pub slope: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// A fitted polynomial c0 + c1 x + c2 x² with x = `at_s` less the origin.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Polynomial {
    origin_s: f64,
    coefficients: [f64; 3],
    covariance: [[f64; 3]; 3],
    /// Robust standard deviation of the residuals, in seconds, not below the floor.
    pub scale_s: f64,
}

/// Smallest standard deviation the residuals are credited with, in seconds: the onset error of
/// the ear plus the finest timing of players (8 to 10 ms, from memory). Raising it forgives more.
const SCALE_FLOOR_S: f64 = 0.007;
/// Largest, in seconds: a take that is wilder than this has no grid worth the name.
const SCALE_CEILING_S: f64 = 0.030;
/// Residuals beyond this many scales get no weight. 4.685 would be 95 % efficient on Gaussian
/// residuals (Beaton & Tukey 1974); less, because late notes are few and far out.
const CUT: f64 = 3.5;
/// Rounds of reweighting, first by absolute deviations, then by the biweight. Both settle well
/// before.
const ROUNDS: (usize, usize) = (8, 8);
/// Reweighting ends when the curve moves by less than this, in seconds: one sample.
const SETTLED_S: f64 = 2e-5;
/// Deviations below this count alike in the first rounds, in seconds.
const ABSOLUTE_FLOOR_S: f64 = 0.003;

impl Polynomial {
    /// Time in the take of a place in the line, in seconds.
    pub fn time_at(&self, at_s: f64) -> f64 {
        let [c0, c1, c2] = self.coefficients;
        let x = at_s - self.origin_s;
        c0 + x * (c1 + x * c2)
    }

    /// Played seconds per written second at a place in the line.
    pub fn slope_at(&self, at_s: f64) -> f64 {
        self.coefficients[1] + 2.0 * self.coefficients[2] * (at_s - self.origin_s)
    }

    /// True when the other curve is the same to [`SETTLED_S`] at both ends and in the middle.
    fn same_as(&self, other: &Self, points: &[Point]) -> bool {
        let (Some(first), Some(last)) = (points.first(), points.last()) else {
            return true;
        };
        [first.at_s, 0.5 * (first.at_s + last.at_s), last.at_s]
            .iter()
            .all(|&at_s| (self.time_at(at_s) - other.time_at(at_s)).abs() < SETTLED_S)
    }

    /// Standard deviation of [`Self::time_at`], in seconds.
    pub fn sd_at(&self, at_s: f64) -> f64 {
        let x = at_s - self.origin_s;
        let row = [1.0, x, x * x];
        let mut variance = 0.0;
        for i in 0..3 {
            for j in 0..3 {
                variance += row[i] * self.covariance[i][j] * row[j];
            }
        }
        variance.max(0.0).sqrt()
    }
}

/// Fits a polynomial of `degree` 0, 1 or 2; degree 0 keeps the slope of the prior.
///
/// Output: `None` without points of positive weight or when a figure is no number.
pub(crate) fn fit(points: &[Point], degree: usize, prior: SlopePrior) -> Option<Polynomial> {
    let total: f64 = points.iter().map(|p| p.weight).sum();
    if !(total > 0.0 && total.is_finite()) {
        return None;
    }
    let origin_s = points.iter().map(|p| p.weight * p.at_s).sum::<f64>() / total;
    let mut weights: Vec<f64> = points.iter().map(|p| p.weight).collect();
    let mut fitted = solve(points, &weights, degree, prior, origin_s, SCALE_FLOOR_S)?;
    for _ in 0..ROUNDS.0 {
        for (weight, point) in weights.iter_mut().zip(points) {
            let off = (point.t_s - fitted.time_at(point.at_s)).abs();
            *weight = point.weight * ABSOLUTE_FLOOR_S / off.max(ABSOLUTE_FLOOR_S);
        }
        let next = solve(points, &weights, degree, prior, origin_s, SCALE_FLOOR_S)?;
        let settled = next.same_as(&fitted, points);
        fitted = next;
        if settled {
            break;
        }
    }
    let mut scale_s = scale(points, &fitted);
    for _ in 0..ROUNDS.1 {
        for (weight, point) in weights.iter_mut().zip(points) {
            let x = (point.t_s - fitted.time_at(point.at_s)) / (CUT * scale_s);
            // The tiny rest keeps the system solvable when all weights vanish.
            let kept = if x.abs() < 1.0 {
                (1.0 - x * x).powi(2)
            } else {
                0.0
            };
            *weight = point.weight * kept.max(1e-9);
        }
        let next = solve(points, &weights, degree, prior, origin_s, scale_s)?;
        let settled = next.same_as(&fitted, points);
        fitted = next;
        if settled {
            break;
        }
        scale_s = scale(points, &fitted);
    }
    fitted.scale_s = scale_s;
    Some(fitted)
}

/// Robust standard deviation of the residuals, by their weighted median size.
fn scale(points: &[Point], fitted: &Polynomial) -> f64 {
    let mut sizes: Vec<(f64, f64)> = points
        .iter()
        .filter(|p| p.weight > 0.0)
        .map(|p| ((p.t_s - fitted.time_at(p.at_s)).abs(), p.weight))
        .collect();
    sizes.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let half = sizes.iter().map(|s| s.1).sum::<f64>() / 2.0;
    let mut sum = 0.0;
    let mut median = 0.0;
    for (size, weight) in sizes {
        sum += weight;
        median = size;
        if sum >= half {
            break;
        }
    }
    (SPREAD_OF_MEDIAN * median).clamp(SCALE_FLOOR_S, SCALE_CEILING_S)
}

/// Weighted least squares with the prior on the slope, by the normal equations.
fn solve(
    points: &[Point],
    weights: &[f64],
    degree: usize,
    prior: SlopePrior,
    origin_s: f64,
    sd_s: f64,
) -> Option<Polynomial> {
    // Columns are scaled so that the normal equations stay well conditioned over long takes.
    let span = points
        .iter()
        .map(|p| (p.at_s - origin_s).abs())
        .fold(0.1, f64::max);
    let size = degree + 1;
    let mut normal = [[0.0; 3]; 3];
    let mut right = [0.0; 3];
    for (point, &weight) in points.iter().zip(weights) {
        let x = (point.at_s - origin_s) / span;
        let row = [1.0, x, x * x];
        // What is fitted is the departure from the prior's slope.
        let y = point.t_s - prior.slope * (point.at_s - origin_s);
        for i in 0..size {
            right[i] += weight * row[i] * y;
            for j in 0..size {
                normal[i][j] += weight * row[i] * row[j];
            }
        }
    }
    if degree >= 1 {
        normal[1][1] += (sd_s / (prior.sd * span)).powi(2);
    }
    if degree >= 2 {
        // A change of tempo by the prior's spread over the span is nothing special.
        normal[2][2] += (sd_s / (prior.sd * span)).powi(2);
    }
    let inverse = invert(normal, size)?;
    let mut coefficients = [0.0; 3];
    let mut covariance = [[0.0; 3]; 3];
    let unit = [1.0, span, span * span];
    for i in 0..size {
        for j in 0..size {
            coefficients[i] += inverse[i][j] * right[j] / unit[i];
            covariance[i][j] = sd_s * sd_s * inverse[i][j] / (unit[i] * unit[j]);
        }
    }
    coefficients[1] += prior.slope;
    coefficients
        .iter()
        .all(|c| c.is_finite())
        .then_some(Polynomial {
            origin_s,
            coefficients,
            covariance,
            scale_s: sd_s,
        })
}

/// Inverse of the leading `size` x `size` block by Gauss-Jordan elimination with pivoting.
fn invert(mut m: [[f64; 3]; 3], size: usize) -> Option<[[f64; 3]; 3]> {
    let mut inverse = [[0.0; 3]; 3];
    for (i, row) in inverse.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    for column in 0..size {
        let pivot =
            (column..size).max_by(|&a, &b| m[a][column].abs().total_cmp(&m[b][column].abs()))?;
        if m[pivot][column].abs() < 1e-15 {
            return None;
        }
        m.swap(column, pivot);
        inverse.swap(column, pivot);
        let divisor = m[column][column];
        for j in 0..size {
            m[column][j] /= divisor;
            inverse[column][j] /= divisor;
        }
        for row in 0..size {
            if row != column {
                let factor = m[row][column];
                for j in 0..size {
                    m[row][j] -= factor * m[column][j];
                    inverse[row][j] -= factor * inverse[column][j];
                }
            }
        }
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOSE: SlopePrior = SlopePrior {
        slope: 1.0,
        sd: 0.3,
    };

    fn points(of: impl Fn(usize, f64) -> f64) -> Vec<Point> {
        (0..24)
            .map(|k| {
                let at_s = 0.25 * k as f64;
                Point {
                    at_s,
                    t_s: of(k, at_s),
                    weight: 1.0,
                }
            })
            .collect()
    }

    /// Closed form: a parabola with a third of its points moved by 90 ms comes back to 1 ms.
    #[test]
    fn outliers_do_not_move_the_curve() {
        let truth = |x: f64| 2.0 + 1.04 * x + 0.004 * x * x;
        let given = points(|k, x| truth(x) + if k % 3 == 1 { 0.09 } else { 0.0 });
        let fitted = fit(&given, 2, LOOSE).unwrap();
        for p in &given {
            assert!((fitted.time_at(p.at_s) - truth(p.at_s)).abs() < 1e-3);
        }
        assert!((fitted.slope_at(0.0) - 1.04).abs() < 2e-3);
    }

    /// Closed form: degree 0 keeps the slope it was given.
    #[test]
    fn an_offset_alone_keeps_the_slope() {
        let given = points(|_, x| 3.0 + 1.01 * x);
        let fitted = fit(
            &given,
            0,
            SlopePrior {
                slope: 1.0,
                sd: 0.3,
            },
        )
        .unwrap();
        assert_eq!(fitted.slope_at(1.0), 1.0);
    }

    /// Closed form: points without spread leave the slope at the prior; nothing gives nothing.
    #[test]
    fn too_few_points_fall_back_on_the_prior() {
        let one = [Point {
            at_s: 1.0,
            t_s: 4.0,
            weight: 1.0,
        }];
        let fitted = fit(&one, 1, LOOSE).unwrap();
        assert!((fitted.time_at(2.0) - 5.0).abs() < 1e-9);
        assert!(fit(&[], 1, LOOSE).is_none());
        let bad = [Point {
            at_s: f64::NAN,
            t_s: 4.0,
            weight: 1.0,
        }];
        assert!(fit(&bad, 1, LOOSE).is_none());
    }

    /// Closed form: n equal points of standard deviation s give the mean to s / sqrt(n).
    #[test]
    fn the_uncertainty_is_that_of_a_mean() {
        let given: Vec<Point> = (0..25)
            .map(|k| Point {
                at_s: k as f64,
                t_s: k as f64,
                weight: 1.0,
            })
            .collect();
        let fitted = fit(&given, 1, LOOSE).unwrap();
        assert!((fitted.sd_at(12.0) - SCALE_FLOOR_S / 5.0).abs() < 1e-5);
    }
}
