//! One join of a line alone: two notes on either side, from beat to beat.

use crate::music::expected::ExpectedNote;
use crate::music::line::Line;
use crate::sound::click::beat_quarters;
use crate::sound::synth::Performance;

/// Notes or chords on either side of the join.
const SIDE: usize = 2;

/// Beats closer than this are the same: far below any written length.
const SAME_BEAT: f64 = 1e-3;

/// Places closer than this, in quarter notes, are the same.
const TOGETHER: f64 = 1e-6;

/// A part of a line from beat to beat.
#[derive(Clone, Debug, PartialEq)]
pub struct Excerpt {
    /// Its notes, with the numbers they have in the line; onsets count from the start of it.
    pub notes: Vec<ExpectedNote>,
    /// The beat where it starts, in seconds from the start of the line's bar 1.
    pub from_s: f64,
    /// The beat where it ends, counted likewise.
    pub to_s: f64,
    /// The beat where it starts, in quarter notes from the start of the line's bar 1.
    pub from_quarters: f64,
    /// The note before the join: its position among `notes`.
    pub before: usize,
}

/// Seconds before the end of a join alone in which its last note dies away under the finger: five
/// times the usual time constant. Raising it shortens that note.
const LET_GO_S: f64 = 0.06;

impl Excerpt {
    /// How long it is, in seconds.
    pub fn length_s(&self) -> f64 {
        self.to_s - self.from_s
    }

    /// Lets what still sounds in its performance die away before its last beat is over.
    pub fn end_on_beat(&self, performance: &mut Performance) {
        let last_s = self.length_s() - LET_GO_S;
        for note in &mut performance.notes {
            note.release_s = note.release_s.min(last_s).max(note.onset_s);
            note.stopped_s = note.stopped_s.min(note.release_s.max(last_s));
        }
    }
}

/// Why there is no such join.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum JoinError {
    /// No note begins there.
    #[error("no note begins at bar {bar} beat {}{}", short(*beat), told(beats))]
    NoNote {
        /// The bar as given.
        bar: u32,
        /// The beat as given.
        beat: f64,
        /// The beats of that bar on which a note begins.
        beats: Vec<f64>,
    },
    /// It is the last one.
    #[error("the note at bar {bar} beat {} is the last one: no join follows it", short(*beat))]
    Last {
        /// The bar as given.
        bar: u32,
        /// The beat as given.
        beat: f64,
    },
}

/// A beat with two decimals at most.
fn short(beat: f64) -> f64 {
    (beat * 100.0).round() / 100.0
}

fn told(beats: &[f64]) -> String {
    if beats.is_empty() {
        return "; check the bar".to_owned();
    }
    let beats: Vec<String> = beats.iter().map(|&beat| short(beat).to_string()).collect();
    format!("; notes of that bar begin at {}", beats.join(", "))
}

/// The join from the note or chord at a bar, by its printed number, and beat to the next one, with
/// the note before and the note behind where there are any. Of a bar that is played several times
/// the first time is taken.
///
/// Output: starts on the beat at or before the first note, ends on the beat at or after the end of
///         the last one.
///
/// # Errors
/// `NoNote` when no note begins there, `Last` when no note follows.
pub fn around_join(line: &Line, bar: u32, beat: f64) -> Result<Excerpt, JoinError> {
    let notes = line.expected(line.instrument());
    let firsts: Vec<usize> = (0..notes.len())
        .filter(|&at| !notes[at].with_previous)
        .collect();
    let here =
        |&&at: &&usize| notes[at].printed_bar == bar && (notes[at].beat - beat).abs() < SAME_BEAT;
    let Some(group) = firsts.iter().position(|at| here(&at)) else {
        let mut beats: Vec<f64> = firsts
            .iter()
            .filter(|&&at| notes[at].printed_bar == bar)
            .map(|&at| notes[at].beat)
            .collect();
        beats.sort_by(f64::total_cmp);
        beats.dedup();
        return Err(JoinError::NoNote { bar, beat, beats });
    };
    if group + 1 >= firsts.len() {
        return Err(JoinError::Last { bar, beat });
    }
    Ok(around(line, &notes, &firsts, group))
}

/// The same for the join from note `index` of the line as it is played, or from the chord it belongs
/// to; `None` when there is no such note or none follows.
pub fn around_note(line: &Line, index: usize) -> Option<Excerpt> {
    let notes = line.expected(line.instrument());
    let firsts: Vec<usize> = (0..notes.len())
        .filter(|&at| !notes[at].with_previous)
        .collect();
    let group = firsts.iter().rposition(|&at| at <= index)?;
    let is_there = index < notes.len() && group + 1 < firsts.len();
    is_there.then(|| around(line, &notes, &firsts, group))
}

/// The excerpt about the join behind a group of notes; `firsts` are the first notes of all groups.
fn around(line: &Line, notes: &[ExpectedNote], firsts: &[usize], group: usize) -> Excerpt {
    let from = firsts[(group + 1).saturating_sub(SIDE)];
    let to = firsts.get(group + 1 + SIDE).copied().unwrap_or(notes.len());
    let mut part = notes[from..to].to_vec();
    let start = part[0].onset_quarters;
    let ends = part
        .iter()
        .map(|note| note.onset_quarters + note.length_quarters);
    let end = ends.fold(start, f64::max);
    let beats = beats(line);
    let before = beats.iter().rev().find(|&&at| at <= start + TOGETHER);
    let after = beats.iter().find(|&&at| at >= end - TOGETHER);
    let from_s = line.quarters_to_seconds(before.copied().unwrap_or(start));
    let to_s = line.quarters_to_seconds(after.copied().unwrap_or(end));
    for note in &mut part {
        note.onset_s -= from_s;
        // Nothing leads into it any more.
        if note.onset_quarters <= start + TOGETHER {
            note.slurred_into = false;
            note.slid_into = false;
        }
    }
    Excerpt {
        notes: part,
        from_s,
        to_s,
        from_quarters: before.copied().unwrap_or(start),
        before: firsts[group] - from,
    }
}

/// All beats of a line with its end, in quarter notes from the start of bar 1.
fn beats(line: &Line) -> Vec<f64> {
    let mut start = -line.pickup_length().quarters();
    let mut list = Vec::new();
    for bar in line.bars() {
        let length = bar.length().quarters();
        let step = beat_quarters(bar.meter);
        // A pick-up is the end of a full bar: its beats are counted back from its end.
        let is_late = list.is_empty() && line.has_pickup();
        let mut at = if is_late {
            length.rem_euclid(step)
        } else {
            0.0
        };
        while at < length - TOGETHER {
            list.push(start + at);
            at += step;
        }
        start += length;
    }
    list.push(start);
    list
}
