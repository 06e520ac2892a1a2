//! Strings of which nothing can be told: a note that was left may ring on under the next one, and
//! every partial of it is a partial of that one, too.
//!
//! It can be told after all where it was heard ringing, where it was heard to stop before the next
//! note, or where the next note is followed by silence, in which it would be heard. What is left is
//! told as it is, and is held against nobody.
//!
//! # Source
//! Partials of a string that stands in a whole ratio to another's fall on that one's: Fletcher
//! (1964), f_k = k f0 √(1 + B k²); the stiffness parts the high ones, too little to be heard apart.

use crate::compare::judge::bleed::is_masked;
use crate::compare::judgement::{Bleed, JudgedNote, Undecided, Verdict};

/// Silence after a note in which a string that rings would be heard, in milliseconds: what the ear
/// needs for one look.
const HEARD_IN_MS: f64 = 80.0;
/// A note stopped this long before the next one does not ring under it, in milliseconds.
const STOPPED_MS: f64 = 40.0;

/// The cases of a take, in order of time.
pub(crate) fn find(notes: &[JudgedNote], bleed: &[Bleed]) -> Vec<Undecided> {
    let mut found = Vec::new();
    for (at, pair) in notes.windows(2).enumerate() {
        let [left, over] = pair else { continue };
        let (Some(first), Some(second)) = (&left.heard, &over.heard) else {
            continue;
        };
        let right = left.verdict == Verdict::Right && over.verdict == Verdict::Right;
        let places = (left.expected.place, over.expected.place);
        let (Some(from), Some(to)) = places else {
            continue;
        };
        let above = f64::from(left.expected.midi) - f64::from(over.expected.midi);
        let chord = over.expected.with_previous;
        if !right || chord || from.string == to.string || !is_masked(above) {
            continue;
        }
        let stopped = first.gap_ms.is_some_and(|gap| gap >= STOPPED_MS);
        let told = bleed
            .iter()
            .any(|b| b.after == Some(left.expected.index) && b.to_s > second.onset_s);
        let next = notes.get(at + 2).and_then(|note| note.heard.as_ref());
        let silence_ms = next.map_or(f64::INFINITY, |next| {
            1e3 * (next.onset_s - second.release_s)
        });
        if stopped || told || silence_ms >= HEARD_IN_MS {
            continue;
        }
        found.push(Undecided {
            midi: f64::from(left.expected.midi),
            string: from.string,
            after: left.expected.index,
            during: vec![over.expected.index],
            from_s: second.onset_s,
            to_s: second.release_s,
        });
    }
    found
}
