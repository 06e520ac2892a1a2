//! The notes of a bar on the neck: strings across, frets along, each place with its degree and
//! finger.

use super::page::{COLUMNS_MAX, COLUMNS_MIN, clean};
use super::show::{OnNeck, bar_of, on_neck, sign};
use super::signs::Written;
use crate::music::expected::{ExpectedNote, Place};
use crate::music::fingering::Way;
use crate::music::line::Line;
use crate::music::study::{chords_in_force, degrees};
use crate::music::theory::{ChordSymbol, pitch_class_in};
use crate::session::line_info::LineInfo;
use crate::words;

/// Frets that are drawn at least: what lies under one hand. Common practice, no source.
const FRETS_MIN: u8 = 4;

/// Columns left of the strings.
const NAME_COLUMNS: usize = 7;

/// One diagram: the notes of a bar under one chord.
struct Shape<'a> {
    title: String,
    notes: Vec<(&'a ExpectedNote, String)>,
}

/// The neck under each chord of the bars from one printed number to another (both included), ending with a
/// line feed. A place shows the degree in the chord, or the name of the note where no chord is in
/// force; a finger stands behind it in brackets: the way's with `fingers`, else as the line writes it.
pub fn diagrams(line: &Line, way: &Way, fingers: bool, bars: (u32, u32), columns: usize) -> String {
    let columns = columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
    let OnNeck { notes, info, .. } = on_neck(line, way, fingers);
    let mut page = String::new();
    for shape in shapes(line, &info, &notes, bars) {
        if !page.is_empty() {
            page.push('\n');
        }
        page.push_str(&shape.title);
        page.push('\n');
        for row in drawn(&shape, &info.strings, columns) {
            page.push_str(row.trim_end());
            page.push('\n');
        }
    }
    page
}

/// The notes of the bars, apart for each bar and each chord in it.
fn shapes<'a>(
    line: &Line,
    info: &LineInfo,
    notes: &'a [ExpectedNote],
    bars: (u32, u32),
) -> Vec<Shape<'a>> {
    let written = Written::new(line, Some(bars));
    let told = degrees(line, notes);
    let chords = chords_in_force(line, notes);
    let mut shapes: Vec<Shape> = Vec::new();
    let mut before: Option<(u32, Option<&ChordSymbol>)> = None;
    for (at, note) in notes.iter().enumerate() {
        if !written.is_shown(note.bar) {
            continue;
        }
        let here = (note.bar, chords[at]);
        if before != Some(here) {
            let same_bar = before.is_some_and(|(bar, _)| bar == note.bar);
            let place = if same_bar {
                words::place(note.printed_bar, note.beat)
            } else {
                words::bars((note.printed_bar, note.printed_bar))
            };
            let chord =
                chords[at].map_or(String::new(), |chord| format!(", {}", clean(chord.text())));
            shapes.push(Shape {
                title: format!("{place}{chord}"),
                notes: Vec::new(),
            });
            before = Some(here);
        }
        let key = bar_of(info, note.bar).and_then(|bar| bar.key);
        let name = match &told[at] {
            Some(degree) => degree.degree.to_string(),
            None => pitch_class_in(f64::from(note.midi), key),
        };
        let finger = sign(info, note).and_then(|sign| sign.finger);
        let finger = finger.map_or(String::new(), |finger| format!("({finger})"));
        if let Some(shape) = shapes.last_mut() {
            shape.notes.push((note, format!("{name}{finger}")));
        }
    }
    shapes
}

fn drawn(shape: &Shape, strings: &[String], columns: usize) -> Vec<String> {
    let frets = || {
        let places = shape.notes.iter().filter_map(|(note, _)| note.place);
        places.map(|place| place.fret).filter(|&fret| fret > 0)
    };
    let lowest = frets().min().unwrap_or(1);
    // What is nearly at the nut is drawn from the nut on.
    let first = if lowest <= 3 { 1 } else { lowest };
    let last = frets().max().unwrap_or(first).max(first + FRETS_MIN - 1);
    let widest = shape
        .notes
        .iter()
        .map(|(_, text)| text.chars().count())
        .max();
    let room = columns.saturating_sub(NAME_COLUMNS) / (usize::from(last - first) + 2);
    let width = (widest.unwrap_or(1) + 2).min(room.saturating_sub(1)).max(3);
    let text_at = |string: u8, fret: u8| {
        let place = Some(Place { string, fret });
        let note = shape.notes.iter().find(|(note, _)| note.place == place);
        note.map_or("", |(_, text)| text.as_str())
    };
    let mut numbers = format!("{:NAME_COLUMNS$}{:width$}  ", "", "");
    for fret in first..=last {
        numbers.push_str(&format!("{:^width$} ", fret));
    }
    let nut = if first == 1 { "||" } else { "//" };
    let mut rows = vec![numbers];
    for (string, name) in (1..).zip(strings) {
        let open = text_at(string, 0);
        let mut row = format!(" {:>5} {open:^width$}{nut}", clean(name));
        for fret in first..=last {
            row.push_str(&format!("{:-^width$}|", text_at(string, fret)));
        }
        rows.push(row);
    }
    rows
}
