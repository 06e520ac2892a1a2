//! When a pass is judged, when it is over, and what follows.

use std::time::Instant;

use super::{AROUND_S, Conductor, STRAIGHT_ON_S, Stage};
use crate::compare::judgement::TimingMode;
use crate::session::live::band::Order;
use crate::session::live::pass::Judged;

/// A player who is silent for this long has stopped, in seconds.
const SILENT_S: f64 = 3.0;
/// The line has been played when its last note has sounded this much longer than it is written,
/// in seconds, or has been stopped for this long. Raised, a pass is told later.
const AFTER_LAST_S: f64 = 1.0;
/// The line has been played when at least this share of its notes was heard; with fewer, the last
/// one was found by chance. Raised, a pass with many missed notes ends with silence alone.
const PLAYED_SHARE: f64 = 0.5;
/// Notes that make a pass, even of a line that was not recognised. Raised, short tries are not
/// counted as passes.
const PLAYED_NOTES: usize = 3;
/// A pass ends this long before the first note of the next one, in seconds.
const BEFORE_NEXT_S: f64 = 0.030;
/// Judging a pass anew must not take more than this share of the time.
const JUDGING_SHARE: u32 = 5;
/// The last note of a pass with a click is waited for this long after the pass's end, in seconds:
/// until the ear has said what it would say now. Raised, the pass is told later.
const AFTER_CLICK_S: f64 = 0.45;

impl Conductor {
    /// Looks at everything anew; to be called some fifty times a second with the moment it is.
    pub(in crate::session::live) fn tick(&mut self, now: Instant) {
        let rested = self
            .judged_at
            .is_none_or(|at| now.duration_since(at) >= self.judging_took * JUDGING_SHARE);
        if self.stale && rested && matches!(self.stage, Stage::Running) {
            self.judge_now();
            self.judged_at = Some(now);
        }
        if matches!(self.stage, Stage::Running) {
            self.order_ahead();
        }
        if matches!(self.stage, Stage::Running)
            && let Some(end_s) = self.pass_end()
        {
            self.end_pass(end_s);
        }
    }

    pub(super) fn judge_now(&mut self) {
        let began = Instant::now();
        let judged = self.judge();
        self.own_views();
        self.views = judged.views(false, &self.views);
        let last_s = judged.last_onset_s();
        if let Some(last_s) = last_s {
            self.starts_since.retain(|s| *s > last_s + 0.03);
        }
        self.judged = Some(judged);
        self.stale = false;
        self.judging_took = began.elapsed();
    }

    /// Where the running pass has ended, if it has, in seconds of the stream.
    pub(super) fn pass_end(&self) -> Option<f64> {
        let now_s = self.position.at_s;
        if self.pass.mode == TimingMode::Click {
            let around_s = if self.counts_in {
                AROUND_S
            } else {
                -STRAIGHT_ON_S
            };
            let end_s = self.pass.click_at_s? + self.chosen.length_s + around_s;
            return (now_s >= end_s + AFTER_CLICK_S).then_some(end_s);
        }
        let judged = self.judged.as_ref()?;
        if let Some(next_s) = judged.next_pass_s() {
            return Some(next_s - BEFORE_NEXT_S);
        }
        if let Some(end_s) = self.line_played(judged) {
            return Some(end_s);
        }
        // Silence: nothing began and nothing has sounded for `SILENT_S`.
        let last = self.heard.soon_notes.iter().chain(self.heard.notes.last());
        let sounded_s = last
            .filter(|note| note.onset_s >= self.pass.from_s)
            .map(|note| note.release_s)
            .fold(self.last_start_s, f64::max);
        let quiet = now_s - sounded_s >= SILENT_S && self.last_start_s > self.pass.from_s;
        quiet.then_some(now_s)
    }

    /// Whether something was played in the pass: a knock and a string that was touched are none.
    fn was_played(&self, judged: &Judged) -> bool {
        let pass = &self.pass;
        let inside = |at_s: f64| at_s >= pass.from_s && at_s < pass.to_s;
        let sure = self
            .heard
            .notes
            .iter()
            .chain(&self.heard.soon_notes)
            .filter(|note| note.evidence > 0.0 && inside(note.onset_s))
            .count();
        let wanted = PLAYED_NOTES.min(self.chosen.piece.notes.len());
        judged.heard().max(sure) >= wanted
    }

    /// Where the line has been played to its end.
    pub(super) fn line_played(&self, judged: &Judged) -> Option<f64> {
        let notes = &judged.notes;
        let last = notes.last()?.as_ref()?;
        let heard = last.heard.as_ref()?;
        if (judged.heard() as f64) < PLAYED_SHARE * notes.len() as f64 {
            return None;
        }
        let stretch = judged
            .now()
            .and_then(|now| now.timing.tempo_bpm)
            .map_or(1.0, |bpm| self.chosen.piece.info.tempo_bpm / bpm);
        let written_s = heard.onset_s + last.expected.length_s * stretch;
        let due_s = written_s.min(heard.release_s.max(heard.onset_s)) + AFTER_LAST_S;
        // A player who goes straight on has ended the pass, too.
        let next = self
            .heard
            .notes
            .iter()
            .rev()
            .take_while(|n| n.onset_s > heard.onset_s + 0.05)
            .filter(|n| n.evidence > 0.0 && n.onset_s > written_s - 0.2)
            .last();
        match next {
            Some(next) if next.onset_s < due_s => {
                // Where two places of the line fit, the last note may yet be another.
                let decided = judged.decided_s() >= heard.onset_s;
                decided.then_some(next.onset_s - BEFORE_NEXT_S)
            }
            _ => (self.position.at_s >= due_s).then_some(due_s),
        }
    }

    pub(super) fn end_pass(&mut self, end_s: f64) {
        self.pass.to_s = end_s;
        let judged = self.judge();
        // To a click a pass is over when its bars are, whatever was played.
        let to_click = self.pass.mode == TimingMode::Click && self.settings.passes.is_some();
        // A few notes before the player begins again are no pass of their own.
        let false_start = self.pass.mode == TimingMode::Free
            && end_s < self.position.at_s
            && judged.now().is_none_or(|now| !now.judged)
            && self.next_begun();
        let heard = (self.was_played(&judged) || to_click) && !false_start;
        if heard {
            self.own_views();
            self.views = judged.views(true, &self.views);
            self.keep_pass(&judged);
        }
        let done = self
            .settings
            .passes
            .is_some_and(|wanted| self.spans.len() >= wanted as usize);
        if done {
            self.judged = Some(judged);
            self.stage = Stage::Over;
            self.orders.push(Order::Stop);
            return;
        }
        let number = self.pass.number + u32::from(heard);
        let after = self.out_rate.zip(self.bar1_frame).filter(|_| self.click);
        let after = after.map(|(rate, bar1)| bar1 + (self.chosen.length_s * rate.hz()) as u64);
        let after = after.filter(|_| !self.take_tempo());
        let views = std::mem::take(&mut self.views);
        self.begin(number, end_s, after);
        // What was said of the last pass stays to be read until the next one begins.
        self.views = views;
        self.stale = true;
    }

    /// Keeps what became of the pass that is over, beside the ones before it.
    fn keep_pass(&mut self, judged: &Judged) {
        self.history.add(judged);
        let mut view = judged.over(&self.pass, &self.chosen.piece);
        let join = self.chosen.join.as_ref().map(|join| join.index);
        view.compared = self.past.add(judged, &view, join, self.pass.share);
        view.ladder = self.climb(judged);
        self.look_for_rest(view.ladder.map(|ladder| ladder.step));
        self.passes.push(view);
        self.spans.push(self.pass.clone());
    }

    /// Whether the pass is over because another one has begun.
    fn next_begun(&self) -> bool {
        let judged = self.judged.as_ref();
        judged.and_then(Judged::next_pass_s).is_some()
    }

    /// What was said of another pass says nothing of this one.
    fn own_views(&mut self) {
        if self.views_of != self.pass.number {
            self.views.clear();
            self.views_of = self.pass.number;
        }
    }

    /// The session is over: judges what runs, so that nothing played is left out.
    pub(in crate::session::live) fn close(&mut self) {
        if matches!(self.stage, Stage::Running) && !self.is_over() {
            self.heard.forget_so_far();
            let judged = self.judge();
            if self.was_played(&judged) {
                self.pass.to_s = self.position.at_s;
                self.own_views();
                self.views = judged.views(true, &self.views);
                self.keep_pass(&judged);
            }
        }
        self.stage = Stage::Over;
    }
}
