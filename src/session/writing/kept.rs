//! What is kept of a take while it is heard: what the ear says, how long pitches were under way, and
//! the sound of the last note.
//!
//! Memory: grows with the notes of the take; of the sound some seconds are kept.

use crate::compare::ends::SURE_EVIDENCE;
use crate::hearing::dsp::history::History;
use crate::hearing::events::{Event, HeardNote};
use crate::hearing::glide::Glides;
use crate::session::heard::Heard;
use crate::session::pump::Beside;
use crate::units::{FrameCount, Hertz, MidiNote, SampleRate};

/// Sound is kept for this long, in seconds: a note is settled nine seconds after its onset at the
/// latest.
const KEPT_S: f64 = 12.0;
/// The sound of a note is kept from this long before its onset on, in seconds: what rang before it is
/// heard to be old.
const BEFORE_S: f64 = 1.0;
/// And up to this long after it, in seconds: longer, members of a chord that die away count for less.
const AFTER_S: f64 = 1.5;
/// A gap is silence of this many frames at a time.
const SILENCE: [f32; 1024] = [0.0; 1024];

/// The sound of one note.
#[derive(Clone, Debug)]
pub(super) struct NoteSound {
    /// What was heard of it.
    pub note: HeardNote,
    /// The sound around its onset.
    pub samples: Vec<f32>,
    /// When that begins, in seconds of the stream.
    pub from_s: f64,
}

/// What stands beside the pump while a take is written down.
pub(super) struct Kept {
    /// What the ear says.
    pub heard: Heard,
    /// For how long the pitch was under way to a note, with the note's onset, in seconds.
    pub glides: Vec<(f64, f64)>,
    /// The last note that surely was one.
    pub last: Option<NoteSound>,
    measure: Glides,
    /// The pitch of that note.
    before: Option<Hertz>,
    sound: History,
    rate: SampleRate,
    a4: Hertz,
}

impl Kept {
    pub fn new(rate: SampleRate, a4: Hertz) -> Self {
        Self {
            heard: Heard::default(),
            glides: Vec::new(),
            last: None,
            measure: Glides::new(rate),
            before: None,
            sound: History::new((KEPT_S * rate.hz()) as usize),
            rate,
            a4,
        }
    }

    fn settled(&mut self, note: &HeardNote) {
        let hz = note
            .pitch
            .map(|pitch| MidiNote(pitch.midi).to_hertz(self.a4));
        if let (Some(from), Some(to)) = (self.before, hz) {
            let s = self.measure.under_way_s(from, to, note.onset_s);
            if s > 0.0 {
                self.glides.push((note.onset_s, s));
            }
        }
        if note.evidence < SURE_EVIDENCE {
            return;
        }
        self.before = hz;
        let frame = |at_s: f64| (at_s * self.rate.hz()).round() as i64;
        let from = frame(note.onset_s - BEFORE_S).max(self.sound.start());
        let to = frame(note.onset_s + AFTER_S);
        self.last = Some(NoteSound {
            note: note.clone(),
            samples: self.sound.range(from, to).to_vec(),
            from_s: from as f64 / self.rate.hz(),
        });
    }
}

impl Beside for Kept {
    fn say(&mut self, event: Event) {
        if let Event::Settled(note) = &event {
            self.settled(note);
        }
        self.heard.take(event);
    }

    fn samples(&mut self, block: &[f32]) {
        self.measure.push(block);
        self.sound.extend(block);
    }

    fn gap(&mut self, lost: FrameCount) {
        let mut left = lost.0;
        while left > 0 {
            let frames = left.min(SILENCE.len() as u64);
            self.samples(&SILENCE[..frames as usize]);
            left -= frames;
        }
    }
}
