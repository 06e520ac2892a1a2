//! Heard against expected: alignment, grid, verdicts and flags, tally, findings.
//!
//! Pure functions over values: no file, no clock, no device, no environment. Used by `session`
//! and everything above.

pub mod judgement;
pub mod marks;
