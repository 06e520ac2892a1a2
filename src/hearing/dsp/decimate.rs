//! Low-pass filtering and decimation by a whole number, with linear phase.
//!
//! # Source
//! Kaiser window design: J. F. Kaiser (1974), *Nonrecursive digital filter design using the
//! I0-sinh window function*, Proc. IEEE ISCAS, 20-23.

/// A linear-phase low-pass that keeps every `factor`-th sample.
///
/// Output sample `m` is centred on input sample `m * factor`: the filter's delay is taken out of
/// the numbering, so a place in the output is a place in the input. It only becomes available
/// [`Decimator::latency_frames`] input frames later.
#[derive(Clone, Debug)]
pub struct Decimator {
    taps: Vec<f32>,
    factor: usize,
    /// The newest `taps.len()` inputs, oldest first, at `window[filled - taps.len()..filled]`.
    window: Vec<f32>,
    filled: usize,
    /// Inputs still to come before the next output.
    wait: usize,
}

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

/// Sum of products, in eight independent lanes so that it can run in parallel; the order of
/// additions is fixed, so the result never depends on how the samples were delivered.
pub fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0.0f32; 8];
    let (a8, a_rest) = a.as_chunks::<8>();
    let (b8, b_rest) = b.as_chunks::<8>();
    for (x, y) in a8.iter().zip(b8) {
        for k in 0..8 {
            lanes[k] += x[k] * y[k];
        }
    }
    let tail: f32 = a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum();
    ((lanes[0] + lanes[4]) + (lanes[1] + lanes[5]))
        + ((lanes[2] + lanes[6]) + (lanes[3] + lanes[7]))
        + tail
}

/// Decibels of a power, 10 log10, quickly.
///
/// The exponent is read from the float's bits, the mantissa's logarithm from a polynomial; the
/// error stays below 0.0005 dB. `power` must be positive and normal.
pub fn decibels(power: f32) -> f32 {
    let bits = power.to_bits();
    let exponent = (bits >> 23) as i32 - 127;
    let m = f32::from_bits((bits & 0x007f_ffff) | 0x3f80_0000);
    // ln m by its series in z = (m - s) / (m + s) about s = sqrt 2, which halves the range.
    let z = (m - std::f32::consts::SQRT_2) / (m + std::f32::consts::SQRT_2);
    let z2 = z * z;
    let ln = 2.0 * z * (1.0 + z2 * (1.0 / 3.0 + z2 * (0.2 + z2 / 7.0)));
    3.010_3 * (exponent as f32 + 0.5) + 4.342_945 * ln
}

impl Decimator {
    /// A decimator by `factor` (1 or more) with the transition from `pass` to `stop`, both as
    /// fractions of the input rate. A factor of 1 still filters.
    pub fn new(factor: usize, pass: f64, stop: f64) -> Self {
        let taps = low_pass_taps(pass, stop);
        let half = taps.len() / 2;
        let mut window = vec![0.0; taps.len() + 4096];
        let filled = taps.len() - 1;
        window[..filled].fill(0.0);
        Self {
            wait: half + 1,
            taps,
            factor: factor.max(1),
            window,
            filled,
        }
    }

    /// How many input frames after its own place an output becomes available.
    pub fn latency_frames(&self) -> usize {
        self.taps.len() / 2
    }

    /// Takes one input; gives an output every `factor` inputs.
    pub fn push(&mut self, sample: f32) -> Option<f32> {
        let n = self.taps.len();
        if self.filled == self.window.len() {
            self.window.copy_within(self.filled - (n - 1).., 0);
            self.filled = n - 1;
        }
        self.window[self.filled] = sample;
        self.filled += 1;
        self.wait -= 1;
        if self.wait > 0 {
            return None;
        }
        self.wait = self.factor;
        Some(dot(&self.window[self.filled - n..self.filled], &self.taps))
    }
}

#[cfg(test)]
mod tests {
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

    /// Against the library's logarithm over the whole range that occurs.
    #[test]
    fn quick_decibels_equal_slow_ones() {
        let mut p = 1e-20f32;
        while p < 1e20 {
            let slow = 10.0 * f64::from(p).log10();
            assert!(
                (f64::from(decibels(p)) - slow).abs() < 5e-4,
                "{p}: {} {slow}",
                decibels(p)
            );
            p *= 1.0137;
        }
    }

    /// An impulse at input 1000 must come out centred on output 1000 / factor.
    #[test]
    fn keeps_time() {
        let mut d = Decimator::new(4, 0.08, 0.16);
        let out: Vec<f32> = (0..2000)
            .filter_map(|i| d.push(if i == 1000 { 1.0 } else { 0.0 }))
            .collect();
        let top = (0..out.len())
            .max_by(|a, b| out[*a].total_cmp(&out[*b]))
            .unwrap();
        assert_eq!(top, 250);
        assert!((out[249] - out[251]).abs() < 1e-6);
    }
}
