//! What is known of an instrument and its player from before: its strings, and the silence that is
//! usual at the joins. Values alone; [`instrument_file`](super::instrument_file) writes them down.

use crate::compare::usual::{Usual, UsualGap};
use crate::hearing::calibration::KnownString;
use crate::units::{Hertz, MidiNote, cents};

/// A known string this close to an open one is that string, in cents: half a step.
const SAME_STRING_CENTS: f64 = 50.0;
/// A string measured again is within this of what it was, in cents: both measures lie within 60
/// cents of the open string (`STRING_SEMITONES` of the tuner), and no two strings of an instrument
/// are this close. Raised to 200, a string tuned down by a whole tone would be forgotten as it was.
const MEASURED_AGAIN_CENTS: f64 = 120.0;

/// What is known of an instrument and its player; nothing by default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct KnownInstrument {
    /// Its open strings, in no order.
    pub strings: Vec<KnownString>,
    /// The silence the player usually leaves, one entry at most for each kind of join.
    pub gaps: Vec<UsualGap>,
}

impl KnownInstrument {
    /// The same as the comparator takes it, for these open strings.
    pub fn usual(&self, open_midi: &[u8], a4: Hertz) -> Usual {
        let answers = |midi: &u8| {
            let hz = MidiNote(f64::from(*midi)).to_hertz(a4).0;
            let same = |s: &&KnownString| cents(s.hz, hz).abs() < SAME_STRING_CENTS;
            self.strings.iter().find(same)?.answers_db
        };
        Usual {
            gaps: self.gaps.clone(),
            answers_db: open_midi.iter().map(answers).collect(),
        }
    }

    /// Takes strings that were measured now; those that were not among them stay as they were.
    pub fn learn_strings(&mut self, strings: Vec<KnownString>) {
        let again = |old: &KnownString| {
            strings
                .iter()
                .any(|new| cents(new.hz, old.hz).abs() <= MEASURED_AGAIN_CENTS)
        };
        self.strings.retain(|old| !again(old));
        self.strings.extend(strings);
    }

    /// Takes what a player left at the joins of some takes; kinds that were not among them stay as
    /// they were.
    pub fn learn_gaps(&mut self, gaps: Vec<UsualGap>) {
        self.gaps
            .retain(|old| gaps.iter().all(|new| new.join != old.join));
        self.gaps.extend(gaps);
    }
}

#[cfg(test)]
pub(super) mod test_support {
    use super::*;
    use crate::music::expected::JoinKind;

    /// Two strings and a kind of join.
    pub fn instrument() -> KnownInstrument {
        KnownInstrument {
            strings: vec![
                KnownString {
                    hz: 97.9989,
                    inharmonicity: 4e-5,
                    partials_db: vec![-3.0, -4.5, -9.1],
                    answers_db: Some(-38.4),
                },
                KnownString {
                    hz: 41.2,
                    inharmonicity: 1.5e-4,
                    partials_db: vec![-20.0, -2.0],
                    answers_db: None,
                },
            ],
            gaps: vec![UsualGap {
                join: JoinKind::Shift,
                joins: 12,
                middle_ms: 14.5,
                spread_ms: 6.0,
            }],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::test_support::instrument;
    use super::*;
    use crate::music::expected::JoinKind;

    #[test]
    fn answers_go_to_the_strings_they_were_measured_on() {
        let usual = instrument().usual(&[43, 38, 33, 28], Hertz(440.0));
        assert_eq!(usual.answers_db, [Some(-38.4), None, None, None]);
        assert_eq!(usual.gaps, instrument().gaps);
    }

    #[test]
    fn strings_measured_again_take_the_place_of_the_old_and_the_others_stay() {
        let mut known = instrument();
        let at = |hz: f64| KnownString {
            hz,
            ..instrument().strings[1].clone()
        };
        // 60 cents sharp and 60 flat are the same string, a whole tone lower is another.
        let sharp = 41.2 * f64::exp2(119.0 / 1200.0);
        known.learn_strings(vec![at(sharp)]);
        let hz = |known: &KnownInstrument| known.strings.iter().map(|s| s.hz).collect::<Vec<_>>();
        assert_eq!(hz(&known), [97.9989, sharp]);
        known.learn_strings(vec![at(36.7)]);
        assert_eq!(hz(&known), [97.9989, sharp, 36.7]);
    }

    #[test]
    fn new_gaps_take_the_place_of_old_ones_of_their_kind() {
        let mut known = instrument();
        let gap = |join, middle_ms| UsualGap {
            join,
            joins: 5,
            middle_ms,
            spread_ms: 1.0,
        };
        known.learn_gaps(vec![gap(JoinKind::Open, 3.0), gap(JoinKind::Shift, 4.0)]);
        assert_eq!(
            known.gaps,
            [gap(JoinKind::Open, 3.0), gap(JoinKind::Shift, 4.0)]
        );
        known.learn_gaps(vec![gap(JoinKind::Roll, 5.0)]);
        assert_eq!(known.gaps.len(), 3);
    }
}
