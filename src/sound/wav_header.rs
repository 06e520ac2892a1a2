//! The header of a WAV file: everything before the first sample.
//!
//! Read here and not by `hound`, which writes our files, because a take must also be read when
//! its header lies: lengths of 0 from recorders that were killed, lengths beyond the end of the
//! file, 64-bit lengths. The tests hold the two against each other.
//!
//! # Source
//! Microsoft/IBM, *Multimedia Programming Interface and Data Specifications 1.0* (1991), for the
//! chunks; Microsoft, `WAVEFORMATEX` and `WAVEFORMATEXTENSIBLE`, for `fmt`; EBU Tech 3306 for
//! RF64 and its `ds64` chunk.

use std::io::{ErrorKind, Read};

use crate::sound::block::{Container, RATE_MAX, RATE_MIN, SampleFormat};
use crate::sound::error::SoundError;

/// A reader that knows where it is.
pub(super) struct Counted<R> {
    inner: R,
    /// Bytes taken so far.
    pub(super) at_byte: u64,
    /// The name used in errors.
    pub(super) file: String,
}

impl<R: Read> Counted<R> {
    pub(super) fn new(inner: R, file: &str) -> Self {
        Self {
            inner,
            at_byte: 0,
            file: file.to_owned(),
        }
    }

    /// The reader, where it stands.
    pub(super) fn into_inner(self) -> R {
        self.inner
    }

    /// Reads until `into` is full or nothing is left; gives the number of bytes.
    pub(super) fn fill(&mut self, into: &mut [u8]) -> Result<usize, SoundError> {
        let mut done = 0;
        while done < into.len() {
            match self.inner.read(&mut into[done..]) {
                Ok(0) => break,
                Ok(n) => done += n,
                Err(e) if e.kind() == ErrorKind::Interrupted => {}
                Err(source) => {
                    let at_byte = self.at_byte + done as u64;
                    return Err(SoundError::Read {
                        file: self.file.clone(),
                        at_byte,
                        source,
                    });
                }
            }
        }
        self.at_byte += done as u64;
        Ok(done)
    }

    /// Passes over `bytes` bytes, or what is left of them.
    pub(super) fn skip(&mut self, mut bytes: u64) -> Result<(), SoundError> {
        let mut bin = [0u8; 4096];
        while bytes > 0 {
            let want = bytes.min(bin.len() as u64) as usize;
            let got = self.fill(&mut bin[..want])?;
            if got < want {
                break;
            }
            bytes -= got as u64;
        }
        Ok(())
    }
}

/// How the bytes of one sample are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Packing {
    /// Unsigned, 128 is silence.
    U8,
    /// Little-endian, two's complement.
    I16,
    /// Little-endian, two's complement, three bytes.
    I24,
    /// Little-endian, two's complement.
    I32,
    /// Little-endian IEEE 754.
    F32,
    /// Little-endian IEEE 754.
    F64,
}

impl Packing {
    /// Bytes of one sample.
    pub(super) fn bytes(self) -> usize {
        match self {
            Self::U8 => 1,
            Self::I16 => 2,
            Self::I24 => 3,
            Self::I32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
}

/// What the header says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct WavHeader {
    pub(super) container: Container,
    pub(super) channels: u16,
    pub(super) rate: u32,
    pub(super) samples: SampleFormat,
    pub(super) packing: Packing,
    /// Bytes of samples; `None` when the header leaves the length open.
    pub(super) data_bytes: Option<u64>,
}

impl WavHeader {
    /// Bytes of one frame; at least 1.
    pub(super) fn frame_bytes(&self) -> usize {
        usize::from(self.channels) * self.packing.bytes()
    }
}

/// The data length by which RF64 points to the 64-bit length in `ds64` (EBU Tech 3306).
const LONG_LENGTH: u32 = u32::MAX;

/// True for a data length that means "until the end": 0 and 0xFFFFFFFF are left by recorders that
/// were killed or that write to a pipe, and some write the greatest number of whole pages below
/// 2 GiB (0x7FFFF000 and a little more) instead.
fn is_open(bytes: u32) -> bool {
    bytes == 0 || bytes >= 0xffff_f000 || (0x7fff_f000..0x8000_0000).contains(&bytes)
}

/// Reads up to the first sample.
///
/// # Errors
/// When it is no WAV, breaks off, or holds samples that are not read.
pub(super) fn parse<R: Read>(input: &mut Counted<R>) -> Result<WavHeader, SoundError> {
    let mut riff = [0u8; 12];
    if input.fill(&mut riff)? < 12 {
        return Err(malformed(
            input,
            0,
            "the file ends within the first 12 bytes",
        ));
    }
    let container = if &riff[..4] == b"RIFF" {
        Container::Wav
    } else {
        Container::Rf64
    };
    let mut format = None;
    let mut long_data_bytes = None;
    loop {
        let chunk_at = input.at_byte;
        let mut head = [0u8; 8];
        if input.fill(&mut head)? < 8 {
            let what = match format {
                None => "the file ends before a \"fmt \" chunk",
                Some(_) => "the file ends before a \"data\" chunk",
            };
            return Err(malformed(input, chunk_at, what));
        }
        let bytes = u32_at(&head, 4);
        match &head[..4] {
            b"fmt " => format = Some(read_fmt(input, chunk_at, bytes)?),
            b"ds64" => {
                let mut body = [0u8; 24];
                let want = body.len().min(bytes as usize);
                let got = input.fill(&mut body[..want])?;
                if got < body.len() {
                    return Err(malformed(
                        input,
                        chunk_at,
                        "the \"ds64\" chunk is too short",
                    ));
                }
                long_data_bytes = Some(u64_at(&body, 8));
                input.skip(padded(bytes) - got as u64)?;
            }
            b"data" => {
                let Some(format) = format else {
                    return Err(malformed(
                        input,
                        chunk_at,
                        "\"data\" stands before \"fmt \"",
                    ));
                };
                let data_bytes = match (bytes, long_data_bytes) {
                    (LONG_LENGTH, Some(long)) if long != 0 && long != u64::MAX => Some(long),
                    (n, _) if is_open(n) => None,
                    (n, _) => Some(u64::from(n)),
                };
                return Ok(WavHeader {
                    container,
                    data_bytes,
                    ..format
                });
            }
            _ => input.skip(padded(bytes))?,
        }
    }
}

/// A chunk of odd length is followed by one byte of padding.
fn padded(bytes: u32) -> u64 {
    u64::from(bytes) + u64::from(bytes & 1)
}

fn read_fmt<R: Read>(
    input: &mut Counted<R>,
    chunk_at: u64,
    bytes: u32,
) -> Result<WavHeader, SoundError> {
    let mut body = [0u8; 40];
    let want = body.len().min(bytes as usize);
    let got = input.fill(&mut body[..want])?;
    if got < want || got < 16 {
        let what = format!("the \"fmt \" chunk has {got} bytes; 16 and more are needed");
        return Err(malformed(input, chunk_at, &what));
    }
    input.skip(padded(bytes) - got as u64)?;
    let channels = u16_at(&body, 2);
    let rate = u32_at(&body, 4);
    let frame_bytes = u16_at(&body, 12);
    let container_bits = u16_at(&body, 14);
    if channels == 0 {
        return Err(malformed(
            input,
            chunk_at,
            "it declares 0 channels; at least 1 is needed",
        ));
    }
    if !(RATE_MIN.0..=RATE_MAX.0).contains(&rate) {
        return Err(SoundError::RateOutOfRange {
            file: input.file.clone(),
            given_hz: rate,
        });
    }
    let (code, valid_bits) = codec(input, chunk_at, &body[..got])?;
    let sample_bytes = frame_bytes / channels;
    if !frame_bytes.is_multiple_of(channels) || container_bits.div_ceil(8) != sample_bytes {
        let what = format!(
            "{channels} channels of {container_bits} bits do not make the declared frame of \
             {frame_bytes} bytes"
        );
        return Err(malformed(input, chunk_at, &what));
    }
    let packing = packing(input, chunk_at, (code, sample_bytes), container_bits)?;
    let samples = if code == 3 {
        SampleFormat::Float {
            bits: container_bits,
        }
    } else {
        SampleFormat::Integer {
            bits: valid_bits.unwrap_or(container_bits),
        }
    };
    Ok(WavHeader {
        container: Container::Wav,
        channels,
        rate,
        samples,
        packing,
        data_bytes: None,
    })
}

/// How the bytes of a sample are read, by format code (1 or 3) and bytes of a sample.
fn packing<R: Read>(
    input: &Counted<R>,
    chunk_at: u64,
    (code, sample_bytes): (u16, u16),
    container_bits: u16,
) -> Result<Packing, SoundError> {
    let kind = if code == 1 { "integers" } else { "floats" };
    Ok(match (code, sample_bytes) {
        (1, 1) => Packing::U8,
        (1, 2) => Packing::I16,
        (1, 3) => Packing::I24,
        (1, 4) => Packing::I32,
        (3, 4) => Packing::F32,
        (3, 8) => Packing::F64,
        _ => {
            return Err(SoundError::UnsupportedCodec {
                file: input.file.clone(),
                at_byte: chunk_at,
                codec: format!("{container_bits}-bit {kind}"),
            });
        }
    })
}

/// The last fourteen bytes of the sub-format GUIDs that stand for a plain format code.
const GUID_TAIL: [u8; 14] = [
    0x00, 0x00, 0x00, 0x00, 0x10, 0x00, 0x80, 0x00, 0x00, 0xaa, 0x00, 0x38, 0x9b, 0x71,
];

/// The format code, 1 (integer) or 3 (float), and how many bits count if the header says so.
fn codec<R: Read>(
    input: &Counted<R>,
    chunk_at: u64,
    body: &[u8],
) -> Result<(u16, Option<u16>), SoundError> {
    let unsupported = |codec: String| SoundError::UnsupportedCodec {
        file: input.file.clone(),
        at_byte: chunk_at,
        codec,
    };
    let code = u16_at(body, 0);
    if code != 0xfffe {
        return match code {
            1 | 3 => Ok((code, None)),
            _ => Err(unsupported(codec_name(code))),
        };
    }
    if body.len() < 40 {
        let what = "the extended \"fmt \" chunk is shorter than 40 bytes";
        return Err(malformed(input, chunk_at, what));
    }
    let code = u16_at(body, 24);
    let valid_bits = u16_at(body, 18);
    if body[26..40] != GUID_TAIL {
        return Err(unsupported(
            "of a sub-format that is no plain WAV code".to_owned(),
        ));
    }
    match code {
        1 | 3 => {
            let known = (1..=u16_at(body, 14)).contains(&valid_bits);
            Ok((code, known.then_some(valid_bits)))
        }
        _ => Err(unsupported(codec_name(code))),
    }
}

/// The usual name of a WAV format code.
///
/// # Source
/// RFC 2361, appendix A, and Microsoft's `mmreg.h`.
fn codec_name(code: u16) -> String {
    let name = match code {
        0x0002 => "Microsoft ADPCM",
        0x0006 => "A-law",
        0x0007 => "mu-law",
        0x0011 => "IMA ADPCM",
        0x0031 => "GSM 6.10",
        0x0040 => "G.721 ADPCM",
        0x0050 => "MPEG audio",
        0x0055 => "MP3",
        0x0161 => "Windows Media Audio",
        0x2000 => "AC-3",
        0xf1ac => "FLAC in WAV",
        _ => return format!("of the unknown kind {code:#06x}"),
    };
    format!("{name} ({code:#06x})")
}

fn malformed<R>(input: &Counted<R>, at_byte: u64, what: &str) -> SoundError {
    SoundError::Malformed {
        file: input.file.clone(),
        container: "WAV",
        at_byte,
        what: what.to_owned(),
    }
}

/// Little-endian numbers; the callers have checked the length.
fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([bytes[at], bytes[at + 1]])
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from(u16_at(bytes, at)) | u32::from(u16_at(bytes, at + 2)) << 16
}

fn u64_at(bytes: &[u8], at: usize) -> u64 {
    u64::from(u32_at(bytes, at)) | u64::from(u32_at(bytes, at + 4)) << 32
}
