//! Note names with and without octave.
//!
//! Octaves are those of scientific pitch notation *as sounding*: the open E string of a bass is
//! E1, MIDI note 28, although it is written an octave higher on a staff.

use std::fmt;
use std::str::FromStr;

use super::NameError;

/// A letter of the musical alphabet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[allow(missing_docs, reason = "the seven letters say what they are")]
pub enum Letter {
    C,
    D,
    E,
    F,
    G,
    A,
    B,
}

/// Letters in order of fifths, from F upwards; the order in which sharps enter a signature.
const FIFTHS_ORDER: [Letter; 7] = [
    Letter::F,
    Letter::C,
    Letter::G,
    Letter::D,
    Letter::A,
    Letter::E,
    Letter::B,
];

impl Letter {
    /// Semitones of the natural note above C, 0 to 11.
    pub fn semitones(self) -> i32 {
        match self {
            Self::C => 0,
            Self::D => 2,
            Self::E => 4,
            Self::F => 5,
            Self::G => 7,
            Self::A => 9,
            Self::B => 11,
        }
    }

    fn from_char(letter: char) -> Option<Self> {
        Some(match letter {
            'C' => Self::C,
            'D' => Self::D,
            'E' => Self::E,
            'F' => Self::F,
            'G' => Self::G,
            'A' => Self::A,
            'B' => Self::B,
            _ => return None,
        })
    }
}

/// A note name without octave: a letter and how many semitones it is raised (+) or lowered (-).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct NoteName {
    /// The letter.
    pub letter: Letter,
    /// Sharps (positive) or flats (negative), -2 to 2 when read from text.
    pub alter: i8,
}

impl NoteName {
    /// The place on the line of fifths: Bb -2, F -1, C 0, G 1, and on up to F# 6.
    pub fn fifths(self) -> i32 {
        let natural = FIFTHS_ORDER
            .iter()
            .position(|&l| l == self.letter)
            .unwrap_or(1) as i32
            - 1;
        natural + 7 * i32::from(self.alter)
    }

    /// The name at a place on the line of fifths, within -15 (Fbb) to 19 (B##).
    pub fn from_fifths(fifths: i32) -> Self {
        let letter = FIFTHS_ORDER[(fifths + 1).rem_euclid(7) as usize];
        Self {
            letter,
            alter: (fifths + 1).div_euclid(7) as i8,
        }
    }

    /// The same with one sharp or flat at most: in `Bbb5` the second `b` belongs to the 5.
    pub(super) fn split_simple_from(text: &str) -> Option<(Self, &str)> {
        let (name, rest) = Self::split_from(text)?;
        if name.alter.abs() < 2 {
            return Some((name, rest));
        }
        // A letter is one byte; both accidentals are the same sign.
        let signs = text.get(1..text.len() - rest.len())?;
        let alter = name.alter.signum();
        Some((Self { alter, ..name }, text.get(1 + signs.len() / 2..)?))
    }

    /// Reads a name at the start of `text`; gives it and what follows it.
    pub(crate) fn split_from(text: &str) -> Option<(Self, &str)> {
        let mut chars = text.chars();
        let letter = Letter::from_char(chars.next()?)?;
        let rest = chars.as_str();
        let accidentals: [(&str, i8); 8] = [
            ("##", 2),
            ("#", 1),
            ("bb", -2),
            ("b", -1),
            ("♯♯", 2),
            ("♯", 1),
            ("♭♭", -2),
            ("♭", -1),
        ];
        for (sign, alter) in accidentals {
            if let Some(after) = rest.strip_prefix(sign) {
                return Some((Self { letter, alter }, after));
            }
        }
        Some((Self { letter, alter: 0 }, rest))
    }
}

impl fmt::Display for NoteName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.letter)?;
        let sign = if self.alter < 0 { "b" } else { "#" };
        for _ in 0..self.alter.unsigned_abs() {
            f.write_str(sign)?;
        }
        Ok(())
    }
}

/// A note name with its octave as it sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SpelledPitch {
    /// The name.
    pub name: NoteName,
    /// The octave; it changes between B and C, and middle C is C4.
    pub octave: i8,
}

impl SpelledPitch {
    /// The MIDI note number; outside 0 to 127 for names MIDI cannot number.
    ///
    /// # Source
    /// MIDI 1.0 Detailed Specification: note 60 is middle C, here C4.
    pub fn midi(self) -> i32 {
        (i32::from(self.octave) + 1) * 12
            + self.name.letter.semitones()
            + i32::from(self.name.alter)
    }

    /// The pitch `midi` written with `name`, which must be of the same pitch class.
    pub(crate) fn with_name(name: NoteName, midi: u8) -> Self {
        let natural = i32::from(midi) - i32::from(name.alter);
        Self {
            name,
            octave: (natural.div_euclid(12) - 1) as i8,
        }
    }
}

impl fmt::Display for SpelledPitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.name, self.octave)
    }
}

impl FromStr for SpelledPitch {
    type Err = NameError;

    /// Reads `E1`, `F#2`, `Bb1`.
    ///
    /// # Errors
    /// `NameError::Pitch` when it is no note name with an octave, `NameError::OutOfRange` when
    /// MIDI has no number for it.
    fn from_str(text: &str) -> Result<Self, NameError> {
        let wrong = || NameError::Pitch {
            given: text.to_owned(),
        };
        let (name, octave) = NoteName::split_from(text).ok_or_else(wrong)?;
        let digits = octave.strip_prefix('-').unwrap_or(octave);
        if digits.len() != 1 || !digits.chars().all(|c| c.is_ascii_digit()) {
            return Err(wrong());
        }
        let octave = octave.parse().map_err(|_| wrong())?;
        let pitch = Self { name, octave };
        if !(0..=127).contains(&pitch.midi()) {
            return Err(NameError::OutOfRange {
                given: text.to_owned(),
            });
        }
        Ok(pitch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn midi(text: &str) -> i32 {
        text.parse::<SpelledPitch>().unwrap().midi()
    }

    #[test]
    fn open_strings_have_the_midi_numbers_of_their_frequencies() {
        // Published: f(m) = 440 * 2^((m-69)/12) (MIDI 1.0, ISO 16) at the handbook frequencies
        // B0 30.868, E1 41.203, A1 55.000, D2 73.416, G2 97.999 Hz, C3 130.813 Hz.
        for (name, hertz) in [
            ("B0", 30.868),
            ("E1", 41.203),
            ("A1", 55.000),
            ("D2", 73.416),
            ("G2", 97.999),
            ("C3", 130.813),
            ("F#1", 46.249),
            ("Eb2", 77.782),
            ("E4", 329.628),
        ] {
            let f = 440.0 * ((f64::from(midi(name)) - 69.0) / 12.0).exp2();
            assert!(
                (f - hertz).abs() < 0.001,
                "{name}: {f} Hz, table {hertz} Hz"
            );
        }
        assert_eq!(midi("C4"), 60);
        assert_eq!(midi("A4"), 69);
    }

    #[test]
    fn octaves_change_between_b_and_c_whatever_the_accidentals() {
        // Common practice of scientific pitch notation: Cb4 sounds like B3, B#3 like C4.
        assert_eq!(midi("Cb4"), midi("B3"));
        assert_eq!(midi("B#3"), midi("C4"));
        for m in 0..=127_u8 {
            for fifths in -15..=19 {
                let name = NoteName::from_fifths(fifths);
                let class = name.letter.semitones() + i32::from(name.alter);
                if class.rem_euclid(12) == i32::from(m) % 12 {
                    assert_eq!(
                        SpelledPitch::with_name(name, m).midi(),
                        i32::from(m),
                        "{name}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_line_of_fifths_runs_from_flats_to_sharps() {
        // Order of sharps F C G D A E B: any theory handbook.
        let names: Vec<String> = (-2..=7)
            .map(|f| NoteName::from_fifths(f).to_string())
            .collect();
        assert_eq!(names, ["Bb", "F", "C", "G", "D", "A", "E", "B", "F#", "C#"]);
        for f in -15..=19 {
            assert_eq!(NoteName::from_fifths(f).fifths(), f);
        }
    }

    #[test]
    fn what_is_no_note_name_is_refused() {
        for text in ["", "H1", "e1", "E", "E#b1", "E12", "E--1", "E+1", "1", "Ä1"] {
            assert!(
                matches!(text.parse::<SpelledPitch>(), Err(NameError::Pitch { .. })),
                "{text}"
            );
        }
        assert!(matches!(
            "Cb-1".parse::<SpelledPitch>(),
            Err(NameError::OutOfRange { .. })
        ));
        assert!(matches!(
            "A9".parse::<SpelledPitch>(),
            Err(NameError::OutOfRange { .. })
        ));
    }
}
