//! *Which* note: candidates from the period, decided by the whole series of partials, measured
//! fine as a stiff string.
//!
//! # Source
//! - Candidates: A. de Cheveigné and H. Kawahara (2002), YIN, J. Acoust. Soc. Am. 111, 1917-1930
//!   (see `dsp::yin`), with the divisors of the strongest peaks beside them, since the period of a
//!   bright, stiff string misleads.
//! - Decision: D. J. Hermes (1988), *Measurement of pitch by subharmonic summation*, J. Acoust.
//!   Soc. Am. 83, 257-264. Departures: the series is that of a stiff string; what chance would
//!   explain is taken off, as are partials that are promised and do not show; a series that has
//!   only its even (or every third) partials loses, which keeps octaves and twelfths apart; what
//!   another string rang before the onset counts less.
//! - Fine pitch: H. Fletcher (1964), *Normal vibration frequencies of a stiff piano string*, J.
//!   Acoust. Soc. Am. 36, 203-209. It is f1, the first partial of the fitted string.

mod added;

use std::ops::Range;

use rustfft::num_complex::Complex;

use super::dsp::history::History;
use super::dsp::low_pass::{filter, low_pass_taps};
use super::dsp::peel::Peeler;
use super::dsp::spectrum::{Peak, Spectrum};
use super::dsp::stiff_string::{CENTS_PER_SHARE, StiffString, fit_stiff_string, partial};
use super::dsp::two_modes::TwoModes;
use super::dsp::yin;
use super::events::RIVALS;
use crate::units::cents;
pub use added::Added;

/// Longest stretch the period is measured on, in seconds.
const PERIOD_SPAN_S: f64 = 0.120;
/// The period is looked for below this frequency: stiffness spoils the period of a bright tone.
const PERIOD_BELOW_HZ: f64 = 800.0;
/// Dips of the normalised difference this much above the deepest are still candidates.
const DIP_REACH: f32 = 0.30;
/// By the period alone the shortest lag this close to the deepest wins.
const SHORT_LAG_WITHIN: f32 = 0.08;
/// Partials are looked at from here ...
const SERIES_FROM_HZ: f64 = 25.0;
/// ... up to here.
const SERIES_TO_HZ: f64 = 1_400.0;
/// Peaks this far below the strongest count no more.
const PEAK_POWER_DB: f64 = 32.0;
/// A peak counts one tenth when it is this far below the strongest, in decibels, and so on.
const SERIES_RANGE_DB: f64 = 30.0;
/// Partials of one candidate that are looked at.
const SERIES_PARTIALS: usize = 12;
/// How far the laying of a series may move a candidate, in cents.
const LAY_CENTS: f64 = 40.0;
/// Steps of laying in cents: first for all candidates, then for the best few.
const COARSE_CENTS: f64 = 10.0;
const FINE_CENTS: f64 = 3.0;
const FINE_CANDIDATES: usize = 5;
/// A fit this far from where its series lies, in cents, has been led astray.
const FIT_CENTS: f64 = 60.0;
/// A mode of the body may lie this far from a string's fundamental, in cents, ...
const BODY_FROM_CENTS: f64 = 30.0;
const BODY_WITHIN_CENTS: f64 = 250.0;
/// ... is hardly more periodic, by the normalised difference, ...
const BODY_DIP: f64 = 0.05;
/// ... and shows less than one in this many of the string's upper partials.
const BODY_UPPER: f64 = 1.3;
/// What has no upper partial at all is a mode also beside a series of so many, ...
const BARE_AGAINST: usize = 4;
/// ... this far from it, in cents, ...
const BARE_WITHIN_CENTS: f64 = 480.0;
/// ... and when it is clearly more periodic.
const BARE_DIP: f64 = 0.3;
/// Where a fundamental was moved, it is looked for beside the body's mode: below this frequency, ...
const MODES_BELOW_HZ: f64 = 250.0;
/// ... within so many cents of where the partials put it, ...
const COUPLED_CENTS: f64 = 60.0;
/// ... dying away no faster than a string, in decibels per second (common practice, from memory), ...
const STRING_DB_PER_S: f64 = 60.0;
/// ... and at least so many away from the other mode.
const MODES_APART_CENTS: f64 = 30.0;
/// A peak lies on a partial when it is within so much of a resolution cell.
const UPPER_CELL: f64 = 0.4;
/// ... and this far above what lies around it.
const UPPER_CLEAR_DB: f64 = 7.0;
const UPPER_RANGE_DB: f64 = 40.0;
/// A series whose power lies in its even partials (or every third) but for this share is taken
/// for the octave (or twelfth) below what sounds, in decibels.
const PARITY_DB: f64 = -12.0;
/// What such a series loses per 10 dB beyond.
const PARITY_LOSS: f64 = 0.5;
/// What rang before is only set aside when so much of the amplitude remains.
const OWN_SHARE: f64 = 0.6;
/// What a difference of 1 in the score is worth in nats: on recorded strings the right reading is
/// a quarter below the best one about as often as not when it is below at all.
const NATS_PER_SCORE: f64 = 3.5;
/// How finely a partial is placed within a cell of resolution (the bandwidth 1/T), as a share.
const CELL_SHARE: f64 = 0.06;
/// How well a series is placed by laying it over the spectrum as a whole, in cents.
const LAID_CENTS: f64 = 7.0;
/// Uncertainty of a pitch without any period, in cents.
const BLUR_CENTS: f64 = 25.0;
/// Span of the fine pitch after the onset, in seconds, for a note long enough.
const FINE_FROM_S: f64 = 0.080;
const FINE_TO_S: f64 = 0.480;

/// A settled pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pitch {
    /// Fundamental f1 in hertz.
    pub hz: f64,
    /// One standard deviation in cents.
    pub uncertainty_cents: f64,
    /// 1 less the normalised difference at the period: 1 for perfectly periodic.
    pub clarity: f64,
    /// Inharmonicity used or found.
    pub inharmonicity: f64,
    /// The runners-up in hertz, best first, and by how many nats each is worse.
    pub rivals: [Option<(f64, f64)>; RIVALS],
    /// How well the series explains the sound, about 0 (nothing) to 1.5.
    pub score: f64,
}

#[derive(Clone, Copy, Debug)]
struct Candidate {
    hz: f64,
    /// Stiffness with which the series lies best.
    b: f64,
    dip: f64,
    score: f64,
}

/// Measures pitches; keeps its transforms and work space.
#[derive(Clone)]
pub struct PitchMeter {
    rate_hz: f64,
    lowest_hz: f64,
    highest_hz: f64,
    taps: Vec<f32>,
    top_db: f64,
    smooth: Vec<f32>,
    spectrum: Spectrum,
    past: Spectrum,
    modes: TwoModes,
    peeler: Peeler,
    rest: Vec<Complex<f32>>,
    d: Vec<f32>,
    peaks: Vec<Peak>,
    weights: Vec<f64>,
    lessened: Vec<f64>,
    /// Frequencies that may be candidates, and the peaks by their weight.
    found: Vec<f64>,
    strongest: Vec<usize>,
    candidates: Vec<Candidate>,
}

impl PitchMeter {
    /// A meter for a stream of `rate_hz`, for pitches between `lowest_hz` and `highest_hz`.
    pub fn new(rate_hz: f64, lowest_hz: f64, highest_hz: f64) -> Self {
        let pass = (PERIOD_BELOW_HZ.max(1.5 * highest_hz) / rate_hz).min(0.35);
        Self {
            rate_hz,
            lowest_hz,
            highest_hz,
            taps: low_pass_taps(pass, (pass * 1.6).min(0.49)),
            top_db: 0.0,
            smooth: Vec::new(),
            spectrum: Spectrum::new(),
            past: Spectrum::new(),
            modes: TwoModes::default(),
            peeler: Peeler::new(),
            rest: Vec::new(),
            d: Vec::new(),
            peaks: Vec::new(),
            weights: Vec::new(),
            lessened: Vec::new(),
            found: Vec::new(),
            strongest: Vec::new(),
            candidates: Vec::new(),
        }
    }

    /// The pitch of what sounds from `onset` to `end` (samples of `stream`).
    ///
    /// Output: `None` when less than about one and a half periods can be heard, or nothing
    /// periodic.
    pub fn measure(&mut self, stream: &History, onset: f64, end: f64) -> Option<Pitch> {
        let length_s = (end - onset) / self.rate_hz;
        let skip = if length_s < 0.15 { 0.010 } else { 0.020 };
        if !self.period(stream, onset + skip * self.rate_hz, end) {
            return None;
        }
        self.series(stream, onset, skip, length_s);
        self.gather();
        self.lay_candidates(0..self.candidates.len(), LAY_CENTS, COARSE_CENTS, length_s);
        self.candidates.sort_by(|a, b| b.score.total_cmp(&a.score));
        let few = self.candidates.len().min(FINE_CANDIDATES);
        self.lay_candidates(0..few, 1.5 * COARSE_CENTS, FINE_CENTS, length_s);
        let best = self
            .candidates
            .iter()
            .copied()
            .max_by(|a, b| a.score.total_cmp(&b.score))?;
        let best = self.beside_the_body(best);
        let rivals = self.rivals(best);
        let clarity = (1.0 - best.dip).clamp(0.0, 1.0);

        let (fine_from, fine_to) = fine_span(length_s);
        let a = (onset + fine_from * self.rate_hz).round() as i64;
        let to = ((onset + fine_to * self.rate_hz).round().min(end) as i64).min(stream.end());
        self.spectrum.analyse(stream.range(a, to), self.rate_hz);
        let top = self
            .spectrum
            .peak_between(SERIES_FROM_HZ, SERIES_TO_HZ)
            .map_or(0.0, |p| p.db);
        let (hz, _) = self.spectrum.lay(best.hz, LAY_CENTS, COARSE_CENTS, top);
        let (hz, b) = self.spectrum.lay(hz, 1.5 * COARSE_CENTS, FINE_CENTS, top);
        let string = fit_stiff_string(&self.spectrum, hz, b)
            .filter(|s| cents(s.f1_hz, hz).abs() < FIT_CENTS);
        let between = string
            .filter(|s| !s.fundamental)
            .and_then(|s| self.beside_a_mode(s, stream.range(a, to)));
        let StiffString {
            f1_hz,
            inharmonicity,
            uncertainty_cents,
            partials,
            ..
        } = between.or(string).unwrap_or(StiffString {
            f1_hz: hz,
            inharmonicity: b,
            uncertainty_cents: 20.0,
            partials: 0,
            fundamental: true,
        });
        // A series that does not fit well is placed better by laying it as a whole.
        let blur = uncertainty_cents.hypot(few_cents(partials)) / LAID_CENTS;
        let of_fit = match between {
            Some(_) => 1.0,
            None => 1.0 / (1.0 + blur * blur),
        };
        let cell_cents = CENTS_PER_SHARE / (hz * self.spectrum.length_s).max(1.0);
        // Few partials, short stretches and blurred periods each say less than the residuals do.
        let few = few_cents(partials);
        let short = CELL_SHARE * cell_cents / (partials.max(1) as f64).sqrt();
        let blurred = BLUR_CENTS * (1.0 - clarity);
        let uncertainty_cents = uncertainty_cents.hypot(few).hypot(short).hypot(blurred);
        Some(Pitch {
            hz: hz * (f1_hz / hz).powf(of_fit),
            uncertainty_cents,
            clarity,
            inharmonicity,
            rivals,
            score: best.score,
        })
    }

    /// The string `s`, whose fundamental was moved, with the moved one taken in where it can be told
    /// from the body's mode: what of the string couples with the body lies to one side of where the
    /// partials put it, and what does not couple lies there; the pitch is between them.
    fn beside_a_mode(&mut self, s: StiffString, x: &[f32]) -> Option<StiffString> {
        if s.f1_hz > MODES_BELOW_HZ {
            return None;
        }
        let [slow, fast] = self.modes.find(x, self.rate_hz, s.f1_hz)?;
        let off = cents(slow.hz, s.f1_hz);
        let apart = cents(slow.hz, fast.hz).abs();
        if slow.loses_db_per_s > STRING_DB_PER_S
            || off.abs() > COUPLED_CENTS
            || !(MODES_APART_CENTS..BODY_WITHIN_CENTS).contains(&apart)
        {
            return None;
        }
        Some(StiffString {
            f1_hz: (s.f1_hz * slow.hz).sqrt(),
            uncertainty_cents: s.uncertainty_cents.hypot(0.5 * off),
            ..s
        })
    }

    /// Lays the series of some candidates over the spectrum and scores them.
    fn lay_candidates(&mut self, which: Range<usize>, reach: f64, step: f64, length_s: f64) {
        for i in which {
            let (hz, b) = self
                .spectrum
                .lay(self.candidates[i].hz, reach, step, self.top_db);
            self.candidates[i].hz = hz;
            self.candidates[i].b = b;
            self.candidates[i].score = self.score(self.candidates[i], length_s);
        }
    }

    /// The period between two places alone, without the partials: frequency in hertz and clarity.
    ///
    /// Output: `None` when less than one and a half periods lie between them.
    pub fn period_between(&mut self, stream: &History, from: f64, to: f64) -> Option<(f64, f64)> {
        if to - from < 1.5 * self.rate_hz / self.highest_hz || !self.period(stream, from, to) {
            return None;
        }
        let min_lag = ((self.rate_hz / self.highest_hz) as usize).max(2);
        let deepest = self.d[min_lag..]
            .iter()
            .copied()
            .fold(f32::INFINITY, f32::min);
        let lag = yin::pick(&self.d, min_lag, deepest + SHORT_LAG_WITHIN)?;
        let (period, depth) = yin::interpolate(&self.d, lag);
        Some((self.rate_hz / period, (1.0 - depth).clamp(0.0, 1.0)))
    }

    /// The neighbour of `best` whose upper partials show where `best` has next to none: then what
    /// was found is a mode of the body beside the string's fundamental, and the neighbour the
    /// string. A body moves or outshines a fundamental, never a whole series.
    fn beside_the_body(&self, best: Candidate) -> Candidate {
        let (own, own_count) = self.upper(best);
        self.candidates
            .iter()
            .filter(|c| {
                let apart = cents(c.hz, best.hz).abs();
                let near = apart < BODY_WITHIN_CENTS && c.dip < best.dip + BODY_DIP;
                let far = apart < BARE_WITHIN_CENTS && c.dip < best.dip + BARE_DIP;
                if apart < BODY_FROM_CENTS || !far {
                    return false;
                }
                let (upper, count) = self.upper(**c);
                let bare = own_count == 0 && count >= BARE_AGAINST;
                count > own_count && upper > BODY_UPPER * own && (near || bare)
            })
            .max_by(|a, b| a.score.total_cmp(&b.score))
            .copied()
            .unwrap_or(best)
    }

    /// Weight and number of the peaks that lie on the upper partials of `c`.
    fn upper(&self, c: Candidate) -> (f64, usize) {
        let reach = UPPER_CELL / self.spectrum.length_s;
        let (mut weight, mut count) = (0.0, 0);
        for k in 2..=SERIES_PARTIALS / 2 {
            let at = partial(c.hz, c.b, k);
            let Some(p) = self.spectrum.peak_between(at - reach, at + reach) else {
                continue;
            };
            let clear = self.spectrum.mean_db(at - 5.0 * reach, at + 5.0 * reach) + UPPER_CLEAR_DB;
            if p.db > (self.top_db - UPPER_RANGE_DB).max(clear) {
                weight += 10.0f64.powf((p.db - self.top_db) / PEAK_POWER_DB);
                count += 1;
            }
        }
        (weight, count)
    }

    /// The runners-up to `best`, each a quarter tone and more away from it and from the others.
    fn rivals(&mut self, best: Candidate) -> [Option<(f64, f64)>; RIVALS] {
        self.candidates.sort_by(|a, b| b.score.total_cmp(&a.score));
        let mut found = [None; RIVALS];
        let mut count = 0;
        for c in &self.candidates {
            let apart = |hz: f64| cents(c.hz, hz).abs() > 50.0;
            let new = apart(best.hz)
                && found
                    .iter()
                    .flatten()
                    .all(|(hz, _): &(f64, f64)| apart(*hz));
            if new && count < RIVALS {
                found[count] = Some((c.hz, NATS_PER_SCORE * (best.score - c.score)));
                count += 1;
            }
        }
        found
    }

    /// Normalised difference of the low-passed stretch; false when it is too short.
    fn period(&mut self, stream: &History, from: f64, end: f64) -> bool {
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
    fn series(&mut self, stream: &History, onset: f64, skip: f64, length_s: f64) {
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
            self.past.analyse_below(before, r, 1.1 * SERIES_TO_HZ);
            let width = 0.6 / self.spectrum.length_s + 0.3 / self.past.length_s;
            let (mut kept, mut total) = (0.0, 0.0);
            self.lessened.clone_from(&self.weights);
            for (p, w) in self.peaks.iter().zip(&mut self.lessened) {
                let amplitude = 10.0f64.powf((p.db - top) / 20.0);
                let old = self.past.peak_between(p.hz - width, p.hz + width);
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

    fn gather(&mut self) {
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

    /// How well the series of `c` explains the sound: what share of the peaks it accounts for
    /// beyond chance, less what it promises and does not show, plus its periodicity.
    fn score(&self, c: Candidate, length_s: f64) -> f64 {
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
            for t in [k - 1.0, k + 1.0] {
                if t >= 1.0 && (partial(t) - p.hz).abs() < (partial(k) - p.hz).abs() {
                    k = t;
                }
            }
            let reach = resolution.min(0.3 * f1) + 0.006 * p.hz;
            if p.hz > 0.5 * f1 {
                chance += w * (2.0 * reach / f1).min(1.0);
            }
            if (partial(k) - p.hz).abs() < reach {
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
        let power = |k: usize| seen[k].powf(PEAK_POWER_DB / 10.0);
        let all: f64 = (1..=last).map(power).sum::<f64>() + 1e-12;
        let odd: f64 = (1..=last).filter(|k| k % 2 == 1).map(power).sum::<f64>() + 1e-12;
        let off_third: f64 = (1..=last).filter(|k| k % 3 != 0).map(power).sum::<f64>() + 1e-12;
        let lack = |part: f64| (PARITY_DB - 10.0 * (part / all).log10()).max(0.0) / 10.0;
        let parity = PARITY_LOSS * lack(odd).max(lack(off_third)).min(2.0);
        let trust = (length_s * f1 / 8.0).min(1.0);
        trust * (beyond - 0.7 * missing - parity) + 0.8 * (1.0 - c.dip)
    }
}

/// What a fit to so few partials leaves open, in cents.
fn few_cents(partials: usize) -> f64 {
    match partials {
        0 | 1 => 20.0,
        2 => 8.0,
        _ => 0.0,
    }
}

fn fine_span(length_s: f64) -> (f64, f64) {
    let from = if length_s > 0.22 {
        FINE_FROM_S
    } else if length_s > 0.15 {
        0.040
    } else {
        0.015
    };
    (from, FINE_TO_S.min(length_s))
}
