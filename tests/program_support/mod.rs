//! The real program in a folder of its own, with a line and a clean take of it.
#![allow(dead_code, reason = "each test file needs its own part of it")]

use std::fs;
use std::path::PathBuf;
use std::process::{Command, Output};

/// Two bars of quarters by string and fret.
const LINE: &str =
    "title: Two bars\ntempo: 120\nmeter: 4/4\n\n1/4 3:0 3:3 2:2 2:5\n1/4 3:5 2:3 2:7 3:5\n";

/// A folder with a line and a clean take of it.
pub struct Bench(tempfile::TempDir);

/// What a run of the program gave.
pub struct Run {
    /// The arguments.
    pub command: String,
    /// What it said, and how it ended.
    pub output: Output,
}

impl Bench {
    pub fn new() -> Self {
        let bench = Self(tempfile::tempdir().expect("a folder"));
        bench.write("two.line", LINE.as_bytes());
        bench
            .run(&["hear", "two.line", "-o", "take.wav", "--seed", "7"])
            .exits(0);
        bench
    }

    /// A folder with nothing in it.
    pub fn empty() -> Self {
        Self(tempfile::tempdir().expect("a folder"))
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub fn write(&self, name: &str, bytes: &[u8]) {
        fs::write(self.path(name), bytes).expect("written");
    }

    pub fn take(&self) -> Vec<u8> {
        fs::read(self.path("take.wav")).expect("the take")
    }

    pub fn run(&self, arguments: &[&str]) -> Run {
        self.run_with(arguments, &[("COLUMNS", "80")])
    }

    /// The same with more in the environment.
    pub fn run_with(&self, arguments: &[&str], environment: &[(&str, &str)]) -> Run {
        let output = Command::new(env!("CARGO_BIN_EXE_seamline"))
            .args(arguments)
            .current_dir(self.0.path())
            .env("NO_COLOR", "1")
            .env("SEAMLINE_DATA", self.path("data"))
            .env("SEAMLINE_SETTINGS", "")
            .envs(environment.iter().copied())
            .output()
            .expect("the program starts");
        let run = Run {
            command: arguments.join(" "),
            output,
        };
        assert!(!run.err().contains("panicked"), "{}", run.shown());
        run
    }

    /// Scores the take `name`, given as bytes, against the line.
    pub fn score(&self, name: &str, bytes: &[u8]) -> Run {
        self.write(name, bytes);
        self.run(&["score", name, "--line", "two.line"])
    }

    /// Scores the clean take against the line `name`, given as bytes.
    pub fn score_line(&self, name: &str, bytes: &[u8]) -> Run {
        self.write(name, bytes);
        self.run(&["score", "take.wav", "--line", name])
    }
}

impl Run {
    pub fn out(&self) -> String {
        String::from_utf8_lossy(&self.output.stdout).into_owned()
    }

    pub fn err(&self) -> String {
        String::from_utf8_lossy(&self.output.stderr).into_owned()
    }

    pub fn shown(&self) -> String {
        format!(
            "$ seamline {}\n[exit {:?}]\n--- stdout\n{}\n--- stderr\n{}",
            self.command,
            self.output.status.code(),
            self.out(),
            self.err()
        )
    }

    pub fn exits(self, code: i32) -> Self {
        assert_eq!(self.output.status.code(), Some(code), "{}", self.shown());
        self
    }

    /// Exit 2, nothing on standard output, and all of `words` in a message of a few lines.
    pub fn refuses(self, words: &[&str]) -> Self {
        let run = self.exits(2);
        assert!(run.out().is_empty(), "{}", run.shown());
        let err = run.err().to_lowercase();
        assert!(
            (1..=6).contains(&err.trim().lines().count()),
            "{}",
            run.shown()
        );
        for word in words {
            let word = word.to_lowercase();
            assert!(err.contains(&word), "`{word}` is missing\n{}", run.shown());
        }
        run
    }

    /// Exit 0, and all of `words` in the report.
    pub fn reports(self, words: &[&str]) -> Self {
        let run = self.exits(0);
        for word in words {
            assert!(
                run.out().contains(word),
                "`{word}` is missing\n{}",
                run.shown()
            );
        }
        run
    }
}
