//! One run: source, listener, comparator, result.
//!
//! Here is the only place where the rooms below are joined into one path. Nothing here reads
//! arguments, prints or formats. Used by `report` (its result types alone) and `cli`.

mod heard;
pub mod instrument_file;
mod judging;
pub mod known;
pub mod line_info;
pub mod live;
pub mod offline;
pub mod played;
pub mod pump;
pub mod result;
pub mod tuning;
