//! What the way through a take is looked for in: the line, the take, and the click.

use crate::compare::judgement::TimingMode;
use crate::compare::lay::clicks::ClickedPass;
use crate::compare::lay::clock::Clock;
use crate::compare::lay::costs::{self, Sound};
use crate::compare::lay::slots::Slot;

/// What the search looks at.
pub(crate) struct Course<'a> {
    /// The line.
    pub slots: &'a [Slot],
    /// The take, in order of onset.
    pub events: &'a [Sound<'a>],
    /// Free or click.
    pub mode: TimingMode,
    /// The click it was played to, where its moments are known.
    pub click: Option<&'a ClickedPass>,
    /// Whether a note must lie near its place in that click.
    pub near: bool,
    /// Whether these slots are a few notes of a line that were to be played alone.
    pub alone: bool,
}

impl Course<'_> {
    /// Played seconds for each written second by the click.
    pub(crate) fn click_stretch(&self) -> f64 {
        self.click.map_or(1.0, |click| click.stretch)
    }

    /// Whether the click allows that this event is this slot.
    pub(crate) fn may_be(&self, event: usize, slot: usize) -> bool {
        let onset_s = self.events[event].heard.onset_s;
        !self.near
            || self
                .click
                .is_none_or(|click| click.is_near(onset_s, self.slots[slot].at_s))
    }
}

/// How far from its place a slot is looked for by this clock, in seconds.
pub(super) fn reach_s(slot: &Slot, clock: &Clock) -> f64 {
    costs::reach_s(slot, clock.stretch) + 2.0 * clock.var_t.sqrt()
}

/// What the pitch of an event costs on the way: more than in the exact alignment, because here a
/// row of wrong notes may as well be something that is not the line.
pub(super) fn pitch(slot: &Slot, sound: &Sound) -> f64 {
    let cost = costs::pitch(slot, sound);
    if cost >= costs::OTHER_FROM {
        return cost + costs::WRONG_ON_THE_WAY;
    }
    cost + sound
        .heard
        .pitch
        .map_or(0.0, |pitch| costs::off_semitone(pitch.midi))
}
