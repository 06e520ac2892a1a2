//! Which part of a file with several is meant, and which instrument it is for.

use std::convert::Infallible;
use std::fmt;
use std::str::FromStr;

use super::model::Note;
use crate::music::fingering::can_be_held;
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

/// The first of the common instruments that has all the notes, those of a chord on strings of their
/// own, and what is to be said of it when it is not the 4-string bass; the 4-string bass where none has.
///
/// Input: the notes that are struck together, as MIDI notes from the lowest up.
pub(super) fn instrument_for(groups: &[Vec<u8>]) -> (Instrument, Option<String>) {
    let common = [
        ("", Tuning::bass4()),
        ("a five-string bass", Tuning::bass5()),
        ("a six-string bass", Tuning::bass6()),
        ("a guitar", Tuning::guitar()),
    ];
    let holds = |instrument: &Instrument, group: &[u8]| {
        let notes: Vec<Note> = group.iter().map(|&midi| Note::new(midi)).collect();
        can_be_held(&notes, instrument)
    };
    let bass = Instrument::with_tuning(Tuning::bass4());
    let Some(beyond) = groups.iter().find(|group| !holds(&bass, group)) else {
        return (bass, None);
    };
    let names: Vec<String> = beyond
        .iter()
        .map(|&midi| Key::default().spell(midi).to_string())
        .collect();
    let (lowest, highest) = bass.range();
    let name = |midi| Key::default().spell(midi).to_string();
    let range = format!("({} to {})", name(lowest), name(highest));
    let why = match names.as_slice() {
        [one] => format!("{one} lies outside of a four-string bass {range}"),
        all => format!(
            "{} cannot be played together on a four-string bass {range}",
            all.join(" and ")
        ),
    };
    for (named, tuning) in common {
        let instrument = Instrument::with_tuning(tuning);
        if groups.iter().all(|group| holds(&instrument, group)) {
            let said = format!(
                "{why}, so the line is taken for {named} tuned {}; choose another with --tuning",
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
        let (bass, said) = instrument_for(&[vec![28], vec![67]]);
        assert_eq!((bass.strings(), said), (4, None));
        // C1 is MIDI note 24, four semitones below the open E string.
        let (five, said) = instrument_for(&[vec![24], vec![40]]);
        let said = said.unwrap();
        assert!(
            five.strings() == 5 && said.contains("C1") && said.contains("--tuning"),
            "{said}"
        );
        assert_eq!(instrument_for(&[vec![10]]).1, None);
        // Two notes that only the lowest string of a bass has.
        let (guitar, said) = instrument_for(&[vec![29, 31]]);
        assert!(guitar.strings() > 4, "{said:?}");
        assert!(said.is_some_and(|said| said.contains("F1 and G1")));
    }
}
