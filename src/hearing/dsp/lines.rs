//! New spectral lines: a soft note that begins without any attack still brings partials of its own.
//!
//! The novelty of the whole band lives on short windows and cannot see a few weak partials that
//! appear between strong ones. Long windows can: the decibels by which each line stands above what
//! stood there a window before, as a share of all that stands above the floor.
//!
//! # Source
//! Spectral flux in decibels: S. Böck and G. Widmer (2013), *Maximum filter vibrato suppression for
//! onset detection*, DAFx-13, with its maximum filter over frequency, which forgives a line that
//! moves a little. Departure: windows long enough to resolve single partials, and a share, so that
//! it does not depend on the level.

use std::collections::VecDeque;

use super::history::History;
use super::spectrum::Spectrum;

/// Length of the window, in seconds. Raised, close lines are told apart better, and later.
const WINDOW_S: f64 = 0.090;
/// Step between windows, in seconds. Raised, it costs less, and moments are told less finely.
const STEP_S: f64 = 0.0225;
/// Steps between the two windows that are held against each other.
const LAG: usize = 4;
/// Lines are looked for from here on, in hertz: below the lowest string there is rumble.
const FROM_HZ: f64 = 28.0;
/// Lines are looked for up to here, in hertz.
const TO_HZ: f64 = 1_000.0;
/// A line may move this far from one window to the other without being new, in hertz. Raised, lines
/// close to an old one are not seen.
const MOVES_HZ: f64 = 6.0;
/// A line may swell by this much without being new, in decibels. Raised, fewer lines are new.
const SWELLS_DB: f32 = 1.5;
/// What lies this far below the strongest line says nothing, in decibels. Raised, noise is looked
/// at, too.
const RANGE_DB: f32 = 35.0;

/// Watches a stream for new lines.
#[derive(Clone)]
pub struct Lines {
    spectrum: Spectrum,
    rate_hz: f64,
    next: i64,
    step: i64,
    window: i64,
    /// The newest spectra in decibels, oldest first.
    kept: VecDeque<Vec<f32>>,
    widened: Vec<f32>,
}

/// How much of the lines is new at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NewLines {
    /// The moment between the two windows, a place in the stream.
    pub at: i64,
    /// Share of what stands above the floor, 0 to 1.
    pub share: f32,
    /// Power of the strongest line, in decibels of a full-scale sinusoid.
    pub top_db: f32,
}

impl Lines {
    /// A watch on a stream of `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        let step = (STEP_S * rate_hz).round().max(1.0) as i64;
        Self {
            spectrum: Spectrum::new(),
            rate_hz,
            next: (WINDOW_S * rate_hz) as i64,
            step,
            window: (WINDOW_S * rate_hz) as i64,
            kept: VecDeque::with_capacity(LAG + 1),
            widened: Vec::new(),
        }
    }

    /// Looks at the stream if the next window is there.
    pub fn look(&mut self, stream: &History) -> Option<NewLines> {
        if stream.end() < self.next {
            return None;
        }
        let end = self.next;
        self.next += self.step;
        let x = stream.range(end - self.window, end);
        self.spectrum.analyse_below(x, self.rate_hz, TO_HZ);
        let bin = |hz: f64| (hz / self.spectrum.bin_hz) as usize;
        let (from, to) = (bin(FROM_HZ), bin(TO_HZ).min(self.spectrum.db.len()));
        let mut newest = if self.kept.len() > LAG {
            self.kept.pop_front().unwrap_or_default()
        } else {
            Vec::with_capacity(to - from)
        };
        newest.clear();
        newest.extend_from_slice(&self.spectrum.db[from..to]);
        self.kept.push_back(newest);
        if self.kept.len() <= LAG {
            return None;
        }
        let moves = bin(MOVES_HZ);
        let (now, before) = (&self.kept[LAG], &self.kept[0]);
        let top_db = now.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        let floor = top_db - RANGE_DB;
        widest(before, moves, &mut self.widened);
        let above = |v: f32| if v > 0.0 { v } else { 0.0 };
        // Four sums side by side, added up at the end.
        let (mut new, mut all) = ([0.0f32; 4], [0.0f32; 4]);
        for (now, old) in now.chunks(4).zip(self.widened.chunks(4)) {
            for (i, (a, b)) in now.iter().zip(old).enumerate() {
                let a = above(a - floor);
                new[i] += above(a - above(b + SWELLS_DB - floor));
                all[i] += a;
            }
        }
        let sum = |v: [f32; 4]| (v[0] + v[2]) + (v[1] + v[3]);
        Some(NewLines {
            at: end - self.window - (LAG as i64 * self.step - self.window) / 2,
            share: sum(new) / (sum(all) + 1e-9),
            top_db,
        })
    }
}

/// The largest value within `reach` places of each.
fn widest(values: &[f32], reach: usize, out: &mut Vec<f32>) {
    out.clear();
    out.extend_from_slice(values);
    for step in 1..=reach.min(values.len()) {
        let larger = |out: &mut f32, v: &f32| *out = if *v > *out { *v } else { *out };
        for (out, v) in out.iter_mut().zip(&values[step..]) {
            larger(out, v);
        }
        for (out, v) in out[step..].iter_mut().zip(values) {
            larger(out, v);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widening_is_the_maximum_of_the_neighbourhood() {
        let v: Vec<f32> = (0..40).map(|i| ((i * 37) % 23) as f32).collect();
        for reach in 0..6 {
            let mut w = Vec::new();
            widest(&v, reach, &mut w);
            for (i, got) in w.iter().enumerate() {
                let a = i.saturating_sub(reach);
                let b = (i + reach + 1).min(v.len());
                let want = v[a..b].iter().copied().fold(f32::MIN, f32::max);
                assert_eq!(*got, want, "place {i}, reach {reach}");
            }
        }
    }
}
