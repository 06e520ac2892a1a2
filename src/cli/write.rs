//! `seamline write`: what was played becomes a line.

use std::path::PathBuf;
use std::str::FromStr;

use clap::Args;

use super::failure::Failure;
use super::hand::HandOptions;
use super::options::Target;
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, line_file, output, values};
use crate::music::fingering::plan;
use crate::music::instrument::{Instrument, Tuning};
use crate::music::line::{Format, Line, Meter, Tempo, write_text_noted};
use crate::music::theory::Key;
use crate::session::writing::write_take;
use crate::sound;
use crate::transcribe::{Asked, StartPlace, Written};
use crate::units::{Hertz, STANDARD_A4};
use crate::words;

/// What a line says it was written by, in its first line.
const WRITTEN_BY: &str = "seamline write";

/// Write down what was played as a line
///
/// Listens to a recording of one bass and writes what it hears: pitches, rhythm, lengths, rests, and a
/// place on the neck for every note. The first note is bar 1 beat 1 unless --start says otherwise. What
/// is in doubt stands in the file as a comment above its bar, and is listed.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline write take.wav --tempo 96 -o study.line\n  \
    seamline write take.wav --tempo 80 --meter 6/8 --key \"D minor\" --start 0:6 -o study.line\n\n\
    Exit code: 0 done, 2 wrong usage or input, or a take in which nothing could be heard.")]
pub(super) struct WriteArguments {
    /// A sound file (WAV, FLAC, MP3, M4A, Ogg Vorbis); `-` is standard input
    #[arg(value_name = "TAKE")]
    take: PathBuf,

    /// The line to write, a .line file; `-` is standard output
    #[arg(short = 'o', long = "write", value_name = "LINE")]
    file: PathBuf,

    #[command(flatten)]
    replace: ReplaceOption,

    /// Quarter notes a minute, right within 6 per cent, also in 6/8; found without
    #[arg(long, value_name = "BPM", value_parser = values::quarters)]
    tempo: Option<Tempo>,

    /// Meter, as in `3/4`
    #[arg(long, value_name = "METER", default_value = "4/4")]
    meter: Meter,

    /// Key to spell by, as in `Bb major`; found without
    #[arg(long, value_name = "KEY")]
    key: Option<Key>,

    /// Where the first note stands, as in `1:2.5`; bar 0 is a pick-up
    #[arg(long, value_name = "BAR:BEAT", default_value = "1:1")]
    start: Start,

    /// The take was played to a click that can be heard in it
    #[arg(long)]
    click: bool,

    /// Open strings, as in "E1 A1 D2 G2", or one of 4, 5, 6, guitar
    #[arg(long, value_name = "TUNING", value_parser = values::tuning)]
    tuning: Option<Tuning>,

    /// Frequency of A4 in hertz, 415 to 466; 440 when nothing else is known
    #[arg(long, value_name = "HZ", value_parser = values::a4)]
    a4: Option<f64>,

    /// Title; the take's name without
    #[arg(long, value_name = "TEXT")]
    title: Option<String>,

    #[command(flatten)]
    hand: HandOptions,
}

/// Where the first note stands, as it is typed.
#[derive(Clone, Copy, Debug)]
struct Start(StartPlace);

impl FromStr for Start {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!("`{text}` is no place in a line; write bar and beat, as in 1:1, 0:4 or 3:2.5")
        };
        let (bar, beat) = text.split_once(':').ok_or_else(wrong)?;
        let bar: u32 = bar.trim().parse().map_err(|_| wrong())?;
        let beat: f64 = beat.trim().parse().map_err(|_| wrong())?;
        if !beat.is_finite() || bar > BAR_MAX {
            return Err(wrong());
        }
        Ok(Self(StartPlace { bar, beat }))
    }
}

/// The highest bar a line may begin at: beyond any piece.
const BAR_MAX: u32 = 100_000;

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &WriteArguments) -> u8 {
    match write(arguments) {
        Ok(()) => DONE,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn write(arguments: &WriteArguments) -> Result<(), Failure> {
    let target = Target::new(&arguments.file);
    if let Target::File(path) = &target {
        let planned = [Planned::new(path, WRITTEN_BY)];
        written::check(&planned, &[&arguments.take], arguments.replace)?;
        line_file::format_of(path)?;
    }
    let hand = arguments.hand.hand()?;
    let name = arguments.take.display().to_string();
    let asked = asked(arguments);
    let mut source = sound::file::open(&arguments.take).map_err(Failure::of)?;
    let a4 = arguments.a4.map_or(STANDARD_A4, Hertz);
    let written = write_take(&name, source.as_mut(), &asked, a4).map_err(Failure::of)?;
    let ways = plan(&written.line, written.line.instrument(), &hand);
    let line = match ways.first() {
        Some(way) => written.line.with_fingering(way).map_err(Failure::of)?,
        None => written.line.clone(),
    };
    let format = match &target {
        Target::Standard => Format::Line,
        Target::File(path) => line_file::format_of(path)?,
    };
    // Only a `.line` file has room for the doubts.
    let bytes = line_bytes(&line, &written);
    match &target {
        _ if format != Format::Line => line_file::write(&line, &target, format, WRITTEN_BY)?,
        Target::Standard => output::print(&bytes)?,
        Target::File(path) => output::write_file(path, &bytes)?,
    }
    tell(arguments, &written);
    Ok(())
}

fn asked(arguments: &WriteArguments) -> Asked {
    let stem = || {
        arguments
            .take
            .file_stem()
            .map(|stem| stem.to_string_lossy())
    };
    let named = || match stem() {
        Some(stem) if stem != "-" => stem.into_owned(),
        _ => "Take".to_owned(),
    };
    Asked {
        tempo_bpm: arguments.tempo.map(Tempo::quarters_per_minute),
        meter: arguments.meter,
        key: arguments.key,
        start: arguments.start.0,
        click: arguments.click,
        instrument: Instrument::with_tuning(arguments.tuning.clone().unwrap_or_default()),
        // A semicolon would begin a comment, and a title has one line.
        title: arguments
            .title
            .clone()
            .unwrap_or_else(named)
            .replace(|c: char| c == ';' || c.is_control(), " "),
    }
}

/// The line as `.line` text that says who wrote it, doubts as comments.
fn line_bytes(line: &Line, written: &Written) -> Vec<u8> {
    let notes: Vec<(u32, String)> = written
        .doubts
        .iter()
        .map(|doubt| (doubt.bar, doubt.to_string()))
        .collect();
    let text = write_text_noted(line, &notes);
    format!("; {WRITTEN_BY}\n{text}").into_bytes()
}

/// Says what was written, how the tempo was found, and what is in doubt.
fn tell(arguments: &WriteArguments, written: &Written) {
    output::note(&format!(
        "{}: {}, {}, {}{}",
        arguments.file.display(),
        words::count(written.line.bars().len(), "bar"),
        words::count(written.line.note_count(), "note"),
        written.line.key(),
        if written.key_found {
            " by its notes"
        } else {
            ""
        },
    ));
    if arguments.click && written.clicks.is_none() {
        output::note("No click was heard; the first note is taken to stand where --start says.");
    }
    let played = format!("{:.1} quarters a minute", written.played_bpm);
    match &written.found_tempo {
        None => output::note(&format!("Played at {played}.")),
        Some(found) => {
            let how = match written.clicks {
                Some(clicks) if found.by_click => {
                    format!("by its click, heard {}", words::count(clicks, "time"))
                }
                _ => "by the playing itself".to_owned(),
            };
            let mut said = format!(
                "Played at {played}, {how}, {:.0} % sure",
                100.0 * found.share
            );
            if let Some((other, share)) = found.octave {
                let what = if other > written.played_bpm {
                    "double"
                } else {
                    "half"
                };
                said.push_str(&format!("; its {what}, {other:.1}: {:.0} %", 100.0 * share));
            }
            let octave = found.octave.map(|octave| octave.0);
            if let Some((other, share)) = found.other.filter(|o| Some(o.0) != octave) {
                said.push_str(&format!("; {other:.1}: {:.0} %", 100.0 * share));
            }
            said.push_str("; --tempo decides");
            output::note(&format!("{said}."));
        }
    }
    if let Some(swing) = written.line.swing() {
        output::note(&format!("Eighths are swung {swing}."));
    }
    if !written.doubts.is_empty() {
        output::note(&format!(
            "In doubt: {}",
            words::count(written.doubts.len(), "place")
        ));
    }
    for doubt in &written.doubts {
        output::note(&format!("  {doubt}"));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_start_is_bar_and_beat() {
        for (text, wanted) in [
            ("1:1", Some((1, 1.0))),
            ("0:4", Some((0, 4.0))),
            ("3:2.5", Some((3, 2.5))),
            ("1", None),
            (":2", None),
            ("1:x", None),
            ("1:NaN", None),
            ("-1:2", None),
        ] {
            let start = text.parse::<Start>().ok();
            let start = start.map(|start| (start.0.bar, start.0.beat));
            assert_eq!(start, wanted, "{text}");
        }
    }
}
