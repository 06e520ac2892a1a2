//! Strings that begin with a short pulse: it dies within some milliseconds, and a period later the
//! string moves fully. The clearest jump is then a period late.
//!
//! Seen on recorded basses with flatwound strings: of 1613 onsets 93 were told more than 8 ms late,
//! nearly all of them by 0.79 to 0.96 periods of notes below B1.

use super::dsp::power;
use super::jump::{is_top, mean};

/// The lowest copy is foretold worse at a pulse than its past was by this much, in decibels. On recorded
/// strings nine of ten pulses lie above 20, nine of ten moments a period before other onsets below 12.
/// Raised, more onsets are told a period late.
const PULSE_DB: f64 = 18.0;
/// The lowest copy is foretold worse at a pulse than just before it by this much, in decibels: else it
/// broke off sooner. Raised, more onsets are told a period late.
const STEP_DB: f64 = 6.0;
/// The jump at a pulse is lower than the clearest by no more than this, in nats. On recorded strings the
/// pulses lie within 6.8, nine of ten other moments are lower by 7 and more. Raised, more onsets are
/// told a period early.
const WITHIN_NATS: f64 = 6.0;
/// A finger that touches a ringing string breaks its motion off, too, but quiets it: what sounds from a
/// pulse on is fainter than what sounded before by no more than this, in decibels. On recorded strings
/// 95 of 100 pulses are above -0.8. Raised, more touches are taken for pulses.
const DIP_DB: f64 = 1.0;
/// How long before a moment, and behind it, the level is taken for that, in seconds. No longer
/// than half a period of the lowest strings behind it, so that a pulse is not mixed with the silence
/// after it.
const DIP_SPANS_S: (f64, f64) = (0.020, 0.010);
/// How long before the clearest jump a pulse lies, in periods. On recorded strings 0.79 to 0.96. Wider,
/// more onsets are told a period early.
const PERIODS: std::ops::RangeInclusive<f64> = 0.75..=1.02;
/// A pulse lies at least this long before the clearest jump, in seconds: it lasts some 5 ms and must be
/// over before the string comes back. Of 80 pulses on recorded strings 5 lie closer. Raised, onsets of
/// higher notes are told a period late.
const APART_S: f64 = 0.010;
/// Most pulses that are kept of a jump. Raised, nothing changes but the memory: more than one within a
/// period was not seen.
const MOST: usize = 3;

/// The lowest copy around a jump.
pub(super) struct LowCopy<'a> {
    /// Running sums of its squared errors.
    pub sums: &'a [f64],
    /// The mean error that is usual before the jump.
    pub taught: f64,
    /// How many samples before a moment, and how many behind it, are held against that.
    pub spans: (usize, usize),
    /// The sound itself, and the place in it of the first moment that is looked at.
    pub sound: (&'a [f32], usize),
    /// Samples per second.
    pub rate_hz: f64,
}

impl LowCopy<'_> {
    /// How much worse it is foretold than before the jump, in decibels.
    fn over_db(&self, from: usize, to: usize) -> f64 {
        10.0 * (mean(self.sums, from, to) / self.taught).log10()
    }

    fn is_pulse(&self, at: usize) -> bool {
        let (before, after) = self.spans;
        let middle = at + before;
        let now = self.over_db(middle, middle + after);
        now > PULSE_DB && now > self.over_db(at, middle) + STEP_DB && !self.is_quieted(at)
    }

    /// Whether what sounds from a moment on is fainter than what sounded before.
    fn is_quieted(&self, at: usize) -> bool {
        let (sound, origin) = self.sound;
        let moment = origin + at;
        let [before, after] =
            [DIP_SPANS_S.0, DIP_SPANS_S.1].map(|span| (span * self.rate_hz).round() as usize);
        let level_db = |from: usize, to: usize| {
            power::level_db(sound.get(from..to.min(sound.len())).unwrap_or_default())
        };
        let was = level_db(moment.saturating_sub(before), moment);
        level_db(moment, moment + after) < was - DIP_DB
    }
}

/// Moments before a jump at which the string may have begun with a pulse, in samples of the stream, the
/// highest first.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Pulses([Option<f64>; MOST]);

impl Pulses {
    /// Those well before the jump at `best`.
    ///
    /// `joint`: the joint jump at each place that was looked at; `origin`: the sample of the stream of
    /// the first.
    pub(super) fn before(best: usize, joint: &[f64], low: &LowCopy<'_>, origin: f64) -> Self {
        let mut found: [Option<usize>; MOST] = [None; MOST];
        let apart = (APART_S * low.rate_hz).round() as usize;
        for at in 0..best.saturating_sub(apart) {
            if is_top(joint, at) && joint[at] > joint[best] - WITHIN_NATS && low.is_pulse(at) {
                let lower =
                    |pulse: &Option<usize>| pulse.is_none_or(|kept| joint[kept] < joint[at]);
                if let Some(place) = found.iter().position(lower) {
                    found[place..].rotate_right(1);
                    found[place] = Some(at);
                }
            }
        }
        Self(found.map(|pulse| pulse.map(|at| origin + at as f64)))
    }

    /// When a string was let go whose clearest jump is at sample `jump`: a period before where a pulse
    /// lies there, else at that jump. `period` in samples; `None` where there is no pitch.
    pub fn begins(&self, jump: f64, period: Option<f64>) -> f64 {
        let a_period_before =
            |pulse: &f64| period.is_some_and(|period| PERIODS.contains(&((jump - pulse) / period)));
        let pulse = self.0.into_iter().flatten().find(a_period_before);
        pulse.unwrap_or(jump)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten samples before a moment and three behind it.
    const SPANS: (usize, usize) = (10, 3);
    const JUMP: usize = 100;

    /// Pulses at samples 20 and `at` of errors that are `pulse_db` over the past there, `before_db`
    /// before; the joint jump at `at` is `lower` nats under the one at [`JUMP`].
    fn pulses(at: usize, pulse_db: f64, before_db: f64, lower: f64) -> Pulses {
        quieted_by(0.0, (at, pulse_db, before_db, lower))
    }

    /// The same where the sound falls by `dip_db` at the pulse.
    fn quieted_by(dip_db: f64, (at, pulse_db, before_db, lower): (usize, f64, f64, f64)) -> Pulses {
        let power = |db: f64| 10f64.powf(db / 10.0);
        let mut sums = vec![0.0];
        for place in 0..200 {
            let moment = at + SPANS.0;
            let error = match place {
                _ if place >= moment && place < moment + SPANS.1 => power(pulse_db),
                _ if place >= at && place < moment => power(before_db),
                _ => 1.0,
            };
            sums.push(sums[place] + error);
        }
        let fallen = 10f64.powf(-dip_db / 20.0) as f32;
        let sound: Vec<f32> = (0..200)
            .map(|place| if place < at + SPANS.0 { 1.0 } else { fallen })
            .collect();
        let mut joint = vec![-40.0; 150];
        joint[JUMP] = 0.0;
        joint[at] = -lower;
        let low = LowCopy {
            sums: &sums,
            taught: 1.0,
            spans: SPANS,
            sound: (&sound, SPANS.0),
            rate_hz: 3000.0,
        };
        Pulses::before(JUMP, &joint, &low, 1000.0)
    }

    #[test]
    fn an_onset_is_moved_to_the_pulse_a_period_before_it() {
        let jump = 1000.0 + JUMP as f64;
        for (at, pulse_db, before_db, lower, period, begins) in [
            (55, 18.5, 0.0, 5.9, 50.0, 1055.0),
            // Foretold too well, broken off before, too low, too close to the jump.
            (55, 17.5, 0.0, 5.9, 50.0, jump),
            (55, 18.5, 13.0, 5.9, 50.0, jump),
            (55, 18.5, 12.0, 5.9, 50.0, 1055.0),
            (55, 18.5, 0.0, 6.1, 50.0, jump),
            (71, 18.5, 0.0, 5.9, 30.0, jump),
            (69, 18.5, 0.0, 5.9, 32.0, 1069.0),
            // Not a period before.
            (55, 18.5, 0.0, 5.9, 44.0, jump),
            (55, 18.5, 0.0, 5.9, 44.5, 1055.0),
            (55, 18.5, 0.0, 5.9, 59.9, 1055.0),
            (55, 18.5, 0.0, 5.9, 60.5, jump),
        ] {
            let found = pulses(at, pulse_db, before_db, lower).begins(jump, Some(period));
            assert_eq!(
                found, begins,
                "{at} {pulse_db} {before_db} {lower} {period}"
            );
        }
        assert_eq!(pulses(55, 18.5, 0.0, 5.9).begins(jump, None), jump);
        // A touch quiets the string.
        for (dip_db, begins) in [(0.9, 1055.0), (1.1, jump)] {
            let found = quieted_by(dip_db, (55, 18.5, 0.0, 5.9)).begins(jump, Some(50.0));
            assert_eq!(found, begins, "{dip_db}");
        }
    }
}
