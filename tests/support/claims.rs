//! What a report claims, read from the JSON that other programs read.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// A report, as far as it is held against the truth.
#[derive(Clone, Debug, Default, Deserialize, Serialize)]
pub struct Claims {
    pub notes: Vec<Claim>,
    pub extras: Vec<ExtraClaim>,
    pub bleed: Vec<BleedClaim>,
}

/// What is said of one expected note.
#[derive(Clone, Debug, Default, Deserialize, Serialize)]
pub struct Claim {
    pub index: usize,
    pub verdict: String,
    pub heard_midi: Option<f64>,
    pub cents: Option<f64>,
    pub onset_s: Option<f64>,
    pub release_s: Option<f64>,
    pub timing_ms: Option<f64>,
    pub gap_ms: Option<f64>,
    pub flags: Vec<String>,
    pub heard_at_s: Option<f64>,
    pub named_at_s: Option<f64>,
}

/// A note that nobody wrote.
#[derive(Clone, Debug, Deserialize, Serialize)]
pub struct ExtraClaim {
    pub onset_s: f64,
    pub midi: Option<f64>,
}

/// A string that sounded while it should not.
#[derive(Clone, Debug, Deserialize, Serialize)]
pub struct BleedClaim {
    pub from_s: f64,
    pub to_s: f64,
    pub midi: Option<f64>,
    pub level_db: Option<f64>,
    pub string: Option<u8>,
}

impl Claim {
    /// What is taken of a note that the report does not mention.
    pub fn absent(index: usize) -> Self {
        Self {
            index,
            verdict: "absent".to_owned(),
            ..Self::default()
        }
    }

    /// Whether it carries this flag.
    pub fn flagged(&self, flag: &str) -> bool {
        self.flags.iter().any(|f| f == flag)
    }
}

impl Claims {
    /// Reads a report.
    ///
    /// # Errors
    /// When it is no JSON or a field is missing or of another type.
    pub fn read(text: &str) -> Result<Self, serde_json::Error> {
        serde_json::from_str(text)
    }

    /// By index; of two claims about one note the later holds.
    pub fn by_index(&self) -> BTreeMap<usize, &Claim> {
        self.notes.iter().map(|note| (note.index, note)).collect()
    }
}
