//! `seamline show`: a line as tab in the terminal, and what the program understood of it.

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::options::{LineOptions, Part, Target};
use super::values::BarChoice;
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, output};
use crate::report::{neck, show, show_json};
use crate::sound::{self, SoundError};

/// Show a line: tab, chords, degrees, fingers, shifts; and check it
///
/// Tells all faults of a line at once, with the place of each; of a line without faults, what was
/// understood, and the line as tab.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline show demo-data/lantern-stairs.line\n  \
    seamline show demo-data/lantern-stairs.line --neck 5\n  \
    seamline show demo-data/harbour-walk.line --bars 1-4 --names\n\n\
    Exit code: 0 done, 2 wrong usage, or a line with faults.")]
pub(super) struct ShowArguments {
    /// The written line: a .line or MIDI file
    #[arg(value_name = "LINE")]
    line: PathBuf,

    #[command(flatten)]
    options: LineOptions,

    /// Name the notes beneath the strings, as their chord spells them
    #[arg(long)]
    names: bool,

    /// The notes of these bars on the neck instead, as in `5` or `5-6`
    #[arg(long, value_name = "A-B")]
    neck: Option<BarChoice>,

    /// Every note with its place, finger and degree as JSON; `-` is standard output
    #[arg(long, value_name = "PATH")]
    json: Option<PathBuf>,

    #[command(flatten)]
    replace: ReplaceOption,
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &ShowArguments) -> u8 {
    match shown(arguments) {
        Ok(()) => DONE,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn shown(arguments: &ShowArguments) -> Result<(), Failure> {
    let target = arguments.json.as_deref().map(Target::new);
    if let Some(Target::File(path)) = &target {
        let planned = [Planned::new(path, show_json::WRITTEN_BY)];
        written::check(&planned, &[&arguments.line], arguments.replace)?;
    }
    refuse_take(&arguments.line)?;
    let Part { line, bars, .. } = arguments.options.read_at_tempo(&arguments.line)?;
    if let Some(target) = &target {
        let text = show_json::object(&line, bars);
        match target {
            Target::Standard => return output::print(text.as_bytes()),
            Target::File(path) => output::write_file(path, text.as_bytes())?,
        }
    }
    let columns = output::columns();
    let text = match arguments.neck {
        Some(choice) => {
            let bars = choice
                .played_in(&line)
                .map_err(|error| Failure::new(format!("--neck: {error}")))?;
            bars.into_iter()
                .map(|bars| neck::diagrams(&line, bars, columns))
                .collect::<Vec<_>>()
                .join("\n")
        }
        None => show::page(
            &line,
            show::ShowSettings {
                bars,
                columns,
                names: arguments.names,
            },
        ),
    };
    output::print(text.as_bytes())
}

/// Says what a take is for, where one is given instead of a line. What it is is told by its content.
fn refuse_take(path: &Path) -> Result<(), Failure> {
    // A pipe can be read only once; what is not there is told where lines are read.
    if !std::fs::metadata(path).is_ok_and(|there| there.is_file()) {
        return Ok(());
    }
    let is_sound = match sound::file::open(path) {
        Ok(_) => true,
        Err(error) => !matches!(
            error,
            SoundError::WrongType { .. } | SoundError::Empty { .. } | SoundError::Open { .. }
        ),
    };
    if !is_sound {
        return Ok(());
    }
    let name = path.display();
    Err(Failure::new(format!(
        "{name}: this is a recorded take, and a line is shown; hold it against its line with \
         `seamline score {name} --line LINE`"
    )))
}
