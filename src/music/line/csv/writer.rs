//! The writer of tables of notes.

use std::fmt::Write;

use super::COLUMNS;
use crate::music::line::flat::first_beat_offset;
use crate::music::line::length::{Length, UNITS_PER_QUARTER};
use crate::music::line::model::{EventKind, Start};
use crate::music::line::whole::Line;

/// Writes the notes of a line as a table, repeats played out; `by` stands in its first line, so that
/// the file says who wrote it.
///
/// What a table cannot hold is not in it (see `unheld`).
pub fn write_csv(line: &Line, by: &str) -> String {
    let mut text = format!("# {by}\n");
    let mut head = |name: &str, value: String| {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "# {name}: {value}");
    };
    if !line.title().is_empty() {
        head("title", line.title().to_owned());
    }
    head("tempo", line.tempo().to_string());
    head("key", line.key().to_string());
    head("tuning", line.instrument().tuning().to_string());
    if let Some(swing) = line.swing() {
        head("swing", swing.to_string());
    }
    if line.has_pickup() {
        head("pickup", quarters(line.pickup_length()));
    }
    let mut end = Length::ZERO - line.pickup_length();
    for bar in line.bars() {
        end += bar.length();
    }
    head("end", quarters(end));
    text.push_str(&COLUMNS.join(","));
    text.push('\n');
    for row in rows(line) {
        text.push_str(&row);
        text.push('\n');
    }
    text
}

/// A number of quarters: a decimal where that is exact and short, else a fraction.
fn quarters(length: Length) -> String {
    let (units, whole) = (length.units(), UNITS_PER_QUARTER);
    if (units * 64) % whole == 0 {
        return format!("{}", length.quarters());
    }
    let (numerator, denominator) = length.fraction_of_whole();
    // A fraction of a whole note is four times as many quarters.
    match denominator % 4 {
        0 => format!("{numerator}/{}", denominator / 4),
        2 => format!("{}/{}", numerator * 2, denominator / 2),
        _ => format!("{}/{denominator}", numerator * 4),
    }
}

fn rows(line: &Line) -> Vec<String> {
    let mut rows: Vec<String> = Vec::new();
    // Notes that sound, with what their rows hold before and after their length.
    let mut open: Vec<(String, Length, String, Vec<&str>)> = Vec::new();
    let mut start = Length::ZERO - line.pickup_length();
    let mut close = |open: &mut Vec<(String, Length, String, Vec<&str>)>| {
        for (before, length, after, marks) in open.drain(..) {
            rows.push(format!(
                "{before},{},{after},{}",
                quarters(length),
                marks.join(" ")
            ));
        }
    };
    for (index, bar) in line.bars().iter().enumerate() {
        let number = line.first_bar() + index as u32;
        let offset = first_beat_offset(line, index, bar);
        let mut at = Length::ZERO;
        for event in &bar.events {
            match &event.kind {
                EventKind::Rest => close(&mut open),
                EventKind::Hold => {
                    for note in &mut open {
                        note.1 += event.length;
                        if event.breath_after {
                            note.3.push("breath");
                        }
                    }
                }
                EventKind::Notes {
                    notes,
                    start: begun,
                    staccato,
                } => {
                    // A slur from a grace note has nothing left to come from.
                    let begun = if open.is_empty() {
                        Start::Plucked
                    } else {
                        *begun
                    };
                    close(&mut open);
                    let beat = 1.0 + bar.meter.beats_in(at + offset);
                    let beat = (beat * 1000.0).round() / 1000.0;
                    for note in notes {
                        let place = note.place;
                        let cell =
                            |number: Option<u8>| number.map_or(String::new(), |n| n.to_string());
                        let after = format!(
                            "{number},{beat},{},{},{},{},{},{}",
                            bar.meter,
                            note.midi,
                            bar.key.spell(note.midi),
                            cell(place.map(|place| place.string)),
                            cell(place.map(|place| place.fret)),
                            cell(note.finger)
                        );
                        let marks = [
                            (note.ghost, "ghost"),
                            (begun == Start::Slurred, "slurred"),
                            (begun == Start::Hammered, "hammered"),
                            (begun == Start::Pulled, "pulled"),
                            (begun == Start::Slid, "slid"),
                            (*staccato, "staccato"),
                            (event.accent, "accent"),
                            (event.breath_after, "breath"),
                        ];
                        let marks = marks.iter().filter(|mark| mark.0).map(|mark| mark.1);
                        open.push((quarters(start + at), event.length, after, marks.collect()));
                    }
                }
            }
            at += event.length;
        }
        start += at;
    }
    close(&mut open);
    rows
}
