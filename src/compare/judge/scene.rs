//! A pass laid over a line, as the verdicts and the extras look at it.

use crate::compare::Settings;
use crate::compare::lay::costs;
use crate::compare::lay::ends;
use crate::compare::lay::passes::{Pass, Scored, Stretch};
use crate::compare::lay::slots::Slot;
use crate::hearing::events::{EndCause, HeardNote};
use crate::music::expected::ExpectedNote;
use crate::units::median;

/// Everything known before the first verdict.
pub(crate) struct Scene<'a> {
    /// The notes of the pass.
    pub expected: &'a [ExpectedNote],
    /// The same in slots; their members are counted within the pass.
    pub slots: Vec<Slot>,
    /// What belongs to the pass in order of onset.
    pub events: &'a [&'a HeardNote],
    /// Which event is which slot.
    pub pass: &'a Pass,
    /// What is usual in the take.
    pub habits: &'a Habits,
    /// Marks and mode.
    pub settings: &'a Settings,
    /// Mean length of a written quarter note in seconds.
    pub quarter_s: f64,
    /// True for each event that is a note of the line.
    pub matched: Vec<bool>,
}

/// How the sound of a note ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Ending {
    /// When, in seconds of the take.
    pub at_s: f64,
    /// One standard deviation of that; `None` where nothing was measured of it.
    pub sd_s: Option<f64>,
    /// Why.
    pub cause: EndCause,
    /// How deep the level fell below the natural decay, in decibels.
    pub depth_db: f64,
}

/// What is usual in a take, over all its passes.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Habits {
    /// Median fall just after the attack, in decibels.
    pub fall_db: f64,
    /// Median level of the notes, in decibels relative to full scale.
    pub level_dbfs: f64,
}

impl Habits {
    /// Measured on the events that are notes of the line.
    pub fn of<'a>(notes: impl Iterator<Item = &'a HeardNote> + Clone) -> Self {
        let finite = |x: &f64| x.is_finite();
        let mut falls: Vec<f64> = notes
            .clone()
            .filter_map(|note| note.early_fall_db)
            .filter(finite)
            .collect();
        let mut levels: Vec<f64> = notes.map(|note| note.level_dbfs).filter(finite).collect();
        Self {
            fall_db: median(&mut falls).unwrap_or(0.0),
            level_dbfs: median(&mut levels).unwrap_or(f64::NEG_INFINITY),
        }
    }
}

/// The events of a pass, counted within it, that are notes of the line.
pub(crate) fn matched(pass: &Pass) -> impl Iterator<Item = usize> + Clone {
    let scored = pass.scored.iter().filter_map(|scored| (*scored)?.event);
    let pairs = pass.stretches.iter().flat_map(|stretch| &stretch.pairs);
    scored.chain(pairs.map(|pair| pair.1))
}

impl<'a> Scene<'a> {
    /// Puts the parts together: `slots` and `events` are those of the whole line and take.
    pub fn new(
        expected: &'a [ExpectedNote],
        slots: &[Slot],
        events: &'a [&'a HeardNote],
        pass: &'a Pass,
        habits: &'a Habits,
        settings: &'a Settings,
        quarter_s: f64,
    ) -> Self {
        let mut slots = slots[pass.slots.clone()].to_vec();
        let from = slots.first().map_or(0, |slot| slot.members.start);
        let to = slots.last().map_or(from, |slot| slot.members.end);
        for slot in &mut slots {
            slot.members = slot.members.start - from..slot.members.end - from;
        }
        let events = &events[pass.events.clone()];
        let mut is_matched = vec![false; events.len()];
        for event in matched(pass) {
            is_matched[event] = true;
        }
        Self {
            expected: &expected[from..to],
            slots,
            events,
            pass,
            habits,
            settings,
            quarter_s,
            matched: is_matched,
        }
    }

    /// Where a slot is scored, with the event heard for it; `None` when it was missed.
    pub fn heard(&self, slot: usize) -> Option<(usize, &'a HeardNote, &'a Stretch)> {
        let Scored { stretch, event } = (*self.pass.scored.get(slot)?)?;
        let event = event?;
        Some((event, self.events[event], &self.pass.stretches[stretch]))
    }

    /// The pitch of an event as a fractional MIDI note, read for a slot: the rival reading when it
    /// is as good and is the written one. `None` when there is no stable pitch.
    pub fn midi(&self, slot: usize, event: &HeardNote) -> Option<(f64, f64)> {
        let pitch = event
            .pitch
            .as_ref()
            .filter(|pitch| pitch.midi.is_finite())?;
        let written = |midi: f64| {
            self.slots[slot]
                .midi
                .iter()
                .any(|&m| (midi - f64::from(m)).abs() <= 0.5)
        };
        let tie = pitch
            .rivals
            .into_iter()
            .flatten()
            .find(|&(rival, nats)| nats <= costs::RIVAL_TIE && written(rival))
            .filter(|_| !written(pitch.midi));
        let midi = tie.map_or(pitch.midi, |(rival, _)| rival);
        let sd = pitch.uncertainty_cents;
        Some((midi, if sd.is_finite() { sd.max(0.0) } else { 0.0 }))
    }

    /// When the sound of an event ends, how, and how deep. A touch or a ripple that the ear reports as
    /// an event of its own does not end the note before it, so the end is looked for behind them.
    ///
    /// Input: the event, and the event before which its note is over in any case.
    pub fn end(&self, event: usize, before: usize) -> Ending {
        let mut at = event;
        for next in event + 1..before.min(self.events.len()) {
            let follows =
                (self.events[next].onset_s - self.events[at].release_s).abs() < TOUCHING_S;
            if self.events[at].end == EndCause::NextOnset && follows && !self.matched[next] {
                at = next;
            }
        }
        let last = self.events[at];
        // A soft note that only the line brought to light ends the one before it.
        match self.events.get(before) {
            Some(next) if self.matched[before] && next.onset_s < last.release_s => Ending {
                at_s: next.onset_s,
                sd_s: None,
                cause: EndCause::NextOnset,
                depth_db: 0.0,
            },
            _ => Ending {
                at_s: last.release_s,
                sd_s: last.release_uncertainty_s,
                cause: last.end,
                depth_db: last.depth_db,
            },
        }
    }

    /// True when a note of its own stands between two events, so that nothing can be said of the
    /// join between them.
    pub fn interrupted(&self, from: usize, to: usize) -> bool {
        (from + 1..to.min(self.events.len()))
            .any(|event| self.matched[event] || ends::is_pluck(self.events[event]))
    }
}

/// A release and an onset this close are one moment, in seconds.
const TOUCHING_S: f64 = 0.008;
