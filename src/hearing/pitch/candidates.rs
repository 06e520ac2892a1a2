//! What may be the pitch: the dips of the difference function, the divisors of the strongest peaks, and
//! the peaks themselves with how much each of them counts.
//!
//! # Source
//! As in the module above: A. de Cheveigné and H. Kawahara (2002), YIN, see `dsp::yin`.

use super::{Candidate, PEAK_POWER_DB, PitchMeter, SERIES_FROM_HZ, SERIES_TO_HZ};
use crate::hearing::dsp::history::History;
use crate::hearing::dsp::low_pass::filter;
use crate::hearing::dsp::yin;

/// Longest stretch the period is measured on, in seconds.
const PERIOD_SPAN_S: f64 = 0.120;
/// Dips of the normalised difference this much above the deepest are still candidates.
const DIP_REACH: f32 = 0.30;
/// Peaks this far below the strongest are not looked at, in decibels. Chosen on recorded strings;
/// raised, softer partials and more noise take part.
const SERIES_RANGE_DB: f64 = 30.0;
/// What rang before is only set aside when more than this share of the amplitude remains, 0 to 1:
/// the same note struck again has little of its own. Chosen on recorded strings; raised, it is set
/// aside less often.
const OWN_SHARE: f64 = 0.6;

impl PitchMeter {
    /// Normalised difference of the low-passed stretch; false when it is too short.
    pub(super) fn period(&mut self, stream: &History, from: f64, end: f64) -> bool {
        let half = self.taps.len() as i64 / 2;
        let from = from.round() as i64;
        let to = end.min(from as f64 + PERIOD_SPAN_S * self.rate_hz).round() as i64;
        let to = to.min(stream.end() - half);
        let x = stream.range(from - half, to + half);
        self.smooth.clear();
        if x.len() < self.taps.len() {
            return false;
        }
        filter(x, &self.taps, &mut self.smooth);
        let n = self.smooth.len();
        let max_lag = ((self.rate_hz / self.lowest_hz) as usize + 2).min(n * 2 / 3);
        if max_lag <= (self.rate_hz / self.highest_hz) as usize + 2 {
            return false;
        }
        yin::difference(&self.smooth, n - max_lag, max_lag, &mut self.d);
        yin::normalise(&mut self.d);
        true
    }

    /// The peaks of the stretch with their weights: how much each counts.
    pub(super) fn series(&mut self, stream: &History, onset: f64, skip: f64, length_s: f64) {
        let r = self.rate_hz;
        let a = onset + if length_s > 0.3 { 0.050 } else { skip } * r;
        let b = onset + length_s.min(0.400) * r;
        self.spectrum.analyse(
            stream.range(a.round() as i64, (b.round() as i64).min(stream.end())),
            r,
        );
        let top = self
            .spectrum
            .peak_between(SERIES_FROM_HZ, SERIES_TO_HZ)
            .map_or(-200.0, |p| p.db);
        self.top_db = top;
        self.spectrum.peaks(
            SERIES_FROM_HZ,
            SERIES_TO_HZ,
            top - SERIES_RANGE_DB,
            &mut self.peaks,
        );
        self.weights.clear();
        self.weights.extend(
            self.peaks
                .iter()
                .map(|p| 10.0f64.powf((p.db - top) / PEAK_POWER_DB)),
        );
        // What rang before the onset at the same frequency is another string's.
        let before = stream.range((onset - 0.120 * r) as i64, (onset - 0.008 * r) as i64);
        if before.len() > (0.05 * r) as usize {
            // An onset is looked at more than once, what was before it only the first time.
            if self.heard_before != before {
                self.heard_before.clear();
                self.heard_before.extend_from_slice(before);
                self.before.analyse_below(before, r, 1.1 * SERIES_TO_HZ);
            }
            let width = 0.6 / self.spectrum.length_s + 0.3 / self.before.length_s;
            let (mut kept, mut total) = (0.0, 0.0);
            self.lessened.clone_from(&self.weights);
            for (p, w) in self.peaks.iter().zip(&mut self.lessened) {
                let amplitude = 10.0f64.powf((p.db - top) / 20.0);
                let old = self.before.peak_between(p.hz - width, p.hz + width);
                let share = old.map_or(0.0, |o| 10.0f64.powf((o.db - p.db) / 20.0));
                let own = (1.0 - share).clamp(0.0, 1.0);
                *w *= own.max(0.1);
                kept += own * amplitude;
                total += amplitude;
            }
            // The same note struck again has little of its own: then all counts.
            if kept > OWN_SHARE * total {
                std::mem::swap(&mut self.weights, &mut self.lessened);
            }
        }
    }

    pub(super) fn gather(&mut self) {
        self.candidates.clear();
        let min_lag = ((self.rate_hz / self.highest_hz) as usize).max(2);
        let d = &self.d;
        let deepest = d[min_lag..].iter().copied().fold(f32::INFINITY, f32::min);
        let found = &mut self.found;
        found.clear();
        for lag in min_lag..d.len() - 1 {
            if d[lag] <= d[lag - 1] && d[lag] < d[lag + 1] && d[lag] < deepest + DIP_REACH {
                let hz = self.rate_hz / yin::interpolate(d, lag).0;
                found.extend([hz, 2.0 * hz, hz / 2.0, 3.0 * hz]);
            }
        }
        let strongest = &mut self.strongest;
        strongest.clear();
        strongest.extend(0..self.peaks.len());
        // Equals in their order; sorted in place.
        let weights = &self.weights;
        strongest.sort_unstable_by(|a, b| weights[*b].total_cmp(&weights[*a]).then(a.cmp(b)));
        for i in strongest.iter().take(4) {
            found.extend((1..=4).map(|k| self.peaks[*i].hz / f64::from(k)));
        }
        found.retain(|hz| *hz >= self.lowest_hz && *hz <= self.highest_hz);
        found.sort_unstable_by(f64::total_cmp);
        found.dedup_by(|b, a| *b / *a < 1.012);
        for i in 0..self.found.len() {
            let hz = self.found[i];
            let dip = self.dip_near(hz);
            self.candidates.push(Candidate {
                hz,
                b: 1e-4,
                dip,
                score: 0.0,
            });
        }
    }

    /// The deepest normalised difference within a quarter tone of the period of `hz`.
    fn dip_near(&self, hz: f64) -> f64 {
        let lag = self.rate_hz / hz;
        let (a, b) = (
            (lag * 0.975).floor() as usize,
            (lag * 1.025).ceil() as usize,
        );
        (a.max(1)..=b)
            .filter_map(|i| self.d.get(i))
            .fold(1.0f64, |m, v| m.min(f64::from(*v)))
    }
}
