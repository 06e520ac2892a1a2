//! One pass laid exactly: the stretches between its stops, each aligned on a grid of its own, and
//! how far each reaches in the line.

use std::ops::Range;

use crate::compare::judgement::Beginning;
use crate::compare::lay::align::{self, Alignment};
use crate::compare::lay::costs;
use crate::compare::lay::course::Course;
use crate::compare::lay::ends::SURE_EVIDENCE;
use crate::compare::lay::follow::Run;
use crate::compare::lay::grid::Grid;
use crate::compare::lay::passes::{Pass, Scored, Stretch, first};
use crate::compare::lay::pulse::{OWN_TEMPO_NOTES, Pulse, RIGHT_ENOUGH, TEMPO_SD, fit};
use crate::compare::lay::robust::{Point, SlopePrior};
use crate::compare::lay::slots::{self, Slot};
use crate::units::median;

/// Rounds of aligning and fitting; it mostly settles after two.
const ROUNDS: usize = 5;
/// A sound this far under the notes of a pass, in decibels, is none of the notes at its end. Raising
/// it takes softer talk for notes.
const FAR_UNDER_DB: f64 = 15.0;
/// A pass through this share of the line that lacks its very last note has missed it.
const LAST_IS_MISSED_SHARE: f64 = 0.75;

/// Lays one pass exactly. `events` are those it may use, `into_loop` says that the next pass
/// begins in time where its bar ends, `is_last` that none follows.
pub(super) fn pass(
    course: &Course,
    group: &[Run],
    events: Range<usize>,
    pulse: &Pulse,
    into_loop: bool,
    is_last: bool,
) -> Option<Pass> {
    let free = SlopePrior {
        slope: 1.0,
        sd: TEMPO_SD,
    };
    let mut stretches: Vec<(usize, Alignment, Grid)> = Vec::new();
    let mut end = 0;
    for (k, run) in group.iter().enumerate() {
        let prior = if run.pairs.len() < OWN_TEMPO_NOTES {
            pulse.tempo
        } else {
            free
        };
        let next = group.get(k + 1);
        let mut extent = extent(course, run, next, into_loop, is_last);
        if k == 0 {
            extent.line.start = beginning_heard(course, run, events.start, pulse);
        }
        let (line, due) = (extent.line, extent.due);
        let from = if k == 0 { events.start } else { first(run).1 };
        let to = next.map_or(events.end, |next| first(next).1);
        // A note that is corrected belongs to the stretch that corrects it.
        let mut own = run.clone();
        own.pairs.retain(|&(slot, _)| slot < line.end);
        let time = (prior, pulse.witnesses.as_slice());
        let Some((mut alignment, grid)) = settle(course, &own, line.clone(), due, from..to, time)
        else {
            continue;
        };
        if !extent.is_known {
            trim(course, run, &mut alignment);
        }
        let matched = alignment
            .pairs
            .last()
            .map_or(line.start, |&(slot, _)| slot + 1);
        end = if extent.is_known { due } else { matched };
        stretches.push((line.start, alignment, grid));
    }
    let start = stretches.first()?.0;
    let slots = start..end.max(start + 1);
    let base = events.start;
    let stretches: Vec<Stretch> = stretches
        .into_iter()
        .filter(|(_, alignment, _)| !alignment.pairs.is_empty())
        .map(|(from, alignment, grid)| Stretch {
            pairs: alignment
                .pairs
                .iter()
                .map(|&(slot, event)| (slot - start, event - base))
                .collect(),
            grid,
            from_slot: from - start,
        })
        .collect();
    if stretches.is_empty() {
        return None;
    }
    Some(Pass {
        scored: scored(&stretches, slots.len()),
        slots,
        events,
        stretches,
        began: Beginning::Start,
        complete: false,
        recognised: false,
        right: 0,
        click_behind_s: None,
        mode: course.mode,
        click_at_s: course
            .click
            .filter(|click| click.measured)
            .map(|click| click.zero_s),
    })
}

/// Takes from the end of a pass that was broken off what is none of its notes: another pitch behind
/// the last clear note, or a sound far softer than the notes before. Talk and tuning are like that.
fn trim(course: &Course, run: &Run, alignment: &mut Alignment) {
    let heard = |event: usize| course.events[event].heard;
    let mut levels: Vec<f64> = run.pairs.iter().map(|p| heard(p.1).level_dbfs).collect();
    let usual_dbfs = median(&mut levels).unwrap_or(f64::NEG_INFINITY);
    let clear = run.pairs.last().map_or(0, |&(slot, _)| slot);
    while let Some(&(slot, event)) = alignment.pairs.last() {
        let other = slot > clear && !costs::same_pitch(&course.slots[slot], &course.events[event]);
        let soft = heard(event).level_dbfs < usual_dbfs - FAR_UNDER_DB;
        if !(other || soft) || alignment.pairs.len() == 1 {
            break;
        }
        alignment.pairs.pop();
    }
}

/// The first slot of a pass that seems to begin within a bar: the bar's first one where a clear note
/// stands at the place of an earlier note of the bar, for that is the note, played wrong.
fn beginning_heard(course: &Course, run: &Run, free_from: usize, pulse: &Pulse) -> usize {
    let opening = course.slots[run.from_slot].opening;
    let (_, first) = first(run);
    if run.from_slot == opening || run.pairs.len() < RIGHT_ENOUGH {
        return run.from_slot;
    }
    let Some(grid) = fit(course, &run.pairs, &pulse.witnesses, pulse.tempo) else {
        return run.from_slot;
    };
    let is_there = |slot: &Slot| {
        let place_s = grid.time_at(slot.at_s);
        let reach_s = costs::timing_sd_s(slot, grid.slope_at(slot.at_s).max(0.1));
        course.events[free_from.min(first)..first]
            .iter()
            .any(|event| {
                let heard = event.heard;
                heard.evidence >= SURE_EVIDENCE && (heard.onset_s - place_s).abs() <= reach_s
            })
    };
    if course.slots[opening..run.from_slot].iter().any(is_there) {
        opening
    } else {
        run.from_slot
    }
}

/// The slots of a run.
struct Extent {
    /// Those that may belong to it.
    line: Range<usize>,
    /// Up to where they must: those behind are not missed when nothing was heard of them.
    due: usize,
    /// Whether it is known that the player went on to there, because of what follows.
    is_known: bool,
}

fn extent(
    course: &Course,
    run: &Run,
    next: Option<&Run>,
    into_loop: bool,
    is_last: bool,
) -> Extent {
    let slots = course.slots;
    let to = |line_to: usize, due: usize, is_known: bool| Extent {
        line: run.from_slot..line_to,
        due,
        is_known,
    };
    let from = run.from_slot;
    if let Some(next) = next {
        let end = next.from_slot.max(from);
        return to(end, end, true);
    }
    let played = run.pairs.last().map_or(from, |&(slot, _)| slot) + 1;
    let bar_end = played + slots::left_in_bar(slots, played - 1);
    if into_loop {
        return to(bar_end, bar_end, true);
    }
    let nearly_all = (played - from) as f64 >= LAST_IS_MISSED_SHARE * slots.len() as f64;
    if is_last && nearly_all && played + 1 == slots.len() {
        return to(slots.len(), slots.len(), true);
    }
    // A soft note that shows no way by itself may still be found behind the last clear one.
    to(bar_end.max(slots.len().min(played + 2)), played, false)
}

/// Says for each slot of a pass in which stretch it is scored.
fn scored(stretches: &[Stretch], count: usize) -> Vec<Option<Scored>> {
    (0..count)
        .map(|slot| {
            let stretch = stretches.iter().rposition(|s| s.from_slot <= slot)?;
            let pairs = &stretches[stretch].pairs;
            let found = pairs.binary_search_by_key(&slot, |pair| pair.0);
            Some(Scored {
                stretch,
                event: found.ok().map(|k| pairs[k].1),
            })
        })
        .collect()
}

/// Aligns and fits in turns until nothing changes.
fn settle(
    course: &Course,
    run: &Run,
    line: Range<usize>,
    due: usize,
    within: Range<usize>,
    (prior, witnesses): (SlopePrior, &[Point]),
) -> Option<(Alignment, Grid)> {
    let align = |grid: &Grid| {
        align::align(
            course.slots,
            line.clone(),
            due,
            course.events,
            within.clone(),
            grid,
        )
    };
    let mut grid = fit(course, &run.pairs, witnesses, prior)?;
    let mut alignment = align(&grid);
    for _ in 1..ROUNDS {
        let Some(next) = fit(course, &alignment.pairs, witnesses, prior) else {
            break;
        };
        grid = next;
        let again = align(&grid);
        let settled = again.pairs == alignment.pairs;
        alignment = again;
        if settled {
            break;
        }
    }
    Some((alignment, grid))
}
