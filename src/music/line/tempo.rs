//! Tempos.

use std::fmt;

use super::length::{Length, UNITS_PER_QUARTER};

/// Slowest and fastest tempo, in quarter notes a minute. At 5 a quarter lasts 12 s; at 1000 a
/// sixteenth lasts 15 ms, beyond what can be played.
pub const QUARTERS_PER_MINUTE_RANGE: (f64, f64) = (5.0, 1000.0);

/// A tempo: beats a minute, and the length of such a beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tempo {
    bpm: f64,
    beat: Length,
}

/// Why something is not a tempo.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "a tempo of {bpm} beats a minute ({quarters:.1} quarter notes) is out of range; allowed are {} to {} quarter notes a minute",
    QUARTERS_PER_MINUTE_RANGE.0, QUARTERS_PER_MINUTE_RANGE.1
)]
pub struct TempoError {
    /// The beats per minute given.
    pub bpm: f64,
    /// What that is in quarter notes per minute.
    pub quarters: f64,
}

impl Default for Tempo {
    /// 120 quarters a minute, the tempo of a MIDI file that names none.
    ///
    /// # Source
    /// SMF 1.0 (1988): 500000 microseconds a quarter unless set.
    fn default() -> Self {
        Self {
            bpm: 120.0,
            beat: Length::QUARTER,
        }
    }
}

impl Tempo {
    /// `bpm` beats a minute, each of the length `beat`.
    ///
    /// # Errors
    /// When that is not within 5 to 1000 quarter notes a minute; 0 and NaN are not.
    pub fn new(bpm: f64, beat: Length) -> Result<Self, TempoError> {
        let quarters = bpm * beat.quarters();
        let (slowest, fastest) = QUARTERS_PER_MINUTE_RANGE;
        if !(slowest..=fastest).contains(&quarters) {
            return Err(TempoError { bpm, quarters });
        }
        Ok(Self { bpm, beat })
    }

    /// `bpm` quarter notes a minute.
    ///
    /// # Errors
    /// When not within 5 to 1000.
    pub fn quarters(bpm: f64) -> Result<Self, TempoError> {
        Self::new(bpm, Length::QUARTER)
    }

    /// The tempo of a MIDI file's microseconds per quarter, as the shortest decimal number of
    /// beats a minute that gives the same microseconds again (408163 is 147, not 147.00009).
    ///
    /// # Errors
    /// When not within 5 to 1000 quarters a minute.
    pub(crate) fn from_microseconds(per_quarter: u32) -> Result<Self, TempoError> {
        let exact = 60e6 / f64::from(per_quarter);
        for scale in [1.0, 10.0, 100.0, 1000.0, 10_000.0] {
            let bpm = (exact * scale).round() / scale;
            // Writers round or cut; one microsecond either way is the file's own resolution.
            if bpm > 0.0 && (60e6 / bpm - f64::from(per_quarter)).abs() < 1.0 {
                return Self::quarters(bpm);
            }
        }
        Self::quarters(exact)
    }

    /// Beats a minute.
    pub fn bpm(self) -> f64 {
        self.bpm
    }

    /// The length of a beat.
    pub fn beat(self) -> Length {
        self.beat
    }

    /// Quarter notes a minute.
    pub fn quarters_per_minute(self) -> f64 {
        self.bpm * self.beat.quarters()
    }

    /// How long `length` lasts at this tempo, in seconds.
    pub fn seconds(self, length: Length) -> f64 {
        // Units first: a beat is a whole number of them, so an even beat gives an even time.
        let beats = length.units() as f64 / self.beat.units() as f64;
        beats * 60.0 / self.bpm
    }

    /// This tempo `factor` times as fast.
    ///
    /// # Errors
    /// When the result is out of range.
    pub fn scaled(self, factor: f64) -> Result<Self, TempoError> {
        Self::new(self.bpm * factor, self.beat)
    }
}

impl fmt::Display for Tempo {
    /// As the `.line` text writes it: `96`, or `64 per 1/4.` for beats other than quarters.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.bpm)?;
        if self.beat.units() != UNITS_PER_QUARTER {
            write!(f, " per {}", self.beat)?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_minute_is_sixty_seconds() {
        let tempo = Tempo::quarters(96.0).unwrap();
        assert_eq!(tempo.seconds(Length::QUARTER), 0.625);
        let dotted = Tempo::new(64.0, Length::of_whole(3, 8).unwrap()).unwrap();
        assert_eq!(dotted.quarters_per_minute(), 96.0);
        assert_eq!(dotted.to_string(), "64 per 1/4.");
        assert_eq!(tempo.to_string(), "96");
    }

    #[test]
    fn midi_tempos_give_the_number_the_writer_meant() {
        // SMF 1.0: 500000 us is 120 bpm. The others are 60e6 / bpm, rounded or cut.
        for (us, bpm) in [
            (500_000, 120.0),
            (408_163, 147.0),
            (689_655, 87.0),
            (689_656, 87.0),
            (631_578, 95.0),
        ] {
            assert_eq!(Tempo::from_microseconds(us).unwrap().bpm(), bpm);
        }
        let odd = Tempo::from_microseconds(612_245).unwrap();
        assert!((60e6 / odd.bpm() - 612_245.0).abs() < 1.0);
    }

    #[test]
    fn tempos_out_of_range_are_refused() {
        for bpm in [0.0, -60.0, 4.9, 1001.0, f64::NAN, f64::INFINITY] {
            assert!(Tempo::quarters(bpm).is_err(), "{bpm}");
        }
        assert!(Tempo::new(100.0, Length::ZERO).is_err());
        assert!(Tempo::quarters(100.0).unwrap().scaled(0.01).is_err());
    }
}
