//! MPEG audio layer III: a stream of frames without places in time.
//!
//! Where bytes are lost, as many frames of silence stand as these bytes hold on average, so that
//! the rest keeps its place.

use std::io::Read;

use super::coder::{Coder, Packing};
use super::mp3_header::{HEADER_BYTES, Header, Info};
use super::outlet::Outlet;
use super::peek::Peek;
use super::{LOST_S_MAX, Packed, Unpack, checked_rate};
use crate::sound::block::{Container, SampleFormat, SourceFormat};
use crate::sound::error::SoundError;
use crate::sound::file::Frames;
use crate::sound::notes::SoundNote;
use crate::units::{FrameCount, SampleRate};

/// Frames by which every decoder delays the sound: the analysis and synthesis filters and the
/// overlap of the transform. Source: LAME, *technical FAQ*, "decoder delay".
const DECODER_DELAY: u64 = 528 + 1;

/// Frames that the coder put in front where the file does not say: LAME's since 3.56 and that of
/// most others. Source: LAME, *technical FAQ*, "encoder delay". Raising it moves such takes ahead.
const USUAL_DELAY: u64 = 576;

/// Bytes that are searched for the next frame. Raising it believes in frames further away; at
/// most 1441 bytes belong to one.
const SEARCH_BYTES: usize = 65_536;

/// Opens an MP3 stream; `at_byte` is what stood before it.
///
/// # Errors
/// When no frame of it is found near the start.
pub(in crate::sound) fn open_mp3(
    inner: impl Read + Send + Sync + 'static,
    file: &str,
    at_byte: u64,
) -> Result<Box<dyn Frames>, SoundError> {
    let mut peek = Peek::new(inner, file, at_byte);
    let Some((at, first)) = next_frame(&mut peek, 0, None)? else {
        return Err(SoundError::Malformed {
            file: file.to_owned(),
            container: "MP3",
            at_byte,
            what: format!("no frame of MPEG layer III within {SEARCH_BYTES} bytes"),
        });
    };
    peek.skip(at as u64)?;
    let rate = checked_rate(first.rate, file)?;
    let info = Info::read(peek.look(first.bytes)?, &first);
    if info.is_some() {
        peek.skip(first.bytes as u64)?;
    }
    let info = info.unwrap_or_default();
    let (coder_delay, padding) = info.delay_and_padding.unwrap_or((USUAL_DELAY, 0));
    let delay = DECODER_DELAY + coder_delay;
    let mut notes = Vec::new();
    if info.delay_and_padding.is_none() {
        notes.push(SoundNote::UsualDelay {
            frames: FrameCount(delay),
            coder: "MP3",
        });
    }
    // What the padding lacks of the decoder's delay was never written.
    let declared = info.packets.map(|packets| {
        let all = packets * first.frames;
        all.saturating_sub((coder_delay + padding).max(delay))
    });
    let mut coder = Coder::new(Packing::Mp3, &[]).map_err(|what| SoundError::Malformed {
        file: file.to_owned(),
        container: "MP3",
        at_byte,
        what,
    })?;
    coder.expect(first.channels, rate);
    let format = SourceFormat {
        rate: SampleRate(rate),
        channels: first.channels,
        samples: SampleFormat::Lossy,
        container: Container::Mp3,
        frames: declared,
    };
    let unpack = Mp3 {
        peek,
        coder,
        first,
        declared: info.packets,
        packets: 0,
        packet_bytes: 0,
        trailing: 0,
    };
    Ok(Box::new(Packed::start(
        format,
        Box::new(unpack),
        delay,
        notes,
    )))
}

struct Mp3 {
    peek: Peek,
    coder: Coder,
    first: Header,
    /// MPEG frames that the file declares.
    declared: Option<u64>,
    /// Those seen or lost so far, and the bytes of those seen.
    packets: u64,
    packet_bytes: u64,
    /// Bytes at the end that are no frame.
    trailing: u64,
}

impl Mp3 {
    /// Silence for `bytes` bytes without a frame.
    fn lose(&mut self, bytes: u64, out: &mut Outlet) {
        let usual = match self.packet_bytes {
            0 => self.first.bytes as f64,
            sum => sum as f64 / self.packets.max(1) as f64,
        };
        let packets = (bytes as f64 / usual).round() as u64;
        let believed = LOST_S_MAX * u64::from(self.first.rate) / self.first.frames;
        let packets = packets.min(believed);
        out.silence(packets * self.first.frames);
        self.packet_bytes += (packets as f64 * usual) as u64;
        self.packets += packets;
    }
}

impl Unpack for Mp3 {
    fn advance(&mut self, out: &mut Outlet) -> Result<bool, SoundError> {
        if let Some(bytes) = tag_bytes(self.peek.look(32)?) {
            self.peek.skip(bytes)?;
            return Ok(true);
        }
        let Some((at, header)) = next_frame(&mut self.peek, 0, Some(&self.first))? else {
            let left = self.peek.look(SEARCH_BYTES)?.len();
            self.trailing += left as u64;
            self.peek.skip(left as u64)?;
            return Ok(left > 0);
        };
        let lost = std::mem::take(&mut self.trailing) + at as u64;
        if lost > 0 {
            self.lose(lost, out);
            self.peek.skip(at as u64)?;
        }
        let packet = self.peek.look(header.bytes)?;
        match self.coder.decode(packet) {
            Some(samples) => out.samples(samples),
            None => out.silence(header.frames),
        }
        self.packets += 1;
        self.packet_bytes += header.bytes as u64;
        self.peek.skip(header.bytes as u64)?;
        Ok(true)
    }

    fn beyond(&self) -> bool {
        self.declared
            .is_some_and(|declared| self.packets > declared)
    }

    fn last_notes(&mut self) -> Vec<SoundNote> {
        let bytes = self.trailing;
        let note = (bytes > 0).then_some(SoundNote::TrailingBytes { bytes });
        note.into_iter().collect()
    }
}

/// The next whole frame from `from` on that is followed by another one, a tag or the end, and how
/// many bytes away it lies. Where the frame here and the one behind it do not fit together, the
/// one whose length leads past the next frame is the damaged one.
fn next_frame(
    peek: &mut Peek,
    from: usize,
    like: Option<&Header>,
) -> Result<Option<(usize, Header)>, SoundError> {
    // First in sight: one frame and the head of the next are nearly always enough.
    let near = peek.look(4096)?;
    if let Some(header) = header_at(near, from, like)
        && fits(near, from, &header)
    {
        return Ok(Some((from, header)));
    }
    let bytes = peek.look(SEARCH_BYTES)?;
    let here = header_at(bytes, from, like).filter(|h| bytes.len() >= from + h.bytes);
    let next = (from + 1..bytes.len().saturating_sub(HEADER_BYTES - 1)).find_map(|at| {
        let header = header_at(bytes, at, like)?;
        fits(bytes, at, &header).then_some((at, header))
    });
    Ok(match (here, next, like) {
        // In the midst of a stream a frame stands for itself.
        (Some(here), Some((at, _)), Some(_)) if at >= from + here.bytes => Some((from, here)),
        (Some(here), None, Some(_)) => Some((from, here)),
        (_, next, _) => next,
    })
}

fn header_at(bytes: &[u8], at: usize, like: Option<&Header>) -> Option<Header> {
    Header::read(bytes.get(at..)?).filter(|header| like.is_none_or(|like| like.is_like(header)))
}

/// True when the frame is whole and something that may follow follows.
fn fits(bytes: &[u8], at: usize, header: &Header) -> bool {
    match bytes.get(at + header.bytes..) {
        None => false,
        Some(behind) if behind.len() < HEADER_BYTES => true,
        Some(behind) => {
            tag_bytes(behind).is_some() || Header::read(behind).is_some_and(|h| h.is_like(header))
        }
    }
}

/// The length of a tag that stands between frames or at the end: ID3v1, ID3v2 or APEv2.
///
/// # Source
/// id3.org, *ID3v1* and *ID3v2.4.0 structure*, 3.1; *APEv2 specification* (the size in the header
/// counts items and footer).
fn tag_bytes(bytes: &[u8]) -> Option<u64> {
    if bytes.starts_with(b"TAG") {
        return Some(128);
    }
    if bytes.starts_with(b"ID3") && bytes.len() >= 10 {
        return Some(crate::sound::sniff::id3v2_bytes(bytes));
    }
    let size = bytes.strip_prefix(b"APETAGEX")?.get(4..8)?;
    Some(32 + size.iter().rev().fold(0, |sum, b| sum << 8 | u64::from(*b)))
}
