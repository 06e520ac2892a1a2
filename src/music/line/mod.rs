//! The written line: its model, its readers and writer, its layout in time and on the neck.
//!
//! | file | what lives there |
//! |---|---|
//! | `length`, `meter`, `tempo`, `swing` | exact lengths, meters, tempos, uneven eighths |
//! | `model`, `whole` | bars and events; [`Line`], made of them and checked |
//! | `signs`, `endings`, `order`, `play` | repeats and jumps, the order they give, bars as played |
//! | `check`, `rules`, `error` | the rules a line obeys, and [`LineFault`], what breaks them |
//! | `text` | the `.line` format: its documentation, reader and writer |
//! | `midi` | Standard MIDI Files: reader and writer |
//! | `musicxml` | MusicXML scores, plain and compressed: reader and writer |
//! | `csv` | a table of notes: reader and writer |
//! | `unheld` | what a line has that a format cannot hold |
//! | `part` | which part of several is meant, and for which instrument |
//! | `flat` | [`Line::expected`]: the line as a flat list with times, laid on the neck by `music::fingering` |
//! | `graces` | [`Line::graces`]: the grace notes as they are played |
//! | `fingered` | [`Line::with_fingering`]: a way's strings, frets and fingers written into the line |
//!
//! Readers take text or bytes, never a path to open; nothing here knows a clock or a device.

mod check;
pub mod csv;
mod endings;
mod error;
mod fingered;
mod flat;
mod graces;
mod length;
mod meter;
pub mod midi;
mod model;
pub mod musicxml;
mod order;
mod part;
mod play;
mod rules;
mod signs;
mod swing;
mod tempo;
pub mod text;
mod unheld;
mod whole;

pub use csv::{CsvError, read_csv, write_csv};
pub use error::{FaultKind, LineFault};
pub use fingered::FingeringError;
pub use graces::GraceNote;
pub use length::{Length, UNITS_PER_QUARTER};
pub use meter::{Meter, MeterError};
pub use midi::{MidiError, read_midi, write_midi};
pub use model::{
    Bar, ChordMark, Event, EventKind, Grace, Lacks, LineParts, MAX_CHORD_NOTES, MAX_GRACES, Note,
    Start, TempoMark,
};
pub use musicxml::{MusicXmlError, read_musicxml, read_mxl, write_musicxml, write_mxl};
pub use part::PartChoice;
pub use signs::{Jump, JumpTo, MAX_TIMES, Signs, Until};
pub use swing::{SWING_RANGE, SwingError, SwingRatio, read_swing};
pub use tempo::{Tempo, TempoError};
pub use text::{TextError, TextErrors, read_text, write_text, write_text_noted};
pub use unheld::unheld;
pub use whole::Line;

/// Why a line could not be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LineReadError {
    /// The name's ending is none that can be read.
    #[error("`{name}` is no line that can be read; a line ends in {ENDINGS}")]
    UnknownFormat {
        /// The name given.
        name: String,
    },
    /// A part was asked for in a file that has one alone.
    #[error("`{name}` holds one part alone; leave out --part {part}")]
    OnePart {
        /// The name given.
        name: String,
        /// The part asked for.
        part: String,
    },
    /// A text file that is not text.
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
    /// A score that cannot be taken as a line.
    #[error("{name}: {error}")]
    MusicXml {
        /// The name given.
        name: String,
        /// What and where.
        error: Box<MusicXmlError>,
    },
    /// A table of notes that cannot be taken as a line.
    #[error("{name}, {error}")]
    Csv {
        /// The name given.
        name: String,
        /// What and where.
        error: Box<CsvError>,
    },
}

/// The endings of lines, for messages.
const ENDINGS: &str = ".line, .mid, .midi, .musicxml, .xml, .mxl or .csv";

/// The format of a line's file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// `.line` text.
    Line,
    /// A Standard MIDI File.
    Midi,
    /// MusicXML as plain text.
    MusicXml,
    /// Compressed MusicXML.
    Mxl,
    /// A table of notes.
    Csv,
}

impl Format {
    /// The format that a name's ending says, in either case: `.line`, `.mid` and `.midi`,
    /// `.musicxml` and `.xml`, `.mxl`, `.csv`; `None` for others.
    pub fn of(name: &str) -> Option<Self> {
        let (_, ending) = name.rsplit_once('.')?;
        Some(match ending.to_ascii_lowercase().as_str() {
            "line" => Self::Line,
            "mid" | "midi" => Self::Midi,
            "musicxml" | "xml" => Self::MusicXml,
            "mxl" => Self::Mxl,
            "csv" => Self::Csv,
            _ => return None,
        })
    }
}

/// A line that was read, and what its file holds beyond it.
#[derive(Clone, Debug, PartialEq)]
pub struct Read {
    /// The line.
    pub line: Line,
    /// What was not kept or had to be decided, each a sentence for the reader of the file.
    pub notes: Vec<String>,
}

/// Reads a line from the bytes of a file; `name` chooses the reader by its ending (see
/// [`Format::of`]) and stands in the messages.
///
/// # Errors
/// See [`LineReadError`]. No input makes it panic.
pub fn read_bytes(name: &str, bytes: &[u8]) -> Result<Line, LineReadError> {
    read_part(name, bytes, None).map(|read| read.line)
}

/// Reads one part of a file, and what is to be said of it; else as [`read_bytes`].
///
/// # Errors
/// See [`LineReadError`]. No input makes it panic.
pub fn read_part(
    name: &str,
    bytes: &[u8],
    part: Option<&PartChoice>,
) -> Result<Read, LineReadError> {
    let format = Format::of(name);
    let name = name.to_owned();
    let alone = |line| Read {
        line,
        notes: Vec::new(),
    };
    if let (Some(Format::Line | Format::Csv), Some(part)) = (format, part) {
        let part = part.to_string();
        return Err(LineReadError::OnePart { name, part });
    }
    let text = || {
        std::str::from_utf8(bytes).map_err(|error| LineReadError::NotUtf8 {
            name: name.clone(),
            offset: error.valid_up_to(),
        })
    };
    let of_xml = |error| LineReadError::MusicXml {
        name: name.clone(),
        error: Box::new(error),
    };
    match format {
        Some(Format::Line) => read_text(text()?)
            .map(alone)
            .map_err(|error| LineReadError::Text {
                name: name.clone(),
                error: Box::new(error),
            }),
        Some(Format::Midi) => {
            midi::read_midi_part(bytes, part).map_err(|error| LineReadError::Midi {
                name,
                error: Box::new(error),
            })
        }
        Some(Format::MusicXml) => musicxml::read_musicxml(bytes, part).map_err(of_xml),
        Some(Format::Mxl) => musicxml::read_mxl(bytes, part).map_err(of_xml),
        Some(Format::Csv) => csv::read_csv(text()?).map_err(|error| LineReadError::Csv {
            name: name.clone(),
            error: Box::new(error),
        }),
        None => Err(LineReadError::UnknownFormat { name }),
    }
}

/// Writes a line as the bytes of a file of that format. The file says in itself that `by` wrote it:
/// in a comment, a text event or the comment of the archive.
///
/// What the format cannot hold is left out: see [`unheld`].
pub fn write_bytes(line: &Line, format: Format, by: &str) -> Vec<u8> {
    match format {
        Format::Line => format!("; {by}\n{}", write_text(line)).into_bytes(),
        Format::Midi => write_midi(line, by),
        Format::MusicXml => write_musicxml(line, by).into_bytes(),
        Format::Mxl => musicxml::write_mxl(line, by),
        Format::Csv => write_csv(line, by).into_bytes(),
    }
}
