//! `seamline convert`: the real program, in a folder of its own for each test.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// A line with much that not every format holds.
const LINE: &str = "title: Every mark\ntempo: 100\nkey: A minor\nswing: 2:1\n\n\
    |: @Am7 1/4 3:0(1) 1/8 3:0 x3:0 h3:2 p3:0^ 1/4 g2:1 2:2! :|\n@Dm7 1/2 2:0&1:2 = \n";

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(
        folder.path().join("marks.line"),
        LINE.replace("3:0(1)", "3:0"),
    )
    .expect("a line");
    folder
}

fn run(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_seamline"))
        .args(arguments)
        .current_dir(folder)
        .env("SEAMLINE_DATA", folder.join("data"))
        .env("SEAMLINE_SETTINGS", "")
        .output()
        .expect("the program starts")
}

fn err(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Runs it and gives what it said on standard error.
fn done(folder: &Path, arguments: &[&str]) -> String {
    let output = run(folder, arguments);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{arguments:?} {}",
        err(&output)
    );
    assert!(output.stdout.is_empty());
    err(&output)
}

/// Runs it, which must be refused, and gives what it said.
fn refused(folder: &Path, arguments: &[&str]) -> String {
    let output = run(folder, arguments);
    assert_eq!(
        output.status.code(),
        Some(2),
        "{arguments:?} {}",
        err(&output)
    );
    err(&output)
}

#[test]
fn a_line_comes_back_from_a_score_to_the_letter() {
    let folder = folder();
    let folder = folder.path();
    for between in ["a.musicxml", "b.xml", "c.mxl"] {
        assert_eq!(done(folder, &["convert", "marks.line", between]), "");
        assert_eq!(done(folder, &["convert", between, "again.line"]), "");
        assert_eq!(done(folder, &["convert", "marks.line", "tidy.line"]), "");
        let read = |name: &str| fs::read_to_string(folder.join(name)).unwrap();
        assert_eq!(read("again.line"), read("tidy.line"), "{between}");
    }
}

#[test]
fn what_a_format_cannot_hold_is_listed() {
    let folder = folder();
    let folder = folder.path();
    let said = done(folder, &["convert", "marks.line", "a.mid"]);
    for what in [
        "repeats and jumps",
        "strings and frets",
        "grace notes",
        "staccato",
        "swing",
        "ghost",
    ] {
        assert!(said.contains(what), "{what}\n{said}");
    }
    let said = done(folder, &["convert", "marks.line", "a.csv"]);
    assert!(
        said.contains("a.csv cannot hold:") && said.contains("chord symbols"),
        "{said}"
    );
    assert!(!said.contains("strings and frets"), "{said}");
    assert_eq!(done(folder, &["convert", "a.mid", "b.line"]), "");
    assert_eq!(done(folder, &["convert", "a.csv", "c.line"]), "");
    // Both play the repeat out: twice six notes and a chord of two, ties added up.
    let table = fs::read_to_string(folder.join("a.csv")).unwrap();
    let rows = table
        .lines()
        .filter(|row| row.starts_with(|c: char| c.is_ascii_digit()));
    assert_eq!(rows.count(), 14, "{table}");
}

#[test]
fn nothing_of_the_players_is_written_over() {
    let folder = folder();
    let folder = folder.path();
    for name in ["a.line", "a.mid", "a.musicxml", "a.mxl", "a.csv"] {
        done(folder, &["convert", "marks.line", name]);
        // The file says who wrote it, and is written again.
        done(folder, &["convert", "marks.line", name]);
        fs::write(folder.join(name), "1/1 3:0\n").unwrap();
        let said = refused(folder, &["convert", "marks.line", name]);
        assert!(said.contains("--replace"), "{said}");
        assert_eq!(fs::read_to_string(folder.join(name)).unwrap(), "1/1 3:0\n");
        done(folder, &["convert", "marks.line", name, "--replace"]);
    }
    let said = refused(
        folder,
        &["convert", "marks.line", "marks.line", "--replace"],
    );
    assert!(said.contains("marks.line"), "{said}");
}

#[test]
fn an_instrument_is_never_switched_silently() {
    let folder = folder();
    let folder = folder.path();
    // C1, MIDI note 24, lies below the open E string of a four-string bass.
    fs::write(
        folder.join("low.csv"),
        "start,length,midi\n0,2,24\n2,2,40\n",
    )
    .unwrap();
    done(folder, &["convert", "low.csv", "low5.line"]);
    done(folder, &["convert", "low5.line", "low.mid"]);
    let said = done(folder, &["convert", "low.mid", "low.line"]);
    assert!(
        said.contains("C1") && said.contains("five-string bass"),
        "{said}"
    );
    assert!(said.contains("--tuning"), "{said}");
}

#[test]
fn files_without_an_end_or_a_format_are_refused_at_once() {
    let folder = folder();
    let folder = folder.path();
    let said = refused(folder, &["convert", "marks.line", "a.pdf"]);
    assert!(said.contains(".musicxml"), "{said}");
    let said = refused(folder, &["convert", "/dev/zero", "a.mid"]);
    assert!(said.contains("/dev/zero"), "{said}");
    for name in [
        "zero.line",
        "zero.mid",
        "zero.mxl",
        "zero.musicxml",
        "zero.csv",
    ] {
        std::os::unix::fs::symlink("/dev/zero", folder.join(name)).unwrap();
        let said = refused(folder, &["convert", name, "out.mid"]);
        assert!(said.contains("too many for a line"), "{name}: {said}");
    }
}

#[test]
fn a_part_is_chosen_by_its_number_or_name() {
    let folder = folder();
    let folder = folder.path();
    let part = |id: &str, step: &str| {
        format!(
            "<part id=\"{id}\"><measure number=\"1\"><note><pitch><step>{step}</step><octave>2</octave>\
             </pitch><duration>4</duration></note></measure></part>"
        )
    };
    let score = format!(
        "<score-partwise><part-list><score-part id=\"P1\"><part-name>Horn</part-name></score-part>\
         <score-part id=\"P2\"><part-name>Bass</part-name></score-part></part-list>{}{}</score-partwise>",
        part("P1", "C"),
        part("P2", "E")
    );
    fs::write(folder.join("two.musicxml"), score).unwrap();
    let said = refused(folder, &["convert", "two.musicxml", "a.line"]);
    assert!(
        said.contains("1 `Horn`") && said.contains("2 `Bass`"),
        "{said}"
    );
    done(
        folder,
        &["convert", "two.musicxml", "a.line", "--part", "bass"],
    );
    assert!(
        fs::read_to_string(folder.join("a.line"))
            .unwrap()
            .contains("E2")
    );
    let said = refused(folder, &["convert", "marks.line", "b.line", "--part", "2"]);
    assert!(said.contains("leave out --part"), "{said}");
    // Every command that takes a line takes a part.
    done(
        folder,
        &["hear", "two.musicxml", "--part", "1", "-o", "a.wav"],
    );
}
