//! What is known of a player's practice, as plain values: read from the store, used by what shows it
//! and by what plans from it. Nothing is computed here.

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::music::expected::JoinKind;
use crate::words;

/// A day where the player is, counted from 1970-01-01.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Day(pub i64);

impl Day {
    /// The day of a moment, from seconds since 1970 in universal time and the seconds that the clock
    /// where the player is runs ahead of that.
    pub fn of(unix_s: i64, ahead_s: i32) -> Self {
        Self((unix_s + i64::from(ahead_s)).div_euclid(86_400))
    }

    /// Days from `earlier` to this one; days that no calendar has are cut off, never a panic.
    pub fn since(self, earlier: Self) -> i64 {
        self.0.saturating_sub(earlier.0)
    }
}

impl std::fmt::Display for Day {
    /// As `2026-01-31`; "?" of a day that no calendar has.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let days = jiff::Span::new().try_days(self.0);
        let date = days.and_then(|days| jiff::civil::date(1970, 1, 1).checked_add(days));
        match date {
            Ok(date) => write!(f, "{date}"),
            Err(_) => f.write_str(words::UNKNOWN),
        }
    }
}

/// A moment as a player reads it: `2026-01-31 18:05`, by the clock that ran `ahead_s` before universal
/// time; "?" of one that no calendar has.
pub fn moment(unix_s: i64, ahead_s: i32) -> String {
    let local = unix_s.saturating_add(i64::from(ahead_s));
    match Timestamp::from_second(local) {
        Ok(at) => at
            .to_zoned(TimeZone::UTC)
            .strftime("%Y-%m-%d %H:%M")
            .to_string(),
        Err(_) => words::UNKNOWN.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: by `date -u -d @N`; a player two hours ahead of universal time has the next day.
    #[test]
    fn days_are_those_of_the_player() {
        assert_eq!(Day::of(951_825_600, 0).to_string(), "2000-02-29");
        assert_eq!(Day::of(951_868_799, 0).to_string(), "2000-02-29");
        assert_eq!(Day::of(951_868_799, 7200).to_string(), "2000-03-01");
        assert_eq!(Day::of(-1, 0).to_string(), "1969-12-31");
        assert_eq!(Day(i64::MAX).to_string(), "?");
        assert_eq!(moment(951_825_600, 3600), "2000-02-29 13:00");
        assert_eq!(moment(i64::MAX, 0), "?");
    }
}

/// One line that was practised.
#[derive(Clone, Debug, PartialEq)]
pub struct LineRecord {
    /// Its title, or the name of its file.
    pub title: String,
    /// The file it was last read from, from the root of the file system; `None` when it is not known.
    pub file: Option<String>,
    /// First and last bar, by their printed numbers.
    pub bars: (u32, u32),
    /// Written tempo, in quarters per minute.
    pub tempo_bpm: f64,
    /// Takes that are kept of it.
    pub takes: usize,
    /// Judged passes in them.
    pub passes: usize,
    /// Every day on which it was played, the oldest first.
    pub days: Vec<LineDay>,
    /// Its joins that were reached, in the order of the line.
    pub joins: Vec<PractisedJoin>,
}

/// One day's work on a line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineDay {
    /// Which day.
    pub day: Day,
    /// Judged passes, over any bars.
    pub passes: usize,
    /// Those that were clean.
    pub clean: usize,
    /// Passes over the whole line.
    pub whole: usize,
    /// Those that were clean.
    pub whole_clean: usize,
    /// Tempo of the fastest clean pass over the whole line, relative to the written one; `None`
    /// without one.
    pub clean_share: Option<f64>,
    /// Time that was played, in minutes.
    pub minutes: f64,
}

/// A join of a line with what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct PractisedJoin {
    /// Index of the written note before it.
    pub index: usize,
    /// Printed number of that note's bar.
    pub bar: u32,
    /// Beat of that note, from 1.
    pub beat: f64,
    /// Printed number of the bar of the note behind it.
    pub to_bar: u32,
    /// What kind of join it is; `None` where that is not known.
    pub kind: Option<JoinKind>,
    /// Every day on which it was played, the oldest first.
    pub days: Vec<JoinDay>,
}

/// What became of a join on one day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JoinDay {
    /// Which day.
    pub day: Day,
    /// How often it was played.
    pub tries: usize,
    /// How often it had a fault: a gap, or a wrong, missed, dead, early or late note behind it.
    pub faulty: usize,
    /// The first try of the day had a fault.
    pub first_faulty: bool,
    /// Mean silence in milliseconds; `None` where it could not be measured.
    pub gap_ms: Option<f64>,
    /// Fastest try without a fault, relative to the written tempo; `None` without one.
    pub clean_share: Option<f64>,
}
