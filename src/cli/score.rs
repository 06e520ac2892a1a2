//! `seamline score`: judge recorded takes.

use std::path::{Path, PathBuf};

use clap::Args;

use super::FAILED;
use super::class::ClassOptions;
use super::class::jobs::jobs;
use super::data::DataOptions;
use super::failure::Failure;
use super::judge::Judge;
use super::judged::JudgedOptions;
use super::options::{LineOptions, Target};
use super::output;
use super::record::RecordOptions;
use super::scoring::Run;
use super::values::{self, MarkChoice};
use super::written::{self, ReplaceOption};
use crate::compare::usual::{ENOUGH_JOINS, usual_gaps};
use crate::session::instrument_file;
use crate::session::known::KnownInstrument;
use crate::session::result::TakeResult;

/// Judge recorded takes of a line
///
/// Listens to each take, finds the line in it, and reports every note: the right one or not,
/// early or late, with a gap before the next, over a ringing string, dead, cut short, out of tune.
///
/// Several takes make one table, those that need the teacher most first: takes that could not be judged,
/// then by the share of the notes played that have something in them (another pitch, nothing, a gap, early,
/// late, a ringing string and so on) or that nobody wrote. All cores work at it.
///
/// A take that `play` kept has a file beside it that says how it was played (take.wav:
/// take.wav.played.json). It is judged by that; options given here win.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline score demo-data/lantern-stairs-practice.wav --line demo-data/lantern-stairs.line\n  \
    seamline score take.wav --line my.line --html page.html --embed-sound\n  \
    seamline score monday/ --lines lines/ --csv monday.csv --resume monday-results\n\n\
    Names for --mark (what they mean and their values stand under a report with --verbose):\n  \
    timing_ms  gap_ms  gap_depth_db  gap_over_baseline_ms  gap_floor_ms  gap_clear_ms\n  \
    wrong_cents  unclear_cents  out_of_tune_cents\n  \
    dead_fall_db  dead_floor_db  dead_from_ms\n  \
    clipped_share  clipped_short_ms\n  \
    bleed_below_db  bleed_ms  bleed_slight_below_db\n\n\
    Exit code: 0 done, 1 done but below --pass-mark, 2 wrong usage or input, or a take that \
    holds nothing of the line or of the bars asked for.")]
pub(super) struct ScoreArguments {
    /// Sound files (WAV, FLAC, MP3, M4A, Ogg Vorbis); `-` is standard input, a folder stands for its
    /// sound files
    #[arg(value_name = "TAKE", required_unless_present = "file")]
    takes: Vec<PathBuf>,

    /// The written line: a .line, MIDI, MusicXML or .csv file; a take that `play` kept knows its own
    #[arg(long, value_name = "LINE")]
    pub(super) line: Option<PathBuf>,

    #[command(flatten)]
    pub(super) options: LineOptions,

    /// The takes were played to a click at the line's tempo
    #[arg(long)]
    pub(super) click: bool,

    /// Frequency of A4 in hertz, 415 to 466; 440 when nothing else is known
    #[arg(long, value_name = "HZ", value_parser = values::a4)]
    pub(super) a4: Option<f64>,

    /// What `tune --keep` measured of the instrument's strings
    #[arg(long, value_name = "FILE.json")]
    pub(super) strings: Option<PathBuf>,

    /// Keep the silence usually left at each kind of join in the file of --strings, so that takes
    /// too short to tell are held against it
    #[arg(long, requires = "strings")]
    pub(super) learn_gaps: bool,

    /// Write the whole result as JSON, of several takes an array; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    pub(super) json: Option<PathBuf>,

    #[command(flatten)]
    pub(super) judged: JudgedOptions,

    #[command(flatten)]
    pub(super) replace: ReplaceOption,

    /// Show every bar and every finding
    #[arg(long)]
    pub(super) all: bool,

    /// Add how well the figures are known, the marks used, and what could not be told
    #[arg(long)]
    pub(super) verbose: bool,

    /// Exit with 1 when fewer of the notes of all passes are right, in per cent
    #[arg(long, value_name = "PERCENT", value_parser = values::percent)]
    pub(super) pass_mark: Option<f64>,

    /// Set one of the marks printed with the report, as in `gap_ms=50`; may be given again
    #[arg(long = "mark", value_name = "NAME=VALUE")]
    pub(super) marks: Vec<MarkChoice>,

    #[command(flatten)]
    pub(super) record: RecordOptions,

    #[command(flatten)]
    pub(super) class: ClassOptions,
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &ScoreArguments, data: &DataOptions) -> u8 {
    match score(arguments, data) {
        Ok(code) => code,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn score(arguments: &ScoreArguments, data: &DataOptions) -> Result<u8, Failure> {
    let class = &arguments.class;
    let names_lines = arguments.line.is_some() || class.lines.is_some();
    let jobs = jobs(&arguments.takes, class.file.as_deref(), names_lines)?;
    let run = Run {
        arguments,
        data,
        is_class: class.is_class(&arguments.takes),
        several: class.is_class(&arguments.takes) || jobs.len() > 1,
        jobs,
        json: arguments.json.as_deref().map(Target::new),
    };
    run.check_files()?;
    let known = match &arguments.strings {
        Some(path) => read_strings(path)?,
        None => KnownInstrument::default(),
    };
    let judge = Judge::new(arguments, known, run.json.is_some())?;
    written::check(
        &run.planned(),
        &judge.line_files().collect::<Vec<_>>(),
        arguments.replace,
    )?;
    run.judge_all(judge)
}

/// Largest file of strings read, in bytes: a hundred times a real one.
const STRINGS_BYTES_MAX: u64 = 1 << 20;

/// Reads what `tune --keep` has measured.
pub(super) fn read_strings(path: &Path) -> Result<KnownInstrument, Failure> {
    let name = path.display();
    let opened = |error: std::io::Error| {
        Failure::new(format!(
            "{name}: cannot be read ({error}); check the path and that you may read it"
        ))
    };
    if std::fs::metadata(path).map_err(opened)?.len() > STRINGS_BYTES_MAX {
        return Err(Failure::new(format!(
            "{name}: too large for a file of strings; is this the take?"
        )));
    }
    let bytes = std::fs::read(path).map_err(opened)?;
    instrument_file::read(&bytes).map_err(|error| Failure::new(format!("{name}: {error}")))
}

/// Keeps what is usual at the joins of these takes together in the file of strings.
pub(super) fn learn_gaps(
    path: &Path,
    mut known: KnownInstrument,
    results: &[TakeResult],
) -> Result<(), Failure> {
    let gaps = usual_gaps(results.iter().flat_map(|result| &result.judgement.notes));
    if gaps.is_empty() {
        output::note(&format!(
            "no kind of join came {ENOUGH_JOINS} times; {} stays as it is",
            path.display()
        ));
        return Ok(());
    }
    for gap in &gaps {
        output::note(&format!(
            "{}: {:.0} ms usual over {} joins, kept",
            gap.join.word(),
            gap.middle_ms,
            gap.joins
        ));
    }
    known.learn_gaps(gaps);
    output::write_file(path, instrument_file::write(&known).as_bytes())
}
