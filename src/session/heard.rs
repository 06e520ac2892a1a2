//! What the ear has said of a stream: what is settled, and what would be settled besides, were the
//! stream over now.
//!
//! Only notes and rings are kept here; that a note started or was named is for whoever shows it.
//! Used by `offline`, `tuning` and `live`.

use crate::hearing::events::{Event, HeardNote, HeardRing};

/// Two onsets this close, in seconds, are one note, provisional and settled: far below a sample.
/// Raised beyond the distance of two notes, a settled note would take the next provisional one
/// with it.
const SAME_ONSET_S: f64 = 1e-9;

/// The notes and rings of a stream.
#[derive(Clone, Debug, Default)]
pub(super) struct Heard {
    /// Settled notes, in order of onset.
    pub notes: Vec<HeardNote>,
    /// Settled rings, in order of their beginning.
    pub rings: Vec<HeardRing>,
    /// Notes that would be settled besides, were the stream over now.
    pub soon_notes: Vec<HeardNote>,
    /// Rings that would be settled besides.
    pub soon_rings: Vec<HeardRing>,
}

impl Heard {
    /// Takes in what is settled: a note or a ring. What was provisional of it is so no longer.
    pub fn take(&mut self, event: Event) {
        match event {
            Event::Settled(note) => {
                self.soon_notes
                    .retain(|soon| soon.onset_s > note.onset_s + SAME_ONSET_S);
                self.soon_rings.clear();
                insert_by(&mut self.notes, note, |note| note.onset_s);
            }
            Event::Rang(ring) => insert_by(&mut self.rings, ring, |ring| ring.from_s),
            Event::Started { .. } | Event::Named { .. } => {}
        }
    }

    /// Takes in what would be settled were the stream over now; it replaces what was said of that
    /// before.
    pub fn take_so_far(&mut self, events: Vec<Event>) {
        self.forget_so_far();
        for event in events {
            match event {
                Event::Settled(note) => self.soon_notes.push(note),
                Event::Rang(ring) => self.soon_rings.push(ring),
                Event::Started { .. } | Event::Named { .. } => {}
            }
        }
    }

    /// Nothing is provisional any longer: all there is to say is settled.
    pub fn forget_so_far(&mut self) {
        self.soon_notes.clear();
        self.soon_rings.clear();
    }

    /// What began from `from_s` up to `to_s`, in seconds of the stream, the provisional last, and
    /// the first provisional onset of the whole stream (infinity when all is settled).
    pub fn within(&self, from_s: f64, to_s: f64) -> (Vec<HeardNote>, Vec<HeardRing>, f64) {
        let inside = |at_s: f64| at_s >= from_s && at_s < to_s;
        // Kept in order of time, so that a long session costs no more than its last pass.
        let first = self.notes.partition_point(|n| n.onset_s < from_s - 1.0);
        let notes: Vec<_> = self.notes[first..]
            .iter()
            .chain(&self.soon_notes)
            .filter(|n| inside(n.onset_s))
            .cloned()
            .collect();
        let settled_s = self
            .soon_notes
            .first()
            .map_or(f64::INFINITY, |note| note.onset_s);
        let rings = self
            .rings
            .iter()
            .chain(&self.soon_rings)
            .filter(|r| inside(r.from_s))
            .copied()
            .collect();
        (notes, rings, settled_s)
    }
}

fn insert_by<T>(list: &mut Vec<T>, item: T, at: impl Fn(&T) -> f64) {
    let moment = at(&item);
    let place = list
        .iter()
        .rposition(|x| at(x) <= moment)
        .map_or(0, |p| p + 1);
    list.insert(place, item);
}
