//! Jumps on the way through a take: a stop, a bar begun anew, a bar in time, the line entered.

use super::{MISSED_FIRST, Search};
use crate::compare::judgement::TimingMode;
use crate::compare::lay::beam::{BEAM_NATS, Place, State, cheapest};
use crate::compare::lay::clock::Clock;
use crate::compare::lay::costs;
use crate::compare::lay::course::pitch;
use crate::compare::lay::follow::Began;
use crate::compare::lay::slots;

/// Standard deviation of the tempo after a stop, at least, as a share: people come back a little slower
/// or faster. Raised, what follows a stop is found at more tempos, and more by chance.
const STOP_TEMPO_SD: f64 = 0.04;
/// Sums of seconds in another order differ by less than this.
const ROUNDING_S: f64 = 1e-6;
/// Tempo that is expected before anything is known, in played seconds for each written second:
/// practising at two thirds of the tempo is common, practising faster than written is not. Raised,
/// slow passes are found more easily, fast ones less.
const TEMPO_MEAN: f64 = 1.12;

impl Search<'_> {
    /// Adds the ways on which the player has stopped and goes on where the line was left: at the
    /// next slot, or at the last one where that was another note.
    pub(super) fn stop(&mut self, state: State, place: Place, event: usize, next: &mut Vec<State>) {
        let course = self.course;
        let heard = course.events[event].heard;
        let again = (!place.right).then_some(place.slot);
        let further = (place.slot + 1 < course.slots.len()).then_some(place.slot + 1);
        for slot in again.into_iter().chain(further) {
            let target = &course.slots[slot];
            if !costs::same_pitch(target, &course.events[event]) || !course.may_be(event, slot) {
                continue;
            }
            let written_s = target.at_s - course.slots[place.slot].at_s;
            let waited_s = heard.onset_s - place.clock.ahead(written_s, self.wander).t_s;
            if !(costs::STOP_FROM_S..=costs::STOP_TO_S).contains(&waited_s) {
                continue;
            }
            self.resume(
                (state, costs::STOP),
                place,
                (slot, Began::Stop),
                event,
                next,
            );
        }
    }

    /// Adds one way on which the player goes on at a slot after a stop, at about the tempo before it.
    fn resume(
        &mut self,
        (state, jump): (State, f64),
        place: Place,
        (slot, began): (usize, Began),
        event: usize,
        next: &mut Vec<State>,
    ) {
        let (target, sound) = (&self.course.slots[slot], &self.course.events[event]);
        let cost = state.cost + jump + costs::weakness(target, sound);
        let sd = place.clock.var_stretch.sqrt().max(STOP_TEMPO_SD);
        let onset_sd = costs::timing_sd_s(target, place.clock.stretch);
        let stretch = place.clock.stretch;
        let clock = Clock::start(
            sound.heard.onset_s,
            stretch,
            sd.min(self.tempo_sd),
            onset_sd,
        );
        let began = Some((slot, began));
        self.push(next, state.node, cost, (slot, event, clock), began);
    }

    /// Adds the ways on which the player has stopped and begins the bar anew, or the one before.
    pub(super) fn go_back(
        &mut self,
        state: State,
        place: Place,
        event: usize,
        next: &mut Vec<State>,
    ) {
        let course = self.course;
        let sound = &course.events[event];
        let waited_s = sound.heard.onset_s - place.clock.t_s;
        let due_s = course.slots[place.slot].interval_s * place.clock.stretch;
        if waited_s < due_s + costs::STOP_FROM_S {
            return;
        }
        let bar = course.slots[place.slot].opening;
        let before = bar.checked_sub(1).map(|last| course.slots[last].opening);
        for slot in [Some(bar), before].into_iter().flatten() {
            let target = &course.slots[slot];
            if !costs::same_pitch(target, sound) || !course.may_be(event, slot) {
                continue;
            }
            self.resume(
                (state, costs::BACK),
                place,
                (slot, Began::Enter),
                event,
                next,
            );
        }
    }

    /// Adds the ways on which the player begins a bar anew when the bar behind the last one played
    /// is due; nothing that costs far more than the best so far.
    pub(super) fn loop_in_time(
        &mut self,
        (state, best): (State, f64),
        place: Place,
        event: usize,
        next: &mut Vec<State>,
    ) {
        let course = self.course;
        let sound = &course.events[event];
        let from = &course.slots[place.slot];
        // Most states are not at the end of a bar: to see so once spares a look at every slot.
        let due = place.clock.ahead(from.bar_end_s - from.at_s, self.wander);
        let after_s = sound.heard.onset_s - due.t_s;
        let latest_s = costs::STOP_FROM_S + self.lead_s * due.stretch + ROUNDING_S;
        if !(-costs::STOP_FROM_S - ROUNDING_S..=latest_s).contains(&after_s) {
            return;
        }
        let unplayed = slots::left_in_bar(course.slots, place.slot);
        let closes_line = place.slot + 1 + unplayed == course.slots.len();
        let round = if closes_line {
            costs::LOOP_ROUND
        } else {
            costs::LOOP
        };
        let base = state.cost + round;
        if base > best + BEAM_NATS {
            return;
        }
        for k in 0..self.first_slots.len() {
            let slot = self.first_slots[k];
            let target = &course.slots[slot];
            let late = slot - target.opening;
            // The bar behind this one needs no jump.
            if target.opening == place.slot + 1 || !course.may_be(event, slot) {
                continue;
            }
            let written_s = from.bar_end_s - from.at_s + (target.at_s - target.bar_s);
            let mut clock = place.clock.ahead(written_s, self.wander);
            let off = sound.heard.onset_s - clock.t_s;
            // Later than this the player has paused.
            if off.abs() > costs::STOP_FROM_S {
                continue;
            }
            let sd_s = costs::timing_sd_s(target, clock.stretch);
            let cost = base
                + costs::missed(unplayed as f64)
                + costs::MISSED * late as f64
                + pitch(target, sound)
                + costs::weakness(target, sound)
                + costs::timing(off, sd_s.hypot(clock.var_t.sqrt()));
            if cost > best + BEAM_NATS {
                continue;
            }
            clock.correct(sound.heard.onset_s, sd_s);
            let began = Some((target.opening, Began::Loop));
            self.push(next, state.node, cost, (slot, event, clock), began);
        }
    }

    /// Adds the ways on which this event is the first of a pass.
    pub(super) fn enter(&mut self, outside: State, event: usize, next: &mut Vec<State>) {
        let sound = &self.course.events[event];
        let best = cheapest(next).min(outside.cost + sound.outside);
        if outside.cost + costs::ENTER > best + BEAM_NATS {
            return;
        }
        for slot in 0..self.course.slots.len() {
            let target = &self.course.slots[slot];
            let late = slot - target.opening;
            let same = costs::same_pitch(target, sound);
            if (late > 0 && !same) || !self.course.may_be(event, slot) {
                continue;
            }
            let first = if target.opening == 0 {
                costs::ENTER_FIRST
            } else {
                costs::ENTER
            };
            // Either notes at the head of the bar were missed, or the player began within it.
            let missed = first + costs::MISSED * late as f64;
            let (entering, from) = if late < MISSED_FIRST && missed <= costs::ENTER_ANYWHERE {
                (missed, target.opening)
            } else {
                (costs::ENTER_ANYWHERE, slot)
            };
            let cost =
                outside.cost + entering + pitch(target, sound) + costs::weakness(target, sound);
            if cost > best + BEAM_NATS {
                continue;
            }
            let stretch = match self.course.mode {
                TimingMode::Free => TEMPO_MEAN,
                TimingMode::Click => self.course.click_stretch(),
            };
            let onset_sd = costs::timing_sd_s(target, stretch);
            let sd = self.tempo_sd;
            let clock = Clock::start(sound.heard.onset_s, stretch, sd, onset_sd);
            let began = Some((from, Began::Enter));
            self.push(next, outside.node, cost, (slot, event, clock), began);
        }
    }
}
