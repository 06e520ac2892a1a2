//! `seamline tune`: how the strings are tuned, and what sounds after one was stopped.

use std::path::PathBuf;

use clap::Args;

use super::failure::Failure;
use super::{DONE, FAILED, output, values};
use crate::music::instrument::Tuning;
use crate::report::strings;
use crate::session::instrument_file;
use crate::session::tuning::check_strings;
use crate::sound;
use crate::units::Hertz;

/// Check an instrument's strings from a recording
///
/// Pluck each open string alone, let it ring for two seconds, stop it with the hand and wait a
/// second. It says how far off each string is, what still sounds after the stop, and, when the
/// twelfth fret was played too, the intonation.
#[derive(Args, Debug)]
#[command(after_help = "Example:\n  \
    seamline tune open-strings.wav --keep my-bass.json\n\n\
    Exit code: 0 done, 2 wrong usage or input, or no string was heard.")]
pub(super) struct TuneArguments {
    /// Sound file (WAV or FLAC); `-` is standard input
    #[arg(value_name = "TAKE")]
    take: PathBuf,

    /// Open strings, as in "E1 A1 D2 G2", or one of 4, 5, 6, guitar
    #[arg(long, value_name = "TUNING", value_parser = values::tuning)]
    tuning: Option<Tuning>,

    /// Frequency of A4 in hertz, 415 to 466
    #[arg(long, value_name = "HZ", default_value = "440", value_parser = values::a4)]
    a4: f64,

    /// Keep what was measured of the strings, for `score --strings`
    #[arg(long, value_name = "FILE.json")]
    keep: Option<PathBuf>,
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
        output::keep_apart(path, &[arguments.take.as_path()])?;
    }
    let name = arguments.take.display().to_string();
    let tuning = arguments.tuning.clone().unwrap_or_else(Tuning::bass4);
    let mut source = sound::file::open(&arguments.take).map_err(Failure::of)?;
    let check =
        check_strings(&name, source.as_mut(), &tuning, Hertz(arguments.a4)).map_err(Failure::of)?;
    output::print(strings::report(&check).as_bytes())?;
    let known: Vec<_> = check
        .strings
        .iter()
        .filter_map(|s| s.known.clone())
        .collect();
    if known.is_empty() {
        return Err(Failure::new(format!(
            "{name}: no open string was heard; pluck each alone and let it ring, or say with \
             --tuning what they are"
        )));
    }
    if let Some(path) = &arguments.keep {
        output::write_file(path, instrument_file::write(&known).as_bytes())?;
    }
    Ok(DONE)
}
