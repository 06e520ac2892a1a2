//! The takes in `demo-data` are what the synth renders from the lines beside them.
//!
//! Golden: the files are our own earlier output, so this detects change and proves nothing about
//! the sound. Remade by `SEAMLINE_REMAKE_DEMO=1 cargo test --test sound_demo`.

mod sound_support;

use std::path::{Path, PathBuf};

use seamline::music::expected::ExpectedNote;
use seamline::music::line::read_bytes;
use seamline::sound::file::open;
use seamline::sound::output::{WavSamples, wav_bytes};
use seamline::sound::synth::{Performance, Player, Voice, parse_faults, render};
use seamline::units::{Decibels, Hertz, SampleRate};
use sound_support::read;

/// Low enough to keep the files small, high enough for the brightest partials of the voices.
const RATE: SampleRate = SampleRate(22_050);

/// Largest file, in bytes: the practice take of a minute.
const LARGEST: u64 = 2_600_000;

/// A part of a take: first and last bar (`None` for all), notes at most, seconds of silence before
/// it, faults.
type Part = (Option<(u32, u32)>, usize, f64, &'static str);

/// One time through the whole line.
const fn whole(faults: &'static str) -> [Part; 1] {
    [(None, usize::MAX, 1.0, faults)]
}

/// Take, line, seed, voice, parts (bars, notes at most, seconds before them, faults): as
/// `demo-data/README.md` lists them.
const TAKES: [(&str, &str, u64, &str, &[Part]); 6] = [
    (
        "lantern-stairs-clean.wav",
        "lantern-stairs.line",
        21,
        "fingered",
        &whole(""),
    ),
    (
        "lantern-stairs-flawed.wav",
        "lantern-stairs.line",
        22,
        "fingered",
        &whole(
            "gap:2.4.5:110 late:3.3:65 wrong:5.2.5:+1 dead:6.3 flat:7.1:30 gap:7.3:120 missed:8.2.5",
        ),
    ),
    (
        "lantern-stairs-practice.wav",
        "lantern-stairs.line",
        23,
        "fingered",
        &[
            // A false start, broken off.
            (Some((1, 2)), 7, 1.0, ""),
            // Two bars over and over, in time with each other.
            (Some((2, 3)), usize::MAX, 1.6, "gap:2.4.5:150 late:3.3:75"),
            (Some((2, 3)), usize::MAX, 0.0, "gap:2.4.5:120 late:3.3:55"),
            (Some((2, 3)), usize::MAX, 0.0, "gap:2.4.5:90"),
            (Some((2, 3)), usize::MAX, 0.0, "gap:2.4.5:65"),
            // The whole line.
            (None, usize::MAX, 2.0, "wrong:5.4:+1 gap:7.3:85"),
        ],
    ),
    (
        "harbour-walk-clean.wav",
        "harbour-walk.line",
        31,
        "picked",
        &whole(""),
    ),
    (
        "harbour-walk-flawed.wav",
        "harbour-walk.line",
        32,
        "picked",
        &whole(
            "open:2.3:4:-16 ringing:3.3:-10 late:4.3:65 missed:5.3 gap:5.4:80 extra:6.3:-2 \
             early:7.1:60 wrong:7.4:-1 gap:8.3:110",
        ),
    ),
    (
        "open-strings.wav",
        "open-strings.line",
        41,
        "fingered",
        &whole("flat:1.3:14 open:2.1:3:-20"),
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

/// The parts one after the other. A part that follows without a pause begins where the bar after
/// the part before it would.
fn performance(line: &str, seed: u64, parts: &[Part]) -> Performance {
    let line = expected(line);
    let mut notes = Vec::new();
    let mut end_s = 0.0;
    let mut put_together = Performance::default();
    for (k, (bars, most, pause_s, faults)) in parts.iter().enumerate() {
        let asked =
            |note: &&ExpectedNote| bars.is_none_or(|(from, to)| (from..=to).contains(&note.bar));
        let own: Vec<ExpectedNote> = line.iter().filter(asked).take(*most).cloned().collect();
        let (first, last) = (&own[0], &own[own.len() - 1]);
        // Where the part's first bar begins.
        let begin_s = end_s + pause_s;
        let player = Player {
            hum: Some((Hertz(50.0), Decibels(-72.0))),
            hiss: Some(Decibels(-68.0)),
            lead_in_s: begin_s - first.onset_s,
            tail_s: 0.8,
            ..Player::steady(seed + 100 * k as u64)
        };
        put_together = Performance::of_line(&own, &player)
            .with_faults(&parse_faults(faults).unwrap())
            .unwrap();
        end_s = begin_s + last.onset_s + last.length_s - first.onset_s;
        notes.append(&mut put_together.notes);
    }
    notes.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
    Performance {
        notes,
        seed,
        ..put_together
    }
}

#[test]
fn the_takes_are_what_the_synth_renders() {
    let remake = std::env::var_os("SEAMLINE_REMAKE_DEMO").is_some();
    for (take, line, seed, voice, parts) in TAKES {
        let voice = Voice::named(voice).unwrap();
        let rendered = render(&performance(line, seed, parts), &voice, RATE);
        if remake {
            let bytes = wav_bytes(RATE, WavSamples::Integer16, &rendered).unwrap();
            std::fs::write(demo(take), bytes).unwrap();
        }
        let bytes = std::fs::metadata(demo(take)).unwrap().len();
        assert!(bytes < LARGEST, "{take} has {bytes} bytes");
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
    for (take, line, _, voice, parts) in TAKES {
        let faults = parts.iter().flat_map(|part| part.3.split_whitespace());
        for word in [take, line, voice].into_iter().chain(faults) {
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
    for (line, notes, shifts) in [("lantern-stairs.line", 44, 3), ("harbour-walk.line", 32, 4)] {
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
