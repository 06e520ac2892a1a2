//! Arguments to checked settings, one file per command.
//!
//! The only room that reads arguments and prints. Results go to standard output, all else to
//! standard error. Nothing is judged here. Used by the program alone.
//!
//! | file | what lives there |
//! |---|---|
//! | `score`, `scoring` | judge recorded takes: what is asked for, and how it is done |
//! | `compare` | takes of one line held against each other |
//! | `play` | play along, live |
//! | `judge` | one take judged, or taken up where it was kept |
//! | `many` | many takes at once, on all cores |
//! | `class/` | several takes as one table: the class file, results kept, lines found by ear |
//! | `bar` | how far many takes have come, on a terminal |
//! | `log` | what was practised |
//! | `next` | what to practise today |
//! | `sound` | list devices, measure the round trip |
//! | `hear` | render a line as sound, or hear a take again |
//! | `listen` | a pass or join of a take, slower, beside the guide |
//! | `convert` | a line from one format to another |
//! | `tune` | check an instrument's strings |
//! | `study` | build a line from chord symbols |
//! | `write` | a take written down as a line |
//! | `show` | a line as tab, and what was understood of it |
//! | `judged` | what `score` and `play` write of a judged take |
//! | `pages` | a page and its pictures as files |
//! | `paper` | a line on paper: which files, and what was written |
//! | `own` | completions, man page, what the program was built for |
//! | `options` | what several commands ask for: the line, its bars, tempo and tuning |
//! | `line_file` | a line as a file, in the format that its name asks for |
//! | `hand` | the fretting hand: reach, fingers, open strings |
//! | `devices` | which sound card is meant |
//! | `data` | the folder for takes and round trips |
//! | `record` | a judged take put into the record of practice |
//! | `settings` | the player's settings, as defaults of the options |
//! | `clock` | what day and time it is |
//! | `values` | the values that options take, read and checked |
//! | `failure` | what ends a command: one message that says how to mend it |
//! | `output` | standard output, and files written whole or not at all |
//! | `written` | which files a command may write: nothing of the player's is written over |

mod bar;
mod class;
mod clock;
mod compare;
mod convert;
mod data;
mod devices;
mod failure;
mod hand;
mod hear;
mod join;
mod judge;
mod judged;
mod line_file;
mod listen;
mod log;
mod many;
mod next;
mod options;
mod output;
mod own;
mod pages;
mod paper;
mod play;
mod played;
mod record;
mod score;
mod scoring;
mod settings;
mod show;
mod sound;
mod study;
mod tune;
mod values;
mod write;
mod written;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};

use self::failure::Failure;

/// Done.
const DONE: u8 = 0;
/// Done, but below the mark asked for.
const BELOW: u8 = 1;
/// Wrong usage or input.
const FAILED: u8 = 2;

/// What is said of a take of which `right` of `total` notes of all judged passes are right, fewer than
/// `mark` per cent; `None` when no fewer are, or no mark was asked for.
fn below_mark((right, total): (usize, usize), mark: Option<f64>) -> Option<String> {
    let mark = mark?;
    // In whole notes, so that no rounding can turn a pass into a miss.
    let reached = right as f64 * 100.0 >= mark * total as f64;
    (!reached).then(|| format!("{right} of {total} notes right, below the pass mark of {mark} %"))
}

/// Hears a bass player's take, holds it against the written line, and says which notes and which
/// joins between them need work.
#[derive(Parser, Debug)]
#[command(
    name = "seamline",
    version,
    long_version = own::BUILD,
    max_term_width = 80,
    after_help = "Example:\n  seamline score demo-data/lantern-stairs-practice.wav --line demo-data/lantern-stairs.line\n\n\
                  Exit code: 0 done, 1 done but below --pass-mark, 2 wrong usage or input."
)]
struct Arguments {
    #[command(flatten)]
    data: data::DataOptions,

    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand, Debug)]
enum Command {
    Score(score::ScoreArguments),
    Compare(compare::CompareArguments),
    Play(Box<play::PlayArguments>),
    Show(show::ShowArguments),
    Hear(hear::HearArguments),
    Study(Box<study::StudyArguments>),
    Convert(convert::ConvertArguments),
    Write(Box<write::WriteArguments>),
    Tune(tune::TuneArguments),
    Sound(sound::SoundArguments),
    Log(log::LogArguments),
    Next(next::NextArguments),
    Completions(own::CompletionsArguments),
    Man(own::ManArguments),
}

/// The arguments in some words, the program's own name first, with the player's settings taken in.
fn parsed(words: Vec<OsString>) -> Result<Result<Arguments, Failure>, clap::Error> {
    let settings = match settings::read() {
        Ok(settings) => settings,
        // Help and usage errors are told whatever the settings are.
        Err(failure) => return Arguments::try_parse_from(words).map(|_| Err(failure)),
    };
    // Which instrument is meant is known before its own settings are taken in.
    let instrument = settings
        .names_instruments()
        .then(|| asked_instrument(&words))
        .flatten();
    let command = settings.applied(Arguments::command(), instrument.as_deref());
    let mut arguments = Arguments::from_arg_matches(&command.try_get_matches_from(words)?)?;
    arguments.data.or(settings.data());
    Ok(Ok(arguments))
}

/// The instrument that is asked for, whatever else is wrong.
fn asked_instrument(words: &[OsString]) -> Option<String> {
    let command = Arguments::command().ignore_errors(true);
    let matches = command.try_get_matches_from(words).ok()?;
    let (_, matches) = matches.subcommand()?;
    matches.try_get_one::<String>("instrument").ok()?.cloned()
}

/// Begins a session as if it had been asked for with these arguments of `seamline play`; gives the exit
/// code.
fn begin(session: Vec<String>, data: &data::DataOptions) -> u8 {
    output::note(&format!("seamline play {}", session.join(" ")));
    let words = ["seamline".to_owned(), "play".to_owned()];
    let words = words.into_iter().chain(session).map(OsString::from);
    let failure = match parsed(words.collect()) {
        Ok(Ok(arguments)) => match arguments.command {
            Command::Play(arguments) => return play::run(&arguments, data),
            _ => return FAILED, // The words above ask for nothing else.
        },
        Ok(Err(failure)) => failure,
        Err(message) => Failure::of(message),
    };
    failure.say();
    FAILED
}

/// Runs the program; the exit code is 0 done, 1 below the asked-for mark, 2 usage or input error.
pub fn run() -> ExitCode {
    let arguments = match parsed(std::env::args_os().collect()) {
        Ok(Ok(arguments)) => arguments,
        Ok(Err(failure)) => {
            failure.say();
            return ExitCode::from(FAILED);
        }
        Err(message) => {
            let failed = message.use_stderr();
            // Where it cannot be shown there is nobody to tell: help that nobody reads to its
            // end is no failure, and a usage error keeps its exit code.
            message.print().ok();
            return ExitCode::from(if failed { FAILED } else { DONE });
        }
    };
    let data = &arguments.data;
    let code = match arguments.command {
        Command::Score(arguments) => score::run(&arguments, data),
        Command::Compare(arguments) => compare::run(&arguments),
        Command::Play(arguments) => play::run(&arguments, data),
        Command::Sound(arguments) => sound::run(&arguments, data),
        Command::Log(arguments) => log::run(&arguments, data),
        Command::Next(arguments) => {
            let begin = |session: Vec<String>| begin(session, data);
            next::run(&arguments, data, begin)
        }
        Command::Show(arguments) => show::run(&arguments),
        Command::Study(arguments) => study::run(&arguments),
        Command::Write(arguments) => write::run(&arguments),
        Command::Completions(arguments) => own::completions(&arguments, Arguments::command()),
        Command::Man(arguments) => own::man(&arguments, Arguments::command()),
        Command::Hear(arguments) => hear::run(&arguments),
        Command::Convert(arguments) => convert::run(&arguments),
        Command::Tune(arguments) => tune::run(&arguments),
    };
    ExitCode::from(code)
}
