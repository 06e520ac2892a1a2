//! Finding the way through a take: which stretches of it are passes over the line, where each
//! begins, at what tempo, and where the player stopped.
//!
//! A beam search over the clear events. A state is either *within* the line (which slot was last
//! played, when, and at what tempo) or *outside* of it (noodling, tuning, talk, a count-in). Within,
//! an event may be left out, be one of the next slots, or be the next slot after a stop. From any
//! slot the player may leave the line, and from outside enter it, at the opening of a bar or, more
//! rarely, anywhere. What comes out is coarse; `align` does the exact work on it.
//!
//! # Source
//! Nakamura, Nakamura, Saito, Ono & Sagayama (2014), J. New Music Research 43, 183-201 (from
//! memory): a jump costs what stopping at one place and resuming at another cost, and nothing that
//! depends on both (their stop and resumption probabilities), so that all jumps of an event pass
//! through one state. Departures: a state outside of the line, in which sound belongs to nobody;
//! the time of each note counts, with a tempo carried along (Large 1993, from memory).

mod jumps;

use crate::compare::judgement::TimingMode;
use crate::compare::lay::beam::{self, Place, State, cheapest, leaving};
use crate::compare::lay::clock::Clock;
use crate::compare::lay::costs;
use crate::compare::lay::course::{Course, reach_s};
use crate::compare::lay::follow::jumps::{Entrance, Head};
use crate::compare::lay::kinds::{Kinds, Price};
use crate::compare::lay::ways::{NOWHERE, Ways};

/// A stretch of the take in which the line was played without a stop.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Run {
    /// Matched slots and events, both rising.
    pub pairs: Vec<(usize, usize)>,
    /// The first slot that belongs to it: before the first match where notes at its beginning were
    /// missed.
    pub from_slot: usize,
    /// How the run began.
    pub began: Began,
}

/// How a run began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Began {
    /// From outside of the line, after whatever was played there.
    Enter,
    /// In time with the run before: the bar comes when the one behind the last would be due.
    Loop,
    /// After a stop, where the line was left; it is the same pass.
    Stop,
}

/// Only events with at least this evidence, in nats, show the way: hum and touches would fill the
/// beam with false starts.
const CLEAR_EVIDENCE: f64 = -0.5;
/// Standard deviation of that tempo, in the same unit. Raised, unusual tempos are found more
/// easily, and so are passes where there are none.
const TEMPO_SD: f64 = 0.3;
/// Nobody practises faster than this, in played seconds per written second.
const FASTEST: f64 = 0.62;
/// Standard deviation of the tempo to a click, in played seconds for each written second.
const CLICK_TEMPO_SD: f64 = 0.003;
/// How much the tempo may wander, as a standard deviation after one second of music.
const TEMPO_WANDER: f64 = 0.012;
/// Slots that may be missed at the beginning of a pass.
const MISSED_FIRST: usize = 3;
/// Slots that may be missed in a row within a pass.
const MISSED_IN_A_ROW: usize = 48;
/// Ways that are dearer than the best by less than this, in nats, may still turn out to be the right
/// one. Raising it lets a player wait longer for a verdict, and fewer are taken back.
const DECIDED_NATS: f64 = 6.0;

/// The likeliest way through a take.
pub(crate) struct Way {
    /// Its runs in order of time; empty when nothing of the line was heard.
    pub runs: Vec<Run>,
    /// The last event up to which all ways that are nearly as likely agree; `None` when they part
    /// at once. While somebody plays, only what lies before it is decided.
    pub decided: Option<usize>,
}

/// Finds it.
pub(crate) fn follow(course: &Course) -> Way {
    let mut search = Search::new(course);
    for event in 0..course.events.len() {
        if course.events[event].heard.evidence >= CLEAR_EVIDENCE {
            search.take_in(event);
        }
    }
    search.way()
}

struct Search<'a> {
    course: &'a Course<'a>,
    ways: Ways,
    states: Vec<State>,
    tempo_sd: f64,
    wander: f64,
    kinds: Kinds,
    /// The first slots of every bar, those at which a bar may begin, by what looping to them costs.
    heads: Vec<(Head, Vec<usize>)>,
    /// All slots, by what entering the line at them costs.
    entrances: Vec<(Entrance, Vec<usize>)>,
    /// The longest way from a bar line to one of them, in seconds of the line.
    lead_s: f64,
}

impl<'a> Search<'a> {
    fn new(course: &'a Course<'a>) -> Self {
        let (tempo_sd, wander) = match course.mode {
            TimingMode::Free => (TEMPO_SD, TEMPO_WANDER),
            TimingMode::Click => (CLICK_TEMPO_SD, 0.0),
        };
        let slots = course.slots;
        let first_slots: Vec<usize> = (0..slots.len())
            .filter(|&slot| slot - slots[slot].opening < MISSED_FIRST)
            .collect();
        let leads_s = first_slots.iter().map(|&k| slots[k].at_s - slots[k].bar_s);
        let lead_s = leads_s.fold(0.0, f64::max);
        let kinds = Kinds::new(slots);
        let heads = jumps::heads(slots, &kinds, &first_slots);
        let entrances = jumps::entrances(slots, &kinds);
        let outside = State {
            cost: 0.0,
            place: None,
            node: NOWHERE,
        };
        Self {
            course,
            ways: Ways::new(),
            states: vec![outside],
            tempo_sd,
            wander,
            kinds,
            heads,
            entrances,
            lead_s,
        }
    }

    fn take_in(&mut self, event: usize) {
        let sound = self.course.events[event];
        let mut next: Vec<State> = Vec::with_capacity(4 * self.states.len() + 8);
        let mut outside: Option<State> = None;
        for k in 0..self.states.len() {
            let state = self.states[k];
            let left = match state.place {
                Some(place) => {
                    next.push(State {
                        cost: state.cost + sound.skip,
                        ..state
                    });
                    self.go_on(state, place, event, &mut next);
                    self.stop(state, place, event, &mut next);
                    self.go_back(state, place, event, &mut next);
                    State {
                        cost: state.cost + leaving(self.course.slots, place.slot),
                        place: None,
                        ..state
                    }
                }
                None => state,
            };
            if outside.is_none_or(|best| left.cost < best.cost) {
                outside = Some(left);
            }
        }
        let mut best = cheapest(&next);
        for k in 0..self.states.len() {
            if let Some(place) = self.states[k].place {
                let least = self.loop_in_time((self.states[k], best), place, event, &mut next);
                best = best.min(least);
            }
        }
        if let Some(outside) = outside {
            self.enter(outside, event, &mut next);
            next.push(State {
                cost: outside.cost + sound.outside,
                ..outside
            });
        }
        self.states = beam::prune(self.course.slots, next, sound.heard.onset_s);
        self.ways.tidy(&mut self.states);
    }

    /// Adds the event as one of the next slots.
    fn go_on(&mut self, state: State, place: Place, event: usize, next: &mut Vec<State>) {
        let course = self.course;
        let heard = course.events[event].heard;
        let end = course.slots.len().min(place.slot + 2 + MISSED_IN_A_ROW);
        let from_s = course.slots[place.slot].at_s;
        for slot in place.slot + 1..end {
            let target = &course.slots[slot];
            let mut clock = place.clock.ahead(target.at_s - from_s, self.wander);
            let off = heard.onset_s - clock.t_s;
            let reach = reach_s(target, &clock);
            if off < -reach {
                break;
            }
            if off > reach || !course.may_be(event, slot) {
                continue;
            }
            let sd_s = costs::timing_sd_s(target, clock.stretch);
            let price = self.price(event, slot);
            let cost = state.cost
                + costs::missed((slot - place.slot - 1) as f64)
                + price.pitch
                + price.weakness
                + costs::timing(off, sd_s.hypot(clock.var_t.sqrt()));
            clock.correct(heard.onset_s, sd_s);
            if clock.stretch < FASTEST && course.mode == TimingMode::Free {
                continue;
            }
            self.push(next, state.node, cost, (slot, event, clock), None);
        }
    }

    fn push(
        &mut self,
        next: &mut Vec<State>,
        before: u32,
        cost: f64,
        (slot, event, clock): (usize, usize, Clock),
        began: Option<(usize, Began)>,
    ) {
        let node = self.ways.push(before, slot, event, began);
        let right = self.price(event, slot).same_pitch;
        next.push(State {
            cost,
            place: Some(Place {
                slot,
                event,
                clock,
                right,
            }),
            node,
        });
    }

    /// What it costs to take the event for this slot.
    fn price(&mut self, event: usize, slot: usize) -> Price {
        let (slots, sound) = (self.course.slots, &self.course.events[event]);
        self.kinds.price(slots, slot, event, sound)
    }

    /// The cheapest way.
    fn way(&self) -> Way {
        let ended = |state: &State| match state.place {
            Some(place) => state.cost + leaving(self.course.slots, place.slot),
            None => state.cost,
        };
        let best = self
            .states
            .iter()
            .min_by(|a, b| ended(a).total_cmp(&ended(b)).then(a.node.cmp(&b.node)));
        let last = best.map_or(NOWHERE, |state| state.node);
        let runs = self.ways.runs(last);
        let limit = best.map_or(0.0, |best| best.cost) + DECIDED_NATS;
        let rivals = self.states.iter().filter(|state| state.cost <= limit);
        let common = rivals.fold(last, |common, state| self.ways.common(common, state.node));
        Way {
            runs,
            decided: self.ways.event(common),
        }
    }
}
