//! How a kept take was played, as a small file beside it: `take.wav` has `take.wav.played.json`.
//! With it a take is judged from its file as it was in the session. Written and read here alone;
//! no line and no take is opened here.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::compare::clicks::ClickedPass;

/// The number of this format; a field that changes its meaning or goes raises it.
const SCHEMA: u32 = 1;
/// What the file says it is.
const KIND: &str = "how a take was played";
/// Largest file read, in bytes: some thousand passes with all their clicks.
const BYTES_MAX: u64 = 16 << 20;

/// How a take was played.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Played {
    schema: u32,
    kind: String,
    /// The day and time at which the session began, in universal time.
    pub date: String,
    /// The line's file, from the root of the file system.
    pub line: String,
    /// What the line's file held, as [`fingerprint`] gives it.
    pub line_fingerprint: String,
    /// The part of the line's file that was asked for; `None` where it has one alone.
    #[serde(default)]
    pub part: Option<String>,
    /// First and last bar asked for, counted as played; `None` for the whole line.
    pub bars: Option<(u32, u32)>,
    /// Tempo relative to the written one, as the session began with it.
    pub tempo_share: f64,
    /// The swing asked for, as `--swing` takes it; `None` as written.
    pub swing: Option<String>,
    /// The open strings asked for, as `--tuning` takes them; `None` as written.
    pub tuning: Option<String>,
    /// Frequency of A4 in hertz.
    pub a4_hz: f64,
    /// The file of the strings, from the root of the file system.
    pub strings: Option<String>,
    /// Marks set otherwise than usual, as `--mark` takes them.
    pub marks: Vec<String>,
    /// What was clicked.
    pub click: PlayedClick,
    /// The input, and the output where there is one.
    #[serde(default)]
    pub devices: Option<String>,
    /// From a click to where it is heard, in milliseconds; `None` when it was not measured.
    pub round_trip_ms: Option<f64>,
    /// The backing track, from the root of the file system; `None` for none, and in files of before.
    #[serde(default)]
    pub backing: Option<String>,
    /// The passes that were played to a click, in order of time.
    pub clicked: Vec<PlayedPass>,
}

/// What was clicked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlayedClick {
    /// The beats, as `--click` takes them.
    pub beats: String,
    /// Clicks to a beat.
    pub parts: u8,
    /// Whether every second bar was left silent.
    pub alternate: bool,
    /// Bars before the line.
    pub count_in: u8,
}

/// A pass that was played to a click. All times are seconds of the take.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlayedPass {
    /// Notes from here on belong to it.
    pub from_s: f64,
    /// Up to here.
    pub to_s: f64,
    /// Where the line's bar 1 lies by the click.
    pub bar1_s: f64,
    /// Played seconds for each written second of the line at `tempo_share`.
    pub stretch: f64,
    /// Every click, the count-in included, as it is heard.
    pub clicks_s: Vec<f64>,
    /// First and last note of the line that were to be played, counted from 0; left out where all
    /// notes were.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notes: Option<(usize, usize)>,
}

/// Why such a file cannot be used. The message names it and says how to mend it.
#[derive(Debug, thiserror::Error)]
#[error("{path}: {what}; mend or remove it, and name what it held (--line LINE) yourself", path = .path.display())]
pub struct PlayedError {
    path: PathBuf,
    what: String,
}

impl Played {
    /// Of a session that begins; nothing was played to a click yet.
    pub fn new(
        date: String,
        line: String,
        line_bytes: &[u8],
        a4_hz: f64,
        click: PlayedClick,
    ) -> Self {
        Self {
            schema: SCHEMA,
            kind: KIND.to_owned(),
            date,
            line,
            line_fingerprint: fingerprint(line_bytes),
            part: None,
            bars: None,
            tempo_share: 1.0,
            swing: None,
            tuning: None,
            a4_hz,
            strings: None,
            marks: Vec::new(),
            click,
            devices: None,
            round_trip_ms: None,
            backing: None,
            clicked: Vec::new(),
        }
    }

    /// Takes in the clicks of a session.
    pub fn set_clicks(&mut self, clicks: &[ClickedPass]) {
        self.clicked = clicks
            .iter()
            .map(|click| PlayedPass {
                from_s: click.from_s,
                to_s: click.to_s,
                bar1_s: click.zero_s,
                stretch: click.stretch,
                clicks_s: click.clicks_s.clone(),
                notes: click.notes,
            })
            .collect();
    }

    /// What the comparator is told, against a line at `share` of the written tempo.
    pub fn clicks(&self, share: f64) -> Vec<ClickedPass> {
        let click = |pass: &PlayedPass| ClickedPass {
            from_s: pass.from_s,
            to_s: pass.to_s,
            zero_s: pass.bar1_s,
            stretch: pass.stretch * (share / self.tempo_share),
            measured: self.round_trip_ms.is_some(),
            clicks_s: pass.clicks_s.clone(),
            notes: pass.notes,
        };
        self.clicked.iter().map(click).collect()
    }

    /// Reads what stands beside the take; `None` where nothing does.
    ///
    /// # Errors
    /// When the file is there and cannot be read, or is damaged.
    pub fn beside(take: &Path) -> Result<Option<Self>, PlayedError> {
        let path = path_beside(take);
        let failed = |what: String| PlayedError {
            path: path.clone(),
            what,
        };
        let length = match std::fs::metadata(&path) {
            Ok(there) => there.len(),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(failed(format!("cannot be read ({error})"))),
        };
        if length > BYTES_MAX {
            return Err(failed(
                "is too large to say how a take was played".to_owned(),
            ));
        }
        let bytes =
            std::fs::read(&path).map_err(|error| failed(format!("cannot be read ({error})")))?;
        let played: Self = serde_json::from_slice(&bytes)
            .map_err(|error| failed(format!("does not say how the take was played ({error})")))?;
        played.check().map_err(failed)?;
        Ok(Some(played))
    }

    /// Writes it beside the take: whole, or what was there stays.
    ///
    /// # Errors
    /// When the folder or the disk refuses.
    pub fn write_beside(&self, take: &Path) -> std::io::Result<()> {
        let path = path_beside(take);
        let mut part = path.clone().into_os_string();
        part.push(".part");
        let part = PathBuf::from(part);
        let mut text = serde_json::to_string_pretty(self)?;
        text.push('\n');
        std::fs::write(&part, text)?;
        std::fs::rename(&part, &path)
    }

    fn check(&self) -> Result<(), String> {
        if self.schema != SCHEMA || self.kind != KIND {
            return Err(format!(
                "is of kind `{}`, schema {}, where `{KIND}`, {SCHEMA} is read",
                self.kind, self.schema
            ));
        }
        if !(self.tempo_share > 0.0 && self.a4_hz > 0.0) {
            return Err("has a tempo or an A4 of nothing".to_owned());
        }
        let mut before_s = f64::NEG_INFINITY;
        for (k, pass) in self.clicked.iter().enumerate() {
            let ordered = before_s <= pass.from_s && pass.from_s <= pass.to_s;
            if !ordered || pass.stretch <= 0.0 {
                return Err(format!(
                    "has passes out of order, or without a tempo: pass {}",
                    k + 1
                ));
            }
            before_s = pass.from_s;
        }
        Ok(())
    }
}

/// Where the file of a take lies.
pub fn path_beside(take: &Path) -> PathBuf {
    let mut name = OsString::from(take);
    name.push(".played.json");
    PathBuf::from(name)
}

/// Tells two files apart: 64 bits in hexadecimal digits.
///
/// # Source
/// FNV-1a (Fowler, Noll & Vo; RFC 9923). It finds a file that was changed, not one that was forged.
pub fn fingerprint(bytes: &[u8]) -> String {
    let hash = bytes.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    });
    format!("{hash:016x}")
}

/// A moment as `2026-01-31 18:05:09`, universal time, from seconds since 1970.
///
/// # Source
/// The proleptic Gregorian calendar counted from the first of March (Howard Hinnant, *chrono-
/// compatible low-level date algorithms*, from memory).
pub fn date(unix_s: u64) -> String {
    let (days, seconds) = (unix_s / 86_400, unix_s % 86_400);
    let day = days + 719_468;
    let (era, of_era) = (day / 146_097, day % 146_097);
    let year_of_era = (of_era - of_era / 1_460 + of_era / 36_524 - of_era / 146_096) / 365;
    let of_year = of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let from_march = (5 * of_year + 2) / 153;
    let month = if from_march < 10 {
        from_march + 3
    } else {
        from_march - 9
    };
    format!(
        "{:04}-{month:02}-{:02} {:02}:{:02}:{:02}",
        year_of_era + 400 * era + u64::from(month <= 2),
        of_year - (153 * from_march + 2) / 5 + 1,
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn played() -> Played {
        let click = PlayedClick {
            beats: "all".to_owned(),
            parts: 1,
            alternate: false,
            count_in: 1,
        };
        let mut played = Played::new(date(0), "/a.line".to_owned(), b"line", 440.0, click);
        played.tempo_share = 0.8;
        played.set_clicks(&[ClickedPass {
            from_s: 1.25,
            to_s: 9.123_457,
            zero_s: -3.2,
            stretch: 0.941_176_471,
            measured: false,
            clicks_s: vec![0.1, 0.7],
            notes: Some((3, 6)),
        }]);
        played
    }

    #[test]
    fn what_was_written_is_read_again_and_damage_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let take = folder.path().join("take.wav");
        assert_eq!(Played::beside(&take).unwrap(), None);
        let wanted = played();
        wanted.write_beside(&take).unwrap();
        assert_eq!(Played::beside(&take).unwrap(), Some(wanted.clone()));
        assert_eq!(wanted.clicks(0.8)[0].stretch, 0.941_176_471);
        assert_eq!(wanted.clicks(0.4)[0].stretch, 0.941_176_471 * 0.5);
        let text = std::fs::read_to_string(path_beside(&take)).unwrap();
        for damaged in [
            text[..text.len() / 2].to_owned(),
            text.replace("\"schema\": 1", "\"schema\": 2"),
            text.replace("\"stretch\": 0", "\"stretch\": -1"),
            text.replace("\"a4_hz\": 440.0", "\"a4_hz\": 0.0"),
        ] {
            assert_ne!(damaged, text);
            std::fs::write(path_beside(&take), &damaged).unwrap();
            let error = Played::beside(&take).unwrap_err().to_string();
            assert!(error.contains("take.wav.played.json"), "{error}");
        }
    }

    /// Published: the test vectors of FNV-1a, 64 bits (RFC 9923); dates by `date -u -d @N`.
    #[test]
    fn fingerprints_and_dates() {
        assert_eq!(fingerprint(b""), "cbf29ce484222325");
        assert_eq!(fingerprint(b"a"), "af63dc4c8601ec8c");
        assert_eq!(fingerprint(b"foobar"), "85944171f73967e8");
        assert_eq!(date(0), "1970-01-01 00:00:00");
        assert_eq!(date(951_782_399), "2000-02-28 23:59:59");
        assert_eq!(date(951_825_600), "2000-02-29 12:00:00");
        assert_eq!(date(1_735_689_599), "2024-12-31 23:59:59");
    }
}
