//! The limits of the plan, each settable, and what is told of one that makes no plan.

use std::fmt;

use crate::progress::ladder::{LadderError, LadderMarks};

/// The limits of the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlanMarks {
    /// Longest turn on one item, in minutes, before the next item comes.
    ///
    /// # Source
    /// Alternating every three minutes held up better than twelve minutes on one piece (Carter & Grahn
    /// 2016, Front. Psychol. 7:1251; ten players, a small effect). Raising it comes nearer to drilling.
    pub turn_minutes: f64,
    /// Most items that are interleaved. Raising it spreads the time thinner. Common practice (3 to 4), no
    /// source.
    pub items: usize,
    /// The early rest, in minutes; 0 for none.
    ///
    /// # Source
    /// Five minutes of rest early in the session gave the largest gain overnight (Cash 2009, J. Res. Music
    /// Educ. 57:252). Raising it leaves less time to play.
    pub rest_minutes: f64,
    /// A cold test or a review, in minutes: a few passes. Raising it tests fewer joins. Common practice, no
    /// source.
    pub test_minutes: f64,
    /// Takes of a whole line at the end, in minutes. Raising it leaves less time for the joins. Common
    /// practice, no source.
    pub whole_minutes: f64,
    /// A join is weak from this cost on: the share of its tries that were faulty, and what it lacks to the
    /// target tempo. Raising it leaves more joins alone. Common practice, no source.
    pub weak: f64,
    /// The ladder the items are played on: its target, its slowest tempo and its steps.
    pub ladder: LadderMarks,
}

impl Default for PlanMarks {
    fn default() -> Self {
        Self {
            turn_minutes: 3.0,
            items: 4,
            rest_minutes: 5.0,
            test_minutes: 1.0,
            whole_minutes: 3.0,
            weak: 0.1,
            ladder: LadderMarks::default(),
        }
    }
}

/// Minutes of practice when nothing else is asked for. Common practice, no source.
pub const USUAL_MINUTES: f64 = 20.0;

/// Why there is no plan: which mark, what it was set to, what it may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PlanError {
    /// Minutes of practice.
    Minutes(f64),
    /// A mark in minutes: its name, its value, the least and the most it may be.
    Mark(&'static str, f64, f64, f64),
    /// Items that are interleaved.
    Items(usize),
    /// The limit of a weak join.
    Weak(f64),
    /// The ladder.
    Ladder(LadderError),
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Minutes(minutes) => write!(
                f,
                "a plan for {minutes} minutes cannot be made: give 1 to {MOST_MINUTES}"
            ),
            Self::Mark(name, minutes, least, most) => write!(
                f,
                "{name} is {minutes} minutes long: give {least} to {most}"
            ),
            Self::Items(items) => write!(
                f,
                "{items} items are to be interleaved: give 1 to {MOST_ITEMS}"
            ),
            Self::Weak(cost) => write!(
                f,
                "a join is to be weak from a cost of {cost} on: give a share above 0 and below 1"
            ),
            Self::Ladder(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for PlanError {}

/// Longest practice a plan is made for: four hours. Nobody should play longer in one day without a
/// teacher who says so. Common practice, no source.
const MOST_MINUTES: f64 = 240.0;

/// Most items that can be interleaved. Common practice, no source.
const MOST_ITEMS: usize = 8;

impl PlanMarks {
    /// Whether these marks make a plan for `minutes` of practice.
    ///
    /// # Errors
    /// The first one that does not, with what it may be.
    pub fn check(&self, minutes: f64) -> Result<(), PlanError> {
        if !(1.0..=MOST_MINUTES).contains(&minutes) {
            return Err(PlanError::Minutes(minutes));
        }
        for (name, value, least, most) in [
            ("a turn", self.turn_minutes, 0.5, 30.0),
            ("the early rest", self.rest_minutes, 0.0, 30.0),
            ("a cold test", self.test_minutes, 0.25, 10.0),
            ("the whole line at the end", self.whole_minutes, 0.0, 60.0),
        ] {
            if !(least..=most).contains(&value) {
                return Err(PlanError::Mark(name, value, least, most));
            }
        }
        if !(1..=MOST_ITEMS).contains(&self.items) {
            return Err(PlanError::Items(self.items));
        }
        if !(self.weak > 0.0 && self.weak < 1.0) {
            return Err(PlanError::Weak(self.weak));
        }
        self.ladder.check().map_err(PlanError::Ladder)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Just inside and just outside of every limit, and the words.
    #[test]
    fn marks_that_make_no_plan_are_told() {
        fn told(minutes: f64, change: impl Fn(&mut PlanMarks)) -> String {
            let mut marks = PlanMarks::default();
            change(&mut marks);
            (marks.check(minutes).err()).map_or_else(String::new, |error| error.to_string())
        }
        assert_eq!(told(1.0, |_| ()), "");
        assert_eq!(
            told(0.5, |_| ()),
            "a plan for 0.5 minutes cannot be made: give 1 to 240"
        );
        assert_eq!(
            told(f64::NAN, |_| ()),
            "a plan for NaN minutes cannot be made: give 1 to 240"
        );
        assert_eq!(told(20.0, |m| m.turn_minutes = 0.5), "");
        assert_eq!(
            told(20.0, |m| m.turn_minutes = 0.4),
            "a turn is 0.4 minutes long: give 0.5 to 30"
        );
        assert_eq!(
            told(20.0, |m| m.rest_minutes = -1.0),
            "the early rest is -1 minutes long: give 0 to 30"
        );
        assert_eq!(
            told(20.0, |m| m.items = 0),
            "0 items are to be interleaved: give 1 to 8"
        );
        assert_eq!(
            told(20.0, |m| m.weak = 1.0),
            "a join is to be weak from a cost of 1 on: give a share above 0 and below 1"
        );
        assert_eq!(
            told(20.0, |m| m.ladder.up_after = 0),
            "the ladder goes up after 0 clean passes: give 1 to 100"
        );
    }
}
