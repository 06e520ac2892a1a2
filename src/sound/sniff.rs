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
    /// A frame of MPEG audio layer III.
    Mp3,
    /// Ogg whose first stream is Vorbis.
    OggVorbis,
    /// The MP4 family: M4A, 3GP, MOV.
    Mp4,
    /// An ID3v2 tag of this many bytes, header included; what it stands before is still open.
    TagBefore(u64),
    /// Something else, with its article, and what to do about it.
    Other(&'static str, &'static str),
}

/// What to do about a sound file of a kind that is not read.
const EXPORT: &str = "Export the take as WAV or FLAC and give that file";
/// What to do about one that another program can turn into a kind that is read.
const CONVERT: &str = "Convert it with `ffmpeg -i IN OUT.wav` and give that file";
/// What to do about a file that may be the line.
const IS_LINE: &str = "If it is the line, give it where the line belongs";

/// Looks at the first bytes of a file (at most [`HEAD_BYTES`], all of them if it is shorter).
///
/// # Source
/// RIFF: Microsoft/IBM, *Multimedia Programming Interface and Data Specifications 1.0* (1991).
/// RF64: EBU Tech 3306. FLAC: RFC 9639, section 6. ID3v2: id3.org, *ID3v2.4.0 structure*, 3.1.
/// Ogg: RFC 3533, section 6; Vorbis: *Vorbis I specification*, 4.2.1; Opus: RFC 7845, 5.1; FLAC in
/// Ogg: RFC 9639, 10.1. MP4: ISO/IEC 14496-12, 4.3. AMR: RFC 4867, 5.1. MIDI: *Standard MIDI Files
/// 1.0*. MPEG audio sync: ISO/IEC 11172-3, 2.4.1.3; ADTS: ISO/IEC 14496-3, 1.A.2.2.
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
    if at(0, b"OggS") {
        return in_ogg(head);
    }
    if at(4, b"ftyp") {
        return Kind::Mp4;
    }
    let table: [(usize, &[u8], &'static str, &'static str); 17] = [
        (
            0,
            b"RIFX",
            "a WAV file with its bytes in reverse order (RIFX)",
            CONVERT,
        ),
        (8, b"AVI ", "a video (AVI)", CONVERT),
        (0, b"RIFF", "a RIFF file, but not a WAV", CONVERT),
        (0, b"riff", "a Wave64 file", CONVERT),
        (0, b"FORM", "an AIFF file", CONVERT),
        (0, b"caff", "a Core Audio file", CONVERT),
        (0, b".snd", "a Sun/NeXT sound file", CONVERT),
        (
            0,
            b"#!AMR",
            "an AMR file (a telephone's speech coder)",
            CONVERT,
        ),
        (0, b"\x1a\x45\xdf\xa3", "a Matroska or WebM file", CONVERT),
        (0, b"\x30\x26\xb2\x75", "a Windows Media file", CONVERT),
        (0, b"wvpk", "a WavPack file", CONVERT),
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
    if let Some(kind) = mpeg_sync(head) {
        return kind;
    }
    if is_text(head) {
        return Kind::Other("a text file", IS_LINE);
    }
    Kind::Other("a file of a kind that is not known here", EXPORT)
}

/// What an Ogg file holds, by the first packet of its first page.
fn in_ogg(head: &[u8]) -> Kind {
    let segments = head.get(26).map_or(0, |n| usize::from(*n));
    let packet = head.get(27 + segments..).unwrap_or_default();
    for (magic, found) in [
        (&b"OpusHead"[..], "Opus in Ogg"),
        (b"\x7fFLAC", "FLAC in Ogg"),
        (b"Speex   ", "Speex in Ogg"),
    ] {
        if packet.starts_with(magic) {
            return Kind::Other(found, CONVERT);
        }
    }
    if packet.starts_with(b"\x01vorbis") {
        return Kind::OggVorbis;
    }
    Kind::Other("an Ogg file that does not begin with Vorbis", CONVERT)
}

/// What stands behind an ID3v2 tag, by its first bytes. Where no frame begins at once, the tag is
/// followed by padding of no declared length; the reader looks for the first frame.
pub(super) fn after_tag(head: &[u8]) -> Kind {
    match sniff(head) {
        Kind::Flac => Kind::Flac,
        Kind::Wav => Kind::Wav,
        _ => Kind::Mp3,
    }
}

/// Whole length of an ID3v2 tag: ten bytes of header and a size of four times seven bits.
pub(super) fn id3v2_bytes(head: &[u8]) -> u64 {
    let size = head[6..10]
        .iter()
        .fold(0u64, |sum, b| (sum << 7) | u64::from(b & 0x7f));
    let footer = if head[5] & 0x10 != 0 { 10 } else { 0 };
    10 + size + footer
}

/// The kind whose frame header this is, with all its fields allowed.
fn mpeg_sync(head: &[u8]) -> Option<Kind> {
    let [a, b, c, ..] = head else { return None };
    if *a != 0xff || b & 0xe0 != 0xe0 {
        return None;
    }
    if b & 0xf6 == 0xf0 && (c >> 2) & 15 < 13 {
        return Some(Kind::Other("AAC without a container (ADTS)", CONVERT));
    }
    let allowed = (b >> 3) & 3 != 1 && c >> 4 != 15 && (c >> 2) & 3 != 3;
    match (b >> 1) & 3 {
        1 if allowed => Some(Kind::Mp3),
        2 if allowed => Some(Kind::Other("MPEG audio of layer II (MP2)", CONVERT)),
        3 if allowed => Some(Kind::Other("MPEG audio of layer I", CONVERT)),
        _ => None,
    }
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

    /// The first page of an Ogg stream with one short packet.
    fn ogg(packet: &[u8]) -> Vec<u8> {
        let mut page = vec![0; 26];
        page[..6].copy_from_slice(b"OggS\0\x02");
        page.extend([1, packet.len() as u8]);
        page.extend(packet);
        page
    }

    /// Magic numbers as the standards named at [`sniff`] give them.
    #[test]
    fn kinds_by_their_first_bytes() {
        assert_eq!(sniff(b"RIFF\0\0\0\0WAVEfmt "), Kind::Wav);
        assert_eq!(sniff(b"RF64\xff\xff\xff\xffWAVEds64"), Kind::Wav);
        assert_eq!(sniff(b"fLaC\0\0\0\x22"), Kind::Flac);
        assert_eq!(sniff(b"\xff\xfb\x90\x64\0\0"), Kind::Mp3);
        assert_eq!(sniff(b"\0\0\0\x20ftypM4A "), Kind::Mp4);
        assert_eq!(sniff(&ogg(b"\x01vorbis")), Kind::OggVorbis);
        for (head, word) in [
            (&b"OggS\0\x02"[..], "an Ogg file"),
            (&ogg(b"OpusHead\x01"), "Opus"),
            (&ogg(b"\x7fFLAC\x01"), "FLAC in Ogg"),
            (&ogg(b"Speex   1"), "Speex"),
            (b"#!AMR\n", "AMR"),
            (b"caff\0\x01", "Core Audio"),
            (b"\x30\x26\xb2\x75\x8e\x66", "Windows Media"),
            (b"\xff\xf1\x50\x80", "ADTS"),
            (b"\xff\xfd\x90\x64", "layer II"),
            (b"MThd\0\0\0\x06", "MIDI"),
            (b"<?xml version=\"1.0\"?>", "XML"),
            ("Étude in D\ntempo 96\n".as_bytes(), "text"),
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
        assert_eq!(after_tag(b"\xff\xfb\x90"), Kind::Mp3);
        assert_eq!(after_tag(b"\0\0\0\0"), Kind::Mp3);
    }
}
