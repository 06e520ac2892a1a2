//! How loud the input is, and what of it is hum.

use crate::session::live::snapshot::Level;
use crate::sound::hum::HumMeter;
use crate::units::{Decibels, SampleRate};

/// The loudest and the mean power of the last half second, window by window.
pub(super) struct Meter {
    rate: SampleRate,
    windows: [(f32, f64); Self::WINDOWS],
    at: usize,
    filled: u32,
    hum: HumMeter,
}

impl Meter {
    /// Windows of 50 ms.
    const WINDOWS: usize = 10;

    pub fn new(rate: SampleRate) -> Self {
        Self {
            rate,
            windows: [(0.0, 0.0); Self::WINDOWS],
            at: 0,
            filled: 0,
            hum: HumMeter::new(rate),
        }
    }

    pub fn take(&mut self, samples: &[f32]) {
        self.hum.take(samples);
        let window = (self.rate.0 / 20).max(1);
        for x in samples {
            if self.filled == window {
                self.at = (self.at + 1) % Self::WINDOWS;
                self.windows[self.at] = (0.0, 0.0);
                self.filled = 0;
            }
            let (peak, power) = &mut self.windows[self.at];
            *peak = peak.max(x.abs());
            *power += f64::from(*x) * f64::from(*x) / f64::from(window);
            self.filled += 1;
        }
    }

    pub fn level(&self, clipped: u64) -> Level {
        let peak = self.windows.iter().fold(0.0f32, |top, w| top.max(w.0));
        let power = self.windows.iter().map(|w| w.1).sum::<f64>() / Self::WINDOWS as f64;
        Level {
            peak_dbfs: Decibels::from_amplitude(f64::from(peak)).0,
            rms_dbfs: Decibels::from_power(power).0,
            clipped,
            hum: self.hum.hum().map(|hum| (hum.mains.0, hum.level.0)),
        }
    }
}
