//! `seamline study`: a line built from chord symbols and scales.

use std::path::PathBuf;

use clap::Args;
use clap::builder::PossibleValuesParser;

use super::failure::Failure;
use super::hand::{HandOptions, fingered};
use super::options::Target;
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, line_file, output, values};
use crate::music::instrument::{Instrument, Tuning};
use crate::music::line::{Format, Meter, Tempo};
use crate::music::study::{
    Direction, From, NoteValue, Octaves, Round, Settings, Study, read_items, study,
};
use crate::music::theory::{Degree, Key};
use crate::words;

/// What a study says it was written by, in its first line.
const WRITTEN_BY: &str = "seamline study";

/// Build a line from chord symbols or scales
///
/// Each chord becomes an arpeggio of all its tones, one octave up and down (two for ninths and
/// beyond), its symbol above it. Scales and modes go by name: "D dorian", "C minor pentatonic".
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline study \"Dm7 G7/B Cmaj7\" -o two-five-one.line\n  \
    seamline study \"Am7 D7 Gmaj7\" --linked --round fourths\n  \
    seamline study \"D dorian\" --sequence 3 --notes triplets\n  \
    seamline study \"Bbmaj7 Gm7\" --finger --open avoided\n\n\
    Exit code: 0 done, 2 wrong usage or input.")]
pub(super) struct StudyArguments {
    /// Chord symbols, as in `Dm7 G7/B Cmaj7`, or scales, as in `D dorian`
    #[arg(value_name = "CHORDS", required = true)]
    chords: Vec<String>,

    /// The line to write; standard output when none is given
    #[arg(short = 'o', long = "write", value_name = "LINE")]
    file: Option<PathBuf>,

    #[command(flatten)]
    replace: ReplaceOption,

    /// The tone to start on: R, 3, b7 and so on, or `each` in turn
    #[arg(long, value_name = "DEGREE", value_parser = from)]
    from: Option<From>,

    /// How far each chord or scale goes
    #[arg(long, value_name = "RANGE", value_parser = PossibleValuesParser::new(["1", "2", "neck"]))]
    octaves: Option<String>,

    /// Which way each goes
    #[arg(long, value_name = "WAY", default_value = "up-down",
          value_parser = PossibleValuesParser::new(["up", "down", "up-down", "down-up"]))]
    direction: String,

    /// Groups of three or four, each begun one tone further
    #[arg(long, value_name = "NOTES", value_parser = clap::value_parser!(u8).range(3..=4))]
    sequence: Option<u8>,

    /// How long the notes are
    #[arg(long, value_name = "VALUE", default_value = "eighths",
          value_parser = PossibleValuesParser::new(["quarters", "eighths", "triplets", "sixteenths"]))]
    notes: String,

    /// Begin each chord on its tone nearest to the last note, and turn
    #[arg(long)]
    linked: bool,

    /// Move the shape of an augmented or diminished chord up the neck
    #[arg(long, conflicts_with_all = ["linked", "sequence", "octaves", "from", "round"])]
    up_the_neck: bool,

    /// Bars for each chord, 1 to 64; as many as it needs without
    #[arg(long, value_name = "BARS", value_parser = clap::value_parser!(u32).range(1..=64))]
    bars_each: Option<u32>,

    /// Move it to this key, as in `Bb major`
    #[arg(long, value_name = "KEY")]
    key: Option<Key>,

    /// Go through all twelve keys, each that far above the one before
    #[arg(long, value_name = "STEP",
          value_parser = PossibleValuesParser::new(["fourths", "fifths", "semitones"]))]
    round: Option<String>,

    /// Quarter notes a minute
    #[arg(long, value_name = "BPM", default_value = "90", value_parser = values::quarters)]
    tempo: Tempo,

    /// Meter, as in `3/4`
    #[arg(long, value_name = "METER", default_value = "4/4")]
    meter: Meter,

    /// Open strings, as in "E1 A1 D2 G2", or one of 4, 5, 6, guitar
    #[arg(long, value_name = "TUNING", value_parser = values::tuning)]
    tuning: Option<Tuning>,

    /// Title; the chords without
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,

    /// Write string, fret and finger on every note
    #[arg(long)]
    finger: bool,

    #[command(flatten)]
    hand: HandOptions,
}

/// The tone to start on.
fn from(text: &str) -> Result<From, String> {
    if text == "each" {
        return Ok(From::Each);
    }
    let degree: Result<Degree, _> = text.parse();
    degree.map(From::Degree).map_err(|error| error.to_string())
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &StudyArguments) -> u8 {
    match build(arguments) {
        Ok(()) => DONE,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn build(arguments: &StudyArguments) -> Result<(), Failure> {
    let target = arguments
        .file
        .as_deref()
        .map_or(Target::Standard, Target::new);
    if let Target::File(path) = &target {
        let planned = [Planned::new(path, WRITTEN_BY)];
        written::check(&planned, &[], arguments.replace)?;
        line_file::format_of(path)?;
    }
    let text = arguments.chords.join(" ");
    let items = read_items(&text).map_err(Failure::of)?;
    let Study { line, key_found } =
        study(&items, &settings(arguments, &text)).map_err(Failure::of)?;
    if arguments.key.is_some() || arguments.round.is_some() {
        output::note(&format!("The chords were taken to be in {key_found}."));
    }
    let line = if arguments.finger {
        fingered(&line, &arguments.hand)?
    } else {
        line
    };
    match &target {
        Target::Standard => line_file::write(&line, &target, Format::Line, WRITTEN_BY),
        Target::File(path) => {
            line_file::write(&line, &target, line_file::format_of(path)?, WRITTEN_BY)?;
            output::note(&format!(
                "{}: {}, {}",
                path.display(),
                words::count(line.bars().len(), "bar"),
                words::count(line.note_count(), "note")
            ));
            Ok(())
        }
    }
}

fn settings(arguments: &StudyArguments, text: &str) -> Settings {
    let chords = || text.split_whitespace().collect::<Vec<_>>().join(" ");
    Settings {
        instrument: Instrument::with_tuning(arguments.tuning.clone().unwrap_or_default()),
        tempo: arguments.tempo,
        meter: arguments.meter,
        title: arguments.title.clone().unwrap_or_else(chords),
        key: arguments.key,
        from: arguments.from.unwrap_or(From::Bass),
        octaves: arguments.octaves.as_deref().map(|range| match range {
            "1" => Octaves::One,
            "2" => Octaves::Two,
            _ => Octaves::Neck,
        }),
        direction: match arguments.direction.as_str() {
            "up" => Direction::Up,
            "down" => Direction::Down,
            "down-up" => Direction::DownUp,
            _ => Direction::UpDown,
        },
        sequence: arguments.sequence,
        notes: match arguments.notes.as_str() {
            "quarters" => NoteValue::Quarters,
            "triplets" => NoteValue::Triplets,
            "sixteenths" => NoteValue::Sixteenths,
            _ => NoteValue::Eighths,
        },
        linked: arguments.linked,
        up_the_neck: arguments.up_the_neck,
        bars: arguments.bars_each,
        round: arguments.round.as_deref().map(|step| match step {
            "fourths" => Round::Fourths,
            "fifths" => Round::Fifths,
            _ => Round::Semitones,
        }),
    }
}
