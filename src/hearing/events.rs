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
    /// How clearly the pitch turns at the onset, 0 to 1: the lesser periodicity of the sound just
    /// before and just after it where the two are different notes and no harmonics of each other.
    pub turn: f64,
    /// Periodicity of the 150 ms after the onset, 0 to 1.
    pub clarity: f64,
    /// Pitch of the 150 ms after the onset in hertz; 0 when there was none.
    pub hz: f64,
}

impl OnsetFeatures {
    /// The features as the evidence takes them: held within the range they were learnt on, with
    /// the products that tell a ripple of the same note and a damped string from a pluck.
    pub fn as_row(&self) -> [f64; 18] {
        let [low, mid, high] = self.error_rise_db.map(|e| e.clamp(-5.0, 20.0));
        let novelty = self.novelty_db.clamp(0.5, 20.0).ln();
        let rise = self.level_rise_db.clamp(-10.0, 10.0);
        let fall = self.level_fall_db.clamp(-10.0, 15.0);
        let step = (self.pitch_step_cents / 100.0).clamp(0.0, 1.0);
        let same = if step < 0.3 && self.clarity > 0.8 {
            1.0
        } else {
            0.0
        };
        [
            novelty,
            low,
            mid,
            high,
            rise,
            fall,
            self.relative_level_db.clamp(-25.0, 0.0),
            self.clarity,
            step,
            self.relative_novelty.clamp(0.05, 1.0).ln(),
            low.max(mid).clamp(0.0, 8.0),
            novelty * mid.clamp(0.0, 10.0) / 10.0,
            same * novelty,
            same * rise,
            (fall - 5.0).clamp(0.0, 10.0) * (-rise).clamp(0.0, 10.0) / 25.0,
            (10.0 * (self.turn - 0.8)).clamp(0.0, 2.0),
            self.fresh_share,
            self.fresh_share * self.clarity,
        ]
    }
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
