//! What a session listens to: a source that runs by itself, may go away, and can be opened again.

use std::time::Instant;

use crate::sound::block::Source;
use crate::sound::device::{Capture, DeviceError, Health};
use crate::units::{FrameCount, SampleRate};

/// A source that runs by itself and may go away.
pub trait Input: Source {
    /// Frames lost since it was opened.
    fn lost(&self) -> FrameCount;

    /// Whether sound still comes. To be asked several times a second.
    fn is_alive(&mut self, now: Instant) -> bool;

    /// The moment of its first frame in seconds from `zero`, by its own clock; `None` when that
    /// cannot be told.
    fn began_s(&mut self, zero: Instant) -> Option<f64>;

    /// How much faster than its rate it runs, in parts per million.
    fn drift_ppm(&mut self, zero: Instant) -> Option<f64>;

    /// What it is called.
    fn name(&self) -> String;

    /// Whether the system refused to run its callbacks ahead of other work.
    fn priority_refused(&self) -> bool {
        false
    }
}

impl Input for Capture {
    fn priority_refused(&self) -> bool {
        Capture::priority_refused(self)
    }

    fn lost(&self) -> FrameCount {
        Capture::lost(self)
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

    fn name(&self) -> String {
        Capture::name(self).to_owned()
    }
}

/// Opens the input, or opens it again at the same rate after it was lost.
pub type OpenInput =
    Box<dyn FnMut(Option<SampleRate>) -> Result<Box<dyn Input>, DeviceError> + Send>;
