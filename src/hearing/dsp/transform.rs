//! The spectrum of real samples, by a complex transform of half the length.
//!
//! # Source
//! Two real sequences in one complex transform: J. W. Cooley, P. A. W. Lewis and P. D. Welch (1970),
//! *The fast Fourier transform algorithm: programming considerations in the calculation of sine,
//! cosine and Laplace transforms*, J. Sound Vib. 12, 315-337 (from memory). The even samples are
//! taken for the real part and the odd ones for the imaginary part; both spectra are told apart by
//! their symmetry and put together with one rotation, real and imaginary parts in rows of their own
//! so that many are done side by side.

use std::sync::Arc;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};

/// A transform of one length; plans and tables are made once.
#[derive(Clone)]
pub struct RealTransform {
    fft: Arc<dyn Fft<f32>>,
    scratch: Vec<Complex<f32>>,
    /// Half the cosine and half the sine of the rotation of each bin up to a quarter of the length.
    cosines: Vec<f32>,
    sines: Vec<f32>,
    /// The half transform.
    halves: Vec<Complex<f32>>,
    /// Real and imaginary parts of it, and then of the bins.
    re: Vec<f32>,
    im: Vec<f32>,
}

impl RealTransform {
    /// A transform of `length` samples.
    ///
    /// # Panics
    /// When `length` is not a multiple of four.
    pub fn new(length: usize) -> Self {
        assert!(length > 0 && length.is_multiple_of(4), "{length}");
        let fft = FftPlanner::new().plan_fft_forward(length / 2);
        let turn = 2.0 * std::f64::consts::PI / length as f64;
        let of = |f: fn(f64) -> f64| -> Vec<f32> {
            (1..length / 4)
                .map(|k| (0.5 * f(turn * k as f64)) as f32)
                .collect()
        };
        Self {
            scratch: vec![Complex::default(); fft.get_inplace_scratch_len()],
            fft,
            cosines: of(f64::cos),
            sines: of(f64::sin),
            halves: Vec::with_capacity(length / 2),
            re: vec![0.0; length / 2 + 1],
            im: vec![0.0; length / 2 + 1],
        }
    }

    /// How many samples are transformed.
    pub fn length(&self) -> usize {
        2 * self.fft.len()
    }

    /// The spectrum of `x` times `window`, with zeros after it up to the transform's length.
    ///
    /// Input:  at most [`RealTransform::length`] samples and as many values of the window.
    /// Output: the real and the imaginary parts of `length / 2 + 1` bins, the first and the last of
    ///         which are real.
    /// Memory: no allocation.
    pub fn spectrum(&mut self, x: &[f32], window: &[f32]) -> (&[f32], &[f32]) {
        let half = self.fft.len();
        let bins = &mut self.halves;
        bins.clear();
        let (pairs, last) = x.as_chunks::<2>();
        let (weights, last_weight) = window.as_chunks::<2>();
        bins.extend(
            pairs
                .iter()
                .zip(weights)
                .map(|(x, w)| Complex::new(x[0] * w[0], x[1] * w[1])),
        );
        bins.extend(
            last.iter()
                .zip(last_weight)
                .map(|(x, w)| Complex::new(x * w, 0.0)),
        );
        bins.resize(half, Complex::default());
        self.fft.process_with_scratch(bins, &mut self.scratch);
        let parts = self.re.iter_mut().zip(&mut self.im);
        for ((re, im), bin) in parts.zip(bins.iter()) {
            (*re, *im) = (bin.re, bin.im);
        }
        let first = bins[0];
        (self.re[0], self.im[0]) = (first.re + first.im, 0.0);
        (self.re[half], self.im[half]) = (first.re - first.im, 0.0);
        // Bins 1 to half / 2 - 1 with their mirrors, which come in the opposite order; the one in
        // the middle is its own.
        let middle = half / 2;
        let (left_re, right_re) = self.re[..half].split_at_mut(middle);
        let (left_im, right_im) = self.im[..half].split_at_mut(middle);
        right_im[0] = -right_im[0];
        untangle(
            &mut left_re[1..],
            &mut left_im[1..],
            &mut right_re[1..],
            &mut right_im[1..],
            &self.cosines,
            &self.sines,
        );
        self.bins()
    }

    /// The bins of the spectrum that was made last, as [`RealTransform::spectrum`] gives them.
    pub fn bins(&self) -> (&[f32], &[f32]) {
        (&self.re, &self.im)
    }
}

/// Puts the spectra of even and odd samples together in the bins on the left and in their mirrors
/// on the right, all as real and imaginary parts.
fn untangle(
    left_re: &mut [f32],
    left_im: &mut [f32],
    right_re: &mut [f32],
    right_im: &mut [f32],
    cosines: &[f32],
    sines: &[f32],
) {
    let left = left_re.iter_mut().zip(left_im);
    let right = right_re.iter_mut().rev().zip(right_im.iter_mut().rev());
    let turns = cosines.iter().zip(sines);
    for (((left_re, left_im), (right_re, right_im)), (c, s)) in left.zip(right).zip(turns) {
        let (sum_re, sum_im) = (*left_re + *right_re, *left_im + *right_im);
        let (gap_re, gap_im) = (*left_re - *right_re, *left_im - *right_im);
        let (even_re, even_im) = (0.5 * sum_re, 0.5 * gap_im);
        let odd_re = c * sum_im - s * gap_re;
        let odd_im = c * gap_re + s * sum_im;
        (*left_re, *left_im) = (even_re + odd_re, even_im - odd_im);
        (*right_re, *right_im) = (even_re - odd_re, -(even_im + odd_im));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Slow reference: the transform's sum written out in double precision.
    #[test]
    fn equals_the_sum_written_out() {
        let mut s = 3u32;
        let mut noise = || {
            s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (s >> 8) as f32 / 8_388_608.0 - 1.0
        };
        for length in [4usize, 8, 12, 64, 576, 640, 1024] {
            for held in [length, length - 1, length / 2] {
                let x: Vec<f32> = (0..held).map(|_| noise()).collect();
                let window: Vec<f32> = (0..held).map(|_| noise()).collect();
                let mut transform = RealTransform::new(length);
                assert_eq!(transform.length(), length);
                let (got_re, got_im) = transform.spectrum(&x, &window);
                assert_eq!(
                    (got_re.len(), got_im.len()),
                    (length / 2 + 1, length / 2 + 1)
                );
                for (k, (got_re, got_im)) in got_re.iter().zip(got_im).enumerate() {
                    let (mut re, mut im) = (0.0f64, 0.0f64);
                    for (n, (x, w)) in x.iter().zip(&window).enumerate() {
                        let turn = -2.0 * std::f64::consts::PI * (k * n % length) as f64;
                        let v = f64::from(x * w);
                        re += v * (turn / length as f64).cos();
                        im += v * (turn / length as f64).sin();
                    }
                    let off = (f64::from(*got_re) - re).hypot(f64::from(*got_im) - im);
                    assert!(off < 1e-6 * length as f64, "{length} {held} bin {k}: {off}");
                }
            }
        }
    }
}
