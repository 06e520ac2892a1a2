//! What was really played, as the takes' truth files tell it. Fields that are not asked about are
//! left out; their meaning stands in the README beside the takes.

use serde::Deserialize;

/// One take.
#[derive(Clone, Debug, Deserialize)]
pub struct Truth {
    pub take: String,
    pub line: String,
    pub file: String,
    pub instrument: String,
    pub length_s: f64,
    pub notes: Vec<TrueNote>,
    pub extras: Vec<TrueExtra>,
    pub bleed: Vec<TrueBleed>,
}

/// One expected note.
#[derive(Clone, Debug, Deserialize)]
pub struct TrueNote {
    pub id: usize,
    /// `None` for a note that was not played.
    pub played: Option<Played>,
    pub faults: Vec<String>,
}

/// How it was played.
#[derive(Clone, Debug, Deserialize)]
pub struct Played {
    pub midi: f64,
    pub cents: f64,
    pub string: u8,
    /// `normal`, `dead` or `slide`.
    pub kind: String,
    pub onset_s: f64,
    pub release_s: f64,
    pub timing_ms: f64,
    pub gap_ms: Option<f64>,
    pub gap_scored: bool,
    pub bleed_db: Option<f64>,
    pub own_ring_db: Option<f64>,
}

/// A pluck that nobody wrote.
#[derive(Clone, Debug, Deserialize)]
pub struct TrueExtra {
    pub onset_s: f64,
    pub midi: f64,
    #[serde(default)]
    pub level_db: f64,
}

/// A string that sounded while it should not.
#[derive(Clone, Debug, Deserialize)]
pub struct TrueBleed {
    pub kind: String,
    pub from_s: f64,
    pub to_s: f64,
    pub midi: f64,
    pub string: u8,
    pub level_db: f64,
    pub end_level_db: f64,
    pub covers: Vec<usize>,
}

impl TrueNote {
    /// Whether this fault was put into it.
    pub fn has(&self, fault: &str) -> bool {
        self.faults.iter().any(|f| f == fault)
    }

    /// What a report should say of it, the first that holds.
    pub fn wanted(&self) -> &'static str {
        if self.played.is_none() {
            return "missed";
        }
        ["wrong", "dead", "detuned"]
            .into_iter()
            .find(|fault| self.has(fault))
            .unwrap_or("right")
    }
}
