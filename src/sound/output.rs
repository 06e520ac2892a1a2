//! Writing WAV.

use std::io::{Cursor, Seek, Write};

use crate::sound::error::SoundError;
use crate::sound::wav_info;
use crate::units::SampleRate;

/// How samples are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WavSamples {
    /// 16-bit integers, rounded to the nearest and held at full scale; small, for listening.
    Integer16,
    /// 32-bit floats, bit for bit.
    Float32,
}

/// The bytes of a WAV file with these mono samples, for a pipe.
///
/// # Errors
/// When they are more than a WAV file can hold (4 GiB).
pub fn wav_bytes(
    rate: SampleRate,
    samples: WavSamples,
    mono: &[f32],
) -> Result<Vec<u8>, SoundError> {
    let mut bytes = Cursor::new(Vec::new());
    write_to(&mut bytes, rate, samples, mono).map_err(|e| SoundError::Write {
        file: "standard output".to_owned(),
        reason: e.to_string(),
    })?;
    Ok(bytes.into_inner())
}

/// The same, with the name of the program that wrote it (see [`wav_info`]).
///
/// # Errors
/// As [`wav_bytes`].
pub fn wav_bytes_by(
    software: &str,
    rate: SampleRate,
    samples: WavSamples,
    mono: &[f32],
) -> Result<Vec<u8>, SoundError> {
    let bytes = wav_bytes(rate, samples, mono)?;
    Ok(wav_info::with_software(bytes, software))
}

fn write_to(
    to: impl Write + Seek,
    rate: SampleRate,
    samples: WavSamples,
    mono: &[f32],
) -> Result<(), hound::Error> {
    let (bits_per_sample, sample_format) = match samples {
        WavSamples::Integer16 => (16, hound::SampleFormat::Int),
        WavSamples::Float32 => (32, hound::SampleFormat::Float),
    };
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate.0,
        bits_per_sample,
        sample_format,
    };
    let mut writer = hound::WavWriter::new(to, spec)?;
    for x in mono {
        match samples {
            WavSamples::Integer16 => writer.write_sample((x * 32768.0).round() as i16)?,
            WavSamples::Float32 => writer.write_sample(*x)?,
        }
    }
    writer.finalize()
}
