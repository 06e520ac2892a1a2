//! FLAC: the metadata read here, the audio decoded by Symphonia.
//!
//! Only the stream information is handed on. Pictures, seek tables and comments are passed over
//! unread, so that no length in them can ask for memory. The decoder checks every frame's
//! checksum (CRC-8 and CRC-16, RFC 9639 section 9); what is lost is replaced by silence, so that
//! the rest keeps its place in time, and is taken down in a note.
//!
//! # Source
//! RFC 9639, *Free Lossless Audio Codec*, sections 6 to 9.

use std::io::{Cursor, ErrorKind, Read};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use symphonia::core::audio::{Audio, GenericAudioBufferRef};
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::{FormatOptions, FormatReader};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions, ReadOnlySource};
use symphonia::default::codecs::FlacDecoder;
use symphonia::default::formats::FlacReader;

use crate::sound::block::{Container, RATE_MAX, RATE_MIN, SampleFormat, SourceFormat};
use crate::sound::error::SoundError;
use crate::sound::file::Frames;
use crate::sound::notes::SoundNote;
use crate::sound::wav_header::Counted;
use crate::units::{FrameCount, FrameIndex, SampleRate};

/// The longest stretch of lost frames that is believed, in seconds. A frame number further on is
/// taken for damage itself: else one wrong number could ask for years of silence.
const LOST_S_MAX: u64 = 60;

/// Bytes of the stream information block (RFC 9639, section 8.2).
const STREAM_INFO_BYTES: usize = 34;

/// A reader that tells from afar how many bytes it gave, for the decoder swallows it.
struct Tallied<R> {
    inner: R,
    at_byte: Arc<AtomicU64>,
}

impl<R: Read> Read for Tallied<R> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let got = self.inner.read(into)?;
        self.at_byte.fetch_add(got as u64, Ordering::Relaxed);
        Ok(got)
    }
}

/// A FLAC stream being read.
pub(super) struct Flac {
    file: String,
    format: SourceFormat,
    reader: FlacReader<'static>,
    decoder: FlacDecoder,
    at_byte: Arc<AtomicU64>,
    /// Frames delivered.
    frames: u64,
    /// Where the stream's own count would stand now; it may be off by what was disbelieved.
    expected_at: u64,
    /// Frames of silence still owed, and a decoded packet that waits behind them.
    silence_owed: u64,
    waiting: Vec<i32>,
    damaged: Option<(u64, FrameIndex)>,
    ended: bool,
    finished: bool,
    notes: Vec<SoundNote>,
}

impl Flac {
    /// Reads the metadata. `tag_bytes` is what stood before the stream.
    ///
    /// # Errors
    /// When the metadata is broken or the stream information out of range.
    pub(super) fn new(
        inner: impl Read + Send + Sync + 'static,
        file: &str,
        tag_bytes: u64,
    ) -> Result<Self, SoundError> {
        let mut input = Counted::new(inner, file);
        input.at_byte = tag_bytes;
        let info = stream_info(&mut input)?;
        let format = read_format(&info, file)?;
        let audio_at = input.at_byte;
        // The rest of the stream behind a header of our own: marker, the one block marked as the
        // last, audio.
        let mut header = b"fLaC\x80\x00\x00\x22".to_vec();
        header.extend_from_slice(&info);
        let at_byte = Arc::new(AtomicU64::new(audio_at));
        let audio = Tallied {
            inner: input.into_inner(),
            at_byte: Arc::clone(&at_byte),
        };
        let source = ReadOnlySource::new(Cursor::new(header).chain(audio));
        let stream = MediaSourceStream::new(Box::new(source), MediaSourceStreamOptions::default());
        let broken = |what: String| SoundError::Malformed {
            file: file.to_owned(),
            container: "FLAC",
            at_byte: audio_at,
            what,
        };
        let reader = match FlacReader::try_new(stream, FormatOptions::default()) {
            Ok(reader) => reader,
            Err(Error::IoError(e)) if e.kind() == ErrorKind::UnexpectedEof => {
                return Err(SoundError::NoSamples {
                    file: file.to_owned(),
                });
            }
            Err(e) => return Err(broken(e.to_string())),
        };
        let params = reader
            .tracks()
            .first()
            .and_then(|track| track.codec_params.as_ref())
            .and_then(|params| params.audio())
            .ok_or_else(|| broken("there is no audio track".to_owned()))?;
        let decoder = FlacDecoder::try_new(params, &AudioDecoderOptions::default())
            .map_err(|e| broken(e.to_string()))?;
        Ok(Self {
            file: file.to_owned(),
            format,
            reader,
            decoder,
            at_byte,
            frames: 0,
            expected_at: 0,
            silence_owed: 0,
            waiting: Vec::new(),
            damaged: None,
            ended: false,
            finished: false,
            notes: Vec::new(),
        })
    }

    /// Frames of a whole block of samples in `self.waiting`.
    fn waiting_frames(&self) -> u64 {
        (self.waiting.len() / usize::from(self.format.channels)) as u64
    }

    /// Decodes the next packet into `self.waiting`, or sets `self.ended`.
    fn next_packet(&mut self) -> Result<(), SoundError> {
        self.waiting.clear();
        let packet = match self.reader.next_packet() {
            Ok(Some(packet)) => packet,
            Ok(None) => {
                self.ended = true;
                return Ok(());
            }
            Err(Error::IoError(e)) if e.kind() != ErrorKind::UnexpectedEof => {
                self.ended = true;
                let at_byte = self.at_byte.load(Ordering::Relaxed);
                return Err(SoundError::Read {
                    file: self.file.clone(),
                    at_byte,
                    source: e,
                });
            }
            // The end in the middle of a frame, or nothing behind damage that looks like a frame.
            Err(_) => {
                self.ended = true;
                return Ok(());
            }
        };
        let at = u64::try_from(packet.pts.get()).unwrap_or(0);
        let lost = at.saturating_sub(self.expected_at);
        if lost <= LOST_S_MAX * u64::from(self.format.rate.0) {
            self.owe_silence(lost);
        }
        let packet_frames = packet.dur.get();
        self.expected_at = at + packet_frames;
        match self.decoder.decode(&packet) {
            Ok(GenericAudioBufferRef::S32(buffer))
                if buffer.num_planes() == usize::from(self.format.channels) =>
            {
                buffer.copy_to_vec_interleaved(&mut self.waiting);
            }
            _ => self.owe_silence(packet_frames),
        }
        Ok(())
    }

    fn owe_silence(&mut self, frames: u64) {
        if frames > 0 {
            let first = FrameIndex(self.frames + self.silence_owed);
            self.damaged.get_or_insert((0, first)).0 += frames;
            self.silence_owed += frames;
        }
    }

    /// Takes down, once, how the sound ended.
    fn finish(&mut self) {
        if std::mem::replace(&mut self.finished, true) {
            return;
        }
        if let Some((frames, first)) = self.damaged.take() {
            self.notes.push(SoundNote::Damaged {
                frames: FrameCount(frames),
                first,
            });
        }
        match self.format.frames {
            Some(declared) if declared > self.frames => self.notes.push(SoundNote::TruncatedAt {
                frames: FrameCount(self.frames),
                declared: FrameCount(declared),
            }),
            Some(declared) if declared < self.frames => self.notes.push(SoundNote::HeaderLies {
                declared: FrameCount(declared),
                found: FrameCount(self.frames),
            }),
            _ => {}
        }
    }
}

impl Frames for Flac {
    fn format(&self) -> &SourceFormat {
        &self.format
    }

    fn read(&mut self, interleaved: &mut Vec<f32>) -> Result<usize, SoundError> {
        /// Silence is delivered in pieces, so that a long stretch asks for no memory.
        const SILENCE_FRAMES_MAX: u64 = 4096;
        interleaved.clear();
        while self.silence_owed == 0 && self.waiting.is_empty() {
            if self.ended {
                self.finish();
                return Ok(0);
            }
            self.next_packet()?;
        }
        let frames = if self.silence_owed > 0 {
            let frames = self.silence_owed.min(SILENCE_FRAMES_MAX);
            self.silence_owed -= frames;
            interleaved.resize(frames as usize * usize::from(self.format.channels), 0.0);
            frames
        } else {
            let frames = self.waiting_frames();
            // Symphonia gives every depth as the upper bits of 32, so this division is exact.
            interleaved.extend(
                self.waiting
                    .iter()
                    .map(|x| *x as f32 * (1.0 / 2_147_483_648.0)),
            );
            self.waiting.clear();
            frames
        };
        self.frames += frames;
        Ok(frames as usize)
    }

    fn notes(&self) -> &[SoundNote] {
        &self.notes
    }
}

/// Reads all metadata up to the first audio frame and keeps the stream information.
fn stream_info<R: Read>(input: &mut Counted<R>) -> Result<[u8; STREAM_INFO_BYTES], SoundError> {
    let broken = |at_byte: u64, file: &str, what: &str| SoundError::Malformed {
        file: file.to_owned(),
        container: "FLAC",
        at_byte,
        what: what.to_owned(),
    };
    input.skip(4)?;
    let mut info = None;
    loop {
        let at = input.at_byte;
        let mut head = [0u8; 4];
        if input.fill(&mut head)? < 4 {
            return Err(broken(at, &input.file, "the file ends within the metadata"));
        }
        let bytes = u64::from(u32::from_be_bytes([0, head[1], head[2], head[3]]));
        match (head[0] & 0x7f, &info) {
            (0, None) if bytes == STREAM_INFO_BYTES as u64 => {
                let mut body = [0u8; STREAM_INFO_BYTES];
                if input.fill(&mut body)? < STREAM_INFO_BYTES {
                    return Err(broken(at, &input.file, "the file ends within the metadata"));
                }
                info = Some(body);
            }
            (_, None) => {
                let what = "the first block is not the stream information of 34 bytes";
                return Err(broken(at, &input.file, what));
            }
            (127, _) => return Err(broken(at, &input.file, "a block of the forbidden kind 127")),
            _ => input.skip(bytes)?,
        }
        if let (Some(info), true) = (info, head[0] & 0x80 != 0) {
            return Ok(info);
        }
    }
}

/// The fields of the stream information (RFC 9639, section 8.2): 20 bits of rate, 3 of channels
/// less one, 5 of bits less one, 36 of frames, from byte 10 on.
fn read_format(info: &[u8; STREAM_INFO_BYTES], file: &str) -> Result<SourceFormat, SoundError> {
    let packed = info[10..18]
        .iter()
        .fold(0u64, |sum, b| sum << 8 | u64::from(*b));
    let rate = (packed >> 44) as u32;
    if !(RATE_MIN.0..=RATE_MAX.0).contains(&rate) {
        return Err(SoundError::RateOutOfRange {
            file: file.to_owned(),
            given_hz: rate,
        });
    }
    let frames = packed & 0xf_ffff_ffff;
    Ok(SourceFormat {
        rate: SampleRate(rate),
        channels: (packed >> 41 & 7) as u16 + 1,
        samples: SampleFormat::Integer {
            bits: (packed >> 36 & 31) as u16 + 1,
        },
        container: Container::Flac,
        frames: (frames > 0).then_some(frames),
    })
}
