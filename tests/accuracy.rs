//! The program held against takes whose truth is known: the accuracy gate.
//!
//! The real program writes a report of each take, the takes' own scorers hold the reports against
//! the truth, and their figures are held against `fixtures/gate/ratchet.json`. What is not given
//! is not checked, and said.
//!
//! | variable | what it does |
//! |---|---|
//! | `SEAMLINE_TOOLS` | the folder of the scorers, `score_report.py` and `score_passes.py`; they need `python3` |
//! | `SEAMLINE_TAKES` | a folder of takes of one pass, with `audio/`, `lines/` and `truth/` |
//! | `SEAMLINE_PRACTICE` | a folder of takes of several passes |
//! | `SEAMLINE_GROUND` | a further folder of takes, several passes in its `practice/`: tables only |
//! | `SEAMLINE_REPORTS` | a folder to keep the reports, the scorers' logs and the tables in |
//! | `SEAMLINE_RATCHET=raise` | writes what is better now into the ratchet; nothing is lowered |

mod support;

use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use serde_json::{Value, json};

use support::figures::{self, FOUND, Figure, UPRIGHTS};
use support::ratchet;
use support::scorers::{Scored, Scorers};
use support::tables;
use support::takes::{Lines, Take, Takes};

/// The lowest notes of a bass, up to F sharp 1: no take has many gaps after E1 alone.
const LOWEST_NOTES_MIDI: f64 = 30.0;

/// One set at a time: the program takes all cores for each, and the ratchet is one file.
fn alone() -> MutexGuard<'static, ()> {
    static ALONE: Mutex<()> = Mutex::new(());
    // A set that failed says nothing about the next.
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Says something that is seen when the test passes, too.
fn say(text: &str) {
    // The harness keeps what `print!` prints of a passing test to itself.
    let mut out = std::io::stdout().lock();
    out.write_all(text.as_bytes())
        .and_then(|()| out.flush())
        .expect("standard output");
}

fn variable(name: &str) -> Option<PathBuf> {
    std::env::var_os(name)
        .filter(|value| !value.is_empty())
        .map(PathBuf::from)
}

/// The scorers, and the folder that a variable names; `None`, and said, where either is not there.
fn given(what: &str, name: &str) -> Option<(Scorers, PathBuf)> {
    let wanted = |name| variable(name).ok_or_else(|| format!("{name} is not set"));
    let both = wanted(name).and_then(|folder| {
        let tools = wanted("SEAMLINE_TOOLS")?;
        Ok((Scorers::new(&tools)?, folder))
    });
    both.map_err(|why| say(&format!("NOT CHECKED: {what}; {why}\n")))
        .ok()
}

/// A folder for the reports of one set: one that is kept, or one that goes with the value.
struct Desk {
    path: PathBuf,
    kept: bool,
    _gone_when_dropped: Option<tempfile::TempDir>,
}

impl Desk {
    fn new(set: &str) -> Self {
        if let Some(folder) = variable("SEAMLINE_REPORTS") {
            let path = folder.join(set);
            fs::create_dir_all(&path).expect("the folder for the reports");
            return Self {
                path,
                kept: true,
                _gone_when_dropped: None,
            };
        }
        let folder = tempfile::tempdir().expect("a folder");
        Self {
            path: folder.path().to_owned(),
            kept: false,
            _gone_when_dropped: Some(folder),
        }
    }

    /// Keeps the scorer's log and the table beside the reports, where they are kept.
    fn keep(&self, log: &str, table: &str) {
        if self.kept {
            fs::write(self.path.with_extension("log"), log).expect("the log");
            fs::write(self.path.with_extension("txt"), table).expect("the table");
        }
    }
}

/// How many takes, and how long the program took over them.
fn heading(set: &str, takes: &Takes, seconds: f64) -> String {
    format!(
        "\n{set}: {} takes, {} notes, {:.1} minutes, scored in {seconds:.1} s of wall time\n\n",
        takes.all.len(),
        takes.notes(),
        takes.minutes()
    )
}

fn is_upright(instrument: &str) -> bool {
    UPRIGHTS.contains(&instrument)
}

/// What takes of one pass reached.
struct Single {
    figures: Vec<Figure>,
    by_instrument: BTreeMap<String, Value>,
    log: String,
}

/// Scores takes of one pass; rings and false alarms apart for electric basses and uprights.
fn score_single(scorers: &Scorers, takes: &Takes, reports: &Path) -> Single {
    let scored = scorers.report(&takes.truth(), reports, "instrument");
    let folder = tempfile::tempdir().expect("a folder");
    let low = folder.path().join("low");
    keep_low_gaps(takes, &low);
    let low = scorers.report(&low, reports, "instrument");
    let mut figures = figures::of_takes(&scored.all, Some(&low.all), false);
    for (name, upright) in [("electric", false), ("upright", true)] {
        let truth = folder.path().join(name);
        let chosen = |take: &Take| is_upright(&take.instrument) == upright;
        if takes.copy_truth(&truth, chosen) {
            let part = scorers.report(&truth, reports, "instrument");
            let suffix = format!(", {name}");
            figures.extend(figures::of_rings(&part.all, upright, &suffix));
        }
    }
    Single {
        figures,
        by_instrument: scored.parts,
        log: scored.log,
    }
}

/// Copies the truth with the gaps after all but the lowest notes taken out of the faults, so that
/// the scorer measures the gaps after the lowest notes alone.
fn keep_low_gaps(takes: &Takes, into: &Path) {
    takes.copy_truth(into, |_| true);
    for take in &takes.all {
        let path = into.join(format!("{}.json", take.take));
        let text = fs::read_to_string(&path).expect("a truth");
        let mut truth: Value = serde_json::from_str(&text).expect("JSON");
        for note in truth["notes"].as_array_mut().expect("notes") {
            let midi = note["played"]["midi"].as_f64();
            if midi.is_some_and(|midi| midi > LOWEST_NOTES_MIDI) {
                let faults = note["faults"].as_array_mut().expect("faults");
                faults.retain(|fault| fault != "gap");
            }
        }
        fs::remove_file(&path).expect("a copy can be removed");
        fs::write(&path, truth.to_string()).expect("a truth can be written");
    }
}

/// The figures of one part of takes of one pass.
fn part_of_single(name: &str, score: &Value) -> Vec<Figure> {
    let mut all = figures::of_takes(score, None, is_upright(name));
    all.extend(figures::of_rings(score, is_upright(name), ""));
    all
}

fn by(what: &str, parts: &BTreeMap<String, Value>, several_passes: bool) -> String {
    let table = if several_passes {
        tables::table_by(parts, |_, score| figures::of_passes(score))
    } else {
        tables::table_by(parts, part_of_single)
    };
    format!("\nby {what} (! is short of the number to reach)\n\n{table}")
}

/// Holds figures against the ratchet, raising it first where that is asked for.
fn hold(set: &str, takes: &Takes, figures: &[Figure]) {
    let path = ratchet::path();
    let mut all = ratchet::read(&path);
    let before = all.remove(set).unwrap_or_default();
    let (count, notes) = (takes.all.len(), takes.notes());
    let anew = before.not_held(figures).join("\n");
    let reached = if std::env::var("SEAMLINE_RATCHET").is_ok_and(|value| value == "raise") {
        let raised = before.raised(count, notes, figures);
        all.insert(set.to_owned(), raised.clone());
        ratchet::write(&path, &all);
        raised
    } else {
        before
    };
    if !reached.is_of(count, notes) {
        say(&format!(
            "\n{set}: held against nothing; the ratchet is of {} takes with {} notes, not of these\n",
            reached.takes, reached.notes
        ));
        return;
    }
    if !anew.is_empty() {
        say(&format!(
            "\n{set}: more is found than when the ratchet was raised; not held, counted anew:\n{anew}\n"
        ));
    }
    let lost = reached.lost(figures);
    assert!(lost.is_empty(), "worse than before:\n{}", lost.join("\n"));
}

/// The figures of recorded takes are those to reach, or at least none that was reached is lost.
#[test]
fn recorded_takes_are_heard_as_well_as_ever() {
    let Some((scorers, folder)) = given("recorded takes", "SEAMLINE_TAKES") else {
        return;
    };
    let _alone = alone();
    let (takes, desk) = (Takes::read(&folder), Desk::new("takes"));
    let seconds = takes.report(Lines::Midi, &desk.path);
    let single = score_single(&scorers, &takes, &desk.path);
    let mut text = heading("takes", &takes, seconds);
    text.push_str(&tables::table(&single.figures));
    text.push_str(&by("instrument", &single.by_instrument, false));
    say(&text);
    desk.keep(&single.log, &text);
    hold("takes", &takes, &single.figures);
}

/// The same for takes of several passes, as people practise.
#[test]
fn practice_is_heard_as_well_as_ever() {
    let Some((scorers, folder)) = given("takes of several passes", "SEAMLINE_PRACTICE") else {
        return;
    };
    let _alone = alone();
    let (takes, desk) = (Takes::read(&folder), Desk::new("practice"));
    let (text, scored) = practice("practice", &scorers, &takes, &desk);
    say(&text);
    hold("practice", &takes, &figures::of_passes(&scored.all));
}

/// The tables of takes of several passes, and what the scorer said.
fn practice(set: &str, scorers: &Scorers, takes: &Takes, desk: &Desk) -> (String, Scored) {
    let seconds = takes.report(Lines::TextOrMidi, &desk.path);
    let scored = scorers.passes(&takes.truth(), &desk.path, "group");
    let instruments = scorers.passes(&takes.truth(), &desk.path, "instrument");
    let mut text = heading(set, takes, seconds);
    text.push_str(&tables::table(&figures::of_passes(&scored.all)));
    text.push_str(&by("kind", &scored.parts, true));
    text.push_str(&by("instrument", &instruments.parts, true));
    desk.keep(&scored.log, &text);
    (text, scored)
}

/// Any further folder of takes, for whoever changes the ear: tables, and nothing is held.
#[test]
fn further_takes_are_scored() {
    let Some((scorers, folder)) = given("further takes", "SEAMLINE_GROUND") else {
        return;
    };
    let _alone = alone();
    let (single, several) = (folder.join("truth"), folder.join("practice/truth"));
    assert!(
        single.is_dir() || several.is_dir(),
        "neither {} nor {} is there",
        single.display(),
        several.display()
    );
    if single.is_dir() {
        let (takes, desk) = (Takes::read(&folder), Desk::new("ground"));
        let seconds = takes.report(Lines::TextOrMidi, &desk.path);
        let single = score_single(&scorers, &takes, &desk.path);
        let groups = scorers.report(&takes.truth(), &desk.path, "group");
        let mut text = heading("ground", &takes, seconds);
        text.push_str(&tables::table(&single.figures));
        text.push_str(&by("instrument", &single.by_instrument, false));
        text.push_str(&by("kind", &groups.parts, false));
        say(&text);
        desk.keep(&single.log, &text);
    }
    if several.is_dir() {
        let takes = Takes::read(&folder.join("practice"));
        let desk = Desk::new("ground-practice");
        say(&practice("ground, practice", &scorers, &takes, &desk).0);
    }
}

/// By the scorers' own tests: a report that misses nothing has every figure at its best, and is
/// read as such.
#[test]
fn a_perfect_report_scores_as_such() {
    if let Some((scorers, folder)) = given("the scorer of single passes", "SEAMLINE_TAKES") {
        scorers.test_report(&folder.join("truth"));
    }
    let Some((scorers, folder)) = given("the scorer of several passes", "SEAMLINE_PRACTICE") else {
        return;
    };
    let perfect = scorers.perfect_passes(&folder.join("truth"));
    let all = figures::of_passes(&perfect.all);
    let short: Vec<&Figure> = all
        .iter()
        .filter(|figure| figure.is_reached() == Some(false))
        .collect();
    assert!(short.is_empty(), "{short:?}");
    let wrong = all.iter().find(|f| f.what == "wrong: true claims");
    assert!(wrong.is_some_and(|f| f.of > 0 && f.reached == Some(f.of as f64)));
}

/// What a scorer writes for two takes, with what this gate reads of it.
fn written() -> Value {
    let class = |tp: u32, fp: u32, fn_: u32, p: f64, r: f64, f1: f64| {
        json!({"truth": tp + fn_, "tp": tp, "fp": fp, "fn": fn_,
               "precision": p, "recall": r, "f1": f1})
    };
    let none = class(0, 0, 0, 0.0, 0.0, 0.0);
    let spread = json!({"n": 8, "mae": 1.5, "median_abs": 1.25, "p95": 4.5, "median_error": -0.5});
    json!({
        "takes": 2, "notes": 30,
        "classes": {
            "wrong": class(3, 1, 0, 0.75, 1.0, 0.8571), "missed": none, "extra": none,
            "early": none, "late": none, "gap": class(1, 0, 1, 1.0, 0.5, 0.6667),
            "bleed": class(2, 2, 2, 0.5, 0.5, 0.5), "dead": none, "detuned": none,
        },
        "onset_ms": spread, "gap_fault_ms": null, "cents": spread,
        "pitch_named": {"right": 27, "octave and more": 2}, "first_name": {},
        "heard_after_ms": spread,
        "named_after_ms": {"E": spread, "A": null, "D": null, "G": null},
        "clean_notes": 20, "bleed_from_ms": null,
        "false_alarms_per_100_clean_notes": 0.5, "false_alarms_without_rings": 0.0,
        "bleed_found_by_level": {"-20 dB and louder": "2 of 3"},
        "passes": {"passes": 4, "found": 3, "stray extras": 1, "found_share": 0.75,
                   "bars_right_share": 0.5},
    })
}

/// Figures are what stands in the scorer's file; what it could not measure is no figure.
#[test]
fn figures_are_read_from_the_scorer() {
    let score = written();
    let mut all = figures::of_takes(&score, Some(&score), false);
    all.extend(figures::of_rings(&score, false, ", electric"));
    all.extend(figures::of_passes(&score));
    for (what, reached, of, is_reached) in [
        ("wrong: precision", Some(0.75), 4, Some(false)),
        ("wrong: recall", Some(1.0), 3, Some(true)),
        ("missed: precision", None, 0, None),
        ("gap: F1", Some(0.6667), 2, Some(false)),
        ("onset: median, ms", Some(1.25), 8, Some(false)),
        ("onset: 95 % within, ms", Some(4.5), 8, Some(true)),
        ("gap length, lowest notes, ms", None, 0, None),
        ("octave errors", Some(2.0), 29, Some(false)),
        ("heard after, median, ms", Some(-0.5), 8, Some(true)),
        ("named after, A string, ms", None, 0, None),
        ("first name right", None, 0, None),
        ("bleed: F1, electric", Some(0.5), 4, None),
        (
            "bleed found, -20 dB and louder, electric",
            Some(0.6667),
            3,
            Some(false),
        ),
        ("bleed found, -28 to -20 dB, electric", None, 0, None),
        (
            "false alarms per 100 clean notes, electric",
            Some(0.5),
            20,
            Some(false),
        ),
        (FOUND, Some(0.75), 4, Some(false)),
        ("false passes", Some(0.0), 4, Some(true)),
        ("stray extras", Some(1.0), 4, Some(false)),
        ("bleed: not found", Some(2.0), 4, Some(false)),
        ("bleed: false claims", Some(2.0), 4, Some(false)),
    ] {
        let figure = all.iter().find(|figure| figure.what == what).expect(what);
        let got = (figure.reached, figure.of, figure.is_reached());
        assert_eq!(got, (reached, of, is_reached), "{what}");
    }
    // An upright is allowed more false alarms.
    let upright = figures::of_rings(&score, true, "");
    let alarms = upright
        .iter()
        .find(|f| f.what.starts_with("false alarms per"));
    assert_eq!(alarms.and_then(Figure::is_reached), Some(true));
}
