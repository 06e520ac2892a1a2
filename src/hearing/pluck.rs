//! Whether an onset is a pluck: the evidence that every event carries.
//!
//! # Source
//! One logistic regression: D. R. Cox (1958), *The regression analysis of binary sequences*,
//! J. R. Statist. Soc. B 20, 215-242 (from memory). Its weights stand in [`super::weights`]
//! with what they were fitted on; `examples/fit` fits them again.

use super::events::OnsetFeatures;
use super::{logistic, weights};

/// How many features there are.
pub const FEATURES: usize = 26;

/// The names of the features, in the order of [`row`], as the table of the fit has them.
pub const NAMES: [&str; FEATURES] = [
    "novelty",
    "struck_low",
    "struck_middle",
    "struck_high",
    "rise",
    "fall",
    "relative_level",
    "clarity",
    "step",
    "relative_novelty",
    "struck",
    "struck_novelty",
    "same_novelty",
    "same_rise",
    "stopped",
    "turn",
    "fresh",
    "fresh_clear",
    "stays",
    "new",
    "new_novelty",
    "goes_on_known",
    "goes_on",
    "goes_on_new",
    "opens",
    "opens_clear",
];

/// A pitch less far than this from the note before, in semitones, is the same note.
const SAME_SEMITONES: f64 = 0.3;
/// Periodicity above which it is clear enough to be called the same, 0 to 1.
const SAME_CLARITY: f64 = 0.8;
/// A sound that falls by more than this may be a string that is stopped, in decibels.
const FALLS_DB: f64 = 5.0;
/// The pitch turns where both sides are more periodic than this, 0 to 1.
const TURN_CLARITY: f64 = 0.8;
/// Less new sound than this share is none.
const LEAST_NEW: f64 = 0.005;
/// What goes on whole to within this is not told from what goes on a little less.
const GOES_ON_REST: f64 = 0.02;

/// How whole what sounded before goes on, from 0 (nothing of it, or nothing known) to about 4 (all of it).
pub(super) fn goes_on_nats(f: &OnsetFeatures) -> f64 {
    let rest = |on: f64| 1.0 + GOES_ON_REST - on.clamp(-0.5, 1.0);
    f.goes_on.map_or(0.0, |on| -rest(on).ln())
}

/// How much is new, from 0 (nothing) to about 5 (all of it).
pub(super) fn new_nats(f: &OnsetFeatures) -> f64 {
    (f.new_share.clamp(LEAST_NEW, 1.0) / LEAST_NEW).ln()
}

/// The features of an onset, each held within the range on which it was learnt.
pub fn row(f: &OnsetFeatures) -> [f64; FEATURES] {
    let [low, middle, high] = f.error_rise_db.map(|e| e.clamp(-5.0, 20.0));
    let novelty = f.novelty_db.clamp(0.5, 20.0).ln();
    let rise = f.level_rise_db.clamp(-10.0, 10.0);
    let fall = f.level_fall_db.clamp(-10.0, 15.0);
    let step = (f.pitch_step_cents / 100.0).clamp(0.0, 1.0);
    let same = f64::from(u8::from(step < SAME_SEMITONES && f.clarity > SAME_CLARITY));
    // What an onset left behind after a tenth of a second, against what was there before it.
    let stays = (f.level_rise_db - f.level_fall_db).clamp(-15.0, 15.0);
    let new = new_nats(f);
    let on = goes_on_nats(f);
    let opens = f64::from(u8::from(f.opens));
    let row = [
        novelty,
        low,
        middle,
        high,
        rise,
        fall,
        f.relative_level_db.clamp(-25.0, 0.0),
        f.clarity,
        step,
        f.relative_novelty.clamp(0.05, 1.0).ln(),
        low.max(middle).clamp(0.0, 8.0),
        novelty * middle.clamp(0.0, 10.0) / 10.0,
        same * novelty,
        same * rise,
        (fall - FALLS_DB).clamp(0.0, 10.0) * (-rise).clamp(0.0, 10.0) / 25.0,
        (10.0 * (f.turn - TURN_CLARITY)).clamp(0.0, 2.0),
        f.fresh_share,
        f.fresh_share * f.clarity,
        stays,
        new,
        new * novelty,
        f64::from(u8::from(f.goes_on.is_some())),
        on,
        on * new,
        opens,
        opens * f.clarity,
    ];
    logistic::finite(row)
}

/// How sure it is that the onset is a pluck, in nats: above 0 more likely than not. Never fails.
pub fn nats(features: &OnsetFeatures) -> f64 {
    logistic::nats(&row(features), &weights::PLUCK, weights::PLUCK_CONSTANT)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Golden: the loss that the fit stated over its table.
    #[test]
    fn the_stated_loss_is_that_of_the_table() {
        let table = include_str!("../../fixtures/fit/pluck.csv");
        let loss = logistic::table_loss(table, &NAMES, &weights::PLUCK, weights::PLUCK_CONSTANT);
        assert!((loss - weights::PLUCK_TABLE_LOSS).abs() < 1e-3, "{loss}");
    }
}
