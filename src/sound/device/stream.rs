//! A running stream: made within a limit of time, watched, and let go without waiting.
//!
//! The library's own errors are not enough: a sound server that is killed may leave a stream that
//! says nothing, and whose end never returns. So streams are made and dropped in threads of their
//! own, and that callbacks still come is watched here.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use cpal::traits::StreamTrait;

use crate::sound::device::callback::Counters;
use crate::sound::device::error::{DeviceError, Way};

/// A device that has not answered after this is taken not to. Common practice, no source: a USB
/// device wakes within a second or two.
const OPEN_WITHIN: Duration = Duration::from_secs(6);

/// Without a callback for this long the stream is dead: the longest block a device gives is a
/// tenth of it.
pub(super) const SILENT_AFTER: Duration = Duration::from_millis(1500);

/// Whoever looks several times a second and has not looked for this long was held up: five times
/// the usual. Raised, a program that was stopped takes its device for dead.
const HELD_UP: Duration = Duration::from_millis(500);

/// Runs `open` in a thread of its own, but no longer than the limit.
pub(super) fn within_limit<T: Send + 'static>(
    device: &str,
    way: Way,
    open: impl FnOnce() -> Result<T, DeviceError> + Send + 'static,
) -> Result<T, DeviceError> {
    let (done, result) = crossbeam_channel::bounded(1);
    let spawned = std::thread::Builder::new()
        .name("open device".to_owned())
        .spawn(move || {
            // Where nobody waits any longer, the result is dropped here.
            done.send(open()).ok();
        });
    if let Err(error) = spawned {
        return Err(DeviceError::Open {
            device: device.to_owned(),
            way,
            reason: error.to_string(),
        });
    }
    result.recv_timeout(OPEN_WITHIN).unwrap_or_else(|_| {
        Err(DeviceError::Hangs {
            device: device.to_owned(),
            way,
            seconds: OPEN_WITHIN.as_secs(),
        })
    })
}

/// Notes an error in the counters: called on a thread of the library's, which may report
/// thousands in a row.
pub(super) fn note_error(counters: &Counters, error: &cpal::Error) {
    if error.kind() == cpal::ErrorKind::RealtimeDenied {
        counters.errors.fetch_or(DENIED, Ordering::Relaxed);
        return;
    }
    let code = match error.kind() {
        cpal::ErrorKind::Xrun => XRUN,
        cpal::ErrorKind::DeviceChanged => CHANGED,
        _ => FATAL,
    };
    counters.last_error.fetch_max(code, Ordering::Relaxed);
}

/// Frames were lost or not ready in time; the stream goes on.
const XRUN: u64 = 1;
/// The system has moved the stream to another device; it goes on.
const CHANGED: u64 = 2;
/// The stream may have ended.
const FATAL: u64 = 3;
/// Set in `errors` when real-time priority was refused.
const DENIED: u64 = 1 << 63;

/// How a stream is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Health {
    /// Callbacks come.
    Running,
    /// No callback has come for too long, or the library has said that the stream is over.
    Dead,
}

/// A stream, its watch, and where its own clock lies.
pub(super) struct Running {
    /// Taken out when dropped.
    stream: Option<cpal::Stream>,
    pub(super) counters: Arc<Counters>,
    /// The moment at which the stream's own clock stands at 0.
    pub(super) origin: Instant,
    seen: u64,
    since: Instant,
    looked: Instant,
}

impl Running {
    pub(super) fn new(stream: cpal::Stream, counters: Arc<Counters>) -> Self {
        let now = Instant::now();
        let own = Duration::from_nanos(u64::try_from(stream.now().as_nanos()).unwrap_or(0));
        Self {
            origin: now.checked_sub(own).unwrap_or(now),
            stream: Some(stream),
            counters,
            seen: 0,
            since: now,
            looked: now,
        }
    }

    /// Looks whether callbacks still come. To be asked several times a second.
    pub(super) fn health(&mut self, now: Instant) -> Health {
        // Whoever did not look for long was held up, and so were the callbacks: they are given time
        // again.
        let held_up = now.saturating_duration_since(self.looked) > HELD_UP;
        self.looked = now;
        let callbacks = self.counters.callbacks.load(Ordering::Relaxed);
        if callbacks != self.seen || held_up {
            self.seen = callbacks;
            self.since = now;
        }
        let quiet = now.saturating_duration_since(self.since);
        let told = self.counters.last_error.load(Ordering::Relaxed) >= FATAL;
        if quiet > SILENT_AFTER || (told && quiet > SILENT_AFTER / 5) {
            Health::Dead
        } else {
            Health::Running
        }
    }

    /// Whether the system refused to run the audio thread ahead of others.
    pub(super) fn priority_refused(&self) -> bool {
        self.counters.errors.load(Ordering::Relaxed) & DENIED != 0
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        if let Some(stream) = self.stream.take() {
            // It may never return; nobody waits for it. If no thread can be had it is dropped
            // where it stands, with the closure that was to do it.
            std::thread::Builder::new()
                .name("close device".to_owned())
                .spawn(move || drop(stream))
                .ok();
        }
    }
}

/// A stream's instant in nanoseconds of its own clock.
pub(super) fn nanoseconds(instant: cpal::StreamInstant) -> u64 {
    u64::try_from(instant.as_nanos()).unwrap_or(u64::MAX)
}

/// The moment `at_ns` of a stream's own clock, in seconds from `zero`.
pub(super) fn moment_s(origin: Instant, at_ns: u64, zero: Instant) -> f64 {
    let own = at_ns as f64 * 1e-9;
    match origin.checked_duration_since(zero) {
        Some(after) => after.as_secs_f64() + own,
        None => own - zero.saturating_duration_since(origin).as_secs_f64(),
    }
}
