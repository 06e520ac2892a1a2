//! What is no note, whatever the line hopes for: a string that is stopped, a click, a knock.
//!
//! A damped string breaks off with its past as a plucked one does, and the ear hands it on with its
//! evidence. So does a choked pluck; which of them a sound that dies at once was is told by
//! [`choked`](crate::hearing::choked).

use crate::hearing::choked::{self, dies};
use crate::hearing::events::HeardNote;
use crate::units::median;

/// A sound that dies at once and is less likely than this to have been plucked is no note, in nats.
/// Below 0, because a note is due where it is asked for. Raising it takes fewer ends for notes and
/// more choked notes for missed ones.
const CHOKED_NATS: f64 = -0.75;
/// Evidence of what is surely a plucked note, in nats. Such notes tell the level of a take, and what
/// was played of it. Raising it lets soft notes count for less.
pub(crate) const SURE_EVIDENCE: f64 = 2.0;
/// Evidence of what is no note, in nats: no hope of the line makes one of it.
pub(crate) const NO_NOTE: f64 = -30.0;

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
        if choked::nats(event, usual_dbfs) < CHOKED_NATS {
            event.evidence = NO_NOTE;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::test_support::heard;

    /// Medians of 713 choked plucks and 1635 other sounds that die at once (the takes of the fit); the
    /// latter just below and just above the fall from which a sound dies at once.
    #[test]
    fn an_end_is_no_beginning() {
        for (fall_db, under_db, rise_db, new_share, struck_db, evidence, is_note) in [
            (31.0, 8.3, -4.4, 0.27, [33.6, 12.3, 9.4], 3.6, true),
            (21.8, 16.0, -11.5, 0.06, [20.0, 6.7, 5.3], -2.6, false),
            (10.1, 16.0, -11.5, 0.06, [20.0, 6.7, 5.3], -2.6, false),
            (9.9, 16.0, -11.5, 0.06, [20.0, 6.7, 5.3], -2.6, true),
        ] {
            let mut events = vec![heard(1.0, 40.0), heard(2.0, 42.0), heard(3.0, 43.0)];
            let died = &mut events[2];
            died.evidence = evidence;
            died.early_fall_db = Some(fall_db);
            died.level_dbfs = -20.0 - under_db;
            died.novelty_db = 7.0;
            died.features.level_rise_db = rise_db;
            died.features.new_share = new_share;
            died.features.error_rise_db = struck_db;
            died.features.clarity = 0.67;
            disbelieve(&mut events);
            assert_eq!(
                events[2].evidence > NO_NOTE,
                is_note,
                "{fall_db} {under_db}"
            );
            assert!(events[..2].iter().all(|event| event.evidence > 0.0));
        }
    }
}
