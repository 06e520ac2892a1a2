//! A line for other programs: every note with its place, finger and degree.

use serde::Serialize;

use super::json::{DECIMALS_BPM, DECIMALS_S, round};
use super::layout;
use super::show::{OnNeck, bar_of, on_neck, sign};
use crate::music::fingering::Way;
use crate::music::line::Line;
use crate::music::study::{chords_in_force, degrees};
use crate::music::theory::pitch_in;

/// What the file says it was written by.
pub const WRITTEN_BY: &str = "seamline show";

/// The number of this format; a field that changes its meaning or goes raises it.
const SCHEMA: u32 = 1;

/// Decimals kept of beats and of lengths in quarter notes: finer than any tuplet in use.
const DECIMALS_BEATS: i32 = 6;

#[derive(Serialize)]
struct Report {
    schema: u32,
    written_by: &'static str,
    line: LineOut,
    notes: Vec<NoteOut>,
}

#[derive(Serialize)]
struct LineOut {
    title: Option<String>,
    tempo_bpm: Option<f64>,
    meter: String,
    key: String,
    swing: Option<String>,
    tuning: String,
    frets: u8,
    bars: usize,
    notes: usize,
}

#[derive(Serialize)]
struct NoteOut {
    index: usize,
    bar: u32,
    printed_bar: u32,
    beat: Option<f64>,
    onset_s: Option<f64>,
    length_quarters: Option<f64>,
    midi: u8,
    name: String,
    string: Option<u8>,
    fret: Option<u8>,
    finger: Option<u8>,
    chord: Option<String>,
    ghost: bool,
    accent: bool,
    degree: Option<String>,
    chord_tone: Option<bool>,
    join: Option<&'static str>,
}

/// The line, or the notes of the bars asked for by their printed numbers, as a JSON object, one line for each note, ending
/// with a line feed. Unknown is `null`; `index` counts in the whole line. Places are the way's, and so
/// are fingers where `fingers` says so.
pub fn object(line: &Line, way: &Way, bars: Option<(u32, u32)>, fingers: bool) -> String {
    let OnNeck { notes, info, .. } = on_neck(line, way, fingers);
    let told = degrees(line, &notes);
    let chords = chords_in_force(line, &notes);
    let key_of = |number: u32| bar_of(&info, number).and_then(|bar| bar.key);
    let wanted = |printed: u32| bars.is_none_or(|(from, to)| (from..=to).contains(&printed));
    let notes_out: Vec<NoteOut> = notes
        .iter()
        .enumerate()
        .filter(|(_, note)| wanted(note.printed_bar))
        .map(|(at, note)| NoteOut {
            index: note.index,
            bar: note.bar,
            printed_bar: note.printed_bar,
            beat: round(note.beat, DECIMALS_BEATS),
            onset_s: round(note.onset_s, DECIMALS_S),
            length_quarters: round(note.length_quarters, DECIMALS_BEATS),
            midi: note.midi,
            name: told[at]
                .and_then(|degree| degree.pitch(note.midi))
                .map_or_else(
                    || pitch_in(f64::from(note.midi), key_of(note.bar)),
                    |pitch| pitch.to_string(),
                ),
            string: note.place.map(|place| place.string),
            fret: note.place.map(|place| place.fret),
            finger: sign(&info, note).and_then(|sign| sign.finger),
            chord: chords[at].map(|chord| chord.text().to_owned()),
            ghost: note.ghost,
            accent: note.accent,
            degree: told[at].map(|degree| degree.degree.to_string()),
            chord_tone: told[at].map(|degree| degree.in_chord),
            join: note.join.map(|join| join.word()),
        })
        .collect();
    let first = line.bars().first();
    let report = Report {
        schema: SCHEMA,
        written_by: WRITTEN_BY,
        line: LineOut {
            title: info.title.clone(),
            tempo_bpm: round(info.tempo_bpm, DECIMALS_BPM),
            meter: first.map(|bar| bar.meter).unwrap_or_default().to_string(),
            key: line.key().to_string(),
            swing: line.swing().map(|swing| swing.to_string()),
            tuning: line.instrument().tuning().to_string(),
            frets: line.instrument().frets(),
            bars: line.bars().len(),
            notes: notes.len(),
        },
        notes: notes_out,
    };
    let mut text = layout::text(&report);
    text.push('\n');
    text
}
