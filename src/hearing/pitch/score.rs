//! How well the series of one candidate explains the sound.
//!
//! # Source
//! As in the module above: D. J. Hermes (1988), J. Acoust. Soc. Am. 83, 257-264.

use super::{Candidate, LAY_CENTS, PEAK_POWER_DB, PitchMeter, SERIES_PARTIALS, SERIES_TO_HZ};
use crate::hearing::dsp::stiff_string::partial;

/// A series whose odd partials (or those off every third) hold a smaller share of its power than
/// this, in decibels, is taken for the octave (or twelfth) below what sounds. Chosen on recorded
/// strings; raised, notes with weak odd partials are named an octave too high.
const PARITY_DB: f64 = -12.0;
/// What such a series loses in its score for each 10 dB beyond that. Chosen on recorded strings;
/// raised, fewer notes are named an octave too low.
const PARITY_LOSS: f64 = 0.5;

/// Scores in another order of sums differ by less than this.
const ROUNDING: f64 = 1e-9;

/// How far a series is trusted of which this much was heard, 0 to 1: eight periods tell all.
fn trust(f1: f64, length_s: f64) -> f64 {
    (length_s * f1 / 8.0).min(1.0)
}

impl PitchMeter {
    /// How well the series of `c` explains the sound: what share of the peaks it accounts for
    /// beyond chance, less what it promises and does not show, plus its periodicity.
    pub(super) fn score(&self, c: Candidate, length_s: f64) -> f64 {
        let (f1, b) = (c.hz, c.b);
        let partial = |k: f64| partial(f1, b, k as usize);
        let resolution = 0.7 / self.spectrum.length_s;
        let total: f64 = self.weights.iter().sum::<f64>().max(1e-9);
        let mut explained = 0.0;
        let mut chance = 0.0;
        let mut seen = [0.0f64; SERIES_PARTIALS + 2];
        for (p, w) in self.peaks.iter().zip(&self.weights) {
            // Partial number by inverting the stiff string's law.
            let ratio = p.hz / f1;
            let mut k = (ratio / (1.0 + 0.5 * b * ratio * ratio).sqrt().max(1.0))
                .round()
                .max(1.0);
            let mut off = (partial(k) - p.hz).abs();
            for t in [k - 1.0, k + 1.0] {
                let other = (partial(t) - p.hz).abs();
                if t >= 1.0 && other < off {
                    (k, off) = (t, other);
                }
            }
            let reach = resolution.min(0.3 * f1) + 0.006 * p.hz;
            if p.hz > 0.5 * f1 {
                chance += w * (2.0 * reach / f1).min(1.0);
            }
            if off < reach {
                explained += w;
                if let Some(s) = seen.get_mut(k as usize) {
                    *s = s.max(*w);
                }
            }
        }
        let (explained, chance) = (explained / total, (chance / total).min(0.9));
        let beyond = (explained - chance) / (1.0 - chance);
        // A promised partial counts as missing the more, the weaker it is than its neighbours.
        let last = ((SERIES_TO_HZ / f1) as usize).min(SERIES_PARTIALS);
        let (mut missing, mut promised) = (0.0, 0.0);
        for k in 1..=last {
            let beside = seen[k - 1].max(seen[k + 1]);
            if beside > 0.0 {
                promised += beside;
                missing += (beside - 2.5 * seen[k]).max(0.0);
            }
        }
        let missing = if promised > 0.0 {
            missing / promised
        } else {
            0.5
        };
        // Power per residue: the odd partials must not all be missing, nor all but every third.
        let powers = seen.map(|weight| match weight {
            0.0 => 0.0,
            _ => weight.powf(PEAK_POWER_DB / 10.0),
        });
        let power = |k: usize| powers[k];
        let all: f64 = (1..=last).map(power).sum::<f64>() + 1e-12;
        let odd: f64 = (1..=last).filter(|k| k % 2 == 1).map(power).sum::<f64>() + 1e-12;
        let off_third: f64 = (1..=last).filter(|k| k % 3 != 0).map(power).sum::<f64>() + 1e-12;
        let lack = |part: f64| (PARITY_DB - 10.0 * (part / all).log10()).max(0.0) / 10.0;
        let parity = PARITY_LOSS * lack(odd).max(lack(off_third)).min(2.0);
        trust(f1, length_s) * (beyond - 0.7 * missing - parity) + 0.8 * (1.0 - c.dip)
    }

    /// No score of `c` is higher than this, wherever its series is laid.
    pub(super) fn most(&self, c: Candidate, length_s: f64) -> f64 {
        let highest_hz = c.hz * ((LAY_CENTS + 1.0) / 1200.0).exp2();
        trust(highest_hz, length_s) + 0.8 * (1.0 - c.dip) + ROUNDING
    }
}
