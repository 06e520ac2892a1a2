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
mod body;
mod candidates;
mod score;

use std::ops::Range;

use rustfft::num_complex::Complex;

use super::dsp::history::History;
use super::dsp::low_pass::low_pass_taps;
use super::dsp::peel::Peeler;
use super::dsp::spectrum::{LaySteps, Peak, Spectrum};
use super::dsp::stiff_string::{CENTS_PER_SHARE, StiffString, fit_stiff_string};
use super::dsp::two_modes::TwoModes;
use super::dsp::yin;
use super::events::RIVALS;
use crate::units::cents;
pub use added::Added;

/// The period is looked for below this frequency: stiffness spoils the period of a bright tone.
const PERIOD_BELOW_HZ: f64 = 800.0;
/// By the period alone the shortest lag this close to the deepest wins.
const SHORT_LAG_WITHIN: f32 = 0.08;
/// Partials are looked at from here on, in hertz.
const SERIES_FROM_HZ: f64 = 25.0;
/// Partials are looked at up to here, in hertz. Chosen on recorded strings; raised, bright sounds
/// bring more partials, which lie off where the stiffness is not known.
const SERIES_TO_HZ: f64 = 1_400.0;
/// A peak counts one tenth when it is this far below the strongest, in decibels, and one hundredth
/// at twice that. Chosen on recorded strings; raised, soft partials count more.
const PEAK_POWER_DB: f64 = 32.0;
/// Partials of one candidate that are looked at.
const SERIES_PARTIALS: usize = 12;
/// How far the laying of a series may move a candidate, in cents.
const LAY_CENTS: f64 = 40.0;
/// Step in which the series of every candidate is laid, in cents. Chosen on recorded strings;
/// raised, it costs less, and narrow series are missed.
const COARSE_CENTS: f64 = 10.0;
/// Step in which the series of the best few is laid then, in cents. Chosen on recorded strings;
/// raised, it costs less.
const FINE_CENTS: f64 = 3.0;
/// How many candidates are laid finely. Chosen on recorded strings; raised, it costs more.
const FINE_CANDIDATES: usize = 5;
/// A fit this far from where its series lies, in cents, has been led astray.
const FIT_CENTS: f64 = 60.0;
/// What a difference of 1 in the score is worth in nats: on recorded strings the right reading is
/// a quarter below the best one about as often as not when it is below at all.
const NATS_PER_SCORE: f64 = 3.5;
/// How finely a partial is placed within a cell of resolution (the bandwidth 1/T), as a share.
const CELL_SHARE: f64 = 0.06;
/// How well a series is placed by laying it over the spectrum as a whole, in cents.
const LAID_CENTS: f64 = 7.0;
/// Uncertainty of a pitch without any period, in cents.
const BLUR_CENTS: f64 = 25.0;
/// The fine pitch of a note that is long enough is taken from this long after its onset, in
/// seconds. Chosen on recorded strings.
const FINE_FROM_S: f64 = 0.080;
/// It is taken up to this long after its onset, in seconds. Chosen on recorded strings; raised,
/// slow bends are averaged.
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
    /// What rang before the onset that was looked at last, and its spectrum.
    heard_before: Vec<f32>,
    before: Spectrum,
    coarse: LaySteps,
    fine: LaySteps,
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
            heard_before: Vec::new(),
            before: Spectrum::new(),
            coarse: LaySteps::new(LAY_CENTS, COARSE_CENTS),
            fine: LaySteps::new(1.5 * COARSE_CENTS, FINE_CENTS),
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
        self.lay_candidates(0..self.candidates.len(), false, length_s);
        self.candidates.sort_by(|a, b| b.score.total_cmp(&a.score));
        let few = self.candidates.len().min(FINE_CANDIDATES);
        self.lay_candidates(0..few, true, length_s);
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
        let (hz, _) = self.spectrum.lay(best.hz, &self.coarse, top);
        let (hz, b) = self.spectrum.lay(hz, &self.fine, top);
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

    /// Lays the series of some candidates over the spectrum, coarsely or finely, and scores them.
    fn lay_candidates(&mut self, which: Range<usize>, finely: bool, length_s: f64) {
        for i in which {
            let steps = if finely { &self.fine } else { &self.coarse };
            let (hz, b) = self.spectrum.lay(self.candidates[i].hz, steps, self.top_db);
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
}

/// How far off the pitch of a fit to two partials or fewer may be besides its residuals, in cents.
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
