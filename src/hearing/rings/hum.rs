//! The hum of the mains, which lies on the partials of low strings and must not be taken for one.
//!
//! What is always there is the least that was seen at each multiple of the mains' frequencies.
//!
//! # Source
//! The frequencies of the mains, 50 Hz and 60 Hz: IEC 60038.

use super::{Rings, WINDOW_S};
use crate::hearing::dsp::history::History;

/// How many multiples of 50 Hz, and of 60 Hz, hum is looked for at (IEC 60038).
pub(super) const MAINS_LINES: usize = 8;
/// Hum is measured in windows longer than this, in seconds: shorter ones do not tell it from a
/// string beside it.
const HUM_WINDOW_S: f64 = 0.2;
/// Hum touches the partials within this many resolution cells (1/T). Raised, strings near a
/// multiple of the mains show less.
pub(super) const HUM_CELLS: f64 = 2.0;
/// In short windows it touches no partial further away than this, in hertz.
pub(super) const HUM_HZ: f64 = 5.0;
/// Hum is known after this many windows, and nothing is taken off before. Raised, the first strings
/// of a take are heard in the hum.
pub(super) const HUM_KNOWN: usize = 10;
/// What a window before the first note counts, in windows: nothing else should sound there.
const AHEAD_WEIGHT: usize = 5;
/// The windows before the first note end this long before its onset, in seconds.
const AHEAD_S: f64 = 0.03;
/// How many windows before the first note are looked at.
const AHEAD_WINDOWS: usize = 6;
/// Hum may be this many times stronger than the least that was seen of it, as a ratio of powers.
/// Raised, strings near a multiple of the mains show less.
pub(super) const HUM_BEYOND: f64 = 4.0;

/// The frequency of line `k` in hertz: first the multiples of 50 Hz, then those of 60 Hz.
pub(super) fn mains(k: usize) -> f64 {
    let base = if k < MAINS_LINES { 50.0 } else { 60.0 };
    base * (k % MAINS_LINES + 1) as f64
}

impl Rings {
    /// The hum in what was heard before the first note.
    pub(super) fn listen_ahead(&mut self, stream: &History, onset: f64) {
        let (end, length) = (onset - AHEAD_S * self.rate_hz, WINDOW_S * self.rate_hz);
        for k in 0..AHEAD_WINDOWS {
            let from = end - length * (1.0 + 0.5 * k as f64);
            if from >= 0.0 && self.analyse_window(stream, from, length).is_some() {
                self.hear_hum(AHEAD_WEIGHT);
            }
        }
    }

    /// The hum in the window that was analysed last, which counts as this many `windows`.
    pub(super) fn hear_hum(&mut self, windows: usize) {
        let (bin_hz, length_s) = (self.spectrum.bin_hz, self.spectrum.length_s);
        if length_s <= HUM_WINDOW_S {
            return;
        }
        self.hum_windows += windows;
        for (k, hum) in self.hum.iter_mut().enumerate() {
            let bin = (mains(k) / bin_hz).round() as usize;
            let now = self.bins.get(bin).map_or(0.0, |c| f64::from(c.norm_sqr()));
            *hum = hum.min(now);
        }
    }
}
