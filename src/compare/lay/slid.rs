//! Notes that the line slides into begin where the slide arrives.
//!
//! Where the hand leaves, the string breaks off with its past and is heard to begin; where it arrives the
//! pitch comes to rest, and the finger settles with a small noise. So once the take is laid, what was heard of
//! a slide is moved to its arrival, and the take is laid once more. Pitch and finger need not agree about the
//! moment: of the two the one nearer to the note's place is taken, so that a slide in time is not blamed. That
//! a slid note begins where it arrives is common practice, no source.

use crate::compare::lay::ends::NO_NOTE;
use crate::compare::lay::passes::Pass;
use crate::compare::lay::slots::Slot;
use crate::hearing::events::HeardNote;

/// A slide takes no longer than this, in seconds: what is heard later is something else. Raised, notes close
/// behind a slide are taken for its arrival.
const SLIDE_S: f64 = 0.170;
/// What is heard on the way has the pitch that it comes to within this, in semitones, or none.
const SAME_SEMITONES: f64 = 0.7;

/// Moves what was heard of written slides to where they arrived. Output: whether there were any.
pub(crate) fn arrive(slots: &[Slot], events: &mut [HeardNote], passes: &[Pass]) -> bool {
    let mut any = false;
    for pass in passes {
        let first_event = pass.events.start;
        let pairs: Vec<(usize, usize)> = pass
            .stretches
            .iter()
            .flat_map(|stretch| stretch.pairs.iter().copied())
            .collect();
        for stretch in &pass.stretches {
            for &(slot, event) in &stretch.pairs {
                let written = &slots[pass.slots.start + slot];
                if !written.slid {
                    continue;
                }
                let place_s = stretch.grid.time_at(written.at_s);
                let behind = |&(_, other): &(usize, usize)| other > event;
                let next = pairs.iter().copied().find(behind).map(|pair| pair.1);
                let last = first_event + next.unwrap_or(pass.events.len());
                let before = pairs.iter().rev().find(|pair| pair.1 < event);
                let from = first_event + before.map_or(event, |pair| pair.1 + 1);
                any |= arrive_at(&mut events[from..last], first_event + event - from, place_s);
            }
        }
    }
    if any {
        events.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
    }
    any
}

/// The same for one slide: `events` between the notes around it, of which `matched` was taken for it, and its
/// place in time.
fn arrive_at(events: &mut [HeardNote], matched: usize, place_s: f64) -> bool {
    let midi = |event: &HeardNote| event.pitch.map(|pitch| pitch.midi);
    let came_to = |event: &HeardNote| event.arrived.and_then(|arrived| arrived.pitch);
    let to = came_to(&events[matched]).or(events[matched].pitch);
    let Some(to) = to.map(|pitch| pitch.midi) else {
        return false;
    };
    let is_of_it = |event: &HeardNote| midi(event).is_none_or(|m| (m - to).abs() < SAME_SEMITONES);
    let matched_s = events[matched].onset_s;
    // Where the hand left: what glides to where the matched one is, or to its pitch.
    let left = (0..matched)
        .find(|&k| {
            let begins_s = matched_s - events[k].onset_s;
            begins_s < SLIDE_S && (events[k].arrived.is_some() || is_of_it(&events[k]))
        })
        .unwrap_or(matched);
    let left_s = events[left].onset_s;
    let on_the_way: Vec<usize> = (left..events.len())
        .filter(|&k| events[k].onset_s - left_s < SLIDE_S && is_of_it(&events[k]))
        .collect();
    let moments = on_the_way.iter().flat_map(|&k| {
        [
            Some(events[k].onset_s),
            events[k].arrived.map(|arrived| arrived.at_s),
        ]
    });
    let off = |at_s: &f64| (at_s - place_s).abs();
    let nearest = moments.flatten().min_by(|a, b| off(a).total_cmp(&off(b)));
    let Some(at_s) = nearest.filter(|at_s| *at_s != matched_s || on_the_way.len() > 1) else {
        return false;
    };
    for k in on_the_way.into_iter().chain([left]) {
        if k != matched {
            events[k].evidence = NO_NOTE;
        }
    }
    let left_evidence = events[matched].evidence.max(0.0);
    let note = &mut events[matched];
    note.onset_s = at_s;
    if let Some(arrived) = note.arrived.take() {
        note.pitch = arrived.pitch.or(note.pitch);
    }
    note.evidence = left_evidence;
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::test_support::heard;
    use crate::hearing::events::Arrived;

    /// Left at 1.00 s: whether the note that the ear heard there or the weak one where the finger settles was
    /// taken for the slide, it begins at what is nearer to its place; the note behind it stays.
    #[test]
    fn a_slide_begins_where_it_arrives() {
        for (matched, arrived_s, place_s, wanted_s) in [
            (0, None, 1.08, 1.085),
            (1, None, 1.08, 1.085),
            (0, Some(1.05), 1.04, 1.05),
            (1, Some(1.05), 1.04, 1.05),
            (1, Some(1.05), 0.90, 1.0),
        ] {
            let mut events = vec![heard(1.0, 45.0), heard(1.085, 45.0), heard(1.5, 47.0)];
            events[0].arrived = arrived_s.map(|at_s| Arrived { at_s, pitch: None });
            assert!(arrive_at(&mut events, matched, place_s));
            assert_eq!(events[matched].onset_s, wanted_s, "{matched} {place_s}");
            assert_eq!(events[1 - matched].evidence, NO_NOTE);
            assert!(events[2].evidence > 0.0);
        }
    }

    /// A note with nothing else on the way, and one of another pitch before it, stay as they are.
    #[test]
    fn what_is_no_slide_stays() {
        let mut events = vec![heard(0.9, 40.0), heard(1.0, 45.0), heard(1.5, 47.0)];
        assert!(!arrive_at(&mut events, 1, 1.08));
        assert_eq!(events[1].onset_s, 1.0);
        assert!(events[0].evidence > 0.0);
    }
}
