//! What a line is made of: bars, events, notes and marks. One voice; at most three notes at once.

use super::length::Length;
use super::meter::Meter;
use super::swing::SwingRatio;
use super::tempo::Tempo;
use crate::music::expected::Place;
use crate::music::instrument::Instrument;
use crate::music::theory::{ChordSymbol, Key};

/// Most notes that may sound together. Common practice of bass chords: root, third or seventh,
/// tenth; no source.
pub const MAX_CHORD_NOTES: usize = 3;

/// One written note head.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Note {
    /// The pitch as it sounds, a MIDI note number.
    pub midi: u8,
    /// Where it lies on the neck, if the line says so.
    pub place: Option<Place>,
    /// The fretting finger, 1 (index) to 4 (little), if the line says so.
    pub finger: Option<u8>,
}

/// How a note is begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Start {
    /// With a pluck.
    #[default]
    Plucked,
    /// By the fretting hand alone: hammered on when higher, pulled off when lower.
    Slurred,
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

/// One thing that takes up time in a bar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// How long, above zero.
    pub length: Length,
    /// What.
    pub kind: EventKind,
    /// True when a breath mark follows: the sound may stop before the next note.
    pub breath_after: bool,
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

/// One bar.
#[derive(Clone, Debug, PartialEq)]
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
}

impl Bar {
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
    /// The bars.
    pub bars: Vec<Bar>,
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
