//! A filter of second order, and the high-pass made from it.
//!
//! # Source
//! The bilinear transform and the transposed direct form: Oppenheim & Schafer, *Discrete-Time Signal
//! Processing* (from memory). The quality of the two parts of a high-pass of fourth order: Butterworth
//! (1930), *On the theory of filter amplifiers*, Wireless Engineer 7, 536-541 (from memory).

/// One filter of second order with its state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Biquad {
    /// Weights of the newest inputs.
    pub b: [f64; 3],
    /// Weights of the two outputs before, that of the newest being 1.
    pub a: [f64; 2],
    state: [f64; 2],
}

impl Biquad {
    /// The filter with these weights, at rest.
    pub fn new(b: [f64; 3], a: [f64; 2]) -> Self {
        Self {
            b,
            a,
            state: [0.0; 2],
        }
    }

    /// A high-pass with its corner at `corner_hz` (below half of `rate_hz`) and the quality `quality`;
    /// the gain far above the corner is 1.
    pub fn high_pass(corner_hz: f64, quality: f64, rate_hz: f64) -> Self {
        let k = (std::f64::consts::PI * corner_hz / rate_hz).tan();
        let a0 = 1.0 + k / quality + k * k;
        Self::new(
            [1.0 / a0, -2.0 / a0, 1.0 / a0],
            [2.0 * (k * k - 1.0) / a0, (1.0 - k / quality + k * k) / a0],
        )
    }

    /// The next output. Never fails; whatever comes in must be finite.
    #[inline(always)]
    pub fn next(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y
    }

    /// Its gain at `hz`, in decibels.
    pub fn gain_db(&self, hz: f64, rate_hz: f64) -> f64 {
        let w = 2.0 * std::f64::consts::PI * hz / rate_hz;
        let sum = |c: [f64; 3]| {
            let re = c[0] + c[1] * w.cos() + c[2] * (2.0 * w).cos();
            let im = c[1] * w.sin() + c[2] * (2.0 * w).sin();
            re * re + im * im
        };
        10.0 * (sum(self.b) / sum([1.0, self.a[0], self.a[1]])).log10()
    }
}

/// The qualities of the two halves of a Butterworth filter of fourth order.
pub const FOURTH_ORDER: [f64; 2] = [0.541_196_1, 1.306_563];

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: a Butterworth high-pass of fourth order falls by 3.01 dB at its corner and by
    /// 10 log10(1 + (corner/f)^8) elsewhere, the frequencies bent by the bilinear transform.
    #[test]
    fn a_high_pass_of_fourth_order_is_butterworths() {
        let (corner, rate) = (1500.0, 22_050.0);
        let [low, high] = FOURTH_ORDER.map(|q| Biquad::high_pass(corner, q, rate));
        let bent = |hz: f64| (std::f64::consts::PI * hz / rate).tan();
        for hz in [100.0, 750.0, 1500.0, 3000.0, 8000.0] {
            let got = low.gain_db(hz, rate) + high.gain_db(hz, rate);
            let want = -10.0 * (1.0 + (bent(corner) / bent(hz)).powi(8)).log10();
            assert!((got - want).abs() < 1e-4, "{hz}: {got} {want}");
        }
    }

    /// The gain that is told is the gain that a sine gets.
    #[test]
    fn the_gain_is_that_of_a_sine() {
        let rate = 8000.0;
        let mut filter = Biquad::high_pass(400.0, 0.7, rate);
        let told = filter.gain_db(300.0, rate);
        let mut power = 0.0;
        for n in 0..16_000 {
            let y = filter.next((2.0 * std::f64::consts::PI * 300.0 * f64::from(n) / rate).sin());
            if n >= 8_000 {
                power += y * y / 8_000.0;
            }
        }
        assert!((10.0 * (2.0 * power).log10() - told).abs() < 1e-6);
    }
}
