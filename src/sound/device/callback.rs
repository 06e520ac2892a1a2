//! What runs on the audio thread: convert, copy, count. Nothing else.
//!
//! Not allowed here: to allocate or free, to lock, wait or spin, to wake a thread, to read a clock,
//! to touch files, to format, to index, or to do anything else that can panic. The functions are
//! named so that tests can call them without a device.
//!
//! # Source
//! The rules: common practice of real-time audio, no source; the ways of keeping them stand in
//! `.clippy.toml`, in the attributes below and in `tests/realtime.rs`.
#![deny(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    clippy::indexing_slicing,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::arithmetic_side_effects
)]

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use ringbuf::traits::{Consumer, Observer, Producer};
use ringbuf::{HeapCons, HeapProd};

/// Frames that found no room in the ring.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lost {
    /// Frames that went through the ring before them.
    pub at: u64,
    /// How many they are.
    pub frames: u64,
}

/// When a callback came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Frames of the stream before this callback, lost ones included.
    pub frames: u64,
    /// Frames of this callback.
    pub block: u64,
    /// Its moment on the stream's own clock, in nanoseconds.
    pub at_ns: u64,
}

/// What the audio thread counts and others read.
#[derive(Debug, Default)]
pub struct Counters {
    /// Callbacks that came.
    pub callbacks: AtomicU64,
    /// Frames that came, lost ones included; for an output, frames that were asked for.
    pub frames: AtomicU64,
    /// Frames that were lost; for an output, frames of silence because nothing was ready.
    pub lost: AtomicU64,
    /// Errors the library reported.
    pub errors: AtomicU64,
    /// The kind of the last one (see `error_code`).
    pub last_error: AtomicU64,
}

/// The audio thread's end of a capture.
pub struct CaptureEnd {
    /// Interleaved samples.
    pub ring: HeapProd<f32>,
    /// Records of what was lost.
    pub records: HeapProd<Lost>,
    /// When callbacks came; full means that nobody asks, and is no loss.
    pub stamps: HeapProd<Stamp>,
    /// Shared counts.
    pub counters: Arc<Counters>,
    /// Samples to a frame, at least 1.
    pub channels: u64,
    /// Frames put into the ring.
    pub delivered: u64,
    /// What was lost since the last record that could be written down.
    pub pending: Lost,
}

/// Takes a block from the device into the ring, or counts it as lost, whole.
///
/// Input:   interleaved samples of any length; what is left of an incomplete frame is dropped.
/// Output:  the ring, and records of what was lost in the order of the samples: a record is there
///          before any sample that follows it.
/// Time:    `at_ns` is the callback's moment on the stream's own clock.
/// Memory:  no allocation; waits for nobody, never panics.
pub fn take_block<T: Copy>(
    end: &mut CaptureEnd,
    block: &[T],
    to_sample: impl Fn(T) -> f32,
    at_ns: u64,
) {
    let channels = end.channels.max(1);
    let frames = (block.len() as u64).checked_div(channels).unwrap_or(0);
    let samples = frames.saturating_mul(channels) as usize;
    let before = end.counters.frames.fetch_add(frames, Ordering::Relaxed);
    end.counters.callbacks.fetch_add(1, Ordering::Relaxed);
    end.stamps
        .try_push(Stamp {
            frames: before,
            block: frames,
            at_ns,
        })
        .ok();
    let recorded = end.pending.frames == 0 || end.records.try_push(end.pending).is_ok();
    if recorded {
        end.pending = Lost {
            at: end.delivered,
            frames: 0,
        };
    }
    if recorded && end.ring.vacant_len() >= samples {
        let converted = block.iter().take(samples).map(|x| to_sample(*x));
        end.ring.push_iter(converted);
        end.delivered = end.delivered.saturating_add(frames);
        end.pending.at = end.delivered;
    } else {
        end.pending.frames = end.pending.frames.saturating_add(frames);
        end.counters.lost.fetch_add(frames, Ordering::Relaxed);
    }
}

/// The audio thread's end of a playback.
pub struct PlaybackEnd {
    /// Mono samples to be played.
    pub ring: HeapCons<f32>,
    /// When callbacks came.
    pub stamps: HeapProd<Stamp>,
    /// Shared counts.
    pub counters: Arc<Counters>,
    /// Samples to a frame, at least 1.
    pub channels: usize,
    /// Samples that should have been played already; they are left out when they come, so that
    /// what follows is in time.
    pub owed: u64,
}

/// Gives a block to the device: the same samples on every channel, silence where none are ready.
///
/// Time:    frame n of the ring is frame n of the stream: what came too late is left out.
/// Memory:  no allocation; waits for nobody, never panics.
pub fn give_block<T: Copy>(
    end: &mut PlaybackEnd,
    block: &mut [T],
    from_sample: impl Fn(f32) -> T,
    at_ns: u64,
) {
    let channels = end.channels.max(1);
    let frames = block.len().checked_div(channels).unwrap_or(0) as u64;
    let before = end.counters.frames.fetch_add(frames, Ordering::Relaxed);
    end.counters.callbacks.fetch_add(1, Ordering::Relaxed);
    end.stamps
        .try_push(Stamp {
            frames: before,
            block: frames,
            at_ns,
        })
        .ok();
    let late = usize::try_from(end.owed).unwrap_or(usize::MAX);
    let skipped = end.ring.skip(late) as u64;
    end.owed = end.owed.saturating_sub(skipped);
    let mut missing = 0u64;
    for frame in block.chunks_mut(channels) {
        let sample = if end.owed == 0 {
            end.ring.try_pop()
        } else {
            None
        };
        if sample.is_none() {
            missing = missing.saturating_add(1);
            end.owed = end.owed.saturating_add(1);
        }
        frame.fill(from_sample(sample.unwrap_or(0.0)));
    }
    end.counters.lost.fetch_add(missing, Ordering::Relaxed);
}

#[cfg(test)]
mod tests {
    #![allow(
        clippy::unwrap_used,
        clippy::indexing_slicing,
        clippy::arithmetic_side_effects,
        reason = "tests do not run on the audio thread"
    )]

    use ringbuf::HeapRb;
    use ringbuf::traits::Split;

    use super::*;

    fn capture(room: usize, records: usize) -> (CaptureEnd, HeapCons<f32>, HeapCons<Lost>) {
        let (ring, out) = HeapRb::new(room).split();
        let (lost, told) = HeapRb::new(records).split();
        let (stamps, _) = HeapRb::new(4).split();
        let end = CaptureEnd {
            ring,
            records: lost,
            stamps,
            counters: Arc::default(),
            channels: 2,
            delivered: 0,
            pending: Lost { at: 0, frames: 0 },
        };
        (end, out, told)
    }

    #[test]
    fn a_block_without_room_is_lost_whole_and_told_before_what_follows() {
        let (mut end, mut out, mut told) = capture(8, 4);
        let as_is = |x: f32| x;
        take_block(&mut end, &[1.0; 6], as_is, 0);
        take_block(&mut end, &[2.0; 4], as_is, 1);
        take_block(&mut end, &[3.0; 2], as_is, 2);
        // The third fits, but a record comes first, of the second alone.
        assert_eq!(told.try_pop(), Some(Lost { at: 3, frames: 2 }));
        assert_eq!(told.try_pop(), None);
        let got: Vec<f32> = out.pop_iter().collect();
        assert_eq!(got, [1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 3.0, 3.0]);
        assert_eq!(end.counters.frames.load(Ordering::Relaxed), 6);
        assert_eq!(end.counters.lost.load(Ordering::Relaxed), 2);
    }

    #[test]
    fn without_room_for_a_record_the_loss_grows_and_keeps_its_place() {
        let (mut end, mut out, mut told) = capture(4, 1);
        let as_is = |x: f32| x;
        take_block(&mut end, &[1.0; 4], as_is, 0);
        take_block(&mut end, &[2.0; 2], as_is, 1);
        out.pop_iter().count();
        take_block(&mut end, &[3.0; 4], as_is, 2);
        take_block(&mut end, &[4.0; 2], as_is, 3);
        out.pop_iter().count();
        // There is room for samples, none for the second record.
        take_block(&mut end, &[5.0; 2], as_is, 4);
        assert_eq!(told.try_pop(), Some(Lost { at: 2, frames: 1 }));
        take_block(&mut end, &[6.0; 2], as_is, 5);
        assert_eq!(told.try_pop(), Some(Lost { at: 4, frames: 2 }));
        let got: Vec<f32> = out.pop_iter().collect();
        assert_eq!(got, [6.0, 6.0]);
    }

    #[test]
    fn an_incomplete_frame_is_dropped() {
        let (mut end, mut out, _told) = capture(8, 1);
        take_block(&mut end, &[0.5f32, 0.25, 0.75], |x| x, 0);
        assert_eq!(out.pop_iter().collect::<Vec<_>>(), [0.5, 0.25]);
        assert_eq!(end.counters.frames.load(Ordering::Relaxed), 1);
    }

    #[test]
    fn what_comes_too_late_is_left_out_so_that_the_rest_is_in_time() {
        let (mut ring, out) = HeapRb::new(16).split();
        let (stamps, _) = HeapRb::new(4).split();
        let mut end = PlaybackEnd {
            ring: out,
            stamps,
            counters: Arc::default(),
            channels: 2,
            owed: 0,
        };
        let mut block = [9.0f32; 8];
        ring.push_slice(&[0.0, 1.0]);
        give_block(&mut end, &mut block, |x| x, 0);
        assert_eq!(block, [0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0]);
        ring.push_slice(&[2.0, 3.0, 4.0, 5.0]);
        give_block(&mut end, &mut block[..4], |x| x, 1);
        // Samples 2 and 3 were due before; 4 and 5 are in time.
        assert_eq!(block[..4], [4.0, 4.0, 5.0, 5.0]);
        assert_eq!(end.counters.lost.load(Ordering::Relaxed), 2);
    }
}
