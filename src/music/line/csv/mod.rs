//! A table of notes, for spreadsheets and other programs: reader and writer.
//!
//! The text is CSV (RFC 4180) with a line of column names. Lines that begin with `#` stand above it
//! and say what holds for the whole line, as the header of a `.line` does: `# title: ...`,
//! `# tempo: 96`, `# key: A minor`, `# tuning: E1 A1 D2 G2`, `# swing: 2:1`, `# pickup: 1` (quarters
//! before bar 1), `# end: 16` (the end of the last bar, in quarters from bar 1).
//!
//! | column | what it holds | needed |
//! |---|---|---|
//! | `start` | onset in quarter notes from the start of bar 1, negative in a pick-up: `2.5`, `7/3` | yes |
//! | `length` | length in quarter notes, ties added up | yes |
//! | `midi` | the pitch as it sounds, a MIDI note number | yes |
//! | `string`, `fret` | where it lies, string 1 the thinnest | |
//! | `finger` | 1 to 4 | |
//! | `marks` | `ghost`, `staccato`, `accent`, `breath`, `slurred`, `hammered`, `pulled`, `slid` | |
//! | `meter` | the meter of the bar it begins in; 4/4 until the first | |
//! | `beat` | tells, with the meter, where that bar begins | |
//! | `bar`, `note` | for people; not read | |
//!
//! Rows with the same `start` and `length` are a chord; what no note covers is rest. Repeats are
//! played out.

mod reader;
mod writer;

pub use reader::read_csv;
pub use writer::write_csv;

use super::error::LineFault;

/// The columns, in the order in which they are written.
const COLUMNS: [&str; 11] = [
    "start", "length", "bar", "beat", "meter", "midi", "note", "string", "fret", "finger", "marks",
];

/// Why a table cannot be taken as a line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CsvError {
    /// A column that is needed is missing.
    #[error("there is no column `{name}`; a table of notes needs start, length and midi")]
    NoColumn {
        /// The column.
        name: &'static str,
    },
    /// Something in a row or line above the table.
    #[error("line {line}: {what}")]
    Row {
        /// The text line, from 1.
        line: u64,
        /// What is wrong, and what is allowed.
        what: String,
    },
    /// Notes that overlap.
    #[error(
        "line {line}: this note begins before the one above it ends; a line has one voice (rows with the same start and length are a chord)"
    )]
    TwoVoices {
        /// The text line of the later one.
        line: u64,
    },
    /// More rows or bars than a line may have.
    #[error("the table has more than {limit} {what}; cut it into parts")]
    TooLong {
        /// Rows or bars.
        what: &'static str,
        /// The limit.
        limit: usize,
    },
    /// What was read breaks the rules of a line.
    #[error(transparent)]
    Line(#[from] LineFault),
}
