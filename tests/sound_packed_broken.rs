//! MP3, Ogg Vorbis and M4A files cut, damaged and made up: one clear error or a note, no panic.
//!
//! The files are those of `tests/sound_packed.rs`.

mod sound_support;

use std::path::Path;

use proptest::prelude::*;
use seamline::sound::SoundNote;
use seamline::units::FrameCount;
use sound_support::{read_bytes, try_read};

fn fixture(name: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/sound/packed");
    std::fs::read(folder.join(name)).unwrap()
}

/// The largest difference between two stretches.
fn off(a: &[f32], b: &[f32]) -> f32 {
    a.iter()
        .zip(b)
        .fold(0.0, |top, (a, b)| top.max((a - b).abs()))
}

/// A header in the midst is overwritten: its frame is lost and what follows keeps its place.
#[test]
fn a_lost_mp3_frame_is_silence_of_its_length() {
    let whole = read_bytes(fixture("mono-44.mp3")).1;
    let mut bytes = fixture("mono-44.mp3");
    let at = (8_000..)
        .find(|at| bytes[*at] == 0xff && bytes[at + 1] == 0xfb)
        .unwrap();
    bytes[at..at + 4].fill(0);
    let (_, got, notes) = read_bytes(bytes);
    assert_eq!(got.len(), whole.len());
    let [SoundNote::Damaged { frames, first }] = notes[..] else {
        panic!("{notes:?}");
    };
    assert_eq!(frames, FrameCount(1_152));
    let first = first.0 as usize;
    assert!(got[..first] == whole[..first]);
    // The bit reservoir and the overlap carry the damage into the next frames.
    assert!(off(&got[first + 5 * 1_152..], &whole[first + 5 * 1_152..]) < 1e-6);
}

/// A byte in the midst is changed: its page's checksum is wrong, the page is silence.
#[test]
fn a_lost_ogg_page_is_silence_of_its_length() {
    let bytes = fixture("stereo-48.ogg");
    let whole = read_bytes(bytes.clone()).1;
    let pages: Vec<usize> = (0..bytes.len() - 4)
        .filter(|at| &bytes[*at..at + 4] == b"OggS")
        .collect();
    assert!(pages.len() > 4, "{pages:?}");
    for page in &pages[3..pages.len() - 1] {
        let mut bytes = bytes.clone();
        bytes[page + 300] ^= 0x55;
        let (_, got, notes) = read_bytes(bytes);
        assert_eq!(got.len(), whole.len());
        assert!(
            matches!(notes[..], [SoundNote::Damaged { .. }]),
            "{notes:?}"
        );
        let alike = got.iter().zip(&whole).filter(|(a, b)| a == b).count();
        assert!(alike > whole.len() / 4, "{alike} of {}", whole.len());
    }
}

/// A packet in the midst that cannot be decoded is silence, where the decoder notices it.
#[test]
fn a_lost_aac_packet_is_silence_of_its_length() {
    let whole = read_bytes(fixture("mono-44.m4a")).1;
    let mut bytes = fixture("mono-44.m4a");
    let at = bytes.len() / 2;
    bytes[at..at + 400].fill(0xff);
    let (_, got, _) = read_bytes(bytes);
    assert_eq!(got.len(), whole.len());
    assert!(off(&got[..20_000], &whole[..20_000]) < 1e-6);
    assert!(off(&got[40_000..], &whole[40_000..]) < 1e-6);
}

/// The sound files that are broken here.
const ALL: [&str; 14] = [
    "mono-44.mp3",
    "stereo-48-vbr.mp3",
    "mono-22.mp3",
    "mono-16-tagged.mp3",
    "mono-44-bare.mp3",
    "mono-44.ogg",
    "stereo-48.ogg",
    "mono-22.ogg",
    "mono-44.m4a",
    "stereo-48-first.m4a",
    "mono-22.m4a",
    "mono-16.3gp",
    "mono-22-alac.m4a",
    "vorbis-named.wav",
];

/// Cut anywhere, a file gives what is there and says that it is cut, or is refused.
#[test]
fn cut_files_give_what_is_there_and_say_so() {
    for name in ALL {
        let bytes = fixture(name);
        let (_, whole, whole_notes) = read_bytes(bytes.clone());
        let mut read_at_all = 0;
        for cut in (0..bytes.len()).step_by(bytes.len() / 61 + 1) {
            let Ok((_, got, notes)) = try_read(bytes[..cut].to_vec(), 4_096) else {
                continue;
            };
            read_at_all += 1;
            assert!(got.len() <= whole.len(), "{name} cut at {cut}");
            if got.len() < whole.len() {
                // A bare MP3 stream declares nothing: its last frame is whole or said to be cut.
                let bare = name == "mono-44-bare.mp3" && (got.len() + 1_105) % 1_152 == 0;
                let said = notes.len() > whole_notes.len();
                assert!(said || bare, "{name} cut at {cut}: {notes:?}");
            }
            let same = got.len().saturating_sub(4_096);
            assert!(
                off(&got[..same], &whole[..same]) < 1e-6,
                "{name} cut at {cut}"
            );
        }
        let index_last = [
            "mono-44.m4a",
            "mono-22.m4a",
            "mono-16.3gp",
            "mono-22-alac.m4a",
        ];
        if index_last.contains(&name) {
            let half = try_read(bytes[..bytes.len() / 2].to_vec(), 4_096);
            let message = half.unwrap_err().to_string();
            assert!(message.contains("broken off"), "{name}: {message}");
        } else if !["mono-22.ogg", "vorbis-named.wav"].contains(&name) {
            // These two are one page of sound, which counts as a whole.
            assert!(read_at_all > 30, "{name}: {read_at_all}");
        }
    }
}

/// Two streams one after the other are two takes.
#[test]
fn a_second_ogg_stream_is_refused() {
    let twice = [fixture("mono-22.ogg"), fixture("mono-22.ogg")].concat();
    let message = try_read(twice, 4_096).unwrap_err().to_string();
    assert!(message.contains("a second recording"), "{message}");
}

/// Writes the right checksum (RFC 3533, section 6) into every page, bit by bit.
fn sign_pages(bytes: &mut [u8]) {
    let mut at = 0;
    while bytes.get(at..at + 4) == Some(b"OggS") && bytes.len() > at + 27 {
        let segments = usize::from(bytes[at + 26]);
        let lacing = bytes.get(at + 27..at + 27 + segments).unwrap_or_default();
        let body: usize = lacing.iter().map(|l| usize::from(*l)).sum();
        let end = bytes.len().min(at + 27 + segments + body);
        bytes[at + 22..at + 26].fill(0);
        let mut crc = 0u32;
        for byte in &bytes[at..end] {
            crc ^= u32::from(*byte) << 24;
            for _ in 0..8 {
                crc = (crc << 1) ^ if crc >> 31 == 1 { 0x04c1_1db7 } else { 0 };
            }
        }
        bytes[at + 22..at + 26].copy_from_slice(&crc.to_le_bytes());
        at = end;
    }
}

/// The checksum of the test is the one that the outside coder wrote.
#[test]
fn signing_changes_nothing_in_a_whole_file() {
    let mut bytes = fixture("stereo-48.ogg");
    sign_pages(&mut bytes);
    assert!(bytes == fixture("stereo-48.ogg"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    /// Whatever is changed in a file, it is read or refused; a stretch of lost sound is believed
    /// up to a minute, for each byte that was changed.
    #[test]
    fn damage_never_panics(
        which in 0..ALL.len(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        span in 0usize..3,
        signed in any::<bool>(),
    ) {
        let mut bytes = fixture(ALL[which]);
        let all = bytes.len();
        // In the headers, in the index at the end, or anywhere.
        let span = [0..all.min(3_000), all.saturating_sub(1_200)..all, 0..all][span].clone();
        for (at, value) in &changes {
            bytes[span.start + at.index(span.len())] = *value;
        }
        if signed {
            sign_pages(&mut bytes);
        }
        if let Ok((format, samples, _)) = try_read(bytes, 4_096) {
            let minute = 60 * format.rate.0 as usize;
            prop_assert!(samples.len() <= (changes.len() + 2) * (minute + 65_536));
        }
    }

    /// Nothing but the first bytes is right.
    #[test]
    fn arbitrary_bytes_never_panic(
        magic in prop::sample::select(vec![
            &b"\xff\xfb\x90\xc0"[..],
            b"\xff\xf3\x48\xc0",
            b"ID3\x04\0\0\0\0\0\x05",
            b"OggS\0\x02\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\x01\x1e\x01vorbis",
            b"\0\0\0\x10ftypM4A \0\0\0\0",
            b"\0\0\0\x10ftypM4A \0\0\0\0\0\0\x02\0moov\0\0\0\x64trak",
        ]),
        tail in prop::collection::vec(any::<u8>(), 0..1_500),
    ) {
        let bytes = [magic, &tail].concat();
        if let Ok((_, samples, _)) = try_read(bytes, 64) {
            prop_assert!(samples.len() <= 1_152 * 2_000);
        }
    }
}
