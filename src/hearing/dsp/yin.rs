//! The period of a sound, by the steps of the YIN paper.
//!
//! # Source
//! A. de Cheveigné and H. Kawahara (2002), *YIN, a fundamental frequency estimator for speech and
//! music*, J. Acoust. Soc. Am. 111, 1917-1930. Equation and step numbers below are the paper's.

/// Difference function, equation 6: d(tau) = sum over j < `window` of (x\[j\] - x\[j + tau\])^2 for
/// tau from 0 to `max_lag`.
///
/// Input:  `x` holds `window + max_lag` samples at least; what is missing shortens `max_lag`.
pub fn difference(x: &[f32], window: usize, max_lag: usize, out: &mut Vec<f32>) {
    out.clear();
    if window == 0 || x.len() < window {
        return;
    }
    let max_lag = max_lag.min(x.len() - window);
    let head = &x[..window];
    // d(tau) = r(0) + r_tau(0) - 2 r(tau), with both energies kept as running sums in double
    // precision so that nothing is lost where they cancel.
    let square = |s: &f32| f64::from(*s) * f64::from(*s);
    let own: f64 = head.iter().map(square).sum();
    let mut other = own;
    for tau in (0..=max_lag).step_by(LAGS) {
        let lags = (max_lag + 1 - tau).min(LAGS);
        let cross = if lags == LAGS {
            products(head, &x[tau..])
        } else {
            std::array::from_fn(|i| {
                if i < lags {
                    super::power::dot(head, &x[tau + i..tau + i + window])
                } else {
                    0.0
                }
            })
        };
        for (tau, cross) in (tau..).zip(&cross[..lags]) {
            out.push((own + other - 2.0 * f64::from(*cross)).max(0.0) as f32);
            if tau < max_lag {
                other += square(&x[tau + window]) - square(&x[tau]);
            }
        }
    }
}

/// Lags that are looked at side by side.
const LAGS: usize = 4;

/// The products of `head` with `x` from each of four places on, each summed in four lanes.
fn products(head: &[f32], x: &[f32]) -> [f32; LAGS] {
    let (fours, rest) = head.as_chunks::<4>();
    let from = head.len() - rest.len();
    let at = |lag: usize| x[lag..lag + from].as_chunks::<4>().0;
    let mut lanes = [[0.0f32; 4]; LAGS];
    let [a, b, c, d] = &mut lanes;
    let stretches = at(0).iter().zip(at(1)).zip(at(2)).zip(at(3));
    for (h, (((w, x), y), z)) in fours.iter().zip(stretches) {
        for k in 0..4 {
            a[k] += h[k] * w[k];
            b[k] += h[k] * x[k];
            c[k] += h[k] * y[k];
            d[k] += h[k] * z[k];
        }
    }
    std::array::from_fn(|lag| {
        let l = lanes[lag];
        let tail = rest.iter().zip(&x[from + lag..]);
        let tail: f32 = tail.map(|(a, b)| a * b).sum();
        (l[0] + l[2]) + (l[1] + l[3]) + tail
    })
}

/// Cumulative mean normalised difference, equation 8, in place: d'(0) = 1, d'(tau) = d(tau)
/// divided by the mean of d(1) to d(tau).
pub fn normalise(d: &mut [f32]) {
    let mut sum = 0.0f64;
    for (tau, v) in d.iter_mut().enumerate() {
        if tau == 0 {
            *v = 1.0;
            continue;
        }
        sum += f64::from(*v);
        *v = if sum > 0.0 {
            (f64::from(*v) * tau as f64 / sum) as f32
        } else {
            1.0
        };
    }
}

/// Step 4, the absolute threshold: the smallest lag from `min_lag` up that is a local minimum
/// below `threshold`; the deepest lag when there is none. `None` when there is no lag at all.
pub fn pick(d: &[f32], min_lag: usize, threshold: f32) -> Option<usize> {
    let mut tau = min_lag.max(1);
    while tau < d.len() {
        if d[tau] < threshold {
            while tau + 1 < d.len() && d[tau + 1] < d[tau] {
                tau += 1;
            }
            return Some(tau);
        }
        tau += 1;
    }
    (min_lag.max(1)..d.len()).min_by(|a, b| d[*a].total_cmp(&d[*b]))
}

/// Step 5, parabolic interpolation: the lag of the vertex through the three values around `tau`
/// and the value there.
pub fn interpolate(d: &[f32], tau: usize) -> (f64, f64) {
    if tau == 0 || tau + 1 >= d.len() {
        return (tau as f64, f64::from(d[tau.min(d.len() - 1)]));
    }
    let (a, b, c) = (
        f64::from(d[tau - 1]),
        f64::from(d[tau]),
        f64::from(d[tau + 1]),
    );
    let curve = a - 2.0 * b + c;
    if curve <= 0.0 {
        return (tau as f64, b);
    }
    let shift = (0.5 * (a - c) / curve).clamp(-0.5, 0.5);
    (tau as f64 + shift, b - 0.25 * (a - c) * shift)
}
