//! Vorbis in Ogg. Every page that ends a packet says how many frames there are up to its end:
//! where that is more than was decoded, sound was lost, and silence stands in its place.
//!
//! # Source
//! RFC 3533, *The Ogg Encapsulation Format Version 0*, section 6; Xiph.Org, *Vorbis I
//! specification*, sections 4.2 (headers) and A.2 (granule positions, what is cut at both ends).

use std::io::Read;

use super::coder::{Coder, Packing};
use super::outlet::Outlet;
use super::peek::Peek;
use super::{LOST_S_MAX, Packed, Unpack, checked_rate};
use crate::sound::block::{Container, SampleFormat, SourceFormat};
use crate::sound::error::SoundError;
use crate::sound::file::Frames;
use crate::sound::notes::SoundNote;
use crate::units::SampleRate;

/// Bytes of a page before its table of segments.
const PAGE_HEAD_BYTES: usize = 27;

/// The longest packet that is put together, in bytes: setups take some kilobytes, sound less. The
/// comments, which may hold pictures, are passed over. Raising it lets damage ask for more memory.
const PACKET_BYTES_MAX: usize = 1 << 20;

/// A page whose checksum is right.
struct Page {
    continues: bool,
    begins_stream: bool,
    ends_stream: bool,
    /// Frames up to the end of the last packet that ends here; `None` when none does.
    frames: Option<u64>,
    serial: u32,
    number: u32,
    /// Lengths of the pieces of packets; 255 says that the packet goes on.
    lacing: Vec<u8>,
    body: Vec<u8>,
}

/// Opens Vorbis in Ogg.
///
/// # Errors
/// When its three headers are broken.
pub(in crate::sound) fn open_ogg(
    inner: impl Read + Send + Sync + 'static,
    file: &str,
    at_byte: u64,
) -> Result<Box<dyn Frames>, SoundError> {
    let broken = |at_byte: u64, what: &str| SoundError::Malformed {
        file: file.to_owned(),
        container: "Ogg Vorbis",
        at_byte,
        what: what.to_owned(),
    };
    let mut peek = Peek::new(inner, file, at_byte);
    let mut pages = Pages::default();
    let mut headers: Vec<Vec<u8>> = Vec::new();
    while headers.len() < 3 {
        let at = peek.at_byte();
        let Some(page) = next_page(&mut peek)? else {
            return Err(broken(at, "the file ends within the three headers"));
        };
        if !pages.join(&page) {
            return Err(broken(at, "a page of the three headers is missing"));
        }
        headers.append(&mut pages.packets);
    }
    let first_sound = headers.split_off(3);
    let kinds = [1u8, 3, 5];
    let named = |(header, kind): (&Vec<u8>, u8)| {
        header.first() == Some(&kind) && header.get(1..7) == Some(b"vorbis")
    };
    if !first_sound.is_empty() || !headers.iter().zip(kinds).all(named) {
        let what = "the three Vorbis headers do not stand on pages of their own";
        return Err(broken(at_byte, what));
    }
    let setup = [headers[0].as_slice(), &headers[2]].concat();
    let mut coder = Coder::new(Packing::Vorbis, &setup).map_err(|e| broken(at_byte, &e))?;
    // Vorbis I, section 4.2.2: channels in byte 11, frames per second in the four after it.
    let (Some(channels), Some(rate)) = (headers[0].get(11), headers[0].get(12..16)) else {
        return Err(broken(at_byte, "the first header is too short"));
    };
    let channels = u16::from(*channels);
    let rate = checked_rate(
        rate.iter().rev().fold(0, |r, b| r << 8 | u32::from(*b)),
        file,
    )?;
    coder.expect(channels, rate);
    let format = SourceFormat {
        rate: SampleRate(rate),
        channels,
        samples: SampleFormat::Lossy,
        container: Container::OggVorbis,
        frames: None,
    };
    let unpack = Ogg {
        peek,
        pages,
        coder,
        channels: usize::from(channels),
        lost_max: LOST_S_MAX * u64::from(rate),
        at: None,
        closed: false,
    };
    let unpack = Box::new(unpack);
    Ok(Box::new(Packed::start(format, unpack, 0, Vec::new())))
}

/// The pages of one stream, put together to packets.
#[derive(Default)]
struct Pages {
    /// The stream's number and the next page's.
    next: Option<(u32, u32)>,
    partial: Vec<u8>,
    packets: Vec<Vec<u8>>,
}

impl Pages {
    /// Adds a page's packets to `packets`; false when something is missing before it. Pages of
    /// other streams are passed over.
    fn join(&mut self, page: &Page) -> bool {
        let (serial, wanted) = *self.next.get_or_insert((page.serial, page.number));
        if serial != page.serial {
            return true;
        }
        self.next = Some((serial, page.number.wrapping_add(1)));
        let whole = page.number == wanted && page.continues != self.partial.is_empty();
        if !whole {
            self.partial.clear();
        }
        let mut headless = page.continues && self.partial.is_empty();
        let mut at = 0;
        for piece in &page.lacing {
            let end = at + usize::from(*piece);
            if !headless && self.partial.len() <= PACKET_BYTES_MAX {
                self.partial.extend_from_slice(&page.body[at..end]);
            }
            at = end;
            if *piece < 255 && !std::mem::take(&mut headless) {
                self.packets.push(std::mem::take(&mut self.partial));
            }
        }
        whole
    }
}

struct Ogg {
    peek: Peek,
    pages: Pages,
    coder: Coder,
    channels: usize,
    /// The longest loss that is believed, in frames.
    lost_max: u64,
    /// Frames up to here by the pages' count; `None` before the first page of sound.
    at: Option<u64>,
    /// The page that ends the stream was read.
    closed: bool,
}

impl Ogg {
    /// Hands on what a page's packets hold, which end at frame `end`.
    fn place(&mut self, decoded: &[f32], lost_at: usize, end: u64, out: &mut Outlet) {
        let frames = (decoded.len() / self.channels) as u64;
        let Some(at) = self.at.replace(end) else {
            // The first page: what it holds beyond its count is not to be heard. It stands in
            // front, except when the only page of a stream is cut at its end.
            if self.closed {
                let kept = frames.min(end) as usize * self.channels;
                out.samples(&decoded[..kept]);
            } else {
                out.delay_more(frames.saturating_sub(end));
                out.samples(decoded);
            }
            return;
        };
        let wanted = end.saturating_sub(at);
        let lost = wanted.saturating_sub(frames);
        if lost > 0 && lost <= self.lost_max {
            out.samples(&decoded[..lost_at]);
            out.silence(lost);
            out.samples(&decoded[lost_at..]);
        } else if self.closed && wanted < frames {
            out.samples(&decoded[..wanted as usize * self.channels]);
        } else {
            out.samples(decoded);
        }
    }
}

impl Unpack for Ogg {
    fn advance(&mut self, out: &mut Outlet) -> Result<bool, SoundError> {
        let at_byte = self.peek.at_byte();
        let Some(page) = next_page(&mut self.peek)? else {
            return Ok(false);
        };
        let ours = self
            .pages
            .next
            .is_none_or(|(serial, _)| serial == page.serial);
        if page.begins_stream && self.closed {
            return Err(SoundError::Malformed {
                file: self.peek.file().to_owned(),
                container: "Ogg Vorbis",
                at_byte,
                what: "a second recording begins here, which needs a file of its own".to_owned(),
            });
        }
        if !ours {
            return Ok(true);
        }
        self.closed |= page.ends_stream;
        let mut lost_at = None;
        if !self.pages.join(&page) {
            self.coder.forget();
            lost_at = Some(0);
        }
        let mut decoded = Vec::new();
        for packet in std::mem::take(&mut self.pages.packets) {
            match self.coder.decode(&packet) {
                Some(samples) => decoded.extend_from_slice(samples),
                None => {
                    lost_at.get_or_insert(decoded.len());
                }
            }
        }
        match page.frames {
            Some(end) => self.place(&decoded, lost_at.unwrap_or(0), end, out),
            None => out.samples(&decoded),
        }
        Ok(true)
    }

    fn last_notes(&mut self) -> Vec<SoundNote> {
        let note = (!self.closed).then_some(SoundNote::BrokenOff);
        note.into_iter().collect()
    }
}

/// The next page whose checksum is right; damaged ones are passed over.
fn next_page(peek: &mut Peek) -> Result<Option<Page>, SoundError> {
    loop {
        let head = peek.look(PAGE_HEAD_BYTES + 255)?;
        if head.len() < PAGE_HEAD_BYTES {
            return Ok(None);
        }
        if !head.starts_with(b"OggS\0") {
            // Nothing but the mark's first letter may begin a page.
            let skip = head[1..].iter().position(|b| *b == b'O');
            let skip = skip.map_or(head.len(), |at| at + 1) as u64;
            peek.skip(skip)?;
            continue;
        }
        let segments = usize::from(head[26]);
        let lacing = head.get(PAGE_HEAD_BYTES..PAGE_HEAD_BYTES + segments);
        let Some(lacing) = lacing.map(<[u8]>::to_vec) else {
            peek.skip(1)?;
            continue;
        };
        let body_at = PAGE_HEAD_BYTES + segments;
        let bytes = body_at + lacing.iter().map(|l| usize::from(*l)).sum::<usize>();
        let whole = peek.look(bytes)?;
        if whole.len() < bytes || checksum(whole) != number(whole, 22, 4) as u32 {
            peek.skip(1)?;
            continue;
        }
        let frames = number(whole, 6, 8);
        let flags = whole[5];
        let page = Page {
            continues: flags & 1 != 0,
            begins_stream: flags & 2 != 0,
            ends_stream: flags & 4 != 0,
            frames: (frames <= i64::MAX as u64).then_some(frames),
            serial: number(whole, 14, 4) as u32,
            number: number(whole, 18, 4) as u32,
            lacing,
            body: whole[body_at..].to_vec(),
        };
        peek.skip(bytes as u64)?;
        return Ok(Some(page));
    }
}

/// A little-endian number that is known to lie within.
fn number(bytes: &[u8], at: usize, length: usize) -> u64 {
    bytes[at..at + length]
        .iter()
        .rev()
        .fold(0, |sum, b| sum << 8 | u64::from(*b))
}

/// The page's CRC-32 (polynomial 0x04c11db7, most significant bit first, from 0), its own four
/// bytes taken as 0.
fn checksum(page: &[u8]) -> u32 {
    const TABLE: [u32; 256] = table();
    page.iter().enumerate().fold(0u32, |crc, (i, byte)| {
        let byte = if (22..26).contains(&i) { 0 } else { *byte };
        crc << 8 ^ TABLE[(crc >> 24) as usize ^ usize::from(byte)]
    })
}

const fn table() -> [u32; 256] {
    let mut table = [0u32; 256];
    let mut i = 0;
    while i < 256 {
        let mut crc = (i as u32) << 24;
        let mut bit = 0;
        while bit < 8 {
            crc = crc << 1 ^ if crc >> 31 == 1 { 0x04c1_1db7 } else { 0 };
            bit += 1;
        }
        table[i] = crc;
        i += 1;
    }
    table
}
