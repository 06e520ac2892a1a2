//! The line, checked.
//!
//! A `Line` is checked when it is made and cannot be wrong afterwards: bars are full, ties join
//! notes, every note can be played on the line's instrument and every place gives its pitch.

use super::check;
use super::error::{FaultKind, LineFault};
use super::length::Length;
use super::model::{Bar, Event, EventKind, LineParts, Start};
use super::swing::SwingRatio;
use super::tempo::Tempo;
use crate::music::instrument::Instrument;
use crate::music::theory::Key;

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
