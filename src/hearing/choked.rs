//! Whether a sound that dies at once was a pluck, choked or short, or a string that is stopped, a click,
//! a knock.
//!
//! Each breaks off from its past as a pluck does. A string that is stopped falls from where it was and
//! brings nothing new; a choked pluck rises over what rang, or is as loud as the notes around it.
//!
//! # Source
//! One logistic regression, see [`beside`](super::beside).

use super::events::HeardNote;
use super::{logistic, pluck, weights};

/// How many features there are.
pub const FEATURES: usize = 19;

/// The names of the features, in the order of [`row`], as the table of the fit has them.
pub const NAMES: [&str; FEATURES] = [
    "evidence",
    "novelty",
    "under",
    "far_under",
    "rise",
    "drop",
    "fall",
    "new",
    "clarity",
    "tone",
    "added",
    "struck_low",
    "struck_middle",
    "struck_high",
    "struck_above",
    "jump",
    "goes_on",
    "goes_on_new",
    "stays",
];

/// A sound that falls by this much within a tenth of a second dies at once, in decibels; a string
/// that rings loses 1 to 6 (3 to 60 dB/s, common practice, no source).
const DIES_DB: f64 = 10.0;

/// A sound this far below the take's notes is soft even for a choked pluck, in decibels.
const FAR_UNDER_DB: f64 = 10.0;
/// A choked pluck seldom lies further than this below what rang before it, in decibels.
const DROP_DB: f64 = 8.0;

/// Periodicity of the whole sound from which it has a tone, 0 to 1.
const TONE: f64 = 0.8;

/// How far a sound falls just after its onset, in decibels.
pub(super) fn fall_db(heard: &HeardNote) -> f64 {
    heard
        .early_fall_db
        .unwrap_or(0.0)
        .max(heard.features.level_fall_db)
}

/// Whether a sound dies at once.
pub fn dies(heard: &HeardNote) -> bool {
    fall_db(heard) >= DIES_DB
}

/// The features of a sound that dies at once, each held within the range on which it was learnt.
///
/// `usual_dbfs` is the median level of the take's notes, in decibels relative to full scale.
pub fn row(heard: &HeardNote, usual_dbfs: f64) -> [f64; FEATURES] {
    let f = &heard.features;
    let [low, middle, high] = f.error_rise_db.map(|db| db.clamp(-5.0, 30.0));
    let under_db = (usual_dbfs - heard.level_dbfs).clamp(-10.0, 30.0);
    let rise_db = f.level_rise_db.clamp(-20.0, 20.0);
    let tone = heard.pitch.map_or(0.0, |pitch| pitch.clarity);
    let goes_on = pluck::goes_on_nats(f);
    let row = [
        heard.evidence.clamp(-8.0, 6.0),
        heard.novelty_db.max(0.3).ln(),
        under_db,
        (under_db - FAR_UNDER_DB).max(0.0),
        rise_db,
        (-rise_db - DROP_DB).max(0.0),
        fall_db(heard).clamp(0.0, 30.0),
        f.new_share.clamp(0.02, 1.0).ln(),
        f.clarity,
        (tone - TONE).max(0.0) / (1.0 - TONE),
        f.added_score.max(0.0),
        low,
        middle,
        high,
        middle.max(high),
        f.jump.clamp(-10.0, 40.0),
        goes_on,
        goes_on * pluck::new_nats(f),
        (f.level_rise_db - f.level_fall_db).clamp(-15.0, 15.0),
    ];
    logistic::finite(row)
}

/// How sure it is that a sound that dies at once was a pluck, in nats: above 0 more likely than not.
/// Never fails.
pub fn nats(heard: &HeardNote, usual_dbfs: f64) -> f64 {
    let row = row(heard, usual_dbfs);
    logistic::nats(&row, &weights::CHOKED, weights::CHOKED_CONSTANT)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Golden: the loss that the fit stated over its table.
    #[test]
    fn the_stated_loss_is_that_of_the_table() {
        let table = include_str!("../../fixtures/fit/choked.csv");
        let loss = logistic::table_loss(table, &NAMES, &weights::CHOKED, weights::CHOKED_CONSTANT);
        assert!((loss - weights::CHOKED_TABLE_LOSS).abs() < 1e-3, "{loss}");
    }
}
