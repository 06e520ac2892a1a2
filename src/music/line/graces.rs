//! Grace notes in the order in which they are played.

use super::model::{EventKind, Start};
use super::whole::Line;
use crate::music::expected::{ExpectedNote, Place};

/// A grace note, with the note it leads to.
#[derive(Clone, Debug, PartialEq)]
pub struct GraceNote {
    /// The number of the expected note it leads to, of a chord its lowest.
    pub before: usize,
    /// The pitch, a MIDI note number.
    pub midi: u8,
    /// Where it lies: as the line says, else in the place nearest to the note it leads to. `None`
    /// where the instrument does not have it.
    pub place: Option<Place>,
    /// How it is begun.
    pub begun: Start,
    /// True when it is struck together with the grace note before it in the list.
    pub with_previous: bool,
    /// True for a muted string.
    pub ghost: bool,
}

impl Line {
    /// The grace notes of the line, repeats played out.
    ///
    /// Input:  the notes that [`Line::expected`] gives for the line's own instrument, all of them.
    pub fn graces(&self, notes: &[ExpectedNote]) -> Vec<GraceNote> {
        let mut list = Vec::new();
        let mut before = 0;
        for event in self.bars().iter().flat_map(|bar| &bar.events) {
            let EventKind::Notes { notes: main, .. } = &event.kind else {
                continue;
            };
            let near = notes.get(before).and_then(|note| note.place);
            for grace in &event.graces {
                for (member, note) in grace.notes.iter().enumerate() {
                    let places = self.instrument().places(note.midi).into_iter();
                    let far = |place: &Place| near.map_or(0, |near| near.fret.abs_diff(place.fret));
                    list.push(GraceNote {
                        before,
                        midi: note.midi,
                        place: note.place.or_else(|| places.min_by_key(far)),
                        begun: grace.start,
                        with_previous: member > 0,
                        ghost: note.ghost,
                    });
                }
            }
            before += main.len();
        }
        list
    }
}
