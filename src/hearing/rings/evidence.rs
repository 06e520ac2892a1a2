//! How sure it is that a string rings in one window, from what its free partials show.
//!
//! # Source
//! A logistic regression (D. R. Cox 1958, from memory) over windows of recorded strings, known from
//! a prototype. The percentile instead of the mean keeps one leaking partial from making a string.

use super::PARTIALS;
use crate::hearing::dsp::free_partial::FreePartial;

/// Partials further below the strongest than this say nothing, in decibels.
const TEMPLATE_RANGE_DB: f64 = 25.0;
/// A partial that others leave less than this free says nothing.
const LEAST_FREE: f64 = 0.3;
/// The evidence is that of the partials at this rank, so that one leaking partial makes no string.
const RANK: f64 = 0.35;
/// The level is that of the partials at this one.
const MIDDLE: f64 = 0.6;
/// Weights of the evidence.
const LEVEL_WEIGHT: f64 = 0.27;
const LEVEL_FROM_DB: f64 = -30.0;
const CLEAR_WEIGHT: f64 = 0.125;
const SHARE_WEIGHT: f64 = 1.9;
const LENGTH_WEIGHT: f64 = 1.7;
const LENGTH_S: f64 = 0.2;
const CONSTANT: f64 = -1.7;
/// With less free than this share nothing can be told.
const LEAST_SHARE: f64 = 0.02;

/// Evidence that a string rings in one window, in nats, and its power there.
pub(in crate::hearing) fn evidence(
    seen: &[FreePartial],
    db: &[f64; PARTIALS],
    hz: &[f64; PARTIALS],
    length_s: f64,
    power: f64,
    lenient_db: f64,
    aged_db: f64,
) -> (f64, f64) {
    let mut template = [0.0; PARTIALS];
    let mut sum = 0.0;
    for k in 0..seen.len() {
        let d = db[k] - aged_db * (hz[k] - hz[0]) / 100.0;
        template[k] = 10f64.powf(d / 10.0);
        sum += template[k];
    }
    let top = template.iter().copied().fold(0.0, f64::max);
    let least = top * 10f64.powf(-TEMPLATE_RANGE_DB / 10.0);
    let mut levels = [(0.0, 0.0); PARTIALS];
    let mut clears = [(0.0, 0.0); PARTIALS];
    let (mut used, mut share, mut loud) = (0, 0.0, 0.0);
    for (k, s) in seen.iter().enumerate() {
        if s.free <= LEAST_FREE || template[k] < least {
            continue;
        }
        let t = template[k] / sum;
        let weight = (t * s.free).sqrt();
        levels[used] = (10.0 * (s.power / (t * power)).max(1e-9).log10(), weight);
        clears[used] = (
            10.0 * (s.power / s.noise.max(1e-16)).max(1e-3).log10(),
            weight,
        );
        used += 1;
        share += t;
        loud += (s.power - s.noise).max(0.0);
    }
    if used == 0 || share < LEAST_SHARE {
        return (f64::NAN, 0.0);
    }
    let level = ranked(&mut levels[..used], RANK);
    let clear = ranked(&mut clears[..used], RANK);
    let score = LEVEL_WEIGHT * (level + lenient_db - LEVEL_FROM_DB)
        + CLEAR_WEIGHT * clear
        + SHARE_WEIGHT * share.ln()
        + LENGTH_WEIGHT * (length_s / LENGTH_S).ln()
        + CONSTANT;
    // The level, too, is that of most partials: one that leaks must not make it.
    let middle = ranked(&mut levels[..used], MIDDLE);
    let robust = power * 10f64.powf(middle / 10.0);
    (score, robust.min(loud / share))
}

/// The value at the given rank of weighted values.
fn ranked(values: &mut [(f64, f64)], rank: f64) -> f64 {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let all: f64 = values.iter().map(|v| v.1).sum();
    let mut passed = 0.0;
    for v in values.iter() {
        passed += v.1;
        if passed >= rank * all {
            return v.0;
        }
    }
    values.last().map_or(f64::NEG_INFINITY, |v| v.0)
}
