//! What is kept of a take and of its line, row by row: made from a judgement, written to the store and to
//! exported files, read back from both. No file is opened here.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::compare::judgement::{Flag, JudgedNote, PassJudgement, Verdict};
use crate::music::expected::{ExpectedNote, JoinKind};
use crate::music::line::Line;

/// A line, told apart by what is written in it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LineRow {
    /// SHA-256 of its notes, lengths and places, in hexadecimal digits: title, tempo and file may change.
    pub content: String,
    /// Its title, or the name of its file.
    pub title: String,
    /// Its file, from the root of the file system; `None` when it is not known.
    pub file: Option<String>,
    /// The part taken from a file with several.
    pub part: Option<String>,
    /// Printed numbers of its first and last bar.
    pub bars: (u32, u32),
    /// Written tempo, in quarters per minute.
    pub tempo_bpm: f64,
    /// How many notes are written.
    pub notes: usize,
    /// The way from each note to the next, where there is one.
    pub joins: Vec<JoinRow>,
}

/// A join of a line.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JoinRow {
    /// Index of the note before it.
    pub note: usize,
    /// Printed number of that note's bar.
    pub bar: u32,
    /// Beat of that note, from 1.
    pub beat: f64,
    /// Printed number of the bar of the note behind it.
    pub to_bar: u32,
    /// The word of the trade for its kind.
    pub kind: Option<String>,
}

/// A take.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TakeRow {
    /// Who played; empty where nobody was named.
    pub player: String,
    /// `content` of its line.
    pub line: String,
    /// SHA-256 of its sound file, in hexadecimal digits; `None` where it came without a file.
    pub sound: Option<String>,
    /// Its sound file, from the root of the file system.
    pub file: Option<String>,
    /// The copy of it in the data folder, where one was asked for.
    pub kept: Option<String>,
    /// The instrument, by the name the player gave it.
    pub instrument: Option<String>,
    /// The devices it was played with, as `seamline sound --measure` names them; `None` of a recorded take.
    pub rig: Option<String>,
    /// When it was played, in seconds since 1970, universal time.
    pub at_s: i64,
    /// How far the clock where it was played ran ahead of universal time, in seconds.
    pub ahead_s: i32,
    /// Its length in seconds.
    pub duration_s: f64,
    /// Its judged passes, in order of time.
    pub passes: Vec<PassRow>,
}

/// A judged pass.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PassRow {
    /// Its number in the take, from 1.
    pub number: usize,
    /// Onset of its first note, in seconds of the take.
    pub from_s: f64,
    /// Release of its last note.
    pub to_s: f64,
    /// Printed numbers of its first and last bar.
    pub bars: (u32, u32),
    /// Whether its last bar was played to the last note.
    pub complete: bool,
    /// Whether it goes over the whole line.
    pub whole: bool,
    /// Whether it was clean.
    pub clean: bool,
    /// Its tempo relative to the written one; `None` when no grid could be fitted.
    pub share: Option<f64>,
    /// How often the player stopped within it.
    pub stumbles: usize,
    /// Notes nobody wrote.
    pub extra: usize,
    /// Its written notes with what became of them.
    pub notes: Vec<NoteRow>,
}

/// What became of a note, and of the join behind it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoteRow {
    /// Its index in the line.
    pub note: usize,
    /// Right, wrong or missed.
    pub verdict: String,
    /// Its flags.
    pub flags: Vec<String>,
    /// Late is positive; `None` where it was not measured, as in the fields below.
    pub timing_ms: Option<f64>,
    /// Silence before the next note.
    pub gap_ms: Option<f64>,
    /// Off the written pitch.
    pub cents: Option<f64>,
    /// Level of its start relative to full scale.
    pub level_dbfs: Option<f64>,
    /// Whether the join behind it had a fault; `None` where none was played.
    pub join_fault: Option<bool>,
}

/// Flags of a note that make the join before it a fault: the hand came too late, too early or badly.
const ARRIVED_BADLY: [Flag; 3] = [Flag::Early, Flag::Late, Flag::Dead];

impl LineRow {
    /// Of a whole line at any tempo; `tempo_bpm` is the written one, in quarters per minute. `file` is named
    /// from the root of the file system.
    pub fn of(line: &Line, tempo_bpm: f64, file: Option<String>, part: Option<String>) -> Self {
        let notes = line.expected(line.instrument());
        let joins = notes
            .iter()
            .zip(notes.iter().skip(1))
            .filter(|(from, to)| are_joined(from, to))
            .map(|(from, to)| JoinRow {
                note: from.index,
                bar: from.printed_bar,
                beat: from.beat,
                to_bar: to.printed_bar,
                kind: from.join.map(|kind| kind.word().to_owned()),
            });
        let named = file.as_deref().map(std::path::Path::new);
        let stem = named.and_then(|path| path.file_stem());
        let title = match line.title() {
            "" => stem.map_or("untitled".into(), |stem| stem.to_string_lossy()),
            title => title.into(),
        };
        Self {
            content: content_of(&notes),
            title: title.into_owned(),
            bars: (
                line.printed_bar(line.first_bar()),
                line.printed_bar(line.last_bar()),
            ),
            tempo_bpm,
            notes: notes.len(),
            joins: joins.collect(),
            file,
            part,
        }
    }
}

/// What tells a line apart: see [`LineRow::content`].
pub fn content(line: &Line) -> String {
    content_of(&line.expected(line.instrument()))
}

fn content_of(notes: &[ExpectedNote]) -> String {
    let mut text = String::new();
    for note in notes {
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{:.6} {:.6} {} {:?} {} {} {}",
            note.onset_quarters,
            note.length_quarters,
            note.midi,
            note.place,
            note.legato_next,
            note.slurred_into,
            note.ghost
        );
    }
    hex(&Sha256::digest(text.as_bytes()))
}

/// Whether a join is written from one note to the next.
fn are_joined(from: &ExpectedNote, to: &ExpectedNote) -> bool {
    from.join.is_some() && from.legato_next && !to.with_previous
}

impl PassRow {
    /// Of the pass of a take of `line`, whose written tempo is `tempo_bpm`; `None` of one that was not
    /// judged. `clean_share` is the share of notes without any fault that a clean pass has at least.
    pub fn of(pass: &PassJudgement, line: &Line, tempo_bpm: f64, clean_share: f64) -> Option<Self> {
        if !pass.judged || pass.notes.is_empty() {
            return None;
        }
        let next = pass.notes.iter().skip(1).map(Some).chain([None]);
        let notes = pass.notes.iter().zip(next);
        let notes = notes.filter_map(|(note, next)| NoteRow::of(note, next));
        Some(Self {
            number: pass.number,
            from_s: pass.from_s,
            to_s: pass.to_s,
            bars: (line.printed_bar(pass.bars.0), line.printed_bar(pass.bars.1)),
            complete: pass.complete,
            whole: pass.complete && pass.bars == (line.first_bar(), line.last_bar()),
            clean: pass.is_clean(clean_share),
            share: pass.timing.tempo_bpm.map(|bpm| bpm / tempo_bpm),
            stumbles: pass.stumbles.len(),
            extra: pass.extras.len(),
            notes: notes.collect(),
        })
    }
}

impl NoteRow {
    fn of(note: &JudgedNote, next: Option<&JudgedNote>) -> Option<Self> {
        let verdict = note.verdict.word()?;
        let heard = note.heard.as_ref();
        Some(Self {
            note: note.expected.index,
            verdict: verdict.to_owned(),
            flags: note
                .flags
                .iter()
                .map(|&flag| flag.word().to_owned())
                .collect(),
            timing_ms: heard.and_then(|heard| heard.timing_ms),
            gap_ms: heard.and_then(|heard| heard.gap_ms),
            cents: heard.and_then(|heard| heard.cents),
            level_dbfs: heard.map(|heard| heard.level_dbfs),
            join_fault: next.and_then(|next| join_fault(note, next)),
        })
    }
}

/// Whether the way from one note to the next had a fault; `None` where no join is written, or nothing was
/// played on either side.
fn join_fault(from: &JudgedNote, to: &JudgedNote) -> Option<bool> {
    let reached = from.verdict != Verdict::Unreached && to.verdict != Verdict::Unreached;
    if !reached || !are_joined(&from.expected, &to.expected) {
        return None;
    }
    let gap = from.flags.contains(&Flag::Gap);
    let badly = to.flags.iter().any(|flag| ARRIVED_BADLY.contains(flag));
    Some(gap || badly || to.verdict != Verdict::Right)
}

/// The kind of join that goes by this word; `None` of another word.
pub fn join_kind(word: &str) -> Option<JoinKind> {
    JoinKind::ALL.into_iter().find(|kind| kind.word() == word)
}

/// SHA-256 of what `read` gives, in hexadecimal digits (FIPS 180-4).
///
/// # Errors
/// When it cannot be read to its end.
pub fn sound_hash(mut read: impl std::io::Read) -> std::io::Result<String> {
    let mut hash = Sha256::new();
    std::io::copy(&mut read, &mut hash)?;
    Ok(hex(&hash.finalize()))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}
