//! Fingerings every bass school teaches. Common practice, no source, except where a length in
//! millimetres decides.

use super::grips::chord_places;
use super::*;
use crate::music::instrument::Tuning;

/// Groups of single notes, `seconds` apart; a place is string and fret, a finger 0 is not given.
pub(super) fn at(places: &[(u8, u8)], seconds: f64) -> Vec<Group> {
    let neck = Instrument::default();
    let with_place = |&(string, fret): &(u8, u8)| {
        let place = Place { string, fret };
        (neck.midi_at(place).unwrap(), Some(place))
    };
    groups(&places.iter().map(with_place).collect::<Vec<_>>(), seconds)
}

/// Groups of single notes of which only the pitch is given.
fn free(pitches: &[u8], seconds: f64) -> Vec<Group> {
    let list: Vec<_> = pitches.iter().map(|&midi| (midi, None)).collect();
    groups(&list, seconds)
}

fn groups(notes: &[(u8, Option<Place>)], seconds: f64) -> Vec<Group> {
    notes
        .iter()
        .enumerate()
        .map(|(index, &(midi, place))| Group {
            notes: vec![Wanted {
                midi,
                place,
                finger: None,
            }],
            begun: Begun::Plucked,
            onset_s: index as f64 * seconds,
            let_go: false,
            first_of_bar: index % 8 == 0,
        })
        .collect()
}

/// The cheapest way through `groups`.
pub(super) fn way(groups: &[Group], instrument: &Instrument, hand: &Hand) -> Way {
    let positions: Vec<Position> = (0..groups.len())
        .map(|index| Position {
            bar: 1 + index as u32 / 8,
            beat: 1.0 + (index % 8) as f64 / 2.0,
            event: (index / 8, index % 8),
        })
        .collect();
    let prices = Prices::new(instrument, hand);
    ways::different_ways(groups, &positions, &prices).remove(0)
}

/// The fingers of the cheapest way, 0 for an open string.
fn fingers(groups: &[Group]) -> Vec<u8> {
    of_way(&way(groups, &Instrument::default(), &Hand::default()))
}

fn of_way(way: &Way) -> Vec<u8> {
    way.steps
        .iter()
        .flat_map(|step| step.notes.iter().map(|note| note.finger.unwrap_or(0)))
        .collect()
}

fn places(way: &Way) -> Vec<(u8, u8)> {
    way.steps
        .iter()
        .flat_map(|step| &step.notes)
        .map(|note| (note.place.string, note.place.fret))
        .collect()
}

/// A shape moved to a root fret on the lowest string it uses.
fn shape(strings: &[(u8, &[u8])], up: u8) -> Vec<(u8, u8)> {
    strings
        .iter()
        .flat_map(|&(string, frets)| frets.iter().map(move |&fret| (string, fret + up)))
        .collect()
}

#[test]
fn scales_lie_one_finger_to_a_fret() {
    let minor_scale: &[(u8, &[u8])] = &[(4, &[0, 2, 3]), (3, &[0, 2, 3]), (2, &[0, 2])];
    let dorian: &[(u8, &[u8])] = &[(4, &[0, 2, 3]), (3, &[0, 2]), (2, &[0])];
    let major: &[(u8, &[u8])] = &[(4, &[1, 3]), (3, &[0, 1, 3]), (2, &[0, 2, 3])];
    for up in [5, 7, 9] {
        // The major scale from finger 2: 2-4, 1-2-4, 1-3-4.
        assert_eq!(
            fingers(&at(&shape(major, up), 0.3)),
            [2, 4, 1, 2, 4, 1, 3, 4],
            "major up {up}"
        );
        // The minor scale from finger 1: 1-3-4, 1-3-4, 1-3.
        assert_eq!(
            fingers(&at(&shape(minor_scale, up), 0.3)),
            [1, 3, 4, 1, 3, 4, 1, 3],
            "minor up {up}"
        );
        assert_eq!(
            fingers(&at(&shape(dorian, up), 0.3)),
            [1, 3, 4, 1, 3, 1],
            "dorian up {up}"
        );
    }
}

#[test]
fn arpeggios_lie_one_finger_to_a_fret() {
    for up in [5, 7, 9] {
        // Major seventh chord from finger 2: 2 | 1 4 | 3, the octave 4.
        let major: &[(u8, &[u8])] = &[(4, &[1]), (3, &[0, 3]), (2, &[2, 3])];
        assert_eq!(fingers(&at(&shape(major, up), 0.3)), [2, 1, 4, 3, 4]);
        // Minor seventh chord from finger 1: 1 4 | 3 | 1 3.
        let minor: &[(u8, &[u8])] = &[(4, &[0, 3]), (3, &[2]), (2, &[0, 2])];
        assert_eq!(fingers(&at(&shape(minor, up), 0.3)), [1, 4, 3, 1, 3]);
    }
}

#[test]
fn low_places_are_fingered_1_2_4() {
    // Three frets from the first one: 1, 2, 4, never the third finger.
    assert_eq!(fingers(&at(&[(4, 1), (4, 2), (4, 3)], 0.5)), [1, 2, 4]);
    assert_eq!(
        fingers(&at(&[(3, 2), (3, 4), (2, 2), (2, 3)], 0.5)),
        [1, 4, 1, 2]
    );
    // The same up the neck takes a finger to a fret.
    assert_eq!(fingers(&at(&[(3, 7), (3, 9), (3, 10)], 0.5)), [1, 3, 4]);
    // One finger to a fret everywhere, for whoever plays so.
    let four = Hand {
        low_below: 0,
        ..Hand::default()
    };
    let neck = Instrument::default();
    let groups = at(&[(4, 1), (4, 3), (4, 4)], 0.5);
    assert_eq!(of_way(&way(&groups, &neck, &four)), [1, 3, 4]);
}

#[test]
fn a_scale_of_one_octave_stays_in_one_place() {
    let neck = Instrument::default();
    // C major from C2 and G major from G1: nothing above the fifth fret, no shift.
    for pitches in [
        [36, 38, 40, 41, 43, 45, 47, 48],
        [31, 33, 35, 36, 38, 40, 42, 43],
    ] {
        let way = way(&free(&pitches, 0.3), &neck, &Hand::default());
        assert!(places(&way).iter().all(|&(_, fret)| fret <= 5), "{way:?}");
        assert!(way.costs.shifts.is_empty(), "{:?}", way.explain());
    }
    // E major from the open E string: open strings serve.
    let e_major = way(
        &free(&[28, 30, 32, 33, 35, 37], 0.3),
        &neck,
        &Hand::default(),
    );
    assert_eq!(places(&e_major)[0], (4, 0));
    assert!(places(&e_major).iter().all(|&(_, fret)| fret <= 4));
}

#[test]
fn a_high_line_stays_up() {
    // G3 at fret 12 of the G string: E3, D3 and C3 below it have places close by.
    let neck = Instrument::default();
    let way = way(
        &free(&[55, 52, 50, 48, 50, 52, 55], 0.25),
        &neck,
        &Hand::default(),
    );
    assert!(places(&way).iter().all(|&(_, fret)| fret >= 8), "{way:?}");
}

#[test]
fn open_strings_come_and_go_as_asked() {
    let neck = Instrument::default();
    let with = |open| {
        let hand = Hand {
            open,
            ..Hand::default()
        };
        way(&free(&[33, 36, 38, 40, 43, 45], 0.3), &neck, &hand)
    };
    assert_eq!(with(OpenStrings::Avoided).costs.open, 0);
    // A1, D2 and G2 are open strings.
    assert_eq!(with(OpenStrings::Wanted).costs.open, 3);
}

#[test]
fn a_spared_finger_rests() {
    let neck = Instrument::default();
    let groups = free(&[36, 38, 40, 41, 43, 45, 47, 48], 0.4);
    let hand = Hand::default().sparing(&[4]).unwrap();
    let spared = way(&groups, &neck, &hand);
    assert!(!of_way(&spared).contains(&4), "{:?}", of_way(&spared));
}

#[test]
fn a_smaller_hand_shifts_more() {
    // Frets 5, 6, 8 again and again: 103 mm.
    let places: Vec<(u8, u8)> = (0..8).map(|at| (3, [5, 8, 6, 8][at % 4])).collect();
    let neck = Instrument::default();
    let small = Hand::default().with_span_mm(60.0).unwrap();
    let wide = way(&at(&places, 0.5), &neck, &Hand::default());
    let narrow = way(&at(&places, 0.5), &neck, &small);
    assert!(wide.costs.shifts.is_empty());
    assert!(narrow.costs.efforts > wide.costs.efforts);
}

#[test]
fn shifts_fall_where_nobody_hears_them() {
    // Frets 5 and 8, then 7, 7 and 10: the hand can go before either 7; a rest before the second
    // draws it there.
    let neck = Instrument::default();
    let list = [(3, 5), (3, 8), (3, 7), (2, 7), (2, 10), (2, 9)];
    let shift_to = |rest_after: usize| {
        let mut groups = at(&list, 0.25);
        groups[rest_after].let_go = true;
        let way = way(&groups, &neck, &Hand::default());
        assert_eq!(way.costs.shifts.len(), 1, "{:?}", way.explain());
        way.costs.shifts[0].to
    };
    assert_eq!(shift_to(1), 2);
    assert_eq!(shift_to(2), 3);
    assert_eq!(shift_to(3), 4);
}

#[test]
fn slurs_stay_on_their_string_and_slides_on_their_finger() {
    let neck = Instrument::default();
    let mut slurred = free(&[43, 45, 43], 0.25);
    slurred[1].begun = Begun::Slurred;
    slurred[2].begun = Begun::Slurred;
    let way_there = way(&slurred, &neck, &Hand::default());
    let string = places(&way_there)[0].0;
    assert!(places(&way_there).iter().all(|place| place.0 == string));
    let mut slid = at(&[(2, 5), (2, 9)], 0.25);
    slid[1].begun = Begun::Slid;
    let fingers = fingers(&slid);
    assert_eq!(fingers[0], fingers[1], "one finger slides");
}

#[test]
fn chords_lie_under_one_hand() {
    let neck = Instrument::default();
    let chord = |pitches: &[u8]| Group {
        notes: pitches
            .iter()
            .map(|&midi| Wanted {
                midi,
                place: None,
                finger: None,
            })
            .collect(),
        begun: Begun::Plucked,
        onset_s: 0.0,
        let_go: false,
        first_of_bar: true,
    };
    // A tenth, G1 and B2: the third fret of the E string and the fourth of the G string.
    let tenth = way(&[chord(&[31, 47])], &neck, &Hand::default());
    assert_eq!(places(&tenth), [(4, 3), (1, 4)]);
    let laid = of_way(&tenth);
    assert!(
        laid[0] < laid[1],
        "the higher fret takes the higher finger: {laid:?}"
    );
    // Two notes a fourth apart at one fret: one finger laid flat.
    let fourth = way(&[chord(&[46, 51])], &neck, &Hand::default());
    let laid = of_way(&fourth);
    assert_eq!(laid[0], laid[1]);
    // Root, tenth and fifteenth of G: three strings.
    let three = way(&[chord(&[31, 47, 55])], &neck, &Hand::default());
    let mut strings: Vec<u8> = places(&three).iter().map(|place| place.0).collect();
    strings.dedup();
    assert_eq!(strings.len(), 3);
    assert!(chord_places(&chord(&[28, 29]).notes, &neck).is_empty());
}

#[test]
fn other_ways_lie_elsewhere_and_cost_more() {
    for tuning in [
        Tuning::bass4(),
        Tuning::bass5(),
        Tuning::bass6(),
        Tuning::guitar(),
    ] {
        let neck = Instrument::with_tuning(tuning);
        let low = neck.range().0 + 12;
        let pitches: Vec<u8> = [0, 4, 7, 11, 12, 11, 7, 4]
            .iter()
            .map(|up| low + up)
            .collect();
        let groups = free(&pitches, 0.3);
        let positions = vec![
            Position {
                bar: 1,
                beat: 1.0,
                event: (0, 0),
            };
            groups.len()
        ];
        let hand = Hand::default();
        let ways = ways::different_ways(&groups, &positions, &Prices::new(&neck, &hand));
        assert_eq!(ways.len(), MOST_WAYS);
        for (at, way) in ways.iter().enumerate() {
            assert!(way.costs.efforts >= ways[0].costs.efforts);
            for other in &ways[..at] {
                let moved = places(way)
                    .iter()
                    .zip(places(other))
                    .filter(|(a, b)| *a != b)
                    .count();
                assert!(moved * 10 >= 3 * groups.len(), "{moved}");
            }
        }
    }
    // Where every place is given there is one way.
    let given = at(&[(3, 5), (3, 7)], 0.3);
    let neck = Instrument::default();
    let hand = Hand::default();
    let positions = vec![
        Position {
            bar: 1,
            beat: 1.0,
            event: (0, 0),
        };
        2
    ];
    assert_eq!(
        ways::different_ways(&given, &positions, &Prices::new(&neck, &hand)).len(),
        1
    );
}
