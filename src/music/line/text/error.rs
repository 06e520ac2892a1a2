//! What is wrong with a `.line` text, shown where it stands.

use std::fmt;
use std::sync::Arc;

use crate::music::instrument::InstrumentError;
use crate::music::line::error::FaultKind;
use crate::music::line::meter::MeterError;
use crate::music::line::swing::SwingError;
use crate::music::line::tempo::TempoError;
use crate::music::theory::NameError;

/// Most characters of a text line that are quoted; a longer one is cut around the mistake so that
/// message and marker fit a terminal of 80 columns.
const QUOTE_CHARS: usize = 70;

/// A mistake in a `.line` text and its place.
#[derive(Clone, Debug, PartialEq)]
pub struct TextError {
    /// The text line, from 1.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// How many characters are meant, at least 1.
    pub width: usize,
    /// The whole text line.
    pub text: Arc<str>,
    /// What is wrong.
    pub fault: TextFault,
}

impl fmt::Display for TextError {
    /// Place and message, then the text line with a marker under the mistake.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = self.line.to_string();
        let chars: Vec<char> = self
            .text
            .chars()
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        let at = self.column.saturating_sub(1).min(chars.len());
        // Keep the mistake in the window, with a little of what stands before it.
        let from = if at < QUOTE_CHARS * 3 / 4 {
            0
        } else {
            at - QUOTE_CHARS / 2
        };
        let to = chars.len().min(from + QUOTE_CHARS);
        let quoted: String = chars[from..to].iter().collect();
        let marker = "^".repeat(self.width.clamp(1, (to.saturating_sub(at)).max(1)));
        writeln!(f, "line {number}, column {}: {}", self.column, self.fault)?;
        writeln!(f, "  {number} | {quoted}")?;
        write!(
            f,
            "  {:pad$} | {:indent$}{marker}",
            "",
            "",
            pad = number.len(),
            indent = at - from
        )
    }
}

impl std::error::Error for TextError {}

/// What is wrong.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TextFault {
    /// A header entry nobody knows.
    #[error("there is no header entry `{given}:`; {}", meant(*.guess))]
    UnknownHeader {
        /// The word before the colon.
        given: String,
        /// The entry that was probably meant.
        guess: Option<&'static str>,
    },
    /// A header entry without its colon.
    #[error("`{name}` is a header entry; put a colon behind it: `{name}:`")]
    NoColon {
        /// The entry.
        name: &'static str,
    },
    /// A header entry given twice.
    #[error("`{name}:` was already given on line {first_line}; keep one")]
    HeaderTwice {
        /// The entry.
        name: &'static str,
        /// Where it was given first.
        first_line: usize,
    },
    /// A header entry after the first bar.
    #[error("`{name}:` belongs above the first bar; only tempo, meter and key may change later")]
    HeaderTooLate {
        /// The entry.
        name: &'static str,
    },
    /// A change after the last bar.
    #[error("no bar follows this change; remove it or write the bar")]
    ChangeWithoutBar,
    /// A number out of range.
    #[error("`{given}` is no value for {name}; allowed are {allowed}")]
    Number {
        /// The entry.
        name: &'static str,
        /// What was given.
        given: String,
        /// What is allowed.
        allowed: &'static str,
    },
    /// A tempo that is not understood.
    #[error(
        "`{given}` is not a tempo; write beats a minute, for example `96`, or `64 per 1/4.` when the beat is no quarter"
    )]
    TempoForm {
        /// What was given.
        given: String,
    },
    /// A tempo out of range.
    #[error(transparent)]
    Tempo(#[from] TempoError),
    /// Not a meter.
    #[error(transparent)]
    Meter(#[from] MeterError),
    /// Not a swing.
    #[error(transparent)]
    Swing(#[from] SwingError),
    /// Not a note name, key or chord symbol.
    #[error(transparent)]
    Name(#[from] NameError),
    /// Not an instrument.
    #[error(transparent)]
    Instrument(#[from] InstrumentError),
    /// A length that is not understood.
    #[error(
        "`{given}` is not a length; write a fraction of a whole note such as 1/4, 1/8. (dotted) or 1/8t (triplet)"
    )]
    LengthForm {
        /// What was given.
        given: String,
    },
    /// A word that is not understood.
    #[error(
        "`{given}` is not understood; a note is string:fret such as 3:5 or a name such as D2, a rest is r, a hold is =, a length is 1/8, a chord symbol is @Am7"
    )]
    Word {
        /// The word.
        given: String,
    },
    /// String or fret is no number.
    #[error(
        "`{given}` is not a place; write string:fret, for example 3:5 for string 3, fret 5 (string 1 is the thinnest)"
    )]
    PlaceForm {
        /// What was given.
        given: String,
    },
    /// A fret alone before any string was named.
    #[error(
        "`{given}` leaves out the string, but no string was named before; write string:fret, for example 3:5"
    )]
    NoStringYet {
        /// What was given.
        given: String,
    },
    /// A finger that is not understood.
    #[error("`{given}` is not a finger; write (1) to (4) after string:fret, for example 3:5(2)")]
    FingerForm {
        /// What was given.
        given: String,
    },
    /// A mark where none can stand.
    #[error("`{given}`: {why}")]
    Mark {
        /// The word.
        given: String,
        /// Why the mark cannot stand there.
        why: &'static str,
    },
    /// A sign for the way through the line that is not understood.
    #[error("`{given}` is not understood; {allowed}")]
    Sign {
        /// What was given.
        given: String,
        /// What can be written.
        allowed: &'static str,
    },
    /// A sign in the middle of a bar.
    #[error("`{given}` stands {place} of a bar; put a | between it and other notes")]
    SignPlace {
        /// The sign.
        given: String,
        /// Where it may stand.
        place: &'static str,
    },
    /// A bar with nothing in it.
    #[error("this bar is empty; write its notes, or a rest such as `1/1 r`")]
    EmptyBar,
    /// A repeat of nothing.
    #[error("% repeats the bar before, but there is none (a pick-up cannot be repeated)")]
    NothingToRepeat,
    /// Something beside a repeat sign.
    #[error("% stands alone in its bar; put a | between it and other notes")]
    RepeatNotAlone,
    /// A pick-up that is not at the start.
    #[error("`pickup` stands at the head of the first bar only")]
    PickupNotFirst,
    /// More notes and rests than anyone plays.
    #[error("the line has more than {limit} notes and rests; cut it into parts")]
    TooManyEvents {
        /// The limit.
        limit: usize,
    },
    /// A fault that breaks the rules of every line.
    #[error(transparent)]
    Line(#[from] FaultKind),
}

impl TextFault {
    /// True for faults that another instrument might not have.
    pub(super) fn depends_on_instrument(&self) -> bool {
        matches!(
            self,
            Self::Line(
                FaultKind::NoSuchPlace { .. }
                    | FaultKind::Unplayable { .. }
                    | FaultKind::PlaceGivesOther { .. }
                    | FaultKind::ChordUnplayable
                    | FaultKind::ChordSamePitch
            )
        )
    }
}

/// What to write in the place of an unknown header entry.
fn meant(guess: Option<&str>) -> String {
    match guess {
        Some(name) => format!("is `{name}:` meant?"),
        None => "entries are title, tempo, meter, key, swing, tuning, frets, scale and first bar"
            .to_owned(),
    }
}
