//! What day and time it is, here and for the record. The one place that asks the system.

use std::path::Path;
use std::time::SystemTime;

use jiff::Timestamp;
use jiff::tz::TimeZone;

use crate::progress::record::Day;

/// Sets the time instead of the system, in seconds since 1970: for scripts that try out another day.
const NOW: &str = "SEAMLINE_NOW";

/// The time now, in seconds since 1970, universal time.
pub(super) fn now_s() -> i64 {
    let set = std::env::var(NOW)
        .ok()
        .and_then(|text| text.trim().parse().ok());
    set.unwrap_or_else(|| seconds(SystemTime::now()))
}

/// When a file was last written, in seconds since 1970; `None` where the system does not say.
pub(super) fn written_s(path: &Path) -> Option<i64> {
    let there = std::fs::metadata(path).ok()?;
    there.modified().ok().map(seconds)
}

/// How far the clock here ran ahead of universal time at a moment, in seconds.
pub(super) fn ahead_s(unix_s: i64) -> i32 {
    let at = Timestamp::from_second(unix_s).unwrap_or(Timestamp::UNIX_EPOCH);
    TimeZone::system().to_offset(at).seconds()
}

/// The day of today, where the player is.
pub(super) fn today() -> Day {
    let now = now_s();
    Day::of(now, ahead_s(now))
}

/// A moment that the file beside a take tells (`2026-01-31 18:05:09`, universal time), in seconds since
/// 1970; `None` of what is no such moment.
pub(super) fn told_s(text: &str) -> Option<i64> {
    let moment: jiff::civil::DateTime = text.replacen(' ', "T", 1).parse().ok()?;
    let zoned = moment.to_zoned(TimeZone::UTC).ok()?;
    Some(zoned.timestamp().as_second())
}

fn seconds(time: SystemTime) -> i64 {
    match time.duration_since(SystemTime::UNIX_EPOCH) {
        Ok(since) => i64::try_from(since.as_secs()).unwrap_or(i64::MAX),
        Err(before) => -i64::try_from(before.duration().as_secs()).unwrap_or(i64::MAX),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: by `date -u -d @N`.
    #[test]
    fn moments_are_read() {
        assert_eq!(told_s("2000-02-29 12:00:00"), Some(951_825_600));
        assert_eq!(told_s("2024-12-31 23:59:59"), Some(1_735_689_599));
        assert_eq!(told_s("yesterday"), None);
    }
}
