//! The round trips that were measured, as they are kept for each pair of devices: JSON, written and
//! read here alone; no file is opened.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::session::live::latency::RoundTrip;
use crate::units::SampleRate;

/// What was measured, as it is kept: by the names of the devices and the rate.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct LatencyBook {
    /// The number of this format.
    schema: u32,
    /// The newest last.
    pairs: VecDeque<Pair>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Pair {
    input: String,
    output: String,
    input_rate_hz: u32,
    output_rate_hz: u32,
    round_trip_ms: f64,
    spread_ms: f64,
}

/// The number of the book's format.
const SCHEMA: u32 = 1;
/// Pairs that are kept; the oldest go.
const PAIRS: usize = 64;
/// A way longer than this is none, in milliseconds.
const LONGEST_MS: f64 = 2000.0;

/// Two devices, as the book knows them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DevicePair {
    /// Host and name of the input.
    pub input: String,
    /// Host and name of the output.
    pub output: String,
    /// Frames per second of the input.
    pub input_rate: SampleRate,
    /// Frames per second of the output.
    pub output_rate: SampleRate,
}

impl DevicePair {
    /// The two as one name: "ALSA: hw -> ALSA: phones".
    pub fn name(&self) -> String {
        format!("{} -> {}", self.input, self.output)
    }
}

impl LatencyBook {
    /// Reads a book.
    ///
    /// # Errors
    /// A sentence that says what is wrong with it.
    pub fn read(bytes: &[u8]) -> Result<Self, String> {
        let book: Self = serde_json::from_slice(bytes)
            .map_err(|error| format!("is no file of round trips ({error})"))?;
        if book.schema != SCHEMA {
            return Err(format!(
                "is of format {}, and this program reads format {SCHEMA}",
                book.schema
            ));
        }
        let sane = |p: &Pair| p.round_trip_ms.is_finite() && p.round_trip_ms.abs() < LONGEST_MS;
        match book.pairs.iter().find(|p| !sane(p)) {
            Some(pair) => Err(format!(
                "has a round trip of {} ms for {}",
                pair.round_trip_ms, pair.input
            )),
            None => Ok(book),
        }
    }

    /// The book as bytes.
    pub fn write(&self) -> Vec<u8> {
        // Strings and numbers that were checked: there is nothing to fail.
        let mut bytes = serde_json::to_vec_pretty(self).expect("a book is always representable");
        bytes.push(b'\n');
        bytes
    }

    /// The round trip of a pair, in seconds, if it was measured.
    pub fn of(&self, pair: &DevicePair) -> Option<f64> {
        self.pairs
            .iter()
            .rev()
            .find(|p| p.is(pair))
            .map(|p| 0.001 * p.round_trip_ms)
    }

    /// Notes what was measured in place of what was known.
    pub fn note(&mut self, pair: &DevicePair, trip: &RoundTrip) {
        self.schema = SCHEMA;
        self.pairs.retain(|p| !p.is(pair));
        self.pairs.push_back(Pair {
            input: pair.input.clone(),
            output: pair.output.clone(),
            input_rate_hz: pair.input_rate.0,
            output_rate_hz: pair.output_rate.0,
            round_trip_ms: (1e6 * trip.median_s).round() / 1e3,
            spread_ms: (1e6 * trip.spread_s).round() / 1e3,
        });
        while self.pairs.len() > PAIRS {
            self.pairs.pop_front();
        }
    }
}

impl Pair {
    fn is(&self, pair: &DevicePair) -> bool {
        self.input == pair.input
            && self.output == pair.output
            && self.input_rate_hz == pair.input_rate.0
            && self.output_rate_hz == pair.output_rate.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate(48_000);

    #[test]
    fn a_book_keeps_the_newest_of_each_pair() {
        let pair = |name: &str| DevicePair {
            input: name.to_owned(),
            output: "headphones".to_owned(),
            input_rate: RATE,
            output_rate: RATE,
        };
        let trip = |median_s| RoundTrip {
            median_s,
            spread_s: 0.001,
            from_to_s: (median_s, median_s),
            found: 12,
        };
        let mut book = LatencyBook::default();
        book.note(&pair("a"), &trip(0.010));
        book.note(&pair("b"), &trip(0.020));
        book.note(&pair("a"), &trip(0.0125));
        let read = LatencyBook::read(&book.write()).expect("its own");
        assert_eq!(read, book);
        assert_eq!(read.of(&pair("a")), Some(0.0125));
        assert_eq!(read.of(&pair("b")), Some(0.020));
        assert_eq!(read.of(&pair("c")), None);
        assert!(LatencyBook::read(b"{}").is_err());
        assert!(LatencyBook::read(b"not json").is_err());
    }
}
