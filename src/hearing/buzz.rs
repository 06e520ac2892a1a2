//! Whether a string sounds against a fret after an otherwise right note.
//!
//! A string that touches a fret in each of its swings feeds its high partials for as long as it reaches
//! the fret; those of a free string die within a tenth of a second or two. How bright a string is by itself
//! is learnt in the take: a robust straight line over the pitch for each stretch of a note. On bright
//! strings, behind an overdriven amplifier and over noise nothing can be told, and nothing is.
//!
//! # Source
//! High partials fed by the obstacle: C. Issanchou et al. (2017), J. Sound Vib. 393, 229-251 (from memory).
//! The weights are a logistic regression (Cox 1958, see [`logistic`]) over notes of sampled basses on which
//! the buzz of a string model was laid (`tests/tools/buzz_string.py`, which names its papers); `examples/fit buzz`
//! fits them again. The line is drawn with Tukey's biweight: Beaton & Tukey (1974),
//! *Technometrics* 16, 147-185 (from memory).

use super::events::Brightness;
use super::{buzz_weights as weights, logistic};
use crate::units::SPREAD_OF_MEDIAN;

/// How many features there are.
pub const FEATURES: usize = 4;

/// The names of the features, in the order of [`row`], as the table of the fit has them.
pub const NAMES: [&str; FEATURES] = ["early", "middle", "late", "swell"];

/// Notes from which on it is known what is usual. Raised, short takes say nothing.
const ENOUGH_NOTES: usize = 8;
/// Where the usual note is brighter than this beside its whole, in decibels, no buzz can be told: of the
/// buzzes of -20 dB and more nine in ten were found on strings below -35, one in ten above -30. Raised, more
/// notes are judged, and worse.
const DARK_DB: f64 = -30.0;
/// Least spread of a take's notes about the line, in decibels.
const LEAST_SPREAD_DB: f64 = 1.5;
/// Notes further than this many spreads from the line do not count in it: a quarter of them may buzz.
const CUT: f64 = 3.0;
/// Rounds of the robust fit; it settles well before.
const ROUNDS: usize = 10;
/// How far the brightness usually moves within an octave, in decibels (one standard deviation).
const SLOPE_DB: f64 = 8.0;
/// Each feature is held within this range, in decibels: that on which it was learnt.
const RANGES_DB: [(f64, f64); FEATURES] =
    [(-15.0, 25.0), (-15.0, 25.0), (-15.0, 30.0), (-15.0, 15.0)];

/// What is usual over the pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    at_middle_db: f64,
    per_octave_db: f64,
}

/// How bright the notes of a take usually are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Usual {
    middle_midi: f64,
    lines: [Option<Line>; FEATURES],
}

/// The features of a note before what is usual is taken off.
fn parts(note: &Brightness) -> [Option<f64>; FEATURES] {
    let [early, middle, late] = note.beside_db;
    [early, middle, late, note.swell_db]
}

/// The middle of some numbers, the upper one of two; sorts what it is given.
fn upper_median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

impl Usual {
    /// Learnt from the plucked notes of a take, each with its pitch as a MIDI note; `None` of too few.
    pub fn of(notes: &[(Brightness, f64)]) -> Option<Self> {
        if notes.len() < ENOUGH_NOTES {
            return None;
        }
        let mut midis: Vec<f64> = notes.iter().map(|note| note.1).collect();
        let middle_midi = upper_median(&mut midis)?;
        let line = |at: usize| {
            let points: Vec<(f64, f64)> = notes
                .iter()
                .filter_map(|(note, midi)| Some(((midi - middle_midi) / 12.0, parts(note)[at]?)))
                .collect();
            fit(&points)
        };
        Some(Self {
            middle_midi,
            lines: std::array::from_fn(line),
        })
    }

    /// Whether a buzz could be told on a note of this pitch: the strings are dark enough there.
    pub fn is_dark(&self, midi: f64) -> bool {
        let of = |at: usize| self.at(at, midi);
        of(1).or(of(0)).is_some_and(|db| db < DARK_DB)
    }

    fn at(&self, feature: usize, midi: f64) -> Option<f64> {
        let line = self.lines[feature]?;
        Some(line.at_middle_db + line.per_octave_db * (midi - self.middle_midi) / 12.0)
    }
}

/// A robust straight line through points; `None` of too few.
fn fit(points: &[(f64, f64)]) -> Option<Line> {
    if points.len() < ENOUGH_NOTES {
        return None;
    }
    let mut levels: Vec<f64> = points.iter().map(|point| point.1).collect();
    let mut line = Line {
        at_middle_db: upper_median(&mut levels)?,
        per_octave_db: 0.0,
    };
    for _ in 0..ROUNDS {
        let off = |(x, y): (f64, f64)| y - line.at_middle_db - line.per_octave_db * x;
        let mut sizes: Vec<f64> = points.iter().map(|&point| off(point).abs()).collect();
        let spread = (SPREAD_OF_MEDIAN * upper_median(&mut sizes)?).max(LEAST_SPREAD_DB);
        let (mut s, mut sx, mut sxx, mut sy, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for &(x, y) in points {
            let far = off((x, y)) / (CUT * spread);
            let weight = (1.0 - far * far).max(0.0).powi(2);
            s += weight;
            sx += weight * x;
            sxx += weight * x * x;
            sy += weight * y;
            sxy += weight * x * y;
        }
        sxx += (spread / SLOPE_DB).powi(2);
        let determinant = s * sxx - sx * sx;
        if determinant.is_nan() || determinant <= 1e-12 {
            return None;
        }
        line = Line {
            at_middle_db: (sxx * sy - sx * sxy) / determinant,
            per_octave_db: (s * sxy - sx * sy) / determinant,
        };
    }
    Some(line)
}

/// The features of a note of a pitch (a MIDI note): how much brighter than usual it is early, later and
/// late, and by how much more it swells; 0 where it is too short. `None` where nothing can be told.
pub fn row(note: &Brightness, midi: f64, usual: &Usual) -> Option<[f64; FEATURES]> {
    let parts = parts(note);
    if parts[0].is_none() || !usual.is_dark(midi) {
        return None;
    }
    let off = |at: usize| {
        let (low, high) = RANGES_DB[at];
        let off_db = parts[at]
            .zip(usual.at(at, midi))
            .map(|(db, usual)| db - usual);
        off_db.map_or(0.0, |db| db.clamp(low, high))
    };
    Some(logistic::finite(std::array::from_fn(off)))
}

/// How sure it is that the string sounds against a fret, in nats: above 0 more likely than not; `None` where
/// it cannot be told. Never fails.
pub fn nats(note: &Brightness, midi: f64, usual: &Usual) -> Option<f64> {
    let row = row(note, midi, usual)?;
    Some(logistic::nats(&row, &weights::BUZZ, weights::BUZZ_CONSTANT))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Golden: the loss that the fit stated over its table.
    #[test]
    fn the_stated_loss_is_that_of_the_table() {
        let table = include_str!("../../fixtures/fit/buzz.csv");
        let loss = logistic::table_loss(table, &NAMES, &weights::BUZZ, weights::BUZZ_CONSTANT);
        assert!((loss - weights::BUZZ_TABLE_LOSS).abs() < 1e-3, "{loss}");
    }

    fn note(early: f64, middle: f64, late: f64) -> Brightness {
        Brightness {
            beside_db: [Some(early), Some(middle), Some(late)],
            swell_db: Some(late - middle - 3.0),
        }
    }

    /// Notes that get darker by 6 dB in each octave, the third and fourth of ten buzzing, at `dark_db`.
    fn take(dark_db: f64) -> Vec<(Brightness, f64)> {
        (0..30)
            .map(|at| {
                let midi = 30.0 + f64::from(at % 7) * 2.0;
                let usual = dark_db - (midi - 36.0) / 2.0;
                let buzz = if matches!(at % 10, 3 | 4) { 15.0 } else { 0.0 };
                (
                    note(usual + 5.0 + buzz, usual + buzz, usual - 6.0 + buzz),
                    midi,
                )
            })
            .collect()
    }

    /// Closed form: the line is that of the notes that do not buzz, and what is 15 dB above it is a buzz.
    #[test]
    fn what_is_usual_is_learnt_beside_notes_that_buzz() {
        let notes = take(-45.0);
        let usual = Usual::of(&notes).expect("enough");
        for (at, (brightness, midi)) in notes.iter().enumerate() {
            let row = row(brightness, *midi, &usual).expect("dark");
            let buzz = if matches!(at % 10, 3 | 4) { 15.0 } else { 0.0 };
            assert!((row[1] - buzz).abs() < 0.5, "{at}: {row:?}");
            let nats = nats(brightness, *midi, &usual).expect("dark");
            assert_eq!(nats > 0.0, buzz > 0.0, "{at}: {nats}");
        }
    }

    /// Just below and just above -30 dB; seven notes and eight; a note too short.
    #[test]
    fn nothing_is_told_where_nothing_can_be() {
        for (dark_db, told) in [(-30.5, true), (-29.5, false)] {
            let usual = Usual::of(&take(dark_db)).expect("enough");
            assert_eq!(nats(&note(0.0, 0.0, 0.0), 36.0, &usual).is_some(), told);
        }
        assert!(Usual::of(&take(-45.0)[..7]).is_none());
        let usual = Usual::of(&take(-45.0)).expect("enough");
        assert_eq!(nats(&Brightness::default(), 36.0, &usual), None);
    }
}
