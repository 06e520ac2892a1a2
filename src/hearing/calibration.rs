//! What is known of an instrument's strings, and what still sounds after one was stopped.
//!
//! # Source
//! Partials of a stiff string: H. Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209. That a string
//! is told by several partials and never by one, since bodies ring at fixed frequencies, was
//! measured on recorded strings.

use super::dsp::free_partial;
use super::dsp::history::History;
use super::rings::{PARTIALS, Rings, SKIP_S, Template, WINDOW_S};

/// One open string as it was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownString {
    /// Fundamental in hertz.
    pub hz: f64,
    /// Stiffness B.
    pub inharmonicity: f64,
    /// Its partials as shares of their power, in decibels, the first first.
    pub partials_db: Vec<f64>,
    /// The loudest it was heard to answer when another open string was played and stopped, in
    /// decibels relative to that; [`SILENT_ANSWER_DB`] when it was not heard to answer at all, `None`
    /// when there was no silence to tell.
    pub answers_db: Option<f64>,
}

/// A string that still sounds after the played note was stopped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StillSounding {
    /// Fundamental in hertz.
    pub hz: f64,
    /// Its power relative to that of the note when it was played, in decibels.
    pub level_db: f64,
}

/// Time after a note was stopped until its own damped sound is over, in seconds. Raised, short
/// silences tell nothing.
const OVER_S: f64 = 0.20;
/// Longest stretch that is looked at, in seconds.
const LONGEST_S: f64 = 0.50;
/// Shortest stretch that tells anything, in seconds. Raised, short silences tell nothing.
const SHORTEST_S: f64 = 0.20;
/// Partials of a string that are looked at.
const LOOKED_AT: usize = 8;
/// Partials of a string that must show, since bodies ring at one frequency and strings at several.
/// Raised, soft answers are not told.
const MUST_SHOW: usize = 2;
/// One of the first partials up to this one must be among them. Raised, high resonances are taken
/// for a string.
const ONE_OF_FIRST: usize = 3;
/// A partial shows when it stands this far above the noise, in decibels. Raised, soft answers are
/// not told.
const CLEAR_DB: f64 = 12.0;
/// A partial shows only when it is no further than this below the note that was stopped, in
/// decibels. Raised, soft answers are not told.
const RANGE_DB: f64 = -66.0;
/// A string that shows nothing after another one was stopped answers more softly than this.
pub const SILENT_ANSWER_DB: f64 = RANGE_DB;
/// A partial this close to one of a louder string, in cells, is that string's.
const SHARED_CELLS: f64 = 1.5;

impl Rings {
    /// The strings that sound after the note at `onset` was stopped at `release` and before `next`
    /// begins, the loudest first; `None` when there is too little silence to tell.
    ///
    /// `itself`: the note's own fundamental in hertz.
    pub fn still(
        &mut self,
        stream: &History,
        (onset, release, next): (f64, f64, f64),
        itself: f64,
    ) -> Option<Vec<StillSounding>> {
        let r = self.rate_hz;
        let first = (release - onset - SKIP_S * r).min(WINDOW_S * r);
        let from = release + OVER_S * r;
        let length = (next - from).min(LONGEST_S * r);
        if length < SHORTEST_S * r || first < SHORTEST_S * r {
            return None;
        }
        let whole = self.analyse_window(stream, onset + SKIP_S * r, first)?;
        self.analyse_window(stream, from, length)?;
        let mut asked = self.open_hz.clone();
        if asked.iter().all(|f| (itself / f).log2().abs() > 0.5 / 12.0) {
            asked.push(itself);
        }
        let on = self.on();
        let mut found: Vec<(f64, Vec<(f64, f64)>)> = asked
            .into_iter()
            .map(|hz| {
                let t: Template = self.template(hz);
                let shown = (0..t.count.min(LOOKED_AT))
                    .filter_map(|k| {
                        let p = free_partial::fit(&self.peeler, on, t.hz[k], &[])?;
                        let db = |x: f64| 10.0 * x.max(1e-9).log10();
                        let clear = db(p.power / p.noise.max(1e-16)) > CLEAR_DB
                            && db(p.power / whole) > RANGE_DB;
                        clear.then_some((t.hz[k], p.power))
                    })
                    .collect();
                (t.hz[0], shown)
            })
            .collect();
        let sum = |shown: &[(f64, f64)]| shown.iter().map(|s| s.1).sum::<f64>();
        found.sort_by(|a, b| sum(&b.1).total_cmp(&sum(&a.1)));
        let mut taken: Vec<f64> = Vec::with_capacity(4 * PARTIALS);
        let mut still = Vec::new();
        for (hz, shown) in found {
            let near = SHARED_CELLS / on.length_s;
            let own: Vec<(f64, f64)> = shown
                .into_iter()
                .filter(|s| taken.iter().all(|t| (t - s.0).abs() > near))
                .collect();
            let low = own.iter().any(|s| s.0 < (ONE_OF_FIRST as f64 + 0.5) * hz);
            if own.len() < MUST_SHOW || !low {
                continue;
            }
            still.push(StillSounding {
                hz,
                level_db: 10.0 * (sum(&own) / whole).max(1e-9).log10(),
            });
            taken.extend(own.iter().map(|s| s.0));
        }
        Some(still)
    }
}
