//! A plucked string of our own making: for the guide a player listens to, for demonstrations, and
//! for tests, because of everything it plays the truth is known to the sample.
//!
//! | file | what lives there |
//! |---|---|
//! | [`performance`] | what is played: every note with its onset, release, pitch and level |
//! | [`player`] | a player with small deviations, who makes a performance of a line |
//! | [`excerpt`] | one join alone, from beat to beat |
//! | `ornaments` | grace notes and slides put into a performance |
//! | [`fault`] | faults to be put into a performance on purpose, and their spelling |
//! | `faulty` | putting them in |
//! | [`voice`] | how the instrument sounds: where it is plucked, how it rings, how bright it is |
//! | `string` | the sound of one note: a sum of decaying partials |
//! | [`render`](mod@render) | a performance and a voice to samples |
//! | `random` | a small generator, so that a seed gives the same take everywhere |
//!
//! No file, no clock, no device: the same performance, voice and rate give the same samples.

pub mod excerpt;
pub mod fault;
mod faulty;
mod ornaments;
pub mod performance;
pub mod player;
mod random;
pub mod render;
mod string;
pub mod voice;

pub use excerpt::{Excerpt, JoinError, around_join, around_note};
pub use fault::{Fault, FaultError, Spot, parse_faults};
pub use ornaments::graces_lead_s;
pub use performance::{Performance, PlayedNote, Role, Slide, TrueNote};
pub use player::{Player, opening_s};
pub use render::render;
pub use voice::Voice;
