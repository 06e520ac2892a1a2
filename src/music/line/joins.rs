//! How one note joins the next, told from where they lie on the neck.
//!
//! The hand is a frame of four frets, one finger to a fret, finger *i* at the frame's lowest fret
//! plus *i* - 1 (common practice). Where the hand is, is only known as far as the notes tell: the
//! first fretted note leaves four possible frames, each further note in the same position
//! narrows them down. The definitions, in the order in which they are tried:
//!
//! - *repeat*: same string, same fret, open or stopped.
//! - *open*: an open string on either side; the hand stays where it was last needed.
//! - *roll*: the same fret on a neighbouring string with the hand still, unless the line gives
//!   the two notes different fingers.
//! - *same place*: same string, another fret, and a frame holds both.
//! - *crossing*: another string, and a frame holds both.
//! - *stretch*: one fret beyond every possible frame, and the next fretted note (if there is one)
//!   lies in the old frame again: finger 1 or 4 reached out and came back.
//! - *shift*: everything else; the frame starts anew from the second note.
//!
//! A finger written in the line fixes the frame. These follow the planner's definitions of shift
//! and extension: hand-position change that cannot be reached in place; one fret by finger 1 or 4
//! without moving the thumb.

use super::place::FRAME_FRETS;
use crate::music::expected::{JoinKind, Place};

/// A note or chord as it lies on the neck.
#[derive(Clone, Debug)]
pub(crate) struct Held {
    /// Places from the lowest pitch up, with the finger where the line gives it.
    pub places: Vec<(Place, Option<u8>)>,
}

/// The frets under finger 1 that are possible, both ends included.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Frames {
    lowest: u8,
    highest: u8,
}

impl Frames {
    fn meet(self, other: Self) -> Option<Self> {
        let met = Self {
            lowest: self.lowest.max(other.lowest),
            highest: self.highest.min(other.highest),
        };
        (met.lowest <= met.highest).then_some(met)
    }

    /// The frames from which `wanted` is one fret away, if it is.
    fn nearest_within_one(self, wanted: Self) -> Option<Self> {
        if wanted.lowest > self.highest && wanted.lowest - self.highest == 1 {
            return Some(Self {
                lowest: self.highest,
                highest: self.highest,
            });
        }
        if self.lowest > wanted.highest && self.lowest - wanted.highest == 1 {
            return Some(Self {
                lowest: self.lowest,
                highest: self.lowest,
            });
        }
        None
    }
}

/// The frames that hold a grip; `None` when it needs no hand (open strings only).
fn frames_of(held: &Held) -> Option<Frames> {
    let fretted = held.places.iter().filter(|(place, _)| place.fret > 0);
    let from_finger = fretted.clone().find_map(|(place, finger)| {
        finger.map(|finger| (place.fret + 1).saturating_sub(finger).max(1))
    });
    if let Some(hand) = from_finger {
        return Some(Frames {
            lowest: hand,
            highest: hand,
        });
    }
    let lowest = fretted.clone().map(|(place, _)| place.fret).min()?;
    let highest = fretted.map(|(place, _)| place.fret).max()?;
    // A chord wider than the frame is held with finger 1 on its lowest fret.
    let from = (highest + 1).saturating_sub(FRAME_FRETS).max(1).min(lowest);
    Some(Frames {
        lowest: from,
        highest: lowest,
    })
}

/// The join from each grip to the next: one fewer than there are grips.
pub(crate) fn joins(held: &[Held]) -> Vec<JoinKind> {
    let mut hand: Option<Frames> = held.first().and_then(frames_of);
    let mut kinds = Vec::with_capacity(held.len().saturating_sub(1));
    for (at, pair) in held.windows(2).enumerate() {
        let wanted = frames_of(&pair[1]);
        let after = held[at + 2..].iter().find_map(frames_of);
        let (moved, now) = hand_way(hand, wanted, after);
        kinds.push(kind(&pair[0], &pair[1], moved));
        hand = now;
    }
    kinds
}

/// What the hand does.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Moved {
    Still,
    Stretched,
    Shifted,
}

fn hand_way(
    hand: Option<Frames>,
    wanted: Option<Frames>,
    after: Option<Frames>,
) -> (Moved, Option<Frames>) {
    let (Some(hand), Some(wanted)) = (hand, wanted) else {
        return (Moved::Still, wanted.or(hand));
    };
    if let Some(met) = hand.meet(wanted) {
        return (Moved::Still, Some(met));
    }
    if let Some(stays) = hand.nearest_within_one(wanted)
        && after.is_none_or(|after| stays.meet(after).is_some())
    {
        return (Moved::Stretched, Some(stays));
    }
    (Moved::Shifted, Some(wanted))
}

fn kind(from: &Held, to: &Held, moved: Moved) -> JoinKind {
    // A chord joins by its lowest note, which leads the ear.
    let (Some(&(a, finger_a)), Some(&(b, finger_b))) = (from.places.first(), to.places.first())
    else {
        return JoinKind::Shift;
    };
    let any_open = |held: &Held| held.places.iter().any(|(place, _)| place.fret == 0);
    let same_places = from.places.len() == to.places.len()
        && from.places.iter().zip(&to.places).all(|(a, b)| a.0 == b.0);
    if same_places {
        return JoinKind::Repeat;
    }
    if any_open(from) || any_open(to) {
        return JoinKind::Open;
    }
    match moved {
        Moved::Shifted => JoinKind::Shift,
        Moved::Stretched => JoinKind::Stretch,
        Moved::Still if a.string == b.string => JoinKind::SamePlace,
        Moved::Still => {
            let fingers_differ = matches!((finger_a, finger_b), (Some(x), Some(y)) if x != y);
            if a.fret == b.fret && a.string.abs_diff(b.string) == 1 && !fingers_differ {
                JoinKind::Roll
            } else {
                JoinKind::Crossing
            }
        }
    }
}
