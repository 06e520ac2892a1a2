//! `seamline score`: judge recorded takes.

use std::path::{Path, PathBuf};

use clap::Args;

use super::data::DataOptions;
use super::failure::Failure;
use super::judged::{JudgedOptions, JudgedTake};
use super::many;
use super::options::{LineOptions, Target};
use super::output;
use super::played::{AsPlayed, HowPlayed, as_played};
use super::record::{Practised, RecordOptions};
use super::values::{self, MarkChoice};
use super::written::{self, Planned, ReplaceOption};
use super::{BELOW, DONE, FAILED, below_mark};
use crate::compare::usual::{ENOUGH_JOINS, usual_gaps};
use crate::report::json;
use crate::report::text::{self, PageSettings};
use crate::session::instrument_file;
use crate::session::known::KnownInstrument;
use crate::session::offline::score_take;
use crate::session::result::TakeResult;
use crate::sound;

/// Judge recorded takes of a line
///
/// Listens to each take, finds the line in it, and reports every note: the right one or not,
/// early or late, with a gap before the next, over a ringing string, dead, cut short, out of tune.
///
/// A take that `play` kept has a file beside it that says how it was played (take.wav:
/// take.wav.played.json). It is judged by that; options given here win.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline score demo-data/lantern-stairs-practice.wav --line demo-data/lantern-stairs.line\n  \
    seamline score take.wav --line my.line --html page.html --embed-sound\n\n\
    Names for --mark (what they mean and their values stand under a report with --verbose):\n  \
    timing_ms  gap_ms  gap_depth_db  gap_over_baseline_ms  gap_floor_ms  gap_clear_ms\n  \
    wrong_cents  unclear_cents  out_of_tune_cents\n  \
    dead_fall_db  dead_floor_db  dead_from_ms\n  \
    clipped_share  clipped_short_ms\n  \
    bleed_below_db  bleed_ms  bleed_slight_below_db\n\n\
    Exit code: 0 done, 1 done but below --pass-mark, 2 wrong usage or input, or a take that \
    holds nothing of the line or of the bars asked for.")]
pub(super) struct ScoreArguments {
    /// Sound files (WAV, FLAC, MP3, M4A, Ogg Vorbis); `-` is standard input
    #[arg(value_name = "TAKE", required = true)]
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
    learn_gaps: bool,

    /// Write the whole result as JSON; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    json: Option<PathBuf>,

    #[command(flatten)]
    judged: JudgedOptions,

    #[command(flatten)]
    replace: ReplaceOption,

    /// Show every bar and every finding
    #[arg(long)]
    all: bool,

    /// Add how well the figures are known, the marks used, and what could not be told
    #[arg(long)]
    verbose: bool,

    /// Exit with 1 when fewer of the notes of all passes are right, in per cent
    #[arg(long, value_name = "PERCENT", value_parser = values::percent)]
    pass_mark: Option<f64>,

    /// Set one of the marks printed with the report, as in `gap_ms=50`; may be given again
    #[arg(long = "mark", value_name = "NAME=VALUE")]
    pub(super) marks: Vec<MarkChoice>,

    #[command(flatten)]
    record: RecordOptions,
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
    let target = arguments.json.as_deref().map(Target::new);
    check_files(arguments, target.as_ref())?;
    let known = match &arguments.strings {
        Some(path) => read_strings(path)?,
        None => KnownInstrument::default(),
    };
    if let Some(path) = &arguments.line {
        // What is wrong with the line itself is said once, not for each take.
        arguments.options.read_at_tempo(path)?;
    }
    let mut code = DONE;
    let mut first = true;
    let mut results = Vec::new();
    let keeps = target.is_some() || arguments.learn_gaps;
    let page = PageSettings {
        columns: output::columns(),
        colour: output::colour_wanted(),
        all: arguments.all,
        verbose: arguments.verbose,
        practise: None,
    };
    let is_text =
        !matches!(target, Some(Target::Standard)) && !arguments.judged.is_in_place_of_text();
    let judge = |take: &PathBuf| judge_take(take, arguments, &known);
    many::in_order(&arguments.takes, judge, |take, judged| {
        let (result, as_played) = match judged {
            Ok(judged) => judged,
            Err(failure) => {
                // A take that cannot be judged must not cost the others their report.
                failure.say();
                code = FAILED;
                return Ok(());
            }
        };
        if is_text {
            let practise = Some(as_played.practise.clone());
            let page = PageSettings {
                practise,
                ..page.clone()
            };
            show(&result, &page, first)?;
        }
        first = false;
        code = code.max(follow(arguments, data, take, &result, &as_played));
        if keeps {
            results.push(result);
        }
        Ok(())
    })?;
    if let Some(path) = arguments
        .strings
        .as_deref()
        .filter(|_| arguments.learn_gaps)
    {
        learn_gaps(path, known, &results)?;
    }
    if let Some(target) = target {
        write_json(&results, arguments.takes.len(), &target)?;
    }
    Ok(code)
}

/// What follows when a take was judged: its pages are written, and it goes into the record; gives the exit
/// code.
fn follow(
    arguments: &ScoreArguments,
    data: &DataOptions,
    take: &Path,
    result: &TakeResult,
    as_played: &AsPlayed,
) -> u8 {
    let read = inputs(arguments);
    let guarded = (read.as_slice(), arguments.replace);
    let judged = JudgedTake {
        result,
        take,
        practise: &as_played.practise,
        a4: as_played.settings.a4,
    };
    let written = arguments.judged.write(judged, guarded);
    // What cannot be written must not keep the take out of the record.
    let code = pass(result, arguments.pass_mark);
    record(arguments, data, take, result, as_played);
    match written {
        Ok(()) => code,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

/// What can be known to be wrong before anything is read.
fn check_files(arguments: &ScoreArguments, target: Option<&Target>) -> Result<(), Failure> {
    let standard = Path::new("-");
    if arguments
        .takes
        .iter()
        .filter(|take| *take == standard)
        .count()
        > 1
    {
        return Err(Failure::new(
            "`-` stands twice among the takes; standard input can be read only once",
        ));
    }
    if arguments.line.as_deref() == Some(standard) {
        return Err(Failure::new(
            "--line -: a line is read from a file, not from standard input",
        ));
    }
    let to_standard = matches!(target, Some(Target::Standard));
    arguments.judged.check(&arguments.takes, to_standard)?;
    let mut planned = Vec::new();
    planned.extend(arguments.judged.planned());
    if let Some(strings) = arguments
        .strings
        .as_deref()
        .filter(|_| arguments.learn_gaps)
    {
        // What is learnt is added to what `tune` has written there.
        planned.push(Planned::new(strings, instrument_file::WRITTEN_BY));
    }
    if let Some(Target::File(path)) = target {
        planned.push(Planned::new(path, json::BY_SCORE));
    }
    written::check(&planned, &inputs(arguments), arguments.replace)
}

/// The files that are read and never written.
fn inputs(arguments: &ScoreArguments) -> Vec<&Path> {
    let mut inputs: Vec<&Path> = arguments.takes.iter().map(PathBuf::as_path).collect();
    inputs.extend(arguments.line.as_deref());
    inputs.extend(
        arguments
            .strings
            .as_deref()
            .filter(|_| !arguments.learn_gaps),
    );
    inputs
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
fn learn_gaps(
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

fn judge_take(
    path: &Path,
    arguments: &ScoreArguments,
    known: &KnownInstrument,
) -> Result<(TakeResult, AsPlayed), Failure> {
    let name = path.display().to_string();
    let as_played = as_played(path, &HowPlayed::of(arguments), known)?;
    let mut source = sound::file::open(path).map_err(Failure::of)?;
    let judged = score_take(&name, source.as_mut(), &as_played.line, &as_played.settings);
    Ok((judged.map_err(Failure::of)?, as_played))
}

/// Puts a judged take into the record. Of several takes, of standard input and of another line nobody
/// knows whose practice it was: they go in only when the player is named.
fn record(
    arguments: &ScoreArguments,
    data: &DataOptions,
    take: &Path,
    result: &TakeResult,
    as_played: &AsPlayed,
) {
    let own = arguments.takes.len() == 1 && take != Path::new("-") && result.judgement.is_judged();
    if !own && !arguments.record.names_player() {
        return;
    }
    let line = &as_played.line;
    let practised = Practised {
        line,
        tempo_bpm: line.tempo().quarters_per_minute() / as_played.practise.share,
        line_file: Path::new(&as_played.practise.line),
        part: as_played.part.clone(),
        take,
        result,
        rig: as_played.rig.clone(),
        date: as_played.date.as_deref(),
    };
    arguments.record.keep(data, &practised);
}

/// Prints the text of one take, an empty line before every one but the first.
fn show(result: &TakeResult, settings: &PageSettings, first: bool) -> Result<(), Failure> {
    let mut page = if first {
        String::new()
    } else {
        "\n".to_owned()
    };
    page.push_str(&text::page(result, settings));
    output::print(page.as_bytes())
}

/// The exit code of one take: whether anything of what was asked for could be judged; by the pass
/// mark over all judged passes, with a word on standard error when it was not reached.
pub(super) fn pass(result: &TakeResult, mark: Option<f64>) -> u8 {
    if !result.judgement.is_judged() {
        return FAILED;
    }
    match below_mark(&result.judgement, mark) {
        None => DONE,
        Some(below) => {
            output::note(&format!("{}: {below}", result.take.file));
            BELOW
        }
    }
}

/// One object for one take, an array when several were asked for.
fn write_json(results: &[TakeResult], asked: usize, target: &Target) -> Result<(), Failure> {
    let text = match results {
        [] => return Ok(()), // Nothing was judged; what failed has been said.
        [only] if asked == 1 => json::object(only),
        several => json::array(several),
    };
    match target {
        Target::Standard => output::print(text.as_bytes()),
        Target::File(path) => output::write_file(path, text.as_bytes()),
    }
}
