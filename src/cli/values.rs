//! The values that options take, read from their text and checked.

use std::str::FromStr;

use crate::compare::marks::Marks;
use crate::music::instrument::Tuning;
use crate::music::line::{Line, LineFault, SwingRatio, Tempo, read_swing};

/// A tempo, absolute or relative to the written one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum TempoChoice {
    /// Beats per minute, in the line's own beat.
    Bpm(f64),
    /// A share of the written tempo: 1 leaves it.
    Share(f64),
}

impl FromStr for TempoChoice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (digits, percent) = match text.trim().strip_suffix('%') {
            Some(digits) => (digits, true),
            None => (text, false),
        };
        let value = number(digits).filter(|value| *value > 0.0).ok_or(
            "a tempo is a number above 0, in beats per minute (`96`) or per cent of the written \
             one (`80%`)",
        )?;
        Ok(if percent {
            Self::Share(value / 100.0)
        } else {
            Self::Bpm(value)
        })
    }
}

/// Bars from one to another, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct BarChoice {
    /// The first; 0 is the pick-up.
    pub(super) from: u32,
    /// The last, not below the first.
    pub(super) to: u32,
    /// True for numbers counted as played, false for those that are printed.
    as_played: bool,
}

impl BarChoice {
    /// Bars numbered as they are played, as a kept take knows them.
    pub(super) fn as_played((from, to): (u32, u32)) -> Self {
        Self {
            from,
            to,
            as_played: true,
        }
    }

    /// Only these bars of the line.
    pub(super) fn cut(self, line: &Line) -> Result<Line, LineFault> {
        if self.as_played {
            line.played_range(self.from..=self.to)
        } else {
            line.bars_range(self.from..=self.to)
        }
    }

    /// The stretches in which they are played, counted as played; at least one.
    pub(super) fn played_in(self, line: &Line) -> Result<Vec<(u32, u32)>, LineFault> {
        if self.as_played {
            return Ok(vec![(self.from, self.to)]);
        }
        let stretches = line.stretches(self.from..=self.to)?;
        Ok(stretches
            .iter()
            .map(|all| (*all.start(), *all.end()))
            .collect())
    }
}

impl FromStr for BarChoice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (from, to) = text.split_once('-').unwrap_or((text, text));
        let bar = |text: &str| text.trim().parse::<u32>().ok();
        match (bar(from), bar(to)) {
            (Some(from), Some(to)) if from <= to => Ok(Self {
                from,
                to,
                as_played: false,
            }),
            (Some(from), Some(to)) => Err(format!(
                "bar {from} comes after bar {to}; did you mean `{to}-{from}`?"
            )),
            _ => Err("bars are two numbers (`3-4`) or one (`3`); a pick-up is bar 0".into()),
        }
    }
}

/// How the eighths are played; `None` is straight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SwingChoice(pub(super) Option<SwingRatio>);

impl FromStr for SwingChoice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let swing = read_swing(text).map_err(|error| error.to_string())?;
        Ok(Self(swing))
    }
}

/// The open strings of an instrument, as the header of a line gives them.
pub(super) fn tuning(text: &str) -> Result<Tuning, String> {
    text.parse::<Tuning>().map_err(|error| error.to_string())
}

/// The frequency of A4 in hertz.
pub(super) fn a4(text: &str) -> Result<f64, String> {
    number(text)
        .filter(|hz| (A4_MIN_HZ..=A4_MAX_HZ).contains(hz))
        .ok_or_else(|| format!("A4 is a frequency from {A4_MIN_HZ} to {A4_MAX_HZ} Hz"))
}

/// Lowest A4 taken, in hertz: the low pitch of early music. Common practice, no source.
const A4_MIN_HZ: f64 = 415.0;
/// Highest A4 taken, in hertz: the high pitch of the baroque organs. Common practice, no source.
const A4_MAX_HZ: f64 = 466.0;

/// A tempo in quarter notes a minute.
pub(super) fn quarters(text: &str) -> Result<Tempo, String> {
    let bpm: f64 = text
        .trim()
        .parse()
        .map_err(|_| "a tempo is a number of quarter notes a minute, as in `90`")?;
    Tempo::quarters(bpm).map_err(|error| error.to_string())
}

/// A share in per cent.
pub(super) fn percent(text: &str) -> Result<f64, String> {
    let digits = text.trim().strip_suffix('%').unwrap_or(text);
    number(digits)
        .filter(|percent| (0.0..=100.0).contains(percent))
        .ok_or_else(|| "a share is a number from 0 to 100, in per cent".to_owned())
}

/// A tempo relative to the written one, from 10 to 200 per cent, as a share.
pub(super) fn share(text: &str) -> Result<f64, String> {
    let digits = text.trim().strip_suffix('%').unwrap_or(text);
    number(digits)
        .filter(|percent| (10.0..=200.0).contains(percent))
        .map(|percent| percent / 100.0)
        .ok_or_else(|| {
            "a tempo is a number from 10 to 200, in per cent of the written one".to_owned()
        })
}

/// Any share above nothing, in per cent.
pub(super) fn above_nothing(text: &str) -> Result<f64, String> {
    let digits = text.trim().strip_suffix('%').unwrap_or(text);
    number(digits)
        .filter(|percent| *percent > 0.0)
        .ok_or_else(|| "this is a number above 0, in per cent (`90` or `90%`)".to_owned())
}

/// One of the marks with a value of one's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct MarkChoice {
    mark: &'static Mark,
    value: f64,
}

/// A mark by name, as the report calls it.
#[derive(Debug)]
struct Mark {
    name: &'static str,
    max: f64,
    of: fn(&mut Marks) -> &mut f64,
}

impl PartialEq for Mark {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

/// All marks a player may set. The upper ends only keep typing mistakes out: ten seconds, an
/// octave, the range of 16 bits.
const MARKS: [Mark; 20] = [
    Mark {
        name: "timing_ms",
        max: 10_000.0,
        of: |marks| &mut marks.timing_ms,
    },
    Mark {
        name: "gap_ms",
        max: 10_000.0,
        of: |marks| &mut marks.gap_ms,
    },
    Mark {
        name: "gap_depth_db",
        max: 96.0,
        of: |marks| &mut marks.gap_depth_db,
    },
    Mark {
        name: "gap_over_baseline_ms",
        max: 10_000.0,
        of: |marks| &mut marks.gap_over_baseline_ms,
    },
    Mark {
        name: "gap_floor_ms",
        max: 10_000.0,
        of: |marks| &mut marks.gap_floor_ms,
    },
    Mark {
        name: "gap_clear_ms",
        max: 10_000.0,
        of: |marks| &mut marks.gap_clear_ms,
    },
    Mark {
        name: "wrong_cents",
        max: 1_200.0,
        of: |marks| &mut marks.wrong_cents,
    },
    Mark {
        name: "unclear_cents",
        max: 1_200.0,
        of: |marks| &mut marks.unclear_cents,
    },
    Mark {
        name: "out_of_tune_cents",
        max: 1_200.0,
        of: |marks| &mut marks.out_of_tune_cents,
    },
    Mark {
        name: "dead_fall_db",
        max: 96.0,
        of: |marks| &mut marks.dead_fall_db,
    },
    Mark {
        name: "dead_floor_db",
        max: 96.0,
        of: |marks| &mut marks.dead_floor_db,
    },
    Mark {
        name: "dead_from_ms",
        max: 10_000.0,
        of: |marks| &mut marks.dead_from_ms,
    },
    Mark {
        name: "clipped_share",
        max: 1.0,
        of: |marks| &mut marks.clipped_share,
    },
    Mark {
        name: "clipped_short_ms",
        max: 10_000.0,
        of: |marks| &mut marks.clipped_short_ms,
    },
    Mark {
        name: "bleed_below_db",
        max: 96.0,
        of: |marks| &mut marks.bleed_below_db,
    },
    Mark {
        name: "bleed_ms",
        max: 10_000.0,
        of: |marks| &mut marks.bleed_ms,
    },
    Mark {
        name: "bleed_slight_below_db",
        max: 96.0,
        of: |marks| &mut marks.bleed_slight_below_db,
    },
    Mark {
        name: "loud_db",
        max: 96.0,
        of: |marks| marks.loud_db.get_or_insert(0.0),
    },
    Mark {
        name: "soft_db",
        max: 96.0,
        of: |marks| marks.soft_db.get_or_insert(0.0),
    },
    Mark {
        name: "buzz_nats",
        max: 100.0,
        of: |marks| marks.buzz_nats.get_or_insert(0.0),
    },
];

impl std::fmt::Display for MarkChoice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}={}", self.mark.name, self.value)
    }
}

impl MarkChoice {
    /// Sets it in `marks`.
    pub(super) fn apply(self, marks: &mut Marks) {
        *(self.mark.of)(marks) = self.value;
    }
}

impl FromStr for MarkChoice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let names = || MARKS.map(|mark| mark.name).join(", ");
        let (name, value) = text
            .split_once('=')
            .ok_or_else(|| format!("a mark is NAME=VALUE, the name one of {}", names()))?;
        let name = name.trim().replace('-', "_");
        let mark = MARKS
            .iter()
            .find(|mark| mark.name == name)
            .ok_or_else(|| format!("there is no mark `{name}`; there are {}", names()))?;
        let value = number(value)
            .filter(|value| (0.0..=mark.max).contains(value))
            .ok_or_else(|| format!("{} is a number from 0 to {}", mark.name, mark.max))?;
        Ok(Self { mark, value })
    }
}

/// A finite number, a comma taken as the point.
pub(super) fn number(text: &str) -> Option<f64> {
    let value: f64 = text.trim().replace(',', ".").parse().ok()?;
    value.is_finite().then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tempos() {
        assert_eq!("96".parse(), Ok(TempoChoice::Bpm(96.0)));
        assert_eq!("96,5".parse(), Ok(TempoChoice::Bpm(96.5)));
        assert_eq!("80%".parse(), Ok(TempoChoice::Share(0.8)));
        for wrong in ["0", "-3", "0%", "%", "", "fast", "inf", "NaN", "1e999"] {
            assert!(wrong.parse::<TempoChoice>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn bars() {
        let printed = |from, to| BarChoice {
            from,
            to,
            as_played: false,
        };
        assert_eq!("3-4".parse(), Ok(printed(3, 4)));
        assert_eq!("0".parse(), Ok(printed(0, 0)));
        let turned = "5-3".parse::<BarChoice>().expect_err("turned round");
        assert!(turned.contains("3-5"), "{turned}");
        for wrong in ["", "-", "3-", "-3", "a-b", "1-2-3", "99999999999"] {
            assert!(wrong.parse::<BarChoice>().is_err(), "{wrong}");
        }
    }

    /// Each name must change its own mark and no other.
    #[test]
    fn every_mark_can_be_set() {
        for mark in &MARKS {
            let mut marks = Marks::default();
            let choice: MarkChoice = format!("{}=0.25", mark.name).parse().expect(mark.name);
            choice.apply(&mut marks);
            // A mark that is off by default is an option.
            let told = format!("{marks:?}").replace("Some(0.25)", "0.25");
            assert!(told.contains(&format!("{}: 0.25", mark.name)), "{told}");
            assert_eq!(told.matches("0.25").count(), 1, "{told}");
        }
        assert!("gap-ms=50".parse::<MarkChoice>().is_ok());
        for wrong in [
            "gap_ms",
            "gap_ms=",
            "gap_ms=-1",
            "gap_ms=NaN",
            "gaps=3",
            "clipped_share=2",
        ] {
            assert!(wrong.parse::<MarkChoice>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn tunings_and_pitches() {
        assert_eq!(tuning("5"), Ok(Tuning::bass5()));
        assert_eq!(tuning("6-string"), Ok(Tuning::bass6()));
        assert_eq!(tuning("E1 A1 D2 G2"), Ok(Tuning::bass4()));
        assert_eq!(tuning("guitar"), Ok(Tuning::guitar()));
        assert!(tuning("7").is_err());
        assert_eq!(a4("442"), Ok(442.0));
        assert!(a4("44").is_err());
        assert_eq!(percent("95%"), Ok(95.0));
        assert!(percent("101").is_err());
    }
}
