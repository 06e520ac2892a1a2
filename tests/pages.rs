//! The pages of `compare` and `log`, and the curves of a note, through the real program.

mod program_support;

use std::fs;
use std::path::Path;
use std::time::{Duration, SystemTime};

use program_support::{Bench, Run};
use roxmltree::Document;
use serde_json::Value;

/// The demo takes, under names and a title that want to be markup.
fn demo() -> Bench {
    let bench = Bench::empty();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    for (from, to) in [
        ("lantern-stairs-flawed.wav", "<img src=x>.wav"),
        ("lantern-stairs-practice.wav", "new.wav"),
    ] {
        fs::copy(demo.join(from), bench.path(to)).expect("the demo is there");
    }
    let line = fs::read_to_string(demo.join("lantern-stairs.line")).expect("the line");
    let line = line.replace("Lantern stairs", "</title><script>alert(1)</script>");
    bench.write("my.line", line.as_bytes());
    bench
}

fn read(bench: &Bench, name: &str) -> String {
    fs::read_to_string(bench.path(name)).expect(name)
}

/// What holds for every page: nothing from outside, no script, one heading, every picture with words, every SVG
/// well-formed, and nobody's name as markup.
fn is_sound(page: &str, by: &str) {
    assert!(
        page.starts_with(&format!(
            "<!doctype html>\n<!-- written by {by} -->\n<html lang=\"en\">"
        )),
        "{by}"
    );
    assert!(page.contains("default-src 'none'; style-src 'unsafe-inline'"));
    for word in [
        "<script", "<img", "<link", "@import", "url(http", " onload", "NaN",
    ] {
        assert!(!page.contains(word), "{word}");
    }
    for (at, _) in page.match_indices(" href=\"") {
        assert!(page[at + 7..].starts_with('#'), "{}", &page[at..at + 40]);
    }
    assert_eq!(page.matches("<h1>").count(), 1);
    assert!(
        page.contains("name=\"viewport\"")
            && page.contains("@media print")
            && page.contains("prefers-color-scheme:dark")
    );
    let mut pictures = 0;
    for part in page.split("<svg ").skip(1) {
        let svg = format!(
            "<svg {}</svg>",
            part.split("</svg>").next().expect("an end")
        );
        let svg = svg.replacen(
            "<svg ",
            "<svg xmlns=\"http://www.w3.org/2000/svg\" ",
            usize::from(!svg.contains("xmlns")),
        );
        let document = Document::parse(&svg).unwrap_or_else(|error| panic!("{error}\n{svg}"));
        let root = document.root_element();
        let is_told =
            root.has_attribute("aria-label") || root.attribute("aria-hidden") == Some("true");
        assert!(is_told, "{}", &svg[..svg.len().min(200)]);
        pictures += 1;
    }
    assert!(pictures > 1, "{pictures} pictures");
}

/// A command writes its own files again, and nobody else's.
fn keeps_what_is_mine(bench: &Bench, name: &str, write: impl Fn() -> Run) {
    let first = read(bench, name);
    write().exits(0);
    assert_eq!(read(bench, name), first, "the same again");
    for mine in [
        "<!doctype html>\n<p>mine",
        "<!doctype html>\n<!-- written by seamline score -->\n",
        "",
    ] {
        bench.write(name, mine.as_bytes());
        let run = write().exits(2);
        assert!(
            run.err().contains(name) && run.err().contains("--replace"),
            "{}",
            run.shown()
        );
        assert_eq!(read(bench, name), mine);
    }
}

#[test]
fn the_page_of_a_comparison() {
    let bench = demo();
    let words = ["compare", "<img src=x>.wav", "new.wav", "--line", "my.line"];
    let files = [
        "--html",
        "page.html",
        "--svg",
        "pictures",
        "--json",
        "out.json",
    ];
    let write = || bench.run(&[&words[..], &files[..]].concat());
    write().exits(0);
    let page = read(&bench, "page.html");
    is_sound(&page, "seamline compare");
    assert!(
        page.contains("&lt;img src=x&gt;.wav, pass 1"),
        "each pass says its take"
    );
    // Every number of a join that is followed is that of the JSON.
    let json: Value = serde_json::from_str(&read(&bench, "out.json")).expect("JSON");
    let compared = json["compared"].as_array().expect("a list");
    let mut checked = 0;
    for one in compared.iter().filter(|one| one["verdict"] != "alike") {
        for side in ["before", "after"] {
            for value in one[side]["values"].as_array().into_iter().flatten() {
                let value = value.as_f64().expect("a number");
                let drawn = format!("data-value=\"{value}\"");
                assert!(page.contains(&drawn), "{value} of {one}");
                checked += 1;
            }
        }
    }
    assert!(checked > 5, "{checked}");
    // Six passes stand below each other where all of them reached the bar.
    let bar = read(&bench, "pictures/bar-2.svg");
    assert!(bar.starts_with("<!-- written by seamline compare -->\n<svg"));
    assert_eq!(
        bar.matches(">new.wav, pass ").count(),
        6,
        "the practice take reaches bar 2 in six passes"
    );
    assert!(fs::read(bench.path("pictures/change-1.svg")).is_ok());
    keeps_what_is_mine(&bench, "page.html", write);
    let both = [&words[..], &["--html", "-", "--json", "-"]].concat();
    bench.run(&both).refuses(&["standard output"]);
    let alone = bench.run(&[&words[..], &["--html", "-"]].concat()).exits(0);
    assert_eq!(alone.out(), page, "no text beside it");
}

#[test]
fn the_page_of_the_record() {
    let bench = demo();
    for (take, day) in [
        ("<img src=x>.wav", 1_000_000_000),
        ("new.wav", 1_000_090_000),
    ] {
        // A take is of the day on which its file was written.
        let file = fs::File::options()
            .write(true)
            .open(bench.path(take))
            .expect("the take");
        let day = SystemTime::UNIX_EPOCH + Duration::from_secs(day);
        file.set_modified(day).expect("a date");
        bench.run(&["score", take, "--line", "my.line"]).exits(0);
    }
    let write = || {
        let words = [
            "log",
            "--html",
            "page.html",
            "--svg",
            "pictures",
            "--line",
            "my.line",
        ];
        bench.run_with(&words, &[("SEAMLINE_NOW", "1000100000")])
    };
    write().exits(0);
    let page = read(&bench, "page.html");
    is_sound(&page, "seamline log");
    // Published: `date -u -d @1000000000` is 2001-09-09, a day later the 10th.
    for word in [
        "2001-09-09",
        "2001-09-10",
        "<caption>Days: ",
        "<caption>Tempos: ",
        "Joins that had a fault",
    ] {
        assert!(page.contains(word), "{word}");
    }
    assert!(page.contains("&lt;script&gt;alert(1)"));
    assert!(
        read(&bench, "pictures/line-1-days.svg")
            .starts_with("<!-- written by seamline log -->\n<svg")
    );
    keeps_what_is_mine(&bench, "page.html", write);
    // An empty record has a page, too.
    let empty = bench
        .run_with(
            &["log", "--html", "-"],
            &[("SEAMLINE_DATA", "nothing-here")],
        )
        .exits(0);
    assert!(
        empty.out().contains("Nothing is in the record yet."),
        "{}",
        empty.shown()
    );
    bench
        .run(&["log", "--takes", "--html", "x.html"])
        .refuses(&["--takes", "--html"]);
}

/// Each heard note of each pass has its curves in its opened verdict, on the page and in `--why`.
#[test]
fn curves_stand_in_the_opened_verdict() {
    let bench = demo();
    let words = ["score", "new.wav", "--line", "my.line"];
    let files = ["--html", "page.html", "--json", "out.json"];
    bench.run(&[&words[..], &files[..]].concat()).exits(0);
    let page = read(&bench, "page.html");
    is_sound(&page, "seamline score");
    let json: Value = serde_json::from_str(&read(&bench, "out.json")).expect("JSON");
    let passes = json["passes"].as_array().expect("passes");
    let notes = passes
        .iter()
        .flat_map(|pass| pass["notes"].as_array().expect("notes"));
    let heard = notes.filter(|note| !note["onset_s"].is_null()).count();
    assert_eq!(page.matches("class=\"moves\"").count(), heard);
    let run = bench
        .run(&[&words[..], &["--why", "3.2.5"]].concat())
        .exits(0);
    let text = run.out();
    for word in ["moves", "falls", "cents, every 50 ms from the onset"] {
        assert!(text.contains(word), "{word}\n{}", run.shown());
    }
    // The pitch that is drawn lies near the one that is told: the synth plays within 10 cents.
    let moves = text
        .lines()
        .find(|line| line.trim_start().starts_with("moves"))
        .expect("a row");
    let cents: Vec<f64> = moves
        .split_whitespace()
        .filter(|word| word.starts_with(['+', '-']))
        .filter_map(|word| word.parse().ok())
        .collect();
    assert!(
        !cents.is_empty() && cents.iter().all(|cents| cents.abs() < 25.0),
        "{moves}"
    );
}
