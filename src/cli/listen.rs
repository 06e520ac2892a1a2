//! `seamline hear TAKE`: a pass or a join of a take heard again, slower if wanted, alone or turn about
//! with the guide.

use std::path::{Path, PathBuf};

use super::failure::Failure;
use super::hear::{HearArguments, Rendered};
use super::join::JoinChoice;
use super::played::{HowPlayed, as_played};
use crate::music::line::Line;
use crate::session::known::KnownInstrument;
use crate::session::listen_back::{Wanted, Whereabouts, whereabouts};
use crate::session::offline::score_take;
use crate::sound;
use crate::sound::file::read_part;
use crate::sound::rate::at_rate;
use crate::sound::stretch::stretch;
use crate::sound::synth::{Performance, Player, Voice, around_join, graces_lead_s, render};
use crate::units::{Hertz, STANDARD_A4, SampleRate};
use crate::words;

/// Heard before the first note, in seconds: the finger finds the string.
pub(super) const BEFORE_S: f64 = 0.15;
/// Heard behind the last, in seconds.
pub(super) const BEHIND_S: f64 = 0.25;
/// Silence between guide and take, in seconds.
const BETWEEN_S: f64 = 0.6;

/// How a part of a take is heard.
#[derive(Clone, Copy, Debug)]
pub(super) struct Listening {
    /// The pass, from 1; the last when none is named.
    pub pass: Option<usize>,
    /// Relative to what was played.
    pub speed: f64,
    /// Turn about with the guide.
    pub with_guide: bool,
}

/// Speeds that can be asked for.
pub(super) const SPEEDS: [(&str, f64); 3] = [("100%", 1.0), ("75%", 0.75), ("50%", 0.5)];

/// The part of the take that was asked for, as mono samples at `rate`, or at the take's own.
pub(super) fn listened(
    take: &Path,
    arguments: &HearArguments,
    listening: Listening,
    rate: Option<SampleRate>,
) -> Result<(Rendered, SampleRate), Failure> {
    let within = |what: &dyn std::fmt::Display| Failure::new(format!("{}: {what}", take.display()));
    let mut options = arguments.options.clone();
    let bars = options.bars.take();
    let how = HowPlayed {
        line: arguments.take_line.as_deref(),
        options: &options,
        marks: &[],
        strings: None,
        a4: arguments.a4,
        click: false,
    };
    let played = as_played(take, &how, &KnownInstrument::default())?;
    let (line, settings) = (&played.line, &played.settings);
    let mut source = sound::file::open(take).map_err(Failure::of)?;
    let name = take.display().to_string();
    let result = score_take(&name, source.as_mut(), line, settings).map_err(Failure::of)?;
    drop(source);
    if arguments.join.is_some() && bars.is_some() {
        return Err(within(
            &"--bars and --join both say what is to be heard; give one of them",
        ));
    }
    let wanted = match (arguments.join, bars) {
        (Some(JoinChoice { bar, beat }), _) => Wanted::Join { bar, beat },
        (None, Some(bars)) => Wanted::Bars(bars.from, bars.to),
        (None, None) => Wanted::Pass,
    };
    let bpm = result.line.tempo_bpm;
    let place = whereabouts(&result.judgement, bpm, listening.pass, wanted)
        .map_err(|error| within(&error))?;
    let (from_s, to_s) = (
        (place.from_s - BEFORE_S).max(0.0),
        (place.to_s + BEHIND_S).min(result.take.duration_s),
    );
    let (samples, own) = read_part(take, from_s, to_s).map_err(Failure::of)?;
    let slow = stretch(&samples, own, listening.speed).map_err(Failure::of)?;
    let rate = rate.unwrap_or(own);
    let mut heard = at_rate(&slow, own, rate);
    if listening.with_guide {
        let a4 = settings.a4;
        let guide = guide(line, arguments, wanted, &place, listening.speed, a4, rate)
            .map_err(|error| within(&error))?;
        heard = turn_about(guide, heard, rate);
    }
    let what = match wanted {
        Wanted::Pass => String::new(),
        Wanted::Bars(from, to) => format!(", {}", words::bars((from, to))),
        Wanted::Join { bar, beat } => format!(", the join after {}", words::place(bar, beat)),
    };
    let told = format!(
        "{:.1} seconds, pass {} of {}{what}, {:.0} % of the tempo played, from {from_s:.2} s of the take; line {}",
        heard.len() as f64 / rate.hz(),
        place.pass,
        result.judgement.passes.len(),
        100.0 * listening.speed,
        played.practise.line,
    );
    Ok((
        Rendered {
            samples: heard,
            told,
        },
        rate,
    ))
}

/// The same bars or the same join as written, at the tempo at which the take is heard.
fn guide(
    line: &Line,
    arguments: &HearArguments,
    wanted: Wanted,
    place: &Whereabouts,
    speed: f64,
    a4: Hertz,
    rate: SampleRate,
) -> Result<Vec<f32>, Failure> {
    let share = speed * place.share.unwrap_or(1.0);
    let line = line.with_tempo_scale(share).map_err(Failure::of)?;
    let voice = Voice::named(&arguments.voice)
        .ok_or_else(|| Failure::new(format!("there is no voice `{}`", arguments.voice)))?;
    let (notes, graces) = match wanted {
        Wanted::Join { bar, beat } => {
            let excerpt = around_join(&line, bar, beat).map_err(Failure::of)?;
            (excerpt.notes, Vec::new())
        }
        Wanted::Pass | Wanted::Bars(..) => {
            let (from, to) = place.bars;
            let part = line.played_range(from..=to).map_err(Failure::of)?;
            let notes = part.expected(part.instrument());
            let graces = part.graces(&notes);
            (notes, graces)
        }
    };
    let player = Player {
        a4,
        lead_in_s: graces_lead_s(&graces).max(BEFORE_S),
        tail_s: BEHIND_S,
        ..Player::exact()
    };
    let performance = Performance::of_line(&notes, &player).with_ornaments(&notes, &graces);
    Ok(render(&performance, &voice, rate))
}

/// Guide, take and guide and take again, with silence between; the guide no louder than the take.
fn turn_about(mut guide: Vec<f32>, take: Vec<f32>, rate: SampleRate) -> Vec<f32> {
    let top = |samples: &[f32]| samples.iter().fold(0.0f32, |top, x| top.max(x.abs()));
    let (of_guide, of_take) = (top(&guide), top(&take));
    if of_guide > 0.0 && of_take > 0.0 {
        guide.iter_mut().for_each(|x| *x *= of_take / of_guide);
    }
    let silence = vec![0.0; (BETWEEN_S * rate.hz()) as usize];
    let parts: [&[f32]; 7] = [&guide, &silence, &take, &silence, &guide, &silence, &take];
    parts.concat()
}

/// The frequency of A4 that a line is rendered with.
pub(super) fn a4_of(given: Option<f64>) -> f64 {
    given.unwrap_or(STANDARD_A4.0)
}

/// Refuses what goes with the other kind of file.
pub(super) fn check_kind(arguments: &HearArguments, is_take: bool) -> Result<(), Failure> {
    let name = arguments.line.display();
    let of_line: [(&str, bool); 4] = [
        ("--with", !arguments.faults.is_empty()),
        ("--seed", arguments.seed.is_some()),
        ("--click", arguments.click.is_some()),
        ("--count-in", arguments.count_in > 0),
    ];
    let of_take: [(&str, bool); 4] = [
        ("--pass", arguments.pass.is_some()),
        ("--speed", arguments.speed.is_some()),
        ("--with-guide", arguments.with_guide),
        ("--line", arguments.take_line.is_some()),
    ];
    let wrong = |all: &[(&str, bool)]| {
        all.iter()
            .find(|(_, given)| *given)
            .map(|(n, _)| (*n).to_owned())
    };
    match (is_take, wrong(&of_line), wrong(&of_take)) {
        (true, Some(option), _) => Err(Failure::new(format!(
            "{name}: {option} is for a line, and this is a take; leave it out"
        ))),
        (false, _, Some(option)) => Err(Failure::new(format!(
            "{name}: {option} is for a take, and this is no sound file; name a take, or leave it out"
        ))),
        _ => Ok(()),
    }
}

/// What a command reads besides the take.
pub(super) fn inputs(arguments: &HearArguments) -> Vec<PathBuf> {
    let beside = crate::session::played::path_beside(&arguments.line);
    let mut all = vec![arguments.line.clone(), beside];
    all.extend(arguments.take_line.clone());
    all
}
