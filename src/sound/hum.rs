//! How much the mains hum in what comes in, measured where nothing is played.
//!
//! # Source
//! One line of a spectrum at a time: G. Goertzel (1958), *An algorithm for the evaluation of finite
//! trigonometric series*, Amer. Math. Monthly 65, 34–35. A window of one second holds whole periods
//! of both mains frequencies (IEC 60038 names 50 and 60 Hz), so that it needs no taper.

use std::f64::consts::TAU;

use crate::units::{Decibels, Hertz, SampleRate};

/// Mains frequencies, in hertz.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// Lines of each: the fundamental and two harmonics, as rectified mains gives.
const LINES: usize = 3;
/// Louder than this something is played, and nothing is said of hum; in decibels relative to full
/// scale.
const QUIET_DBFS: f64 = -38.0;
/// Hum softer than this troubles nobody.
const FAINTEST_DBFS: f64 = -80.0;
/// The lines must hold this share of all the power: else it is noise that has a little of
/// everything.
const SHARE: f64 = 0.2;

/// Hum, as it was last measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hum {
    /// The mains' frequency.
    pub mains: Hertz,
    /// Root of the mean square of its lines, relative to full scale.
    pub level: Decibels,
}

/// Measures hum second by second.
pub struct HumMeter {
    window: u64,
    at: u64,
    power: f64,
    /// Coefficient and the two states of each line.
    lines: [[(f64, f64, f64); LINES]; 2],
    last: Option<Hum>,
}

impl HumMeter {
    /// For a stream of `rate` frames per second.
    pub fn new(rate: SampleRate) -> Self {
        let lines = MAINS_HZ.map(|mains| {
            std::array::from_fn(|k| {
                let hz = mains * (k + 1) as f64;
                (2.0 * (TAU * hz / rate.hz()).cos(), 0.0, 0.0)
            })
        });
        Self {
            window: u64::from(rate.0.max(1)),
            at: 0,
            power: 0.0,
            lines,
            last: None,
        }
    }

    /// Takes the next mono samples. Nothing is allocated.
    pub fn take(&mut self, samples: &[f32]) {
        for x in samples {
            let x = f64::from(*x);
            self.power += x * x;
            for (coefficient, s1, s2) in self.lines.iter_mut().flatten() {
                let s0 = x + *coefficient * *s1 - *s2;
                *s2 = *s1;
                *s1 = s0;
            }
            self.at += 1;
            if self.at == self.window {
                self.close();
            }
        }
    }

    fn close(&mut self) {
        let n = self.window as f64;
        let total = self.power / n;
        if Decibels::from_power(total).0 < QUIET_DBFS {
            let powers = self.lines.map(|lines| {
                let of = |(c, s1, s2): (f64, f64, f64)| {
                    // A sinusoid of amplitude a gives (a n / 2)^2; its mean square is a^2 / 2.
                    2.0 * (s1 * s1 + s2 * s2 - c * s1 * s2) / (n * n)
                };
                lines.into_iter().map(of).sum::<f64>()
            });
            let which = usize::from(powers[1] > powers[0]);
            let level = Decibels::from_power(powers[which]);
            let clear = powers[which] > SHARE * total && level.0 > FAINTEST_DBFS;
            self.last = clear.then_some(Hum {
                mains: Hertz(MAINS_HZ[which]),
                level,
            });
        }
        for (_, s1, s2) in self.lines.iter_mut().flatten() {
            (*s1, *s2) = (0.0, 0.0);
        }
        self.power = 0.0;
        self.at = 0;
    }

    /// What was last measured, where nothing was played.
    pub fn hum(&self) -> Option<Hum> {
        self.last
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(rate: u32, make: impl Fn(f64) -> f64) -> Option<Hum> {
        let mut meter = HumMeter::new(SampleRate(rate));
        let sound: Vec<f32> = (0..2 * rate)
            .map(|n| make(f64::from(n) / f64::from(rate)) as f32)
            .collect();
        for block in sound.chunks(997) {
            meter.take(block);
        }
        meter.hum()
    }

    /// Closed form: a sinusoid of amplitude 0.002 has a level of 20 lg (0.002 / sqrt 2) = -57.0 dB.
    #[test]
    fn a_sinusoid_has_the_level_it_has() {
        for rate in [44_100, 48_000] {
            for mains in [50.0, 60.0] {
                let hum = heard(rate, |t| 0.002 * (TAU * mains * t + 0.3).sin()).expect("hum");
                assert_eq!(hum.mains.0, mains);
                assert!((hum.level.0 + 56.99).abs() < 0.05, "{hum:?}");
            }
        }
    }

    #[test]
    fn playing_silence_and_other_tones_are_no_hum() {
        assert_eq!(heard(48_000, |_| 0.0), None);
        assert_eq!(heard(48_000, |t| 0.3 * (TAU * 50.0 * t).sin()), None);
        assert_eq!(heard(48_000, |t| 0.002 * (TAU * 41.2 * t).sin()), None);
    }
}
