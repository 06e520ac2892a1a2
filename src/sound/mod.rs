//! Samples in and out: files, and the plucked-string synth.
//!
//! Nothing here judges anything. Used by `session` and `cli`.
