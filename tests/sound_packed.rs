//! MP3, Ogg Vorbis and M4A against the recordings they were made from: every sample in its place.
//!
//! The files were packed by an outside tool (`fixtures/sound/README.md`) from sounds that are
//! computed here; `SEAMLINE_PACKED=FOLDER cargo test --test sound_packed` writes those sounds.

mod sound_support;

use std::path::{Path, PathBuf};

use seamline::music::line::{Line, read_text};
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::session::result::TakeResult;
use seamline::sound::SoundNote;
use seamline::sound::block::{Container, SampleFormat};
use seamline::sound::file::{FileConfig, from_reader, open};
use seamline::sound::output::{WavSamples, wav_bytes};
use seamline::sound::synth::{Performance, Player, Voice, parse_faults, render};
use seamline::units::{FrameCount, SampleRate};
use sound_support::{chunk, fmt_chunk, read, read_bytes, riff, try_read};

fn path(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/sound/packed")
        .join(name)
}

fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(path(name)).unwrap()
}

/// Plucks: tones of five partials that begin at once and die away, each 0.23 s after the one
/// before. The second channel has them at half the level.
fn plucks(rate: u32, channels: usize, frames: usize) -> Vec<i16> {
    let mut all = Vec::new();
    for i in 0..frames {
        let mut sum = 0.0;
        for pluck in 0..8 {
            let begin = (f64::from(rate) * (0.05 + 0.23 * f64::from(pluck))).round();
            let t = (i as f64 - begin) / f64::from(rate);
            if t >= 0.0 {
                let hertz = 55.0 * 2f64.powf(f64::from(pluck * 5 % 12) / 12.0);
                let tone: f64 = (1..=5)
                    .map(|h| (std::f64::consts::TAU * hertz * f64::from(h) * t).cos() / 5.0)
                    .sum();
                sum += 0.4 * tone * (-9.0 * t).exp();
            }
        }
        for channel in 0..channels {
            let level = 32_768.0 / f64::from(1 << channel);
            all.push((sum * level).round().clamp(-32_768.0, 32_767.0) as i16);
        }
    }
    all
}

/// The samples as they are mixed to mono: the mean of the channels.
fn mono(samples: &[i16], channels: usize) -> Vec<f32> {
    samples
        .chunks(channels)
        .map(|frame| {
            let sum: f64 = frame.iter().map(|x| f64::from(*x)).sum();
            (sum / channels as f64 / 32_768.0) as f32
        })
        .collect()
}

/// Name, container, rate, channels, frames.
const FILES: [(&str, Container, u32, usize, usize); 12] = [
    ("mono-44.mp3", Container::Mp3, 44_100, 1, 55_037),
    ("stereo-48-vbr.mp3", Container::Mp3, 48_000, 2, 50_021),
    ("mono-22.mp3", Container::Mp3, 22_050, 1, 30_011),
    ("mono-16-tagged.mp3", Container::Mp3, 16_000, 1, 20_009),
    ("mono-44.ogg", Container::OggVorbis, 44_100, 1, 55_037),
    ("stereo-48.ogg", Container::OggVorbis, 48_000, 2, 50_021),
    ("mono-22.ogg", Container::OggVorbis, 22_050, 1, 30_011),
    ("mono-44.m4a", Container::Mp4, 44_100, 1, 55_037),
    ("stereo-48-first.m4a", Container::Mp4, 48_000, 2, 50_021),
    ("mono-22.m4a", Container::Mp4, 22_050, 1, 30_011),
    ("mono-16.3gp", Container::Mp4, 16_000, 1, 20_009),
    ("mono-22-alac.m4a", Container::Mp4, 22_050, 1, 12_007),
];

/// A take of one bar and a half with faults in it.
const LINE: &str = "title: Short take\ntempo: 120\nmeter: 4/4\nkey: G major\n\n\
                    1/8 4:3 3:2 3:5 2:5 1/4 3:2 3:5\n1/4 2:2 2:5 1/2 4:3\n";

fn line() -> Line {
    read_text(LINE).unwrap()
}

fn take() -> Vec<f32> {
    let line = line();
    let faults = parse_faults("late:1.3:60 wrong:2.2:+1").unwrap();
    let performance = Performance::of_line(&line.expected(line.instrument()), &Player::steady(51))
        .with_faults(&faults)
        .unwrap();
    render(&performance, &Voice::fingered(), SampleRate(44_100))
}

#[test]
fn the_sounds_can_be_written_for_packing() {
    let Some(folder) = std::env::var_os("SEAMLINE_PACKED") else {
        return;
    };
    let folder = PathBuf::from(folder);
    for (name, _, rate, channels, frames) in FILES {
        let samples = plucks(rate, channels, frames);
        let data: Vec<u8> = samples.iter().flat_map(|x| x.to_le_bytes()).collect();
        let format = fmt_chunk(1, channels as u16, rate, 16);
        let bytes = riff(&[format, chunk(b"data", &data)]);
        std::fs::write(folder.join(format!("{name}.wav")), bytes).unwrap();
    }
    let rate = SampleRate(44_100);
    let bytes = wav_bytes(rate, WavSamples::Integer16, &take()).unwrap();
    std::fs::write(folder.join("take.wav"), bytes).unwrap();
}

/// The shift of `got` against `wanted`, in frames, at which they agree best (largest
/// cross-correlation), and the cosine of the angle between them there.
fn best_shift(got: &[f32], wanted: &[f32], shift_max: i64) -> (i64, f64) {
    let energy = |x: &[f32]| x.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>();
    let scale = (energy(got) * energy(wanted)).sqrt();
    (-shift_max..=shift_max)
        .map(|shift| {
            let (a, b) = (shift.max(0) as usize, (-shift).max(0) as usize);
            let pairs = got[a.min(got.len())..].iter().zip(&wanted[b..]);
            let sum: f64 = pairs.map(|(x, y)| f64::from(*x) * f64::from(*y)).sum();
            (shift, sum / scale)
        })
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap()
}

/// Oracle: an outside coder's files. Nothing is before the first sample or behind the last, and
/// everything lies where it lay.
#[test]
fn every_sample_is_in_its_place() {
    for (name, container, rate, channels, frames) in FILES {
        let (format, got, notes) = read(open(&path(name)).unwrap()).unwrap();
        assert_eq!(notes, [], "{name}");
        assert_eq!(format.container, container, "{name}");
        assert_eq!(format.rate, SampleRate(rate), "{name}");
        assert_eq!(usize::from(format.channels), channels, "{name}");
        if container != Container::OggVorbis {
            assert_eq!(format.frames, Some(frames as u64), "{name}");
        }
        let wanted = mono(&plucks(rate, channels, frames), channels);
        let (shift, likeness) = best_shift(&got, &wanted, 1_500);
        println!(
            "{name}: {} frames, shift {shift}, likeness {likeness:.4}",
            got.len()
        );
        assert_eq!(got.len(), frames, "{name}");
        assert_eq!(shift, 0, "{name}");
        assert!(likeness > 0.99, "{name}: {likeness}");
        for block_frames in [1, 1_000] {
            let (_, again, _) = try_read(fixture(name), block_frames).unwrap();
            assert!(
                got == again,
                "{name}: read in blocks of {block_frames}, as from a pipe"
            );
        }
    }
}

/// The judgement of a file's bytes.
fn scored(bytes: Vec<u8>) -> TakeResult {
    let reader = std::io::Cursor::new(bytes);
    let mut source = from_reader(reader, "take", &FileConfig::default()).unwrap();
    score_take("take", &mut *source, &line(), &ScoreSettings::default()).unwrap()
}

/// The same verdicts as from WAV, each onset within a millisecond; from Vorbis within two, since
/// its coder blurs attacks: this file decoded by the outside tool has its onsets at the same places
/// to a hundredth of a millisecond, the worst 1.45 ms off.
#[test]
fn a_take_is_judged_as_from_wav() {
    let wav = wav_bytes(SampleRate(44_100), WavSamples::Integer16, &take()).unwrap();
    let wanted = scored(wav).judgement;
    assert_eq!(wanted.tally.wrong, 1, "{:?}", wanted.tally);
    for (name, limit_s) in [
        ("take.mp3", 0.001),
        ("take.ogg", 0.002),
        ("take.m4a", 0.001),
    ] {
        let got = scored(fixture(name)).judgement;
        assert_eq!(got.tally, wanted.tally, "{name}");
        assert_eq!(got.extras.len(), wanted.extras.len(), "{name}");
        let mut worst = 0.0f64;
        for (got, wanted) in got.notes.iter().zip(&wanted.notes) {
            assert_eq!(
                (got.verdict, &got.flags),
                (wanted.verdict, &wanted.flags),
                "{name}"
            );
            if let (Some(got), Some(wanted)) = (&got.heard, &wanted.heard) {
                worst = worst.max((got.onset_s - wanted.onset_s).abs());
            }
        }
        println!("{name}: onsets within {:.2} ms", worst * 1000.0);
        assert!(worst <= limit_s, "{name}: {worst} s");
    }
}

/// A lossless coder gives back every sample.
#[test]
fn alac_is_exact() {
    let (format, got, _) = read_bytes(fixture("mono-22-alac.m4a"));
    assert_eq!(format.samples, SampleFormat::Integer { bits: 16 });
    let wanted = mono(&plucks(22_050, 1, 12_007), 1);
    // One step for another machine's cosine.
    assert!(
        off(&got, &wanted) <= 1.0 / 32_768.0,
        "{:?}",
        best_shift(&got, &wanted, 1_500)
    );
}

/// Made by another tool, named `.wav`: 0.05 s at 8 kHz (`fixtures/sound/README.md`).
#[test]
fn the_name_does_not_matter() {
    let (format, got, notes) = read(open(&path("vorbis-named.wav")).unwrap()).unwrap();
    assert_eq!(format.container, Container::OggVorbis);
    assert_eq!((got.len(), notes), (400, vec![]));
}

/// No file says here what its coder put in front. What is taken out is what the sources beside the
/// constants name: right for LAME (576), 1088 frames too much for this coder of AAC, which puts
/// 1024 in front and not 2112.
#[test]
fn without_a_delay_the_usual_one_is_taken_out_and_said() {
    let wanted = mono(&plucks(44_100, 1, 55_037), 1);
    for (name, frames, coder, shift) in [
        ("mono-44-bare.mp3", 1_105, "MP3", 0),
        ("mono-44-unedited.m4a", 2_112, "AAC", -1_088),
    ] {
        let (_, got, notes) = read_bytes(fixture(name));
        let usual = SoundNote::UsualDelay {
            frames: FrameCount(frames),
            coder,
        };
        assert_eq!(notes, [usual], "{name}");
        assert_eq!(best_shift(&got, &wanted, 1_500).0, shift, "{name}");
    }
}

/// A box of MP4.
fn boxed(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let length = (body.len() as u32 + 8).to_be_bytes();
    [&length[..], name, body].concat()
}

/// Apple, *QuickTime File Format*, appendix G: the comment holds priming, padding and length.
#[test]
fn a_comment_may_give_the_priming() {
    let mut bytes = fixture("mono-44-unedited.m4a");
    let moov = bytes.windows(4).position(|w| w == b"moov").unwrap() - 4;
    let text = b" 00000000 00000400 00000003 000000000000D6FD 00000000";
    let item = [
        boxed(b"mean", b"\0\0\0\0com.apple.iTunes"),
        boxed(b"name", b"\0\0\0\0iTunSMPB"),
        boxed(b"data", &[&[0, 0, 0, 1, 0, 0, 0, 0], &text[..]].concat()),
    ];
    let list = boxed(b"ilst", &boxed(b"----", &item.concat()));
    let meta = boxed(b"meta", &[&[0; 4], &list[..]].concat());
    // Before any such list that the file may have: the index is the last box.
    bytes.splice(moov + 8..moov + 8, boxed(b"udta", &meta));
    let length = (bytes.len() - moov) as u32;
    bytes[moov..moov + 4].copy_from_slice(&length.to_be_bytes());
    let (_, got, notes) = read_bytes(bytes);
    let wanted = mono(&plucks(44_100, 1, 55_037), 1);
    assert_eq!(notes, []);
    assert_eq!(got.len(), 55_037);
    assert_eq!(best_shift(&got, &wanted, 1_500).0, 0);
}

/// The largest difference between two stretches.
fn off(a: &[f32], b: &[f32]) -> f32 {
    a.iter()
        .zip(b)
        .fold(0.0, |top, (a, b)| top.max((a - b).abs()))
}
