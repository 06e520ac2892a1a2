//! The ear and the comparator held against takes whose truth is known.
//!
//! `SEAMLINE_TAKES` names a folder with `audio/`, `lines/` and `truth/`. Each take goes the way
//! `seamline score` takes it, from the file to the report; the reports are scored and the figures
//! held against `fixtures/gate/ratchet.json`. Without that variable this is not done, and said.
//!
//! | variable | what it does |
//! |---|---|
//! | `SEAMLINE_TAKES` | the folder of takes |
//! | `SEAMLINE_REPORTS` | a folder to write the reports, the figures and the differences to |
//! | `SEAMLINE_SCORER` | the takes' own scorer; every number is compared with its numbers |
//! | `SEAMLINE_RATCHET=raise` | writes what is better now into the ratchet; nothing is lowered |

mod support;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, OnceLock};
use std::time::Instant;

use seamline::music::line::read_bytes;
use seamline::report::json;
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::sound;
use serde_json::Value;

use support::claims::Claims;
use support::figures::{self, Better, Figure};
use support::made;
use support::ratchet::{self, Ratchet};
use support::scoring::{CLASSES, Score, match_times};
use support::truth::Truth;

/// Every take with its report.
struct Run {
    truths: Vec<Truth>,
    /// The report, or why there is none.
    reports: Vec<Result<String, String>>,
    seconds: f64,
}

/// Says something that is seen when the test passes, too.
fn say(text: &str) {
    // The harness keeps what `print!` prints of a passing test to itself.
    let mut out = std::io::stdout().lock();
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

fn variable(name: &str) -> Option<PathBuf> {
    std::env::var_os(name)
        .filter(|value| !value.is_empty())
        .map(PathBuf::from)
}

/// Scores every take once, however many tests ask; `None` without takes.
fn run() -> Option<&'static Run> {
    static RUN: OnceLock<Option<Run>> = OnceLock::new();
    RUN.get_or_init(|| variable("SEAMLINE_TAKES").map(|takes| score_all(&takes)))
        .as_ref()
}

fn score_all(takes: &Path) -> Run {
    let truths = read_truths(takes);
    let since = Instant::now();
    let next = AtomicUsize::new(0);
    let reports: Vec<Mutex<Result<String, String>>> = truths
        .iter()
        .map(|_| Mutex::new(Err("not reached".to_owned())))
        .collect();
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| {
                while let Some(at) = Some(next.fetch_add(1, Ordering::Relaxed))
                    && let Some(truth) = truths.get(at)
                {
                    *reports[at].lock().expect("one writer") = score_one(takes, truth);
                }
            });
        }
    });
    Run {
        truths,
        reports: reports
            .into_iter()
            .map(|report| report.into_inner().expect("no panic"))
            .collect(),
        seconds: since.elapsed().as_secs_f64(),
    }
}

fn read_truths(takes: &Path) -> Vec<Truth> {
    let folder = takes.join("truth");
    let entries = fs::read_dir(&folder).unwrap_or_else(|e| panic!("{}: {e}", folder.display()));
    let mut paths: Vec<PathBuf> = entries
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "json"))
        .collect();
    paths.sort();
    assert!(!paths.is_empty(), "no truth in {}", folder.display());
    let read = |path: &PathBuf| {
        let text = fs::read_to_string(path).expect("a readable truth");
        serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
    };
    paths.iter().map(read).collect()
}

/// One take as `seamline score` judges it, as the JSON of its report.
fn score_one(takes: &Path, truth: &Truth) -> Result<String, String> {
    let name = format!("{}.mid", truth.line);
    let bytes = fs::read(takes.join("lines").join(&name)).map_err(|e| format!("{name}: {e}"))?;
    let line = read_bytes(&name, &bytes).map_err(|e| e.to_string())?;
    let path = takes.join("audio").join(&truth.file);
    let mut source = sound::file::open(&path).map_err(|e| e.to_string())?;
    let settings = ScoreSettings::default();
    let result =
        score_take(&truth.file, source.as_mut(), &line, &settings).map_err(|e| e.to_string())?;
    Ok(json::object(&result))
}

/// The score over all takes and by instrument.
fn score(truths: &[Truth], claims: &[Claims]) -> (Score, BTreeMap<String, Score>) {
    let (mut all, mut parts) = (Score::default(), BTreeMap::<String, Score>::new());
    for (truth, claims) in truths.iter().zip(claims) {
        all.add(truth, claims);
        parts
            .entry(truth.instrument.clone())
            .or_default()
            .add(truth, claims);
    }
    (all, parts)
}

fn claims_of(run: &Run) -> Vec<Claims> {
    let mut failures = String::new();
    let mut all = Vec::new();
    for (truth, report) in run.truths.iter().zip(&run.reports) {
        match report {
            Ok(text) => all.push(Claims::read(text).expect("the fields of a report")),
            Err(why) => {
                let _ = writeln!(failures, "{}: {why}", truth.take);
            }
        }
    }
    assert!(failures.is_empty(), "takes without a report:\n{failures}");
    all
}

/// The figures of the recorded takes are those to reach, or at least none that was reached is lost.
#[test]
fn recorded_takes_are_heard_as_well_as_ever() {
    let Some(run) = run() else {
        say("accuracy gate not run: SEAMLINE_TAKES is not set\n");
        return;
    };
    let (all, parts) = score(&run.truths, &claims_of(run));
    let figures = figures::of(&all);
    let minutes = run.truths.iter().map(|t| t.length_s).sum::<f64>() / 60.0;
    let mut text = format!(
        "\n{} takes, {} notes, {minutes:.1} minutes, scored in {:.1} s of wall time\n\n",
        all.takes, all.notes, run.seconds
    );
    text.push_str(&figures::table(&figures));
    text.push_str("\nby instrument (! is short of the number to reach)\n\n");
    text.push_str(&figures::table_by(&parts));
    say(&text);
    if let Some(folder) = variable("SEAMLINE_REPORTS") {
        keep(&folder, run, &all, &text);
    }
    let path = ratchet::path();
    let mut ratchet = Ratchet::read(&path);
    if std::env::var("SEAMLINE_RATCHET").is_ok_and(|value| value == "raise") {
        ratchet = ratchet.raised(&all, &figures);
        ratchet.write(&path);
    }
    if !ratchet.is_of(&all) {
        say(&format!(
            "\nheld against nothing: the ratchet is of {} takes with {} notes, not of these\n",
            ratchet.takes, ratchet.notes
        ));
        return;
    }
    let lost = ratchet.lost(&figures);
    assert!(lost.is_empty(), "worse than before:\n{}", lost.join("\n"));
}

/// Writes the reports and what was found out about them.
fn keep(folder: &Path, run: &Run, all: &Score, table: &str) {
    fs::create_dir_all(folder).expect("the folder for the reports");
    write_reports(folder, run.truths.iter().zip(run.reports.iter().flatten()));
    let mut differences = String::new();
    for d in &all.differences {
        let _ = writeln!(
            differences,
            "{}\t{}\t{}\t{}",
            d.take, d.place, d.class, d.what
        );
    }
    fs::write(folder.join("differences.tsv"), differences).expect("the differences");
    fs::write(folder.join("figures.txt"), table).expect("the figures");
}

fn write_reports<'a>(folder: &Path, reports: impl Iterator<Item = (&'a Truth, &'a String)>) {
    for (truth, report) in reports {
        let path = folder.join(format!("{}.json", truth.take));
        fs::write(path, report).expect("a report can be written");
    }
}

/// The takes' own scorer is the judge: each of its numbers is ours, for the product's reports and
/// for reports that are wrong in all their fields.
#[test]
fn the_takes_own_scorer_agrees_to_the_digit() {
    let (Some(takes), Some(scorer)) = (variable("SEAMLINE_TAKES"), variable("SEAMLINE_SCORER"))
    else {
        say("scorers not compared: SEAMLINE_TAKES or SEAMLINE_SCORER is not set\n");
        return;
    };
    let run = run().expect("takes");
    let folder = tempfile::tempdir().expect("a folder");
    let product: Vec<String> = run.reports.iter().flatten().cloned().collect();
    compare_scorers(
        run,
        &product,
        &takes,
        &scorer,
        &folder.path().join("product"),
    );
    for seed in 1..=3 {
        let disturbed = |truth| {
            serde_json::to_string(&made::disturbed(truth, seed)).expect("numbers and words")
        };
        let reports: Vec<String> = run.truths.iter().map(disturbed).collect();
        let name = format!("disturbed-{seed}");
        compare_scorers(run, &reports, &takes, &scorer, &folder.path().join(name));
    }
    say("the takes' own scorer gives the same numbers\n");
}

fn compare_scorers(run: &Run, reports: &[String], takes: &Path, scorer: &Path, folder: &Path) {
    assert_eq!(reports.len(), run.truths.len(), "a report for each take");
    fs::create_dir_all(folder).expect("a folder");
    write_reports(folder, run.truths.iter().zip(reports));
    let figures = folder.with_extension("json");
    let output = Command::new("python3")
        .arg(scorer)
        .arg("--truth")
        .arg(takes.join("truth"))
        .arg("--reports")
        .arg(folder)
        .arg("--json")
        .arg(&figures)
        .args(["--by", "instrument"])
        .output()
        .expect("python3 runs the takes' own scorer");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{}: {said}", scorer.display());
    let text = fs::read_to_string(figures).expect("its figures");
    let theirs: Value = serde_json::from_str(&text).expect("JSON");
    let claims: Vec<Claims> = reports
        .iter()
        .map(|text| Claims::read(text).expect("a report"))
        .collect();
    let (all, parts) = score(&run.truths, &claims);
    let mut unlike = Vec::new();
    compare("all", &theirs["all"], &all.to_json(), &mut unlike);
    for (name, part) in &parts {
        compare(name, &theirs["parts"][name], &part.to_json(), &mut unlike);
    }
    assert!(unlike.is_empty(), "{}", unlike.join("\n"));
}

/// What differs between two trees of numbers, an integer being the same as that number with `.0`.
fn compare(at: &str, theirs: &Value, ours: &Value, unlike: &mut Vec<String>) {
    match (theirs, ours) {
        (Value::Object(a), Value::Object(b)) => {
            let names: std::collections::BTreeSet<&String> = a.keys().chain(b.keys()).collect();
            for name in names {
                let of = |map: &serde_json::Map<String, Value>| map.get(name).cloned();
                match (of(a), of(b)) {
                    (Some(x), Some(y)) => compare(&format!("{at}.{name}"), &x, &y, unlike),
                    (x, y) => unlike.push(format!("{at}.{name}: {x:?} and {y:?}")),
                }
            }
        }
        (Value::Number(a), Value::Number(b)) if a.as_f64() == b.as_f64() => {}
        (a, b) if a == b => {}
        (a, b) => unlike.push(format!("{at}: the takes' scorer has {a}, we have {b}")),
    }
}

/// By the rules at the head of the takes' scorer: a report that tells the truth has no false claim
/// and misses nothing.
#[test]
fn a_perfect_report_scores_as_such() {
    let truth = made::invented();
    let mut score = Score::default();
    score.add(&truth, &made::perfect(&truth));
    for class in CLASSES {
        let counts = score.class(class);
        assert_eq!(counts.tp, 1, "{class}");
        assert_eq!((counts.fp, counts.fn_), (0, 0), "{class}");
        assert_eq!(
            (counts.precision(), counts.recall(), counts.f1()),
            (1.0, 1.0, 1.0)
        );
    }
    assert!(score.differences.is_empty(), "{:?}", score.differences);
    assert_eq!(score.false_alarms_per_100(), 0.0);
    assert_eq!(score.band("-20 dB and louder"), (1, 1));
    let figures = figures::of(&score);
    let short: Vec<&Figure> = figures
        .iter()
        .filter(|figure| figure.is_reached() == Some(false))
        .collect();
    // It names its notes 50 ms after their onsets, later than the A string's are to be named.
    assert_eq!(short.len(), 1, "{short:?}");
    assert_eq!(short[0].what, "named after, A string, ms");
    assert_eq!(short[0].reached, Some(50.0));
}

/// By the same rules: a report that finds everything right misses every fault and accuses nobody.
#[test]
fn a_silent_report_finds_nothing() {
    let truth = made::invented();
    let mut score = Score::default();
    score.add(&truth, &made::silent(&truth));
    for class in CLASSES {
        let counts = score.class(class);
        assert_eq!((counts.tp, counts.fp, counts.fn_), (0, 0, 1), "{class}");
        assert_eq!((counts.recall(), counts.f1()), (0.0, 0.0), "{class}");
    }
    assert_eq!(score.false_alarms_per_100(), 0.0);
    assert_eq!(score.band("-20 dB and louder"), (0, 1));
}

/// A report without a word about a note has missed it, and false claims are counted: one of each
/// class on a note without a fault, and one extra.
#[test]
fn false_claims_are_counted() {
    let truth = made::invented();
    let mut claims = made::perfect(&truth);
    let note = &mut claims.notes[0];
    assert!(truth.notes[0].faults.is_empty());
    note.verdict = "wrong".to_owned();
    note.flags = ["early", "late", "gap", "bleed", "dead", "flat"]
        .map(str::to_owned)
        .into();
    claims.notes.retain(|note| note.index != 3);
    claims.extras.push(support::claims::ExtraClaim {
        onset_s: 12.0,
        midi: None,
    });
    let mut score = Score::default();
    score.add(&truth, &claims);
    for class in CLASSES {
        assert_eq!(score.class(class).fp, 1, "{class}");
        assert_eq!(score.class(class).fn_, 0, "{class}");
    }
    // Two notes and an extra, over the 16 notes without a fault.
    assert_eq!(score.false_alarms_per_100(), 18.75);
}

/// Closed form: the closest pair first, each time once, the limit within.
#[test]
fn times_are_matched_closest_first() {
    assert_eq!(match_times(&[0.0, 0.5], &[0.25], 0.5), [(0, 0)]);
    assert_eq!(match_times(&[0.0, 0.5], &[0.375, 0.625], 0.5), [(1, 0)]);
    assert_eq!(
        match_times(&[0.0, 1.0], &[1.125, 0.0], 0.125),
        [(0, 1), (1, 0)]
    );
}

/// What was reached is kept: raising never lowers, and what is worse is named.
#[test]
fn the_ratchet_turns_one_way() {
    let figure = |reached, better, measured| Figure {
        what: "one".to_owned(),
        reached,
        reach: None,
        better,
        measured,
        of: 1,
    };
    let score = Score::default();
    let high = |v| [figure(Some(v), Better::Higher, false)];
    let low = |v| [figure(Some(v), Better::Lower, true)];
    let ratchet = Ratchet::default().raised(&score, &high(0.9));
    assert_eq!(ratchet.raised(&score, &high(0.8)), ratchet);
    assert_eq!(ratchet.raised(&score, &high(0.95)).reached["one"], 0.95);
    assert!(ratchet.lost(&high(0.9)).is_empty());
    assert_eq!(ratchet.lost(&high(0.8999)).len(), 1);
    assert_eq!(
        ratchet.lost(&[figure(None, Better::Higher, false)]).len(),
        1
    );
    assert_eq!(ratchet.lost(&[]).len(), 1);
    let ratchet = Ratchet::default().raised(&score, &low(2.0));
    assert_eq!(ratchet.raised(&score, &low(1.5)).reached["one"], 1.5);
    assert_eq!(ratchet.raised(&score, &low(2.5)), ratchet);
    assert!(ratchet.lost(&low(2.015)).is_empty());
    assert_eq!(ratchet.lost(&low(2.025)).len(), 1);
    // Reached on other takes, it says nothing about these, and is started anew.
    let mut other = Score::default();
    other.add(&made::invented(), &Claims::default());
    assert!(!ratchet.is_of(&other));
    assert_eq!(ratchet.raised(&other, &low(2.5)).reached["one"], 2.5);
}
