//! What a take is judged by, made here for a file and for live playing alike: from the line, the
//! instrument and the marks come the ear, the comparator's settings, and the result.
//!
//! Used by `offline` and `live`, and by `tuning` for what it shares with a line's ear.

use crate::compare::clicks::ClickedPass;
use crate::compare::judgement::TimingMode;
use crate::compare::marks::Marks;
use crate::compare::{Settings, judge_with_rings};
use crate::hearing::listener::{ListenError, Listener, ListenerConfig};
use crate::music::fingering::{Group, Position};
use crate::music::line::Line;
use crate::music::theory::Key;
use crate::session::ear;
use crate::session::heard::Heard;
use crate::session::known::KnownInstrument;
use crate::session::line_info::LineInfo;
use crate::session::pump::Counted;
use crate::session::result::{TakeInfo, TakeResult};
use crate::sound::SoundNote;
use crate::units::{Decibels, Hertz, MidiNote, SampleRate};

/// Room above the highest written note that is still listened to, as a ratio of frequencies: a
/// fifth, so that a wrong note up to there is heard as what it is. Raising it costs nothing but
/// rivals for the high notes.
pub(super) const HEADROOM_RATIO: f64 = 1.5;

/// What a take is judged by.
pub(super) struct Judging<'a> {
    /// The whole line, placed, at the tempo that is asked for.
    pub line: &'a Line,
    /// Frequency of A4.
    pub a4: Hertz,
    /// The limits between fine and flagged.
    pub marks: &'a Marks,
    /// What was measured of the instrument and its player before.
    pub known: &'a KnownInstrument,
}

/// What was asked for, and how it was played.
pub(super) struct Asked {
    /// Whether it was played to a click at the line's tempo.
    pub mode: TimingMode,
    /// The stretches of the take whose click is known, in order of time.
    pub clicks: Vec<ClickedPass>,
    /// First and last bar; `None` for the whole line.
    pub bars: Option<(u32, u32)>,
    /// The stretches of them that were asked for; empty for all.
    pub stretches: Vec<(u32, u32)>,
}

impl Asked {
    /// The whole line, in the player's own time.
    pub const WHOLE_LINE: Self = Self {
        mode: TimingMode::Free,
        clicks: Vec::new(),
        bars: None,
        stretches: Vec::new(),
    };
}

/// A take whose sound has come to its end.
pub(super) struct Taken {
    /// The take as reports call it.
    pub file: String,
    /// Its rate.
    pub rate: SampleRate,
    /// What has come of it.
    pub counted: Counted,
    /// What there is to say about the sound.
    pub notes: Vec<SoundNote>,
}

impl Judging<'_> {
    /// A listener for what can be played on the line's instrument.
    ///
    /// # Errors
    /// When the rate or the line's pitches cannot be listened to.
    pub fn ear(&self, rate: SampleRate) -> Result<Listener, ListenError> {
        let (line, a4) = (self.line, self.a4);
        let open = line.instrument().tuning().open_strings();
        let groups = line.groups();
        let top = groups
            .iter()
            .flat_map(|(_, group)| &group.notes)
            .map(|note| MidiNote(f64::from(note.midi)).to_hertz(a4).0)
            .fold(0.0, f64::max);
        let hz = |midi: u8| MidiNote(f64::from(midi)).to_hertz(a4);
        let chords = chords(&groups).into_iter();
        let config = ListenerConfig {
            known_strings: self.known.strings.clone(),
            chords: chords
                .map(|chord| chord.into_iter().map(hz).collect())
                .collect(),
            ..ear::config(rate, open, a4, Hertz(top * HEADROOM_RATIO))
        };
        // The written notes themselves must fit; the room above them may be less than usual.
        ear::listener(config, Hertz(top))
    }

    /// What the comparator is told; `loudest_dbfs` is the loudest level of the take in decibels
    /// relative to full scale.
    pub fn settings(&self, asked: Asked, loudest_dbfs: f64) -> Settings {
        let open = self.line.instrument().tuning().open_strings();
        Settings {
            marks: self.marks.clone(),
            mode: asked.mode,
            clicks: asked.clicks,
            bars: asked.bars,
            stretches: asked.stretches,
            usual: self.known.usual(open, self.a4),
            open_midi: open.to_vec(),
            loudest_dbfs,
            keys: keys(self.line),
            opening_bpm: Some(self.line.tempo().quarters_per_minute()),
        }
    }

    /// Holds a whole take against the line; from settled notes and rings alone.
    pub fn result(&self, asked: Asked, heard: &Heard, taken: Taken) -> TakeResult {
        let loudest = Decibels::from_amplitude(f64::from(taken.counted.peak)).0;
        let bars = asked.bars;
        let judgement = judge_with_rings(
            &self.line.expected(self.line.instrument()),
            &heard.notes,
            Some(&heard.rings),
            &self.settings(asked, loudest),
        );
        TakeResult {
            line: LineInfo::of_bars(self.line, bars),
            take: TakeInfo {
                file: taken.file,
                sample_rate: taken.rate.0,
                duration_s: taken.counted.frames.to_seconds(taken.rate).0,
                dropped_frames: taken.counted.dropped.0,
                loudest_dbfs: loudest.is_finite().then_some(loudest),
                sound_notes: taken.notes.iter().map(ToString::to_string).collect(),
            },
            judgement,
        }
    }
}

/// The different chords of a line as MIDI notes, the lowest first.
fn chords(groups: &[(Position, Group)]) -> Vec<Vec<u8>> {
    let mut chords: Vec<Vec<u8>> = groups
        .iter()
        .map(|(_, group)| group.notes.iter().map(|note| note.midi).collect())
        .collect();
    chords.retain(|chord| chord.len() > 1);
    chords.iter_mut().for_each(|chord| chord.sort_unstable());
    chords.sort_unstable();
    chords.dedup();
    chords
}

/// The keys of a line, each with the bar from which on it holds.
fn keys(line: &Line) -> Vec<(u32, Key)> {
    let mut keys: Vec<(u32, Key)> = Vec::new();
    for (number, bar) in (line.first_bar()..).zip(line.bars()) {
        if keys.last().is_none_or(|(_, key)| *key != bar.key) {
            keys.push((number, bar.key));
        }
    }
    keys
}
