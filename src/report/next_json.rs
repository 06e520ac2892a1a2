//! Today's practice as other programs read it.

use serde::Serialize;

use super::json::{DECIMALS_BPM, DECIMALS_SHARE, SCHEMA, round};
use super::layout;
use super::next::join_of;
use crate::progress::plan::{Advice, Plan, advise, reason};
use crate::progress::record::LineRecord;

/// What the file says it was written by.
pub const BY_NEXT: &str = "seamline next";

#[derive(Serialize)]
struct NextOut<'a> {
    schema: u32,
    written_by: &'static str,
    player: Option<&'a str>,
    items: Vec<ItemOut<'a>>,
    advice: Vec<AdviceOut>,
}

#[derive(Serialize)]
struct ItemOut<'a> {
    line: &'a str,
    file: Option<&'a str>,
    bars: (u32, u32),
    join: Option<JoinOut>,
    why: String,
    minutes: Option<f64>,
    tempo_share: Option<f64>,
    tempo_bpm: Option<f64>,
    whole: bool,
}

#[derive(Serialize)]
struct JoinOut {
    bar: u32,
    beat: Option<f64>,
    join: Option<&'static str>,
}

#[derive(Serialize)]
struct AdviceOut {
    /// The item before which it comes, from 0; `null` where it is about the whole.
    before: Option<usize>,
    minutes: Option<f64>,
    text: String,
}

/// The plan as one object, ending with a line feed; `player` is empty where nobody was named. Never
/// fails: a value that JSON cannot hold becomes `null`.
pub fn object(plan: &Plan, lines: &[LineRecord], player: &str) -> String {
    let items = plan.items.iter().filter_map(|item| {
        let line = lines.get(item.line)?;
        Some(ItemOut {
            line: &line.title,
            file: line.file.as_deref(),
            bars: item.bars,
            join: join_of(item, line).map(|join| JoinOut {
                bar: join.bar,
                beat: round(join.beat, DECIMALS_SHARE),
                join: join.kind.map(|kind| kind.word()),
            }),
            why: reason(&item.why),
            minutes: round(item.minutes, DECIMALS_SHARE),
            tempo_share: round(item.share, DECIMALS_SHARE),
            tempo_bpm: round(item.share * line.tempo_bpm, DECIMALS_BPM),
            whole: item.whole,
        })
    });
    let advice = plan.advice.iter().map(|advice| {
        let (before, minutes) = match *advice {
            Advice::Rest { before, minutes } => (Some(before), round(minutes, DECIMALS_SHARE)),
            _ => (None, None),
        };
        AdviceOut {
            before,
            minutes,
            text: advise(advice, lines),
        }
    });
    let next = NextOut {
        schema: SCHEMA,
        written_by: BY_NEXT,
        player: Some(player).filter(|player| !player.is_empty()),
        items: items.collect(),
        advice: advice.collect(),
    };
    let mut text = layout::text(&next);
    text.push('\n');
    text
}
