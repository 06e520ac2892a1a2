//! The numbers that were reached once and may not be lost again.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::figures::Figure;
use super::scoring::Score;

/// Share by which a measurement (of time, of pitch) may be worse: the same sums come out in another
/// order on another processor. Counted things have no such room.
const ROOM: f64 = 0.01;

/// What stands in `fixtures/gate/ratchet.json`.
#[derive(Clone, Debug, Default, Deserialize, PartialEq, Serialize)]
pub struct Ratchet {
    /// The takes it was reached on; on others it says nothing.
    pub takes: usize,
    /// Their notes.
    pub notes: usize,
    /// The best reached so far.
    pub reached: BTreeMap<String, f64>,
}

/// Where it lies.
pub fn path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/gate/ratchet.json")
}

impl Ratchet {
    /// Reads it; an empty one when there is none yet.
    ///
    /// # Panics
    /// When the file cannot be understood.
    pub fn read(path: &Path) -> Self {
        match fs::read_to_string(path) {
            Ok(text) => serde_json::from_str(&text).expect("a ratchet"),
            Err(_) => Self::default(),
        }
    }

    /// Whether it was reached on takes as many as these.
    pub fn is_of(&self, score: &Score) -> bool {
        (self.takes, self.notes) == (score.takes, score.notes)
    }

    /// With every figure that is better now than it was; nothing becomes worse.
    pub fn raised(&self, score: &Score, figures: &[Figure]) -> Self {
        let mut raised = if self.is_of(score) {
            self.clone()
        } else {
            Self::default()
        };
        (raised.takes, raised.notes) = (score.takes, score.notes);
        for figure in figures {
            let Some(now) = figure.reached else { continue };
            let best = raised.reached.entry(figure.what.clone()).or_insert(now);
            if figure.as_good(now, *best) {
                *best = now;
            }
        }
        raised
    }

    /// What has become worse, as sentences.
    pub fn lost(&self, figures: &[Figure]) -> Vec<String> {
        let mut lost = Vec::new();
        for (what, &best) in &self.reached {
            let Some(figure) = figures.iter().find(|f| &f.what == what) else {
                lost.push(format!(
                    "{what}: {best} was reached, now it is not a figure"
                ));
                continue;
            };
            let Some(now) = figure.reached else {
                lost.push(format!(
                    "{what}: {best} was reached, now nothing is measured"
                ));
                continue;
            };
            let room = if figure.measured { ROOM * best } else { 0.0 };
            if !figure.as_good(now, best) && (now - best).abs() > room {
                lost.push(format!("{what}: {best} was reached, now it is {now}"));
            }
        }
        lost
    }

    /// Writes it.
    ///
    /// # Panics
    /// When it cannot be written.
    pub fn write(&self, path: &Path) {
        let text = serde_json::to_string_pretty(self).expect("numbers and names");
        fs::write(path, text + "\n").expect("the ratchet can be written");
    }
}
