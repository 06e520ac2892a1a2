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
use crate::compare::lay::clicks::ClickedPass;
use crate::compare::lay::clock::Clock;
use crate::compare::lay::costs::{self, Sound};
use crate::compare::lay::slots::Slot;

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
/// Played seconds per written second before anything is known, and its standard deviation:
/// practising at two thirds of the tempo is common, practising faster than written is not.
const TEMPO_MEAN: f64 = 1.12;
const TEMPO_SD: f64 = 0.3;
/// Nobody practises faster than this, in played seconds per written second.
const FASTEST: f64 = 0.62;
/// The same to a click.
const CLICK_TEMPO_SD: f64 = 0.003;
/// How much the tempo may wander, as a standard deviation after one second of music.
const TEMPO_WANDER: f64 = 0.012;
/// The same after a stop, at least: people come back a little slower or faster.
const STOP_TEMPO_SD: f64 = 0.04;
/// Slots that may be missed at the beginning of a pass.
const MISSED_FIRST: usize = 3;
/// Slots that may be missed in a row within a pass.
const MISSED_IN_A_ROW: usize = 48;
/// States kept. Raising it costs time and finds rarer ways.
const BEAM_STATES: usize = 72;
/// No state is kept that is worse than the best by more than this, in nats.
const BEAM_NATS: f64 = 16.0;
/// States kept of one slot.
const BEAM_FOR_EACH_SLOT: usize = 4;
/// Two clocks that say the same time to within this, in seconds, and nearly the same tempo, as a
/// share, are one.
const SAME_CLOCK_S: f64 = 0.030;
const SAME_CLOCK_SHARE: f64 = 0.06;
/// Ways that are dearer than the best by less than this, in nats, may still turn out to be the right
/// one. Raising it lets a player wait longer for a verdict, and fewer are taken back.
const DECIDED_NATS: f64 = 6.0;
/// Overdue slots charged at most when states are compared.
const OVERDUE_MAX: f64 = 3.0;
/// Nodes that may gather beyond one and a half times those in use before the others are let go:
/// some 30 events' worth. Lowering it saves a hundred kilobytes and costs time.
const TIDY_NODES: usize = 4096;

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
}

impl Course<'_> {
    /// Played seconds for each written second by the click.
    pub(crate) fn click_stretch(&self) -> f64 {
        self.click.map_or(1.0, |click| click.stretch)
    }

    /// Whether the click allows that this event is this slot.
    fn may_be(&self, event: usize, slot: usize) -> bool {
        let onset_s = self.events[event].heard.onset_s;
        !self.near
            || self
                .click
                .is_none_or(|click| click.is_near(onset_s, self.slots[slot].at_s))
    }
}

/// The last slot that was played, and when.
#[derive(Clone, Copy)]
struct Place {
    slot: usize,
    event: usize,
    clock: Clock,
    /// Whether its pitch was the written one.
    right: bool,
}

#[derive(Clone, Copy)]
struct State {
    cost: f64,
    /// Where the player is in the line; `None` outside of it.
    place: Option<Place>,
    node: u32,
}

/// A step on a way. Kept small: every way that is still open has one for each event it matched.
struct Node {
    /// Place of the step before, [`NOWHERE`] at the start.
    before: u32,
    slot: u32,
    event: u32,
    /// The first slot of the run that begins here, and how it began.
    began: Option<(u32, Began)>,
}

/// No node is before this one.
const NOWHERE: u32 = u32::MAX;

impl Node {
    fn before(&self) -> Option<usize> {
        (self.before != NOWHERE).then_some(self.before as usize)
    }
}

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

/// How far from its place a slot is looked for by this clock, in seconds.
fn reach_s(slot: &Slot, clock: &Clock) -> f64 {
    costs::reach_s(slot, clock.stretch) + 2.0 * clock.var_t.sqrt()
}

/// The least cost among states.
fn cheapest(states: &[State]) -> f64 {
    let costs = states.iter().map(|state| state.cost);
    costs.fold(f64::INFINITY, f64::min)
}

/// What the pitch of an event costs on the way: more than in the exact alignment, because here a
/// row of wrong notes may as well be something that is not the line.
fn pitch(slot: &Slot, sound: &Sound) -> f64 {
    let cost = costs::pitch(slot, sound);
    if cost >= costs::OTHER_FROM {
        return cost + costs::WRONG_ON_THE_WAY;
    }
    cost + sound
        .heard
        .pitch
        .map_or(0.0, |pitch| costs::off_semitone(pitch.midi))
}

/// What it costs to leave the line after this slot.
fn leaving(slots: &[Slot], slot: usize) -> f64 {
    let closes_bar = slots.get(slot + 1).is_none_or(|next| next.opens_bar);
    if closes_bar {
        costs::LEAVE_AT_BAR
    } else {
        costs::LEAVE
    }
}

struct Search<'a> {
    course: &'a Course<'a>,
    nodes: Vec<Node>,
    states: Vec<State>,
    /// At this count of nodes those from which no state comes are let go.
    tidy_at: usize,
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
            nodes: Vec::new(),
            states: vec![outside],
            tidy_at: TIDY_NODES,
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
        self.states = self.prune(next, sound.heard.onset_s);
        if self.nodes.len() > self.tidy_at {
            self.tidy();
        }
    }

    /// Lets go of the nodes from which no state comes. Those that stay keep their order.
    fn tidy(&mut self) {
        let mut used = vec![false; self.nodes.len()];
        for state in &self.states {
            let mut at = (state.node != NOWHERE).then_some(state.node as usize);
            while let Some(node) = at.filter(|&node| !used[node]) {
                used[node] = true;
                at = self.nodes[node].before();
            }
        }
        // A node's new place is the count of used ones before it.
        let mut places = Vec::with_capacity(used.len());
        let mut count = 0u32;
        for &is_used in &used {
            places.push(count);
            count += u32::from(is_used);
        }
        let mut is_used = used.iter();
        self.nodes.retain(|_| is_used.next() == Some(&true));
        self.nodes.shrink_to_fit();
        self.tidy_at = self.nodes.len() + self.nodes.len() / 2 + TIDY_NODES;
        self.nodes
            .reserve_exact(self.tidy_at + TIDY_NODES - self.nodes.len());
        for node in &mut self.nodes {
            node.before = node.before().map_or(NOWHERE, |before| places[before]);
        }
        for state in self.states.iter_mut().filter(|s| s.node != NOWHERE) {
            state.node = places[state.node as usize];
        }
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
        let node = self.nodes.len() as u32;
        self.nodes.push(Node {
            before,
            slot: slot as u32,
            event: event as u32,
            began: began.map(|(from, began)| (from as u32, began)),
        });
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

    /// What a state is compared by: its cost as if overdue slots were missed already, but no more
    /// than as if the player had left the line.
    fn rank(&self, state: &State, now_s: f64) -> f64 {
        let Some(place) = state.place else {
            return state.cost;
        };
        let slots = self.course.slots;
        let now_at_s =
            slots[place.slot].at_s + (now_s - place.clock.t_s) / place.clock.stretch - 0.1;
        let due = slots[place.slot + 1..]
            .iter()
            .take_while(|slot| slot.at_s < now_at_s)
            .take(OVERDUE_MAX as usize)
            .count();
        state.cost + (costs::MISSED * due as f64).min(leaving(slots, place.slot))
    }

    /// Keeps the states worth going on with.
    fn prune(&self, mut states: Vec<State>, now_s: f64) -> Vec<State> {
        let rank = |state: State| (self.rank(&state, now_s), state);
        let mut ranked: Vec<(f64, State)> = states.drain(..).map(rank).collect();
        let best = ranked.iter().map(|r| r.0).fold(f64::INFINITY, f64::min);
        ranked.retain(|r| r.0 <= best + BEAM_NATS);
        ranked.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.node.cmp(&b.1.node)));
        let mut kept: Vec<State> = Vec::with_capacity(BEAM_STATES);
        let mut outside = false;
        for (_, state) in ranked {
            let Some(place) = state.place else {
                // There is one at most, and it is always kept: it is the way to everything else.
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
        let runs = self.runs(last);
        let limit = best.map_or(0.0, |best| best.cost) + DECIDED_NATS;
        let rivals = self.states.iter().filter(|state| state.cost <= limit);
        let common = rivals.fold(last, |common, state| self.common(common, state.node));
        Way {
            runs,
            decided: self
                .nodes
                .get(common as usize)
                .map(|node| node.event as usize),
        }
    }

    /// The last node that two ways share; [`NOWHERE`] when there is none. A node always stands
    /// behind the one before it.
    fn common(&self, mut a: u32, mut b: u32) -> u32 {
        while a != b {
            if a == NOWHERE || b == NOWHERE {
                return NOWHERE;
            }
            if a > b {
                a = self.nodes[a as usize].before;
            } else {
                b = self.nodes[b as usize].before;
            }
        }
        a
    }

    /// The runs that lead to a node.
    fn runs(&self, last: u32) -> Vec<Run> {
        let mut runs = Vec::new();
        let mut pairs = Vec::new();
        let mut at = (last != NOWHERE).then_some(last as usize);
        while let Some(node) = at.map(|k| &self.nodes[k]) {
            pairs.push((node.slot as usize, node.event as usize));
            if let Some((from, began)) = node.began {
                pairs.reverse();
                runs.push(Run {
                    pairs: std::mem::take(&mut pairs),
                    from_slot: from as usize,
                    began,
                });
            }
            at = node.before();
        }
        runs.reverse();
        runs
    }
}
