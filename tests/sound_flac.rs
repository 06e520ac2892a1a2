//! FLAC held against the reference encoder, whole, cut and damaged.

mod sound_support;

use std::path::Path;

use proptest::prelude::*;
use seamline::sound::block::{Container, SampleFormat};
use seamline::sound::file::open;
use seamline::sound::{SoundError, SoundNote};
use seamline::units::{FrameCount, FrameIndex, SampleRate};
use sound_support::{read, read_bytes, try_read};

fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(
        Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures/sound")
            .join(name),
    )
    .unwrap()
}

/// The signal of `fixtures/sound/README.md`, mixed to mono: the mean of the channels.
fn signal(channels: usize, bits: u32, frames: usize) -> Vec<f32> {
    let full = 1i64 << (bits - 1);
    let mut x: i64 = 1;
    let mut noise = || {
        x = (1_103_515_245 * x + 12_345) % (1 << 31);
        (x >> 16) % 64
    };
    let mut mono = Vec::new();
    for i in 0..frames as i64 {
        let sum: i64 = (0..channels as i64)
            .map(|c| {
                if bits == 8 {
                    (i * 97) % 201 - 100 + noise() / 8
                } else {
                    ((i * (2 * c + 3) * 97) % 2001 - 1000) * (full / 4000) + noise()
                }
            })
            .sum();
        mono.push((sum as f64 / full as f64 / channels as f64) as f32);
    }
    mono
}

/// Oracle: files of the reference encoder; every sample equal.
#[test]
fn what_the_reference_encoder_wrote_is_read_exactly() {
    for (name, channels, bits, rate, frames) in [
        ("mono-8.flac", 1, 8, 8_000, 5_000),
        ("stereo-16.flac", 2, 16, 44_100, 9_000),
        ("mono-24.flac", 1, 24, 96_000, 6_000),
        ("eight-16.flac", 8, 16, 48_000, 1_500),
    ] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures/sound")
            .join(name);
        let (format, got, notes) = read(open(&path).unwrap()).unwrap();
        assert_eq!(format.container, Container::Flac, "{name}");
        assert_eq!(format.rate, SampleRate(rate), "{name}");
        assert_eq!(format.channels, channels, "{name}");
        assert_eq!(
            format.samples,
            SampleFormat::Integer { bits: bits as u16 },
            "{name}"
        );
        assert_eq!(format.frames, Some(frames as u64), "{name}");
        assert_eq!(notes, [], "{name}");
        assert!(
            got == signal(usize::from(channels), bits, frames),
            "{name}: samples differ"
        );
        for block_frames in [1, 1_000] {
            let (_, again, _) = try_read(fixture(name), block_frames).unwrap();
            assert!(
                got == again,
                "{name}: blocks of {block_frames} change the samples"
            );
        }
    }
}

/// An ID3v2 tag in front, as some programs write it (id3.org, ID3v2.4.0 structure, 3.1).
#[test]
fn a_tag_in_front_is_passed_over() {
    for tag_bytes in [20u32, 300, 5_000] {
        let mut bytes = b"ID3\x04\0\0".to_vec();
        bytes.extend([0, 0, (tag_bytes >> 7) as u8, (tag_bytes & 0x7f) as u8]);
        bytes.extend(vec![0; tag_bytes as usize]);
        bytes.extend(fixture("mono-8.flac"));
        let (_, got, _) = read_bytes(bytes);
        assert!(got == signal(1, 8, 5_000), "tag of {tag_bytes} bytes");
    }
}

/// The middle block of three is damaged: silence stands in its place, the rest keeps its time.
#[test]
fn a_damaged_block_is_silence_of_its_own_length() {
    let mut bytes = fixture("stereo-16.flac");
    let at = bytes.len() / 2;
    bytes[at] ^= 0x55;
    let (_, got, notes) = read_bytes(bytes);
    let wanted = signal(2, 16, 9_000);
    let damaged = SoundNote::Damaged {
        frames: FrameCount(4_096),
        first: FrameIndex(4_096),
    };
    assert_eq!(notes, [damaged]);
    assert_eq!(got.len(), 9_000);
    assert!(got[..4_096] == wanted[..4_096]);
    assert!(got[4_096..8_192].iter().all(|x| *x == 0.0));
    assert!(got[8_192..] == wanted[8_192..]);
}

#[test]
fn a_cut_file_gives_its_whole_blocks() {
    let mut bytes = fixture("stereo-16.flac");
    bytes.truncate(bytes.len() / 2);
    let (_, got, notes) = read_bytes(bytes);
    let truncated = notes.iter().any(|n| {
        *n == SoundNote::TruncatedAt {
            frames: FrameCount(got.len() as u64),
            declared: FrameCount(9_000),
        }
    });
    assert!(truncated, "{notes:?}");
    assert!(got[..4_096] == signal(2, 16, 9_000)[..4_096]);
    assert!(got.len() < 9_000);
}

#[test]
fn broken_metadata_is_refused() {
    let whole = fixture("mono-8.flac");
    let no_audio = {
        let mut bytes = whole[..4 + 4 + 34].to_vec();
        bytes[4] |= 0x80;
        bytes
    };
    assert!(matches!(
        try_read(no_audio, 64),
        Err(SoundError::NoSamples { .. })
    ));
    let cut = try_read(whole[..30].to_vec(), 64);
    assert!(matches!(cut, Err(SoundError::Malformed { at_byte: 4, .. })));
    let mut other_first = whole.clone();
    other_first[4] = 1;
    let refused = try_read(other_first, 64);
    assert!(matches!(
        refused,
        Err(SoundError::Malformed { at_byte: 4, .. })
    ));
    let mut rate = whole;
    rate[18..21].fill(0);
    assert!(matches!(
        try_read(rate, 64),
        Err(SoundError::RateOutOfRange { .. })
    ));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Whatever is changed in a file, it is read or refused; what is read is no longer than the
    /// length that is believed to be lost allows.
    #[test]
    fn damage_never_panics(
        which in 0usize..3,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        in_header in any::<bool>(),
    ) {
        let name = ["mono-8.flac", "stereo-16.flac", "mono-24.flac"][which];
        let mut bytes = fixture(name);
        let span = if in_header { 120 } else { bytes.len() };
        for (at, value) in changes {
            bytes[at.index(span)] = value;
        }
        if let Ok((format, samples, _)) = try_read(bytes, 4_096) {
            // Three blocks at most, each of which may jump a minute.
            prop_assert!(samples.len() <= 200 * format.rate.0 as usize + 65_536);
        }
    }
}
