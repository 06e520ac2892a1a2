//! The takes in `demo-data` are what the synth renders from the lines beside them.
//!
//! Golden: the files are our own earlier output, so this detects change and proves nothing about
//! the sound. Remade by `SEAMLINE_REMAKE_DEMO=1 cargo test --test sound_demo`.

mod sound_support;

use std::path::{Path, PathBuf};

use seamline::music::expected::ExpectedNote;
use seamline::music::line::read_bytes;
use seamline::sound::file::open;
use seamline::sound::output::{WavSamples, write_wav};
use seamline::sound::synth::{Performance, Player, Voice, parse_faults, render};
use seamline::units::{Decibels, Hertz, SampleRate};
use sound_support::read;

/// Low enough to keep the files small, high enough for the brightest partials of the voices.
const RATE: SampleRate = SampleRate(22_050);

/// Take, line, seed, voice, faults: as `demo-data/README.md` lists them.
const TAKES: [(&str, &str, u64, &str, &str); 5] = [
    (
        "two-octaves-clean.wav",
        "two-octaves.line",
        21,
        "fingered",
        "",
    ),
    (
        "two-octaves-flawed.wav",
        "two-octaves.line",
        22,
        "fingered",
        "gap:1.3.5:95 late:2.2:70 wrong:2.3:+1 gap:3.3.5:120 flat:3.2:30 dead:4.2.5 clipped:4.4:300",
    ),
    (
        "harbour-walk-clean.wav",
        "harbour-walk.line",
        31,
        "picked",
        "",
    ),
    (
        "harbour-walk-flawed.wav",
        "harbour-walk.line",
        32,
        "picked",
        "open:2.3:4:-16 ringing:3.3:-10 late:4.3:65 missed:5.3 gap:5.4:80 extra:6.3:-2 early:7.1:60 \
         wrong:7.4:-1 gap:8.3:110",
    ),
    (
        "open-strings.wav",
        "open-strings.line",
        41,
        "fingered",
        "flat:1.3:14 open:2.1:3:-20",
    ),
];

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("demo-data")
        .join(name)
}

fn expected(line: &str) -> Vec<ExpectedNote> {
    let line = read_bytes(line, &std::fs::read(demo(line)).unwrap()).unwrap();
    line.expected(line.instrument())
}

fn performance(line: &str, seed: u64, faults: &str) -> Performance {
    let player = Player {
        hum: Some((Hertz(50.0), Decibels(-72.0))),
        hiss: Some(Decibels(-68.0)),
        tail_s: 0.8,
        ..Player::steady(seed)
    };
    Performance::of_line(&expected(line), &player)
        .with_faults(&parse_faults(faults).unwrap())
        .unwrap()
}

#[test]
fn the_takes_are_what_the_synth_renders() {
    let remake = std::env::var_os("SEAMLINE_REMAKE_DEMO").is_some();
    for (take, line, seed, voice, faults) in TAKES {
        let voice = Voice::named(voice).unwrap();
        let rendered = render(&performance(line, seed, faults), &voice, RATE);
        if remake {
            write_wav(&demo(take), RATE, WavSamples::Integer16, &rendered).unwrap();
        }
        let bytes = std::fs::metadata(demo(take)).unwrap().len();
        assert!(bytes < 700_000, "{take} has {bytes} bytes");
        let (format, kept, notes) = read(open(&demo(take)).unwrap()).unwrap();
        assert_eq!((format.rate, format.channels), (RATE, 1), "{take}");
        assert_eq!(notes, [], "{take}");
        assert_eq!(kept.len(), rendered.len(), "{take}");
        // Half a step of 16 bits by rounding, and one more for another machine's sine.
        let off = kept
            .iter()
            .zip(&rendered)
            .fold(0.0f32, |top, (a, b)| top.max((a - b).abs()));
        assert!(
            off <= 1.5 / 32_768.0,
            "{take} is off by {off}; see the head of this test"
        );
    }
}

/// The takes stand in the README with exactly the faults that were put in.
#[test]
fn the_readme_lists_what_was_put_in() {
    let readme = std::fs::read_to_string(demo("README.md")).unwrap();
    for (take, line, _, voice, faults) in TAKES {
        for word in [take, line, voice]
            .into_iter()
            .chain(faults.split_whitespace())
        {
            assert!(
                readme.contains(&format!("`{word}`")),
                "the README does not name {word}"
            );
        }
    }
}

/// The lines have what they promise: shifts, and every written note a place.
#[test]
fn the_lines_have_shifts() {
    use seamline::music::expected::JoinKind;
    for (line, notes, shifts) in [("two-octaves.line", 28, 4), ("harbour-walk.line", 32, 4)] {
        let expected = expected(line);
        assert_eq!(expected.len(), notes, "{line}");
        assert!(expected.iter().all(|note| note.place.is_some()), "{line}");
        let count = expected
            .iter()
            .filter(|note| note.join == Some(JoinKind::Shift))
            .count();
        assert!(count >= shifts, "{line}: {count} shifts");
    }
}
