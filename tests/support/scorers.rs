//! The takes' own scorers, programs in Python: the one yardstick of the gate. Their rules stand at
//! their heads; nothing here counts anything again.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

/// What a scorer found out.
#[derive(Clone, Debug)]
pub struct Scored {
    /// Over all takes.
    pub all: Value,
    /// By what was asked for.
    pub parts: BTreeMap<String, Value>,
    /// All it printed, with every difference between a report and the truth.
    pub log: String,
}

/// The folder of the scorers.
#[derive(Clone, Debug)]
pub struct Scorers {
    folder: PathBuf,
}

impl Scorers {
    /// The scorers in this folder, if they can be run; else why not.
    ///
    /// # Errors
    /// When there is no `python3`.
    ///
    /// # Panics
    /// When the folder does not hold both scorers.
    pub fn new(folder: &Path) -> Result<Self, String> {
        for name in ["score_report.py", "score_passes.py"] {
            let path = folder.join(name);
            assert!(path.is_file(), "there is no {}", path.display());
        }
        match Command::new("python3").arg("--version").output() {
            Ok(output) if output.status.success() => Ok(Self {
                folder: folder.to_owned(),
            }),
            _ => Err("there is no python3".to_owned()),
        }
    }

    /// Scores reports on takes of one pass, `by` `group` or `instrument`.
    pub fn report(&self, truth: &Path, reports: &Path, by: &str) -> Scored {
        self.score("score_report.py", truth, Some(reports), by)
    }

    /// Scores reports on takes of several passes, `by` `group` or `instrument`.
    pub fn passes(&self, truth: &Path, reports: &Path, by: &str) -> Scored {
        self.score("score_passes.py", truth, Some(reports), by)
    }

    /// What a perfect report of takes of several passes scores.
    pub fn perfect_passes(&self, truth: &Path) -> Scored {
        self.score("score_passes.py", truth, None, "group")
    }

    /// Has the scorer of single passes test itself on this truth.
    ///
    /// # Panics
    /// When its test fails.
    pub fn test_report(&self, truth: &Path) {
        let mut command = self.command("score_report.py", truth);
        run(command.arg("--self-test"));
    }

    fn command(&self, scorer: &str, truth: &Path) -> Command {
        let mut command = Command::new("python3");
        command
            .arg("-B")
            .arg(self.folder.join(scorer))
            .arg("--truth")
            .arg(truth);
        command
    }

    /// Runs a scorer; without reports on reports that it makes itself.
    fn score(&self, scorer: &str, truth: &Path, reports: Option<&Path>, by: &str) -> Scored {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("figures.json");
        let mut command = self.command(scorer, truth);
        match reports {
            Some(reports) => command.arg("--reports").arg(reports),
            None => command.arg("--self-test"),
        };
        command.args(["--by", by, "--verbose", "--json"]).arg(&path);
        let output = run(&mut command);
        let text = fs::read_to_string(path).expect("the scorer's figures");
        let mut figures: Value = serde_json::from_str(&text).expect("JSON");
        let lost = &figures["no_report"];
        assert!(
            lost.as_array().is_some_and(Vec::is_empty),
            "{scorer} had no report for {lost}"
        );
        let parts = figures["parts"].as_object().expect("figures by part");
        Scored {
            parts: parts.clone().into_iter().collect(),
            all: figures["all"].take(),
            log: String::from_utf8_lossy(&output.stdout).into_owned(),
        }
    }
}

fn run(command: &mut Command) -> Output {
    let output = command.output().expect("python3 runs");
    assert!(
        output.status.success(),
        "{command:?}: {}\n{}{}",
        output.status,
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    output
}
