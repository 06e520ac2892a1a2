//! *Which* note: the period by YIN, the octave by the partials, the fine pitch by a stiff string.

use super::dsp::history::History;
use super::dsp::partials::{Peak, Spectrum, StiffString, fit_stiff_string};
use super::dsp::yin;

/// How much deeper a longer lag must be to win over a shorter one.
const SMALLER_LAG_WITHIN: f32 = 0.08;
/// Longest stretch the period is measured on, in seconds.
const PERIOD_SPAN_S: f64 = 0.120;
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
    /// Odd partials against even ones, in decibels.
    pub odd_even_db: f64,
}

/// Measures pitches; keeps its transforms and work space.
pub struct PitchMeter {
    rate_hz: f64,
    lowest_hz: f64,
    highest_hz: f64,
    spectrum: Spectrum,
    d: Vec<f32>,
    peaks: Vec<Peak>,
}

impl PitchMeter {
    /// A meter for a stream of `rate_hz`, for pitches between `lowest_hz` and `highest_hz`.
    pub fn new(rate_hz: f64, lowest_hz: f64, highest_hz: f64) -> Self {
        Self {
            rate_hz,
            lowest_hz,
            highest_hz,
            spectrum: Spectrum::new(),
            d: Vec::new(),
            peaks: Vec::new(),
        }
    }

    /// The pitch of what sounds from `onset` to `end` (samples of `stream`).
    ///
    /// Output: `None` when less than about one and a half periods can be heard, or nothing
    /// periodic.
    pub fn measure(&mut self, stream: &History, onset: f64, end: f64) -> Option<Pitch> {
        let length_s = (end - onset) / self.rate_hz;
        let skip = if length_s < 0.15 { 0.010 } else { 0.020 };
        let from = (onset + skip * self.rate_hz).round() as i64;
        let to = (end.min(onset + (skip + PERIOD_SPAN_S) * self.rate_hz)).round() as i64;
        let x = stream.range(from, to.min(stream.end()));
        let max_lag = ((self.rate_hz / self.lowest_hz) as usize + 2).min(x.len() * 2 / 3);
        let min_lag = ((self.rate_hz / self.highest_hz) as usize).max(2);
        if max_lag <= min_lag + 2 {
            return None;
        }
        yin::difference(x, x.len() - max_lag, max_lag, &mut self.d);
        yin::normalise(&mut self.d);
        let deepest = self.d[min_lag..].iter().copied().fold(f32::INFINITY, f32::min);
        let lag = yin::pick(&self.d, min_lag, deepest + SMALLER_LAG_WITHIN)?;
        let (period, depth) = yin::interpolate(&self.d, lag);
        let mut hz = self.rate_hz / period;
        let clarity = (1.0 - depth).clamp(0.0, 1.0);

        let (fine_from, fine_to) = fine_span(length_s);
        let a = (onset + fine_from * self.rate_hz).round() as i64;
        let b = (onset + fine_to * self.rate_hz).round().min(end) as i64;
        self.spectrum.analyse(stream.range(a, b.min(stream.end())), self.rate_hz);
        let odd_even_db = self.odd_even(hz);
        if odd_even_db < -18.0 {
            hz *= 2.0;
        }
        let fitted = fit_stiff_string(&self.spectrum, hz, 1e-4);
        let string = fitted.filter(|s| (1731.2 * (s.f1_hz / hz).ln()).abs() < 40.0);
        let StiffString { f1_hz, inharmonicity, uncertainty_cents, .. } =
            string.unwrap_or(StiffString {
                f1_hz: hz,
                inharmonicity: 0.0,
                uncertainty_cents: 15.0,
                partials: 0,
            });
        Some(Pitch { hz: f1_hz, uncertainty_cents, clarity, inharmonicity, odd_even_db })
    }

    /// Energy of the odd partials (1, 3, 5) against the even ones (2, 4, 6), in decibels.
    fn odd_even(&mut self, hz: f64) -> f64 {
        let (mut odd, mut even) = (1e-12, 1e-12);
        let reach = (1.0 / self.spectrum.length_s).clamp(0.04 * hz, 0.2 * hz);
        for k in 1..=6u32 {
            let at = f64::from(k) * hz;
            if let Some(p) = self.spectrum.peak_between(at - reach, at + reach) {
                let e = 10.0f64.powf(p.db / 10.0);
                if k % 2 == 1 { odd += e } else { even += e }
            }
        }
        10.0 * (odd / even).log10()
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
