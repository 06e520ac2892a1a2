//! Takes what rang before out of a spectrum, so that what is new remains.
//!
//! A sinusoid whose frequency is known, but whose amplitude may drift while it is looked at, is
//! the windowed exponential times a low polynomial: its transform is that of the window and of its
//! derivatives. A few complex amplitudes for each, by least squares over the bins around it, and it
//! can be taken out; what is a little beside it stays.
//!
//! # Source
//! X. Serra and J. O. Smith (1990), *Spectral modeling synthesis*, Computer Music Journal 14 (4),
//! 12-24: subtracting known partials to see the rest. Amplitudes that drift within the window as
//! polynomials: M. Betser (2009), *Sinusoidal polynomial parameter estimation using the
//! distribution derivative*, IEEE Trans. Signal Processing 57, 4633-4645. Both from memory. The
//! transform of the Hann window: F. J. Harris (1978), Proc. IEEE 66, 51-83.

use rustfft::num_complex::Complex;

/// Bins on either side that a partial is fitted on, in units of the bandwidth 1/T.
const REACH_CELLS: f64 = 1.5;
/// Columns of a partial in the table: its amplitude constant, drifting, bending.
pub const COLUMNS: usize = 3;
/// Columns that are peeled off: bending, too, would take what lies beside with it.
const ORDERS: usize = 2;
/// Added to the normal equations' diagonal, as a share of it, so that the columns can be told apart
/// where there are few bins.
const RIDGE: f32 = 1e-4;
/// Step of the numerical derivatives, in cells.
const NUDGE: f64 = 1e-3;
/// A partial is taken out within this many cells (1/T) on either side; beyond, its side lobes are
/// 40 dB down. Raised, it costs more.
const TAKEN_CELLS: f64 = 5.0;
/// The table reaches this far from the centre, in cells (1/T).
const TABLE_CELLS: usize = 11;
/// Steps of the table in each cell. Raised, the table is finer and larger.
const TABLE_STEPS: usize = 64;

/// Transforms of the Hann window and of its first moment, by the distance from the centre.
#[derive(Clone, Debug)]
pub struct Peeler {
    table: Vec<[f32; COLUMNS]>,
}

impl Default for Peeler {
    fn default() -> Self {
        Self::new()
    }
}

/// sin(pi u) / (pi u).
fn sinc(u: f64) -> f64 {
    if u.abs() < 1e-9 {
        1.0
    } else {
        (std::f64::consts::PI * u).sin() / (std::f64::consts::PI * u)
    }
}

/// Transform of the Hann window of unit sum at `u` cells from its centre: real and even.
fn hann(u: f64) -> f64 {
    sinc(u) + 0.5 * (sinc(u - 1.0) + sinc(u + 1.0))
}

impl Peeler {
    /// Makes the table.
    pub fn new() -> Self {
        let step = 1.0 / TABLE_STEPS as f64;
        let table = (0..=TABLE_CELLS * TABLE_STEPS + 1)
            .map(|i| {
                let u = i as f64 * step;
                let (below, at, above) = (hann(u - NUDGE), hann(u), hann(u + NUDGE));
                let slope = (above - below) / (2.0 * NUDGE);
                let curve = (above - 2.0 * at + below) / (NUDGE * NUDGE);
                [at as f32, slope as f32, curve as f32]
            })
            .collect();
        Self { table }
    }

    /// The columns of a partial at `u` cells from its frequency: the window (even), its slope (odd)
    /// and its curvature (even).
    pub fn columns(&self, u: f32) -> [f32; COLUMNS] {
        let at = u.abs() * TABLE_STEPS as f32;
        let k = at as i32 as usize;
        let Some([a, b]) = self.table.get(k..k + 2) else {
            return [0.0; COLUMNS];
        };
        let share = at - k as f32;
        let mut v = *a;
        for (v, b) in v.iter_mut().zip(b) {
            *v += share * (b - *v);
        }
        if u < 0.0 {
            v[1] = -v[1];
        }
        v
    }

    /// Takes the partial at `hz` out of `bins`.
    ///
    /// Input: the spectrum of `length_s` seconds under a Hann window, phases counted from the
    /// window's centre, bins `bin_hz` apart.
    pub fn peel(&self, bins: &mut [Complex<f32>], bin_hz: f64, length_s: f64, hz: f64) {
        let span = |cells: f64| {
            let wide = cells / length_s;
            let from = ((hz - wide) / bin_hz).ceil().max(0.0) as usize;
            let to = (((hz + wide) / bin_hz).floor().max(0.0) as usize + 1).min(bins.len());
            from..to.max(from)
        };
        let (fitted, taken) = (span(REACH_CELLS), span(TAKEN_CELLS));
        let cells = |k: usize| ((k as f64 * bin_hz - hz) * length_s) as f32;
        // Normal equations: real columns, complex amplitudes.
        let mut a = [[0.0f32; ORDERS]; ORDERS];
        let mut y = [Complex::<f32>::default(); ORDERS];
        for k in fitted {
            let v = self.columns(cells(k));
            for i in 0..ORDERS {
                y[i] += bins[k] * v[i];
                for j in 0..ORDERS {
                    a[i][j] += v[i] * v[j];
                }
            }
        }
        for (i, row) in a.iter_mut().enumerate() {
            row[i] *= 1.0 + RIDGE;
        }
        // Gauss without pivots: the matrix is symmetric and, by the ridge, positive.
        for i in 0..ORDERS {
            if a[i][i] <= 0.0 {
                return;
            }
            for j in i + 1..ORDERS {
                let f = a[j][i] / a[i][i];
                let (row, from) = (a[i], y[i]);
                for (x, r) in a[j].iter_mut().zip(row) {
                    *x -= f * r;
                }
                y[j] -= from * f;
            }
        }
        for i in (0..ORDERS).rev() {
            let mut v = y[i];
            for j in i + 1..ORDERS {
                v -= y[j] * a[i][j];
            }
            y[i] = v / a[i][i];
        }
        for k in taken {
            let v = self.columns(cells(k));
            for i in 0..ORDERS {
                bins[k] -= y[i] * v[i];
            }
        }
    }
}
