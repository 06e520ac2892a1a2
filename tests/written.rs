//! Nothing of the player's is written over: a file that the same command wrote before may be
//! written again, anything else is refused before anything starts, and `--replace` allows it.

mod program_support;

use std::fs;
use std::time::Instant;

use program_support::{Bench, Run};

/// What a player may have at that path.
const MINE: &[u8] = b"not to be lost";

/// The four open strings.
const OPEN: &str = "title: Open\ntempo: 60\nmeter: 4/4\n\n1/2 4:0! 3:0!\n1/2 2:0! 1:0!\n";
/// The thickest string alone.
const ONE: &str = "title: One\ntempo: 60\nmeter: 4/4\n\n1/2 4:0! 4:0!\n";

fn bytes(bench: &Bench, name: &str) -> Vec<u8> {
    fs::read(bench.path(name)).expect("the file is there")
}

/// Writes the line `name.line` and renders it to `name.wav`.
fn rendered(bench: &Bench, name: &str, line: &str, faults: &[&str]) {
    let (text, wav) = (format!("{name}.line"), format!("{name}.wav"));
    bench.write(&text, line.as_bytes());
    let all = [&["hear", &text, "-o", &wav][..], faults].concat();
    bench.run(&all).exits(0);
}

/// Scores the clean take.
fn score(bench: &Bench, more: &[&str]) -> Run {
    bench.run(&[&["score", "take.wav", "--line", "two.line"], more].concat())
}

/// Keeps what a take of open strings tells of them.
fn keep(bench: &Bench, take: &str) -> Run {
    bench.run(&["tune", take, "--keep", "bass.json"])
}

/// It was refused at once, with a word on how to mend it, and what was there is there.
fn left(bench: &Bench, run: Run, name: &str, was: &[u8]) {
    run.refuses(&[name]);
    assert_eq!(bytes(bench, name), was, "{name}");
}

/// With every command that writes: a file of its own is written again, another one is not, an
/// empty one neither, and `--replace` writes it all the same.
#[test]
fn only_its_own_files_are_written_again() {
    let bench = Bench::new();
    rendered(&bench, "open", OPEN, &[]);
    let commands: [(&[&str], &str); 3] = [
        (
            &["score", "take.wav", "--line", "two.line", "--json"],
            "report.json",
        ),
        (&["hear", "two.line", "-o"], "guide.wav"),
        (&["tune", "open.wav", "--keep"], "bass.json"),
    ];
    for (command, name) in commands {
        let with = |more: &[&str]| {
            let mut all = command.to_vec();
            all.push(name);
            all.extend(more);
            bench.run(&all)
        };
        with(&[]).exits(0);
        let written = bytes(&bench, name);
        with(&[]).exits(0);
        assert_eq!(bytes(&bench, name), written, "the same bytes again");
        for was in [MINE, b""] {
            bench.write(name, was);
            left(&bench, with(&[]), name, was);
            let run = with(&[]);
            assert!(run.err().contains("--replace"), "{}", run.shown());
            with(&["--replace"]).exits(0);
            // What an unreadable file held is gone: it was to be replaced.
            assert_eq!(bytes(&bench, name), written);
        }
    }
    // What one command wrote is not another one's.
    let report = bytes(&bench, "report.json");
    let run = bench.run(&["tune", "open.wav", "--keep", "report.json"]);
    assert!(run.err().contains("`seamline score`"), "{}", run.shown());
    left(&bench, run, "report.json", &report);
    let strings = bytes(&bench, "bass.json");
    let run = score(&bench, &["--json", "bass.json"]);
    left(&bench, run, "bass.json", &strings);
}

/// A report of several takes is a list, and carries the mark in each entry.
#[test]
fn reports_of_several_takes_are_written_again() {
    let bench = Bench::new();
    bench.write("again.wav", &bench.take());
    let both = [
        "score",
        "take.wav",
        "again.wav",
        "--line",
        "two.line",
        "--json",
        "both.json",
    ];
    bench.run(&both).exits(0);
    bench.run(&both).exits(0);
    score(&bench, &["--json", "both.json"]).exits(0);
    let value: serde_json::Value =
        serde_json::from_slice(&bytes(&bench, "both.json")).expect("JSON");
    assert_eq!(value["written_by"], "seamline score");
}

/// A rendering says who wrote it (RIFF 1991: `LIST`, form `INFO`, chunk `ISFT`), stays a WAV file
/// for another reader (`hound`), and is judged as before.
#[test]
fn a_rendering_carries_its_mark() {
    let bench = Bench::new();
    let take = bench.take();
    let mark = b"INFOISFT\x0e\0\0\0seamline hear\0";
    assert!(take.windows(mark.len()).any(|w| w == mark));
    let whole = u32::from_le_bytes([take[4], take[5], take[6], take[7]]) as usize;
    assert_eq!(whole, take.len() - 8);
    let read = hound::WavReader::new(take.as_slice()).expect("a WAV file");
    assert_eq!(read.spec().sample_rate, 48_000);
    assert!(read.duration() > 4 * 48_000);
    score(&bench, &[]).reports(&["all 8 notes right"]);
    // A kept take is no rendering: without the mark it is not written over.
    let at = take.windows(4).position(|w| w == b"LIST").expect("a list");
    let mut plain = take.clone();
    plain.drain(at..at + 34);
    let whole = (plain.len() - 8) as u32;
    plain[4..8].copy_from_slice(&whole.to_le_bytes());
    bench.write("kept.wav", &plain);
    bench
        .run(&["score", "kept.wav", "--line", "two.line"])
        .reports(&["all 8 notes right"]);
    let run = bench.run(&["hear", "two.line", "-o", "kept.wav"]);
    left(&bench, run, "kept.wav", &plain);
}

/// What a command reads is never written over, by whatever name, `--replace` or not.
#[test]
fn an_input_is_never_written_over() {
    let bench = Bench::new();
    rendered(&bench, "open", OPEN, &[]);
    keep(&bench, "open.wav").exits(0);
    for (more, name) in [
        (["--json", "./bass.json"], "bass.json"),
        (["--json", "two.line"], "two.line"),
        (["--json", "take.wav"], "take.wav"),
    ] {
        let was = bytes(&bench, name);
        for learn in [&[][..], &["--learn-gaps"]] {
            let all = [
                &["--strings", "bass.json"],
                &more[..],
                &["--replace"],
                learn,
            ]
            .concat();
            left(&bench, score(&bench, &all), name, &was);
        }
    }
    let was = bytes(&bench, "two.line");
    let run = bench.run(&["hear", "two.line", "-o", "two.line", "--replace"]);
    left(&bench, run, "two.line", &was);
    let was = bytes(&bench, "open.wav");
    let run = bench.run(&["tune", "open.wav", "--keep", "open.wav", "--replace"]);
    left(&bench, run, "open.wav", &was);
    // The line of `play`, and its strings; no device is asked before.
    for name in ["two.line", "bass.json"] {
        let was = bytes(&bench, name);
        for option in ["--json", "--keep"] {
            let run = bench.run(&[
                "play",
                "two.line",
                "--strings",
                "bass.json",
                option,
                name,
                "--replace",
            ]);
            left(&bench, run, name, &was);
        }
    }
}

/// `play` refuses before it opens any device, and takes no file for both of its results.
#[test]
fn play_refuses_before_anything_starts() {
    let bench = Bench::new();
    bench.write("mine.json", MINE);
    let began = Instant::now();
    let run = bench.run(&["play", "two.line", "--plain", "--json", "mine.json"]);
    assert!(run.err().contains("--replace"), "{}", run.shown());
    left(&bench, run, "mine.json", MINE);
    let run = bench.run(&["play", "two.line", "--keep", "a.wav", "--json", "./a.wav"]);
    run.refuses(&["a.wav", "the same file"]);
    assert!(!bench.path("a.wav").exists());
    // An hour's session would not end by itself.
    assert!(began.elapsed().as_secs() < 60);
}

/// Strings that were not heard this time, and what was learnt of the player, stay in the file.
#[test]
fn one_string_measured_keeps_the_others() {
    let bench = Bench::new();
    for (name, line, faults) in [
        ("open", OPEN, &[][..]),
        (
            "one",
            ONE,
            &["--with", "flat:1.1:20", "--with", "flat:1.3:20"],
        ),
    ] {
        rendered(&bench, name, line, faults);
    }
    let strings = |bench: &Bench| -> Vec<f64> {
        let text = bytes(bench, "bass.json");
        let value: serde_json::Value = serde_json::from_slice(&text).expect("JSON");
        let list = value["strings"].as_array().expect("strings").iter();
        let mut hz: Vec<f64> = list.map(|s| s["hz"].as_f64().expect("a pitch")).collect();
        hz.sort_by(f64::total_cmp);
        hz
    };
    keep(&bench, "open.wav").exits(0);
    let four = strings(&bench);
    assert_eq!(four.len(), 4, "{four:?}");
    keep(&bench, "one.wav").exits(0);
    let after = strings(&bench);
    assert_eq!(after.len(), 4, "{after:?}");
    assert_eq!(after[1..], four[1..]);
    let moved = 1200.0 * (after[0] / four[0]).log2();
    assert!((moved + 20.0).abs() < 4.0, "{moved} cents");
}

/// A file of strings that was broken since is not lost without a word.
#[test]
fn a_broken_file_of_strings_is_told() {
    let bench = Bench::new();
    rendered(&bench, "one", ONE, &[]);
    let broken = b"{\"schema\": 1, \"written_by\": \"seamline tune\", \"strings\": 3}";
    bench.write("bass.json", broken);
    left(&bench, keep(&bench, "one.wav"), "bass.json", broken);
    let over = ["tune", "one.wav", "--keep", "bass.json", "--replace"];
    bench.run(&over).exits(0);
}

/// What is learnt of the player goes into a file that `tune` wrote, and into no other.
#[test]
fn gaps_are_learnt_into_a_file_that_tune_wrote() {
    let bench = Bench::new();
    rendered(&bench, "one", ONE, &[]);
    keep(&bench, "one.wav").exits(0);
    let learn = ["--strings", "bass.json", "--learn-gaps"];
    score(&bench, &learn).exits(0);
    keep(&bench, "one.wav").exits(0);
    let text = String::from_utf8(bytes(&bench, "bass.json")).expect("text");
    let typed = text.replace("\"written_by\": \"seamline tune\",", "");
    assert_ne!(typed, text);
    bench.write("bass.json", typed.as_bytes());
    left(&bench, score(&bench, &learn), "bass.json", typed.as_bytes());
    score(&bench, &[&learn[..], &["--replace"]].concat()).exits(0);
}

/// Pipes and devices hold nothing that could be lost; a link is written through.
#[cfg(unix)]
#[test]
fn special_files_stay_writable() {
    let bench = Bench::new();
    score(&bench, &["--json", "/dev/null"]).exits(0);
    bench.run(&["hear", "two.line", "-o", "/dev/null"]).exits(0);
    score(&bench, &["--json", "real.json"]).exits(0);
    std::os::unix::fs::symlink("real.json", bench.path("link.json")).expect("a link");
    score(&bench, &["--json", "link.json"]).exits(0);
    assert!(bench.path("link.json").is_symlink());
    std::os::unix::fs::symlink("nowhere.json", bench.path("loose.json")).expect("a link");
    let run = score(&bench, &["--json", "loose.json"]);
    run.refuses(&["loose.json"]);
    assert!(bench.path("loose.json").is_symlink());
}
