//! Meters: how many beats a bar has, and of which length.

use std::fmt;
use std::str::FromStr;

use super::length::{Length, UNITS_PER_QUARTER};

/// Most beats in a bar.
pub const MAX_BEATS: u8 = 64;

/// Shortest beat unit: the 64th note.
pub const MAX_BEAT_UNIT: u8 = 64;

/// A meter, such as 4/4 or 12/8.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Meter {
    beats: u8,
    unit: u8,
}

/// What is not a meter.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "`{given}` is not a meter; the beats are 1 to {MAX_BEATS} and the beat unit is 1, 2, 4, 8, 16, 32 or {MAX_BEAT_UNIT}, for example 4/4 or 6/8"
)]
pub struct MeterError {
    /// What was given.
    pub given: String,
}

impl Default for Meter {
    /// 4/4, the meter of a line that names none (and of a MIDI file, by SMF 1.0).
    fn default() -> Self {
        Self { beats: 4, unit: 4 }
    }
}

impl Meter {
    /// A meter of `beats` (1 to 64) notes of a `unit`-th (a power of two, 1 to 64).
    ///
    /// # Errors
    /// When either is outside its range; 0/4 and 4/0 are.
    pub fn new(beats: u8, unit: u8) -> Result<Self, MeterError> {
        if !(1..=MAX_BEATS).contains(&beats) || unit > MAX_BEAT_UNIT || !unit.is_power_of_two() {
            return Err(MeterError {
                given: format!("{beats}/{unit}"),
            });
        }
        Ok(Self { beats, unit })
    }

    /// Beats in a bar, in beat units.
    pub fn beats(self) -> u8 {
        self.beats
    }

    /// The beat unit: 4 for quarters, 8 for eighths.
    pub fn unit(self) -> u8 {
        self.unit
    }

    /// The length of one beat unit.
    pub fn beat_length(self) -> Length {
        // 4 quarters to the whole; the unit is a power of two up to 64, so this is exact.
        Length::from_units(UNITS_PER_QUARTER * 4 / i64::from(self.unit))
    }

    /// The length of a full bar.
    pub fn bar_length(self) -> Length {
        Length::from_units(self.beat_length().units() * i64::from(self.beats))
    }

    /// True when a bar is a whole number of quarter notes counted as such or in halves and wholes:
    /// 3/4 and 2/2 are, 6/8 and 7/8 are not.
    pub fn is_in_quarters(self) -> bool {
        self.unit <= 4
    }

    /// How many beat units `length` is.
    pub fn beats_in(self, length: Length) -> f64 {
        length.units() as f64 / self.beat_length().units() as f64
    }
}

/// The meter of a bar of that length, counted in `unit`-ths or the next finer ones.
pub(super) fn meter_of(length: Length, unit: u8) -> Option<Meter> {
    let mut unit = unit.max(1);
    while unit <= 64 {
        let beat = Length::of_whole(1, u64::from(unit))?;
        if length.is_positive() && length.is_multiple_of(beat) {
            let beats = u8::try_from(length.units() / beat.units()).ok()?;
            return Meter::new(beats, unit).ok();
        }
        unit = unit.checked_mul(2)?;
    }
    None
}

impl fmt::Display for Meter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.beats, self.unit)
    }
}

impl FromStr for Meter {
    type Err = MeterError;
    fn from_str(text: &str) -> Result<Self, MeterError> {
        let wrong = || MeterError {
            given: text.trim().to_owned(),
        };
        let (beats, unit) = text.trim().split_once('/').ok_or_else(wrong)?;
        let beats = beats.trim().parse().map_err(|_| wrong())?;
        let unit = unit.trim().parse().map_err(|_| wrong())?;
        Self::new(beats, unit).map_err(|_| wrong())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_are_as_long_as_their_meters_say() {
        for (text, quarters) in [
            ("4/4", 4.0),
            ("3/4", 3.0),
            ("2/4", 2.0),
            ("6/8", 3.0),
            ("12/8", 6.0),
            ("2/2", 4.0),
        ] {
            let meter: Meter = text.parse().unwrap();
            assert_eq!(meter.bar_length().quarters(), quarters);
            assert_eq!(meter.to_string(), text);
            assert_eq!(meter.beats_in(meter.bar_length()), f64::from(meter.beats()));
        }
    }

    #[test]
    fn what_is_no_meter_is_refused() {
        for text in [
            "0/4", "4/0", "4/3", "65/4", "4", "4/", "-4/4", "4/128", "x/4",
        ] {
            assert!(text.parse::<Meter>().is_err(), "{text}");
        }
    }
}
