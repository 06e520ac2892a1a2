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

use crate::compare::judgement::TimingMode;
use crate::compare::lay::beam::{self, BEAM_NATS, Place, State, cheapest, leaving};
use crate::compare::lay::clock::Clock;
use crate::compare::lay::costs;
use crate::compare::lay::course::{Course, pitch, reach_s};
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
/// Tempo that is expected before anything is known, in played seconds for each written second:
/// practising at two thirds of the tempo is common, practising faster than written is not. Raised,
/// slow passes are found more easily, fast ones less.
const TEMPO_MEAN: f64 = 1.12;
/// Standard deviation of that tempo, in the same unit. Raised, unusual tempos are found more
/// easily, and so are passes where there are none.
const TEMPO_SD: f64 = 0.3;
/// Nobody practises faster than this, in played seconds per written second.
const FASTEST: f64 = 0.62;
/// Standard deviation of the tempo to a click, in played seconds for each written second.
const CLICK_TEMPO_SD: f64 = 0.003;
/// How much the tempo may wander, as a standard deviation after one second of music.
const TEMPO_WANDER: f64 = 0.012;
/// The same after a stop, at least: people come back a little slower or faster.
const STOP_TEMPO_SD: f64 = 0.04;
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
}

impl<'a> Search<'a> {
    fn new(course: &'a Course<'a>) -> Self {
        let (tempo_sd, wander) = match course.mode {
            TimingMode::Free => (TEMPO_SD, TEMPO_WANDER),
            TimingMode::Click => (CLICK_TEMPO_SD, 0.0),
        };
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
        for k in 0..self.states.len() {
            if let Some(place) = self.states[k].place {
                self.loop_in_time(self.states[k], place, event, &mut next);
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
        let sound = &course.events[event];
        let heard = sound.heard;
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
            let cost = state.cost
                + costs::missed((slot - place.slot - 1) as f64)
                + pitch(target, sound)
                + costs::weakness(target, sound)
                + costs::timing(off, sd_s.hypot(clock.var_t.sqrt()));
            clock.correct(heard.onset_s, sd_s);
            if clock.stretch < FASTEST && course.mode == TimingMode::Free {
                continue;
            }
            self.push(next, state.node, cost, (slot, event, clock), None);
        }
    }

    /// Adds the ways on which the player has stopped and goes on where the line was left: at the
    /// next slot, or at the last one where that was another note.
    fn stop(&mut self, state: State, place: Place, event: usize, next: &mut Vec<State>) {
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
            let cost = state.cost + costs::STOP + costs::weakness(target, &course.events[event]);
            let sd = place.clock.var_stretch.sqrt().max(STOP_TEMPO_SD);
            let sd = sd.min(self.tempo_sd);
            let onset_sd = costs::timing_sd_s(target, place.clock.stretch);
            let clock = Clock::start(heard.onset_s, place.clock.stretch, sd, onset_sd);
            let began = Some((slot, Began::Stop));
            self.push(next, state.node, cost, (slot, event, clock), began);
        }
    }

    /// Adds the ways on which the player has stopped and begins the bar anew, or the one before.
    fn go_back(&mut self, state: State, place: Place, event: usize, next: &mut Vec<State>) {
        let course = self.course;
        let sound = &course.events[event];
        let bar = course.slots[place.slot].opening;
        let before = bar.checked_sub(1).map(|last| course.slots[last].opening);
        for slot in [Some(bar), before].into_iter().flatten() {
            let target = &course.slots[slot];
            if !costs::same_pitch(target, sound) || !course.may_be(event, slot) {
                continue;
            }
            let waited_s = sound.heard.onset_s - place.clock.t_s;
            let due_s = course.slots[place.slot].interval_s * place.clock.stretch;
            if waited_s < due_s + costs::STOP_FROM_S {
                continue;
            }
            let cost = state.cost + costs::BACK + costs::weakness(target, sound);
            let sd = place.clock.var_stretch.sqrt().max(STOP_TEMPO_SD);
            let onset_sd = costs::timing_sd_s(target, place.clock.stretch);
            let clock = Clock::start(
                sound.heard.onset_s,
                place.clock.stretch,
                sd.min(self.tempo_sd),
                onset_sd,
            );
            let began = Some((slot, Began::Enter));
            self.push(next, state.node, cost, (slot, event, clock), began);
        }
    }

    /// Adds the ways on which the player begins a bar anew when the bar behind the last one played
    /// is due.
    fn loop_in_time(&mut self, state: State, place: Place, event: usize, next: &mut Vec<State>) {
        let course = self.course;
        let best = cheapest(next);
        let closes_line = course.slots[place.slot + 1..]
            .iter()
            .all(|slot| slot.bar == course.slots[place.slot].bar);
        let round = if closes_line {
            costs::LOOP_ROUND
        } else {
            costs::LOOP
        };
        let base = state.cost + round;
        if base > best + BEAM_NATS {
            return;
        }
        let sound = &course.events[event];
        let from = &course.slots[place.slot];
        for slot in 0..course.slots.len() {
            let target = &course.slots[slot];
            // The first slots of a bar that is not the next one.
            let late = slot - target.opening;
            if late >= MISSED_FIRST
                || target.opening == place.slot + 1
                || !course.may_be(event, slot)
            {
                continue;
            }
            let written_s = from.bar_end_s - from.at_s + (target.at_s - target.bar_s);
            let mut clock = place.clock.ahead(written_s, self.wander);
            let off = sound.heard.onset_s - clock.t_s;
            // Later than this the player has paused.
            if off.abs() > costs::STOP_FROM_S {
                continue;
            }
            let unplayed = course.slots[place.slot + 1..]
                .iter()
                .take_while(|slot| slot.bar == from.bar)
                .count();
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
    fn enter(&mut self, outside: State, event: usize, next: &mut Vec<State>) {
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

    fn push(
        &mut self,
        next: &mut Vec<State>,
        before: u32,
        cost: f64,
        (slot, event, clock): (usize, usize, Clock),
        began: Option<(usize, Began)>,
    ) {
        let node = self.ways.push(before, slot, event, began);
        let right = costs::same_pitch(&self.course.slots[slot], &self.course.events[event]);
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
