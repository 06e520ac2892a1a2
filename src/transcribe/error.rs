//! Why nothing could be written.

use crate::music::line::{LineFault, Meter};

/// Why a take did not become a line. Each message says how to mend it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// No plucked note was heard.
    #[error("no plucked note was heard; check the level and the channel of the recording")]
    NothingHeard,
    /// Too little to find a tempo in.
    #[error("too few notes were heard to find a tempo; give it with --tempo")]
    NoTempo,
    /// A meter whose bar is not a whole number of sixteenths.
    #[error("{0} cannot be written from a take; its bar must be a whole number of sixteenths")]
    Meter(Meter),
    /// The first note would lie outside of its bar.
    #[error("--start {bar}:{beat}: {why}")]
    Start {
        /// The bar given.
        bar: u32,
        /// The beat given.
        beat: f64,
        /// What is wrong with it.
        why: &'static str,
    },
    /// A line longer than can be written.
    #[error("the line would have {bars} bars; at most {limit} can be written from one take")]
    TooLong {
        /// The bars it would have.
        bars: i64,
        /// The most.
        limit: i64,
    },
    /// What was written is no line.
    #[error("what was heard could not be written as a line: {0}")]
    Line(#[from] LineFault),
}
