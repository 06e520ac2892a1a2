//! What was decoded, on its way out.

use std::collections::VecDeque;

use crate::sound::notes::SoundNote;
use crate::units::{FrameCount, FrameIndex};

/// Silence is delivered in pieces of at most this many frames, so that a long stretch asks for no
/// memory. Raising it makes the pieces longer and nothing else.
const SILENCE_FRAMES_MAX: u64 = 4096;

enum Stretch {
    Silence(u64),
    Samples(Vec<f32>),
}

/// Decoded sound that waits for delivery, without the coder's delay.
pub(super) struct Outlet {
    channels: usize,
    /// Frames of the coder's delay that have not come yet.
    delay_left: u64,
    /// Frames that came in behind the delay.
    frames: u64,
    waiting: VecDeque<Stretch>,
    damaged: Option<(u64, FrameIndex)>,
}

impl Outlet {
    pub(super) fn new(channels: usize, delay: u64) -> Self {
        Self {
            channels: channels.max(1),
            delay_left: delay,
            frames: 0,
            waiting: VecDeque::new(),
            damaged: None,
        }
    }

    /// Whole frames, interleaved.
    pub(super) fn samples(&mut self, interleaved: &[f32]) {
        let frames = (interleaved.len() / self.channels) as u64;
        let dropped = self.drop_delay(frames);
        if dropped < frames {
            let from = dropped as usize * self.channels;
            let kept = interleaved[from..frames as usize * self.channels].to_vec();
            self.waiting.push_back(Stretch::Samples(kept));
            self.frames += frames - dropped;
        }
    }

    /// Silence in place of lost sound.
    pub(super) fn silence(&mut self, frames: u64) {
        let kept = frames - self.drop_delay(frames);
        if kept > 0 {
            self.damaged.get_or_insert((0, FrameIndex(self.frames))).0 += kept;
            self.waiting.push_back(Stretch::Silence(kept));
            self.frames += kept;
        }
    }

    fn drop_delay(&mut self, frames: u64) -> u64 {
        let dropped = self.delay_left.min(frames);
        self.delay_left -= dropped;
        dropped
    }

    /// Lengthens the delay by what the start turns out to hold beyond it. Only before anything
    /// came in.
    pub(super) fn delay_more(&mut self, frames: u64) {
        self.delay_left += frames;
    }

    /// Moves one stretch of at most `frames_max` frames into `into`; gives its frames, 0 when
    /// nothing waits.
    pub(super) fn take(&mut self, frames_max: u64, into: &mut Vec<f32>) -> u64 {
        if frames_max == 0 {
            return 0;
        }
        match self.waiting.pop_front() {
            None => 0,
            Some(Stretch::Silence(frames)) => {
                let now = frames.min(frames_max).min(SILENCE_FRAMES_MAX);
                if now < frames {
                    self.waiting.push_front(Stretch::Silence(frames - now));
                }
                into.resize(into.len() + now as usize * self.channels, 0.0);
                now
            }
            Some(Stretch::Samples(mut samples)) => {
                let frames = (samples.len() / self.channels) as u64;
                let now = frames.min(frames_max);
                if now < frames {
                    let rest = samples.split_off(now as usize * self.channels);
                    self.waiting.push_front(Stretch::Samples(rest));
                }
                into.append(&mut samples);
                now
            }
        }
    }

    /// The note about what was lost, once.
    pub(super) fn damage(&mut self) -> Option<SoundNote> {
        self.damaged
            .take()
            .map(|(frames, first)| SoundNote::Damaged {
                frames: FrameCount(frames),
                first,
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: a delay of 3 frames over two channels, cut anywhere.
    #[test]
    fn the_delay_goes_and_the_rest_stays() {
        let all: Vec<f32> = (0..20).map(|x| x as f32).collect();
        for cut in 0..=10 {
            let mut out = Outlet::new(2, 3);
            out.samples(&all[..cut * 2]);
            out.samples(&all[cut * 2..]);
            let mut got = Vec::new();
            while out.take(2, &mut got) > 0 {}
            assert_eq!(got, &all[6..], "cut at {cut}");
            assert_eq!(out.damage(), None);
        }
    }

    #[test]
    fn silence_within_the_delay_is_no_damage() {
        let mut out = Outlet::new(1, 3);
        out.silence(2);
        assert_eq!(out.damage(), None);
        out.silence(10_000);
        let (mut got, mut pieces) = (Vec::new(), 0);
        while out.take(u64::MAX, &mut got) > 0 {
            pieces += 1;
        }
        assert_eq!((got.len(), pieces), (9_999, 3));
        let damaged = SoundNote::Damaged {
            frames: FrameCount(9_999),
            first: FrameIndex(0),
        };
        assert_eq!(out.damage(), Some(damaged));
    }
}
