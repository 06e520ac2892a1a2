//! Seamline listens to a bass player's take, holds it against the written line, and says which
//! notes are wrong, which are early or late, which joins leave a gap, and what to work on.
//!
//! The rooms, and which way the arrows run (a room uses only what stands above it):
//!
//! | room | what lives there |
//! |---|---|
//! | [`units`] | hertz, cents, decibels, frames and seconds; the middle of measured numbers |
//! | [`words`] | the names of pitches, beats, verdicts, flags and joins |
//! | [`music`] | what should sound: instruments, lines, places on the neck, joins, studies |
//! | [`hearing`] | what did sound: samples in, heard notes out |
//! | [`sound`] | samples in and out: files, the plucked-string synth |
//! | [`compare`] | heard against expected: alignment, grid, verdicts, flags, findings |
//! | [`transcribe`] | heard notes to a written line: rhythm, lengths, key, bars |
//! | [`progress`] | what was practised, how fast to go on, what to do next |
//! | [`session`] | one run from a source to a result |
//! | [`report`] | text and JSON made from results and lines |
//! | [`tui`] | the dashboard, and the same as lines of text |
//! | [`cli`] | arguments, checked settings, one file per command |

pub mod cli;
pub mod compare;
pub mod hearing;
pub mod music;
pub mod progress;
pub mod report;
pub mod session;
pub mod sound;
pub mod transcribe;
pub mod tui;
pub mod units;
pub mod words;
