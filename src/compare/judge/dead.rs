//! Dead notes: choked, muffled, without a stable pitch.

use crate::compare::marks::Marks;
use crate::hearing::events::HeardNote;

/// Whether a note is dead: it has no stable pitch, or falls much faster just after the attack than
/// the take's notes usually do.
///
/// Input: how long it should last, in seconds; the take's usual fall just after the attack, in
/// decibels.
pub(crate) fn is_dead(
    heard: &HeardNote,
    written_s: f64,
    usual_fall_db: f64,
    marks: &Marks,
) -> bool {
    if heard.pitch.is_none() {
        return true;
    }
    let limit_db = marks.dead_floor_db.max(usual_fall_db + marks.dead_fall_db);
    1e3 * written_s > marks.dead_from_ms && heard.early_fall_db.is_some_and(|fall| fall > limit_db)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::test_support::heard;

    /// Just below and just above each limit: 130 ms, 14 dB, 10 dB beyond the usual fall.
    #[test]
    fn dead_begins_at_the_marks() {
        let marks = Marks::default();
        for (written_s, usual_db, fall_db, wanted) in [
            (0.5, 2.0, Some(13.9), false),
            (0.5, 2.0, Some(14.1), true),
            (0.5, 5.0, Some(14.9), false),
            (0.5, 5.0, Some(15.1), true),
            (0.129, 2.0, Some(30.0), false),
            (0.131, 2.0, Some(30.0), true),
            (0.5, 2.0, None, false),
        ] {
            let mut note = heard(1.0, 40.0);
            note.early_fall_db = fall_db;
            let got = is_dead(&note, written_s, usual_db, &marks);
            assert_eq!(got, wanted, "{written_s} {usual_db} {fall_db:?}");
        }
        let mut toneless = heard(1.0, 40.0);
        toneless.pitch = None;
        assert!(is_dead(&toneless, 0.05, 0.0, &marks));
    }
}
