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
/// The evidence is that of the partials at this rank, 0 for the weakest and 1 for the strongest:
/// one leaking partial makes no string. Raised, fewer partials need to show it.
const RANK: f64 = 0.35;
/// The level is that of the partials at this rank, 0 for the weakest and 1 for the strongest.
/// Raised, rings are told louder.
const MIDDLE: f64 = 0.6;
/// No level is lower than this, in decibels.
const FAINTEST_DB: f64 = -90.0;
/// Weight of a string's level, in nats for each decibel. From the logistic regression over windows
/// of recorded strings; raised, soft rings lose evidence.
const LEVEL_WEIGHT: f64 = 0.27;
/// Level relative to all that sounds from which it speaks for a string, in decibels. It only moves
/// the constant.
const LEVEL_FROM_DB: f64 = -30.0;
/// Weight of how far the partials stand above the noise, in nats for each decibel. From the
/// logistic regression over windows of recorded strings; raised, rings in a clean recording gain
/// evidence.
const CLEAR_WEIGHT: f64 = 0.125;
/// Weight of the share of the string's power that can be seen, in nats for each neper. From the
/// logistic regression over windows of recorded strings; raised, strings whose partials are hidden
/// lose evidence.
const SHARE_WEIGHT: f64 = 1.9;
/// Weight of the window's length, in nats for each neper. From the logistic regression over windows
/// of recorded strings; raised, short windows say less.
const LENGTH_WEIGHT: f64 = 1.7;
/// Length of a window that adds nothing to the evidence, in seconds. It only moves the constant.
const LENGTH_S: f64 = 0.2;
/// Constant of the evidence, in nats. From the logistic regression over windows of recorded
/// strings; raised, more rings are told, true and false.
const CONSTANT: f64 = -1.7;
/// A partial shows when it stands this far above the noise, in decibels.
const SHOWS_DB: f64 = 10.0;
/// Share of a string's power that must be free to be seen, 0 to 1. With less nothing is told of it.
const LEAST_SHARE: f64 = 0.02;

/// How a string's power is spread over its partials.
#[derive(Clone, Copy, Debug)]
pub(in crate::hearing) struct Spread {
    /// Share of each partial in the string's power, 0 to 1.
    share: [f64; PARTIALS],
    /// The same in decibels.
    db: [f64; PARTIALS],
    /// The square root of the share.
    root: [f64; PARTIALS],
    /// Whether the partial is strong enough to say something.
    counts: [bool; PARTIALS],
}

impl Default for Spread {
    fn default() -> Self {
        Self {
            share: [0.0; PARTIALS],
            db: [f64::NEG_INFINITY; PARTIALS],
            root: [0.0; PARTIALS],
            counts: [false; PARTIALS],
        }
    }
}

impl Spread {
    /// The spread of `db` over partials at `hz`, with the high ones died away by `aged_db` for each
    /// 100 Hz.
    pub fn new(db: &[f64], hz: &[f64], aged_db: f64) -> Self {
        let mut spread = Self::default();
        for (k, (db, at)) in db.iter().zip(hz).enumerate() {
            spread.db[k] = db - aged_db * (at - hz[0]) / 100.0;
            spread.share[k] = 10f64.powf(spread.db[k] / 10.0);
        }
        let sum: f64 = spread.share.iter().sum();
        let sum_db = 10.0 * sum.max(1e-300).log10();
        let top = spread.share.iter().copied().fold(0.0, f64::max);
        let least = top * 10f64.powf(-TEMPLATE_RANGE_DB / 10.0);
        for k in 0..db.len() {
            spread.counts[k] = spread.share[k] >= least;
            spread.share[k] /= sum;
            spread.db[k] -= sum_db;
            spread.root[k] = spread.share[k].sqrt();
        }
        spread
    }

    /// Whether partial `k`, counted from 0, says something.
    pub fn counts(&self, k: usize) -> bool {
        self.counts[k]
    }
}

/// One partial that is free enough.
#[derive(Clone, Copy)]
struct Partial {
    /// Level relative to all that sounds, in decibels.
    level_db: f64,
    /// How far it stands above the noise, in decibels.
    clear_db: f64,
    /// The square root of its free share.
    root_free: f64,
    /// Power beyond the noise.
    own: f64,
    /// In the middle of the window, in radians.
    phase: f64,
}

/// What one window says of a string.
#[derive(Clone, Copy, Debug)]
pub(in crate::hearing) struct Reading {
    /// Evidence that it rings, in nats; not a number where nothing can be told.
    pub nats: f64,
    /// Its power.
    pub power: f64,
    /// Level of its partials relative to all that sounds, in decibels.
    pub level_db: f64,
    /// How far they stand above the noise, in decibels.
    pub clear_db: f64,
    /// Share of the string's power that can be seen, 0 to 1.
    pub share: f64,
    /// How many partials show.
    pub own: f64,
    /// How far their levels lie apart from those of the string, in decibels.
    pub scatter_db: f64,
}

/// What the partials of a string show in one window.
#[derive(Clone)]
pub(in crate::hearing) struct Shown {
    /// Those that are free enough.
    partials: [Option<Partial>; PARTIALS],
    power: f64,
    length_s: f64,
}

impl Shown {
    /// `power`: of all that sounds in the window of `length_s` seconds.
    pub fn new(seen: &[FreePartial], length_s: f64, power: f64) -> Self {
        let mut partials = [None; PARTIALS];
        for (shown, s) in partials.iter_mut().zip(seen) {
            *shown = (s.free > LEAST_FREE).then(|| Partial {
                level_db: 10.0 * (s.power / power).max(1e-30).log10(),
                clear_db: 10.0 * (s.power / s.noise.max(1e-16)).max(1e-3).log10(),
                root_free: s.free.sqrt(),
                own: (s.power - s.noise).max(0.0),
                phase: s.phase,
            });
        }
        Self {
            partials,
            power,
            length_s,
        }
    }
}

impl Shown {
    /// The phase of partial `k`, the root of its free share in a string of this spread, and how far
    /// it stands above the noise in decibels; `None` where it shows nothing.
    pub fn phase(&self, k: usize, spread: &Spread) -> Option<(f64, f64, f64)> {
        let p = self.partials[k].filter(|_| spread.counts[k])?;
        Some((p.phase, spread.root[k] * p.root_free, p.clear_db))
    }
}

/// What one window says of a string of this spread.
pub(in crate::hearing) fn evidence(shown: &Shown, spread: &Spread) -> Reading {
    let mut levels = [(0.0, 0.0); PARTIALS];
    let mut clears = [(0.0, 0.0); PARTIALS];
    let (mut used, mut share, mut loud, mut own) = (0, 0.0, 0.0, 0);
    for (k, partial) in shown.partials.iter().enumerate() {
        let Some(p) = partial.filter(|_| spread.counts[k]) else {
            continue;
        };
        let weight = spread.root[k] * p.root_free;
        levels[used] = ((p.level_db - spread.db[k]).max(FAINTEST_DB), weight);
        clears[used] = (p.clear_db, weight);
        used += 1;
        own += usize::from(p.clear_db > SHOWS_DB);
        share += spread.share[k];
        loud += p.own;
    }
    let mut reading = Reading {
        nats: f64::NAN,
        power: 0.0,
        level_db: FAINTEST_DB,
        clear_db: 0.0,
        share,
        own: own as f64,
        scatter_db: 0.0,
    };
    if used == 0 || share < LEAST_SHARE {
        return reading;
    }
    let levels = &mut levels[..used];
    levels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let clears = &mut clears[..used];
    clears.sort_by(|a, b| a.0.total_cmp(&b.0));
    reading.level_db = ranked(levels, RANK);
    reading.clear_db = ranked(clears, RANK);
    reading.nats = LEVEL_WEIGHT * (reading.level_db - LEVEL_FROM_DB)
        + CLEAR_WEIGHT * reading.clear_db
        + SHARE_WEIGHT * share.ln()
        + LENGTH_WEIGHT * (shown.length_s / LENGTH_S).ln()
        + CONSTANT;
    // The level, too, is that of most partials: one that leaks must not make it.
    let robust = shown.power * 10f64.powf(ranked(levels, MIDDLE) / 10.0);
    reading.power = robust.min(loud / share);
    let middle = ranked(levels, 0.5);
    levels.iter_mut().for_each(|l| l.0 = (l.0 - middle).abs());
    levels.sort_by(|a, b| a.0.total_cmp(&b.0));
    reading.scatter_db = ranked(levels, 0.5);
    reading
}

/// The evidence that a string is given beyond its own, in nats, when it is to be believed at a level
/// `lenient_db` decibels lower.
pub(in crate::hearing) fn leniency(lenient_db: f64) -> f64 {
    LEVEL_WEIGHT * lenient_db
}

/// The value at the given rank of weighted values in their order.
fn ranked(values: &[(f64, f64)], rank: f64) -> f64 {
    let all: f64 = values.iter().map(|v| v.1).sum();
    let mut passed = 0.0;
    for v in values {
        passed += v.1;
        if passed >= rank * all {
            return v.0;
        }
    }
    values.last().map_or(f64::NEG_INFINITY, |v| v.0)
}
