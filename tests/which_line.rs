//! Which line of a folder a take is: over the demo's lines, lines moved to other keys, lines that begin
//! alike, and takes that are none of them.

mod program_support;

use std::fs;
use std::path::Path;

use program_support::{Bench, Run};

const STAIRS: &str = "lines/lantern-stairs.line";
const WALK: &str = "lines/harbour-walk.line";

/// A folder `lines` with the demo's two lines of notes, and the demo's takes.
fn demo() -> Bench {
    let bench = Bench::new();
    fs::create_dir(bench.path("lines")).expect("a folder");
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    for entry in demo.read_dir().expect("the demo") {
        let path = entry.expect("an entry").path();
        let name = path
            .file_name()
            .expect("a name")
            .to_string_lossy()
            .into_owned();
        if name.ends_with(".wav") {
            fs::copy(&path, bench.path(&name)).expect("copied");
        } else if name.ends_with(".line") && name != "open-strings.line" {
            fs::copy(&path, bench.path(&format!("lines/{name}"))).expect("copied");
        }
    }
    bench
}

fn which(bench: &Bench, take: &str, lines: &str) -> Run {
    bench.run(&["score", take, "--lines", lines, "--no-record"])
}

/// The line is told, and the report is that of the line given by name, byte for byte.
fn finds(bench: &Bench, take: &str, line: &str) {
    let found = which(bench, take, "lines");
    assert!(
        found.err().contains(&format!("{take}: the line is {line}")),
        "{}",
        found.shown()
    );
    let named = bench.run(&["score", take, "--line", line, "--no-record"]);
    assert_eq!(found.out(), named.out(), "{}", found.shown());
    assert_eq!(found.output.status.code(), named.output.status.code());
}

/// Exit 2, and standard error says each of these.
fn says(run: Run, words: &[&str]) {
    let run = run.exits(2);
    assert!(run.out().is_empty(), "{}", run.shown());
    for word in words {
        assert!(
            run.err().contains(word),
            "`{word}` is missing\n{}",
            run.shown()
        );
    }
}

#[test]
fn the_demo_takes_are_their_lines() {
    let bench = demo();
    for (take, line) in [
        ("lantern-stairs-clean.wav", STAIRS),
        ("lantern-stairs-flawed.wav", STAIRS),
        ("lantern-stairs-practice.wav", STAIRS),
        ("harbour-walk-clean.wav", WALK),
        ("harbour-walk-flawed.wav", WALK),
    ] {
        finds(&bench, take, line);
    }
    // What is no line is left out and said; the same notes under another name are one line.
    bench.write("lines/notes.csv", b"who,take\nAda,a.wav\n");
    fs::copy(bench.path(WALK), bench.path("lines/zz-again.line")).expect("copied");
    let run = which(&bench, "harbour-walk-clean.wav", "lines").exits(0);
    for words in [
        "left out: lines/notes.csv",
        "zz-again.line: the same notes as",
        WALK,
    ] {
        assert!(run.err().contains(words), "{}", run.shown());
    }
}

/// The same line in other keys: rendered in each, the right one is told.
#[test]
fn another_key_is_another_line() {
    let bench = demo();
    for (name, semitones) in [
        ("up-1", "+1"),
        ("up-2", "+2"),
        ("down-1", "-1"),
        ("up-5", "+5"),
    ] {
        bench
            .run(&[
                "convert",
                WALK,
                &format!("lines/walk-{name}.line"),
                &format!("--transpose={semitones}"),
            ])
            .exits(0);
        let (line, take) = (format!("lines/walk-{name}.line"), format!("{name}.wav"));
        let seed = semitones.trim_start_matches(['-', '+']);
        bench
            .run(&["hear", &line, "-o", &take, "--seed", seed])
            .exits(0);
    }
    finds(&bench, "harbour-walk-clean.wav", WALK);
    finds(&bench, "harbour-walk-flawed.wav", WALK);
    for name in ["up-1", "up-2", "down-1", "up-5"] {
        finds(
            &bench,
            &format!("{name}.wav"),
            &format!("lines/walk-{name}.line"),
        );
    }
}

/// Two lines with the same first two bars: a take of these alone is either, a take of all is one.
#[test]
fn lines_that_begin_alike_are_named_together() {
    let bench = Bench::new();
    fs::create_dir(bench.path("lines")).expect("a folder");
    let begin = "title: Alike\ntempo: 100\n\n1/4 3:0 3:3 2:2 2:5\n1/4 3:5 2:3 2:7 3:5\n";
    let one = format!("{begin}1/4 2:5 2:2 3:3 3:0\n1/4 4:3 3:2 3:3 3:5\n");
    let two = format!("{begin}1/4 1:2 1:5 1:4 2:7\n1/4 1:7 1:5 2:7 2:4\n");
    bench.write("lines/one.line", one.as_bytes());
    bench.write("lines/two.line", two.as_bytes());
    for (take, line) in [("one.wav", "lines/one.line"), ("two.wav", "lines/two.line")] {
        bench
            .run(&["hear", line, "-o", take, "--seed", "4"])
            .exits(0);
        finds(&bench, take, line);
    }
    let part = [
        "hear",
        "lines/one.line",
        "-o",
        "part.wav",
        "--bars",
        "1-2",
        "--seed",
        "5",
    ];
    bench.run(&part).exits(0);
    says(
        which(&bench, "part.wav", "lines"),
        &[
            "part.wav",
            "lines/one.line",
            "lines/two.line",
            "nearly alike",
        ],
    );
    // In a class it is a row, and the others are judged.
    let run = bench
        .run(&[
            "score",
            "one.wav",
            "part.wav",
            "--lines",
            "lines",
            "--summary",
            "-",
        ])
        .exits(2);
    let table: serde_json::Value = serde_json::from_str(&run.out()).expect("JSON");
    let why = table["takes"][0]["not_judged_because"]
        .as_str()
        .expect("why");
    assert!(why.contains("nearly alike"), "{}", run.shown());
    assert_eq!(table["takes"][1]["line"]["found_by_ear"], true);
}

/// Noodling (notes of the key at random, in uneven lengths), silence, and another line are none.
#[test]
fn what_is_no_line_of_the_folder_is_told_as_such() {
    let bench = demo();
    // Short lines, which something or other fits by chance.
    bench.write(
        "lines/roots.line",
        b"title: Roots\ntempo: 90\n\n1/1 3:0\n1/1 3:5\n1/1 4:3\n1/1 3:0\n",
    );
    bench.write(
        "lines/riff.line",
        b"title: Riff\ntempo: 90\n\n1/4 3:0 3:3 2:2 3:3\n",
    );
    let mut state = 20_u64;
    // The multiplier and increment of Knuth's MMIX; seeds fixed.
    let mut random = |below: u64| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % below
    };
    let scale = [
        "3:0", "3:2", "3:3", "2:0", "2:2", "2:3", "1:0", "4:3", "2:5", "3:5", "1:2", "4:0",
    ];
    for take in 0..6 {
        let mut text = String::from("title: Noodling\ntempo: 96\n\n");
        for _ in 0..16 {
            let lengths: &[&str] = match random(3) {
                0 => &["1/8"; 8],
                1 => &["1/4"; 4],
                _ => &["1/4", "1/8", "1/8", "1/8", "1/8", "1/4"],
            };
            for length in lengths {
                let note = scale[random(scale.len() as u64) as usize];
                text.push_str(&format!("{length} {note} "));
            }
            text.push('\n');
        }
        bench.write("noodling.line", text.as_bytes());
        let name = format!("noodling-{take}.wav");
        bench
            .run(&["hear", "noodling.line", "-o", &name, "--seed", "3"])
            .exits(0);
        says(
            which(&bench, &name, "lines"),
            &["none of the 4 lines in lines"],
        );
    }
    bench
        .run(&["hear", "two.line", "-o", "another.wav", "--seed", "3"])
        .exits(0);
    fs::remove_file(bench.path("lines/riff.line")).expect("removed");
    says(
        which(&bench, "another.wav", "lines"),
        &["none of the 3 lines in lines"],
    );
    // A second of digital silence: 16 bits, one channel, 48 kHz (the RIFF header as published).
    let mut silence = Vec::new();
    silence.extend(b"RIFF");
    silence.extend((36 + 96_000_u32).to_le_bytes());
    silence.extend(b"WAVEfmt ");
    silence.extend(16_u32.to_le_bytes());
    silence.extend([1, 0, 1, 0]);
    silence.extend(48_000_u32.to_le_bytes());
    silence.extend(96_000_u32.to_le_bytes());
    silence.extend([2, 0, 16, 0]);
    silence.extend(b"data");
    silence.extend(96_000_u32.to_le_bytes());
    silence.extend(vec![0; 96_000]);
    bench.write("silence.wav", &silence);
    says(
        which(&bench, "silence.wav", "lines"),
        &["no note was heard"],
    );
}

#[test]
fn a_folder_without_lines_is_refused() {
    let bench = Bench::new();
    fs::create_dir(bench.path("empty")).expect("a folder");
    which(&bench, "take.wav", "empty").refuses(&["empty", "no line in this folder"]);
    which(&bench, "take.wav", "nowhere").refuses(&["nowhere", "check the path"]);
    bench
        .run(&[
            "score", "take.wav", "--lines", "empty", "--line", "two.line",
        ])
        .refuses(&["--lines", "--line"]);
    bench
        .run(&["score", "-", "--lines", "empty"])
        .refuses(&["standard input", "--lines"]);
}
