//! WAV, read in big blocks of bytes and converted in tight loops.

use std::io::Read;

use crate::sound::block::SourceFormat;
use crate::sound::error::SoundError;
use crate::sound::file::Frames;
use crate::sound::notes::SoundNote;
use crate::sound::wav_header::{Counted, Packing, WavHeader, parse};
use crate::units::{FrameCount, SampleRate};

/// The most bytes read at once: bounds the memory for absurd channel counts.
const BLOCK_BYTES_MAX: usize = 1 << 18;

/// Bytes looked at behind the declared end, to tell samples from chunks. Fewer bytes than that
/// are never taken for samples: a tag of 128 bytes at the end of a file is no sound.
const PEEK_BYTES: usize = 4096;

/// Bytes of the name and the length of a chunk.
const CHUNK_HEAD_BYTES: usize = 8;

/// A WAV file being read.
pub(super) struct Wav<R> {
    input: Counted<R>,
    header: WavHeader,
    format: SourceFormat,
    block_frames: usize,
    bytes: Vec<u8>,
    /// Bytes read ahead and found to be samples, still to be delivered.
    peeked: Vec<u8>,
    /// Bytes of samples still to come by the header; `None` when it leaves the length open.
    left_bytes: Option<u64>,
    frames: u64,
    ended: bool,
    notes: Vec<SoundNote>,
}

impl<R: Read + Send> Wav<R> {
    /// Reads the header. `block_frames`, at least 1, is how much is read at once.
    ///
    /// # Errors
    /// When the header is broken or the samples are of a kind that is not read.
    pub(super) fn new(inner: R, file: &str, block_frames: usize) -> Result<Self, SoundError> {
        let mut input = Counted::new(inner, file);
        let header = parse(&mut input)?;
        let frame_bytes = header.frame_bytes();
        let format = SourceFormat {
            rate: SampleRate(header.rate),
            channels: header.channels,
            samples: header.samples,
            container: header.container,
            frames: header.data_bytes.map(|bytes| bytes / frame_bytes as u64),
        };
        // With the length left open the next bytes are samples, unless the file goes on with
        // another chunk: then the length of 0 was meant.
        let mut peeked = Vec::new();
        if header.data_bytes.is_none() {
            peeked.resize(CHUNK_HEAD_BYTES, 0);
            let got = input.fill(&mut peeked)?;
            peeked.truncate(got);
        }
        let block_frames = block_frames.min(BLOCK_BYTES_MAX / frame_bytes).max(1);
        Ok(Self {
            left_bytes: header.data_bytes,
            input,
            header,
            format,
            block_frames,
            bytes: Vec::new(),
            ended: is_chunk(&peeked),
            peeked,
            frames: 0,
            notes: Vec::new(),
        })
    }

    /// Fills `self.bytes` with the bytes of whole frames, as many as one block takes and the
    /// header has left. Gives how many bytes came and whether the stream is used up.
    fn next_bytes(&mut self) -> Result<(usize, bool), SoundError> {
        let frame_bytes = self.header.frame_bytes();
        let left = self.left_bytes.unwrap_or(u64::MAX) / frame_bytes as u64;
        let frames = usize::try_from(left)
            .unwrap_or(usize::MAX)
            .min(self.block_frames);
        let want = frames * frame_bytes;
        self.bytes.resize(want, 0);
        let from_peek = want.min(self.peeked.len());
        self.bytes[..from_peek].copy_from_slice(&self.peeked[..from_peek]);
        self.peeked.drain(..from_peek);
        let got = from_peek + self.input.fill(&mut self.bytes[from_peek..])?;
        if let Some(left) = &mut self.left_bytes {
            *left -= got as u64;
        }
        Ok((got, got < want))
    }

    /// The declared samples are all read: what comes behind them?
    ///
    /// Chunks, or nothing, is as it should be. Many more bytes that look like no chunk are
    /// samples that the header has not been told of, for a recorder writes the lengths last: then
    /// the length is open from here on. Gives how many bytes are neither.
    fn look_behind(&mut self) -> Result<usize, SoundError> {
        let declared_bytes = self.header.data_bytes.unwrap_or(0);
        let mut peek = vec![0u8; PEEK_BYTES];
        let got = self.input.fill(&mut peek)?;
        peek.truncate(got);
        let pad = (declared_bytes & 1) as usize;
        if got <= pad || is_chunk(&peek) || is_chunk(&peek[pad..]) {
            return Ok(0);
        }
        if got < PEEK_BYTES {
            return Ok(got);
        }
        self.peeked = peek;
        self.left_bytes = None;
        Ok(0)
    }

    /// Takes down how the sound ended. `trailing` bytes are left over: part of a last frame, or
    /// what stands behind it.
    fn finish(&mut self, trailing: usize) {
        self.ended = true;
        let declared = self.format.frames;
        if let Some(declared) = declared.filter(|d| *d > self.frames) {
            self.notes.push(SoundNote::TruncatedAt {
                frames: FrameCount(self.frames),
                declared: FrameCount(declared),
            });
        } else if let Some(declared) = declared.filter(|d| *d < self.frames) {
            self.notes.push(SoundNote::HeaderLies {
                declared: FrameCount(declared),
                found: FrameCount(self.frames),
            });
        }
        if trailing > 0 {
            self.notes.push(SoundNote::TrailingBytes {
                bytes: trailing as u64,
            });
        }
    }
}

/// True when the bytes start with the header of a chunk: a name in printable ASCII, and a length
/// that is not absurd for what stands behind samples.
fn is_chunk(bytes: &[u8]) -> bool {
    let [a, b, c, d, l0, l1, l2, l3, ..] = bytes else {
        return false;
    };
    let length = u32::from_le_bytes([*l0, *l1, *l2, *l3]);
    [a, b, c, d].iter().all(|x| (0x20..0x7f).contains(*x)) && length < 1 << 28
}

impl<R: Read + Send> Frames for Wav<R> {
    fn format(&self) -> &SourceFormat {
        &self.format
    }

    fn read(&mut self, interleaved: &mut Vec<f32>) -> Result<usize, SoundError> {
        interleaved.clear();
        if self.ended {
            return Ok(0);
        }
        let frame_bytes = self.header.frame_bytes();
        if let Some(left) = self.left_bytes.filter(|left| *left < frame_bytes as u64) {
            // The first bytes of a frame that the header cuts in two: if samples go on behind
            // it, they belong to the frame.
            let mut cut = vec![0u8; left as usize];
            let got = self.input.fill(&mut cut)?;
            cut.truncate(got);
            let behind = self.look_behind()?;
            if self.left_bytes.is_some() {
                self.finish(cut.len() + behind);
                return Ok(0);
            }
            self.peeked.splice(0..0, cut);
        }
        let (got, used_up) = self.next_bytes()?;
        let frames = got / frame_bytes;
        convert(
            self.header.packing,
            &self.bytes[..frames * frame_bytes],
            interleaved,
        );
        self.frames += frames as u64;
        if used_up {
            self.finish(got % frame_bytes);
        }
        Ok(frames)
    }

    fn notes(&self) -> &[SoundNote] {
        &self.notes
    }
}

/// Bytes of samples to full scale ±1: integers are divided by 2^(bits−1), so that the most
/// negative one is exactly −1 (the convention of FLAC, AES17 and most converters).
fn convert(packing: Packing, bytes: &[u8], into: &mut Vec<f32>) {
    match packing {
        Packing::U8 => into.extend(bytes.iter().map(|b| (f32::from(*b) - 128.0) / 128.0)),
        Packing::I16 => into.extend(
            bytes
                .as_chunks()
                .0
                .iter()
                .map(|b| f32::from(i16::from_le_bytes(*b)) * (1.0 / 32768.0)),
        ),
        Packing::I24 => {
            into.extend(bytes.as_chunks().0.iter().map(|[a, b, c]| {
                i32::from_le_bytes([0, *a, *b, *c]) as f32 * (1.0 / 2_147_483_648.0)
            }))
        }
        Packing::I32 => into.extend(
            bytes
                .as_chunks()
                .0
                .iter()
                .map(|b| i32::from_le_bytes(*b) as f32 * (1.0 / 2_147_483_648.0)),
        ),
        Packing::F32 => {
            into.extend(bytes.as_chunks().0.iter().map(|b| f32::from_le_bytes(*b)));
        }
        Packing::F64 => {
            into.extend(
                bytes
                    .as_chunks()
                    .0
                    .iter()
                    .map(|b| f64::from_le_bytes(*b) as f32),
            );
        }
    }
}
