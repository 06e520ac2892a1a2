//! How loud the stream is as it is heard, at every moment, and where it was cut off by the input.
//!
//! One sum of weighted squares for each millisecond and a half, so that the level of any stretch can be
//! asked for later; beside it the same of what lies above 1.5 kHz alone. Told of a note is one level, over
//! its first fifth of a second or as much of that as it sounds; none where the input clipped in it.
//!
//! Used by the listener alone; the weighting is that of `weighting`.
//!
//! # Source
//! ITU-R BS.1770-5 (2023), annex 1, for one channel and without its gates: a note is no programme.

pub mod weighting;

use std::collections::VecDeque;

use super::dsp::biquad::{Biquad, FOURTH_ORDER};
use super::dsp::history::History;
use super::events::Brightness;

/// A level is the mean over this long from the onset, in seconds: temporal integration of loudness
/// levels off at about 200 ms (Zwicker & Fastl, *Psychoacoustics*, from memory). On made takes the order
/// of the notes agreed best with how hard they were played at this length (of 50, 100, 200 and 400 ms).
/// Raised, how long a note rings counts for more.
pub const LEVEL_OVER_S: f64 = 0.200;
/// A note of less than this, in seconds, has no level: its attack is all there is. Raised, fewer short
/// notes have one.
const LEVEL_FROM_S: f64 = 0.040;
/// Length of one sum, in seconds. Raised, moments are told less finely.
const BLOCK_S: f64 = 0.001_45;
/// Corner of the high-pass of what is bright, in hertz: above the tenth partials of the low strings.
const BRIGHT_HZ: f64 = 1_500.0;
/// Stretches of a note whose brightness is told, in seconds after the onset: the pluck's own noise is over
/// before the first.
const BRIGHT_SPANS_S: [(f64, f64); 3] = [(0.030, 0.080), (0.080, 0.160), (0.160, 0.300)];
/// Least length of such a stretch, in seconds: a period of the lowest string. Raised, short notes tell less.
const BRIGHT_LEAST_S: f64 = 0.030;
/// A note shorter than this, in seconds, does not tell how bright it is.
const BRIGHT_FROM_S: f64 = 0.120;
/// A sample of this magnitude may have been cut off at full scale. Raised, fewer are.
const FULL: f32 = 0.985;
/// So many equal samples in a row of that magnitude are a cut-off top, as in `sound::health`.
const FLAT_SAMPLES: u32 = 3;
/// Cut-off tops closer than this are one, in seconds.
const CLIPS_APART_S: f64 = 0.010;
/// Places of cut-off tops that are kept; twelve seconds of the densest.
const CLIPS: usize = 1200;
/// The quiet after a note is looked at from this long after its end, in seconds: a finger's noise and the
/// slow part of a string's end are over. Raised, fewer pauses say something.
const QUIET_AFTER_S: f64 = 0.120;
/// The quiet is looked at up to this long before the next onset, in seconds: a finger touches the string
/// before it plucks.
const QUIET_BEFORE_S: f64 = 0.050;
/// Length of one look at the quiet, in seconds: two periods of the lowest hum. Raised, noise sways less.
const QUIET_LOOK_S: f64 = 0.050;
/// Looks that tell whether the quiet rises. Raised, fewer pauses say something.
const QUIET_LOOKS: usize = 3;
/// Power of nothing, so that a logarithm can be taken: -140 dB.
const NOTHING: f64 = 1e-14;

/// Powers of one filtered copy of the stream, block by block.
#[derive(Clone, Debug)]
struct Track {
    filters: [Biquad; 2],
    sum: f64,
    powers: History,
}

impl Track {
    fn new(filters: [Biquad; 2], blocks: usize) -> Self {
        Self {
            filters,
            sum: 0.0,
            powers: History::new(blocks),
        }
    }

    fn close(&mut self, frames: usize) {
        self.powers.push((self.sum / frames as f64) as f32);
        self.sum = 0.0;
    }
}

/// Adds the squares of some samples of one block to both tracks. Each output waits for the one before
/// it, so both are made in turn.
fn add(one: &mut Track, other: &mut Track, samples: &[f32]) {
    let ([mut a, mut b], [mut c, mut d]) = (one.filters, other.filters);
    let (mut sum, mut other_sum) = (one.sum, other.sum);
    for x in samples {
        let x = f64::from(*x);
        let (y, z) = (b.next(a.next(x)), d.next(c.next(x)));
        sum += y * y;
        other_sum += z * z;
    }
    (one.filters, other.filters) = ([a, b], [c, d]);
    (one.sum, other.sum) = (sum, other_sum);
}

/// The running meter.
#[derive(Clone, Debug)]
pub struct Loudness {
    weighted: Track,
    bright: Track,
    block_frames: usize,
    filled: usize,
    /// Samples of the low-rate stream in a block.
    low_per_block: f64,
    clips: VecDeque<f64>,
    flat: (u32, f32),
}

impl Loudness {
    /// For a stream of `rate_hz` of which `keep_s` seconds can be asked for; places are told in
    /// samples of the low-rate stream, `low_ratio` of them for each sample.
    pub fn new(rate_hz: f64, low_ratio: f64, keep_s: f64) -> Self {
        let block_frames = ((BLOCK_S * rate_hz).round() as usize).max(1);
        let blocks = (keep_s * rate_hz) as usize / block_frames;
        let bright = FOURTH_ORDER.map(|q| Biquad::high_pass(BRIGHT_HZ, q, rate_hz));
        Self {
            weighted: Track::new(weighting::k_weighting(rate_hz), blocks),
            bright: Track::new(bright, blocks),
            block_frames,
            filled: 0,
            low_per_block: block_frames as f64 * low_ratio,
            clips: VecDeque::with_capacity(CLIPS + 1),
            flat: (0, 0.0),
        }
    }

    /// Takes the next samples; the same powers however they are cut.
    pub fn take(&mut self, samples: &[f32]) {
        let mut rest = samples;
        while !rest.is_empty() {
            let room = self.block_frames - self.filled;
            let (now, later) = rest.split_at(room.min(rest.len()));
            add(&mut self.weighted, &mut self.bright, now);
            self.filled += now.len();
            if self.filled == self.block_frames {
                self.weighted.close(self.block_frames);
                self.bright.close(self.block_frames);
                self.filled = 0;
            }
            rest = later;
        }
    }

    /// Looks for cut-off tops in the samples as they came, the first of which lies at `at_low`, with
    /// `low_per_frame` samples of the low-rate stream for each.
    pub fn watch(&mut self, samples: &[f32], at_low: f64, low_per_frame: f64) {
        let top = samples.iter().fold(0.0f32, |top, x| top.max(x.abs()));
        if top < FULL {
            self.flat = (0, 0.0);
            return;
        }
        for (k, x) in samples.iter().enumerate() {
            let (length, value) = self.flat;
            self.flat = match x.abs() >= FULL {
                true if length > 0 && value == *x => (length.saturating_add(1), value),
                true => (1, *x),
                false => (0, 0.0),
            };
            if self.flat.0 == FLAT_SAMPLES {
                let at = at_low + k as f64 * low_per_frame;
                let apart = CLIPS_APART_S / BLOCK_S * self.low_per_block;
                if self.clips.back().is_none_or(|last| at - last > apart) {
                    if self.clips.len() == CLIPS {
                        self.clips.pop_front();
                    }
                    self.clips.push_back(at);
                }
            }
        }
    }

    /// Whether the input was cut off between two places of the low-rate stream.
    pub fn is_clipped(&self, from: f64, to: f64) -> bool {
        self.clips.iter().any(|at| (from..to).contains(at))
    }

    /// Level as it is heard over the first part of a note that begins at `onset` and sounds up to `to`,
    /// both in samples of the low-rate stream at `low_hz`; in decibels, K-weighted (LKFS of one channel).
    /// `None` where it is too short or the input was cut off.
    pub fn note_db(&self, onset: f64, to: f64, low_hz: f64) -> Option<f64> {
        let to = to.min(onset + LEVEL_OVER_S * low_hz);
        if to - onset < LEVEL_FROM_S * low_hz || self.is_clipped(onset, to) {
            return None;
        }
        let power = self.power(&self.weighted, onset, to)?;
        Some(10.0 * (power + NOTHING).log10() + weighting::OFFSET_DB)
    }

    /// How bright a note is that begins at `onset` and sounds up to `to`, both in samples of the low-rate
    /// stream at `low_hz`; `None` of a note that is too short to tell.
    pub fn brightness(&self, onset: f64, to: f64, low_hz: f64) -> Option<Brightness> {
        let length_s = (to - onset) / low_hz;
        if length_s < BRIGHT_FROM_S {
            return None;
        }
        let level = |track: &Track, (from_s, to_s): (f64, f64)| {
            let to_s = to_s.min(length_s);
            let span = (onset + from_s * low_hz, onset + to_s * low_hz);
            let power =
                (to_s - from_s >= BRIGHT_LEAST_S).then(|| self.power(track, span.0, span.1));
            Some(10.0 * (power?? + NOTHING).log10())
        };
        let bright = BRIGHT_SPANS_S.map(|span| level(&self.bright, span));
        let whole = BRIGHT_SPANS_S.map(|span| level(&self.weighted, span));
        let beside_db = std::array::from_fn(|at| Some(bright[at]? - whole[at]?));
        let swell_db = bright[2].zip(bright[1]).map(|(late, middle)| late - middle);
        Some(Brightness {
            beside_db,
            swell_db,
        })
    }

    /// Weighted level between two places of the low-rate stream, in decibels; `None` of less than one
    /// block.
    pub fn level_db(&self, from: f64, to: f64) -> Option<f64> {
        let power = self.power(&self.weighted, from, to)?;
        Some(10.0 * (power + NOTHING).log10() + weighting::OFFSET_DB)
    }

    /// By how much the level rises again between the end of a note at `from` and the next onset, or the
    /// end of the stream, at `to`, in decibels: the last look less the lowest before it. `None` where there
    /// are too few looks.
    pub fn quiet_rise_db(&self, from: f64, to: f64, low_hz: f64) -> Option<f64> {
        let span = QUIET_LOOK_S * low_hz;
        let mut at = from + QUIET_AFTER_S * low_hz;
        let mut lowest = f64::INFINITY;
        let mut last = None;
        let mut looks = 0;
        while at + span <= to - QUIET_BEFORE_S * low_hz {
            let level = self.level_db(at, at + span)?;
            lowest = lowest.min(level);
            last = Some(level);
            looks += 1;
            at += span;
        }
        let last = last.filter(|_| looks >= QUIET_LOOKS)?;
        Some(last - lowest)
    }

    /// Mean power of a track between two places of the low-rate stream; the blocks at both ends count
    /// by as much of them as lies within.
    fn power(&self, track: &Track, from: f64, to: f64) -> Option<f64> {
        let (from, to) = (from / self.low_per_block, to / self.low_per_block);
        let first = (from.floor() as i64).max(track.powers.start());
        let last = (to.ceil() as i64).min(track.powers.end());
        let (mut sum, mut weight) = (0.0, 0.0);
        for (k, power) in (first..).zip(track.powers.range(first, last)) {
            let share = (to.min(k as f64 + 1.0) - from.max(k as f64)).clamp(0.0, 1.0);
            sum += share * f64::from(*power);
            weight += share;
        }
        (weight >= 1.0).then(|| sum / weight)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(amplitude: f64, hz: f64, rate: f64, seconds: f64) -> Vec<f32> {
        (0..(rate * seconds) as usize)
            .map(|n| (amplitude * (std::f64::consts::TAU * hz * n as f64 / rate).sin()) as f32)
            .collect()
    }

    /// Published: a full sine of 997 Hz reads -3.01 LKFS (BS.1770, annex 1); 20 dB softer, 20 less. Over
    /// every cut of the samples alike.
    #[test]
    fn a_sine_reads_what_the_recommendation_says() {
        let rate = 22_050.0;
        for (amplitude, want) in [(1.0, -3.01), (0.1, -23.01)] {
            let x = sine(amplitude, 997.0, rate, 1.0);
            let mut levels = Vec::new();
            for cut in [1usize, 7, 512, x.len()] {
                let mut meter = Loudness::new(rate, 0.25, 12.0);
                x.chunks(cut).for_each(|block| meter.take(block));
                levels.push(meter.note_db(1_000.0, 5_000.0, rate / 4.0));
            }
            let level = levels[0].expect("a level");
            assert!((level - want).abs() < 0.03, "{level} {want}");
            assert!(levels.iter().all(|l| *l == levels[0]));
        }
    }

    /// Just below and just above the shortest note of which there is a level: 40 ms.
    #[test]
    fn a_note_that_is_too_short_has_no_level() {
        let rate = 22_050.0;
        let mut meter = Loudness::new(rate, 0.25, 12.0);
        meter.take(&sine(0.5, 110.0, rate, 1.0));
        let low = rate / 4.0;
        assert_eq!(meter.note_db(1_000.0, 1_000.0 + 0.039 * low, low), None);
        assert!(meter.note_db(1_000.0, 1_000.0 + 0.041 * low, low).is_some());
    }

    /// A note in which the input was cut off has no level; the one beside it has.
    #[test]
    fn a_note_that_clips_has_no_level() {
        let rate = 22_050.0;
        let mut x = sine(0.5, 110.0, rate, 1.0);
        let mut meter = Loudness::new(rate, 0.25, 12.0);
        meter.watch(&x, 0.0, 0.25);
        assert!(!meter.is_clipped(0.0, 1e9));
        x[8_000..8_003].fill(1.0);
        for cut in [1usize, 3, 1000, x.len()] {
            let mut meter = Loudness::new(rate, 0.25, 12.0);
            for (k, block) in x.chunks(cut).enumerate() {
                meter.watch(block, (k * cut) as f64 * 0.25, 0.25);
                meter.take(block);
            }
            assert_eq!(meter.note_db(1_900.0, 2_300.0, rate / 4.0), None);
            assert!(meter.note_db(2_200.0, 2_600.0, rate / 4.0).is_some());
        }
    }
}
