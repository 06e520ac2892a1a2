//! What lasts, stretched by a phase vocoder.

use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};
use std::sync::Arc;

use super::anchors::Map;
use super::hann;
use crate::units::SampleRate;

/// A window is at least this long, in seconds: four periods of B0, so that its partials stand apart
/// (a Hann window's main lobe is four bins wide). Raised, attacks are smeared.
const WINDOW_S: f64 = 0.13;
/// Hops to a window.
const HOPS: usize = 8;
/// Where windows add up to less than this, the sum of some of them is not made larger any more. Squared
/// windows an eighth apart add up to 3.
const LEAST_WEIGHT: f32 = 0.05;
/// A partial whose power has grown by this factor within a hop is a new one.
const NEW_POWER: f32 = 4.0;

/// Frames of a window, a power of two.
pub(super) fn window_frames(rate: SampleRate) -> usize {
    ((WINDOW_S * rate.hz()) as usize)
        .next_power_of_two()
        .max(64)
}

/// `frames` frames of `samples` by the map. No window looks over an attack: what comes before one
/// ends there, and what begins with it begins there.
pub(super) fn stretched(samples: &[f32], frames: usize, map: &Map, rate: SampleRate) -> Vec<f32> {
    let size = window_frames(rate);
    let hop = size / HOPS;
    let mut vocoder = Vocoder::new(size);
    let window = hann(size);
    let mut output = vec![0.0f32; frames];
    let mut weights = vec![0.0f32; frames];
    let half = (size / 2) as i64;
    for frame in 0..frames.div_ceil(hop) + HOPS {
        let center = frame as i64 * hop as i64 - half;
        let at = map.input(center as f64).round() as i64;
        let own = map.between_attacks(at);
        let part = vocoder.next(samples, at - half, hop, own);
        for (n, (x, weight)) in part.iter().zip(&window).enumerate() {
            if !(own.0..own.1).contains(&(at - half + n as i64)) {
                continue;
            }
            if let Ok(place) = usize::try_from(center - half + n as i64)
                && place < frames
            {
                output[place] += x.re * weight;
                weights[place] += weight * weight;
            }
        }
    }
    for (y, weight) in output.iter_mut().zip(&weights) {
        *y /= size as f32 * weight.max(LEAST_WEIGHT);
    }
    output
}

struct Vocoder {
    window: Vec<f32>,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
    scratch: Vec<Complex32>,
    pair: Vec<Complex32>,
    now: Vec<Complex32>,
    before: Vec<Complex32>,
    power: Vec<f32>,
    said: Vec<Complex32>,
    turned: Vec<Complex32>,
    own: Vec<Complex32>,
    whole: Vec<Complex32>,
}

impl Vocoder {
    fn new(size: usize) -> Self {
        let mut planner = FftPlanner::new();
        let (forward, inverse) = (
            planner.plan_fft_forward(size),
            planner.plan_fft_inverse(size),
        );
        let scratch = forward
            .get_inplace_scratch_len()
            .max(inverse.get_inplace_scratch_len());
        let zero = Complex32::new(0.0, 0.0);
        let bins = size / 2 + 1;
        Self {
            window: hann(size),
            forward,
            inverse,
            scratch: vec![zero; scratch],
            pair: vec![zero; size],
            now: vec![zero; bins],
            before: vec![zero; bins],
            power: vec![0.0; bins],
            said: vec![zero; bins],
            turned: vec![zero; bins],
            own: vec![zero; bins],
            whole: vec![zero; size],
        }
    }

    /// The next window of the output, not yet weighted: that of the input at `start`, its phases
    /// turned on from those of the output's window one hop before. What does not lie in `own` is left
    /// out; how phases turn is seen with it.
    fn next(&mut self, samples: &[f32], start: i64, hop: usize, own: (i64, i64)) -> &[Complex32] {
        self.analyse(samples, start, hop);
        let size = self.whole.len();
        let cut = own.0 > start || own.1 < start + size as i64;
        if cut {
            self.analyse_own(samples, start, own);
        }
        let bins = self.now.len();
        let power = |z: &Complex32| z.norm_sqr();
        self.power
            .iter_mut()
            .zip(&self.now)
            .for_each(|(p, z)| *p = power(z));
        let mut from = 0;
        let mut peak = self.peak_from(0);
        while from < bins {
            let next = peak.and_then(|peak| self.peak_from(peak + 1));
            // A peak rules up to the lowest bin between it and the next.
            let to = match (peak, next) {
                (Some(peak), Some(next)) => peak + 1 + lowest(&self.power[peak + 1..next]),
                _ => bins,
            };
            let turn = peak.map_or(Complex32::new(1.0, 0.0), |peak| self.turn(peak));
            for bin in from..to {
                self.turned[bin] = turn;
            }
            from = to;
            peak = next;
        }
        for bin in 0..bins {
            let turn = self.turned[bin];
            self.said[bin] = self.now[bin] * turn;
            let z = turn * if cut { self.own[bin] } else { self.now[bin] };
            self.whole[bin] = z;
            if bin > 0 && bin < size - bin {
                self.whole[size - bin] = z.conj();
            }
        }
        self.inverse
            .process_with_scratch(&mut self.whole, &mut self.scratch);
        &self.whole
    }

    /// Spectra of the window at `start` and of the one a hop before it, both by one transform.
    fn analyse(&mut self, samples: &[f32], start: i64, hop: usize) {
        let sample = |at: i64| {
            let at = usize::try_from(at).ok();
            at.and_then(|at| samples.get(at)).copied().unwrap_or(0.0)
        };
        for (n, (z, weight)) in self.pair.iter_mut().zip(&self.window).enumerate() {
            let at = start + n as i64;
            *z = Complex32::new(sample(at) * weight, sample(at - hop as i64) * weight);
        }
        self.forward
            .process_with_scratch(&mut self.pair, &mut self.scratch);
        let size = self.pair.len();
        for bin in 0..self.now.len() {
            let (a, b) = (self.pair[bin], self.pair[(size - bin) % size].conj());
            self.now[bin] = 0.5 * (a + b);
            self.before[bin] = Complex32::new(0.0, -0.5) * (a - b);
        }
    }

    /// The spectrum of what lies in `own` of the window at `start`.
    fn analyse_own(&mut self, samples: &[f32], start: i64, own: (i64, i64)) {
        for (n, (z, weight)) in self.pair.iter_mut().zip(&self.window).enumerate() {
            let at = start + n as i64;
            let inside = usize::try_from(at)
                .ok()
                .filter(|_| (own.0..own.1).contains(&at));
            let x = inside.and_then(|at| samples.get(at)).unwrap_or(&0.0);
            *z = Complex32::new(x * weight, 0.0);
        }
        self.forward
            .process_with_scratch(&mut self.pair, &mut self.scratch);
        let bins = self.own.len();
        self.own.copy_from_slice(&self.pair[..bins]);
    }

    /// The next peak from bin `from` on: larger than two bins on either side.
    fn peak_from(&self, from: usize) -> Option<usize> {
        let power = &self.power;
        let at = |bin: i64| {
            let bin = usize::try_from(bin).ok();
            bin.and_then(|bin| power.get(bin)).copied().unwrap_or(-1.0)
        };
        (from..power.len()).find(|bin| {
            let (here, bin) = (power[*bin], *bin as i64);
            here > 0.0
                && here > at(bin - 1)
                && here > at(bin - 2)
                && here >= at(bin + 1)
                && here >= at(bin + 2)
        })
    }

    /// By how much the phase of a peak is turned on from the input to the output.
    fn turn(&self, peak: usize) -> Complex32 {
        let turned = self.said[peak] * self.before[peak].conj();
        let new = self.power[peak] > NEW_POWER * self.before[peak].norm_sqr();
        let length = turned.norm();
        if new || length <= f32::MIN_POSITIVE {
            return Complex32::new(1.0, 0.0);
        }
        turned / length
    }
}

fn lowest(power: &[f32]) -> usize {
    let all = power.iter().enumerate();
    all.min_by(|a, b| a.1.total_cmp(b.1))
        .map_or(0, |(bin, _)| bin)
}
