//! The tempo ladder: how fast the next pass is played, from how the last ones went.
//!
//! | file | what lives there |
//! |---|---|
//! | here | [`Ladder`]: up after clean passes, down after faulty ones |
//! | [`marks`] | [`LadderMarks`]: its limits |
//! | [`outcome`] | [`Outcome`]: how a pass went |
//! | [`start`] | [`start_share`]: the tempo to start with |
//! | [`phrases`] | [`sentence`]: a step in words |
//!
//! Tempos are shares of the written one: 0.8 is 80 %.
//!
//! # The rule
//! Some clean passes in a row lead up, some faulty ones in a row lead down; a broken pass is counted and
//! changes nothing. A ladder that went back from a tempo leads up to it again only after more clean passes
//! than before: as many in a row as it takes otherwise, times one more than it was left (3, then 6, then
//! 9). A step up never skips such a tempo, and the ladder remembers it as long as it lasts, which is one
//! session. So a player whose playing stays as it is meets the tempo that is too fast more and more seldom.
//!
//! A probe (a pass at the target, every few passes when asked for) counts apart: a faulty one changes
//! nothing, for it was too fast on purpose. Two clean ones in a row lead up half of the way to the
//! target; not when a tempo that the ladder went back from lies on that way. One clean probe may be luck.
//!
//! # Source
//! Up and down after several passes in a row is the transformed staircase of Levitt (1971, J. Acoust.
//! Soc. Am. 49:467): three in a row up holds the player where 79 % of passes are clean if one faulty one
//! leads down, somewhat faster with two. The shares of the steps, the growing number and the probe are
//! common practice, no source: no study has shown one schedule of tempos to be better than another.

pub mod marks;
pub mod outcome;
pub mod phrases;
pub mod start;
#[cfg(test)]
mod tests;

pub use marks::{LadderError, LadderMarks};
pub use outcome::Outcome;
pub use phrases::sentence;
pub use start::{Tried, start_share};

/// Tempos whose ratio lies within this share of 1 are one tempo. Half a percent, a quarter of what is
/// heard as another tempo (2 %, Drake & Botte 1993, Percept. Psychophys. 54:277). Raising it takes more
/// tempos for one.
const SAME: f64 = 0.005;

/// Clean probes in a row that lead up. Raising it trusts probes less. Common practice, no source.
const PROBES_TO_JUMP: u32 = 2;

/// What is to be played next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Next {
    /// Tempo, relative to the written one.
    pub share: f64,
    /// It is a probe: played at the target, counted apart.
    pub probe: bool,
}

/// What a pass led to, and why.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    /// Faster, after clean passes.
    Up {
        /// The tempo before.
        from: f64,
        /// The tempo now.
        to: f64,
        /// Clean passes in a row that led to it.
        clean_in_a_row: u32,
    },
    /// Slower, after faulty passes.
    Down {
        /// The tempo before.
        from: f64,
        /// The tempo now.
        to: f64,
        /// Faulty passes in a row that led to it.
        faulty_in_a_row: u32,
        /// How often the ladder went back from that tempo by now, at least 1.
        times: u32,
    },
    /// The same tempo after a clean pass: more are needed.
    Stay {
        /// Clean passes in a row at this tempo.
        clean_in_a_row: u32,
        /// How many lead up.
        needed: u32,
    },
    /// The same tempo after a faulty pass: it may have been a slip.
    Again {
        /// Faulty passes in a row at this tempo.
        faulty_in_a_row: u32,
        /// How many lead down.
        down_after: u32,
    },
    /// Faulty passes at the slowest tempo of the ladder: it goes no lower.
    Lowest {
        /// Faulty passes in a row at this tempo.
        faulty_in_a_row: u32,
    },
    /// The target is held: as many clean passes in a row as lead up, or more.
    Reached {
        /// Clean passes in a row at the target.
        clean_in_a_row: u32,
    },
    /// A pass at the target, counted apart.
    Probe {
        /// It was clean.
        clean: bool,
        /// The tempo now, where clean probes led up.
        to: Option<f64>,
    },
    /// A pass at another tempo than asked for that says nothing about this one: clean but slower,
    /// or faulty but faster.
    Aside {
        /// It was clean.
        clean: bool,
    },
    /// Broken off: counted, changes nothing.
    Broken,
}

/// Passes so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// All of them.
    pub passes: u32,
    /// Clean ones, probes among them.
    pub clean: u32,
    /// Faulty ones, probes among them.
    pub faulty: u32,
    /// Those that were broken off.
    pub broken: u32,
    /// Probes that were played to their end.
    pub probes: u32,
    /// Those of them that were clean.
    pub clean_probes: u32,
}

/// A tempo that the ladder went back from.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Left {
    share: f64,
    times: u32,
}

/// How fast to go on, pass by pass.
///
/// # Example
/// ```
/// use seamline::progress::ladder::{Ladder, LadderMarks, Outcome, Step};
///
/// let mut ladder = Ladder::new(LadderMarks::default(), 0.8)?;
/// ladder.pass(Outcome::Clean, 0.8);
/// ladder.pass(Outcome::Clean, 0.8);
/// assert!(matches!(ladder.pass(Outcome::Clean, 0.8), Step::Up { .. }));
/// assert!((ladder.next().share - 0.84).abs() < 1e-9);
/// # Ok::<(), seamline::progress::ladder::LadderError>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Ladder {
    marks: LadderMarks,
    share: f64,
    clean_in_a_row: u32,
    faulty_in_a_row: u32,
    clean_probes_in_a_row: u32,
    /// Passes played to their end since the last probe.
    since_probe: u32,
    left: Vec<Left>,
    counts: Counts,
}

impl Ladder {
    /// A ladder that starts at `start` (relative to the written tempo), moved to the slowest or the
    /// target tempo where it lies outside of them.
    ///
    /// # Errors
    /// A mark that makes no ladder, or a start that is no number above 0.
    pub fn new(marks: LadderMarks, start: f64) -> Result<Self, LadderError> {
        marks.check()?;
        if !(start.is_finite() && start > 0.0) {
            return Err(LadderError::Start(start));
        }
        Ok(Self {
            marks,
            share: start.clamp(marks.floor_share, marks.target_share),
            clean_in_a_row: 0,
            faulty_in_a_row: 0,
            clean_probes_in_a_row: 0,
            since_probe: 0,
            left: Vec::new(),
            counts: Counts::default(),
        })
    }

    /// What is to be played next.
    pub fn next(&self) -> Next {
        let probe = !self.at_target()
            && (self.marks.probe_every).is_some_and(|every| self.since_probe + 1 >= every);
        Next {
            share: if probe {
                self.marks.target_share
            } else {
                self.share
            },
            probe,
        }
    }

    /// Takes in a pass that was played at `share` of the written tempo, and says what it leads to. Never
    /// fails; a share that is no number above 0 counts as the one that was asked for.
    pub fn pass(&mut self, outcome: Outcome, share: f64) -> Step {
        let asked = self.next();
        let share = if share.is_finite() && share > 0.0 {
            share
        } else {
            asked.share
        };
        self.counts.passes = self.counts.passes.saturating_add(1);
        let clean = match outcome {
            Outcome::Clean => true,
            Outcome::Faulty => false,
            Outcome::Broken => {
                self.counts.broken = self.counts.broken.saturating_add(1);
                return Step::Broken;
            }
        };
        if clean {
            self.counts.clean = self.counts.clean.saturating_add(1);
        } else {
            self.counts.faulty = self.counts.faulty.saturating_add(1);
        }
        if asked.probe && share * (1.0 + SAME) >= self.marks.target_share {
            return self.probed(clean);
        }
        self.since_probe = self.since_probe.saturating_add(1);
        match clean {
            true if share * (1.0 + SAME) < self.share => Step::Aside { clean },
            true => self.clean(),
            false if share > self.share * (1.0 + SAME) => Step::Aside { clean },
            false => self.faulty(),
        }
    }

    /// Goes on at `share`, as the player asks, within the slowest and the target tempo; what was counted
    /// in a row begins anew, and tempos that were too fast so far are no longer held against it. A
    /// share that is no number above 0 changes nothing.
    pub fn set(&mut self, share: f64) {
        if share.is_finite() && share > 0.0 {
            self.left.retain(|left| left.share > share * (1.0 + SAME));
            self.go_to(share.clamp(self.marks.floor_share, self.marks.target_share));
        }
    }

    /// Where it stands, relative to the written tempo: the tempo of the passes that are no probes.
    pub fn share(&self) -> f64 {
        self.share
    }

    /// Its limits.
    pub fn marks(&self) -> &LadderMarks {
        &self.marks
    }

    /// Passes so far.
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// Clean passes in a row that lead up from here; at the target, those that hold it.
    pub fn needed(&self) -> u32 {
        let to = self.above() * (1.0 + SAME);
        let times = (self.left.iter())
            .filter(|left| left.share > self.share * (1.0 + SAME) && left.share <= to)
            .map(|left| left.times)
            .fold(0, u32::saturating_add);
        self.marks.up_after.saturating_mul(times.saturating_add(1))
    }

    fn at_target(&self) -> bool {
        self.share * (1.0 + SAME) >= self.marks.target_share
    }

    /// Where a step up leads: at most to the next tempo that the ladder went back from.
    fn above(&self) -> f64 {
        let step = self.share * (1.0 + self.marks.up_share);
        (self.left.iter())
            .map(|left| left.share)
            .filter(|left| *left > self.share * (1.0 + SAME))
            .fold(step.min(self.marks.target_share), f64::min)
    }

    fn go_to(&mut self, share: f64) {
        self.share = share;
        self.clean_in_a_row = 0;
        self.faulty_in_a_row = 0;
    }

    fn clean(&mut self) -> Step {
        self.faulty_in_a_row = 0;
        self.clean_in_a_row = self.clean_in_a_row.saturating_add(1);
        let (clean_in_a_row, needed) = (self.clean_in_a_row, self.needed());
        if clean_in_a_row < needed {
            return Step::Stay {
                clean_in_a_row,
                needed,
            };
        }
        let (from, to) = (self.share, self.above());
        if self.at_target() {
            return Step::Reached { clean_in_a_row };
        }
        self.go_to(to);
        Step::Up {
            from,
            to,
            clean_in_a_row,
        }
    }

    fn faulty(&mut self) -> Step {
        self.clean_in_a_row = 0;
        self.faulty_in_a_row = self.faulty_in_a_row.saturating_add(1);
        let (faulty_in_a_row, from) = (self.faulty_in_a_row, self.share);
        if faulty_in_a_row < self.marks.down_after {
            return Step::Again {
                faulty_in_a_row,
                down_after: self.marks.down_after,
            };
        }
        let to = (from * (1.0 - self.marks.down_share)).max(self.marks.floor_share);
        if to * (1.0 + SAME) >= from {
            return Step::Lowest { faulty_in_a_row };
        }
        let times = self.leave(from);
        self.go_to(to);
        Step::Down {
            from,
            to,
            faulty_in_a_row,
            times,
        }
    }

    /// Remembers that `share` was too fast; how often it was by now.
    fn leave(&mut self, share: f64) -> u32 {
        let same = |left: &&mut Left| (left.share / share - 1.0).abs() <= SAME;
        if let Some(left) = self.left.iter_mut().find(same) {
            left.times = left.times.saturating_add(1);
            return left.times;
        }
        self.left.push(Left { share, times: 1 });
        1
    }

    fn probed(&mut self, clean: bool) -> Step {
        self.since_probe = 0;
        self.counts.probes = self.counts.probes.saturating_add(1);
        if !clean {
            self.clean_probes_in_a_row = 0;
            return Step::Probe { clean, to: None };
        }
        self.counts.clean_probes = self.counts.clean_probes.saturating_add(1);
        self.clean_probes_in_a_row += 1;
        if self.clean_probes_in_a_row < PROBES_TO_JUMP {
            return Step::Probe { clean, to: None };
        }
        self.clean_probes_in_a_row = 0;
        let to = (self.share * self.marks.target_share).sqrt();
        let stands =
            |left: &Left| left.share > self.share * (1.0 + SAME) && left.share <= to * (1.0 + SAME);
        if self.left.iter().any(stands) {
            return Step::Probe { clean, to: None };
        }
        self.go_to(to);
        Step::Probe {
            clean,
            to: Some(to),
        }
    }
}
