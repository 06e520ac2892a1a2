//! What an onset *added* to a sound that rings on: how much of it is new, and which series that is.
//!
//! Told in two ways, which must agree where the onset itself was faint. *Gained*: the amplitude
//! that each frequency gained. *Added*: what remains when all that sounded before is taken out,
//! which also sees a partial beside an old one.
//!
//! # Source
//! The series: D. J. Hermes (1988), see the module above. Taking known partials out: see
//! `dsp::peel`. That the two together tell a soft pluck on another string from a ripple was
//! measured on recorded strings.

use std::ops::Range;

use rustfft::num_complex::Complex;

use super::{Candidate, PEAK_POWER_DB, PitchMeter, SERIES_FROM_HZ, SERIES_TO_HZ};
use crate::hearing::dsp::history::History;
use crate::hearing::dsp::power::decibels;

/// Length of the stretches before and after an onset that are held against each other, in seconds.
/// Chosen on recorded strings; raised, the next note stands in it.
const FRESH_SPAN_S: f64 = 0.060;
/// How far they keep from the onset, in seconds: it may lie a little off. Chosen on recorded
/// strings.
const SKIP_S: f64 = 0.004;
/// What was there before may swell by this factor without being new.
const FRESH_BEYOND: f32 = 1.2;
/// Longest stretch on which the amplitude that grew is looked at, in seconds. Chosen on recorded
/// strings; raised, close partials are told apart better, and more of what comes later stands in
/// it.
const GAINED_SPAN_S: f64 = 0.090;
/// Shortest stretch for that, in seconds. Chosen on recorded strings; raised, less is told of fast
/// notes.
const GAINED_LEAST_S: f64 = 0.045;
/// Longest stretch on which what was added is looked at, in seconds. Chosen on recorded strings;
/// raised, close partials are told apart better, and more of what comes later stands in it.
const ADDED_SPAN_S: f64 = 0.120;
/// Shortest stretch for that, in seconds. Chosen on recorded strings; raised, less is told of fast
/// notes.
const ADDED_LEAST_S: f64 = 0.055;
/// Peaks this far below the strongest new one are looked at, in decibels. Chosen on recorded
/// strings; raised, more noise takes part.
const NEW_RANGE_DB: f64 = 22.0;
/// New peaks this far below the strongest of all are looked at, in decibels. Chosen on recorded
/// strings; raised, leftovers of what rang before take part.
const ALL_RANGE_DB: f64 = 40.0;
/// What rang before is taken out as far down as this below its strongest partial, in decibels;
/// below lie the side lobes of the window. Chosen on recorded strings.
const PEELED_RANGE_DB: f64 = 26.0;

/// A series that an onset added to a sound that rings on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Added {
    /// Fundamental of the series that explains best what is new, in hertz.
    pub hz: f64,
    /// How well, about 0 for nothing and 1 for a clear note.
    pub score: f64,
    /// Power of what is new relative to that of all that sounds, in decibels.
    pub level_db: f64,
}

impl PitchMeter {
    /// How much of the sound just after `onset` was not there just before it: the amplitude that
    /// each frequency gained, as a share of all amplitude after, 0 to 1. Nothing behind `until` is
    /// looked at.
    pub fn fresh_share(&mut self, stream: &History, onset: f64, until: f64) -> f64 {
        let span = (FRESH_SPAN_S * self.rate_hz).min(until - onset - SKIP_S * self.rate_hz);
        let skip = SKIP_S * self.rate_hz;
        let at = |frames: f64| (onset + frames).round() as i64;
        let after = stream.range(at(skip), at(skip + span));
        let before = stream.range(at(-skip - span), at(-skip));
        if after.len() < (0.5 * FRESH_SPAN_S * self.rate_hz) as usize {
            return 0.0;
        }
        if before.len() < after.len() {
            return 1.0;
        }
        // Their amplitudes are asked for alone.
        self.spectrum.analyse_below(after, self.rate_hz, 0.0);
        self.past.analyse_below(before, self.rate_hz, 0.0);
        let (mut gained, mut all) = (0.0, 1e-12);
        for k in self.series_bins() {
            let (a, b) = (self.spectrum.amplitude(k), self.past.amplitude(k));
            gained += f64::from((a - FRESH_BEYOND * b).max(0.0));
            all += f64::from(a);
        }
        gained / all
    }

    /// The series whose amplitude grew at `onset`, looked at up to `end`.
    ///
    /// Output: its fundamental in hertz and its score; `None` when there is too little before or
    /// after it to be held against each other.
    pub fn gained(&mut self, stream: &History, onset: f64, end: f64) -> Option<(f64, f64)> {
        let span = (end - onset).min(GAINED_SPAN_S * self.rate_hz);
        if span < GAINED_LEAST_S * self.rate_hz {
            return None;
        }
        let (before, after) = self.around(stream, onset, span, span)?;
        self.past.analyse_below(before, self.rate_hz, 0.0);
        self.spectrum.analyse(after, self.rate_hz);
        for k in 0..self.spectrum.db.len() {
            let now = self.spectrum.amplitude(k);
            let gain = (now - FRESH_BEYOND * self.past.amplitude(k)).max(1e-8);
            self.spectrum.db[k] = decibels(gain.powi(2));
        }
        self.best_series(NEW_RANGE_DB, f64::NEG_INFINITY)
    }

    /// The series that remains after `onset` when what sounded between `since` and `onset` is taken
    /// out, looked at up to `end`.
    ///
    /// Output: `None` when there is too little before or after it to be held against each other.
    pub fn added(&mut self, stream: &History, since: f64, onset: f64, end: f64) -> Option<Added> {
        let r = self.rate_hz;
        let span = (end - onset - SKIP_S * r).min(ADDED_SPAN_S * r);
        let past = (onset - SKIP_S * r - since).min(ADDED_SPAN_S * r);
        if span.min(past) < ADDED_LEAST_S * r {
            return None;
        }
        let (before, after) = self.around(stream, onset, past, span)?;
        self.past.analyse(before, r);
        let old_top = self.past.peak_between(SERIES_FROM_HZ, SERIES_TO_HZ)?.db;
        let floor = old_top - PEELED_RANGE_DB;
        self.past
            .peaks(SERIES_FROM_HZ, SERIES_TO_HZ, floor, &mut self.peaks);
        self.peaks.sort_by(|a, b| b.db.total_cmp(&a.db));
        self.spectrum.analyse(after, r);
        let top = self.spectrum.peak_between(SERIES_FROM_HZ, SERIES_TO_HZ)?.db;
        self.spectrum
            .centred(after.len(), f64::INFINITY, &mut self.rest);
        let bins = self.series_bins();
        let power = |x: &[Complex<f32>]| x.iter().map(|c| f64::from(c.norm_sqr())).sum::<f64>();
        let whole = power(&self.rest[bins.clone()]).max(1e-20);
        let (bin_hz, length_s) = (self.spectrum.bin_hz, self.spectrum.length_s);
        for p in &self.peaks {
            self.peeler.peel(&mut self.rest, bin_hz, length_s, p.hz);
        }
        let share = power(&self.rest[bins]) / whole;
        // What was too faint to be taken out is held against what it was before; both spectra have
        // bins of one width whenever both stretches are padded to one size.
        let same = self.past.bin_hz == bin_hz;
        for k in 0..self.rest.len() {
            let old = if same { self.past.amplitude(k) } else { 0.0 };
            let gain = self.rest[k].norm_sqr().sqrt() - FRESH_BEYOND * old;
            self.spectrum.db[k] = decibels(gain.max(1e-8).powi(2));
        }
        let (hz, score) = self.best_series(NEW_RANGE_DB, top - ALL_RANGE_DB)?;
        Some(Added {
            hz,
            score,
            level_db: 10.0 * share.max(1e-9).log10(),
        })
    }

    /// The stretches of the stream before and after `onset`, `None` where they are not all there.
    fn around<'a>(
        &self,
        stream: &'a History,
        onset: f64,
        past: f64,
        span: f64,
    ) -> Option<(&'a [f32], &'a [f32])> {
        let skip = SKIP_S * self.rate_hz;
        let at = |d: f64| (onset + d).round() as i64;
        let before = stream.range(at(-skip - past), at(-skip));
        let after = stream.range(at(skip), at(skip + span));
        let whole = before.len() >= past as usize && after.len() >= span as usize;
        whole.then_some((before, after))
    }

    /// The series that best explains the spectrum as it stands, without any period: what rings on
    /// would speak in it, too.
    fn best_series(&mut self, range_db: f64, floor_db: f64) -> Option<(f64, f64)> {
        let top = self.spectrum.peak_between(SERIES_FROM_HZ, SERIES_TO_HZ)?.db;
        self.top_db = top;
        let floor = (top - range_db).max(floor_db);
        self.spectrum
            .peaks(SERIES_FROM_HZ, SERIES_TO_HZ, floor, &mut self.peaks);
        self.weights.clear();
        self.weights.extend(
            self.peaks
                .iter()
                .map(|p| 10.0f64.powf((p.db - top) / PEAK_POWER_DB)),
        );
        self.d.clear();
        self.d
            .resize((self.rate_hz / self.lowest_hz) as usize + 4, 1.0);
        self.gather();
        let length_s = self.spectrum.length_s;
        // From the highest down: a low one, of which few periods were heard, need not be laid where it
        // could not be better than the best so far.
        let mut best: Option<Candidate> = None;
        for i in (0..self.candidates.len()).rev() {
            let most = self.most(self.candidates[i], length_s);
            if best.is_some_and(|best| most < best.score) {
                continue;
            }
            self.lay_candidates(i..i + 1, false, length_s);
            let laid = self.candidates[i];
            if best.is_none_or(|best| laid.score > best.score) {
                best = Some(laid);
            }
        }
        best.map(|best| (best.hz, best.score))
    }

    /// The bins in which series are looked for.
    fn series_bins(&self) -> Range<usize> {
        let bin = |hz: f64| ((hz / self.spectrum.bin_hz) as usize).min(self.spectrum.bins());
        bin(SERIES_FROM_HZ)..bin(SERIES_TO_HZ)
    }
}
