//! The usual level of a take's notes as one robust fit: a level, a slope over the pitch, a slope over the time,
//! and one number for each string, each drawn towards nothing by what is usual.
//!
//! # Source
//! Ridge regression: Hoerl & Kennard (1970), *Technometrics* 12, 55-67; Tukey's biweight: Beaton & Tukey
//! (1974), *Technometrics* 16, 147-185 (both from memory).

use crate::units::{SPREAD_OF_MEDIAN, median};

/// How far the level usually moves within an octave, in decibels (one standard deviation); chosen on made
/// takes of six basses (of 0.3, 1, 2 and 3). Raised, more of what the player does is put down to the register.
const REGISTER_DB: f64 = 2.0;
/// How far a string usually lies from the others, in decibels (one standard deviation); chosen on made
/// takes of six basses (of 0.25, 0.5, 1 and 1.5). Raised, more of what the player does is put down to the string.
const STRING_DB: f64 = 0.5;
/// How far the level usually drifts from the first note to the last, in decibels (one standard deviation).
/// Common practice, no source. Raised, chance is told as a drift more often.
const DRIFT_DB: f64 = 3.0;
/// Least spread of a take's notes, in decibels: plucks of the same strength differ by that. Raised, the fit
/// leaves fewer notes out.
const LEAST_SPREAD_DB: f64 = 0.5;
/// Notes further than this many spreads from the fit do not count in it (Beaton & Tukey 1974: 4.685 is 95 %
/// efficient on normal noise).
const CUT: f64 = 4.685;
/// Rounds of the robust fit; it settles well before.
const ROUNDS: usize = 10;
/// Most strings that are told apart.
pub(super) const STRINGS: usize = 8;
/// Numbers of the fit: the level, the register, the drift, and the strings.
pub(super) const SIZE: usize = 3 + STRINGS;

/// One note of the fit.
pub(super) struct Row {
    /// What each number of the fit counts for.
    pub(super) of: [f64; SIZE],
    pub(super) level_db: f64,
}

/// The fitted numbers and what they are worth.
pub(super) struct Fit {
    pub(super) numbers: [f64; SIZE],
    pub(super) covariance: [[f64; SIZE]; SIZE],
    spread_db: f64,
}

impl Fit {
    pub(super) fn of(&self, row: &[f64; SIZE]) -> f64 {
        row.iter().zip(&self.numbers).map(|(x, n)| x * n).sum()
    }

    /// One standard deviation of [`Self::of`].
    pub(super) fn sd(&self, row: &[f64; SIZE]) -> f64 {
        let mut variance = 0.0;
        for (x, line) in row.iter().zip(&self.covariance) {
            variance += x * line.iter().zip(row).map(|(c, y)| c * y).sum::<f64>();
        }
        variance.max(0.0).sqrt()
    }
}

/// The robust fit; `None` when a figure is no number.
pub(super) fn fit(rows: &[Row]) -> Option<Fit> {
    let mut levels: Vec<f64> = rows.iter().map(|row| row.level_db).collect();
    let start_db = median(&mut levels)?;
    let mut fit = Fit {
        numbers: [0.0; SIZE],
        covariance: [[0.0; SIZE]; SIZE],
        spread_db: LEAST_SPREAD_DB,
    };
    fit.numbers[0] = start_db;
    for _ in 0..ROUNDS {
        let off = |row: &Row| row.level_db - fit.of(&row.of);
        let mut sizes: Vec<f64> = rows.iter().map(|row| off(row).abs()).collect();
        let spread_db = (SPREAD_OF_MEDIAN * median(&mut sizes)?).max(LEAST_SPREAD_DB);
        let variance = spread_db * spread_db;
        let mut normal = [[0.0; SIZE]; SIZE];
        let mut right = [0.0; SIZE];
        for row in rows {
            let x = off(row) / (CUT * spread_db);
            let weight = (1.0 - x * x).max(0.0).powi(2) / variance;
            for ((line, right), of) in normal.iter_mut().zip(&mut right).zip(row.of) {
                *right += weight * of * row.level_db;
                for (sum, other) in line.iter_mut().zip(row.of) {
                    *sum += weight * of * other;
                }
            }
        }
        for (at, line) in normal.iter_mut().enumerate() {
            let usual_db = match at {
                0 => continue,
                1 => REGISTER_DB,
                2 => DRIFT_DB,
                _ => STRING_DB,
            };
            line[at] += 1.0 / (usual_db * usual_db);
        }
        let covariance = invert(normal)?;
        let mut numbers = [0.0; SIZE];
        for (number, line) in numbers.iter_mut().zip(&covariance) {
            *number = line.iter().zip(&right).map(|(c, r)| c * r).sum();
        }
        fit = Fit {
            numbers,
            covariance,
            spread_db,
        };
    }
    let finite = fit.numbers.iter().all(|n| n.is_finite()) && fit.spread_db.is_finite();
    finite.then_some(fit)
}

/// The inverse of a symmetric positive matrix by Gauss-Jordan elimination; `None` when it has none.
fn invert(mut m: [[f64; SIZE]; SIZE]) -> Option<[[f64; SIZE]; SIZE]> {
    let mut inverse = [[0.0; SIZE]; SIZE];
    for (i, line) in inverse.iter_mut().enumerate() {
        line[i] = 1.0;
    }
    for at in 0..SIZE {
        let pivot = m[at][at];
        if pivot.is_nan() || pivot <= 1e-12 {
            return None;
        }
        for j in 0..SIZE {
            m[at][j] /= pivot;
            inverse[at][j] /= pivot;
        }
        let (own, own_inverse) = (m[at], inverse[at]);
        for i in (0..SIZE).filter(|&i| i != at) {
            let factor = m[i][at];
            for j in 0..SIZE {
                m[i][j] -= factor * own[j];
                inverse[i][j] -= factor * own_inverse[j];
            }
        }
    }
    Some(inverse)
}
