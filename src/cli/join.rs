//! A join as it is named on the command line: by the bar and beat of the note before it.

use std::str::FromStr;

/// The note before a join, by the printed number of its bar and its beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct JoinChoice {
    pub(super) bar: u32,
    pub(super) beat: f64,
}

impl FromStr for JoinChoice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts = text.split_once(':');
        let bar = parts.and_then(|(bar, _)| bar.trim().parse().ok());
        let beat = parts.and_then(|(_, beat)| beat.trim().parse().ok());
        let beat = beat.filter(|beat: &f64| beat.is_finite() && *beat >= 1.0);
        match (bar, beat) {
            (Some(bar), Some(beat)) => Ok(Self { bar, beat }),
            _ => Err(
                "a join is named by the bar and beat of the note before it, as in `2:4.5`".into(),
            ),
        }
    }
}
