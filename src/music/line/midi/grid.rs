//! From played times to written ones.
//!
//! A file saved by a notation program or a sequencer has every onset on some fraction of a
//! quarter: it is kept exactly. A file that was played in has none; there, each quarter of a bar
//! gets the plainest grid that its onsets fit well.

use super::error::MidiError;
use super::layout::{Slot, slot_at};
use super::voice::Group;
use crate::music::line::length::Length;

/// Parts of a quarter on which a written onset may stand: binary down to the 128th, triplets,
/// and the tuplets of 5, 7, 9 and 10. Common practice of notation, no source.
const WRITTEN_PARTS: [i64; 14] = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 16, 24, 32];

/// Grids tried for a quarter that was played in, with the error (in quarters) each must make up
/// for against a plainer one. A note played 0.04 quarters late (20 ms at 120) stays on the grid
/// of sixteenths; a triplet, 0.08 off that grid, does not. Set by that reasoning, no source.
const PLAYED_GRIDS: [(i64, f64); 7] = [
    (1, 0.0),
    (2, 0.010),
    (4, 0.020),
    (3, 0.030),
    (6, 0.050),
    (8, 0.060),
    (12, 0.090),
];

/// How early an onset may be and still belong to the coming quarter, as a part of a quarter.
const EARLY_PARTS: i64 = 16;

/// The finest grid of all, used for the whole file where the plain ones would put two onsets on
/// one place.
const FINEST_PARTS: i64 = 48;

/// Gaps shorter than this part of a quarter (a 32nd note) are no rests.
const SLACK_PARTS: i64 = 8;

/// Gaps up to this share of the time from onset to onset are no rests.
const LEGATO_SHARE: f64 = 0.10;

/// A group with its written times.
#[derive(Clone, Debug)]
pub(super) struct Written {
    pub start: Length,
    pub end: Length,
    pub pitches: Vec<u8>,
}

/// A 32nd note: what sloppy playing may overlap or leave open.
pub(super) fn slack() -> Length {
    Length::quarter_over(SLACK_PARTS)
}

/// Gives every group its written start and end.
pub(super) fn write(groups: &[Group], slots: &[Slot]) -> Result<Vec<Written>, MidiError> {
    let exact = groups.iter().all(|group| is_written(group.start, slots));
    let starts: Vec<Length> = if exact {
        groups.iter().map(|group| group.start).collect()
    } else {
        played_starts(groups, slots)?
    };
    let mut written = Vec::with_capacity(groups.len());
    for (at, group) in groups.iter().enumerate() {
        let next = groups.get(at + 1).map(|next| (next.start, starts[at + 1]));
        written.push(Written {
            start: starts[at],
            end: end(group, starts[at], next, exact, slots),
            pitches: group.pitches.clone(),
        });
    }
    Ok(written)
}

fn within_bar(at: Length, slots: &[Slot]) -> (Length, Length) {
    let start = slot_at(slots, at).map_or(Length::ZERO, |slot| slot.start);
    (start, at - start)
}

fn is_written(at: Length, slots: &[Slot]) -> bool {
    let (_, inside) = within_bar(at, slots);
    WRITTEN_PARTS
        .iter()
        .any(|&parts| inside.is_multiple_of(Length::quarter_over(parts)))
}

/// Starts for onsets that were played in.
fn played_starts(groups: &[Group], slots: &[Slot]) -> Result<Vec<Length>, MidiError> {
    let early = Length::quarter_over(EARLY_PARTS);
    // Each onset's quarter, counted from its bar, and its place in that quarter.
    let homes: Vec<(Length, Length)> = groups
        .iter()
        .map(|group| {
            let (bar, inside) = within_bar(group.start + early, slots);
            let quarter = Length::from_units(
                inside.units().div_euclid(Length::QUARTER.units()) * Length::QUARTER.units(),
            );
            (bar + quarter, group.start - (bar + quarter))
        })
        .collect();
    let mut starts: Vec<Length> = Vec::with_capacity(groups.len());
    let mut at = 0;
    while at < homes.len() {
        let quarter = homes[at].0;
        let count = homes[at..]
            .iter()
            .take_while(|home| home.0 == quarter)
            .count();
        let inside: Vec<Length> = homes[at..at + count].iter().map(|home| home.1).collect();
        let after = starts.last().map(|&last| last - quarter);
        let step = best_grid(&inside, after);
        starts.extend(inside.iter().map(|place| quarter + place.rounded_to(step)));
        at += count;
    }
    if rising(&starts) {
        return Ok(starts);
    }
    let step = Length::quarter_over(FINEST_PARTS);
    let fine: Vec<Length> = groups
        .iter()
        .map(|group| group.start.rounded_to(step))
        .collect();
    match fine.windows(2).position(|pair| pair[0] >= pair[1]) {
        None => Ok(fine),
        Some(at) => {
            let bar = slot_at(slots, groups[at].start).map_or(0, |slot| slot.number);
            Err(MidiError::TooClose { bar })
        }
    }
}

fn rising(starts: &[Length]) -> bool {
    starts.windows(2).all(|pair| pair[0] < pair[1])
}

/// The step of the grid that suits the places in one quarter; `after` is where the onset before
/// went, which must stay before them.
fn best_grid(places: &[Length], after: Option<Length>) -> Length {
    let mut best = (f64::INFINITY, Length::quarter_over(FINEST_PARTS));
    for (parts, price) in PLAYED_GRIDS {
        let step = Length::quarter_over(parts);
        let snapped: Vec<Length> = places.iter().map(|place| place.rounded_to(step)).collect();
        let follows = match (after, snapped.first()) {
            (Some(after), Some(&first)) => after < first,
            _ => true,
        };
        if !follows || !rising(&snapped) {
            continue;
        }
        let worst = places
            .iter()
            .zip(&snapped)
            .map(|(&place, &snapped)| (place - snapped).quarters().abs())
            .fold(0.0, f64::max);
        if worst + price < best.0 {
            best = (worst + price, step);
        }
    }
    best.1
}

/// The written end of a group: the next start when the gap is no rest, else the nearest plain
/// place.
fn end(
    group: &Group,
    start: Length,
    next: Option<(Length, Length)>,
    exact: bool,
    slots: &[Slot],
) -> Length {
    let limit = match next {
        Some((next_played, next_written)) => {
            let gap = next_played - group.end;
            let apart = next_played - group.start;
            if gap < slack() || gap.quarters() <= LEGATO_SHARE * apart.quarters() {
                return next_written;
            }
            next_written
        }
        None => {
            // The last note may run to its bar's end.
            let inside = Length::from_units(group.end.units() - 1);
            let bar_end = slot_at(slots, inside).map_or(group.end, |slot| slot.start + slot.length);
            let gap = bar_end - group.end;
            if gap < slack() || gap.quarters() <= LEGATO_SHARE * (bar_end - start).quarters() {
                return bar_end;
            }
            bar_end
        }
    };
    if exact && is_written(group.end, slots) {
        return group.end;
    }
    let (bar, inside) = within_bar(group.end, slots);
    for pair in [[4, 3], [8, 6], [16, 12], [FINEST_PARTS, 32]] {
        let nearest = pair
            .iter()
            .map(|&parts| bar + inside.rounded_to(Length::quarter_over(parts)))
            .filter(|&place| place > start && place < limit)
            .min_by_key(|&place| (place - group.end).units().abs());
        if let Some(place) = nearest {
            return place;
        }
    }
    limit
}
