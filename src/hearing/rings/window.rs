//! One window: where it lies, its spectrum, and the partials that are fitted in it.

use super::{PARTIALS, Rings, UP_TO_HZ};
use crate::hearing::dsp::free_partial::{self, Bins, FreePartial};
use crate::hearing::dsp::history::History;
use crate::hearing::dsp::peel::Peeler;

/// The power of all that sounds is summed from this frequency on, in hertz: a little below the
/// lowest string. Raised, the lowest notes count for less, and rings beside them seem louder.
const FROM_HZ: f64 = 26.0;

/// Where the windows between two places begin when each is `length` long: they overlap by half and
/// end with the last, of which the second value is true.
pub(in crate::hearing) fn windows(
    start: f64,
    end: f64,
    length: f64,
) -> impl Iterator<Item = (f64, bool)> {
    let steps = ((end - start - length) / (0.5 * length)).ceil().max(0.0) as usize;
    (0..=steps).map(move |i| {
        let from = start + (end - start - length) * i as f64 / steps.max(1) as f64;
        (from, i == steps)
    })
}

/// Fits those of the partials at `hz` that `counts` names, each beside `others`; one that is not
/// named or lies outside of the spectrum shows nothing.
pub(in crate::hearing) fn fit_all(
    peeler: &Peeler,
    on: Bins,
    hz: &[f64],
    others: &[f64],
    counts: impl Fn(usize) -> bool,
) -> [FreePartial; PARTIALS] {
    let mut seen = [FreePartial::default(); PARTIALS];
    for (k, (s, hz)) in seen.iter_mut().zip(hz).enumerate() {
        if counts(k) {
            *s = free_partial::fit(peeler, on, *hz, others).unwrap_or_default();
        }
    }
    seen
}

impl Rings {
    /// Analyses one window.
    ///
    /// Output: the power of all that sounds in it; `None` when it is not there.
    pub(in crate::hearing) fn analyse_window(
        &mut self,
        stream: &History,
        from: f64,
        length: f64,
    ) -> Option<f64> {
        let a = from.round() as i64;
        let x = stream.range(a, a + length as i64);
        if x.len() < length as usize {
            return None;
        }
        self.spectrum.analyse(x, self.rate_hz);
        self.spectrum
            .centred(x.len(), 1.5 * UP_TO_HZ, &mut self.bins);
        let on = self.on();
        let range = (FROM_HZ / on.bin_hz) as usize
            ..((1.5 * UP_TO_HZ / on.bin_hz) as usize).min(self.bins.len());
        let sum: f64 = self.bins[range]
            .iter()
            .map(|c| f64::from(c.norm_sqr()))
            .sum();
        // The Hann window spreads a sinusoid over 1.5 cells.
        Some((sum * on.bin_hz * on.length_s / 1.5).max(1e-16))
    }

    /// The window that was analysed last.
    pub(in crate::hearing) fn on(&self) -> Bins<'_> {
        Bins {
            bins: &self.bins,
            bin_hz: self.spectrum.bin_hz,
            length_s: self.spectrum.length_s,
        }
    }

    /// The frequency of the highest peak of that window between two frequencies.
    pub(in crate::hearing) fn peak_between(&self, lo: f64, hi: f64) -> Option<f64> {
        self.spectrum.peak_between(lo, hi).map(|p| p.hz)
    }
}
