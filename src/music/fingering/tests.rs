//! The search against every way tried out, and what holds of all lines.

use proptest::prelude::*;

use super::costs::{Between, Move, Prices};
use super::grips::chord_places;
use super::grips::{Grip, grips};
use super::path::{Total, cheapest, cost_of, settled, weighed};
use super::*;
use crate::music::instrument::Tuning;

/// Oracle: the least sum over every way to hold every group, each way priced from its start.
fn least_of_all(groups: &[Group], prices: &Prices<'_>) -> Option<Total> {
    fn sum_of(way: &[Grip], groups: &[Group], prices: &Prices<'_>) -> Option<Total> {
        let mut sum = 0;
        let mut moved = Move::Still;
        for (at, grip) in way.iter().enumerate() {
            let height = if grip.needs_hand { grip.hand } else { 0 };
            sum += weighed(grip.own) + settled(false, height);
            if at > 0 {
                let between = Between::new(&groups[at - 1], &groups[at]);
                let now = Move::between(way[at - 1].hand, grip.hand);
                sum += weighed(prices.join(&way[at - 1], grip, between)?);
                sum += weighed(prices.in_a_row(moved, now, between));
                sum += settled(now != Move::Still, 0);
                moved = now;
            }
        }
        Some(sum)
    }
    fn further(
        way: &mut Vec<Grip>,
        groups: &[Group],
        prices: &Prices<'_>,
        least: &mut Option<Total>,
    ) {
        if way.len() == groups.len() {
            if let Some(sum) = sum_of(way, groups, prices)
                && least.is_none_or(|least| sum < least)
            {
                *least = Some(sum);
            }
            return;
        }
        let hand = way.last().map_or(0, |grip| grip.hand);
        for grip in grips(&groups[way.len()], prices, &[hand]) {
            way.push(grip);
            further(way, groups, prices, least);
            way.pop();
        }
    }
    let mut least = None;
    further(&mut Vec::new(), groups, prices, &mut least);
    least
}

/// A note drawn: pitch above the lowest string, begun, quarter of the time step, let go, pins.
type Draw = (u8, u8, u8, bool, bool, u8);

fn groups_of(draws: &[Draw], instrument: &Instrument) -> Vec<Group> {
    let (low, high) = instrument.range();
    let mut onset_s = 0.0;
    draws
        .iter()
        .enumerate()
        .map(|(at, &(pitch, begun, step, let_go, pinned, finger))| {
            let midi = low + pitch % (high - low + 1);
            let place = instrument.places(midi)[0];
            let group = Group {
                notes: vec![Wanted {
                    midi,
                    place: pinned.then_some(place),
                    finger: (pinned && finger > 0 && place.fret > 0).then_some(finger),
                }],
                begun: [Begun::Plucked, Begun::Plucked, Begun::Slurred, Begun::Slid]
                    [usize::from(if at == 0 { 0 } else { begun % 4 })],
                onset_s,
                let_go,
                first_of_bar: step % 2 == 0,
            };
            onset_s += f64::from(step) * 0.1;
            group
        })
        .collect()
}

fn draws(most: usize) -> impl Strategy<Value = Vec<Draw>> {
    let one = (
        0..60_u8,
        0..4_u8,
        0..8_u8,
        any::<bool>(),
        proptest::bool::weighted(0.2),
        0..5_u8,
    );
    proptest::collection::vec(one, 1..=most)
}

fn small_neck() -> Instrument {
    Instrument::new(Tuning::new(&[33, 38]).unwrap(), 9, 863.6).unwrap()
}

fn some_hand(bits: u8) -> Hand {
    let open = [OpenStrings::Free, OpenStrings::Wanted, OpenStrings::Avoided];
    let hand = Hand {
        open: open[usize::from(bits % 3)],
        low_below: if bits & 4 == 0 { 5 } else { 0 },
        rakes: bits & 8 == 0,
        ..Hand::default()
    };
    let spared: &[u8] = if bits & 16 == 0 { &[4] } else { &[] };
    let hand = hand.sparing(spared).unwrap();
    hand.with_span_mm(if bits & 32 == 0 { 85.0 } else { 110.0 })
        .unwrap()
}

fn holds(groups: &[Group], instrument: &Instrument, hand: &Hand) -> Result<(), TestCaseError> {
    let prices = Prices::new(instrument, hand);
    let path = cheapest(groups, &prices, &|_, _| 0);
    let least = least_of_all(groups, &prices).expect("some way");
    prop_assert_eq!(path.cost, cost_of(least));
    // The way itself costs what is said, ties settled as they should be.
    let way: Vec<Grip> = path.grips.into_iter().flatten().collect();
    let mut sum = 0;
    let mut moved = Move::Still;
    for (at, grip) in way.iter().enumerate() {
        let height = if grip.needs_hand { grip.hand } else { 0 };
        sum += weighed(grip.own) + settled(false, height);
        if at > 0 {
            let between = Between::new(&groups[at - 1], &groups[at]);
            let now = Move::between(way[at - 1].hand, grip.hand);
            sum += weighed(prices.join(&way[at - 1], grip, between).unwrap());
            sum += weighed(prices.in_a_row(moved, now, between));
            sum += settled(now != Move::Still, 0);
            moved = now;
        }
    }
    prop_assert_eq!(sum, least);
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn the_way_found_is_the_cheapest_of_all(draws in draws(4), bits in any::<u8>()) {
        let neck = small_neck();
        holds(&groups_of(&draws, &neck), &neck, &some_hand(bits))?;
    }

    #[test]
    fn so_it_is_on_a_whole_neck(draws in draws(3), bits in any::<u8>()) {
        let neck = Instrument::default();
        holds(&groups_of(&draws, &neck), &neck, &some_hand(bits))?;
    }

    #[test]
    fn so_it_is_with_chords(
        draws in draws(3),
        above in proptest::collection::vec(1..16_u8, 3),
        bits in any::<u8>(),
    ) {
        let neck = Instrument::default();
        let mut groups = groups_of(&draws, &neck);
        for (group, above) in groups.iter_mut().zip(above) {
            let midi = (group.notes[0].midi + above).min(neck.range().1);
            let upper = Wanted { midi, place: None, finger: None };
            let both = vec![group.notes[0], upper];
            if !chord_places(&both, &neck).is_empty() {
                group.notes = both;
            }
        }
        holds(&groups, &neck, &some_hand(bits))?;
    }

    #[test]
    fn what_is_given_stays(draws in draws(12)) {
        let neck = Instrument::default();
        let groups = groups_of(&draws, &neck);
        let hand = Hand::default();
        let prices = Prices::new(&neck, &hand);
        let path = cheapest(&groups, &prices, &|_, _| 0);
        for (group, grip) in groups.iter().zip(path.grips) {
            let grip = grip.expect("a place for every note of the neck");
            for (note, held) in group.notes.iter().zip(&grip.held) {
                prop_assert_eq!(neck.midi_at(held.place), Some(note.midi));
                prop_assert_eq!(held.finger == 0, held.place.fret == 0);
                prop_assert!(note.place.is_none_or(|place| place == held.place));
                prop_assert!(note.finger.is_none_or(|finger| finger == held.finger));
            }
        }
    }
}

#[test]
fn a_long_line_costs_what_its_halves_promise() {
    // The beginning is let go while a long line is searched; a line of the same bar again and again
    // must be fingered as a short one is, away from its ends.
    let neck = Instrument::default();
    let bar: [Draw; 8] = [5, 9, 12, 17, 24, 21, 15, 2].map(|pitch| (pitch, 0, 3, false, false, 0));
    let of = |bars: usize| -> Vec<Group> {
        let draws: Vec<Draw> = bar.iter().copied().cycle().take(8 * bars).collect();
        groups_of(&draws, &neck)
    };
    let places = |groups: &[Group]| lay(groups, &neck, &Hand::default()).places;
    let (short, long) = (places(&of(20)), places(&of(300)));
    assert_eq!(short[..120], long[..120]);
    assert_eq!(short[40..], long[long.len() - 120..]);
}

#[test]
fn what_cannot_be_played_is_passed_over() {
    let neck = Instrument::default();
    let one = |midi: u8, onset_s: f64| Group {
        notes: vec![Wanted {
            midi,
            place: None,
            finger: None,
        }],
        begun: Begun::Plucked,
        onset_s,
        let_go: false,
        first_of_bar: false,
    };
    let laid = lay(
        &[one(40, 0.0), one(10, 0.5), one(41, 1.0)],
        &neck,
        &Hand::default(),
    );
    assert!(laid.places[0].is_some() && laid.places[2].is_some());
    assert_eq!(laid.places[1], None);
    assert_eq!(laid.joins, [None, None]);
    let nothing = lay(&[], &neck, &Hand::default());
    assert!(nothing.places.is_empty() && nothing.joins.is_empty());
}
