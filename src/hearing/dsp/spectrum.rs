//! The spectrum of a stretch of sound: its peaks, and where a series of partials lies in it.
//!
//! # Source
//! Laying a series over a spectrum: D. J. Hermes (1988),
//! *Measurement of pitch by subharmonic summation*, J. Acoust. Soc. Am. 83, 257-264. The parabola
//! through a peak: J. O. Smith and X. Serra (1987), *PARSHL*, ICMC. Departures stand where each is
//! used.

use rustfft::num_complex::Complex;

use super::transform::RealTransform;

/// One spectral peak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    /// Frequency in hertz.
    pub hz: f64,
    /// Power of a sinusoid there, in decibels (0 dB for amplitude 1).
    pub db: f64,
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
                .map(|c| super::power::decibels(c.norm_sqr() + 1e-16)),
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
    /// Height of the spectrum above `floor_db` in decibels, 0 or more, at `at`: a place in bins, which
    /// may lie between two.
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
