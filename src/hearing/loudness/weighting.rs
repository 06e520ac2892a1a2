//! The frequency weighting by which a level is measured as it is heard: K-weighting.
//!
//! # Source
//! Recommendation ITU-R BS.1770-5 (2023), annex 1: a shelf that lifts what lies above 1.7 kHz by 4 dB,
//! then a high-pass (RLB). It gives the weights for 48 kHz (tables 1 and 2) and asks for the same
//! response at other rates: they are made here from the analogue filters which those weights are the
//! bilinear transform of. Tables 1 and 2 are from memory, checked against a public paper that derives the
//! analogue filters from them (*ITU-R BS.1770-1 filter specifications*, 2011).
//!
//! A-weighting (IEC 61672-1) was tried beside it: it makes the level of a bass note that of its upper
//! partials, so that the string's brightness counts for more than how hard it is struck; the order of a
//! take's notes then agreed less with how hard they were played (0.79 against 0.88, median over takes).

use crate::hearing::dsp::biquad::Biquad;

/// Where the shelf turns, in hertz; from table 1 of BS.1770.
const SHELF_HZ: f64 = 1_681.974_450_955_533;
/// The shelf's lift as an amplitude ratio; from table 1 of BS.1770.
const SHELF_LIFT: f64 = 1.584_864_701_130_855;
/// The shelf's gain where it turns, as an amplitude ratio; from table 1 of BS.1770.
const SHELF_MIDDLE: f64 = 1.258_720_930_232_562;
/// The shelf's quality; from table 1 of BS.1770.
const SHELF_QUALITY: f64 = 0.707_175_236_955_419_6;
/// The high-pass's corner in hertz; from table 2 of BS.1770.
const LOW_CUT_HZ: f64 = 38.135_470_876_024_44;
/// The high-pass's quality; from table 2 of BS.1770.
const LOW_CUT_QUALITY: f64 = 0.500_327_037_323_877_3;
/// What is added to ten times the logarithm of the weighted mean square, in decibels, so that a full
/// sine of 1 kHz in one channel reads -3.01 (BS.1770, equation 2).
pub const OFFSET_DB: f64 = -0.691;

/// The two filters of K-weighting at a rate of at least 8 kHz.
pub fn k_weighting(rate_hz: f64) -> [Biquad; 2] {
    let bent = |hz: f64| (std::f64::consts::PI * hz / rate_hz).tan();
    let (k, q) = (bent(SHELF_HZ), SHELF_QUALITY);
    let a0 = 1.0 + k / q + k * k;
    let shelf = Biquad::new(
        [
            (SHELF_LIFT + SHELF_MIDDLE * k / q + k * k) / a0,
            2.0 * (k * k - SHELF_LIFT) / a0,
            (SHELF_LIFT - SHELF_MIDDLE * k / q + k * k) / a0,
        ],
        [2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0],
    );
    let mut low_cut = Biquad::high_pass(LOW_CUT_HZ, LOW_CUT_QUALITY, rate_hz);
    // The recommendation leaves the high-pass's input weights at 1, -2, 1.
    low_cut.b = [1.0, -2.0, 1.0];
    [shelf, low_cut]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: tables 1 and 2 of BS.1770, at 48 kHz.
    #[test]
    fn the_weights_at_48_khz_are_those_of_the_recommendation() {
        let [shelf, low_cut] = k_weighting(48_000.0);
        for (got, want) in shelf.b.iter().chain(&shelf.a).chain(&low_cut.a).zip([
            1.535_124_859_586_97,
            -2.691_696_189_406_38,
            1.198_392_810_852_85,
            -1.690_659_293_182_41,
            0.732_480_774_215_85,
            -1.990_047_454_833_98,
            0.990_072_250_366_21,
        ]) {
            assert!((got - want).abs() < 1e-8, "{got} {want}");
        }
        assert_eq!(low_cut.b, [1.0, -2.0, 1.0]);
    }

    fn gain_db(hz: f64, rate_hz: f64) -> f64 {
        k_weighting(rate_hz)
            .iter()
            .map(|filter| filter.gain_db(hz, rate_hz))
            .sum()
    }

    /// Published: a sine of 997 Hz at full scale in one channel reads -3.01 LKFS (BS.1770, annex 1), so
    /// that the gain there takes the offset away.
    #[test]
    fn a_full_sine_of_1_khz_reads_minus_3() {
        let level = 10.0 * 0.5f64.log10() + gain_db(997.0, 48_000.0) + OFFSET_DB;
        assert!((level + 3.01).abs() < 0.01, "{level}");
    }

    /// The recommendation asks for the response of 48 kHz at every rate. Tolerance: 0.1 dB up to 3 kHz,
    /// above that the frequencies are bent by the bilinear transform at a low rate, 0.3 dB up to 6 kHz.
    #[test]
    fn the_response_is_the_same_at_every_rate() {
        for rate in [22_050.0, 24_000.0, 44_100.0, 96_000.0] {
            for hz in [30.0, 41.2, 55.0, 98.0, 300.0, 1_000.0, 2_000.0, 3_000.0] {
                let off = gain_db(hz, rate) - gain_db(hz, 48_000.0);
                assert!(off.abs() < 0.1, "{rate} {hz}: {off}");
            }
            let off = gain_db(6_000.0, rate) - gain_db(6_000.0, 48_000.0);
            assert!(off.abs() < 0.3, "{rate}: {off}");
        }
    }
}
