//! The parts of a line as a study makes them: the only place here that names their fields.

use super::{Pitch, Settings};
use crate::music::line::{Bar, ChordMark, Event, Length, Line, LineFault, LineParts, Meter, Note};
use crate::music::theory::{ChordSymbol, Key};

/// A plucked note.
pub(super) fn note(length: Length, (midi, place): Pitch) -> Event {
    let note = Note {
        place,
        ..Note::new(midi)
    };
    Event::notes(length, vec![note])
}

/// The note before sounds on.
pub(super) fn hold(length: Length) -> Event {
    Event::hold(length)
}

/// Silence.
pub(super) fn rest(length: Length) -> Event {
    Event::rest(length)
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
        chords: marks.into_iter().collect(),
        events,
        ..Bar::new(meter, key)
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
