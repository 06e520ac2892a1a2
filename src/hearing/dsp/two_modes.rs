//! Two modes side by side in one narrow band, told apart where a spectrum shows one peak: a string's
//! fundamental beside a mode of the body.
//!
//! # Source
//! R. Roy and T. Kailath (1989), *ESPRIT: estimation of signal parameters via rotational invariance
//! techniques*, IEEE Trans. ASSP 37, 984-995: the signal subspace of the shifted samples turns by
//! the modes' frequencies and shrinks by their decays. Ours: the band is mixed down and thinned out
//! first, there are always two modes, and the subspace is found by orthogonal iteration (Golub and
//! Van Loan, *Matrix Computations*, from memory).

use rustfft::num_complex::Complex;

type C = Complex<f64>;

/// One mode.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mode {
    /// Its frequency in hertz.
    pub hz: f64,
    /// What it loses in decibels per second; below 0 where it grows.
    pub loses_db_per_s: f64,
}

/// Length of the low-pass in periods of the band's middle: a Hann window of two has its first zeros
/// where the next partials lie.
const PERIODS: f64 = 2.0;
/// Samples kept for each period of the band's middle.
const KEPT: f64 = 1.6;
/// Fewer samples than this tell no two modes.
const FEWEST: usize = 16;
/// Rounds of the iteration. Two modes some cells apart need a few, two equal ones never settle, but
/// then tell the same frequency twice.
const ROUNDS: usize = 60;

/// Shifted samples that are looked at together, at most.
const ROWS: usize = 32;
/// Room for the taps of the low-pass.
const TAPS: usize = 1024;
/// Room for the samples kept: half a second around some hundred hertz. What is longer is not looked
/// at.
const THINNED: usize = 512;

/// Work space, kept so that nothing is allocated while listening.
#[derive(Clone, Debug)]
pub struct TwoModes {
    taps: Vec<C>,
    thinned: Vec<C>,
    covariance: Vec<C>,
}

impl Default for TwoModes {
    fn default() -> Self {
        Self {
            taps: Vec::with_capacity(TAPS),
            thinned: Vec::with_capacity(THINNED),
            covariance: Vec::with_capacity(ROWS * ROWS),
        }
    }
}

/// A direction among the shifted samples; what lies beyond the rows in use is 0.
type Direction = [C; ROWS];

impl TwoModes {
    /// The two strongest modes of `x` around `middle_hz`, the slower to die away first.
    ///
    /// Output: `None` when there is too little sound, or none.
    pub fn find(&mut self, x: &[f32], rate_hz: f64, middle_hz: f64) -> Option<[Mode; 2]> {
        let thinning = (rate_hz / (KEPT * middle_hz)).floor().max(1.0) as usize;
        self.thin(x, rate_hz, middle_hz, thinning);
        let n = self.thinned.len();
        if n < FEWEST {
            return None;
        }
        let rows = (n / 2).min(ROWS);
        let basis = self.subspace(rows)?;
        let turns = turns(&basis, rows)?;
        let rate = rate_hz / thinning as f64;
        let mut modes = turns.map(|turn| Mode {
            hz: middle_hz + turn.arg() * rate / std::f64::consts::TAU,
            loses_db_per_s: -20.0 * turn.norm().max(1e-12).log10() * rate,
        });
        if modes
            .iter()
            .any(|m| !m.hz.is_finite() || !m.loses_db_per_s.is_finite())
        {
            return None;
        }
        modes.sort_by(|a, b| a.loses_db_per_s.total_cmp(&b.loses_db_per_s));
        Some(modes)
    }

    /// The band around `middle_hz` mixed down to 0 and low-passed, one sample of `thinning`.
    fn thin(&mut self, x: &[f32], rate_hz: f64, middle_hz: f64, thinning: usize) {
        let turn = -std::f64::consts::TAU * middle_hz / rate_hz;
        let length = ((PERIODS * rate_hz / middle_hz).round() as usize).clamp(1, TAPS);
        let window = std::f64::consts::TAU / length as f64;
        self.taps.clear();
        self.taps.extend((0..length).map(|i| {
            let weight = (1.0 - (window * (i as f64 + 0.5)).cos()) / length as f64;
            C::from_polar(weight, turn * i as f64)
        }));
        self.thinned.clear();
        let parts = x.windows(length).step_by(thinning).take(THINNED);
        for (k, part) in parts.enumerate() {
            let sum: C = part
                .iter()
                .zip(&self.taps)
                .map(|(v, tap)| tap * f64::from(*v))
                .sum();
            self.thinned
                .push(sum * C::from_polar(1.0, turn * (k * thinning) as f64));
        }
    }

    /// An orthonormal basis of the two strongest directions of the shifted samples.
    fn subspace(&mut self, rows: usize) -> Option<[Direction; 2]> {
        let z = &self.thinned;
        let columns = z.len() - rows + 1;
        self.covariance.clear();
        for i in 0..rows {
            for j in 0..rows {
                let products = (0..columns).map(|k| z[i + k] * z[j + k].conj());
                self.covariance.push(products.sum());
            }
        }
        let times = |v: &Direction| -> Direction {
            let mut product = [C::default(); ROWS];
            for (sum, row) in product.iter_mut().zip(self.covariance.chunks_exact(rows)) {
                *sum = row.iter().zip(v).map(|(a, b)| a * b).sum();
            }
            product
        };
        // To begin with: the samples themselves, early and late.
        let (mut a, mut b) = ([C::default(); ROWS], [C::default(); ROWS]);
        a[..rows].copy_from_slice(&z[..rows]);
        b[..rows].copy_from_slice(&z[z.len() - rows..]);
        for _ in 0..ROUNDS {
            a = times(&a);
            b = times(&b);
            unit(&mut a)?;
            let along: C = a.iter().zip(&b).map(|(a, b)| a.conj() * b).sum();
            for (b, a) in b.iter_mut().zip(&a) {
                *b -= along * a;
            }
            unit(&mut b)?;
        }
        Some([a, b])
    }
}

/// Brings a vector to length 1; `None` when it has none.
fn unit(v: &mut [C]) -> Option<()> {
    let length = v.iter().map(C::norm_sqr).sum::<f64>().sqrt();
    if !length.is_finite() || length < 1e-150 {
        return None;
    }
    for c in v {
        *c /= length;
    }
    Some(())
}

/// By what the basis turns from one row to the next: the two eigenvalues of the least-squares
/// solution of (all rows but the last) P = (all rows but the first).
fn turns(basis: &[Direction; 2], rows: usize) -> Option<[C; 2]> {
    let product = |i: usize, j: usize, shift: usize| -> C {
        let upper = basis[i][..rows - 1].iter();
        let lower = basis[j][shift..rows].iter();
        upper.zip(lower).map(|(a, b)| a.conj() * b).sum()
    };
    let g = [
        [product(0, 0, 0), product(0, 1, 0)],
        [product(1, 0, 0), product(1, 1, 0)],
    ];
    let h = [
        [product(0, 0, 1), product(0, 1, 1)],
        [product(1, 0, 1), product(1, 1, 1)],
    ];
    let det = g[0][0] * g[1][1] - g[0][1] * g[1][0];
    if det.norm() < 1e-12 {
        return None;
    }
    let p = |i: usize, j: usize| {
        let (near, far) = (g[1 - i][1 - i], g[i][1 - i]);
        (near * h[i][j] - far * h[1 - i][j]) / det
    };
    let half = 0.5 * (p(0, 0) + p(1, 1));
    let root = (half * half - (p(0, 0) * p(1, 1) - p(0, 1) * p(1, 0))).sqrt();
    Some([half + root, half - root])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: two damped sinusoids with a third one an octave up and hiss at -60 dB. They are
    /// 0.8 cells of resolution apart, where a spectrum has one peak.
    #[test]
    fn two_modes_within_a_cell_are_told_apart() {
        let rate = 5_512.5;
        let mut s = 1u32;
        let mut hiss = || {
            s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            0.001 * (f64::from(s >> 8) / 8_388_608.0 - 1.0)
        };
        for (string, body) in [(110.0, 106.0), (98.0, 101.5), (116.5, 112.0)] {
            let x: Vec<f32> = (0..(0.23 * rate) as usize)
                .map(|i| {
                    let t = i as f64 / rate;
                    let mode = |hz: f64, db_per_s: f64, at: f64| {
                        10f64.powf(-db_per_s * t / 20.0)
                            * (std::f64::consts::TAU * hz * t + at).sin()
                    };
                    let sum = 0.3 * mode(string, 12.0, 0.3)
                        + 0.6 * mode(body, 80.0, 1.1)
                        + 0.05 * mode(2.0 * string, 20.0, 2.0);
                    (sum + hiss()) as f32
                })
                .collect();
            let [slow, fast] = TwoModes::default()
                .find(&x, rate, 0.5 * (string + body))
                .expect("two modes");
            let off = crate::units::cents(slow.hz, string);
            assert!(
                off.abs() < 3.0,
                "{string} beside {body}: {off:.1} cents, {slow:?}"
            );
            assert!((slow.loses_db_per_s - 12.0).abs() < 5.0, "{slow:?}");
            let off = crate::units::cents(fast.hz, body);
            assert!(
                off.abs() < 5.0,
                "{body} beside {string}: {off:.1} cents, {fast:?}"
            );
            assert!((fast.loses_db_per_s - 80.0).abs() < 12.0, "{fast:?}");
        }
    }

    #[test]
    fn nothing_is_told_of_little_or_of_silence() {
        let mut modes = TwoModes::default();
        assert_eq!(modes.find(&[], 5_512.5, 100.0), None);
        assert_eq!(modes.find(&[0.1; 300], 5_512.5, 100.0), None);
        assert_eq!(modes.find(&[0.0; 3_000], 5_512.5, 100.0), None);
        for odd in [f32::NAN, f32::INFINITY, 1e30] {
            let found = modes.find(&[odd; 3_000], 5_512.5, 100.0);
            assert!(found.is_none_or(|m| m[0].hz.is_finite()));
        }
    }
}
