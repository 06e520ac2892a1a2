//! What the program remembers of what it judged, by its commands: nothing of that changes a report.

#[path = "program_support/mod.rs"]
mod program;

use std::fs;

use program::Bench;
use serde_json::Value;

/// The moment that the takes of these tests were played, and the day after.
const DAY: &str = "1795824000";
const NEXT_DAY: &str = "1795910400";

fn log(bench: &Bench, arguments: &[&str]) -> Value {
    let run = bench
        .run(&[&["log", "--json", "-"], arguments].concat())
        .exits(0);
    serde_json::from_slice(&run.output.stdout).expect("JSON")
}

fn takes(bench: &Bench, player: Option<&str>) -> u64 {
    let named: Vec<&str> = player
        .into_iter()
        .flat_map(|name| ["--player", name])
        .collect();
    let found = log(bench, &named);
    let lines = found["lines"].as_array().expect("lines");
    lines
        .iter()
        .map(|line| line["takes"].as_u64().expect("a count"))
        .sum()
}

#[test]
fn nothing_is_in_the_record_at_first() {
    let bench = Bench::empty();
    let found = log(&bench, &[]);
    assert_eq!(found["lines"], Value::Array(vec![]));
    let run = bench.run(&["log"]).exits(0);
    assert!(
        run.out().starts_with("Nothing is in the record yet."),
        "{}",
        run.shown()
    );
    assert!(!bench.path("data").exists(), "looking makes nothing");
    bench.run(&["log", "--check"]).exits(2);
}

/// One take goes in; standard input, several takes and another line go in only when the player is named.
#[test]
fn what_goes_in_is_the_players_own() {
    let bench = Bench::new();
    bench.write(
        "other.line",
        b"title: Other\n\n1/4 4:0 4:1 4:3 4:0\n1/4 4:5 4:1 4:2 4:3\n",
    );
    bench
        .run(&["score", "take.wav", "--line", "two.line", "--no-record"])
        .exits(0);
    assert_eq!(takes(&bench, None), 0);
    bench
        .run(&["score", "take.wav", "--line", "two.line"])
        .exits(0);
    assert_eq!(takes(&bench, None), 1);
    bench
        .run(&["score", "take.wav", "--line", "two.line"])
        .exits(0);
    assert_eq!(takes(&bench, None), 1, "the same sound again");
    fs::copy(bench.path("take.wav"), bench.path("again.wav")).expect("copied");
    let both = ["score", "take.wav", "again.wav", "--line", "two.line"];
    bench.run(&both).exits(0);
    bench
        .run(&["score", "take.wav", "--line", "other.line"])
        .exits(2);
    assert_eq!(takes(&bench, None), 1);
    bench
        .run(&[&both[..], &["--player", "Ada"]].concat())
        .exits(0);
    assert_eq!(takes(&bench, Some("Ada")), 1, "two files, one sound");
    bench
        .run(&[
            "score",
            "take.wav",
            "--line",
            "other.line",
            "--player",
            "Ada",
        ])
        .exits(2);
    assert_eq!(takes(&bench, Some("Ada")), 2);
    assert_eq!(takes(&bench, None), 1);
}

#[test]
fn the_record_changes_no_report() {
    let bench = Bench::new();
    let score = ["score", "take.wav", "--line", "two.line"];
    let without = bench.run(&[&score[..], &["--no-record"]].concat());
    let with = bench.run(&score);
    let again = bench.run(&score);
    assert_eq!(without.output, with.output);
    assert_eq!(without.output, again.output);
    // A file stands where the folder should be: one warning, and all else as before.
    fs::remove_dir_all(bench.path("data")).expect("removed");
    bench.write("data", b"no folder");
    let refused = bench.run(&score);
    assert_eq!(refused.output.stdout, without.output.stdout);
    assert_eq!(refused.output.status, without.output.status);
    let said = refused.err();
    let warned: Vec<&str> = said
        .lines()
        .filter(|line| line.contains("not kept"))
        .collect();
    assert_eq!(warned.len(), 1, "{said}");
    assert!(warned[0].contains("--data DIR"), "{said}");
}

#[test]
fn a_take_has_its_date_and_its_joins() {
    let bench = Bench::new();
    bench
        .run(&[
            "hear",
            "two.line",
            "-o",
            "gap.wav",
            "--seed",
            "3",
            "--with",
            "gap:1.2:120",
        ])
        .exits(0);
    // The file's own date is what counts where nothing stands beside it.
    let played =
        std::time::UNIX_EPOCH + std::time::Duration::from_secs(DAY.parse().expect("a number"));
    let file = fs::File::options()
        .write(true)
        .open(bench.path("gap.wav"))
        .expect("opened");
    file.set_modified(played).expect("set");
    drop(file);
    let zone = [("TZ", "UTC"), ("SEAMLINE_NOW", NEXT_DAY), ("COLUMNS", "80")];
    bench
        .run_with(&["score", "gap.wav", "--line", "two.line"], &zone)
        .exits(0);
    let found = log(&bench, &["--line", "two.line"]);
    let line = &found["lines"][0];
    assert_eq!(
        (&line["title"], &line["takes"], &line["passes"]),
        (&"Two bars".into(), &1.into(), &1.into())
    );
    assert_eq!(line["days"][0]["day"], "2026-11-28");
    let joins = line["joins"].as_array().expect("joins");
    let faulty: Vec<&Value> = joins.iter().filter(|join| join["faulty"] != 0).collect();
    assert_eq!(faulty.len(), 1, "{joins:?}");
    assert_eq!(
        (&faulty[0]["bar"], &faulty[0]["beat"]),
        (&1.into(), &2.0.into())
    );
    let gap = faulty[0]["days"][0]["gap_ms"].as_f64().expect("a gap");
    assert!((gap - 120.0).abs() < 15.0, "{gap} ms of 120");
    let page = bench.run_with(&["log"], &zone);
    assert!(page.out().contains("last yesterday"), "{}", page.shown());
    assert!(page.out().contains("bar 1 beat 2"), "{}", page.shown());
    let list = bench.run_with(&["log", "--takes"], &zone);
    assert!(
        list.out().contains("2026-11-28 00:00  Two bars"),
        "{}",
        list.shown()
    );
}

#[test]
fn sound_is_copied_and_deleted_only_when_asked() {
    let bench = Bench::new();
    bench
        .run(&["score", "take.wav", "--line", "two.line", "--keep-sound"])
        .exits(0);
    let sounds = || {
        fs::read_dir(bench.path("data/sounds"))
            .expect("listed")
            .count()
    };
    assert_eq!(sounds(), 1);
    let list = bench.run(&["log", "--takes"]);
    let number = list
        .out()
        .split_whitespace()
        .next()
        .expect("a number")
        .to_owned();
    bench.run(&["log", "--delete", "999"]).exits(2);
    bench
        .run(&["log", "--delete", &number, "--with-sound"])
        .exits(0);
    assert_eq!(sounds(), 0, "the copy");
    assert!(
        bench.path("take.wav").exists(),
        "the player's own file stays"
    );
    assert_eq!(takes(&bench, None), 0);
    bench
        .run(&["score", "take.wav", "--line", "two.line", "--keep-sound"])
        .exits(0);
    let run = bench
        .run(&["log", "--delete-line", "--line", "two.line"])
        .exits(0);
    assert!(run.err().contains("--with-sound"), "{}", run.shown());
    assert_eq!((sounds(), takes(&bench, None)), (1, 0));
}

#[test]
fn a_record_is_carried_to_another_folder() {
    let bench = Bench::new();
    bench
        .run(&["score", "take.wav", "--line", "two.line"])
        .exits(0);
    bench.run(&["log", "--export", "out.jsonl"]).exits(0);
    bench.run(&["log", "--export", "out.jsonl"]).exits(0);
    bench.write("mine.txt", b"a letter");
    bench.run(&["log", "--export", "mine.txt"]).exits(2);
    let here = log(&bench, &[]);
    bench
        .run(&["log", "--import", "out.jsonl", "--data", "elsewhere"])
        .exits(0);
    assert_eq!(log(&bench, &["--data", "elsewhere"]), here);
    bench
        .run(&["log", "--import", "mine.txt", "--data", "elsewhere"])
        .exits(2);
    bench.run(&["log", "--copy", "copy.sqlite"]).exits(0);
    bench.run(&["log", "--copy", "copy.sqlite"]).exits(2);
    bench.run(&["log", "--check"]).exits(0);
    let standard = bench.run(&["log", "--export", "-"]);
    assert_eq!(
        standard.output.stdout,
        fs::read(bench.path("out.jsonl")).expect("read")
    );
}
