//! Why a note got its verdict: onset, pitch, place on the grid, length, silence before the next, level and
//! what rang, each with its doubt, beside the limits that were used. As figures for a page (`figures`), and
//! as text with a small `drawing` for a terminal.

mod drawing;
mod figures;

use std::str::FromStr;

use super::page::{COLUMNS_MAX, COLUMNS_MIN, clean, wrap};
use crate::compare::judgement::JudgedNote;
use crate::music::theory::pitch_in;
use crate::session::result::{Curves, NoteCurve, TakeResult};
use crate::words;
pub(super) use figures::{MATTERS, Seen, figures, limits, seen, verdict};

/// Columns that the word for a matter takes.
const MATTER_COLUMNS: usize = 10;

/// Places in the line that are named in a message, at most.
const NAMED: usize = 12;

/// Beats closer than this are the same, in beats: they are printed with two decimals.
const SAME_BEAT: f64 = 0.006;

/// A place in the line as a player types it: `3.2.5` is bar 3, beat 2.5; `3` is the whole bar.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinePlace {
    bar: u32,
    beat: Option<f64>,
}

impl FromStr for LinePlace {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "`{}` is no place; write bar and beat as in 3.2.5 (bar 3, beat 2.5)",
                clean(text)
            )
        };
        let (bar, beat) = match text.split_once('.') {
            None => (text, None),
            Some((bar, beat)) => (bar, Some(beat)),
        };
        let digits = |part: &str| {
            let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
            let plain = part.chars().all(|c| c.is_ascii_digit() || c == '.');
            plain && digit(part.chars().next()) && digit(part.chars().next_back())
        };
        if !digits(bar) || !beat.is_none_or(digits) {
            return Err(wrong());
        }
        Ok(Self {
            bar: bar.parse().map_err(|_| wrong())?,
            beat: beat
                .map(|beat| beat.parse().map_err(|_| wrong()))
                .transpose()?,
        })
    }
}

/// Why the notes at a place got their verdicts, in every pass that reached them, ending with a line
/// feed. `columns` is the width of the page, taken as 40 to 200; `curves` say how pitch and level move, where that
/// is known.
///
/// # Errors
/// Where no note that was asked for begins there: which places there are.
pub fn page(
    result: &TakeResult,
    place: LinePlace,
    columns: usize,
    curves: Option<&Curves>,
) -> Result<String, String> {
    let columns = columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
    let notes = &result.judgement.notes;
    let of_bar = |note: &&JudgedNote| note.expected.bar == place.bar;
    let at_place = |note: &&JudgedNote| {
        let beat = note.expected.beat;
        of_bar(note)
            && place
                .beat
                .is_none_or(|asked| (beat - asked).abs() < SAME_BEAT)
    };
    let found: Vec<&JudgedNote> = notes.iter().filter(at_place).collect();
    if found.is_empty() {
        let beats = notes
            .iter()
            .filter(of_bar)
            .map(|n| words::beat(n.expected.beat));
        let mut beats: Vec<String> = beats.collect();
        beats.dedup();
        let more = if beats.len() > NAMED {
            " and later"
        } else {
            ""
        };
        beats.truncate(NAMED);
        return Err(match (place.beat, beats.is_empty()) {
            (Some(_), false) => format!(
                "no note of bar {} begins there; its notes begin on beat {}{more}",
                place.bar,
                beats.join(", ")
            ),
            _ => format!("bar {} holds no note of what was asked for", place.bar),
        });
    }
    let pages: Vec<String> = found
        .iter()
        .map(|note| of_note(result, note, columns, curves))
        .collect();
    Ok(pages.join("\n"))
}

fn of_note(
    result: &TakeResult,
    note: &JudgedNote,
    columns: usize,
    curves: Option<&Curves>,
) -> String {
    let expected = &note.expected;
    let key = result.line.key_at(expected.bar);
    let place = expected.place.map_or_else(String::new, |place| {
        format!(", string {} fret {}", place.string, place.fret)
    });
    let name = pitch_in(f64::from(expected.midi), key);
    let mut lines = vec![format!("{}: {name}{place}", expected.place_words())];
    let limits = limits(note, result);
    let seen = seen(result, expected.index);
    if seen.is_empty() {
        lines.push("No judged pass reached it.".to_owned());
    }
    for one in &seen {
        let pass = one.pass;
        lines.push(String::new());
        lines.push(format!(
            "pass {} ({:.1} to {:.1} s)",
            pass.number, pass.from_s, pass.to_s
        ));
        for (matter, figure) in MATTERS.iter().zip(figures(one)) {
            // A terminal may know no letters but those of ASCII.
            lines.extend(entry(matter, &figure.replace('±', "+-"), columns));
        }
        let curve = curves.and_then(|all| all.notes.get(&(pass.number, expected.index)));
        for (matter, course) in curve.map(courses).into_iter().flatten() {
            lines.extend(entry(matter, &course, columns));
        }
        lines.extend(drawing::drawing(one, columns));
    }
    lines.push(String::new());
    lines.push("limits".to_owned());
    for (matter, limit) in MATTERS
        .iter()
        .zip(limits)
        .filter(|(_, limit)| !limit.is_empty())
    {
        lines.extend(entry(matter, &limit, columns));
    }
    lines.join("\n") + "\n"
}

/// Told of a curve: one point in this many seconds.
const TOLD_EVERY_S: f64 = 0.05;

/// How pitch and level move, as rows of figures: "+14 +6 +3 cents, every 50 ms"; "-" where none is known.
fn courses(curve: &NoteCurve) -> [(&'static str, String); 2] {
    let every = (TOLD_EVERY_S / curve.step_s).round().max(1.0) as usize;
    let told = |values: &[Option<f64>], unit: &str, signed: bool| {
        let figure = |value: &Option<f64>| match value.map(f64::round) {
            Some(value) if signed => format!("{:+}", value + 0.0),
            Some(value) => format!("{}", value + 0.0),
            None => "-".to_owned(),
        };
        let figures: Vec<String> = values.iter().step_by(every).map(figure).collect();
        let every_ms = 1000.0 * curve.step_s * every as f64;
        format!(
            "{} {unit}, every {every_ms:.0} ms from the onset",
            figures.join(" ")
        )
    };
    [
        ("moves", told(&curve.cents, "cents", true)),
        ("falls", told(&curve.level_dbfs, "dBFS", false)),
    ]
}

/// A sentence with the word for its matter to the left.
fn entry(matter: &str, sentence: &str, columns: usize) -> Vec<String> {
    let indent = MATTER_COLUMNS + 2;
    let mut rows = wrap(sentence, indent, columns);
    if let Some(first) = rows.first_mut() {
        let body = first.split_off(indent.min(first.len()));
        *first = format!("  {matter:<MATTER_COLUMNS$}{body}");
    }
    rows
}
