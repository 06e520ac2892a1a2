//! What a run hands upwards: the judgement, with what it was made from.

use std::collections::BTreeMap;

use crate::compare::judgement::Judgement;
use crate::session::line_info::LineInfo;

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
    /// What the tempo ladder made of each pass that was played to the click; empty without one.
    pub ladder: Vec<LadderInfo>,
}

/// What the tempo ladder made of a pass.
#[derive(Clone, Debug, PartialEq)]
pub struct LadderInfo {
    /// The pass, by its number in the session.
    pub pass: u32,
    /// Its tempo, relative to the written one.
    pub tempo_share: f64,
    /// Whether it was a probe, at the target.
    pub probe: bool,
    /// How it went: `clean`, `faulty` or `broken`.
    pub outcome: &'static str,
    /// What was to come next, relative to the written tempo.
    pub next_share: f64,
    /// The same with why, a sentence.
    pub why: String,
}

/// How pitch and level move within one note.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct NoteCurve {
    /// From one point to the next, in seconds; the first lies at the note's onset.
    pub step_s: f64,
    /// Cents from the written pitch, of a wrong note from the nearest semitone; `None` where there is no clear
    /// period.
    pub cents: Vec<Option<f64>>,
    /// Level in decibels relative to full scale; `None` where it is not known.
    pub level_dbfs: Vec<Option<f64>>,
}

/// The curves of a take's notes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curves {
    /// By the number of the pass and the index of the note.
    pub notes: BTreeMap<(usize, usize), NoteCurve>,
}
