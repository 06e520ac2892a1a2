//! What a file is, by its first bytes. The extension is never asked.

/// Bytes of the start that are looked at.
pub(super) const HEAD_BYTES: usize = 512;

/// What the first bytes show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// RIFF or RF64 with WAVE in it.
    Wav,
    /// The native FLAC marker.
    Flac,
    /// An ID3v2 tag of this many bytes, header included; what it stands before is still open.
    TagBefore(u64),
    /// Something else, with its article, and what to do about it.
    Other(&'static str, &'static str),
}

const EXPORT: &str = "Export the take as WAV or FLAC and give that file";
const IS_LINE: &str = "If it is the line, give it where the line belongs";

/// Looks at the first bytes of a file (at most [`HEAD_BYTES`], all of them if it is shorter).
///
/// # Source
/// RIFF: Microsoft/IBM, *Multimedia Programming Interface and Data Specifications 1.0* (1991).
/// RF64: EBU Tech 3306. FLAC: RFC 9639, section 6. ID3v2: id3.org, *ID3v2.4.0 structure*, 3.1.
/// Ogg: RFC 3533. MIDI: *Standard MIDI Files 1.0*. MPEG audio sync: ISO/IEC 11172-3, 2.4.1.3.
/// Others: the magic numbers of the formats' own documents, from memory.
pub(super) fn sniff(head: &[u8]) -> Kind {
    let at = |from: usize, what: &[u8]| head.get(from..from + what.len()) == Some(what);
    if (at(0, b"RIFF") || at(0, b"RF64") || at(0, b"BW64")) && at(8, b"WAVE") {
        return Kind::Wav;
    }
    if at(0, b"fLaC") {
        return Kind::Flac;
    }
    if at(0, b"ID3") && head.len() >= 10 {
        return Kind::TagBefore(id3v2_bytes(head));
    }
    let table: [(usize, &[u8], &'static str, &'static str); 18] = [
        (
            0,
            b"RIFX",
            "a WAV file with its bytes in reverse order (RIFX)",
            EXPORT,
        ),
        (8, b"AVI ", "a video (AVI)", EXPORT),
        (0, b"RIFF", "a RIFF file, but not a WAV", EXPORT),
        (0, b"riff", "a Wave64 file", EXPORT),
        (0, b"FORM", "an AIFF file", EXPORT),
        (0, b"caff", "a Core Audio file", EXPORT),
        (0, b".snd", "a Sun/NeXT sound file", EXPORT),
        (
            0,
            b"OggS",
            "an Ogg file (Vorbis, Opus or FLAC in Ogg)",
            EXPORT,
        ),
        (4, b"ftyp", "an MP4 or M4A file", EXPORT),
        (0, b"\x1a\x45\xdf\xa3", "a Matroska or WebM file", EXPORT),
        (0, b"\x30\x26\xb2\x75", "a Windows Media file", EXPORT),
        (0, b"wvpk", "a WavPack file", EXPORT),
        (0, b"MThd", "a MIDI file", IS_LINE),
        (
            0,
            b"PK\x03\x04",
            "a zip archive",
            "Unpack it and give the sound file inside",
        ),
        (
            0,
            b"\x1f\x8b",
            "a gzip archive",
            "Unpack it and give the sound file inside",
        ),
        (0, b"<?xml", "an XML text", IS_LINE),
        (0, b"%PDF", "a PDF", EXPORT),
        (0, b"\x89PNG", "a picture (PNG)", EXPORT),
    ];
    for (from, magic, found, mend) in table {
        if at(from, magic) {
            return Kind::Other(found, mend);
        }
    }
    if mpeg_sync(head) {
        return Kind::Other("an MP3 file", EXPORT);
    }
    if is_text(head) {
        return Kind::Other("a text file", IS_LINE);
    }
    Kind::Other("a file of a kind that is not known here", EXPORT)
}

/// What stands behind an ID3v2 tag, by its first bytes.
pub(super) fn after_tag(head: &[u8]) -> Kind {
    match sniff(head) {
        Kind::Flac => Kind::Flac,
        Kind::Wav => Kind::Wav,
        _ => Kind::Other("an MP3 file", EXPORT),
    }
}

/// Whole length of an ID3v2 tag: ten bytes of header and a size of four times seven bits.
fn id3v2_bytes(head: &[u8]) -> u64 {
    let size = head[6..10]
        .iter()
        .fold(0u64, |sum, b| (sum << 7) | u64::from(b & 0x7f));
    let footer = if head[5] & 0x10 != 0 { 10 } else { 0 };
    10 + size + footer
}

/// True for the header of an MPEG audio frame whose fields are all allowed.
fn mpeg_sync(head: &[u8]) -> bool {
    let [a, b, c, ..] = head else { return false };
    let layer = (b >> 1) & 3;
    *a == 0xff && b & 0xe0 == 0xe0 && layer != 0 && c >> 4 != 15 && (c >> 2) & 3 != 3
}

/// True when the bytes read as UTF-8 without control characters (the last character may be cut).
fn is_text(head: &[u8]) -> bool {
    let text = match std::str::from_utf8(head) {
        Ok(text) => text,
        Err(e) if e.error_len().is_none() => {
            std::str::from_utf8(&head[..e.valid_up_to()]).unwrap_or_default()
        }
        Err(_) => return false,
    };
    !text.is_empty()
        && text
            .chars()
            .all(|c| !c.is_control() || matches!(c, '\n' | '\r' | '\t'))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Magic numbers as the standards named at [`sniff`] give them.
    #[test]
    fn kinds_by_their_first_bytes() {
        assert_eq!(sniff(b"RIFF\0\0\0\0WAVEfmt "), Kind::Wav);
        assert_eq!(sniff(b"RF64\xff\xff\xff\xffWAVEds64"), Kind::Wav);
        assert_eq!(sniff(b"fLaC\0\0\0\x22"), Kind::Flac);
        for (head, word) in [
            (&b"OggS\0\x02"[..], "Ogg"),
            (b"\xff\xfb\x90\x64\0\0", "MP3"),
            (b"MThd\0\0\0\x06", "MIDI"),
            (b"<?xml version=\"1.0\"?>", "XML"),
            ("Étude in D\ntempo 96\n".as_bytes(), "text"),
            (b"\0\0\0\x20ftypM4A ", "M4A"),
            (b"FORM\0\0\0\0AIFF", "AIFF"),
            (b"RIFF\0\0\0\0AVI LIST", "AVI"),
            (b"RIFX\0\0\0\0WAVE", "RIFX"),
            (b"\x01\x02\x03\x04\x05", "not known"),
        ] {
            let Kind::Other(found, _) = sniff(head) else {
                panic!("{head:?}: {:?}", sniff(head))
            };
            assert!(found.contains(word), "{head:?} is called {found}");
        }
    }

    /// ID3v2.4.0 structure, 3.1: a size of 0x00 0x00 0x02 0x01 is 257 bytes, header not counted.
    #[test]
    fn length_of_a_tag() {
        assert_eq!(sniff(b"ID3\x04\0\0\0\0\x02\x01rest"), Kind::TagBefore(267));
        assert_eq!(after_tag(b"fLaC"), Kind::Flac);
        assert!(matches!(
            after_tag(b"\xff\xfb\x90"),
            Kind::Other("an MP3 file", _)
        ));
    }
}
