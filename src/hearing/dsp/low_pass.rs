//! The low-pass filter with linear phase: its taps, and their sums over a stretch of samples.
//!
//! # Source
//! Kaiser window design: J. F. Kaiser (1974), *Nonrecursive digital filter design using the
//! I0-sinh window function*, Proc. IEEE ISCAS, 20-23.

/// Zeroth-order modified Bessel function of the first kind, by its power series.
fn bessel_i0(x: f64) -> f64 {
    let mut term = 1.0;
    let mut sum = 1.0;
    for k in 1..60 {
        term *= (x / (2.0 * f64::from(k))).powi(2);
        sum += term;
        if term < 1e-14 * sum {
            break;
        }
    }
    sum
}

/// A linear-phase low-pass of odd length with unit gain at 0 Hz.
///
/// `pass` and `stop` are the edges of the transition as fractions of the sample rate (0 to 0.5);
/// everything above `stop` is about 60 dB down.
///
/// # Source
/// Kaiser window design: J. F. Kaiser (1974), *Nonrecursive digital filter design using the
/// I0-sinh window function*, Proc. IEEE ISCAS, 20-23: beta and length from attenuation and
/// transition width.
pub fn low_pass_taps(pass: f64, stop: f64) -> Vec<f32> {
    const ATTENUATION_DB: f64 = 60.0;
    let beta = 0.1102 * (ATTENUATION_DB - 8.7);
    let width = 2.0 * std::f64::consts::PI * (stop - pass);
    let half = (((ATTENUATION_DB - 7.95) / (2.285 * width)) / 2.0).ceil() as i64;
    let cut = 0.5 * (pass + stop);
    let mut taps: Vec<f64> = (-half..=half)
        .map(|n| {
            let t = n as f64;
            let ideal = if n == 0 {
                2.0 * cut
            } else {
                (2.0 * std::f64::consts::PI * cut * t).sin() / (std::f64::consts::PI * t)
            };
            let r = t / half as f64;
            ideal * bessel_i0(beta * (1.0 - r * r).max(0.0).sqrt()) / bessel_i0(beta)
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    taps.iter_mut().for_each(|t| *t /= sum);
    taps.into_iter().map(|t| t as f32).collect()
}

/// Adds to each of `acc` the sum of the taps times the samples from its place on, tap by tap.
#[inline(always)]
pub(super) fn taps_at<const N: usize>(x: &[f32], taps: &[f32], acc: &mut [f32; N]) {
    for (j, t) in taps.iter().enumerate() {
        let Some(window) = x[j..].first_chunk::<N>() else {
            return;
        };
        for (a, x) in acc.iter_mut().zip(window) {
            *a += t * x;
        }
    }
}

/// All places of a linear-phase (symmetric, of odd length) filter within `x`: value `i` is the sum
/// of the taps times `x[i..]`. The order of additions is the same at every place.
///
/// Output: `x.len() + 1 - taps.len()` values are appended to `out`.
pub fn filter(x: &[f32], taps: &[f32], out: &mut Vec<f32>) {
    let count = (x.len() + 1).saturating_sub(taps.len());
    let mut i = 0;
    while i + 16 <= count {
        out.extend(symmetric_at::<16>(&x[i..], taps));
        i += 16;
    }
    while i + 4 <= count {
        out.extend(symmetric_at::<4>(&x[i..], taps));
        i += 4;
    }
    while i < count {
        out.extend(symmetric_at::<1>(&x[i..], taps));
        i += 1;
    }
}

/// `N` neighbouring places of a symmetric filter.
#[inline(always)]
fn symmetric_at<const N: usize>(x: &[f32], taps: &[f32]) -> [f32; N] {
    let (n, half) = (taps.len(), taps.len() / 2);
    let mut acc = [0.0f32; N];
    for (j, t) in taps[..half].iter().enumerate() {
        let (Some(a), Some(b)) = (x[j..].first_chunk::<N>(), x[n - 1 - j..].first_chunk::<N>())
        else {
            break;
        };
        for ((acc, a), b) in acc.iter_mut().zip(a).zip(b) {
            *acc += t * (a + b);
        }
    }
    taps_at(&x[half..], &taps[half..=half], &mut acc);
    acc
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    fn gain_at(taps: &[f32], f: f64) -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        for (n, t) in taps.iter().enumerate() {
            let phase = 2.0 * std::f64::consts::PI * f * n as f64;
            re += f64::from(*t) * phase.cos();
            im += f64::from(*t) * phase.sin();
        }
        re.hypot(im)
    }

    /// Closed form: the design promises 60 dB, Kaiser's estimate of length is good to a decibel
    /// or two.
    #[test]
    fn passes_below_and_stops_above() {
        let taps = low_pass_taps(0.2, 0.29);
        for f in [0.0, 0.05, 0.1, 0.2] {
            assert!((gain_at(&taps, f) - 1.0).abs() < 2e-3, "{f}");
        }
        for f in [0.29, 0.35, 0.5] {
            assert!(20.0 * gain_at(&taps, f).log10() < -57.0, "{f}");
        }
    }

    /// White noise between -1 and 1, the same at every call.
    pub fn noise(n: usize) -> Vec<f32> {
        let mut s = 7u32;
        (0..n)
            .map(|_| {
                s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (s >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect()
    }

    /// Slow reference: each place by itself in double precision.
    #[test]
    fn filters_every_place() {
        let x = noise(150);
        let taps = low_pass_taps(0.1, 0.2);
        let mut out = Vec::new();
        filter(&x, &taps, &mut out);
        assert_eq!(out.len(), x.len() + 1 - taps.len());
        for (got, x) in out.iter().zip(x.windows(taps.len())) {
            let want: f64 = x.iter().zip(&taps).map(|(x, t)| f64::from(x * t)).sum();
            assert!((f64::from(*got) - want).abs() < 1e-6);
        }
        filter(&x[..5], &taps, &mut out);
        assert_eq!(out.len(), x.len() + 1 - taps.len());
    }
}
