//! Jumps on the way through a take: a stop, a bar begun anew, a bar in time, the line entered.

use super::{MISSED_FIRST, Search};
use crate::compare::judgement::TimingMode;
use crate::compare::lay::beam::{self, BEAM_NATS, BEAM_STATES, Place, State, cheapest};
use crate::compare::lay::clock::Clock;
use crate::compare::lay::costs;
use crate::compare::lay::follow::Began;
use crate::compare::lay::kinds::{Kinds, grouped};
use crate::compare::lay::slots::{self, Slot};

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
            if !self.price(event, slot).same_pitch || !course.may_be(event, slot) {
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
        let cost = state.cost + jump + self.price(event, slot).weakness;
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
            if !self.price(event, slot).same_pitch || !course.may_be(event, slot) {
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
    /// is due; nothing that costs far more than the best so far, and no more than the beam holds:
    /// these ways lie at slots of their own, so each one that the beam drops gives way to another
    /// state that it keeps.
    ///
    /// Output: the least cost among them.
    pub(super) fn loop_in_time(
        &mut self,
        (state, best): (State, f64),
        place: Place,
        event: usize,
        next: &mut Vec<State>,
    ) -> f64 {
        let course = self.course;
        let sound = &course.events[event];
        let from = &course.slots[place.slot];
        // Most states are not at the end of a bar: to see so once spares a look at every slot.
        let due = place.clock.ahead(from.bar_end_s - from.at_s, self.wander);
        let after_s = sound.heard.onset_s - due.t_s;
        let latest_s = costs::STOP_FROM_S + self.lead_s * due.stretch + ROUNDING_S;
        if !(-costs::STOP_FROM_S - ROUNDING_S..=latest_s).contains(&after_s) {
            return f64::INFINITY;
        }
        let unplayed = slots::left_in_bar(course.slots, place.slot);
        let closes_line = place.slot + 1 + unplayed == course.slots.len();
        let round = if closes_line {
            costs::LOOP_ROUND
        } else {
            costs::LOOP
        };
        let base = state.cost + round;
        let limit = best + BEAM_NATS;
        if base > limit {
            return f64::INFINITY;
        }
        let mut open: Vec<(f64, Clock, usize)> = Vec::new();
        for k in 0..self.heads.len() {
            let (head, slots) = &self.heads[k];
            let (late, lead_s, target) = (head.late, f64::from_bits(head.lead), slots[0]);
            let price = self.price(event, target);
            let without_time = base
                + costs::missed(unplayed as f64)
                + costs::MISSED * late as f64
                + price.pitch
                + price.weakness;
            if without_time > limit {
                continue;
            }
            let written_s = from.bar_end_s - from.at_s + lead_s;
            let mut clock = place.clock.ahead(written_s, self.wander);
            let off = sound.heard.onset_s - clock.t_s;
            // Later than this the player has paused.
            if off.abs() > costs::STOP_FROM_S {
                continue;
            }
            let sd_s = costs::timing_sd_s(&course.slots[target], clock.stretch);
            let cost = without_time + costs::timing(off, sd_s.hypot(clock.var_t.sqrt()));
            if cost > limit {
                continue;
            }
            clock.correct(sound.heard.onset_s, sd_s);
            open.push((cost, clock, k));
        }
        open.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut least = f64::INFINITY;
        let mut chosen: Vec<(f64, usize, f64, Clock)> = Vec::new();
        for (cost, clock, k) in open {
            if nth_rank(&mut chosen).is_some_and(|rank| rank < cost) {
                break;
            }
            // No slot of the group ranks before its cost.
            let mut at_cost = 0;
            for &slot in &self.heads[k].1 {
                // The bar behind this one needs no jump.
                let opening = course.slots[slot].opening;
                if opening == place.slot + 1 || !course.may_be(event, slot) {
                    continue;
                }
                least = least.min(cost);
                let looped = State {
                    cost,
                    place: Some(Place {
                        slot,
                        event,
                        clock,
                        right: false,
                    }),
                    ..state
                };
                let rank = beam::rank(course.slots, &looped, sound.heard.onset_s);
                chosen.push((rank, slot, cost, clock));
                at_cost += usize::from(rank == cost);
                if at_cost == BEAM_STATES {
                    break;
                }
            }
        }
        chosen.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        chosen.truncate(BEAM_STATES);
        chosen.sort_unstable_by_key(|way| way.1);
        for (_, slot, cost, clock) in chosen {
            let began = Some((course.slots[slot].opening, Began::Loop));
            self.push(next, state.node, cost, (slot, event, clock), began);
        }
        least
    }

    /// Adds the ways on which this event is the first of a pass: no more than the beam holds, as in
    /// [`Self::loop_in_time`].
    pub(super) fn enter(&mut self, outside: State, event: usize, next: &mut Vec<State>) {
        let course = self.course;
        let sound = &course.events[event];
        let best = cheapest(next).min(outside.cost + sound.outside);
        if outside.cost + costs::ENTER > best + BEAM_NATS {
            return;
        }
        let mut open: Vec<(f64, usize)> = Vec::new();
        for k in 0..self.entrances.len() {
            let (entrance, slots) = &self.entrances[k];
            let (within_bar, entering) = (entrance.within_bar, f64::from_bits(entrance.cost));
            let price = self.price(event, slots[0]);
            let cost = outside.cost + entering + price.pitch + price.weakness;
            if cost <= best + BEAM_NATS && (price.same_pitch || !within_bar) {
                open.push((cost, k));
            }
        }
        open.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut chosen: Vec<(f64, usize)> = Vec::new();
        for (cost, k) in open {
            if chosen.len() >= BEAM_STATES && chosen.last().is_some_and(|last| last.0 < cost) {
                break;
            }
            let slots = self.entrances[k].1.iter().copied();
            let allowed = slots.filter(|&slot| course.may_be(event, slot));
            chosen.extend(allowed.take(BEAM_STATES).map(|slot| (cost, slot)));
        }
        chosen.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        chosen.truncate(BEAM_STATES);
        chosen.sort_unstable_by_key(|way| way.1);
        for (cost, slot) in chosen {
            let target = &course.slots[slot];
            let (_, from) = entering(target, slot);
            let stretch = match course.mode {
                TimingMode::Free => TEMPO_MEAN,
                TimingMode::Click => course.click_stretch(),
            };
            let onset_sd = costs::timing_sd_s(target, stretch);
            let sd = self.tempo_sd;
            let clock = Clock::start(sound.heard.onset_s, stretch, sd, onset_sd);
            let began = Some((from, Began::Enter));
            self.push(next, outside.node, cost, (slot, event, clock), began);
        }
    }
}

/// What looping to a slot costs depends on this alone. Seconds are kept as their bits, so that only
/// equal ones are one.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Head {
    kind: usize,
    /// Slots of its bar before it.
    late: usize,
    /// From its bar line to it.
    lead: u64,
    interval: u64,
}

/// The first slots of every bar by what looping to them costs.
pub(super) fn heads(
    slots: &[Slot],
    kinds: &Kinds,
    first_slots: &[usize],
) -> Vec<(Head, Vec<usize>)> {
    grouped(first_slots.iter().map(|&slot| {
        let target = &slots[slot];
        let head = Head {
            kind: kinds.of(slot),
            late: slot - target.opening,
            lead: (target.at_s - target.bar_s).to_bits(),
            interval: target.interval_s.to_bits(),
        };
        (head, slot)
    }))
}

/// What entering the line at a slot costs depends on this alone.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Entrance {
    kind: usize,
    within_bar: bool,
    /// The bits of its cost, in nats.
    cost: u64,
}

/// All slots by what entering the line at them costs.
pub(super) fn entrances(slots: &[Slot], kinds: &Kinds) -> Vec<(Entrance, Vec<usize>)> {
    grouped(slots.iter().enumerate().map(|(slot, target)| {
        let entrance = Entrance {
            kind: kinds.of(slot),
            within_bar: slot > target.opening,
            cost: entering(target, slot).0.to_bits(),
        };
        (entrance, slot)
    }))
}

/// What entering the line at a slot costs, and the first slot of the pass then: either notes at the
/// head of the bar were missed, or the player began within it.
fn entering(target: &Slot, slot: usize) -> (f64, usize) {
    let late = slot - target.opening;
    let first = if target.opening == 0 {
        costs::ENTER_FIRST
    } else {
        costs::ENTER
    };
    let missed = first + costs::MISSED * late as f64;
    if late < MISSED_FIRST && missed <= costs::ENTER_ANYWHERE {
        (missed, target.opening)
    } else {
        (costs::ENTER_ANYWHERE, slot)
    }
}

/// The rank of the last of these ways that the beam has room for; `None` where it has room for all.
fn nth_rank(chosen: &mut [(f64, usize, f64, Clock)]) -> Option<f64> {
    (chosen.len() >= BEAM_STATES).then(|| {
        let nth = chosen.select_nth_unstable_by(BEAM_STATES - 1, |a, b| a.0.total_cmp(&b.0));
        nth.1.0
    })
}
