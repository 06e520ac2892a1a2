//! Every price, worked out by hand from what `costs` says of it: a change of a fifth is noticed.

use super::costs::{Between, Move, Prices};
use super::grips::{Grip, Held};
use super::*;

fn held(string: u8, fret: u8, finger: u8, stretched: bool) -> Held {
    let place = Place { string, fret };
    Held {
        place,
        finger,
        stretched,
    }
}

fn grip(notes: &[Held], hand: u8) -> Grip {
    Grip {
        held: notes.iter().copied().collect(),
        hand,
        needs_hand: notes.iter().any(|held| held.finger > 0),
        own: 0,
    }
}

fn one(string: u8, fret: u8, finger: u8, hand: u8) -> Grip {
    grip(&[held(string, fret, finger, false)], hand)
}

/// Two groups so far apart.
fn between(seconds: f64, begun: Begun, let_go: bool, first_of_bar: bool) -> Between {
    let group = |onset_s: f64| Group {
        notes: Vec::new(),
        begun,
        onset_s,
        let_go,
        first_of_bar,
    };
    Between::new(&group(0.0), &group(seconds))
}

/// Quarter of a second: haste is 1 + 0.12 / 0.24 = 1.5.
fn plain() -> Between {
    between(0.24, Begun::Plucked, false, false)
}

fn near(found: i64, efforts: f64) {
    let wanted = efforts * 1000.0;
    assert!(
        (found as f64 - wanted).abs() <= 2.0,
        "{found} thousandths, worked out {wanted}"
    );
}

#[test]
fn what_a_hold_costs() {
    let neck = Instrument::default();
    let hand = Hand::default();
    let prices = Prices::new(&neck, &hand);
    // Height: 0.5 for each 100 mm; fret 7 lies at 287.22 mm (published fret table).
    let height = 0.5 * 2.8722;
    near(prices.own(&one(3, 7, 1, 7)), height);
    near(prices.own(&one(3, 8, 2, 7)), height + 0.05);
    near(prices.own(&one(3, 9, 3, 7)), height + 0.1);
    near(prices.own(&one(3, 10, 4, 7)), height + 0.2);
    // Closed form: frets 7 to 11 are 118.91 mm, 8.91 beyond the span.
    near(
        prices.own(&grip(&[held(3, 11, 4, true)], 7)),
        height + 0.2 + 4.0 + 0.06 * 8.91,
    );
    // Fret 1 at 48.47 mm, 1 to 4 are 129.69 mm: 19.69 beyond the span.
    near(
        prices.own(&one(3, 4, 4, 1)),
        0.5 * 0.4847 + 0.2 + 0.5 + 0.06 * 19.69,
    );
    // 1-2-4: finger 4 on the third fret costs its weakness alone, finger 3 more.
    near(prices.own(&one(3, 3, 4, 1)), 0.5 * 0.4847 + 0.2);
    near(prices.own(&one(3, 3, 3, 1)), 0.5 * 0.4847 + 0.1 + 1.2);
    // Two frets from where finger 2 lies.
    near(prices.own(&one(3, 10, 2, 7)), height + 0.05 + 12.0);
    near(prices.own(&one(3, 0, 0, 7)), 0.5);
    // A chord over two strings, one finger laid flat.
    let flat = [held(3, 7, 1, false), held(2, 7, 1, false)];
    near(prices.own(&grip(&flat, 7)), height + 1.0 + 0.7);
}

#[test]
fn what_is_asked_of_the_hand_costs() {
    let neck = Instrument::default();
    let mut hand = Hand::default().sparing(&[4]).unwrap();
    hand.open = OpenStrings::Avoided;
    let prices = Prices::new(&neck, &hand);
    near(prices.own(&one(3, 10, 4, 7)), 0.5 * 2.8722 + 0.2 + 15.0);
    near(prices.own(&one(3, 0, 0, 7)), 25.0);
    let wanted = Hand {
        open: OpenStrings::Wanted,
        ..Hand::default()
    };
    let prices = Prices::new(&neck, &wanted);
    near(prices.own(&one(3, 0, 0, 7)), 0.0);
    // D2 on the A string, which is the open D string.
    near(prices.own(&one(3, 5, 1, 5)), 0.5 * 2.1663 + 25.0);
}

#[test]
fn what_a_join_costs() {
    let neck = Instrument::default();
    let hand = Hand::default();
    let prices = Prices::new(&neck, &hand);
    let join = |from: &Grip, to: &Grip, between| prices.join(from, to, between).unwrap();
    let at = one(3, 5, 1, 5);
    near(join(&at, &one(2, 7, 3, 5), plain()), 1.0);
    near(join(&at, &one(1, 7, 3, 5), plain()), 2.0);
    near(join(&at, &one(2, 5, 1, 5), plain()), 1.0 + 0.7 * 1.5);
    near(join(&at, &one(1, 5, 1, 5), plain()), 2.0 + 1.5 * 1.5);
    // Frets 5 and 7: 287.22 - 216.63 = 70.59 mm, its root 8.402.
    let shift = 5.0 + 0.5 * 8.402;
    let up = one(3, 9, 3, 7);
    near(join(&at, &up, plain()), shift * 1.5);
    near(
        join(&at, &one(3, 7, 1, 7), plain()),
        shift * 1.5 + 0.3 * 1.5,
    );
    let with = |begun, let_go, first| between(0.24, begun, let_go, first);
    near(
        join(&at, &up, with(Begun::Plucked, true, false)),
        shift * 1.5 * 0.7,
    );
    near(
        join(&at, &up, with(Begun::Plucked, false, true)),
        shift * 1.5 * 0.95,
    );
    near(
        join(&at, &up, with(Begun::Slurred, false, false)),
        shift * 1.5 * 4.0,
    );
    near(
        join(&one(2, 0, 0, 5), &up, plain()),
        1.0 + shift * 1.5 * 0.8,
    );
    // A slide by one finger; off the string it cannot be done.
    let slid = with(Begun::Slid, false, false);
    near(join(&at, &one(3, 7, 1, 7), slid), 1.0);
    near(join(&at, &one(2, 7, 3, 5), slid), 1001.0);
    // No two onsets count as nearer than 30 ms.
    let close = between(0.001, Begun::Plucked, false, false);
    near(join(&at, &up, close), shift * 5.0);
    // The hand does not move for an open string.
    assert_eq!(prices.join(&at, &one(3, 0, 0, 7), plain()), None);
    let raking = Hand {
        rakes: true,
        ..Hand::default()
    };
    let prices = Prices::new(&neck, &raking);
    let lower = prices.join(&at, &one(4, 7, 3, 5), plain()).unwrap();
    near(lower, 1.0 - 0.4);
}

#[test]
fn what_two_movements_in_a_row_cost() {
    let neck = Instrument::default();
    let hand = Hand::default();
    let prices = Prices::new(&neck, &hand);
    let row = |first, second| prices.in_a_row(first, second, plain());
    near(row(Move::Up, Move::UpOne), 1.5 * 1.5);
    near(row(Move::Up, Move::Down), 2.5 * 1.5);
    near(row(Move::UpOne, Move::DownOne), -4.0);
    near(row(Move::Still, Move::Up), 0.0);
    near(row(Move::Down, Move::Still), 0.0);
}
