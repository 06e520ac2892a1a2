//! A line as a page: what was understood of it, and its tab with chords, beats, fingers, degrees and
//! shifts.

use super::marks::{Mark, plain, rows};
use super::page::{COLUMNS_MAX, COLUMNS_MIN, wrap};
use super::staff::{System, systems};
use super::tab::{Sheet, head, strings};
use super::understood::understood;
use crate::music::expected::{ExpectedNote, JoinKind};
use crate::music::line::Line;
use crate::music::study::degrees;
use crate::music::theory::{NoteDegree, pitch_class_in};
use crate::session::line_info::{BarSpan, LineInfo, NoteSign, Reached};

/// The bar of that number. Bars stand in the order of their numbers.
pub(super) fn bar_of(info: &LineInfo, number: u32) -> Option<&BarSpan> {
    let at = info.bars.partition_point(|bar| bar.number < number);
    info.bars.get(at).filter(|bar| bar.number == number)
}

/// What stands beside a note: its sign in the line, found by place and pitch.
pub(super) fn sign<'a>(info: &'a LineInfo, note: &ExpectedNote) -> Option<&'a NoteSign> {
    let bar = bar_of(info, note.bar)?;
    let at = note.onset_quarters - bar.start_quarters;
    let here = |sign: &&NoteSign| (sign.at - at).abs() < 1e-6 && sign.midi == note.midi;
    bar.signs.iter().find(here)
}

/// How far the hand moves into the note after each one, in frets; `None` where it does not, or that
/// is not known. With fingers it is the hand that is counted, without them the frets.
pub(super) fn shifts(info: &LineInfo, notes: &[ExpectedNote]) -> Vec<Option<i32>> {
    let hand = |note: &ExpectedNote| {
        let fret = i32::from(note.place?.fret);
        let finger = sign(info, note).and_then(|sign| sign.finger);
        Some((fret, finger.map(|finger| fret - i32::from(finger))))
    };
    let next = |at: usize| {
        let later = notes[at + 1..].iter();
        later.clone().find(|note| !note.with_previous)
    };
    (0..notes.len())
        .map(|at| {
            let note = &notes[at];
            if note.with_previous || note.join != Some(JoinKind::Shift) {
                return None;
            }
            let ((fret, hand_at), (next_fret, next_hand)) = (hand(note)?, hand(next(at)?)?);
            match (hand_at, next_hand) {
                (Some(hand), Some(next)) => Some(next - hand),
                _ => Some(next_fret - fret),
            }
        })
        .collect()
}

/// What a page of a line shows, and for which place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShowSettings {
    /// First and last bar to show; `None` shows all.
    pub bars: Option<(u32, u32)>,
    /// Columns of the page; taken as 40 to 200.
    pub columns: usize,
    /// Whether to name the notes.
    pub names: bool,
}

/// The page of a line, ending with a line feed.
pub fn page(line: &Line, settings: ShowSettings) -> String {
    let columns = settings.columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
    let bars = settings.bars;
    let notes = line.expected(line.instrument());
    let info = LineInfo::of_bars(line, None);
    let shifts = shifts(&info, &notes);
    let mut lines = understood(line, &info, &notes, &shifts, columns);
    let sheet = Sheet {
        columns,
        colour: false,
        whole: true,
        wanted: &|bar| bars.is_none_or(|(from, to)| (from..=to).contains(&bar.number)),
    };
    let told = degrees(line, &notes);
    let written: Vec<&ExpectedNote> = notes.iter().collect();
    let mut used = Used::default();
    for system in systems(&info.bars, &written, sheet.room(), sheet.wanted) {
        lines.push(String::new());
        lines.extend(head(&system, &written, &sheet));
        lines.extend(strings(&info, &system, &written, &sheet));
        let names = settings.names.then(|| name_marks(&system, &written, &told));
        let below = [
            ("name", names.unwrap_or_default()),
            ("deg.", degree_marks(&system, &told)),
            ("shift", shift_marks(&system, &notes, &shifts)),
        ];
        for (name, marks) in below {
            let marks: Vec<&Mark> = marks.iter().collect();
            lines.extend(rows(name, &marks, sheet.room(), false));
        }
        used.see(&system, &written, &told, &shifts);
    }
    lines.extend(used.legend(columns));
    lines.push(String::new());
    lines.join("\n")
}

/// The names of the notes, as their chord spells them, or their key.
fn name_marks(system: &System, notes: &[&ExpectedNote], told: &[Option<NoteDegree>]) -> Vec<Mark> {
    let mut marks = Vec::new();
    for segment in &system.segments {
        for &(index, column) in &segment.notes {
            let midi = notes[index].midi;
            let spelled = told[index].and_then(|degree| degree.pitch(midi));
            let name = match spelled {
                Some(pitch) => pitch.name.to_string(),
                None => pitch_class_in(f64::from(midi), segment.bar.key),
            };
            marks.push(plain(column, &name));
        }
    }
    marks
}

fn degree_marks(system: &System, told: &[Option<NoteDegree>]) -> Vec<Mark> {
    let notes = system.segments.iter().flat_map(|segment| &segment.notes);
    notes
        .filter_map(|&(index, column)| {
            let degree = told.get(index)?.as_ref()?;
            Some(plain(column, &degree.degree.to_string()))
        })
        .collect()
}

/// Each shift stands beneath the note that it leads to.
fn shift_marks(system: &System, notes: &[ExpectedNote], shifts: &[Option<i32>]) -> Vec<Mark> {
    let placed = system.segments.iter().flat_map(|segment| &segment.notes);
    placed
        .filter(|(index, _)| notes.get(*index).is_some_and(|note| !note.with_previous))
        .filter_map(|&(index, column)| {
            let before = (0..index).rev().find(|&at| !notes[at].with_previous)?;
            let frets = shifts.get(before).copied().flatten()?;
            Some(plain(column, &format!("{frets:+}")))
        })
        .collect()
}

/// Which signs a page has used, for its legend.
#[derive(Default)]
struct Used {
    rest: bool,
    slur: bool,
    slide: bool,
    triplet: bool,
    degree: bool,
    shift: bool,
}

impl Used {
    fn see(
        &mut self,
        system: &System,
        notes: &[&ExpectedNote],
        told: &[Option<NoteDegree>],
        shifts: &[Option<i32>],
    ) {
        for segment in &system.segments {
            self.rest |= !segment.bar.rests.is_empty();
            let signs = &segment.bar.signs;
            self.slur |= signs.iter().any(|sign| sign.reached == Reached::Slur);
            self.slide |= signs.iter().any(|sign| sign.reached == Reached::Slide);
            self.triplet |= signs.iter().any(|sign| sign.triplet);
            let indices = segment.notes.iter().map(|&(index, _)| index);
            for index in indices.filter(|&index| index < notes.len()) {
                self.degree |= told[index].is_some();
                self.shift |= shifts[index].is_some();
            }
        }
    }

    fn legend(&self, columns: usize) -> Vec<String> {
        let signs = [
            (self.rest, "r a rest"),
            (self.slur, "> slurred into"),
            (self.slide, "/ slid into"),
            (self.triplet, "t a triplet"),
            (self.degree, "deg. the degree in the chord (R its root)"),
            (self.shift, "shift frets the hand moves, up (+) or down (-)"),
        ];
        let told: Vec<&str> = signs
            .iter()
            .filter(|(used, _)| *used)
            .map(|&(_, meaning)| meaning)
            .collect();
        if told.is_empty() {
            return Vec::new();
        }
        let mut lines = vec![String::new()];
        lines.extend(wrap(&format!("{}.", told.join("; ")), 1, columns));
        lines
    }
}
