//! Packed sound as phones record it: MP3, Vorbis in Ogg, AAC and ALAC in MP4.
//!
//! | file | what lives there |
//! |---|---|
//! | `coder` | one packet to samples, by Symphonia |
//! | `outlet` | what was decoded, on its way out: the coder's delay dropped, silence where sound was lost |
//! | `peek` | a stream of bytes that can be looked at before it is taken |
//! | `mp3`, `mp3_header` | MPEG audio layer III |
//! | `ogg` | Vorbis in Ogg |
//! | `mp4`, `mp4_boxes`, `mp4_track`, `mp4_samples` | AAC and ALAC in MP4 |
//!
//! Symphonia decodes; the containers are read here. What a take needs of them is where each packet
//! lies in time: its own readers pass over the edit list of an MP4 file and do not say how many
//! bytes were lost within an MP3 stream.
//!
//! A coder delays the sound. What a file says about it is taken out, so that sample 0 is the
//! recording's; where a file says nothing, the usual delay is taken out and a note says so.

mod coder;
mod mp3;
mod mp3_header;
mod mp4;
mod mp4_boxes;
mod mp4_samples;
mod mp4_track;
mod ogg;
mod outlet;
mod peek;

pub(super) use mp3::open_mp3;
pub(super) use mp4::{MP4_MEMORY_BYTES, Seekable, open_mp4};
pub(super) use ogg::open_ogg;

use crate::sound::block::{RATE_MAX, RATE_MIN, SourceFormat};
use crate::sound::error::SoundError;
use crate::sound::file::Frames;
use crate::sound::notes::SoundNote;
use crate::units::FrameCount;
use outlet::Outlet;

/// The longest stretch of lost sound that is believed, in seconds. Longer ones are taken for
/// damage of the numbers themselves, else one wrong number could ask for years of silence. The
/// same as for FLAC; raising it lets a damaged file grow longer.
const LOST_S_MAX: u64 = 60;

/// A container that gives one stretch of sound after another.
trait Unpack: Send {
    /// Puts the next stretch into `out`; false at the end.
    fn advance(&mut self, out: &mut Outlet) -> Result<bool, SoundError>;

    /// True once there was more than the container declares.
    fn beyond(&self) -> bool {
        false
    }

    /// What was noticed; asked for once, at the end.
    fn last_notes(&mut self) -> Vec<SoundNote> {
        Vec::new()
    }
}

/// Packed sound being read.
struct Packed {
    format: SourceFormat,
    unpack: Box<dyn Unpack>,
    out: Outlet,
    /// Frames delivered.
    frames: u64,
    ended: bool,
    finished: bool,
    notes: Vec<SoundNote>,
}

impl Packed {
    /// `delay` frames are dropped at the start; of what follows `format.frames` are delivered, and
    /// more only when the container turns out to hold more packets than it declares.
    fn start(
        format: SourceFormat,
        unpack: Box<dyn Unpack>,
        delay: u64,
        notes: Vec<SoundNote>,
    ) -> Self {
        Self {
            out: Outlet::new(usize::from(format.channels), delay),
            format,
            unpack,
            frames: 0,
            ended: false,
            finished: false,
            notes,
        }
    }

    /// Takes down, once, how the sound ended.
    fn finish(&mut self) {
        if std::mem::replace(&mut self.finished, true) {
            return;
        }
        self.notes.extend(self.out.damage());
        self.notes.extend(self.unpack.last_notes());
        let (found, declared) = (FrameCount(self.frames), self.format.frames.map(FrameCount));
        match declared {
            Some(declared) if declared > found => self.notes.push(SoundNote::TruncatedAt {
                frames: found,
                declared,
            }),
            Some(declared) if declared < found => {
                self.notes.push(SoundNote::HeaderLies { declared, found });
            }
            _ => {}
        }
    }
}

impl Frames for Packed {
    fn format(&self) -> &SourceFormat {
        &self.format
    }

    fn read(&mut self, interleaved: &mut Vec<f32>) -> Result<usize, SoundError> {
        interleaved.clear();
        loop {
            let left = match self.format.frames {
                Some(declared) if !self.unpack.beyond() => declared.saturating_sub(self.frames),
                _ => u64::MAX,
            };
            let frames = self.out.take(left, interleaved);
            if frames > 0 {
                self.frames += frames;
                return Ok(frames as usize);
            }
            if self.ended {
                self.finish();
                return Ok(0);
            }
            match self.unpack.advance(&mut self.out) {
                Ok(more) => self.ended = !more,
                Err(e) => {
                    self.ended = true;
                    return Err(e);
                }
            }
        }
    }

    fn notes(&self) -> &[SoundNote] {
        &self.notes
    }
}

/// The rate, if it lies within what is read.
fn checked_rate(rate: u32, file: &str) -> Result<u32, SoundError> {
    if (RATE_MIN.0..=RATE_MAX.0).contains(&rate) {
        return Ok(rate);
    }
    Err(SoundError::RateOutOfRange {
        file: file.to_owned(),
        given_hz: rate,
    })
}
