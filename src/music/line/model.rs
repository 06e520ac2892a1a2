//! The line: its bars and what stands in them. One voice; at most three notes at once.
//!
//! A `Line` is checked when it is made and cannot be wrong afterwards: bars are full, ties join
//! notes, every note can be played on the line's instrument and every place gives its pitch.

use super::check;
use super::error::{FaultKind, LineFault};
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

/// A written line.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    pub(super) parts: LineParts,
}

impl Line {
    /// A line of `parts`, checked.
    ///
    /// # Errors
    /// The first fault found, with its bar: see [`LineFault`].
    pub fn new(parts: LineParts) -> Result<Self, LineFault> {
        check::checked(parts).map(|parts| Self { parts })
    }

    /// The title, empty when it has none.
    pub fn title(&self) -> &str {
        &self.parts.title
    }

    /// The instrument the line is written for.
    pub fn instrument(&self) -> &Instrument {
        &self.parts.instrument
    }

    /// The tempo at the start.
    pub fn tempo(&self) -> Tempo {
        self.parts.tempo
    }

    /// How unevenly eighths are played; `None` when they are straight.
    pub fn swing(&self) -> Option<SwingRatio> {
        self.parts.swing
    }

    /// The same line swung like that; `None` makes it straight.
    ///
    /// # Errors
    /// A fault of kind `SwingMeter` when a bar is not counted in quarters.
    pub fn with_swing(&self, swing: Option<SwingRatio>) -> Result<Self, LineFault> {
        let mut parts = self.parts.clone();
        parts.swing = swing;
        Self::new(parts)
    }

    /// The key at the start.
    pub fn key(&self) -> Key {
        self.parts
            .bars
            .first()
            .map(|bar| bar.key)
            .unwrap_or_default()
    }

    /// The bars, the pick-up included.
    pub fn bars(&self) -> &[Bar] {
        &self.parts.bars
    }

    /// True when the line begins with a pick-up bar.
    pub fn has_pickup(&self) -> bool {
        self.parts.pickup
    }

    /// How long the pick-up bar is; zero without one.
    pub fn pickup_length(&self) -> Length {
        match self.bars().first() {
            Some(bar) if self.has_pickup() => bar.length(),
            _ => Length::ZERO,
        }
    }

    /// The number of the first bar: 0 for a pick-up, else 1 unless the line is part of another.
    pub fn first_bar(&self) -> u32 {
        self.parts.first_bar
    }

    /// The number of the last bar.
    pub fn last_bar(&self) -> u32 {
        self.parts.first_bar + (self.parts.bars.len() as u32).saturating_sub(1)
    }

    /// How many notes are to be plucked or slurred into; tied notes count once, chord members each.
    pub fn note_count(&self) -> usize {
        let in_event = |event: &Event| match &event.kind {
            EventKind::Notes { notes, .. } => notes.len(),
            EventKind::Rest | EventKind::Hold => 0,
        };
        self.parts
            .bars
            .iter()
            .flat_map(|bar| &bar.events)
            .map(in_event)
            .sum()
    }

    /// The same line for another instrument; places that do not give their pitch there are
    /// dropped, with their fingers.
    ///
    /// # Errors
    /// A fault of kind `Unplayable` or `ChordUnplayable` when a note cannot be played on it.
    pub fn with_instrument(&self, instrument: Instrument) -> Result<Self, LineFault> {
        let mut parts = self.parts.clone();
        for event in parts.bars.iter_mut().flat_map(|bar| &mut bar.events) {
            let EventKind::Notes { notes, .. } = &mut event.kind else {
                continue;
            };
            for note in notes {
                let gives = note.place.and_then(|place| instrument.midi_at(place));
                if note.place.is_some() && gives != Some(note.midi) {
                    note.place = None;
                    note.finger = None;
                }
            }
        }
        parts.instrument = instrument;
        Self::new(parts)
    }

    /// Only the bars numbered `range` (both ends included), with their numbers; the tempo in
    /// force at its start is kept. Notes tied into it from before are struck at its start; a slur
    /// from before it becomes a pluck.
    ///
    /// # Errors
    /// A fault of kind `NoSuchBars` when the line does not have them all, `NoNotes` when no note
    /// stands in them.
    pub fn bars_range(&self, range: std::ops::RangeInclusive<u32>) -> Result<Self, LineFault> {
        let (from, to) = (*range.start(), *range.end());
        if from > to || from < self.first_bar() || to > self.last_bar() {
            let (first, last) = (self.first_bar(), self.last_bar());
            return Err(FaultKind::NoSuchBars {
                from,
                to,
                first,
                last,
            }
            .anywhere());
        }
        let start = (from - self.first_bar()) as usize;
        let end = (to - self.first_bar()) as usize;
        let (before, rest) = self.parts.bars.split_at(start);
        let tempo = before
            .iter()
            .rev()
            .find_map(|bar| bar.tempos.last())
            .map_or(self.parts.tempo, |mark| mark.tempo);
        let mut bars = rest[..=end - start].to_vec();
        let sounding = before
            .iter()
            .rev()
            .flat_map(|bar| bar.events.iter().rev())
            .find_map(|event| match &event.kind {
                EventKind::Notes {
                    notes, staccato, ..
                } => Some((notes.clone(), *staccato)),
                _ => None,
            });
        if let Some(first) = bars.first_mut().and_then(|bar| bar.events.first_mut()) {
            match (&mut first.kind, sounding) {
                (kind @ EventKind::Hold, Some((notes, staccato))) => {
                    *kind = EventKind::Notes {
                        notes,
                        start: Start::Plucked,
                        staccato,
                    };
                }
                (EventKind::Notes { start, .. }, _) => *start = Start::Plucked,
                _ => {}
            }
        }
        let pickup = self.parts.pickup && start == 0;
        if let (false, Some(last)) = (pickup, bars.last_mut()) {
            // A last bar that completed the pick-up is filled up, now that the pick-up is gone.
            let missing = last.meter.bar_length() - last.length();
            if missing.is_positive() {
                let kind = EventKind::Rest;
                last.events.push(Event {
                    length: missing,
                    kind,
                    breath_after: false,
                });
            }
        }
        let parts = LineParts {
            tempo,
            first_bar: from,
            pickup,
            bars,
            ..self.parts.clone_header()
        };
        Self::new(parts)
    }
}

impl LineParts {
    /// The parts without the bars.
    fn clone_header(&self) -> Self {
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
