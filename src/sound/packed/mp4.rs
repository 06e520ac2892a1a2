//! AAC and ALAC in MP4 (M4A, 3GP, MOV).

use std::io::{ErrorKind, Read, Seek, SeekFrom};

use super::coder::{Coder, Packing};
use super::mp4_boxes::box_head;
use super::mp4_samples::{Sample, Samples};
use super::mp4_track::{Edit, Refusal, Track, USUAL_PRIMING, sound_track};
use super::outlet::Outlet;
use super::{LOST_S_MAX, Packed, Unpack, checked_rate};
use crate::sound::block::{Container, SampleFormat, SourceFormat};
use crate::sound::error::SoundError;
use crate::sound::file::Frames;
use crate::sound::notes::SoundNote;
use crate::units::{FrameCount, SampleRate};

/// What an MP4 file must offer: its index may stand behind the sound.
pub(in crate::sound) trait Seekable: Read + Seek + Send {}

impl<T: Read + Seek + Send> Seekable for T {}

/// The longest MP4 file that is read from a pipe, in bytes, since it is held in memory: 256 MB, at
/// the 128 kbit/s of a phone over four hours.
pub(in crate::sound) const MP4_MEMORY_BYTES: u64 = 256 << 20;

/// The longest index that is read, in bytes: some 90 hours. Raising it lets damage ask for more
/// memory.
const INDEX_BYTES_MAX: u64 = 64 << 20;

/// The longest packet, in bytes. The largest block of ALAC takes 2 MB uncompressed.
const PACKET_BYTES_MAX: u32 = 4 << 20;

/// A difference between the time of a packet and what was decoded before it that is a loss, in
/// seconds. Below lies the jitter of recorders that stamp packets by a clock; raising it lets more
/// of a lost packet pass without silence. Two packets of AAC at 44.1 kHz.
const GAP_S: f64 = 0.046;

/// Opens an MP4 file.
///
/// # Errors
/// When there is no index or no sound track in it that can be read.
pub(in crate::sound) fn open_mp4(
    mut input: Box<dyn Seekable>,
    file: &str,
) -> Result<Box<dyn Frames>, SoundError> {
    let (moov, moov_at) = find_index(&mut input, file)?;
    let broken = |what: String| SoundError::Malformed {
        file: file.to_owned(),
        container: "MP4",
        at_byte: moov_at,
        what,
    };
    let unsupported = |codec: String| SoundError::UnsupportedCodec {
        file: file.to_owned(),
        at_byte: moov_at,
        codec,
    };
    let (track, trak) = sound_track(&moov).map_err(|refusal| match refusal {
        Refusal::Coder(codec) => unsupported(codec),
        Refusal::Broken(what) => broken(what),
    })?;
    let samples = Samples::new(trak).map_err(|table| broken(format!("it has no `{table}`")))?;
    if samples.ticks() == 0 && super::mp4_boxes::find(&moov, b"mvex").is_some() {
        return Err(unsupported("in fragments (`moof`)".to_owned()));
    }
    let coder = Coder::new(track.packing, &track.setup);
    let coder = coder.map_err(|e| unsupported(format!("{} ({e})", name(track.packing))))?;
    let (channels, rate) = coder.shape();
    let rate = checked_rate(rate, file)?;
    let cut = Cut::new(&track, &samples, rate);
    let mut notes = Vec::new();
    if cut.assumed {
        notes.push(SoundNote::UsualDelay {
            frames: FrameCount(cut.delay),
            coder: "AAC",
        });
    }
    let format = SourceFormat {
        rate: SampleRate(rate),
        channels: u16::try_from(channels).unwrap_or(u16::MAX),
        samples: match track.packing {
            Packing::Alac => SampleFormat::Integer { bits: track.bits },
            _ => SampleFormat::Lossy,
        },
        container: Container::Mp4,
        frames: Some(cut.frames),
    };
    let unpack = Mp4 {
        input,
        file: file.to_owned(),
        samples,
        coder,
        channels: channels.max(1) as u64,
        rate,
        timescale: track.timescale,
        packet: Vec::new(),
        read_to: None,
        frames: 0,
        usual_frames: if track.packing == Packing::Aac {
            1024
        } else {
            4096
        },
        gaps_left: LOST_S_MAX * u64::from(rate),
    };
    let unpack = Box::new(unpack);
    Ok(Box::new(Packed::start(format, unpack, cut.delay, notes)))
}

fn name(packing: Packing) -> &'static str {
    match packing {
        Packing::Alac => "ALAC",
        _ => "AAC",
    }
}

/// What is cut off the decoded sound, in frames.
struct Cut {
    delay: u64,
    frames: u64,
    /// The file does not say it; the usual delay is taken.
    assumed: bool,
}

impl Cut {
    fn new(track: &Track, samples: &Samples, rate: u32) -> Self {
        let frames_at = |ticks| frames_at(ticks, rate, track.timescale);
        let ticks = samples.ticks();
        let all = frames_at(ticks);
        let (delay, frames, assumed) = match (track.edit, track.comment) {
            // A list that cuts nothing off says less than the comment.
            (Edit::None | Edit::From(0, ..), Some((priming, length))) => (priming, length, false),
            (Edit::From(begin, Some(end), inexact), _) if ticks.abs_diff(end) > inexact => {
                let delay = frames_at(begin);
                (delay, frames_at(end).saturating_sub(delay), false)
            }
            (Edit::From(begin, ..), _) => (frames_at(begin), u64::MAX, false),
            (Edit::None, None) if track.packing == Packing::Aac => (USUAL_PRIMING, u64::MAX, true),
            (Edit::None, None) => (0, u64::MAX, false),
        };
        Self {
            delay,
            frames: frames.min(all.saturating_sub(delay)),
            assumed,
        }
    }
}

/// Frames from the track's beginning to this tick, to the nearest.
fn frames_at(ticks: u64, rate: u32, timescale: u32) -> u64 {
    let (rate, timescale) = (u128::from(rate), u128::from(timescale));
    let frames = (u128::from(ticks) * rate + timescale / 2) / timescale;
    u64::try_from(frames).unwrap_or(u64::MAX)
}

/// Reads the index, wherever it stands, and says where.
fn find_index(input: &mut impl Seekable, file: &str) -> Result<(Vec<u8>, u64), SoundError> {
    let broken = |at_byte: u64, what: &str| SoundError::Malformed {
        file: file.to_owned(),
        container: "MP4",
        at_byte,
        what: what.to_owned(),
    };
    let mut at = 0u64;
    loop {
        let head = read_at(input, file, at, 16)?;
        if head.len() < 8 {
            let what = "the index (`moov`), which is written last, is not there: the recording \
                        was broken off, or is cut";
            return Err(broken(at, what));
        }
        let (name, head_bytes, length) =
            box_head(&head).ok_or_else(|| broken(at, "a box of an impossible length"))?;
        if name == *b"moov" {
            let length = length.unwrap_or(INDEX_BYTES_MAX) - head_bytes as u64;
            if length > INDEX_BYTES_MAX {
                return Err(broken(at, "an index of more than 64 MB"));
            }
            return Ok((read_at(input, file, at + head_bytes as u64, length)?, at));
        }
        at = match length.and_then(|length| at.checked_add(length)) {
            Some(behind) => behind,
            None => return Err(broken(at, "the index (`moov`) is not there")),
        };
    }
}

/// Up to `bytes` bytes from there; fewer only when the file ends.
fn read_at(
    input: &mut impl Seekable,
    file: &str,
    at_byte: u64,
    bytes: u64,
) -> Result<Vec<u8>, SoundError> {
    let mut got = Vec::new();
    input
        .seek(SeekFrom::Start(at_byte))
        .and_then(|_| input.take(bytes).read_to_end(&mut got))
        .map_err(|source| SoundError::Read {
            file: file.to_owned(),
            at_byte,
            source,
        })?;
    Ok(got)
}

struct Mp4 {
    input: Box<dyn Seekable>,
    file: String,
    samples: Samples,
    coder: Coder,
    channels: u64,
    rate: u32,
    timescale: u32,
    packet: Vec<u8>,
    /// Where the input stands, when that is known.
    read_to: Option<u64>,
    /// Frames handed on, the delay among them.
    frames: u64,
    /// Frames of a packet.
    usual_frames: u64,
    /// Frames of gaps between packets that are still believed.
    gaps_left: u64,
}

impl Mp4 {
    /// Reads a packet; false when the file ends before its end.
    fn read_packet(&mut self, sample: &Sample) -> Result<bool, SoundError> {
        if self.read_to != Some(sample.at_byte) {
            let sought = self.input.seek(SeekFrom::Start(sample.at_byte));
            sought.map_err(|e| self.read_error(sample, e))?;
        }
        self.packet.resize(sample.bytes as usize, 0);
        self.read_to = Some(sample.at_byte.saturating_add(u64::from(sample.bytes)));
        match self.input.read_exact(&mut self.packet) {
            Ok(()) => Ok(true),
            Err(e) if e.kind() == ErrorKind::UnexpectedEof => Ok(false),
            Err(e) => Err(self.read_error(sample, e)),
        }
    }

    fn read_error(&self, sample: &Sample, source: std::io::Error) -> SoundError {
        SoundError::Read {
            file: self.file.clone(),
            at_byte: sample.at_byte,
            source,
        }
    }

    fn lose(&mut self, frames: u64, out: &mut Outlet) {
        out.silence(frames);
        self.frames += frames;
    }
}

impl Unpack for Mp4 {
    fn advance(&mut self, out: &mut Outlet) -> Result<bool, SoundError> {
        let Some(sample) = self.samples.next() else {
            return Ok(false);
        };
        let due = frames_at(sample.tick, self.rate, self.timescale);
        let gap = due.saturating_sub(self.frames);
        if gap as f64 > GAP_S * f64::from(self.rate) && gap <= self.gaps_left {
            self.gaps_left -= gap;
            self.lose(gap, out);
        }
        if sample.bytes > PACKET_BYTES_MAX {
            self.lose(self.usual_frames, out);
            return Ok(true);
        }
        if !self.read_packet(&sample)? {
            return Ok(false);
        }
        match self.coder.decode(&self.packet) {
            Some(samples) if !samples.is_empty() => {
                out.samples(samples);
                self.frames += samples.len() as u64 / self.channels;
            }
            _ => self.lose(self.usual_frames, out),
        }
        Ok(true)
    }
}
