//! What goes round in a session, and how.

use crate::progress::ladder::LadderMarks;

/// Tempi closer than this are the same, as a share of the written one: below what a key changes.
pub(super) const SAME_SHARE: f64 = 1e-3;

/// What goes round, and how.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Loops {
    /// The join behind this note of the line alone, by index, with two notes on either side; `None` for
    /// whole bars. It needs the click: without one so few notes do not say where they lie.
    pub join: Option<usize>,
    /// Whether passes follow each other in time, without being counted in; the first one is.
    pub straight_on: bool,
    /// The tempo goes up and down by these marks, from the tempo of the session on; `None` for the
    /// player's own tempo alone. It moves by passes that are played to the click.
    pub ladder: Option<LadderMarks>,
}
