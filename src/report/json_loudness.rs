//! What the JSON holds of how loud the notes are.

use serde::Serialize;

use super::json::{DECIMALS_DB, round, round_known};
use crate::compare::judgement::{Evenness, Loudness};

#[derive(Serialize)]
pub(super) struct EvennessOut {
    notes: usize,
    level_db: Option<f64>,
    spread_db: Option<f64>,
}

#[derive(Serialize)]
struct StringLevelOut {
    string: u8,
    level_db: Option<f64>,
}

#[derive(Serialize)]
pub(super) struct LoudnessOut {
    weighting: &'static str,
    notes: usize,
    spread_db: Option<f64>,
    drift_db: Option<f64>,
    drift_uncertainty_db: Option<f64>,
    register_db_per_octave: Option<f64>,
    strings: Vec<StringLevelOut>,
    withheld: Option<&'static str>,
}

/// The weighting that levels are told in.
const WEIGHTING: &str = "K (ITU-R BS.1770)";

impl From<&Evenness> for EvennessOut {
    fn from(evenness: &Evenness) -> Self {
        Self {
            notes: evenness.notes,
            level_db: round(evenness.level_db, DECIMALS_DB),
            spread_db: round(evenness.spread_db, DECIMALS_DB),
        }
    }
}

impl From<&Loudness> for LoudnessOut {
    fn from(loudness: &Loudness) -> Self {
        let evenness = loudness.evenness;
        let string = |&(string, level_db): &(u8, f64)| StringLevelOut {
            string,
            level_db: round(level_db, DECIMALS_DB),
        };
        Self {
            weighting: WEIGHTING,
            notes: evenness.map_or(0, |e| e.notes),
            spread_db: round_known(evenness.map(|e| e.spread_db), DECIMALS_DB),
            drift_db: round_known(loudness.drift_db, DECIMALS_DB),
            drift_uncertainty_db: round_known(loudness.drift_uncertainty_db, DECIMALS_DB),
            register_db_per_octave: round_known(loudness.register_db, DECIMALS_DB),
            strings: loudness.strings.iter().map(string).collect(),
            withheld: loudness.withheld.map(|why| why.word()),
        }
    }
}
