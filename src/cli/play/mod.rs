//! `seamline play`: play along, live.

pub(super) mod backing;
mod loops;
mod told;

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use clap::Args;
use clap::builder::PossibleValuesParser;

use self::backing::{BackingOptions, HEADPHONES};
use super::data::DataOptions;
use super::devices::{DeviceOptions, pair, stop_on_signals, without_output};
use super::failure::Failure;
use super::judged::TakePages;
use super::options::{LineOptions, Target};
use super::played::played;
use super::record::{Practised, RecordOptions};
use super::score::read_strings;
use super::sound::CAUTION;
use super::values::{self, MarkChoice};
use super::written::{self, Planned, ReplaceOption};
use super::{FAILED, output};
use crate::compare::marks::Marks;
use crate::report::json;
use crate::session::known::KnownInstrument;
use crate::session::live::input::Input;
use crate::session::live::{Devices, LiveSettings, Session};
use crate::sound::block::Source;
use crate::sound::click::{self, Beats, ClickPattern};
use crate::sound::device::{Capture, Playback};
use crate::tui;
use crate::tui::plain::{NOTICE, Teller};
use crate::tui::run::{LeftBy, Options};
use crate::units::Hertz;

/// How long an unattended session waits for a device that is gone, in seconds.
const WAIT_S: u64 = 30;

/// Play along with a line, live
///
/// Counts in, listens to what is played, and shows while it is played which note sounds, how each
/// join went and which string rings; after each pass, which joins leave gaps. The sound is kept,
/// so that `seamline score` can judge it again. Press ? for the keys.
#[derive(Args, Debug)]
#[command(after_help = "Example:\n  \
    seamline play demo-data/lantern-stairs.line --tempo 70%\n\n\
    One join, slower than written, faster as it gets clean:\n  \
    seamline play demo-data/lantern-stairs.line --join 2:4.5 --tempo 70% --ladder\n\n\
    For a script, unattended:\n  \
    seamline play demo-data/lantern-stairs.line --plain --passes 1 \\\n    \
    --click off --count-in 0 --keep take.wav --json take.json\n\n\
    With a backing track whose bar 1 begins at 2.35 seconds:\n  \
    seamline play demo-data/lantern-stairs.line --tempo 75% \\\n    \
    --backing track.flac --backing-start 2.35\n\n\
    With the click off the timing is free, as for a recorded take; a pass ends when\n\
    the line has been played, or after three seconds of silence.\n\n\
    Exit code: 0 done, 1 done but below --pass-mark, 2 wrong usage or input, no\n\
    device or one that stayed away, or stopped by a signal. The take is kept.")]
pub(super) struct PlayArguments {
    /// The written line: a .line, MIDI, MusicXML or .csv file
    #[arg(value_name = "LINE")]
    pub(super) line: PathBuf,

    #[command(flatten)]
    pub(super) options: LineOptions,

    /// Click on every beat, on the second and fourth alone, or only count in
    #[arg(long, value_name = "BEATS", default_value = "all",
          value_parser = PossibleValuesParser::new(["all", "2-4", "off"]))]
    pub(super) click: String,

    /// Clicks to a beat, 1 to 4
    #[arg(long, value_name = "N", default_value = "1",
          value_parser = clap::value_parser!(u8).range(1..=i64::from(click::PARTS_MAX)))]
    pub(super) click_parts: u8,

    /// Leave the click out of every second bar
    #[arg(long)]
    pub(super) click_alternate: bool,

    /// Bars of clicks before the line, 0 to 8
    #[arg(long, value_name = "BARS", default_value = "1",
          value_parser = clap::value_parser!(u8).range(0..=i64::from(click::COUNT_IN_MAX)))]
    pub(super) count_in: u8,

    #[command(flatten)]
    loops: loops::LoopOptions,

    /// Play the line along, softly
    #[arg(long)]
    guide: bool,

    #[command(flatten)]
    pub(super) backing: BackingOptions,

    /// End after N passes
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    passes: Option<u32>,

    /// No dashboard: one line of text for each event, for screen readers, pipes and scripts
    #[arg(long)]
    plain: bool,

    /// Little contrast, for a dark room
    #[arg(long)]
    dim: bool,

    /// Large print: far fewer things
    #[arg(long)]
    large: bool,

    /// Keep the take here; by default under a new name in the data folder
    #[arg(long, value_name = "FILE.wav")]
    keep: Option<PathBuf>,

    /// Frequency of A4 in hertz, 415 to 466
    #[arg(long, value_name = "HZ", default_value = "440", value_parser = values::a4)]
    pub(super) a4: f64,

    /// What `tune --keep` measured of the instrument's strings
    #[arg(long, value_name = "FILE.json")]
    pub(super) strings: Option<PathBuf>,

    /// Write the whole result as JSON; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    json: Option<PathBuf>,

    #[command(flatten)]
    pages: TakePages,

    #[command(flatten)]
    replace: ReplaceOption,

    /// Exit with 1 when fewer of the notes of all passes are right, in per cent
    #[arg(long, value_name = "PERCENT", value_parser = values::percent)]
    pass_mark: Option<f64>,

    /// Set one of the marks printed with the report, as in `gap_ms=50`; may be given again
    #[arg(long = "mark", value_name = "NAME=VALUE")]
    pub(super) marks: Vec<MarkChoice>,

    /// How long a device that is gone may take to come back (30 with --plain, else for ever)
    #[arg(long, value_name = "SECONDS")]
    wait: Option<u64>,

    #[command(flatten)]
    devices: DeviceOptions,

    #[command(flatten)]
    record: RecordOptions,
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &PlayArguments, data: &DataOptions) -> u8 {
    match play(arguments, data) {
        Ok(code) => code,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn play(arguments: &PlayArguments, data: &DataOptions) -> Result<u8, Failure> {
    let target = arguments.json.as_deref().map(Target::new);
    check_files(arguments, target.as_ref())?;
    let settings = settings(arguments, data)?;
    let (keep, reserved) = data.take_at(arguments.keep.as_deref(), &arguments.line)?;
    let settings = LiveSettings {
        keep: Some(keep),
        reserved: reserved.is_some(),
        ..settings
    };
    let plain = arguments.plain || !std::io::stdout().is_terminal();
    let stop = stop_on_signals()?;
    let (settings, devices) = open(arguments, settings, plain, data)?;
    if devices.output.is_some() {
        output::note(CAUTION);
    }
    if arguments.backing.file().is_some() {
        output::note(HEADPHONES);
    }
    let line = settings.line.clone();
    let how = settings.played.clone();
    let session = Session::begin(settings, devices, Arc::clone(&stop)).map_err(Failure::of)?;
    if let Some(moved) = &session.moved {
        output::note(&format!(
            "a take of that name was there; it is now {}",
            moved.display()
        ));
    }
    let shown = watch(arguments, &session, plain, &stop);
    if !matches!(shown, Ok(LeftBy::End)) {
        stop.store(true, Ordering::Relaxed);
    }
    let live = session.finish().map_err(Failure::of)?;
    drop(reserved);
    let code = told::tell(arguments, &live, target.as_ref(), plain);
    let paged = told::write_pages(arguments, &live.result, how.as_ref());
    // What was played is kept in the record whatever could not be written or shown of it.
    let practised = Practised {
        line: &line,
        tempo_bpm: line.tempo().quarters_per_minute(),
        line_file: &arguments.line,
        part: arguments.options.part_name(),
        take: Path::new(&live.result.take.file),
        result: &live.result,
        rig: how.as_ref().and_then(|how| how.devices.clone()),
        date: how.as_ref().map(|how| how.date.as_str()),
    };
    arguments.record.keep(data, &practised);
    let code = code?;
    paged?;
    shown.map(|_| code)
}

/// Follows the session to its end.
fn watch(
    arguments: &PlayArguments,
    session: &Session,
    plain: bool,
    stop: &AtomicBool,
) -> Result<LeftBy, Failure> {
    if !plain {
        let options = Options {
            theme: output::theme(arguments.dim, arguments.large),
            unattended: arguments.passes.is_some(),
        };
        return tui::run::run(&session.snapshots, &session.commands, stop, options).map_err(
            |error| {
                Failure::new(format!(
                    "the terminal cannot be used ({error}); run it in another one, or with --plain"
                ))
            },
        );
    }
    let to_error = arguments.json.as_deref() == Some(Path::new("-"));
    let mut teller = Teller::default();
    while let Ok(snapshot) = session.snapshots.recv() {
        for line in teller.lines(&snapshot) {
            // What a player should know is no result.
            if to_error || line.starts_with(NOTICE) {
                output::note(&line);
            } else {
                output::print(format!("{line}\n").as_bytes())?;
            }
        }
    }
    Ok(LeftBy::End)
}

fn check_files(arguments: &PlayArguments, target: Option<&Target>) -> Result<(), Failure> {
    let pages = arguments.pages.pages();
    if pages.is_to_standard() {
        return Err(Failure::new(
            "--html -: standard output shows the session; name a file",
        ));
    }
    pages.check()?;
    let mut planned = Vec::new();
    planned.extend(arguments.keep.as_deref().map(Planned::take));
    if let Some(Target::File(path)) = target {
        planned.push(Planned::new(path, json::BY_PLAY));
    }
    planned.extend(pages.planned(json::BY_PLAY));
    written::check(&planned, &inputs(arguments), arguments.replace)
}

/// The files that are read and never written.
fn inputs(arguments: &PlayArguments) -> Vec<&Path> {
    let mut inputs: Vec<&Path> = vec![&arguments.line];
    inputs.extend(arguments.strings.as_deref());
    inputs.extend(arguments.backing.file());
    inputs
}

/// What the session is to be, and the line as the whole take is judged by.
fn settings(arguments: &PlayArguments, data: &DataOptions) -> Result<LiveSettings, Failure> {
    // Whether its bars and tempo can be had is seen before any device is opened.
    let mut part = arguments.options.read_whole(&arguments.line)?;
    arguments.options.at_tempo(&part, &arguments.line)?;
    if let [first, _, ..] = part.stretches.as_slice() {
        output::note("--bars: a repeat plays these bars several times; the first time is taken");
        part.bars = Some(*first);
    }
    let loops = arguments.loops.loops(&mut part, arguments.click != "off")?;
    if let Some(marks) = loops.ladder.filter(|_| !arguments.options.names_tempo()) {
        part.share = arguments.record.start(data, &part, &marks);
    }
    let mut marks = Marks::default();
    for mark in &arguments.marks {
        mark.apply(&mut marks);
    }
    let known = match &arguments.strings {
        Some(path) => read_strings(path)?,
        None => KnownInstrument::default(),
    };
    let wait = match arguments.wait {
        Some(seconds) => Some(Duration::from_secs(seconds)),
        None => arguments.plain.then(|| Duration::from_secs(WAIT_S)),
    };
    let backing = arguments.backing.read(&part.line, part.share)?;
    let played = played(arguments, &part)?;
    let settings = LiveSettings {
        line: part.line,
        bars: part.bars,
        tempo_share: part.share,
        a4: Hertz(arguments.a4),
        marks,
        known,
        passes: arguments.passes,
        loops,
        click: ClickPattern {
            beats: match arguments.click.as_str() {
                "2-4" => Beats::TwoAndFour,
                "off" => Beats::None,
                _ => Beats::All,
            },
            parts: arguments.click_parts,
            alternate: arguments.click_alternate,
            count_in: arguments.count_in,
        },
        guide: arguments.guide,
        backing,
        latency_s: None,
        keep: None,
        reserved: false,
        wait,
        played: Some(played),
    };
    Ok(settings)
}

/// Opens the devices that are wanted, and looks up how long the way between them is.
fn open(
    arguments: &PlayArguments,
    settings: LiveSettings,
    plain: bool,
    data: &DataOptions,
) -> Result<(LiveSettings, Devices), Failure> {
    let mut capture = Some(Capture::open(&arguments.devices.input()).map_err(Failure::of)?);
    let needed = settings.click.beats != Beats::None || settings.click.count_in > 0;
    let wanted = needed || settings.guide || settings.backing.is_some();
    // On the dashboard the click can be switched on later, so an output is welcome there.
    let playback = if wanted || !plain {
        match Playback::open(&arguments.devices.output()) {
            Ok(playback) => Some(playback),
            Err(error) if wanted => return Err(without_output(&error)),
            Err(error) => {
                output::note(&format!("no click and no playing back: {error}"));
                None
            }
        }
    } else {
        None
    };
    let pair = match (&capture, &playback) {
        (Some(capture), Some(playback)) => Some(pair(capture, playback)),
        _ => None,
    };
    let latency_s = match &pair {
        Some(pair) => data.latencies()?.of(pair),
        None => None,
    };
    let alone = capture.as_ref().map(Input::name);
    let used = pair.map(|pair| pair.name()).or(alone);
    let rate = capture.as_ref().map(|capture| capture.format().rate);
    let mut again = arguments.devices.open_input();
    let devices = Devices {
        input: Box::new(move |wanted| match capture.take() {
            Some(first) => Ok(Box::new(first) as Box<dyn Input>),
            None => again(wanted.or(rate)),
        }),
        output: playback.map(|playback| arguments.devices.open_output(playback)),
    };
    let settings = LiveSettings {
        latency_s,
        played: settings.played.clone().map(|mut played| {
            played.devices = used;
            played.round_trip_ms = latency_s.map(|s| 1000.0 * s);
            played
        }),
        ..settings
    };
    Ok((settings, devices))
}
