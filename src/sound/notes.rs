//! What a source has to say about the sound it delivered: nothing that stops the work, and
//! nothing that a listener should have to guess.

use crate::units::{Decibels, FrameCount, FrameIndex};

/// Something noticed on the way in. Frames count from the start of the source; channels from 1.
#[derive(Clone, Debug, PartialEq)]
pub enum SoundNote {
    /// A channel carries nothing and was left out of the mix.
    DeadChannel {
        /// The channel, from 1.
        channel: u16,
        /// Its level under the loudest channel; `None` when it is digital silence.
        level: Option<Decibels>,
    },
    /// A channel that had been left out as dead began to sound.
    LeftOutChannelSounds {
        /// The channel, from 1.
        channel: u16,
        /// The first frame that reaches −40 dBFS.
        first: FrameIndex,
    },
    /// A channel that had been left out was taken in, since what was used had fallen silent.
    ChannelTakenIn {
        /// The channel, from 1.
        channel: u16,
        /// The frame from which on it is used.
        from: FrameIndex,
    },
    /// A channel holds steady hum or hiss alone while another one holds notes, and was left out.
    SteadyChannel {
        /// The channel, from 1.
        channel: u16,
    },
    /// The channels would cancel one another; only one of them was taken.
    OpposedChannels {
        /// The channel that was kept, from 1: the loudest.
        kept: u16,
    },
    /// The sound stops before the header says it should.
    TruncatedAt {
        /// Frames that were there.
        frames: FrameCount,
        /// Frames that the header declares.
        declared: FrameCount,
    },
    /// The header declares fewer frames than the file holds; all were read.
    HeaderLies {
        /// Frames that the header declares.
        declared: FrameCount,
        /// Frames that were there.
        found: FrameCount,
    },
    /// Bytes after the samples that are neither samples nor a chunk were left out.
    TrailingBytes {
        /// How many bytes.
        bytes: u64,
    },
    /// The file does not say how much silence its coder put in front; what is usual was taken out.
    UsualDelay {
        /// Frames taken out.
        frames: FrameCount,
        /// The coder.
        coder: &'static str,
    },
    /// The mark that a whole file ends with is not there.
    BrokenOff,
    /// Parts of the stream are damaged; silence stands in their place.
    Damaged {
        /// Frames replaced.
        frames: FrameCount,
        /// The first of them.
        first: FrameIndex,
    },
    /// Samples that are infinite or no number were replaced by 0.
    NonFinite {
        /// How many samples, all channels together.
        count: u64,
        /// The frame of the first.
        first: FrameIndex,
    },
    /// The recording is clipped: runs of three and more samples at full scale.
    Clipped {
        /// How many runs, all channels together.
        runs: u64,
        /// The frame at which the first run starts.
        first: FrameIndex,
    },
}

impl std::fmt::Display for SoundNote {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::DeadChannel {
                channel,
                level: None,
            } => {
                write!(f, "channel {channel} is silent and was left out of the mix")
            }
            Self::DeadChannel {
                channel,
                level: Some(level),
            } => write!(
                f,
                "channel {channel} lies {:.0} dB under the loudest and was left out of the mix",
                -level.0
            ),
            Self::LeftOutChannelSounds { channel, first } => write!(
                f,
                "channel {channel} was silent at first and is left out, but sounds from frame {} \
                 on; if the bass is there, make the take mono first",
                first.0
            ),
            Self::ChannelTakenIn { channel, from } => write!(
                f,
                "the other channels fall silent while channel {channel} sounds; it is used from frame {} on",
                from.0
            ),
            Self::SteadyChannel { channel } => write!(
                f,
                "channel {channel} holds steady hum or hiss alone and was left out of the mix"
            ),
            Self::OpposedChannels { kept } => write!(
                f,
                "the channels cancel one another (opposite polarity); only channel {kept} is used"
            ),
            Self::TruncatedAt { frames, declared } => write!(
                f,
                "the file stops after {} of {} frames; what is there is used",
                frames.0, declared.0
            ),
            Self::HeaderLies { declared, found } => write!(
                f,
                "the header declares {} frames but the file holds {}; all of them are used",
                declared.0, found.0
            ),
            Self::TrailingBytes { bytes } => {
                write!(
                    f,
                    "{bytes} bytes after the last whole frame are no sound and were left out"
                )
            }
            Self::UsualDelay { frames, coder } => write!(
                f,
                "the file does not say by how much its {coder} coder delayed the sound; {} frames \
                 were taken out, as is usual, so all of it may lie some hundredths of a second off",
                frames.0
            ),
            Self::BrokenOff => write!(f, "the file stops without its end; what is there is used"),
            Self::Damaged { frames, first } => write!(
                f,
                "{} frames are damaged, the first at frame {}; silence stands in their place",
                frames.0, first.0
            ),
            Self::NonFinite { count, first } => write!(
                f,
                "{count} samples are no finite number, the first at frame {}; taken as 0",
                first.0
            ),
            Self::Clipped { runs, first } => write!(
                f,
                "the recording is clipped in {runs} places, the first at frame {}; turn the input \
                 down",
                first.0
            ),
        }
    }
}
