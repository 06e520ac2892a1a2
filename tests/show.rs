//! `seamline show`: the page of a line, the neck, the JSON, the check; and what the program says of
//! itself.

#[path = "program_support/mod.rs"]
mod support;

use std::fs;
use std::path::Path;

use support::{Bench, Run};

const MIXED: &str = "title: Mixed\ntempo: 72\nkey: D minor\nswing: 2:1\n\n\
    pickup 1/4 3:0\n\
    @Dm7 1/4 3:5(1) 1/8 2:3(1) >2:5(3) r 1/8 2:7 1/8t 2:5 2:3 3:5\n\
    @A7(b9,#5) 1/4 3:4 >>3:7 @1/4:N.C. 2:2! 1/4 1:0\n\
    meter: 3/4\n1/4 4:10(4)&1:9 = r\n";

/// Repeats, endings and a jump, with every mark beside a note.
const SIGNS: &str = "title: Signs\nkey: A minor\n\n|: @Am7 1/4 3:0 x3:0 h3:3 p3:0\n\
    [1 @D7 g3:4 1/4 3:5^ 3:7 >>3:9 r :|\n[2 @E7 1/8t 3:7 2:2 2:4 1/2. 4:0^ ]\n\
    @Am7 1/8 3:0 4:3 3:0 2:2 h2:5 r 1/4 3:0 fine\n@Fmaj7 1/4 3:8 1:2&2:3 2:7 2:5 D.C. al fine\n";

/// Tones that have other names in the key than in their chords: Fb in Gb7, Bbb in C°7.
const FLATS: &str = "key: C major\n\n1/8 r A1 @Gb7 1/4 F#1 E2 @C°7 C2\nA2 F#2 D2 Eb2\n";

/// Golden: our own earlier output. It detects change and proves nothing; see fixtures/golden/README.md.
fn golden(name: &str, run: &Run) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/golden")
        .join(name);
    let text = run.out();
    if std::env::var_os("SEAMLINE_REMAKE").is_some() {
        fs::write(&path, &text).expect("the golden file can be written");
    }
    let wanted = fs::read_to_string(&path).expect("the golden file; see its README");
    assert!(wanted == text, "{name} is now\n{text}");
}

fn bench() -> Bench {
    let bench = Bench::empty();
    bench.write("mixed.line", MIXED.as_bytes());
    bench.write("flats.line", FLATS.as_bytes());
    bench.write("signs.line", SIGNS.as_bytes());
    bench.write("free.line", FREE.as_bytes());
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data/lantern-stairs.line");
    fs::copy(demo, bench.path("stairs.line")).expect("copied");
    bench
}

#[test]
fn golden_pages_are_unchanged() {
    let bench = bench();
    for (name, arguments) in [
        ("show-mixed.txt", &["show", "mixed.line"] as &[&str]),
        ("show-stairs.txt", &["show", "stairs.line"]),
        (
            "show-stairs-bars.txt",
            &["show", "stairs.line", "--bars", "5-6"],
        ),
        ("show-names.txt", &["show", "flats.line", "--names"]),
        ("show-neck.txt", &["show", "mixed.line", "--neck", "0-2"]),
        ("show-signs.txt", &["show", "signs.line"]),
        (
            "show-ways.txt",
            &["show", "free.line", "--ways", "2", "--spare", "4"],
        ),
        ("show.json", &["show", "mixed.line", "--json", "-"]),
        ("help-show.txt", &["show", "--help"]),
        ("help-study.txt", &["study", "--help"]),
        ("help-completions.txt", &["completions", "--help"]),
        ("help-man.txt", &["man", "--help"]),
    ] {
        let run = bench.run(arguments).exits(0);
        let narrow =
            name.ends_with("json") || run.out().lines().all(|line| line.chars().count() <= 80);
        assert!(narrow, "{}", run.shown());
        golden(name, &run);
    }
}

/// Counted by hand from the text above.
#[test]
fn what_was_understood_is_told() {
    let run = bench().run(&["show", "mixed.line"]);
    run.reports(&[
        "a pick-up and 3",
        "4/4, 3/4 from bar 3",
        "D minor",
        "72; swing 2:1",
        "E1 A1 D2 G2, 24 frets",
        "14, A1 to E3",
        "A1 to E3; 2 slurred or slid into; 1 staccato; 1 struck with",
        "another; 2 rests",
        "3 symbols: Dm7, A7(b9,#5), N.C.",
    ]);
}

#[test]
fn every_note_has_its_place_and_degree_in_the_json() {
    let run = bench().run(&["show", "mixed.line", "--json", "-"]).exits(0);
    let json: serde_json::Value = serde_json::from_str(&run.out()).expect("JSON");
    let notes = json["notes"].as_array().expect("notes");
    let told: Vec<&str> = notes
        .iter()
        .map(|note| note["degree"].as_str().unwrap_or("-"))
        .collect();
    // A1 under no chord; D F G | A G F D over Dm7; C# E E over A7(b9,#5), whose own fifth is an
    // E sharp; then no chord.
    assert_eq!(told.join(" "), "- R b3 4 5 4 b3 R 3 5 5 - - -");
    assert_eq!(notes[1]["finger"], 1);
    assert_eq!(notes[4]["string"], 2);
    assert_eq!(notes[0]["bar"], 0);
    assert_eq!(json["written_by"], "seamline show");
}

#[test]
fn notes_go_by_the_names_that_their_chords_give_them() {
    let bench = bench();
    let run = bench.run(&["show", "flats.line", "--names"]).exits(0);
    let names: Vec<String> = run
        .out()
        .lines()
        .filter_map(|line| line.strip_prefix("  name"))
        .map(|names| names.split_whitespace().collect::<Vec<_>>().join(" "))
        .collect();
    assert_eq!(names.join(" "), "A Gb Fb C Bbb Gb D Eb", "{}", run.shown());
    let run = bench.run(&["show", "flats.line", "--json", "-"]).exits(0);
    for name in ["\"name\": \"Fb2\"", "\"name\": \"Bbb2\""] {
        assert!(run.out().contains(name), "{name}\n{}", run.shown());
    }
}

#[test]
fn the_width_is_that_of_the_terminal() {
    let bench = bench();
    for columns in ["40", "60", "120", "1", "100000"] {
        let run = bench
            .run_with(&["show", "stairs.line"], &[("COLUMNS", columns)])
            .exits(0);
        let most = columns.parse::<usize>().unwrap().clamp(40, 200);
        assert!(
            run.out().lines().all(|line| line.chars().count() <= most),
            "{}",
            run.shown()
        );
    }
}

#[test]
fn a_line_with_faults_is_told_all_of_them() {
    let bench = bench();
    bench.write(
        "bad.line",
        b"tempo: 1\nkye: C\n\n@H7 1/4 3:0 9:9 3:3\n1/4 A1 A1 A1\n",
    );
    let run = bench.run(&["show", "bad.line"]).exits(2);
    for words in [
        "bad.line, line 1",
        "is `key:` meant?",
        "`H7` is not a chord symbol",
        "no string 9",
        "1 too few",
        "5 mistakes",
    ] {
        assert!(run.err().contains(words), "`{words}`\n{}", run.shown());
    }
    assert!(run.out().is_empty(), "{}", run.shown());
    bench
        .run(&["show", "none.line"])
        .refuses(&["none.line", "no such line"]);
    bench
        .run(&["show", "mixed.line", "--neck", "9"])
        .refuses(&["--neck", "bars 0 to 3"]);
    bench
        .run(&["show", "mixed.line", "--json", "mixed.line"])
        .refuses(&["mixed.line"]);
}

/// Counted by hand: five bars are written, nine are played (1 2 1 3 4 5, then 1 3 4 after D.C., where
/// the last ending is taken).
#[test]
fn bars_are_shown_as_they_are_written() {
    let bench = bench();
    let run = bench.run(&["show", "signs.line"]);
    run.reports(&[
        "5, 9 as they are played",
        "3 ghost; 3 accented; 1 grace",
        "|: ",
        " [1. ",
        " [2.",
        " :|",
        "D.C. al Fine",
        "0---x--h3--p0",
        "  acc. ",
        " grace                     3:4",
    ]);
    let heads = |arguments: &[&str]| -> String {
        let page = bench.run(&[&["show", "signs.line"], arguments].concat());
        let page = page.exits(0).out();
        let heads = page.lines().filter_map(|row| row.strip_prefix("   bar   "));
        let words: Vec<&str> = heads.flat_map(str::split_whitespace).collect();
        words.join(" ")
    };
    assert_eq!(heads(&[]), "1 Am7 2 D7 3 E7 4 Am7 5 Fmaj7");
    assert_eq!(heads(&["--bars", "3-4"]), "3 E7 4 Am7");
    let neck = bench.run(&["show", "signs.line", "--neck", "3"]).exits(0);
    assert!(neck.out().starts_with("bar 3, E7\n"), "{}", neck.shown());
    assert_eq!(neck.out().matches("bar ").count(), 1, "{}", neck.shown());
    let run = bench.run(&["show", "signs.line", "--json", "-", "--bars", "3"]);
    let json: serde_json::Value = serde_json::from_str(&run.exits(0).out()).expect("JSON");
    let bars: Vec<(u64, u64)> = json["notes"]
        .as_array()
        .expect("notes")
        .iter()
        .map(|note| {
            let number = |name: &str| note[name].as_u64().expect("a number");
            (number("bar"), number("printed_bar"))
        })
        .collect();
    assert_eq!(bars, [[(4, 3); 4], [(8, 3); 4]].concat());
    bench
        .run(&["show", "signs.line", "--bars", "6"])
        .refuses(&["bars 1 to 5"]);
}

/// Told by content, whatever it is called.
#[test]
fn a_take_is_no_line() {
    let bench = Bench::new();
    fs::copy(bench.path("take.wav"), bench.path("take.line")).expect("copied");
    for name in ["take.wav", "take.line"] {
        bench
            .run(&["show", name])
            .refuses(&[name, "recorded take", "seamline score"]);
    }
}

#[test]
fn the_program_tells_of_itself() {
    let bench = Bench::empty();
    let version = bench.run(&["--version"]).exits(0).out();
    let rows: Vec<&str> = version
        .lines()
        .map(|row| row.split(' ').next().unwrap_or(""))
        .collect();
    assert_eq!(
        rows,
        ["seamline", "target:", "profile:", "features:"],
        "{version}"
    );
    assert!(version.starts_with(concat!("seamline ", env!("CARGO_PKG_VERSION"), "\n")));
    assert_eq!(bench.run(&["-V"]).exits(0).out().lines().count(), 1);
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let text = bench.run(&["completions", shell]).exits(0).out();
        for word in ["study", "show", "score", "linked"] {
            assert!(text.contains(word), "{shell} lacks {word}");
        }
    }
    bench.run(&["completions", "tea"]).exits(2);
    let page = bench.run(&["man"]).exits(0).out();
    assert!(
        page.contains(".TH seamline 1") && page.contains("study"),
        "{page}"
    );
    let page = bench.run(&["man", "study"]).exits(0).out();
    assert!(
        page.contains(".TH seamline-study 1") && page.contains("linked"),
        "{page}"
    );
    bench
        .run(&["man", "tea"])
        .refuses(&["no command `tea`", "study"]);
}

/// Each note of eight bars can lie in two places.
const FREE: &str = "title: Free\ntempo: 100\n\n@Dm7 1/4 D2 F2 A2 C3\n@G7 B2 G2 D2 G2\n\
    @Cmaj7 C2 E2 G2 B2\n1/1 C3\n";

#[test]
fn ways_are_told_with_what_they_cost() {
    let bench = bench();
    let run = bench.run(&["show", "free.line", "--ways", "3"]).exits(0);
    let page = run.out();
    for words in ["Way 1: ", "Way 2: ", "shift", "efforts in all", " fing. "] {
        assert!(page.contains(words), "`{words}`\n{}", run.shown());
    }
    let strings = |page: &str| -> Vec<String> {
        let rows = page.lines().filter(|row| row.starts_with("     A |"));
        rows.map(str::to_owned).collect()
    };
    let (first, second) = page.split_once("Way 2").expect("two ways");
    assert_ne!(strings(first), strings(second), "{page}");
    // With open strings avoided no note lies on one; wanted, some do.
    let notes_on_open = |how: &str| {
        let run = bench
            .run(&["show", "free.line", "--open", how, "--json", "-"])
            .exits(0);
        let json: serde_json::Value = serde_json::from_str(&run.out()).expect("JSON");
        let notes = json["notes"].as_array().expect("notes").clone();
        notes.iter().filter(|note| note["fret"] == 0).count()
    };
    assert_eq!(notes_on_open("avoided"), 0);
    assert!(notes_on_open("wanted") >= 3);
    // A line that says everything itself leaves one way.
    let run = bench.run(&["show", "stairs.line", "--ways", "3"]).exits(0);
    assert!(run.err().contains("only 1 way"), "{}", run.shown());
    bench
        .run(&["show", "free.line", "--ways", "4"])
        .refuses(&["--ways"]);
    bench
        .run(&["show", "free.line", "--hand", "20"])
        .refuses(&["--hand"]);
    let run = bench.run(&["show", "free.line", "--fingers"]).exits(0);
    assert!(run.out().contains(" fing. "), "{}", run.shown());
}

/// The head of each file by its format: SVG 1.1 (an element `svg` in its name space), HTML (the
/// doctype), PDF (ISO 32000: the header, the trailer).
#[test]
fn a_line_is_printed_and_nothing_of_the_players_is_written_over() {
    let bench = bench();
    let print = |more: &[&str]| bench.run(&[&["show", "stairs.line", "--fingers"], more].concat());
    let files = ["--svg", "a.svg", "--html", "a.html", "--pdf", "a.pdf"];
    let run = print(&files).exits(0);
    assert!(run.out().is_empty(), "{}", run.shown());
    for told in ["a.svg: ", "a.html: 8 bars, A4", "a.pdf: "] {
        assert!(run.err().contains(told), "{}", run.shown());
    }
    let read = |name: &str| fs::read(bench.path(name)).expect("written");
    let text = |name: &str| String::from_utf8_lossy(&read(name)).into_owned();
    assert!(text("a.svg").starts_with(
        "<!-- written by seamline show -->\n<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"210mm\""
    ));
    assert!(text("a.html").starts_with("<!doctype html>\n<!-- written by seamline show -->\n"));
    assert!(text("a.pdf").starts_with("%PDF-") && text("a.pdf").trim_end().ends_with("%%EOF"));
    // Its own files are written again, with the same bytes; a player's stay.
    let before = read("a.pdf");
    print(&files).exits(0);
    assert_eq!(read("a.pdf"), before);
    for (name, option) in [("a.svg", "--svg"), ("a.html", "--html"), ("a.pdf", "--pdf")] {
        for mine in ["<svg>mine</svg>", "%PDF-1.4 mine", ""] {
            bench.write(name, mine.as_bytes());
            print(&[option, name]).refuses(&[name, "--replace"]);
            assert_eq!(text(name), mine);
        }
        print(&[option, name, "--replace"]).exits(0);
    }
    print(&["--svg", "stairs.line", "--replace"]).refuses(&["stairs.line"]);
    print(&["--svg", "b.svg", "--pdf", "b.svg"]).refuses(&["same file"]);
    print(&["--svg", "-", "--pdf", "-"]).refuses(&["standard output"]);
    print(&["--json", "-", "--pdf", "-"]).refuses(&["standard output"]);
    let run = print(&["--svg", "-", "--paper", "letter", "--bars", "2-3"]).exits(0);
    assert!(run.out().contains("width=\"215.9mm\""), "{}", run.shown());
    assert!(run.err().is_empty(), "{}", run.shown());
    // Degrees stand beneath the notes where they are asked for.
    let plain = print(&["--html", "-"]).exits(0).out();
    let degrees = print(&["--html", "-", "--degrees"]).exits(0).out();
    assert!(!plain.contains(">b7<") && degrees.contains(">b7<"));
}

#[test]
fn pages_of_svg_are_files_of_their_own() {
    let bench = bench();
    let long = format!(
        "title: Long\n\n{}",
        "1/8 A1 C2 D2 E2 G2 A2 G2 E2\n".repeat(120)
    );
    bench.write("long.line", long.as_bytes());
    let run = bench
        .run(&["show", "long.line", "--svg", "long.svg"])
        .exits(0);
    let told = run.err();
    assert!(told.contains("long.svg to long-"), "{told}");
    let pages: usize = told
        .split("long-")
        .nth(1)
        .and_then(|rest| rest.split('.').next())
        .and_then(|number| number.parse().ok())
        .expect("the last page");
    assert!((2..40).contains(&pages));
    for page in 2..=pages {
        let text = fs::read_to_string(bench.path(&format!("long-{page}.svg"))).expect("a page");
        assert!(text.contains(&format!("{page} of {pages}")), "page {page}");
    }
    // One page of the player's keeps all of them from being written.
    bench.write("long-2.svg", b"mine");
    fs::remove_file(bench.path("long.svg")).expect("removed");
    bench
        .run(&["show", "long.line", "--svg", "long.svg"])
        .refuses(&["long-2.svg", "--replace"]);
    assert!(!bench.path("long.svg").exists());
    bench
        .run(&["show", "long.line", "--svg", "-"])
        .refuses(&["--svg", "pages"]);
}
