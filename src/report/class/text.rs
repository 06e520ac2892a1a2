//! The table for a terminal: a line of figures for each take, beneath it which line it is and where to
//! begin, or why it could not be judged.

use std::fmt::Write as _;

use super::{Counts, ORDER, Outcome, Row, heading, last_part};
use crate::report::page::{COLUMNS_MAX, COLUMNS_MIN, Tone, clean, paint, wrap};
use crate::words;

/// The columns of figures, with their widths.
const FIGURES: [(&str, usize); 9] = [
    ("right", 7),
    ("wrong", 5),
    ("missed", 6),
    ("extra", 5),
    ("early", 5),
    ("late", 4),
    ("gaps", 6),
    ("rings", 5),
    ("faulty", 6),
];

/// The widest column of names.
const NAME_COLUMNS_MAX: usize = 40;
/// The narrowest; on a narrower page the lines run over.
const NAME_COLUMNS_MIN: usize = 12;
/// How far the lines beneath a row are indented.
const INDENT: usize = 4;

/// The table, ending with a line feed; `columns` is the width of the page, `colour` adds terminal
/// colours. The rows stand as they are given.
pub fn table(rows: &[Row], columns: usize, colour: bool) -> String {
    let columns = columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
    let figures: usize = FIGURES.iter().map(|(_, width)| width + 1).sum();
    let longest = rows.iter().map(|row| name(row).chars().count()).max();
    let width = columns
        .saturating_sub(figures)
        .min(longest.unwrap_or(0).max("take".len()))
        .clamp(NAME_COLUMNS_MIN, NAME_COLUMNS_MAX);
    let mut out = String::new();
    push(&mut out, &format!("{}. {ORDER}", heading(rows)), 0, columns);
    out.push('\n');
    let whose = rows.iter().any(|row| row.who.is_some());
    let mut head = format!("{:<width$}", if whose { "who" } else { "take" });
    for (word, width) in FIGURES {
        let _ = write!(head, " {word:>width$}");
    }
    let _ = writeln!(out, "{}", paint(head.trim_end(), Tone::Strong, colour));
    for row in rows {
        let name = paint(&fitted(&name(row), width), Tone::Strong, colour);
        match &row.outcome {
            Outcome::Judged(counts) => {
                let _ = write!(out, "{name}");
                for ((_, width), figure) in FIGURES.iter().zip(cells(counts)) {
                    let _ = write!(out, " {figure:>width$}");
                }
                out.push('\n');
                push(&mut out, &about(row, counts), INDENT, columns);
            }
            Outcome::NotJudged(why) => {
                let told = paint("not judged", Tone::Alarm, colour);
                let _ = writeln!(out, "{name} {told}");
                let take = row.who.as_ref().map(|_| format!("{}: ", row.take));
                let text = format!("{}{why}", take.unwrap_or_default());
                push(&mut out, &text, INDENT, columns);
            }
        }
    }
    out
}

/// The figures of a row; nothing to tell is a dot.
fn cells(counts: &Counts) -> [String; FIGURES.len()] {
    let some = |number: usize| match number {
        0 => ".".to_owned(),
        number => number.to_string(),
    };
    [
        format!("{}/{}", counts.right, counts.notes),
        some(counts.wrong),
        some(counts.missed),
        some(counts.extra),
        some(counts.early),
        some(counts.late),
        match counts.joins_with_gap {
            0 => ".".to_owned(),
            gaps => format!("{gaps}/{}", counts.joins),
        },
        counts.rings.map_or(words::UNKNOWN.to_owned(), some),
        counts
            .faulty_percent()
            .map_or(words::UNKNOWN.to_owned(), |percent| format!("{percent} %")),
    ]
}

/// What stands beneath the figures: take, line, passes, where to begin, and what the recording needs.
fn about(row: &Row, counts: &Counts) -> String {
    let mut parts = Vec::new();
    if row.who.is_some() {
        parts.push(row.take.clone());
    }
    if let Some(line) = &row.line {
        let by_ear = if line.found { " (found by ear)" } else { "" };
        parts.push(format!("{}{by_ear}", line.name()));
    }
    let passes = words::plural(counts.passes, "pass", "passes");
    parts.push(format!("{} {passes}", counts.passes));
    let unreached = counts.notes - counts.played.min(counts.notes);
    if unreached > 0 {
        parts.push(format!("{} not reached", words::count(unreached, "note")));
    }
    let mut text = parts.join(", ");
    match &counts.begin {
        Some(begin) => {
            let _ = write!(text, "; begin with {}", begin.sentence);
            if let Some(bpm) = begin.tempo_bpm {
                let _ = write!(text, ", at {bpm}");
            }
            text.push('.');
        }
        None => text.push_str("; nothing to mend."),
    }
    for note in &counts.recording {
        let _ = write!(text, " {note}");
    }
    text
}

/// Who played, or the take's file.
fn name(row: &Row) -> String {
    let name = match row.who.as_deref().map(str::trim) {
        Some(who) if !who.is_empty() => who,
        _ => last_part(&row.take),
    };
    clean(name)
}

/// A name in exactly `width` columns: what is longer loses its middle, so that its number stays.
fn fitted(name: &str, width: usize) -> String {
    let letters: Vec<char> = name.chars().collect();
    if letters.len() <= width {
        return format!("{name:<width$}");
    }
    let head = width / 2;
    let tail = width - head - 1;
    let first: String = letters[..head].iter().collect();
    let last: String = letters[letters.len() - tail..].iter().collect();
    format!("{first}…{last}")
}

fn push(out: &mut String, text: &str, indent: usize, columns: usize) {
    for line in wrap(text, indent, columns) {
        let _ = writeln!(out, "{line}");
    }
}

#[cfg(test)]
mod tests {
    use super::super::samples::{HOSTILE, broken, called, judged};
    use super::*;

    #[test]
    fn the_table_says_who_needs_what() {
        let mut second = judged("takes/a-name-that-is-longer-than-its-column-02.wav", 0);
        if let Outcome::Judged(counts) = &mut second.outcome {
            *counts = Counts {
                passes: 1,
                notes: 8,
                played: 8,
                right: 8,
                joins: 7,
                rings: Some(0),
                ..Counts::default()
            };
        }
        let rows = [
            broken("c.wav", "c.wav: this is no sound file; name another one"),
            judged("takes/b.wav", 7),
            second,
        ];
        let wanted = "\
3 takes: 2 judged, 1 not. Takes that could not be judged stand first; then by
the share of the notes played that have something in them, the largest first.

take                   right wrong missed extra early late   gaps rings faulty
c.wav                not judged
    c.wav: this is no sound file; name another one
b.wav                 98/120     1      1     2     3    4   5/60     6    7 %
    Two bars up the stairs, 2 passes, 20 notes not reached; begin with bar 3,
    the shift from D2 up to Bb2: 84 ms of silence, at 77.
a-name-tha…mn-02.wav     8/8     .      .     .     .    .      .     .    0 %
    Two bars up the stairs, 1 pass; nothing to mend.
";
        let told = table(&rows, 78, false);
        assert_eq!(told, wanted, "\n{told}");
    }

    #[test]
    fn no_name_reaches_the_terminal_as_an_order() {
        for name in HOSTILE {
            let told = table(&called(name), 80, false);
            let orders = |c: char| c.is_control() && c != '\n';
            assert!(!told.contains(orders), "{told:?}");
        }
    }
}
