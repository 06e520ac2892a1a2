//! How even a take is.

/// How even the levels of some notes are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evenness {
    /// Notes it was measured on.
    pub notes: usize,
    /// Their middle level beside the take's usual one, in decibels.
    pub level_db: f64,
    /// Robust standard deviation of their levels, string and register taken off, in decibels.
    pub spread_db: f64,
}

/// Why nothing is said of how loud the notes are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Withheld {
    /// Too few notes were heard to know what is usual.
    TooFew,
    /// The input was cut off in many notes.
    Clipped,
    /// A gain control turned the level up and down.
    GainControl,
}

/// What was learnt of a take's levels.
#[derive(Clone, Debug, PartialEq)]
pub struct Loudness {
    /// Over all passes; `None` where it is withheld or of too few notes.
    pub evenness: Option<Evenness>,
    /// How much louder a note an octave higher is on this instrument, in decibels.
    pub register_db: Option<f64>,
    /// What each string has beside the others, in decibels, by its number (1 for the thinnest).
    pub strings: Vec<(u8, f64)>,
    /// How the level drifts from the first note of the take to the last, in decibels; negative where it
    /// gets softer.
    pub drift_db: Option<f64>,
    /// One standard deviation of `drift_db`.
    pub drift_uncertainty_db: Option<f64>,
    /// Why nothing is said; `None` where something is.
    pub withheld: Option<Withheld>,
}

impl Loudness {
    /// Nothing can be said.
    pub fn none(why: Withheld) -> Self {
        Self {
            evenness: None,
            register_db: None,
            strings: Vec::new(),
            drift_db: None,
            drift_uncertainty_db: None,
            withheld: Some(why),
        }
    }
}
