//! Choked notes: a pluck that hardly sounded is not a missed note.
//!
//! The ear takes a string that is struck and dies within a few hundredths of a second for the
//! noise of a hand that damps, and rightly so in most places. Where the line has a note and
//! nothing else was heard of it, it is the note, and dead.
//!
//! A muted note may follow a ringing string: the hand that stops the string and the muted stroke are
//! then one sound, which the ear takes for a string that is stopped. In the place of a muted note it is
//! that note, whichever of the two it was.

use crate::compare::lay::costs;
use crate::compare::lay::course::Course;
use crate::compare::lay::ends::NO_NOTE;
use crate::compare::lay::passes::{Scored, Stretch};
use crate::hearing::choked::dies;
use crate::hearing::events::HeardNote;

/// A choked note is looked for up to this far from its place on the grid, in seconds. Raised, more
/// of what is noise is taken for a choked note.
const REACH_S: f64 = 0.06;
/// It is looked for no further than this share of the shorter neighbouring interval, so that notes
/// close together do not take each other's noise.
const REACH_SHARE: f64 = 0.35;
/// True when an event looks like a pluck that died at once.
pub(crate) fn is_choked(event: &HeardNote) -> bool {
    event.evidence > NO_NOTE && dies(event)
}

/// A note of another pitch that lies further than this from a place, in seconds, may have taken it
/// from a choked one. Raised, fewer choked notes are looked for there.
const MISTAKEN_S: f64 = 0.05;
/// A choked note takes such a place back only where it is this close to it, in seconds. Raised,
/// more wrong notes become dead ones.
const ON_PLACE_S: f64 = 0.02;

/// Gives missed notes the choked pluck at their place, where there is one that no note took.
pub(crate) fn fill(course: &Course, stretches: &mut [Stretch], scored: &mut [Option<Scored>]) {
    let mut taken = vec![false; course.events.len()];
    for &(_, event) in stretches.iter().flat_map(|stretch| &stretch.pairs) {
        taken[event] = true;
    }
    for (slot, scored) in scored.iter_mut().enumerate() {
        let Some(Scored {
            stretch,
            event: found,
        }) = scored
        else {
            continue;
        };
        let target = &course.slots[slot];
        let grid = &stretches[*stretch].grid;
        let place = grid.time_at(target.at_s);
        let slope = grid.slope_at(target.at_s).max(0.0);
        let off = |k: usize| (course.events[k].heard.onset_s - place).abs();
        // A note of another pitch well off the place may have taken it from a choked one.
        let mistaken = found
            .is_some_and(|k| off(k) > MISTAKEN_S && !costs::same_pitch(target, &course.events[k]));
        let reach = match *found {
            None => REACH_S.min(REACH_SHARE * target.interval_s * slope),
            Some(_) if mistaken => ON_PLACE_S,
            Some(_) => continue,
        };
        let nearest = (0..course.events.len())
            .filter(|&k| !taken[k] && off(k) <= reach)
            .filter(|&k| {
                let heard = course.events[k].heard;
                is_choked(heard) || (target.ghost && dies(heard))
            })
            .min_by(|&a, &b| off(a).total_cmp(&off(b)));
        if let Some(k) = nearest {
            taken[k] = true;
            if let Some(mistaken) = found.replace(k) {
                taken[mistaken] = false;
                let pairs = &mut stretches[*stretch].pairs;
                if let Some(pair) = pairs.iter_mut().find(|pair| **pair == (slot, mistaken)) {
                    pair.1 = k;
                }
            }
        }
    }
}
