//! What the README shows must work as it stands there.

use std::fs;
use std::path::Path;
use std::process::Command;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The lines of the README that are set apart as text to be typed.
fn typed() -> Vec<String> {
    let readme = fs::read_to_string(root().join("README.md")).expect("the README");
    let lines = readme.lines().filter_map(|line| line.strip_prefix("    "));
    lines.map(str::to_owned).collect()
}

/// Arguments of the program in every command the README shows.
fn commands() -> Vec<Vec<String>> {
    typed()
        .iter()
        .filter_map(|line| {
            let line = line.strip_prefix(".ci/setup && ").unwrap_or(line);
            let rest = line.strip_prefix("cargo run --release -- ");
            rest.or_else(|| line.strip_prefix("seamline "))
        })
        .map(|rest| rest.split_whitespace().map(str::to_owned).collect())
        .collect()
}

#[test]
fn every_command_runs() {
    let folder = tempfile::tempdir().expect("a folder");
    let demo = folder.path().join("demo-data");
    fs::create_dir(&demo).expect("a folder");
    for entry in fs::read_dir(root().join("demo-data")).expect("demo-data") {
        let path = entry.expect("an entry").path();
        fs::copy(&path, demo.join(path.file_name().expect("a name"))).expect("copied");
    }
    let commands = commands();
    assert!(commands.len() >= 3, "{commands:?}");
    for mut arguments in commands {
        // Whether this machine has a sound card is not for this test: what is asked for must be
        // understood as far as a host that is nowhere.
        let needs_card = matches!(arguments[0].as_str(), "play" | "sound");
        if needs_card {
            arguments.extend(["--host", "nowhere"].map(str::to_owned));
        }
        let output = Command::new(env!("CARGO_BIN_EXE_seamline"))
            .args(&arguments)
            .current_dir(folder.path())
            .env("SEAMLINE_DATA", folder.path().join("data"))
            .env("SEAMLINE_SETTINGS", "")
            .output()
            .expect("the program starts");
        let told = String::from_utf8_lossy(&output.stderr);
        let as_wanted = if needs_card {
            output.status.code() == Some(2) && told.contains("no sound host `nowhere`")
        } else {
            output.status.success()
        };
        assert!(
            as_wanted,
            "seamline {}\n--- stdout\n{}\n--- stderr\n{}",
            arguments.join(" "),
            String::from_utf8_lossy(&output.stdout),
            String::from_utf8_lossy(&output.stderr)
        );
    }
}

/// The report that the README shows is what its first command says, to the letter.
#[test]
fn the_report_is_the_first_commands() {
    let readme = fs::read_to_string(root().join("README.md")).expect("the README");
    let (_, rest) = readme.split_once("```text\n").expect("a report");
    let (shown, _) = rest.split_once("```").expect("its end");
    let output = Command::new(env!("CARGO_BIN_EXE_seamline"))
        .args(&commands()[0])
        .current_dir(root())
        .env_remove("COLUMNS")
        .env("SEAMLINE_DATA", env!("CARGO_TARGET_TMPDIR"))
        .env("SEAMLINE_SETTINGS", "")
        .output()
        .expect("the program starts");
    let told = String::from_utf8_lossy(&output.stdout);
    assert!(
        told == shown,
        "the README shows\n{shown}\nthe program says\n{told}"
    );
}

#[test]
fn the_example_is_a_line() {
    let typed = typed();
    let from = typed
        .iter()
        .position(|line| line.starts_with("title:"))
        .expect("the example");
    let bars = typed[from..]
        .iter()
        .position(|line| line.starts_with("@D7"))
        .expect("its end");
    let text = typed[from..=from + bars].join("\n");
    let line = seamline::music::line::read_text(&text).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(line.bars().len(), 2);
    // Counted by hand: five notes in the first bar (3:0 3:3 2:2 2:2 3:7), five in the second
    // (4:2, tied; 2:0 2:2 2:4 D2).
    assert_eq!(line.note_count(), 10);
}

/// The two commands that stand above all else, and no third.
#[test]
fn setting_up_takes_two_commands() {
    let cargo: Vec<String> = typed()
        .into_iter()
        .filter_map(|line| line.strip_prefix(".ci/setup && ").map(str::to_owned))
        .collect();
    assert_eq!(cargo.len(), 2, "{cargo:?}");
    assert!(
        typed().iter().all(|line| !line.starts_with("cargo ")),
        "a command without what it needs"
    );
    let checks = fs::read_to_string(root().join(".ci/run")).expect("the checks");
    assert!(
        checks.contains(&cargo[1]) && checks.contains("\n.ci/setup\n"),
        "`{}` is not what .ci/run runs",
        cargo[1]
    );
}
