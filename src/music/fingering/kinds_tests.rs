//! The kinds of joins, from the definitions of the trade. Common practice, no source.

use super::trade_tests::{at, way};
use super::*;

#[test]
fn each_kind_of_join_is_told() {
    use JoinKind::{Crossing, Open, Repeat, Roll, SamePlace, Shift, Stretch};
    let neck = Instrument::default();
    let of = |places: &[(u8, u8)]| -> Vec<JoinKind> {
        let laid = lay(&at(places, 0.4), &neck, &Hand::default());
        laid.joins.into_iter().map(Option::unwrap).collect()
    };
    assert_eq!(of(&[(3, 5), (3, 5)]), [Repeat]);
    assert_eq!(of(&[(3, 0), (3, 0)]), [Repeat]);
    assert_eq!(of(&[(3, 0), (3, 2), (2, 0)]), [Open, Open]);
    assert_eq!(of(&[(3, 5), (2, 5)]), [Roll]);
    assert_eq!(of(&[(4, 5), (2, 5)]), [Crossing]);
    assert_eq!(of(&[(3, 3), (3, 10)]), [Shift]);
    assert_eq!(of(&[(3, 3), (2, 6)]), [Crossing]);
    // 5 to 9 is more than four frets: finger 1 reaches back to 5 from the place of 6 to 9, so that
    // 8 and 9 have fingers of their own.
    assert_eq!(
        of(&[(3, 5), (3, 8), (3, 9), (3, 8)]),
        [Stretch, SamePlace, SamePlace]
    );
    assert_eq!(
        of(&[(3, 5), (3, 8), (2, 4), (2, 8)]),
        [SamePlace, Stretch, SamePlace]
    );
    // It stays up there: a shift, and what follows lies in the new place.
    assert_eq!(
        of(&[(3, 5), (3, 8), (3, 9), (3, 12)]),
        [SamePlace, Shift, SamePlace]
    );
    assert_eq!(
        of(&[(3, 5), (3, 8), (3, 10), (3, 12)]),
        [SamePlace, Shift, SamePlace]
    );
    // C major in the second place needs no shift.
    let scale = [
        (3, 3),
        (3, 5),
        (2, 2),
        (2, 3),
        (2, 5),
        (1, 2),
        (1, 4),
        (1, 5),
    ];
    assert!(!of(&scale).contains(&Shift));
}

#[test]
fn given_fingers_say_where_the_hand_is() {
    use JoinKind::{Crossing, Roll, SamePlace, Shift};
    let of = |places: &[(u8, u8, u8)]| -> Vec<JoinKind> {
        let list: Vec<(u8, u8)> = places.iter().map(|place| (place.0, place.1)).collect();
        let mut groups = at(&list, 0.4);
        for (group, place) in groups.iter_mut().zip(places) {
            group.notes[0].finger = Some(place.2);
        }
        let laid = lay(&groups, &Instrument::default(), &Hand::default());
        laid.joins.into_iter().map(Option::unwrap).collect()
    };
    // A frame holds both, but finger 1 goes to the second one.
    assert_eq!(of(&[(3, 5, 1), (3, 7, 1)]), [Shift]);
    assert_eq!(of(&[(3, 5, 1), (3, 7, 3)]), [SamePlace]);
    assert_eq!(of(&[(3, 5, 2), (2, 5, 2)]), [Roll]);
    // 3 and 4 at one fret low on the neck: two fingers, no roll.
    assert_eq!(of(&[(3, 3, 3), (2, 3, 4)]), [Crossing]);
    // What no hand has at the nut is taken as it stands.
    assert_eq!(of(&[(3, 1, 4), (3, 2, 4)]).len(), 1);
}

#[test]
fn the_hand_moves_behind_an_open_string() {
    use JoinKind::{Open, SamePlace, Shift};
    let laid = |places: &[(u8, u8)]| {
        let laid = lay(&at(places, 0.4), &Instrument::default(), &Hand::default());
        laid.joins
            .into_iter()
            .map(Option::unwrap)
            .collect::<Vec<_>>()
    };
    assert_eq!(laid(&[(3, 7), (1, 0), (3, 2), (3, 7)]), [Open, Open, Shift]);
    assert_eq!(
        laid(&[(3, 7), (1, 0), (3, 5), (3, 8)]),
        [Open, Open, SamePlace]
    );
    // And the way tells of it.
    let groups = at(&[(3, 7), (1, 0), (3, 2)], 0.4);
    let way = way(&groups, &Instrument::default(), &Hand::default());
    assert_eq!(way.costs.shifts.len(), 1);
    assert!(way.costs.shifts[0].over_open);
    assert!(
        way.explain()[0].contains("over an open string"),
        "{:?}",
        way.explain()
    );
}

#[test]
fn chords_join_by_their_lowest_notes() {
    use JoinKind::{Open, Repeat, Shift};
    let neck = Instrument::default();
    let chord = |places: &[(u8, u8)], onset_s: f64| Group {
        notes: places
            .iter()
            .map(|&(string, fret)| {
                let place = Place { string, fret };
                Wanted {
                    midi: neck.midi_at(place).unwrap(),
                    place: Some(place),
                    finger: None,
                }
            })
            .collect(),
        begun: Begun::Plucked,
        onset_s,
        let_go: false,
        first_of_bar: false,
    };
    let of = |a: &[(u8, u8)], b: &[(u8, u8)]| {
        lay(&[chord(a, 0.0), chord(b, 0.5)], &neck, &Hand::default()).joins[0]
    };
    let tenth = [(4, 3), (1, 4)];
    assert_eq!(of(&tenth, &tenth), Some(Repeat));
    assert_eq!(of(&tenth, &[(4, 8), (1, 8)]), Some(Shift));
    assert_eq!(of(&tenth, &[(4, 0), (1, 4)]), Some(Open));
}
