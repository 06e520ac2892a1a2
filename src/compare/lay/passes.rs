//! The passes of a take: which slots and events belong to each, aligned exactly, on a grid of time
//! of its own.
//!
//! A pass is a row of stretches between which the player stopped and went on where the line was
//! left. It ends with the last slot that was played, or with its bar where the next pass begins in
//! time. What lies between passes belongs to none.

use std::ops::Range;

use std::collections::BTreeSet;

use crate::compare::judgement::{Beginning, TimingMode};
use crate::compare::lay::choked;
use crate::compare::lay::costs;
use crate::compare::lay::course::Course;
use crate::compare::lay::ends;
use crate::compare::lay::follow::{self, Began, Run};
use crate::compare::lay::grid::Grid;
use crate::compare::lay::pulse::{OWN_TEMPO_NOTES, TEMPO_SD, fit, mean_slope, pulse};
use crate::compare::lay::robust::SlopePrior;
use crate::compare::lay::slots::{self, Slot};
use crate::compare::lay::stretches::pass;

/// A part of a pass that was played without a stop, with its own grid.
#[derive(Clone, Debug)]
pub(crate) struct Stretch {
    /// Matched slots and events, both rising; never empty. Counted within the pass.
    pub pairs: Vec<(usize, usize)>,
    /// The time grid of this stretch.
    pub grid: Grid,
    /// The first slot that belongs to it, counted within the pass.
    pub from_slot: usize,
}

/// Where a slot is scored.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Scored {
    /// Index into the stretches.
    pub stretch: usize,
    /// Index of the event within the pass; `None` when the slot was missed.
    pub event: Option<usize>,
}

/// A pass laid over the line. Slots and events in it are counted from its own first ones.
#[derive(Clone, Debug)]
pub(crate) struct Pass {
    /// The slots of the line that belong to it.
    pub slots: Range<usize>,
    /// The events of the take that belong to it: from behind the pass before to the next one.
    pub events: Range<usize>,
    /// Its stretches in order of time; never empty.
    pub stretches: Vec<Stretch>,
    /// For each of its slots the stretch it is scored in and the event matched to it there.
    pub scored: Vec<Option<Scored>>,
    /// How it began.
    pub began: Beginning,
    /// Whether it was played to the last written note of its last bar.
    pub complete: bool,
    /// Whether enough of it was recognised to judge it note by note.
    pub recognised: bool,
    /// Matches of the written pitch.
    pub right: usize,
    /// How much later than its own beats the click lies, in seconds, where it can be heard.
    pub click_behind_s: Option<f64>,
    /// Free, or to a click.
    pub mode: TimingMode,
    /// Where the line's bar 1 lies by the click in the take, in seconds, where the way from click
    /// to ear was measured.
    pub click_at_s: Option<f64>,
}
/// Fewer right notes than this are no pass. Raised, short passes are not told.
const PASS_NOTES: usize = 3;
/// A smaller share of right notes than this is no pass, 0 to 1. Raised, faulty passes are not told.
const PASS_SHARE: f64 = 0.4;
/// Right notes that a pass needs which comes in time with its neighbour, or that was to hold these
/// few notes alone: that says what is played.
const LOOP_NOTES: usize = 2;
/// Share of right notes, of those written and of half of what was played besides, from which a pass
/// is judged note by note. Running scales of another line reach 0.59 by chance; a
/// pass with a third of errors keeps two thirds.
const RECOGNISED_SHARE: f64 = 0.6;
/// A note comes when it is due within this many standard deviations of a played onset.
const DUE_SPREADS: f64 = 2.0;
/// How far the tempo of a player who leaves out some notes may be off, as a share.
const DUE_SHARE: f64 = 0.02;
/// With less than this share of right notes, of the line or of what was played, another tuning is tried.
const FOUND_SHARE: f64 = 0.4;
/// The line is taken to be moved when at least this share fits then.
pub(crate) const SHIFTED_SHARE: f64 = 0.8;
/// How far a bass may be tuned off the line, in semitones, the likeliest first.
const SHIFTS: [i16; 6] = [-1, -2, 1, 2, -12, 12];

/// Lays the events over the slots: follows, then aligns every stretch exactly.
///
/// When little of the line is found, the whole line is tried a semitone or two away, so that a
/// bass tuned differently is still laid note for note; the verdicts remain those of the pitches
/// as written.
///
/// Output: the passes in order of time, and the last event up to which the way is decided.
pub(crate) fn lay(course: &Course) -> (Vec<Pass>, Option<usize>) {
    let (mut passes, mut decided) = laid(course);
    if !is_found(course, &passes) {
        for shift in SHIFTS {
            let slots = shifted(course.slots, shift);
            let other = Course {
                slots: &slots,
                ..*course
            };
            let (moved, at) = laid(&other);
            if right_share(&other, &moved) >= SHIFTED_SHARE {
                (passes, decided) = (moved, at);
                break;
            }
        }
    }
    for pass in &mut passes {
        let within = Course {
            slots: &course.slots[pass.slots.clone()],
            events: &course.events[pass.events.clone()],
            ..*course
        };
        choked::fill(&within, &mut pass.stretches, &mut pass.scored);
    }
    (passes, decided)
}

/// The passes of the likeliest way.
fn laid(course: &Course) -> (Vec<Pass>, Option<usize>) {
    let follow::Way { runs, decided } = follow::follow(course);
    let runs = joined(course, runs);
    let groups: Vec<&[Run]> = runs.chunk_by(|_, b| b.began == Began::Stop).collect();
    let mut passes: Vec<Pass> = Vec::new();
    // What the last pass matched last: no event before it belongs to the next one.
    let mut free_from = 0;
    for (k, group) in groups.iter().enumerate() {
        let next = groups.get(k + 1).map(|next| &next[0]);
        let events = free_from..next.map_or(course.events.len(), |run| first(run).1);
        let into_loop = next.is_some_and(|run| run.began == Began::Loop);
        let whole = groups.len() == 1 || next.is_none();
        let Some(mut pass) = pass(
            course,
            group,
            events,
            &pulse(course, &groups, k),
            into_loop,
            whole,
        ) else {
            continue;
        };
        let in_time = into_loop || group[0].began == Began::Loop || course.alone;
        let share = look(course, &mut pass);
        let least = if in_time { LOOP_NOTES } else { PASS_NOTES };
        if share < PASS_SHARE || pass.right < least.min(course.slots.len()) {
            continue;
        }
        pass.recognised = in_time || share >= RECOGNISED_SHARE;
        pass.began = beginning(passes.last(), &pass, group[0].began);
        free_from = pass.events.start + last(&pass).1 + 1;
        passes.push(pass);
    }
    begun_again(&mut passes);
    (passes, decided)
}

/// A pass that begins where another one began that was recognised is recognised, too: nothing but the
/// line begins twice at one place of it.
fn begun_again(passes: &mut [Pass]) {
    let recognised = passes.iter().filter(|pass| pass.recognised);
    let places: BTreeSet<usize> = recognised.map(|pass| pass.slots.start).collect();
    for pass in passes {
        pass.recognised |= places.contains(&pass.slots.start);
    }
}

/// Joins runs of which the second comes where and when it is due after the first: the notes between
/// were missed, and nobody stopped or went anywhere.
fn joined(course: &Course, runs: Vec<Run>) -> Vec<Run> {
    let mut kept: Vec<Run> = Vec::with_capacity(runs.len());
    for run in runs {
        match kept.last_mut() {
            Some(before) if run.began == Began::Enter && is_due(course, before, &run) => {
                before.pairs.extend(run.pairs);
            }
            _ => kept.push(run),
        }
    }
    kept
}

/// Whether a run begins behind another one when it is due.
fn is_due(course: &Course, before: &Run, after: &Run) -> bool {
    let free = SlopePrior {
        slope: 1.0,
        sd: TEMPO_SD,
    };
    let Some(&(slot, _)) = before.pairs.last().filter(|last| last.0 < first(after).0) else {
        return false;
    };
    // The pulse of a few notes says little of what is due later.
    if before.pairs.len() < OWN_TEMPO_NOTES {
        return false;
    }
    let Some(grid) = fit(course, &before.pairs, &[], free) else {
        return false;
    };
    let (target, event) = first(after);
    let (from, to) = (&course.slots[slot], &course.slots[target]);
    let slope = mean_slope(course, &before.pairs, &grid);
    let ahead_s = slope * (to.at_s - from.at_s);
    let off_s = course.events[event].heard.onset_s - grid.time_at(from.at_s) - ahead_s;
    off_s.abs() <= DUE_SPREADS * costs::timing_sd_s(to, slope) + DUE_SHARE * ahead_s
}

pub(super) fn first(run: &Run) -> (usize, usize) {
    run.pairs.first().copied().unwrap_or((0, 0))
}

/// The last match of a pass, counted within it.
fn last(pass: &Pass) -> (usize, usize) {
    let pairs = pass.stretches.iter().flat_map(|stretch| &stretch.pairs);
    pairs.last().copied().unwrap_or((0, 0))
}

/// How a pass began, by where the one before it ended.
fn beginning(before: Option<&Pass>, pass: &Pass, began: Began) -> Beginning {
    match before {
        None => Beginning::Start,
        Some(_) if began == Began::Loop => Beginning::Loop,
        Some(_) if pass.slots.start == 0 => Beginning::Start,
        Some(before) if pass.slots.start < before.slots.end => Beginning::WentBack,
        Some(_) => Beginning::WentOn,
    }
}

/// Says of a pass whether it is complete; gives the share of it that was recognised.
fn look(course: &Course, pass: &mut Pass) -> f64 {
    let slots = &course.slots[pass.slots.clone()];
    let events = &course.events[pass.events.clone()];
    let pairs = || pass.stretches.iter().flat_map(|stretch| &stretch.pairs);
    let right = pairs()
        .filter(|&&(slot, event)| costs::same_pitch(&slots[slot], &events[event]))
        .count();
    let (from, to) = (pairs().map(|p| p.1).min(), pairs().map(|p| p.1).max());
    let sounding = match (from, to) {
        (Some(from), Some(to)) => (from..=to)
            .filter(|&k| {
                let heard = events[k].heard;
                ends::is_pluck(heard) || pairs().any(|pair| pair.1 == k)
            })
            .count(),
        _ => 0,
    };
    // What was played besides counts half: it takes no note away.
    let besides = 0.5 * sounding.saturating_sub(slots.len()) as f64;
    let most = (slots.len() as f64 + besides).max(1.0);
    pass.right = right;
    let closes_bar = slots::closes_bar(course.slots, pass.slots.end - 1);
    let last = pass.scored.last().copied().flatten();
    pass.complete = closes_bar && last.is_some_and(|last| last.event.is_some());
    right as f64 / most
}

/// Whether the line was found: in one of its passes as a whole, or, where bars of it were played over
/// and over, in most of what was played.
pub(crate) fn is_found(course: &Course, passes: &[Pass]) -> bool {
    let right: usize = passes.iter().map(|pass| pass.right).sum();
    let events = course.events.iter();
    let played = events.filter(|event| ends::is_pluck(event.heard)).count();
    right_share(course, passes) >= FOUND_SHARE
        || right as f64 >= FOUND_SHARE * played.max(PASS_NOTES) as f64
}

/// Share of the slots that some pass matched with the right pitch.
pub(crate) fn right_share(course: &Course, passes: &[Pass]) -> f64 {
    let best = passes.iter().map(|pass| pass.right).max();
    best.unwrap_or(0) as f64 / course.slots.len().max(1) as f64
}

/// The slots with every pitch moved by some semitones, as far as MIDI numbers reach.
fn shifted(slots: &[Slot], semitones: i16) -> Vec<Slot> {
    let mut slots = slots.to_vec();
    for midi in slots.iter_mut().flat_map(|slot| &mut slot.midi) {
        *midi = (i16::from(*midi) + semitones).clamp(0, 127) as u8;
    }
    slots
}
