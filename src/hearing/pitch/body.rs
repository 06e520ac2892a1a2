//! A string beside a mode of the instrument's body: which of two candidates is the string, and where
//! its fundamental lies when the body has moved it.
//!
//! # Source
//! Two modes in one narrow band: see `dsp::two_modes`.

use super::{Candidate, PEAK_POWER_DB, PitchMeter, SERIES_PARTIALS};
use crate::hearing::dsp::stiff_string::{StiffString, partial};
use crate::units::cents;

/// A mode of the body may lie this far from a string's fundamental, in cents, ...
const BODY_FROM_CENTS: f64 = 30.0;
const BODY_WITHIN_CENTS: f64 = 250.0;
/// ... is hardly more periodic, by the normalised difference, ...
const BODY_DIP: f64 = 0.05;
/// ... and shows less than one in this many of the string's upper partials.
const BODY_UPPER: f64 = 1.3;
/// What has no upper partial at all is a mode also beside a series of so many, ...
const BARE_AGAINST: usize = 4;
/// ... this far from it, in cents, ...
const BARE_WITHIN_CENTS: f64 = 480.0;
/// ... and when it is clearly more periodic.
const BARE_DIP: f64 = 0.3;
/// Where a fundamental was moved, it is looked for beside the body's mode: below this frequency, ...
const MODES_BELOW_HZ: f64 = 250.0;
/// ... within so many cents of where the partials put it, ...
const COUPLED_CENTS: f64 = 60.0;
/// ... dying away no faster than a string, in decibels per second (common practice, from memory), ...
const STRING_DB_PER_S: f64 = 60.0;
/// ... and at least so many away from the other mode.
const MODES_APART_CENTS: f64 = 30.0;
/// A peak lies on a partial when it is within so much of a resolution cell.
const UPPER_CELL: f64 = 0.4;
/// ... and this far above what lies around it.
const UPPER_CLEAR_DB: f64 = 7.0;
const UPPER_RANGE_DB: f64 = 40.0;

impl PitchMeter {
    /// The string `s`, whose fundamental was moved, with the moved one taken in where it can be told
    /// from the body's mode: what of the string couples with the body lies to one side of where the
    /// partials put it, and what does not couple lies there; the pitch is between them.
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
