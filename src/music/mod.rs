//! What should sound: instruments, written lines, where they lie on the neck, how one note joins
//! the next, and studies built from chord symbols.
//!
//! No sound, no file, no clock, no device: readers take text or bytes and give values. Used by
//! `sound` (to render a guide), `compare` and everything above.

pub mod expected;
pub mod fingering;
pub mod instrument;
pub mod line;
pub mod study;
pub mod theory;
pub mod transpose;
