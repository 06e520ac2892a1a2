//! What is to be fingered: notes and chords in time, with what the line already says of them.

use crate::music::expected::Place;

/// How a note or chord is begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Begun {
    /// With a pluck.
    #[default]
    Plucked,
    /// Hammered on or pulled off from the note before, on its string.
    Slurred,
    /// Slid into along the string of the note before.
    Slid,
}

/// One note to be fingered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Wanted {
    /// The pitch, a MIDI note number.
    pub midi: u8,
    /// String and fret where the line gives them; kept when they give the pitch on the
    /// instrument, else as if not given.
    pub place: Option<Place>,
    /// The finger, 1 to 4, where the line gives it; kept with its place, without one it says
    /// nothing.
    pub finger: Option<u8>,
}

/// A note, or notes struck together.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// One to three notes, from the lowest up.
    pub notes: Vec<Wanted>,
    /// How they are begun.
    pub begun: Begun,
    /// When they begin, in seconds from any start; groups are in order of it.
    pub onset_s: f64,
    /// True when the sound may stop before the next group: a rest, a breath or a dot follows.
    pub let_go: bool,
    /// True when a bar line stands before it.
    pub first_of_bar: bool,
}
