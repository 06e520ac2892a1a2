//! Keys, and how they spell the twelve pitch classes.

use std::fmt;
use std::str::FromStr;

use super::{NameError, NoteName, SpelledPitch};
use crate::words;

/// The mode of a key, as a key signature tells it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Mode {
    /// Major.
    Major,
    /// Minor.
    Minor,
}

/// A key: its signature and its mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Key {
    fifths: i8,
    mode: Mode,
}

impl Default for Key {
    /// C major, the key of a line that names none.
    fn default() -> Self {
        Self {
            fifths: 0,
            mode: Mode::Major,
        }
    }
}

impl Key {
    /// The key with `fifths` sharps (positive) or flats (negative), -7 to 7; `None` beyond.
    pub fn new(fifths: i8, mode: Mode) -> Option<Self> {
        (-7..=7).contains(&fifths).then_some(Self { fifths, mode })
    }

    /// Sharps (positive) or flats (negative) of the signature, -7 to 7.
    pub fn fifths(self) -> i8 {
        self.fifths
    }

    /// Major or minor.
    pub fn mode(self) -> Mode {
        self.mode
    }

    /// The keynote.
    pub fn tonic(self) -> NoteName {
        let raised = if self.mode == Mode::Minor { 3 } else { 0 };
        NoteName::from_fifths(i32::from(self.fifths) + raised)
    }

    /// How this key spells a MIDI note.
    ///
    /// Twelve neighbours on the line of fifths cover the twelve pitch classes once. Major takes
    /// those from the lowered second to the raised fourth; minor those from the lowered second to
    /// the raised fourth of its own tonic, so that the raised sixth and seventh come out as such.
    ///
    /// # Source
    /// The line of fifths as the space of spellings: Temperley, *The Cognition of Basic Musical
    /// Structures* (2001), chapter 5 (from memory). The choice of window is common practice.
    pub fn spell(self, midi: u8) -> SpelledPitch {
        let lowest = i32::from(self.fifths) - if self.mode == Mode::Minor { 2 } else { 5 };
        // One step on the line of fifths is 7 semitones, and 7 * 7 = 49 = 1 (mod 12), so the
        // pitch class names its place modulo 12.
        let wanted = (i32::from(midi) * 7).rem_euclid(12);
        let fifths = lowest + (wanted - lowest).rem_euclid(12);
        SpelledPitch::with_name(NoteName::from_fifths(fifths), midi)
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mode = if self.mode == Mode::Minor {
            "minor"
        } else {
            "major"
        };
        write!(f, "{} {mode}", self.tonic())
    }
}

impl FromStr for Key {
    type Err = NameError;

    /// Reads `A minor`, `Bb major`, `F#m`, `D`.
    fn from_str(text: &str) -> Result<Self, NameError> {
        let wrong = || NameError::Key {
            given: text.to_owned(),
        };
        let (tonic, rest) = NoteName::split_from(text.trim()).ok_or_else(wrong)?;
        let mode = match rest.trim() {
            "" | "maj" | "major" => Mode::Major,
            "m" | "min" | "minor" => Mode::Minor,
            _ => return Err(wrong()),
        };
        let lowered = if mode == Mode::Minor { 3 } else { 0 };
        let fifths = i8::try_from(tonic.fifths() - lowered).map_err(|_| wrong())?;
        Self::new(fifths, mode).ok_or_else(wrong)
    }
}

/// The name of the pitch nearest to a fractional MIDI note, as `key` spells it, without its octave:
/// "Ab"; by its common name where no key is known, "?" for what is no pitch.
pub fn pitch_class_in(midi: f64, key: Option<Key>) -> String {
    match (key, words::nearest(midi)) {
        (Some(key), Some(midi)) => key.spell(midi).name.to_string(),
        _ => words::pitch_class(midi).to_owned(),
    }
}

/// The same with its octave: "Ab1".
pub fn pitch_in(midi: f64, key: Option<Key>) -> String {
    match (key, words::nearest(midi)) {
        (Some(key), Some(midi)) => key.spell(midi).to_string(),
        _ => words::pitch(midi),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: A major has three sharps, the third of them G sharp; E flat major has three
    /// flats, the third of them A flat.
    #[test]
    fn a_heard_pitch_is_named_as_the_key_spells_it() {
        let key = |fifths| Key::new(fifths, Mode::Major);
        assert_eq!(pitch_in(32.0, key(3)), "G#1");
        assert_eq!(pitch_in(32.4, key(-3)), "Ab1");
        assert_eq!(pitch_class_in(32.0, key(3)), "G#");
        assert_eq!(pitch_in(32.0, None), words::pitch(32.0));
        assert_eq!(pitch_class_in(f64::NAN, key(3)), "?");
    }

    #[test]
    fn signatures_are_those_of_the_circle_of_fifths() {
        // Published: the circle of fifths of any theory handbook; SMF 1.0 counts the same way.
        for (name, fifths) in [
            ("C", 0),
            ("G major", 1),
            ("F", -1),
            ("Bb major", -2),
            ("F# major", 6),
            ("Gb", -6),
            ("C# major", 7),
            ("Cb major", -7),
            ("Am", 0),
            ("E minor", 1),
            ("D minor", -1),
            ("F#m", 3),
            ("C minor", -3),
            ("Bb minor", -5),
            ("A# minor", 7),
        ] {
            assert_eq!(name.parse::<Key>().unwrap().fifths, fifths, "{name}");
        }
    }

    #[test]
    fn keys_read_back_as_they_are_written() {
        for fifths in -7..=7 {
            for mode in [Mode::Major, Mode::Minor] {
                let key = Key::new(fifths, mode).unwrap();
                assert_eq!(key.to_string().parse(), Ok(key));
            }
        }
    }

    #[test]
    fn a_key_spells_its_own_scale_and_its_usual_alterations() {
        let spelled = |key: &str, notes: &[u8]| -> Vec<String> {
            let key: Key = key.parse().unwrap();
            notes.iter().map(|&m| key.spell(m).to_string()).collect()
        };
        // The scales are textbook scales.
        assert_eq!(
            spelled("Ab major", &[32, 34, 36, 37, 39, 41, 43]),
            ["Ab1", "Bb1", "C2", "Db2", "Eb2", "F2", "G2"]
        );
        assert_eq!(
            spelled("E major", &[28, 30, 32, 33, 35, 37, 39]),
            ["E1", "F#1", "G#1", "A1", "B1", "C#2", "D#2"]
        );
        // A minor with its raised sixth and seventh: F# and G#, never Gb and Ab.
        assert_eq!(
            spelled("A minor", &[41, 42, 43, 44]),
            ["F2", "F#2", "G2", "G#2"]
        );
        // D minor: C# and Bb in one key.
        assert_eq!(spelled("D minor", &[37, 34]), ["C#2", "Bb1"]);
        assert_eq!(spelled("C major", &[34, 30]), ["Bb1", "F#1"]);
        // Gb major: Cb, whose octave is that of the natural C.
        assert_eq!(spelled("Gb major", &[35]), ["Cb2"]);
    }

    #[test]
    fn what_is_no_key_is_refused() {
        for text in ["", "H", "C dur", "G# major", "Fb", "c minor"] {
            assert!(text.parse::<Key>().is_err(), "{text}");
        }
    }
}
