//! The instrument: its open strings, its frets and its scale length.

use std::fmt;
use std::str::FromStr;

use super::expected::Place;
use super::theory::{Key, NameError, SpelledPitch};

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

/// The open strings of an instrument.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Tuning {
    /// MIDI note of each open string; index 0 is string 1, the thinnest.
    open_midi: Vec<u8>,
}

impl Tuning {
    /// A tuning from the MIDI notes of its open strings, all rising or all falling.
    ///
    /// # Errors
    /// `StringCount` and `Order`; a note above 127 counts as a name that MIDI cannot number.
    pub fn new(open_midi: &[u8]) -> Result<Self, InstrumentError> {
        if open_midi.is_empty() || open_midi.len() > MAX_STRINGS {
            return Err(InstrumentError::StringCount {
                given: open_midi.len(),
            });
        }
        for (at, &midi) in open_midi.iter().enumerate() {
            if midi > 127 {
                let cause = NameError::OutOfRange {
                    given: midi.to_string(),
                };
                return Err(InstrumentError::StringName {
                    position: at + 1,
                    cause,
                });
            }
        }
        let mut open_midi = open_midi.to_vec();
        let falling = open_midi.len() > 1 && open_midi[0] > open_midi[1];
        if falling {
            open_midi.reverse();
        }
        for pair in open_midi.windows(2) {
            if pair[0] >= pair[1] {
                let name = |midi| Key::default().spell(midi).to_string();
                let (low, high) = if falling { (1, 0) } else { (0, 1) };
                return Err(InstrumentError::Order {
                    previous: name(pair[low]),
                    given: name(pair[high]),
                });
            }
        }
        open_midi.reverse();
        Ok(Self { open_midi })
    }

    fn of_low_to_high(open_midi: &[u8]) -> Self {
        Self {
            open_midi: open_midi.iter().rev().copied().collect(),
        }
    }

    /// The common 4-string bass: E1 A1 D2 G2.
    pub fn bass4() -> Self {
        Self::of_low_to_high(&[28, 33, 38, 43])
    }

    /// The common 5-string bass: B0 E1 A1 D2 G2.
    pub fn bass5() -> Self {
        Self::of_low_to_high(&[23, 28, 33, 38, 43])
    }

    /// The common 6-string bass: B0 E1 A1 D2 G2 C3.
    pub fn bass6() -> Self {
        Self::of_low_to_high(&[23, 28, 33, 38, 43, 48])
    }

    /// The guitar: E2 A2 D3 G3 B3 E4.
    pub fn guitar() -> Self {
        Self::of_low_to_high(&[40, 45, 50, 55, 59, 64])
    }

    /// Number of strings.
    pub fn strings(&self) -> u8 {
        self.open_midi.len() as u8
    }

    /// The MIDI note of an open string (1 = thinnest); `None` when there is no such string.
    pub fn open_midi(&self, string: u8) -> Option<u8> {
        self.open_midi
            .get(usize::from(string).checked_sub(1)?)
            .copied()
    }
}

impl Default for Tuning {
    /// The common 4-string bass.
    fn default() -> Self {
        Self::bass4()
    }
}

impl fmt::Display for Tuning {
    /// The open strings from the lowest up: `E1 A1 D2 G2`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // E major would spell G# for Ab; the key of C gives the names strings are known by.
        let names: Vec<String> = self
            .open_midi
            .iter()
            .rev()
            .map(|&midi| Key::default().spell(midi).to_string())
            .collect();
        f.write_str(&names.join(" "))
    }
}

impl FromStr for Tuning {
    type Err = InstrumentError;

    /// Reads a list of open strings, low to high or high to low, or one of the names `4`, `5`, `6`
    /// (also `4-string` and so on) and `guitar`, in either case.
    fn from_str(text: &str) -> Result<Self, InstrumentError> {
        match text.trim().to_ascii_lowercase().as_str() {
            "4" | "4-string" => return Ok(Self::bass4()),
            "5" | "5-string" => return Ok(Self::bass5()),
            "6" | "6-string" => return Ok(Self::bass6()),
            "guitar" => return Ok(Self::guitar()),
            _ => {}
        }
        let mut open_midi = Vec::new();
        for (at, word) in text
            .split(|c: char| c.is_whitespace() || c == ',')
            .filter(|word| !word.is_empty())
            .enumerate()
        {
            let pitch: SpelledPitch =
                word.parse().map_err(|cause| InstrumentError::StringName {
                    position: at + 1,
                    cause,
                })?;
            open_midi.push(u8::try_from(pitch.midi()).unwrap_or(u8::MAX));
        }
        Self::new(&open_midi)
    }
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
        let lowest = self.tuning.open_midi.iter().min().copied().unwrap_or(0);
        let highest = self.tuning.open_midi.iter().max().copied().unwrap_or(0);
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
    fn tunings_read_in_either_direction_and_write_from_the_lowest_up() {
        for (text, shown) in [
            ("E1 A1 D2 G2", "E1 A1 D2 G2"),
            ("G2, D2, A1, E1", "E1 A1 D2 G2"),
            ("D1 A1 D2 G2", "D1 A1 D2 G2"),
            ("5-string", "B0 E1 A1 D2 G2"),
            ("6-string", "B0 E1 A1 D2 G2 C3"),
            ("guitar", "E2 A2 D3 G3 B3 E4"),
            ("Eb1 Ab1 Db2 Gb2", "Eb1 Ab1 Db2 F#2"),
            ("E1", "E1"),
        ] {
            let tuning: Tuning = text.parse().unwrap();
            assert_eq!(tuning.to_string(), shown);
            assert_eq!(tuning.to_string().parse(), Ok(tuning));
        }
    }

    #[test]
    fn wrong_tunings_say_what_is_wrong() {
        for (text, words) in [
            ("", "1 to 12 strings, this one has 0"),
            (
                "E1 A D2 G2",
                "string 2 of the tuning: `A` is not a note name",
            ),
            ("E1 A1 G2 D2", "`G2` then `D2` turns back"),
            ("G2 D2 E2", "`D2` then `E2` turns back"),
            ("E1 E1", "`E1` then `E1` turns back or stays"),
            ("E1 A1 D2 G9 A9", "outside MIDI notes"),
        ] {
            let message = text.parse::<Tuning>().unwrap_err().to_string();
            assert!(message.contains(words), "{text}: {message}");
        }
        assert!(Instrument::new(Tuning::bass4(), 0, 863.6).is_err());
        assert!(Instrument::new(Tuning::bass4(), 37, 863.6).is_err());
        assert!(Instrument::new(Tuning::bass4(), 24, f64::NAN).is_err());
    }
}
