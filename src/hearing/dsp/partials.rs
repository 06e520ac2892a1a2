//! Partials of a stiff string: where they lie, and the fundamental and stiffness they tell.
//!
//! # Source
//! The string: H. Fletcher (1964), *Normal vibration frequencies of a stiff piano string*, J.
//! Acoust. Soc. Am. 36, 203-209. Laying a series over a spectrum: D. J. Hermes (1988),
//! *Measurement of pitch by subharmonic summation*, J. Acoust. Soc. Am. 83, 257-264. The parabola
//! through a peak: J. O. Smith and X. Serra (1987), *PARSHL*, ICMC. Departures stand where each is
//! used.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

/// One spectral peak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Frequency in hertz.
    pub hz: f64,
    /// Power of a sinusoid there, in decibels (0 dB for amplitude 1).
    pub db: f64,
}

/// The stiff string fitted to a set of partials.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StiffString {
    /// Frequency of the first partial, f1 = f0 sqrt(1 + B), in hertz.
    pub f1_hz: f64,
    /// Inharmonicity coefficient B.
    pub inharmonicity: f64,
    /// One standard deviation of `f1_hz`, in cents, from the residuals.
    pub uncertainty_cents: f64,
    /// How many partials were used.
    pub partials: usize,
}

/// Spectrum of a stretch of sound, ready to be asked for peaks.
///
/// Memory: allocates per size on first use, then reuses its plans.
pub struct Spectrum {
    planner: RealFftPlanner<f32>,
    plans: Vec<(usize, Arc<dyn RealToComplex<f32>>)>,
    frame: Vec<f32>,
    bins: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    /// Power per bin in decibels of a full-scale sinusoid.
    pub db: Vec<f32>,
    /// Width of a bin in hertz.
    pub bin_hz: f64,
    /// Length of the analysed stretch in seconds.
    pub length_s: f64,
}

impl Default for Spectrum {
    fn default() -> Self {
        Self::new()
    }
}

impl Spectrum {
    /// Nothing analysed yet.
    pub fn new() -> Self {
        Self {
            planner: RealFftPlanner::new(),
            plans: Vec::new(),
            frame: Vec::new(),
            bins: Vec::new(),
            scratch: Vec::new(),
            db: Vec::new(),
            bin_hz: 1.0,
            length_s: 0.0,
        }
    }

    /// Analyses `x` under one Hann window, zero-padded to at least twice its length.
    pub fn analyse(&mut self, x: &[f32], rate_hz: f64) {
        let size = (2 * x.len()).next_power_of_two().max(1024);
        let plan = match self.plans.iter().find(|(n, _)| *n == size) {
            Some((_, p)) => Arc::clone(p),
            None => {
                let p = self.planner.plan_fft_forward(size);
                self.plans.push((size, Arc::clone(&p)));
                p
            }
        };
        self.frame.clear();
        let n = x.len().max(1) as f64;
        let step = 2.0 * std::f64::consts::PI / n;
        // The window by rotation, one complex product a sample instead of one cosine.
        let (turn_re, turn_im) = (step.cos(), step.sin());
        let (mut re, mut im) = ((0.5 * step).cos(), (0.5 * step).sin());
        self.frame.extend(x.iter().map(|s| {
            let w = (0.5 - 0.5 * re) * 4.0 / n;
            (re, im) = (re * turn_re - im * turn_im, re * turn_im + im * turn_re);
            s * w as f32
        }));
        self.frame.resize(size, 0.0);
        self.bins.resize(size / 2 + 1, Complex::default());
        self.scratch
            .resize(plan.get_scratch_len(), Complex::default());
        // The lengths were just made to fit the plan, so the transform cannot refuse them.
        let done = plan.process_with_scratch(&mut self.frame, &mut self.bins, &mut self.scratch);
        debug_assert!(done.is_ok());
        self.db.clear();
        self.db.extend(
            self.bins
                .iter()
                .map(|c| super::decimate::decibels(c.norm_sqr() + 1e-16)),
        );
        self.bin_hz = rate_hz / size as f64;
        self.length_s = n / rate_hz;
    }

    /// Amplitude of bin `k`, for spectra of one length to be held against each other.
    pub fn amplitude(&self, k: usize) -> f32 {
        self.bins.get(k).map_or(0.0, |c| c.norm_sqr().sqrt())
    }

    /// The peak whose bin is a local maximum, refined by a parabola through log magnitudes.
    ///
    /// # Source
    /// J. O. Smith and X. Serra (1987), *PARSHL*, ICMC: quadratic interpolation in decibels.
    fn refine(&self, k: usize) -> Peak {
        let (a, b, c) = (
            f64::from(self.db[k - 1]),
            f64::from(self.db[k]),
            f64::from(self.db[k + 1]),
        );
        let curve = a - 2.0 * b + c;
        let shift = if curve < 0.0 {
            (0.5 * (a - c) / curve).clamp(-0.5, 0.5)
        } else {
            0.0
        };
        Peak {
            hz: (k as f64 + shift) * self.bin_hz,
            db: b - 0.25 * (a - c) * shift,
        }
    }

    /// The highest local maximum between `lo` and `hi` hertz.
    pub fn peak_between(&self, lo: f64, hi: f64) -> Option<Peak> {
        let from = ((lo / self.bin_hz).ceil() as usize).max(1);
        let to = ((hi / self.bin_hz).floor() as usize).min(self.db.len().saturating_sub(2));
        (from..=to.max(from))
            .filter(|k| *k < self.db.len() - 1)
            .filter(|k| self.db[*k] >= self.db[*k - 1] && self.db[*k] > self.db[*k + 1])
            .max_by(|a, b| self.db[*a].total_cmp(&self.db[*b]))
            .map(|k| self.refine(k))
    }

    /// All local maxima between `lo` and `hi` hertz that are above `floor_db`, in order of
    /// frequency.
    pub fn peaks(&self, lo: f64, hi: f64, floor_db: f64, out: &mut Vec<Peak>) {
        out.clear();
        let from = ((lo / self.bin_hz).ceil() as usize).max(1);
        let to = ((hi / self.bin_hz).floor() as usize).min(self.db.len().saturating_sub(2));
        for k in from..=to {
            let v = self.db[k];
            if f64::from(v) > floor_db && v >= self.db[k - 1] && v > self.db[k + 1] {
                out.push(self.refine(k));
            }
        }
    }
}

/// Stiffnesses tried when a series is laid over a spectrum.
const TRIED_B: [f64; 4] = [0.0, 1e-4, 2.5e-4, 6e-4];
/// What a cent of distance costs a series, so that between equals the nearer one wins.
const NEARER_DB_PER_CENT: f64 = 0.005;
/// Partials that are laid over a spectrum.
const LAID_PARTIALS: usize = 10;
/// What lies this far below the strongest peak adds nothing.
const LAID_RANGE_DB: f64 = 40.0;

impl Spectrum {
    /// Height of the spectrum at `hz` above `floor_db`, 0 or more, in decibels.
    fn height(&self, hz: f64, floor_db: f64) -> f64 {
        let at = hz / self.bin_hz;
        let k = at as usize;
        match self.db.get(k..k + 2) {
            Some([a, b]) => {
                let share = at - k as f64;
                let v = f64::from(*a) * (1.0 - share) + f64::from(*b) * share;
                (v - floor_db).max(0.0)
            }
            _ => 0.0,
        }
    }

    /// Lays the series of a stiff string over the spectrum so that as many partials as can be
    /// meet a ridge, within `reach_cents` of `f_hz`: the fundamental and the stiffness that meet
    /// most. Heights are added in decibels, so that ten weak partials that agree outweigh one
    /// strong mode of the body that does not belong.
    ///
    /// # Source
    /// Harmonic sum of a log spectrum: D. J. Hermes (1988), *Measurement of pitch by subharmonic
    /// summation*, J. Acoust. Soc. Am. 83, 257-264; here with the stiff string's partials.
    pub fn lay(&self, f_hz: f64, reach_cents: f64, step_cents: f64, top_db: f64) -> (f64, f64) {
        let floor_db = top_db - LAID_RANGE_DB;
        let steps = (reach_cents / step_cents).round() as i32;
        let mut best = (f64::NEG_INFINITY, f_hz, 1e-4);
        for b in TRIED_B {
            let mut bend = [0.0f64; LAID_PARTIALS];
            for (k, v) in bend.iter_mut().enumerate() {
                let kf = (k + 1) as f64;
                *v = kf * ((1.0 + b * kf * kf) / (1.0 + b)).sqrt();
            }
            for step in -steps..=steps {
                let f1 = f_hz * (f64::from(step) * step_cents / 1200.0).exp2();
                let mut sum = 0.0;
                for (k, v) in bend.iter().enumerate() {
                    sum += self.height(v * f1, floor_db) / (1.1 + 0.1 * k as f64);
                }
                // Between equals the nearer fundamental.
                sum -= NEARER_DB_PER_CENT * step_cents * f64::from(step).abs();
                if sum > best.0 {
                    best = (sum, f1, b);
                }
            }
        }
        (best.1, best.2)
    }
}

/// Highest partial number used.
pub const PARTIALS: usize = 6;
/// A partial this far below the strongest is not used.
const WEAKEST_DB: f64 = -34.0;
/// Stiffest string considered: a low B at the 21st fret has 3.4e-3 (Kemp 2020).
const HIGHEST_B: f64 = 5e-3;

/// Fits f_k = k f0 sqrt(1 + B k^2) to the spectrum's peaks near the multiples of `f_hz`.
///
/// Output: `None` when no partial stands out.
///
/// # Source
/// The stiff string: H. Fletcher (1964), *Normal vibration frequencies of a stiff piano string*,
/// J. Acoust. Soc. Am. 36, 203-209. Least squares on (f_k / k)^2 = f0^2 + f0^2 B k^2, weighted by
/// the square root of the amplitude, which measured strings fit best; a peak that lies off the
/// fit of the others is left out.
pub fn fit_stiff_string(spectrum: &Spectrum, f_hz: f64, prior_b: f64) -> Option<StiffString> {
    let mut found: Vec<(f64, Peak)> = Vec::with_capacity(PARTIALS);
    let reach = (0.6 / spectrum.length_s).clamp(0.015 * f_hz, 0.15 * f_hz);
    let top_hz = spectrum.bin_hz * (spectrum.db.len() as f64 - 2.0);
    for k in 1..=PARTIALS {
        let kf = k as f64;
        let at = kf * f_hz * ((1.0 + prior_b * kf * kf) / (1.0 + prior_b)).sqrt();
        if at + reach > top_hz {
            break;
        }
        if let Some(p) = spectrum.peak_between(at - reach, at + reach) {
            found.push((kf, p));
        }
    }
    let top = found
        .iter()
        .map(|(_, p)| p.db)
        .fold(f64::NEG_INFINITY, f64::max);
    found.retain(|(_, p)| p.db > top + WEAKEST_DB);
    loop {
        if found.is_empty() {
            return None;
        }
        let (f0sq, bf) = solve(&found, spectrum.length_s, f_hz, prior_b)?;
        let residual =
            |k: f64, p: &Peak| 1731.2 * (p.hz / k / (f0sq + bf * k * k).max(1e-9).sqrt()).ln();
        let spread = {
            let sum: f64 = found.iter().map(|(k, p)| residual(*k, p).powi(2)).sum();
            (sum / (found.len() as f64 - 1.0).max(1.0)).sqrt()
        };
        let worst = (0..found.len()).max_by(|a, b| {
            let r = |i: usize| residual(found[i].0, &found[i].1).abs();
            r(*a).total_cmp(&r(*b))
        })?;
        let off = residual(found[worst].0, &found[worst].1).abs();
        // A quarter of a resolution cell, or a dozen cents, is what a partial may be off.
        let cell = 1731.2 * 0.25 / spectrum.length_s / found[worst].1.hz;
        if found.len() > 2 && off > cell.max(12.0) {
            found.remove(worst);
            continue;
        }
        let f1 = (f0sq + bf).max(1e-9).sqrt();
        return Some(StiffString {
            f1_hz: f1,
            inharmonicity: (bf / f0sq).clamp(0.0, HIGHEST_B),
            uncertainty_cents: spread.max(1.0) / (found.len() as f64).sqrt(),
            partials: found.len(),
        });
    }
}

/// Weighted least squares for f0^2 and f0^2 B, with B drawn towards `prior_b` the more the
/// shorter the stretch was.
fn solve(found: &[(f64, Peak)], length_s: f64, f_hz: f64, prior_b: f64) -> Option<(f64, f64)> {
    let (mut s0, mut s1, mut s2, mut t0, mut t1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let top = found
        .iter()
        .map(|(_, p)| p.db)
        .fold(f64::NEG_INFINITY, f64::max);
    for (k, p) in found {
        // amplitude^0.5 on the residual is amplitude on its square.
        let w = 10.0f64.powf((p.db - top) / 20.0);
        let (x, y) = (k * k, (p.hz / k / f_hz).powi(2));
        s0 += w;
        s1 += w * x;
        s2 += w * x * x;
        t0 += w * y;
        t1 += w * x * y;
    }
    // A ridge on B: one resolution cell of frequency error at the first partial.
    let ridge = if length_s > 0.3 { 1e-3 } else { 1e-2 };
    s2 += ridge * s0 * 25.0;
    t1 += ridge * s0 * 25.0 * prior_b;
    let det = s0 * s2 - s1 * s1;
    let (mut a, mut b) = if found.len() < 2 || det.abs() < 1e-12 {
        let b = prior_b;
        ((t0 - b * s1) / s0, b)
    } else {
        ((t0 * s2 - t1 * s1) / det, (s0 * t1 - s1 * t0) / det)
    };
    if a <= 0.0 || !a.is_finite() {
        return None;
    }
    let held = b.clamp(0.0, HIGHEST_B * a);
    if held != b {
        b = held;
        a = (t0 - b * s1) / s0;
    }
    Some((a * f_hz * f_hz, b * f_hz * f_hz))
}
