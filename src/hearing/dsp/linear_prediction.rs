//! Linear prediction: what a ringing string will do next can be foretold, a pluck cannot.
//!
//! # Source
//! Forward-backward (modified covariance) method: S. L. Marple (1980), *A new autoregressive
//! spectrum analysis algorithm*, IEEE Trans. ASSP 28, 441-454. Departures stand at [`fit`].

/// Work space of [`fit`], kept so that nothing is allocated while listening.
#[derive(Clone, Debug, Default)]
pub struct Work {
    /// The samples, their covariances, the normal equations and their solution.
    v: Vec<f64>,
    c: Vec<f64>,
    r: Vec<f64>,
    a: Vec<f64>,
}

/// Coefficients that foretell a sample from `order` samples before it, `stride` apart.
///
/// Least squares over the forward and the backward errors at once, by the normal equations with
/// a small ridge (relative to the mean power) that keeps a narrow-band signal solvable.
///
/// Input:   `x`, more than 2 * `order` * `stride` samples; `ridge` as a share of the power.
/// Output:  `a` with prediction sum a\[k\] x\[n - stride (k + 1)\]; all zero for silence.
///
/// # Source
/// Forward-backward (modified covariance) method: S. L. Marple (1980), *A new autoregressive
/// spectrum analysis algorithm*, IEEE Trans. ASSP 28, 441-454. Solved here by Cholesky
/// decomposition instead of Marple's recursion.
pub fn fit<'a>(
    x: &[f32],
    order: usize,
    stride: usize,
    ridge: f64,
    work: &'a mut Work,
) -> &'a [f64] {
    let Work { v, c, r, a: b } = work;
    let p = order;
    b.clear();
    b.resize(p, 0.0);
    if x.len() <= 2 * p * stride {
        return b;
    }
    v.clear();
    v.extend(x.iter().map(|s| f64::from(*s)));
    covariances(v, p, stride, c);
    let m = p + 1;
    // For j up to i; forward and backward.
    let both = |i: usize, j: usize| c[j * m + i] + c[(p - i) * m + p - j];
    let power = both(0, 0);
    if power <= 0.0 || !power.is_finite() {
        return b;
    }
    r.resize(p * p, 0.0);
    for i in 0..p {
        for j in 0..=i {
            r[i * p + j] = both(i + 1, j + 1);
        }
        r[i * p + i] += ridge * power;
        b[i] = both(i + 1, 0);
    }
    cholesky_solve(r, b, p);
    b
}

/// The covariances of lags up to `p` strides, row by row, the upper triangle alone.
fn covariances(v: &[f64], p: usize, stride: usize, c: &mut Vec<f64>) {
    // c(i, j) = sum over n of x[n - si] x[n - sj], n = sp..N; built down its diagonals from its
    // first row, since c(i+1, j+1) differs from c(i, j) by s products at each end only.
    let (m, n, from) = (p + 1, v.len(), stride * p);
    c.resize(m * m, 0.0);
    for (j, c) in c[..m].iter_mut().enumerate() {
        *c = product(&v[from..], &v[from - stride * j..n - stride * j]);
    }
    for i in 0..p {
        let (before, at_end) = (from - stride * i, n - stride * i);
        let (head, tail) = (&v[before - stride..before], &v[at_end - stride..at_end]);
        for j in i..p {
            let back = stride * (j - i);
            let head_j = &v[before - stride - back..before - back];
            let tail_j = &v[at_end - stride - back..at_end - back];
            let mut sum = c[i * m + j];
            for k in 0..stride {
                sum += head[k] * head_j[k] - tail[k] * tail_j[k];
            }
            c[(i + 1) * m + j + 1] = sum;
        }
    }
}

/// Sum of products in eight lanes, which are added up at the end.
fn product(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0f64; 8];
    let (a8, a_rest) = a.as_chunks::<8>();
    let (b8, b_rest) = b.as_chunks::<8>();
    for (x, y) in a8.iter().zip(b8) {
        for k in 0..8 {
            lanes[k] += x[k] * y[k];
        }
    }
    let rest: f64 = a_rest.iter().zip(b_rest).map(|(x, y)| x * y).sum();
    lanes.iter().sum::<f64>() + rest
}

/// Solves r a = b in place for a symmetric positive matrix given by its lower triangle.
fn cholesky_solve(r: &mut [f64], b: &mut [f64], p: usize) {
    for i in 0..p {
        let (above, row) = r.split_at_mut(i * p);
        for j in 0..i {
            let other = &above[j * p..j * p + p];
            row[j] = (row[j] - product(&row[..j], &other[..j])) / other[j];
        }
        row[i] = (row[i] - product(&row[..i], &row[..i])).max(1e-300).sqrt();
    }
    for i in 0..p {
        let mut s = b[i];
        for k in 0..i {
            s -= r[i * p + k] * b[k];
        }
        b[i] = s / r[i * p + i];
    }
    for i in (0..p).rev() {
        let mut s = b[i];
        for k in i + 1..p {
            s -= r[k * p + i] * b[k];
        }
        b[i] = s / r[i * p + i];
    }
}

/// Squared prediction errors of `x` from sample `stride * order` on (those before are context).
pub fn squared_errors(x: &[f32], a: &[f64], stride: usize, out: &mut Vec<f32>) {
    out.clear();
    let context = a.len() * stride;
    if x.len() <= context {
        return;
    }
    let mut n = context;
    while n + 16 <= x.len() {
        out.extend(errors_at::<16>(x, a, stride, n));
        n += 16;
    }
    while n < x.len() {
        out.extend(errors_at::<1>(x, a, stride, n));
        n += 1;
    }
}

/// Squared errors of `N` neighbouring samples from the `n`-th on.
#[inline(always)]
fn errors_at<const N: usize>(x: &[f32], a: &[f64], stride: usize, n: usize) -> [f32; N] {
    let mut error: [f32; N] = std::array::from_fn(|i| x[n + i]);
    for (k, c) in a.iter().enumerate() {
        let c = *c as f32;
        if let Some(past) = x[n - stride * (k + 1)..].first_chunk::<N>() {
            for (e, x) in error.iter_mut().zip(past) {
                *e -= c * x;
            }
        }
    }
    error.map(|e| e * e)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: a sum of K undamped sinusoids obeys an exact recursion of order 2K, so its
    /// error is zero and the first coefficient for one sinusoid is 2 cos w.
    #[test]
    fn foretells_sinusoids() {
        let w = 0.3f64;
        let x: Vec<f32> = (0..200).map(|n| (w * n as f64).sin() as f32).collect();
        let mut work = Work::default();
        let a = fit(&x, 2, 1, 1e-12, &mut work);
        assert!((a[0] - 2.0 * w.cos()).abs() < 1e-4, "{a:?}");
        assert!((a[1] + 1.0).abs() < 1e-4, "{a:?}");
        let mut e = Vec::new();
        squared_errors(&x, a, 1, &mut e);
        assert!(e.iter().all(|v| *v < 1e-7));
    }

    /// Closed form: by every third sample the one sinusoid obeys the recursion of thrice its
    /// frequency, whose first coefficient is 2 cos 3w.
    #[test]
    fn foretells_from_every_third_sample() {
        let w = 0.1f64;
        let x: Vec<f32> = (0..200).map(|n| (w * n as f64).sin() as f32).collect();
        let mut work = Work::default();
        let a = fit(&x, 2, 3, 1e-12, &mut work);
        assert!((a[0] - 2.0 * (3.0 * w).cos()).abs() < 1e-4, "{a:?}");
        assert!((a[1] + 1.0).abs() < 1e-4, "{a:?}");
        let mut e = Vec::new();
        squared_errors(&x, a, 3, &mut e);
        assert_eq!(e.len(), 200 - 6);
        assert!(e.iter().all(|v| *v < 1e-7));
    }

    /// The diagonal recursion against the sums written out.
    #[test]
    fn covariances_by_recursion_equal_the_sums() {
        let mut s = 1u32;
        let x: Vec<f32> = (0..120)
            .map(|_| {
                s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (s >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect();
        let (p, n) = (6, x.len());
        let mut work = Work::default();
        let a = fit(&x, p, 1, 0.0, &mut work);
        // The normal equations must hold for the direct sums.
        for i in 1..=p {
            let mut lhs = 0.0;
            let mut rhs = 0.0;
            let mut add = |seq: &dyn Fn(usize) -> f64| {
                for t in p..n {
                    let pred: f64 = (1..=p).map(|k| a[k - 1] * seq(t - k)).sum();
                    lhs += pred * seq(t - i);
                    rhs += seq(t) * seq(t - i);
                }
            };
            add(&|t| f64::from(x[t]));
            add(&|t| f64::from(x[n - 1 - t]));
            assert!(
                (lhs - rhs).abs() < 1e-6,
                "equation {i}: {lhs} against {rhs}"
            );
        }
    }

    #[test]
    fn silence_and_short_input_give_zeros() {
        let mut work = Work::default();
        assert_eq!(fit(&[0.0; 100], 8, 1, 1e-5, &mut work), [0.0; 8]);
        assert_eq!(fit(&[1.0; 10], 8, 1, 1e-5, &mut work), [0.0; 8]);
    }
}
