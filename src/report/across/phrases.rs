//! What is told of a matter, in words.

use super::Across;
use crate::compare::across::chance::Share;
use crate::compare::across::{Change, Compared, Matter, Measured, Sides};
use crate::music::theory::pitch_in;
use crate::report::page::clean;
use crate::session::line_info::LineInfo;
use crate::words;

/// Takes that are named one by one on a side, at most.
const TAKES_NAMED: usize = 2;

/// "5 passes of a.wav", "9 passes of 4 takes (a.wav to d.wav)", "the first 3 passes of a.wav".
pub(super) fn sides(across: &Across) -> (String, String) {
    let (before, after) = across.comparison.passes;
    let count = |passes: usize| words::count_of(passes, "pass", "passes");
    if let [only] = across.takes.as_slice() {
        let name = file_name(&only.take.file);
        return (
            format!("the first {} of {name}", count(before)),
            format!("its last {}", count(after)),
        );
    }
    let (earlier, later) = across.takes.split_at(across.before.min(across.takes.len()));
    let names = |takes: &[crate::session::result::TakeResult]| {
        let names: Vec<String> = takes
            .iter()
            .map(|take| file_name(&take.take.file))
            .collect();
        match names.as_slice() {
            [first, .., last] if names.len() > TAKES_NAMED => {
                format!("{} takes ({first} to {last})", names.len())
            }
            _ => names.join(" and "),
        }
    };
    (
        format!("{} of {}", count(before), names(earlier)),
        format!("{} of {}", count(after), names(later)),
    )
}

/// The file without its folders.
pub(in crate::report) fn file_name(file: &str) -> String {
    let file = if file == "-" { "standard input" } else { file };
    let last = file.rsplit(['/', '\\']).find(|part| !part.is_empty());
    clean(last.unwrap_or(file))
}

/// "bar 2 beat 4.5"; "whole passes".
pub(in crate::report) fn spot(one: &Compared, line: &LineInfo) -> String {
    one.spot.as_ref().map_or_else(
        || "whole passes".to_owned(),
        |spot| {
            let printed = line.printed_bar(spot.note.bar);
            let bar = words::bar_number(spot.note.bar, printed);
            format!("bar {bar} beat {}", words::beat(spot.note.beat))
        },
    )
}

/// "shift F#2 to F#1, silence"; "F#2, off the grid".
pub(in crate::report) fn what(one: &Compared, line: &LineInfo) -> String {
    let Some(spot) = &one.spot else {
        return match one.matter {
            Matter::Spread => "timing's spread",
            Matter::Drift => "tempo moved by",
            Matter::AllWrong => "wrong notes",
            Matter::AllMissed => "missed notes",
            Matter::AllRings => "notes over a ringing string",
            _ => "notes nobody wrote",
        }
        .to_owned();
    };
    let key = line.key_at(spot.note.bar);
    let name = |midi: u8| pitch_in(f64::from(midi), key);
    let note = name(spot.note.midi);
    match one.matter {
        Matter::Gap => {
            let kind = spot.join.map_or(words::JOIN, |join| join.word());
            let to = spot
                .to_midi
                .map_or_else(String::new, |midi| format!(" to {}", name(midi)));
            format!("{kind} {note}{to}, silence")
        }
        Matter::Timing => format!("{note}, off the grid"),
        Matter::Failed => format!("{note}, wrong or missed"),
        _ => format!("{note}, over a ringing string"),
    }
}

/// Both sides: "107 -> 0 ms", with the spread over passes where there are some: "107 +-12 -> 0 +-1 ms".
pub(in crate::report) fn numbers(one: &Compared) -> String {
    match &one.sides {
        Sides::Numbers(samples) => {
            let (from, to) = samples.middles();
            let (from_spread, to_spread) = samples.spreads();
            let (scale, unit) = scale(one.matter);
            let side = |middle: Option<f64>, spread: Option<f64>| {
                let middle =
                    middle.map_or(words::UNKNOWN.to_owned(), |m| format!("{:.0}", m * scale));
                let spread = spread.map_or_else(String::new, |s| format!(" +-{:.0}", s * scale));
                middle + &spread
            };
            format!(
                "{} -> {} {unit}",
                side(from, from_spread),
                side(to, to_spread)
            )
        }
        Sides::Counts { before, after } => {
            let side = |share: &Share| match one.matter {
                Matter::AllExtras => format!("{} in {} notes", share.of, share.all),
                _ => format!("{} of {}", share.of, share.all),
            };
            format!("{} -> {}", side(before), side(after))
        }
    }
}

fn scale(matter: Matter) -> (f64, &'static str) {
    match matter {
        Matter::Drift => (100.0, "%"),
        _ => (1.0, "ms"),
    }
}

/// "; 3 more passes would tell", where that is not known yet.
pub(super) fn more_words(one: &Compared) -> String {
    match (one.verdict, one.more_passes) {
        (Change::CannotTell, Some(more)) => {
            let passes = words::plural(more, "pass", "passes");
            format!("; about {more} more {passes} would tell")
        }
        (Change::CannotTell, None) if one.spot.is_some() => {
            "; not to be told beside these earlier passes".to_owned()
        }
        _ => String::new(),
    }
}

/// The number of each pass: "107, 95 | 4, 0, 2"; empty of counts.
pub(super) fn followed(one: &Compared) -> String {
    let Sides::Numbers(samples) = &one.sides else {
        return String::new();
    };
    let (scale, _) = scale(one.matter);
    let side = |side: &[Measured]| {
        let numbers: Vec<String> = side
            .iter()
            .map(|m| format!("{:.0}", m.value * scale))
            .collect();
        numbers.join(", ")
    };
    format!("{} | {}", side(&samples.before), side(&samples.after))
}
