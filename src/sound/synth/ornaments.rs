//! Grace notes and slides put into a performance.

use super::performance::{Performance, PlayedNote, Role, Slide};
use crate::music::expected::{ExpectedNote, Place};
use crate::music::line::{GraceNote, Start};

/// Seconds a grace note takes before its note: short, and before the beat. Common practice, no
/// source; raising it makes it a note of its own.
const GRACE_S: f64 = 0.07;

/// Shortest grace note in seconds; where less is left before its note it is not played.
const GRACE_SHORTEST_S: f64 = 0.015;

/// How hard a grace note is plucked against its note. Common practice, no source.
const GRACE_VELOCITY: f64 = 0.8;

/// Seconds a sliding finger takes from fret to fret. Common practice, no source; raising it lets
/// long slides set out earlier.
const SLIDE_S_PER_FRET: f64 = 0.012;

/// A note that ends this near to an onset, in seconds, was held up to it.
const HELD_S: f64 = 0.03;

/// Seconds of silence before the line that the grace notes of its first note need: twice their own
/// length, since grace notes take at most half of the time before their note.
pub fn graces_lead_s(graces: &[GraceNote]) -> f64 {
    let first = graces.iter().filter(|grace| grace.before == 0);
    2.0 * GRACE_S * first.count() as f64
}

impl Performance {
    /// The same with the line's grace notes before their notes, and with the fingers sliding where
    /// the line slides, so that they arrive when the note is written. Notes that were left out
    /// have none.
    ///
    /// Input:  `expected`, the notes it was made of; `graces`, those of the line.
    pub fn with_ornaments(mut self, expected: &[ExpectedNote], graces: &[GraceNote]) -> Self {
        for note in expected.iter().filter(|note| note.slid_into) {
            self.slide_into(note.index);
        }
        let mut rest = graces;
        while let Some(first) = rest.first() {
            let count = rest.partition_point(|grace| grace.before <= first.before);
            let (own, later) = rest.split_at(count.max(1));
            self.put_graces(own);
            rest = later;
        }
        self
    }

    fn written(&self, index: usize) -> Option<usize> {
        let is_it = |note: &PlayedNote| note.role == Role::Written && note.index == Some(index);
        self.notes.iter().position(is_it)
    }

    /// Lets the note before slide up to the note of that number.
    fn slide_into(&mut self, index: usize) {
        let Some(main) = self.written(index).map(|at| self.notes[at].clone()) else {
            return;
        };
        let held = |note: &&mut PlayedNote| {
            note.string == main.string
                && note.onset_s < main.onset_s
                && (note.release_s - main.onset_s).abs() <= HELD_S
        };
        let Some(before) = self.notes.iter_mut().rev().find(held) else {
            return;
        };
        let frets = i16::from(main.fret) - i16::from(before.fret);
        let half_s = (main.onset_s - before.onset_s) / 2.0;
        let takes_s = (SLIDE_S_PER_FRET * f64::from(frets.unsigned_abs())).min(half_s);
        before.slide = Some(Slide {
            from_s: main.onset_s - takes_s,
            to_s: main.onset_s,
            frets,
        });
    }

    /// Puts the grace notes of one note before it, in the time the note before leaves.
    fn put_graces(&mut self, graces: &[GraceNote]) {
        let Some(at) = graces.first().and_then(|grace| self.written(grace.before)) else {
            return;
        };
        let main = self.notes[at].clone();
        let steps = graces.iter().filter(|grace| !grace.with_previous).count();
        let earlier = self.notes.iter().map(|note| note.onset_s);
        let before_s = earlier
            .filter(|&onset_s| onset_s < main.onset_s)
            .fold(0.0, f64::max);
        let each_s = ((main.onset_s - before_s) / 2.0 / steps.max(1) as f64).min(GRACE_S);
        if each_s < GRACE_SHORTEST_S {
            return;
        }
        let first_s = main.onset_s - each_s * steps as f64;
        for note in &mut self.notes {
            if note.onset_s < first_s && (note.release_s - main.onset_s).abs() <= HELD_S {
                note.release_s = first_s;
                note.stopped_s = note.stopped_s.min(first_s);
                note.slide = None;
            }
        }
        let mut onset_s = first_s - each_s;
        let mut added = Vec::with_capacity(graces.len());
        for grace in graces {
            if !grace.with_previous {
                onset_s += each_s;
            }
            let usual = Place {
                string: main.string,
                fret: main.fret,
            };
            let place = grace.place.unwrap_or(usual);
            let plain = PlayedNote::plain(
                grace.midi,
                place.string,
                place.fret,
                onset_s,
                onset_s + each_s,
            );
            added.push(PlayedNote {
                bar: main.bar,
                beat: main.beat,
                role: Role::Grace,
                cents: main.cents,
                level: main.level,
                velocity: main.velocity * GRACE_VELOCITY,
                slurred: grace.begun != Start::Plucked,
                dead: grace.ghost,
                ..plain
            });
        }
        self.notes.splice(at..at, added);
    }
}
