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
    let frames: Vec<Option<Frames>> = held.iter().map(frames_of).collect();
    // What the hand must hold next, counted from each grip on, found from the end backwards.
    let mut coming = frames.clone();
    for at in (0..coming.len().saturating_sub(1)).rev() {
        coming[at] = coming[at].or(coming[at + 1]);
    }
    let mut hand = frames.first().copied().flatten();
    let mut kinds = Vec::with_capacity(held.len().saturating_sub(1));
    for (at, pair) in held.windows(2).enumerate() {
        let after = coming.get(at + 2).copied().flatten();
        let (moved, now) = hand_way(hand, frames[at + 1], after);
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

#[cfg(test)]
mod tests {
    use super::*;
    use JoinKind::{Crossing, Open, Repeat, Roll, SamePlace, Shift, Stretch};

    fn of(places: &[(u8, u8)]) -> Vec<JoinKind> {
        let held: Vec<Held> = places
            .iter()
            .map(|&(string, fret)| Held {
                places: vec![(Place { string, fret }, None)],
            })
            .collect();
        joins(&held)
    }

    // The expected kinds follow from the definitions of the trade at the head of this file:
    // common practice, no source.

    #[test]
    fn a_scale_in_position_needs_no_shift() {
        // C major, second position: A string 3 5, D string 2 3 5, G string 2 4 5.
        assert_eq!(
            of(&[
                (3, 3),
                (3, 5),
                (2, 2),
                (2, 3),
                (2, 5),
                (1, 2),
                (1, 4),
                (1, 5)
            ]),
            [
                SamePlace, Crossing, SamePlace, SamePlace, Crossing, SamePlace, SamePlace
            ]
        );
    }

    #[test]
    fn each_kind_is_told() {
        assert_eq!(of(&[(3, 5), (3, 5)]), [Repeat]);
        assert_eq!(of(&[(3, 0), (3, 0)]), [Repeat]);
        assert_eq!(of(&[(3, 0), (3, 2), (2, 0)]), [Open, Open]);
        assert_eq!(of(&[(3, 5), (2, 5)]), [Roll]);
        assert_eq!(of(&[(4, 5), (2, 5)]), [Crossing]);
        assert_eq!(of(&[(3, 3), (3, 10)]), [Shift]);
        assert_eq!(of(&[(3, 3), (2, 6)]), [Crossing]);
    }

    #[test]
    fn the_frame_is_narrowed_by_what_was_played_before() {
        // 5 and 8 fix the frame 5 to 8; 4 is one below it and 9 one above.
        assert_eq!(
            of(&[(3, 5), (3, 8), (3, 9), (3, 8)]),
            [SamePlace, Stretch, SamePlace]
        );
        assert_eq!(
            of(&[(3, 5), (3, 8), (2, 4), (2, 8)]),
            [SamePlace, Stretch, SamePlace]
        );
        // The hand stays up there: a shift, and what follows lies in the new frame.
        assert_eq!(
            of(&[(3, 5), (3, 8), (3, 9), (3, 12)]),
            [SamePlace, Shift, SamePlace]
        );
        // Two frets beyond are a shift in any case.
        assert_eq!(
            of(&[(3, 5), (3, 8), (3, 10), (3, 8)]),
            [SamePlace, Shift, SamePlace]
        );
    }

    #[test]
    fn an_open_string_leaves_the_hand_where_it_was() {
        // From 7 over the open G to 2: the hand moved on the way, which the open string hides.
        assert_eq!(of(&[(3, 7), (1, 0), (3, 2), (3, 7)]), [Open, Open, Shift]);
        assert_eq!(
            of(&[(3, 7), (1, 0), (3, 5), (3, 8)]),
            [Open, Open, SamePlace]
        );
    }

    #[test]
    fn fingers_fix_the_hand() {
        let held = |list: &[(u8, u8, Option<u8>)]| -> Vec<Held> {
            list.iter()
                .map(|&(string, fret, finger)| Held {
                    places: vec![(Place { string, fret }, finger)],
                })
                .collect()
        };
        // 5 with finger 1, then 7 with finger 1: the hand moved although a frame holds both.
        assert_eq!(joins(&held(&[(3, 5, Some(1)), (3, 7, Some(1))])), [Shift]);
        assert_eq!(
            joins(&held(&[(3, 5, Some(1)), (3, 7, Some(3))])),
            [SamePlace]
        );
        // Two fingers at one fret on neighbouring strings: no roll.
        assert_eq!(joins(&held(&[(3, 5, Some(2)), (2, 5, Some(2))])), [Roll]);
    }

    #[test]
    fn chords_join_by_their_lowest_notes() {
        let chord = |list: &[(u8, u8)]| Held {
            places: list
                .iter()
                .map(|&(string, fret)| (Place { string, fret }, None))
                .collect(),
        };
        let tenth = chord(&[(4, 3), (1, 4)]);
        assert_eq!(joins(&[tenth.clone(), tenth.clone()]), [Repeat]);
        assert_eq!(joins(&[tenth.clone(), chord(&[(4, 8), (1, 8)])]), [Shift]);
        assert_eq!(joins(&[tenth, chord(&[(4, 0), (1, 4)])]), [Open]);
        assert!(joins(&[]).is_empty());
    }
}
