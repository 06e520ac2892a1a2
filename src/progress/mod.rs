//! Getting better: what was practised, how fast to go on, what to do next.
//!
//! | file | what lives there |
//! |---|---|
//! | [`ladder`] | the tempo ladder: how fast the next pass is played, where to start |
//! | `numbers` | numbers as sentences about practice say them |
//! | [`plan`] | what to practise today: the joins that cost most in turns, cold tests, rests |
//! | [`record`] | what is known of a player's practice, as plain values |
//!
//! No clock: days and moments are handed in. Used by `session` (the ladder alone), `report` (the values
//! alone) and `cli`.

pub mod ladder;
mod numbers;
pub mod plan;
pub mod record;
