//! What is no note, whatever the line hopes for: a string that is stopped, a click, a knock.
//!
//! A damped string breaks off with its past as a plucked one does, and the ear hands it on with its
//! evidence. But it dies at once and lies far under the take, and so does a click. A choked pluck
//! dies at once, too, but is louder.

use crate::compare::median;
use crate::hearing::events::HeardNote;

/// A sound that falls by this much within a tenth of a second dies at once, in decibels; a string
/// that rings loses 1 to 6 (3 to 60 dB/s, common practice, no source).
const DIES_DB: f64 = 10.0;
/// One that dies at once and lies this far under the take's notes is none of them, in decibels.
/// Measured on 45 choked notes of the ground (all kinds of rigs): one lay further below; ends that
/// are taken for notes lie 12 to 25 below, clicks 20 and more. Raising it finds more choked notes
/// and takes more ends for notes.
const UNDER_DB: f64 = 15.0;
/// Evidence of what is surely a plucked note, in nats. Such notes tell the level of a take, and what
/// was played of it. Raising it lets soft notes count for less.
pub(crate) const SURE_EVIDENCE: f64 = 2.0;
/// Evidence of what is no note, in nats: no hope of the line makes one of it.
pub(crate) const NO_NOTE: f64 = -30.0;

/// Whether a sound dies at once.
pub(crate) fn dies(event: &HeardNote) -> bool {
    let fall_db = event.early_fall_db.unwrap_or(0.0);
    fall_db.max(event.features.level_fall_db) >= DIES_DB
}

/// What dies at once and is less periodic than this is the noise of a string that is stopped or of
/// something else, not a note that nobody wrote; clarity, 0 to 1.
const TONE_CLARITY: f64 = 0.9;

/// Whether a sound dies at once without a tone. A choked note of the line may be like that.
fn is_toneless(event: &HeardNote) -> bool {
    dies(event) && event.pitch.is_none_or(|pitch| pitch.clarity < TONE_CLARITY)
}

/// Whether an event is clearly a plucked note.
pub(crate) fn is_pluck(event: &HeardNote) -> bool {
    event.evidence >= SURE_EVIDENCE && !is_toneless(event)
}

/// Takes the evidence away from what is no note.
pub(crate) fn disbelieve(events: &mut [HeardNote]) {
    let mut levels: Vec<f64> = events
        .iter()
        .filter(|event| event.evidence >= SURE_EVIDENCE && !dies(event))
        .map(|event| event.level_dbfs)
        .filter(|level| level.is_finite())
        .collect();
    let usual_dbfs = median(&mut levels).unwrap_or(f64::NEG_INFINITY);
    for event in events.iter_mut().filter(|event| dies(event)) {
        if event.level_dbfs <= usual_dbfs - UNDER_DB {
            event.evidence = NO_NOTE;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::test_support::heard;

    /// Just below and just above each limit, beside two notes at -20 dB.
    #[test]
    fn an_end_is_no_beginning() {
        for (fall_db, level_dbfs, is_note) in [
            (9.9, -50.0, true),
            (10.1, -35.1, false),
            (10.1, -34.9, true),
        ] {
            let mut events = vec![heard(1.0, 40.0), heard(2.0, 42.0), heard(3.0, 43.0)];
            events[2].early_fall_db = Some(fall_db);
            events[2].level_dbfs = level_dbfs;
            disbelieve(&mut events);
            let kept = events[2].evidence > 0.0;
            assert_eq!(kept, is_note, "{fall_db} {level_dbfs}");
            assert!(events[..2].iter().all(|event| event.evidence > 0.0));
        }
    }
}
