//! What is said of each note: verdicts and flags, extras and strings that ring, from a take that is
//! laid over the line (`scene`).
//!
//! Nothing is aligned here and nothing is put into words. Called by
//! [`compare`](crate::compare) alone.

pub(crate) mod bleed;
pub(crate) mod extras;
pub(crate) mod scene;
pub(crate) mod undecided;
pub(crate) mod verdict;
