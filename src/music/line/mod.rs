//! The written line: its model, its readers and writer, its layout in time and on the neck.
//!
//! | file | what lives there |
//! |---|---|
//! | `length`, `meter`, `tempo`, `swing` | exact lengths, meters, tempos, uneven eighths |
//! | `model`, `whole` | bars and events; [`Line`], made of them and checked |
//! | `signs`, `endings`, `order`, `play` | repeats and jumps, the order they give, bars as played |
//! | `check`, `rules`, `error` | the rules a line obeys, and [`LineFault`], what breaks them |
//! | `text` | the `.line` format: its documentation, reader and writer |
//! | `midi` | the reader of Standard MIDI Files |
//! | `flat` | [`Line::expected`]: the line as a flat list with times, laid on the neck by `music::fingering` |
//! | `fingered` | [`Line::with_fingering`]: a way's strings, frets and fingers written into the line |
//!
//! Readers take text or bytes, never a path to open; nothing here knows a clock or a device.

mod check;
mod endings;
mod error;
mod fingered;
mod flat;
mod length;
mod meter;
pub mod midi;
mod model;
mod order;
mod play;
mod rules;
mod signs;
mod swing;
mod tempo;
pub mod text;
mod whole;

pub use error::{FaultKind, LineFault};
pub use fingered::FingeringError;
pub use length::{Length, UNITS_PER_QUARTER};
pub use meter::{Meter, MeterError};
pub use midi::{MidiError, read_midi};
pub use model::{
    Bar, ChordMark, Event, EventKind, Grace, Lacks, LineParts, MAX_CHORD_NOTES, MAX_GRACES, Note,
    Start, TempoMark,
};
pub use signs::{Jump, JumpTo, MAX_TIMES, Signs, Until};
pub use swing::{SWING_RANGE, SwingError, SwingRatio, read_swing};
pub use tempo::{Tempo, TempoError};
pub use text::{TextError, TextErrors, read_text, write_text, write_text_noted};
pub use whole::Line;

/// Why a line could not be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LineReadError {
    /// The name's ending is none that can be read.
    #[error("`{name}` is no line that can be read; a line ends in .line, .mid or .midi")]
    UnknownFormat {
        /// The name given.
        name: String,
    },
    /// A `.line` that is not text.
    #[error(
        "`{name}` is not text in UTF-8: byte {offset} belongs to no character; save it again as UTF-8"
    )]
    NotUtf8 {
        /// The name given.
        name: String,
        /// The first wrong byte, from 0.
        offset: usize,
    },
    /// A `.line` with mistakes in it.
    #[error("{}", .error.told(&format!("{name}, ")))]
    Text {
        /// The name given.
        name: String,
        /// What and where, each of them.
        error: Box<TextErrors>,
    },
    /// A MIDI file that cannot be taken as a line.
    #[error("{name}: {error}")]
    Midi {
        /// The name given.
        name: String,
        /// What and where.
        error: Box<MidiError>,
    },
}

/// Reads a line from the bytes of a file; `name` chooses the reader by its ending (`.line`,
/// `.mid`, `.midi`, in either case) and stands in the messages.
///
/// # Errors
/// See [`LineReadError`]. No input makes it panic.
pub fn read_bytes(name: &str, bytes: &[u8]) -> Result<Line, LineReadError> {
    let ending = name
        .rsplit_once('.')
        .map(|(_, ending)| ending.to_ascii_lowercase());
    let name = name.to_owned();
    match ending.as_deref() {
        Some("line") => {
            let text = std::str::from_utf8(bytes).map_err(|error| LineReadError::NotUtf8 {
                name: name.clone(),
                offset: error.valid_up_to(),
            })?;
            read_text(text).map_err(|error| LineReadError::Text {
                name,
                error: Box::new(error),
            })
        }
        Some("mid" | "midi") => read_midi(bytes).map_err(|error| LineReadError::Midi {
            name,
            error: Box::new(error),
        }),
        _ => Err(LineReadError::UnknownFormat { name }),
    }
}
