//! The line as tab, with what became of each note beneath it.
//!
//! A system is as many bars as fit side by side. A note stands at a column proportional to its
//! time, and everything said about it stands beneath that column, in a row for each matter, so
//! that a row can be read along and a note can be read down. A row without anything to say is
//! left out. What the line itself says stands on the strings and above them: rests (`r`), slurs
//! (`>`, or `h` hammered on and `p` pulled off), slides (`/`), ghost notes (`x`), beats, triplets (`t`), and fingers where they are asked for.

use super::marks::{self, AS_WRITTEN, Is, Mark, Matter, fitted, plain, rows};
use super::page::clean;
use super::staff::{LEAD, Segment, System, systems};
use crate::music::expected::ExpectedNote;
use crate::music::theory::pitch_class_in;
use crate::session::line_info::{BarSpan, LineInfo, NoteSign, Reached};
use crate::session::result::TakeResult;
use crate::words;

/// Columns left of the first bar line: a row's name and a space on either side.
const GUTTER: usize = 7;

/// How a tab is to be set.
pub(super) struct Sheet<'a> {
    /// Columns of the page.
    pub(super) columns: usize,
    /// Whether to colour the marks.
    pub(super) colour: bool,
    /// Whether to show the fingers, and rows that say nothing but that all is as written.
    pub(super) whole: bool,
    /// The bars to show.
    pub(super) wanted: &'a dyn Fn(&BarSpan) -> bool,
    /// What number a bar goes by.
    pub(super) number: &'a dyn Fn(&BarSpan) -> String,
}

impl Sheet<'_> {
    /// Columns right of the first bar line.
    pub(super) fn room(&self) -> usize {
        self.columns.saturating_sub(GUTTER + 1).max(1)
    }
}

/// The tab of a take, and what the names of its rows and the marks in them mean.
pub(super) struct Tab {
    pub(super) lines: Vec<String>,
    pub(super) legend: Vec<(&'static str, String)>,
}

/// Sets the bars of `result` that are wanted in systems, an empty line before each.
pub(super) fn tab(result: &TakeResult, sheet: &Sheet) -> Tab {
    let mut lines = Vec::new();
    let mut seen: Vec<Mark> = Vec::new();
    let notes: Vec<&ExpectedNote> = result
        .judgement
        .notes
        .iter()
        .map(|note| &note.expected)
        .collect();
    for system in systems(&result.line.bars, &notes, sheet.room(), sheet.wanted) {
        let marks = marks::of(&system, result);
        lines.push(String::new());
        lines.extend(head(&system, &notes, sheet));
        lines.extend(strings(&result.line, &system, &notes, sheet));
        for matter in Matter::ALL {
            let own: Vec<&Mark> = marks.iter().filter(|mark| mark.matter == matter).collect();
            if !sheet.whole && own.iter().all(|mark| mark.text == AS_WRITTEN) {
                continue;
            }
            lines.extend(rows(matter.name(), &own, sheet.room(), sheet.colour));
        }
        seen.extend(marks);
    }
    let legend = Matter::ALL
        .iter()
        .filter(|&&matter| seen.iter().any(|mark| mark.matter == matter))
        .map(|&matter| {
            let own = seen.iter().filter(|mark| mark.matter == matter);
            let used = |is: Is| own.clone().any(|mark| is(&mark.text));
            (matter.name(), matter.legend(used))
        })
        .collect();
    Tab { lines, legend }
}

/// Bar numbers with the chord symbols, beats, and fingers where they are asked for.
pub(super) fn head(system: &System, notes: &[&ExpectedNote], sheet: &Sheet) -> Vec<String> {
    let mut bars: Vec<Mark> = Vec::new();
    for segment in &system.segments {
        let mut title = segment.title(&(sheet.number)(segment.bar));
        for (column, symbol) in segment.chords() {
            if column <= segment.column + LEAD {
                title.push_str(&format!(" {}", clean(symbol)));
            } else {
                bars.push(plain(column, &clean(symbol)));
            }
        }
        bars.push(plain(segment.column + LEAD, &title));
    }
    let all =
        |marks: &[Mark], name| rows(name, &marks.iter().collect::<Vec<_>>(), sheet.room(), false);
    let mut lines = all(&bars, "bar");
    lines.extend(all(&beats(system), "beat"));
    if sheet.whole {
        lines.extend(all(&fingers(system, notes), "fing."));
    }
    lines
}

/// The ruler: the number of each beat for which there is room, and `t` at the notes of triplets.
fn beats(system: &System) -> Vec<Mark> {
    let mut marks: Vec<Mark> = Vec::new();
    for segment in &system.segments {
        let bar = segment.bar;
        let mut put = |column: Option<usize>, text: String| {
            let Some(column) = column else { return };
            match marks.iter_mut().find(|mark| mark.column == column) {
                Some(mark) => mark.text.push_str(&text),
                None => marks.push(plain(column, &text)),
            }
        };
        // More beats than columns could not be told apart.
        let beats = bar.length_quarters / bar.beat_quarters;
        if beats.is_finite() && beats <= segment.width as f64 {
            for beat in 0..beats.ceil() as usize {
                let at = beat as f64 * bar.beat_quarters;
                put(
                    segment.column_at(at),
                    words::beat(bar.first_beat + beat as f64),
                );
            }
        }
        let mut last = f64::NEG_INFINITY;
        for sign in bar.signs.iter().filter(|sign| sign.triplet) {
            if sign.at > last {
                put(segment.column_at(sign.at), "t".to_owned());
                last = sign.at;
            }
        }
    }
    marks.sort_by_key(|mark| mark.column);
    let mut free = 0;
    marks.retain(|mark| {
        let fits = mark.column >= free;
        if fits {
            free = mark.column + mark.text.chars().count() + 1;
        }
        fits
    });
    marks
}

/// What the line writes beside a note.
pub(super) fn sign_of<'a>(segment: &'a Segment, note: &ExpectedNote) -> Option<&'a NoteSign> {
    let at = note.onset_quarters - segment.bar.start_quarters;
    let here = |sign: &&NoteSign| (sign.at - at).abs() < 1e-6 && sign.midi == note.midi;
    segment.bar.signs.iter().find(here)
}

fn fingers(system: &System, notes: &[&ExpectedNote]) -> Vec<Mark> {
    let mut marks = Vec::new();
    for segment in &system.segments {
        for &(index, column) in &segment.notes {
            let finger = sign_of(segment, notes[index]).and_then(|sign| sign.finger);
            marks.extend(finger.map(|finger| plain(column, &finger.to_string())));
        }
    }
    marks
}

/// One line for each string, and one for notes that have no place on the neck.
pub(super) fn strings(
    line: &LineInfo,
    system: &System,
    notes: &[&ExpectedNote],
    sheet: &Sheet,
) -> Vec<String> {
    let placed: Vec<(usize, &Segment, &ExpectedNote)> = system
        .segments
        .iter()
        .flat_map(|segment| segment.notes.iter().map(move |note| (segment, note)))
        .map(|(segment, &(index, column))| (column, segment, notes[index]))
        .collect();
    let on_neck = |note: &ExpectedNote| {
        note.place
            .filter(|place| (1..=line.strings.len()).contains(&usize::from(place.string)))
    };
    let mut lines = Vec::new();
    if placed.is_empty() || placed.iter().any(|(_, _, note)| on_neck(note).is_some()) {
        let middle = line.strings.len().div_ceil(2);
        for (number, name) in (1..).zip(&line.strings) {
            let frets = placed.iter().filter_map(|&(column, segment, note)| {
                let place = on_neck(note).filter(|place| usize::from(place.string) == number)?;
                let reached = sign_of(segment, note).map_or(Reached::Pluck, |sign| sign.reached);
                let fret = match note.ghost {
                    true => "x".to_owned(),
                    false => place.fret.to_string(),
                };
                Some((column, reached, fret))
            });
            lines.push(string_line(name, system, number == middle, frets));
        }
    }
    let names: Vec<Mark> = placed
        .iter()
        .filter(|(_, _, note)| on_neck(note).is_none())
        .map(|&(column, segment, note)| {
            let midi = f64::from(note.midi);
            plain(column, &pitch_class_in(midi, segment.bar.key))
        })
        .collect();
    lines.extend(rows(
        "note",
        &names.iter().collect::<Vec<_>>(),
        sheet.room(),
        false,
    ));
    lines
}

/// A string with its frets between the bar lines, and with the rests when it is to hold them.
fn string_line(
    name: &str,
    system: &System,
    with_rests: bool,
    frets: impl Iterator<Item = (usize, Reached, String)>,
) -> String {
    let mut body: Vec<char> = vec!['-'; system.width];
    for segment in &system.segments {
        if let Some(end) = body.get_mut(segment.column + segment.width - 1) {
            *end = '|';
        }
    }
    for (column, reached, fret) in frets {
        for (cell, digit) in body.iter_mut().skip(column).zip(fret.chars()) {
            *cell = digit;
        }
        let sign = match reached {
            Reached::Pluck => continue,
            Reached::Slur => '>',
            Reached::Hammer => 'h',
            Reached::Pull => 'p',
            Reached::Slide => '/',
        };
        let before = column.checked_sub(1).and_then(|at| body.get_mut(at));
        if let Some(cell) = before.filter(|cell| **cell == '-') {
            *cell = sign;
        }
    }
    if with_rests {
        for segment in &system.segments {
            for column in segment
                .bar
                .rests
                .iter()
                .filter_map(|at| segment.column_at(*at))
            {
                if let Some(cell) = body.get_mut(column).filter(|cell| **cell == '-') {
                    *cell = 'r';
                }
            }
        }
    }
    let name = fitted(&clean(name), GUTTER - 2);
    let body: String = body.into_iter().collect();
    format!(" {name:>5} |{body}")
}
