//! *When* a string was let go: the moment its motion stops being foretold by its past.
//!
//! A ringing string is predictable, a pluck is not. The prediction errors of three low-passed
//! copies of the sound are looked at together, so that neither the noise of a finger (which lives
//! in the highest copy) nor one late period of a low string (which lives in the lowest) decides
//! alone.
//!
//! # Source
//! The predictor: S. L. Marple (1980), *A new autoregressive spectrum analysis algorithm*, IEEE
//! Trans. ASSP 28, 441-454. That a jump of the prediction error marks an onset is common practice,
//! no source. Ours, measured on recorded strings: three copies joined by the product of their
//! jumps, a predictor taught on 80 ms that end before the candidate, the earliest maximum close to
//! the highest instead of the highest, and no jump in errors 20 dB under the strongest.

use super::dsp::history::History;
use super::dsp::linear_prediction::{Work, fit, squared_errors};
use super::dsp::low_pass::{filter, low_pass_taps};
use super::dsp::power::{self, mean_square};
use super::pulse::{LowCopy, Pulses};

/// Coefficients of the predictor.
const ORDER: usize = 28;
/// From how far back each copy is foretold, in samples between one that is used and the next. A
/// copy that holds only low frequencies cannot change fast, so from its neighbours it is foretold
/// whatever happens, which says little. From samples as far apart as its band allows it is the
/// string that is foretold, over several periods.
const STRIDES: [usize; COPIES] = [5, 2, 1];
/// The longest reach of a predictor into the past, in samples.
const REACH: usize = ORDER * STRIDES[0];
/// Share of the power added to the diagonal of the normal equations.
const RIDGE: f64 = 1e-4;
/// Upper edges of the copies in hertz; the last one is the stream as it comes.
const BANDS_HZ: [f64; 2] = [350.0, 900.0];
/// How many copies are looked at.
pub const COPIES: usize = 3;
/// Length of the past that teaches the predictor, in seconds. Chosen on recorded strings; raised,
/// notes that followed soon stand in it.
const LESSON_S: f64 = 0.080;
/// That past ends this long before the candidate, in seconds, so that the onset itself is not in
/// it. Chosen on recorded strings.
const LESSON_ENDS_S: f64 = 0.025;
/// The onset is looked for from here on, in seconds after the candidate. Chosen on recorded
/// strings.
const SEARCH_FROM_S: f64 = -0.020;
/// The onset is looked for up to here, in seconds after the candidate. Chosen on recorded strings;
/// raised, a later period of a low string wins more often.
const SEARCH_TO_S: f64 = 0.050;
/// Span after a moment over which the errors are taken, in seconds. Chosen on recorded strings;
/// raised, moments are told less finely.
const AFTER_S: f64 = 0.003;
/// Span before a moment with which they are compared, in seconds. Chosen on recorded strings.
const BEFORE_S: f64 = 0.015;
/// Span after a moment in which the energy has to stay, in seconds. Chosen on recorded strings.
const STAYS_S: f64 = 0.030;
/// The earliest maximum within this many nats of the highest is the onset: with the highest alone
/// a later period of a low string wins too often.
const WITHIN_NATS: f64 = 1.3;
/// Errors below this share of the strongest around are no jump: -20 dB is where an onset is said
/// to be, and the first breath of an attack out of silence must not be taken for it.
const FAINT: f64 = 0.01;
/// How much of the end of the stream is held against what is foretold of it, in seconds. Raised, a
/// break is seen later.
const LATEST_S: f64 = 0.008;
/// The lowest copy has broken off with its past where it is foretold worse by this much, in
/// decibels: a ripple is foretold to within 6, a pluck is 15 off and more. Raised, soft onsets of
/// dark strings are found late.
pub const BROKEN_DB: f64 = 12.0;
/// The onset is where the lowest copy broke off when the jump there is lower than the highest by no
/// more than this, in nats. Raised, onsets are moved to an earlier moment more often.
const BROKEN_NATS: f64 = 5.0;
/// The onset is not there when what sounds from there on is fainter than what sounded before by
/// more than this, in decibels: then a finger touched the string.
const DIP_DB: f64 = 2.7;
/// The onset is not there when what sounds from there on is fainter than what comes after by more
/// than this, in decibels: then it is the first breath of an attack.
const BREATH_DB: f64 = 10.0;
/// Time over which both are taken, in seconds.
const BESIDE_S: f64 = 0.020;
/// What the energy that stays counts against the jump itself.
const STAYS_WEIGHT: f64 = 0.2;

/// Moments closer than this are one, in seconds.
pub const APART_S: f64 = 0.008;
/// Another moment is told when it is at most this much lower.
const OTHER_NATS: f64 = 3.0;

/// A refined onset and how it stood out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    /// The clearest jump, in samples of the stream it was found in.
    pub at: f64,
    /// Moments well before it at which the string may have begun with a short pulse.
    pub pulses: Pulses,
    /// Height of the joint jump in nats.
    pub height: f64,
    /// Rise of the prediction error over its own past in the 15 ms after the onset, per copy from
    /// the lowest up, in decibels.
    pub error_rise_db: [f64; COPIES],
    /// Another moment at least [`APART_S`] away that is nearly as likely: samples of the stream,
    /// and how many nats it is lower (below 0 where it is higher, but later).
    pub other: Option<(f64, f64)>,
    /// Width of the top of the jump in seconds: how surely the moment is known.
    pub width_s: f64,
}

/// The mean between two places of what was summed up.
pub(super) fn mean(sums: &[f64], from: usize, to: usize) -> f64 {
    let to = to.min(sums.len() - 1);
    (sums[to] - sums[from.min(to)]) / (to.max(from + 1) - from) as f64
}

/// Whether `values` is higher at `i` than beside it.
pub(super) fn is_top(values: &[f64], i: usize) -> bool {
    (i == 0 || values[i] >= values[i - 1]) && (i + 1 == values.len() || values[i] > values[i + 1])
}

/// The mean of some errors; 0 of none.
fn mean_of(errors: &[f32]) -> f64 {
    errors.iter().map(|e| f64::from(*e)).sum::<f64>() / errors.len().max(1) as f64
}

/// What the lowest copy of a stream was before some moment.
#[derive(Clone, Copy, Debug)]
pub struct Past {
    /// The predictor, the error it left, and the least that counts as one.
    a: [f64; ORDER],
    taught: f64,
    least: f64,
}

/// Finds jumps; keeps its filters and work space.
#[derive(Clone)]
pub struct JumpFinder {
    rate_hz: f64,
    taps: Vec<Vec<f32>>,
    raw: Vec<f32>,
    copy: Vec<f32>,
    work: Work,
    errors: Vec<f32>,
    /// Running sums of the errors of each copy.
    sums: [Vec<f64>; COPIES],
    joint: Vec<f64>,
    /// Products over the copies: of the jumps, and of the energies that stay.
    products: Vec<(f64, f64)>,
}

impl JumpFinder {
    /// A finder for a stream of `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        let taps = BANDS_HZ
            .iter()
            .map(|hz| {
                let pass = (hz / rate_hz).min(0.3);
                low_pass_taps(pass, (pass + (hz * 0.8).max(350.0) / rate_hz).min(0.49))
            })
            .collect();
        Self {
            rate_hz,
            taps,
            raw: Vec::new(),
            copy: Vec::new(),
            work: Work::default(),
            errors: Vec::new(),
            sums: Default::default(),
            joint: Vec::new(),
            products: Vec::new(),
        }
    }

    /// How far behind a candidate the stream must be before it can be refined, in seconds.
    pub fn needs_after_s(&self) -> f64 {
        let filter = self.taps.iter().map(Vec::len).max().unwrap_or(0) as f64 / self.rate_hz / 2.0;
        SEARCH_TO_S + STAYS_S + filter + 0.002
    }

    /// The onset nearest to the candidate at sample `candidate`, looked for no earlier than
    /// `not_before` (the onset of the note before).
    pub fn find(&mut self, stream: &History, candidate: i64) -> Jump {
        let n = |s: f64| (s * self.rate_hz).round() as i64;
        let margin = self.taps.iter().map(Vec::len).max().unwrap_or(0) as i64 / 2;
        let lesson_from = candidate - n(LESSON_ENDS_S + LESSON_S);
        let lesson_to = candidate - n(LESSON_ENDS_S);
        let search_from = candidate + n(SEARCH_FROM_S);
        let errors_from = search_from - n(BEFORE_S);
        let from = lesson_from.min(errors_from) - REACH as i64;
        let to = candidate + n(SEARCH_TO_S) + n(STAYS_S) + 1;
        self.raw.clear();
        // Before the start of the stream there is silence.
        let (a, b) = (from - margin, to + margin);
        let held = stream.range(a, b);
        let lead = (stream.start().max(a) - a).clamp(0, b - a) as usize;
        self.raw.resize(lead, 0.0);
        self.raw.extend_from_slice(held);
        self.raw.resize((b - a) as usize, 0.0);

        let (w_after, w_before, w_stays, w_15) = (
            n(AFTER_S) as usize,
            n(BEFORE_S) as usize,
            n(STAYS_S) as usize,
            n(0.015) as usize,
        );
        let positions = (n(SEARCH_TO_S) - n(SEARCH_FROM_S)) as usize + 1;
        self.joint.clear();
        self.products.clear();
        self.products.resize(positions, (1.0, 1.0));
        let mut taught_by = [(0.0, 0.0); COPIES];
        for (band, taught_by) in taught_by.iter_mut().enumerate() {
            self.copy.clear();
            if let Some(t) = self.taps.get(band) {
                let lead = margin as usize - t.len() / 2;
                let needed = (to - from) as usize + t.len() - 1;
                filter(&self.raw[lead..lead + needed], t, &mut self.copy);
            } else {
                let m = margin as usize;
                self.copy
                    .extend_from_slice(&self.raw[m..m + (to - from) as usize]);
            }
            let stride = STRIDES[band];
            let span = (ORDER * stride) as i64;
            let lesson =
                &self.copy[(lesson_from - span - from) as usize..(lesson_to - from) as usize];
            let a = fit(lesson, ORDER, stride, RIDGE, &mut self.work);
            squared_errors(lesson, a, stride, &mut self.errors);
            let taught = mean_of(&self.errors);
            // Errors from `errors_from` on; running sums make any span one subtraction.
            let context = (errors_from - span - from) as usize;
            squared_errors(&self.copy[context..], a, stride, &mut self.errors);
            let sums = &mut self.sums[band];
            sums.clear();
            sums.push(0.0);
            let mut s = 0.0;
            for e in &self.errors {
                s += f64::from(*e);
                sums.push(s);
            }
            let total = s / self.errors.len().max(1) as f64;
            let quiet = 4.0 * taught + 1e-9 * total + 1e-16;
            *taught_by = (taught, total);
            let means = |from: usize, length: usize| {
                let pairs = sums[from + length..].iter().zip(&sums[from..]);
                pairs.map(move |(to, from)| (to - from) / length as f64)
            };
            let strongest = means(w_before, w_after).take(positions).fold(0.0, f64::max);
            let faint = FAINT * strongest + 1e-16;
            let (before, after) = (means(0, w_before), means(w_before, w_after));
            let beside = before.zip(after).zip(means(w_before, w_stays));
            for (joint, ((before, after), stays)) in self.products.iter_mut().zip(beside) {
                // Products first, one logarithm for all copies at the end.
                joint.0 *= (after + faint) / (before + quiet + faint);
                joint.1 *= stays + 1e-16;
            }
        }
        self.joint.extend(
            self.products
                .iter()
                .map(|(jump, stays)| jump.ln() + STAYS_WEIGHT * stays.ln()),
        );
        let best = self.choose();
        // The copy that was made last is the stream as it came.
        let searched = (search_from - from) as usize;
        let broken = self.broken(best, taught_by[0].0, w_before, searched);
        let best = broken.unwrap_or(best);
        let top = self.joint[best];
        let width = self.joint.iter().filter(|v| **v > top - 1.0).count() as f64 / self.rate_hz;
        let other = self
            .other(best)
            .map(|(i, nats)| (search_from as f64 + i as f64, nats));
        let p = best + w_before;
        let error_rise_db = std::array::from_fn(|band| {
            let (taught, total) = taught_by[band];
            let risen = mean(&self.sums[band], p, p + w_15) + 1e-16;
            10.0 * (risen / (taught + 1e-12 * total + 1e-16)).log10()
        });
        let (taught, total) = taught_by[0];
        let low = LowCopy {
            sums: &self.sums[0],
            taught: taught + 1e-12 * total + 1e-16,
            spans: (w_before, w_after),
            // The copy that was made last is the stream as it came.
            sound: (&self.copy, searched),
            rate_hz: self.rate_hz,
        };
        let pulses = Pulses::before(best, &self.joint, &low, search_from as f64);
        Jump {
            other,
            pulses,
            at: search_from as f64 + best as f64,
            height: top,
            error_rise_db,
            width_s: width,
        }
    }

    /// What the lowest copy was before `candidate`; `None` where too little of it is there.
    pub fn past(&mut self, stream: &History, candidate: i64) -> Option<Past> {
        let n = |s: f64| (s * self.rate_hz).round() as i64;
        let to = candidate - n(LESSON_ENDS_S);
        self.low_copy(stream, to - n(LESSON_S) - REACH as i64, to)?;
        let a = fit(&self.copy, ORDER, STRIDES[0], RIDGE, &mut self.work);
        squared_errors(&self.copy, a, STRIDES[0], &mut self.errors);
        Some(Past {
            a: a.try_into().ok()?,
            taught: mean_of(&self.errors),
            least: 1e-9 * mean_square(&self.copy) + 1e-16,
        })
    }

    /// How much worse the end of the stream is foretold in its lowest copy than its `past` was, in
    /// decibels; `None` where too little of it is there. See [`BROKEN_DB`].
    pub fn breaks_db(&mut self, stream: &History, past: &Past) -> Option<f64> {
        let latest = (LATEST_S * self.rate_hz).round() as i64;
        let to = stream.end() - self.low_delay();
        self.low_copy(stream, to - latest - REACH as i64, to)?;
        squared_errors(&self.copy, &past.a, STRIDES[0], &mut self.errors);
        let now = mean_of(&self.errors);
        Some(10.0 * ((now + past.least) / (past.taught + past.least)).log10())
    }

    /// How far the lowest copy lags behind the stream, in samples.
    fn low_delay(&self) -> i64 {
        self.taps[0].len() as i64 / 2
    }

    /// Makes the lowest copy between two places of the stream; `None` where it is not all there.
    fn low_copy(&mut self, stream: &History, from: i64, to: i64) -> Option<()> {
        let half = self.low_delay();
        let (from, to) = (from - half, to + half);
        if from < stream.start() || to > stream.end() {
            return None;
        }
        self.copy.clear();
        filter(stream.range(from, to), &self.taps[0], &mut self.copy);
        Some(())
    }

    /// The highest top apart from the one at `best`, with how much lower it is.
    fn other(&self, best: usize) -> Option<(usize, f64)> {
        let j = &self.joint;
        let apart = (APART_S * self.rate_hz) as usize;
        (1..j.len().saturating_sub(1))
            .filter(|i| i.abs_diff(best) >= apart && self.is_top(*i))
            .max_by(|a, b| j[*a].total_cmp(&j[*b]))
            .map(|i| (i, j[best] - j[i]))
            .filter(|(_, nats)| *nats <= OTHER_NATS)
    }

    /// The top where the lowest copy broke off with its past for good, where that was well before
    /// `best`: what breaks at an onset is not foretold again before it is over. A finger that
    /// touches the string breaks off, too, but damps it.
    ///
    /// `searched`: where in the copy that was made last the search begins.
    fn broken(&self, best: usize, taught: f64, w_before: usize, searched: usize) -> Option<usize> {
        let frames = |s: f64| (s * self.rate_hz).round() as usize;
        let w = frames(LATEST_S);
        let least = 10f64.powf(BROKEN_DB / 10.0) * taught + 1e-16;
        let low = |o: usize| mean(&self.sums[0], o + w_before, o + w_before + w);
        let start = (0..=best.saturating_sub(w))
            .rev()
            .take_while(|o| low(*o) > least)
            .last()?;
        // The first window that reaches into the onset does so with its end.
        let (from, to) = (start + w / 4, start + 2 * w);
        if best < to + w {
            return None;
        }
        let j = &self.joint;
        let top = (from.max(1)..to)
            .filter(|i| self.is_top(*i))
            .max_by(|a, b| j[*a].total_cmp(&j[*b]))
            .filter(|i| j[*i] > j[best] - BROKEN_NATS)?;
        let level_db =
            |from: usize, to: usize| power::level_db(self.copy.get(from..to).unwrap_or_default());
        let span = frames(BESIDE_S);
        let (top_at, best_at) = (searched + top, searched + best);
        let between = level_db(top_at, best_at);
        let before = level_db(top_at.saturating_sub(span), top_at);
        let after = level_db(best_at, best_at + span);
        (between >= before - DIP_DB && between >= after - BREATH_DB).then_some(top)
    }

    fn choose(&self) -> usize {
        let j = &self.joint;
        let highest = j.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (0..j.len())
            .find(|i| self.is_top(*i) && j[*i] > highest - WITHIN_NATS)
            .unwrap_or(0)
    }

    /// Whether the joint jump is higher at `i` than beside it.
    fn is_top(&self, i: usize) -> bool {
        is_top(&self.joint, i)
    }
}
