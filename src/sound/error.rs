//! What can go wrong with samples in and out, and how to mend it.

use crate::sound::block::{RATE_MAX, RATE_MIN};

/// Why a sound could not be read or written. Each message names the file, what was found and
/// what to do; nothing has been delivered beyond what was delivered before.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SoundError {
    /// There is no such file. Check the path.
    #[error("{file}: there is no such file; check the path")]
    Missing {
        /// The path as given.
        file: String,
    },
    /// The path is a folder. Name a file in it.
    #[error("{file}: this is a folder; name a sound file in it")]
    Folder {
        /// The path as given.
        file: String,
    },
    /// The file cannot be opened, usually for want of permission.
    #[error("{file}: cannot be opened ({source}); check that you may read it")]
    Open {
        /// The path as given.
        file: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// Reading broke off.
    #[error("{file}: reading failed at byte {at_byte} ({source}); check the disk and try again")]
    Read {
        /// The path as given.
        file: String,
        /// Bytes read before it failed.
        at_byte: u64,
        /// What the system said.
        source: std::io::Error,
    },
    /// The file has no bytes.
    #[error("{file}: the file is empty; record the take again or copy it again")]
    Empty {
        /// The path as given.
        file: String,
    },
    /// The file is of another kind.
    #[error(
        "{file}: this is {found}; a take must be WAV, FLAC, MP3, M4A or Ogg Vorbis. \
         {mend}"
    )]
    WrongType {
        /// The path as given.
        file: String,
        /// What the content shows, with its article.
        found: &'static str,
        /// What to do.
        mend: &'static str,
    },
    /// The header is broken.
    #[error("{file}: broken {container} header at byte {at_byte}: {what}; export the take again")]
    Malformed {
        /// The path as given.
        file: String,
        /// The kind of file.
        container: &'static str,
        /// Where in the file.
        at_byte: u64,
        /// What was found there and what is allowed.
        what: String,
    },
    /// The samples are packed in a way that is not read.
    #[error(
        "{file}: the samples are {codec} (byte {at_byte}), which is not read; export the take as \
         WAV with 16, 24 or 32-bit samples, or as FLAC, or convert it with `ffmpeg -i IN OUT.wav`"
    )]
    UnsupportedCodec {
        /// The path as given.
        file: String,
        /// Where the header says so.
        at_byte: u64,
        /// The name of the packing.
        codec: String,
    },
    /// The sample rate is out of range.
    #[error(
        "{file}: the header gives {given_hz} frames per second; {} to {} are read. Export the \
         take at 44100 or 48000",
        RATE_MIN.0,
        RATE_MAX.0
    )]
    RateOutOfRange {
        /// The path as given.
        file: String,
        /// Frames per second in the header.
        given_hz: u32,
    },
    /// A file that must be read here and there comes through a pipe and is too long for memory.
    #[error(
        "{file}: MP4 through a pipe is read up to {} MB, and this is longer; give the file itself",
        bytes_max >> 20
    )]
    TooLongForPipe {
        /// The name of the pipe.
        file: String,
        /// The longest that is read, in bytes.
        bytes_max: u64,
    },
    /// A sound header without a single frame after it.
    #[error("{file}: there is not one sample in it; record the take again")]
    NoSamples {
        /// The path as given.
        file: String,
    },
    /// Some of a take could not be written. Make room on the disk before the next one.
    #[error(
        "{file}: {seconds:.1} s could not be written ({reason}) and are silence in the take; the \
         rest is kept. Make room on the disk"
    )]
    PartMissing {
        /// The path as given.
        file: String,
        /// How much is missing, in seconds.
        seconds: f64,
        /// What the system said last.
        reason: String,
    },
    /// Another program keeps its take in that file. Name another one.
    #[error("{file}: another program keeps its take there now; name another file")]
    Kept {
        /// The path as given.
        file: String,
    },
    /// A file cannot be written.
    #[error("{file}: cannot be written ({reason}); check the folder and the space on the disk")]
    Write {
        /// The path as given.
        file: String,
        /// What the system said.
        reason: String,
    },
}
