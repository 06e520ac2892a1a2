//! The units that cross rooms: hertz, cents, MIDI notes, decibels, seconds and frames; and the middle of
//! what was measured in them.
//!
//! Raw `f32`/`f64` with a unit suffix is fine inside a loop; a value that is handed from room to
//! room wears its type.

/// A frequency in hertz.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Hertz(pub f64);

/// An interval in cents, a hundredth of an equal-tempered semitone; sharp is positive.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Cents(pub f64);

/// A pitch as a fractional MIDI note number; 69 is A4, one unit is a semitone.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct MidiNote(pub f64);

/// A level or a ratio of levels in decibels (20 log10 of an amplitude ratio).
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Decibels(pub f64);

/// A time or a length of time in seconds.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Seconds(pub f64);

/// Frames per second of a stream; at least 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SampleRate(pub u32);

/// A place in a stream: frames since its first frame, gaps included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct FrameIndex(pub u64);

/// A number of frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct FrameCount(pub u64);

/// The frequency of A4 to which instruments are tuned unless told otherwise.
///
/// # Source
/// ISO 16:1975, *Acoustics: standard tuning frequency*: 440 Hz.
pub const STANDARD_A4: Hertz = Hertz(440.0);

/// The MIDI note number of A4.
///
/// # Source
/// MIDI 1.0 Detailed Specification: note 60 is middle C, so A4 is 69.
pub const MIDI_A4: f64 = 69.0;

impl MidiNote {
    /// The frequency of this pitch in twelve-tone equal temperament with A4 at `a4`.
    pub fn to_hertz(self, a4: Hertz) -> Hertz {
        Hertz(a4.0 * ((self.0 - MIDI_A4) / 12.0).exp2())
    }
}

impl Hertz {
    /// The fractional MIDI note of this frequency (must be above 0) with A4 at `a4`.
    pub fn to_midi(self, a4: Hertz) -> MidiNote {
        MidiNote(MIDI_A4 + 12.0 * (self.0 / a4.0).log2())
    }
}

/// How far `hz` lies above `from_hz`, in cents: 1200 times the binary logarithm of their ratio (ISO
/// 16 and equal temperament; both must be above 0).
pub fn cents(hz: f64, from_hz: f64) -> f64 {
    1200.0 * (hz / from_hz).log2()
}

impl SampleRate {
    /// Frames per second as a float, for arithmetic.
    pub fn hz(self) -> f64 {
        f64::from(self.0)
    }
}

impl FrameCount {
    /// This many frames in seconds.
    pub fn to_seconds(self, rate: SampleRate) -> Seconds {
        Seconds(self.0 as f64 / rate.hz())
    }
}

impl Decibels {
    /// Decibels of an amplitude ratio; minus infinity for 0.
    pub fn from_amplitude(ratio: f64) -> Self {
        Self(20.0 * ratio.log10())
    }

    /// The amplitude ratio; 0 for minus infinity.
    pub fn to_amplitude(self) -> f64 {
        (self.0 / 20.0 * 10f64.ln()).exp()
    }

    /// Decibels of a power ratio; minus infinity for 0.
    pub fn from_power(ratio: f64) -> Self {
        Self(10.0 * ratio.log10())
    }
}

/// A spread is the median distance from the middle times this, which is one standard deviation of a normal
/// distribution.
pub const SPREAD_OF_MEDIAN: f64 = 1.4826;

/// The middle of some measured numbers; sorts what it is given. `None` of nothing.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let count = values.len();
    match count {
        0 => None,
        _ if count % 2 == 1 => Some(values[count / 2]),
        _ => Some((values[count / 2 - 1] + values[count / 2]) / 2.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Equal temperament on ISO 16 (A4 = 440 Hz), the octave-by-octave A's being exact by
    /// definition, the others the usual handbook table to five figures.
    #[test]
    fn pitches_of_the_open_strings() {
        for (midi, hz) in [
            (23.0, 30.868),
            (28.0, 41.203),
            (33.0, 55.000),
            (38.0, 73.416),
            (43.0, 97.999),
            (69.0, 440.0),
        ] {
            let got = MidiNote(midi).to_hertz(STANDARD_A4).0;
            assert!(
                (got - hz).abs() < 0.0006,
                "midi {midi}: {got} Hz, table {hz} Hz"
            );
            let back = Hertz(hz).to_midi(STANDARD_A4).0;
            assert!((back - midi).abs() < 3e-4, "{hz} Hz: midi {back}");
        }
    }

    #[test]
    fn decibels_of_ratios() {
        assert!((Decibels::from_amplitude(0.1).0 + 20.0).abs() < 1e-12);
        assert!((Decibels::from_power(0.1).0 + 10.0).abs() < 1e-12);
        assert_eq!(Decibels::from_amplitude(0.0).0, f64::NEG_INFINITY);
        assert!((Decibels(-20.0).to_amplitude() - 0.1).abs() < 1e-12);
        assert_eq!(Decibels(f64::NEG_INFINITY).to_amplitude(), 0.0);
    }
}
