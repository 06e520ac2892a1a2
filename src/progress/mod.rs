//! Getting better: what was practised, how fast to go on, what to do next.
//!
//! | file | what lives there |
//! |---|---|
//! | [`record`] | what is known of a player's practice, as plain values |
//! | [`rows`] | what is kept of a take and of its line, row by row |
//! | [`store`] | the record: an SQLite file |
//!
//! No clock: days and moments are handed in. Used by `session` (the ladder alone), `report` (the values
//! alone) and `cli`.

pub mod record;
pub mod rows;
pub mod store;
