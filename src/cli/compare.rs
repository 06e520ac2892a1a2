//! `seamline compare`: the same line played before and after, and what of it changed.

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::many;
use super::options::{LineOptions, Target};
use super::pages::{PagesOptions, mark};
use super::played::{AsPlayed, HowPlayed, as_played};
use super::score::read_strings;
use super::values::{self, MarkChoice};
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, output};
use crate::compare::across::across;
use crate::compare::judgement::Judgement;
use crate::progress::rows;
use crate::report::across::json::{self, BY_COMPARE};
use crate::report::across::{self as report, Across, AcrossSettings};
use crate::report::html;
use crate::session::known::KnownInstrument;
use crate::session::offline::score_take;
use crate::session::result::TakeResult;
use crate::sound;
use crate::words;

/// Hold takes of one line against each other: what got better
///
/// Judges each take as `score` does and holds every join and every note of the earlier passes against the
/// later ones: better, worse, alike, or not to be told yet. A take may hold several passes; each is one
/// sample. The first half of the takes is the earlier side (--before says how many), of a single take the
/// first half of its passes. What is called better or worse is noise in 5 of 100 cases at most.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline compare demo-data/lantern-stairs-flawed.wav demo-data/lantern-stairs-clean.wav --line demo-data/lantern-stairs.line\n  \
    seamline compare monday.wav tuesday.wav friday.wav --before 2 --line my.line\n\n\
    Exit code: 0 done, 2 wrong usage or input, or a take that holds nothing of the line.")]
pub(super) struct CompareArguments {
    /// Sound files, the oldest first (WAV, FLAC, MP3, M4A, Ogg Vorbis)
    #[arg(value_name = "TAKE", required = true)]
    takes: Vec<PathBuf>,

    /// The written line: a .line, MIDI, MusicXML or .csv file; a take that `play` kept knows its own
    #[arg(long, value_name = "LINE")]
    line: Option<PathBuf>,

    /// How many takes (of a single take: passes) are the earlier side; half of them without
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    before: Option<u16>,

    #[command(flatten)]
    options: LineOptions,

    /// The takes were played to a click at the line's tempo
    #[arg(long)]
    click: bool,

    /// Frequency of A4 in hertz, 415 to 466; 440 when nothing else is known
    #[arg(long, value_name = "HZ", value_parser = values::a4)]
    a4: Option<f64>,

    /// What `tune --keep` measured of the instrument's strings
    #[arg(long, value_name = "FILE.json")]
    strings: Option<PathBuf>,

    /// Write everything that was compared as JSON; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    json: Option<PathBuf>,

    #[command(flatten)]
    pages: PagesOptions,

    #[command(flatten)]
    replace: ReplaceOption,

    /// Show everything that was compared
    #[arg(long)]
    all: bool,

    /// Set one of the marks printed by `score --verbose`, as in `gap_ms=50`; may be given again
    #[arg(long = "mark", value_name = "NAME=VALUE")]
    marks: Vec<MarkChoice>,
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &CompareArguments) -> u8 {
    match compare(arguments) {
        Ok(code) => code,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn compare(arguments: &CompareArguments) -> Result<u8, Failure> {
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
    let asked = before(arguments.takes.len(), arguments.before)?;
    let (heard, code) = judged(arguments, asked, &known)?;
    let across = held(heard, arguments)?;
    match &target {
        Some(Target::Standard) => output::print(json::object(&across).as_bytes())?,
        Some(Target::File(path)) => output::write_file(path, json::object(&across).as_bytes())?,
        None => {}
    }
    let pages = &arguments.pages;
    let page = || Ok(html::across::page(&across, &mark(BY_COMPARE)));
    let pictures = || html::across::pictures(&across, &mark(BY_COMPARE));
    pages.write(
        page,
        pictures,
        BY_COMPARE,
        (&inputs(arguments), arguments.replace),
    )?;
    if !matches!(target, Some(Target::Standard)) && !pages.is_to_standard() {
        let settings = AcrossSettings {
            columns: output::columns(),
            colour: output::colour_wanted(),
            all: arguments.all,
        };
        output::print(report::page(&across, &settings).as_bytes())?;
    }
    Ok(code)
}

/// How many takes are the earlier side; `None` of a single take, whose passes are not known yet.
fn before(takes: usize, asked: Option<u16>) -> Result<Option<usize>, Failure> {
    if takes == 1 {
        return Ok(None);
    }
    let before = asked.map_or(takes / 2, usize::from);
    if before >= takes {
        return Err(Failure::new(format!(
            "--before {before}: of {takes} takes at most {} can be the earlier side",
            takes - 1
        )));
    }
    Ok(Some(before))
}

/// Takes that could be judged, with how many of them are the earlier side (`None` of a single take asked for).
type Heard = (Vec<TakeResult>, Option<usize>);

/// Judges all takes; those that cannot be are named and left out, with the exit code of a failure.
fn judged(
    arguments: &CompareArguments,
    before: Option<usize>,
    known: &KnownInstrument,
) -> Result<(Heard, u8), Failure> {
    let mut code = DONE;
    let mut results: Vec<TakeResult> = Vec::new();
    let mut earlier = before;
    let mut content: Option<(PathBuf, String)> = None;
    let mut at = 0;
    let judge = |take: &PathBuf| judge_take(take, arguments, known);
    many::in_order(&arguments.takes, judge, |take, judged| {
        let is_earlier = before.is_some_and(|before| at < before);
        at += 1;
        let failed = match judged {
            Ok((result, line)) => {
                let (first, of_first) = content.get_or_insert_with(|| (take.clone(), line.clone()));
                if *of_first != line {
                    return Err(Failure::new(format!(
                        "{}: not the line of {}; takes of one line can be compared, name it with --line LINE",
                        take.display(),
                        first.display()
                    )));
                }
                if result.judgement.is_judged() {
                    results.push(result);
                    return Ok(());
                }
                Failure::new(format!(
                    "{}: nothing of the line or of the bars asked for was recognised; `seamline score` says more",
                    take.display()
                ))
            }
            Err(failure) => failure,
        };
        // A take that cannot be judged must not cost the others what they tell.
        failed.say();
        code = FAILED;
        if is_earlier {
            earlier = earlier.map(|earlier| earlier - 1);
        }
        Ok(())
    })?;
    Ok(((results, earlier), code))
}

/// Holds them against each other.
fn held((takes, earlier): Heard, arguments: &CompareArguments) -> Result<Across, Failure> {
    let passes = |take: &TakeResult| {
        take.judgement
            .passes
            .iter()
            .filter(|pass| pass.judged)
            .count()
    };
    let before = match (earlier, takes.as_slice()) {
        (Some(before), _) => before,
        (None, [only]) => {
            let passes = passes(only);
            let before = arguments.before.map_or(passes / 2, usize::from);
            if before == 0 || before >= passes {
                return Err(Failure::new(format!(
                    "{}: {} that could be judged; a comparison needs one at least on either side: name more \
                     takes, or another --before",
                    only.take.file,
                    words::count_of(passes, "pass", "passes")
                )));
            }
            before
        }
        // What is wrong with the only take has been said.
        (None, _) => return Err(Failure::new("nothing is left to compare")),
    };
    if earlier.is_some() && (before == 0 || before == takes.len()) {
        let side = if before == 0 { "earlier" } else { "later" };
        return Err(Failure::new(format!(
            "no take of the {side} side could be judged, so there is nothing to compare"
        )));
    }
    let judgements: Vec<&Judgement> = takes.iter().map(|take| &take.judgement).collect();
    let comparison = across(&judgements, before);
    Ok(Across {
        takes,
        before,
        comparison,
    })
}

/// What can be known to be wrong before anything is read.
fn check_files(arguments: &CompareArguments, target: Option<&Target>) -> Result<(), Failure> {
    let standard = Path::new("-");
    if arguments.takes.iter().any(|take| take == standard) {
        return Err(Failure::new(
            "`-`: takes that are compared are files; name them, the oldest first",
        ));
    }
    if arguments.line.as_deref() == Some(standard) {
        return Err(Failure::new(
            "--line -: a line is read from a file, not from standard input",
        ));
    }
    for (at, take) in arguments.takes.iter().enumerate() {
        if arguments.takes[..at].contains(take) {
            return Err(Failure::new(format!(
                "{}: this take is named twice; the same sound tells nothing of a change",
                take.display()
            )));
        }
    }
    arguments.pages.check_beside(target)?;
    let mut planned: Vec<Planned> = arguments.pages.planned(BY_COMPARE).into_iter().collect();
    if let Some(Target::File(path)) = target {
        planned.push(Planned::new(path, BY_COMPARE));
    }
    written::check(&planned, &inputs(arguments), arguments.replace)
}

/// The files that are read and never written.
fn inputs(arguments: &CompareArguments) -> Vec<&Path> {
    let mut inputs: Vec<&Path> = arguments.takes.iter().map(PathBuf::as_path).collect();
    inputs.extend(arguments.line.as_deref());
    inputs.extend(arguments.strings.as_deref());
    inputs
}

/// A judged take, and what tells its line apart.
fn judge_take(
    path: &Path,
    arguments: &CompareArguments,
    known: &KnownInstrument,
) -> Result<(TakeResult, String), Failure> {
    let how = HowPlayed {
        line: arguments.line.as_deref(),
        options: &arguments.options,
        marks: &arguments.marks,
        strings: arguments.strings.as_deref(),
        a4: arguments.a4,
        click: arguments.click,
    };
    let AsPlayed { line, settings, .. } = as_played(path, &how, known)?;
    let mut source = sound::file::open(path).map_err(Failure::of)?;
    let name = path.display().to_string();
    let judged = score_take(&name, source.as_mut(), &line, &settings).map_err(Failure::of)?;
    Ok((judged, rows::content(&line)))
}
