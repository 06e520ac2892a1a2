//! What a listener must know before it starts, and why it cannot be made.

use crate::hearing::calibration::KnownString;
use crate::units::{Hertz, SampleRate};

/// What the listener must know before it starts.
#[derive(Clone, Debug, PartialEq)]
pub struct ListenerConfig {
    /// Frames per second of the source, 8000 to 192000.
    pub rate: SampleRate,
    /// Frequency of A4.
    pub a4: Hertz,
    /// Lowest pitch that can sound; the low B of a bass, a little flat, by default.
    pub lowest: Hertz,
    /// Highest pitch that can sound.
    pub highest: Hertz,
    /// The open strings, which may ring along; none when nothing is known of them.
    pub open_strings: Vec<Hertz>,
    /// Chords that may be asked for, the lowest note first.
    pub chords: Vec<Vec<Hertz>>,
    /// What was measured of the strings before.
    pub known_strings: Vec<KnownString>,
    /// Whether to listen for what still sounds after a note was stopped.
    pub after_stop: bool,
}

impl ListenerConfig {
    /// A bass of four, five or six strings, tuned to 440 Hz.
    pub fn bass(rate: SampleRate) -> Self {
        Self {
            rate,
            a4: Hertz(440.0),
            lowest: Hertz(29.0),
            highest: Hertz(560.0),
            open_strings: [97.9989, 73.4162, 55.0, 41.2034].map(Hertz).to_vec(),
            chords: Vec::new(),
            known_strings: Vec::new(),
            after_stop: false,
        }
    }
}

/// Why a listener cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ListenError {
    /// The sample rate is outside what can be analysed.
    #[error("the sample rate is {given} Hz; rates from 8000 to 192000 Hz can be listened to")]
    Rate {
        /// The rate that was asked for.
        given: u32,
    },
    /// The pitch range is empty or outside what can be analysed.
    #[error(
        "pitches from {lowest} to {highest} Hz were asked for; the lowest must be 20 Hz or more and below the highest, the highest at most {limit} Hz at this sample rate"
    )]
    Range {
        /// Lowest pitch asked for.
        lowest: f64,
        /// Highest pitch asked for.
        highest: f64,
        /// Highest pitch possible.
        limit: f64,
    },
}
