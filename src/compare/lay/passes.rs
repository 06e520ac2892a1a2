//! The runs of a take, aligned exactly, and which of them each note is scored in.
//!
//! A player who stops and goes back plays some bars twice. Scored is the last run that covers a
//! bar completely; a bar that no run covers completely is scored note by note in the last run
//! that reached the note. Events of what is not scored are neither right nor extra.

use std::ops::Range;

use crate::compare::judgement::TimingMode;
use crate::compare::lay::align::{self, Alignment};
use crate::compare::lay::choked;
use crate::compare::lay::costs;
use crate::compare::lay::follow::{self, Began, Course, Run};
use crate::compare::lay::grid::{self, Grid};
use crate::compare::lay::robust::{Point, SlopePrior};
use crate::compare::lay::slots::Slot;

/// A run with its own grid.
#[derive(Clone, Debug)]
pub(crate) struct Pass {
    /// Matched slots and events, both rising; never empty.
    pub pairs: Vec<(usize, usize)>,
    /// The time grid of this run.
    pub grid: Grid,
    /// How it began.
    pub began: Began,
}

/// A take laid over the line.
#[derive(Clone, Debug, Default)]
pub(crate) struct Laid {
    /// The runs in order of time.
    pub passes: Vec<Pass>,
    /// For each slot the pass it is scored in and the event matched to it there.
    pub scored: Vec<Option<Scored>>,
}

/// Where a slot is scored.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Scored {
    /// Index into the passes.
    pub pass: usize,
    /// Index of the event; `None` when the slot was missed in that pass.
    pub event: Option<usize>,
}

/// Rounds of aligning and fitting; it mostly settles after two.
const ROUNDS: usize = 5;
/// Standard deviation of the tempo of a free take about the written one, as far as the grid is
/// concerned: wide, because the notes themselves say it better.
const TEMPO_SD: f64 = 0.3;
/// The same of a short run about the tempo of the longest one.
const SAME_TEMPO_SD: f64 = 0.03;
/// A run with fewer notes than this borrows the tempo of the longest one.
const OWN_TEMPO_NOTES: usize = 6;
/// A try after a jump has at least so many right notes ...
const TRY_NOTES: f64 = 3.0;
/// ... and this share of right ones: noodling after the end fits a bar by chance.
const TRY_SHARE: f64 = 0.6;
/// With less than this share of right notes another tuning is tried.
const FOUND_SHARE: f64 = 0.4;
/// The line is taken to be moved when at least this share fits then.
const SHIFTED_SHARE: f64 = 0.8;
/// How far a bass may be tuned off the line, in semitones, the likeliest first.
const SHIFTS: [i16; 6] = [-1, -2, 1, 2, -12, 12];
/// Right notes that are enough for a fit without the wrong ones.
const RIGHT_ENOUGH: usize = 3;

/// Lays the events over the slots: follows, aligns every way exactly, takes the cheapest.
///
/// When little of the line is found, the whole line is tried a semitone or two away, so that a
/// bass tuned differently is still laid note for note; the verdicts remain those of the pitches
/// as written.
pub(crate) fn lay(course: &Course) -> Laid {
    let mut passes = cheapest(course);
    if right_share(course, &passes) < FOUND_SHARE {
        for shift in SHIFTS {
            let slots = shifted(course.slots, shift);
            let other = Course {
                slots: &slots,
                ..*course
            };
            let laid = cheapest(&other);
            if right_share(&other, &laid) >= SHIFTED_SHARE {
                passes = laid;
                break;
            }
        }
    }
    let mut scored = choose(course, &passes);
    choked::fill(course, &mut passes, &mut scored);
    Laid { passes, scored }
}

/// The passes of the cheapest way.
fn cheapest(course: &Course) -> Vec<Pass> {
    let mut best: Option<(f64, Vec<Pass>)> = None;
    for way in follow::follow(course) {
        let (cost, passes) = refine(course, &way);
        if best.as_ref().is_none_or(|(other, _)| cost < *other) {
            best = Some((cost, passes));
        }
    }
    best.map(|b| b.1).unwrap_or_default()
}

/// Share of the slots that some pass matched with the right pitch.
fn right_share(course: &Course, passes: &[Pass]) -> f64 {
    let mut found = vec![false; course.slots.len()];
    for &(slot, event) in passes.iter().flat_map(|pass| &pass.pairs) {
        found[slot] |= costs::same_pitch(&course.slots[slot], &course.events[event]);
    }
    found.iter().filter(|f| **f).count() as f64 / found.len().max(1) as f64
}

/// The slots with every pitch moved by some semitones, as far as MIDI numbers reach.
fn shifted(slots: &[Slot], semitones: i16) -> Vec<Slot> {
    let mut slots = slots.to_vec();
    for midi in slots.iter_mut().flat_map(|slot| &mut slot.midi) {
        *midi = (i16::from(*midi) + semitones).clamp(0, 127) as u8;
    }
    slots
}

/// Aligns each run of a way on its own grid. Output: the total cost in nats, and the passes.
fn refine(course: &Course, way: &[Run]) -> (f64, Vec<Pass>) {
    let free = SlopePrior {
        slope: 1.0,
        sd: TEMPO_SD,
    };
    let longest = way.iter().max_by_key(|run| run.pairs.len());
    let tempo = longest
        .and_then(|run| fit(course, &run.pairs, free))
        .map_or(free, |grid| SlopePrior {
            slope: mean_slope(course, &grid),
            sd: SAME_TEMPO_SD,
        });
    let mut total = 0.0;
    let mut passes = Vec::new();
    for (k, run) in way.iter().enumerate() {
        let prior = if run.pairs.len() < OWN_TEMPO_NOTES && way.len() > 1 {
            tempo
        } else {
            free
        };
        let (line, within) = extent(course, way, k);
        if run.began != Began::Take {
            total += costs::JUMP - costs::PAUSE_REBATE;
        }
        let Some((alignment, grid)) = settle(course, run, line, within, prior) else {
            continue;
        };
        total += alignment.cost;
        let believed = run.began != Began::Jump || is_try(course, &alignment.pairs);
        if believed && !alignment.pairs.is_empty() {
            passes.push(Pass {
                pairs: alignment.pairs,
                grid,
                began: run.began,
            });
        }
    }
    (total, passes)
}

/// True when the notes after a jump are another try at the line and not something else that
/// happens to begin like a bar of it.
fn is_try(course: &Course, pairs: &[(usize, usize)]) -> bool {
    let (Some(first), Some(last)) = (pairs.first(), pairs.last()) else {
        return false;
    };
    let right = |&&(slot, event): &&(usize, usize)| {
        costs::same_pitch(&course.slots[slot], &course.events[event])
    };
    let right = pairs.iter().filter(right).count() as f64;
    right >= TRY_NOTES && right >= TRY_SHARE * (last.0 - first.0 + 1) as f64
}

/// The slots and events that belong to a run: up to where the next one begins, and for the first
/// and last run up to the ends of the line.
fn extent(course: &Course, way: &[Run], k: usize) -> (Range<usize>, Range<usize>) {
    let run = &way[k];
    let first = run.pairs.first().copied().unwrap_or((0, 0));
    let last = run.pairs.last().copied().unwrap_or((0, 0));
    let (slot_from, event_from) = if k == 0 { (0, 0) } else { first };
    match way.get(k + 1).and_then(|next| next.pairs.first()) {
        Some(&(_, event)) => (slot_from..last.0 + 1, event_from..event),
        None => (
            slot_from..course.slots.len(),
            event_from..course.events.len(),
        ),
    }
}

/// Aligns and fits in turns until nothing changes.
fn settle(
    course: &Course,
    run: &Run,
    line: Range<usize>,
    within: Range<usize>,
    prior: SlopePrior,
) -> Option<(Alignment, Grid)> {
    let mut grid = fit(course, &run.pairs, prior)?;
    let mut alignment = align::align(
        course.slots,
        line.clone(),
        course.events,
        within.clone(),
        &grid,
    );
    for _ in 1..ROUNDS {
        let Some(next) = fit(course, &alignment.pairs, prior) else {
            break;
        };
        grid = next;
        let again = align::align(
            course.slots,
            line.clone(),
            course.events,
            within.clone(),
            &grid,
        );
        let settled = again.pairs == alignment.pairs;
        alignment = again;
        if settled {
            break;
        }
    }
    Some((alignment, grid))
}

/// Fits the grid to matches: to the right pitches when there are enough, else to all.
fn fit(course: &Course, pairs: &[(usize, usize)], prior: SlopePrior) -> Option<Grid> {
    let right = |&(slot, event): &(usize, usize)| {
        costs::same_pitch(&course.slots[slot], &course.events[event])
    };
    let enough = pairs.iter().filter(|pair| right(pair)).count() >= RIGHT_ENOUGH;
    let points: Vec<Point> = pairs
        .iter()
        .filter(|pair| !enough || right(pair))
        .map(|&(slot, event)| Point {
            at_s: course.slots[slot].at_s,
            t_s: course.events[event].heard.onset_s,
            weight: 1.0,
        })
        .collect();
    grid::fit(&points, course.mode, prior)
}

/// Mean played seconds per written second over the line.
fn mean_slope(course: &Course, grid: &Grid) -> f64 {
    if course.mode == TimingMode::Click {
        return 1.0;
    }
    match (course.slots.first(), course.slots.last()) {
        (Some(first), Some(last)) if last.at_s > first.at_s => {
            (grid.time_at(last.at_s) - grid.time_at(first.at_s)) / (last.at_s - first.at_s)
        }
        _ => 1.0,
    }
}

/// Says for each slot in which pass it is scored.
fn choose(course: &Course, passes: &[Pass]) -> Vec<Option<Scored>> {
    let mut scored = vec![None; course.slots.len()];
    if passes.is_empty() {
        return scored;
    }
    let mut from = 0;
    while from < course.slots.len() {
        let bar = course.slots[from].bar;
        let length = course.slots[from..]
            .iter()
            .take_while(|slot| slot.bar == bar)
            .count();
        let whole = from..from + length;
        let complete = passes
            .iter()
            .rposition(|pass| covers(pass, whole.start) && covers(pass, whole.end - 1));
        for slot in whole.clone() {
            let pass = complete.or_else(|| passes.iter().rposition(|pass| covers(pass, slot)));
            scored[slot] = pass.map(|pass| {
                let found = passes[pass]
                    .pairs
                    .binary_search_by_key(&slot, |pair| pair.0);
                Scored {
                    pass,
                    event: found.ok().map(|k| passes[pass].pairs[k].1),
                }
            });
        }
        from = whole.end;
    }
    scored
}

fn covers(pass: &Pass, slot: usize) -> bool {
    match (pass.pairs.first(), pass.pairs.last()) {
        (Some(first), Some(last)) => (first.0..=last.0).contains(&slot),
        _ => false,
    }
}
