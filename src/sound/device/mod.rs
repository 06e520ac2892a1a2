//! Sound cards: listening to one, and playing through one.
//!
//! | file | what lives there |
//! |---|---|
//! | [`list`] | which devices there are, and which one is meant |
//! | [`callback`] | what runs on the audio thread |
//! | [`capture`] | a device as a [`Source`](crate::sound::block::Source) |
//! | [`playback`] | sound out, in time with its stream |
//! | [`clock`] | when a frame passed, and how two devices drift |
//! | [`losses`] | what a device dropped without a word |
//! | `stream` | making, watching and letting go of a stream |
//! | [`error`] | what can go wrong, and how to mend it |
//!
//! Nothing here listens or judges. Used by `session` and `cli`.

pub mod callback;
pub mod capture;
pub mod clock;
pub mod error;
pub mod list;
pub mod losses;
pub mod playback;
mod stream;

pub use capture::Capture;
pub use error::{DeviceError, Way};
pub use list::DeviceChoice;
pub use playback::Playback;
pub use stream::Health;
