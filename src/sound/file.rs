//! Opening a take: what it is shows in its content, never in its name.

use std::fs::File;
use std::io::{BufReader, Cursor, ErrorKind, Read};
use std::path::Path;

use crate::sound::block::{Delivery, Source, SourceFormat};
use crate::sound::error::SoundError;
use crate::sound::flac::Flac;
use crate::sound::health::Health;
use crate::sound::mixdown::Mixdown;
use crate::sound::notes::SoundNote;
use crate::sound::packed::{MP4_MEMORY_BYTES, Seekable, open_mp3, open_mp4, open_ogg};
use crate::sound::sniff::{HEAD_BYTES, Kind, after_tag, sniff};
use crate::sound::wav::Wav;
use crate::units::SampleRate;

/// How a file is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FileConfig {
    /// Frames read and delivered at once, at least 1 (0 is taken as 1). It changes the speed,
    /// never the samples.
    pub block_frames: usize,
}

impl Default for FileConfig {
    /// 4096 frames: the block with its conversions stays in a core's own cache.
    fn default() -> Self {
        Self { block_frames: 4096 }
    }
}

/// A decoder of one kind of file: interleaved samples, all channels.
pub(super) trait Frames: Send {
    /// What the header says.
    fn format(&self) -> &SourceFormat;

    /// Empties `interleaved` and fills it with whole frames; gives how many, 0 at the end.
    fn read(&mut self, interleaved: &mut Vec<f32>) -> Result<usize, SoundError>;

    /// What was noticed so far.
    fn notes(&self) -> &[SoundNote];
}

/// Opens a WAV, FLAC, MP3, M4A (AAC-LC or ALAC) or Ogg Vorbis file; `-` is standard input.
///
/// # Errors
/// When it cannot be opened, is of another kind, or its header is broken: see [`SoundError`].
pub fn open(path: &Path) -> Result<Box<dyn Source>, SoundError> {
    open_with(path, &FileConfig::default())
}

/// Whether a file holds sound that can be read, by its first bytes; false where it cannot be opened.
pub fn is_sound(path: &Path) -> bool {
    let head = File::open(path).and_then(|file| {
        let mut head = Vec::with_capacity(HEAD_BYTES);
        file.take(HEAD_BYTES as u64).read_to_end(&mut head)?;
        Ok(head)
    });
    head.is_ok_and(|head| !matches!(sniff(&head), Kind::Other(..)))
}

/// Part of a file as mono samples, with silence where it has not begun or is over, and its rate.
///
/// # Errors
/// When it cannot be opened or read.
pub fn read_part(
    path: &Path,
    from_s: f64,
    to_s: f64,
) -> Result<(Vec<f32>, SampleRate), SoundError> {
    let mut source = open(path)?;
    let rate = source.format().rate;
    let frame = |s: f64| (s * rate.hz()).round() as i64;
    let (from, to) = (frame(from_s), frame(to_s));
    let mut samples = vec![0.0f32; usize::try_from(to - from).unwrap_or(0)];
    let mut block = Vec::new();
    let mut at = 0i64;
    while at < to {
        match source.next_block(&mut block)? {
            Delivery::Samples => {
                for (n, x) in block.iter().enumerate() {
                    let place = usize::try_from(at + n as i64 - from).ok();
                    if let Some(y) = place.and_then(|place| samples.get_mut(place)) {
                        *y = *x;
                    }
                }
                at += block.len() as i64;
            }
            Delivery::Gap(frames) => at += frames.0 as i64,
            Delivery::Nothing => {}
            Delivery::End => break,
        }
    }
    Ok((samples, rate))
}

/// As [`open`], with the block length given.
///
/// # Errors
/// As [`open`].
pub fn open_with(path: &Path, config: &FileConfig) -> Result<Box<dyn Source>, SoundError> {
    if path == Path::new("-") {
        return from_reader(std::io::stdin(), "standard input", config);
    }
    let file = path.display().to_string();
    let opened = File::open(path).and_then(|f| f.metadata().map(|m| (f, m)));
    match opened {
        Ok((_, meta)) if meta.is_dir() => Err(SoundError::Folder { file }),
        Ok((opened, meta)) => {
            // A pipe that has a name cannot be read here and there.
            let again = meta.is_file().then(|| opened.try_clone()).transpose();
            match again {
                Ok(again) => from_bytes(opened, again, &file, config),
                Err(source) => Err(SoundError::Open { file, source }),
            }
        }
        Err(e) if e.kind() == ErrorKind::NotFound => Err(SoundError::Missing { file }),
        Err(e) if e.kind() == ErrorKind::IsADirectory => Err(SoundError::Folder { file }),
        Err(source) => Err(SoundError::Open { file, source }),
    }
}

/// Reads a sound file from anything that gives bytes; `name` stands in the errors. MP4, whose
/// index may stand at its end, is read into memory, up to 256 MB.
///
/// # Errors
/// As [`open`].
pub fn from_reader(
    reader: impl Read + Send + Sync + 'static,
    name: &str,
    config: &FileConfig,
) -> Result<Box<dyn Source>, SoundError> {
    from_bytes(reader, None, name, config)
}

/// Reads from `reader`, or from the same file by `again` where it must be read here and there.
fn from_bytes(
    mut reader: impl Read + Send + Sync + 'static,
    again: Option<File>,
    name: &str,
    config: &FileConfig,
) -> Result<Box<dyn Source>, SoundError> {
    let mut head = take_head(&mut reader, name, 0)?;
    if head.is_empty() {
        return Err(SoundError::Empty {
            file: name.to_owned(),
        });
    }
    let mut kind = sniff(&head);
    let mut tag_bytes = 0;
    if let Kind::TagBefore(bytes) = kind {
        tag_bytes = bytes;
        skip_tag(&mut reader, &mut head, name, bytes)?;
        kind = after_tag(&head);
    }
    let whole = Cursor::new(head).chain(reader);
    let block_frames = config.block_frames.max(1);
    let wrong = |found, mend| SoundError::WrongType {
        file: name.to_owned(),
        found,
        mend,
    };
    let frames: Box<dyn Frames> = match kind {
        Kind::Wav => Box::new(Wav::new(whole, name, block_frames)?),
        Kind::Flac => Box::new(Flac::new(whole, name, tag_bytes)?),
        Kind::Mp3 => open_mp3(whole, name, tag_bytes)?,
        Kind::OggVorbis => open_ogg(whole, name, tag_bytes)?,
        Kind::Mp4 => {
            let input: Box<dyn Seekable> = match again {
                Some(file) => Box::new(BufReader::new(file)),
                None => Box::new(Cursor::new(into_memory(whole, name)?)),
            };
            open_mp4(input, name)?
        }
        Kind::Other(found, mend) => return Err(wrong(found, mend)),
        Kind::TagBefore(_) => return Err(wrong("a file of nothing but tags", "")),
    };
    FileSource::start(frames, name, block_frames).map(|s| Box::new(s) as Box<dyn Source>)
}

/// Passes over a tag of `bytes` bytes, of which `head` holds the beginning, and fills `head` anew.
fn skip_tag(
    reader: &mut impl Read,
    head: &mut Vec<u8>,
    name: &str,
    bytes: u64,
) -> Result<(), SoundError> {
    let inside = usize::try_from(bytes).unwrap_or(usize::MAX).min(head.len());
    head.drain(..inside);
    let beyond = bytes - inside as u64;
    std::io::copy(&mut reader.by_ref().take(beyond), &mut std::io::sink())
        .map_err(|source| read_error(name, inside as u64, source))?;
    if head.len() < HEAD_BYTES {
        head.extend(take_head(reader, name, bytes)?);
    }
    Ok(())
}

/// All there is, up to [`MP4_MEMORY_BYTES`].
fn into_memory(reader: impl Read, name: &str) -> Result<Vec<u8>, SoundError> {
    let mut bytes = Vec::new();
    reader
        .take(MP4_MEMORY_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|source| read_error(name, bytes.len() as u64, source))?;
    if bytes.len() as u64 > MP4_MEMORY_BYTES {
        return Err(SoundError::TooLongForPipe {
            file: name.to_owned(),
            bytes_max: MP4_MEMORY_BYTES,
        });
    }
    Ok(bytes)
}

/// Up to [`HEAD_BYTES`] from the reader; fewer only when there are no more.
fn take_head(reader: &mut impl Read, name: &str, at_byte: u64) -> Result<Vec<u8>, SoundError> {
    let mut head = Vec::with_capacity(HEAD_BYTES);
    reader
        .take(HEAD_BYTES as u64)
        .read_to_end(&mut head)
        .map_err(|source| read_error(name, at_byte, source))?;
    Ok(head)
}

fn read_error(name: &str, at_byte: u64, source: std::io::Error) -> SoundError {
    SoundError::Read {
        file: name.to_owned(),
        at_byte,
        source,
    }
}

/// A file as a source: decoded, cleaned and mixed down.
struct FileSource {
    frames: Box<dyn Frames>,
    health: Health,
    mixdown: Mixdown,
    block_frames: usize,
    interleaved: Vec<f32>,
    /// Mono samples ready for delivery, from `ready_at` on.
    ready: Vec<f32>,
    ready_at: usize,
    ended: bool,
}

impl FileSource {
    /// Reads until the first frame is there, so that an empty recording is refused at once.
    fn start(frames: Box<dyn Frames>, name: &str, block_frames: usize) -> Result<Self, SoundError> {
        let format = frames.format();
        let mut source = Self {
            health: Health::new(format.channels, format.samples),
            mixdown: Mixdown::new(format.channels, format.rate),
            frames,
            block_frames,
            interleaved: Vec::new(),
            ready: Vec::new(),
            ready_at: 0,
            ended: false,
        };
        source.read_more()?;
        if source.ended && source.ready.is_empty() {
            return Err(SoundError::NoSamples {
                file: name.to_owned(),
            });
        }
        Ok(source)
    }

    /// Takes one block from the decoder. The mixdown may hold it back.
    fn read_more(&mut self) -> Result<(), SoundError> {
        self.ready.clear();
        self.ready_at = 0;
        match self.frames.read(&mut self.interleaved) {
            Ok(0) => {
                self.ended = true;
                self.mixdown.finish(&mut self.ready);
                Ok(())
            }
            Ok(_) => {
                self.health.clean(&mut self.interleaved);
                self.mixdown.push(&self.interleaved, &mut self.ready);
                Ok(())
            }
            Err(e) => {
                self.ended = true;
                Err(e)
            }
        }
    }
}

impl Source for FileSource {
    fn format(&self) -> &SourceFormat {
        self.frames.format()
    }

    fn next_block(&mut self, into: &mut Vec<f32>) -> Result<Delivery, SoundError> {
        into.clear();
        while self.ready_at == self.ready.len() {
            if self.ended {
                return Ok(Delivery::End);
            }
            self.read_more()?;
        }
        if self.ready_at == 0 && self.ready.len() <= self.block_frames {
            std::mem::swap(into, &mut self.ready);
            self.ready.clear();
            return Ok(Delivery::Samples);
        }
        let end = self.ready.len().min(self.ready_at + self.block_frames);
        into.extend_from_slice(&self.ready[self.ready_at..end]);
        self.ready_at = end;
        Ok(Delivery::Samples)
    }

    fn notes(&self) -> Vec<SoundNote> {
        let mut notes = self.frames.notes().to_vec();
        notes.extend(self.mixdown.notes());
        notes.extend(self.health.notes());
        notes
    }
}
