//! The way of the sound from a source to the ear, a block at a time: what comes is counted once and
//! heard, whether the source is a file or a device.
//!
//! No clock and no waiting: a source that has nothing yet says so, and who turns the pump decides
//! what then. Used by `offline`, `tuning` and `live`.

use crate::hearing::events::Event;
use crate::hearing::listener::Listener;
use crate::sound::SoundError;
use crate::sound::block::{Delivery, Source};
use crate::units::FrameCount;

/// What has come out of a source.
#[derive(Clone, Copy, Debug, Default)]
pub struct Counted {
    /// Frames of the stream, gaps included.
    pub frames: FrameCount,
    /// Frames of them that were lost on the way in.
    pub dropped: FrameCount,
    /// The largest sample without its sign.
    pub peak: f32,
}

/// What one turn brought.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    /// Sound, or a gap; it was heard.
    Heard,
    /// Nothing yet.
    Nothing,
    /// The source is at its end.
    End,
}

/// Who stands beside the pump.
pub(super) trait Beside {
    /// What the ear says.
    fn say(&mut self, event: Event);

    /// Samples are about to be heard.
    fn samples(&mut self, _block: &[f32]) {}

    /// A gap of this many frames is about to be heard.
    fn gap(&mut self, _lost: FrameCount) {}
}

/// A source's sound on its way into a listener.
pub(super) struct Pump {
    /// The ear.
    pub ear: Listener,
    counted: Counted,
    block: Vec<f32>,
    /// The ear gets at most this many frames at once.
    part_frames: usize,
}

impl Pump {
    /// Input: `part_frames` is the most the ear gets at once, in frames (0 is taken as 1); it does
    /// not change what is heard. Never fails.
    pub fn new(ear: Listener, part_frames: usize) -> Self {
        Self {
            ear,
            counted: Counted::default(),
            block: Vec::new(),
            part_frames: part_frames.max(1),
        }
    }

    /// What has come so far.
    pub fn counted(&self) -> Counted {
        self.counted
    }

    /// Takes the next block of the source in, if there is one.
    ///
    /// # Errors
    /// When the source fails; what came before was heard.
    pub fn turn(
        &mut self,
        source: &mut (impl Source + ?Sized),
        beside: &mut impl Beside,
    ) -> Result<Turn, SoundError> {
        match source.next_block(&mut self.block)? {
            Delivery::Samples => {
                let counted = &mut self.counted;
                counted.frames.0 += self.block.len() as u64;
                counted.peak = self
                    .block
                    .iter()
                    .fold(counted.peak, |peak, s| peak.max(s.abs()));
                beside.samples(&self.block);
                for part in self.block.chunks(self.part_frames) {
                    self.ear.push(part, &mut |event| beside.say(event));
                }
                Ok(Turn::Heard)
            }
            Delivery::Gap(lost) => {
                self.gap(lost, beside);
                Ok(Turn::Heard)
            }
            Delivery::Nothing => Ok(Turn::Nothing),
            Delivery::End => Ok(Turn::End),
        }
    }

    /// This many frames were lost: silence stands in their place.
    pub fn gap(&mut self, lost: FrameCount, beside: &mut impl Beside) {
        self.counted.frames.0 += lost.0;
        self.counted.dropped.0 += lost.0;
        beside.gap(lost);
        self.ear.gap(lost.0, &mut |event| beside.say(event));
    }

    /// The stream is over: the ear says what is left.
    pub fn finish(&mut self, beside: &mut impl Beside) {
        self.ear.finish(&mut |event| beside.say(event));
    }
}
