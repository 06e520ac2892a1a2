//! Blocks of samples in, events out.
//!
//! The order of the work: a peak of the novelty is a candidate; 165 ms later, when what follows
//! can tell what it was, its moment is refined (`jump`), its features are taken and weighed to
//! evidence; it is settled when the next sure onset has come, with pitch (`pitch`), level and end
//! (`dsp::envelope`). Beside that, a clear rise is said at once and named as soon as it can be
//! (`naming`). All state advances by sample and by hop, never by block.
//!
//! | file | what lives there |
//! |---|---|
//! | this one | the door, the rates, the run of the samples |
//! | `config` | what must be known before, and what cannot be listened to |
//! | `hop` | what makes a candidate |
//! | `soon` | what is said at once; candidates by new lines |
//! | `judging` | a candidate's moment, features and evidence |
//! | `settling` | a note's pitch, end and chords, and what rang beside it |
//!
//! The methods are those of the other files of `hearing` and name their papers there.

mod config;
mod hop;
mod judging;
mod settling;
mod soon;

use std::collections::VecDeque;

use crate::hearing::calibration::KnownString;
use crate::hearing::continuity::Continuity;
use crate::hearing::dsp::decimate::{Decimator, RUN_FRAMES};
use crate::hearing::dsp::envelope;
use crate::hearing::dsp::history::History;
use crate::hearing::dsp::lines::{Lines, NewLines};
use crate::hearing::dsp::novelty::Novelty;
use crate::hearing::dsp::power::mean_square;
use crate::hearing::events::{Event, OnsetFeatures};
use crate::hearing::jump::{Jump, JumpFinder, Past};
use crate::hearing::loudness::Loudness;
use crate::hearing::naming::{self, Waiting};
use crate::hearing::pitch::PitchMeter;
use crate::hearing::rings::Rings;
pub use config::{ListenError, ListenerConfig};
use hop::PEAK_REACH_S;

/// A peak of the novelty this high is looked into, in decibels.
const CANDIDATE_DB: f32 = 0.6;
/// Looks at the new lines among which the middle one must be the highest to make a candidate.
/// Raised, close candidates become one, and they come later.
const LINES_SEEN: usize = 5;
/// How long after a candidate it is judged: what follows must tell what it was.
const JUDGED_AFTER_S: f64 = 0.165;
/// Samples beyond this are no sound: their squares would leave the range of numbers.
const LOUDEST: f32 = 1e7;
/// What moves slower than this is taken out of the sound; the lowest string is three times faster.
const CONSTANT_BELOW_HZ: f64 = 8.0;
/// An onset this close to the end of the stream is its breaking off, in seconds.
const BREAK_S: f64 = 0.015;
/// Kept of the low-rate stream.
const HISTORY_S: f64 = 12.0;

/// Room for the candidates and onsets that wait; a dense take has a dozen.
const WAITING: usize = 64;

/// A candidate that waits to be judged.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    /// Place in the low-rate stream.
    at: i64,
    novelty_db: f32,
}

/// A judged onset that waits for its end.
#[derive(Clone, Debug)]
struct Forming {
    jump: Jump,
    /// When the string was let go, in samples of the stream: at the jump, or at a pulse before it.
    begins: f64,
    features: OnsetFeatures,
    evidence: f64,
    novelty_db: f32,
    heard_at_s: f64,
    /// What the start that was said for it was named, and when.
    named: Option<Name>,
}

/// A start that was said, for the settled notes to refer to.
#[derive(Clone, Copy, Debug)]
struct Said {
    onset_s: f64,
    at_s: f64,
    named: Option<Name>,
}

/// The name that was said first of a start.
#[derive(Clone, Copy, Debug)]
struct Name {
    /// Position of the stream when it was said.
    at_s: f64,
    /// Pitch as a fractional MIDI note.
    midi: f64,
}

/// Hears notes in a stream of mono samples.
///
/// All state advances by sample and by hop, never by block: the same samples give the same events
/// however they are cut.
#[derive(Clone)]
pub struct Listener {
    config: ListenerConfig,
    frames: u64,
    high: Option<Decimator>,
    low: Option<Decimator>,
    high_factor: usize,
    low_rate_hz: f64,
    low_ratio: f64,
    novelty: Novelty,
    high_count: u64,
    /// The one-pole high-pass that takes out a constant: its last input and output, and how much
    /// of the output it keeps.
    last_in: Option<f64>,
    last_out: f64,
    keep: f64,
    /// The frames of one run as they came, at the high rate and at the low one.
    clean: Vec<f32>,
    steady: Vec<f32>,
    lower: Vec<f32>,
    stream: History,
    rises: VecDeque<(i64, f32)>,
    lines: Lines,
    new_lines: VecDeque<NewLines>,
    peak_reach: usize,
    candidates: VecDeque<Candidate>,
    forming: VecDeque<Forming>,
    said: VecDeque<Said>,
    waiting: Option<(Said, Waiting)>,
    /// Where the stream ended when something faint may have started, and what was before that.
    perhaps: Option<(i64, Option<Past>)>,
    work: naming::Work,
    jumps: JumpFinder,
    continuity: Continuity,
    meter: PitchMeter,
    rings: Rings,
    loudness: Loudness,
    trace: Vec<f32>,
    ends: envelope::Work,
    /// Where something may have begun within the note that is settled.
    doubts: Vec<f64>,
    quiet_db: f64,
    latency_s: f64,
    /// Running mean level of the sure notes, in decibels.
    usual_level_db: Option<f64>,
    /// Running mean novelty of the sure notes, in decibels.
    usual_novelty: Option<f64>,
    /// Pitch and clarity of the last sure note.
    last_sure: Option<(f64, f64)>,
    /// Its onset, in samples of the low-rate stream.
    last_sure_at: f64,
}

impl Listener {
    /// A listener for a stream as `config` describes it.
    ///
    /// # Errors
    /// When the rate or the pitch range cannot be analysed.
    pub fn new(config: ListenerConfig) -> Result<Self, ListenError> {
        let rate = config.rate.0;
        if !(8_000..=192_000).contains(&rate) {
            return Err(ListenError::Rate { given: rate });
        }
        let high_factor = ((f64::from(rate) / 22_050.0).round() as usize).max(1);
        let high_rate = f64::from(rate) / high_factor as f64;
        let low_factor = ((high_rate / 5_512.5).round() as usize).max(1);
        let low_rate = high_rate / low_factor as f64;
        let (lo, hi) = (config.lowest.0, config.highest.0);
        let limit = low_rate / 6.0;
        if !(lo >= 20.0 && hi > lo && hi <= limit) {
            return Err(ListenError::Range {
                lowest: lo,
                highest: hi,
                limit,
            });
        }
        let high = (high_factor > 1).then(|| {
            Decimator::new(
                high_factor,
                0.41 / high_factor as f64,
                0.59 / high_factor as f64,
            )
        });
        let low = (low_factor > 1).then(|| {
            Decimator::new(
                low_factor,
                0.40 / low_factor as f64,
                0.60 / low_factor as f64,
            )
        });
        let latency_s = high.as_ref().map_or(0.0, |d| d.latency_frames() as f64) / f64::from(rate)
            + low.as_ref().map_or(0.0, |d| d.latency_frames() as f64) / high_rate;
        let novelty = Novelty::new(high_rate);
        let hop_s = novelty.hop_frames() as f64 / high_rate;
        let peak_reach = (PEAK_REACH_S / hop_s).round() as usize;
        Ok(Self {
            frames: 0,
            high,
            low,
            high_factor,
            low_rate_hz: low_rate,
            low_ratio: 1.0 / low_factor as f64,
            high_count: 0,
            last_in: None,
            last_out: 0.0,
            keep: 1.0 - 2.0 * std::f64::consts::PI * CONSTANT_BELOW_HZ / high_rate,
            clean: Vec::with_capacity(RUN_FRAMES),
            steady: Vec::with_capacity(RUN_FRAMES),
            lower: Vec::with_capacity(RUN_FRAMES),
            stream: History::new((HISTORY_S * low_rate) as usize),
            rises: VecDeque::with_capacity(2 * peak_reach + 2),
            lines: Lines::new(low_rate),
            new_lines: VecDeque::with_capacity(LINES_SEEN + 1),
            peak_reach,
            candidates: VecDeque::with_capacity(WAITING),
            forming: VecDeque::with_capacity(WAITING),
            said: VecDeque::with_capacity(soon::SAID + 1),
            waiting: None,
            perhaps: None,
            work: naming::Work::default(),
            jumps: JumpFinder::new(low_rate),
            continuity: Continuity::new(low_rate),
            meter: PitchMeter::new(low_rate, lo, hi),
            rings: Rings::new(
                low_rate,
                &config.open_strings.iter().map(|h| h.0).collect::<Vec<_>>(),
            )
            .with_known(&config.known_strings),
            loudness: Loudness::new(high_rate, 1.0 / low_factor as f64, HISTORY_S),
            trace: Vec::new(),
            ends: envelope::Work::default(),
            doubts: Vec::new(),
            quiet_db: f64::INFINITY,
            latency_s,
            usual_level_db: None,
            usual_novelty: None,
            last_sure: None,
            last_sure_at: f64::NEG_INFINITY,
            novelty,
            config,
        })
    }

    /// How far the analysis lags behind the newest frame before any event can be said, in seconds.
    pub fn latency_s(&self) -> f64 {
        self.latency_s
    }

    /// Takes the next samples (full scale is 1.0) and says what became known.
    pub fn push(&mut self, samples: &[f32], say: &mut dyn FnMut(Event)) {
        let mut rest = samples;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(self.run_frames(rest.len()));
            self.clean.clear();
            self.clean.extend(now.iter().map(|s| {
                let s = if s.is_finite() { *s } else { 0.0 };
                s.clamp(-LOUDEST, LOUDEST)
            }));
            self.run(say);
            rest = later;
        }
    }

    /// Takes `frames` frames that were lost: silence, so that time stays true.
    pub fn gap(&mut self, frames: u64, say: &mut dyn FnMut(Event)) {
        let mut rest = frames;
        while rest > 0 {
            let now = self.run_frames(rest.min(RUN_FRAMES as u64) as usize);
            self.clean.clear();
            self.clean.resize(now, 0.0);
            self.run(say);
            rest -= now as u64;
        }
    }

    /// The stream is over: settles what is left.
    pub fn finish(&mut self, say: &mut dyn FnMut(Event)) {
        let end_s = self.position_s();
        // What the windows still need is silence; it lies after the end and is not heard.
        let tail = ((JUDGED_AFTER_S + 0.1) * self.config.rate.hz()) as u64;
        let low_end = self.stream.end();
        self.gap(tail, say);
        while let Some(c) = self.candidates.front().copied() {
            self.candidates.pop_front();
            if c.at < low_end {
                self.judge(c);
            }
        }
        // Where the stream breaks off is no onset.
        let broken = low_end as f64 - BREAK_S * self.low_rate_hz;
        self.forming.retain(|f| f.jump.at < broken);
        while !self.forming.is_empty() {
            self.settle_front(Some(low_end as f64), end_s, say);
        }
        let a4 = self.config.a4;
        self.rings.finish(&mut |ring| say(settling::rang(ring, a4)));
    }

    /// What would be settled besides what was said, were the stream over now: the notes that still
    /// sound, and what rings. The listener itself goes on as if it had not been asked.
    pub fn so_far(&self) -> Vec<Event> {
        let mut events = Vec::new();
        self.clone().finish(&mut |event| {
            if matches!(event, Event::Settled(_) | Event::Rang(_)) {
                events.push(event);
            }
        });
        events
    }

    /// Whether an onset waits to be settled.
    pub fn is_forming(&self) -> bool {
        !self.forming.is_empty() || !self.candidates.is_empty()
    }

    /// What was heard of each open string when it was plucked open, in the order in which they
    /// were given.
    pub fn strings(&self) -> Vec<Option<KnownString>> {
        self.rings.strings()
    }

    fn position_s(&self) -> f64 {
        self.frames as f64 / self.config.rate.hz()
    }

    /// How many of `there` frames are taken at a time: none beyond the end of the novelty's hop, so
    /// that whatever is said is said at the same frame however the samples were cut.
    fn run_frames(&self, there: usize) -> usize {
        let wanted = self.novelty.wanted();
        let wanted = match &self.high {
            Some(d) => d.inputs_for(wanted),
            None => wanted,
        };
        there.min(wanted).min(RUN_FRAMES)
    }

    /// Takes the frames that were cleaned.
    fn run(&mut self, say: &mut dyn FnMut(Event)) {
        let low_per_frame = self.low_ratio / self.high_factor as f64;
        let at_low = self.frames as f64 * low_per_frame;
        self.loudness.watch(&self.clean, at_low, low_per_frame);
        self.frames += self.clean.len() as u64;
        self.steady.clear();
        match &mut self.high {
            Some(d) => d.run(&self.clean, &mut self.steady),
            None => self.steady.extend_from_slice(&self.clean),
        }
        self.high_count += self.steady.len() as u64;
        // What does not move is no sound: a constant would hide every fall of the level.
        let first = self.steady.first().map_or(0.0, |sample| f64::from(*sample));
        let (mut last, mut moving) = (self.last_in.unwrap_or(first), self.last_out);
        for sample in &mut self.steady {
            let still = f64::from(*sample);
            moving = still - last + self.keep * moving;
            last = still;
            *sample = moving as f32;
        }
        if !self.steady.is_empty() {
            (self.last_in, self.last_out) = (Some(last), moving);
        }
        self.loudness.take(&self.steady);
        match &mut self.low {
            Some(d) => {
                self.lower.clear();
                d.run(&self.steady, &mut self.lower);
                self.stream.extend(&self.lower);
            }
            None => self.stream.extend(&self.steady),
        }
        if let Some(rise) = self.novelty.take(&self.steady) {
            self.hop(rise, say);
        }
    }

    fn to_seconds(&self, low: f64) -> f64 {
        low / self.low_rate_hz
    }

    /// Level over a span of the low-rate stream, in decibels.
    fn level_db(&self, from: f64, to: f64) -> f64 {
        let x = self.stream.range(from.round() as i64, to.round() as i64);
        10.0 * (mean_square(x) + 1e-14).log10()
    }
}
