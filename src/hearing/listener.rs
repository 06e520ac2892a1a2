//! Blocks of samples in, events out.
//!
//! The order of the work: a peak of the novelty is a candidate; 165 ms later, when what follows
//! can tell what it was, its moment is refined (`jump`), its features are taken and weighed to
//! evidence; it is settled when the next sure onset has come, with pitch (`pitch`), level and end
//! (`dsp::envelope`). Beside that, a clear rise is said at once and named as soon as it can be
//! (`naming`). All state advances by sample and by hop, never by block.
//!
//! # Source
//! The methods are those of the other files and name their papers there. The evidence is a
//! logistic regression: D. R. Cox (1958), *The regression analysis of binary sequences*, J. R.
//! Statist. Soc. B 20, 215-242 (from memory). That touches and ripples within 45 ms belong to one
//! pluck, and the limits below, were measured on recorded strings.

use std::collections::VecDeque;

use super::calibration::KnownString;
use super::dsp::decimate::Decimator;
use super::dsp::envelope;
use super::dsp::history::History;
use super::dsp::lines::{Lines, NewLines};
use super::dsp::novelty::Novelty;
use super::events::{EndCause, Event, HeardNote, HeardPitch, HeardRing, OnsetFeatures};
use super::jump::{APART_S, COPIES, Jump, JumpFinder};
use super::naming::{self, Waiting};
use super::pitch::{Pitch, PitchMeter};
use super::rings::{PlayedNote, Ring, Rings};
use crate::units::{Hertz, SampleRate};

/// What the listener must know before it starts.
#[derive(Clone, Debug, PartialEq)]
pub struct ListenerConfig {
    /// Frames per second of the source, 8000 to 192000.
    pub rate: SampleRate,
    /// Frequency of A4.
    pub a4: Hertz,
    /// Lowest pitch that can sound; the low B of a bass, a little flat, by default.
    pub lowest: Hertz,
    /// Highest pitch that can sound.
    pub highest: Hertz,
    /// The open strings, which may ring along; none when nothing is known of them.
    pub open_strings: Vec<Hertz>,
    /// Chords that may be asked for, the lowest note first.
    pub chords: Vec<Vec<Hertz>>,
    /// What was measured of the strings before.
    pub known_strings: Vec<KnownString>,
    /// Whether to listen for what still sounds after a note was stopped.
    pub after_stop: bool,
}

impl ListenerConfig {
    /// A bass of four, five or six strings, tuned to 440 Hz.
    pub fn bass(rate: SampleRate) -> Self {
        Self {
            rate,
            a4: Hertz(440.0),
            lowest: Hertz(29.0),
            highest: Hertz(560.0),
            open_strings: [97.9989, 73.4162, 55.0, 41.2034].map(Hertz).to_vec(),
            chords: Vec::new(),
            known_strings: Vec::new(),
            after_stop: false,
        }
    }
}

/// Why a listener cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ListenError {
    /// The sample rate is outside what can be analysed.
    #[error("the sample rate is {given} Hz; rates from 8000 to 192000 Hz can be listened to")]
    Rate {
        /// The rate that was asked for.
        given: u32,
    },
    /// The pitch range is empty or outside what can be analysed.
    #[error(
        "pitches from {lowest} to {highest} Hz were asked for; the lowest must be 20 Hz or more and below the highest, the highest at most {limit} Hz at this sample rate"
    )]
    Range {
        /// Lowest pitch asked for.
        lowest: f64,
        /// Highest pitch asked for.
        highest: f64,
        /// Highest pitch possible.
        limit: f64,
    },
}

/// A peak of the novelty this high is looked into, in decibels.
const CANDIDATE_DB: f32 = 0.6;
/// A rise of the novelty beyond this is said at once, in decibels.
const HEARD_DB: f32 = 2.0;
/// New lines peak where they are the most of so many looks, ...
const LINES_SEEN: usize = 5;
/// ... and are this share of all lines, ...
const LINES_SHARE: f32 = 0.12;
/// ... which are not this far below the usual level, in decibels.
const LINES_QUIET_DB: f64 = 22.0;
/// A candidate this close speaks for them, in seconds.
const LINES_APART_S: f64 = 0.030;
/// What the novelty is taken to be where it has no peak, in decibels.
const LINES_NOVELTY_DB: f32 = 0.5;
/// Two starts closer than this are one, in seconds.
const STARTS_APART_S: f64 = 0.040;
/// A candidate is the highest peak within this many seconds on either side.
const PEAK_REACH_S: f64 = 0.0175;
/// From the centre of the window whose novelty peaks back to the onset, in seconds.
const PEAK_TO_ONSET_S: f64 = 0.0024;
/// How long after a candidate it is judged: what follows must tell what it was.
const JUDGED_AFTER_S: f64 = 0.165;
/// Chords are looked for after onsets with at least this evidence.
const CHORD_FROM: f64 = -3.0;
/// A note that rings longer than this is settled as it stands.
const LONGEST_NOTE_S: f64 = 9.0;
/// Onsets closer than this belong to one pluck.
const ONE_PLUCK_S: f64 = 0.045;
/// An event with more evidence than this may be a note in the end, so it ends the one before.
const MAYBE: f64 = -3.0;
/// ... but not so soon that it may be a ripple of the attack.
const MAYBE_AFTER_S: f64 = 0.085;
/// A take that begins in the middle of a clear tone may begin with a note: the evidence is even,
/// less a little because hum is clear, too.
const OPENING_CLARITY: f64 = 0.9;
const OPENING_EVIDENCE: f64 = -1.0;
/// The stretches before and after an onset whose periods are compared.
const TURN_BEFORE_S: f64 = 0.100;
const TURN_AFTER_S: f64 = 0.110;
const TURN_PERIODS: f64 = 2.3;
/// After this long a note that could not be named at once waits for its settled pitch.
const NAMED_WITHIN_S: f64 = 0.12;
/// So many periods must have been heard of the lag that is named.
const NAMED_AFTER_PERIODS: f64 = 1.6;
/// A candidate below this is only looked into ...
const FAINT_DB: f32 = 1.0;
/// ... when so much of the sound after it is new. On recorded strings not one of 261 faint plucks
/// was below 0.08, four in five ripples were.
const FAINT_SHARE: f64 = 0.05;
/// The onset may lie a little later than the candidate, so there, too, in seconds.
const FAINT_LATER_S: f64 = 0.015;
/// What an event with less evidence than this added is not looked at.
const ADDED_FROM: f64 = -7.0;
/// With less evidence than this it is looked at only where so much of the sound is new ...
const GAINED_FROM: f64 = -3.0;
const ADDED_SHARE: f64 = 0.04;
/// ... and looked at twice only where one series explains so much of that.
const ADDED_SCORE: f64 = 0.2;
/// The sound before it is taken from so long after the last sure onset, in seconds ...
const ADDED_SINCE_S: f64 = 0.010;
/// ... and the sound it added up to the next rise of this height, in decibels.
const ADDED_UNTIL_DB: f32 = 4.0;
/// The pitch of an event with less evidence than this is not measured: nobody will ask for it.
const NO_PITCH_BELOW: f64 = -7.0;
/// Samples beyond this are no sound: their squares would leave the range of numbers.
const LOUDEST: f32 = 1e7;
/// What moves slower than this is taken out of the sound; the lowest string is three times faster.
const CONSTANT_BELOW_HZ: f64 = 8.0;
/// An onset needs this much sound before it to be compared with.
const PAST_S: f64 = 0.040;
/// A moment with so much more evidence than a touch just before it is the pluck's.
const SURER_NATS: f64 = 3.0;
/// An onset this close to the end of the stream is its breaking off, in seconds.
const BREAK_S: f64 = 0.015;
/// Silence is what lies this far below the usual note's beginning, in decibels.
const SILENCE_DB: f64 = 25.0;
/// A note is over where the level has come this close to what it stays at ...
const OVER_ABOVE_DB: f64 = 10.0;
/// ... for longer than this; ...
const OVER_LONG_S: f64 = 0.400;
/// The last so much of a note is looked at for its end, in seconds; ...
const LOOKED_AT_S: f64 = 0.9;
/// ... this much is looked at behind it.
const OVER_TAIL_S: f64 = 0.120;
/// How fast the usual level follows a new note.
const USUAL_LEVEL_PACE: f64 = 0.15;
/// Kept of the low-rate stream.
const HISTORY_S: f64 = 12.0;
/// Level traces are taken this often.
const TRACE_STEP_S: f64 = 0.002;
/// Level traces look at what lies below this frequency: all of the low-rate stream.
const LEVEL_SPAN_DEFAULT_S: f64 = 0.02;

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
    features: OnsetFeatures,
    evidence: f64,
    novelty_db: f32,
    heard_at_s: f64,
    named_at_s: Option<f64>,
}

/// A start that was said, for the settled notes to refer to.
#[derive(Clone, Copy, Debug)]
struct Said {
    onset_s: f64,
    at_s: f64,
    named_at_s: Option<f64>,
}

/// Hears notes in a stream of mono samples.
///
/// All state advances by sample and by hop, never by block: the same samples give the same events
/// however they are cut.
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
    stream: History,
    rises: VecDeque<(i64, f32)>,
    lines: Lines,
    new_lines: VecDeque<NewLines>,
    peak_reach: usize,
    candidates: VecDeque<Candidate>,
    forming: VecDeque<Forming>,
    said: VecDeque<Said>,
    waiting: Option<(Said, Waiting)>,
    work: naming::Work,
    jumps: JumpFinder,
    meter: PitchMeter,
    rings: Rings,
    trace: Vec<f32>,
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
            stream: History::new((HISTORY_S * low_rate) as usize),
            rises: VecDeque::new(),
            lines: Lines::new(low_rate),
            new_lines: VecDeque::with_capacity(LINES_SEEN + 1),
            peak_reach: (PEAK_REACH_S / hop_s).round() as usize,
            candidates: VecDeque::new(),
            forming: VecDeque::new(),
            said: VecDeque::new(),
            waiting: None,
            work: naming::Work::default(),
            jumps: JumpFinder::new(low_rate),
            meter: PitchMeter::new(low_rate, lo, hi),
            rings: Rings::new(
                low_rate,
                &config.open_strings.iter().map(|h| h.0).collect::<Vec<_>>(),
            )
            .with_known(&config.known_strings),
            trace: Vec::new(),
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
        for s in samples {
            let s = if s.is_finite() { *s } else { 0.0 };
            self.push_one(s.clamp(-LOUDEST, LOUDEST), say);
        }
    }

    /// Takes `frames` frames that were lost: silence, so that time stays true.
    pub fn gap(&mut self, frames: u64, say: &mut dyn FnMut(Event)) {
        for _ in 0..frames {
            self.push_one(0.0, say);
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
        self.rings.finish(&mut |ring| say(rang(ring, a4)));
    }

    /// What was heard of each open string when it was plucked open, in the order in which they
    /// were given.
    pub fn strings(&self) -> Vec<Option<KnownString>> {
        self.rings.strings()
    }

    fn position_s(&self) -> f64 {
        self.frames as f64 / self.config.rate.hz()
    }

    fn push_one(&mut self, sample: f32, say: &mut dyn FnMut(Event)) {
        self.frames += 1;
        let high = match &mut self.high {
            Some(d) => match d.push(sample) {
                Some(v) => v,
                None => return,
            },
            None => sample,
        };
        self.high_count += 1;
        // What does not move is no sound: a constant would hide every fall of the level.
        let still = f64::from(high);
        let last = self.last_in.replace(still).unwrap_or(still);
        self.last_out = still - last + self.keep * self.last_out;
        let high = self.last_out as f32;
        match &mut self.low {
            Some(d) => {
                if let Some(v) = d.push(high) {
                    self.stream.push(v);
                }
            }
            None => self.stream.push(high),
        }
        if let Some(rise) = self.novelty.push(high) {
            self.hop(rise, say);
        }
    }

    fn hop(&mut self, rise: f32, say: &mut dyn FnMut(Event)) {
        // The place a peak of this hop's window speaks of, in the low-rate stream.
        let centre = self.high_count as f64 - self.novelty.window_frames() as f64 / 2.0;
        let high_rate = self.config.rate.hz() / self.high_factor as f64;
        let at = ((centre - PEAK_TO_ONSET_S * high_rate) * self.low_ratio).round() as i64;
        self.rises.push_back((at, rise));
        self.say_soon(rise, say);
        if self.rises.len() > 2 * self.peak_reach + 1 {
            self.rises.pop_front();
        }
        if self.rises.len() == 2 * self.peak_reach + 1 {
            let (at, v) = self.rises[self.peak_reach];
            let top = self.rises.iter().enumerate().all(|(i, (_, w))| {
                if i < self.peak_reach { *w < v } else { *w <= v }
            });
            if top && v >= CANDIDATE_DB {
                self.candidates.push_back(Candidate { at, novelty_db: v });
            }
        }
        if self.high_count == self.novelty.window_frames() as u64 {
            // Whatever sounds from the first frame on has no rise that could be seen.
            self.candidates.push_back(Candidate {
                at: 0,
                novelty_db: CANDIDATE_DB,
            });
        }
        if let Some(new) = self.lines.look(&self.stream) {
            self.watch_lines(new);
        }
        let due = self.stream.end() - (JUDGED_AFTER_S * self.low_rate_hz) as i64;
        while let Some(c) = self.candidates.front().copied().filter(|c| c.at < due) {
            self.candidates.pop_front();
            self.judge(c);
        }
        self.settle_ready(say);
    }

    fn say_soon(&mut self, rise: f32, say: &mut dyn FnMut(Event)) {
        let now_s = self.position_s();
        let clear = self
            .said
            .back()
            .is_none_or(|s| now_s - s.at_s > STARTS_APART_S);
        if rise >= HEARD_DB && clear {
            let onset_s = now_s - self.latency_s - 0.0052;
            let s = Said {
                onset_s,
                at_s: now_s,
                named_at_s: None,
            };
            self.said.push_back(s);
            if self.said.len() > 256 {
                self.said.pop_front();
            }
            say(Event::Started {
                onset_s,
                at_s: now_s,
            });
            let onset = self.stream.end() as f64 - 0.0052 * self.low_rate_hz;
            self.waiting = Some((
                s,
                Waiting {
                    onset,
                    periods: NAMED_AFTER_PERIODS,
                },
            ));
        }
        let Some((s, w)) = self.waiting else { return };
        let named = naming::name(
            &self.stream,
            self.low_rate_hz,
            self.config.lowest.0,
            self.config.highest.0,
            w,
            &mut self.work,
        );
        if let Some(hz) = named {
            let midi = Hertz(hz).to_midi(self.config.a4).0;
            say(Event::Named {
                onset_s: s.onset_s,
                midi,
                at_s: now_s,
            });
            if let Some(last) = self.said.iter_mut().rev().find(|x| x.at_s == s.at_s) {
                last.named_at_s = Some(now_s);
            }
            self.waiting = None;
        } else if now_s - s.at_s > NAMED_WITHIN_S {
            self.waiting = None;
        }
    }

    /// A peak of the new lines is a candidate, too, where the novelty has none.
    fn watch_lines(&mut self, new: NewLines) {
        self.new_lines.push_back(new);
        if self.new_lines.len() > LINES_SEEN {
            self.new_lines.pop_front();
        }
        if self.new_lines.len() < LINES_SEEN {
            return;
        }
        let middle = self.new_lines[LINES_SEEN / 2];
        let top = self.new_lines.iter().enumerate().all(|(i, n)| {
            if i < LINES_SEEN / 2 {
                n.share < middle.share
            } else {
                n.share <= middle.share
            }
        });
        let quiet = self
            .usual_level_db
            .is_none_or(|usual| f64::from(middle.top_db) < usual - LINES_QUIET_DB);
        if !top || middle.share < LINES_SHARE || quiet {
            return;
        }
        let near = (LINES_APART_S * self.low_rate_hz) as i64;
        let known = self
            .candidates
            .iter()
            .any(|c| (c.at - middle.at).abs() < near);
        let place = self.candidates.partition_point(|c| c.at <= middle.at);
        if !known {
            self.candidates.insert(
                place,
                Candidate {
                    at: middle.at,
                    novelty_db: LINES_NOVELTY_DB,
                },
            );
        }
    }

    fn to_seconds(&self, low: f64) -> f64 {
        low / self.low_rate_hz
    }

    /// Level over a span of the low-rate stream, in decibels.
    fn level_db(&self, from: f64, to: f64) -> f64 {
        let x = self.stream.range(from.round() as i64, to.round() as i64);
        let sum: f64 = x.iter().map(|v| f64::from(*v) * f64::from(*v)).sum();
        10.0 * (sum / x.len().max(1) as f64 + 1e-14).log10()
    }

    fn judge(&mut self, c: Candidate) {
        // A faint rise after which nothing sounds that did not sound before is no onset; to see
        // so costs a tenth of looking for its moment.
        let mut new_share = 0.0f64;
        if c.novelty_db < FAINT_DB && c.at > 0 {
            let later = c.at as f64 + FAINT_LATER_S * self.low_rate_hz;
            let fresh = [c.at as f64, later].map(|at| self.meter.fresh_share(&self.stream, at));
            new_share = fresh[0].max(fresh[1]);
            if new_share < FAINT_SHARE {
                return;
            }
        }
        let jump = self.jumps.find(&self.stream, c.at);
        let r = self.low_rate_hz;
        let at = jump.at;
        let before = self.level_db(at - 0.028 * r, at - 0.004 * r);
        let after = self.level_db(at + 0.005 * r, at + 0.060 * r);
        let later = self.level_db(at + 0.060 * r, at + 0.110 * r);
        self.quiet_db = self.quiet_db.min(before).min(later);
        let pitch = self
            .meter
            .period_between(&self.stream, at + 0.012 * r, at + 0.150 * r);
        let fresh_share = self.meter.fresh_share(&self.stream, at);
        // Before the stream there is nothing that an onset could stand out from.
        let has_past = at > PAST_S * r;
        let mut features = OnsetFeatures {
            novelty_db: f64::from(c.novelty_db),
            jump: jump.height,
            error_rise_db: if has_past {
                jump.error_rise_db
            } else {
                [0.0; COPIES]
            },
            level_rise_db: if has_past { after - before } else { 0.0 },
            level_fall_db: after - later,
            level_db: after,
            relative_level_db: self.usual_level_db.map_or(0.0, |u| after - u),
            relative_novelty: self
                .usual_novelty
                .map_or(1.0, |u| f64::from(c.novelty_db) / u),
            fresh_share,
            new_share: new_share.max(fresh_share),
            gained_midi: 0.0,
            gained_score: 0.0,
            added_midi: 0.0,
            added_score: 0.0,
            added_db: 0.0,
            turn: self.turn(at),
            pitch_step_cents: self.pitch_step(pitch),
            clarity: pitch.map_or(0.0, |p| p.1),
            hz: pitch.map_or(0.0, |p| p.0),
        };
        let opening = c.at == 0;
        let evidence = match opening {
            false => evidence(&features),
            true if features.clarity > OPENING_CLARITY => OPENING_EVIDENCE,
            true => return,
        };
        if evidence > ADDED_FROM {
            self.look_for_added(at, evidence, &mut features);
        }
        // What lies this close together is one pluck: a touch before it, a ripple of its attack.
        if let Some(last) = self.forming.back()
            && at - last.jump.at < ONE_PLUCK_S * r
        {
            self.merge(jump, features, evidence, c.novelty_db);
            return;
        }
        if evidence > 0.0 {
            let usual = self.usual_level_db.unwrap_or(after);
            self.usual_level_db = Some(usual + USUAL_LEVEL_PACE * (after - usual));
            let usual = self.usual_novelty.unwrap_or(f64::from(c.novelty_db));
            self.usual_novelty = Some(usual + USUAL_LEVEL_PACE * (f64::from(c.novelty_db) - usual));
            self.last_sure_at = at;
            self.last_sure = pitch.or(self.last_sure);
        }
        let onset_s = self.to_seconds(at);
        let said = self
            .said
            .iter()
            .filter(|s| s.at_s > onset_s - 0.004 && s.onset_s < onset_s + 0.045)
            .min_by(|a, b| {
                (a.onset_s - onset_s)
                    .abs()
                    .total_cmp(&(b.onset_s - onset_s).abs())
            })
            .copied();
        self.forming.push_back(Forming {
            jump,
            features,
            evidence,
            novelty_db: c.novelty_db,
            heard_at_s: said.map_or(self.position_s(), |s| s.at_s),
            named_at_s: said.and_then(|s| s.named_at_s),
        });
    }

    /// What the onset added to a sound that rings on, in two ways that must agree. Where little is
    /// new nobody will ask.
    fn look_for_added(&mut self, at: f64, evidence: f64, features: &mut OnsetFeatures) {
        let r = self.low_rate_hz;
        let weak = evidence < GAINED_FROM;
        if weak && features.new_share < ADDED_SHARE {
            return;
        }
        let since = self.last_sure_at + ADDED_SINCE_S * r;
        let until = self
            .candidates
            .iter()
            .find(|n| n.novelty_db > ADDED_UNTIL_DB && n.at as f64 > at + ONE_PLUCK_S * r)
            .map_or(self.stream.end() as f64, |n| n.at as f64 - 0.004 * r);
        let a4 = self.config.a4;
        if let Some(added) = self.meter.added(&self.stream, since, at, until) {
            features.added_midi = Hertz(added.hz).to_midi(a4).0;
            features.added_score = added.score;
            features.added_db = added.level_db;
        }
        if weak && features.added_score < ADDED_SCORE {
            return;
        }
        if let Some(gained) = self.meter.gained(&self.stream, at, at + 0.100 * r) {
            features.gained_midi = Hertz(gained.hz).to_midi(a4).0;
            features.gained_score = gained.score;
        }
    }

    /// Takes a candidate close behind the last one into it: the pluck keeps the best evidence of
    /// both, the moment that was the pluck's, and the other one to be told.
    fn merge(&mut self, jump: Jump, features: OnsetFeatures, evidence: f64, novelty_db: f32) {
        let moved = self.moved_later(&features, jump.height, evidence);
        let Some(last) = self.forming.back_mut() else {
            return;
        };
        let (chosen, passed) = if moved {
            (jump, last.jump)
        } else {
            (last.jump, jump)
        };
        let nats = chosen.height - passed.height;
        let nearer = (passed.at - chosen.at).abs() >= APART_S * self.low_rate_hz
            && chosen.other.is_none_or(|(_, other)| nats < other);
        if moved || evidence > last.evidence {
            last.features = features;
        }
        last.jump = chosen;
        if nearer {
            last.jump.other = Some((passed.at, nats));
        }
        last.evidence = last.evidence.max(evidence);
        last.novelty_db = last.novelty_db.max(novelty_db);
    }

    /// Whether a candidate close behind the last one is the moment of the pluck of which that was
    /// the touch: a touch is heard but leaves the string's own low partials alone.
    fn moved_later(&self, new: &OnsetFeatures, height: f64, evidence: f64) -> bool {
        let Some(last) = self.forming.back() else {
            return true;
        };
        let (before, after) = (last.features.error_rise_db[0], new.error_rise_db[0]);
        let gain = height - last.jump.height;
        let surer = evidence - last.evidence;
        (surer > SURER_NATS && before < 3.0 && gain > -3.0)
            || (gain > 2.0 && after > before + 3.0)
            || (gain > -2.0 && before < 2.0 && after > before + 4.0)
    }

    /// How clearly the pitch turns at `at`; see [`OnsetFeatures::turn`].
    fn turn(&mut self, at: f64) -> f64 {
        let r = self.low_rate_hz;
        let from = (at - TURN_BEFORE_S * r).max(self.last_sure_at + 0.010 * r);
        let before = self
            .meter
            .period_between(&self.stream, from, at - 0.006 * r);
        let after = self
            .meter
            .period_between(&self.stream, at + 0.010 * r, at + TURN_AFTER_S * r);
        let (Some((f, a)), Some((g, b))) = (before, after) else {
            return 0.0;
        };
        // A period that was seen hardly twice is no pitch yet.
        if (at - from) * f < TURN_PERIODS * r || TURN_AFTER_S * g < TURN_PERIODS {
            return 0.0;
        }
        let semitones = 12.0 * (g / f).log2();
        let same = [0.0, 12.0, 19.0, 24.0]
            .iter()
            .any(|h| (semitones.abs() - h).abs() < 0.7);
        if same { 0.0 } else { a.min(b) }
    }

    /// Distance of `pitch` from the last sure note's, in cents; 0 when either is unclear.
    fn pitch_step(&self, pitch: Option<(f64, f64)>) -> f64 {
        let clear = |c: f64| c > 0.75;
        match (pitch, self.last_sure) {
            (Some((new, now)), Some((hz, before))) if clear(now) && clear(before) => {
                (1731.2 * (new / hz).ln()).abs()
            }
            _ => 0.0,
        }
    }

    fn settle_ready(&mut self, say: &mut dyn FnMut(Event)) {
        let now = self.stream.end() as f64;
        loop {
            let Some(front) = self.forming.front() else {
                return;
            };
            let next = self
                .forming
                .iter()
                .skip(1)
                .find(|f| f.evidence > 0.0)
                .map(|f| f.jump.at);
            let old = now - front.jump.at > LONGEST_NOTE_S * self.low_rate_hz;
            if next.is_none() && !old {
                return;
            }
            let position = self.position_s();
            self.settle_front(None, position, say);
        }
    }

    fn settle_front(
        &mut self,
        stream_end: Option<f64>,
        position_s: f64,
        say: &mut dyn FnMut(Event),
    ) {
        let Some(f) = self.forming.pop_front() else {
            return;
        };
        let r = self.low_rate_hz;
        let onset = f.jump.at;
        let next = self
            .forming
            .iter()
            .find(|n| n.evidence > 0.0)
            .map(|n| n.jump.at);
        let limit = next
            .or(stream_end)
            .unwrap_or(self.stream.end() as f64)
            .min(onset + LONGEST_NOTE_S * r)
            .max(onset + 1.0);
        // What may be a note of another pitch must not be listened into.
        let soonest = onset + MAYBE_AFTER_S * r;
        let maybe = self
            .forming
            .iter()
            .find(|n| n.evidence > MAYBE && n.jump.at > soonest)
            .map(|n| n.jump.at);
        let heard_to = maybe.map_or(limit, |m| m.clamp(onset + 1.0, limit));
        let coarse = (f.evidence > NO_PITCH_BELOW)
            .then(|| self.meter.measure(&self.stream, onset, heard_to))
            .flatten();
        let period = coarse.map_or(LEVEL_SPAN_DEFAULT_S * r, |p| r / p.hz);
        let end = self.end_of(onset, limit, period, next.is_some());
        let pitch = match coarse {
            Some(p) if end.at < onset + 0.48 * r && end.at < heard_to - 0.01 * r => {
                self.meter.measure(&self.stream, onset, end.at).or(Some(p))
            }
            other => other,
        };
        let cause = match (end.depth_db > 0.0, next.is_some(), stream_end.is_some()) {
            (true, _, _) => end.cause,
            (false, true, _) => EndCause::NextOnset,
            (false, false, true) => EndCause::TakeEnded,
            (false, false, false) => EndCause::DiedAway,
        };
        let mut chords = Vec::new();
        if f.evidence > CHORD_FROM {
            let a4 = self.config.a4.0;
            for wanted in &self.config.chords {
                let hz: Vec<f64> = wanted.iter().map(|h| h.0).collect();
                let heard = self.rings.chord(&self.stream, onset, limit, &hz, a4);
                chords.push(heard.unwrap_or_default());
            }
        }
        let still = match pitch {
            Some(p) if self.config.after_stop && f.evidence > 0.0 => {
                let stopped = (onset, end.at, limit);
                self.rings.still(&self.stream, stopped, p.hz)
            }
            _ => None,
        };
        if f.evidence > 0.0 {
            let note = PlayedNote {
                onset,
                release: end.at,
                next: limit,
                pitch: pitch.map(|p| (p.hz, p.inharmonicity)),
            };
            let a4 = self.config.a4;
            let doubts: Vec<f64> = self
                .forming
                .iter()
                .filter(|n| n.evidence > MAYBE && n.jump.at < limit)
                .map(|n| n.jump.at)
                .collect();
            self.rings
                .note(&self.stream, note, &doubts, &mut |ring| say(rang(ring, a4)));
        }
        let note_end = (onset + 0.100 * r).min(limit);
        let fall = (limit - onset > 0.130 * r).then_some(f.features.level_fall_db);
        let quality = self.onset_uncertainty_s(&f);
        say(Event::Settled(HeardNote {
            onset_s: self.to_seconds(onset),
            onset_uncertainty_s: quality,
            other_onset: f.jump.other.map(|(at, nats)| (self.to_seconds(at), nats)),
            evidence: f.evidence,
            novelty_db: f64::from(f.novelty_db),
            pitch: pitch.map(|p| self.heard_pitch(p)),
            level_dbfs: self.level_db(onset, note_end),
            release_s: self.to_seconds(end.at),
            end: cause,
            depth_db: if next.is_some() { end.depth_db } else { 0.0 },
            early_fall_db: fall,
            heard_at_s: f.heard_at_s.min(position_s),
            named_at_s: f.named_at_s.or(pitch.map(|_| position_s)),
            features: f.features,
            chords,
            still,
        }));
    }

    fn onset_uncertainty_s(&self, f: &Forming) -> f64 {
        (f.jump.width_s * 0.5).clamp(0.0005, 0.010)
    }

    fn heard_pitch(&self, p: Pitch) -> HeardPitch {
        HeardPitch {
            midi: Hertz(p.hz).to_midi(self.config.a4).0,
            uncertainty_cents: p.uncertainty_cents,
            clarity: p.clarity,
            rivals: p
                .rivals
                .map(|rival| rival.map(|(hz, nats)| (Hertz(hz).to_midi(self.config.a4).0, nats))),
        }
    }

    /// Where a note's sound is over for good, if it is over well before `stop`: a long silence after
    /// a note says nothing of how the note ended and is left out of the look at it.
    fn end_of_sound(&self, onset: f64, stop: f64) -> f64 {
        let r = self.low_rate_hz;
        let (span, step) = (0.020 * r, 0.010 * r);
        let low = self.level_db(stop - 2.0 * span, stop);
        if self
            .usual_level_db
            .is_none_or(|usual| low > usual - SILENCE_DB)
        {
            return stop;
        }
        let mut at = stop;
        while at - span > onset + span && self.level_db(at - span, at) < low + OVER_ABOVE_DB {
            at -= step;
        }
        if stop - at < OVER_LONG_S * r {
            return stop;
        }
        at + OVER_TAIL_S * r
    }

    fn end_of(&mut self, onset: f64, limit: f64, period: f64, cut: bool) -> End {
        let r = self.low_rate_hz;
        let step = ((TRACE_STEP_S * r).round() as usize).max(1);
        let guard = 0.5 * period + 0.004 * r;
        let stop = if cut { limit - guard } else { limit };
        let stop = self.end_of_sound(onset, stop);
        // Where a stop is waited for, what sounds on after it may last longer than that.
        let looked_at = if self.config.after_stop {
            LONGEST_NOTE_S
        } else {
            LOOKED_AT_S
        };
        let start = (onset + 0.020 * r).max(stop - looked_at * r).min(stop);
        let half = 0.5 * period;
        let from = (start - half).round() as i64;
        let to = (stop + half).round() as i64;
        envelope::level_db(
            self.stream.range(from, to),
            period.round() as usize,
            step,
            &mut self.trace,
        );
        let lead = (half / step as f64).round() as usize;
        let inner = self.trace.len().saturating_sub(lead);
        if inner <= lead + 6 {
            return End {
                at: limit,
                depth_db: 0.0,
                cause: EndCause::NextOnset,
            };
        }
        let step_s = step as f64 / r;
        let floor = self.quiet_db;
        match envelope::release(&self.trace[lead..inner], step_s, floor) {
            Some(found) => End {
                at: (from as f64 + (lead as f64 + found.at) * step as f64).min(limit),
                depth_db: found.depth_db,
                cause: EndCause::Damped,
            },
            None => End {
                at: limit,
                depth_db: 0.0,
                cause: EndCause::NextOnset,
            },
        }
    }
}

/// What the rings say, in the words of the events.
fn rang(ring: Ring, a4: Hertz) -> Event {
    Event::Rang(HeardRing {
        midi: Hertz(ring.hz).to_midi(a4).0,
        source_onset_s: ring.source_onset_s,
        from_s: ring.from_s,
        to_s: ring.to_s,
        level_db: ring.level_db,
        evidence: ring.evidence,
    })
}

struct End {
    at: f64,
    depth_db: f64,
    cause: EndCause,
}

/// Weights of the features in the evidence, in nats per unit, in the order of
/// [`OnsetFeatures::as_row`], and the constant.
///
/// Logistic regression (Cox 1958, from memory) on labelled candidates of five recorded and thirteen
/// rendered instruments; judged on instruments left out of the fit, see DEVELOPERS.md.
const EVIDENCE_WEIGHTS: [f64; 18] = [
    0.845, 0.125, -0.288, 0.371, -0.247, 0.387, 0.111, 3.938, 0.370, 0.217, 0.330, -0.398, 0.251,
    0.199, -8.913, 2.763, 7.422, 2.265,
];
const EVIDENCE_CONSTANT: f64 = -9.322;

fn evidence(f: &OnsetFeatures) -> f64 {
    let row = f.as_row();
    EVIDENCE_CONSTANT
        + row
            .iter()
            .zip(EVIDENCE_WEIGHTS)
            .map(|(x, w)| x * w)
            .sum::<f64>()
}
