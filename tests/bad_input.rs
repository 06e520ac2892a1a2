//! Bad takes and bad lines through the real program: one clear error or an honest report, the
//! exit code of the design (0 judged, 2 cannot be), and never a panic.

mod program_support;
mod sound_support;

use std::fs;
use std::path::PathBuf;

use program_support::Bench;
use sound_support::{chunk, fmt_chunk, riff};

/// A mono file of 32-bit floats at `rate`.
fn floats(rate: u32, samples: impl IntoIterator<Item = f32>) -> Vec<u8> {
    let data: Vec<u8> = samples.into_iter().flat_map(f32::to_le_bytes).collect();
    riff(&[fmt_chunk(3, 1, rate, 32), chunk(b"data", &data)])
}

/// The samples of a file that the program wrote: its data chunk as 16-bit integers.
fn samples_of(wav: &[u8]) -> (u32, Vec<f32>) {
    let mut reader = hound::WavReader::new(wav).expect("a WAV file");
    let rate = reader.spec().sample_rate;
    let samples = match reader.spec().sample_format {
        hound::SampleFormat::Int => reader
            .samples::<i32>()
            .map(|s| s.expect("a sample") as f32 / 32_768.0)
            .collect(),
        hound::SampleFormat::Float => reader.samples().map(|s| s.expect("a sample")).collect(),
    };
    (rate, samples)
}

/// Cut at every place of the header and at many behind it: refused, or judged as far as it goes.
#[test]
fn a_cut_take_refuses_or_judged_as_far_as_it_goes() {
    let bench = Bench::new();
    let take = bench.take();
    for length in (0..44).chain([45, 46, 47, 100, 1_001]) {
        let run = bench.score("cut.wav", &take[..length]);
        let code = run.output.status.code();
        assert!(
            code == Some(0) || code == Some(2),
            "{length} bytes\n{}",
            run.shown()
        );
        if code == Some(2) && run.out().is_empty() {
            run.refuses(&["cut.wav"]);
        } else if code == Some(2) {
            assert!(run.out().contains("no note was heard"), "{}", run.shown());
        }
    }
    bench.score("none.wav", b"").refuses(&["none.wav", "empty"]);
    // Half of the take: the first notes are there, nothing behind them is missed, and the cut is told.
    let half = bench.score("half.wav", &take[..take.len() / 2]);
    assert!(!half.out().contains("missed"), "{}", half.shown());
    half.reports(&["bar 1 alone"]);
}

#[test]
fn lengths_that_lie_are_survived() {
    let bench = Bench::new();
    let take = bench.take();
    let data_at = take.windows(4).position(|w| w == b"data").expect("data") + 4;
    let right = "all 8 notes right";
    bench.score("honest.wav", &take).reports(&[right]);
    // The length of the data, of the whole, and of both: nothing, one frame, a frame cut in two,
    // less than there is, 2 GiB and a little less, 4 GiB. What is there is what counts.
    for declared in [
        0u32,
        1,
        2,
        3,
        4_000,
        4_001,
        0x7fff_ffff,
        0x8000_0000,
        0xffff_fffe,
        u32::MAX,
    ] {
        for (riff_lies, data_lies) in [(true, false), (false, true), (true, true)] {
            let mut bytes = take.clone();
            if riff_lies {
                bytes[4..8].copy_from_slice(&declared.to_le_bytes());
            }
            if data_lies {
                bytes[data_at..data_at + 4].copy_from_slice(&declared.to_le_bytes());
            }
            let run = bench.score("lies.wav", &bytes);
            let about = format!("{declared:#x}, whole {riff_lies}, data {data_lies}");
            assert!(run.out().contains(right), "{about}\n{}", run.shown());
            run.exits(0);
        }
    }
}

/// A header of 2 GiB and more in a file of a hundred bytes must not be believed: with the memory
/// it asks for, or a read of it, this would take seconds and gigabytes.
#[test]
fn a_header_of_two_gigabytes_in_a_small_file() {
    let bench = Bench::new();
    for declared in [0x7fff_ffffu32, 0x8000_0000, 0xffff_fff0] {
        let mut bytes = riff(&[fmt_chunk(1, 2, 48_000, 16), chunk(b"data", &[0; 64])]);
        let at = bytes.len() - 68;
        bytes[at..at + 4].copy_from_slice(&declared.to_le_bytes());
        bytes[4..8].copy_from_slice(&declared.to_le_bytes());
        let run = bench.score("huge.wav", &bytes).exits(2);
        assert!(run.out().contains("no note was heard"), "{}", run.shown());
    }
    // The same in a chunk before the samples.
    let mut bytes = riff(&[fmt_chunk(1, 1, 48_000, 16), chunk(b"LIST", &[0; 64])]);
    let at = bytes.len() - 68;
    bytes[at..at + 4].copy_from_slice(&0x8000_0000u32.to_le_bytes());
    bench.score("list.wav", &bytes).refuses(&["list.wav"]);
}

#[test]
fn formats_that_make_no_sense_are_refused() {
    let bench = Bench::new();
    let data = chunk(b"data", &[0; 4_800]);
    for (about, fmt) in [
        ("no channels", fmt_chunk(1, 0, 48_000, 16)),
        ("no rate", fmt_chunk(1, 1, 0, 16)),
        ("a rate that is too low", fmt_chunk(1, 1, 7_999, 16)),
        ("a rate that is too high", fmt_chunk(1, 1, 192_001, 16)),
        ("no bits", fmt_chunk(1, 1, 48_000, 0)),
        ("too many bits", fmt_chunk(1, 1, 48_000, 48)),
        ("a float of 16 bits", fmt_chunk(3, 1, 48_000, 16)),
        ("an unknown code", fmt_chunk(0x1234, 1, 48_000, 16)),
        ("a short format chunk", chunk(b"fmt ", &[1, 0, 1, 0])),
    ] {
        let run = bench.score("odd.wav", &riff(&[fmt, data.clone()]));
        assert_eq!(
            run.output.status.code(),
            Some(2),
            "{about}\n{}",
            run.shown()
        );
        run.refuses(&["odd.wav"]);
    }
    bench
        .score("no-data.wav", &riff(&[fmt_chunk(1, 1, 48_000, 16)]))
        .refuses(&["no-data.wav"]);
    bench
        .score("no-format.wav", &riff(&[data]))
        .refuses(&["no-format.wav"]);
}

#[test]
fn files_of_another_kind_are_refused_by_name() {
    let bench = Bench::new();
    for (name, bytes) in [
        ("text.wav", b"This is not a sound.\n".as_slice()),
        ("zip.wav", b"PK\x03\x04\x14\0\0\0\x08\0\0\0\0\0\0\0\0\0\0\0"),
        ("picture.wav", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR"),
        ("midi.wav", b"MThd\0\0\0\x06\0\0\0\x01\0\x60"),
        ("zeros.wav", &[0; 4_096]),
        ("bytes.wav", &[0xff; 4_096]),
        ("flac.wav", b"fLaC"),
        ("flac2.wav", b"fLaC\0\0\0\x22\0\0\0\0\0\0\0\0"),
    ] {
        bench.score(name, bytes).refuses(&[name]);
    }
    bench
        .run(&["score", "absent.wav", "--line", "two.line"])
        .refuses(&["absent.wav"]);
}

/// No note in it: judged, and said.
#[test]
fn takes_without_a_note_are_judged_honestly() {
    let bench = Bench::new();
    let nothing = "no note was heard";
    bench
        .score("no-samples.wav", &floats(48_000, []))
        .refuses(&["no-samples.wav", "sample"]);
    let cases: [(&str, Vec<f32>); 4] = [
        ("one-sample.wav", vec![0.5]),
        ("zeros.wav", vec![0.0; 200_000]),
        ("nan.wav", vec![f32::NAN; 200_000]),
        ("infinite.wav", vec![f32::INFINITY; 200_000]),
    ];
    for (name, samples) in cases {
        let run = bench.score(name, &floats(48_000, samples)).exits(2);
        assert!(run.out().contains(nothing), "{}", run.shown());
    }
    // Hiss from the shared ramp's multiplier, at -40 dB.
    let hiss = (0..400_000u64).map(|i| {
        let x = i.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5151;
        let x = (x ^ (x >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        ((x >> 40) as f32 / (1u64 << 23) as f32 - 1.0) * 0.017
    });
    let run = bench.score("hiss.wav", &floats(48_000, hiss)).exits(2);
    assert!(run.out().contains(nothing), "{}", run.shown());
    // The report other programs read has every field, and no NaN, even then.
    let run = bench
        .run(&["score", "nan.wav", "--line", "two.line", "--json", "-"])
        .exits(2);
    let value: serde_json::Value = serde_json::from_str(&run.out()).expect("JSON");
    let notes = value["notes"].as_array().expect("a list of notes");
    assert!(notes.len() == 8 && notes.iter().all(|note| note["verdict"].is_null()));
    assert_eq!(value["timing"]["offset_s"], serde_json::Value::Null);
    assert!(
        !run.out().contains("NaN") && !run.out().contains("inf"),
        "{}",
        run.shown()
    );
}

/// Broken samples in a good take, and a take that clips or is at another scale: the notes are
/// still there.
#[test]
fn damaged_takes_are_still_judged() {
    let bench = Bench::new();
    let (rate, samples) = samples_of(&bench.take());
    let right = "all 8 notes right";
    let mut broken = samples.clone();
    for at in (1_000..broken.len()).step_by(20_011) {
        broken[at] = f32::NAN;
        broken[at + 1] = f32::NEG_INFINITY;
    }
    bench
        .score("broken.wav", &floats(rate, broken))
        .reports(&[right]);
    let clipped = samples.iter().map(|s| (4.0 * s).clamp(-1.0, 1.0));
    bench
        .score("clipped.wav", &floats(rate, clipped))
        .reports(&[right]);
    let loud = samples.iter().map(|s| s * 1e6);
    bench
        .score("loud.wav", &floats(rate, loud))
        .reports(&[right]);
    let absurd = samples.iter().map(|s| s * 1e37);
    let run = bench.score("absurd.wav", &floats(rate, absurd));
    assert!(
        matches!(run.output.status.code(), Some(0 | 2)),
        "{}",
        run.shown()
    );
}

#[test]
fn bad_lines_are_refused_with_the_place() {
    let bench = Bench::new();
    for (name, bytes, words) in [
        ("empty.line", b"".as_slice(), &[] as &[&str]),
        ("blank.line", b"\n\n   \n", &[]),
        ("header.line", b"tempo: 120\nmeter: 4/4\n", &[]),
        ("low.line", b"tempo: 120\n\n1/4 3:0 D1 2:2 2:5\n", &["D1"]),
        (
            "fret.line",
            b"tempo: 120\n\n1/4 3:0 3:77 2:2 2:5\n",
            &["3:77"],
        ),
        (
            "string.line",
            b"tempo: 120\n\n1/4 9:0 3:3 2:2 2:5\n",
            &["9:0"],
        ),
        (
            "slow.line",
            b"tempo: 0\n\n1/4 3:0 3:3 2:2 2:5\n",
            &["tempo"],
        ),
        (
            "back.line",
            b"tempo: -60\n\n1/4 3:0 3:3 2:2 2:5\n",
            &["tempo"],
        ),
        (
            "no.line",
            b"tempo: NaN\n\n1/4 3:0 3:3 2:2 2:5\n",
            &["tempo"],
        ),
        (
            "fast.line",
            b"tempo: 1e300\n\n1/4 3:0 3:3 2:2 2:5\n",
            &["tempo"],
        ),
        ("bytes.line", b"\xff\xfe\0\0", &[]),
        ("zeros.line", &[0; 100], &[]),
        ("short.mid", b"MThd\0\0", &[]),
        ("text.mid", b"1/4 3:0", &[]),
    ] {
        let run = bench.score_line(name, bytes).refuses(&[name]);
        run.refuses(words);
    }
    bench
        .run(&["score", "take.wav", "--line", "two.line", "--tempo", "0"])
        .refuses(&["tempo"]);
    bench
        .run(&["hear", "slow.line", "-o", "x.wav"])
        .refuses(&["slow.line"]);
    assert!(!bench.path("x.wav").exists());
}

/// Every file of `fixtures/invalid-lines` and `fixtures/invalid-sound`.
#[test]
fn every_invalid_fixture_refuses() {
    let bench = Bench::new();
    let fixtures = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    let mut seen = 0;
    for (folder, is_line) in [("invalid-lines", true), ("invalid-sound", false)] {
        for entry in fs::read_dir(fixtures.join(folder)).expect("fixtures") {
            let path = entry.expect("an entry").path();
            let name = path
                .file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned();
            if name == "README.md" {
                continue;
            }
            let bytes = fs::read(&path).expect("a fixture");
            let run = if is_line {
                bench.score_line(&name, &bytes)
            } else {
                bench.score(&name, &bytes)
            };
            run.refuses(&[&name]);
            seen += 1;
        }
    }
    assert!(seen > 50, "only {seen} fixtures");
}
