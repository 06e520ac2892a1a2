//! The real program, in a folder of its own for each test.
//!
//! A failure shows the command, what it said on standard output and on standard error.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// Two bars on a bass in standard tuning, by string and fret.
const LINE: &str = "title: Two bars\ntempo: 120\nmeter: 4/4\nkey: A minor\n\n\
                    @Am7 1/4 3:0 3:3 2:2 2:5\n@Dm7 3:5 2:3 2:7 3:5\n";

/// A folder with a line in it, and the program.
struct Bench {
    folder: tempfile::TempDir,
}

/// What a run of the program gave.
struct Run {
    command: String,
    output: Output,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        fs::write(folder.path().join("two.line"), LINE).expect("a line");
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_seamline"));
        command.args(arguments).current_dir(self.folder.path());
        command
            .env("SEAMLINE_DATA", self.path("data"))
            .env("SEAMLINE_SETTINGS", "");
        for name in ["NO_COLOR", "CLICOLOR_FORCE", "COLUMNS", "TERM"] {
            command.env_remove(name);
        }
        command
    }

    fn run(&self, arguments: &[&str]) -> Run {
        let output = self
            .command(arguments)
            .output()
            .expect("the program starts");
        Run {
            command: arguments.join(" "),
            output,
        }
    }

    /// As [`Self::run`], with the `COLUMNS` given.
    fn run_in(&self, columns: &str, arguments: &[&str]) -> Run {
        let mut command = self.command(arguments);
        command.env("COLUMNS", columns);
        Run {
            command: format!("COLUMNS={columns} {}", arguments.join(" ")),
            output: command.output().expect("the program starts"),
        }
    }

    /// As [`Self::run`], with `input` on standard input.
    fn feed(&self, arguments: &[&str], input: &[u8]) -> Run {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        // The program may end before it has read everything; its answer is what is looked at.
        child.stdin.take().expect("piped").write_all(input).ok();
        let output = child.wait_with_output().expect("the program ends");
        Run {
            command: arguments.join(" "),
            output,
        }
    }

    /// Renders the line, with a player's small deviations, as `name`.
    fn take(&self, name: &str, more: &[&str]) {
        let mut arguments = vec!["hear", "two.line", "-o", name, "--seed", "7"];
        arguments.extend(more);
        self.run(&arguments).exits(0);
    }
}

impl Run {
    fn out(&self) -> String {
        String::from_utf8(self.output.stdout.clone()).expect("UTF-8 on standard output")
    }

    fn err(&self) -> String {
        String::from_utf8(self.output.stderr.clone()).expect("UTF-8 on standard error")
    }

    fn shown(&self) -> String {
        format!(
            "$ seamline {}\n[exit {:?}]\n--- stdout\n{}\n--- stderr\n{}",
            self.command,
            self.output.status.code(),
            String::from_utf8_lossy(&self.output.stdout),
            String::from_utf8_lossy(&self.output.stderr)
        )
    }

    fn exits(self, code: i32) -> Self {
        assert_eq!(self.output.status.code(), Some(code), "{}", self.shown());
        self
    }

    /// Standard error holds each of these, and standard output nothing.
    fn complains(self, about: &[&str]) -> Self {
        assert!(self.output.stdout.is_empty(), "{}", self.shown());
        for words in about {
            assert!(
                self.err().contains(words),
                "`{words}` is missing\n{}",
                self.shown()
            );
        }
        self
    }

    fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out()).unwrap_or_else(|e| panic!("{e}\n{}", self.shown()))
    }
}

/// Golden: our own earlier output. It detects change and proves nothing.
#[test]
fn golden_help_is_unchanged() {
    let bench = Bench::new();
    for (name, arguments) in [
        ("help.txt", &["--help"] as &[&str]),
        ("help-score.txt", &["score", "--help"]),
        ("help-compare.txt", &["compare", "--help"]),
        ("help-hear.txt", &["hear", "--help"]),
        ("help-convert.txt", &["convert", "--help"]),
        ("help-tune.txt", &["tune", "--help"]),
        ("help-play.txt", &["play", "--help"]),
        ("help-sound.txt", &["sound", "--help"]),
        ("help-log.txt", &["log", "--help"]),
        ("help-next.txt", &["next", "--help"]),
    ] {
        let run = bench.run(arguments).exits(0);
        let text = run.out();
        assert!(text.contains("Example"), "{}", run.shown());
        assert!(
            text.lines().all(|line| line.chars().count() <= 80),
            "{}",
            run.shown()
        );
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures/golden")
            .join(name);
        if std::env::var_os("SEAMLINE_REMAKE").is_some() {
            fs::write(&path, &text).expect("the golden file can be written");
        }
        let golden = fs::read_to_string(&path).expect("the golden file; see its README");
        assert!(
            golden == text,
            "{} differs from\n{}",
            path.display(),
            run.shown()
        );
    }
}

#[test]
fn wrong_usage_ends_with_2_and_says_what_is_allowed() {
    let bench = Bench::new();
    let score = |more: &[&str], about: &[&str]| {
        let mut arguments = vec!["score", "take.wav", "--line", "two.line"];
        arguments.extend(more);
        bench.run(&arguments).exits(2).complains(about);
    };
    bench.run(&[]).exits(2);
    bench.run(&["dance"]).exits(2).complains(&["dance"]);
    bench
        .run(&["score", "take.wav"])
        .exits(2)
        .complains(&["--line"]);
    bench
        .run(&["score", "--line", "two.line"])
        .exits(2)
        .complains(&["TAKE"]);
    bench
        .run(&["hear", "two.line", "--host", "nowhere"])
        .exits(2)
        .complains(&["nowhere", "ALSA"]);
    bench
        .run(&["play", "two.line", "--host", "nowhere"])
        .exits(2)
        .complains(&["nowhere", "ALSA"]);
    bench
        .run(&["play", "two.line", "--bars", "9-12"])
        .exits(2)
        .complains(&["two.line", "bars"]);
    bench
        .run(&["play", "two.line", "--keep", "x.wav", "--json", "x.wav"])
        .exits(2)
        .complains(&["x.wav", "another"]);
    bench
        .run(&["tune", "--host", "nowhere"])
        .exits(2)
        .complains(&["nowhere"]);
    score(&["--tempo", "0"], &["--tempo", "above 0"]);
    score(&["--tempo=-5"], &["--tempo", "above 0"]);
    score(&["--tempo", "fast"], &["--tempo", "80%"]);
    score(&["--bars", "4-3"], &["--bars", "3-4"]);
    score(&["--bars", "x"], &["--bars", "3-4"]);
    score(&["--a4", "44"], &["--a4", "415"]);
    score(&["--pass-mark", "101"], &["--pass-mark", "100"]);
    score(&["--tuning", "7"], &["--tuning"]);
    score(&["--tuning", "E1 H1"], &["--tuning"]);
    score(&["--mark", "gap"], &["--mark", "gap_ms"]);
    score(&["--mark", "loudness=3"], &["--mark", "loudness", "gap_ms"]);
    score(&["--mark", "gap_ms=-3"], &["--mark", "gap_ms"]);
}

#[test]
fn wrong_input_ends_with_2_and_names_the_file() {
    let bench = Bench::new();
    bench.take("take.wav", &[]);
    let line = |line: &str, about: &[&str]| {
        let run = bench.run(&["score", "take.wav", "--line", line]).exits(2);
        run.complains(&[line]).complains(about);
    };
    line("none.line", &["no such line"]);
    line(".", &["folder"]);
    fs::write(bench.path("song.doc"), LINE).expect("written");
    line("song.doc", &[".line"]);
    fs::write(bench.path("broken.line"), "tempo: 120\n\n1/4 3:0 3:99\n").expect("written");
    line("broken.line", &["3", "99"]);
    fs::write(bench.path("bytes.line"), b"title: \xff\xfe\n").expect("written");
    line("bytes.line", &["UTF-8"]);
    fs::write(bench.path("short.mid"), b"MThd").expect("written");
    line("short.mid", &[]);

    let take = |take: &str, about: &[&str]| {
        let run = bench.run(&["score", take, "--line", "two.line"]).exits(2);
        run.complains(&[take]).complains(about);
    };
    take("none.wav", &["no such file"]);
    fs::create_dir(bench.path("empty")).expect("a folder");
    take("empty", &["no sound file in this folder"]);
    take("two.line", &["WAV, FLAC, MP3"]);
    fs::write(bench.path("empty.wav"), b"").expect("written");
    take("empty.wav", &["empty"]);

    let asked = |more: &[&str], about: &[&str]| {
        let mut arguments = vec!["score", "take.wav", "--line", "two.line"];
        arguments.extend(more);
        bench.run(&arguments).exits(2).complains(about);
    };
    asked(&["--bars", "2-9"], &["two.line", "9"]);
    asked(&["--tempo", "100000"], &["two.line"]);
    asked(&["--tuning", "G3 C4"], &["two.line"]);
    asked(&["--json", "take.wav"], &["take.wav", "overwritten"]);
    asked(&["--json", "two.line"], &["two.line", "overwritten"]);
    bench
        .run(&["score", "-", "-", "--line", "two.line"])
        .exits(2)
        .complains(&["twice"]);
    bench
        .run(&["score", "take.wav", "--line", "-"])
        .exits(2)
        .complains(&["--line -"]);
    bench
        .feed(&["score", "-", "--line", "two.line"], b"not a sound")
        .exits(2)
        .complains(&["standard input"]);
}

#[test]
fn a_fault_that_cannot_be_put_in_is_told() {
    let bench = Bench::new();
    for (fault, about) in [
        ("gap", "gap:BAR.BEAT"),
        ("cough:1.1", "cough"),
        ("gap:9.1:80", "bar 9"),
        ("late:1.1:0", "1 to"),
    ] {
        bench
            .run(&["hear", "two.line", "-o", "x.wav", "--with", fault])
            .exits(2)
            .complains(&["--with", about]);
        assert!(!bench.path("x.wav").exists(), "{fault} left a file");
    }
    bench
        .run(&["hear", "two.line", "-o", "two.line"])
        .exits(2)
        .complains(&["overwritten"]);
    bench
        .run(&["hear", "two.line", "-o", "x.wav", "--voice", "tuba"])
        .exits(2)
        .complains(&["fingered"]);
    assert_eq!(
        fs::read_to_string(bench.path("two.line")).expect("kept"),
        LINE
    );
}

#[test]
fn a_count_in_stands_before_the_line_and_is_no_part_of_it() {
    let bench = Bench::new();
    let frames = |name: &str| {
        hound::WavReader::open(bench.path(name))
            .expect("a WAV file")
            .duration()
    };
    bench.run(&["hear", "two.line", "-o", "plain.wav"]).exits(0);
    bench
        .run(&["hear", "two.line", "-o", "counted.wav", "--count-in", "2"])
        .exits(0);
    // Closed form: two bars of four quarters at the line's 120.
    let longer = f64::from(frames("counted.wav") - frames("plain.wav")) / 48_000.0;
    assert!((longer - 8.0 * 60.0 / 120.0).abs() < 0.001, "{longer} s");
    let run = bench
        .run(&[
            "score",
            "counted.wav",
            "--line",
            "two.line",
            "--pass-mark",
            "100",
        ])
        .exits(0);
    assert!(!run.out().contains("nobody wrote"), "{}", run.out());
    bench
        .run(&["hear", "two.line", "-o", "x.wav", "--click-parts", "2"])
        .exits(2);
}

#[test]
fn hearing_a_line_cautions_about_the_level() {
    let bench = Bench::new();
    let run = bench.run(&["hear", "two.line", "-o", "guide.wav"]).exits(0);
    assert!(run.out().is_empty(), "{}", run.shown());
    assert!(run.err().contains("volume"), "{}", run.shown());
    let written = fs::read(bench.path("guide.wav")).expect("the guide");
    // RIFF WAVE: the first twelve bytes (RIFF specification, 1991).
    assert_eq!(
        (&written[..4], &written[8..12]),
        (b"RIFF".as_slice(), b"WAVE".as_slice())
    );
    let piped = bench.run(&["hear", "two.line", "-o", "-"]).exits(0);
    assert!(
        piped.output.stdout == written,
        "a pipe gives other bytes than a file"
    );
}

#[test]
fn a_take_is_scored_as_text_and_as_json() {
    let bench = Bench::new();
    bench.take("take.wav", &["--with", "wrong:1.3:+1"]);
    let text = bench
        .run(&["score", "take.wav", "--line", "two.line"])
        .exits(0);
    assert!(
        text.out().starts_with("take.wav: 7 of 8 notes right"),
        "{}",
        text.shown()
    );
    assert!(
        !text.out().contains('\u{1b}'),
        "colour in a pipe\n{}",
        text.shown()
    );
    assert!(text.err().is_empty(), "{}", text.shown());

    let run = bench
        .run(&["score", "take.wav", "--line", "two.line", "--json", "-"])
        .exits(0);
    let value = run.json();
    assert_eq!(value["summary"]["right"], 7, "{}", run.shown());
    assert_eq!(value["notes"][2]["verdict"], "wrong");
    assert_eq!(value["line"]["title"], "Two bars");
    assert_eq!(value["take"]["file"], "take.wav");

    let both = bench
        .run(&[
            "score",
            "take.wav",
            "--line",
            "two.line",
            "--json",
            "report.json",
        ])
        .exits(0);
    assert_eq!(both.out(), text.out());
    assert_eq!(
        fs::read_to_string(bench.path("report.json")).expect("the report"),
        run.out()
    );
    // Nothing but what was asked for is left in the folder, and the record in that of the data.
    assert_eq!(
        fs::read_dir(bench.folder.path()).expect("listed").count(),
        4
    );
}

/// The same take through a pipe gives the same object, but for its name.
#[test]
fn a_take_may_come_through_a_pipe() {
    let bench = Bench::new();
    bench.take("take.wav", &[]);
    let file = bench
        .run(&["score", "take.wav", "--line", "two.line", "--json", "-"])
        .exits(0);
    let bytes = fs::read(bench.path("take.wav")).expect("the take");
    let pipe = bench
        .feed(&["score", "-", "--line", "two.line", "--json", "-"], &bytes)
        .exits(0);
    let renamed = pipe
        .out()
        .replace("\"file\": \"-\"", "\"file\": \"take.wav\"");
    assert_eq!(renamed, file.out());
}

#[test]
fn several_takes_are_an_array_and_one_that_fails_costs_no_other() {
    let bench = Bench::new();
    bench.take("a.wav", &[]);
    bench.take("b.wav", &["--with", "missed:2.1"]);
    let run = bench
        .run(&[
            "score", "a.wav", "b.wav", "--line", "two.line", "--json", "-",
        ])
        .exits(0);
    let value = run.json();
    let files: Vec<_> = value
        .as_array()
        .expect("an array")
        .iter()
        .map(|v| &v["take"]["file"])
        .collect();
    assert_eq!(files, ["a.wav", "b.wav"], "{}", run.shown());

    let run = bench
        .run(&[
            "score", "a.wav", "none.wav", "b.wav", "--line", "two.line", "--json", "-",
        ])
        .exits(2);
    assert!(run.err().contains("none.wav"), "{}", run.shown());
    assert_eq!(
        run.json().as_array().map(Vec::len),
        Some(2),
        "{}",
        run.shown()
    );

    let text = bench
        .run(&["score", "a.wav", "b.wav", "--line", "two.line", "--reports"])
        .exits(0)
        .out();
    assert!(
        text.starts_with("a.wav: ") && text.contains("\n\nb.wav: "),
        "{text}"
    );
}

/// A take of something else, or without the bars asked for, is told in a line or two, has its
/// JSON, and exits with 2, after all takes were judged.
#[test]
fn a_take_without_what_was_asked_for_exits_with_2() {
    let bench = Bench::new();
    bench.take("take.wav", &[]);
    let other = "tempo: 100\n\n1/4 1:9 1:12 2:10 1:5\n2:12 1:4 1:11 2:9\n";
    fs::write(bench.path("other.line"), other).expect("a line");
    let run = bench
        .run(&[
            "score",
            "take.wav",
            "--line",
            "other.line",
            "--json",
            "other.json",
        ])
        .exits(2);
    assert!(
        run.out()
            .starts_with("take.wav: this does not sound like the line"),
        "{}",
        run.shown()
    );
    assert!(run.out().lines().count() <= 4, "{}", run.shown());
    let json = fs::read_to_string(bench.path("other.json")).expect("written all the same");
    assert!(json.contains("\"another line\""), "{json}");
}

/// Bars that were not played: the line is there, the bars are not.
#[test]
fn bars_that_were_not_played_exit_with_2() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let bench = Bench::new();
    fs::copy(demo.join("lantern-stairs.line"), bench.path("stairs.line")).expect("copied");
    bench
        .run(&[
            "hear",
            "stairs.line",
            "-o",
            "part.wav",
            "--seed",
            "3",
            "--bars",
            "1-4",
        ])
        .exits(0);
    bench
        .run(&[
            "score",
            "part.wav",
            "--line",
            "stairs.line",
            "--bars",
            "2-3",
        ])
        .exits(0);
    let run = bench
        .run(&[
            "score",
            "part.wav",
            "part.wav",
            "--line",
            "stairs.line",
            "--bars",
            "7-8",
            "--json",
            "-",
        ])
        .exits(2);
    assert_eq!(
        run.json().as_array().map(Vec::len),
        Some(2),
        "{}",
        run.shown()
    );
    let page = bench
        .run(&[
            "score",
            "part.wav",
            "--line",
            "stairs.line",
            "--bars",
            "7-8",
        ])
        .exits(2);
    assert!(
        page.out()
            .starts_with("part.wav: the take holds nothing of bars 7 to 8"),
        "{}",
        page.shown()
    );
}

/// The page is as wide as `COLUMNS` says, and tells more when asked to.
#[test]
fn the_page_takes_the_width_and_the_detail_asked_for() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let (take, line) = (
        demo.join("lantern-stairs-practice.wav"),
        demo.join("lantern-stairs.line"),
    );
    let (take, line) = (take.to_string_lossy(), line.to_string_lossy());
    let bench = Bench::new();
    let page = |columns: &str, more: &[&str]| {
        let mut arguments = vec!["score", &take, "--line", &line];
        arguments.extend(more);
        bench.run_in(columns, &arguments).exits(0).out()
    };
    // The command that practises is not broken, so that it can be copied.
    let widest = |page: &str| {
        let rows = page.lines().filter(|row| !row.contains("seamline play"));
        rows.map(|row| row.chars().count()).max()
    };
    let (narrow, wide) = (page("80", &[]), page("200", &["--all"]));
    assert!(widest(&narrow) <= Some(80), "{narrow}");
    assert!(
        widest(&wide) > Some(110) && widest(&wide) <= Some(200),
        "{wide}"
    );
    assert!(narrow.lines().count() <= 24, "{narrow}");
    assert_eq!(page("nonsense", &[]), narrow);
    for number in 1..=8 {
        let bar = format!(" {number} ");
        let rows = || wide.lines().filter(|row| row.starts_with("   bar"));
        assert!(
            rows().any(|row| format!("{row} ").contains(&bar)),
            "{number}\n{wide}"
        );
    }
    assert!(!narrow.contains("Marks used"));
    assert!(page("80", &["--verbose"]).contains("Marks used"));
}

#[test]
fn the_pass_mark_decides_between_0_and_1() {
    let bench = Bench::new();
    bench.take("take.wav", &["--with", "wrong:1.3:+1"]);
    let score = |mark: &str| {
        bench.run(&[
            "score",
            "take.wav",
            "--line",
            "two.line",
            "--pass-mark",
            mark,
        ])
    };
    // 7 of 8 are 87.5 %.
    score("87.5").exits(0);
    let below = score("87.6").exits(1);
    assert!(below.err().contains("7 of 8"), "{}", below.shown());
    assert!(below.out().contains("7 of 8"), "{}", below.shown());
}

#[test]
fn marks_bars_and_tempo_reach_the_report() {
    let bench = Bench::new();
    bench.take("take.wav", &["--tempo", "50%"]);
    let mut arguments = vec!["score", "take.wav", "--line", "two.line", "--json", "-"];
    arguments.extend(["--mark", "gap_ms=55", "--mark", "timing-ms=31.5"]);
    arguments.extend(["--bars", "2", "--tempo", "50%", "--click"]);
    let run = bench.run(&arguments).exits(0);
    let value = run.json();
    assert_eq!(value["marks"]["gap_ms"], 55.0, "{}", run.shown());
    assert_eq!(value["marks"]["timing_ms"], 31.5);
    assert_eq!(value["line"]["tempo_bpm"], 60.0);
    assert_eq!(value["line"]["notes"], 4);
    assert_eq!(value["notes"][0]["bar"], 2);
    assert_eq!(value["timing"]["mode"], "click");
}

#[test]
fn a_report_that_cannot_be_written_ends_with_2_after_the_text() {
    let bench = Bench::new();
    bench.take("take.wav", &[]);
    let run = bench
        .run(&[
            "score",
            "take.wav",
            "--line",
            "two.line",
            "--json",
            "no/such/report.json",
        ])
        .exits(2);
    assert!(run.out().contains("notes right"), "{}", run.shown());
    assert!(run.err().contains("no/such/report.json"), "{}", run.shown());
}

/// A reader that has gone away wants no more: no failure, no complaint.
#[test]
fn a_closed_pipe_is_no_failure() {
    let bench = Bench::new();
    bench.take("take.wav", &[]);
    for arguments in [
        &["score", "take.wav", "--line", "two.line"] as &[&str],
        &["score", "take.wav", "--line", "two.line", "--json", "-"],
        &["score", "--help"],
        &["hear", "two.line", "-o", "-"],
    ] {
        let mut child = bench
            .command(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("the program ends");
        let run = Run {
            command: arguments.join(" "),
            output,
        };
        assert!(
            !run.err().contains("error") && !run.err().contains("panic"),
            "{}",
            run.shown()
        );
        run.exits(0);
    }
}

/// The same take scored twice gives the same bytes.
#[test]
fn twice_the_same_is_the_same() {
    let bench = Bench::new();
    bench.take("take.wav", &["--with", "gap:1.2:90,late:2.2:60,dead:2.3"]);
    let score = || {
        bench
            .run(&["score", "take.wav", "--line", "two.line", "--json", "-"])
            .exits(0)
    };
    assert_eq!(score().out(), score().out());
}

/// Open strings are checked, kept, and known again when a take is scored; what is no file of
/// strings is refused with a word on how to mend it.
#[test]
fn strings_are_checked_kept_and_known_again() {
    let bench = Bench::new();
    fs::write(
        bench.path("open.line"),
        "tempo: 60\nmeter: 4/4\nkey: C major\n\n1/2 4:0! 3:0!\n1/2 2:0! 1:0!\n",
    )
    .expect("a line");
    bench
        .run(&["hear", "open.line", "-o", "open.wav", "--seed", "3"])
        .exits(0);
    let run = bench
        .run(&["tune", "open.wav", "--keep", "bass.json"])
        .exits(0);
    assert!(
        run.out().contains("4 of 4 strings heard"),
        "{}",
        run.shown()
    );
    bench.take("take.wav", &[]);
    let known = [
        "score",
        "take.wav",
        "--line",
        "two.line",
        "--strings",
        "bass.json",
    ];
    let run = bench.run(&known).exits(0);
    assert!(run.out().contains("all 8 notes right"), "{}", run.shown());
    // What the player usually leaves at a join goes into the same file, and stays there when the
    // strings are measured again.
    let before = fs::read_to_string(bench.path("bass.json")).expect("a file");
    assert!(
        before.contains("answers_db") && !before.contains("gaps"),
        "{before}"
    );
    // One take has too few joins of a kind, five of them together have enough.
    let run = bench
        .run(&[&known[..], &["--learn-gaps"]].concat())
        .exits(0);
    assert!(run.err().contains("stays as it is"), "{}", run.shown());
    let learn = [&known[..], &["take.wav"; 4], &["--learn-gaps"]].concat();
    let run = bench.run(&learn).exits(0);
    assert!(run.err().contains("usual over"), "{}", run.shown());
    bench
        .run(&["tune", "open.wav", "--keep", "bass.json"])
        .exits(0);
    let after = fs::read_to_string(bench.path("bass.json")).expect("a file");
    assert!(after.contains("middle_ms"), "{after}");
    bench.run(&known).exits(0);
    bench
        .run(&["score", "take.wav", "--line", "two.line", "--learn-gaps"])
        .exits(2);
    for (file, text, word) in [
        ("no.json", "{}", "seamline tune TAKE --keep FILE"),
        (
            "odd.json",
            "{\"schema\":1,\"kind\":\"strings\",\"strings\":[{\"hz\":-1,\"inharmonicity\":0,\"partials_db\":[0]}]}",
            "string 1",
        ),
    ] {
        fs::write(bench.path(file), text).expect("a file");
        let run = bench
            .run(&["score", "take.wav", "--line", "two.line", "--strings", file])
            .exits(2);
        assert!(
            run.err().contains(file) && run.err().contains(word),
            "{}",
            run.shown()
        );
    }
    bench
        .run(&[
            "score",
            "take.wav",
            "--line",
            "two.line",
            "--strings",
            "nowhere.json",
        ])
        .exits(2);
    // A take without an open string has nothing to keep, and nothing is written.
    fs::write(
        bench.path("rest.line"),
        "tempo: 60\nmeter: 4/4\nkey: C major\n\n1/2 4:6 r\n",
    )
    .expect("a line");
    bench.run(&["hear", "rest.line", "-o", "rest.wav"]).exits(0);
    let run = bench
        .run(&["tune", "rest.wav", "--keep", "none.json"])
        .exits(2);
    assert!(
        run.err().contains("no open string was heard"),
        "{}",
        run.shown()
    );
    assert!(!bench.path("none.json").exists());
}
