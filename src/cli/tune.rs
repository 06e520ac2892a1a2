//! `seamline tune`: how the strings are tuned, and what sounds after one was stopped; from a take
//! or live.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use clap::Args;

use super::devices::{DeviceOptions, stop_on_signals};
use super::failure::Failure;
use super::score::read_strings;
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, output, values};
use crate::music::instrument::Tuning;
use crate::report::strings;
use crate::session::instrument_file;
use crate::session::known::KnownInstrument;
use crate::session::live::tuner::TunerSession;
use crate::session::tuning::{InstrumentCheck, check_strings};
use crate::sound;
use crate::tui;
use crate::tui::run::LeftBy;
use crate::tui::tuner::TunerTeller;
use crate::units::Hertz;

/// Tune, and check an instrument's strings
///
/// Pluck each open string alone, let it ring for two seconds, stop it with the hand and wait a
/// second. It says how far off each string is, what still sounds after the stop, and, when the
/// twelfth fret was played too, the intonation. Without a TAKE it listens live, and shows level and
/// hum besides; q ends it.
#[derive(Args, Debug)]
#[command(after_help = "Example:\n  \
    seamline tune open-strings.wav --keep my-bass.json\n\n\
    Exit code: 0 done, 2 wrong usage or input, or no string was heard.")]
pub(super) struct TuneArguments {
    /// Sound file (WAV, FLAC, MP3, M4A, Ogg Vorbis); `-` is standard input; live when none is given
    #[arg(value_name = "TAKE")]
    take: Option<PathBuf>,

    /// Open strings, as in "E1 A1 D2 G2", or one of 4, 5, 6, guitar
    #[arg(long, value_name = "TUNING", value_parser = values::tuning)]
    tuning: Option<Tuning>,

    /// Frequency of A4 in hertz, 415 to 466
    #[arg(long, value_name = "HZ", default_value = "440", value_parser = values::a4)]
    a4: f64,

    /// Keep what was measured of the strings, for `score --strings`; those that were not heard this
    /// time stay in the file
    #[arg(long, value_name = "FILE.json")]
    keep: Option<PathBuf>,

    #[command(flatten)]
    replace: ReplaceOption,

    /// Live: a line of text for each string instead of the screen
    #[arg(long, conflicts_with = "take")]
    plain: bool,

    /// Live: end after N seconds
    #[arg(long, value_name = "N", conflicts_with = "take",
          value_parser = clap::value_parser!(u64).range(1..))]
    seconds: Option<u64>,

    #[command(flatten)]
    devices: DeviceOptions,
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &TuneArguments) -> u8 {
    match tune(arguments) {
        Ok(code) => code,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn tune(arguments: &TuneArguments) -> Result<u8, Failure> {
    if let Some(path) = &arguments.keep {
        let inputs: Vec<&Path> = arguments.take.iter().map(PathBuf::as_path).collect();
        let planned = [Planned::new(path, instrument_file::WRITTEN_BY)];
        written::check(&planned, &inputs, arguments.replace)?;
        kept_before(path, arguments.replace)?;
    }
    let tuning = arguments.tuning.clone().unwrap_or_else(Tuning::bass4);
    let (check, shown) = match &arguments.take {
        Some(take) => {
            let name = take.display().to_string();
            let mut source = sound::file::open(take).map_err(Failure::of)?;
            let check = check_strings(&name, source.as_mut(), &tuning, Hertz(arguments.a4))
                .map_err(Failure::of)?;
            (check, Ok(()))
        }
        None => live(arguments, &tuning)?,
    };
    let known: Vec<_> = check
        .strings
        .iter()
        .filter_map(|s| s.known.clone())
        .collect();
    let measured = !known.is_empty();
    // What was measured is kept first: on a terminal that was closed nothing can be shown.
    if let Some(path) = arguments.keep.as_ref().filter(|_| measured) {
        let mut all = kept_before(path, arguments.replace)?;
        all.learn_strings(known);
        output::write_file(path, instrument_file::write(&all).as_bytes())?;
    }
    output::print(strings::report(&check).as_bytes())?;
    if !measured {
        return Err(Failure::new(format!(
            "{}: no open string was heard; pluck each alone and let it ring, or say with \
             --tuning what they are",
            check.file
        )));
    }
    shown.map(|()| DONE)
}

/// What the file holds already: strings that are not measured this time, and what was learnt of the
/// player. A file that cannot be read is no reason to lose it, unless it is to be replaced.
fn kept_before(path: &Path, replace: ReplaceOption) -> Result<KnownInstrument, Failure> {
    if !path.is_file() {
        return Ok(KnownInstrument::default());
    }
    match read_strings(path) {
        Err(_) if replace.given() => Ok(KnownInstrument::default()),
        read => read,
    }
}

/// Listens to the strings while they are played; gives what was heard, and whether it could be
/// shown.
fn live(
    arguments: &TuneArguments,
    tuning: &Tuning,
) -> Result<(InstrumentCheck, Result<(), Failure>), Failure> {
    let stop = stop_on_signals()?;
    let session = TunerSession::begin(
        tuning,
        Hertz(arguments.a4),
        arguments.devices.open_input(),
        arguments.seconds.map(Duration::from_secs),
        Arc::clone(&stop),
    )
    .map_err(Failure::of)?;
    let shown = if arguments.plain || !std::io::stdout().is_terminal() {
        tell(&session)
    } else {
        tui::tuner::run(&session.snapshots, output::theme(false, false)).map_err(|error| {
            Failure::new(format!(
                "the terminal cannot be used ({error}); try --plain"
            ))
        })
    };
    if !matches!(shown, Ok(LeftBy::End)) {
        stop.store(true, Ordering::Relaxed);
    }
    let check = session.finish().map_err(Failure::of)?;
    Ok((check, shown.map(|_| ())))
}

/// A line of text for each string, until it is over.
fn tell(session: &TunerSession) -> Result<LeftBy, Failure> {
    let mut teller = TunerTeller::default();
    while let Ok(snapshot) = session.snapshots.recv() {
        for line in teller.lines(&snapshot) {
            output::print(format!("{line}\n").as_bytes())?;
        }
    }
    Ok(LeftBy::End)
}
