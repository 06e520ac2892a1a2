//! The arithmetic of listening, one file per method: samples in, numbers out.
//!
//! Nothing here knows a note name, a string or a line, and nothing reads a file or a clock. Each
//! file opens with the paper its method comes from. Used by the rest of `hearing` only.

pub mod biquad;
pub mod decimate;
pub mod envelope;
pub mod free_partial;
pub mod history;
pub mod linear_prediction;
pub mod lines;
pub mod low_pass;
pub mod novelty;
pub mod peel;
pub mod power;
pub mod spectrum;
pub mod stiff_string;
pub mod transform;
pub mod two_modes;
pub mod yin;
