//! What a line is made of: bars, events, notes and marks. One voice; at most three notes at once.

use super::length::Length;
use super::meter::Meter;
use super::signs::Signs;
use super::swing::SwingRatio;
use super::tempo::Tempo;
use crate::music::expected::Place;
use crate::music::instrument::Instrument;
use crate::music::theory::{ChordSymbol, Key};

/// Most notes that may sound together. Common practice of bass chords: root, third or seventh,
/// tenth; no source.
pub const MAX_CHORD_NOTES: usize = 3;

/// Most grace notes (or chords of them) before one note. Longer runs are written as notes.
pub const MAX_GRACES: usize = 16;

/// One written note head.
///
/// More fields may come: make it with [`Note::new`] or [`Note::at`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Note {
    /// The pitch as it sounds, a MIDI note number.
    pub midi: u8,
    /// Where it lies on the neck, if the line says so.
    pub place: Option<Place>,
    /// The fretting finger, 1 (index) to 4 (little), if the line says so.
    pub finger: Option<u8>,
    /// True for a ghost note: a muted string that is struck, without a pitch of its own. `midi`
    /// is then where it lies.
    pub ghost: bool,
}

impl Note {
    /// A note of that pitch, wherever it may lie.
    pub fn new(midi: u8) -> Self {
        Self {
            midi,
            place: None,
            finger: None,
            ghost: false,
        }
    }

    /// A note of that pitch at a place on the neck.
    pub fn at(midi: u8, place: Place) -> Self {
        Self {
            place: Some(place),
            ..Self::new(midi)
        }
    }
}

/// How a note is begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Start {
    /// With a pluck.
    #[default]
    Plucked,
    /// By the fretting hand alone; the line does not say how: hammered on when higher, pulled off
    /// when lower.
    Slurred,
    /// By hammering on.
    Hammered,
    /// By pulling off.
    Pulled,
    /// By sliding along the string without a new pluck.
    Slid,
}

/// What an event is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EventKind {
    /// Silence.
    Rest,
    /// The note or chord before it sounds on: a tie.
    Hold,
    /// A note, or a chord of up to three.
    Notes {
        /// From the lowest pitch up; no pitch twice.
        notes: Vec<Note>,
        /// How they are begun.
        start: Start,
        /// True for a staccato dot: the sound is cut short on purpose.
        staccato: bool,
    },
}

/// A grace note, or a chord of them: it takes up no time of its own and is never judged.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grace {
    /// From the lowest pitch up; no pitch twice.
    pub notes: Vec<Note>,
    /// How they are begun.
    pub start: Start,
}

/// One thing that takes up time in a bar.
///
/// More fields may come: make it with [`Event::notes`], [`Event::rest`] or [`Event::hold`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// How long, above zero.
    pub length: Length,
    /// What.
    pub kind: EventKind,
    /// True when a breath mark follows: the sound may stop before the next note.
    pub breath_after: bool,
    /// True when the notes are accented.
    pub accent: bool,
    /// Grace notes before the notes, in order.
    pub graces: Vec<Grace>,
}

impl Event {
    /// Something of that length, without any mark.
    pub fn new(length: Length, kind: EventKind) -> Self {
        Self {
            length,
            kind,
            breath_after: false,
            accent: false,
            graces: Vec::new(),
        }
    }

    /// A plucked note or chord.
    pub fn notes(length: Length, notes: Vec<Note>) -> Self {
        let kind = EventKind::Notes {
            notes,
            start: Start::Plucked,
            staccato: false,
        };
        Self::new(length, kind)
    }

    /// A rest.
    pub fn rest(length: Length) -> Self {
        Self::new(length, EventKind::Rest)
    }

    /// The note or chord before sounds on.
    pub fn hold(length: Length) -> Self {
        Self::new(length, EventKind::Hold)
    }
}

/// A chord symbol and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChordMark {
    /// From the start of the bar.
    pub at: Length,
    /// The symbol.
    pub symbol: ChordSymbol,
}

/// A change of tempo and where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TempoMark {
    /// From the start of the bar.
    pub at: Length,
    /// The tempo from there on.
    pub tempo: Tempo,
}

/// What a bar lacks of its meter.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Lacks {
    /// Nothing: it is full.
    #[default]
    Nothing,
    /// Its end: it stops early, as before a repeat that begins with a pick-up.
    End,
    /// Its beginning: a pick-up within the line. Its beats are counted as the end of a full bar.
    Beginning,
}

/// One bar.
///
/// More fields may come: make it with [`Bar::new`].
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Bar {
    /// The meter in force.
    pub meter: Meter,
    /// The key in force.
    pub key: Key,
    /// Chord symbols in order of place, no two at one place.
    pub chords: Vec<ChordMark>,
    /// Tempo changes in order of place, no two at one place.
    pub tempos: Vec<TempoMark>,
    /// What sounds, without holes.
    pub events: Vec<Event>,
    /// What it lacks of its meter; a pick-up at the start of the line is known without.
    pub lacks: Lacks,
    /// The number printed for it where that is not one more than the bar's before it.
    pub printed: Option<u32>,
    /// Repeats, endings and jumps. Bars as they are played have none.
    pub signs: Signs,
}

impl Bar {
    /// An empty bar.
    pub fn new(meter: Meter, key: Key) -> Self {
        Self {
            meter,
            key,
            ..Self::default()
        }
    }

    /// The written length of what stands in the bar.
    pub fn length(&self) -> Length {
        self.events.iter().map(|event| event.length).sum()
    }
}

/// Everything a line is made of, before it is checked.
#[derive(Clone, Debug, PartialEq)]
pub struct LineParts {
    /// The title; runs of white space count as one space.
    pub title: String,
    /// The instrument it is written for.
    pub instrument: Instrument,
    /// The tempo at the start.
    pub tempo: Tempo,
    /// How unevenly eighths are played; `None` and 1:1 are straight.
    pub swing: Option<SwingRatio>,
    /// Number of the first bar; ignored when there is a pick-up.
    pub first_bar: u32,
    /// True when the first bar is a pick-up, numbered 0.
    pub pickup: bool,
    /// The bars as they are written.
    pub bars: Vec<Bar>,
}

impl Default for LineParts {
    /// No bar yet, for a 4-string bass, straight at the tempo of a line that names none.
    fn default() -> Self {
        Self {
            title: String::new(),
            instrument: Instrument::default(),
            tempo: Tempo::default(),
            swing: None,
            first_bar: 1,
            pickup: false,
            bars: Vec::new(),
        }
    }
}

impl LineParts {
    /// The parts without the bars.
    pub(super) fn clone_header(&self) -> Self {
        Self {
            title: self.title.clone(),
            instrument: self.instrument.clone(),
            tempo: self.tempo,
            swing: self.swing,
            first_bar: self.first_bar,
            pickup: self.pickup,
            bars: Vec::new(),
        }
    }
}
