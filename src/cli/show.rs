//! `seamline show`: a line as tab in the terminal, and what the program understood of it.

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::hand::HandOptions;
use super::options::{LineOptions, Part, Target};
use super::paper::PaperOptions;
use super::values::BarChoice;
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, output};
use crate::music::fingering::{Hand, MOST_WAYS, Way, plan};
use crate::music::line::Line;
use crate::report::show::{self, ShowSettings};
use crate::report::{neck, show_json};
use crate::sound::{self, SoundError};
use crate::words;

/// Show a line: tab, chords, degrees, fingers, shifts; and check it
///
/// Tells all faults of a line at once, with the place of each; of a line without faults, what was
/// understood, and the line as tab.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline show demo-data/lantern-stairs.line\n  \
    seamline show demo-data/lantern-stairs.line --neck 5\n  \
    seamline show demo-data/harbour-walk.line --bars 1-4 --names\n  \
    seamline show demo-data/harbour-walk.line --ways 3 --open avoided\n  \
    seamline show demo-data/harbour-walk.line --pdf walk.pdf --fingers --degrees\n\n\
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

    /// The fingers that were worked out for all notes, not only those that the line gives
    #[arg(long)]
    fingers: bool,

    /// Ways to finger the line instead, up to this many, each with what it costs
    #[arg(long, value_name = "N", conflicts_with_all = ["neck", "fingers", "json"],
          value_parser = clap::value_parser!(u8).range(1..=MOST_WAYS as i64))]
    ways: Option<u8>,

    #[command(flatten)]
    hand: HandOptions,

    #[command(flatten)]
    paper: PaperOptions,
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
    let mut planned = arguments.paper.planned()?;
    match &target {
        Some(Target::File(path)) => planned.push(Planned::new(path, show_json::WRITTEN_BY)),
        Some(Target::Standard) if arguments.paper.is_to_standard() => {
            return Err(Failure::new(
                "--json and a page cannot both go to standard output; name a file for one of them",
            ));
        }
        _ => {}
    }
    written::check(&planned, &[&arguments.line], arguments.replace)?;
    refuse_take(&arguments.line)?;
    let hand = arguments.hand.hand()?;
    let Part { line, .. } = arguments.options.read_at_tempo(&arguments.line)?;
    // By their printed numbers: a page shows each bar once, however often it is played.
    let bars = arguments.options.bars.map(|bars| (bars.from, bars.to));
    let ways = plan(&line, line.instrument(), &hand);
    let Some(way) = ways.first() else {
        return Err(Failure::new(format!(
            "{}: there is no way to finger this line; check its tuning",
            arguments.line.display()
        )));
    };
    if let Some(target) = &target {
        let text = show_json::object(&line, way, bars, arguments.fingers);
        match target {
            Target::Standard => output::print(text.as_bytes())?,
            Target::File(path) => output::write_file(path, text.as_bytes())?,
        }
    }
    if arguments.paper.is_asked() {
        return printed(arguments, &line, bars, &hand);
    }
    if matches!(target, Some(Target::Standard)) {
        return Ok(());
    }
    output::print(text(arguments, &line, bars, &ways, way)?.as_bytes())
}

/// What goes to the terminal.
fn text(
    arguments: &ShowArguments,
    line: &Line,
    bars: Option<(u32, u32)>,
    ways: &[Way],
    way: &Way,
) -> Result<String, Failure> {
    let columns = output::columns();
    let fingers = arguments.fingers;
    let settings = ShowSettings {
        bars,
        columns,
        names: arguments.names,
        fingers,
    };
    if let Some(most) = arguments.ways {
        if usize::from(most) > ways.len() {
            output::note(&format!(
                "There {} only {} that {} clearly different.",
                words::plural(ways.len(), "is", "are"),
                words::count(ways.len(), "way"),
                words::plural(ways.len(), "is", "are")
            ));
        }
        let most = usize::from(most).min(ways.len());
        return Ok(show::ways(line, &ways[..most], settings));
    }
    let Some(choice) = arguments.neck else {
        return Ok(show::page(line, way, settings));
    };
    let bars = (choice.from, choice.to);
    line.stretches(bars.0..=bars.1)
        .map_err(|error| Failure::new(format!("--neck: {error}")))?;
    Ok(neck::diagrams(line, way, fingers, bars, columns))
}

/// Writes the bars asked for as pages.
fn printed(
    arguments: &ShowArguments,
    line: &Line,
    bars: Option<(u32, u32)>,
    hand: &Hand,
) -> Result<(), Failure> {
    let part = bars.map(|(from, to)| line.bars_range(from..=to));
    let part = part
        .transpose()
        .map_err(|error| Failure::new(format!("{}: {error}", arguments.line.display())))?;
    let line = part.as_ref().unwrap_or(line);
    let ways = plan(line, line.instrument(), hand);
    let Some(way) = ways.first() else {
        return Ok(());
    };
    arguments.paper.write(
        line,
        way,
        arguments.fingers,
        (&[&arguments.line], arguments.replace),
    )
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
