//! What did sound: blocks of mono samples in, heard notes out.
//!
//! | file | what lives there |
//! |---|---|
//! | `listener` | the door: samples in, events out; which candidates are notes, and when they end |
//! | `events` | what it says: `Event`, `HeardNote` |
//! | `jump` | *when* a string was let go |
//! | `loudness` | how loud a note is as it is heard |
//! | `pulse` | strings that begin with a short pulse and move fully a period later |
//! | `naming` | *soon*: which note, once two readings agree |
//! | `pitch` | settled: which note, and how high exactly |
//! | `rings` | what else rings beside the played note |
//! | `arrival` | when a sound that slides comes to rest on its pitch |
//! | `continuity` | whether what sounded before a moment goes on through it |
//! | `pluck` | whether an onset is a pluck: the evidence of every event |
//! | `beside` | whether an onset that is no note of the line is a pluck of its own |
//! | `buzz` | whether a string sounds against a fret |
//! | `choked` | whether a sound that dies at once was a choked pluck |
//! | `ringing` | whether a string that was heard beside the notes rings |
//! | `logistic` | what a fitted model says of a row of features |
//! | `weights`, `ring_weights`, `buzz_weights` | the weights of fitted models, with what they were fitted on |
//! | `calibration` | what is known of an instrument's strings; what still sounds after a stop |
//! | `glide` | how long the pitch was under way from one note to the next |
//! | `chords` | which members of a chord are there, and how long |
//! | `dsp` | the arithmetic, one file per method |
//!
//! Pure computation on samples: no file, no clock, no device, no environment, no thread, and no
//! knowledge of lines. What a line can hint at reaches it as plain values. Used by `compare` (its
//! events) and `session` (the listener itself).
//!
//! Each step names its paper where it stands; the steps in their order, with what was measured and
//! what was fitted, stand in `DEVELOPERS.md`.

pub mod arrival;
pub mod beside;
pub mod buzz;
pub mod buzz_weights;
pub mod calibration;
pub mod choked;
pub mod chords;
pub mod continuity;
pub mod dsp;
pub mod events;
pub mod glide;
pub mod jump;
pub mod listener;
pub mod logistic;
pub mod loudness;
pub mod naming;
pub mod pitch;
pub mod pluck;
pub mod pulse;
pub mod ring_weights;
pub mod ringing;
pub mod rings;
pub mod weights;
