//! How far the fingers lie apart on a real neck.

use crate::music::instrument::Instrument;

/// Frets under a hand with one finger at each. Common practice, no source.
pub const FRAME_FRETS: u8 = 4;

/// Millimetres between two frets of the neck.
///
/// # Source
/// [`Instrument::fret_mm`]: x(n) = L (1 - 2^(-n/12)).
pub fn reach_mm(instrument: &Instrument, from: u8, to: u8) -> f64 {
    (instrument.fret_mm(to) - instrument.fret_mm(from)).abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_frets_of_a_34_inch_neck() {
        // Closed form, from the fret formula for 863.6 mm, to half a millimetre.
        let bass = Instrument::default();
        for (from, to, mm) in [
            (1, 4, 130.0),
            (3, 6, 116.0),
            (5, 8, 103.0),
            (7, 10, 92.0),
            (9, 12, 82.0),
            (12, 15, 69.0),
            // With one fret more.
            (1, 5, 168.0),
            (5, 9, 133.5),
        ] {
            let found = reach_mm(&bass, from, to);
            assert!((found - mm).abs() < 0.51, "{from} to {to}: {found}");
        }
    }
}
