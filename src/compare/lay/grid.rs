//! The time grid: where in the take each place of the line should lie.
//!
//! The line's own tempo map is already in the places (seconds at the written tempo), so the grid
//! holds only how the player departs from it: an offset, a tempo, a steady drift, and in takes
//! of more than half a minute a tempo that moves slowly. One late note is one late note, and a
//! steady drift is a drift, because the fit is robust and stiff.

use crate::compare::judgement::TimingMode;
use crate::compare::lay::robust::{self, Point, Polynomial, SlopePrior};

/// A fitted grid.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Grid {
    shape: Shape,
    /// Robust standard deviation of the notes about the grid, in seconds.
    pub scale_s: f64,
}

#[derive(Clone, Debug, PartialEq)]
enum Shape {
    Whole(Polynomial),
    Moving(Vec<Knot>),
}

/// One support of a slowly moving grid; between two of them the time is a cubic.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Knot {
    at_s: f64,
    t_s: f64,
    slope: f64,
    sd_s: f64,
}

/// Takes longer than this may have a tempo that moves, in seconds.
const MOVING_FROM_S: f64 = 30.0;
/// Half the span of notes that one place of a moving grid looks at, in seconds. Stiff enough for
/// a bar of late notes to stay late at 60 quarters a minute; raising it makes drifts look late.
const MOVING_HALF_SPAN_S: f64 = 12.0;
/// Distance of the knots, in seconds.
const KNOT_STEP_S: f64 = 2.0;
/// More knots than this are no music: 55 hours.
const KNOTS_MAX: f64 = 1e5;
/// Fewest notes in the span of a knot.
const KNOT_NOTES: usize = 12;
/// What each further coefficient must save in the sum of squared residuals, each cut off at
/// [`SAVING_CUT`], before it is believed. Measured: the drift is found, short lines are not bent.
const COEFFICIENT_PAYS: f64 = 7.0;
/// Largest squared residual that counts when shapes are compared, in scales squared.
const SAVING_CUT: f64 = 9.0;
/// Fewest notes for a drift; with fewer, a parabola explains any late note away.
const DRIFT_NOTES: usize = 8;

impl Grid {
    /// Time in the take of a place in the line, in seconds.
    pub fn time_at(&self, at_s: f64) -> f64 {
        match &self.shape {
            Shape::Whole(line) => line.time_at(at_s),
            Shape::Moving(knots) => hermite(knots, at_s).0,
        }
    }

    /// Played seconds per written second at a place in the line.
    pub fn slope_at(&self, at_s: f64) -> f64 {
        match &self.shape {
            Shape::Whole(line) => line.slope_at(at_s),
            Shape::Moving(knots) => hermite(knots, at_s).1,
        }
    }

    /// Standard deviation of [`Self::time_at`], in seconds.
    pub fn sd_at(&self, at_s: f64) -> f64 {
        match &self.shape {
            Shape::Whole(line) => line.sd_at(at_s),
            Shape::Moving(knots) => knots[nearest(knots, at_s)].sd_s,
        }
    }

    /// True when the tempo is not constant.
    pub fn moves(&self) -> bool {
        match &self.shape {
            Shape::Whole(line) => line.slope_at(0.0) != line.slope_at(1.0),
            Shape::Moving(_) => true,
        }
    }
}

/// Fits the grid to the notes heard.
///
/// Input: notes in order of their place. `prior` says what tempo to expect; to a click its slope is
/// the click's, and no other.
/// Output: `None` when there is no note to fit to.
pub(crate) fn fit(points: &[Point], mode: TimingMode, prior: SlopePrior) -> Option<Grid> {
    let whole = |line: Polynomial| Grid {
        scale_s: line.scale_s,
        shape: Shape::Whole(line),
    };
    if mode == TimingMode::Click {
        return robust::fit(points, 0, prior).map(whole);
    }
    let mut best = whole(robust::fit(points, 1, prior)?);
    if points.len() >= DRIFT_NOTES
        && let Some(curve) = robust::fit(points, 2, prior).map(whole)
    {
        best = cheaper(best, curve, 1.0, points);
    }
    let span = match (points.first(), points.last()) {
        (Some(first), Some(last)) => last.at_s - first.at_s,
        _ => 0.0,
    };
    if span > MOVING_FROM_S
        && let Some(moving) = moving(points, prior)
    {
        // One free coefficient for each stretch of music that a knot looks at, three in the first.
        let further = span / MOVING_HALF_SPAN_S;
        best = cheaper(best, moving, further, points);
    }
    Some(best)
}

/// The grid with more coefficients when it saves enough, else the simpler one.
fn cheaper(simple: Grid, rich: Grid, further: f64, points: &[Point]) -> Grid {
    let scale_s = rich.scale_s;
    let cost = |grid: &Grid| -> f64 {
        points
            .iter()
            .map(|p| {
                ((p.t_s - grid.time_at(p.at_s)) / scale_s)
                    .powi(2)
                    .min(SAVING_CUT)
            })
            .sum()
    };
    let saved = cost(&simple) - cost(&rich);
    if saved > COEFFICIENT_PAYS * further {
        rich
    } else {
        simple
    }
}

/// A slowly moving grid by locally weighted robust parabolas.
///
/// # Source
/// Cleveland (1979), J. Amer. Statist. Assoc. 74, 829-836: tricube weights and robust local
/// fits. Departures: evaluated at knots and joined by cubics, for speed.
fn moving(points: &[Point], prior: SlopePrior) -> Option<Grid> {
    let (first, last) = (points.first()?.at_s, points.last()?.at_s);
    let steps = ((last - first) / KNOT_STEP_S).ceil().max(1.0);
    if steps.is_nan() || steps > KNOTS_MAX {
        return None;
    }
    let mut knots = Vec::with_capacity(steps as usize + 1);
    let mut scales = Vec::with_capacity(steps as usize + 1);
    for k in 0..=steps as usize {
        let at_s = first + (last - first) * k as f64 / steps;
        let line = robust::fit(&around(points, at_s), 2, prior)?;
        scales.push(line.scale_s);
        knots.push(Knot {
            at_s,
            t_s: line.time_at(at_s),
            slope: line.slope_at(at_s),
            sd_s: line.sd_at(at_s),
        });
    }
    scales.sort_by(f64::total_cmp);
    Some(Grid {
        scale_s: scales[scales.len() / 2],
        shape: Shape::Moving(knots),
    })
}

/// The points around a place with tricube weights, the span widened until it holds enough.
fn around(points: &[Point], at_s: f64) -> Vec<Point> {
    let middle = points.partition_point(|p| p.at_s < at_s);
    let (mut low, mut high) = (middle, middle);
    while (low > 0 || high < points.len())
        && (high - low < KNOT_NOTES
            || (low > 0 && at_s - points[low - 1].at_s < MOVING_HALF_SPAN_S)
            || (high < points.len() && points[high].at_s - at_s < MOVING_HALF_SPAN_S))
    {
        let left = (low > 0).then(|| at_s - points[low - 1].at_s);
        let right = (high < points.len()).then(|| points[high].at_s - at_s);
        match (left, right) {
            (Some(l), Some(r)) if l <= r => low -= 1,
            (Some(_), None) => low -= 1,
            _ => high += 1,
        }
    }
    let kept = &points[low..high];
    let reach = kept
        .iter()
        .map(|p| (p.at_s - at_s).abs())
        .fold(MOVING_HALF_SPAN_S, f64::max);
    kept.iter()
        .map(|p| {
            let x = (p.at_s - at_s).abs() / (reach * 1.001);
            Point {
                weight: p.weight * (1.0 - x.powi(3)).powi(3),
                ..*p
            }
        })
        .collect()
}

fn nearest(knots: &[Knot], at_s: f64) -> usize {
    let after = knots
        .partition_point(|knot| knot.at_s < at_s)
        .min(knots.len() - 1);
    if after > 0 && at_s - knots[after - 1].at_s < knots[after].at_s - at_s {
        after - 1
    } else {
        after
    }
}

/// Time and slope of the cubics through the knots; straight on beyond the ends.
fn hermite(knots: &[Knot], at_s: f64) -> (f64, f64) {
    let after = knots.partition_point(|knot| knot.at_s <= at_s);
    if after == 0 || after == knots.len() {
        let end = if after == 0 {
            knots[0]
        } else {
            knots[after - 1]
        };
        return (end.t_s + end.slope * (at_s - end.at_s), end.slope);
    }
    let (a, b) = (knots[after - 1], knots[after]);
    let h = b.at_s - a.at_s;
    let x = (at_s - a.at_s) / h;
    let (x2, x3) = (x * x, x * x * x);
    let time = (2.0 * x3 - 3.0 * x2 + 1.0) * a.t_s
        + (x3 - 2.0 * x2 + x) * h * a.slope
        + (3.0 * x2 - 2.0 * x3) * b.t_s
        + (x3 - x2) * h * b.slope;
    let slope = (6.0 * x2 - 6.0 * x) * (a.t_s - b.t_s) / h
        + (3.0 * x2 - 4.0 * x + 1.0) * a.slope
        + (3.0 * x2 - 2.0 * x) * b.slope;
    (time, slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOOSE: SlopePrior = SlopePrior {
        slope: 1.0,
        sd: 0.3,
    };

    fn points(count: usize, step_s: f64, of: impl Fn(f64) -> f64) -> Vec<Point> {
        (0..count)
            .map(|k| Point {
                at_s: step_s * k as f64,
                t_s: of(step_s * k as f64),
                weight: 1.0,
            })
            .collect()
    }

    /// Closed form: four late notes on a straight line stay late, by what they were moved.
    #[test]
    fn late_notes_stay_late() {
        let mut given = points(32, 0.25, |x| 1.5 + 0.97 * x);
        for k in [3, 12, 20, 31] {
            given[k].t_s += 0.06;
        }
        let grid = fit(&given, TimingMode::Free, LOOSE).unwrap();
        assert!(!grid.moves());
        for (k, p) in given.iter().enumerate() {
            let want = if [3, 12, 20, 31].contains(&k) {
                0.06
            } else {
                0.0
            };
            assert!(
                (p.t_s - grid.time_at(p.at_s) - want).abs() < 1e-4,
                "note {k}"
            );
        }
    }

    /// Closed form: a steady drift of 6 % over the line is taken up, to half a millisecond.
    #[test]
    fn a_steady_drift_is_a_drift() {
        let given = points(32, 0.25, |x| 1.5 + x + 0.06 * x * x / 16.0);
        let grid = fit(&given, TimingMode::Free, LOOSE).unwrap();
        assert!(grid.moves());
        assert!((grid.slope_at(8.0) - 1.06).abs() < 3e-3);
        assert!(
            given
                .iter()
                .all(|p| (p.t_s - grid.time_at(p.at_s)).abs() < 5e-4)
        );
    }

    /// Closed form: two minutes with a tempo that breathes by 4 % every 80 s, and every ninth
    /// note 70 ms late: the breathing is taken up within 8 ms, the late notes are not.
    #[test]
    fn a_long_take_may_breathe() {
        let period = 80.0 / std::f64::consts::TAU;
        let truth = move |x: f64| 5.0 + x + 0.04 * period * (1.0 - (x / period).cos());
        let mut given = points(480, 0.25, truth);
        for p in given.iter_mut().step_by(9) {
            p.t_s += 0.07;
        }
        let grid = fit(&given, TimingMode::Free, LOOSE).unwrap();
        for p in &given {
            assert!(
                (grid.time_at(p.at_s) - truth(p.at_s)).abs() < 0.008,
                "at {}",
                p.at_s
            );
        }
    }

    /// Closed form: with a click the tempo is the written one and a drift is the player's.
    #[test]
    fn a_click_keeps_its_tempo() {
        let given = points(33, 0.25, |x| 1.0 + 1.01 * x);
        let grid = fit(&given, TimingMode::Click, LOOSE).unwrap();
        assert_eq!(grid.slope_at(3.0), 1.0);
        assert!((given[32].t_s - grid.time_at(8.0) - 0.04).abs() < 0.01);
    }
}
