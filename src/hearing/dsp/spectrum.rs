//! The spectrum of a stretch of sound: its peaks, and where a series of partials lies in it.
//!
//! # Source
//! Laying a series over a spectrum: D. J. Hermes (1988),
//! *Measurement of pitch by subharmonic summation*, J. Acoust. Soc. Am. 83, 257-264. The parabola
//! through a peak: J. O. Smith and X. Serra (1987), *PARSHL*, ICMC. Departures stand where each is
//! used.

use arrayvec::ArrayVec;
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

/// Windows that are kept.
const WINDOWS: usize = 4;
/// Room for each of them, in samples: the longest stretch that a pitch is taken from.
const WINDOW_ROOM: usize = 2304;

/// Spectrum of a stretch of sound, ready to be asked for peaks.
///
/// Memory: allocates per size on first use, then reuses its plans.
#[derive(Clone)]
pub struct Spectrum {
    /// One for each length that was asked for.
    transforms: Vec<RealTransform>,
    /// Which of them holds the bins of the stretch that was analysed last.
    last: usize,
    /// The Hann windows of the last stretches, kept for the next ones of the same lengths, and which
    /// of them gives way next.
    windows: [Vec<f32>; WINDOWS],
    oldest: usize,
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
            last: 0,
            windows: Default::default(),
            oldest: 0,
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
        let made = self.windows.iter().position(|w| w.len() == x.len());
        let made = made.unwrap_or_else(|| {
            let made = self.oldest;
            self.oldest = (made + 1) % WINDOWS;
            self.windows[made].reserve(x.len().max(WINDOW_ROOM));
            hann(x.len(), &mut self.windows[made]);
            made
        });
        self.last = known;
        let (re, im) = self.transforms[known].spectrum(x, &self.windows[made]);
        self.bin_hz = rate_hz / size as f64;
        self.length_s = x.len().max(1) as f64 / rate_hz;
        let wanted = ((top_hz / self.bin_hz).ceil() as usize).min(re.len());
        self.db.clear();
        let parts = re[..wanted].iter().zip(&im[..wanted]);
        self.db
            .extend(parts.map(|(re, im)| super::power::decibels(re * re + im * im + 1e-16)));
    }

    /// The bins below `top_hz` with their phases counted from the middle of the stretch of `frames`
    /// samples.
    pub fn centred(&self, frames: usize, top_hz: f64, out: &mut Vec<Complex<f32>>) {
        let size = 2 * self.bins().saturating_sub(1);
        let turn = std::f64::consts::PI * (frames as f64 - 1.0) / size.max(1) as f64;
        let step = Complex::new(turn.cos() as f32, turn.sin() as f32);
        let mut phase = Complex::new(1.0f32, 0.0);
        out.clear();
        let wanted = ((top_hz / self.bin_hz).ceil() as usize).min(self.bins());
        let (re, im) = self.parts();
        let parts = re[..wanted].iter().zip(&im[..wanted]);
        out.extend(parts.map(|(re, im)| {
            let v = Complex::new(*re, *im) * phase;
            phase *= step;
            v
        }));
    }

    /// How many bins there are.
    pub fn bins(&self) -> usize {
        self.parts().0.len()
    }

    /// Real and imaginary parts of the bins.
    fn parts(&self) -> (&[f32], &[f32]) {
        let last = self.transforms.get(self.last);
        last.map_or((&[], &[]), RealTransform::bins)
    }

    /// Amplitude of bin `k`, for spectra of one length to be held against each other.
    pub fn amplitude(&self, k: usize) -> f32 {
        let (re, im) = self.parts();
        match (re.get(k), im.get(k)) {
            (Some(re), Some(im)) => (re * re + im * im).sqrt(),
            _ => 0.0,
        }
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
/// A height between two bins differs from what lies between their levels by less than this.
const ROUNDING_DB: f64 = 1e-6;

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
    /// meet a ridge, at one of the places around `f_hz`: the fundamental and the stiffness that meet
    /// most. Heights are added in decibels, so that ten weak partials that agree outweigh one
    /// strong mode of the body that does not belong.
    ///
    /// # Source
    /// Harmonic sum of a log spectrum: D. J. Hermes (1988), *Measurement of pitch by subharmonic
    /// summation*, J. Acoust. Soc. Am. 83, 257-264; here with the stiff string's partials.
    pub fn lay(&self, f_hz: f64, steps: &LaySteps, top_db: f64) -> (f64, f64) {
        let floor_db = top_db - LAID_RANGE_DB;
        let per_hz = 1.0 / self.bin_hz;
        let [first, above @ ..] = &steps.partials;
        // What lies below the floor at all places adds nothing at any.
        let mut heard = ArrayVec::<&LaidPartial, LAID_PARTIALS>::new();
        heard.extend(above.iter().filter(|partial| {
            let (lowest, highest) = (steps.lowest * f_hz, steps.highest * f_hz);
            let [from, .., to] = partial.bends;
            let (from, to) = (from * lowest * per_hz, to * highest * per_hz);
            let from = (from as usize).saturating_sub(1).min(self.db.len());
            let to = (to as usize + 3).clamp(from, self.db.len());
            let above = |top: f32, v: &f32| if *v > top { *v } else { top };
            let top_db = self.db[from..to].iter().fold(f32::NEG_INFINITY, above);
            f64::from(top_db) > floor_db - ROUNDING_DB
        }));
        let mut best = [(f64::NEG_INFINITY, f_hz); TRIED_B.len()];
        for (ratio, nearer_db) in &steps.places {
            let f1 = f_hz * ratio;
            // All stiffnesses side by side; they bend all partials but the first.
            let mut sums = [self.height(f1 * per_hz, floor_db) * first.weight; TRIED_B.len()];
            for partial in &heard {
                for (sum, bend) in sums.iter_mut().zip(&partial.bends) {
                    *sum += self.height(bend * f1 * per_hz, floor_db) * partial.weight;
                }
            }
            for (best, sum) in best.iter_mut().zip(sums) {
                // Between equals the nearer fundamental.
                let sum = sum - nearer_db;
                if sum > best.0 {
                    *best = (sum, f1);
                }
            }
        }
        let mut laid = (f64::NEG_INFINITY, f_hz, 1e-4);
        for ((sum, f1), b) in best.into_iter().zip(TRIED_B) {
            if sum > laid.0 {
                laid = (sum, f1, b);
            }
        }
        (laid.1, laid.2)
    }
}

/// One partial of the series that is laid over a spectrum.
#[derive(Clone, Copy, Debug)]
struct LaidPartial {
    weight: f64,
    /// Its frequency as a multiple of the first partial's, for each stiffness that is tried.
    bends: [f64; TRIED_B.len()],
}

/// The places around a frequency at which a series is laid over a spectrum, and the series: made once.
#[derive(Clone, Debug)]
pub struct LaySteps {
    /// Each place as a multiple of the frequency, and what its distance costs, in decibels.
    places: Vec<(f64, f64)>,
    /// The lowest and the highest of these multiples.
    lowest: f64,
    highest: f64,
    partials: [LaidPartial; LAID_PARTIALS],
}

impl LaySteps {
    /// Places up to `reach_cents` away on either side, `step_cents` apart.
    pub fn new(reach_cents: f64, step_cents: f64) -> Self {
        let steps = (reach_cents / step_cents).round() as i32;
        let ratio = |step: i32| (f64::from(step) * step_cents / 1200.0).exp2();
        let places = (-steps..=steps).map(|step| {
            let nearer_db = NEARER_DB_PER_CENT * step_cents * f64::from(step).abs();
            (ratio(step), nearer_db)
        });
        Self {
            places: places.collect(),
            lowest: ratio(-steps),
            highest: ratio(steps),
            partials: std::array::from_fn(|k| {
                let number = (k + 1) as f64;
                LaidPartial {
                    weight: 1.0 / (1.1 + 0.1 * k as f64),
                    bends: TRIED_B
                        .map(|b| number * ((1.0 + b * number * number) / (1.0 + b)).sqrt()),
                }
            }),
        }
    }
}
