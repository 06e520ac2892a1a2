//! The writer of `.line` texts.

use std::fmt::Write;

use super::signs::{Around, head_words, tail_words};
use super::word::START_MARKS;
use crate::music::instrument::{DEFAULT_FRETS, DEFAULT_SCALE_MM};
use crate::music::line::length::Length;
use crate::music::line::model::{Bar, Event, EventKind, Note, Start};
use crate::music::line::whole::Line;
use crate::music::theory::Key;

/// Writes a line as `.line` text, one bar to a text line.
///
/// Reading it again with `read_text` gives an equal line.
pub fn write_text(line: &Line) -> String {
    write_text_noted(line, &[])
}

/// The same with comments: each stands above the bar of its number.
///
/// Input: bar numbers as played of a line without repeats, in order, each with one line of comment;
/// what names no bar of the line is left out.
pub fn write_text_noted(line: &Line, notes: &[(u32, String)]) -> String {
    let mut text = header(line);
    let mut length = Length::QUARTER;
    let mut before = line.written_bars().first();
    for (index, bar) in line.written_bars().iter().enumerate() {
        if let Some(before) = before {
            if before.meter != bar.meter {
                push_line(&mut text, &format!("meter: {}", bar.meter));
            }
            if before.key != bar.key {
                push_line(&mut text, &format!("key: {}", bar.key));
            }
        }
        before = Some(bar);
        let number = line.first_bar() + index as u32;
        for (_, note) in notes.iter().filter(|note| note.0 == number) {
            push_line(
                &mut text,
                &format!("; {}", note.replace(char::is_control, " ")),
            );
        }
        let around = Around {
            pickup: index == 0 && line.has_pickup(),
            signs: bar.signs.clone(),
            lacks: bar.lacks,
            printed: bar.printed,
        };
        let mut words = head_words(&around);
        bar_words(bar, &mut length, &mut words);
        words.extend(tail_words(&bar.signs));
        push_line(&mut text, &words.join(" "));
    }
    text
}

fn push_line(text: &mut String, line: &str) {
    text.push_str(line);
    text.push('\n');
}

fn header(line: &Line) -> String {
    let mut text = String::new();
    let instrument = line.instrument();
    let meter = line
        .written_bars()
        .first()
        .map(|bar| bar.meter)
        .unwrap_or_default();
    if !line.title().is_empty() {
        push_line(&mut text, &format!("title: {}", line.title()));
    }
    push_line(&mut text, &format!("tempo: {}", line.tempo()));
    push_line(&mut text, &format!("meter: {meter}"));
    push_line(&mut text, &format!("key: {}", line.key()));
    if let Some(swing) = line.swing() {
        push_line(&mut text, &format!("swing: {swing}"));
    }
    push_line(&mut text, &format!("tuning: {}", instrument.tuning()));
    if instrument.frets() != DEFAULT_FRETS {
        push_line(&mut text, &format!("frets: {}", instrument.frets()));
    }
    if instrument.scale_mm() != DEFAULT_SCALE_MM {
        push_line(&mut text, &format!("scale: {}", instrument.scale_mm()));
    }
    if line.first_bar() != 1 && !line.has_pickup() {
        push_line(&mut text, &format!("first bar: {}", line.first_bar()));
    }
    text.push('\n');
    text
}

fn bar_words(bar: &Bar, length: &mut Length, words: &mut Vec<String>) {
    let mut at = Length::ZERO;
    for event in &bar.events {
        let end = at + event.length;
        let later = |place: Length| match place - at {
            Length::ZERO => String::new(),
            later => format!("{later}:"),
        };
        for mark in bar
            .chords
            .iter()
            .filter(|mark| at <= mark.at && mark.at < end)
        {
            words.push(format!("@{}{}", later(mark.at), mark.symbol));
        }
        for mark in bar
            .tempos
            .iter()
            .filter(|mark| at <= mark.at && mark.at < end)
        {
            let tempo = mark.tempo.to_string().replace(' ', "");
            words.push(format!("@{}tempo={tempo}", later(mark.at)));
        }
        if event.length != *length {
            words.push(event.length.to_string());
            *length = event.length;
        }
        for grace in &event.graces {
            let word = struck(&grace.notes, grace.start, bar.key);
            words.push(format!("g{word}"));
        }
        words.push(event_word(event, bar.key));
        at = end;
    }
}

fn event_word(event: &Event, key: Key) -> String {
    let mut word = match &event.kind {
        EventKind::Rest => "r".to_owned(),
        EventKind::Hold => "=".to_owned(),
        EventKind::Notes {
            notes,
            start,
            staccato,
        } => {
            let accent = if event.accent { "^" } else { "" };
            let dot = if *staccato { "!" } else { "" };
            format!("{}{accent}{dot}", struck(notes, *start, key))
        }
    };
    // A breath after a rest says nothing; the model does not keep one.
    if event.breath_after && event.kind != EventKind::Rest {
        word.push(',');
    }
    word
}

/// Notes that sound together, and how they are begun.
fn struck(notes: &[Note], start: Start, key: Key) -> String {
    let words: Vec<String> = notes.iter().map(|note| note_word(note, key)).collect();
    let mark = START_MARKS.iter().find(|(_, of)| *of == start);
    format!("{}{}", mark.map_or("", |(mark, _)| mark), words.join("&"))
}

fn note_word(note: &Note, key: Key) -> String {
    let mut word = if note.ghost { "x" } else { "" }.to_owned();
    let Some(place) = note.place else {
        // Writing to a String cannot fail.
        let _ = write!(word, "{}", key.spell(note.midi));
        return word;
    };
    let _ = write!(word, "{}:{}", place.string, place.fret);
    if let Some(finger) = note.finger {
        let _ = write!(word, "({finger})");
    }
    word
}
