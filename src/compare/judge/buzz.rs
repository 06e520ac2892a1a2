//! Notes whose string sounds against a fret.

use crate::compare::judgement::{Flag, JudgedNote, Verdict};
use crate::compare::marks::Marks;
use crate::hearing::buzz::{self, Usual};
use crate::hearing::events::Brightness;

/// Whether a note can be told to buzz: right, plucked and not dead. What is slurred into has no pluck to be
/// held against, and a dead note has no string to hear.
fn is_plain(note: &JudgedNote) -> bool {
    let written = &note.expected;
    let apart = written.ghost || written.slurred_into || written.with_previous;
    note.verdict == Verdict::Right && !apart && !note.flags.contains(&Flag::Dead)
}

fn brightness(note: &JudgedNote) -> Option<Brightness> {
    let part = note.heard.as_ref().filter(|_| is_plain(note))?;
    part.brightness
}

/// Says of every note of a take how sure it is that it buzzes, and flags.
///
/// Input: the notes of every pass.
pub(crate) fn tell(passes: &mut [&mut Vec<JudgedNote>], marks: &Marks) {
    let notes = passes.iter().flat_map(|notes| notes.iter());
    let heard: Vec<(Brightness, f64)> = notes
        .filter_map(|note| Some((brightness(note)?, f64::from(note.expected.midi))))
        .collect();
    let Some(usual) = Usual::of(&heard) else {
        return;
    };
    for note in passes.iter_mut().flat_map(|notes| notes.iter_mut()) {
        let midi = f64::from(note.expected.midi);
        let nats = brightness(note).and_then(|own| buzz::nats(&own, midi, &usual));
        if let Some(part) = &mut note.heard {
            part.buzz_nats = nats;
        }
        note.flags.extend(buzzes(nats, marks));
    }
}

/// A buzz from the mark on.
fn buzzes(nats: Option<f64>, marks: &Marks) -> Option<Flag> {
    let (nats, mark) = nats.zip(marks.buzz_nats)?;
    (nats >= mark).then_some(Flag::Buzzes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::judgement::HeardPart;
    use crate::compare::test_support::{heard, part};
    use crate::music::expected::ExpectedNote;

    /// Just below and just above the mark; nothing where it cannot be told or no mark is set.
    #[test]
    fn a_buzz_begins_at_the_mark() {
        let marks = |buzz_nats| Marks {
            buzz_nats,
            ..Marks::default()
        };
        for (nats, mark, wanted) in [
            (Some(2.9), Some(3.0), None),
            (Some(3.1), Some(3.0), Some(Flag::Buzzes)),
            (None, Some(3.0), None),
            (Some(9.0), None, None),
        ] {
            assert_eq!(buzzes(nats, &marks(mark)), wanted, "{nats:?} {mark:?}");
        }
    }

    /// Of twenty dark notes the sixth is bright throughout; a dead note, a slurred one and a wrong one that
    /// are as bright are not told.
    #[test]
    fn a_bright_note_among_dark_ones_buzzes_if_it_is_plain() {
        let mut notes: Vec<JudgedNote> = (0..20)
            .map(|at| {
                let bright = if matches!(at, 5 | 8 | 11 | 14) {
                    22.0
                } else {
                    0.0
                };
                let onset_s = f64::from(at);
                JudgedNote {
                    expected: ExpectedNote {
                        index: at as usize,
                        midi: 36,
                        ..ExpectedNote::default()
                    },
                    verdict: Verdict::Right,
                    heard: Some(HeardPart {
                        brightness: Some(Brightness {
                            beside_db: [-40.0, -46.0, -52.0].map(|db| Some(db + bright)),
                            swell_db: Some(-9.0),
                        }),
                        ..part(&heard(onset_s, 36.0))
                    }),
                    flags: vec![],
                }
            })
            .collect();
        notes[8].flags.push(Flag::Dead);
        notes[11].expected.slurred_into = true;
        notes[14].verdict = Verdict::Wrong;
        let marks = Marks {
            buzz_nats: Some(3.0),
            ..Marks::default()
        };
        tell(&mut [&mut notes], &marks);
        let told: Vec<usize> = (0..20)
            .filter(|&at| notes[at].flags.contains(&Flag::Buzzes))
            .collect();
        assert_eq!(told, [5]);
        let known = |at: usize| notes[at].heard.as_ref().and_then(|part| part.buzz_nats);
        assert!(known(0).expect("told") < 0.0 && known(5).expect("told") > 3.0);
        assert_eq!([8, 11, 14].map(known), [None; 3]);
    }
}
