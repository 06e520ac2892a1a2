//! Values for the tests of this room.

use crate::compare::judgement::HeardPart;
use crate::hearing::events::HeardNote;
pub(crate) use crate::hearing::events::test_support::heard;

/// What is told of a heard note before anything is judged.
pub(crate) fn part(note: &HeardNote) -> HeardPart {
    HeardPart {
        midi: note.pitch.map(|pitch| pitch.midi),
        cents: None,
        cents_uncertainty: None,
        onset_s: note.onset_s,
        release_s: note.release_s,
        level_dbfs: note.level_dbfs,
        loudness_db: note.loudness_db,
        level_db: None,
        level_uncertainty_db: None,
        brightness: note.brightness,
        buzz_nats: None,
        timing_ms: None,
        timing_uncertainty_ms: None,
        gap_ms: None,
        gap_uncertainty_ms: None,
        gap_depth_db: None,
        heard_at_s: note.heard_at_s,
        named_at_s: note.named_at_s,
        named_midi: note.named_midi,
    }
}
