//! Two streams on one clock: when a frame passed, and how the clocks drift.
//!
//! A callback comes when its frames are there, or later; never sooner. So of all callbacks within
//! a second the one that came soonest for its frames tells the truth, and the line through those
//! is the stream's clock.
//!
//! # Source
//! Least delay of a window as the best reading of a clock behind a jittery channel: D. Mills (1991),
//! *Internet Time Synchronization: the Network Time Protocol*, IEEE Trans. Commun. 39, 1482–1493
//! (the clock filter); from memory. Departure: the line is fitted by plain least squares.

use std::collections::VecDeque;

/// Length of a window in seconds of the stream.
const WINDOW_S: f64 = 1.0;
/// Windows that are kept: two minutes, over which 1 ppm is 0.12 ms. Raised, a drift that changes is
/// followed more slowly.
const WINDOWS: usize = 120;
/// The first windows are left out: while a stream starts, callbacks come in a burst.
const STARTING: u32 = 2;
/// Windows from which on a drift is told. Raised, it is told later and more surely.
const DRIFT_FROM: usize = 30;
/// How many of the latest windows are asked for the offset; the middle one of them is told. Raised,
/// it follows more slowly.
const RECENT: usize = 9;

/// A line through the soonest callbacks of a stream.
#[derive(Clone, Debug)]
pub struct StreamClock {
    rate_hz: f64,
    /// Added to every moment that is told, in seconds.
    shift_s: f64,
    /// Number of the window, its soonest offset, and where that was.
    current: Option<(u64, f64, f64)>,
    /// Moment and offset of each window that is over, in seconds.
    windows: VecDeque<(f64, f64)>,
    skipped: u32,
}

impl StreamClock {
    /// For a stream that should run at `rate_hz` frames per second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            shift_s: 0.0,
            current: None,
            windows: VecDeque::with_capacity(WINDOWS + 1),
            skipped: 0,
        }
    }

    /// A callback at `at_s` seconds that completes `frames` frames since the start (for an input;
    /// for an output, that asks for what comes after as many).
    pub fn add(&mut self, at_s: f64, frames: u64) {
        let nominal = frames as f64 / self.rate_hz;
        let offset = at_s - nominal;
        let window = (nominal / WINDOW_S) as u64;
        match &mut self.current {
            Some((number, soonest, moment)) if *number == window => {
                if offset < *soonest {
                    (*soonest, *moment) = (offset, at_s);
                }
                return;
            }
            Some((_, soonest, moment)) => {
                let over = (*moment, *soonest);
                if self.skipped < STARTING {
                    self.skipped += 1;
                } else {
                    self.windows.push_back(over);
                }
                if self.windows.len() > WINDOWS {
                    self.windows.pop_front();
                }
            }
            None => {}
        }
        self.current = Some((window, offset, at_s));
    }

    /// From now on all moments are told this much later than they were given, in seconds.
    pub fn shift(&mut self, by_s: f64) {
        self.shift_s = by_s;
    }

    /// How far the stream's count lies behind the clock: the moment of frame 0, were the rate
    /// exact, as it is now; `None` before anything is known.
    pub fn offset_s(&self) -> Option<f64> {
        let mut recent: Vec<f64> = self
            .windows
            .iter()
            .rev()
            .take(RECENT)
            .map(|(_, offset)| *offset)
            .collect();
        if recent.is_empty() {
            return self.current.map(|(_, offset, _)| offset + self.shift_s);
        }
        recent.sort_by(f64::total_cmp);
        Some(recent[recent.len() / 2] + self.shift_s)
    }

    /// How much faster than its rate the stream runs, in parts per million; `None` until half
    /// a minute tells it.
    pub fn drift_ppm(&self) -> Option<f64> {
        if self.windows.len() < DRIFT_FROM {
            return None;
        }
        let n = self.windows.len() as f64;
        let (mt, mo) = self
            .windows
            .iter()
            .fold((0.0, 0.0), |(t, o), (at, off)| (t + at / n, o + off / n));
        let (above, below) = self.windows.iter().fold((0.0, 0.0), |(a, b), (at, off)| {
            (a + (at - mt) * (off - mo), b + (at - mt).powi(2))
        });
        // A stream that runs fast needs less time for its frames: its offset falls.
        (below > 0.0).then(|| -1e6 * above / below)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: callbacks of uneven blocks, each late by 0 to 9 ms, of a stream 40 ppm fast.
    #[test]
    fn lateness_of_callbacks_does_not_move_the_clock() {
        let rate = 48_000.0;
        let true_rate = rate * (1.0 + 40e-6);
        let mut clock = StreamClock::new(rate);
        let (mut frames, mut seed) = (0u64, 1u64);
        while frames < 48_000 * 100 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            frames += 200 + (seed >> 33) % 700;
            let late_s = ((seed >> 40) % 1000) as f64 * 9e-6;
            clock.add(3.0 + frames as f64 / true_rate + late_s, frames);
        }
        let drift = clock.drift_ppm().expect("a hundred windows");
        assert!((drift - 40.0).abs() < 5.0, "{drift}");
        let now = clock.offset_s().expect("known") + frames as f64 / rate;
        let wanted = 3.0 + frames as f64 / true_rate;
        // Nine windows back, 40 ppm are 0.2 ms; the soonest of a hundred callbacks is 0.1 ms late.
        assert!((now - wanted).abs() < 0.5e-3, "{}", now - wanted);
    }

    #[test]
    fn nothing_is_told_of_nothing() {
        let clock = StreamClock::new(48_000.0);
        assert_eq!(clock.offset_s(), None);
        assert_eq!(clock.drift_ppm(), None);
    }
}
