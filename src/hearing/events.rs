//! What the listener says.
//!
//! Times are seconds from the first frame of the source, gaps included. Values alone: nothing here
//! listens, and nothing here judges. No paper: the names are those of the trade, pitches are
//! fractional MIDI notes (MIDI 1.0: note 69 is A4). The only room outside of `hearing` that reads
//! the features of an onset is `compare`.

pub use super::calibration::StillSounding;

/// How a note's sound ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EndCause {
    /// The string was damped: the level fell much faster than it decays by itself.
    Damped,
    /// It rang until the next onset.
    NextOnset,
    /// It decayed until it could no longer be heard.
    DiedAway,
    /// The take ended while it rang.
    TakeEnded,
}

/// How many other readings of a pitch are told.
pub const RIVALS: usize = 3;

/// The pitch of a heard note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardPitch {
    /// Fundamental f1 of the stiff string as a fractional MIDI note (A4 as configured).
    pub midi: f64,
    /// One standard deviation of `midi`, in cents.
    pub uncertainty_cents: f64,
    /// How far it lies apart in the two halves of the note, in cents, above 0 where it rises; 0 where that
    /// cannot be told. A pitch that moves is out of tune by no more than what its half leaves over.
    pub moves_cents: f64,
    /// How periodic the sound was, 0 (noise) to 1 (perfectly periodic).
    pub clarity: f64,
    /// Other pitches that explain the sound nearly as well (an octave, a twelfth, a mode of the
    /// body), best first, each with how much worse it is in nats; they may only be used to break
    /// a tie.
    pub rivals: [Option<(f64, f64)>; RIVALS],
}

/// What an onset looked like: what its evidence was made from.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OnsetFeatures {
    /// Whether the stream begins so shortly before it that there is nothing it could stand out from: then
    /// its rises are 0.
    pub opens: bool,
    /// Height of the novelty peak in decibels.
    pub novelty_db: f64,
    /// Height of the joint jump of the prediction errors in nats.
    pub jump: f64,
    /// Rise of the prediction error over its own past, for the copies below 350 Hz, below 900 Hz
    /// and whole, in decibels.
    pub error_rise_db: [f64; 3],
    /// Level 5 to 60 ms after the onset less level 4 to 28 ms before it, in decibels.
    pub level_rise_db: f64,
    /// Level 5 to 60 ms after the onset less level 60 to 110 ms after it, in decibels.
    pub level_fall_db: f64,
    /// Level 5 to 60 ms after the onset, in decibels relative to full scale.
    pub level_db: f64,
    /// The same level relative to that of the sure notes before it, in decibels.
    pub relative_level_db: f64,
    /// Novelty peak against those of the sure notes before it, as a ratio; 1 when there are none.
    pub relative_novelty: f64,
    /// Distance of its pitch from the last sure note's in cents, 0 when either is unclear.
    pub pitch_step_cents: f64,
    /// How much of the amplitude after the onset was not there before it, 0 to 1.
    pub fresh_share: f64,
    /// The same around the rise by which a faint onset was found, where that is more.
    pub new_share: f64,
    /// Pitch of the series whose amplitude grew at the onset, as a fractional MIDI note; 0 when
    /// there was nothing to be told.
    pub gained_midi: f64,
    /// How well that series explains what grew, 0 (nothing) to 1 (all).
    pub gained_score: f64,
    /// Pitch of what the onset added to a sound that rings on, as a fractional MIDI note: the
    /// series that remains when what sounded before is taken out; 0 when there was nothing to be
    /// told.
    pub added_midi: f64,
    /// How well that series explains what remains, 0 (nothing) to 1 (all).
    pub added_score: f64,
    /// Power of what remains relative to all that sounds, in decibels.
    pub added_db: f64,
    /// How much of what sounded before goes on through the onset in its own phase: 1 all of it, 0
    /// nothing; `None` where that cannot be told. See [`continuity`](super::continuity).
    pub goes_on: Option<f64>,
    /// How clearly the pitch turns at the onset, 0 to 1: the lesser periodicity of the sound just
    /// before and just after it where the two are different notes and no harmonics of each other.
    pub turn: f64,
    /// Periodicity of the 150 ms after the onset, 0 to 1.
    pub clarity: f64,
    /// Pitch of the 150 ms after the onset in hertz; 0 when there was none.
    pub hz: f64,
}

/// Members of a chord that are told apart.
pub const MEMBERS: usize = 4;

/// What was heard of one member of a chord.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardMember {
    /// The pitch that was heard, as a fractional MIDI note, where partials of its own tell it.
    pub midi: Option<f64>,
    /// How sure it is that it sounds, in nats; below 0 more likely not.
    pub evidence: f64,
    /// Its level relative to all that sounds, in decibels.
    pub level_db: f64,
    /// Up to where it could be heard.
    pub release_s: f64,
}

/// What was heard of a chord that was asked for; `None` where nothing can be told, because a
/// member shares all its partials with another one.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HeardChord {
    /// The pitches that were asked for, as fractional MIDI notes.
    pub wanted_midi: [Option<f64>; MEMBERS],
    /// What was heard of each.
    pub members: [Option<HeardMember>; MEMBERS],
}

impl HeardChord {
    /// What was heard of the member of this pitch, a MIDI note; `None` where nothing can be told.
    pub fn member(&self, midi: f64) -> Option<HeardMember> {
        let wanted = |w: &Option<f64>| w.is_some_and(|w| (w - midi).abs() < 0.5);
        let at = self.wanted_midi.iter().position(wanted)?;
        self.members[at]
    }
}

/// Where a sound that glided came to rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrived {
    /// When.
    pub at_s: f64,
    /// The pitch from there on; `None` when there was no stable one.
    pub pitch: Option<HeardPitch>,
}

/// Open strings whose answer under a note is told, at most.
pub const STRINGS: usize = 8;

/// How loudly an open string was heard in a note's first window, whoever set it off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// Pitch of the open string as a fractional MIDI note (A4 as configured).
    pub midi: f64,
    /// Its level relative to all that sounded, in decibels.
    pub level_db: f64,
}

/// How bright a note is while it rings: what lies above 1.5 kHz.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Brightness {
    /// Its level beside that of the whole note as it is heard, 30 to 80, 80 to 160 and 160 to 300 ms after
    /// the onset, in decibels; `None` where the note is shorter.
    pub beside_db: [Option<f64>; 3],
    /// Its level 160 to 300 ms after the onset less that 80 to 160 ms after it, in decibels: a string that is
    /// left alone falls. `None` where the note is shorter.
    pub swell_db: Option<f64>,
}

/// A string pluck as it was settled: all that the comparator knows about it.
#[derive(Clone, Debug, PartialEq)]
pub struct HeardNote {
    /// When the string was let go.
    pub onset_s: f64,
    /// One standard deviation of `onset_s`.
    pub onset_uncertainty_s: f64,
    /// Another moment at which the string may have been let go, and how many nats it is less
    /// likely; it may be used to break a tie (a touch just before the pluck, a period of a low
    /// string later).
    pub other_onset: Option<(f64, f64)>,
    /// Where its pitch glided: when it came to rest, and on what; `None` where it had its pitch from
    /// the start. Only where a slide is written does a note begin there. See
    /// [`arrival`](super::arrival).
    pub arrived: Option<Arrived>,
    /// How sure it is that this is a plucked note, in nats: above 0 more likely than not; a touch
    /// of the finger, a squeak or a ripple in the decay is below 0. Events well below 0 are
    /// reported too, so that a soft note which the line asks for can still be found.
    pub evidence: f64,
    /// Height of the whole-band novelty peak, in decibels averaged over the bands.
    pub novelty_db: f64,
    /// The pitch after the onset; `None` when there was no stable one.
    pub pitch: Option<HeardPitch>,
    /// Level over the note's first 100 ms, in decibels relative to full scale (RMS).
    pub level_dbfs: f64,
    /// Level as it is heard over the note's first 200 ms, or as much of them as it sounds: K-weighted, in
    /// LKFS of one channel (ITU-R BS.1770-5); `None` where it is too short or the input was cut off in
    /// it.
    pub loudness_db: Option<f64>,
    /// How bright it is; `None` where it is shorter than an eighth of a second.
    pub brightness: Option<Brightness>,
    /// Whether the input was cut off at its beginning, so that its level cannot be known.
    pub clipped: bool,
    /// By how much the quiet after it rises again before the next onset, in decibels: nothing that a
    /// string, a room or a finger does rises, a gain control does. `None` where the quiet is too short.
    pub quiet_rise_db: Option<f64>,
    /// When damping starts, or the next onset if it rang up to it, or the end of audibility.
    pub release_s: f64,
    /// One standard deviation of `release_s`; `None` where nothing was measured of the end.
    pub release_uncertainty_s: Option<f64>,
    /// Why it ended.
    pub end: EndCause,
    /// How deep the level had fallen below the natural decay just before the next onset, in
    /// decibels; 0 when it rang up to it.
    pub depth_db: f64,
    /// How fast it fell just after the attack: level at 5 to 60 ms less level at 60 to 110 ms
    /// after the onset, in decibels; `None` when the note is shorter than that.
    pub early_fall_db: Option<f64>,
    /// Position of the stream when the onset first became known.
    pub heard_at_s: f64,
    /// Position of the stream when the pitch first became known; `None` when it never did.
    pub named_at_s: Option<f64>,
    /// The pitch that was said first, at `named_at_s`, as a fractional MIDI note: that of
    /// [`Event::Named`] for this note where there was one, else the settled one; `None` when there
    /// was neither.
    pub named_midi: Option<f64>,
    /// What the onset looked like.
    pub features: OnsetFeatures,
    /// What was heard of each chord that was asked for, in the order in which they were.
    pub chords: Vec<HeardChord>,
    /// What still sounded after it was stopped, the loudest first; `None` when nobody listened for
    /// that, or there was too little silence.
    pub still: Option<Vec<StillSounding>>,
    /// How loudly each open string was heard beside it; `None` where nothing can be told.
    pub answers: [Option<Answer>; STRINGS],
}

/// What a ring looked like: what [`ringing`](super::ringing) weighs. Means are over its windows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RingFeatures {
    /// Level of its partials relative to all that sounded in the window in which it began, in
    /// decibels.
    pub first_db: f64,
    /// The same in the mean.
    pub level_db: f64,
    /// How far its partials stand above the noise in the mean, in decibels.
    pub clear_db: f64,
    /// Share of its power that others leave free in the mean, 0 to 1.
    pub share: f64,
    /// How many partials of its own showed in the mean.
    pub own: f64,
    /// How far its partials' levels lie apart from those of the string in the mean, in decibels.
    pub scatter_db: f64,
    /// How much more likely it is that its partials carry on those of the note which was left
    /// ringing than that they have any phases, in nats; `None` where nothing is known of that.
    pub carried: Option<f64>,
    /// Whether it began in the first window after an onset.
    pub at_onset: bool,
}

/// A string that rang while another one was played, or when none should.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardRing {
    /// Its pitch as a fractional MIDI note (A4 as configured).
    pub midi: f64,
    /// Onset of the note that was left ringing; `None` for an open string.
    pub source_onset_s: Option<f64>,
    /// When it began.
    pub from_s: f64,
    /// When it was over.
    pub to_s: f64,
    /// Its level relative to all that sounded meanwhile, in decibels.
    pub level_db: f64,
    /// How much more likely it is than silence, in nats.
    pub evidence: f64,
    /// What it looked like.
    pub features: RingFeatures,
}

/// One thing the listener says, in order of when it becomes known.
#[derive(Clone, Debug, PartialEq)]
#[allow(
    clippy::large_enum_variant,
    reason = "an event is handed on at once and never kept by the thousand; a box would allocate \
              on the listening thread"
)]
pub enum Event {
    /// Soon: a note has started.
    Started {
        /// When the string was let go, as far as is known yet.
        onset_s: f64,
        /// Position of the stream when this was said.
        at_s: f64,
    },
    /// Soon: which note it is, as far as is known yet; may be said again with a better answer.
    Named {
        /// The onset of the note it speaks of, as said by `Started`.
        onset_s: f64,
        /// Pitch as a fractional MIDI note.
        midi: f64,
        /// Position of the stream when this was said.
        at_s: f64,
    },
    /// Settled: the whole note.
    Settled(HeardNote),
    /// Settled: a string that rang beside the played ones.
    Rang(HeardRing),
}

#[cfg(test)]
pub(crate) mod test_support {
    use super::*;

    /// A clear note at a time and a pitch.
    pub(crate) fn heard(onset_s: f64, midi: f64) -> HeardNote {
        HeardNote {
            onset_s,
            onset_uncertainty_s: 0.001,
            arrived: None,
            other_onset: None,
            evidence: 6.0,
            novelty_db: 8.0,
            pitch: Some(HeardPitch {
                midi,
                uncertainty_cents: 2.0,
                moves_cents: 0.0,
                clarity: 0.98,
                rivals: [None; 3],
            }),
            level_dbfs: -20.0,
            loudness_db: Some(-20.0),
            quiet_rise_db: None,
            brightness: None,
            clipped: false,
            release_s: onset_s + 0.4,
            release_uncertainty_s: None,
            end: EndCause::NextOnset,
            depth_db: 0.0,
            early_fall_db: Some(2.0),
            heard_at_s: onset_s + 0.01,
            named_at_s: Some(onset_s + 0.05),
            named_midi: Some(midi),
            features: OnsetFeatures::default(),
            chords: Vec::new(),
            still: None,
            answers: [None; STRINGS],
        }
    }
}
