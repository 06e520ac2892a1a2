//! What time a pass is held against: the pulse of the passes in time with it, and the fit of a grid
//! of time to matches.

use crate::compare::judgement::TimingMode;
use crate::compare::lay::costs;
use crate::compare::lay::course::Course;
use crate::compare::lay::follow::{Began, Run};
use crate::compare::lay::grid::{self, Grid};
use crate::compare::lay::robust::{Point, SlopePrior};
use crate::compare::lay::slots;

/// Standard deviation of the tempo of a free take about the written one, as far as the grid is
/// concerned: wide, because the notes themselves say it better.
pub(super) const TEMPO_SD: f64 = 0.3;
/// The same of a short stretch about the tempo of the longest one beside it.
const SAME_TEMPO_SD: f64 = 0.03;
/// A pass with fewer notes than this, in time with its neighbours, shares their pulse: four notes of
/// which one is late do not say by themselves which.
const OWN_PULSE_NOTES: usize = 16;
/// Weight of a neighbour's note beside one of its own. Raising it makes passes that were not quite
/// in time look early or late.
const WITNESS_WEIGHT: f64 = 0.5;
/// A stretch with fewer notes than this borrows the tempo of the longest one beside it. Raising it
/// makes passes at a tempo of their own look early or late.
pub(super) const OWN_TEMPO_NOTES: usize = 6;
/// Right notes that are enough for a fit without the wrong ones.
pub(super) const RIGHT_ENOUGH: usize = 3;

/// What else is known of the time of a pass besides its own notes.
pub(super) struct Pulse {
    /// What tempo to expect.
    pub tempo: SlopePrior,
    /// Notes of the passes in time with it, moved by whole passes to where they would lie in it.
    pub witnesses: Vec<Point>,
}

/// What the passes beside a group tell of its time: those that follow each other in time share one
/// pulse, and a false start is played at the tempo of the pass beside it.
pub(super) fn pulse(course: &Course, groups: &[&[Run]], k: usize) -> Pulse {
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
    let tempo = tempo.unwrap_or(free);
    let mut witnesses = Vec::new();
    if own < OWN_PULSE_NOTES {
        let mut add = |group: &[Run], moved_s: f64| {
            let pairs = group.iter().flat_map(|run| &run.pairs);
            witnesses.extend(points(course, pairs, WITNESS_WEIGHT, moved_s));
        };
        if looped(k) && k > 0 && closes_bar(course, groups[k - 1]) {
            add(groups[k - 1], -turn_s(course, groups[k - 1], groups[k]));
        }
        if looped(k + 1) && closes_bar(course, groups[k]) {
            add(groups[k + 1], turn_s(course, groups[k], groups[k + 1]));
        }
    }
    Pulse { tempo, witnesses }
}

/// Whether a pass went on to the last note of its bar. One that was broken off before, and that seems
/// to be followed in time, only was taken up again by chance when its bar was over.
fn closes_bar(course: &Course, group: &[Run]) -> bool {
    let last = group.last().and_then(|run| run.pairs.last());
    last.is_some_and(|&(slot, _)| slots::closes_bar(course.slots, slot))
}

/// How much later in written seconds a pass lies that follows another one in time, over what the
/// line says of its place.
fn turn_s(course: &Course, before: &[Run], after: &[Run]) -> f64 {
    let last = before.last().and_then(|run| run.pairs.last());
    let end_s = last.map_or(0.0, |&(slot, _)| course.slots[slot].bar_end_s);
    end_s - course.slots[after[0].from_slot].bar_s
}

/// Fits the grid to matches, to the right pitches when there are enough, else to all, and to
/// witnesses of the same pulse.
pub(super) fn fit(
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
pub(super) fn mean_slope(course: &Course, pairs: &[(usize, usize)], grid: &Grid) -> f64 {
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
