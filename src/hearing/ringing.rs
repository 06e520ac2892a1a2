//! Whether a string that was heard beside the played notes rings: a note that was left ringing, or an
//! open string that was set off; not the instrument's own answer, a mode of its body or noise.
//!
//! A note left ringing carries on: its partials keep the phases they had. An open string that was set
//! off is louder than this string answers under the other notes of this take, and under the same note
//! above all.
//!
//! # Source
//! Two logistic regressions: D. R. Cox (1958), *The regression analysis of binary sequences*,
//! J. R. Statist. Soc. B 20, 215-242 (from memory). Their weights stand in [`super::ring_weights`]
//! with what they were fitted on; `examples/fit` fits them again.

use super::events::{HeardNote, HeardRing};
use super::{logistic, ring_weights as weights};
use crate::units::median;

/// How many features a note left ringing has.
pub const LEFT_FEATURES: usize = 5;
/// How many features an open string has.
pub const OPEN_FEATURES: usize = 8;

/// The names of the features of [`left_row`], as the table of the fit has them.
pub const LEFT_NAMES: [&str; LEFT_FEATURES] = ["level", "own", "scatter", "carried", "lost"];
/// The names of the features of [`open_row`], as the table of the fit has them.
pub const OPEN_NAMES: [&str; OPEN_FEATURES] = [
    "level", "clear", "share", "own", "scatter", "above", "long", "inside",
];

/// Two pitches closer than this are one, in semitones.
const SAME_SEMITONES: f64 = 0.5;
/// A note lies under a ring when it begins no earlier than this before it, in seconds.
const TOGETHER_S: f64 = 0.050;
/// So many notes tell how a string usually answers. Raised, short takes tell nothing of that.
const ENOUGH_NOTES: usize = 3;
/// How far a ring of which nothing is known stands above the usual answer, in decibels: where neither
/// is more likely.
const UNKNOWN_DB: f64 = 8.0;

/// The features of a note left ringing, each held within the range on which it was learnt.
pub fn left_row(ring: &HeardRing) -> [f64; LEFT_FEATURES] {
    let f = &ring.features;
    logistic::finite([
        f.level_db.clamp(-40.0, -5.0),
        f.own.clamp(0.0, 6.0).ln_1p(),
        f.scatter_db.min(8.0),
        f.carried.unwrap_or(0.0).clamp(-3.0, 6.0),
        f64::from(u8::from(f.carried.is_none())),
    ])
}

/// The features of an open string, each held within the range on which it was learnt.
///
/// `usual_db`: how loudly it answers otherwise, see [`usual_db`].
pub fn open_row(ring: &HeardRing, usual_db: Option<f64>) -> [f64; OPEN_FEATURES] {
    let f = &ring.features;
    let above = usual_db.map_or(UNKNOWN_DB, |db| (f.first_db - db).clamp(-5.0, 20.0));
    logistic::finite([
        f.level_db.clamp(-40.0, -5.0),
        f.clear_db.clamp(-5.0, 25.0),
        f.share.max(0.02).ln(),
        f.own.clamp(0.0, 6.0).ln_1p(),
        f.scatter_db.min(8.0),
        above,
        (ring.to_s - ring.from_s).clamp(0.1, 2.0).ln(),
        f64::from(u8::from(!f.at_onset)),
    ])
}

/// How loudly an open string answers under the notes of the take that do not lie under this ring, in
/// decibels: the median under all of them or under those of the same pitch, whichever is louder;
/// `None` where too few tell it.
pub fn usual_db(ring: &HeardRing, notes: &[HeardNote]) -> Option<f64> {
    let sure = || notes.iter().filter(|note| note.evidence > 0.0);
    let off_s = |note: &HeardNote| (note.onset_s - ring.from_s).abs();
    let first = sure().min_by(|a, b| off_s(a).total_cmp(&off_s(b)))?;
    let pitch = first.pitch.map(|pitch| pitch.midi);
    let (mut all, mut same) = (Vec::new(), Vec::new());
    for note in sure() {
        if (ring.from_s - TOGETHER_S..ring.to_s).contains(&note.onset_s) {
            continue;
        }
        let near = |a: f64, b: f64| (a - b).abs() < SAME_SEMITONES;
        let mut answers = note.answers.iter().flatten();
        let (Some(answer), Some(own)) = (answers.find(|a| near(a.midi, ring.midi)), note.pitch)
        else {
            continue;
        };
        all.push(answer.level_db);
        if pitch.is_some_and(|pitch| near(pitch, own.midi)) {
            same.push(answer.level_db);
        }
    }
    let usual = if all.len() >= ENOUGH_NOTES {
        median(&mut all)
    } else {
        None
    };
    usual.into_iter().chain(median(&mut same)).reduce(f64::max)
}

/// How sure it is that a string rings, in nats: above 0 more likely than not. Never fails.
///
/// `notes`: those of the take, the ring's own among them.
pub fn nats(ring: &HeardRing, notes: &[HeardNote]) -> f64 {
    if ring.source_onset_s.is_some() {
        let row = left_row(ring);
        logistic::nats(&row, &weights::LEFT, weights::LEFT_CONSTANT)
    } else {
        let row = open_row(ring, usual_db(ring, notes));
        logistic::nats(&row, &weights::OPEN, weights::OPEN_CONSTANT)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::events::test_support::heard;
    use crate::hearing::events::{Answer, RingFeatures};

    fn ring(source_onset_s: Option<f64>) -> HeardRing {
        HeardRing {
            midi: 28.0,
            source_onset_s,
            from_s: 2.0,
            to_s: 2.5,
            level_db: -20.0,
            evidence: 0.0,
            features: RingFeatures {
                first_db: -20.0,
                level_db: -20.0,
                clear_db: 18.0,
                share: 0.9,
                own: 4.0,
                scatter_db: 1.0,
                carried: None,
                at_onset: true,
            },
        }
    }

    fn note(onset_s: f64, midi: f64, answer_db: f64) -> HeardNote {
        let mut note = heard(onset_s, midi);
        note.answers[0] = Some(Answer {
            midi: 28.02,
            level_db: answer_db,
        });
        note
    }

    /// Golden: the losses that the fit stated over its tables.
    #[test]
    fn the_stated_losses_are_those_of_the_tables() {
        let table = include_str!("../../fixtures/fit/left.csv");
        let loss = logistic::table_loss(table, &LEFT_NAMES, &weights::LEFT, weights::LEFT_CONSTANT);
        assert!((loss - weights::LEFT_TABLE_LOSS).abs() < 1e-3, "{loss}");
        let table = include_str!("../../fixtures/fit/open.csv");
        let loss = logistic::table_loss(table, &OPEN_NAMES, &weights::OPEN, weights::OPEN_CONSTANT);
        assert!((loss - weights::OPEN_TABLE_LOSS).abs() < 1e-3, "{loss}");
    }

    /// Closed form: the median of -50, -40 and -60 is -50; the one note of the same pitch is louder.
    #[test]
    fn the_usual_answer_is_that_of_the_other_notes() {
        let mut notes = vec![
            note(0.0, 40.0, -50.0),
            note(0.5, 41.0, -40.0),
            note(1.0, 43.0, -60.0),
            note(2.0, 45.0, -20.0),
        ];
        assert_eq!(usual_db(&ring(None), &notes), Some(-50.0));
        notes.push(note(3.0, 45.0, -30.0));
        assert_eq!(usual_db(&ring(None), &notes), Some(-30.0));
        assert_eq!(usual_db(&ring(None), &notes[3..4]), None, "only its own");
    }

    /// The same ring is told when the string is silent otherwise, and not when it answers every note.
    #[test]
    fn what_answers_every_note_is_no_ring() {
        let take = |answer_db: f64| -> Vec<HeardNote> {
            (0..8)
                .map(|k| {
                    note(
                        f64::from(k) * 0.5,
                        45.0,
                        if k == 4 { -20.0 } else { answer_db },
                    )
                })
                .collect()
        };
        let (silent, answers) = (take(-60.0), take(-19.0));
        let open = ring(None);
        assert!(nats(&open, &silent) > 0.0, "{}", nats(&open, &silent));
        assert!(nats(&open, &silent) > nats(&open, &answers) + 1.5);
    }

    /// A note that was left ringing carries on; a sound of its pitch that does not is none.
    #[test]
    fn what_does_not_carry_on_was_not_left_ringing() {
        let mut left = ring(Some(1.5));
        left.features.carried = Some(4.0);
        assert!(nats(&left, &[]) > 0.0);
        left.features.carried = Some(-2.0);
        assert!(nats(&left, &[]) < 0.0);
    }
}
