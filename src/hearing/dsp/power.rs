//! Sums of products and of squares, and what they are in decibels: in a fixed order, so that a result
//! does not depend on how the samples were delivered.

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

/// Level of some samples in decibels relative to full scale; -160 of none.
pub fn level_db(x: &[f32]) -> f64 {
    10.0 * (mean_square(x) + 1e-16).log10()
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

#[cfg(test)]
mod tests {
    use super::*;

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
}
