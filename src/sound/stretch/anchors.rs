//! Which moment of the sound is heard when: straight on at the tempo, but for the attacks, which run
//! at their own speed.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;

use super::hann;
use crate::units::SampleRate;

/// The spectrum is looked at in steps of this, in seconds.
const STEP_S: f64 = 0.004;
/// Its windows are about this long, in seconds (the next power of two in frames).
const SHORT_S: f64 = 0.012;
/// An attack lies in the middle of this many steps to either side of the largest.
const NEAR: usize = 2;
/// A window is louder before its middle has come to the attack: the flux leads by this, in steps.
/// Measured on plucked strings of the synth, less 1 ms, so that nothing of the attack is cut off.
const LEADS: f64 = 0.25;
/// What lies below this in a bin is silence, in decibels.
const FLOOR_DB: f32 = -75.0;
/// An attack rises above the usual by this, in decibels in the mean over all bins. Raised, soft notes
/// are smeared; lowered, what goes on is cut up.
const RISE_DB: f64 = 1.2;
/// The usual is what is this long around, in seconds to either side.
const ABOUT_S: f64 = 0.2;
/// Attacks are at least this far apart, in seconds: sixteenths at 150 are 100 ms.
const APART_S: f64 = 0.06;
/// Sound runs at its own speed from this long before an attack, in seconds. Raised, more of what
/// comes before it is squeezed or drawn out.
const OWN_BEFORE_S: f64 = 0.020;
/// Up to this long behind it, in seconds.
const OWN_AFTER_S: f64 = 0.060;
/// No more than this share of the way to the next attack, before and after stretching, runs at its
/// own speed.
const OWN_SHARE: f64 = 0.35;

/// Where attacks begin, in frames, in order of time: where the spectrum rises most, on the whole and
/// for a moment.
///
/// # Source
/// Flux of the logarithmic spectrum after Böck & Widmer (2013), without their maximum filter.
pub(super) fn attacks(samples: &[f32], rate: SampleRate) -> Vec<usize> {
    let flux = flux_db(samples, rate);
    let hop = ((STEP_S * rate.hz()) as usize).max(1);
    let about = (ABOUT_S / STEP_S) as usize;
    let apart = (APART_S / STEP_S) as usize;
    let mut all: Vec<usize> = Vec::new();
    for (n, rise) in flux.iter().enumerate() {
        let around = &flux[n.saturating_sub(apart)..(n + apart + 1).min(flux.len())];
        let largest = around.iter().copied().fold(0.0, f64::max);
        let wide = &flux[n.saturating_sub(about)..(n + about + 1).min(flux.len())];
        let mean = wide.iter().sum::<f64>() / wide.len() as f64;
        if *rise >= largest && *rise > mean + RISE_DB {
            let at = ((middle(&flux, n) + LEADS) * hop as f64).max(0.0) as usize;
            if all.last().is_none_or(|last| at > last + apart / 2 * hop) {
                all.push(at);
            }
        }
    }
    all
}

/// The middle of what rises about step `n`, in steps.
fn middle(flux: &[f64], n: usize) -> f64 {
    let near = n.saturating_sub(NEAR)..(n + NEAR + 1).min(flux.len());
    let sum: f64 = flux[near.clone()].iter().sum();
    let moment: f64 = near.map(|k| k as f64 * flux[k]).sum();
    moment / sum.max(f64::MIN_POSITIVE)
}

/// By how much the bins of a short spectrum rise within two steps, in decibels, the mean of all.
fn flux_db(samples: &[f32], rate: SampleRate) -> Vec<f64> {
    let size = ((SHORT_S * rate.hz()) as usize).next_power_of_two().max(16);
    let hop = ((STEP_S * rate.hz()) as usize).max(1);
    let window = hann(size);
    let forward = FftPlanner::new().plan_fft_forward(size);
    let zero = Complex32::new(0.0, 0.0);
    let mut whole = vec![zero; size];
    let top = size / 2;
    let mut past = [vec![FLOOR_DB; top], vec![FLOOR_DB; top]];
    let mut flux = Vec::new();
    for frame in 0..samples.len().div_ceil(hop) {
        // The step's moment is the middle of the window.
        let start = (frame * hop) as i64 - (size / 2) as i64;
        for (n, (z, weight)) in whole.iter_mut().zip(&window).enumerate() {
            let at = usize::try_from(start + n as i64).ok();
            let x = at.and_then(|at| samples.get(at)).copied().unwrap_or(0.0);
            *z = Complex32::new(x * weight, 0.0);
        }
        forward.process(&mut whole);
        let mut sum = 0.0;
        let old = &mut past[frame % 2];
        for (z, old) in whole.iter().zip(old.iter_mut()) {
            let level = 10.0 * (z.norm_sqr() / size as f32 + 1e-12).log10();
            let level = level.max(FLOOR_DB);
            sum += f64::from((level - *old).max(0.0));
            *old = level;
        }
        flux.push(sum / top as f64);
    }
    flux
}

/// From the stretched sound back to the sound: straight between its points.
pub(super) struct Map {
    /// Frame of the output and frame of the input, both rising.
    points: Vec<(f64, f64)>,
    /// Frames of the input at which an attack begins, in order.
    attacks: Vec<i64>,
}

impl Map {
    pub fn new(attacks: &[usize], frames: usize, tempo: f64, rate: SampleRate) -> Self {
        let mut points = vec![(0.0, 0.0)];
        let end = frames as f64;
        for (k, attack) in attacks.iter().enumerate() {
            let at = *attack as f64;
            let previous = k.checked_sub(1).map_or(0.0, |k| attacks[k] as f64);
            let next = attacks.get(k + 1).map_or(end, |next| *next as f64);
            // The shorter of the ways before and after stretching.
            let room = |way: f64| OWN_SHARE * way.min(way / tempo);
            let before = (OWN_BEFORE_S * rate.hz()).min(room(at - previous));
            let after = (OWN_AFTER_S * rate.hz()).min(room(next - at));
            for off in [-before, after] {
                let point = (at / tempo + off, at + off);
                if points
                    .last()
                    .is_some_and(|last| point.0 > last.0 && point.1 > last.1)
                {
                    points.push(point);
                }
            }
        }
        let last = (end / tempo, end);
        points.retain(|point| point.0 < last.0 && point.1 < last.1);
        points.push(last);
        Self {
            points,
            attacks: attacks.iter().map(|at| *at as i64).collect(),
        }
    }

    /// Frames of the input from the attack before `at` up to the next one.
    pub fn between_attacks(&self, at: i64) -> (i64, i64) {
        let next = self.attacks.partition_point(|attack| *attack <= at);
        let before = next.checked_sub(1).and_then(|n| self.attacks.get(n));
        let after = self.attacks.get(next);
        (*before.unwrap_or(&i64::MIN), *after.unwrap_or(&i64::MAX))
    }

    /// The frame of the input that is heard at frame `at` of the output.
    pub fn input(&self, at: f64) -> f64 {
        let next = self.points.partition_point(|point| point.0 <= at);
        let next = next.clamp(1, self.points.len().saturating_sub(1).max(1));
        match (self.points.get(next - 1), self.points.get(next)) {
            (Some(a), Some(b)) => a.1 + (at - a.0) * (b.1 - a.1) / (b.0 - a.0),
            _ => at,
        }
    }
}
