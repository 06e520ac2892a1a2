//! What is said of a take as a whole: whether it is the line and its time (`summary`), counts
//! (`tally`), and what a player can act on: `findings`, made by `course` (stops, passes), `notes`,
//! `strings` (extras, rings) and `off` (time, tune) from every pass (`seen`), in the order of their
//! `weight`; where to `start`; up to which `tempo` the line holds. The phrases are in `phrases`.
//!
//! No limit between fine and flagged stands here. Called by [`compare`](crate::compare) and, for
//! `start` and `tempo`, through [`Judgement`](crate::compare::judgement::Judgement) by reports.

mod course;
pub(crate) mod findings;
mod notes;
mod off;
mod phrases;
mod seen;
pub(crate) mod start;
mod strings;
pub(crate) mod summary;
pub(crate) mod tally;
pub(crate) mod tempo;
#[cfg(test)]
mod tests;
pub(crate) mod uneven;
pub(crate) mod weight;
