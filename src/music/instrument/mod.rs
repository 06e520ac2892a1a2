//! The instrument: its open strings, its frets and its scale length.

mod tuning;

use super::expected::Place;
use super::theory::NameError;
pub use tuning::Tuning;

/// Frets of an instrument that does not say: two octaves, so that no written line fails for want
/// of a fret. Common practice, no source.
pub const DEFAULT_FRETS: u8 = 24;

/// Most frets an instrument may have; beyond three octaves the spaces are under 3 mm at 34 inch.
pub const MAX_FRETS: u8 = 36;

/// Most strings an instrument may have. Extended-range basses stop at 12.
pub const MAX_STRINGS: usize = 12;

/// Scale length of the common long-scale bass: 34 inch, in millimetres.
pub const DEFAULT_SCALE_MM: f64 = 863.6;

/// Shortest and longest scale length accepted, in millimetres: from a small guitar to beyond an
/// upright bass (about 1060 mm).
pub const SCALE_MM_RANGE: (f64, f64) = (300.0, 1500.0);

/// Why something is not an instrument.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum InstrumentError {
    /// No strings, or too many.
    #[error(
        "a tuning has 1 to {MAX_STRINGS} strings, this one has {given}; list the open strings, for example `E1 A1 D2 G2`"
    )]
    StringCount {
        /// The number given.
        given: usize,
    },
    /// One of the open strings is not a note name.
    #[error("string {position} of the tuning: {cause}")]
    StringName {
        /// Its place in the list, from 1.
        position: usize,
        /// What is wrong with it.
        cause: NameError,
    },
    /// The strings go neither only up nor only down.
    #[error(
        "the open strings must go from low to high or from high to low without turning back; `{previous}` then `{given}` turns back or stays"
    )]
    Order {
        /// The string before.
        previous: String,
        /// The string that turns back.
        given: String,
    },
    /// Number of frets out of range.
    #[error("{given} frets; allowed are 1 to {MAX_FRETS}")]
    Frets {
        /// The number given.
        given: u8,
    },
    /// Scale length out of range.
    #[error("a scale length of {given} mm; allowed are {} to {} mm", SCALE_MM_RANGE.0, SCALE_MM_RANGE.1)]
    Scale {
        /// The length given in millimetres.
        given: f64,
    },
}

/// A fretted instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    tuning: Tuning,
    frets: u8,
    scale_mm: f64,
}

impl Default for Instrument {
    /// A 4-string bass with 24 frets and a 34-inch scale.
    fn default() -> Self {
        Self {
            tuning: Tuning::default(),
            frets: DEFAULT_FRETS,
            scale_mm: DEFAULT_SCALE_MM,
        }
    }
}

impl Instrument {
    /// An instrument.
    ///
    /// Input: `frets` 1 to 36, `scale_mm` 300 to 1500.
    ///
    /// # Errors
    /// `Frets` and `Scale` when out of these ranges.
    pub fn new(tuning: Tuning, frets: u8, scale_mm: f64) -> Result<Self, InstrumentError> {
        if !(1..=MAX_FRETS).contains(&frets) {
            return Err(InstrumentError::Frets { given: frets });
        }
        if !(SCALE_MM_RANGE.0..=SCALE_MM_RANGE.1).contains(&scale_mm) {
            return Err(InstrumentError::Scale { given: scale_mm });
        }
        Ok(Self {
            tuning,
            frets,
            scale_mm,
        })
    }

    /// An instrument with this tuning, 24 frets and a 34-inch scale.
    pub fn with_tuning(tuning: Tuning) -> Self {
        Self {
            tuning,
            ..Self::default()
        }
    }

    /// The open strings.
    pub fn tuning(&self) -> &Tuning {
        &self.tuning
    }

    /// Number of strings.
    pub fn strings(&self) -> u8 {
        self.tuning.strings()
    }

    /// Number of frets.
    pub fn frets(&self) -> u8 {
        self.frets
    }

    /// Length of the open string in millimetres.
    pub fn scale_mm(&self) -> f64 {
        self.scale_mm
    }

    /// The MIDI note at a place; `None` when the instrument has no such string or fret.
    pub fn midi_at(&self, place: Place) -> Option<u8> {
        let open = self.tuning.open_midi(place.string)?;
        (place.fret <= self.frets)
            .then(|| open.checked_add(place.fret))?
            .filter(|&m| m <= 127)
    }

    /// All places where a MIDI note can be played, from the thickest string (highest fret) to the
    /// thinnest.
    pub fn places(&self, midi: u8) -> Vec<Place> {
        (1..=self.strings())
            .rev()
            .filter_map(|string| {
                let fret = midi.checked_sub(self.tuning.open_midi(string)?)?;
                (fret <= self.frets).then_some(Place { string, fret })
            })
            .collect()
    }

    /// The lowest and the highest MIDI note of the instrument.
    pub fn range(&self) -> (u8, u8) {
        let open = self.tuning.open_strings();
        let lowest = open.iter().min().copied().unwrap_or(0);
        let highest = open.iter().max().copied().unwrap_or(0);
        (lowest, highest.saturating_add(self.frets).min(127))
    }

    /// Distance of a fret from the nut in millimetres; 0 for the open string.
    ///
    /// # Source
    /// Equal temperament on an ideal string: x(n) = L (1 - 2^(-n/12)).
    pub fn fret_mm(&self, fret: u8) -> f64 {
        self.scale_mm * (1.0 - (-f64::from(fret) / 12.0).exp2())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frets_lie_where_the_34_inch_table_puts_them() {
        // Published: fret tables for a 34-inch (863.6 mm) scale, rounded to 0.01 mm.
        let bass = Instrument::default();
        for (fret, mm) in [
            (1, 48.47),
            (2, 94.22),
            (3, 137.40),
            (4, 178.16),
            (5, 216.63),
            (7, 287.22),
            (9, 350.10),
            (12, 431.80),
            (15, 500.50),
            (17, 540.12),
            (20, 591.58),
            (21, 606.85),
            (24, 647.70),
        ] {
            assert!(
                (bass.fret_mm(fret) - mm).abs() < 0.0051,
                "{fret}: {}",
                bass.fret_mm(fret)
            );
        }
        assert_eq!(bass.fret_mm(0), 0.0);
    }

    #[test]
    fn string_one_is_the_thinnest() {
        // MusicXML 4.0, element <string>: numbered from 1, the highest-pitched string.
        let bass = Instrument::default();
        assert_eq!(bass.midi_at(Place { string: 1, fret: 0 }), Some(43));
        assert_eq!(bass.midi_at(Place { string: 4, fret: 0 }), Some(28));
        assert_eq!(bass.midi_at(Place { string: 3, fret: 7 }), Some(40));
        assert_eq!(bass.midi_at(Place { string: 5, fret: 0 }), None);
        assert_eq!(bass.midi_at(Place { string: 0, fret: 0 }), None);
        assert_eq!(
            bass.midi_at(Place {
                string: 1,
                fret: 25
            }),
            None
        );
    }

    #[test]
    fn every_place_of_a_note_gives_the_note_back() {
        for tuning in [
            Tuning::bass4(),
            Tuning::bass5(),
            Tuning::bass6(),
            Tuning::guitar(),
        ] {
            let instrument = Instrument::with_tuning(tuning);
            for midi in 0..=127 {
                let places = instrument.places(midi);
                for place in &places {
                    assert_eq!(instrument.midi_at(*place), Some(midi));
                }
                let (low, high) = instrument.range();
                assert_eq!(!places.is_empty(), (low..=high).contains(&midi), "{midi}");
            }
        }
    }

    #[test]
    fn what_no_instrument_has_is_refused() {
        assert!(Instrument::new(Tuning::bass4(), 0, 863.6).is_err());
        assert!(Instrument::new(Tuning::bass4(), 37, 863.6).is_err());
        assert!(Instrument::new(Tuning::bass4(), 24, f64::NAN).is_err());
    }
}
