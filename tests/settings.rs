//! The settings file: what stands in it holds where no option is given, and what is wrong is told by its
//! place.

#[path = "program_support/mod.rs"]
mod program;

use program::Bench;
use serde_json::Value;

const COLUMNS: (&str, &str) = ("COLUMNS", "80");

fn with(bench: &Bench, settings: &str, arguments: &[&str]) -> program::Run {
    bench.write("settings.toml", settings.as_bytes());
    bench.run_with(
        arguments,
        &[COLUMNS, ("SEAMLINE_SETTINGS", "settings.toml")],
    )
}

#[test]
fn what_is_set_holds_where_no_option_is_given() {
    let bench = Bench::new();
    let settings = "player = \"Ada\"\ninstrument = \"old one\"\n\
                    [instruments.\"old one\"]\na4 = 415\n[instruments.new]\na4 = 440.0\n";
    let json = ["score", "take.wav", "--line", "two.line", "--json", "-"];
    let off = |run: &program::Run| {
        let report: Value = serde_json::from_slice(&run.output.stdout).expect("JSON");
        report["notes"][0]["verdict"]
            .as_str()
            .expect("a verdict")
            .to_owned()
    };
    // A take at 440 held against 415 is a semitone off; the option wins, and so does another instrument.
    assert_eq!(off(&with(&bench, settings, &json)), "wrong");
    assert_eq!(
        off(&with(
            &bench,
            settings,
            &[&json[..], &["--a4", "440"]].concat()
        )),
        "right"
    );
    assert_eq!(
        off(&with(
            &bench,
            settings,
            &[&json[..], &["--instrument", "new"]].concat()
        )),
        "right"
    );
    let log = with(&bench, settings, &["log"]).exits(0);
    assert!(
        log.out().starts_with("Practice of Ada: 1 line"),
        "{}",
        log.shown()
    );
    let log = with(&bench, "", &["log"]).exits(0);
    assert!(
        log.out().starts_with("Nothing is in the record yet."),
        "{}",
        log.shown()
    );
    // Nothing is kept where the settings say so.
    with(&bench, "record = false\nplayer = \"Bea\"", &json[..4]).exits(0);
    let log = with(&bench, "", &["log", "--player", "Bea"]).exits(0);
    assert!(log.out().starts_with("Nothing"), "{}", log.shown());
    // Another folder.
    with(&bench, "data = \"elsewhere\"", &json[..4]).exits(0);
    let run = bench
        .run_with(&["log"], &[COLUMNS, ("SEAMLINE_DATA", "elsewhere")])
        .exits(0);
    assert!(
        run.out().starts_with("Nothing"),
        "the environment wins: {}",
        run.shown()
    );
}

#[test]
fn what_is_wrong_is_told_by_its_place() {
    let bench = Bench::new();
    for (settings, words) in [
        ("player = \n", &["settings.toml", "line 1"][..]),
        (
            "\ncolour = \"red\"\n",
            &["settings.toml", "line 2", "colour"],
        ),
        (
            "channel = \"left\"\n",
            &["settings.toml", "line 1", "channel"],
        ),
        (
            "instrument = \"lost\"\n[instruments.here]\n",
            &["settings.toml", "lost", "here"],
        ),
    ] {
        let run = with(&bench, settings, &["log"]).exits(2);
        for word in words {
            assert!(run.err().contains(word), "{word}: {}", run.shown());
        }
    }
    // A value that the option itself refuses.
    let run = with(&bench, "click = \"3-1\"\n", &["play", "two.line"]).exits(2);
    assert!(run.err().contains("3-1"), "{}", run.shown());
    // Help is told whatever the settings are.
    with(&bench, "player = \n", &["log", "--help"]).exits(0);
}

#[test]
fn the_settings_are_shown() {
    let bench = Bench::new();
    let every = "player = \"Ada\"\ninstrument = \"mine\"\nhost = \"ALSA\"\ndevice = 2\noutput = \"out\"\n\
                 channel = 1\nrate = 48000\nclick = \"2-4\"\ncount-in = 2\npaper = \"letter\"\n\
                 record = true\ndata = \"here\"\n\
                 [instruments.mine]\ntuning = \"E1 A1 D2 G2\"\na4 = 441.5\nstrings = \"mine.json\"\n";
    let run = with(&bench, every, &["sound", "--settings"]).exits(0);
    for word in [
        "settings.toml",
        "Ada",
        "2-4",
        "letter",
        "441.5",
        "mine.json",
        "E1 A1 D2 G2",
    ] {
        assert!(run.out().contains(word), "{word}: {}", run.shown());
    }
    // Every setting is the default of an option that is there.
    for command in [
        "score", "play", "show", "hear", "tune", "sound", "log", "next",
    ] {
        let run = with(&bench, every, &[command, "--help"]).exits(0);
        assert!(!run.out().is_empty());
    }
    let run = with(&bench, every, &["play", "--help"]).exits(0);
    assert!(run.out().contains("[default: 2-4]"), "{}", run.shown());
    let run = bench.run_with(
        &["sound", "--settings"],
        &[COLUMNS, ("SEAMLINE_SETTINGS", "none.toml")],
    );
    assert!(run.exits(0).out().contains("there is none"));
}
