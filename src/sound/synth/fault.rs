//! Faults put into a performance on purpose, and how they are spelled.
//!
//! A fault is `KIND:SPOT:AMOUNT`, several are parted by commas or spaces. A spot is a bar and a
//! beat, `3.2` or `3.2.5` for beat 2.5, or the number of a note from 1, `#7`.
//!
//! | spelled | what happens |
//! |---|---|
//! | `wrong:3.2:+1` | the note is played this many semitones off |
//! | `missed:3.2` | it is not played |
//! | `extra:3.2:-2` | half-way to the next note another one is plucked, this many semitones off |
//! | `early:3.2:60`, `late:3.2:60` | it comes this many milliseconds too soon or too late |
//! | `gap:3.2:80` | it ends this many milliseconds before the next one |
//! | `clipped:3.2:120` | it ends this many milliseconds before its time |
//! | `dead:3.2` | it is choked |
//! | `sharp:3.2:25`, `flat:3.2:25` | it is this many cents out of tune |
//! | `ringing:3.2:-10` | it rings on after its time at this level in decibels |
//! | `open:3.2:4:-20` | with it open string 4 sounds at this level against it |
//! | `drift:4` | the tempo falls steadily by this many percent; negative: it rises |

use std::str::FromStr;

/// Where a fault is put.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spot {
    /// The first note that starts at this bar and beat, both from 1 (bar 0 is a pick-up).
    Beat {
        /// The bar.
        bar: u32,
        /// The beat.
        beat: f64,
    },
    /// The note with this number, from 1.
    Note(usize),
}

impl std::fmt::Display for Spot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Beat { bar, beat } => write!(f, "bar {bar}, beat {beat}"),
            Self::Note(number) => write!(f, "note {number}"),
        }
    }
}

/// What goes wrong. The ranges of the amounts are those of [`parse_faults`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(
    missing_docs,
    reason = "every field is a spot or an amount named in the line above it"
)]
pub enum Fault {
    /// Played semitones off.
    Wrong { at: Spot, semitones: i32 },
    /// Not played.
    Missed { at: Spot },
    /// Half-way to the next note another is plucked, semitones off this one.
    Extra { at: Spot, semitones: i32 },
    /// Milliseconds too soon.
    Early { at: Spot, ms: f64 },
    /// Milliseconds too late.
    Late { at: Spot, ms: f64 },
    /// Ends milliseconds before the next note.
    Gap { at: Spot, ms: f64 },
    /// Ends milliseconds before its time.
    Clipped { at: Spot, ms: f64 },
    /// Choked.
    Dead { at: Spot },
    /// Cents too high.
    Sharp { at: Spot, cents: f64 },
    /// Cents too low.
    Flat { at: Spot, cents: f64 },
    /// Rings on after its time, at a level in decibels against itself.
    LeftRinging { at: Spot, db: f64 },
    /// An open string sounds with it, at a level in decibels against it.
    OpenString { at: Spot, string: u8, db: f64 },
    /// The tempo falls steadily, by percent from the first note to the last.
    Drift { percent: f64 },
}

/// Why a fault cannot be read or put in. Each message quotes the fault and says what is allowed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FaultError {
    /// The kind is unknown.
    #[error("\"{text}\": there is no fault \"{kind}\"; known are {}", KINDS.map(|k| k.0).join(", "))]
    Kind {
        /// The fault as given.
        text: String,
        /// Its first word.
        kind: String,
    },
    /// It has too many or too few parts.
    #[error("\"{text}\": write it as {form}")]
    Parts {
        /// The fault as given.
        text: String,
        /// How this kind is written.
        form: &'static str,
    },
    /// The spot cannot be read.
    #[error("\"{text}\": \"{spot}\" is no spot; write bar and beat as 3.2, or a note as #7")]
    Spot {
        /// The fault as given.
        text: String,
        /// Its spot.
        spot: String,
    },
    /// The interval cannot be read or is out of range.
    #[error("\"{text}\": \"{amount}\" is no whole number of semitones from -24 to 24, but not 0")]
    Semitones {
        /// The fault as given.
        text: String,
        /// Its amount.
        amount: String,
    },
    /// The amount cannot be read or is out of range.
    #[error("\"{text}\": \"{amount}\" is no number from {low} to {high}")]
    Amount {
        /// The fault as given.
        text: String,
        /// Its amount.
        amount: String,
        /// The least that is allowed.
        low: f64,
        /// The most that is allowed.
        high: f64,
    },
    /// No note starts at the spot.
    #[error("no note starts at {spot}; the line has {notes} notes, up to bar {last_bar}")]
    Nowhere {
        /// The spot.
        spot: Spot,
        /// Notes in the line.
        notes: usize,
        /// Its last bar.
        last_bar: u32,
    },
    /// The string that should ring is needed for a note.
    #[error("{spot}: string {string} is plucked for a note and cannot ring along; choose another")]
    StringInUse {
        /// The string.
        string: u8,
        /// The spot.
        spot: Spot,
    },
}

/// Kinds and how each is written.
const KINDS: [(&str, &str); 13] = [
    ("wrong", "wrong:BAR.BEAT:SEMITONES, as wrong:3.2:+1"),
    ("missed", "missed:BAR.BEAT, as missed:3.2"),
    ("extra", "extra:BAR.BEAT:SEMITONES, as extra:3.2:-2"),
    ("early", "early:BAR.BEAT:MILLISECONDS, as early:3.2:60"),
    ("late", "late:BAR.BEAT:MILLISECONDS, as late:3.2:60"),
    ("gap", "gap:BAR.BEAT:MILLISECONDS, as gap:3.2:80"),
    (
        "clipped",
        "clipped:BAR.BEAT:MILLISECONDS, as clipped:3.2:120",
    ),
    ("dead", "dead:BAR.BEAT, as dead:3.2"),
    ("sharp", "sharp:BAR.BEAT:CENTS, as sharp:3.2:25"),
    ("flat", "flat:BAR.BEAT:CENTS, as flat:3.2:25"),
    ("ringing", "ringing:BAR.BEAT:DECIBELS, as ringing:3.2:-10"),
    ("open", "open:BAR.BEAT:STRING:DECIBELS, as open:3.2:4:-20"),
    ("drift", "drift:PERCENT, as drift:4"),
];

/// Reads faults parted by commas or spaces.
///
/// Ranges: semitones ±24, but not 0; milliseconds 1 to 5000; cents 1 to 100; decibels −60 to 0;
/// strings 1 to 12; percent ±50.
///
/// # Errors
/// For the first fault that cannot be read; nothing is given then.
pub fn parse_faults(text: &str) -> Result<Vec<Fault>, FaultError> {
    text.split([',', ' ', '\t', '\n'])
        .filter(|word| !word.is_empty())
        .map(Fault::from_str)
        .collect()
}

impl FromStr for Fault {
    type Err = FaultError;

    fn from_str(text: &str) -> Result<Self, FaultError> {
        let parts: Vec<&str> = text.split(':').map(str::trim).collect();
        let kind = parts[0];
        let Some((_, form)) = KINDS.into_iter().find(|(name, _)| *name == kind) else {
            return Err(FaultError::Kind {
                text: text.to_owned(),
                kind: kind.to_owned(),
            });
        };
        if parts.len() != form.split(',').next().unwrap_or(form).split(':').count() {
            return Err(FaultError::Parts {
                text: text.to_owned(),
                form,
            });
        }
        let spot = || spot(text, parts[1]);
        let number = |at: usize, low: f64, high: f64| amount(text, parts[at], low, high);
        let semitones = || semitones(text, parts[2]);
        let ms = || number(2, 1.0, 5_000.0);
        let cents = || number(2, 1.0, 100.0);
        Ok(match kind {
            "wrong" => Self::Wrong {
                at: spot()?,
                semitones: semitones()?,
            },
            "missed" => Self::Missed { at: spot()? },
            "extra" => Self::Extra {
                at: spot()?,
                semitones: semitones()?,
            },
            "early" => Self::Early {
                at: spot()?,
                ms: ms()?,
            },
            "late" => Self::Late {
                at: spot()?,
                ms: ms()?,
            },
            "gap" => Self::Gap {
                at: spot()?,
                ms: ms()?,
            },
            "clipped" => Self::Clipped {
                at: spot()?,
                ms: ms()?,
            },
            "dead" => Self::Dead { at: spot()? },
            "sharp" => Self::Sharp {
                at: spot()?,
                cents: cents()?,
            },
            "flat" => Self::Flat {
                at: spot()?,
                cents: cents()?,
            },
            "ringing" => Self::LeftRinging {
                at: spot()?,
                db: number(2, -60.0, 0.0)?,
            },
            "open" => Self::OpenString {
                at: spot()?,
                string: number(2, 1.0, 12.0)? as u8,
                db: number(3, -60.0, 0.0)?,
            },
            _ => Self::Drift {
                percent: number(1, -50.0, 50.0)?,
            },
        })
    }
}

fn spot(text: &str, spot: &str) -> Result<Spot, FaultError> {
    let read = || {
        if let Some(number) = spot.strip_prefix('#') {
            return number.parse().ok().filter(|n| *n > 0).map(Spot::Note);
        }
        let (bar, beat) = spot.split_once('.')?;
        let beat: f64 = beat.parse().ok()?;
        let plain = spot.bytes().all(|b| b.is_ascii_digit() || b == b'.');
        (plain && beat >= 1.0).then_some(Spot::Beat {
            bar: bar.parse().ok()?,
            beat,
        })
    };
    read().ok_or_else(|| FaultError::Spot {
        text: text.to_owned(),
        spot: spot.to_owned(),
    })
}

fn semitones(text: &str, amount: &str) -> Result<i32, FaultError> {
    match amount.parse::<i32>() {
        Ok(semitones) if semitones != 0 && (-24..=24).contains(&semitones) => Ok(semitones),
        _ => Err(FaultError::Semitones {
            text: text.to_owned(),
            amount: amount.to_owned(),
        }),
    }
}

fn amount(text: &str, amount: &str, low: f64, high: f64) -> Result<f64, FaultError> {
    match amount.parse::<f64>() {
        Ok(x) if (low..=high).contains(&x) => Ok(x),
        _ => Err(FaultError::Amount {
            text: text.to_owned(),
            amount: amount.to_owned(),
            low,
            high,
        }),
    }
}
