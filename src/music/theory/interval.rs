//! Degrees and intervals: how a tone stands to the root of its chord or the tonic of its scale.

use std::fmt;
use std::str::FromStr;

use super::{NameError, NoteName};

/// Semitones of the steps of a major scale above its tonic, the tonic itself included. Any theory
/// handbook.
const MAJOR_SCALE: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];

/// Places on the line of fifths of the same steps, counted from the tonic: the second is two fifths
/// up, the fourth one fifth down.
const MAJOR_FIFTHS: [i32; 7] = [0, 2, 4, -1, 1, 3, 5];

/// Highest number a degree may have: two octaves. Chords end at 13.
const NUMBER_MAX: u8 = 15;

/// Most sharps or flats before a degree's number. Raising it lets in what nobody writes.
const ALTER_MAX: i8 = 3;

/// What stands before a degree's number, longest first.
const ACCIDENTALS: [(&str, i8); 8] = [
    ("##", 2),
    ("♯♯", 2),
    ("bb", -2),
    ("♭♭", -2),
    ("#", 1),
    ("♯", 1),
    ("b", -1),
    ("♭", -1),
];

/// A tone counted from a root: `R`, `b3`, `5`, `bb7`, `#11`.
///
/// The number counts letters, the root being 1; the accidentals say how far the tone lies from the
/// step of the major scale of that number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Degree {
    number: u8,
    alter: i8,
}

impl Degree {
    /// The root.
    pub const ROOT: Self = Self::of(1, 0);

    /// A degree with `number` 1 to 15 and `alter` -3 to 3 semitones; `None` beyond.
    pub fn new(number: u8, alter: i8) -> Option<Self> {
        let sound = (1..=NUMBER_MAX).contains(&number) && alter.abs() <= ALTER_MAX;
        sound.then_some(Self { number, alter })
    }

    /// The same without a check, for the numbers that stand in this room.
    pub(super) const fn of(number: u8, alter: i8) -> Self {
        Self { number, alter }
    }

    /// Letters counted from the root, which is 1.
    pub fn number(self) -> u8 {
        self.number
    }

    /// Sharps (positive) or flats (negative).
    pub fn alter(self) -> i8 {
        self.alter
    }

    /// Semitones above the root: 0 for `R`, 14 for `9`.
    pub fn semitones(self) -> i32 {
        let steps = i32::from(self.number) - 1;
        steps.div_euclid(7) * 12 + MAJOR_SCALE[steps.rem_euclid(7) as usize] + i32::from(self.alter)
    }

    /// The name of the tone of this degree above `root`: the b5 of Gb is Dbb.
    pub fn above(self, root: NoteName) -> NoteName {
        let step = (i32::from(self.number) - 1).rem_euclid(7) as usize;
        NoteName::from_fifths(root.fifths() + MAJOR_FIFTHS[step] + 7 * i32::from(self.alter))
    }

    /// The degree of `name` above `root` within an octave, by its letter; `None` when it is more
    /// than three semitones from its step.
    pub fn between(root: NoteName, name: NoteName) -> Option<Self> {
        let step = (name.letter as i32 - root.letter as i32).rem_euclid(7);
        let plain = Self::of(step as u8 + 1, 0);
        let alter = (name.fifths() - plain.above(root).fifths()) / 7;
        Self::new(plain.number, i8::try_from(alter).ok()?)
    }

    /// The interval from the root to this degree in words: "minor third", "augmented fifth".
    ///
    /// # Source
    /// Unisons, fourths, fifths and octaves are perfect, the others major or minor; a semitone
    /// more is augmented, one less diminished: any theory handbook. The table that the test holds
    /// it to is named there.
    pub fn interval(self) -> String {
        let step = (self.number - 1) % 7 + 1;
        let perfect = matches!(step, 1 | 4 | 5);
        let quality = match (perfect, self.alter) {
            (true, 0) => "perfect",
            (false, 0) => "major",
            (false, -1) => "minor",
            (true, -1) | (false, -2) => "diminished",
            (_, 1) => "augmented",
            (true, -2) | (false, -3) => "doubly diminished",
            (_, 2) => "doubly augmented",
            (_, alter) if alter < 0 => "triply diminished",
            _ => "triply augmented",
        };
        format!("{quality} {}", NUMBER_WORDS[usize::from(self.number) - 1])
    }
}

/// What the numbers of intervals are called.
const NUMBER_WORDS: [&str; NUMBER_MAX as usize] = [
    "unison",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "octave",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
    "thirteenth",
    "fourteenth",
    "fifteenth",
];

impl fmt::Display for Degree {
    /// `R` for the root, else accidentals and number: `b3`, `#11`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if *self == Self::ROOT {
            return f.write_str("R");
        }
        let sign = if self.alter < 0 { "b" } else { "#" };
        for _ in 0..self.alter.unsigned_abs() {
            f.write_str(sign)?;
        }
        write!(f, "{}", self.number)
    }
}

impl FromStr for Degree {
    type Err = NameError;

    /// Reads `R`, `root`, `b3`, `5`, `#11`, with ♭ and ♯ too.
    ///
    /// # Errors
    /// `NameError::Degree`.
    fn from_str(text: &str) -> Result<Self, NameError> {
        let wrong = || NameError::Degree {
            given: text.to_owned(),
        };
        if matches!(text, "R" | "r" | "root") {
            return Ok(Self::ROOT);
        }
        let (number, alter) = ACCIDENTALS
            .iter()
            .find_map(|&(sign, alter)| Some((text.strip_prefix(sign)?, alter)))
            .unwrap_or((text, 0));
        let plain = !number.is_empty() && number.chars().all(|c| c.is_ascii_digit());
        let number = plain.then(|| number.parse().ok()).flatten();
        number
            .and_then(|number| Self::new(number, alter))
            .ok_or_else(wrong)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The half steps of every interval up to the octave: d, m, P, M, A; `None` where there is no
    /// such interval.
    ///
    /// # Source
    /// Kent State University, S. Birch, *Encyclopedia: Rudiments, Intervals part II* (table
    /// "number of 1/2 steps"). Its diminished unison (-1) is left out: no degree lies below a root.
    const HALF_STEPS: [(&str, [Option<i32>; 5]); 8] = [
        ("unison", [None, None, Some(0), None, Some(1)]),
        ("second", [Some(0), Some(1), None, Some(2), Some(3)]),
        ("third", [Some(2), Some(3), None, Some(4), Some(5)]),
        ("fourth", [Some(4), None, Some(5), None, Some(6)]),
        ("fifth", [Some(6), None, Some(7), None, Some(8)]),
        ("sixth", [Some(7), Some(8), None, Some(9), Some(10)]),
        ("seventh", [Some(9), Some(10), None, Some(11), Some(12)]),
        ("octave", [Some(11), None, Some(12), None, Some(13)]),
    ];

    #[test]
    fn intervals_are_named_and_measured_as_the_table_has_them() {
        let qualities = ["diminished", "minor", "perfect", "major", "augmented"];
        let mut checked = 0;
        for (number, (word, sizes)) in (1..).zip(HALF_STEPS) {
            for (quality, size) in qualities.iter().zip(sizes) {
                let wanted = format!("{quality} {word}");
                let found = (-2..=2)
                    .filter_map(|alter| Degree::new(number, alter))
                    .find(|degree| degree.interval() == wanted);
                let Some(size) = size else {
                    assert!(found.is_none() || number == 1, "{wanted}");
                    continue;
                };
                assert_eq!(found.expect(&wanted).semitones(), size, "{wanted}");
                checked += 1;
            }
        }
        assert_eq!(checked, 27);
    }

    #[test]
    fn degrees_read_back_as_they_are_written() {
        for (text, number, alter) in [
            ("R", 1, 0),
            ("b3", 3, -1),
            ("bb7", 7, -2),
            ("#11", 11, 1),
            ("13", 13, 0),
        ] {
            let degree = Degree::new(number, alter).unwrap();
            assert_eq!(degree.to_string(), text);
            assert_eq!(text.parse(), Ok(degree));
        }
        assert_eq!("♭9".parse(), Ok(Degree::of(9, -1)));
        assert_eq!("1".parse(), Ok(Degree::ROOT));
        for text in [
            "",
            "b",
            "0",
            "16",
            "+5",
            "3b",
            "third",
            "bbb7",
            "99999999999",
        ] {
            assert!(text.parse::<Degree>().is_err(), "{text}");
        }
    }

    #[test]
    fn a_degree_and_its_name_belong_together() {
        let name = |text| NoteName::split_from(text).unwrap().0;
        for (root, degree, tone) in [
            ("Gb", "b7", "Fb"),
            ("C", "bb7", "Bbb"),
            ("F#", "#5", "C##"),
            ("D", "3", "F#"),
            ("B", "9", "C#"),
            ("Bb", "11", "Eb"),
        ] {
            let degree: Degree = degree.parse().unwrap();
            assert_eq!(degree.above(name(root)), name(tone), "{root} {degree}");
            let back = Degree::between(name(root), name(tone)).unwrap();
            assert_eq!(back.semitones(), degree.semitones() % 12, "{root} {tone}");
        }
    }
}
