//! A small generator of random numbers with a fixed sequence for each seed.

/// SplitMix64.
///
/// # Source
/// Steele, Lea & Flood (2014), *Fast splittable pseudorandom number generators*, OOPSLA,
/// figure 17; constants of the public-domain C version by Vigna.
#[derive(Clone, Debug)]
pub(super) struct Random(u64);

impl Random {
    /// A sequence of its own for each seed.
    pub(super) fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub(super) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Evenly spread over 0 (included) to 1 (not included).
    pub(super) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly spread over `low` to `high`.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Normally spread with this standard deviation, cut off at ±2.5 of them: a player's small
    /// deviations, without the rare large one that would be a fault of its own.
    ///
    /// # Source
    /// Box & Muller (1958), Ann. Math. Stat. 29, 610-611.
    pub(super) fn normal(&mut self, sigma: f64) -> f64 {
        loop {
            let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
            let x = radius * (std::f64::consts::TAU * self.unit()).cos();
            if x.abs() <= 2.5 {
                return x * sigma;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::Random;

    /// Published: the first outputs for seed 1234567 of the public-domain C version, as quoted in
    /// the test suites of several languages' libraries (from memory).
    #[test]
    fn the_published_sequence() {
        let mut random = Random::new(1_234_567);
        let got: Vec<u64> = (0..3).map(|_| random.next()).collect();
        let wanted = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
        ];
        assert_eq!(got, wanted);
    }

    /// Closed form: mean 0 and a standard deviation of 0.955 for a normal cut off at 2.5; the
    /// tolerance is four standard errors of 20,000 draws.
    #[test]
    fn the_spread_of_a_player() {
        let mut random = Random::new(7);
        let draws: Vec<f64> = (0..20_000).map(|_| random.normal(1.0)).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let deviation = (draws.iter().map(|x| x * x).sum::<f64>() / 20_000.0).sqrt();
        assert!(mean.abs() < 0.028, "{mean}");
        assert!((deviation - 0.955).abs() < 0.02, "{deviation}");
    }
}
