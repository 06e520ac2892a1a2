//! What was understood of a line, a row for each matter.

use std::collections::HashSet;

use super::page::{clean, wrap};
use super::show::OnNeck;
use crate::music::expected::{ExpectedNote, JoinKind};
use crate::music::line::{EventKind, Length, Line};
use crate::music::theory::pitch_in;
use crate::words;

/// Columns of the name of a row, the spaces around it included.
const NAME_COLUMNS: usize = 14;

/// Changes of tempo, meter or key that are listed; what is beyond is counted. A page for more would
/// hide the rest.
const CHANGES_SHOWN: usize = 6;

/// Different chord symbols that are listed.
const CHORDS_SHOWN: usize = 24;

/// The rows, the title above them.
pub(super) fn understood(
    line: &Line,
    OnNeck {
        notes,
        info,
        shifts,
    }: &OnNeck,
    columns: usize,
) -> Vec<String> {
    let title = info.title.as_deref().unwrap_or("A line without a title");
    let mut lines = wrap(title, 0, columns);
    lines.push(String::new());
    let instrument = line.instrument();
    let rows = [
        ("bars", bars(line)),
        ("meter", changes(line, |bar| bar.meter.to_string())),
        ("key", changes(line, |bar| bar.key.to_string())),
        ("tempo", tempo(line)),
        (
            "instrument",
            format!(
                "{}, {} frets, scale {} mm",
                instrument.tuning(),
                instrument.frets(),
                instrument.scale_mm()
            ),
        ),
        ("notes", counted(line, notes)),
        ("places", places(line, notes)),
        ("chords", chords(line)),
        ("joins", joins(notes)),
        ("shifts", largest(notes, shifts)),
    ];
    for (name, text) in rows {
        if text.is_empty() {
            continue;
        }
        let mut told = wrap(&text, NAME_COLUMNS, columns).into_iter();
        if let Some(first) = told.next() {
            let rest = first.get(NAME_COLUMNS..).unwrap_or_default();
            lines.push(format!("  {name:<width$}{rest}", width = NAME_COLUMNS - 2));
        }
        lines.extend(told);
    }
    lines
}

fn bars(line: &Line) -> String {
    let count = line.written_bars().len() - usize::from(line.has_pickup());
    let pickup = if line.has_pickup() {
        "a pick-up and "
    } else {
        ""
    };
    let cut = match line.first_bar() {
        0 | 1 => String::new(),
        first => format!(
            ", numbered {first} to {}",
            line.printed_bar(line.last_bar())
        ),
    };
    let played = line.bars().len() - usize::from(line.has_pickup());
    let played = match played == count {
        true => String::new(),
        false => format!(", {played} as they are played"),
    };
    format!("{pickup}{count}{cut}{played}")
}

/// What holds at the start, and each change with its bar.
fn changes(line: &Line, of: impl Fn(&crate::music::line::Bar) -> String) -> String {
    let mut told: Vec<String> = Vec::new();
    let mut now = String::new();
    let mut count = 0;
    for (number, bar) in line.written_numbers().into_iter().zip(line.written_bars()) {
        let value = of(bar);
        if value != now {
            count += 1;
            if count == 1 {
                told.push(value.clone());
            } else if count <= CHANGES_SHOWN {
                told.push(format!("{value} from bar {number}"));
            }
            now = value;
        }
    }
    more(told, count)
}

fn tempo(line: &Line) -> String {
    let mut told = vec![line.tempo().to_string()];
    let mut count = 1;
    for (number, bar) in line.written_numbers().into_iter().zip(line.written_bars()) {
        for mark in &bar.tempos {
            count += 1;
            if count <= CHANGES_SHOWN {
                let at = words::place(number, 1.0 + bar.meter.beats_in(mark.at));
                told.push(format!("{} from {at}", mark.tempo));
            }
        }
    }
    let swing = match line.swing() {
        Some(swing) => format!("swing {swing}"),
        None => "straight".to_owned(),
    };
    let length_s = line.quarters_to_seconds(line.end_quarters())
        - line.quarters_to_seconds((Length::ZERO - line.pickup_length()).quarters());
    format!("{}; {swing}; {length_s:.1} seconds", more(told, count))
}

/// A list with how much of it was left out.
fn more(told: Vec<String>, count: usize) -> String {
    let left = count - told.len().min(count);
    let mut text = told.join(", ");
    if left > 0 {
        text.push_str(&format!(" and {left} more"));
    }
    text
}

fn counted(line: &Line, notes: &[ExpectedNote]) -> String {
    let key = Some(line.key());
    let name = |midi: Option<u8>| midi.map_or(String::new(), |midi| pitch_in(f64::from(midi), key));
    let lowest = notes.iter().map(|note| note.midi).min();
    let highest = notes.iter().map(|note| note.midi).max();
    let mut told = vec![format!(
        "{}, {} to {}",
        notes.len(),
        name(lowest),
        name(highest)
    )];
    let mut add = |count: usize, what: &str| {
        if count > 0 {
            told.push(format!("{count} {what}"));
        }
    };
    let events = || line.bars().iter().flat_map(|bar| &bar.events);
    let rests = events().filter(|event| event.kind == EventKind::Rest);
    add(
        notes.iter().filter(|note| note.slurred_into).count(),
        "slurred or slid into",
    );
    add(
        notes.iter().filter(|note| note.staccato).count(),
        "staccato",
    );
    add(notes.iter().filter(|note| note.ghost).count(), "ghost");
    add(notes.iter().filter(|note| note.accent).count(), "accented");
    add(line.graces(notes).len(), "grace beside them");
    add(
        notes.iter().filter(|note| note.with_previous).count(),
        "struck with another",
    );
    let rests = rests.count();
    if rests > 0 {
        told.push(words::count(rests, "rest"));
    }
    told.join("; ")
}

/// Where the notes lie, and how much of that the line says itself.
fn places(line: &Line, notes: &[ExpectedNote]) -> String {
    let frets = || {
        notes
            .iter()
            .filter_map(|note| note.place)
            .map(|place| place.fret)
    };
    let (Some(lowest), Some(highest)) = (frets().min(), frets().max()) else {
        return String::new();
    };
    let written = |has: fn(&crate::music::line::Note) -> bool| {
        let events = line.bars().iter().flat_map(|bar| &bar.events);
        let heads = events.filter_map(|event| match &event.kind {
            EventKind::Notes { notes, .. } => Some(notes),
            _ => None,
        });
        heads.flatten().filter(|note| has(note)).count()
    };
    let share = |count: usize| match count {
        0 => "for none".to_owned(),
        count if count == notes.len() => "for all".to_owned(),
        count => format!("for {count} of {}", notes.len()),
    };
    format!(
        "frets {lowest} to {highest}; string and fret are written {}, fingers {}",
        share(written(|note| note.place.is_some())),
        share(written(|note| note.finger.is_some()))
    )
}

fn chords(line: &Line) -> String {
    let marks = line.written_bars().iter().flat_map(|bar| &bar.chords);
    let mut count = 0;
    let mut seen = HashSet::new();
    let mut told: Vec<String> = Vec::new();
    for mark in marks {
        count += 1;
        if seen.insert(mark.symbol.text()) {
            told.push(clean(mark.symbol.text()));
        }
    }
    if count == 0 {
        return "none: no degrees are known".to_owned();
    }
    let different = told.len();
    told.truncate(CHORDS_SHOWN);
    format!(
        "{}: {}",
        words::count(count, "symbol"),
        more(told, different)
    )
}

fn joins(notes: &[ExpectedNote]) -> String {
    let mut told: Vec<(usize, String)> = Vec::new();
    for kind in JoinKind::ALL {
        let of_kind = |note: &&ExpectedNote| note.join == Some(kind) && !note.with_previous;
        let count = notes.iter().filter(of_kind).count();
        if count > 0 {
            let (one, many) = match kind {
                JoinKind::SamePlace => ("join within one place", kind.plural()),
                JoinKind::Open => ("join with an open string", kind.plural()),
                _ => (kind.word(), kind.plural()),
            };
            told.push((
                count,
                format!("{count} {}", words::plural(count, one, many)),
            ));
        }
    }
    told.sort_by_key(|(count, _)| std::cmp::Reverse(*count));
    let told: Vec<String> = told.into_iter().map(|(_, text)| text).collect();
    told.join(", ")
}

/// The shift that goes furthest.
fn largest(notes: &[ExpectedNote], shifts: &[Option<i32>]) -> String {
    let far = |at: &usize| shifts[*at].map_or(0, i32::abs);
    let moved = (0..shifts.len()).filter(|&at| shifts[at].is_some_and(|frets| frets != 0));
    // The first of the furthest.
    let Some(at) = moved.rev().max_by_key(far) else {
        return String::new();
    };
    let next = notes[at + 1..].iter().find(|note| !note.with_previous);
    let (Some(frets), Some(next)) = (shifts[at], next) else {
        return String::new();
    };
    let way = if frets > 0 { "up" } else { "down" };
    let ms = (next.onset_s - notes[at].onset_s) * 1000.0;
    format!(
        "the largest {} {way}, from {} to {}, in {ms:.0} ms",
        words::count(frets.unsigned_abs() as usize, "fret"),
        words::place(notes[at].printed_bar, notes[at].beat),
        words::place(next.printed_bar, next.beat)
    )
}
