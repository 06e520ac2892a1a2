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

/// The length of notes too short to be measured, as a part of a quarter: a 64th note.
const SHORTEST_PARTS: i64 = 16;

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
    is_written_place(within_bar(at, slots).1)
}

/// True for a place in a bar on which a written note may begin.
pub(in crate::music::line) fn is_written_place(inside: Length) -> bool {
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
    // Too short for every place: a 64th note, so that a click does not become a long note.
    limit.min(start + Length::quarter_over(SHORTEST_PARTS))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::line::meter::Meter;

    fn written(notes: &[(u64, u64)]) -> Vec<(f64, f64)> {
        let meter = Meter::default();
        let length = meter.bar_length();
        let slots = [Slot {
            number: 1,
            start: Length::ZERO,
            length,
            meter,
        }];
        let at = |tick| Length::from_ticks(tick, 480);
        let groups: Vec<Group> = notes
            .iter()
            .map(|&(start, end)| Group {
                start: at(start),
                end: at(end),
                pitches: vec![33],
            })
            .collect();
        let row = |w: Written| (w.start.quarters(), w.end.quarters());
        write(&groups, &slots)
            .unwrap()
            .into_iter()
            .map(row)
            .collect()
    }

    #[test]
    fn short_gaps_are_legato_and_longer_ones_are_rests() {
        // 59 ticks are under a 32nd note (60), 60 are not and are over a tenth of a quarter.
        assert_eq!(written(&[(0, 421), (480, 960)])[0], (0.0, 1.0));
        assert_eq!(written(&[(0, 420), (480, 960)])[0], (0.0, 0.875));
        // A tenth of a half note is 96 ticks.
        assert_eq!(written(&[(0, 864), (960, 1920)])[0], (0.0, 2.0));
        assert_eq!(written(&[(0, 840), (960, 1920)])[0], (0.0, 1.75));
        assert_eq!(written(&[(0, 240), (480, 960)])[0], (0.0, 0.5));
    }

    #[test]
    fn onsets_on_written_places_stay_there_exactly() {
        // A 128th, a sixteenth quintuplet and a triplet would move on any played grid.
        let onsets = [0, 15, 96, 160, 480 + 192];
        let notes: Vec<(u64, u64)> = onsets.iter().map(|&at| (at, at + 10)).collect();
        for (row, tick) in written(&notes).iter().zip(onsets) {
            assert_eq!(row.0, Length::from_ticks(tick, 480).quarters());
        }
    }

    #[test]
    fn played_onsets_go_to_the_plainest_grid_that_fits() {
        // 7 ticks off are no written place, so the file counts as played in.
        let sixteenths = written(&[(7, 110), (113, 240), (247, 350), (355, 470), (473, 900)]);
        let starts: Vec<f64> = sixteenths.iter().map(|row| row.0).collect();
        assert_eq!(starts, [0.0, 0.25, 0.5, 0.75, 1.0]);
        let triplets = written(&[(7, 150), (167, 310), (311, 470), (487, 900)]);
        let third = 1.0 / 3.0;
        for (row, at) in triplets.iter().zip([0.0, third, 2.0 * third, 1.0]) {
            assert!((row.0 - at).abs() < 1e-12, "{triplets:?}");
        }
    }

    #[test]
    fn the_last_note_ends_on_a_plain_place_or_with_its_bar() {
        assert_eq!(written(&[(0, 960)])[0], (0.0, 2.0));
        assert_eq!(written(&[(0, 973)])[0], (0.0, 2.0));
        assert_eq!(written(&[(0, 1800)])[0], (0.0, 4.0));
        assert_eq!(written(&[(0, 3)])[0].1, 1.0 / 16.0);
    }
}
