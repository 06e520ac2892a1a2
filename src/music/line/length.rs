//! Written lengths and positions as exact fractions.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Sub};

/// Units to a quarter note: 2^10 * 3^2 * 5 * 7 * 11 * 13. Every length that can be written with
/// note values down to the 4096th, dots, and tuplets of 3, 5, 6, 7, 9, 11 and 13 is a whole number
/// of units, and so is a tick of every MIDI file whose resolution divides it (24, 48, 96, 120,
/// 192, 240, 384, 480, 768, 960, 1024 and 15360 ticks to the quarter do). Raising it admits
/// finer tuplets; an `i64` holds two hundred thousand million quarters of these.
pub const UNITS_PER_QUARTER: i64 = 46_126_080;

/// The longest single length or line, in quarter notes. A day at 700 quarters a minute; it keeps
/// all sums far from overflow.
pub(crate) const MAX_QUARTERS: i64 = 1_000_000;

/// A written length, or a position counted from some start, as an exact number of units.
///
/// Positions before the start (a pick-up) are negative.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct Length(i64);

impl Length {
    /// No length at all.
    pub const ZERO: Self = Self(0);
    /// A quarter note.
    pub const QUARTER: Self = Self(UNITS_PER_QUARTER);

    /// A length in units of `1 / UNITS_PER_QUARTER` of a quarter note.
    pub const fn from_units(units: i64) -> Self {
        Self(units)
    }

    /// This length in units of `1 / UNITS_PER_QUARTER` of a quarter note.
    pub const fn units(self) -> i64 {
        self.0
    }

    /// `numerator / denominator` of a whole note, exactly; `None` when the denominator is 0 or
    /// does not divide, or when it is longer than a million quarters.
    pub fn of_whole(numerator: u64, denominator: u64) -> Option<Self> {
        let units = i128::from(numerator) * i128::from(UNITS_PER_QUARTER) * 4;
        let denominator = i128::from(denominator);
        if denominator == 0 || units % denominator != 0 {
            return None;
        }
        let units = i64::try_from(units / denominator).ok()?;
        (units <= MAX_QUARTERS * UNITS_PER_QUARTER).then_some(Self(units))
    }

    /// `ticks` of a clock with `per_quarter` ticks to the quarter, to the nearest unit (exact
    /// when `per_quarter` divides `UNITS_PER_QUARTER`). `per_quarter` of 0 counts as 1.
    pub fn from_ticks(ticks: u64, per_quarter: u32) -> Self {
        let per_quarter = i128::from(per_quarter.max(1));
        let units =
            (i128::from(ticks) * i128::from(UNITS_PER_QUARTER) + per_quarter / 2) / per_quarter;
        Self(i64::try_from(units).unwrap_or(i64::MAX / 4))
    }

    /// This length in quarter notes.
    pub fn quarters(self) -> f64 {
        self.0 as f64 / UNITS_PER_QUARTER as f64
    }

    /// This length as a fraction of a whole note in lowest terms.
    pub fn fraction_of_whole(self) -> (i64, i64) {
        let whole = UNITS_PER_QUARTER * 4;
        let common = gcd(self.0.unsigned_abs(), whole.unsigned_abs()).max(1) as i64;
        (self.0 / common, whole / common)
    }

    /// The nearest multiple of `step`, which must be longer than zero; halves go up.
    pub fn rounded_to(self, step: Self) -> Self {
        let step = step.0.max(1);
        Self((self.0 + step / 2).div_euclid(step) * step)
    }

    /// True when this length is a whole multiple of `step`.
    pub fn is_multiple_of(self, step: Self) -> bool {
        step.0 != 0 && self.0 % step.0 == 0
    }

    /// True for lengths above zero.
    pub fn is_positive(self) -> bool {
        self.0 > 0
    }

    /// A quarter note cut into `parts` (at least 1), to the nearest unit.
    pub(crate) fn quarter_over(parts: i64) -> Self {
        Self(UNITS_PER_QUARTER / parts.max(1))
    }
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

impl Add for Length {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for Length {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl AddAssign for Length {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Sum for Length {
    fn sum<I: Iterator<Item = Self>>(lengths: I) -> Self {
        lengths.fold(Self::ZERO, Add::add)
    }
}

impl fmt::Display for Length {
    /// As the `.line` text writes it: `1/4`, `1/8.` with dots, `1/8t` for one of three in the
    /// time of two, any other fraction of a whole note plainly.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (numerator, denominator) = self.fraction_of_whole();
        if denominator.count_ones() == 1 {
            match numerator {
                3 if denominator >= 2 => return write!(f, "1/{}.", denominator / 2),
                7 if denominator >= 4 => return write!(f, "1/{}..", denominator / 4),
                _ => {}
            }
        } else if numerator == 1 && denominator % 3 == 0 {
            let straight = denominator / 3 * 2;
            if straight.count_ones() == 1 {
                return write!(f, "1/{straight}t");
            }
        }
        write!(f, "{numerator}/{denominator}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_are_exact() {
        let third = Length::of_whole(1, 12).unwrap();
        assert_eq!(third + third + third, Length::QUARTER);
        let fifth = Length::of_whole(1, 20).unwrap();
        assert_eq!([fifth; 5].into_iter().sum::<Length>(), Length::QUARTER);
        assert_eq!(Length::of_whole(1, 17), None);
        assert_eq!(Length::of_whole(1, 0), None);
        assert_eq!(Length::of_whole(u64::MAX, 1), None);
    }

    #[test]
    fn midi_resolutions_in_use_are_exact() {
        // Common practice of sequencers and notation programs, no source.
        for per_quarter in [
            24, 48, 96, 120, 192, 240, 384, 480, 768, 960, 1024, 1920, 15360,
        ] {
            assert_eq!(UNITS_PER_QUARTER % per_quarter, 0, "{per_quarter}");
            let tick = Length::from_ticks(1, per_quarter as u32);
            assert_eq!(Length(tick.0 * per_quarter), Length::QUARTER);
        }
    }

    #[test]
    fn lengths_are_written_as_players_say_them() {
        for (n, d, shown) in [
            (1, 4, "1/4"),
            (3, 8, "1/4."),
            (7, 16, "1/4.."),
            (1, 12, "1/8t"),
            (1, 6, "1/4t"),
            (1, 20, "1/20"),
            (5, 16, "5/16"),
            (1, 1, "1/1"),
            (3, 2, "1/1."),
            (3, 1, "3/1"),
            (2, 3, "2/3"),
            (1, 3, "1/2t"),
        ] {
            assert_eq!(Length::of_whole(n, d).unwrap().to_string(), shown);
        }
    }
}
