//! A folder of recorded takes with known truth, and the reports that the program writes of them.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use serde::Deserialize;
use serde::de::IgnoredAny;

/// Which file of a take's line is given to the program.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lines {
    /// `lines/NAME.mid`.
    Midi,
    /// `lines/NAME.line` where there is one, else `lines/NAME.mid`.
    TextOrMidi,
}

/// What a take asks the program for beyond the line.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Options {
    /// Bars, as `--bars` takes them.
    bars: Option<String>,
    /// Played to a click, as `--click` says.
    #[serde(default)]
    click: bool,
}

/// The notes of one pass.
#[derive(Clone, Debug, Deserialize)]
struct Pass {
    notes: Vec<IgnoredAny>,
}

/// The parts of a truth file that the gate needs; the rest is for the scorers.
#[derive(Clone, Debug, Deserialize)]
pub struct Take {
    /// Its name, without an ending.
    pub take: String,
    /// Its sound, in `audio/`.
    file: String,
    /// What it was played on.
    pub instrument: String,
    length_s: f64,
    #[serde(default)]
    options: Options,
    #[serde(default)]
    notes: Vec<IgnoredAny>,
    #[serde(default)]
    passes: Vec<Pass>,
}

/// A folder with `audio/`, `lines/` and `truth/`.
#[derive(Clone, Debug)]
pub struct Takes {
    folder: PathBuf,
    pub all: Vec<Take>,
}

impl Takes {
    /// Reads the truth files of a folder, in the order of their names.
    ///
    /// # Panics
    /// When there are none, or one cannot be understood.
    pub fn read(folder: &Path) -> Self {
        let truth = folder.join("truth");
        let entries = fs::read_dir(&truth).unwrap_or_else(|e| panic!("{}: {e}", truth.display()));
        let mut paths: Vec<PathBuf> = entries
            .map(|entry| entry.expect("an entry of a folder").path())
            .filter(|path| path.extension().is_some_and(|e| e == "json"))
            .collect();
        paths.sort();
        assert!(!paths.is_empty(), "no truth in {}", truth.display());
        let read = |path: &PathBuf| {
            let text = fs::read_to_string(path).expect("a readable truth");
            serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
        };
        Self {
            folder: folder.to_owned(),
            all: paths.iter().map(read).collect(),
        }
    }

    /// The folder of truth files.
    pub fn truth(&self) -> PathBuf {
        self.folder.join("truth")
    }

    /// Written notes, each pass counted for itself.
    pub fn notes(&self) -> usize {
        let of = |take: &Take| {
            let passes: usize = take.passes.iter().map(|pass| pass.notes.len()).sum();
            take.notes.len() + passes
        };
        self.all.iter().map(of).sum()
    }

    /// Length of all takes, in minutes.
    pub fn minutes(&self) -> f64 {
        self.all.iter().map(|take| take.length_s).sum::<f64>() / 60.0
    }

    /// Copies the truth files of some instruments to `into`; false when there are none.
    ///
    /// # Panics
    /// When a file cannot be copied.
    pub fn copy_truth(&self, into: &Path, chosen: impl Fn(&Take) -> bool) -> bool {
        fs::create_dir_all(into).expect("a folder for truth files");
        let mut any = false;
        for take in self.all.iter().filter(|take| chosen(take)) {
            let name = format!("{}.json", take.take);
            fs::copy(self.truth().join(&name), into.join(&name)).expect("a truth can be copied");
            any = true;
        }
        any
    }

    /// Has the program write a report of every take to `into/NAME.json`, one take to a core.
    ///
    /// Output: the seconds that went by.
    ///
    /// # Panics
    /// When the program fails on a take, with what it said.
    pub fn report(&self, lines: Lines, into: &Path) -> f64 {
        fs::create_dir_all(into).expect("a folder for reports");
        let since = Instant::now();
        let next = AtomicUsize::new(0);
        let failures = Mutex::new(Vec::new());
        let threads = std::thread::available_parallelism().map_or(1, usize::from);
        std::thread::scope(|scope| {
            for _ in 0..threads {
                scope.spawn(|| {
                    while let Some(take) = self.all.get(next.fetch_add(1, Ordering::Relaxed)) {
                        if let Err(why) = self.report_one(take, lines, into) {
                            failures.lock().expect("no panic").push(why);
                        }
                    }
                });
            }
        });
        let failures = failures.into_inner().expect("no panic");
        assert!(
            failures.is_empty(),
            "takes without a report:\n{}",
            failures.join("\n")
        );
        since.elapsed().as_secs_f64()
    }

    /// One take as a player would have it judged: the real program, started anew.
    fn report_one(&self, take: &Take, lines: Lines, into: &Path) -> Result<(), String> {
        let name = &take.take;
        let text = self.folder.join(format!("lines/{name}.line"));
        let line = match lines {
            Lines::TextOrMidi if text.exists() => text,
            Lines::TextOrMidi | Lines::Midi => self.folder.join(format!("lines/{name}.mid")),
        };
        let mut program = Command::new(env!("CARGO_BIN_EXE_seamline"));
        program
            .env("SEAMLINE_SETTINGS", "")
            .args(["score", "--no-record"])
            .arg(self.folder.join("audio").join(&take.file))
            .arg("--line")
            .arg(line)
            .arg("--json")
            .arg(into.join(format!("{name}.json")));
        if let Some(bars) = &take.options.bars {
            program.args(["--bars", bars]);
        }
        if take.options.click {
            program.arg("--click");
        }
        let output = program.output().map_err(|e| format!("{name}: {e}"))?;
        if output.status.success() {
            Ok(())
        } else {
            let said = String::from_utf8_lossy(&output.stderr);
            Err(format!("{name}: {}: {}", output.status, said.trim_end()))
        }
    }
}
