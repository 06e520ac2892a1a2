//! Files of kinds that are not read, and bytes that are nothing at all.

mod sound_support;

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use seamline::sound::SoundError;
use seamline::sound::file::open;
use seamline::sound::output::{WavSamples, wav_bytes};
use seamline::units::SampleRate;
use sound_support::{chunk, fmt_chunk, ramp, read, read_bytes, riff, try_read};

fn refusal(path: &Path) -> SoundError {
    match open(path) {
        Err(e) => e,
        Ok(source) => panic!("{}: taken as {}", path.display(), source.format()),
    }
}

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/invalid-sound")
        .join(name)
}

/// Files of an outside tool, all named `.wav`: see `fixtures/invalid-sound/README.md`.
#[test]
fn other_kinds_are_refused_by_name() {
    for (name, word) in [
        ("ms-adpcm.wav", "Microsoft ADPCM"),
        ("ima-adpcm.wav", "IMA ADPCM"),
        ("a-law.wav", "A-law"),
        ("opus-named.wav", "Opus in Ogg"),
        ("flac-in-ogg.wav", "FLAC in Ogg"),
        ("adts-named.wav", "ADTS"),
        ("mp2-named.wav", "layer II"),
        ("wma-named.wav", "a Windows Media file"),
        ("caf-named.wav", "a Core Audio file"),
        ("mp3-in-mp4.wav", "MP3 in MP4"),
        ("opus-in-mp4.wav", "Opus"),
        ("mp4-in-fragments.wav", "in fragments"),
        ("aiff-named.wav", "an AIFF file"),
        ("rifx.wav", "RIFX"),
        ("w64-named.wav", "a Wave64 file"),
    ] {
        let message = refusal(&fixture(name)).to_string();
        assert!(message.contains(word), "{name}: {message}");
        assert!(
            message.contains(name),
            "{name}: the message does not name the file: {message}"
        );
        assert!(
            message.contains("WAV") && message.contains("FLAC"),
            "{name}: {message}"
        );
        assert!(message.contains("ffmpeg -i"), "{name}: {message}");
    }
}

#[test]
fn no_file_a_folder_an_empty_file_and_a_text() {
    let folder = tempfile::tempdir().unwrap();
    let missing = folder.path().join("none.wav");
    assert!(matches!(refusal(&missing), SoundError::Missing { .. }));
    assert!(matches!(refusal(folder.path()), SoundError::Folder { .. }));
    let empty = folder.path().join("empty.wav");
    std::fs::write(&empty, b"").unwrap();
    assert!(matches!(refusal(&empty), SoundError::Empty { .. }));
    let text = folder.path().join("study.line");
    std::fs::write(&text, "title: Étude\ntempo: 96\n").unwrap();
    let message = refusal(&text).to_string();
    assert!(message.contains("a text file"), "{message}");
    assert!(message.contains("the line"), "{message}");
}

/// What is written is read back: floats bit for bit, 16 bits to half a step (2^-16), and beyond
/// full scale it stops at full scale instead of wrapping round.
#[test]
fn what_is_written_is_read_back() {
    let mono: Vec<f32> = ramp(1_000)
        .iter()
        .map(|x| *x as f32)
        .chain([1.5, -1.5])
        .collect();
    let rate = SampleRate(22_050);
    let (format, got, _) = read_bytes(wav_bytes(rate, WavSamples::Float32, &mono).unwrap());
    assert_eq!((format.rate, got), (rate, mono.clone()));

    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("take.wav");
    let bytes = wav_bytes(rate, WavSamples::Integer16, &mono).unwrap();
    std::fs::write(&path, bytes).unwrap();
    let (_, got, _) = read(open(&path).unwrap()).unwrap();
    assert_eq!(got.len(), mono.len());
    for (got, wanted) in got.iter().zip(&mono) {
        let wanted = wanted.clamp(-1.0, 32_767.0 / 32_768.0);
        assert!(
            (got - wanted).abs() <= 1.0 / 65_536.0 + 1e-7,
            "{got}, wanted {wanted}"
        );
    }
}

/// A stereo 16-bit file with chunks before and behind the samples.
fn whole_file() -> Vec<u8> {
    let data: Vec<u8> = ramp(2_000)
        .iter()
        .flat_map(|x| ((x * 32_768.0) as i16).to_le_bytes())
        .collect();
    riff(&[
        chunk(b"JUNK", &[0; 5]),
        fmt_chunk(1, 2, 48_000, 16),
        chunk(b"data", &data),
        chunk(b"LIST", b"INFO"),
    ])
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_bytes_never_panic(
        magic in prop::sample::select(vec![
            &b""[..], b"RIFF\0\0\0\0WAVE", b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0", b"fLaC", b"ID3\x04\0\0",
            b"RF64\xff\xff\xff\xffWAVEds64", b"fLaC\x80\0\0\x22",
        ]),
        tail in prop::collection::vec(any::<u8>(), 0..600),
    ) {
        let bytes = [magic, &tail].concat();
        let given = bytes.len();
        if let Ok((_, samples, _)) = try_read(bytes, 64) {
            prop_assert!(samples.len() <= given);
        }
    }

    /// Whatever is changed in a header, no more samples come out than bytes went in, in the same
    /// way for every block length.
    #[test]
    fn changed_headers_never_panic(
        changes in prop::collection::vec((0usize..70, any::<u8>()), 1..6),
        cut in any::<prop::sample::Index>(),
        whole in any::<bool>(),
        block_frames in 1usize..300,
    ) {
        let mut bytes = whole_file();
        for (at, value) in changes {
            bytes[at] = value;
        }
        if !whole {
            let length = cut.index(bytes.len());
            bytes.truncate(length);
        }
        let given = bytes.len();
        let one = try_read(bytes.clone(), 4_096);
        let other = try_read(bytes, block_frames);
        match (one, other) {
            (Ok(one), Ok(other)) => {
                prop_assert!(one.1.len() <= given);
                prop_assert_eq!(one, other);
            }
            (Err(one), Err(other)) => prop_assert_eq!(one.to_string(), other.to_string()),
            (one, other) => prop_assert!(false, "{:?} but {:?}", one.is_ok(), other.is_ok()),
        }
    }
}
