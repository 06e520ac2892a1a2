//! Whether a string that rings under a note carries on the note before it: a string that nobody
//! damped goes on swinging as it did, so that each of its partials has the phase it was to have. What
//! the new note sets off by itself, another string or the body, has any phase.
//!
//! # Source
//! A partial that goes on at f for the time t turns by 2π f t: a closed form. What a phase says, known
//! as well as its partial is, is a von Mises distribution (K. V. Mardia 1972, *Statistics of
//! directional data*, from memory) against all phases alike; its I0 is M. Abramowitz and I. Stegun
//! (1964), *Handbook of Mathematical Functions*, 9.8.1 and 9.8.2. The four numbers were chosen on
//! notes left ringing of six sampled basses.

use super::evidence::{Shown, Spread};
use super::{PARTIALS, fit_all};
use crate::hearing::dsp::free_partial::Bins;
use crate::hearing::dsp::peel::Peeler;

/// How well a partial's frequency is known from a window, in cells (1/T). Raised, phases far away in
/// time say less.
const KNOWN_CELLS: f64 = 0.08;
/// How far the pitch of a string that dies away drops meanwhile, as a share of its frequency: two
/// cents. Raised, high partials say less.
const KNOWN_SHARE: f64 = 0.0012;
/// How well a phase is known at best, in radians. Raised, each partial says less.
const KNOWN_RAD: f64 = 0.4;
/// A phase known less well than this says nothing, in radians.
const LOST_RAD: f64 = 3.0;
/// How often a partial of a string that carries on has another phase all the same, 0 to 1: another
/// sound covers it. Raised, one partial against it says less.
const COVERED: f64 = 0.1;
/// A partial that weighs less than this says nothing, as the root of its free share of the string's
/// power.
const LEAST_WEIGHT: f64 = 0.03;
/// A partial that weighs at least this says all it can, in the same measure. Raised, soft partials
/// say less.
const FULL_WEIGHT: f64 = 0.25;

/// The phases of a note's partials in its last sound.
#[derive(Clone, Debug)]
pub(super) struct Before {
    phases: [f64; PARTIALS],
    /// The middle of that sound, place in the stream.
    at: f64,
    length_s: f64,
}

impl Before {
    /// The phases of partials at `hz` in the sound that was analysed; its middle is `at`.
    pub fn new(peeler: &Peeler, on: Bins, hz: &[f64], at: f64) -> Self {
        let mut phases = [0.0; PARTIALS];
        for (k, phase) in phases.iter_mut().enumerate().take(hz.len()) {
            let mut others = [f64::NEG_INFINITY; PARTIALS];
            others[..hz.len()].copy_from_slice(hz);
            others[k] = f64::NEG_INFINITY;
            *phase = fit_all(peeler, on, &hz[k..=k], &others, |_| true)[0].phase;
        }
        Self {
            phases,
            at,
            length_s: on.length_s,
        }
    }

    /// How much more likely it is that what shows of partials at `hz` around the place `at` carries
    /// these on than that it has any phases, in nats; `None` where nothing is known any longer.
    pub fn carried(
        &self,
        shown: &Shown,
        spread: &Spread,
        hz: &[f64],
        at: f64,
        rate_hz: f64,
    ) -> Option<f64> {
        let turn = std::f64::consts::TAU * (at - self.at) / rate_hz;
        let mut nats = None;
        for (k, hz) in hz.iter().enumerate() {
            let Some((phase, weight, clear_db)) = shown.phase(k, spread) else {
                continue;
            };
            let moved = turn * (KNOWN_CELLS / self.length_s).hypot(KNOWN_SHARE * hz);
            let noise = 0.5 * 10f64.powf(-clear_db / 10.0);
            let variance = moved * moved + KNOWN_RAD * KNOWN_RAD + noise;
            if weight < LEAST_WEIGHT || variance > LOST_RAD * LOST_RAD {
                continue;
            }
            let off = phase - self.phases[k] - turn * hz;
            *nats.get_or_insert(0.0) += says(off, variance) * (weight / FULL_WEIGHT).min(1.0);
        }
        nats
    }
}

/// How much a phase that is `off` by so much, in radians, speaks for a partial that carries on, in
/// nats.
fn says(off: f64, variance: f64) -> f64 {
    let sharp = 1.0 / variance;
    let likely = (sharp * (off.cos() - 1.0)).exp() / scaled_i0(sharp);
    (COVERED + (1.0 - COVERED) * likely).ln()
}

/// The modified Bessel function I0 of `x` from 0 on, times exp(-x).
fn scaled_i0(x: f64) -> f64 {
    let sum = |coefficients: &[f64], t: f64| coefficients.iter().rev().fold(0.0, |s, c| s * t + c);
    if x < 3.75 {
        let t = (x / 3.75).powi(2);
        let terms = [
            1.0, 3.5156229, 3.0899424, 1.2067492, 0.2659732, 0.0360768, 0.0045813,
        ];
        sum(&terms, t) * (-x).exp()
    } else {
        let terms = [
            0.39894228,
            0.01328592,
            0.00225319,
            -0.00157565,
            0.00916281,
            -0.02057706,
            0.02635537,
            -0.01647633,
            0.00392377,
        ];
        sum(&terms, 3.75 / x) / x.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// exp(-x) I0(x): Abramowitz and Stegun (1964), table 9.8.
    #[test]
    fn the_bessel_function_is_that_of_the_table() {
        for (x, value) in [
            (0.0, 1.0),
            (1.0, 0.4657596077),
            (5.0, 0.1835408126),
            (10.0, 0.1278333372),
        ] {
            assert!((scaled_i0(x) - value).abs() < 1e-6, "{x}");
        }
    }

    /// Closed form: the likelihoods of a phase over a whole turn have the mean one, so that a phase
    /// that says nothing never speaks for a string in the mean.
    #[test]
    fn any_phase_speaks_against_and_the_right_one_for() {
        for variance in [0.16, 1.0, 4.0] {
            let turn = |k: i32| std::f64::consts::TAU * f64::from(k) / 360.0;
            let all = || (0..360).map(|k| says(turn(k), variance));
            let mean = all().map(f64::exp).sum::<f64>() / 360.0;
            assert!((mean - 1.0).abs() < 1e-6, "{mean}");
            assert!(all().sum::<f64>() < 0.0);
            assert!(says(0.0, variance) > 0.0);
        }
    }
}
