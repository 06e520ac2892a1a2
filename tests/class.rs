//! Several takes as one table, through the real program: in which order, from where, to which files, and
//! what comes of a run that is broken off.

mod program_support;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use program_support::{Bench, Run};
use serde_json::Value;

/// Two bars that share nothing with the bench's own line.
const OTHER: &str =
    "title: Other two\ntempo: 110\n\n1/4 1:9 1:12 2:10 1:5\n1/4 2:12 1:4 1:11 2:9\n";

fn object(run: &Run) -> Value {
    serde_json::from_str(&run.out()).unwrap_or_else(|e| panic!("{e}\n{}", run.shown()))
}

/// The rows of a table as (take, what it tells).
fn rows(table: &Value) -> Vec<(String, Value)> {
    let takes = table["takes"].as_array().expect("takes");
    let row = |row: &Value| {
        (
            row["take"].as_str().expect("a take").to_owned(),
            row.clone(),
        )
    };
    takes.iter().map(row).collect()
}

fn names(table: &Value) -> Vec<String> {
    rows(table).into_iter().map(|(take, _)| take).collect()
}

/// A folder `takes` with a clean take, one with faults put in, one that is no sound, and one of nothing.
fn class() -> Bench {
    let bench = Bench::new();
    fs::create_dir(bench.path("takes")).expect("a folder");
    bench.write("takes/a-clean.wav", &bench.take());
    let hear = |name: &str, more: &[&str]| {
        let fixed = ["hear", "two.line", "-o", name, "--seed", "9"];
        bench.run(&[&fixed[..], more].concat()).exits(0);
    };
    let faults = ["--with", "wrong:1.2:+1", "--with", "missed:2.1"];
    hear("takes/b-faults.wav", &faults);
    bench.write("takes/c-broken.wav", b"RIFF and no more");
    bench.write("takes/notes.txt", b"practise bar 2");
    fs::create_dir(bench.path("takes/older")).expect("a folder");
    bench.write("takes/older/d.wav", &bench.take());
    bench
}

/// The faults that were put in stand in the row, the broken file is a row with its reason, and the one
/// that needs most stands before the one that needs nothing.
#[test]
fn a_folder_is_one_table_with_the_neediest_first() {
    let bench = class();
    let run = bench
        .run(&["score", "takes", "--line", "two.line", "--summary", "-"])
        .exits(2);
    let table = object(&run);
    assert_eq!(table["schema"], 1);
    assert_eq!(
        names(&table),
        [
            "takes/c-broken.wav",
            "takes/b-faults.wav",
            "takes/a-clean.wav"
        ],
        "{}",
        run.shown()
    );
    let rows = rows(&table);
    assert_eq!(rows[0].1["judged"], false);
    let why = rows[0].1["not_judged_because"].as_str().expect("why");
    assert!(why.contains("c-broken.wav"), "{why}");
    let faults = &rows[1].1["summary"];
    assert_eq!(
        (&faults["wrong"], &faults["missed"]),
        (&1.into(), &1.into())
    );
    assert_eq!(faults["right"], 6);
    let clean = &rows[2].1["summary"];
    assert_eq!((&clean["right"], &clean["faulty"]), (&8.into(), &0.into()));
    // The text says the same, and what is wrong is said on standard error as well.
    let text = bench
        .run(&["score", "takes", "--line", "two.line"])
        .exits(2);
    let at = |what: &str| {
        text.out()
            .find(what)
            .unwrap_or_else(|| panic!("{}", text.shown()))
    };
    assert!(at("3 takes: 2 judged, 1 not") < at("c-broken.wav"));
    assert!(at("c-broken.wav") < at("b-faults.wav"));
    assert!(at("b-faults.wav") < at("a-clean.wav"));
    assert!(text.err().contains("c-broken.wav"), "{}", text.shown());
    assert!(
        !text.err().contains("of 3 takes"),
        "no bar in a pipe\n{}",
        text.shown()
    );
    // The reports are there when they are asked for, before the table.
    let both = bench
        .run(&["score", "takes", "--line", "two.line", "--reports"])
        .exits(2);
    let report = bench
        .run(&["score", "takes/b-faults.wav", "--line", "two.line"])
        .exits(0);
    assert!(both.out().contains(&report.out()), "{}", both.shown());
    assert!(both.out().ends_with(&text.out()), "{}", both.shown());
}

/// The table of takes named one by one counts what the reports' own summaries say.
#[test]
fn the_table_counts_what_the_reports_count() {
    let bench = class();
    let run = bench
        .run(&[
            "score",
            "takes/a-clean.wav",
            "takes/b-faults.wav",
            "--line",
            "two.line",
            "--json",
            "all.json",
            "--summary",
            "table.json",
        ])
        .exits(0);
    let read = |name: &str| -> Value {
        let text = fs::read_to_string(bench.path(name)).expect(name);
        serde_json::from_str(&text).unwrap_or_else(|e| panic!("{e}\n{}", run.shown()))
    };
    let (reports, table) = (read("all.json"), read("table.json"));
    for (take, row) in rows(&table) {
        let reports = reports.as_array().expect("an array");
        let report = reports
            .iter()
            .find(|report| report["take"]["file"] == *take);
        let summary = &report.expect("a report")["summary"];
        for name in ["right", "wrong", "missed", "extra", "early", "late"] {
            assert_eq!(row["summary"][name], summary[name], "{take}: {name}");
        }
        assert_eq!(row["summary"]["rings"], summary["bleed"]);
    }
}

#[test]
fn a_class_file_says_who_plays_what() {
    let bench = class();
    bench.write("other.line", OTHER.as_bytes());
    bench
        .run(&["hear", "other.line", "-o", "takes/e.wav", "--seed", "5"])
        .exits(0);
    fs::create_dir(bench.path("monday")).expect("a folder");
    let table = "who,take,line\n\"Ada, the 2nd\",../takes/a-clean.wav,../two.line\n\
                 Ben,../takes/e.wav,../other.line\nCy,../takes/none.wav,../two.line\n\
                 Dot,../takes/b-faults.wav,../none.line\n";
    bench.write("monday/class.csv", table.as_bytes());
    let run = bench
        .run(&["score", "--class", "monday/class.csv", "--summary", "-"])
        .exits(2);
    let rows = rows(&object(&run));
    let told: Vec<(&str, bool)> = rows
        .iter()
        .map(|(_, row)| (row["who"].as_str().expect("who"), row["judged"] == true))
        .collect();
    assert_eq!(
        told,
        [
            ("Cy", false),
            ("Dot", false),
            ("Ada, the 2nd", true),
            ("Ben", true)
        ],
        "{}",
        run.shown()
    );
    assert_eq!(rows[3].1["line"]["title"], "Other two");
    // Where the line is left out, an option names it.
    bench.write("short.csv", b"who,take\nAda,takes/a-clean.wav\n");
    bench.run(&["score", "--class", "short.csv"]).refuses(&[
        "short.csv",
        "line 1",
        "line",
        "--lines",
    ]);
    bench
        .run(&["score", "--class", "short.csv", "--line", "two.line"])
        .reports(&["Ada", "8/8"]);
    bench
        .run(&["score", "--class", "none.csv"])
        .refuses(&["none.csv", "check the path"]);
    bench
        .run(&["score", "takes/a-clean.wav", "--class", "short.csv"])
        .refuses(&["--class", "TAKE"]);
}

/// A teacher's own record is not made from students' takes, whatever the settings name.
#[test]
fn a_class_goes_into_no_record() {
    let bench = class();
    bench
        .run(&["score", "takes", "--line", "two.line", "--player", "Ada"])
        .exits(2);
    let log = bench.run(&["log", "--player", "Ada"]).exits(0);
    assert!(
        log.out().contains("Nothing is in the record"),
        "{}",
        log.shown()
    );
}

#[test]
fn nothing_is_written_over_and_one_thing_goes_to_standard_output() {
    let bench = class();
    let score = ["score", "takes", "--line", "two.line"];
    let run = |more: &[&str]| bench.run(&[&score[..], more].concat());
    for twice in [
        ["--csv", "-", "--summary", "-"],
        ["--csv", "-", "--json", "-"],
        ["--html", "-", "--summary", "-"],
    ] {
        run(&twice).refuses(&["only one of them"]);
    }
    for (one, other) in [
        ("--svg", Some("pictures")),
        ("--why", Some("1")),
        ("--embed-sound", None),
    ] {
        let mut options = vec!["--html", "page.html", one];
        options.extend(other);
        run(&options).refuses(&[one, "one take"]);
    }
    for (option, name) in [
        ("--csv", "t.csv"),
        ("--summary", "t.json"),
        ("--html", "t.html"),
    ] {
        run(&[option, name]).exits(2);
        let first = fs::read(bench.path(name)).expect("written");
        run(&[option, name]).exits(2);
        assert_eq!(fs::read(bench.path(name)).expect("written again"), first);
        bench.write(name, b"my own\n");
        run(&[option, name]).refuses(&[name, "--replace"]);
    }
    bench.write("class.csv", b"who,take\nAda,takes/a-clean.wav\n");
    bench
        .run(&[
            "score",
            "--class",
            "class.csv",
            "--line",
            "two.line",
            "--csv",
            "class.csv",
            "--replace",
        ])
        .refuses(&["class.csv", "read"]);
}

/// Names that a spreadsheet, a browser or a terminal might run, through Python's own reader of CSV: every
/// cell comes back, and none begins a formula (OWASP, *CSV Injection*, from memory).
#[test]
fn hostile_names_open_in_an_independent_reader() {
    let bench = Bench::new();
    fs::create_dir(bench.path("takes")).expect("a folder");
    let hostile = [
        "=HYPERLINK(\"x\",\"y\").wav",
        "+1.wav",
        "-1 \"two\", three.wav",
        "@SUM(A1).wav",
        "\t=1.wav",
        "two\nlines.wav",
        "<img src=x onerror=alert(1)>.wav",
    ];
    for name in hostile {
        bench.write(&format!("takes/{name}"), &bench.take());
    }
    bench.write(
        "evil.line",
        "title: =1+1 <script>alert(\"x\")</script>\ntempo: 120\n\n1/4 3:0 3:3 2:2 2:5\n1/4 3:5 2:3 2:7 3:5\n"
            .as_bytes(),
    );
    fs::create_dir(bench.path("sub")).expect("a folder");
    let mut class = String::from("who,take,line\n");
    for name in hostile {
        let quoted = name.replace('"', "\"\"");
        class.push_str(&format!("\"{quoted}\",\"takes/{quoted}\",evil.line\n"));
    }
    bench.write("class.csv", class.as_bytes());
    let run = bench.run(&[
        "score",
        "--class",
        "class.csv",
        "--csv",
        "table.csv",
        "--html",
        "page.html",
    ]);
    let run = run.exits(0);
    let html = fs::read_to_string(bench.path("page.html")).expect("a page");
    assert!(
        !html.contains("<script") && !html.contains("<img"),
        "{html}"
    );
    assert!(html.contains("&lt;script&gt;"), "{html}");
    let code = "import csv,json,sys\n\
                rows=list(csv.reader(open(sys.argv[1],newline='',encoding='utf-8'),strict=True))\n\
                print(json.dumps(rows))";
    let python = Command::new("python3")
        .args(["-c", code])
        .arg(bench.path("table.csv"))
        .output();
    let Ok(python) = python else {
        println!("python3 is not there: the table was not read by an independent reader");
        return;
    };
    assert!(
        python.status.success(),
        "{}",
        String::from_utf8_lossy(&python.stderr)
    );
    let rows: Vec<Vec<String>> = serde_json::from_slice(&python.stdout).expect("rows");
    assert_eq!(rows.len(), 1 + hostile.len(), "{}", run.shown());
    let mut found: Vec<&str> = Vec::new();
    for row in &rows[1..] {
        assert_eq!(row.len(), rows[0].len());
        for cell in row {
            assert!(
                !cell.trim_start().starts_with(['=', '+', '-', '@']),
                "{cell:?}"
            );
        }
        found.push(row[0].trim_start_matches('\''));
    }
    let mut wanted: Vec<&str> = hostile.iter().map(|name| name.trim_start()).collect();
    found.sort_unstable();
    wanted.sort_unstable();
    assert_eq!(found, wanted);
}

/// On a terminal a bar says how far it is, without colour, and is gone in the end; `script` (of util-linux)
/// lends a terminal. NO_COLOR (no-color.org) takes the colour of all else.
#[cfg(target_os = "linux")]
#[test]
fn a_bar_stands_on_a_terminal_alone() {
    let bench = class();
    let program = env!("CARGO_BIN_EXE_seamline");
    let on_a_terminal = |environment: [(&str, &str); 2]| {
        let output = Command::new("script")
            .args([
                "-q",
                "-c",
                &format!("{program} score takes --line two.line"),
                "/dev/null",
            ])
            .current_dir(bench.path("."))
            .env("SEAMLINE_DATA", bench.path("data"))
            .env("SEAMLINE_SETTINGS", "")
            .env_remove("NO_COLOR")
            .envs(environment)
            .stdin(Stdio::null())
            .output()
            .expect("`script` of util-linux lends a terminal");
        String::from_utf8_lossy(&output.stdout).into_owned()
    };
    // Select graphic rendition (ECMA-48, 8.3.117): an escape, figures, an m.
    let has_colour = |text: &str| {
        text.split("\u{1b}[").skip(1).any(|rest| {
            let rest = rest.trim_start_matches(|c: char| c.is_ascii_digit() || c == ';');
            rest.starts_with('m')
        })
    };
    let plain = on_a_terminal([("TERM", "xterm"), ("NO_COLOR", "1")]);
    assert!(plain.contains("of 3 takes ["), "{plain:?}");
    assert!(!has_colour(&plain), "{plain:?}");
    // It is wiped (erase in line, ECMA-48 8.3.41) before the table comes.
    let last = plain.rfind("of 3 takes [").expect("a bar");
    let table = plain.rfind("3 takes: 2 judged").expect("a table");
    assert!(
        last < table && plain[last..table].contains("\u{1b}[2K"),
        "{plain:?}"
    );
    let coloured = on_a_terminal([("TERM", "xterm"), ("NO_COLOR", "")]);
    assert!(has_colour(&coloured), "{coloured:?}");
    let dumb = on_a_terminal([("TERM", "dumb"), ("NO_COLOR", "")]);
    assert!(!dumb.contains("of 3 takes ["), "{dumb:?}");
}

/// How many takes a run with `--resume` judged anew, and how many before, as it says itself.
fn judged(run: &Run) -> (usize, usize) {
    let told = run.err();
    let line = told.lines().find(|line| line.contains("judged now"));
    let words: Vec<&str> = line
        .unwrap_or_else(|| panic!("{}", run.shown()))
        .split(' ')
        .collect();
    let number = |at: usize| {
        words[at]
            .parse()
            .unwrap_or_else(|_| panic!("{}", run.shown()))
    };
    (number(0), number(4))
}

fn kept_in(folder: &Path) -> usize {
    let Ok(entries) = folder.read_dir() else {
        return 0;
    };
    let names = entries.map(|entry| entry.expect("an entry").file_name());
    names
        .filter(|name| name.to_string_lossy().ends_with(".json"))
        .count()
}

/// A folder of twelve takes, two of them of another line, one broken, each different from all others.
fn a_dozen() -> Bench {
    let bench = Bench::new();
    bench.write("other.line", OTHER.as_bytes());
    fs::create_dir(bench.path("lines")).expect("a folder");
    fs::copy(bench.path("two.line"), bench.path("lines/two.line")).expect("copied");
    bench.write("lines/other.line", OTHER.as_bytes());
    fs::create_dir(bench.path("takes")).expect("a folder");
    for number in 1..=11 {
        let line = if number % 5 == 0 {
            "other.line"
        } else {
            "two.line"
        };
        let (seed, take) = (number.to_string(), format!("takes/{number:02}.wav"));
        let fault = format!("late:{}.{}:80", 1 + number % 2, 1 + number % 4);
        let fixed = ["hear", line, "-o", &take, "--seed", &seed];
        bench
            .run(&[&fixed[..], &["--with", &fault]].concat())
            .exits(0);
    }
    bench.write("takes/12.wav", b"no sound at all");
    bench
}

const TABLES: [&str; 8] = [
    "--csv",
    "t.csv",
    "--summary",
    "t.json",
    "--html",
    "t.html",
    "--json",
    "all.json",
];

/// What a run wrote and printed, all of it.
fn written(bench: &Bench, run: &Run) -> Vec<(String, Vec<u8>)> {
    let files = TABLES.iter().skip(1).step_by(2);
    let mut all: Vec<(String, Vec<u8>)> = files
        .map(|name| ((*name).to_owned(), fs::read(bench.path(name)).expect(name)))
        .collect();
    all.push(("standard output".to_owned(), run.output.stdout.clone()));
    all
}

/// Killed in the middle (SIGKILL, on Unix) and started again: what was judged is not judged once more,
/// what was left is, and all that comes out is byte for byte that of a run in one go.
#[test]
fn a_killed_run_goes_on_where_it_was() {
    let bench = a_dozen();
    let score = ["score", "takes", "--lines", "lines"];
    let run = |more: &[&str]| bench.run(&[&score[..], more, &TABLES[..]].concat());
    let whole = run(&[]).exits(2);
    let wanted = written(&bench, &whole);
    let (now, before) = judged(&run(&["--resume", "whole"]).exits(2));
    assert_eq!((now, before), (12, 0));

    let kept = bench.path("kept");
    let mut child = Command::new(env!("CARGO_BIN_EXE_seamline"))
        .args(score)
        .args(["--resume", "kept"])
        .args(TABLES)
        .current_dir(bench.path("."))
        .env("SEAMLINE_DATA", bench.path("data"))
        .env("SEAMLINE_SETTINGS", "")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let since = Instant::now();
    while kept_in(&kept) < 3 && since.elapsed() < Duration::from_secs(120) {
        std::thread::sleep(Duration::from_millis(1));
    }
    child.kill().expect("killed");
    let status = child.wait().expect("it ends");
    let before_kill = kept_in(&kept);
    assert!(
        !status.success() && status.code() != Some(2),
        "it was over too soon: {status}"
    );
    assert!((3..11).contains(&before_kill), "{before_kill} were kept");

    let again = run(&["--resume", "kept"]).exits(2);
    // The broken one is not kept: whether it can be read is asked anew each time.
    assert_eq!(
        judged(&again),
        (12 - before_kill, before_kill),
        "{}",
        again.shown()
    );
    for ((name, bytes), (_, got)) in wanted.iter().zip(written(&bench, &again)) {
        assert!(
            *bytes == got,
            "{name} differs from a run in one go\n{}",
            again.shown()
        );
    }
    // And once more: nothing but the broken one is left.
    let last = run(&["--resume", "kept"]).exits(2);
    assert_eq!(judged(&last), (1, 11));
    for ((name, bytes), (_, got)) in wanted.iter().zip(written(&bench, &last)) {
        assert!(*bytes == got, "{name} differs from a run in one go");
    }
}

/// Whatever a result depends on makes it be judged anew; what it does not depend on does not.
#[test]
fn what_has_changed_is_judged_anew() {
    let bench = Bench::new();
    fs::create_dir(bench.path("takes")).expect("a folder");
    bench.write("takes/a.wav", &bench.take());
    bench
        .run(&["hear", "two.line", "-o", "takes/b.wav", "--seed", "9"])
        .exits(0);
    let run = |more: &[&str]| {
        let score = ["score", "takes", "--line", "two.line", "--resume", "kept"];
        judged(&bench.run(&[&score[..], more].concat()).exits(0))
    };
    assert_eq!(run(&[]), (2, 0));
    assert_eq!(run(&[]), (0, 2));
    assert_eq!(
        run(&["--csv", "t.csv"]),
        (0, 2),
        "where it goes changes no result"
    );
    assert_eq!(
        run(&["--pass-mark", "50"]),
        (0, 2),
        "nor what is asked of it"
    );
    for options in [
        &["--mark", "gap_ms=50"][..],
        &["--tempo", "90%"],
        &["--bars", "1-2"],
        &["--a4", "442"],
        &["--click"],
    ] {
        assert_eq!(run(options), (2, 0), "{options:?}");
    }
    assert_eq!(run(&[]), (0, 2), "the first ones are still there");
    // Another sound under the same name.
    fs::copy(bench.path("takes/a.wav"), bench.path("takes/b.wav")).expect("copied");
    assert_eq!(run(&[]), (1, 1));
    // Another line under the same name.
    let line = fs::read_to_string(bench.path("two.line")).expect("the line");
    bench.write(
        "two.line",
        line.replace("title: Two", "title: 2").as_bytes(),
    );
    assert_eq!(run(&[]), (2, 0));
    // A damaged result is said, and made again.
    let kept = bench.path("kept").read_dir().expect("listed");
    for entry in kept {
        fs::write(entry.expect("an entry").path(), b"{").expect("damaged");
    }
    let score = ["score", "takes", "--line", "two.line", "--resume", "kept"];
    let mended = bench.run(&score).exits(0);
    assert_eq!(judged(&mended), (2, 0));
    assert!(mended.err().contains("damaged"), "{}", mended.shown());
    assert_eq!(run(&[]), (0, 2));
    // What needs every take heard goes with it as little as what can be read only once.
    for option in ["--reports", "--all", "--verbose"] {
        bench
            .run(&[&score[..], &[option]].concat())
            .refuses(&[option, "--resume"]);
    }
    bench
        .run(&["score", "-", "--line", "two.line", "--resume", "kept"])
        .refuses(&["standard input", "--resume"]);
}

/// A pass mark holds for takes judged now and before alike.
#[test]
fn a_pass_mark_holds_for_each_take() {
    let bench = class();
    fs::remove_file(bench.path("takes/c-broken.wav")).expect("removed");
    let score = ["score", "takes", "--line", "two.line", "--resume", "kept"];
    for _ in 0..2 {
        bench
            .run(&[&score[..], &["--pass-mark", "70"]].concat())
            .exits(0);
        let below = bench
            .run(&[&score[..], &["--pass-mark", "80"]].concat())
            .exits(1);
        assert!(
            below.err().contains("b-faults.wav: 6 of 8 notes right"),
            "{}",
            below.shown()
        );
    }
}
