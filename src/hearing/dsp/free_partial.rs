//! One partial of a string beside the partials of another: how much of it is free to be seen, and
//! how strong it is there.
//!
//! # Source
//! Least squares with the model's columns in turn (modified Gram-Schmidt): Å. Björck (1967),
//! *Solving linear least squares problems by Gram-Schmidt orthogonalization*, BIT 7, 1-21 (from
//! memory). Partials further apart than six cells do not see each other through a Hann window (F.
//! J. Harris 1978, Proc. IEEE 66, 51-83: side lobes fall 18 dB an octave), so that each is fitted
//! on a few bins around it.

use rustfft::num_complex::Complex;

use super::peel::{COLUMNS, Peeler};

/// Bins within this many cells (1/T) of the partial take part. Raised, it costs more.
const FITTED_CELLS: f64 = 4.0;
/// Most bins that take part; wider ones are thinned out.
const MOST_BINS: usize = 20;
/// Values in a column: one for each bin that takes part, and zeros up to a multiple of eight.
const WIDTH: usize = 24;
/// Partials of the played note within this many cells (1/T) are fitted along; further away they do
/// not see each other through a Hann window (Harris 1978). Raised, it costs more.
const NEAR_CELLS: f64 = 6.0;
/// Most columns before the candidate's: three partials of three orders.
const MOST_COLUMNS: usize = 9;
/// A column of which less than this is left says nothing more.
const LEAST_LEFT: f32 = 1e-4;
/// The noise is looked at within this many cells (1/T) on either side.
const NOISE_CELLS: f64 = 2.0;
/// The noise is looked at within this distance at least, in hertz.
const NOISE_HZ: f64 = 12.0;

/// A spectrum that partials are fitted to.
#[derive(Clone, Copy, Debug)]
pub struct Bins<'a> {
    /// Under a Hann window of unit amplitude, phases counted from its centre.
    pub bins: &'a [Complex<f32>],
    /// Their distance in hertz.
    pub bin_hz: f64,
    /// Length of the window in seconds.
    pub length_s: f64,
}

/// What one partial shows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FreePartial {
    /// Share of the partial that the others leave free, 0 to 1.
    pub free: f64,
    /// Its power (amplitude squared).
    pub power: f64,
    /// Its phase in the middle of the window, in radians.
    pub phase: f64,
    /// Power that noise of the level around it would show.
    pub noise: f64,
}

/// Fits a partial at `hz` beside the ones at `others`.
///
/// Output: `None` when the place lies outside of the spectrum.
pub fn fit(peeler: &Peeler, on: Bins, hz: f64, others: &[f64]) -> Option<FreePartial> {
    let wide = FITTED_CELLS / on.length_s;
    let from = ((hz - wide) / on.bin_hz).ceil().max(1.0) as usize;
    let to = ((hz + wide) / on.bin_hz).floor() as usize;
    if to >= on.bins.len() || from + 6 > to {
        return None;
    }
    let stride = (to - from) / MOST_BINS + 1;
    let count = ((to - from) / stride + 1).min(MOST_BINS + 1);
    let place = |i: usize| from + i * stride;
    // Cells from one bin to the next, and from a partial to the first.
    let step = (stride as f64 * on.bin_hz * on.length_s) as f32;
    let columns = |at: f64| -> [[f32; WIDTH]; COLUMNS] {
        let first = ((from as f64 * on.bin_hz - at) * on.length_s) as f32;
        let mut v = [[0.0; WIDTH]; COLUMNS];
        for i in 0..count {
            let orders = peeler.columns(first + i as f32 * step);
            for (v, order) in v.iter_mut().zip(orders) {
                v[i] = order;
            }
        }
        v
    };
    let (mut y_re, mut y_im) = ([0.0f32; WIDTH], [0.0f32; WIDTH]);
    for i in 0..count {
        let bin = on.bins[place(i)];
        (y_re[i], y_im[i]) = (bin.re, bin.im);
    }
    let mut basis = [[0.0f32; WIDTH]; MOST_COLUMNS];
    let mut used = 0;
    let near = NEAR_CELLS / on.length_s;
    let mut nearest = [f64::INFINITY; 3];
    for &other in others.iter().filter(|f| (**f - hz).abs() < near) {
        // The three nearest, nearest first.
        let mut other = other;
        for slot in &mut nearest {
            if (other - hz).abs() < (*slot - hz).abs() || slot.is_infinite() {
                std::mem::swap(slot, &mut other);
            }
        }
    }
    for other in nearest.into_iter().filter(|f| f.is_finite()) {
        for mut v in columns(other) {
            let whole = dot(&v, &v);
            for b in &basis[..used] {
                project_out(&mut v, b);
            }
            let left = dot(&v, &v);
            if left > LEAST_LEFT * whole && used < MOST_COLUMNS {
                let scale = left.sqrt().recip();
                v.iter_mut().for_each(|x| *x *= scale);
                basis[used] = v;
                used += 1;
            }
        }
    }
    let [mut c, ..] = columns(hz);
    let whole = dot(&c, &c);
    for b in &basis[..used] {
        project_out(&mut c, b);
        project_out(&mut y_re, b);
        project_out(&mut y_im, b);
    }
    let left = dot(&c, &c);
    let free = left / whole;
    if free < 1e-3 {
        return Some(FreePartial::default());
    }
    let amplitude = Complex::new(dot(&y_re, &c) / left, dot(&y_im, &c) / left);
    take_off(&mut y_re, amplitude.re, &c);
    take_off(&mut y_im, amplitude.im, &c);
    let reach = (NOISE_CELLS / on.length_s).max(NOISE_HZ);
    let (mut noise, mut heard) = (0.0f32, 0);
    for i in 0..count {
        if (place(i) as f64 * on.bin_hz - hz).abs() <= reach {
            noise += y_re[i] * y_re[i] + y_im[i] * y_im[i];
            heard += 1;
        }
    }
    Some(FreePartial {
        free: f64::from(free),
        power: f64::from(amplitude.norm_sqr()),
        phase: f64::from(amplitude.arg()),
        noise: f64::from(noise) / f64::from(heard.max(1)) / f64::from(free),
    })
}

/// Sum of products, in four lanes that are added up at the end.
fn dot(a: &[f32; WIDTH], b: &[f32; WIDTH]) -> f32 {
    let mut lanes = [0.0f32; 4];
    for (x, y) in a.as_chunks::<4>().0.iter().zip(b.as_chunks::<4>().0) {
        for k in 0..4 {
            lanes[k] += x[k] * y[k];
        }
    }
    (lanes[0] + lanes[2]) + (lanes[1] + lanes[3])
}

/// Takes `share` times `b` off `v`.
fn take_off(v: &mut [f32; WIDTH], share: f32, b: &[f32; WIDTH]) {
    for (x, b) in v.iter_mut().zip(b) {
        *x -= share * b;
    }
}

/// Takes off `v` what lies along `b`, which has the length one.
fn project_out(v: &mut [f32; WIDTH], b: &[f32; WIDTH]) {
    let share = dot(b, v);
    take_off(v, share, b);
}
