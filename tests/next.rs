//! What is proposed to be practised: a player gets better over some days, and record and proposals tell it.

#[path = "program_support/mod.rs"]
mod program;

use program::{Bench, Run};
use serde_json::Value;

/// Noon of the first day, in seconds since 1970, and a day.
const FIRST: i64 = 1_795_867_200;
const DAY: i64 = 86_400;

/// Eight bars of quarters with a shift at each bar line.
const LINE: &str = "title: Mill race\ntempo: 120\nmeter: 4/4\n\n\
    1/4 3:0 3:3 2:2 2:5\n1/4 3:5 2:3 2:7 3:5\n1/4 2:10 2:8 3:10 3:7\n1/4 3:5 3:3 2:2 3:0\n";

fn at(bench: &Bench, now_s: i64, arguments: &[&str]) -> Run {
    let now = now_s.to_string();
    bench.run_with(
        arguments,
        &[("TZ", "UTC"), ("SEAMLINE_NOW", &now), ("COLUMNS", "80")],
    )
}

/// Plays a take with faults and has it judged as of a moment.
fn practise(bench: &Bench, now_s: i64, faults: &[&str]) {
    let seed = (now_s % 100_000).to_string();
    let mut hear = vec![
        "hear",
        "mill.line",
        "-o",
        "take.wav",
        "--seed",
        &seed,
        "--replace",
    ];
    hear.extend(faults.iter().flat_map(|fault| ["--with", fault]));
    bench.run(&hear).exits(0);
    let played = std::time::UNIX_EPOCH + std::time::Duration::from_secs(now_s as u64);
    let file = std::fs::File::options()
        .write(true)
        .open(bench.path("take.wav"))
        .expect("opened");
    file.set_modified(played).expect("set");
    drop(file);
    at(bench, now_s, &["score", "take.wav", "--line", "mill.line"]).exits(0);
}

fn next(bench: &Bench, now_s: i64, arguments: &[&str]) -> Value {
    let run = at(
        bench,
        now_s,
        &[&["next", "--json", "-"], arguments].concat(),
    )
    .exits(0);
    serde_json::from_slice(&run.output.stdout).expect("JSON")
}

fn joins(plan: &Value) -> Vec<(u64, f64)> {
    let items = plan["items"].as_array().expect("items").iter();
    let join = |item: &Value| {
        Some((
            item["join"]["bar"].as_u64()?,
            item["join"]["beat"].as_f64()?,
        ))
    };
    items.filter_map(join).collect()
}

#[test]
fn nothing_is_proposed_at_first() {
    let bench = Bench::empty();
    assert_eq!(next(&bench, FIRST, &[])["items"], Value::Array(vec![]));
    let run = at(&bench, FIRST, &["next"]).exits(0);
    assert!(
        run.out().starts_with("Nothing to propose yet"),
        "{}",
        run.shown()
    );
    let run = at(&bench, FIRST, &["next", "--start"]).exits(2);
    assert!(run.err().contains("seamline play LINE"), "{}", run.shown());
    assert!(!bench.path("data").exists(), "looking makes nothing");
}

#[test]
fn the_record_is_what_the_plan_is_made_from() {
    let bench = Bench::empty();
    bench.write("mill.line", LINE.as_bytes());
    // The first day: one shift leaves a gap in every take, another join in one of four.
    for take in 0..4 {
        let faults: &[&str] = if take == 0 {
            &["gap:1.4:120", "gap:3.1:110"]
        } else {
            &["gap:1.4:120"]
        };
        practise(&bench, FIRST + 60 * take, faults);
    }
    let plan = next(&bench, FIRST + DAY, &[]);
    let first = &plan["items"][0];
    assert_eq!(
        (&first["line"], &first["join"]["bar"]),
        (&"Mill race".into(), &1.into()),
        "{plan}"
    );
    assert_eq!(first["join"]["beat"], 4.0);
    let why = first["why"].as_str().expect("a reason");
    assert!(
        why.contains("cold") && why.contains("faulty in 4 of 4 tries"),
        "{why}"
    );
    assert!(why.contains("yesterday"), "{why}");
    assert!(
        joins(&plan).contains(&(3, 1.0)),
        "every weak join is there: {plan}"
    );
    // The whole line comes last, and all of it fits into the minutes.
    let items = plan["items"].as_array().expect("items");
    assert_eq!(items.last().expect("an item")["whole"], true);
    for minutes in ["5", "20", "60"] {
        let plan = next(&bench, FIRST + DAY, &["--minutes", minutes]);
        let items = plan["items"].as_array().expect("items").iter();
        let advice = plan["advice"].as_array().expect("advice").iter();
        let sum: f64 = items
            .chain(advice)
            .filter_map(|item| item["minutes"].as_f64())
            .sum();
        assert!(
            sum <= minutes.parse::<f64>().expect("a number") + 1e-3,
            "{sum} of {minutes}"
        );
    }
    let page = at(&bench, FIRST + DAY, &["next"]).exits(0);
    for words in [
        "Mill race",
        "bar 1 beat 4",
        "Stop when something hurts",
        "seamline next --start",
    ] {
        assert!(page.out().contains(words), "{words}: {}", page.shown());
    }
    // Three days it comes clean: the join is not drilled any more, and due again later.
    for day in 1..=3 {
        for take in 0..3 {
            practise(&bench, FIRST + day * DAY + 60 * take, &[]);
        }
    }
    let same_day = next(&bench, FIRST + 3 * DAY + 3600, &[]);
    assert!(
        joins(&same_day).is_empty(),
        "nothing is weak today: {same_day}"
    );
    let later = next(&bench, FIRST + 3 * DAY + 8 * DAY, &[]);
    assert!(joins(&later).contains(&(1, 4.0)), "due again: {later}");
    let log = at(&bench, FIRST + 4 * DAY, &["log"]).exits(0);
    assert!(log.out().contains("4 of 13"), "{}", log.shown());
    assert!(
        log.out().contains("clean at 100 % of its tempo"),
        "{}",
        log.shown()
    );
}

#[test]
fn it_begins_with_what_is_proposed() {
    let bench = Bench::empty();
    bench.write("mill.line", LINE.as_bytes());
    practise(&bench, FIRST, &["gap:1.4:120"]);
    // There is no sound card here that is called so: what was begun is seen, and the message is that of `play`.
    let settings = [
        ("SEAMLINE_SETTINGS", "settings.toml"),
        ("SEAMLINE_NOW", "1795953600"),
        ("COLUMNS", "80"),
    ];
    bench.write("settings.toml", b"host = \"no such host\"\n");
    let run = bench.run_with(&["next", "--start"], &settings).exits(2);
    let said = run.err();
    assert!(
        said.contains("seamline play") && said.contains("mill.line"),
        "{said}"
    );
    assert!(
        said.contains("--bars 1-") && said.contains("--ladder"),
        "{said}"
    );
    assert!(said.contains("no such host"), "{said}");
    let run = bench
        .run_with(&["next", "--start", "99"], &settings)
        .exits(2);
    assert!(
        run.err().contains("item 99 is not on the plan"),
        "{}",
        run.shown()
    );
    std::fs::remove_file(bench.path("mill.line")).expect("removed");
    let run = bench.run_with(&["next", "--start"], &settings).exits(2);
    assert!(run.err().contains("not there any more"), "{}", run.shown());
}
