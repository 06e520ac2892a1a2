//! When each step was played: a smooth curve through the placed notes, looked at from both sides.
//!
//! # Source
//! Locally weighted lines: Cleveland (1979), J. Am. Stat. Assoc. 74, 829-836. Departure: a fixed
//! width, and Tukey's biweight for notes off their place.

use super::candidates::Candidate;
use super::places::{Places, STEPS};
use super::quantise::{Placed, Pulse};

/// Width of the window, one standard deviation in quarters: two bars of four. Raised, the tempo
/// bends less.
const WIDTH_QUARTERS: f64 = 8.0;
/// A note this far off its place no longer counts, in seconds.
const LOST_S: f64 = 0.060;
/// Rounds of weighing anew.
const ROUNDS: usize = 4;
/// A slope rests on this many quarters at least; the tempo expected counts as much as this many notes
/// that far apart.
const PRIOR_QUARTERS: f64 = 1.0;

/// When each step was played.
pub(crate) struct Clockwork {
    /// Place in quarters (moved by the swing) and onset of each note.
    points: Vec<(f64, f64)>,
    weights: Vec<f64>,
    quarter_s: f64,
    pulse: Pulse,
    places: Places,
}

impl Clockwork {
    /// The curve through the notes of a way; `None` when there are none.
    pub fn new(
        notes: &[Placed],
        candidates: &[Candidate],
        places: Places,
        pulse: Pulse,
    ) -> Option<Self> {
        let quarter_s = 60.0 / pulse.bpm;
        let points: Vec<(f64, f64)> = notes
            .iter()
            .map(|note| {
                let quarters = pulse.written_s(places, note.step) / quarter_s;
                (quarters, candidates[note.at].onset_s)
            })
            .collect();
        let mut made = Self {
            weights: vec![1.0; points.len()],
            points,
            quarter_s,
            pulse,
            places,
        };
        if made.points.is_empty() {
            return None;
        }
        for _ in 0..ROUNDS {
            made.weights = made
                .points
                .iter()
                .map(|&(quarters, onset_s)| {
                    let off = (onset_s - made.line_at(quarters).0) / LOST_S;
                    (1.0 - (off * off).min(1.0)).powi(2).max(1e-3)
                })
                .collect();
        }
        Some(made)
    }

    /// Time and seconds per quarter at a place in quarters.
    fn line_at(&self, quarters: f64) -> (f64, f64) {
        let (mut w, mut wx, mut wy) = (0.0, 0.0, 0.0);
        let near: Vec<f64> = self
            .points
            .iter()
            .zip(&self.weights)
            .map(|(point, weight)| {
                let apart = (point.0 - quarters) / WIDTH_QUARTERS;
                weight * (-apart * apart / 2.0).exp().max(1e-9)
            })
            .collect();
        for (point, weight) in self.points.iter().zip(&near) {
            w += weight;
            wx += weight * point.0;
            wy += weight * point.1;
        }
        let (x, y) = (wx / w, wy / w);
        // The tempo that is expected, as a few notes would say it.
        let mut sxx = PRIOR_QUARTERS * PRIOR_QUARTERS * w / self.points.len() as f64;
        let mut sxy = sxx * self.quarter_s;
        for (point, weight) in self.points.iter().zip(&near) {
            sxx += weight * (point.0 - x) * (point.0 - x);
            sxy += weight * (point.0 - x) * (point.1 - y);
        }
        let slope = sxy / sxx;
        (y + slope * (quarters - x), slope)
    }

    /// When a step was played, in seconds.
    pub fn at(&self, step: i64) -> f64 {
        let quarters = self.pulse.written_s(self.places, step) / self.quarter_s;
        self.line_at(quarters).0
    }

    /// Seconds of a step around a step.
    pub fn step_s(&self, step: i64) -> f64 {
        let quarters = self.pulse.written_s(self.places, step) / self.quarter_s;
        self.line_at(quarters).1 / STEPS as f64
    }

    /// Quarters a minute over the whole take; `None` for a single place.
    pub fn bpm(&self) -> Option<f64> {
        let sum = |of: &dyn Fn(usize) -> f64| (0..self.points.len()).map(of).sum::<f64>();
        let w = sum(&|k| self.weights[k]);
        let x = sum(&|k| self.weights[k] * self.points[k].0) / w;
        let y = sum(&|k| self.weights[k] * self.points[k].1) / w;
        let sxx = sum(&|k| self.weights[k] * (self.points[k].0 - x).powi(2));
        let sxy = sum(&|k| self.weights[k] * (self.points[k].0 - x) * (self.points[k].1 - y));
        (sxx > 1e-9 && sxy > 0.0).then(|| 60.0 * sxx / sxy)
    }
}

#[cfg(test)]
mod tests {
    use super::super::candidates::test_support::plucked;
    use super::*;

    fn of(onsets_s: &[f64], steps: &[i64], bpm: f64) -> Clockwork {
        let places = Places::new("4/4".parse().unwrap()).unwrap();
        let pulse = Pulse {
            bpm,
            sd: 0.03,
            swing: None,
            zero_s: None,
        };
        let candidates: Vec<Candidate> = onsets_s.iter().map(|s| plucked(*s, 40.0)).collect();
        let notes = steps.iter().enumerate();
        let notes: Vec<Placed> = notes.map(|(at, &step)| Placed { at, step }).collect();
        Clockwork::new(&notes, &candidates, places, pulse).unwrap()
    }

    fn row(count: i64) -> Vec<i64> {
        (0..count).map(|k| 6 * k).collect()
    }

    /// Closed form: eighths of 0.3 s are played at 100 quarters a minute, whatever was expected.
    #[test]
    fn even_notes_are_a_straight_line() {
        let onsets: Vec<f64> = (0..32).map(|k| 1.0 + 0.3 * f64::from(k)).collect();
        let clockwork = of(&onsets, &row(32), 103.0);
        assert!((clockwork.bpm().unwrap() - 100.0).abs() < 1e-6);
        for step in [0, 3, 100, 186] {
            let due_s = 1.0 + 0.05 * step as f64;
            assert!((clockwork.at(step) - due_s).abs() < 0.004, "{step}");
            assert!((clockwork.step_s(step) - 0.05).abs() < 0.0005, "{step}");
        }
    }

    /// A note 50 ms late moves its own place by less than 3 ms, one that is lost not at all.
    #[test]
    fn one_note_off_its_place_does_not_bend_the_clock() {
        for (late_s, most_s) in [(0.05, 0.003), (0.12, 0.001)] {
            let mut onsets: Vec<f64> = (0..32).map(|k| 1.0 + 0.3 * f64::from(k)).collect();
            onsets[15] += late_s;
            let clockwork = of(&onsets, &row(32), 100.0);
            let off_s = clockwork.at(90) - (1.0 + 0.05 * 90.0);
            assert!(off_s.abs() < most_s, "{late_s}: {off_s}");
        }
    }

    /// A tempo that moves evenly by 4 % over 32 quarters is followed within 20 ms.
    #[test]
    fn a_drift_is_followed() {
        let mut at_s = 1.0;
        let onsets: Vec<f64> = (0..64)
            .map(|k| {
                let now_s = at_s;
                at_s += 0.3 * (1.0 - 0.04 * f64::from(k) / 64.0);
                now_s
            })
            .collect();
        let clockwork = of(&onsets, &row(64), 100.0);
        for (k, onset_s) in onsets.iter().enumerate() {
            let off_s = clockwork.at(6 * k as i64) - onset_s;
            assert!(off_s.abs() < 0.020, "{k}: {off_s}");
        }
        assert!(clockwork.step_s(0) > clockwork.step_s(372));
    }

    #[test]
    fn of_one_note_only_the_expected_tempo_is_known() {
        let clockwork = of(&[2.0], &[0], 100.0);
        assert_eq!(clockwork.bpm(), None);
        assert!((clockwork.at(12) - 2.6).abs() < 1e-9);
    }
}
