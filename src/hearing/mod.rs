//! What did sound: blocks of mono samples in, heard notes out.
//!
//! Pure computation on samples: no file, no clock, no device, no environment, and no knowledge of
//! lines. What a line can hint at reaches it as plain values. Used by `compare` (its events) and
//! `session` (the listener itself).

pub mod dsp;
pub mod events;
pub mod jump;
pub mod listener;
pub mod naming;
pub mod pitch;
