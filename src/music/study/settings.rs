//! What a study is to be like.

use crate::music::instrument::Instrument;
use crate::music::line::{Length, Meter, Tempo};
use crate::music::theory::{Degree, Key};

/// The tempo of a study that names none, in quarters a minute. Common practice of a first tempo for
/// eighths, no source.
const TEMPO_BPM: f64 = 90.0;

/// What a study is to be like. The default is every tone of each chord, one octave up and down (two
/// for chords with a ninth and beyond), in eighths, 4/4, at 90 quarters a minute.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The instrument it is for.
    pub instrument: Instrument,
    /// Its tempo.
    pub tempo: Tempo,
    /// Its meter.
    pub meter: Meter,
    /// Its title; may be empty.
    pub title: String,
    /// The key to move it to.
    pub key: Option<Key>,
    /// The tone each chord or scale starts on.
    pub from: From,
    /// How far each goes; `None` is what the chord asks for.
    pub octaves: Option<Octaves>,
    /// Which way each goes.
    pub direction: Direction,
    /// Groups of three or four, each begun one tone further.
    pub sequence: Option<u8>,
    /// How long the notes are.
    pub notes: NoteValue,
    /// Whether each chord begins on its tone nearest to the note before, going the other way.
    pub linked: bool,
    /// Whether the shape of an augmented or diminished chord is moved up the neck.
    pub up_the_neck: bool,
    /// Bars for each chord; `None` is as many as it needs.
    pub bars: Option<u32>,
    /// Through which keys it goes.
    pub round: Option<Round>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            instrument: Instrument::default(),
            // 90 is within the range of tempos.
            tempo: Tempo::quarters(TEMPO_BPM).unwrap_or_default(),
            meter: Meter::default(),
            title: String::new(),
            key: None,
            from: From::Bass,
            octaves: None,
            direction: Direction::UpDown,
            sequence: None,
            notes: NoteValue::Eighths,
            linked: false,
            up_the_neck: false,
            bars: None,
            round: None,
        }
    }
}

/// The tone a chord or scale starts on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum From {
    /// The bass: the root, or what stands behind the slash.
    Bass,
    /// The tone of that degree; a plain number means the tone of that number, however altered.
    Degree(Degree),
    /// Each tone in turn: all inversions, one after the other.
    Each,
}

/// How far a chord or scale goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Octaves {
    /// One octave.
    One,
    /// Two octaves.
    Two,
    /// From the lowest to the highest tone on the neck.
    Neck,
}

/// Which way a chord or scale goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Upwards.
    Up,
    /// Downwards.
    Down,
    /// Upwards and back.
    UpDown,
    /// Downwards and back.
    DownUp,
}

/// How long the notes are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoteValue {
    /// Quarter notes.
    Quarters,
    /// Eighth notes.
    Eighths,
    /// Three in the time of two eighths.
    Triplets,
    /// Sixteenth notes.
    Sixteenths,
}

impl NoteValue {
    /// Their length.
    pub fn length(self) -> Length {
        let parts = match self {
            Self::Quarters => 1,
            Self::Eighths => 2,
            Self::Triplets => 3,
            Self::Sixteenths => 4,
        };
        Length::from_units(Length::QUARTER.units() / parts)
    }

    /// What they are called.
    pub fn word(self) -> &'static str {
        match self {
            Self::Quarters => "quarters",
            Self::Eighths => "eighths",
            Self::Triplets => "triplets",
            Self::Sixteenths => "sixteenths",
        }
    }
}

/// Through which keys a study goes, the first being its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Round {
    /// All twelve, each a fourth above the one before: C F Bb.
    Fourths,
    /// All twelve, each a fifth above the one before: C G D.
    Fifths,
    /// All twelve, each a semitone above the one before: C Db D.
    Semitones,
}

impl Round {
    /// Steps on the line of fifths from one key to the next.
    pub(super) fn fifths(self) -> i32 {
        match self {
            Self::Fourths => -1,
            Self::Fifths => 1,
            Self::Semitones => 7,
        }
    }
}
