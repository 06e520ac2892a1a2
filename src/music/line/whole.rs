//! The line, checked.
//!
//! A `Line` is checked when it is made and cannot be wrong afterwards: bars are full, ties join
//! notes, every note can be played on the line's instrument and every place gives its pitch.

use std::ops::RangeInclusive;

use super::check;
use super::error::{FaultKind, LineFault};
use super::length::Length;
use super::model::{Bar, Event, EventKind, LineParts};
use super::order;
use super::play;
use super::swing::SwingRatio;
use super::tempo::Tempo;
use crate::music::instrument::Instrument;
use crate::music::theory::Key;

/// The written bars in the order in which they are played.
fn order_of(parts: &LineParts) -> Vec<usize> {
    order::order(&parts.bars).unwrap_or_else(|_| (0..parts.bars.len()).collect())
}

/// A written line.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    parts: LineParts,
    /// The bars as they are played, repeats and jumps followed.
    played: Vec<Bar>,
    /// Of each bar as played, the number printed for it.
    printed: Vec<u32>,
}

impl Line {
    /// A line of `parts`, checked.
    ///
    /// # Errors
    /// The first fault found, with its bar: see [`LineFault`].
    pub fn new(parts: LineParts) -> Result<Self, LineFault> {
        check::checked(parts).map(Self::of_checked)
    }

    /// A line of parts that were put in order and found without a fault.
    pub(super) fn of_checked(parts: LineParts) -> Self {
        let order = order_of(&parts);
        let numbers = check::printed_numbers(&parts);
        let printed = order.iter().map(|&at| numbers[at]).collect();
        let played = play::played_bars(&parts, &order);
        Self {
            parts,
            played,
            printed,
        }
    }

    /// What the line was made of: its bars as they are written, with their signs.
    pub fn parts(&self) -> &LineParts {
        &self.parts
    }

    /// The bars as they are written, each once, with repeats, endings and jumps.
    pub fn written_bars(&self) -> &[Bar] {
        &self.parts.bars
    }

    /// Of each bar as played, from 0, the bar that is written for it, from 0.
    pub(crate) fn order(&self) -> Vec<usize> {
        order_of(&self.parts)
    }

    /// The numbers printed for the written bars, in their order.
    pub fn written_numbers(&self) -> Vec<u32> {
        check::printed_numbers(&self.parts)
    }

    /// The number printed for the bar that is played as number `bar`; the number itself for a bar
    /// the line does not have.
    pub fn printed_bar(&self, bar: u32) -> u32 {
        let at = bar.checked_sub(self.first_bar());
        at.and_then(|at| self.printed.get(at as usize).copied())
            .unwrap_or(bar)
    }

    /// True when the printed numbers are not those of the bars as they are played.
    pub fn is_numbered_apart(&self) -> bool {
        (self.first_bar()..)
            .zip(&self.printed)
            .any(|(bar, &printed)| bar != printed)
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

    /// The bars as they are played, the pick-up included: repeats and jumps are followed, and no
    /// bar has signs.
    pub fn bars(&self) -> &[Bar] {
        &self.played
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

    /// The number of the last bar as played.
    pub fn last_bar(&self) -> u32 {
        self.parts.first_bar + (self.played.len() as u32).saturating_sub(1)
    }

    /// How many notes are to be plucked or slurred into, repeats played out; tied notes count once,
    /// chord members each, grace notes not at all.
    pub fn note_count(&self) -> usize {
        let in_event = |event: &Event| match &event.kind {
            EventKind::Notes { notes, .. } => notes.len(),
            EventKind::Rest | EventKind::Hold => 0,
        };
        self.played
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
            let main = match &mut event.kind {
                EventKind::Notes { notes, .. } => notes.as_mut_slice(),
                EventKind::Rest | EventKind::Hold => &mut [],
            };
            let graces = event.graces.iter_mut().flat_map(|grace| &mut grace.notes);
            for note in graces.chain(main) {
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
    /// The numbers are those that are printed. Bars that are played several times are taken each
    /// time; where the times are not next to each other they are put together.
    ///
    /// # Errors
    /// A fault of kind `NoSuchBars` when the line does not have them all, `NoNotes` when no note
    /// stands in them.
    pub fn bars_range(&self, range: RangeInclusive<u32>) -> Result<Self, LineFault> {
        let stretches = self.stretches(range)?;
        play::cut(&self.parts, &self.played, &self.printed, &stretches).and_then(Self::new)
    }

    /// Only the bars that are played as those numbers, repeats counted out; as [`Self::bars_range`]
    /// else.
    ///
    /// # Errors
    /// As those of [`Self::bars_range`].
    pub fn played_range(&self, range: RangeInclusive<u32>) -> Result<Self, LineFault> {
        let (first, last) = (self.first_bar(), self.last_bar());
        let (from, to) = (*range.start(), *range.end());
        if from > to || from < first || to > last {
            return Err(no_such_bars(&range, first, last));
        }
        play::cut(&self.parts, &self.played, &self.printed, &[range]).and_then(Self::new)
    }

    /// Where the bars printed as `range` are played: stretches of numbers as played, in order, each
    /// as long as it goes.
    ///
    /// # Errors
    /// A fault of kind `NoSuchBars` when the line does not have them all.
    pub fn stretches(
        &self,
        range: RangeInclusive<u32>,
    ) -> Result<Vec<RangeInclusive<u32>>, LineFault> {
        let (from, to) = (*range.start(), *range.end());
        let first = self.printed.iter().copied().min().unwrap_or(0);
        let last = self.printed.iter().copied().max().unwrap_or(0);
        if from > to || !self.printed.contains(&from) || !self.printed.contains(&to) {
            return Err(no_such_bars(&range, first, last));
        }
        let mut stretches: Vec<RangeInclusive<u32>> = Vec::new();
        for (bar, printed) in (self.first_bar()..).zip(&self.printed) {
            if !range.contains(printed) {
                continue;
            }
            match stretches.last_mut() {
                Some(last) if *last.end() + 1 == bar => *last = *last.start()..=bar,
                _ => stretches.push(bar..=bar),
            }
        }
        Ok(stretches)
    }
}

fn no_such_bars(range: &RangeInclusive<u32>, first: u32, last: u32) -> LineFault {
    let (from, to) = (*range.start(), *range.end());
    FaultKind::NoSuchBars {
        from,
        to,
        first,
        last,
    }
    .anywhere()
}
