//! What the band plays through.

use std::time::Instant;

use crate::sound::device::{Health, Playback};
use crate::units::SampleRate;

/// Something that plays by itself and may go away.
pub trait Output: Send {
    /// What it is called.
    fn name(&self) -> String;
    /// Frames per second.
    fn rate(&self) -> SampleRate;
    /// The number of the next frame to be written.
    fn written(&self) -> u64;
    /// Frames the device has taken.
    fn played(&self) -> u64;
    /// Frames of silence the device was given because nothing was ready.
    fn late(&self) -> u64;
    /// Writes what there is room for; gives how many frames.
    fn write(&mut self, mono: &[f32]) -> usize;
    /// Whether it still plays.
    fn is_alive(&mut self, now: Instant) -> bool;
    /// The moment of its first frame in seconds from `zero`.
    fn began_s(&mut self, zero: Instant) -> Option<f64>;
    /// How much faster than its rate it runs, in parts per million.
    fn drift_ppm(&mut self, zero: Instant) -> Option<f64>;
}

impl Output for Playback {
    fn name(&self) -> String {
        Playback::name(self).to_owned()
    }

    fn rate(&self) -> SampleRate {
        Playback::rate(self)
    }

    fn written(&self) -> u64 {
        Playback::written(self)
    }

    fn played(&self) -> u64 {
        Playback::played(self)
    }

    fn late(&self) -> u64 {
        Playback::late(self)
    }

    fn write(&mut self, mono: &[f32]) -> usize {
        Playback::write(self, mono)
    }

    fn is_alive(&mut self, now: Instant) -> bool {
        self.health(now) == Health::Running
    }

    fn began_s(&mut self, zero: Instant) -> Option<f64> {
        self.clock(zero).offset_s()
    }

    fn drift_ppm(&mut self, zero: Instant) -> Option<f64> {
        self.clock(zero).drift_ppm()
    }
}
