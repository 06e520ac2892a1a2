//! What every source of sound delivers: blocks of mono samples, gaps, and at last the end.

use crate::sound::error::SoundError;
use crate::sound::notes::SoundNote;
use crate::units::{FrameCount, SampleRate};

/// What a source delivered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Delivery {
    /// The block now holds one or more mono samples.
    Samples,
    /// This many frames are lost here; the block is empty. Time goes on.
    Gap(FrameCount),
    /// Nothing has come since; the block is empty. Only a device says this, never a file: what
    /// comes next is to be asked for a little later.
    Nothing,
    /// Nothing more will come; the block is empty. Asking again gives `End` again.
    End,
}

/// How a sample is written down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SampleFormat {
    /// Integers with this many bits that count (8 to 32).
    Integer {
        /// Bits that count.
        bits: u16,
    },
    /// IEEE 754 floating point, 32 or 64 bits; full scale is ±1.
    Float {
        /// 32 or 64.
        bits: u16,
    },
    /// What a coder that leaves things out made of them; its decoder gives floating point.
    Lossy,
}

impl std::fmt::Display for SampleFormat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Integer { bits } => write!(f, "{bits}-bit integer"),
            Self::Float { bits } => write!(f, "{bits}-bit float"),
            Self::Lossy => write!(f, "lossy"),
        }
    }
}

/// What holds the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Container {
    /// RIFF WAVE.
    Wav,
    /// RIFF WAVE with 64-bit lengths (EBU Tech 3306).
    Rf64,
    /// Free Lossless Audio Codec, in its own container.
    Flac,
    /// MPEG audio layer III.
    Mp3,
    /// Vorbis in Ogg.
    OggVorbis,
    /// AAC or ALAC in MP4.
    Mp4,
    /// No file at all: a sound card.
    Device,
}

impl Container {
    /// Its usual name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Wav => "WAV",
            Self::Rf64 => "RF64",
            Self::Flac => "FLAC",
            Self::Mp3 => "MP3",
            Self::OggVorbis => "Ogg Vorbis",
            Self::Mp4 => "M4A",
            Self::Device => "sound card",
        }
    }
}

/// What a source says about itself before the first sample.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SourceFormat {
    /// Frames per second, [`RATE_MIN`] to [`RATE_MAX`].
    pub rate: SampleRate,
    /// Channels in the source, at least 1; what is delivered is always mono.
    pub channels: u16,
    /// How the samples are written down.
    pub samples: SampleFormat,
    /// What holds them.
    pub container: Container,
    /// The number of frames the header declares; `None` when it declares none. A declaration is
    /// no promise: see [`SoundNote`].
    pub frames: Option<u64>,
}

impl std::fmt::Display for SourceFormat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let channels = match self.channels {
            1 => "mono".to_owned(),
            2 => "stereo".to_owned(),
            n => format!("{n} channels"),
        };
        write!(
            f,
            "{}, {} Hz, {channels}, {}",
            self.container.name(),
            self.rate.0,
            self.samples
        )
    }
}

/// The lowest sample rate taken, in hertz: telephone speech (ITU-T G.711), which still holds the
/// partials of a bass up to 4 kHz.
pub const RATE_MIN: SampleRate = SampleRate(8_000);

/// The highest sample rate taken, in hertz: the highest in common use.
pub const RATE_MAX: SampleRate = SampleRate(192_000);

/// Something that delivers sound: a file, a pipe, a device.
///
/// The samples do not depend on how they are cut into blocks.
pub trait Source: Send {
    /// What the source says about itself.
    fn format(&self) -> &SourceFormat;

    /// Empties `into` and fills it with the next mono samples, full scale ±1, all finite.
    ///
    /// # Errors
    /// When the samples cannot be read. The source is then at its end: a later call gives
    /// [`Delivery::End`].
    fn next_block(&mut self, into: &mut Vec<f32>) -> Result<Delivery, SoundError>;

    /// What there is to say about the sound delivered so far; complete after the end.
    fn notes(&self) -> Vec<SoundNote>;
}
