//! What can be wrong with a line, whatever it was read from.

use super::length::{Length, MAX_QUARTERS};
use super::meter::Meter;
use super::model::{MAX_CHORD_NOTES, MAX_GRACES};
use super::signs::MAX_TIMES;
use super::tempo::TempoError;
use crate::music::expected::Place;

/// A fault of a line, with the place where it was found.
#[derive(Clone, Debug, PartialEq)]
pub struct LineFault {
    /// The bar's place in the line, from 0.
    pub bar_index: Option<usize>,
    /// The bar's number, as the player counts.
    pub bar: Option<u32>,
    /// The event's place in the bar, from 0.
    pub event: Option<usize>,
    /// What is wrong.
    pub kind: FaultKind,
}

impl std::fmt::Display for LineFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.bar {
            Some(bar) => write!(f, "bar {bar}: {}", self.kind),
            None => write!(f, "{}", self.kind),
        }
    }
}

impl std::error::Error for LineFault {}

/// What is wrong with a line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FaultKind {
    /// No note anywhere.
    #[error("the line has no notes; write at least one")]
    NoNotes,
    /// Longer than a million quarters.
    #[error("the line is too long; it may have up to {MAX_QUARTERS} quarter notes")]
    TooLong,
    /// An event without length.
    #[error("a note or rest has no length")]
    NoLength,
    /// A bar holds more than its meter.
    #[error("the bar holds {} beats, {} too many for {meter}; shorten or remove {}", beats(*found, *meter), beats(*found - meter.bar_length(), *meter), *found - meter.bar_length())]
    BarTooLong {
        /// What it holds.
        found: Length,
        /// Its meter.
        meter: Meter,
    },
    /// A bar holds less than its meter.
    #[error("the bar holds {} beats, {} too few for {meter}; add notes or rests for {}", beats(*found, *meter), beats(meter.bar_length() - *found, *meter), meter.bar_length() - *found)]
    BarTooShort {
        /// What it holds.
        found: Length,
        /// Its meter.
        meter: Meter,
    },
    /// A pick-up that fills a bar or more.
    #[error("the pick-up holds {} beats, a full bar of {meter} or more; make it an ordinary bar", beats(*found, *meter))]
    PickupTooLong {
        /// What it holds.
        found: Length,
        /// Its meter.
        meter: Meter,
    },
    /// A bar said to be short that is not.
    #[error("the bar is said to be short but holds {} beats, a full bar of {meter} or more; make it an ordinary bar", beats(*found, *meter))]
    ShortBarFull {
        /// What it holds.
        found: Length,
        /// Its meter.
        meter: Meter,
    },
    /// A grace note before a rest or a hold.
    #[error("a grace note stands before a note, not before a rest or a hold")]
    GraceWithoutNote,
    /// More grace notes than anyone plays.
    #[error("{given} grace notes before one note; at most {MAX_GRACES} are allowed")]
    TooManyGraces {
        /// How many.
        given: usize,
    },
    /// An ending that does not lead back.
    #[error("another ending follows, but this one does not lead back; end it with :| or a jump")]
    EndingWithoutRepeat,
    /// A section that is played too often or not at all.
    #[error(
        "a section cannot be played for the time {given}; endings count from 1, repeats from 2 to {MAX_TIMES} in all"
    )]
    Times {
        /// The time or the number of times.
        given: u8,
    },
    /// D.S. without a segno.
    #[error("D.S. has no segno to go to; write `segno` at the head of a bar")]
    NoSegno,
    /// *al fine* without a *fine*.
    #[error("`al fine` has no end to go to; write `fine` at the end of a bar")]
    NoFine,
    /// *al coda* without a *to coda*.
    #[error("`al coda` has no place to leave from; write `to-coda` at the end of a bar")]
    NoToCoda,
    /// *To coda* without a coda after it.
    #[error("`to-coda` has no coda after it; write `coda` at the head of a bar behind it")]
    NoCoda,
    /// Too many bars with the repeats played out.
    #[error("with its repeats played out the line has more than {limit} bars; cut it into parts")]
    TooManyBarsPlayed {
        /// The limit.
        limit: usize,
    },
    /// Too many notes and rests with the repeats played out.
    #[error(
        "with its repeats played out the line has more than {limit} notes and rests; cut it into parts"
    )]
    TooManyEventsPlayed {
        /// The limit.
        limit: usize,
    },
    /// A tie with no note to hold.
    #[error(
        "there is no note to hold here; a hold follows a note, not a rest or the start of the line"
    )]
    NothingToHold,
    /// A slur or slide from nowhere.
    #[error(
        "a slur or slide needs a sounding note to come from, not a rest or the start of the line"
    )]
    NothingToSlurFrom,
    /// A chord without notes or with too many.
    #[error("{given} notes at once; 1 to {MAX_CHORD_NOTES} are allowed")]
    ChordSize {
        /// How many.
        given: usize,
    },
    /// The same pitch twice in a chord.
    #[error("the same pitch stands twice in one chord; remove one")]
    ChordSamePitch,
    /// A chord that needs one string twice.
    #[error("the notes of this chord cannot be played together: each needs a string of its own")]
    ChordUnplayable,
    /// A note the instrument does not have.
    #[error(
        "{note} cannot be played on this instrument, which goes from {range}; choose another octave or change the tuning"
    )]
    Unplayable {
        /// The note.
        note: String,
        /// The instrument's lowest and highest note, its open strings and its frets.
        range: String,
    },
    /// A place off the neck.
    #[error("the instrument has no string {} fret {}; it has {strings} strings (1 is the thinnest) and {frets} frets", place.string, place.fret)]
    NoSuchPlace {
        /// The place.
        place: Place,
        /// The strings there are.
        strings: u8,
        /// The frets there are.
        frets: u8,
    },
    /// A place that gives another pitch.
    #[error("string {} fret {} gives {found}, not {note}; correct the one or the other", place.string, place.fret)]
    PlaceGivesOther {
        /// The place.
        place: Place,
        /// What it gives.
        found: String,
        /// What is written.
        note: String,
    },
    /// A finger that is none.
    #[error("finger {given}; fingers are 1 (index) to 4 (little)")]
    Finger {
        /// The finger.
        given: u8,
    },
    /// A finger without a fret to stop.
    #[error("a finger needs a fret: give string and fret, and no finger for an open string")]
    FingerWithoutFret,
    /// A chord symbol or tempo beyond the bar.
    #[error("a chord symbol or tempo stands beyond the end of the bar")]
    MarkOutside,
    /// Two chord symbols or two tempos at one place.
    #[error("two chord symbols or two tempos stand at the same place; keep one")]
    MarksCollide,
    /// A swing over bars that are not counted in quarters.
    #[error(
        "swing needs bars counted in quarters, and a bar of {meter} is not; write `swing: off`, or leave the swing out and write the long and the short notes"
    )]
    SwingMeter {
        /// The meter.
        meter: Meter,
    },
    /// A tempo out of range after scaling.
    #[error(transparent)]
    Tempo(#[from] TempoError),
    /// A range of bars the line does not have.
    #[error("bars {from}-{to} were asked for; the line has bars {first} to {last}")]
    NoSuchBars {
        /// First bar asked for.
        from: u32,
        /// Last bar asked for.
        to: u32,
        /// First bar there is.
        first: u32,
        /// Last bar there is.
        last: u32,
    },
}

impl FaultKind {
    /// True for faults of the way through the line that a sign elsewhere might mend.
    pub(super) fn is_of_signs(&self) -> bool {
        matches!(
            self,
            Self::EndingWithoutRepeat
                | Self::NoSegno
                | Self::NoFine
                | Self::NoToCoda
                | Self::NoCoda
        )
    }

    /// A fault of the whole line.
    pub(crate) fn anywhere(self) -> LineFault {
        LineFault {
            bar_index: None,
            bar: None,
            event: None,
            kind: self,
        }
    }
}

/// A count of beats as a player says it: `3`, `2 1/2`.
fn beats(length: Length, meter: Meter) -> String {
    let unit = meter.beat_length().units();
    let whole = length.units() / unit;
    let part = Length::from_units((length.units() % unit) * i64::from(meter.unit()));
    let (numerator, denominator) = part.fraction_of_whole();
    match (whole, numerator) {
        (_, 0) => format!("{whole}"),
        (0, _) => format!("{numerator}/{denominator}"),
        _ => format!("{whole} {numerator}/{denominator}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beats_are_counted_in_the_meters_unit() {
        let length = |n, d| Length::of_whole(n, d).unwrap();
        let four: Meter = "4/4".parse().unwrap();
        let six: Meter = "6/8".parse().unwrap();
        assert_eq!(beats(length(7, 8), four), "3 1/2");
        assert_eq!(beats(length(1, 12), four), "1/3");
        assert_eq!(beats(length(3, 4), four), "3");
        assert_eq!(beats(length(5, 8), six), "5");
        assert_eq!(beats(length(1, 16), six), "1/2");
    }
}
