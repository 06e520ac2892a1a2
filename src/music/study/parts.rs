//! The parts of a line as a study makes them: the only place here that names their fields.

use super::{Pitch, Settings};
use crate::music::line::{
    Bar, ChordMark, Event, EventKind, Length, Line, LineFault, LineParts, Meter, Note, Start,
};
use crate::music::theory::{ChordSymbol, Key};

/// A plucked note.
pub(super) fn note(length: Length, (midi, place): Pitch) -> Event {
    event(
        length,
        EventKind::Notes {
            notes: vec![Note {
                midi,
                place,
                finger: None,
            }],
            start: Start::Plucked,
            staccato: false,
        },
    )
}

/// The note before sounds on.
pub(super) fn hold(length: Length) -> Event {
    event(length, EventKind::Hold)
}

/// Silence.
pub(super) fn rest(length: Length) -> Event {
    event(length, EventKind::Rest)
}

fn event(length: Length, kind: EventKind) -> Event {
    Event {
        length,
        kind,
        breath_after: false,
    }
}

/// A bar.
pub(super) fn bar(
    meter: Meter,
    key: Key,
    chord: Option<(Length, ChordSymbol)>,
    events: Vec<Event>,
) -> Bar {
    let marks = chord.map(|(at, symbol)| ChordMark { at, symbol });
    Bar {
        meter,
        key,
        chords: marks.into_iter().collect(),
        tempos: Vec::new(),
        events,
    }
}

/// The whole line.
pub(super) fn line(settings: &Settings, bars: Vec<Bar>) -> Result<Line, LineFault> {
    Line::new(LineParts {
        title: settings.title.clone(),
        instrument: settings.instrument.clone(),
        tempo: settings.tempo,
        swing: None,
        first_bar: 1,
        pickup: false,
        bars,
    })
}
