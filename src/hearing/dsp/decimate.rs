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
///
/// The input is dealt out to as many lines as `factor`, so that the outputs lie side by side and
/// are summed many at a time, and taps that are zero (every `factor`-th, where the transition lies
/// about half of the output's rate) are left out. Each output is the same sum in the same order,
/// however many are made at a time.
#[derive(Clone, Debug)]
pub struct Decimator {
    half: usize,
    factor: usize,
    lines: Vec<PhaseLine>,
    /// The line that the next input goes to.
    next: usize,
    /// Inputs still to come before the next output.
    wait: usize,
}

/// Every `factor`-th input, and the taps that fall on these.
#[derive(Clone, Debug)]
struct PhaseLine {
    taps: Vec<f32>,
    /// What was dealt out, from the first that the next output needs.
    samples: Vec<f32>,
}

/// Outputs that are made at a time; where fewer are left the rest is thrown away.
const LANES: usize = 16;
const FEW_LANES: usize = 8;

/// Deals samples out to `F` lines, the first one to the first.
fn deal<const F: usize>(inputs: &[f32], lines: &mut [PhaseLine]) {
    let (rounds, rest) = inputs.as_chunks::<F>();
    for (phase, line) in lines.iter_mut().enumerate() {
        line.samples.extend(rounds.iter().map(|round| round[phase]));
        line.samples.extend(rest.get(phase));
    }
}

/// Taps smaller than this are the sinc's zeros.
const ZERO_TAP: f32 = 1e-9;
/// Inputs that a decimator has room for at a time.
pub const RUN_FRAMES: usize = 1024;

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
fn taps_at<const N: usize>(x: &[f32], taps: &[f32], acc: &mut [f32; N]) {
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

/// Mean power of some samples; 0 of none.
pub fn mean_square(x: &[f32]) -> f64 {
    let sum: f64 = x.iter().map(|v| f64::from(*v) * f64::from(*v)).sum();
    sum / x.len().max(1) as f64
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
        let factor = factor.max(1);
        let half = taps.len() / 2;
        // Output m sums the taps over the inputs m * factor - half to m * factor + half.
        let lines = (0..factor)
            .map(|phase| {
                let first = (phase + half) % factor;
                let mut own: Vec<f32> = taps[first..].iter().step_by(factor).copied().collect();
                // Places of the line before the output's own: there is silence at first.
                let mut before = (half - first + phase) / factor;
                while own.first().is_some_and(|t| t.abs() < ZERO_TAP) {
                    own.remove(0);
                    before -= 1;
                }
                while own.last().is_some_and(|t| t.abs() < ZERO_TAP) {
                    own.pop();
                }
                let mut samples = Vec::with_capacity(taps.len() + RUN_FRAMES + LANES);
                samples.resize(before, 0.0);
                PhaseLine { taps: own, samples }
            })
            .collect();
        Self {
            half,
            factor,
            lines,
            next: 0,
            wait: half + 1,
        }
    }

    /// How many input frames after its own place an output becomes available.
    pub fn latency_frames(&self) -> usize {
        self.half
    }

    /// How many inputs still have to come for `outputs` more outputs, 1 or more.
    pub fn inputs_for(&self, outputs: usize) -> usize {
        self.wait + outputs.saturating_sub(1) * self.factor
    }

    /// Takes the next inputs and appends the outputs that became available to `out`.
    ///
    /// Memory: no allocation for up to [`RUN_FRAMES`] inputs at a time where `out` has room.
    pub fn run(&mut self, inputs: &[f32], out: &mut Vec<f32>) {
        // Up to a whole round one by one, then many at a time.
        let lead = ((self.factor - self.next) % self.factor).min(inputs.len());
        let (first, even) = inputs.split_at(lead);
        for (line, sample) in self.lines[self.next..].iter_mut().zip(first) {
            line.samples.push(*sample);
        }
        match self.factor {
            1 => self.lines[0].samples.extend_from_slice(even),
            2 => deal::<2>(even, &mut self.lines),
            4 => deal::<4>(even, &mut self.lines),
            factor => {
                for (phase, line) in self.lines.iter_mut().enumerate() {
                    let own = even.get(phase..).unwrap_or_default();
                    line.samples.extend(own.iter().step_by(factor));
                }
            }
        }
        self.next = (self.next + inputs.len()) % self.factor;
        if inputs.len() < self.wait {
            self.wait -= inputs.len();
            return;
        }
        let count = 1 + (inputs.len() - self.wait) / self.factor;
        self.wait = self.wait + count * self.factor - inputs.len();
        // Room for outputs that nobody asks for.
        for line in &mut self.lines {
            line.samples.resize(line.samples.len() + LANES, 0.0);
        }
        let mut at = 0;
        while at < count {
            let left = count - at;
            if left > FEW_LANES {
                out.extend_from_slice(&self.outputs::<LANES>(at)[..left.min(LANES)]);
                at += LANES;
            } else {
                out.extend_from_slice(&self.outputs::<FEW_LANES>(at)[..left]);
                at += FEW_LANES;
            }
        }
        for line in &mut self.lines {
            let kept = line.samples.len() - LANES - count;
            line.samples.copy_within(count..count + kept, 0);
            line.samples.truncate(kept);
        }
    }

    /// `N` neighbouring outputs from the `at`-th that is not yet made.
    #[inline(always)]
    fn outputs<const N: usize>(&self, at: usize) -> [f32; N] {
        let mut acc = [0.0; N];
        for line in &self.lines {
            taps_at(&line.samples[at..], &line.taps, &mut acc);
        }
        acc
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
        let mut input = vec![0.0; 2000];
        input[1000] = 1.0;
        let mut out = Vec::new();
        d.run(&input, &mut out);
        let top = (0..out.len())
            .max_by(|a, b| out[*a].total_cmp(&out[*b]))
            .unwrap();
        assert_eq!(top, 250);
        assert!((out[249] - out[251]).abs() < 1e-6);
    }

    fn noise(n: usize) -> Vec<f32> {
        let mut s = 7u32;
        (0..n)
            .map(|_| {
                s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (s >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect()
    }

    /// Slow reference: the convolution written out in double precision; and every cut of the input
    /// gives the same bits.
    #[test]
    fn decimates_as_the_convolution_does_and_however_it_is_cut() {
        let x = noise(1500);
        for factor in [1usize, 2, 3, 4, 9] {
            for skew in [0.0, 0.03] {
                let (pass, stop) = ((0.4 + skew) / factor as f64, 0.6 / factor as f64);
                let (pass, stop) = (pass.min(0.3), stop.min(0.49));
                let taps = low_pass_taps(pass, stop);
                let half = taps.len() / 2;
                let mut whole = Vec::new();
                Decimator::new(factor, pass, stop).run(&x, &mut whole);
                assert_eq!(whole.len(), (x.len() - half).div_ceil(factor));
                for (m, got) in whole.iter().enumerate() {
                    let want: f64 = taps
                        .iter()
                        .enumerate()
                        .filter_map(|(k, t)| {
                            let at = (m * factor + k).checked_sub(half)?;
                            Some(f64::from(*t) * f64::from(*x.get(at)?))
                        })
                        .sum();
                    assert!((f64::from(*got) - want).abs() < 2e-6, "{factor} {m}");
                }
                for cut in [1usize, 5, 64, 333] {
                    let mut d = Decimator::new(factor, pass, stop);
                    let mut parts = Vec::new();
                    for block in x.chunks(cut) {
                        let due = d.inputs_for(1) <= block.len();
                        let before = parts.len();
                        d.run(block, &mut parts);
                        assert_eq!(due, parts.len() > before);
                    }
                    assert_eq!(parts, whole, "{factor} cut to {cut}");
                }
            }
        }
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
