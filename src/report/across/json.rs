//! What was compared, for other programs.

use serde::Serialize;

use super::Across;
use crate::compare::across::chance::FALSE_SHARE;
use crate::compare::across::{Compared, Matter, Measured, Sides};
use crate::report::json::{DECIMALS_BPM, DECIMALS_MS, DECIMALS_SHARE, SCHEMA, round, round_known};
use crate::report::layout;

/// What the file says it was written by.
pub const BY_COMPARE: &str = "seamline compare";

/// Decimals kept of a probability.
const DECIMALS_P: i32 = 6;

#[derive(Serialize)]
struct ComparisonOut<'a> {
    schema: u32,
    written_by: &'static str,
    line: LineOut<'a>,
    takes: Vec<TakeOut<'a>>,
    passes_before: usize,
    passes_after: usize,
    tempo_before_bpm: Option<f64>,
    tempo_after_bpm: Option<f64>,
    /// The share of what is told as better or worse that may be noise.
    false_share: f64,
    tests: usize,
    compared: Vec<ComparedOut>,
}

#[derive(Serialize)]
struct LineOut<'a> {
    title: Option<&'a str>,
}

#[derive(Serialize)]
struct TakeOut<'a> {
    file: &'a str,
    judged_passes: usize,
    side: &'static str,
}

#[derive(Serialize)]
struct ComparedOut {
    matter: &'static str,
    unit: &'static str,
    index: Option<usize>,
    bar: Option<u32>,
    beat: Option<f64>,
    join: Option<&'static str>,
    before: SideOut,
    after: SideOut,
    change: Option<f64>,
    change_uncertainty: Option<f64>,
    p: Option<f64>,
    q: Option<f64>,
    verdict: &'static str,
    more_passes: Option<usize>,
}

#[derive(Serialize)]
struct SideOut {
    values: Option<Vec<Option<f64>>>,
    uncertainties: Option<Vec<Option<f64>>>,
    median: Option<f64>,
    spread: Option<f64>,
    count: Option<usize>,
    of: usize,
}

/// The comparison as one object, ending with a line feed. Never fails: a value that JSON cannot hold becomes `null`.
pub fn object(across: &Across) -> String {
    let comparison = &across.comparison;
    let one = across.takes.len() == 1;
    let takes = across.takes.iter().enumerate().map(|(at, take)| TakeOut {
        file: &take.take.file,
        judged_passes: take
            .judgement
            .passes
            .iter()
            .filter(|pass| pass.judged)
            .count(),
        side: match at {
            _ if one => "both",
            at if at < across.before => "before",
            _ => "after",
        },
    });
    let out = ComparisonOut {
        schema: SCHEMA,
        written_by: BY_COMPARE,
        line: LineOut {
            title: across.leading().line.title.as_deref(),
        },
        takes: takes.collect(),
        passes_before: comparison.passes.0,
        passes_after: comparison.passes.1,
        tempo_before_bpm: round_known(comparison.tempo_bpm.0, DECIMALS_BPM),
        tempo_after_bpm: round_known(comparison.tempo_bpm.1, DECIMALS_BPM),
        false_share: FALSE_SHARE,
        tests: comparison.tests,
        compared: comparison.compared.iter().map(compared).collect(),
    };
    let mut text = layout::text(&out);
    text.push('\n');
    text
}

fn compared(one: &Compared) -> ComparedOut {
    let (name, unit) = named(one.matter);
    let decimals = match one.matter {
        Matter::Gap | Matter::Timing | Matter::Spread => DECIMALS_MS,
        _ => DECIMALS_SHARE,
    };
    let (before, after) = match &one.sides {
        Sides::Numbers(samples) => {
            let (from, to) = samples.middles();
            let (from_spread, to_spread) = samples.spreads();
            (
                numbers(&samples.before, from, from_spread, decimals),
                numbers(&samples.after, to, to_spread, decimals),
            )
        }
        Sides::Counts { before, after } => {
            (counted(before.of, before.all), counted(after.of, after.all))
        }
    };
    let note = one.spot.as_ref().map(|spot| &spot.note);
    ComparedOut {
        matter: name,
        unit,
        index: note.map(|note| note.index),
        bar: note.map(|note| note.bar),
        beat: note.and_then(|note| round(note.beat, DECIMALS_SHARE)),
        join: one
            .spot
            .as_ref()
            .and_then(|spot| spot.join)
            .map(|join| join.word()),
        before,
        after,
        change: round_known(one.change, decimals),
        change_uncertainty: round_known(one.change_sd, decimals),
        p: round_known(one.p, DECIMALS_P),
        q: round_known(one.q, DECIMALS_P),
        verdict: one.verdict.word(),
        more_passes: one.more_passes,
    }
}

fn numbers(side: &[Measured], median: Option<f64>, spread: Option<f64>, decimals: i32) -> SideOut {
    let rounded = |value: Option<f64>| round_known(value, decimals);
    SideOut {
        values: Some(side.iter().map(|m| rounded(Some(m.value))).collect()),
        uncertainties: Some(side.iter().map(|m| rounded(m.sd)).collect()),
        median: rounded(median),
        spread: rounded(spread),
        count: None,
        of: side.len(),
    }
}

fn counted(count: usize, of: usize) -> SideOut {
    SideOut {
        values: None,
        uncertainties: None,
        median: None,
        spread: None,
        count: Some(count),
        of,
    }
}

/// Name and unit of a matter in the file.
fn named(matter: Matter) -> (&'static str, &'static str) {
    match matter {
        Matter::Gap => ("gap", "ms"),
        Matter::Timing => ("off the grid", "ms"),
        Matter::Spread => ("timing spread", "ms"),
        Matter::Drift => ("tempo moved", "share"),
        Matter::Failed => ("wrong or missed", "passes"),
        Matter::Rings => ("bleed", "passes"),
        Matter::AllWrong => ("all wrong", "notes"),
        Matter::AllMissed => ("all missed", "notes"),
        Matter::AllRings => ("all bleed", "notes"),
        Matter::AllExtras => ("all extra", "for each note"),
    }
}
