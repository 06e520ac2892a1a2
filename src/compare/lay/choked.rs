//! Choked notes: a pluck that hardly sounded is not a missed note.
//!
//! The ear takes a string that is struck and dies within a few hundredths of a second for the
//! noise of a hand that damps, and rightly so in most places. Where the line has a note and
//! nothing else was heard of it, it is the note, and dead.

use crate::compare::lay::costs;
use crate::compare::lay::course::Course;
use crate::compare::lay::ends::NO_NOTE;
use crate::compare::lay::passes::{Scored, Stretch};
use crate::compare::median;
use crate::hearing::events::HeardNote;

/// A choked note is looked for up to this far from its place on the grid, in seconds. Raised, more
/// of what is noise is taken for a choked note.
const REACH_S: f64 = 0.06;
/// It is looked for no further than this share of the shorter neighbouring interval, so that notes
/// close together do not take each other's noise.
const REACH_SHARE: f64 = 0.35;
/// A choked pluck falls at least this much within a tenth of a second, in decibels; a string that
/// rings loses 1 to 6 (3 to 60 dB/s, common practice, no source).
const FALL_DB: f64 = 12.0;
/// Novelty of a choked pluck against the middle one of the matched notes: what stays below is the
/// breath of a string let go.
const NOVELTY_SHARE: f64 = 0.15;
/// A rise of the middle prediction error like this is a pluck whatever the novelty, in decibels; the
/// lowest copy rises where a string is damped, too.
const STRUCK_DB: f64 = 10.0;

/// True when an event looks like a pluck that died at once.
pub(crate) fn is_choked(event: &HeardNote, usual_novelty_db: f64) -> bool {
    if event.evidence <= NO_NOTE {
        return false;
    }
    let struck = event.features.error_rise_db[1];
    event.early_fall_db.is_some_and(|fall| fall >= FALL_DB)
        && (event.novelty_db >= NOVELTY_SHARE * usual_novelty_db || struck >= STRUCK_DB)
}

/// A note of another pitch that lies further than this from a place, in seconds, may have taken it
/// from a choked one. Raised, fewer choked notes are looked for there.
const MISTAKEN_S: f64 = 0.05;
/// A choked note takes such a place back only where it is this close to it, in seconds. Raised,
/// more wrong notes become dead ones.
const ON_PLACE_S: f64 = 0.02;
/// It also needs this share of the novelty of the middle matched note. Raised, fewer choked notes
/// take a place back.
const ON_PLACE_NOVELTY: f64 = 0.5;

/// Gives missed notes the choked pluck at their place, where there is one that no note took.
pub(crate) fn fill(course: &Course, stretches: &mut [Stretch], scored: &mut [Option<Scored>]) {
    let mut taken = vec![false; course.events.len()];
    for &(_, event) in stretches.iter().flat_map(|stretch| &stretch.pairs) {
        taken[event] = true;
    }
    let mut novelties: Vec<f64> = (0..taken.len())
        .filter(|&k| taken[k])
        .map(|k| course.events[k].heard.novelty_db)
        .collect();
    let Some(usual) = median(&mut novelties) else {
        return;
    };
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
        // A choked note right at its place needs less novelty: where it stands is evidence, too.
        let (reach, asked) = match *found {
            None => (REACH_S.min(REACH_SHARE * target.interval_s * slope), 1.0),
            Some(_) if mistaken => (ON_PLACE_S, ON_PLACE_NOVELTY),
            Some(_) => continue,
        };
        let nearest = (0..course.events.len())
            .filter(|&k| !taken[k] && off(k) <= reach)
            .filter(|&k| is_choked(course.events[k].heard, usual * asked))
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
