//! Finding the way through the line: where the take starts, at what tempo, and whether the player
//! went back or stopped on the way.
//!
//! A beam search over the clear events. Each state says which slot was last played, when, and at
//! what tempo (a small Kalman filter); it may leave an event out, go on to one of the next slots,
//! or jump to the opening of a bar. What comes out is coarse; `align` does the exact work on it.
//!
//! # Source
//! Edit costs with a tempo carried along follow Large (1993, from memory); jumps to the openings
//! of bars follow Nakamura, Nakamura, Saito, Ono & Sagayama (2014, from memory).

use crate::compare::judgement::TimingMode;
use crate::compare::lay::clock::Clock;
use crate::compare::lay::costs::{self, Sound};
use crate::compare::lay::slots::Slot;

/// A stretch of the take in which the line was played without going back or stopping.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Run {
    /// Matched slots and events, both rising.
    pub pairs: Vec<(usize, usize)>,
    /// How the run began.
    pub began: Began,
}

/// How a run began.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Began {
    /// At the start of the take.
    Take,
    /// The player went back, or on, to the opening of a bar.
    Jump,
    /// The player stopped and went on where the line was left.
    Stop,
}

/// Only events with at least this evidence, in nats, show the way: hum and touches would fill the
/// beam with false starts.
const CLEAR_EVIDENCE: f64 = -0.5;
/// Standard deviation of the played tempo about the written one, as a share: practising at
/// three quarters of the tempo is common.
const TEMPO_SD: f64 = 0.15;
/// The same to a click.
const CLICK_TEMPO_SD: f64 = 0.003;
/// How much the tempo may wander, as a standard deviation after one second of music.
const TEMPO_WANDER: f64 = 0.012;
/// The same after a jump, at least: people come back a little slower or faster.
const JUMP_TEMPO_SD: f64 = 0.04;
/// A take may start at one of so many first slots, as if the ones before were missed.
const START_SLOTS: usize = 4;
/// Slots that may be missed in a row without a jump.
const MISSED_IN_A_ROW: usize = 48;
/// States kept: at most so many, ...
const BEAM_STATES: usize = 56;
/// ... none so much worse than the best, in nats, ...
const BEAM_NATS: f64 = 13.0;
/// ... and for each slot so many.
const BEAM_FOR_EACH_SLOT: usize = 2;
/// States from which a jump is tried at each event.
const JUMP_SOURCES: usize = 3;
/// Overdue slots charged at most when states are compared.
const OVERDUE_MAX: f64 = 3.0;
/// Nodes that may gather beyond one and a half times those in use before the others are let go:
/// some 30 events' worth. Lowering it saves a hundred kilobytes and costs time.
const TIDY_NODES: usize = 4096;
/// Ways handed on for exact alignment.
const WAYS: usize = 3;
/// A way that much dearer than the best is not worth the work, in nats.
const WAYS_NATS: f64 = 6.0;
/// Ways that start within this many seconds of each other are one, in seconds.
const SAME_START_S: f64 = 0.12;

/// What the search looks at.
pub(crate) struct Course<'a> {
    /// The line.
    pub slots: &'a [Slot],
    /// The take, in order of onset.
    pub events: &'a [Sound<'a>],
    /// Free or click.
    pub mode: TimingMode,
    /// Mean length of a written quarter note in seconds.
    pub quarter_s: f64,
}

#[derive(Clone, Copy)]
struct State {
    cost: f64,
    /// Skipping costs since the last match, contained in `cost`.
    tail: f64,
    slot: usize,
    event: usize,
    node: usize,
    clock: Clock,
}

/// A step on a way. Kept small: every way that is still open has one for each event it matched.
struct Node {
    /// Place of the step before, [`NOWHERE`] at the start.
    before: u32,
    slot: u32,
    event: u32,
    began: Option<Began>,
}

/// No node is before this one.
const NOWHERE: u32 = u32::MAX;

impl Node {
    fn before(&self) -> Option<usize> {
        (self.before != NOWHERE).then_some(self.before as usize)
    }
}

/// The likeliest ways through the line, best first; empty when nothing clear was heard.
pub(crate) fn follow(course: &Course) -> Vec<Vec<Run>> {
    let mut search = Search::new(course);
    for event in 0..course.events.len() {
        if course.events[event].heard.evidence >= CLEAR_EVIDENCE {
            search.take_in(event);
        }
    }
    search.ways()
}

/// How far from its place a slot is looked for by this clock, in seconds.
fn reach_s(slot: &Slot, clock: &Clock) -> f64 {
    costs::reach_s(slot, clock.stretch) + 2.0 * clock.var_t.sqrt()
}

/// The least cost among states.
fn cheapest(states: &[State]) -> f64 {
    states
        .iter()
        .map(|state| state.cost)
        .fold(f64::INFINITY, f64::min)
}

struct Search<'a> {
    course: &'a Course<'a>,
    nodes: Vec<Node>,
    states: Vec<State>,
    /// At so many nodes those from which no state comes are let go.
    tidy_at: usize,
    /// Slots that open a bar.
    openings: Vec<usize>,
    /// Cost of leaving out every clear event so far, as before a start.
    lead_in: f64,
    tempo_sd: f64,
    wander: f64,
}

impl<'a> Search<'a> {
    fn new(course: &'a Course<'a>) -> Self {
        let (tempo_sd, wander) = match course.mode {
            TimingMode::Free => (TEMPO_SD, TEMPO_WANDER),
            TimingMode::Click => (CLICK_TEMPO_SD, 0.0),
        };
        let openings = (0..course.slots.len())
            .filter(|&k| course.slots[k].opens_bar)
            .collect();
        let (nodes, states) = (Vec::new(), Vec::new());
        Self {
            course,
            nodes,
            states,
            tidy_at: TIDY_NODES,
            openings,
            lead_in: 0.0,
            tempo_sd,
            wander,
        }
    }

    fn take_in(&mut self, event: usize) {
        let skip = self.course.events[event].skip;
        let mut next: Vec<State> = Vec::with_capacity(4 * self.states.len() + 8);
        for state in &self.states {
            next.push(State {
                cost: state.cost + skip,
                tail: state.tail + skip,
                ..*state
            });
        }
        for k in 0..self.states.len() {
            self.go_on(self.states[k], event, &mut next);
        }
        self.jump(event, &mut next);
        self.start(event, &mut next);
        self.lead_in += costs::OUTSIDE_SHARE * skip;
        self.states = self.prune(next, self.course.events[event].heard.onset_s);
        if self.nodes.len() > self.tidy_at {
            self.tidy();
        }
    }

    /// Lets go of the nodes from which no state comes. Those that stay keep their order.
    fn tidy(&mut self) {
        let mut used = vec![false; self.nodes.len()];
        for state in &self.states {
            let mut at = Some(state.node);
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
        for state in &mut self.states {
            state.node = places[state.node] as usize;
        }
    }

    /// Adds the event as one of the next slots.
    fn go_on(&mut self, state: State, event: usize, next: &mut Vec<State>) {
        let course = self.course;
        let sound = &course.events[event];
        let heard = sound.heard;
        let end = course.slots.len().min(state.slot + 2 + MISSED_IN_A_ROW);
        let from_s = course.slots[state.slot].at_s;
        for slot in state.slot + 1..end {
            let target = &course.slots[slot];
            let mut clock = state.clock.ahead(target.at_s - from_s, self.wander);
            let off = heard.onset_s - clock.t_s;
            let reach = reach_s(target, &clock);
            if off < -reach {
                break;
            }
            if off > reach {
                continue;
            }
            let pitch = costs::pitch(target, sound);
            let sd_s = costs::timing_sd_s(target, clock.stretch);
            let cost = state.cost
                + costs::missed((slot - state.slot - 1) as f64)
                + pitch
                + costs::weakness(target, sound)
                + costs::timing(off, sd_s.hypot(clock.var_t.sqrt()));
            clock.correct(heard.onset_s, sd_s);
            self.push(
                next,
                Some(state.node),
                State {
                    cost,
                    tail: 0.0,
                    slot,
                    event,
                    node: 0,
                    clock,
                },
                None,
            );
        }
    }

    /// Adds the ways on which the player has stopped, or gone to the opening of a bar.
    fn jump(&mut self, event: usize, next: &mut Vec<State>) {
        let course = self.course;
        let best = cheapest(next);
        let mut sources: Vec<State> = self.states.clone();
        sources.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        sources.truncate(JUMP_SOURCES);
        for source in sources {
            let from = &course.slots[source.slot];
            let following = course.slots.get(source.slot + 1);
            let step_s = following.map_or(from.interval_s, |slot| slot.at_s - from.at_s);
            let clock = source.clock.ahead(step_s, self.wander);
            let late = course.events[event].heard.onset_s - clock.t_s;
            let paused = late > costs::PAUSE_QUARTERS * course.quarter_s * clock.stretch;
            let rebate = if paused { costs::PAUSE_REBATE } else { 0.0 };
            let base = source.cost + costs::JUMP - rebate;
            if base > best + BEAM_NATS {
                continue;
            }
            let out_of_reach = following.is_some_and(|target| late.abs() > reach_s(target, &clock));
            if out_of_reach {
                self.land(&source, source.slot + 1, event, base, next);
            }
            for k in 0..self.openings.len() {
                let opening = self.openings[k];
                if opening != source.slot + 1 && !self.in_time(&source, opening, event) {
                    self.land(&source, opening, event, base, next);
                }
            }
        }
    }

    /// Whether the event comes when `slot` is due for a player who went on steadily: then the notes
    /// between were missed and nobody jumped.
    fn in_time(&self, source: &State, slot: usize, event: usize) -> bool {
        let course = self.course;
        if slot <= source.slot || slot - source.slot > MISSED_IN_A_ROW + 1 {
            return false;
        }
        let (from, target) = (&course.slots[source.slot], &course.slots[slot]);
        let clock = source.clock.ahead(target.at_s - from.at_s, self.wander);
        let off = course.events[event].heard.onset_s - clock.t_s;
        off.abs() <= reach_s(target, &clock)
    }

    /// Adds one jump, if the event has the pitch of the slot it lands on.
    fn land(
        &mut self,
        source: &State,
        slot: usize,
        event: usize,
        base: f64,
        next: &mut Vec<State>,
    ) {
        let (target, sound) = (&self.course.slots[slot], &self.course.events[event]);
        if !costs::same_pitch(target, sound) {
            return;
        }
        let left_out = slot.saturating_sub(source.slot + 1) as f64;
        let cost = base
            + (costs::LEFT_OUT * left_out).min(costs::LEFT_OUT_MAX)
            + costs::weakness(target, sound);
        let stretch = source.clock.stretch;
        let sd = source
            .clock
            .var_stretch
            .sqrt()
            .max(JUMP_TEMPO_SD)
            .min(self.tempo_sd);
        let onset_sd = costs::timing_sd_s(target, stretch);
        let clock = Clock::start(sound.heard.onset_s, stretch, sd, onset_sd);
        let began = if slot == source.slot + 1 {
            Began::Stop
        } else {
            Began::Jump
        };
        let state = State {
            cost,
            tail: 0.0,
            slot,
            event,
            node: 0,
            clock,
        };
        self.push(next, Some(source.node), state, Some(began));
    }

    /// Adds the ways on which this event is the first of the line.
    fn start(&mut self, event: usize, next: &mut Vec<State>) {
        let sound = &self.course.events[event];
        let heard = sound.heard;
        let best = cheapest(next);
        if self.lead_in > best + BEAM_NATS {
            return;
        }
        let near = START_SLOTS.min(self.course.slots.len());
        let later = self.openings.iter().copied().filter(|&slot| slot >= near);
        let candidates: Vec<usize> = (0..near).chain(later).collect();
        for slot in candidates {
            let target = &self.course.slots[slot];
            let pitch = costs::pitch(target, sound);
            if slot >= near && pitch > 0.0 {
                continue;
            }
            let mut missed = costs::MISSED * slot as f64;
            if target.opens_bar && slot > 0 {
                missed = missed.min(
                    costs::START_LATER + (costs::LEFT_OUT * slot as f64).min(costs::LEFT_OUT_MAX),
                );
            }
            let cost = self.lead_in + missed + pitch + costs::weakness(target, sound);
            if cost > best + BEAM_NATS {
                continue;
            }
            let onset_sd = costs::timing_sd_s(target, 1.0);
            let clock = Clock::start(heard.onset_s, 1.0, self.tempo_sd, onset_sd);
            let state = State {
                cost,
                tail: 0.0,
                slot,
                event,
                node: 0,
                clock,
            };
            self.push(next, None, state, Some(Began::Take));
        }
    }

    fn push(
        &mut self,
        next: &mut Vec<State>,
        before: Option<usize>,
        state: State,
        began: Option<Began>,
    ) {
        let node = self.nodes.len();
        self.nodes.push(Node {
            before: before.map_or(NOWHERE, |node| node as u32),
            slot: state.slot as u32,
            event: state.event as u32,
            began,
        });
        next.push(State { node, ..state });
    }

    /// Keeps the states worth going on with, compared as if overdue slots were missed already.
    fn prune(&self, mut states: Vec<State>, now_s: f64) -> Vec<State> {
        let slots = self.course.slots;
        let rank = |state: &State| {
            let place =
                slots[state.slot].at_s + (now_s - state.clock.t_s) / state.clock.stretch - 0.1;
            let mut overdue = 0.0;
            for slot in &slots[state.slot + 1..] {
                if slot.at_s >= place || overdue >= OVERDUE_MAX {
                    break;
                }
                overdue += 1.0;
            }
            state.cost + costs::MISSED * overdue
        };
        let mut ranked: Vec<(f64, State)> = states.drain(..).map(|s| (rank(&s), s)).collect();
        let best = ranked.iter().map(|r| r.0).fold(f64::INFINITY, f64::min);
        ranked.retain(|r| r.0 <= best + BEAM_NATS);
        ranked.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.node.cmp(&b.1.node)));
        let mut kept: Vec<State> = Vec::with_capacity(BEAM_STATES);
        for (_, state) in ranked {
            if kept.len() == BEAM_STATES {
                break;
            }
            let alike = kept.iter().filter(|k| k.slot == state.slot);
            let same_event = alike.clone().any(|k| k.event == state.event);
            if !same_event && alike.count() < BEAM_FOR_EACH_SLOT {
                kept.push(state);
            }
        }
        kept
    }

    /// The ways of the last states, best first, without near doubles.
    fn ways(&self) -> Vec<Vec<Run>> {
        let count = self.course.slots.len();
        let mut finals: Vec<(f64, usize)> = self
            .states
            .iter()
            .map(|state| {
                let missed = costs::MISSED * (count - 1 - state.slot) as f64;
                let outside = (1.0 - costs::OUTSIDE_SHARE) * state.tail;
                (state.cost + missed - outside, state.node)
            })
            .collect();
        finals.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut ways: Vec<Vec<Run>> = Vec::new();
        let best = finals.first().map_or(0.0, |first| first.0);
        for (cost, node) in finals {
            if cost > best + WAYS_NATS {
                break;
            }
            let way = self.way(node);
            let start = |way: &Vec<Run>| {
                way.first()
                    .and_then(|run| run.pairs.first())
                    .map_or(0.0, |&(slot, event)| {
                        self.course.events[event].heard.onset_s - self.course.slots[slot].at_s
                    })
            };
            let known = ways.iter().any(|other| {
                other.len() == way.len() && (start(other) - start(&way)).abs() < SAME_START_S
            });
            if !known {
                ways.push(way);
            }
            if ways.len() == WAYS {
                break;
            }
        }
        ways
    }

    /// The runs that lead to a node.
    fn way(&self, node: usize) -> Vec<Run> {
        let mut runs = Vec::new();
        let mut pairs = Vec::new();
        let mut at = Some(node);
        while let Some(node) = at.map(|k| &self.nodes[k]) {
            pairs.push((node.slot as usize, node.event as usize));
            if let Some(began) = node.began {
                pairs.reverse();
                runs.push(Run {
                    pairs: std::mem::take(&mut pairs),
                    began,
                });
            }
            at = node.before();
        }
        runs.reverse();
        runs
    }
}
