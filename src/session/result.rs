//! What a run hands upwards: the judgement, with what it was made from.

use crate::compare::judgement::Judgement;
use crate::music::theory::Key;

/// A bar of the line, as far as a report needs it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BarSpan {
    /// Its number, from 1; a pick-up bar is 0.
    pub number: u32,
    /// Where it starts, in quarter notes from the start of bar 1 (negative in a pick-up bar).
    pub start_quarters: f64,
    /// How long it is, in quarter notes; above 0.
    pub length_quarters: f64,
    /// Chord symbols as written, each with its distance from the bar's start in quarter notes.
    pub chords: Vec<(f64, String)>,
    /// Length of a beat in quarter notes; 0 when it is not known.
    pub beat_quarters: f64,
    /// The beat it starts with: 1, and later in a pick-up bar.
    pub first_beat: f64,
    /// Its key; `None` when it is not known.
    pub key: Option<Key>,
    /// Where its rests begin, in quarter notes from its start.
    pub rests: Vec<f64>,
    /// What is written beside its notes.
    pub signs: Vec<NoteSign>,
}

/// How a note is reached.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reached {
    /// With a pluck.
    Pluck,
    /// Hammered on or pulled off.
    Slur,
    /// Slid into.
    Slide,
}

/// What is written beside a note of a bar.
#[derive(Clone, Debug, PartialEq)]
pub struct NoteSign {
    /// Its onset in quarter notes from the bar's start.
    pub at: f64,
    /// Its pitch as a MIDI note number.
    pub midi: u8,
    /// The finger, 1 to 4, when one is written.
    pub finger: Option<u8>,
    /// How it is reached.
    pub reached: Reached,
    /// Whether it is one of a triplet.
    pub triplet: bool,
}

/// The line that was asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct LineInfo {
    /// Its title; `None` when it has none.
    pub title: Option<String>,
    /// The tempo the take was held against, in quarters per minute.
    pub tempo_bpm: f64,
    /// Names of the strings, the thinnest (string 1) first.
    pub strings: Vec<String>,
    /// The bars that were asked for, in order.
    pub bars: Vec<BarSpan>,
    /// Whether they are only a part of the line.
    pub part: bool,
}

/// The take as it came in.
#[derive(Clone, Debug, PartialEq)]
pub struct TakeInfo {
    /// Its file as the player named it; `-` for standard input.
    pub file: String,
    /// Frames per second.
    pub sample_rate: u32,
    /// Length in seconds, gaps included.
    pub duration_s: f64,
    /// Frames that were lost on the way in.
    pub dropped_frames: u64,
    /// The loudest sample, in decibels relative to full scale; `None` for digital silence.
    pub loudest_dbfs: Option<f64>,
    /// What a player should know about the recording itself (clipped, very soft, several
    /// channels), as whole sentences.
    pub sound_notes: Vec<String>,
}

/// A judged take.
#[derive(Clone, Debug, PartialEq)]
pub struct TakeResult {
    /// The line.
    pub line: LineInfo,
    /// The take.
    pub take: TakeInfo,
    /// What was found out.
    pub judgement: Judgement,
}

/// What is known of a take besides when it was played live.
#[derive(Clone, Debug, PartialEq)]
pub struct LiveInfo {
    /// Why it ended: `passes`, `player`, `stopped` or `input gone`.
    pub ended_by: &'static str,
    /// From a click to where it is heard, in milliseconds; `None` when it was not measured, and
    /// the mean lateness says nothing.
    pub latency_ms: Option<f64>,
    /// The longest a block of sound took to be listened to, in milliseconds.
    pub worst_block_ms: f64,
    /// The same as a share of the block's own length.
    pub worst_block_share: f64,
    /// What listening took in all, as a share of the take's length.
    pub listening_share: f64,
}
