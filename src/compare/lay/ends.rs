//! What is no note, whatever the line hopes for: a string that is stopped, a click, a knock.
//!
//! A damped string breaks off with its past as a plucked one does, and the ear hands it on with its
//! evidence. But it dies at once and has less than there was before; a click dies at once and lies
//! far under the take. A choked pluck dies at once, too: it adds to what was there.

use crate::compare::median;
use crate::hearing::events::HeardNote;

/// A sound that falls by this much within a tenth of a second dies at once, in decibels; a string
/// that rings loses 1 to 6 (3 to 60 dB/s, common practice, no source).
const DIES_DB: f64 = 10.0;
/// One that dies at once and is this much softer than what was there before is its end, in
/// decibels. Measured on 45 choked notes of the ground (all kinds of rigs): two were softer; of the
/// ends that were taken for notes nearly all. Raising it finds more choked notes and more ends.
const SOFTER_DB: f64 = 10.5;
/// One that dies at once and lies this far under the take's notes is none of them, in decibels.
/// Measured in the same way: one choked note of 45 lay further below, clicks lie 20 and more.
const UNDER_DB: f64 = 14.0;
/// Evidence that tells the level of a take's notes, in nats.
const SURE_EVIDENCE: f64 = 2.0;
/// Evidence of what is no note, in nats: no hope of the line makes one of it.
const NO_NOTE: f64 = -30.0;

/// Takes the evidence away from what is no note.
pub(crate) fn disbelieve(events: &mut [HeardNote]) {
    let dies = |event: &HeardNote| {
        let fall = event.early_fall_db.unwrap_or(0.0);
        fall.max(event.features.level_fall_db) >= DIES_DB
    };
    let mut levels: Vec<f64> = events
        .iter()
        .filter(|event| event.evidence >= SURE_EVIDENCE && !dies(event))
        .map(|event| event.level_dbfs)
        .filter(|level| level.is_finite())
        .collect();
    let usual_dbfs = median(&mut levels).unwrap_or(f64::NEG_INFINITY);
    for event in events.iter_mut().filter(|event| dies(event)) {
        let softer = event.features.level_rise_db <= -SOFTER_DB;
        let under = event.level_dbfs <= usual_dbfs - UNDER_DB;
        if softer || under {
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
        for (fall_db, rise_db, level_dbfs, is_note) in [
            (9.9, -20.0, -50.0, true),
            (10.1, -10.6, -25.0, false),
            (10.1, -10.4, -25.0, true),
            (10.1, 0.0, -34.1, false),
            (10.1, 0.0, -33.9, true),
        ] {
            let mut events = vec![heard(1.0, 40.0), heard(2.0, 42.0), heard(3.0, 43.0)];
            events[2].early_fall_db = Some(fall_db);
            events[2].features.level_rise_db = rise_db;
            events[2].level_dbfs = level_dbfs;
            disbelieve(&mut events);
            let kept = events[2].evidence > 0.0;
            assert_eq!(kept, is_note, "{fall_db} {rise_db} {level_dbfs}");
            assert!(events[..2].iter().all(|event| event.evidence > 0.0));
        }
    }
}
