//! The memory of the real program does not grow with the length of a take, nor with the number of takes.
//!
//! The peak is what Linux keeps of a process: `VmHWM` in `/proc/PID/status`, see proc(5). With
//! `SEAMLINE_HOUR=1` a whole hour is scored too (48 kHz, 16 bits, stereo: 691 MB on disk while it
//! runs; best with `cargo test --release`).
#![cfg(target_os = "linux")]

#[path = "support/long_take.rs"]
mod long_take;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// The most a take may need, in kilobytes of 1024 bytes: 40 MB.
const MOST_KB: u64 = 40_000_000 / 1024;
/// What five minutes more may need more, in kilobytes: it is the notes that are kept, some 760 of
/// them here with all that is made of them (10 kB each by measurement: every note stands in its pass
/// and once more for the line, in the result and in the report). The sound itself would be 58 MB.
const GROWTH_KB: u64 = 9_000;

/// What a run of the program needed.
struct Used {
    peak_kb: u64,
    seconds: f64,
}

/// The peak of a running process so far, in kilobytes.
fn peak_kb(pid: u32) -> Option<u64> {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
    line.split_whitespace().nth(1)?.parse().ok()
}

/// Scores a take, or the takes of a folder.
fn run(take: &Path, line: &Path, report: &Path) -> Used {
    let since = Instant::now();
    let mut child = Command::new(env!("CARGO_BIN_EXE_seamline"))
        .env("SEAMLINE_SETTINGS", "")
        .args(["score", "--no-record"])
        .arg(take)
        .arg("--line")
        .arg(line)
        .arg("--json")
        .arg(report)
        .stdout(Stdio::null())
        .spawn()
        .expect("the program starts");
    // The peak never falls, so the last reading before the end holds all but the last moment.
    let mut peak = 0;
    let status = loop {
        peak = peak.max(peak_kb(child.id()).unwrap_or(0));
        if let Some(status) = child.try_wait().expect("a child to wait for") {
            break status;
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    assert!(status.success(), "seamline score: {status}");
    Used {
        peak_kb: peak,
        seconds: since.elapsed().as_secs_f64(),
    }
}

/// Scores `seconds` of playing.
fn score(folder: &Path, seconds: u32) -> Used {
    let take = folder.join(format!("{seconds}.wav"));
    let line = folder.join(format!("{seconds}.line"));
    long_take::write_wav(&take, seconds).expect("a long take");
    let times = long_take::times_in(seconds);
    fs::write(&line, long_take::repeated_line(times)).expect("a long line");
    let used = run(&take, &line, &folder.join("report.json"));
    check_report(&folder.join("report.json"), seconds);
    fs::remove_file(take).expect("the take goes");
    used
}

/// The take was really listened to, to its end: most of the notes are there, and right.
fn check_report(path: &Path, seconds: u32) {
    let text = fs::read_to_string(path).expect("a report");
    let report: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    assert_eq!(report["take"]["duration_s"], f64::from(seconds));
    let notes = report["line"]["notes"].as_u64().expect("a count");
    let right = report["summary"]["right"].as_u64().expect("a count");
    assert!(notes > u64::from(seconds) * 2, "{notes} notes");
    assert!(
        right * 10 >= notes * 9,
        "{right} of {notes} notes are right; passes: {:?}",
        report["passes"].as_array().map(|passes| passes
            .iter()
            .map(|pass| (
                &pass["bars"],
                &pass["began"],
                &pass["from_s"],
                &pass["judged"]
            ))
            .collect::<Vec<_>>())
    );
}

/// From the design of this project: memory is flat in the length of a take.
#[test]
fn memory_is_flat_in_the_length_of_a_take() {
    let folder = tempfile::tempdir().expect("a folder");
    let five = score(folder.path(), 300);
    let ten = score(folder.path(), 600);
    let words = format!("5 min: {} kB, 10 min: {} kB", five.peak_kb, ten.peak_kb);
    println!("{words}");
    let hour = std::env::var_os("SEAMLINE_HOUR").map(|_| score(folder.path(), 3_600));
    if let Some(hour) = &hour {
        println!(
            "1 h: {} kB, {:.1} s, {:.0} times real time",
            hour.peak_kb,
            hour.seconds,
            3_600.0 / hour.seconds
        );
    }
    assert!(five.peak_kb > 1_000, "nothing was measured: {words}");
    assert!(five.peak_kb <= MOST_KB, "{words}");
    assert!(ten.peak_kb <= five.peak_kb + GROWTH_KB, "{words}");
    if let Some(hour) = hour {
        assert!(hour.peak_kb <= MOST_KB, "1 h: {} kB", hour.peak_kb);
    }
}

/// From the design of this project: results are dropped once their row is made. Ten times as many takes,
/// each with a report of some hundred kilobytes, may need no more than what allocators differ by.
#[test]
fn memory_is_flat_in_the_number_of_takes() {
    /// What ten times as many may need more, in kilobytes. All reports together have 2 MB and more.
    const GROWTH_KB: u64 = 1_500;
    let folder = tempfile::tempdir().expect("a folder");
    let line = folder.path().join("some.line");
    fs::write(&line, long_take::repeated_line(long_take::times_in(30))).expect("a line");
    let score = |count: u32| {
        let takes = folder.path().join(format!("{count} takes"));
        fs::create_dir(&takes).expect("a folder");
        let first = takes.join("0.wav");
        long_take::write_wav(&first, 30).expect("a take");
        for number in 1..count {
            fs::hard_link(&first, takes.join(format!("{number}.wav"))).expect("the same sound");
        }
        let report = folder.path().join("report.json");
        let used = run(&takes, &line, &report);
        let reports = fs::read_to_string(&report).expect("reports");
        let all: Vec<serde_json::Value> = serde_json::from_str(&reports).expect("JSON");
        assert_eq!(all.len(), count as usize);
        (used.peak_kb, reports.len() as u64 / 1024)
    };
    let (few, many) = (score(6), score(60));
    let words = format!(
        "6 takes: {} kB (reports of {} kB), 60 takes: {} kB (reports of {} kB)",
        few.0, few.1, many.0, many.1
    );
    println!("{words}");
    assert!(few.0 > 1_000, "nothing was measured: {words}");
    assert!(
        many.1 > few.1 + GROWTH_KB,
        "the reports are too small to be noticed: {words}"
    );
    assert!(many.0 <= few.0 + GROWTH_KB, "{words}");
}
