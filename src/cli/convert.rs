//! `seamline convert`: a line from one format to another.

use std::path::PathBuf;

use clap::Args;

use super::failure::Failure;
use super::hand::{HandOptions, fingered};
use super::options::{PartOption, Target};
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, line_file};
use crate::music::theory::Key;
use crate::music::transpose::{Transposition, transposed};

/// What a converted line says it was written by.
const WRITTEN_BY: &str = "seamline convert";

/// Convert a line from one format to another
///
/// The formats are told by the endings of the names: .line, .mid, .musicxml, .xml,
/// .mxl (compressed MusicXML) and .csv (a table of notes). What the new format
/// cannot hold is listed.
#[derive(Args, Debug)]
#[command(after_help = "Example:\n  \
    seamline convert demo-data/harbour-walk.line walk.musicxml --transpose +2\n\n\
    Exit code: 0 done, also where something could not be held; 2 wrong usage or\n\
    input.")]
pub(super) struct ConvertArguments {
    /// The line to read
    #[arg(value_name = "IN")]
    input: PathBuf,

    /// The file to write
    #[arg(value_name = "OUT")]
    output: PathBuf,

    /// Move the line: by semitones, as in `+2` and `-3`, or to a key, as in `Eb` and `C minor`
    #[arg(
        long,
        value_name = "SEMITONES|KEY",
        value_parser = transposition,
        allow_hyphen_values = true
    )]
    transpose: Option<Transposition>,

    /// Write string, fret and finger on every note; what the line gives stays
    #[arg(long)]
    finger: bool,

    #[command(flatten)]
    hand: HandOptions,

    #[command(flatten)]
    part: PartOption,

    #[command(flatten)]
    replace: ReplaceOption,
}

/// How far a line is to be moved.
fn transposition(text: &str) -> Result<Transposition, String> {
    if let Ok(semitones) = text.trim().parse() {
        return Ok(Transposition::Semitones(semitones));
    }
    let key: Result<Key, _> = text.parse();
    key.map(Transposition::To)
        .map_err(|error| format!("neither a number of semitones (-127 to 127) nor a key: {error}"))
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &ConvertArguments) -> u8 {
    match convert(arguments) {
        Ok(()) => DONE,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn convert(arguments: &ConvertArguments) -> Result<(), Failure> {
    let format = line_file::format_of(&arguments.output)?;
    let planned = [Planned::new(&arguments.output, WRITTEN_BY)];
    written::check(&planned, &[&arguments.input], arguments.replace)?;
    let mut line = arguments.part.read(&arguments.input)?;
    if let Some(by) = arguments.transpose {
        line =
            transposed(&line, by).map_err(|error| Failure::new(format!("--transpose: {error}")))?;
    }
    if arguments.finger {
        line = fingered(&line, &arguments.hand)?;
    }
    line_file::write(&line, &Target::new(&arguments.output), format, WRITTEN_BY)
}
