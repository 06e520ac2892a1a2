//! Gaps: silence at a join where the first note should last until the second begins.

use crate::compare::Settings;
use crate::compare::judge::scene::Scene;
use crate::compare::judge::{timing, verdict};
use crate::compare::judgement::{Flag, JudgedNote};
use crate::compare::marks::Marks;
use crate::compare::usual::UsualGap;
use crate::hearing::events::EndCause;
use crate::music::expected::{ExpectedNote, JoinKind};

/// A gap beyond the baseline must also stand out of the player's own spread by this many robust
/// standard deviations: one join in some hundreds by chance.
const BASELINE_SPREADS: f64 = 3.0;

/// Measures the silence at every legato join of a pass. Output: for each note how far its join's
/// silence is in doubt, in milliseconds.
pub(crate) fn measure(scene: &Scene, notes: &mut [JudgedNote]) -> Vec<f64> {
    let mut doubts_ms = vec![0.0; notes.len()];
    for slot in 0..scene.slots.len() {
        let member = verdict::carrier(scene, slot);
        if let Some(silence) = silence(scene, slot, &notes[member].expected)
            && let Some(part) = &mut notes[member].heard
        {
            part.gap_ms = Some(silence.ms);
            part.gap_uncertainty_ms = silence.sd_ms;
            part.gap_depth_db = Some(silence.depth_db);
            let next = scene
                .heard(slot + 1)
                .map_or(0.0, |(_, h, _)| timing::doubt_s(h));
            doubts_ms[member] = 1e3 * next;
        }
    }
    doubts_ms
}

/// Flags the silences of a pass that stand out. `here` is what the player usually leaves in this
/// take; a take too short to tell is held against what was usual before.
pub(crate) fn flag(
    settings: &Settings,
    here: &[UsualGap],
    notes: &mut [JudgedNote],
    doubts_ms: &[f64],
) {
    let before = &settings.usual.gaps;
    let usual = |kind: JoinKind| {
        let of_kind = |u: &&UsualGap| u.join == kind;
        here.iter()
            .find(of_kind)
            .or(before.iter().find(of_kind))
            .copied()
    };
    let marks = &settings.marks;
    for (note, &doubt_ms) in notes.iter_mut().zip(doubts_ms) {
        let Some((gap_ms, depth_db)) = note
            .heard
            .as_ref()
            .and_then(|part| Some((part.gap_ms?, part.gap_depth_db?)))
        else {
            continue;
        };
        let usual = note.expected.join.and_then(usual);
        let dead = note.flags.contains(&Flag::Dead);
        if !dead && is_gap(gap_ms, depth_db, doubt_ms, usual.as_ref(), marks) {
            note.flags.push(Flag::Gap);
        }
    }
}

/// Whether a silence is a gap: deep enough, and no shorter than the mark or well beyond what the
/// player usually leaves at that kind of join.
///
/// Input: its length in milliseconds and depth in decibels; by how much the next note may have begun
/// sooner than it seems, in milliseconds.
fn is_gap(
    gap_ms: f64,
    depth_db: f64,
    doubt_ms: f64,
    usual: Option<&UsualGap>,
    marks: &Marks,
) -> bool {
    let limit_ms = usual.map_or(marks.gap_ms, |usual| {
        let beyond_ms = marks
            .gap_over_baseline_ms
            .max(BASELINE_SPREADS * usual.spread_ms);
        (usual.middle_ms + beyond_ms)
            .max(marks.gap_floor_ms)
            .min(marks.gap_ms)
    });
    gap_ms - doubt_ms >= limit_ms && depth_db >= marks.gap_depth_db
}

/// The silence between two notes.
struct Silence {
    /// Its length in milliseconds.
    ms: f64,
    /// One standard deviation of that; `None` where nothing was measured of the release.
    sd_ms: Option<f64>,
    /// Its depth in decibels.
    depth_db: f64,
}

/// The silence between a slot's note and the next one.
///
/// Output: `None` where the line asks for no legato, where the next note was missed or belongs to
/// another try, where a note of its own stands between, and where the note died away by itself.
fn silence(scene: &Scene, slot: usize, expected: &ExpectedNote) -> Option<Silence> {
    if !expected.legato_next {
        return None;
    }
    let (event, heard, stretch) = scene.heard(slot)?;
    let (next, following, other) = scene.heard(slot + 1)?;
    // Where the player stopped and went on the stop is told, not the silence.
    if stretch.from_slot != other.from_slot || next <= event || scene.interrupted(event, next) {
        return None;
    }
    let end = scene.end(event, next);
    let silence_ms = 1e3 * (following.onset_s - end.at_s);
    let counts = match end.cause {
        EndCause::Damped => true,
        EndCause::NextOnset => silence_ms < heard.onset_uncertainty_s.max(0.0) * 1e3 + 8.0,
        EndCause::DiedAway | EndCause::TakeEnded => false,
    };
    let (_, onset_sd_s) = timing::moment(following, following.onset_s);
    (counts && silence_ms.is_finite()).then(|| Silence {
        ms: silence_ms,
        sd_ms: end.sd_s.map(|sd_s| match end.cause {
            // Where the next onset is the release they are off together.
            EndCause::NextOnset => 1e3 * sd_s,
            _ => 1e3 * sd_s.hypot(onset_sd_s),
        }),
        depth_db: end.depth_db,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Just below and just above each limit: 40 ms, 10 dB, 30 ms and three spreads beyond the
    /// usual, 36 ms at least where the usual decides, and the doubt of the next onset.
    #[test]
    fn a_gap_begins_at_the_marks() {
        let usual = |middle_ms, spread_ms| {
            Some(UsualGap {
                join: JoinKind::Shift,
                joins: 5,
                middle_ms,
                spread_ms,
            })
        };
        for (gap_ms, depth_db, doubt_ms, usual, wanted) in [
            (39.9, 20.0, 0.0, None, false),
            (40.1, 20.0, 0.0, None, true),
            (60.0, 9.9, 0.0, None, false),
            (60.0, 10.1, 0.0, None, true),
            (44.9, 20.0, 5.0, None, false),
            (45.1, 20.0, 5.0, None, true),
            (37.9, 20.0, 0.0, usual(8.0, 1.0), false),
            (38.1, 20.0, 0.0, usual(8.0, 1.0), true),
            (35.9, 20.0, 0.0, usual(2.0, 1.0), false),
            (36.1, 20.0, 0.0, usual(2.0, 1.0), true),
            (38.9, 20.0, 0.0, usual(0.0, 13.0), false),
            (39.1, 20.0, 0.0, usual(0.0, 13.0), true),
        ] {
            let marks = Marks::default();
            let got = is_gap(gap_ms, depth_db, doubt_ms, usual.as_ref(), &marks);
            assert_eq!(got, wanted, "{gap_ms} {depth_db} {doubt_ms} {usual:?}");
        }
    }

    /// A player who sets the mark lower is told shorter gaps.
    #[test]
    fn the_mark_is_the_limit() {
        let marks = Marks {
            gap_ms: 20.0,
            ..Marks::default()
        };
        assert!(is_gap(20.1, 20.0, 0.0, None, &marks));
        assert!(!is_gap(19.9, 20.0, 0.0, None, &marks));
    }
}
