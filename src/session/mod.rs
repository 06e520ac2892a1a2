//! One run: source, listener, comparator, result.
//!
//! | file | what lives there |
//! |---|---|
//! | [`pump`] | a source's blocks into the ear, counted; one way for a file and a device |
//! | `heard` | what the ear has said, settled and not yet |
//! | `ear` | the ear for an instrument, with a line and without one |
//! | `judging` | line, instrument and marks to the ear, the comparator's settings and the result |
//! | [`line_info`] | what a report and a screen need to know of the line |
//! | [`offline`] | a recorded take scored |
//! | [`curves`] | how pitch and level move within its notes |
//! | [`which_line`] | which of several lines a take is |
//! | [`live`] | a take while it is played |
//! | [`writing`] | a take written down as a line |
//! | [`tuning`] | open strings checked |
//! | [`result`] | what a run hands upwards |
//! | [`played`] | how a kept take was played, as a file beside it |
//! | [`known`], [`instrument_file`] | what is known of an instrument, and the same as a file |
//!
//! Here is the only place where the rooms below are joined into one path. Nothing here reads
//! arguments, prints or formats. Used by `report` and `tui` (results, snapshots and what is known of
//! the line) and `cli`.

pub mod curves;
mod ear;
mod heard;
pub mod instrument_file;
mod judging;
pub mod known;
pub mod line_info;
pub mod listen_back;
pub mod live;
pub mod offline;
pub mod played;
pub mod pump;
pub mod result;
pub mod tuning;
pub mod which_line;
pub mod writing;
