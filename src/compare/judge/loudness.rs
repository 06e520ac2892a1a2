//! How loud each note is beside the take's usual note: what is due to its string and its register is
//! learnt in the take and taken off; notes that stick out or fall away.
//!
//! A strung neck is not even: the same touch gives another level on another string and further up. That is
//! the instrument's and nobody's fault. One robust fit over all passes has a slope over the pitch, one
//! number for each string and one slope over the take's time, each drawn towards nothing by what is usual,
//! so that few notes learn little.
//!
//! The fit is that of `level_fit`, which names its papers.

use crate::compare::judge::level_fit::{Row, SIZE, STRINGS, fit};
use crate::compare::judgement::{Evenness, Flag, JudgedNote, Loudness, Verdict, Withheld};
use crate::compare::marks::Marks;
use crate::hearing::events::HeardNote;
use crate::units::{SPREAD_OF_MEDIAN, median};

/// Notes from which on a usual level is learnt. Raised, short takes say nothing.
const ENOUGH_NOTES: usize = 8;
/// One standard deviation of the level of a single note, in decibels, besides that of the fit: what another
/// pluck of the same strength on the same string reads. Measured on made takes, see DEVELOPERS.md. Raised,
/// fewer notes stick out.
const NOTE_DOUBT_DB: f64 = 0.62;
/// The level is that of a gain control where the quiet after the notes rises again by more than this,
/// in decibels (median over the pauses). On made takes without a gain control it rose by
/// 1.1 at most, with one by 0.5 to 9. Raised, fewer takes are withheld.
const GAIN_CONTROL_DB: f64 = 3.0;
/// Pauses from which on a gain control is told. Raised, fewer takes are withheld.
const PAUSES: usize = 2;
/// Where more than this share of the notes clips, no level is told at all.
const CLIPPED_SHARE: f64 = 0.3;

/// Whether a note tells what is usual: plucked and heard as it is written.
fn is_plain(note: &JudgedNote) -> bool {
    let written = &note.expected;
    let dead = note.flags.contains(&Flag::Dead);
    let heard = matches!(note.verdict, Verdict::Right | Verdict::Wrong);
    heard && !written.ghost && !written.slurred_into && !written.with_previous && !dead
}

/// Gives every note of a take its level beside the usual one, learns what is usual, and flags.
///
/// Input: the notes of every pass, in order of time; everything that was heard in the take.
pub(crate) fn learn(
    passes: &mut [&mut Vec<JudgedNote>],
    heard: &[&HeardNote],
    marks: &Marks,
) -> Loudness {
    if let Some(withheld) = withheld(heard) {
        return Loudness::none(withheld);
    }
    let notes = || passes.iter().flat_map(|notes| notes.iter());
    let mut times_s = (f64::INFINITY, f64::NEG_INFINITY);
    let mut midis: Vec<f64> = Vec::new();
    for note in notes().filter(|note| is_plain(note)) {
        if let Some(part) = note.heard.as_ref().filter(|h| h.loudness_db.is_some()) {
            times_s = (times_s.0.min(part.onset_s), times_s.1.max(part.onset_s));
            midis.push(f64::from(note.expected.midi));
        }
    }
    let Some(middle_midi) = median(&mut midis) else {
        return Loudness::none(Withheld::TooFew);
    };
    let row = |note: &JudgedNote| row(note, middle_midi, times_s);
    let rows: Vec<Row> = notes()
        .filter(|note| is_plain(note) && !note.expected.accent)
        .filter_map(row)
        .collect();
    let Some(fit) = (rows.len() >= ENOUGH_NOTES).then(|| fit(&rows)).flatten() else {
        return Loudness::none(Withheld::TooFew);
    };
    for note in passes.iter_mut().flat_map(|notes| notes.iter_mut()) {
        let Some(row) = row(note).filter(|_| is_plain(note)) else {
            continue;
        };
        let off_db = row.level_db - fit.of(&row.of);
        let doubt_db = NOTE_DOUBT_DB.hypot(fit.sd(&row.of));
        if let Some(part) = &mut note.heard {
            // The drift is the player's, so it stays in what is told of the note.
            part.level_db = Some(off_db + fit.numbers[2] * row.of[2]);
            part.level_uncertainty_db = Some(doubt_db);
        }
        note.flags
            .extend(sticks_out(off_db, doubt_db, note.expected.accent, marks));
    }
    let strings = (0..STRINGS)
        .filter(|&at| rows.iter().any(|row| row.of[3 + at] > 0.0))
        .map(|at| (at as u8 + 1, fit.numbers[3 + at]))
        .collect();
    let sd = |at: usize| fit.covariance[at][at].max(0.0).sqrt();
    Loudness {
        evenness: Evenness::of(passes.iter().flat_map(|notes| notes.iter())),
        register_db: Some(fit.numbers[1]),
        strings,
        drift_db: Some(fit.numbers[2]),
        drift_uncertainty_db: Some(sd(2)),
        withheld: None,
    }
}

/// Why nothing can be said of the levels of a take; `None` where it can.
fn withheld(heard: &[&HeardNote]) -> Option<Withheld> {
    let sure = || heard.iter().filter(|note| note.evidence > 0.0);
    let clipped = sure().filter(|note| note.clipped).count();
    if clipped > 0 && clipped as f64 > CLIPPED_SHARE * sure().count() as f64 {
        return Some(Withheld::Clipped);
    }
    let mut rises: Vec<f64> = sure().filter_map(|note| note.quiet_rise_db).collect();
    let pauses = rises.len();
    let rises_db = median(&mut rises)?;
    (pauses >= PAUSES && rises_db > GAIN_CONTROL_DB).then_some(Withheld::GainControl)
}

/// Loud or soft: off the usual level by more than the mark, the doubt taken off. What is written as an
/// accent may be loud.
pub(crate) fn sticks_out(off_db: f64, doubt_db: f64, accent: bool, marks: &Marks) -> Option<Flag> {
    let beyond = |mark: Option<f64>| mark.is_some_and(|mark| off_db.abs() - doubt_db > mark);
    if off_db > 0.0 {
        (!accent && beyond(marks.loud_db)).then_some(Flag::Loud)
    } else {
        beyond(marks.soft_db).then_some(Flag::Soft)
    }
}

/// What the fit is told of a note; `None` where its level is not known.
fn row(note: &JudgedNote, middle_midi: f64, (from_s, to_s): (f64, f64)) -> Option<Row> {
    let part = note.heard.as_ref()?;
    let level_db = part.loudness_db.filter(|level| level.is_finite())?;
    let mut of = [0.0; SIZE];
    of[0] = 1.0;
    of[1] = (f64::from(note.expected.midi) - middle_midi) / 12.0;
    let length_s = to_s - from_s;
    of[2] = if length_s > 0.0 {
        (part.onset_s - from_s) / length_s - 0.5
    } else {
        0.0
    };
    let string = note.expected.place.map(|place| usize::from(place.string));
    if let Some(string) = string.filter(|string| (1..=STRINGS).contains(string)) {
        of[2 + string] = 1.0;
    }
    Some(Row { of, level_db })
}

impl Evenness {
    /// How even the levels of some notes are; `None` of too few.
    pub(crate) fn of<'a>(notes: impl Iterator<Item = &'a JudgedNote>) -> Option<Self> {
        let mut levels: Vec<f64> = notes
            .filter(|note| !note.expected.accent)
            .filter_map(|note| note.heard.as_ref()?.level_db)
            .collect();
        let notes = levels.len();
        if notes < ENOUGH_NOTES {
            return None;
        }
        let middle_db = median(&mut levels)?;
        let mut sizes: Vec<f64> = levels.iter().map(|db| (db - middle_db).abs()).collect();
        Some(Self {
            notes,
            level_db: middle_db,
            spread_db: SPREAD_OF_MEDIAN * median(&mut sizes)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::judgement::HeardPart;
    use crate::compare::test_support::{heard, part};
    use crate::music::expected::{ExpectedNote, Place};

    /// A note on a string at a fret, heard at this level.
    fn note(at: usize, string: u8, midi: u8, loudness_db: f64) -> JudgedNote {
        let onset_s = at as f64 * 0.5;
        JudgedNote {
            expected: ExpectedNote {
                index: at,
                midi,
                place: Some(Place { string, fret: 2 }),
                ..ExpectedNote::default()
            },
            verdict: Verdict::Right,
            heard: Some(HeardPart {
                onset_s,
                loudness_db: Some(loudness_db),
                ..part(&heard(onset_s, f64::from(midi)))
            }),
            flags: vec![],
        }
    }

    /// Forty notes on two strings, the higher one 1 dB louder, 2 dB more for each octave, and the player
    /// even but for what `played_db` says.
    fn take(played_db: impl Fn(usize) -> f64) -> Vec<JudgedNote> {
        (0..40)
            .map(|at| {
                let string = if at % 2 == 0 { 4 } else { 2 };
                let midi = 30 + (at % 2 * 10 + at * 7 % 5) as u8;
                let bass = if string == 2 { 1.0 } else { 0.0 } + f64::from(midi) / 6.0;
                note(at, string, midi, -30.0 + bass + played_db(at))
            })
            .collect()
    }

    fn told(notes: &mut Vec<JudgedNote>, marks: &Marks) -> Loudness {
        learn(&mut [notes], &[], marks)
    }

    /// Closed form: what the bass does is taken off, what the player does stays. The prior keeps a tenth
    /// of a decibel or two.
    #[test]
    fn string_and_register_are_learnt_and_taken_off() {
        let sway = |at: usize| if at.is_multiple_of(3) { 1.0 } else { -0.5 };
        let mut notes = take(sway);
        let loudness = told(&mut notes, &Marks::default());
        for (at, note) in notes.iter().enumerate() {
            let level = note.heard.as_ref().expect("heard").level_db.expect("known");
            let middle = loudness.evenness.expect("enough").level_db;
            assert!(
                (level - middle - (sway(at) + 0.5)).abs() < 0.5,
                "{at}: {level}"
            );
            assert!(note.flags.is_empty());
        }
        assert!(loudness.withheld.is_none());
        assert!(loudness.drift_db.expect("known").abs() < 0.3);
    }

    /// Just below and just above the mark, the doubt taken off; an accent may be loud, never soft; off by
    /// default.
    #[test]
    fn loud_and_soft_begin_at_the_marks() {
        let set = Marks {
            loud_db: Some(4.0),
            soft_db: Some(5.0),
            ..Marks::default()
        };
        for (off_db, accent, marks, wanted) in [
            (4.9, false, &set, None),
            (5.1, false, &set, Some(Flag::Loud)),
            (5.1, true, &set, None),
            (-5.9, false, &set, None),
            (-6.1, false, &set, Some(Flag::Soft)),
            (-6.1, true, &set, Some(Flag::Soft)),
            (30.0, false, &Marks::default(), None),
            (-30.0, false, &Marks::default(), None),
            (f64::NAN, false, &set, None),
        ] {
            assert_eq!(sticks_out(off_db, 1.0, accent, marks), wanted, "{off_db}");
        }
    }

    /// One loud note is told and moves no other one.
    #[test]
    fn a_note_that_sticks_out_is_left_out_of_what_is_usual() {
        let marks = Marks {
            loud_db: Some(4.0),
            ..Marks::default()
        };
        let mut notes = take(|at| if at == 17 { 9.0 } else { 0.3 * (at % 2) as f64 });
        told(&mut notes, &marks);
        let flagged: Vec<usize> = (0..40).filter(|&at| !notes[at].flags.is_empty()).collect();
        assert_eq!(flagged, [17]);
    }

    /// A player who gets 6 dB softer drifts; the drift stays in the notes' levels, and flags nobody.
    #[test]
    fn a_drift_is_told_and_flags_nobody() {
        let marks = Marks {
            loud_db: Some(2.0),
            soft_db: Some(2.0),
            ..Marks::default()
        };
        let mut notes = take(|at| -6.0 * at as f64 / 39.0 + 0.4 * (at % 2) as f64);
        let loudness = told(&mut notes, &marks);
        let drift = loudness.drift_db.expect("known");
        assert!((drift + 6.0).abs() < 0.5, "{drift}");
        let level = |at: usize| notes[at].heard.as_ref().and_then(|h| h.level_db);
        assert!(level(0).expect("known") - level(38).expect("known") > 4.5);
        assert!(notes.iter().all(|note| note.flags.is_empty()));
    }

    /// Seven notes say nothing, eight do.
    #[test]
    fn few_notes_have_no_usual_level() {
        for (count, known) in [(7, false), (8, true)] {
            let mut notes = take(|_| 0.0);
            notes.truncate(count);
            let loudness = told(&mut notes, &Marks::default());
            assert_eq!(loudness.withheld.is_none(), known);
            assert_eq!(
                notes[0]
                    .heard
                    .as_ref()
                    .is_some_and(|h| h.level_db.is_some()),
                known
            );
        }
    }

    /// Just below and just above each limit: a quiet that rises by 3 dB in two pauses; three notes of ten
    /// that clip.
    #[test]
    fn what_hides_the_level_is_told() {
        for (rise_db, pauses, clipped, wanted) in [
            (2.9, 2, 0, None),
            (3.1, 2, 0, Some(Withheld::GainControl)),
            (3.1, 1, 0, None),
            (0.0, 2, 3, None),
            (0.0, 2, 4, Some(Withheld::Clipped)),
        ] {
            let mut sounds: Vec<HeardNote> = (0..10).map(|k| heard(f64::from(k), 40.0)).collect();
            for (at, sound) in sounds.iter_mut().enumerate() {
                sound.quiet_rise_db = (at < pauses).then_some(rise_db);
                sound.clipped = at < clipped;
            }
            let sounds: Vec<&HeardNote> = sounds.iter().collect();
            let mut notes = take(|_| 0.0);
            let loudness = learn(&mut [&mut notes], &sounds, &Marks::default());
            assert_eq!(loudness.withheld, wanted, "{rise_db} {pauses} {clipped}");
        }
    }
}
