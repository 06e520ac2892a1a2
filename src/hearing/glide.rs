//! How long the pitch was under way from one note to the next: long where a finger slid along the
//! string, not at all where a note was plucked, hammered on or pulled off.
//!
//! # Source
//! The period by YIN (de Cheveigné & Kawahara 2002) over one period of the lower note, so that a
//! change at once leaves no window with a pitch between. Departure: only lags from one note to the
//! other are looked at, and the deepest counts.

use super::dsp::decimate::{Decimator, RUN_FRAMES};
use super::dsp::history::History;
use super::dsp::yin;
use crate::units::{Hertz, SampleRate};

/// The rate at which pitches are followed, about, in hertz: that of the listener's own pitches. Raised,
/// high notes are followed more finely, at the square of the cost.
const RATE_HZ: f64 = 5_512.5;
/// Sound is kept for this long, in seconds: a note is settled after nine at the latest, and its glide
/// lies before it.
const KEPT_S: f64 = 12.0;
/// The pitch is looked at this often, in seconds. Raised, glides are measured less finely.
const EVERY_S: f64 = 0.004;
/// A glide lies within this of the onset, in seconds: a slide of two frets and more takes 50 to 150 ms
/// (the takes of the ground), and its onset may be heard at either end.
const AROUND_S: f64 = 0.200;
/// The pitch is under way between these shares of the way, 0 to 1. Wider, the two notes themselves,
/// when they are a little out of tune, count as the way.
const UNDER_WAY: (f64, f64) = (0.2, 0.8);
/// Normalised difference above which there is no pitch, 0 to 1.
const NO_PITCH: f32 = 0.3;
/// Room for a note that is out of tune, as a ratio of periods.
const ROOM: f64 = 1.08;

/// What measures glides: it keeps the sound of the last seconds.
#[derive(Clone, Debug)]
pub struct Glides {
    decimator: Decimator,
    rate_hz: f64,
    sound: History,
    scratch: Vec<f32>,
}

impl Glides {
    /// For a stream of that rate. Never fails.
    pub fn new(rate: SampleRate) -> Self {
        let factor = ((rate.hz() / RATE_HZ).round() as usize).max(1);
        // The same transition as the listener's lowest stream.
        let of_input = |share: f64| share / factor as f64;
        let rate_hz = rate.hz() / factor as f64;
        Self {
            decimator: Decimator::new(factor, of_input(0.40), of_input(0.60)),
            rate_hz,
            sound: History::new((KEPT_S * rate_hz) as usize),
            scratch: Vec::new(),
        }
    }

    /// Takes the next samples.
    pub fn push(&mut self, block: &[f32]) {
        for part in block.chunks(RUN_FRAMES) {
            self.scratch.clear();
            self.decimator.run(part, &mut self.scratch);
            self.sound.extend(&self.scratch);
        }
    }

    /// For how long the pitch was between two notes at once around `onset_s`, in seconds, the longest
    /// stretch of it.
    ///
    /// Input:  two pitches above 0 hertz; `onset_s` in seconds of the stream.
    /// Output: 0 where the pitch turned at once, where the notes are the same, and where the sound is
    ///         no longer kept. Never fails.
    pub fn under_way_s(&mut self, from: Hertz, to: Hertz, onset_s: f64) -> f64 {
        let (low, high) = (from.0.min(to.0), from.0.max(to.0));
        let way = (to.0 / from.0).ln();
        if !(low > 0.0 && way.abs() > 1e-3 && high < self.rate_hz / 4.0) {
            return 0.0;
        }
        let longest = (ROOM * self.rate_hz / low) as usize + 2;
        let shortest = ((self.rate_hz / high / ROOM) as usize).max(2);
        let window = (self.rate_hz / low) as usize;
        let (mut run, mut best) = (0usize, 0usize);
        let steps = (2.0 * AROUND_S / EVERY_S) as usize;
        for step in 0..=steps {
            let at_s = onset_s - AROUND_S + step as f64 * EVERY_S;
            let hz = self.pitch(at_s, window, (shortest, longest));
            let share = hz.map(|hz| (hz / from.0).ln() / way);
            if share.is_some_and(|share| share > UNDER_WAY.0 && share < UNDER_WAY.1) {
                run += 1;
                best = best.max(run);
            } else {
                run = 0;
            }
        }
        best as f64 * EVERY_S
    }

    /// The pitch around a moment, in hertz.
    fn pitch(&mut self, at_s: f64, window: usize, lags: (usize, usize)) -> Option<f64> {
        let frames = window + lags.1;
        let from = ((at_s * self.rate_hz).round() - frames as f64 / 2.0).floor() as i64;
        let sound = self.sound.range(from, from + frames as i64);
        if sound.len() < frames {
            return None;
        }
        yin::difference(sound, window, lags.1, &mut self.scratch);
        yin::normalise(&mut self.scratch);
        let depth = &self.scratch;
        let lag = (lags.0..depth.len()).min_by(|a, b| depth[*a].total_cmp(&depth[*b]))?;
        if depth[lag] >= NO_PITCH {
            return None;
        }
        Some(self.rate_hz / yin::interpolate(depth, lag).0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATE: SampleRate = SampleRate(44_100);

    /// Two seconds of a tone with four partials, its pitch by a curve of time.
    fn tone(hz: impl Fn(f64) -> f64) -> Vec<f32> {
        let mut turns = 0.0;
        (0..2 * 44_100)
            .map(|n| {
                turns += hz(f64::from(n) / 44_100.0) / 44_100.0;
                let partials = (1..5).map(|k| (TAU * turns * f64::from(k)).sin() / f64::from(k));
                partials.sum::<f64>() as f32 * 0.3
            })
            .collect()
    }

    fn measured(hz: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
        let mut glides = Glides::new(RATE);
        for block in tone(hz).chunks(999) {
            glides.push(block);
        }
        glides.under_way_s(Hertz(from), Hertz(to), 1.0)
    }

    /// Closed form: of a straight glide of 100 ms three fifths lie between a fifth and four fifths of
    /// the way; a pitch that turns at once is never between. Within a window and a step.
    #[test]
    fn a_glide_is_as_long_as_it_was_made() {
        for (from, semitones) in [(82.41, 3.0), (55.0, -4.0), (110.0, 5.0)] {
            let to = from * (semitones / 12.0f64).exp2();
            let glide = |at: f64| {
                let share = ((at - 0.95) / 0.1).clamp(0.0, 1.0);
                from * (semitones * share / 12.0).exp2()
            };
            let found = measured(glide, from, to);
            assert!((found - 0.06).abs() < 0.025, "{from} {semitones}: {found}");
            let step = |at: f64| if at < 1.0 { from } else { to };
            let found = measured(step, from, to);
            assert!(found < 0.02, "{from} {semitones}: {found}");
        }
    }

    #[test]
    fn nothing_is_said_of_what_is_no_glide() {
        assert_eq!(measured(|_| 82.4, 82.4, 82.4), 0.0);
        assert_eq!(measured(|_| 82.4, 0.0, 82.4), 0.0);
        assert_eq!(measured(|_| 82.4, 82.4, 40_000.0), 0.0);
        let mut empty = Glides::new(RATE);
        assert_eq!(empty.under_way_s(Hertz(80.0), Hertz(90.0), 1.0), 0.0);
    }
}
