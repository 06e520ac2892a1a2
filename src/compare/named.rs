//! What the comparator's verdicts, flags and kinds are called, as reports and screens print them.

use crate::compare::judgement::{
    Beginning, BleedKind, FindingKind, Flag, TimingMode, Verdict, Withheld,
};
use crate::words;

impl Verdict {
    /// The word for it; `None` where there is none, as nothing can be said of the note.
    pub fn word(self) -> Option<&'static str> {
        match self {
            Self::Right => Some(words::RIGHT),
            Self::Wrong => Some(words::WRONG),
            Self::Missed => Some(words::MISSED),
            Self::Unreached => None,
        }
    }
}

impl Beginning {
    /// How the pass began, in words.
    pub fn word(self) -> &'static str {
        match self {
            Self::Start => "start",
            Self::Loop => "loop",
            Self::WentBack => "went back",
            Self::WentOn => "went on",
        }
    }
}

impl Flag {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Early => words::EARLY,
            Self::Late => words::LATE,
            Self::Gap => words::GAP,
            Self::Clipped => words::CLIPPED,
            Self::Bleed => words::BLEED,
            Self::Dead => words::DEAD,
            Self::Sharp => words::SHARP,
            Self::Flat => words::FLAT,
            Self::Loud => words::LOUD,
            Self::Soft => words::SOFT,
            Self::Buzzes => words::BUZZES,
        }
    }
}

impl TimingMode {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Free => "free",
            Self::Click => "click",
        }
    }
}

impl BleedKind {
    /// The words for it.
    pub fn word(self) -> &'static str {
        match self {
            Self::OpenString => words::OPEN_STRING,
            Self::LeftRinging => words::LEFT_RINGING,
            Self::StruckAlong => words::STRUCK_ALONG,
        }
    }
}

impl FindingKind {
    /// The word findings of this kind are listed under.
    pub fn word(self) -> &'static str {
        match self {
            Self::Take => "take",
            Self::Gap => words::GAP,
            Self::Wrong => words::WRONG,
            Self::Missed => words::MISSED,
            Self::Extra => words::EXTRA,
            Self::Bleed => words::BLEED,
            Self::Dead => words::DEAD,
            Self::Clipped => words::CLIPPED,
            Self::Timing => "timing",
            Self::Tuning => "tuning",
            Self::Level => words::LEVEL,
            Self::Buzz => words::BUZZES,
        }
    }
}

impl Withheld {
    /// Why nothing is said of the levels, in words.
    pub fn word(self) -> &'static str {
        match self {
            Self::TooFew => "too few notes",
            Self::Clipped => "input clipped",
            Self::GainControl => "gain control",
        }
    }
}
