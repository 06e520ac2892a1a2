//! `seamline convert`: a line from one format to another.

use std::path::PathBuf;

use clap::Args;

use super::failure::Failure;
use super::options::{PartOption, Target};
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, output};
use crate::music::line::{Format, unheld, write_bytes};

/// What a converted line says it was written by.
const WRITTEN_BY: &str = "seamline convert";

/// Convert a line from one format to another
///
/// The formats are told by the endings of the names: .line, .mid, .musicxml, .xml, .mxl (compressed MusicXML) and .csv (a table of
/// notes). What the new format cannot hold is listed.
#[derive(Args, Debug)]
#[command(after_help = "Example:\n  \
    seamline convert demo-data/harbour-walk.line walk.musicxml\n\n\
    Exit code: 0 done, also where something could not be held; 2 wrong usage or\n\
    input.")]
pub(super) struct ConvertArguments {
    /// The line to read
    #[arg(value_name = "IN")]
    input: PathBuf,

    /// The file to write
    #[arg(value_name = "OUT")]
    output: PathBuf,

    #[command(flatten)]
    part: PartOption,

    #[command(flatten)]
    replace: ReplaceOption,
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
    let name = arguments.output.display().to_string();
    let format = Format::of(&name).ok_or_else(|| {
        Failure::new(format!(
            "{name}: the ending says no format; it is one of .line, .mid, .musicxml, .xml, .mxl \
             and .csv"
        ))
    })?;
    let planned = [Planned::new(&arguments.output, WRITTEN_BY)];
    written::check(&planned, &[&arguments.input], arguments.replace)?;
    let line = arguments.part.read(&arguments.input)?;
    let bytes = write_bytes(&line, format, WRITTEN_BY);
    match Target::new(&arguments.output) {
        Target::Standard => output::print(&bytes)?,
        Target::File(path) => output::write_file(&path, &bytes)?,
    }
    let lost = unheld(&line, format);
    if !lost.is_empty() {
        output::note(&format!("{name} cannot hold:"));
        for what in lost {
            output::note(&format!("  {what}"));
        }
    }
    Ok(())
}
