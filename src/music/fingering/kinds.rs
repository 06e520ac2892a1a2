//! How one note joins the next, told from how the hand holds both.
//!
//! In the order in which they are tried:
//!
//! - *repeat*: the same strings and frets, open or stopped.
//! - *open*: an open string on either side; the hand may move meanwhile.
//! - *shift*: the hand goes to another fret.
//! - *stretch*: finger 1 or 4 goes one fret out of the hand's four, or begins the line there; so
//!   does a hand that turns one fret out and is back with the next note, the thumb in its place.
//! - *same place*: the same string, the hand still.
//! - *roll*: one finger on a neighbouring string at the same fret.
//! - *crossing*: another string, the hand still.
//!
//! A chord joins by its lowest note. Common practice of the trade, no source.

use super::grips::{Grip, Held};
use crate::music::expected::JoinKind;

/// What the hand does from one grip to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum HandWay {
    /// It stays, or it comes back from a turn.
    Still,
    /// It reaches or turns out by one fret.
    Out,
    /// It goes to another place.
    Shifts,
}

/// What the hand does before each grip; still before the first.
pub(super) fn hand_ways(grips: &[Option<Grip>]) -> Vec<HandWay> {
    let hand = |at: usize| grips.get(at).and_then(Option::as_ref).map(|grip| grip.hand);
    let mut ways = vec![HandWay::Still; grips.len()];
    let mut turned = false;
    // True until something else than the first fretted grip was held.
    let mut opening = true;
    let mut last: Option<&Grip> = None;
    for (at, grip) in grips.iter().enumerate() {
        let Some(grip) = grip else { continue };
        let before = last.filter(|before| before.hand != 0);
        last = Some(grip);
        let Some(before) = before else { continue };
        let returns = turned;
        turned = false;
        if before.hand == grip.hand {
            let new = |held: &Held| held.stretched && !before.held.contains(held);
            let begins_out = opening && before.held.iter().any(|held| held.stretched);
            if grip.held.iter().any(new) || begins_out && grip.held != before.held {
                ways[at] = HandWay::Out;
            }
            opening = opening && grip.held == before.held;
        } else if !returns {
            opening = false;
            let back = hand(at + 1) == Some(before.hand);
            turned = back && before.hand.abs_diff(grip.hand) == 1;
            ways[at] = if turned {
                HandWay::Out
            } else {
                HandWay::Shifts
            };
        }
    }
    ways
}

/// The join from each grip to the next, one fewer than there are grips; `None` where either side
/// cannot be played.
pub(super) fn joins(grips: &[Option<Grip>]) -> Vec<Option<JoinKind>> {
    let ways = hand_ways(grips);
    grips
        .windows(2)
        .zip(ways.iter().skip(1))
        .map(|(pair, &way)| match pair {
            [Some(from), Some(to)] => Some(kind(from, to, way)),
            _ => None,
        })
        .collect()
}

fn kind(from: &Grip, to: &Grip, way: HandWay) -> JoinKind {
    let places = |grip: &Grip| grip.held.iter().map(|held| held.place).collect::<Vec<_>>();
    if places(from) == places(to) {
        return JoinKind::Repeat;
    }
    if from.has_open() || to.has_open() {
        return JoinKind::Open;
    }
    let (a, b) = (from.lead(), to.lead());
    match way {
        HandWay::Shifts => JoinKind::Shift,
        HandWay::Out => JoinKind::Stretch,
        HandWay::Still if a.place.string == b.place.string => JoinKind::SamePlace,
        HandWay::Still => {
            let next = a.place.string.abs_diff(b.place.string) == 1;
            if next && a.place.fret == b.place.fret && a.finger == b.finger {
                JoinKind::Roll
            } else {
                JoinKind::Crossing
            }
        }
    }
}
