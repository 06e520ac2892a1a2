//! Sound at another rate, to be listened to.

use std::f64::consts::PI;

use crate::units::SampleRate;

/// Samples to either side that a new one is made of. Raised, less of the treble is lost and each
/// sample costs more.
const TAPS: usize = 16;
/// Values of the windowed sinc that are looked up between two samples; what lies between them is drawn
/// straight, which is off by 2 millionths at most. Raised, the table is longer and no sample costs more.
const LOOKED_UP: usize = 512;

/// The same sound at another rate.
///
/// Input:   mono samples at `from`.
/// Output:  `samples.len() * to / from` samples, rounded; the samples themselves where the rates are
///          the same. Never fails.
///
/// # Source
/// Band-limited interpolation by a windowed sinc from a table (Smith & Gossett 1984, ICASSP), with a Hann
/// window.
pub fn at_rate(samples: &[f32], from: SampleRate, to: SampleRate) -> Vec<f32> {
    if from == to {
        return samples.to_vec();
    }
    let table = windowed_sinc();
    let step = from.hz() / to.hz();
    // Nothing above half of the lower rate.
    let pass = (1.0 / step).min(1.0);
    let reach = TAPS as f64 / pass;
    let frames = (samples.len() as f64 / step).round() as usize;
    (0..frames)
        .map(|n| {
            let at = n as f64 * step;
            let first = (at - reach).ceil().max(0.0) as usize;
            let end = ((at + reach).floor() as usize + 1).min(samples.len());
            let near = samples.get(first..end).unwrap_or(&[]);
            let sum: f64 = near
                .iter()
                .enumerate()
                .map(|(k, x)| {
                    let off = ((first + k) as f64 - at).abs();
                    f64::from(*x) * pass * between(&table, pass * off * LOOKED_UP as f64)
                })
                .sum();
            sum as f32
        })
        .collect()
}

/// The right half of the windowed sinc, with a zero behind its end.
fn windowed_sinc() -> Vec<f64> {
    let value = |n: usize| {
        let x = PI * n as f64 / LOOKED_UP as f64;
        let hann = 0.5 + 0.5 * (x / TAPS as f64).cos();
        if n == 0 { 1.0 } else { hann * x.sin() / x }
    };
    (0..=TAPS * LOOKED_UP).map(value).chain([0.0]).collect()
}

/// The value at a place between two of the table; 0 behind its end.
fn between(table: &[f64], at: f64) -> f64 {
    let (whole, part) = (at as usize, at.fract());
    match (table.get(whole), table.get(whole + 1)) {
        (Some(a), Some(b)) => a + part * (b - a),
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: a sine is the same sine; one above half of the new rate is gone.
    #[test]
    fn a_sine_stays_and_what_cannot_be_held_goes() {
        for (from, to) in [(44_100, 48_000), (48_000, 44_100), (96_000, 22_050)] {
            let (from, to) = (SampleRate(from), SampleRate(to));
            let sine = |hz: f64, rate: SampleRate, frames: usize| -> Vec<f32> {
                let turn = std::f64::consts::TAU * hz / rate.hz();
                (0..frames)
                    .map(|n| (turn * n as f64).sin() as f32)
                    .collect()
            };
            let low = at_rate(&sine(440.0, from, from.0 as usize), from, to);
            assert_eq!(low.len(), to.0 as usize);
            let wanted = sine(440.0, to, low.len());
            let inner = 200..low.len() - 200;
            let off = inner
                .map(|n| (low[n] - wanted[n]).abs())
                .fold(0.0, f32::max);
            assert!(off < 2e-3, "{from:?} to {to:?}: {off}");
        }
        let high: Vec<f32> = (0..96_000)
            .map(|n| (std::f64::consts::TAU * 20_000.0 / 96_000.0 * f64::from(n)).sin() as f32)
            .collect();
        let gone = at_rate(&high, SampleRate(96_000), SampleRate(22_050));
        let loudest = gone[200..gone.len() - 200]
            .iter()
            .fold(0.0f32, |m, x| m.max(x.abs()));
        assert!(loudest < 0.01, "{loudest}");
    }
}
