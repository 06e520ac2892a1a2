//! Strings that begin with a short pulse: it dies within some milliseconds, and a period later the
//! string moves fully. The clearest jump is then a period late.
//!
//! Seen on recorded basses with flatwound strings: of 1613 onsets 93 were told more than 8 ms late,
//! nearly all of them by 0.79 to 0.96 periods of notes below B1.

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
/// How long before the clearest jump a pulse lies, in periods. On recorded strings 0.79 to 0.96. Wider,
/// more onsets are told a period early.
const PERIODS: std::ops::RangeInclusive<f64> = 0.75..=1.02;
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
        now > PULSE_DB && now > self.over_db(at, middle) + STEP_DB
    }
}

/// Moments before a jump at which the string may have begun with a pulse, in samples of the stream, the
/// highest first.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Pulses([Option<f64>; MOST]);

impl Pulses {
    /// Those at least `apart` samples before the jump at `best`.
    ///
    /// `joint`: the joint jump at each place that was looked at; `origin`: the sample of the stream of
    /// the first.
    pub(super) fn before(
        best: usize,
        apart: usize,
        joint: &[f64],
        low: &LowCopy<'_>,
        origin: f64,
    ) -> Self {
        let mut found: [Option<usize>; MOST] = [None; MOST];
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
        let mut joint = vec![-40.0; 150];
        joint[JUMP] = 0.0;
        joint[at] = -lower;
        let low = LowCopy {
            sums: &sums,
            taught: 1.0,
            spans: SPANS,
        };
        Pulses::before(JUMP, 30, &joint, &low, 1000.0)
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
    }
}
