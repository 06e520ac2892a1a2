//! Swing: eighths in pairs, the first longer than the second.
//!
//! The written places stay; a swung line has other *times*. Within each beat of a quarter note a
//! place `u` (0 at the beat, 1 at the next) is moved along two straight pieces so that the half
//! lies at `r / (r + 1)`, `r` being the long eighth against the short one:
//!
//! - `u <= 1/2` to `u * 2r / (r + 1)`,
//! - `u > 1/2` to `r / (r + 1) + (u - 1/2) * 2 / (r + 1)`.
//!
//! Beats are never moved, and sixteenths lie evenly within their eighth. A beat in which anything
//! begins off the halves, quarters, eighths and so on (a triplet or another tuplet) is played as
//! written: its player counts the tuplet and not the pair. Tempo changes hold from the place they
//! are written at, after notes were moved.
//!
//! # Source
//! The ratio as the measure of swing: Friberg and Sundström, "Swing ratios and ensemble timing in
//! jazz performance", Music Perception 19 (2002), 333-349. Straight tuplets and swung sixteenths:
//! common practice, no source.

use std::collections::HashSet;
use std::fmt;
use std::str::FromStr;

use super::flat::first_beat_offset;
use super::length::{Length, UNITS_PER_QUARTER};
use super::whole::Line;

/// Evenest and most uneven pair, long against short. At 3:1 the pair is a dotted eighth and a
/// sixteenth, which is written so; raising it would blur the two.
pub const SWING_RANGE: (f64, f64) = (1.0, 3.0);

/// The finest place that counts as a half of halves: a quarter note over 1024, the odd part of
/// [`UNITS_PER_QUARTER`]. Whatever is no multiple of it belongs to a tuplet.
const BINARY_UNITS: i64 = UNITS_PER_QUARTER / 1024;

/// How long the first eighth of a beat lasts against the second, 1 to 3.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct SwingRatio(f64);

/// What is not a swing.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{given}` is not a swing; write the long eighth against the short one, {}:1 to {}:1, for example 2:1 or 1.6:1, or `off`",
    SWING_RANGE.0, SWING_RANGE.1
)]
pub struct SwingError {
    /// What was given.
    pub given: String,
}

impl SwingRatio {
    /// A ratio of long to short, 1 to 3.
    ///
    /// # Errors
    /// When it is outside that range; NaN is.
    pub fn new(ratio: f64) -> Result<Self, SwingError> {
        let (evenest, widest) = SWING_RANGE;
        if !(evenest..=widest).contains(&ratio) {
            return Err(SwingError {
                given: format!("{ratio}:1"),
            });
        }
        Ok(Self(ratio))
    }

    /// True for 1:1, which moves nothing.
    pub fn is_straight(self) -> bool {
        self.0 == 1.0
    }

    /// The ratio as whole numbers, exactly where nine decimals are enough for it.
    pub(crate) fn whole_numbers(self) -> (u64, u64) {
        let mut scale = 1_u64;
        while scale < 1_000_000_000 && (self.0 * scale as f64).fract() != 0.0 {
            scale *= 10;
        }
        let first = (self.0 * scale as f64).round() as u64;
        let mut common = (first, scale);
        while common.1 > 0 {
            common = (common.1, common.0 % common.1);
        }
        (first / common.0.max(1), scale / common.0.max(1))
    }

    /// Where the off-beat eighth lies in its beat, 1/2 to 3/4.
    pub fn off_beat(self) -> f64 {
        self.0 / (self.0 + 1.0)
    }

    /// Where a place in quarter notes, counted from any beat, is moved to. Whole numbers stay.
    pub fn moved(self, quarters: f64) -> f64 {
        let beat = quarters.floor();
        let u = quarters - beat;
        let off_beat = self.off_beat();
        beat + if u <= 0.5 {
            u * 2.0 * off_beat
        } else {
            off_beat + (u - 0.5) * 2.0 / (self.0 + 1.0)
        }
    }
}

impl fmt::Display for SwingRatio {
    /// As the `.line` text writes it: `2:1`, `1.6:1`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:1", self.0)
    }
}

impl FromStr for SwingRatio {
    type Err = SwingError;

    /// Reads `2:1`, `1.6:1` or `3:2`; a comma counts as the point.
    fn from_str(text: &str) -> Result<Self, SwingError> {
        let wrong = || SwingError {
            given: text.trim().to_owned(),
        };
        // A number as a player writes it: no sign, no exponent, no `inf`.
        let number = |text: &str| {
            let text = text.trim().replace(',', ".");
            let plain = text.chars().all(|c| c.is_ascii_digit() || c == '.');
            plain.then(|| text.parse::<f64>().ok()).flatten()
        };
        let (long, short) = text.split_once(':').ok_or_else(wrong)?;
        let long = number(long).ok_or_else(wrong)?;
        let short = number(short)
            .filter(|&short| short > 0.0)
            .ok_or_else(wrong)?;
        Self::new(long / short).map_err(|_| wrong())
    }
}

/// Reads a swing as the header and the option take it: a ratio, or `off`; `None` is straight.
///
/// # Errors
/// When it is neither.
pub fn read_swing(text: &str) -> Result<Option<SwingRatio>, SwingError> {
    if text.trim().eq_ignore_ascii_case("off") {
        return Ok(None);
    }
    let ratio: SwingRatio = text.parse()?;
    Ok(Some(ratio).filter(|ratio| !ratio.is_straight()))
}

/// How far a place lies behind the beat of a quarter note before it.
pub(super) fn after_beat(at: Length) -> Length {
    Length::from_units(at.units().rem_euclid(UNITS_PER_QUARTER))
}

/// What the swing does to the places of one line.
pub(super) struct Swung {
    ratio: Option<SwingRatio>,
    /// Where each bar starts, and what of it lies before: its beats are counted from there.
    bars: Vec<(Length, Length)>,
    /// Where beats with a tuplet in them start, in units from the start of bar 1.
    tuplet_beats: HashSet<i64>,
}

impl Swung {
    pub(super) fn new(line: &Line) -> Self {
        let mut tuplet_beats = HashSet::new();
        let mut bars = Vec::with_capacity(line.bars().len());
        let mut start = Length::ZERO - line.pickup_length();
        for (index, bar) in line.bars().iter().enumerate() {
            let before = first_beat_offset(line, index, bar);
            bars.push((start, before));
            let mut at = Length::ZERO;
            for event in &bar.events {
                let within = after_beat(before + at);
                if within.units() % BINARY_UNITS != 0 {
                    tuplet_beats.insert((start + at - within).units());
                }
                at += event.length;
            }
            start += at;
        }
        Self {
            ratio: line.swing(),
            bars,
            tuplet_beats,
        }
    }

    /// True when the beat that starts there, counted from the start of bar 1, has no tuplet in it.
    pub(super) fn is_paired(&self, beat_start: Length) -> bool {
        !self.tuplet_beats.contains(&beat_start.units())
    }

    /// Where a place counted from the start of bar 1 is moved to.
    pub(super) fn place(&self, at: Length) -> Length {
        let bar = self.bars.partition_point(|&(start, _)| start <= at);
        let (start, before) = self
            .bars
            .get(bar.saturating_sub(1))
            .copied()
            .unwrap_or_default();
        let within = after_beat(at - start + before);
        let beat = at - within;
        match self.ratio {
            Some(ratio) if self.is_paired(beat) => {
                let moved = ratio.moved(within.quarters()) * UNITS_PER_QUARTER as f64;
                beat + Length::from_units(moved.round() as i64)
            }
            _ => at,
        }
    }
}
