//! `seamline hear`: the line as sound, played exactly, by a player, or with faults, or a take heard
//! again; through the sound card or to a file.

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use clap::Args;
use clap::builder::PossibleValuesParser;

use super::devices::{OutputOptions, stop_on_signals};
use super::failure::Failure;
use super::join::JoinChoice;
use super::listen::{self, Listening, SPEEDS};
use super::options::{LineOptions, Target};
use super::sound::CAUTION;
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, output, values};
use crate::music::expected::ExpectedNote;
use crate::music::line::{GraceNote, Line};
use crate::session::live::band::turn_down;
use crate::sound::click::{self, Beats, ClickPattern, Tick};
use crate::sound::device::{Health, Playback};
use crate::sound::file::is_sound;
use crate::sound::output::{WavSamples, wav_bytes_by};
use crate::sound::synth::{
    Excerpt, Fault, Performance, Player, Voice, around_join, graces_lead_s, opening_s,
    parse_faults, render,
};
use crate::units::{Hertz, SampleRate};
use crate::words;

/// Frames per second of what is rendered: the rate that sound cards run at.
const RATE: SampleRate = SampleRate(48_000);
/// What a rendering says it was written by.
const WRITTEN_BY: &str = "seamline hear";

/// Render a line as sound, or hear a pass of a take again
///
/// A plucked string plays the line as written, through the sound card or to a file. With --seed a player with small, natural deviations
/// plays it; with --with faults are put in, to see how a report tells them.
///
/// Of a take, which is told by its content, a pass is heard as it was recorded, at full, three quarter
/// or half speed at the same pitch, alone or turn about with the guide. Its line is that of the file
/// that `play` wrote beside it, or --line. --bars and --join choose a part of the pass.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline hear demo-data/lantern-stairs.line -o flawed.wav --seed 7 --with gap:2.4.5:90\n  \
    seamline hear demo-data/lantern-stairs.line -o join.wav --join 2:4.5\n  \
    seamline hear demo-data/lantern-stairs-practice.wav --pass 3 --bars 2 \\\n    \
    --speed 75% --with-guide --line demo-data/lantern-stairs.line -o again.wav\n\n\
    Faults are KIND:BAR.BEAT, most with an amount:\n  \
    wrong:3.2:+1    semitones off             gap:3.2:80       ms of silence\n  \
    missed:3.2      not played                clipped:3.2:120  ms too short\n  \
    extra:3.2:-2    one more, semitones off   dead:3.2         choked\n  \
    early:3.2:60    ms too soon               sharp:3.2:25     cents\n  \
    late:3.2:60     ms too late               flat:3.2:25      cents\n  \
    ringing:3.2:-10 rings on, dB              drift:4          % slower at the end\n  \
    open:3.2:4:-20  open string 4 sounds, dB\n\n\
    Exit code: 0 done, 2 wrong usage or input.")]
pub(super) struct HearArguments {
    /// The written line (a .line, MIDI, MusicXML or .csv file), or a take (WAV, FLAC, MP3, M4A, Ogg Vorbis)
    #[arg(value_name = "LINE|TAKE")]
    pub(super) line: PathBuf,

    /// The WAV file to write; `-` is standard output; through the sound card when none is given
    #[arg(short = 'o', long = "write", value_name = "FILE.wav")]
    file: Option<PathBuf>,

    #[command(flatten)]
    replace: ReplaceOption,

    #[command(flatten)]
    pub(super) options: LineOptions,

    /// Frequency of A4 in hertz, 415 to 466; 440 when nothing else is known
    #[arg(long, value_name = "HZ", value_parser = values::a4)]
    pub(super) a4: Option<f64>,

    /// Of a take: this pass of it, counted as `score` counts them; the last when none is named
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub(super) pass: Option<u32>,

    /// Of a take: how fast, at the same pitch
    #[arg(long, value_name = "SPEED",
          value_parser = PossibleValuesParser::new(SPEEDS.map(|(name, _)| name)))]
    pub(super) speed: Option<String>,

    /// Of a take: turn about with the guide, at the tempo that was played
    #[arg(long)]
    pub(super) with_guide: bool,

    /// Of a take: the line it was played from; a take that `play` kept knows its own
    #[arg(long = "line", value_name = "LINE")]
    pub(super) take_line: Option<PathBuf>,

    /// One join alone: from the note that begins at this bar and beat to the next one, with a note
    /// more on either side, from beat to beat
    #[arg(long, value_name = "BAR:BEAT", conflicts_with = "count_in")]
    pub(super) join: Option<JoinChoice>,

    /// Put a fault in, as in `gap:2.3:90`; may be given again
    #[arg(long = "with", value_name = "FAULT")]
    pub(super) faults: Vec<String>,

    /// How it sounds
    #[arg(long, default_value = "fingered", value_parser = PossibleValuesParser::new(Voice::NAMES))]
    pub(super) voice: String,

    /// Click along: on every beat, or on the second and fourth alone
    #[arg(long, value_name = "BEATS", value_parser = PossibleValuesParser::new(["all", "2-4"]))]
    pub(super) click: Option<String>,

    /// Clicks to a beat, 1 to 4
    #[arg(long, value_name = "N", requires = "click",
          value_parser = clap::value_parser!(u8).range(1..=i64::from(click::PARTS_MAX)))]
    click_parts: Option<u8>,

    /// Leave the click out of every second bar
    #[arg(long, requires = "click")]
    click_alternate: bool,

    /// Bars of clicks before the line, 0 to 8
    #[arg(long, value_name = "BARS", default_value = "0",
          value_parser = clap::value_parser!(u8).range(0..=i64::from(click::COUNT_IN_MAX)))]
    pub(super) count_in: u8,

    /// Let a player with small deviations play; another number is another take
    #[arg(long, value_name = "N")]
    pub(super) seed: Option<u64>,

    #[command(flatten)]
    devices: OutputOptions,
}

/// What is to be played, and what is said of it.
pub(super) struct Rendered {
    pub(super) samples: Vec<f32>,
    /// "6.7 seconds, bars 1 to 2, tempo 84".
    pub(super) told: String,
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &HearArguments) -> u8 {
    match hear(arguments) {
        Ok(()) => DONE,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn hear(arguments: &HearArguments) -> Result<(), Failure> {
    let is_take = is_sound(&arguments.line);
    listen::check_kind(arguments, is_take)?;
    let target = arguments.file.as_deref().map(Target::new);
    if let Some(Target::File(path)) = &target {
        let planned = [Planned::new(path, WRITTEN_BY)];
        let inputs = listen::inputs(arguments);
        let inputs: Vec<&Path> = inputs.iter().map(PathBuf::as_path).collect();
        written::check(&planned, &inputs, arguments.replace)?;
    }
    if is_take {
        let (rendered, rate) = match target {
            None => {
                return aloud(arguments, |rate| {
                    again(arguments, Some(rate)).map(|(r, _)| r)
                });
            }
            Some(_) => again(arguments, None)?,
        };
        return write(target, &rendered, rate);
    }
    let mut faults = Vec::new();
    for text in &arguments.faults {
        faults.extend(parse_faults(text).map_err(|error| of_fault(&error))?);
    }
    let line = arguments.options.read(&arguments.line)?;
    if target.is_none() {
        return aloud(arguments, |rate| sound(arguments, &line, &faults, rate));
    }
    write(target, &sound(arguments, &line, &faults, RATE)?, RATE)
}

/// The part of the take that was asked for.
fn again(
    arguments: &HearArguments,
    rate: Option<SampleRate>,
) -> Result<(Rendered, SampleRate), Failure> {
    let speed = arguments.speed.as_deref();
    let speed = SPEEDS.iter().find(|(name, _)| Some(*name) == speed);
    let listening = Listening {
        pass: arguments.pass.map(|pass| pass as usize),
        speed: speed.map_or(1.0, |(_, share)| *share),
        with_guide: arguments.with_guide,
    };
    listen::listened(&arguments.line, arguments, listening, rate)
}

fn write(target: Option<Target>, rendered: &Rendered, rate: SampleRate) -> Result<(), Failure> {
    let Rendered { samples, told } = rendered;
    let bytes =
        wav_bytes_by(WRITTEN_BY, rate, WavSamples::Integer16, samples).map_err(Failure::of)?;
    match target {
        None | Some(Target::Standard) => output::print(&bytes)?,
        Some(Target::File(path)) => {
            output::write_file(&path, &bytes)?;
            output::note(&format!("{}: {told}", path.display()));
        }
    }
    output::note(CAUTION);
    Ok(())
}

/// Plays it through the sound card.
fn aloud(
    arguments: &HearArguments,
    make: impl FnOnce(SampleRate) -> Result<Rendered, Failure>,
) -> Result<(), Failure> {
    let stop = stop_on_signals()?;
    let mut playback = Playback::open(&arguments.devices.output()).map_err(Failure::of)?;
    let Rendered { mut samples, told } = make(playback.rate())?;
    turn_down(&mut samples);
    output::note(CAUTION);
    output::note(&told);
    let end = playback.written() + samples.len() as u64;
    let mut rest = samples.as_slice();
    while playback.played() < end && !stop.load(Ordering::Relaxed) {
        let written = playback.write(rest);
        rest = &rest[written..];
        if playback.health(Instant::now()) == Health::Dead {
            return Err(Failure::new(format!(
                "{} takes no more sound; check that it is plugged in",
                playback.name()
            )));
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    if stop.load(Ordering::Relaxed) {
        return Err(Failure::new("stopped from outside"));
    }
    Ok(())
}

fn of_fault(error: &impl std::fmt::Display) -> Failure {
    Failure::new(format!("--with {error}"))
}

/// The line, or the join of it, played as asked for, as mono samples.
fn sound(
    arguments: &HearArguments,
    line: &Line,
    faults: &[Fault],
    rate: SampleRate,
) -> Result<Rendered, Failure> {
    let voice = Voice::named(&arguments.voice)
        .ok_or_else(|| Failure::new(format!("there is no voice `{}`", arguments.voice)))?;
    let whole = line.expected(line.instrument());
    let graces = line.graces(&whole);
    let mut ticks = click::ticks(line, &pattern(arguments));
    let excerpt = arguments
        .join
        .map(|join| around_join(line, join.bar, join.beat))
        .transpose()
        .map_err(|error| Failure::new(format!("--join: {error}")))?;
    if let Some(Excerpt { from_s, to_s, .. }) = excerpt {
        ticks.retain(|tick| tick.at_s > from_s - SAME_S && tick.at_s < to_s - SAME_S);
        ticks.iter_mut().for_each(|tick| tick.at_s -= from_s);
    }
    let expected = excerpt.as_ref().map_or(&whole, |excerpt| &excerpt.notes);
    let usual = arguments.seed.map_or_else(Player::exact, Player::steady);
    let player = Player {
        a4: Hertz(listen::a4_of(arguments.a4)),
        lead_in_s: match &excerpt {
            Some(_) => 0.0,
            None => lead_in_s(&usual, expected, &graces, &ticks),
        },
        tail_s: if excerpt.is_some() { 0.0 } else { usual.tail_s },
        ..usual
    };
    let mut performance = Performance::of_line(expected, &player)
        .with_faults(faults)
        .map_err(|error| of_fault(&error))?
        .with_ornaments(expected, &graces);
    if let Some(excerpt) = &excerpt {
        excerpt.end_on_beat(&mut performance);
    }
    let mut samples = render(&performance, &voice, rate);
    if let Some(excerpt) = &excerpt {
        samples.resize(Performance::frame(rate, excerpt.length_s()), 0.0);
    }
    click::add_clicks(&mut samples, &ticks, performance.bar1_s, rate);
    let seconds = samples.len() as f64 / rate.hz();
    let part = match arguments.join {
        Some(join) => format!(
            "the join after {}, {}",
            words::place(join.bar, join.beat),
            words::count(expected.len(), "note")
        ),
        None => words::bars((
            line.printed_bar(line.first_bar()),
            line.printed_bar(line.last_bar()),
        )),
    };
    let tempo = line.tempo();
    Ok(Rendered {
        samples,
        told: format!("{seconds:.1} seconds, {part}, tempo {tempo}"),
    })
}

/// Clicks closer than this to a beat, in seconds, fall on it: far below any written length.
const SAME_S: f64 = 1e-6;

/// Seconds of silence before the line: the player's, and no less than its first click or grace
/// note needs.
fn lead_in_s(
    usual: &Player,
    expected: &[ExpectedNote],
    graces: &[GraceNote],
    ticks: &[Tick],
) -> f64 {
    let click_s = ticks
        .first()
        .map_or(0.0, |tick| opening_s(expected) - tick.at_s);
    usual.lead_in_s.max(click_s).max(graces_lead_s(graces))
}

fn pattern(arguments: &HearArguments) -> ClickPattern {
    ClickPattern {
        beats: match arguments.click.as_deref() {
            Some("2-4") => Beats::TwoAndFour,
            Some(_) => Beats::All,
            None => Beats::None,
        },
        parts: arguments.click_parts.unwrap_or(1),
        alternate: arguments.click_alternate,
        count_in: arguments.count_in,
    }
}
