//! The result of holding a take against a line: of each note (`note`), of each pass (`pass`), and of the
//! take as a whole.

mod loudness;
mod note;
mod pass;

use crate::compare::marks::Marks;
pub use crate::compare::say::start::Passage;
use crate::music::expected::Place;
pub use loudness::{Evenness, Loudness, Withheld};
pub use note::{Bleed, BleedKind, ExtraNote, Flag, HeardPart, JudgedNote, Undecided, Verdict};
pub use pass::{Beginning, JoinKindRecord, JoinRecord, PassJudgement, Stumble, Timing, TimingMode};

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
    /// Notes that stick out or fall away.
    Level,
    /// Notes whose string sounds against a fret.
    Buzz,
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
    /// Loud notes.
    pub loud: usize,
    /// Soft notes.
    pub soft: usize,
    /// Notes that buzz.
    pub buzzes: usize,
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
    /// The same by kind, in the order of [`JoinKind::ALL`](crate::music::expected::JoinKind::ALL).
    pub join_kinds: Vec<JoinKindRecord>,
    /// The last onset, in seconds of the take, up to which it is decided which note is which: what
    /// comes later may still be laid otherwise as more is heard. `None` when nothing is decided.
    pub decided_s: Option<f64>,
    /// Loudest sample of the click against that of the take, in decibels, to a few decibels; `None`
    /// where no click was heard.
    pub click_db: Option<f64>,
    /// How unevenly the eighths were played; `None` of too few off-beats.
    pub swing: Option<PlayedSwing>,
    /// How loud the notes are, and how even.
    pub loudness: Loudness,
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

    /// Right notes of all judged passes, and all notes of these. Where no pass was judged, none of the
    /// notes asked for was right.
    pub fn right_of_passes(&self) -> (usize, usize) {
        let passes = || self.passes.iter().filter(|pass| pass.judged);
        let right = passes().map(|pass| pass.tally.right).sum();
        match passes().map(|pass| pass.notes.len()).sum() {
            0 => (right, self.notes.len()),
            notes => (right, notes),
        }
    }
}
