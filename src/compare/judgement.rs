//! The result of holding a take against a line.

use crate::compare::marks::Marks;
pub use crate::compare::say::start::Passage;
use crate::music::expected::{ExpectedNote, JoinKind, Place};

/// What became of an expected note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The written pitch was played.
    Right,
    /// Another pitch was played in its place.
    Wrong,
    /// Nothing was played in its place.
    Missed,
    /// No pass came as far as this note, so that nothing can be said of it.
    Unreached,
}

/// What a player should know about a note beyond its verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Flag {
    /// Ahead of the fitted grid.
    Early,
    /// Behind the fitted grid.
    Late,
    /// Silence between this note and the next at a legato join.
    Gap,
    /// Ends well before its time with no legato join after it.
    Clipped,
    /// Another string sounds underneath.
    Bleed,
    /// Choked, muffled or buzzing: no clear pitch, or a fraction of its neighbours' sustain.
    Dead,
    /// Above the written pitch, but still that note.
    Sharp,
    /// Below the written pitch, but still that note.
    Flat,
}

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
    /// Mean tempo played, in quarters per minute.
    pub tempo_bpm: Option<f64>,
    /// Tempo at the first and at the last note, when it moved.
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

/// What was heard of an expected note.
#[derive(Clone, Debug, PartialEq)]
pub struct HeardPart {
    /// Pitch as a fractional MIDI note; `None` when none was clear.
    pub midi: Option<f64>,
    /// Deviation from the nearest semitone heard for a wrong note, from the written pitch for a
    /// right one, in cents.
    pub cents: Option<f64>,
    /// One standard deviation of `cents`.
    pub cents_uncertainty: Option<f64>,
    /// Onset in the take, in seconds.
    pub onset_s: f64,
    /// When damping starts (or the next onset if the note rang up to it, or the end of
    /// audibility), in seconds.
    pub release_s: f64,
    /// Level of the note's start in decibels relative to full scale.
    pub level_dbfs: f64,
    /// Onset less its place on the fitted grid, in milliseconds; late is positive.
    pub timing_ms: Option<f64>,
    /// One standard deviation of `timing_ms`.
    pub timing_uncertainty_ms: Option<f64>,
    /// Silence from this note's release to the next note's onset at a legato join, in
    /// milliseconds: 0 when they meet; `None` where there is no legato join.
    pub gap_ms: Option<f64>,
    /// One standard deviation of `gap_ms`: of the release and of the next onset; `None` where nothing
    /// was measured of the release.
    pub gap_uncertainty_ms: Option<f64>,
    /// Depth of that silence below the natural decay, in decibels.
    pub gap_depth_db: Option<f64>,
    /// Position of the stream when the onset first became known.
    pub heard_at_s: f64,
    /// Position of the stream when the pitch first became known.
    pub named_at_s: Option<f64>,
    /// The pitch that was said first, at `named_at_s`, as a fractional MIDI note.
    pub named_midi: Option<f64>,
}

/// An expected note and what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedNote {
    /// The note of the line.
    pub expected: ExpectedNote,
    /// Right, wrong or missed.
    pub verdict: Verdict,
    /// What was heard; `None` when missed.
    pub heard: Option<HeardPart>,
    /// Flags in the order of [`Flag`], without doubles.
    pub flags: Vec<Flag>,
}

/// A heard note that nobody wrote.
#[derive(Clone, Debug, PartialEq)]
pub struct ExtraNote {
    /// Onset in the take, in seconds.
    pub onset_s: f64,
    /// Pitch as a fractional MIDI note; `None` when none was clear.
    pub midi: Option<f64>,
    /// End, in seconds.
    pub release_s: f64,
    /// Level in decibels relative to full scale.
    pub level_dbfs: f64,
    /// Index of the expected note it follows; `None` before the first.
    pub after_index: Option<usize>,
}

/// Why a string sounded while it should not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum BleedKind {
    /// Never played: set off by the hand or by sympathy.
    OpenString,
    /// A note that was not damped when its time was over.
    LeftRinging,
    /// Hit together with a played note: it begins with it, far louder than it answers by itself.
    StruckAlong,
}

/// A string that sounded while it should not.
#[derive(Clone, Debug, PartialEq)]
pub struct Bleed {
    /// Its pitch as a fractional MIDI note.
    pub midi: f64,
    /// Its string, 1 for the thinnest; `None` when it cannot be told.
    pub string: Option<u8>,
    /// Why it sounded.
    pub kind: BleedKind,
    /// When it began, in seconds.
    pub from_s: f64,
    /// When it was over, in seconds.
    pub to_s: f64,
    /// Its level relative to what was played over it, in decibels.
    pub level_db: f64,
    /// Indices of the expected notes it sounded under.
    pub during: Vec<usize>,
    /// Index of the note that was left ringing; `None` for an open string.
    pub after: Option<usize>,
    /// How much more likely it is than silence, in nats.
    pub evidence: f64,
}

/// A string of which it cannot be told whether it rang: all its partials are those of what was
/// played over it.
#[derive(Clone, Debug, PartialEq)]
pub struct Undecided {
    /// Its pitch as a MIDI note.
    pub midi: f64,
    /// Its string, 1 for the thinnest.
    pub string: u8,
    /// Index of the note that may have been left ringing.
    pub after: usize,
    /// Indices of the notes it may have sounded under.
    pub during: Vec<usize>,
    /// From when to when, in seconds.
    pub from_s: f64,
    /// ...
    pub to_s: f64,
}

/// Whether the take can be that line at all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Agreement {
    /// The line was recognised in the take.
    Recognised,
    /// Most of the line was not recognised: the take is something else, and single verdicts say
    /// little. Holds the share of expected notes that were right.
    AnotherLine(f64),
    /// Nothing was heard. Holds the loudest level of the take in decibels relative to full scale.
    NothingHeard(f64),
}

/// One thing to act on: a fault with all passes that show it.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// What it is about.
    pub kind: FindingKind,
    /// Index of the expected note it starts at; `None` for the take as a whole.
    pub index: Option<usize>,
    /// How large it usually is: milliseconds for gaps, timing and stumbles, cents for tuning,
    /// decibels for rings, else 0.
    pub size: f64,
    /// What it is ranked by: how much it spoils the line, over all passes that show it; no unit.
    pub weight: f64,
    /// Numbers of the passes that show it, in order of time; empty for the take as a whole.
    pub passes: Vec<usize>,
    /// How many judged passes reached its place.
    pub of: usize,
    /// String and fret of the note it starts at, when there is one and it has a place.
    pub place: Option<Place>,
    /// The sentence, complete with bar and figures.
    pub sentence: String,
}

/// The kinds of findings, in the order in which those that weigh the same are told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum FindingKind {
    /// About the take as a whole (another line, nothing heard, started in the middle).
    Take,
    /// A join that leaves a gap.
    Gap,
    /// A wrong note.
    Wrong,
    /// A missed note.
    Missed,
    /// Notes nobody wrote.
    Extra,
    /// Strings that ring underneath.
    Bleed,
    /// A dead note.
    Dead,
    /// A clipped note.
    Clipped,
    /// Early or late notes.
    Timing,
    /// Sharp or flat notes.
    Tuning,
}

/// Counts over the take.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Notes played as written.
    pub right: usize,
    /// Notes of another pitch.
    pub wrong: usize,
    /// Notes not played.
    pub missed: usize,
    /// Notes nobody wrote.
    pub extra: usize,
    /// Joins with a gap.
    pub gaps: usize,
    /// Early notes.
    pub early: usize,
    /// Late notes.
    pub late: usize,
    /// Notes with another string underneath.
    pub bleed: usize,
    /// Dead notes.
    pub dead: usize,
    /// Clipped notes.
    pub clipped: usize,
    /// Sharp notes.
    pub sharp: usize,
    /// Flat notes.
    pub flat: usize,
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
    /// Counts.
    pub tally: Tally,
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

/// How unevenly the eighths were played: ratios of the first to the second of a beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlayedSwing {
    /// As played, over all passes.
    pub ratio: f64,
    /// Its robust standard deviation from note to note.
    pub spread: f64,
    /// Off-beats it was measured on.
    pub notes: usize,
    /// As written; 1 is straight.
    pub written: f64,
}

/// Everything that was found out about a take.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// Whether the take is that line at all.
    pub agreement: Agreement,
    /// The grid of the pass from which most of `notes` come.
    pub timing: Timing,
    /// One entry for each expected note asked for, in the order of the line: from the last
    /// complete pass of its bar, else from the last pass that reached it.
    pub notes: Vec<JudgedNote>,
    /// What nobody wrote in the passes that `notes` come from, in order of time.
    pub extras: Vec<ExtraNote>,
    /// What rang underneath those notes, in order of time; `None` when nobody listened for it.
    pub bleed: Option<Vec<Bleed>>,
    /// Where nothing can be told of a string, in order of time; empty when nobody listened.
    pub undecided: Vec<Undecided>,
    /// Every pass, in order of time.
    pub passes: Vec<PassJudgement>,
    /// Every legato join that some pass reached, in the order of the line.
    pub joins: Vec<JoinRecord>,
    /// The same by kind, in the order of [`JoinKind::ALL`].
    pub join_kinds: Vec<JoinKindRecord>,
    /// The last onset, in seconds of the take, up to which it is decided which note is which: what
    /// comes later may still be laid otherwise as more is heard. `None` when nothing is decided.
    pub decided_s: Option<f64>,
    /// Loudest sample of the click against that of the take, in decibels, to a few decibels; `None`
    /// where no click was heard.
    pub click_db: Option<f64>,
    /// How unevenly the eighths were played; `None` of too few off-beats.
    pub swing: Option<PlayedSwing>,
    /// What to act on, the heaviest first.
    pub findings: Vec<Finding>,
    /// Counts.
    pub tally: Tally,
    /// The marks that were used.
    pub marks: Marks,
}

impl Judgement {
    /// Whether the take is the line and a note of what was asked for was reached, so that single
    /// verdicts mean something.
    pub fn is_judged(&self) -> bool {
        let reached = |note: &JudgedNote| note.verdict != Verdict::Unreached;
        self.agreement == Agreement::Recognised && self.notes.iter().any(reached)
    }
}
