//! Many channels to one, so that the level is right and nothing cancels.
//!
//! A bass take is often a stereo file with the bass in one channel only, or the same signal twice
//! with one side turned over. The mean of all channels would be 6 dB down in the first case and
//! silent in the second. So the stream is held back until two seconds of it have sounded, twelve
//! seconds at most, and the plan is made then:
//!
//! - a channel more than 60 dB under the loudest is *dead* and left out;
//! - a channel that does not move, mains hum or hiss alone, is left out where another one moves as notes do;
//! - of channels that would cancel one another only the loudest is taken;
//! - all others are averaged, each with the same weight.
//!
//! From then on half a second is held back and the plan is held against it, since a lead may be moved to
//! the other input in mid take: channels that begin to cancel one another leave the loudest alone, and where
//! all that is used has fallen silent while another channel sounds, that one is taken in as well. Nothing is
//! let go again, so that a bass that pauses while a click sounds beside it is still there afterwards.
//!
//! If twelve seconds pass in near silence the oldest of it is let go, averaged over all channels,
//! and the decision stays open. Everything is measured over windows of 50 ms counted from the
//! first frame, so the result does not depend on how the stream is cut into blocks.

mod plan;

use std::collections::VecDeque;

use crate::sound::notes::SoundNote;
use crate::units::{Decibels, FrameIndex, SampleRate};
use plan::{Plan, Window, mix_by, moves, steady};

/// Windows per second. 50 ms holds two periods of a low E, so that the mean of a window is the
/// converter's offset and not the note; longer windows let one click count for more time.
const WINDOWS_PER_S: u32 = 20;

/// Windows that must sound before the plan is made: two seconds. A count-in of four clicks fills
/// four windows, so it does not make the plan before the bass comes in.
const SOUNDING_WINDOWS: u32 = 40;

/// Windows that must sound where nothing moves, before the plan is made all the same: six seconds. Hum or hiss
/// in one channel may be all there is before the first note. Raised, long notes alone are held back longer.
const PATIENT_WINDOWS: u32 = 120;

/// Windows held back at most: twelve seconds.
const HELD_WINDOWS_MAX: usize = 240;

/// Samples held back at most, all channels together (16 MiB): for many channels at high rates.
const HELD_SAMPLES_MAX: usize = 1 << 22;

/// A channel this far under the loudest in power is dead: 60 dB, the cross-talk of a poor cable.
const DEAD_POWER_RATIO: f64 = 1e-6;

/// Channels cancel when the power of their sum is less than this part of the sum of their powers
/// (1 for unrelated channels, 2 for equal ones, 0 for opposed ones); 0.2 is a correlation of −0.8.
const CANCEL_RATIO: f64 = 0.2;

/// Windows held back once there is a plan: half a second. Raised, the plan changes more slowly.
const AHEAD_WINDOWS: usize = 10;

/// What is used has fallen silent when another channel is this much stronger in power for half a second: 30 dB.
const GONE_RATIO: f64 = 1e-3;

/// Length of the passage from one plan to the next, in windows per passage: a fifth of 50 ms.
const FADES_PER_WINDOW: usize = 5;

/// A channel that was left out is reported when it reaches this magnitude: −40 dBFS.
const WAKES_AT: f32 = 0.01;

/// The mixdown of one stream.
pub struct Mixdown {
    channels: usize,
    window_frames: usize,
    plan: Option<Plan>,
    /// Interleaved samples held back; the first `measured_frames` of them are measured.
    held: Vec<f32>,
    measured_frames: usize,
    sounding_windows: u32,
    /// Sum of the power of each channel over the sounding windows, and of the sum of them all.
    power: Vec<f64>,
    sum_power: f64,
    /// The sounding windows by which the plan is made.
    windows: Vec<Vec<f64>>,
    /// What is held back since the plan was made.
    ahead: VecDeque<Window>,
    /// Channels that do not move.
    steady: Vec<usize>,
    /// Frames that were mixed already.
    frames: u64,
    dead: Vec<usize>,
    woken: Vec<Option<FrameIndex>>,
    notes: Vec<SoundNote>,
}

impl Mixdown {
    /// For a stream of `channels` channels at `rate`.
    pub fn new(channels: u16, rate: SampleRate) -> Self {
        let channels = usize::from(channels).max(1);
        Self {
            channels,
            window_frames: (rate.0 / WINDOWS_PER_S).max(1) as usize,
            plan: (channels == 1).then_some(Plan::All),
            held: Vec::new(),
            measured_frames: 0,
            sounding_windows: 0,
            power: vec![0.0; channels],
            sum_power: 0.0,
            windows: Vec::new(),
            ahead: VecDeque::new(),
            steady: Vec::new(),
            frames: 0,
            dead: Vec::new(),
            woken: Vec::new(),
            notes: Vec::new(),
        }
    }

    /// Takes whole interleaved frames, all finite; appends what is ready to `mono`.
    pub fn push(&mut self, interleaved: &[f32], mono: &mut Vec<f32>) {
        if self.channels == 1 {
            self.mix(interleaved, mono);
            return;
        }
        self.held.extend_from_slice(interleaved);
        let window = self.window_frames * self.channels;
        // Held samples that were measured, mixed or not; the rest of a window stays.
        let mut at = 0;
        loop {
            let from = match self.plan {
                None => self.measured_frames * self.channels,
                Some(_) => at + self.ahead.len() * window,
            };
            if self.held.len() < from + window {
                break;
            }
            let measured = self.measure(from, from + window);
            if self.plan.is_none() {
                self.count(measured);
                self.measured_frames += self.window_frames;
                let held = self.measured_frames * self.channels;
                if self.is_told() {
                    self.decide();
                    self.mix_held(0, held, mono);
                    at = held;
                } else if held >= HELD_SAMPLES_MAX.min(window * HELD_WINDOWS_MAX) {
                    self.let_go_oldest(mono);
                }
                continue;
            }
            self.ahead.push_back(measured);
            if self.ahead.len() == AHEAD_WINDOWS {
                self.mix_front(at, window, mono);
                at += window;
            }
        }
        self.held.drain(..at);
    }

    /// The stream is over: appends what was still held back.
    pub fn finish(&mut self, mono: &mut Vec<f32>) {
        if self.channels == 1 {
            return;
        }
        if self.plan.is_none() {
            let rest = self.measure(self.measured_frames * self.channels, self.held.len());
            self.count(rest);
            self.decide();
        }
        let window = self.window_frames * self.channels;
        let mut at = 0;
        while !self.ahead.is_empty() {
            self.mix_front(at, window, mono);
            at += window;
        }
        self.mix_held(at, self.held.len(), mono);
        self.held.clear();
    }

    /// Mixes the window held back longest, by another plan where the present one no longer holds.
    fn mix_front(&mut self, at: usize, window: usize, mono: &mut Vec<f32>) {
        let before = self.plan.clone();
        self.reconsider();
        let from = mono.len();
        self.mix_held(at, at + window, mono);
        self.ahead.pop_front();
        if let Some(before) = before.filter(|before| Some(before) != self.plan.as_ref()) {
            let mut old = Vec::new();
            mix_by(
                &before,
                self.channels,
                &self.held[at..at + window],
                &mut old,
            );
            let fade = (self.window_frames / FADES_PER_WINDOW).max(1);
            for (k, (new, old)) in mono[from..].iter_mut().zip(&old).take(fade).enumerate() {
                let share = (k + 1) as f32 / fade as f32;
                *new = share * *new + (1.0 - share) * old;
            }
        }
    }

    /// Holds the plan against what is held back.
    fn reconsider(&mut self) {
        let Some(plan) = self.plan.clone() else {
            return;
        };
        let sounding: Vec<&Window> = self.ahead.iter().filter(|w| w.sounds()).collect();
        if 2 * sounding.len() < AHEAD_WINDOWS {
            return;
        }
        let power = |c: usize| sounding.iter().map(|w| w.power[c]).sum::<f64>();
        let loudest = |channels: &[usize]| {
            let louder = |a: &&usize, b: &&usize| power(**a).total_cmp(&power(**b)).then(b.cmp(a));
            channels.iter().max_by(louder).copied()
        };
        let used: Vec<usize> = (0..self.channels).filter(|c| plan.uses(*c)).collect();
        let total: f64 = used.iter().map(|c| power(*c)).sum();
        let sum: f64 = sounding.iter().map(|w| w.sum_power).sum();
        let several = used
            .iter()
            .filter(|c| power(**c) > DEAD_POWER_RATIO * total)
            .count()
            > 1;
        let Some(top) = loudest(&used) else { return };
        if several && sum < CANCEL_RATIO * total {
            self.plan = Some(Plan::One(top));
            self.notes.push(SoundNote::OpposedChannels {
                kept: top as u16 + 1,
            });
            self.ahead
                .iter_mut()
                .for_each(|w| w.sum_power = w.power[top]);
            return;
        }
        let others: Vec<usize> = (0..self.channels)
            .filter(|c| !plan.uses(*c) && !self.steady.contains(c))
            .collect();
        let Some(other) = loudest(&others) else {
            return;
        };
        if power(top) < GONE_RATIO * power(other) {
            let mut which = used;
            which.push(other);
            which.sort_unstable();
            self.notes.push(SoundNote::ChannelTakenIn {
                channel: other as u16 + 1,
                from: FrameIndex(self.frames),
            });
            self.dead.iter().position(|c| *c == other).inspect(|at| {
                self.dead.remove(*at);
                self.woken.remove(*at);
            });
            let alone = matches!(plan, Plan::One(_) | Plan::Sum(_));
            self.plan = Some(if alone {
                Plan::Sum(which)
            } else {
                Plan::Some(which)
            });
        }
    }

    /// What was left out, and why.
    pub fn notes(&self) -> impl Iterator<Item = SoundNote> {
        let woken = self
            .dead
            .iter()
            .zip(&self.woken)
            .filter_map(|(channel, woken)| {
                woken.map(|first| SoundNote::LeftOutChannelSounds {
                    channel: *channel as u16 + 1,
                    first,
                })
            });
        self.notes.iter().cloned().chain(woken)
    }

    /// What the held samples `from..to` hold.
    fn measure(&self, from: usize, to: usize) -> Window {
        Window::of(&self.held[from..to], self.channels, self.plan.as_ref())
    }

    /// Counts a window among those by which the plan is made, if it sounds.
    fn count(&mut self, window: Window) {
        if !window.sounds() {
            return;
        }
        self.sounding_windows += 1;
        for (total, power) in self.power.iter_mut().zip(&window.power) {
            *total += power;
        }
        self.sum_power += window.sum_power;
        self.windows.push(window.power);
    }

    /// Twelve seconds without enough sound: the oldest window goes out as the mean of all.
    fn let_go_oldest(&mut self, mono: &mut Vec<f32>) {
        let window = self.window_frames * self.channels;
        let oldest: Vec<f32> = self.held.drain(..window).collect();
        self.measured_frames -= self.window_frames;
        mix_by(&Plan::All, self.channels, &oldest, mono);
        self.frames += self.window_frames as u64;
    }

    /// Whether enough has sounded to make the plan: in some channel notes came and went, or for long
    /// none did.
    fn is_told(&self) -> bool {
        let sounding = self.sounding_windows;
        let all: Vec<usize> = (0..self.channels).collect();
        sounding >= PATIENT_WINDOWS || sounding >= SOUNDING_WINDOWS && moves(&self.windows, &all)
    }

    /// Makes the plan from what was measured.
    fn decide(&mut self) {
        let all: Vec<usize> = (0..self.channels).collect();
        let loudest_of = |power: &[f64], which: &[usize]| {
            which.iter().copied().fold(
                which[0],
                |best, c| {
                    if power[c] > power[best] { c } else { best }
                },
            )
        };
        let heard = self.power[loudest_of(&self.power, &all)];
        let sounding: Vec<usize> = (0..self.channels)
            .filter(|c| self.power[*c] > heard * DEAD_POWER_RATIO)
            .collect();
        self.steady = if self.sounding_windows < SOUNDING_WINDOWS {
            Vec::new()
        } else {
            steady(&self.windows, &sounding)
        };
        let moving: Vec<usize> = (0..self.channels)
            .filter(|c| !self.steady.contains(c))
            .collect();
        let loudest = loudest_of(&self.power, &moving);
        let top = self.power[loudest];
        let alive: Vec<usize> = moving
            .iter()
            .copied()
            .filter(|c| self.power[*c] > top * DEAD_POWER_RATIO)
            .collect();
        let total: f64 = self.power.iter().sum();
        let plan = if top <= 0.0 {
            Plan::All
        } else if let [only] = alive[..] {
            Plan::One(only)
        } else if self.steady.is_empty() && self.sum_power < CANCEL_RATIO * total {
            self.notes.push(SoundNote::OpposedChannels {
                kept: loudest as u16 + 1,
            });
            Plan::One(loudest)
        } else if alive.len() == self.channels {
            Plan::All
        } else {
            Plan::Some(alive.clone())
        };
        for channel in &self.steady {
            self.notes.push(SoundNote::SteadyChannel {
                channel: *channel as u16 + 1,
            });
        }
        if top > 0.0 {
            self.dead = moving.into_iter().filter(|c| !alive.contains(c)).collect();
            self.woken = vec![None; self.dead.len()];
        }
        for channel in &self.dead {
            let power = self.power[*channel];
            let level = (power > 0.0).then(|| Decibels::from_power(power / top));
            self.notes.push(SoundNote::DeadChannel {
                channel: *channel as u16 + 1,
                level,
            });
        }
        self.windows = Vec::new();
        self.plan = Some(plan);
    }

    /// Mixes a part of what is held back.
    fn mix_held(&mut self, from: usize, to: usize, mono: &mut Vec<f32>) {
        let held = std::mem::take(&mut self.held);
        self.mix(&held[from..to], mono);
        self.held = held;
    }

    fn mix(&mut self, interleaved: &[f32], mono: &mut Vec<f32>) {
        if let Some(plan) = &self.plan {
            mix_by(plan, self.channels, interleaved, mono);
        }
        for (channel, woken) in self.dead.iter().zip(&mut self.woken) {
            if woken.is_none() {
                let mut samples = interleaved.iter().skip(*channel).step_by(self.channels);
                let at = samples.position(|x| x.abs() >= WAKES_AT);
                *woken = at.map(|at| FrameIndex(self.frames + at as u64));
            }
        }
        self.frames += (interleaved.len() / self.channels) as u64;
    }
}
