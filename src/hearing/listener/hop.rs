//! One hop of the novelty: whether it peaks and so makes a candidate, and which candidates are due.

use super::{CANDIDATE_DB, Candidate, JUDGED_AFTER_S, Listener};
use crate::hearing::events::Event;

/// A candidate is the highest peak within this many seconds on either side.
pub(super) const PEAK_REACH_S: f64 = 0.0175;
/// From the centre of the window whose novelty peaks back to the onset, in seconds.
const PEAK_TO_ONSET_S: f64 = 0.0024;

impl Listener {
    pub(super) fn hop(&mut self, rise: f32, say: &mut dyn FnMut(Event)) {
        // The place a peak of this hop's window speaks of, in the low-rate stream.
        let centre = self.high_count as f64 - self.novelty.window_frames() as f64 / 2.0;
        let high_rate = self.config.rate.hz() / self.high_factor as f64;
        let at = ((centre - PEAK_TO_ONSET_S * high_rate) * self.low_ratio).round() as i64;
        self.rises.push_back((at, rise));
        self.say_soon(rise, say);
        if self.rises.len() > 2 * self.peak_reach + 1 {
            self.rises.pop_front();
        }
        if self.rises.len() == 2 * self.peak_reach + 1 {
            let (at, v) = self.rises[self.peak_reach];
            let top = self.rises.iter().enumerate().all(|(i, (_, w))| {
                if i < self.peak_reach { *w < v } else { *w <= v }
            });
            if top && v >= CANDIDATE_DB {
                self.candidates.push_back(Candidate { at, novelty_db: v });
            }
        }
        if self.high_count == self.novelty.window_frames() as u64 {
            // Whatever sounds from the first frame on has no rise that could be seen.
            self.candidates.push_back(Candidate {
                at: 0,
                novelty_db: CANDIDATE_DB,
            });
        }
        if let Some(new) = self.lines.look(&self.stream) {
            self.watch_lines(new);
        }
        let due = self.stream.end() - (JUDGED_AFTER_S * self.low_rate_hz) as i64;
        while let Some(c) = self.candidates.front().copied().filter(|c| c.at < due) {
            self.candidates.pop_front();
            self.judge(c);
        }
        self.settle_ready(say);
    }
}
