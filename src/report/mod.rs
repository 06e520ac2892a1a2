//! Text and JSON made from results: pure functions from values to strings.
//!
//! No file, no terminal, no clock. Used by `cli`.
