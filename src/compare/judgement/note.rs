//! What became of the notes of a line in one pass, and what sounded besides.

use crate::hearing::events::Brightness;
use crate::music::expected::ExpectedNote;

/// What became of an expected note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Verdict {
    /// The written pitch was played.
    Right,
    /// Another pitch was played in its place.
    Wrong,
    /// Nothing was played in its place.
    Missed,
    /// No pass came as far as this note, so that nothing can be said of it.
    Unreached,
}

/// What a player should know about a note beyond its verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Flag {
    /// Ahead of the fitted grid.
    Early,
    /// Behind the fitted grid.
    Late,
    /// Silence between this note and the next at a legato join.
    Gap,
    /// Ends well before its time with no legato join after it.
    Clipped,
    /// Another string sounds underneath.
    Bleed,
    /// Choked or muffled: no clear pitch, or a fraction of its neighbours' sustain.
    Dead,
    /// Above the written pitch, but still that note.
    Sharp,
    /// Below the written pitch, but still that note.
    Flat,
    /// Sticks out: louder than the take's usual note, string and register taken off.
    Loud,
    /// Falls away: softer than the take's usual note, string and register taken off.
    Soft,
    /// The string sounds against a fret after an otherwise right note.
    Buzzes,
}

/// What was heard of an expected note.
#[derive(Clone, Debug, PartialEq)]
pub struct HeardPart {
    /// Pitch as a fractional MIDI note; `None` when none was clear.
    pub midi: Option<f64>,
    /// Deviation from the nearest semitone heard for a wrong note, from the written pitch for a
    /// right one, in cents.
    pub cents: Option<f64>,
    /// One standard deviation of `cents`.
    pub cents_uncertainty: Option<f64>,
    /// Onset in the take, in seconds.
    pub onset_s: f64,
    /// When damping starts (or the next onset if the note rang up to it, or the end of
    /// audibility), in seconds.
    pub release_s: f64,
    /// Level of the note's start in decibels relative to full scale.
    pub level_dbfs: f64,
    /// Level as it is heard over its first 200 ms, K-weighted (ITU-R BS.1770), in LKFS of one channel;
    /// `None` where it is too short or the input was cut off.
    pub loudness_db: Option<f64>,
    /// The same beside the take's usual note, string and register taken off, in decibels; `None` where it
    /// cannot be known.
    pub level_db: Option<f64>,
    /// One standard deviation of `level_db`.
    pub level_uncertainty_db: Option<f64>,
    /// How bright it is; `None` where it is too short.
    pub brightness: Option<Brightness>,
    /// How sure it is that the string sounds against a fret, in nats, above 0 more likely than not; `None`
    /// where it cannot be told.
    pub buzz_nats: Option<f64>,
    /// Onset less its place on the fitted grid, in milliseconds; late is positive.
    pub timing_ms: Option<f64>,
    /// One standard deviation of `timing_ms`.
    pub timing_uncertainty_ms: Option<f64>,
    /// Silence from this note's release to the next note's onset at a legato join, in
    /// milliseconds: 0 when they meet; `None` where there is no legato join.
    pub gap_ms: Option<f64>,
    /// One standard deviation of `gap_ms`: of the release and of the next onset; `None` where nothing
    /// was measured of the release.
    pub gap_uncertainty_ms: Option<f64>,
    /// Depth of that silence below the natural decay, in decibels.
    pub gap_depth_db: Option<f64>,
    /// Position of the stream when the onset first became known.
    pub heard_at_s: f64,
    /// Position of the stream when the pitch first became known.
    pub named_at_s: Option<f64>,
    /// The pitch that was said first, at `named_at_s`, as a fractional MIDI note.
    pub named_midi: Option<f64>,
}

/// An expected note and what became of it.
#[derive(Clone, Debug, PartialEq)]
pub struct JudgedNote {
    /// The note of the line.
    pub expected: ExpectedNote,
    /// Right, wrong or missed.
    pub verdict: Verdict,
    /// What was heard; `None` when missed.
    pub heard: Option<HeardPart>,
    /// Flags in the order of [`Flag`], without doubles.
    pub flags: Vec<Flag>,
}

/// A heard note that nobody wrote.
#[derive(Clone, Debug, PartialEq)]
pub struct ExtraNote {
    /// Onset in the take, in seconds.
    pub onset_s: f64,
    /// Pitch as a fractional MIDI note; `None` when none was clear.
    pub midi: Option<f64>,
    /// End, in seconds.
    pub release_s: f64,
    /// Level in decibels relative to full scale.
    pub level_dbfs: f64,
    /// Index of the expected note it follows; `None` before the first.
    pub after_index: Option<usize>,
}

/// Why a string sounded while it should not.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum BleedKind {
    /// Never played: set off by the hand or by sympathy.
    OpenString,
    /// A note that was not damped when its time was over.
    LeftRinging,
    /// Hit together with a played note: it begins with it, far louder than it answers by itself.
    StruckAlong,
}

/// A string that sounded while it should not.
#[derive(Clone, Debug, PartialEq)]
pub struct Bleed {
    /// Its pitch as a fractional MIDI note.
    pub midi: f64,
    /// Its string, 1 for the thinnest; `None` when it cannot be told.
    pub string: Option<u8>,
    /// Why it sounded.
    pub kind: BleedKind,
    /// When it began, in seconds.
    pub from_s: f64,
    /// When it was over, in seconds.
    pub to_s: f64,
    /// Its level relative to what was played over it, in decibels.
    pub level_db: f64,
    /// Indices of the expected notes it sounded under.
    pub during: Vec<usize>,
    /// Index of the note that was left ringing; `None` for an open string.
    pub after: Option<usize>,
    /// How much more likely it is than silence, in nats.
    pub evidence: f64,
}

/// A string of which it cannot be told whether it rang: all its partials are those of what was
/// played over it.
#[derive(Clone, Debug, PartialEq)]
pub struct Undecided {
    /// Its pitch as a MIDI note.
    pub midi: f64,
    /// Its string, 1 for the thinnest.
    pub string: u8,
    /// Index of the note that may have been left ringing.
    pub after: usize,
    /// Indices of the notes it may have sounded under.
    pub during: Vec<usize>,
    /// When it began, in seconds of the take.
    pub from_s: f64,
    /// When it ended, in seconds of the take.
    pub to_s: f64,
}
