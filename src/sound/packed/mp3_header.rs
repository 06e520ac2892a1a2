//! The header of an MPEG audio frame, and the frame that carries numbers instead of sound.
//!
//! # Source
//! ISO/IEC 11172-3, section 2.4.1.3, and ISO/IEC 13818-3, section 2.4.2.3, for the header (MPEG
//! 2.5 by its common extension, no standard). The Xing frame and its extension by LAME: G. Bouvigne,
//! *MP3 Info Tag, revision 1*. VBRI: Fraunhofer, from memory.

/// Bytes of the header.
pub(super) const HEADER_BYTES: usize = 4;

/// Kilobits per second by the header's index, MPEG 1, layer III. Index 0 is the free format, which
/// is not read: its frames do not tell their length.
const KBPS_MPEG1: [usize; 15] = [
    0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320,
];

/// The same for MPEG 2 and 2.5.
const KBPS_MPEG2: [usize; 15] = [0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160];

/// Frames per second of MPEG 1 by the header's index; MPEG 2 has half of it, 2.5 a quarter.
const RATES: [u32; 3] = [44_100, 48_000, 32_000];

/// What the header of a layer III frame says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Header {
    mpeg1: bool,
    has_crc: bool,
    /// Frames of sound per second.
    pub(super) rate: u32,
    /// 1 or 2.
    pub(super) channels: u16,
    /// Bytes of the whole MPEG frame, header included.
    pub(super) bytes: usize,
    /// Frames of sound in it.
    pub(super) frames: u64,
}

impl Header {
    /// Reads the header; `None` when these are no header of a layer III frame that is read.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let [a, b, c, d, ..] = *bytes else {
            return None;
        };
        let (version, layer) = (b >> 3 & 3, b >> 1 & 3);
        if a != 0xff || b & 0xe0 != 0xe0 || layer != 1 || version == 1 {
            return None;
        }
        let mpeg1 = version == 3;
        let table = if mpeg1 { KBPS_MPEG1 } else { KBPS_MPEG2 };
        let kbps = *table.get(usize::from(c >> 4)).filter(|kbps| **kbps > 0)?;
        let halvings = match version {
            3 => 0,
            2 => 1,
            _ => 2,
        };
        let rate = RATES.get(usize::from(c >> 2 & 3))? >> halvings;
        let frames = if mpeg1 { 1152 } else { 576 };
        Some(Self {
            mpeg1,
            has_crc: b & 1 == 0,
            rate,
            channels: if d >> 6 == 3 { 1 } else { 2 },
            bytes: frames / 8 * kbps * 1000 / rate as usize + usize::from(c >> 1 & 1),
            frames: frames as u64,
        })
    }

    /// True when both may stand in one stream.
    pub(super) fn is_like(&self, other: &Self) -> bool {
        (self.mpeg1, self.rate, self.channels) == (other.mpeg1, other.rate, other.channels)
    }

    /// Bytes of the side information behind the header.
    fn side_bytes(&self) -> usize {
        match (self.mpeg1, self.channels) {
            (true, 1) => 17,
            (true, _) => 32,
            (false, 1) => 9,
            (false, _) => 17,
        }
    }
}

/// What a frame says that carries numbers instead of sound.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Info {
    /// MPEG frames with sound in the file.
    pub(super) packets: Option<u64>,
    /// Frames of sound that the coder put in front, its own delay without the decoder's, and those
    /// it put behind.
    pub(super) delay_and_padding: Option<(u64, u64)>,
}

impl Info {
    /// Reads the numbers of a whole frame; `None` when it is one of sound.
    pub(super) fn read(frame: &[u8], header: &Header) -> Option<Self> {
        let crc = if header.has_crc { 2 } else { 0 };
        // LAME writes the mark where it stands without a checksum, others behind it.
        for at in [0, crc].map(|c| HEADER_BYTES + c + header.side_bytes()) {
            let body = frame.get(at..).unwrap_or_default();
            if body.starts_with(b"Xing") || body.starts_with(b"Info") {
                return Some(Self::read_xing(body));
            }
        }
        let vbri = frame.get(HEADER_BYTES + 32..).unwrap_or_default();
        vbri.starts_with(b"VBRI").then(|| Self {
            packets: number(vbri, 14, 4),
            delay_and_padding: None,
        })
    }

    fn read_xing(body: &[u8]) -> Self {
        let flags = number(body, 4, 4).unwrap_or(0);
        let mut at = 8;
        let mut packets = None;
        for (flag, bytes) in [(1, 4), (2, 4), (4, 100), (8, 4)] {
            if flags & flag != 0 {
                if flag == 1 {
                    packets = number(body, at, 4);
                }
                at += bytes;
            }
        }
        let named = body.get(at..at + 4).is_some_and(|name| {
            [b"LAME", b"L3.9", b"Lavf", b"Lavc"]
                .iter()
                .any(|n| name == *n)
        });
        let delay_and_padding = number(body, at + 21, 3)
            .filter(|both| named && *both != 0)
            .map(|both| (both >> 12, both & 0xfff));
        Self {
            packets,
            delay_and_padding,
        }
    }
}

/// A big-endian number of `bytes` bytes.
fn number(body: &[u8], at: usize, bytes: usize) -> Option<u64> {
    let digits = body.get(at..at + bytes)?;
    Some(digits.iter().fold(0, |sum, b| sum << 8 | u64::from(*b)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO/IEC 11172-3, 2.4.3.1: a layer III frame has 144 times the bit rate over the sampling
    /// rate bytes, 72 times where there are 576 frames in it.
    #[test]
    fn lengths_by_the_standard() {
        for (word, rate, channels, bytes, frames) in [
            ([0xff, 0xfb, 0x90, 0x00], 44_100, 2, 417, 1152),
            ([0xff, 0xfb, 0x92, 0xc0], 44_100, 1, 418, 1152),
            ([0xff, 0xfa, 0xe4, 0x40], 48_000, 2, 960, 1152),
            ([0xff, 0xf3, 0x48, 0xc0], 16_000, 1, 144, 576),
            ([0xff, 0xe3, 0x18, 0xc0], 8_000, 1, 72, 576),
        ] {
            let header = Header::read(&word).unwrap();
            let got = (header.rate, header.channels, header.bytes, header.frames);
            assert_eq!(got, (rate, channels, bytes, frames), "{word:x?}");
        }
        for word in [
            [0xff, 0xfd, 0x90, 0x00], // layer II
            [0xff, 0xfb, 0x00, 0x00], // free format
            [0xff, 0xfb, 0xf0, 0x00], // no such bit rate
            [0xff, 0xfb, 0x9c, 0x00], // no such sampling rate
            [0xff, 0xeb, 0x90, 0x00], // no such version
            [0xfe, 0xfb, 0x90, 0x00],
        ] {
            assert_eq!(Header::read(&word), None, "{word:x?}");
        }
    }

    /// *MP3 Info Tag, revision 1*: delay and padding are 12 bits each, 21 bytes into the extension.
    #[test]
    fn numbers_of_the_info_frame() {
        let header = Header::read(&[0xff, 0xfb, 0x90, 0xc0]).unwrap();
        let mut frame = vec![0; 417];
        frame[21..25].copy_from_slice(b"Info");
        frame[28] = 1 | 8;
        frame[29..33].copy_from_slice(&77u32.to_be_bytes());
        frame[37..46].copy_from_slice(b"LAME3.100");
        frame[58..61].copy_from_slice(&[0x24, 0x05, 0x39]);
        let wanted = Info {
            packets: Some(77),
            delay_and_padding: Some((0x240, 0x539)),
        };
        assert_eq!(Info::read(&frame, &header), Some(wanted));
        frame[37] = 0;
        let unnamed = Info::read(&frame, &header).unwrap();
        assert_eq!(unnamed.delay_and_padding, None);
        frame[21] = 0;
        assert_eq!(Info::read(&frame, &header), None);
    }
}
