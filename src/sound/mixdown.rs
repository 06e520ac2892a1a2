//! Many channels to one, so that the level is right and nothing cancels.
//!
//! A bass take is often a stereo file with the bass in one channel only, or the same signal twice
//! with one side turned over. The mean of all channels would be 6 dB down in the first case and
//! silent in the second. So the stream is held back until two seconds of it have sounded, twelve
//! seconds at most, and the plan made then holds to the end:
//!
//! - a channel more than 60 dB under the loudest is *dead* and left out;
//! - of channels that would cancel one another only the loudest is taken;
//! - all others are averaged, each with the same weight.
//!
//! If twelve seconds pass in near silence the oldest of it is let go, averaged over all channels,
//! and the decision stays open. Everything is measured over windows of 50 ms counted from the
//! first frame, so the result does not depend on how the stream is cut into blocks.

use crate::sound::notes::SoundNote;
use crate::units::{Decibels, FrameIndex, SampleRate};

/// Windows per second. 50 ms holds two periods of a low E, so that the mean of a window is the
/// converter's offset and not the note; longer windows let one click count for more time.
const WINDOWS_PER_S: u32 = 20;

/// Windows that must sound before the plan is made: two seconds. A count-in of four clicks fills
/// four windows, so it does not make the plan before the bass comes in.
const SOUNDING_WINDOWS: u32 = 40;

/// Windows held back at most: twelve seconds.
const HELD_WINDOWS_MAX: usize = 240;

/// Samples held back at most, all channels together (16 MiB): for many channels at high rates.
const HELD_SAMPLES_MAX: usize = 1 << 22;

/// Mean square from which a window sounds: −60 dBFS, above the hiss of common sound cards and
/// below a softly played note.
const SOUNDING_POWER: f64 = 1e-6;

/// A channel this far under the loudest in power is dead: 60 dB, the cross-talk of a poor cable.
const DEAD_POWER_RATIO: f64 = 1e-6;

/// Channels cancel when the power of their sum is less than this part of the sum of their powers
/// (1 for unrelated channels, 2 for equal ones, 0 for opposed ones); 0.2 is a correlation of −0.8.
const CANCEL_RATIO: f64 = 0.2;

/// A channel that was left out is reported when it reaches this magnitude: −40 dBFS.
const WAKES_AT: f32 = 0.01;

/// What is done with the channels.
#[derive(Clone, Debug, PartialEq)]
enum Plan {
    /// The mean of all.
    All,
    /// The mean of these.
    Some(Vec<usize>),
    /// Just this one.
    One(usize),
}

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
            frames: 0,
            dead: Vec::new(),
            woken: Vec::new(),
            notes: Vec::new(),
        }
    }

    /// Takes whole interleaved frames, all finite; appends what is ready to `mono`.
    pub fn push(&mut self, interleaved: &[f32], mono: &mut Vec<f32>) {
        if self.plan.is_some() {
            self.mix(interleaved, mono);
            return;
        }
        self.held.extend_from_slice(interleaved);
        let window = self.window_frames * self.channels;
        while self.held.len() >= self.measured_frames * self.channels + window {
            let from = self.measured_frames * self.channels;
            self.measure(from, from + window);
            self.measured_frames += self.window_frames;
            if self.sounding_windows >= SOUNDING_WINDOWS {
                self.decide(mono);
                return;
            }
            let held = self.measured_frames * self.channels;
            if held >= HELD_SAMPLES_MAX.min(window * HELD_WINDOWS_MAX) {
                self.let_go_oldest(mono);
            }
        }
    }

    /// The stream is over: appends what was still held back.
    pub fn finish(&mut self, mono: &mut Vec<f32>) {
        if self.plan.is_none() {
            self.measure(self.measured_frames * self.channels, self.held.len());
            self.decide(mono);
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

    /// Adds the held samples `from..to` to the powers if they sound. The mean of each channel is
    /// taken out, for an offset is no sound.
    fn measure(&mut self, from: usize, to: usize) {
        let samples = &self.held[from..to];
        let frames = samples.len() / self.channels;
        if frames == 0 {
            return;
        }
        let n = frames as f64;
        let mut sums = vec![(0.0f64, 0.0f64); self.channels];
        let (mut all, mut all_squared) = (0.0f64, 0.0f64);
        for frame in samples.chunks_exact(self.channels) {
            let mut sum = 0.0;
            for (x, (mean, square)) in frame.iter().zip(&mut sums) {
                let x = f64::from(*x);
                *mean += x;
                *square += x * x;
                sum += x;
            }
            all += sum;
            all_squared += sum * sum;
        }
        let power = |sum: f64, squared: f64| (squared / n - (sum / n) * (sum / n)).max(0.0);
        if sums
            .iter()
            .all(|(sum, squared)| power(*sum, *squared) < SOUNDING_POWER)
        {
            return;
        }
        self.sounding_windows += 1;
        for (total, (sum, squared)) in self.power.iter_mut().zip(&sums) {
            *total += power(*sum, *squared);
        }
        self.sum_power += power(all, all_squared);
    }

    /// Twelve seconds without enough sound: the oldest window goes out as the mean of all.
    fn let_go_oldest(&mut self, mono: &mut Vec<f32>) {
        let window = self.window_frames * self.channels;
        let oldest: Vec<f32> = self.held.drain(..window).collect();
        self.measured_frames -= self.window_frames;
        mix_by(&Plan::All, self.channels, &oldest, mono);
        self.frames += self.window_frames as u64;
    }

    /// Makes the plan from what was measured and mixes what was held back.
    fn decide(&mut self, mono: &mut Vec<f32>) {
        let loudest = (0..self.channels).fold(0, |best, c| {
            if self.power[c] > self.power[best] {
                c
            } else {
                best
            }
        });
        let top = self.power[loudest];
        let alive: Vec<usize> = (0..self.channels)
            .filter(|c| self.power[*c] > top * DEAD_POWER_RATIO)
            .collect();
        let total: f64 = self.power.iter().sum();
        let plan = if top <= 0.0 {
            Plan::All
        } else if alive.len() > 1 && self.sum_power < CANCEL_RATIO * total {
            self.notes.push(SoundNote::OpposedChannels {
                kept: loudest as u16 + 1,
            });
            Plan::One(loudest)
        } else if let [only] = alive[..] {
            Plan::One(only)
        } else if alive.len() == self.channels {
            Plan::All
        } else {
            Plan::Some(alive.clone())
        };
        if top > 0.0 {
            self.dead = (0..self.channels).filter(|c| !alive.contains(c)).collect();
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
        self.plan = Some(plan);
        let held = std::mem::take(&mut self.held);
        self.mix(&held, mono);
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

fn mix_by(plan: &Plan, channels: usize, interleaved: &[f32], mono: &mut Vec<f32>) {
    match (plan, channels) {
        (Plan::All, 1) => mono.extend_from_slice(interleaved),
        (Plan::All, 2) => {
            mono.extend(interleaved.as_chunks().0.iter().map(|[l, r]| (l + r) * 0.5));
        }
        (Plan::All, _) => {
            let scale = 1.0 / channels as f32;
            mono.extend(
                interleaved
                    .chunks_exact(channels)
                    .map(|f| f.iter().sum::<f32>() * scale),
            );
        }
        (Plan::Some(which), _) => {
            let scale = 1.0 / which.len() as f32;
            mono.extend(
                interleaved
                    .chunks_exact(channels)
                    .map(|f| which.iter().map(|c| f[*c]).sum::<f32>() * scale),
            );
        }
        (Plan::One(channel), _) => {
            mono.extend(interleaved.chunks_exact(channels).map(|f| f[*channel]));
        }
    }
}
