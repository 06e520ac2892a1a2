//! Samples in and out: files, sound cards, and the plucked-string synth.
//!
//! | file | what lives there |
//! |---|---|
//! | [`block`] | what every source delivers: samples, a gap or the end |
//! | [`file`](mod@file) | opening a take, by its content: WAV, FLAC, MP3, M4A or Ogg Vorbis, from a path or from standard input |
//! | [`device`] | listening to a sound card, and playing through one |
//! | [`mixdown`] | many channels to one, dead and opposed channels left out |
//! | [`health`] | samples that are no numbers, and clipping |
//! | [`notes`] | what a source has to say about the sound it delivered |
//! | [`hum`] | how much the mains hum |
//! | [`keep`] | keeping a take while it is played |
//! | `take_file` | its file: parts, and what finds no room |
//! | `take_name` | whose its name is |
//! | [`output`] | writing WAV |
//! | [`wav_info`] | which program wrote a WAV file |
//! | [`click`] | a click to play to, and the count-in |
//! | [`backing`] | a track to play along with, cut and stretched to a pass |
//! | [`first_bar`] | where bar 1 lies in such a track |
//! | [`rate`] | sound at another rate |
//! | [`stretch`] | slower or faster at the same pitch |
//! | [`synth`] | a plucked string for guides, demonstrations and tests |
//!
//! Nothing here judges anything: no note is named, nothing is compared with a line. Used by
//! `session` and `cli`.

pub mod backing;
pub mod block;
pub mod click;
pub mod device;
pub mod error;
pub mod file;
pub mod first_bar;
mod flac;
pub mod health;
pub mod hum;
pub mod keep;
pub mod mixdown;
pub mod notes;
pub mod output;
mod packed;
pub mod rate;
mod sniff;
pub mod stretch;
pub mod synth;
mod take_file;
mod take_name;
mod wav;
mod wav_header;
pub mod wav_info;

pub use error::SoundError;
pub use notes::SoundNote;
