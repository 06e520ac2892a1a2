//! A kept take knows how it was played: `score` needs nothing but its name, and says when what
//! stands beside it is of no use.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use seamline::compare::clicks::ClickedPass;
use seamline::session::played::{Played, PlayedClick, path_beside};
use serde_json::Value;

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("demo-data")
        .join(name)
}

fn score(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_seamline"))
        .env("SEAMLINE_SETTINGS", "")
        .args(["score", "--no-record"])
        .args(arguments)
        .output()
        .expect("it runs")
}

fn report(arguments: &[&str]) -> Value {
    let output = score(&[arguments, &["--json", "-"]].concat());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{said}");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn played(line: &Path) -> Played {
    let bytes = std::fs::read(line).expect("a line");
    let click = PlayedClick {
        beats: "all".to_owned(),
        parts: 1,
        alternate: false,
        count_in: 1,
    };
    let line = line.display().to_string();
    Played::new("2026-01-31 18:05:09".to_owned(), line, &bytes, 440.0, click)
}

#[test]
fn a_kept_take_is_judged_by_what_stands_beside_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let take = folder.path().join("take.wav");
    let line = demo("lantern-stairs.line");
    std::fs::copy(demo("lantern-stairs-clean.wav"), &take).expect("a copy");
    let name = take.to_str().expect("a name");

    // Nothing beside it: the line has to be named.
    let output = score(&[name]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said.contains("--line") && said.contains("take.wav.played.json"),
        "{said}"
    );

    let free = report(&[name, "--line", line.to_str().expect("a name")]);
    let offset_s = free["timing"]["offset_s"].as_f64().expect("an offset");
    let duration_s = free["take"]["duration_s"].as_f64().expect("a length");
    assert_eq!(free["timing"]["mode"], "free");

    // Played to a click 12 ms before the player, its round trip known; bars 2 and 3, another mark.
    let mut as_played = played(&line);
    as_played.round_trip_ms = Some(21.0);
    as_played.bars = Some((2, 3));
    as_played.marks = vec!["gap_ms=55".to_owned()];
    as_played.set_clicks(&[ClickedPass {
        from_s: 0.0,
        to_s: duration_s,
        zero_s: offset_s - 0.012,
        stretch: 1.0,
        measured: true,
        clicks_s: Vec::new(),
        notes: None,
    }]);
    as_played.write_beside(&take).expect("written");
    let clicked = report(&[name]);
    assert_eq!(clicked["timing"]["mode"], "click");
    let mean_ms = clicked["timing"]["mean_ms"].as_f64().expect("a mean");
    assert!((mean_ms - 12.0).abs() < 4.0, "{mean_ms}");
    let notes = clicked["notes"].as_array().expect("notes");
    assert!(notes.iter().all(|note| note["verdict"] == "right"));
    let bars: Vec<_> = notes
        .iter()
        .filter_map(|note| note["bar"].as_u64())
        .collect();
    assert!(
        bars.first() == Some(&2) && bars.last() == Some(&3),
        "{bars:?}"
    );
    assert_eq!(clicked["passes"][0]["bars"], serde_json::json!([2, 3]));

    // What is asked for wins.
    let one = report(&[name, "--bars", "4-4"]);
    let notes = one["notes"].as_array().expect("notes");
    assert!(notes.iter().all(|note| note["bar"] == 4));

    // A damaged file is told by its name, and the take is not judged without it.
    std::fs::write(path_beside(&take), "{\"schema\": 1,").expect("written");
    let output = score(&[name]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said.contains("take.wav.played.json") && said.lines().count() == 1,
        "{said}"
    );
}

#[test]
fn a_line_that_was_changed_since_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let take = folder.path().join("take.wav");
    let line = folder.path().join("changed.line");
    std::fs::copy(demo("lantern-stairs-clean.wav"), &take).expect("a copy");
    std::fs::copy(demo("lantern-stairs.line"), &line).expect("a copy");
    let mut as_played = played(&line);
    as_played.bars = Some((2, 2));
    as_played.write_beside(&take).expect("written");
    let mut text = std::fs::read_to_string(&line).expect("a line");
    text.push_str("; another word\n");
    std::fs::write(&line, text).expect("written");
    let output = score(&[take.to_str().expect("a name"), "--json", "-"]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{said}");
    assert!(said.contains("not the line that was played"), "{said}");
}
