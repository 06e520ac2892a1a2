//! Scales and modes: their degrees upwards and downwards, and the chord each is practised over.

use std::fmt;
use std::str::FromStr;

use super::interval::Degree;
use super::{ChordSymbol, NameError, NoteName};

/// A kind of scale.
#[derive(Debug, PartialEq, Eq)]
struct Kind {
    /// What it is called; the first is the name it is written by.
    names: &'static [&'static str],
    /// Its degrees from the tonic up, the octave left out.
    up: &'static str,
    /// Its degrees where it goes down by others.
    down: Option<&'static str>,
    /// What stands behind the root of the chord symbol it is practised over.
    chord: &'static str,
}

const fn kind(names: &'static [&'static str], up: &'static str, chord: &'static str) -> Kind {
    Kind {
        names,
        up,
        down: None,
        chord,
    }
}

/// The scales there are. Degrees of major, the minors, the modes and the pentatonics: any theory
/// handbook, and held against a library in `tests/theory.rs`. Blues, whole tone, the two
/// diminished scales, altered, and the chord each stands over: common practice, no source.
const KINDS: [Kind; 21] = [
    kind(&["major", "ionian"], "R 2 3 4 5 6 7", "maj7"),
    kind(&["dorian"], "R 2 b3 4 5 6 b7", "m7"),
    kind(&["phrygian"], "R b2 b3 4 5 b6 b7", "m7"),
    kind(&["lydian"], "R 2 3 #4 5 6 7", "maj7"),
    kind(&["mixolydian"], "R 2 3 4 5 6 b7", "7"),
    kind(
        &["natural minor", "minor", "aeolian"],
        "R 2 b3 4 5 b6 b7",
        "m7",
    ),
    kind(&["locrian"], "R b2 b3 4 b5 b6 b7", "m7b5"),
    kind(&["harmonic minor"], "R 2 b3 4 5 b6 7", "m(maj7)"),
    Kind {
        names: &["melodic minor"],
        up: "R 2 b3 4 5 6 7",
        down: Some("R 2 b3 4 5 b6 b7"),
        chord: "m(maj7)",
    },
    kind(&["jazz minor"], "R 2 b3 4 5 6 7", "m(maj7)"),
    kind(&["major pentatonic"], "R 2 3 5 6", "6"),
    kind(&["minor pentatonic"], "R b3 4 5 b7", "m7"),
    kind(&["blues", "minor blues"], "R b3 4 b5 5 b7", "m7"),
    kind(&["major blues"], "R 2 b3 3 5 6", "6"),
    kind(&["whole tone"], "R 2 3 #4 #5 b7", "7#5"),
    kind(
        &["diminished", "whole half diminished"],
        "R 2 b3 4 b5 b6 bb7 7",
        "°7",
    ),
    kind(&["half whole diminished"], "R b2 b3 3 #4 5 6 b7", "7"),
    kind(&["lydian dominant"], "R 2 3 #4 5 6 b7", "7"),
    kind(&["phrygian dominant"], "R b2 3 4 5 b6 b7", "7"),
    kind(&["altered"], "R b2 #2 3 b5 #5 b7", "7alt"),
    Kind {
        names: &["chromatic"],
        up: "R #1 2 #2 3 4 #4 5 #5 6 #6 7",
        down: Some("R b2 2 b3 3 4 b5 5 b6 6 b7 7"),
        chord: "",
    },
];

/// A scale: a tonic and a kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scale {
    tonic: NoteName,
    kind: &'static Kind,
}

/// What all kinds of scales are called, each by its first name.
pub(super) fn names() -> Vec<&'static str> {
    KINDS
        .iter()
        .filter_map(|kind| kind.names.first().copied())
        .collect()
}

impl Scale {
    /// The tonic.
    pub fn tonic(self) -> NoteName {
        self.tonic
    }

    /// The degrees from the tonic up, the octave left out.
    pub fn degrees_up(self) -> Vec<Degree> {
        read(self.kind.up)
    }

    /// The degrees it goes down by, from the tonic up; other ones than upwards in melodic minor and
    /// in the chromatic scale.
    pub fn degrees_down(self) -> Vec<Degree> {
        read(self.kind.down.unwrap_or(self.kind.up))
    }

    /// The names of its tones from the tonic up, the octave left out.
    pub fn tones_up(self) -> Vec<NoteName> {
        let degrees = self.degrees_up().into_iter();
        degrees.map(|degree| degree.above(self.tonic)).collect()
    }

    /// The chord it is practised over: `Dm7` for D dorian.
    ///
    /// # Errors
    /// Never: every kind names a chord that is one.
    pub fn chord(self) -> Result<ChordSymbol, NameError> {
        format!("{}{}", self.tonic, self.kind.chord).parse()
    }

    /// The same scale moved by `fifths` steps on the line of fifths, spelled with at most one
    /// accidental at its tonic.
    pub fn moved(self, fifths: i32) -> Self {
        let mut place = self.tonic.fifths() + fifths;
        while NoteName::from_fifths(place).alter > 1 {
            place -= 12;
        }
        while NoteName::from_fifths(place).alter < -1 {
            place += 12;
        }
        Self {
            tonic: NoteName::from_fifths(place),
            ..self
        }
    }
}

fn read(degrees: &str) -> Vec<Degree> {
    let words = degrees.split(' ');
    words.filter_map(|word| word.parse().ok()).collect()
}

impl fmt::Display for Scale {
    /// `D dorian`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} {}",
            self.tonic,
            self.kind.names.first().unwrap_or(&"")
        )
    }
}

impl FromStr for Scale {
    type Err = NameError;

    /// Reads `D dorian`, `Bb major pentatonic`, `C half-whole diminished`, in any letter case but
    /// that of the tonic.
    ///
    /// # Errors
    /// `NameError::Scale`.
    fn from_str(text: &str) -> Result<Self, NameError> {
        let wrong = || NameError::Scale {
            given: text.to_owned(),
        };
        let (tonic, rest) = NoteName::split_from(text.trim()).ok_or_else(wrong)?;
        if !rest.starts_with(char::is_whitespace) {
            return Err(wrong());
        }
        let words: Vec<String> = rest
            .split(|c: char| c.is_whitespace() || c == '-')
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect();
        let name = words.join(" ");
        let kind = KINDS
            .iter()
            .find(|kind| kind.names.contains(&name.as_str()));
        Ok(Self {
            tonic,
            kind: kind.ok_or_else(wrong)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_scale_reads_its_degrees_and_its_chord() {
        for kind in &KINDS {
            for name in kind.names {
                let scale: Scale = format!("F# {name}").parse().unwrap();
                assert_eq!(scale.kind, kind, "{name}");
                assert_eq!(
                    scale.degrees_up().len(),
                    kind.up.split(' ').count(),
                    "{name}"
                );
                let down = kind.down.unwrap_or(kind.up);
                assert_eq!(
                    scale.degrees_down().len(),
                    down.split(' ').count(),
                    "{name}"
                );
                let rising = |degrees: Vec<Degree>| {
                    let steps: Vec<i32> = degrees.iter().map(|d| d.semitones()).collect();
                    steps.windows(2).all(|pair| pair[0] < pair[1])
                };
                assert!(
                    rising(scale.degrees_up()) && rising(scale.degrees_down()),
                    "{name}"
                );
                assert_eq!(scale.chord().unwrap().root(), Some(scale.tonic()), "{name}");
                assert_eq!(scale.to_string().parse(), Ok(scale));
            }
        }
    }

    #[test]
    fn what_is_no_scale_is_refused() {
        for text in [
            "",
            "D",
            "D ",
            "Ddorian",
            "H dorian",
            "D dorian mode",
            "d dorian",
            "D pentatonic",
        ] {
            assert!(text.parse::<Scale>().is_err(), "{text}");
        }
        let message = "D dorain".parse::<Scale>().unwrap_err().to_string();
        assert!(
            message.contains("`D dorain`") && message.contains("dorian"),
            "{message}"
        );
        assert_eq!(
            "Bb  Half-Whole  diminished"
                .parse::<Scale>()
                .unwrap()
                .to_string(),
            "Bb half whole diminished"
        );
    }

    #[test]
    fn a_scale_moves_with_its_spelling() {
        let scale: Scale = "D dorian".parse().unwrap();
        assert_eq!(scale.moved(-1).to_string(), "G dorian");
        assert_eq!(scale.moved(-10).to_string(), "Fb dorian");
        assert_eq!(scale.moved(12).to_string(), "D dorian");
    }
}
