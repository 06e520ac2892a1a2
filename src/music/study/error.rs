//! Why a study cannot be built.

use std::fmt;

use crate::music::line::{LineFault, Meter};
use crate::music::theory::{Key, NameError};

/// A word among chord symbols and scales that is neither, shown where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ItemError {
    /// The whole text.
    pub text: String,
    /// The first character that is not understood, counted from 1.
    pub column: usize,
    /// How many characters are meant, at least 1.
    pub width: usize,
    /// What is wrong.
    pub cause: NameError,
}

/// Most characters of the text that are quoted, so that the quote fits a terminal of 80 columns.
const QUOTE_CHARS: usize = 74;

impl fmt::Display for ItemError {
    /// Place and message, then the text with a marker under the mistake.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let plain = |c: char| if c.is_control() { ' ' } else { c };
        let chars: Vec<char> = self.text.chars().map(plain).collect();
        let at = self.column.saturating_sub(1).min(chars.len());
        let from = if at < QUOTE_CHARS * 3 / 4 {
            0
        } else {
            at - QUOTE_CHARS / 2
        };
        let to = chars.len().min(from + QUOTE_CHARS);
        let quoted: String = chars[from..to].iter().collect();
        let marker = "^".repeat(self.width.clamp(1, to.saturating_sub(at).max(1)));
        writeln!(f, "column {}: {}", self.column, self.cause)?;
        writeln!(f, "  {quoted}")?;
        write!(f, "  {:indent$}{marker}", "", indent = at - from)
    }
}

impl std::error::Error for ItemError {}

/// Why a study cannot be built.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StudyError {
    /// Nothing to build from.
    #[error("there is no chord and no scale; write for example `Dm7 G7/B Cmaj7` or `D dorian`")]
    Nothing,
    /// A chord symbol without tones.
    #[error("`{chord}` has no tones to play; leave it out")]
    NoTones {
        /// The symbol.
        chord: String,
    },
    /// The chord lacks the tone to start on.
    #[error("`{chord}` has no {degree}; its tones are {tones}")]
    NoSuchTone {
        /// The chord or scale.
        chord: String,
        /// The degree asked for.
        degree: String,
        /// The degrees it has.
        tones: String,
    },
    /// Too wide for the neck.
    #[error(
        "`{chord}` cannot be played {octaves} from its {degree}: that ends beyond {highest}, the highest note of this instrument ({range}); ask for fewer octaves, or name another --tuning"
    )]
    OffTheNeck {
        /// The chord or scale.
        chord: String,
        /// How far it was to go.
        octaves: &'static str,
        /// The tone it starts on.
        degree: String,
        /// The highest note there is.
        highest: String,
        /// The open strings and the frets.
        range: String,
    },
    /// Fewer tones than a group has.
    #[error(
        "`{chord}` has {found} tones in that range, too few for groups of {sequence}; ask for more octaves or leave the sequence out"
    )]
    TooFewForSequence {
        /// The chord or scale.
        chord: String,
        /// Tones there are.
        found: usize,
        /// Notes to a group.
        sequence: u8,
    },
    /// A shape that does not repeat.
    #[error(
        "`{chord}` does not divide the octave evenly; up the neck go augmented chords (C+), in major thirds, and diminished sevenths (C°7), in minor thirds"
    )]
    NotSymmetric {
        /// The chord or scale.
        chord: String,
    },
    /// Notes that do not fill a bar.
    #[error("a bar of {meter} is no whole number of {notes}; choose another meter or other notes")]
    Uneven {
        /// The meter.
        meter: Meter,
        /// The notes.
        notes: &'static str,
    },
    /// More notes than bars.
    #[error(
        "`{chord}` needs {needed} bars and was to have {bars}; give it more bars, fewer octaves or shorter notes"
    )]
    TooFewBars {
        /// The chord or scale.
        chord: String,
        /// Bars it needs.
        needed: usize,
        /// Bars asked for.
        bars: u32,
    },
    /// A key of the other mode.
    #[error(
        "these chords are taken to be in {found}, and {wanted} is of the other mode; name a {} key",
        if *minor { "minor" } else { "major" }
    )]
    OtherMode {
        /// The key the chords are in.
        found: Key,
        /// The key asked for.
        wanted: Key,
        /// Whether a minor key is needed.
        minor: bool,
    },
    /// Longer than anyone practises.
    #[error("the study has more than {most} bars; write fewer chords")]
    TooLong {
        /// The limit.
        most: usize,
    },
    /// A name that is none.
    #[error(transparent)]
    Name(#[from] NameError),
    /// The line breaks a rule.
    #[error(transparent)]
    Line(#[from] LineFault),
}
