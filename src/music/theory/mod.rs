//! The names of things: pitches, intervals, keys, chord symbols and scales, as far as a line needs
//! them.
//!
//! Pure values and their spelling; knows nothing of strings, bars or files. Used by `instrument`
//! and `line`, and by everything above that prints a pitch.

mod chord;
#[cfg(test)]
mod chord_tests;
mod chord_words;
mod interval;
mod key;
mod pitch;
mod scale;

pub use chord::{ChordSymbol, ChordTone, NoteDegree};
pub use interval::Degree;
pub use key::{Key, Mode, pitch_class_in, pitch_in};
pub use pitch::{Letter, NoteName, SpelledPitch};
pub use scale::Scale;

/// What is wrong with a name.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NameError {
    /// Not a note name with its octave.
    #[error(
        "`{given}` is not a note name; write a letter A to G, # or b if needed, and the octave as it sounds: E1, F#2, Bb1"
    )]
    Pitch {
        /// The text that was given.
        given: String,
    },
    /// A note name beyond what MIDI can number.
    #[error("`{given}` lies outside MIDI notes 0 to 127 (C-1 to G9)")]
    OutOfRange {
        /// The text that was given.
        given: String,
    },
    /// Not a key.
    #[error(
        "`{given}` is not a key; write for example `C major`, `F# minor` or `Bb major`, with at most 7 sharps or flats"
    )]
    Key {
        /// The text that was given.
        given: String,
    },
    /// Not a degree.
    #[error(
        "`{given}` is not a degree; write R for the root, or a number from 2 to 15 with b or # before it: b3, 5, #11"
    )]
    Degree {
        /// The text that was given.
        given: String,
    },
    /// Not a scale.
    #[error("`{given}` is not a scale; write a note and one of {}", scale::names().join(", "))]
    Scale {
        /// The text that was given.
        given: String,
    },
    /// Not a chord symbol.
    #[error(
        "`{given}` is not a chord symbol: `{unread}` is not understood, from its character {column} on; write for example Am7, Bbmaj7, D7/F#, G7b9 or N.C."
    )]
    Chord {
        /// The text that was given.
        given: String,
        /// The part from which it is not understood.
        unread: String,
        /// The first character of that part, counted from 1.
        column: usize,
    },
}
