//! The open strings of an instrument.

use std::fmt;
use std::str::FromStr;

use super::{InstrumentError, MAX_STRINGS};
use crate::music::theory::{Key, NameError, SpelledPitch};

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

    /// The MIDI notes of the open strings, the thinnest first; at least one.
    pub fn open_strings(&self) -> &[u8] {
        &self.open_midi
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

#[cfg(test)]
mod tests {
    use super::*;

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
    }
}
