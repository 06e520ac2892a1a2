//! The passes of a take: which slots and events belong to each, aligned exactly, on a grid of time
//! of its own.
//!
//! A pass is a row of stretches between which the player stopped and went on where the line was
//! left. It ends with the last slot that was played, or with its bar where the next pass begins in
//! time. What lies between passes belongs to none.

use std::ops::Range;

use crate::compare::judge::extras;
use crate::compare::judgement::{Beginning, TimingMode};
use crate::compare::lay::align::{self, Alignment};
use crate::compare::lay::choked;
use crate::compare::lay::costs;
use crate::compare::lay::follow::{self, Began, Course, Run};
use crate::compare::lay::grid::{self, Grid};
use crate::compare::lay::robust::{Point, SlopePrior};
use crate::compare::lay::slots::Slot;

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

/// Rounds of aligning and fitting; it mostly settles after two.
const ROUNDS: usize = 5;
/// Standard deviation of the tempo of a free take about the written one, as far as the grid is
/// concerned: wide, because the notes themselves say it better.
const TEMPO_SD: f64 = 0.3;
/// The same of a short stretch about the tempo of the longest one beside it.
const SAME_TEMPO_SD: f64 = 0.03;
/// A pass with fewer notes than this, in time with its neighbours, shares their pulse: four notes of
/// which one is late do not say by themselves which.
const OWN_PULSE_NOTES: usize = 16;
/// Weight of a neighbour's note beside one of its own. Raising it makes passes that were not quite
/// in time look early or late.
const WITNESS_WEIGHT: f64 = 0.5;
/// A stretch with fewer notes than this borrows the tempo of the longest one beside it.
const OWN_TEMPO_NOTES: usize = 6;
/// Fewer right notes than this, or a smaller share of them, are no pass.
const PASS_NOTES: usize = 3;
const PASS_SHARE: f64 = 0.4;
/// The same of a pass in time with its neighbour, which says by itself what is played.
const LOOP_NOTES: usize = 2;
/// Share of right notes, of those written and of half of what was played besides, from which a pass
/// is judged note by note. Running scales of another line reach 0.59 by chance; a
/// pass with a third of errors keeps two thirds.
const RECOGNISED_SHARE: f64 = 0.6;
/// An event with this much evidence, in nats, is a note that must be one of the line's.
const SURE_EVIDENCE: f64 = 2.0;
/// A note comes when it is due within this many standard deviations of a played onset.
const DUE_SPREADS: f64 = 2.0;
/// How far the tempo of a player who leaves out some notes may be off, as a share.
const DUE_SHARE: f64 = 0.02;
/// With less than this share of right notes another tuning is tried.
pub(crate) const FOUND_SHARE: f64 = 0.4;
/// The line is taken to be moved when at least this share fits then.
pub(crate) const SHIFTED_SHARE: f64 = 0.8;
/// How far a bass may be tuned off the line, in semitones, the likeliest first.
const SHIFTS: [i16; 6] = [-1, -2, 1, 2, -12, 12];
/// Right notes that are enough for a fit without the wrong ones.
const RIGHT_ENOUGH: usize = 3;
/// A pass through this share of the line that lacks its very last note has missed it.
const LAST_IS_MISSED_SHARE: f64 = 0.75;

/// Lays the events over the slots: follows, then aligns every stretch exactly.
///
/// When little of the line is found, the whole line is tried a semitone or two away, so that a
/// bass tuned differently is still laid note for note; the verdicts remain those of the pitches
/// as written.
///
/// Output: the passes in order of time, and the last event up to which the way is decided.
pub(crate) fn lay(course: &Course) -> (Vec<Pass>, Option<usize>) {
    let (mut passes, mut decided) = laid(course);
    if right_share(course, &passes) < FOUND_SHARE {
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
        let in_time = into_loop || group[0].began == Began::Loop;
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
    (passes, decided)
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

fn first(run: &Run) -> (usize, usize) {
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

/// What else is known of the time of a pass besides its own notes.
struct Pulse {
    /// What tempo to expect.
    tempo: SlopePrior,
    /// Notes of the passes in time with it, moved by whole passes to where they would lie in it.
    witnesses: Vec<Point>,
}

/// What the passes beside a group tell of its time: those that follow each other in time share one
/// pulse, and a false start is played at the tempo of the pass beside it.
fn pulse(course: &Course, groups: &[&[Run]], k: usize) -> Pulse {
    let free = SlopePrior {
        slope: 1.0,
        sd: TEMPO_SD,
    };
    let own: usize = groups[k].iter().map(|run| run.pairs.len()).sum();
    let looped = |k: usize| groups.get(k).is_some_and(|g| g[0].began == Began::Loop);
    let from = (0..=k).rev().find(|&j| !looped(j)).unwrap_or(0);
    let to = (k + 1..groups.len())
        .find(|&j| !looped(j))
        .unwrap_or(groups.len());
    let beside = if own >= OWN_TEMPO_NOTES || to - from > 1 {
        from..to
    } else {
        k.saturating_sub(1)..groups.len().min(k + 2)
    };
    let longest = groups[beside]
        .iter()
        .flat_map(|group| group.iter())
        .max_by_key(|run| run.pairs.len());
    let tempo = longest.and_then(|run| {
        let grid = fit(course, &run.pairs, &[], free)?;
        Some(SlopePrior {
            slope: mean_slope(course, &run.pairs, &grid),
            sd: SAME_TEMPO_SD,
        })
    });
    let mut witnesses = Vec::new();
    if own < OWN_PULSE_NOTES {
        let mut add = |group: &[Run], moved_s: f64| {
            let pairs = group.iter().flat_map(|run| &run.pairs);
            witnesses.extend(points(course, pairs, WITNESS_WEIGHT, moved_s));
        };
        if looped(k) && k > 0 {
            add(groups[k - 1], -turn_s(course, groups[k - 1], groups[k]));
        }
        if looped(k + 1) {
            add(groups[k + 1], turn_s(course, groups[k], groups[k + 1]));
        }
    }
    Pulse {
        tempo: tempo.unwrap_or(free),
        witnesses,
    }
}

/// How much later in written seconds a pass lies that follows another one in time, over what the
/// line says of its place.
fn turn_s(course: &Course, before: &[Run], after: &[Run]) -> f64 {
    let last = before.last().and_then(|run| run.pairs.last());
    let end_s = last.map_or(0.0, |&(slot, _)| course.slots[slot].bar_end_s);
    end_s - course.slots[after[0].from_slot].bar_s
}

/// Lays one pass exactly. `events` are those it may use, `into_loop` says that the next pass
/// begins in time where its bar ends, `is_last` that none follows.
fn pass(
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
        let Some((alignment, grid)) = settle(course, &own, line.clone(), due, from..to, time)
        else {
            continue;
        };
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
    let bar = slots[played - 1].bar;
    let bar_end = played
        + slots[played..]
            .iter()
            .take_while(|slot| slot.bar == bar)
            .count();
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
                extras::is_pluck(heard) || pairs().any(|pair| pair.1 == k)
            })
            .count(),
        _ => 0,
    };
    // What was played besides counts half: it takes no note away.
    let besides = 0.5 * sounding.saturating_sub(slots.len()) as f64;
    let most = (slots.len() as f64 + besides).max(1.0);
    pass.right = right;
    let closes_bar = course
        .slots
        .get(pass.slots.end)
        .is_none_or(|next| next.opens_bar);
    let last = pass.scored.last().copied().flatten();
    pass.complete = closes_bar && last.is_some_and(|last| last.event.is_some());
    right as f64 / most
}

/// The part of a pass that lies within some bars; `None` when nothing of them was played.
pub(crate) fn clip(pass: &Pass, slots: &[Slot], bars: (u32, u32)) -> Option<Pass> {
    let own = &slots[pass.slots.clone()];
    let inside = |slot: &Slot| (bars.0..=bars.1).contains(&slot.bar);
    let from = own.iter().position(inside)?;
    let to = own.iter().rposition(inside)? + 1;
    if (from, to) == (0, own.len()) {
        return Some(pass.clone());
    }
    let pairs = || pass.stretches.iter().flat_map(|stretch| &stretch.pairs);
    let kept = || pairs().filter(|pair| (from..to).contains(&pair.0));
    let first = kept().next()?.1;
    let start = if from == 0 { 0 } else { first };
    let end = pairs()
        .find(|pair| pair.0 >= to)
        .map_or(pass.events.len(), |pair| pair.1);
    let stretches: Vec<Stretch> = pass
        .stretches
        .iter()
        .map(|stretch| Stretch {
            pairs: stretch
                .pairs
                .iter()
                .filter(|pair| (from..to).contains(&pair.0))
                .map(|&(slot, event)| (slot - from, event - start))
                .collect(),
            grid: stretch.grid.clone(),
            from_slot: stretch.from_slot.saturating_sub(from),
        })
        .filter(|stretch| !stretch.pairs.is_empty())
        .collect();
    Some(Pass {
        slots: pass.slots.start + from..pass.slots.start + to,
        events: pass.events.start + start..pass.events.start + end,
        scored: pass.scored[from..to]
            .iter()
            .map(|scored| {
                let scored = (*scored)?;
                let grid = &pass.stretches[scored.stretch].grid;
                Some(Scored {
                    stretch: stretches.iter().position(|s| s.grid == *grid)?,
                    event: scored.event.and_then(|event| event.checked_sub(start)),
                })
            })
            .collect(),
        stretches,
        complete: pass.complete || to < own.len(),
        ..pass.clone()
    })
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

/// Fits the grid to matches, to the right pitches when there are enough, else to all, and to
/// witnesses of the same pulse.
fn fit(
    course: &Course,
    pairs: &[(usize, usize)],
    witnesses: &[Point],
    prior: SlopePrior,
) -> Option<Grid> {
    let mut given: Vec<Point> = points(course, pairs.iter(), 1.0, 0.0).collect();
    if given.len() < RIGHT_ENOUGH {
        given = pairs.iter().map(|&pair| point(course, pair)).collect();
    }
    if !given.is_empty() {
        given.extend_from_slice(witnesses);
        given.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    }
    let prior = match course.mode {
        TimingMode::Free => prior,
        TimingMode::Click => SlopePrior {
            slope: course.click_stretch(),
            ..prior
        },
    };
    grid::fit(&given, course.mode, prior)
}

fn point(course: &Course, (slot, event): (usize, usize)) -> Point {
    Point {
        at_s: course.slots[slot].at_s,
        t_s: course.events[event].heard.onset_s,
        weight: 1.0,
    }
}

/// The matches of the right pitch as points, their places in the line moved by some seconds.
fn points<'a>(
    course: &'a Course,
    pairs: impl Iterator<Item = &'a (usize, usize)>,
    weight: f64,
    moved_s: f64,
) -> impl Iterator<Item = Point> {
    pairs
        .filter(|&&(slot, event)| costs::same_pitch(&course.slots[slot], &course.events[event]))
        .map(move |&pair| {
            let point = point(course, pair);
            Point {
                at_s: point.at_s + moved_s,
                weight,
                ..point
            }
        })
}

/// Mean played seconds per written second over the matches.
fn mean_slope(course: &Course, pairs: &[(usize, usize)], grid: &Grid) -> f64 {
    if course.mode == TimingMode::Click {
        return course.click_stretch();
    }
    let at_s = |pair: Option<&(usize, usize)>| pair.map(|&(slot, _)| course.slots[slot].at_s);
    match (at_s(pairs.first()), at_s(pairs.last())) {
        (Some(first), Some(last)) if last > first => {
            (grid.time_at(last) - grid.time_at(first)) / (last - first)
        }
        (Some(first), _) => grid.slope_at(first),
        _ => 1.0,
    }
}
