//! A string beside a mode of the instrument's body: which of two candidates is the string, and where
//! its fundamental lies when the body has moved it.
//!
//! # Source
//! Two modes in one narrow band: see `dsp::two_modes`.

use super::{Candidate, PEAK_POWER_DB, PitchMeter, SERIES_PARTIALS};
use crate::hearing::dsp::stiff_string::{StiffString, partial};
use crate::units::cents;

/// A mode of the body is looked for from this distance of a string's fundamental on, in cents.
/// Chosen on recorded strings; raised, modes close to the string are not told from it.
const BODY_FROM_CENTS: f64 = 30.0;
/// A mode of the body is looked for up to this distance, in cents. Chosen on recorded strings;
/// raised, a string is more often taken for a mode of its neighbour.
const BODY_WITHIN_CENTS: f64 = 250.0;
/// The string may be less periodic than the mode by this much of the normalised difference. Chosen
/// on recorded strings; raised, a string is more often taken for a mode.
const BODY_DIP: f64 = 0.05;
/// The string's upper partials must have more than this many times the weight that those of the
/// mode have. Chosen on recorded strings; raised, fewer modes are noticed.
const BODY_UPPER: f64 = 1.3;
/// What has no upper partial at all is a mode also further away, and beside a string that is less
/// periodic, when the string shows this many. Chosen on recorded strings; raised, fewer modes are
/// noticed.
const BARE_AGAINST: usize = 4;
/// It may then lie up to this far from the string, in cents. Chosen on recorded strings; raised, a
/// string without upper partials is more often taken for a mode.
const BARE_WITHIN_CENTS: f64 = 480.0;
/// The string may then be less periodic by this much of the normalised difference. Chosen on
/// recorded strings; raised, a string without upper partials is more often taken for a mode.
const BARE_DIP: f64 = 0.3;
/// Two modes are told apart only for strings below this, in hertz: modes of the body lie there.
/// Chosen on recorded strings.
const MODES_BELOW_HZ: f64 = 250.0;
/// What of a moved fundamental is the string's lies within this of where the partials put it, in
/// cents. Chosen on recorded strings; raised, the body's mode is taken for it.
const COUPLED_CENTS: f64 = 60.0;
/// A mode that dies away faster than this is no string, in decibels per second; common practice,
/// from memory. Raised, the body's mode is taken for the string.
const STRING_DB_PER_S: f64 = 60.0;
/// The two modes must lie at least this far apart, in cents. Chosen on recorded strings; raised,
/// fewer are told apart.
const MODES_APART_CENTS: f64 = 30.0;
/// A peak lies on a partial when it is within this share of a resolution cell. Chosen on recorded
/// strings; raised, more peaks count by chance.
const UPPER_CELL: f64 = 0.4;
/// Such a peak must stand this far above the mean of what lies around it, in decibels. Chosen on
/// recorded strings; raised, fewer count.
const UPPER_CLEAR_DB: f64 = 7.0;
/// Such a peak may lie this far below the strongest of all, in decibels. Chosen on recorded
/// strings; raised, softer ones count.
const UPPER_RANGE_DB: f64 = 40.0;

impl PitchMeter {
    /// A string whose fundamental the body has moved, with its pitch placed between two readings: the
    /// moved fundamental, and the place that the partials above it give. A string swings both towards
    /// the body, which moves it, and across it, which does not.
    ///
    /// Input: `s` as it was fitted, and the samples `x` it was fitted on. Output: `None` where the
    /// moved fundamental cannot be told from the body's own mode.
    pub(super) fn beside_a_mode(&mut self, s: StiffString, x: &[f32]) -> Option<StiffString> {
        if s.f1_hz > MODES_BELOW_HZ {
            return None;
        }
        let [slow, fast] = self.modes.find(x, self.rate_hz, s.f1_hz)?;
        let off = cents(slow.hz, s.f1_hz);
        let apart = cents(slow.hz, fast.hz).abs();
        if slow.loses_db_per_s > STRING_DB_PER_S
            || off.abs() > COUPLED_CENTS
            || !(MODES_APART_CENTS..BODY_WITHIN_CENTS).contains(&apart)
        {
            return None;
        }
        Some(StiffString {
            f1_hz: (s.f1_hz * slow.hz).sqrt(),
            uncertainty_cents: s.uncertainty_cents.hypot(0.5 * off),
            ..s
        })
    }

    /// The neighbour of `best` whose upper partials show where `best` has next to none: then what
    /// was found is a mode of the body beside the string's fundamental, and the neighbour the
    /// string. A body moves or outshines a fundamental, never a whole series.
    pub(super) fn beside_the_body(&self, best: Candidate) -> Candidate {
        let (own, own_count) = self.upper(best);
        self.candidates
            .iter()
            .filter(|c| {
                let apart = cents(c.hz, best.hz).abs();
                let near = apart < BODY_WITHIN_CENTS && c.dip < best.dip + BODY_DIP;
                let far = apart < BARE_WITHIN_CENTS && c.dip < best.dip + BARE_DIP;
                if apart < BODY_FROM_CENTS || !far {
                    return false;
                }
                let (upper, count) = self.upper(**c);
                let bare = own_count == 0 && count >= BARE_AGAINST;
                count > own_count && upper > BODY_UPPER * own && (near || bare)
            })
            .max_by(|a, b| a.score.total_cmp(&b.score))
            .copied()
            .unwrap_or(best)
    }

    /// Weight and number of the peaks that lie on the upper partials of `c`.
    fn upper(&self, c: Candidate) -> (f64, usize) {
        let reach = UPPER_CELL / self.spectrum.length_s;
        let (mut weight, mut count) = (0.0, 0);
        for k in 2..=SERIES_PARTIALS / 2 {
            let at = partial(c.hz, c.b, k);
            let Some(p) = self.spectrum.peak_between(at - reach, at + reach) else {
                continue;
            };
            let clear = self.spectrum.mean_db(at - 5.0 * reach, at + 5.0 * reach) + UPPER_CLEAR_DB;
            if p.db > (self.top_db - UPPER_RANGE_DB).max(clear) {
                weight += 10.0f64.powf((p.db - self.top_db) / PEAK_POWER_DB);
                count += 1;
            }
        }
        (weight, count)
    }
}
