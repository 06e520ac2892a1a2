//! The beam of the search for the way through a take: its states, and which of them are worth going
//! on with.

use crate::compare::lay::clock::Clock;
use crate::compare::lay::costs;
use crate::compare::lay::slots::{self, Slot};

/// States kept. Raising it costs time and finds rarer ways.
pub(super) const BEAM_STATES: usize = 72;
/// No state is kept that is worse than the best by more than this, in nats.
pub(super) const BEAM_NATS: f64 = 16.0;
/// States kept of one slot.
const BEAM_FOR_EACH_SLOT: usize = 4;
/// Two clocks are one when they say the same time to within this, in seconds, and nearly the same
/// tempo ([`SAME_CLOCK_SHARE`]). Raised, fewer ways are followed.
const SAME_CLOCK_S: f64 = 0.030;
/// How far the tempos of two clocks that are one may differ, as a share. Raised, fewer ways are
/// followed.
const SAME_CLOCK_SHARE: f64 = 0.06;
/// Overdue slots charged at most when states are compared.
const OVERDUE_MAX: f64 = 3.0;

/// The last slot that was played, and when.
#[derive(Clone, Copy)]
pub(super) struct Place {
    pub slot: usize,
    pub event: usize,
    pub clock: Clock,
    /// Whether its pitch was the written one.
    pub right: bool,
}

/// One way that is still open.
#[derive(Clone, Copy)]
pub(super) struct State {
    /// In nats.
    pub cost: f64,
    /// Where the player is in the line; `None` outside of it.
    pub place: Option<Place>,
    /// Its last step.
    pub node: u32,
}

/// The least cost among states.
pub(super) fn cheapest(states: &[State]) -> f64 {
    let costs = states.iter().map(|state| state.cost);
    costs.fold(f64::INFINITY, f64::min)
}

/// What it costs to leave the line after this slot.
pub(super) fn leaving(slots: &[Slot], slot: usize) -> f64 {
    if slots::closes_bar(slots, slot) {
        costs::LEAVE_AT_BAR
    } else {
        costs::LEAVE
    }
}

/// What a state is compared by: its cost as if overdue slots were missed already, but no more
/// than as if the player had left the line.
pub(super) fn rank(slots: &[Slot], state: &State, now_s: f64) -> f64 {
    let Some(place) = state.place else {
        return state.cost;
    };
    let now_at_s = slots[place.slot].at_s + (now_s - place.clock.t_s) / place.clock.stretch - 0.1;
    let due = slots[place.slot + 1..]
        .iter()
        .take_while(|slot| slot.at_s < now_at_s)
        .take(OVERDUE_MAX as usize)
        .count();
    state.cost + (costs::MISSED * due as f64).min(leaving(slots, place.slot))
}

/// Keeps the states worth going on with.
pub(super) fn prune(slots: &[Slot], states: Vec<State>, now_s: f64) -> Vec<State> {
    let rank = |state: State| (rank(slots, &state, now_s), state);
    let mut ranked: Vec<(f64, State)> = states.into_iter().map(rank).collect();
    let best = ranked.iter().map(|r| r.0).fold(f64::INFINITY, f64::min);
    ranked.retain(|r| r.0 <= best + BEAM_NATS);
    ranked.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.node.cmp(&b.1.node)));
    let mut kept: Vec<State> = Vec::with_capacity(BEAM_STATES);
    let mut outside = false;
    for (_, state) in ranked {
        let Some(place) = state.place else {
            // The state outside of the line, one at most. It is always kept, because every pass
            // begins from it.
            kept.push(state);
            outside = true;
            continue;
        };
        if kept.len() - usize::from(outside) >= BEAM_STATES {
            continue;
        }
        let alike = |k: &&State| k.place.is_some_and(|p| p.slot == place.slot);
        let same = kept.iter().filter(alike).filter_map(|k| k.place).any(|p| {
            let stretch = (p.clock.stretch / place.clock.stretch - 1.0).abs();
            p.event == place.event
                && (p.clock.t_s - place.clock.t_s).abs() < SAME_CLOCK_S
                && stretch < SAME_CLOCK_SHARE
        });
        if !same && kept.iter().filter(alike).count() < BEAM_FOR_EACH_SLOT {
            kept.push(state);
        }
    }
    kept
}
