//! What is shown of practising: passes beside each other, the tempo ladder, rests.

use crate::music::expected::JoinKind;
use crate::progress::ladder::{Counts, Next, Outcome, Step};
use crate::session::live::snapshot::JoinPlace;

/// The earlier passes of the same bars in this session, the last few of them, the oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Compared {
    /// Notes played as written in each of them.
    pub right: Vec<usize>,
    /// Their tempo relative to the written one, where the pass itself had another; `None` where all had
    /// the same.
    pub tempo_share: Option<f64>,
    /// The join that tells most; `None` where none left a gap.
    pub join: Option<JoinCompared>,
}

/// A join in a pass and in those before it.
#[derive(Clone, Debug, PartialEq)]
pub struct JoinCompared {
    /// Where it is.
    pub place: JoinPlace,
    /// What kind of join it is.
    pub kind: Option<JoinKind>,
    /// Silence in this pass, in milliseconds; `None` where it could not be measured.
    pub gap_ms: Option<f64>,
    /// The same in the earlier ones.
    pub before_ms: Vec<Option<f64>>,
}

/// What the tempo ladder made of a pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LadderPass {
    /// How it went.
    pub outcome: Outcome,
    /// Whether it was a probe, at the target.
    pub probe: bool,
    /// What it led to.
    pub step: Step,
    /// What was to come next.
    pub next: Next,
}

/// Where the tempo ladder stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LadderView {
    /// Passes of these bars so far.
    pub counts: Counts,
    /// The tempo to reach, relative to the written one.
    pub target_share: f64,
    /// Whether the pass that runs or comes next is a probe, at the target.
    pub probe: bool,
    /// What the last pass led to, and what was to come next.
    pub decided: Option<(Step, Next)>,
    /// What comes behind the running pass; only while its last bar is played.
    pub ahead: Option<Ahead>,
}

/// What comes behind the running pass, as far as it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ahead {
    /// This.
    Known(Next),
    /// It is clean so far; one thing if it ends so, another one else.
    IfClean {
        /// If it ends so.
        clean: Next,
        /// Else.
        otherwise: Next,
    },
    /// One thing now, and another one behind that, because this pass is not clean: without a count-in
    /// a new tempo is told a pass before.
    Later {
        /// Next.
        now: Next,
        /// Behind that.
        later: Next,
    },
    /// One thing now, and another one behind that if this pass ends clean.
    LaterIfClean {
        /// Next.
        now: Next,
        /// Behind that, if this pass ends clean.
        clean: Next,
    },
}

/// Why a rest is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rest {
    /// Faulty passes in a row at the slowest tempo: how many.
    AtTheLowest(u32),
    /// The same bars for too long: for how many minutes.
    LongEnough(u32),
}
