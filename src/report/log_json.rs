//! The record of practice as other programs read it.

use serde::Serialize;

use super::json::{DECIMALS_BPM, DECIMALS_MS, DECIMALS_SHARE, SCHEMA, round, round_known};
use super::layout;
use super::log::Shown;
use crate::progress::record::{Day, JoinDay, LineDay, LineRecord, PractisedJoin};
use crate::progress::store::read::AtTempo;

/// What the file says it was written by.
pub const BY_LOG: &str = "seamline log";

#[derive(Serialize)]
struct LogOut<'a> {
    schema: u32,
    written_by: &'static str,
    player: Option<&'a str>,
    lines: Vec<LineOut<'a>>,
}

#[derive(Serialize)]
struct LineOut<'a> {
    title: &'a str,
    file: Option<&'a str>,
    bars: (u32, u32),
    tempo_bpm: Option<f64>,
    takes: usize,
    passes: usize,
    joins: Vec<JoinOut>,
    days: Vec<DayOut>,
    tempos: Vec<TempoOut>,
}

#[derive(Serialize)]
struct DayOut {
    day: String,
    passes: usize,
    clean: usize,
    whole: usize,
    whole_clean: usize,
    clean_share: Option<f64>,
    minutes: Option<f64>,
}

#[derive(Serialize)]
struct TempoOut {
    share: Option<f64>,
    passes: usize,
    clean: usize,
}

#[derive(Serialize)]
struct JoinOut {
    bar: u32,
    beat: Option<f64>,
    to_bar: u32,
    join: Option<&'static str>,
    tries: usize,
    faulty: usize,
    days: Vec<JoinDayOut>,
}

#[derive(Serialize)]
struct JoinDayOut {
    day: String,
    tries: usize,
    faulty: usize,
    first_faulty: bool,
    gap_ms: Option<f64>,
    clean_share: Option<f64>,
}

/// The record as one object, ending with a line feed; `player` is empty where nobody was named. Never
/// fails: a value that JSON cannot hold becomes `null`.
pub fn object(player: &str, lines: &[Shown]) -> String {
    let log = LogOut {
        schema: SCHEMA,
        written_by: BY_LOG,
        player: Some(player).filter(|player| !player.is_empty()),
        lines: lines
            .iter()
            .map(|(line, tempos)| line_out(line, tempos))
            .collect(),
    };
    let mut text = layout::text(&log);
    text.push('\n');
    text
}

fn line_out<'a>(line: &'a LineRecord, tempos: &[AtTempo]) -> LineOut<'a> {
    LineOut {
        title: &line.title,
        file: line.file.as_deref(),
        bars: line.bars,
        tempo_bpm: round(line.tempo_bpm, DECIMALS_BPM),
        takes: line.takes,
        passes: line.passes,
        joins: line.joins.iter().map(join_out).collect(),
        days: line.days.iter().map(day_out).collect(),
        tempos: tempos.iter().map(tempo_out).collect(),
    }
}

fn day_out(day: &LineDay) -> DayOut {
    DayOut {
        day: date(day.day),
        passes: day.passes,
        clean: day.clean,
        whole: day.whole,
        whole_clean: day.whole_clean,
        clean_share: round_known(day.clean_share, DECIMALS_SHARE),
        minutes: round(day.minutes, DECIMALS_MS),
    }
}

fn tempo_out(at: &AtTempo) -> TempoOut {
    TempoOut {
        share: round(at.share, DECIMALS_SHARE),
        passes: at.passes,
        clean: at.clean,
    }
}

fn join_out(join: &PractisedJoin) -> JoinOut {
    let day = |day: &JoinDay| JoinDayOut {
        day: date(day.day),
        tries: day.tries,
        faulty: day.faulty,
        first_faulty: day.first_faulty,
        gap_ms: round_known(day.gap_ms, DECIMALS_MS),
        clean_share: round_known(day.clean_share, DECIMALS_SHARE),
    };
    JoinOut {
        bar: join.bar,
        beat: round(join.beat, DECIMALS_SHARE),
        to_bar: join.to_bar,
        join: join.kind.map(|kind| kind.word()),
        tries: join.days.iter().map(|day| day.tries).sum(),
        faulty: join.days.iter().map(|day| day.faulty).sum(),
        days: join.days.iter().map(day).collect(),
    }
}

fn date(day: Day) -> String {
    day.to_string()
}
