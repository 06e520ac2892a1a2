//! What can be shown while somebody plays: values alone, made anew some thirty times a second.
//!
//! A dashboard takes the newest and may miss some. Whatever moves while nothing is heard (the
//! place in a click, for instance) stands here too, so that who shows it needs no clock.

mod practice;

use std::sync::Arc;

use crate::compare::judgement::{BleedKind, Flag, Verdict};
use crate::music::expected::{ExpectedNote, JoinKind};
use crate::session::line_info::LineInfo;
pub use practice::{Ahead, Compared, JoinCompared, LadderPass, LadderView, Rest};

/// The bars that are being played, at the tempo at which they are.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Title, tempo, names of the strings, and the bars that were chosen.
    pub info: LineInfo,
    /// Its notes, all of them placed on the neck; their `index` is their position here.
    pub notes: Vec<ExpectedNote>,
    /// First and last bar of the whole line, so that it can be told how much of it was chosen.
    pub line_bars: (u32, u32),
    /// Tempo relative to the written one; 1 is the written one.
    pub tempo_share: f64,
    /// The one join that is played alone, with its notes on either side.
    pub join: Option<JoinPlace>,
}

/// Where a join is: the note before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JoinPlace {
    /// Its bar.
    pub bar: u32,
    /// Its beat, from 1.
    pub beat: f64,
}

/// Where a session stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Phase {
    /// Listening; the pass begins with the first note.
    Waiting,
    /// Clicks before the line.
    CountIn {
        /// The click that sounded last, counted from 1; 0 before the first one.
        click: u32,
        /// How many there are.
        of: u32,
    },
    /// A pass is being played.
    Playing,
    /// The take so far is played back; nothing is judged meanwhile.
    ListeningBack,
    /// The device is gone; the program waits for it. The take is safe.
    DeviceLost {
        /// What is known about it, a whole sentence.
        message: String,
    },
    /// Over; nothing more will come.
    Ended {
        /// Why, a whole sentence.
        message: String,
    },
}

/// What sounds now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sounding {
    /// Its pitch as a fractional MIDI note; `None` while it has no name yet.
    pub midi: Option<f64>,
    /// The note of the line it is taken for, by index.
    pub index: Option<usize>,
    /// When it was heard to start, in seconds of the stream.
    pub onset_s: f64,
}

/// What became of a note of the line in this pass.
#[derive(Clone, Debug, PartialEq)]
pub struct NoteView {
    /// Right, wrong or missed.
    pub verdict: Verdict,
    /// The pitch that was heard, as a fractional MIDI note.
    pub heard_midi: Option<f64>,
    /// Sharp is positive; against the written pitch for a right note.
    pub cents: Option<f64>,
    /// Late is positive.
    pub timing_ms: Option<f64>,
    /// Silence before the next note at a legato join: 0 when they meet; `None` where no join is
    /// legato or nothing is known yet.
    pub gap_ms: Option<f64>,
    /// What a player should know of it.
    pub flags: Vec<Flag>,
    /// Whether this is the last word; a provisional one may still be corrected.
    pub settled: bool,
    /// Whether an earlier word on this note was another verdict.
    pub corrected: bool,
}

/// A string that rings, or has just rung, while it should not.
#[derive(Clone, Debug, PartialEq)]
pub struct RingView {
    /// Its string, 1 for the thinnest; `None` when it cannot be told.
    pub string: Option<u8>,
    /// Its pitch as a fractional MIDI note.
    pub midi: f64,
    /// Why.
    pub kind: BleedKind,
    /// Its level relative to what is played over it, in decibels.
    pub level_db: f64,
    /// When it began, in seconds of the stream.
    pub from_s: f64,
    /// Up to when it rang, in seconds of the stream.
    pub to_s: f64,
    /// The notes of the line it sounded under, by index.
    pub during: Vec<usize>,
}

/// A join that left gaps, with its history.
#[derive(Clone, Debug, PartialEq)]
pub struct JoinView {
    /// Bar of the note before the join.
    pub bar: u32,
    /// Beat of the note before the join.
    pub beat: f64,
    /// Written pitch of the note before it, as a MIDI note.
    pub from_midi: u8,
    /// Written pitch of the note behind it, as a MIDI note.
    pub to_midi: u8,
    /// What kind of join it is.
    pub kind: Option<JoinKind>,
    /// Silence in each pass that had this join, in milliseconds, the oldest first; `None` where it
    /// could not be measured.
    pub gaps_ms: Vec<Option<f64>>,
    /// In how many of them it was flagged as a gap.
    pub flagged: usize,
}

/// A pass that is over.
#[derive(Clone, Debug, PartialEq)]
pub struct PassView {
    /// Its number, from 1.
    pub number: u32,
    /// First and last bar.
    pub bars: (u32, u32),
    /// Tempo it was held against, in quarters per minute.
    pub tempo_bpm: f64,
    /// Notes written.
    pub notes: usize,
    /// Notes played as written.
    pub right: usize,
    /// Of another pitch.
    pub wrong: usize,
    /// Not played.
    pub missed: usize,
    /// Nobody wrote.
    pub extra: usize,
    /// Joins with a gap.
    pub gaps: usize,
    /// Early and late notes together.
    pub out_of_time: usize,
    /// Notes with another string underneath.
    pub bleed: usize,
    /// Spread of the timing, in milliseconds.
    pub spread_ms: Option<f64>,
    /// Whether the line was recognised at all; if not the figures say little.
    pub recognised: bool,
    /// What to work on, most important first, as whole sentences.
    pub findings: Vec<String>,
    /// What the same bars were like in the passes before it; `None` when there are none.
    pub compared: Option<Compared>,
    /// Tempo relative to the written one.
    pub tempo_share: f64,
    /// What the tempo ladder made of it; `None` without one, or where it was not played to the click.
    pub ladder: Option<LadderPass>,
}

/// How loud it comes in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Loudest sample of the last half second, in decibels relative to full scale; minus infinity
    /// for digital silence.
    pub peak_dbfs: f64,
    /// Root of the mean square over the last half second, the same way.
    pub rms_dbfs: f64,
    /// Places clipped since the session began.
    pub clipped: u64,
    /// Mains hum where nothing was played: its frequency in hertz, and its level in decibels
    /// relative to full scale.
    pub hum: Option<(f64, f64)>,
}

impl Level {
    /// Before anything has come.
    pub fn silent() -> Self {
        Self {
            peak_dbfs: f64::NEG_INFINITY,
            rms_dbfs: f64::NEG_INFINITY,
            clipped: 0,
            hum: None,
        }
    }
}

/// What is known of the way from the click to the ear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LatencyView {
    /// Nothing is played, so there is none.
    None,
    /// Not measured: the mean lateness is taken out.
    Unmeasured,
    /// Measured for these devices, in milliseconds.
    Measured(f64),
}

/// Everything there is to show.
#[derive(Clone, Debug, PartialEq)]
pub struct Snapshot {
    /// Length of the stream so far, in seconds, gaps included.
    pub at_s: f64,
    /// Where the session stands.
    pub phase: Phase,
    /// The bars and notes being played.
    pub piece: Arc<Piece>,
    /// Number of the pass that runs or comes next, from 1.
    pub pass: u32,
    /// How many passes were asked for; `None` when the player ends the session.
    pub passes_wanted: Option<u32>,
    /// The note of the line to be played next, or being played, by index.
    pub place: Option<usize>,
    /// Where the click stands, in quarter notes from the start of the chosen bars' bar 1 (as
    /// `onset_quarters` of the notes); `None` without a click.
    pub click_quarters: Option<f64>,
    /// Whether the click sounds during the line.
    pub click: bool,
    /// What sounds now, or sounded last.
    pub sounding: Option<Sounding>,
    /// The pass that `notes` speaks of: the last one until something is known of the next.
    pub notes_of: u32,
    /// One entry for each note of the piece; `None` while nothing is known.
    pub notes: Vec<Option<NoteView>>,
    /// What rang in this pass, in order of time.
    pub rings: Vec<RingView>,
    /// How loud it comes in.
    pub level: Level,
    /// Frames lost on the way in since the session began.
    pub dropped_frames: u64,
    /// Joins that left gaps in this session, the worst first.
    pub worst: Vec<JoinView>,
    /// The last pass that is over.
    pub last_pass: Option<PassView>,
    /// What is known of the latency.
    pub latency: LatencyView,
    /// How much faster the output's clock runs than the input's, in parts per million; `None`
    /// until it can be told.
    pub drift_ppm: Option<f64>,
    /// Where the sound is kept.
    pub take: String,
    /// Where the tempo ladder stands; `None` without one.
    pub ladder: Option<LadderView>,
    /// Why a rest is due now; `None` when none is.
    pub rest: Option<Rest>,
    /// What a player should know now (no sound comes in, the take cannot be written), whole
    /// sentences; empty when all is well.
    pub notices: Vec<String>,
}

/// What a player can ask for while it runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Command {
    /// Only the bar in which the player is.
    LoopHere,
    /// A bar more at the end.
    Widen,
    /// A bar less at the end.
    Narrow,
    /// A bar more at the start.
    WidenStart,
    /// A bar less at the start.
    NarrowStart,
    /// The worst join alone; its bars where it is played alone already, or where there is no click.
    LoopWorst,
    /// Whether passes are counted in, from the next one on.
    CountIn,
    /// The whole line again.
    WholeLine,
    /// Five per cent of the written tempo slower.
    Slower,
    /// Five per cent faster.
    Faster,
    /// Click on or off.
    Click,
    /// From the first chosen bar, counted in anew.
    Restart,
    /// From the bar in which the player is to the last chosen one, counted in anew.
    FromHere,
    /// Play back the last pass.
    ListenBack,
    /// End the session; the take is kept.
    Quit,
}
