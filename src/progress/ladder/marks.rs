//! The limits of the ladder, each settable, and what is told of one that makes no ladder.

use std::fmt;

/// The limits of the tempo ladder. Shares are relative to the tempo they start from, or to the written
/// one where that is said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LadderMarks {
    /// A step up adds this share of the tempo. Raising it climbs faster and falls back more often.
    /// Common practice (4 to 6 %), no source.
    pub up_share: f64,
    /// This many clean passes in a row lead up. Raising it asks for more certainty; three is the rule
    /// that holds a player at 79 % clean (Levitt 1971).
    pub up_after: u32,
    /// A step down takes this share of the tempo off. Raising it falls deeper. Common practice (8 to
    /// 10 %), no source.
    pub down_share: f64,
    /// This many faulty passes in a row lead down. Raising it forgives more slips. Common practice, no
    /// source.
    pub down_after: u32,
    /// Every pass of this number is played at the target, counted apart; `None` for never. Raising it
    /// probes more seldom. Common practice (4), no source.
    pub probe_every: Option<u32>,
    /// The tempo to reach, relative to the written one; the ladder never goes above it.
    pub target_share: f64,
    /// The slowest tempo, relative to the written one. Raising it ends the way down sooner. Common
    /// practice, no source: below a third of the tempo the hands move in another way.
    pub floor_share: f64,
    /// A pass with at least this share of notes without any fault is clean, when nothing is wrong,
    /// missed or extra and the player did not stop in it. Raising it forgives fewer early, late or
    /// ringing notes. Common practice, no source.
    pub clean_share: f64,
}

impl Default for LadderMarks {
    fn default() -> Self {
        Self {
            up_share: 0.05,
            up_after: 3,
            down_share: 0.09,
            down_after: 2,
            probe_every: None,
            target_share: 1.0,
            floor_share: 0.3,
            clean_share: 0.95,
        }
    }
}

/// Largest step, up or down, as a share of the tempo. Above, a step down and a step up would leap past
/// every tempo that can be played. Common practice, no source.
const LARGEST_STEP: f64 = 0.5;

/// Most passes in a row that can be asked for. Nobody plays a loop more often in one go. Common
/// practice, no source.
const MOST_IN_A_ROW: u32 = 100;

/// Fastest target, relative to the written tempo. Common practice, no source.
const FASTEST: f64 = 3.0;

/// Slowest tempo there can be, relative to the written one: a twentieth. Common practice, no source.
const SLOWEST: f64 = 0.05;

/// Why there is no ladder: which mark, what it was set to, what it may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LadderError {
    /// The step up.
    Up(f64),
    /// The step down.
    Down(f64),
    /// Clean passes that lead up.
    UpAfter(u32),
    /// Faulty passes that lead down.
    DownAfter(u32),
    /// Passes from probe to probe.
    ProbeEvery(u32),
    /// The target.
    Target(f64),
    /// The slowest tempo, and the target it is held against.
    Floor(f64, f64),
    /// Notes without a fault in a clean pass.
    Clean(f64),
    /// The tempo to start with.
    Start(f64),
}

impl fmt::Display for LadderError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let most = LARGEST_STEP * 100.0;
        match *self {
            Self::Up(share) => write!(
                f,
                "the step up is {}: give a share above 0 and at most {most} %",
                percent(share)
            ),
            Self::Down(share) => write!(
                f,
                "the step down is {}: give a share above 0 and at most {most} %",
                percent(share)
            ),
            Self::UpAfter(count) => write!(
                f,
                "the ladder goes up after {count} clean passes: give 1 to {MOST_IN_A_ROW}"
            ),
            Self::DownAfter(count) => write!(
                f,
                "the ladder goes down after {count} faulty passes: give 1 to {MOST_IN_A_ROW}"
            ),
            Self::ProbeEvery(count) => write!(
                f,
                "every pass of {count} is to be played at the target: give 2 to {MOST_IN_A_ROW}, or \
                 leave it out"
            ),
            Self::Target(share) => write!(
                f,
                "the target is {} of the written tempo: give {} to {} %",
                percent(share),
                SLOWEST * 100.0,
                FASTEST * 100.0
            ),
            Self::Floor(share, target) => write!(
                f,
                "the slowest tempo is {} of the written one: give at least {} % and no more than the \
                 target, {}",
                percent(share),
                SLOWEST * 100.0,
                percent(target)
            ),
            Self::Clean(share) => write!(
                f,
                "a pass is to be clean with {} of its notes without a fault: give a share above 0 and \
                 at most 100 %",
                percent(share)
            ),
            Self::Start(share) => write!(
                f,
                "the ladder is to start at {} of the written tempo: give a share above 0",
                percent(share)
            ),
        }
    }
}

impl std::error::Error for LadderError {}

/// A share in percent, for a message: "4.5 %".
fn percent(share: f64) -> String {
    if share.is_finite() {
        format!("{} %", (share * 1000.0).round() / 10.0)
    } else {
        "no number".to_owned()
    }
}

impl LadderMarks {
    /// Whether these marks make a ladder.
    ///
    /// # Errors
    /// The first mark that does not, with what it may be.
    pub fn check(&self) -> Result<(), LadderError> {
        let step = |share: f64| share > 0.0 && share <= LARGEST_STEP;
        let row = |count: u32| (1..=MOST_IN_A_ROW).contains(&count);
        if !step(self.up_share) {
            return Err(LadderError::Up(self.up_share));
        }
        if !step(self.down_share) {
            return Err(LadderError::Down(self.down_share));
        }
        if !row(self.up_after) {
            return Err(LadderError::UpAfter(self.up_after));
        }
        if !row(self.down_after) {
            return Err(LadderError::DownAfter(self.down_after));
        }
        if let Some(every) = self.probe_every
            && !(2..=MOST_IN_A_ROW).contains(&every)
        {
            return Err(LadderError::ProbeEvery(every));
        }
        if !(SLOWEST..=FASTEST).contains(&self.target_share) {
            return Err(LadderError::Target(self.target_share));
        }
        if !(SLOWEST..=self.target_share).contains(&self.floor_share) {
            return Err(LadderError::Floor(self.floor_share, self.target_share));
        }
        if !(self.clean_share > 0.0 && self.clean_share <= 1.0) {
            return Err(LadderError::Clean(self.clean_share));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Just inside and just outside of every limit, and the words.
    #[test]
    fn marks_that_make_no_ladder_are_told() {
        fn told(change: impl Fn(&mut LadderMarks)) -> String {
            let mut marks = LadderMarks::default();
            change(&mut marks);
            marks
                .check()
                .err()
                .map_or_else(String::new, |error| error.to_string())
        }
        assert_eq!(told(|_| ()), "");
        assert_eq!(told(|m| m.up_share = 0.5), "");
        assert_eq!(
            told(|m| m.up_share = 0.51),
            "the step up is 51 %: give a share above 0 and at most 50 %"
        );
        assert_eq!(
            told(|m| m.down_share = 0.0),
            "the step down is 0 %: give a share above 0 and at most 50 %"
        );
        assert_eq!(
            told(|m| m.down_share = f64::NAN),
            "the step down is no number: give a share above 0 and at most 50 %"
        );
        assert_eq!(told(|m| m.up_after = 1), "");
        assert_eq!(
            told(|m| m.up_after = 0),
            "the ladder goes up after 0 clean passes: give 1 to 100"
        );
        assert_eq!(
            told(|m| m.down_after = 101),
            "the ladder goes down after 101 faulty passes: give 1 to 100"
        );
        assert_eq!(told(|m| m.probe_every = Some(2)), "");
        assert_eq!(
            told(|m| m.probe_every = Some(1)),
            "every pass of 1 is to be played at the target: give 2 to 100, or leave it out"
        );
        assert_eq!(told(|m| m.target_share = 3.0), "");
        assert_eq!(
            told(|m| m.target_share = 3.1),
            "the target is 310 % of the written tempo: give 5 to 300 %"
        );
        assert_eq!(told(|m| m.floor_share = 1.0), "");
        assert_eq!(
            told(|m| m.floor_share = 1.01),
            "the slowest tempo is 101 % of the written one: give at least 5 % and no more than the \
             target, 100 %"
        );
        assert_eq!(told(|m| m.clean_share = 1.0), "");
        assert_eq!(
            told(|m| m.clean_share = 1.05),
            "a pass is to be clean with 105 % of its notes without a fault: give a share above 0 and \
             at most 100 %"
        );
        assert_eq!(
            LadderError::Start(-0.5).to_string(),
            "the ladder is to start at -50 % of the written tempo: give a share above 0"
        );
    }
}
