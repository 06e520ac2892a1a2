//! One time through some bars of the line: its time, its notes, and the joins over all passes.

use super::note::{Bleed, ExtraNote, Flag, JudgedNote, Undecided, Verdict};
use super::{Evenness, Tally};
use crate::music::expected::JoinKind;

/// How the take's time was laid over the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TimingMode {
    /// No click: an offset and a slowly moving tempo were fitted.
    Free,
    /// Played to a click at the written tempo: only the offset was fitted.
    Click,
}

/// The fitted grid.
#[derive(Clone, Debug, PartialEq)]
pub struct Timing {
    /// Where bar 1 beat 1 lies in the take, in seconds; `None` when no grid could be fitted.
    pub offset_s: Option<f64>,
    /// Mean tempo played, told as the line's opening tempo in quarters per minute: tempo changes that
    /// the line writes are taken out.
    pub tempo_bpm: Option<f64>,
    /// The same at the first and at the last note, when the player moved it.
    pub tempo_from_to_bpm: Option<(f64, f64)>,
    /// Free or click.
    pub mode: TimingMode,
    /// Spread of the deviations (robust standard deviation), in milliseconds.
    pub spread_ms: Option<f64>,
    /// Mean deviation left after the fit, in milliseconds (0 in free mode by construction).
    pub mean_ms: Option<f64>,
    /// How far the off-beat eighths lie off their written places by the click (middle), in
    /// milliseconds; late is positive. `None` without a click, where the click was neither heard nor
    /// measured, or of too few off-beats.
    pub offbeats_ms: Option<f64>,
}

/// How a pass began.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Beginning {
    /// The first of the take, or at the first bar of the line after something else.
    Start,
    /// In time with the pass before.
    Loop,
    /// After a stop, at or before the place where the player stopped.
    WentBack,
    /// After a stop, behind the place where the player stopped.
    WentOn,
}

/// A stop within a pass after which the player went on where the line was left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stumble {
    /// Index of the expected note with which the player went on.
    pub index: usize,
    /// Its bar.
    pub bar: u32,
    /// Its beat.
    pub beat: f64,
    /// How much longer than written the player waited, in seconds.
    pub pause_s: f64,
}

/// One time through some bars of the line.
#[derive(Clone, Debug, PartialEq)]
pub struct PassJudgement {
    /// Its number in the take, from 1.
    pub number: usize,
    /// First and last bar.
    pub bars: (u32, u32),
    /// Onset of its first heard note, in seconds of the take.
    pub from_s: f64,
    /// Release of its last heard note, in seconds of the take.
    pub to_s: f64,
    /// How it began.
    pub began: Beginning,
    /// Whether its last bar was played to the last written note.
    pub complete: bool,
    /// Whether enough of the line was recognised to judge it note by note; if not its notes,
    /// extras and rings are empty.
    pub judged: bool,
    /// Where the player stopped and went on, in order of time.
    pub stumbles: Vec<Stumble>,
    /// Its own grid.
    pub timing: Timing,
    /// One entry for each note of its bars, in the order of the line.
    pub notes: Vec<JudgedNote>,
    /// What nobody wrote, in order of time.
    pub extras: Vec<ExtraNote>,
    /// What rang underneath, in order of time; `None` when nobody listened for it.
    pub bleed: Option<Vec<Bleed>>,
    /// Where nothing can be told of a string, in order of time.
    pub undecided: Vec<Undecided>,
    /// How even its notes are; `None` where that is not known or of too few notes.
    pub evenness: Option<Evenness>,
    /// Counts.
    pub tally: Tally,
}

impl PassJudgement {
    /// Whether it was played to its end without a stop, with every note right, nothing else played, and
    /// at least this share of its notes without any fault.
    pub fn is_clean(&self, share: f64) -> bool {
        let right = |note: &JudgedNote| note.verdict == Verdict::Right;
        // How loud a note is spoils no line.
        let spoils = |flag: &Flag| !matches!(flag, Flag::Loud | Flag::Soft);
        let spoilt = |note: &&JudgedNote| note.flags.iter().any(spoils);
        let spoilt = self.notes.iter().filter(spoilt).count();
        self.judged
            && self.complete
            && self.stumbles.is_empty()
            && self.extras.is_empty()
            && self.notes.iter().all(right)
            && (self.notes.len() - spoilt) as f64 >= share * self.notes.len() as f64
    }
}

/// A legato join of the line with what became of it in each pass that reached it.
#[derive(Clone, Debug, PartialEq)]
pub struct JoinRecord {
    /// Index of the expected note before it.
    pub index: usize,
    /// Bar of that note.
    pub bar: u32,
    /// Beat of that note.
    pub beat: f64,
    /// What kind of join it is.
    pub join: JoinKind,
    /// Silence in each pass, in milliseconds, the oldest first; `None` where it could not be
    /// measured.
    pub gaps_ms: Vec<Option<f64>>,
    /// In how many passes it was flagged.
    pub flagged: usize,
}

/// The joins of one kind together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JoinKindRecord {
    /// Which kind.
    pub join: JoinKind,
    /// Joins of this kind that some pass reached.
    pub joins: usize,
    /// How many of them were flagged in half of their passes or more.
    pub flagged: usize,
    /// Median silence over all passes, in milliseconds; `None` when none could be measured.
    pub usual_gap_ms: Option<f64>,
}
