//! A take laid over a line, as the verdicts, the extras and the findings look at it.

use crate::compare::Settings;
use crate::compare::judge::extras;
use crate::compare::lay::costs;
use crate::compare::lay::passes::{Laid, Pass, Scored};
use crate::compare::lay::slots::Slot;
use crate::hearing::events::{EndCause, HeardNote};
use crate::music::expected::ExpectedNote;

/// Everything known before the first verdict.
pub(crate) struct Scene<'a> {
    /// The line.
    pub expected: &'a [ExpectedNote],
    /// The line in slots.
    pub slots: &'a [Slot],
    /// The take in order of onset.
    pub events: &'a [&'a HeardNote],
    /// Which event is which slot.
    pub laid: &'a Laid,
    /// Marks and mode.
    pub settings: &'a Settings,
    /// Mean length of a written quarter note in seconds.
    pub quarter_s: f64,
    /// True for each event that some pass matched, scored or not.
    pub matched: Vec<bool>,
}

impl<'a> Scene<'a> {
    /// Puts the parts together.
    pub fn new(
        expected: &'a [ExpectedNote],
        slots: &'a [Slot],
        events: &'a [&'a HeardNote],
        laid: &'a Laid,
        settings: &'a Settings,
        quarter_s: f64,
    ) -> Self {
        let mut matched = vec![false; events.len()];
        for &(_, event) in laid.passes.iter().flat_map(|pass| &pass.pairs) {
            matched[event] = true;
        }
        for event in laid.scored.iter().filter_map(|scored| (*scored)?.event) {
            matched[event] = true;
        }
        Self {
            expected,
            slots,
            events,
            laid,
            settings,
            quarter_s,
            matched,
        }
    }

    /// Where a slot is scored, with the event heard for it; `None` when it was missed.
    pub fn heard(&self, slot: usize) -> Option<(usize, &'a HeardNote, &'a Pass)> {
        let Scored { pass, event } = (*self.laid.scored.get(slot)?)?;
        let event = event?;
        Some((event, self.events[event], &self.laid.passes[pass]))
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

    /// When the sound of an event really ends, how, and how deep: a touch or a ripple that the ear
    /// reports as an event of its own cuts the note only on paper, so that its end is looked for
    /// behind them.
    pub fn end(&self, event: usize, before: usize) -> (f64, EndCause, f64) {
        let mut at = event;
        for next in event + 1..before.min(self.events.len()) {
            let follows =
                (self.events[next].onset_s - self.events[at].release_s).abs() < TOUCHING_S;
            if self.events[at].end == EndCause::NextOnset && follows && !self.matched[next] {
                at = next;
            }
        }
        let (release_s, end) = (self.events[at].release_s, self.events[at].end);
        // A soft note that only the line brought to light ends the one before it.
        match self.events.get(before) {
            Some(next) if self.matched[before] && next.onset_s < release_s => {
                (next.onset_s, EndCause::NextOnset, 0.0)
            }
            _ => (release_s, end, self.events[at].depth_db),
        }
    }

    /// True when a note of its own stands between two events, so that nothing can be said of the
    /// join between them.
    pub fn interrupted(&self, from: usize, to: usize) -> bool {
        (from + 1..to.min(self.events.len()))
            .any(|event| self.matched[event] || extras::is_pluck(self.events[event]))
    }
}

/// A release and an onset this close are one moment, in seconds.
const TOUCHING_S: f64 = 0.008;
