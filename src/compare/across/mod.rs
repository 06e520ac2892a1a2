//! The same line played before and after: what got better, join by join and note by note, and what is noise.
//!
//! | file | what lives there |
//! |---|---|
//! | `gather` | the numbers of every judged pass, sorted by matter and place |
//! | `samples` | two sides of numbers held against each other: Welch's t with moderated variances |
//! | `usual` | how much numbers usually vary from pass to pass |
//! | `chance` | exact tests of counts, and many tests together |
//! | `verdict` | better, worse, alike or not to be told, and how many more passes would tell |
//!
//! Every judged pass is one sample. Pure functions over values: no take is heard here, and nothing is told that is
//! not in a judgement. Used by `report` and `cli`.

pub mod chance;
mod gather;
mod samples;
mod usual;
mod verdict;

use self::chance::Share;
pub use self::samples::{Measured, Samples};
pub use self::usual::{ASSUMED_MS, ASSUMED_SHARE};
use super::judgement::Judgement;
use crate::music::expected::{ExpectedNote, JoinKind};
use crate::units::{SPREAD_OF_MEDIAN, median};

/// What is put beside each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Matter {
    /// Silence at a legato join, in milliseconds.
    Gap,
    /// Distance of an onset from the grid, either way, in milliseconds.
    Timing,
    /// How far the onsets of a pass spread about its grid, in milliseconds.
    Spread,
    /// How far the tempo moved from the first note of a pass to the last, as a share of it.
    Drift,
    /// Passes in which a note was wrong or missed.
    Failed,
    /// Passes in which another string rang under a note.
    Rings,
    /// Wrong notes of all notes reached.
    AllWrong,
    /// Missed notes of all notes reached.
    AllMissed,
    /// Notes with another string underneath, of all notes reached.
    AllRings,
    /// Notes nobody wrote, for each note reached.
    AllExtras,
}

/// What became of a matter at a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Change {
    /// It got better, and that is no noise.
    Better,
    /// It got worse, and that is no noise.
    Worse,
    /// It is the same, to within what would be noticed.
    Alike,
    /// The passes do not tell.
    CannotTell,
}

impl Change {
    /// The word for it in a report.
    pub fn word(self) -> &'static str {
        match self {
            Self::Better => "better",
            Self::Worse => "worse",
            Self::Alike => "alike",
            Self::CannotTell => "cannot tell",
        }
    }
}

/// Where a matter lies in the line.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// The note, or the note before the join.
    pub note: ExpectedNote,
    /// The written pitch of the note after it as a MIDI note, where the matter is a join.
    pub to_midi: Option<u8>,
    /// The kind of join, where the matter is one.
    pub join: Option<JoinKind>,
}

/// The two sides of a matter.
#[derive(Clone, Debug, PartialEq)]
pub enum Sides {
    /// A number from each pass.
    Numbers(Samples),
    /// How often, of how many.
    Counts {
        /// Earlier.
        before: Share,
        /// Later.
        after: Share,
    },
}

/// One matter at one place, before and after.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// What is compared.
    pub matter: Matter,
    /// Where; `None` for whole passes.
    pub spot: Option<Spot>,
    /// The numbers.
    pub sides: Sides,
    /// After less before: of the means, or of the shares.
    pub change: Option<f64>,
    /// One standard deviation of the change; `None` of counts, and where it is not known.
    pub change_sd: Option<f64>,
    /// How likely such a change or a larger one is where nothing has changed.
    pub p: Option<f64>,
    /// The least share of false ones at which it would be told, over all tests of the comparison.
    pub q: Option<f64>,
    /// The verdict.
    pub verdict: Change,
    /// How many more later passes would probably tell; `None` where it is told, and where no number would.
    pub more_passes: Option<usize>,
}

/// Two sides of takes, held against each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Judged passes before and after.
    pub passes: (usize, usize),
    /// Middle tempo of the passes before and after, in quarters a minute.
    pub tempo_bpm: (Option<f64>, Option<f64>),
    /// Joins, notes, passes and counts, in the order of [`Matter`] and of the line.
    pub compared: Vec<Compared>,
    /// How many tests were made.
    pub tests: usize,
}

impl Samples {
    /// The middle of both sides.
    pub fn middles(&self) -> (Option<f64>, Option<f64>) {
        let middle = |side: &[Measured]| median(&mut values(side));
        (middle(&self.before), middle(&self.after))
    }

    /// How both sides spread over the passes: the median distance from the middle, as one standard deviation; `None`
    /// of fewer than two passes.
    pub fn spreads(&self) -> (Option<f64>, Option<f64>) {
        let spread = |side: &[Measured]| {
            let middle = median(&mut values(side)).filter(|_| side.len() > 1)?;
            let mut off: Vec<f64> = side.iter().map(|m| (m.value - middle).abs()).collect();
            Some(SPREAD_OF_MEDIAN * median(&mut off)?)
        };
        (spread(&self.before), spread(&self.after))
    }
}

fn values(side: &[Measured]) -> Vec<f64> {
    side.iter().map(|measured| measured.value).collect()
}

/// Holds takes of one line against each other: the first `before` of them are the earlier side, the others the later
/// one. Of a single take the first `before` judged passes are.
///
/// Input:   judgements of the same line, in order of time.
/// Output:  every matter at every place that was reached on both sides. At most [`chance::FALSE_SHARE`] of what is
///          told as better or worse is noise, on average (Benjamini & Hochberg 1995 over all tests). With one pass
///          on either side how much passes differ is assumed ([`ASSUMED_MS`], [`ASSUMED_SHARE`]), as it is where too
///          few passes show it. Never fails.
pub fn across(takes: &[&Judgement], before: usize) -> Comparison {
    let sides = gather::sides(takes, before);
    let mut compared = gather::compared(&sides);
    let tests = verdict::decide(&mut compared, &gather::marks(takes));
    let tempo = |passes: &[&super::judgement::PassJudgement]| {
        let tempos = passes.iter().filter_map(|pass| pass.timing.tempo_bpm);
        median(&mut tempos.collect::<Vec<_>>())
    };
    Comparison {
        passes: (sides.before.len(), sides.after.len()),
        tempo_bpm: (tempo(&sides.before), tempo(&sides.after)),
        compared,
        tests,
    }
}
