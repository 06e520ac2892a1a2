//! The hand's way through a line: string, fret and finger for every note, where the hand is, and
//! how each note joins the next.
//!
//! | file | what lives there |
//! |---|---|
//! | `wanted` | [`Group`]: what is to be fingered, in time |
//! | `hand` | [`Hand`]: reach, fingers, open strings |
//! | `reach` | millimetres between frets |
//! | `grips` | every way to hold one note or chord |
//! | `costs` | what the hand's doings cost, every price with its reason |
//! | `path` | the cheapest way through all of them |
//! | `kinds` | the kind of each join, from how the hand holds both sides |
//! | `way`, `ways` | [`Way`]: one way in numbers and words; several that differ |
//!
//! The words of the trade: a hand's *place* is the fret of finger 1. One finger to a fret covers
//! four frets; low on the neck fingers 1, 2 and 4 cover three (1-2-4). A *shift* is a hand that
//! goes to another place; an *extension* or stretch is finger 1 or 4 one fret further out; a *roll*
//! is one finger over two neighbouring strings; in a *pivot* the thumb stays while the hand goes
//! one fret out and comes back.
//!
//! Pure arithmetic over values. Used by `line` for its places and joins, and by everything that
//! shows or writes fingers.

mod costs;
mod grips;
mod hand;
mod kinds;
mod path;
mod reach;
mod wanted;
mod way;
mod ways;

#[cfg(test)]
mod kinds_tests;
#[cfg(test)]
mod price_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod trade_tests;

use costs::Prices;

use super::expected::{JoinKind, Place};
use super::instrument::Instrument;
use super::line::{Line, Note};
pub use hand::{DEFAULT_LOW_BELOW, DEFAULT_SPAN_MM, Hand, HandError, OpenStrings, SPAN_MM_RANGE};
pub use reach::{FRAME_FRETS, reach_mm};
pub use wanted::{Begun, Group, Wanted};
pub use way::{Fingered, Position, Shift, Step, Way, WayCosts};
pub use ways::MOST_WAYS;

/// Whether notes struck together can be played: each has a string of its own. Never fails.
pub(crate) fn can_be_held(notes: &[Note], instrument: &Instrument) -> bool {
    let wanted: Vec<Wanted> = notes.iter().map(Wanted::from).collect();
    !grips::chord_places(&wanted, instrument).is_empty()
}

/// Places and joins of a row of groups.
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    /// For each group the place of each note; `None` where the instrument does not have them.
    pub places: Vec<Option<Vec<Place>>>,
    /// The join from each group to the next; `None` where either side has no place.
    pub joins: Vec<Option<JoinKind>>,
}

/// Lays groups on the neck, the cheapest way.
///
/// Input:  groups in order of time, one to three notes each.
/// Output: as many places as groups, one join fewer. Never fails.
pub fn lay(groups: &[Group], instrument: &Instrument, hand: &Hand) -> Laid {
    let prices = Prices::new(instrument, hand);
    let path = path::cheapest(groups, &prices, &|_, _| 0);
    Laid {
        joins: kinds::joins(&path.grips),
        places: path
            .grips
            .into_iter()
            .map(|grip| grip.map(|grip| grip.held.iter().map(|held| held.place).collect()))
            .collect(),
    }
}

/// The ways to finger a line on an instrument, the cheapest first, each clearly different from
/// those before; at least one, at most [`MOST_WAYS`].
///
/// Places and fingers the line gives are kept in all of them. Notes that the instrument does not
/// have stay empty. Never fails.
pub fn plan(line: &Line, instrument: &Instrument, hand: &Hand) -> Vec<Way> {
    let (positions, groups): (Vec<Position>, Vec<Group>) = line.groups().into_iter().unzip();
    let prices = Prices::new(instrument, hand);
    ways::different_ways(&groups, &positions, &prices)
}
