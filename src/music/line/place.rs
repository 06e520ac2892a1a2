//! Where the notes lie on the neck, for lines that do not say.
//!
//! The cheapest path through all possible places, found from the first note to the last
//! (the optimum path idea of Sayegh 1989, *Computer Music Journal* 13(3), 76). The hand is a
//! frame of four frets with finger 1 at its lower end. Moving it costs by the distance in
//! millimetres, lying high on the neck costs a little, changing strings costs a little; open
//! strings leave the hand where it is. Places the line gives are kept. What a fingering planner
//! would know besides (time to move, finger strength, hand size) is not asked here.

use super::model::{Note, Start};
use crate::music::expected::Place;
use crate::music::instrument::Instrument;

/// Frets under the hand: one finger per fret. Common practice, no source.
pub const FRAME_FRETS: u8 = 4;

/// Cost of any movement of the hand; unit 1 is about the cost of a change of string. Raising it
/// gives fewer shifts and more crossings.
const SHIFT: f64 = 3.0;
/// Cost of each millimetre the hand moves. 100 mm, about three frets at the nut, cost as much
/// again as moving at all.
const SHIFT_PER_MM: f64 = 0.03;
/// Cost of a change of string, for each string passed.
const CROSSING: f64 = 0.6;
/// Cost of each fret the hand lies above the nut; it makes low positions win ties.
const HEIGHT: f64 = 0.08;
/// Cost of leaving the string between two notes that are slurred or slid together: it cannot be
/// done, so it only happens where no place avoids it.
const SLUR_LEAVES_STRING: f64 = 1000.0;

/// A note or chord to place.
#[derive(Clone, Debug)]
pub(crate) struct Group<'a> {
    /// Its notes from the lowest up.
    pub notes: &'a [Note],
    /// How it is begun.
    pub start: Start,
}

/// A way to play one group: its places, and the fret under finger 1.
#[derive(Clone, Debug)]
struct Grip {
    places: Vec<Place>,
    hand: u8,
}

/// All ways to give the notes of a chord strings of their own; places that are given are kept,
/// places that do not give the pitch on this instrument count as not given. Grips wider than a hand
/// (one fret beyond the frame) are left out where there are closer ones.
pub(super) fn chord_places(notes: &[Note], instrument: &Instrument) -> Vec<Vec<Place>> {
    let mut ways: Vec<Vec<Place>> = vec![Vec::new()];
    for note in notes {
        let given = note
            .place
            .filter(|&place| instrument.midi_at(place) == Some(note.midi));
        let places = match given {
            Some(place) => vec![place],
            None => instrument.places(note.midi),
        };
        ways = ways
            .iter()
            .flat_map(|way| {
                places
                    .iter()
                    .filter(|place| way.iter().all(|taken| taken.string != place.string))
                    .map(|&place| [way.as_slice(), &[place]].concat())
            })
            .collect();
    }
    // Wide grips only where nothing closer is left.
    let narrowest = ways.iter().map(|way| spread(way)).min().unwrap_or(0);
    ways.retain(|way| spread(way) <= narrowest.max(FRAME_FRETS));
    ways
}

/// Frets from the lowest to the highest stopped one.
fn spread(places: &[Place]) -> u8 {
    let fretted = places
        .iter()
        .map(|place| place.fret)
        .filter(|&fret| fret > 0);
    fretted.clone().max().unwrap_or(0) - fretted.min().unwrap_or(0)
}

/// Where the hand may be for these places: all frames that hold the fretted ones; any frame for
/// open strings only. A chord wider than the frame puts finger 1 on its lowest fret.
fn hands(places: &[Place], instrument: &Instrument) -> std::ops::RangeInclusive<u8> {
    let fretted = places
        .iter()
        .map(|place| place.fret)
        .filter(|&fret| fret > 0);
    let (Some(lowest), Some(highest)) = (fretted.clone().min(), fretted.max()) else {
        return 1..=instrument.frets();
    };
    let from = (highest + 1).saturating_sub(FRAME_FRETS).max(1).min(lowest);
    from..=lowest
}

fn grips(group: &Group<'_>, instrument: &Instrument) -> Vec<Grip> {
    let mut grips = Vec::new();
    for places in chord_places(group.notes, instrument) {
        let finger_hand = group.notes.iter().zip(&places).find_map(|(note, place)| {
            let given = note.place == Some(*place) && place.fret > 0;
            note.finger
                .filter(|_| given)
                .map(|finger| (place.fret + 1).saturating_sub(finger))
        });
        match finger_hand {
            Some(hand) => grips.push(Grip {
                places,
                hand: hand.max(1),
            }),
            None => grips.extend(hands(&places, instrument).map(|hand| Grip {
                places: places.clone(),
                hand,
            })),
        }
    }
    grips
}

/// How far a chord reaches beyond the frame, in frets.
fn overreach(grip: &Grip) -> f64 {
    let beyond = |place: &Place| place.fret.saturating_sub(grip.hand + FRAME_FRETS - 1);
    f64::from(grip.places.iter().map(beyond).max().unwrap_or(0))
}

fn own_cost(grip: &Grip) -> f64 {
    let spread = grip.places.first().map_or(0.0, |first| {
        let far = grip
            .places
            .iter()
            .map(|place| place.string.abs_diff(first.string))
            .max();
        f64::from(far.unwrap_or(0)) * CROSSING
    });
    HEIGHT * f64::from(grip.hand) + spread + overreach(grip) * SHIFT
}

fn way_cost(from: &Grip, to: &Grip, start: Start, instrument: &Instrument) -> f64 {
    let mut cost = 0.0;
    if from.hand != to.hand {
        let moved = (instrument.fret_mm(to.hand) - instrument.fret_mm(from.hand)).abs();
        cost += SHIFT + SHIFT_PER_MM * moved;
    }
    if let (Some(a), Some(b)) = (from.places.first(), to.places.first()) {
        let passed = a.string.abs_diff(b.string);
        cost += CROSSING * f64::from(passed);
        if passed > 0 && start != Start::Plucked {
            cost += SLUR_LEAVES_STRING;
        }
    }
    cost
}

/// Places for every note of every group, in their order; `None` for a group that cannot be
/// played on this instrument.
///
/// Equal costs are decided for the grip listed first (thicker string, lower hand), so the result
/// never depends on anything but the input.
pub(crate) fn place(groups: &[Group<'_>], instrument: &Instrument) -> Vec<Option<Vec<Place>>> {
    let stages: Vec<Vec<Grip>> = groups
        .iter()
        .map(|group| grips(group, instrument))
        .collect();
    let playable: Vec<usize> = (0..stages.len())
        .filter(|&at| !stages[at].is_empty())
        .collect();
    let mut placed: Vec<Option<Vec<Place>>> = vec![None; groups.len()];
    let Some(&first) = playable.first() else {
        return placed;
    };

    let mut costs: Vec<f64> = stages[first].iter().map(own_cost).collect();
    let mut came_from: Vec<Vec<usize>> = vec![vec![0; costs.len()]];
    for pair in playable.windows(2) {
        let (before, now) = (&stages[pair[0]], &stages[pair[1]]);
        let start = groups[pair[1]].start;
        let mut next_costs = Vec::with_capacity(now.len());
        let mut from = Vec::with_capacity(now.len());
        for grip in now {
            let mut best = (f64::INFINITY, 0);
            for (index, previous) in before.iter().enumerate() {
                let cost = costs[index] + way_cost(previous, grip, start, instrument);
                if cost < best.0 {
                    best = (cost, index);
                }
            }
            next_costs.push(best.0 + own_cost(grip));
            from.push(best.1);
        }
        costs = next_costs;
        came_from.push(from);
    }

    let mut at = 0;
    for (index, cost) in costs.iter().enumerate() {
        if *cost < costs[at] {
            at = index;
        }
    }
    for (step, &stage) in playable.iter().enumerate().rev() {
        placed[stage] = Some(stages[stage][at].places.clone());
        at = came_from[step][at];
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(pitches: &[u8]) -> Vec<(u8, u8)> {
        let notes: Vec<Vec<Note>> = pitches.iter().map(|&midi| vec![Note::new(midi)]).collect();
        strings_and_frets(&notes, Start::Plucked)
    }

    fn strings_and_frets(notes: &[Vec<Note>], start: Start) -> Vec<(u8, u8)> {
        let groups: Vec<Group<'_>> = notes.iter().map(|notes| Group { notes, start }).collect();
        place(&groups, &Instrument::default())
            .into_iter()
            .flat_map(|places| places.unwrap())
            .map(|place| (place.string, place.fret))
            .collect()
    }

    #[test]
    fn a_scale_in_one_octave_stays_in_one_position() {
        // Common practice, no source: C major from the third fret of the A string lies under the
        // hand from fret 2, without open strings or with them, never above the fifth fret.
        let places = placed(&[36, 38, 40, 41, 43, 45, 47, 48]);
        assert!(places.iter().all(|&(_, fret)| fret <= 5), "{places:?}");
        let frets = places
            .iter()
            .map(|&(_, fret)| fret)
            .filter(|&fret| fret > 0);
        assert!(
            frets.clone().max().unwrap() - frets.min().unwrap() < FRAME_FRETS,
            "{places:?}"
        );
    }

    #[test]
    fn a_high_line_stays_up_instead_of_jumping_to_the_nut() {
        // G3 at fret 12 of the G string: the E3 D3 C3 below it have places close by.
        let places = placed(&[55, 52, 50, 48, 50, 52, 55]);
        assert!(places.iter().all(|&(_, fret)| fret >= 8), "{places:?}");
    }

    #[test]
    fn given_places_are_kept_and_their_neighbours_follow() {
        let at = |midi, string, fret| {
            let place = Some(Place { string, fret });
            vec![Note {
                place,
                ..Note::new(midi)
            }]
        };
        let free = |midi| vec![Note::new(midi)];
        // D2 at fret 10 of the E string: E2 and F2 follow in the frame from 7 to 10, although they
        // could be had at frets 2 and 3.
        let places = strings_and_frets(&[at(38, 4, 10), free(40), free(41)], Start::Plucked);
        assert_eq!(places, [(4, 10), (3, 7), (3, 8)]);
    }

    #[test]
    fn slurred_notes_stay_on_their_string() {
        let free = |midi| vec![Note::new(midi)];
        let places = strings_and_frets(&[free(43), free(45), free(43)], Start::Slurred);
        assert!(
            places.iter().all(|place| place.0 == places[0].0),
            "{places:?}"
        );
    }

    #[test]
    fn chord_members_lie_on_strings_of_their_own() {
        let note = |midi| Note::new(midi);
        // Root, tenth and fifteenth of G: 31, 47, 55.
        let places = strings_and_frets(&[vec![note(31), note(47), note(55)]], Start::Plucked);
        let strings: Vec<u8> = places.iter().map(|place| place.0).collect();
        assert!(
            strings.windows(2).all(|pair| pair[0] != pair[1]),
            "{places:?}"
        );
        assert!(chord_places(&[note(28), note(29)], &Instrument::default()).is_empty());
    }

    #[test]
    fn nothing_to_place_is_nothing_placed() {
        assert!(place(&[], &Instrument::default()).is_empty());
        let low = [Note::new(10)];
        let groups = [Group {
            notes: &low,
            start: Start::Plucked,
        }];
        assert_eq!(place(&groups, &Instrument::default()), [None]);
    }

    #[test]
    fn the_path_found_is_the_cheapest_of_all() {
        // Oracle: every combination of grips, tried out.
        let instrument = Instrument::default();
        let pitches = [38_u8, 45, 36, 41];
        let notes: Vec<[Note; 1]> = pitches.iter().map(|&midi| [Note::new(midi)]).collect();
        let groups: Vec<Group<'_>> = notes
            .iter()
            .map(|notes| Group {
                notes,
                start: Start::Plucked,
            })
            .collect();
        let stages: Vec<Vec<Grip>> = groups.iter().map(|g| grips(g, &instrument)).collect();
        let cost = |path: &[&Grip]| {
            let own: f64 = path.iter().map(|grip| own_cost(grip)).sum();
            let ways = path
                .windows(2)
                .map(|p| way_cost(p[0], p[1], Start::Plucked, &instrument));
            own + ways.sum::<f64>()
        };
        let mut cheapest = f64::INFINITY;
        let mut chosen = f64::INFINITY;
        let found: Vec<Vec<Place>> = place(&groups, &instrument)
            .into_iter()
            .map(Option::unwrap)
            .collect();
        for a in &stages[0] {
            for b in &stages[1] {
                for c in &stages[2] {
                    for d in &stages[3] {
                        let path = [a, b, c, d];
                        let this = cost(&path);
                        cheapest = cheapest.min(this);
                        if path
                            .iter()
                            .zip(&found)
                            .all(|(grip, places)| grip.places == *places)
                        {
                            chosen = chosen.min(this);
                        }
                    }
                }
            }
        }
        assert!((chosen - cheapest).abs() < 1e-9, "{chosen} {cheapest}");
    }
}
