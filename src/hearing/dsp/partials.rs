//! Partials of a stiff string: where they lie, and the fundamental and stiffness they tell.
//!
//! # Source
//! The string: H. Fletcher (1964), *Normal vibration frequencies of a stiff piano string*, J.
//! Acoust. Soc. Am. 36, 203-209. Laying a series over a spectrum: D. J. Hermes (1988),
//! *Measurement of pitch by subharmonic summation*, J. Acoust. Soc. Am. 83, 257-264. The parabola
//! through a peak: J. O. Smith and X. Serra (1987), *PARSHL*, ICMC. Departures stand where each is
//! used.

use arrayvec::ArrayVec;

use rustfft::num_complex::Complex;

use super::transform::RealTransform;
use crate::units::cents;

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
#[derive(Clone)]
pub struct Spectrum {
    /// One for each length that was asked for.
    transforms: Vec<RealTransform>,
    bins: Vec<Complex<f32>>,
    /// The Hann window of the last stretch, kept for the next one of the same length.
    window: Vec<f32>,
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
            transforms: Vec::new(),
            bins: Vec::new(),
            window: Vec::new(),
            db: Vec::new(),
            bin_hz: 1.0,
            length_s: 0.0,
        }
    }

    /// Analyses `x` under one Hann window, zero-padded to at least twice its length.
    pub fn analyse(&mut self, x: &[f32], rate_hz: f64) {
        self.analyse_below(x, rate_hz, f64::INFINITY);
    }

    /// The same, with decibels only for the bins below `top_hz`.
    pub fn analyse_below(&mut self, x: &[f32], rate_hz: f64, top_hz: f64) {
        let size = (2 * x.len()).next_power_of_two().max(1024);
        let known = self.transforms.iter().position(|t| t.length() == size);
        let known = known.unwrap_or_else(|| {
            self.transforms.push(RealTransform::new(size));
            self.transforms.len() - 1
        });
        if self.window.len() != x.len() {
            hann(x.len(), &mut self.window);
        }
        self.transforms[known].spectrum(x, &self.window, &mut self.bins);
        self.bin_hz = rate_hz / size as f64;
        self.length_s = x.len().max(1) as f64 / rate_hz;
        let wanted = ((top_hz / self.bin_hz).ceil() as usize).min(self.bins.len());
        self.db.clear();
        self.db.extend(
            self.bins[..wanted]
                .iter()
                .map(|c| super::decimate::decibels(c.norm_sqr() + 1e-16)),
        );
    }

    /// The bins below `top_hz` with their phases counted from the middle of the stretch of `frames`
    /// samples.
    pub fn centred(&self, frames: usize, top_hz: f64, out: &mut Vec<Complex<f32>>) {
        let size = 2 * self.bins.len().saturating_sub(1);
        let turn = std::f64::consts::PI * (frames as f64 - 1.0) / size.max(1) as f64;
        let step = Complex::new(turn.cos() as f32, turn.sin() as f32);
        let mut phase = Complex::new(1.0f32, 0.0);
        out.clear();
        let wanted = ((top_hz / self.bin_hz).ceil() as usize).min(self.bins.len());
        out.extend(self.bins[..wanted].iter().map(|c| {
            let v = c * phase;
            phase *= step;
            v
        }));
    }

    /// How many bins there are.
    pub fn bins(&self) -> usize {
        self.bins.len()
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
        let mut highest = None;
        for k in from..=to.max(from).min(self.db.len().saturating_sub(2)) {
            let [before, here, after] = self.db[k - 1..=k + 1] else {
                break;
            };
            if here >= before && here > after && highest.is_none_or(|(_, top)| here >= top) {
                highest = Some((k, here));
            }
        }
        highest.map(|(k, _)| self.refine(k))
    }

    /// The highest bin between `lo` and `hi` hertz, in decibels.
    pub fn highest_db(&self, lo: f64, hi: f64) -> f64 {
        let last = self.db.len().saturating_sub(1);
        let from = ((lo / self.bin_hz).max(0.0) as usize).min(last);
        let to = ((hi / self.bin_hz) as usize + 1).min(last);
        self.db[from..=to.max(from)]
            .iter()
            .fold(f64::NEG_INFINITY, |top, v| top.max(f64::from(*v)))
    }

    /// Mean of the decibels between `lo` and `hi` hertz.
    pub fn mean_db(&self, lo: f64, hi: f64) -> f64 {
        let from = ((lo / self.bin_hz).max(0.0) as usize).min(self.db.len().saturating_sub(1));
        let to = ((hi / self.bin_hz) as usize + 1).clamp(from + 1, self.db.len().max(from + 1));
        let part = &self.db[from..to.min(self.db.len())];
        part.iter().map(|v| f64::from(*v)).sum::<f64>() / part.len().max(1) as f64
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

/// The Hann window of `frames` samples, scaled so that a sinusoid shows its amplitude.
fn hann(frames: usize, out: &mut Vec<f32>) {
    let n = frames.max(1) as f64;
    let step = 2.0 * std::f64::consts::PI / n;
    // By rotation, one complex product a sample instead of one cosine; its second half mirrors the
    // first.
    let (turn_re, turn_im) = (step.cos(), step.sin());
    let (mut re, mut im) = ((0.5 * step).cos(), (0.5 * step).sin());
    out.clear();
    out.extend((0..frames.div_ceil(2)).map(|_| {
        let w = (0.5 - 0.5 * re) * 4.0 / n;
        (re, im) = (re * turn_re - im * turn_im, re * turn_im + im * turn_re);
        w as f32
    }));
    for i in (0..frames / 2).rev() {
        out.push(out[i]);
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
    /// Height of the spectrum above `floor_db` at so many bins, 0 or more, in decibels.
    fn height(&self, at: f64, floor_db: f64) -> f64 {
        // A signed 32-bit number is wide enough and the cheapest to convert to.
        let k = at as i32 as usize;
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
        let per_hz = 1.0 / self.bin_hz;
        let weights: [f64; LAID_PARTIALS] = std::array::from_fn(|k| 1.0 / (1.1 + 0.1 * k as f64));
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
                for (v, weight) in bend.iter().zip(&weights) {
                    sum += self.height(v * f1 * per_hz, floor_db) * weight;
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

/// Frequency of partial `k` of a stiff string whose first partial is `f1`, with the stiffness `b`.
///
/// # Source
/// f_k = k f0 sqrt(1 + B k^2): H. Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209.
pub fn partial(f1: f64, b: f64, k: usize) -> f64 {
    let k = k as f64;
    k * f1 * ((1.0 + b * k * k) / (1.0 + b)).sqrt()
}

/// Cents for a small relative difference of frequencies: 1200 / ln 2.
pub const CENTS_PER_SHARE: f64 = 1200.0 / std::f64::consts::LN_2;
/// Highest partial number used.
pub const PARTIALS: usize = 6;
/// A partial this far below the strongest is not used.
const WEAKEST_DB: f64 = -34.0;
/// A partial above the first stands out of what lies around it by so much, ...
const CLEAR_DB: f64 = 6.0;
/// ... within so many times the reach it is looked for in.
const AROUND: f64 = 4.0;
/// A partial that is off by so much of a resolution cell, or by so many cents, counts half.
const CELL_OFF: f64 = 0.25;
const CENTS_OFF: f64 = 12.0;
/// A fundamental this far from the place that the partials above it give has been moved, in cents.
const MOVED_CENTS: f64 = 20.0;
/// A partial is placed within so much of a resolution cell, and lies within so many cents of the
/// law.
const PLACED_CELL: f64 = 0.03;
const PLACED_CENTS: f64 = 5.0;
/// Rounds of weighing and fitting; the fit stands still after five.
const ROBUST_ROUNDS: usize = 6;
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
    let mut found: ArrayVec<(f64, Peak), PARTIALS> = ArrayVec::new();
    let reach = (0.6 / spectrum.length_s).clamp(0.015 * f_hz, 0.15 * f_hz);
    let top_hz = spectrum.bin_hz * (spectrum.db.len() as f64 - 2.0);
    for k in 1..=PARTIALS {
        let kf = k as f64;
        let at = partial(f_hz, prior_b, k);
        if at + reach > top_hz {
            break;
        }
        if let Some(p) = spectrum.peak_between(at - reach, at + reach) {
            let clear = spectrum.mean_db(at - AROUND * reach, at + AROUND * reach) + CLEAR_DB;
            if k == 1 || p.db > clear {
                found.push((kf, p));
            }
        }
    }
    let top = found
        .iter()
        .map(|(_, p)| p.db)
        .fold(f64::NEG_INFINITY, f64::max);
    found.retain(|(_, p)| p.db > top + WEAKEST_DB);
    if found.is_empty() {
        return None;
    }
    let mut trust = [1.0f64; PARTIALS];
    // Bodies and bridges move the fundamental, not the series.
    if found.len() > 1 && found[0].0 == 1.0 {
        let (f0sq, bf) = solve(&found[1..], &trust, spectrum.length_s, f_hz, prior_b)?;
        let off = residual(f0sq, bf, 1.0, &found[0].1).abs();
        let cell = CELL_OFF * CENTS_PER_SHARE / spectrum.length_s / found[0].1.hz;
        if off > cell.max(MOVED_CENTS) {
            found.remove(0);
        }
    }
    let (mut f0sq, mut bf) = (0.0, 0.0);
    for _ in 0..ROBUST_ROUNDS {
        (f0sq, bf) = solve(&found, &trust, spectrum.length_s, f_hz, prior_b)?;
        for ((k, p), t) in found.iter().zip(&mut trust) {
            let cell = CELL_OFF * CENTS_PER_SHARE / spectrum.length_s / p.hz;
            *t = 1.0 / (1.0 + (residual(f0sq, bf, *k, p) / cell.max(CENTS_OFF)).powi(2));
        }
    }
    let (mut sum, mut weight) = (0.0, 0.0);
    for ((k, p), t) in found.iter().zip(&trust) {
        sum += t * residual(f0sq, bf, *k, p).powi(2);
        weight += t;
    }
    let spread = (sum / (weight - 1.0).max(1.0)).sqrt();
    Some(StiffString {
        f1_hz: (f0sq + bf).max(1e-9).sqrt(),
        inharmonicity: (bf / f0sq).clamp(0.0, HIGHEST_B),
        uncertainty_cents: spread.max(1.0) / weight.max(1.0).sqrt(),
        partials: found.len(),
    })
}

/// How far a partial lies above its place on the string, in cents.
fn residual(f0sq: f64, bf: f64, k: f64, p: &Peak) -> f64 {
    cents(p.hz / k, (f0sq + bf * k * k).max(1e-9).sqrt())
}

/// Weighted least squares for f0^2 and f0^2 B, with B drawn towards `prior_b` the more the
/// shorter the stretch was.
fn solve(
    found: &[(f64, Peak)],
    trust: &[f64; PARTIALS],
    length_s: f64,
    f_hz: f64,
    prior_b: f64,
) -> Option<(f64, f64)> {
    let (mut s0, mut s1, mut s2, mut t0, mut t1) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let top = found
        .iter()
        .map(|(_, p)| p.db)
        .fold(f64::NEG_INFINITY, f64::max);
    for ((k, p), t) in found.iter().zip(trust) {
        // amplitude^0.5 on the residual is amplitude on its square.
        let cell = PLACED_CELL * CENTS_PER_SHARE / length_s / p.hz;
        let w = t * 10.0f64.powf((p.db - top) / 20.0) / (1.0 + (cell / PLACED_CENTS).powi(2));
        let (x, y) = (k * k, (p.hz / k / f_hz).powi(2));
        s0 += w;
        s1 += w * x;
        s2 += w * x * x;
        t0 += w * y;
        t1 += w * x * y;
    }
    // A ridge on B: one resolution cell of frequency error at the first partial.
    let ridge = if length_s > 0.3 && found.len() > 3 {
        0.025
    } else {
        0.25
    };
    s2 += ridge * s0;
    t1 += ridge * s0 * prior_b;
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
