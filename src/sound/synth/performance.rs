//! What is played, note by note: the truth of every take that the synth renders.

use crate::units::{Cents, Decibels, FrameIndex, Hertz, MidiNote, STANDARD_A4, SampleRate};

/// Why a note sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Role {
    /// It stands in the line, played rightly or not.
    Written,
    /// It was plucked though nobody wrote it.
    Extra,
    /// A string that was set off without being meant.
    Bleed,
    /// A grace note of the line, which is never judged.
    Grace,
}

/// A finger that slides along the string while it sounds, stopped by each fret it passes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slide {
    /// When it sets out, in seconds from the first sample.
    pub from_s: f64,
    /// When it arrives; not before it sets out.
    pub to_s: f64,
    /// Frets up the neck, negative down.
    pub frets: i16,
}

impl Slide {
    /// Frets passed at a time, counted as `frets`.
    pub(super) fn passed(&self, at_s: f64) -> f64 {
        let whole_s = self.to_s - self.from_s;
        if whole_s.is_nan() || whole_s <= 0.0 {
            return 0.0;
        }
        let part = ((at_s - self.from_s) / whole_s).clamp(0.0, 1.0);
        (part * f64::from(self.frets)).trunc()
    }
}

/// One note as it is played. Times are in seconds from the first sample.
#[derive(Clone, Debug, PartialEq)]
pub struct PlayedNote {
    /// The number of the expected note in its line; `None` for an extra note or bleed.
    pub index: Option<usize>,
    /// The bar of the expected note (for extras and bleed, of the note they go with).
    pub bar: u32,
    /// The beat of the expected note, from 1.
    pub beat: f64,
    /// Why it sounds.
    pub role: Role,
    /// When the string is let go.
    pub onset_s: f64,
    /// When damping begins.
    pub release_s: f64,
    /// Time constant of the damping of the first partial: 0.008 to 0.020 for a finger laid on.
    pub damp_tau_s: f64,
    /// How much of the sound damping leaves: minus infinity for all gone, 0 dB for no damping.
    pub left_ringing: Decibels,
    /// When a sound that was left ringing is stopped after all.
    pub stopped_s: f64,
    /// The pitch that is fingered, tempered.
    pub midi: f64,
    /// How far off that pitch the first partial is.
    pub cents: Cents,
    /// The string, 1 for the thinnest.
    pub string: u8,
    /// The fret, 0 for the open string.
    pub fret: u8,
    /// How hard it is plucked, 0 to 1: level (as an amplitude) and brightness.
    pub velocity: f64,
    /// A change of level that does not change the brightness.
    pub level: Decibels,
    /// Choked: the string does not ring.
    pub dead: bool,
    /// Reached without a pluck.
    pub slurred: bool,
    /// Seconds before the onset at which the plucking finger touches the string, heard as a small
    /// click; 0 for none.
    pub touch_s: f64,
    /// How its finger slides away to the next note; `None` when it does not.
    pub slide: Option<Slide>,
}

/// A whole performance.
#[derive(Clone, Debug, PartialEq)]
pub struct Performance {
    /// The notes in order of onset.
    pub notes: Vec<PlayedNote>,
    /// Where bar 1 of the line begins, in seconds from the first sample.
    pub bar1_s: f64,
    /// Seconds after the last release.
    pub tail_s: f64,
    /// The tuning.
    pub a4: Hertz,
    /// Mains hum: its frequency, and the level of its fundamental against full scale.
    pub hum: Option<(Hertz, Decibels)>,
    /// Hiss: its level (root of the mean square) against full scale.
    pub hiss: Option<Decibels>,
    /// Seed of all noises.
    pub seed: u64,
}

impl Default for Performance {
    fn default() -> Self {
        Self {
            notes: Vec::new(),
            bar1_s: 0.0,
            tail_s: 1.0,
            a4: STANDARD_A4,
            hum: None,
            hiss: None,
            seed: 0,
        }
    }
}

/// What really sounds of one note, in frames: what a listener should find.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueNote {
    /// The number of the expected note in its line.
    pub index: Option<usize>,
    /// Why it sounds.
    pub role: Role,
    /// The first frame of the note.
    pub onset: FrameIndex,
    /// The first frame of its damping, or of the next note on its string if that comes before.
    pub release: FrameIndex,
    /// The pitch of its first partial, deviation included.
    pub pitch: MidiNote,
    /// The string, 1 for the thinnest.
    pub string: u8,
    /// The fret.
    pub fret: u8,
    /// Choked.
    pub dead: bool,
}

impl PlayedNote {
    /// A note plucked with medium strength, damped at `release_s`, without deviations.
    pub fn plain(midi: u8, string: u8, fret: u8, onset_s: f64, release_s: f64) -> Self {
        Self {
            index: None,
            bar: 0,
            beat: 1.0,
            role: Role::Written,
            onset_s,
            release_s,
            damp_tau_s: 0.012,
            left_ringing: Decibels(f64::NEG_INFINITY),
            stopped_s: release_s,
            midi: f64::from(midi),
            cents: Cents(0.0),
            string,
            fret,
            velocity: 0.7,
            level: Decibels(0.0),
            dead: false,
            slurred: false,
            touch_s: 0.0,
            slide: None,
        }
    }

    /// The pitch of its first partial.
    pub fn pitch(&self) -> MidiNote {
        MidiNote(self.midi + self.cents.0 / 100.0)
    }

    /// The pitch of its open string.
    pub fn open(&self) -> MidiNote {
        MidiNote(self.midi - f64::from(self.fret))
    }

    /// True when all its numbers are finite; a level of minus infinity is silence and allowed.
    pub(super) fn is_finite(&self) -> bool {
        let numbers = [
            self.onset_s,
            self.release_s,
            self.damp_tau_s,
            self.stopped_s,
            self.midi,
            self.cents.0,
            self.velocity,
            self.touch_s,
        ];
        let levels = [self.left_ringing.0, self.level.0];
        numbers.iter().all(|x| x.is_finite()) && levels.iter().all(|x| *x < f64::INFINITY)
    }

    /// True when damping leaves something ringing.
    pub fn rings_on(&self) -> bool {
        self.left_ringing.0 > f64::NEG_INFINITY
    }
}

impl Performance {
    /// The frame of a time at `rate`, 0 for times before the start.
    pub fn frame(rate: SampleRate, at_s: f64) -> usize {
        (at_s * rate.hz()).round().max(0.0) as usize
    }

    /// When the string of note `at` is plucked again, if it is.
    pub fn next_on_string(&self, at: usize) -> Option<f64> {
        let note = &self.notes[at];
        self.notes
            .iter()
            .filter(|other| other.string == note.string && other.onset_s > note.onset_s)
            .map(|other| other.onset_s)
            .min_by(f64::total_cmp)
    }

    /// Frames of the whole take at `rate`, two hours of them at most.
    pub fn frames(&self, rate: SampleRate) -> usize {
        /// A take that is longer is a slip in the arithmetic of a line, not music.
        const LONGEST_S: f64 = 7_200.0;
        let end_s = self.notes.iter().fold(self.bar1_s, |end_s, note| {
            end_s
                .max(note.release_s)
                .max(note.onset_s)
                .max(note.stopped_s)
        });
        Self::frame(rate, (end_s + self.tail_s.max(0.0)).min(LONGEST_S))
    }

    /// What really sounds, in order of onset.
    pub fn truth(&self, rate: SampleRate) -> Vec<TrueNote> {
        let frame = |at_s| FrameIndex(Self::frame(rate, at_s) as u64);
        let mut truth: Vec<TrueNote> = (0..self.notes.len())
            .map(|at| {
                let note = &self.notes[at];
                let damped_s = if note.rings_on() {
                    note.stopped_s
                } else {
                    note.release_s
                };
                let release_s = self
                    .next_on_string(at)
                    .map_or(damped_s, |s| s.min(damped_s));
                TrueNote {
                    index: note.index,
                    role: note.role,
                    onset: frame(note.onset_s),
                    release: frame(release_s),
                    pitch: note.pitch(),
                    string: note.string,
                    fret: note.fret,
                    dead: note.dead,
                }
            })
            .collect();
        truth.sort_by_key(|note| note.onset);
        truth
    }
}
