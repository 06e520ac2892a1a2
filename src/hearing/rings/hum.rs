//! The hum of the mains, which lies on the partials of low strings and must not be taken for one.
//!
//! What is always there is the least that was seen at each multiple of the mains' frequencies.
//!
//! # Source
//! The frequencies of the mains, 50 Hz and 60 Hz: IEC 60038.

use super::{Rings, WINDOW_S};
use crate::hearing::dsp::history::History;

/// Multiples of the mains' frequencies, 50 Hz and 60 Hz (IEC 60038), at which hum is looked for.
pub(super) const MAINS_LINES: usize = 8;
/// Hum is measured in windows longer than this, in seconds; ...
const HUM_WINDOW_S: f64 = 0.2;
/// ... it touches partials within so many cells, ...
pub(super) const HUM_CELLS: f64 = 2.0;
pub(super) const HUM_HZ: f64 = 5.0;
/// ... is known after so many windows, ...
pub(super) const HUM_KNOWN: usize = 10;
/// ... of which one before the first note, where nothing else should sound, counts as many, ...
const AHEAD_WEIGHT: usize = 5;
/// ... this long before its onset, in seconds, and as far back as so many windows, ...
const AHEAD_S: f64 = 0.03;
const AHEAD_WINDOWS: usize = 6;
/// ... and may be so much stronger than the least that was seen of it.
pub(super) const HUM_BEYOND: f64 = 4.0;

/// The frequency of a multiple of the mains.
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

    /// The hum in the window that was analysed last, which counts as so many.
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
