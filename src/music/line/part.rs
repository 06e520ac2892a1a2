//! Which part of a file with several is meant, and which instrument it is for.

use std::convert::Infallible;
use std::fmt;
use std::str::FromStr;

use crate::music::instrument::{Instrument, Tuning};
use crate::music::theory::Key;

/// A part of a score or of a MIDI file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartChoice {
    given: String,
}

impl FromStr for PartChoice {
    type Err = Infallible;

    /// A number, counted from 1, or a name. Never fails.
    fn from_str(text: &str) -> Result<Self, Infallible> {
        Ok(Self {
            given: text.trim().to_owned(),
        })
    }
}

impl fmt::Display for PartChoice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.given)
    }
}

impl PartChoice {
    /// The part that is meant, from 0: the only one of that name in whatever case, else the one of
    /// that number, else the only one whose name begins so.
    pub fn find(&self, names: &[&str]) -> Option<usize> {
        let given = self.given.to_lowercase();
        let only = |matches: &dyn Fn(&str) -> bool| {
            let mut found = (0..names.len()).filter(|&at| matches(&names[at].to_lowercase()));
            found.next().filter(|_| found.next().is_none())
        };
        let number: Option<usize> = given.parse().ok();
        only(&|name| name == given)
            .or_else(|| number?.checked_sub(1).filter(|&at| at < names.len()))
            .or_else(|| only(&|name| name.starts_with(&given)))
    }
}

/// The first of the common instruments that has all the notes, and what is to be said of it when it
/// is not the 4-string bass; the 4-string bass where none has.
pub(super) fn instrument_for(pitches: &[u8]) -> (Instrument, Option<String>) {
    let common = [
        ("", Tuning::bass4()),
        ("a five-string bass", Tuning::bass5()),
        ("a six-string bass", Tuning::bass6()),
        ("a guitar", Tuning::guitar()),
    ];
    let has = |instrument: &Instrument, midi: u8| !instrument.places(midi).is_empty();
    let bass = Instrument::with_tuning(Tuning::bass4());
    let Some(&beyond) = pitches.iter().find(|&&midi| !has(&bass, midi)) else {
        return (bass, None);
    };
    let name = |midi| Key::default().spell(midi).to_string();
    for (named, tuning) in common {
        let instrument = Instrument::with_tuning(tuning);
        if pitches.iter().all(|&midi| has(&instrument, midi)) {
            let (lowest, highest) = bass.range();
            let said = format!(
                "{} lies outside of a four-string bass ({} to {}), so the line is taken for {named} \
                 tuned {}; choose another with --tuning",
                name(beyond),
                name(lowest),
                name(highest),
                instrument.tuning()
            );
            return (instrument, Some(said));
        }
    }
    (bass, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_found_by_name_or_number() {
        let names = ["Bass", "Bass II", "Guitar", "2"];
        let find = |given: &str| given.parse::<PartChoice>().unwrap().find(&names);
        assert_eq!(find("bass"), Some(0));
        assert_eq!(find("3"), Some(2));
        assert_eq!(find("2"), Some(3), "a name goes before a number");
        assert_eq!(find("gui"), Some(2));
        assert_eq!(find("b"), None, "two names begin so");
        assert_eq!((find("0"), find("5"), find("drums")), (None, None, None));
    }

    #[test]
    fn an_instrument_that_is_not_the_common_bass_is_said() {
        let (bass, said) = instrument_for(&[28, 67]);
        assert_eq!((bass.strings(), said), (4, None));
        // C1 is MIDI note 24, four semitones below the open E string.
        let (five, said) = instrument_for(&[24, 40]);
        let said = said.unwrap();
        assert!(
            five.strings() == 5 && said.contains("C1") && said.contains("--tuning"),
            "{said}"
        );
        assert_eq!(instrument_for(&[10]).1, None);
    }
}
