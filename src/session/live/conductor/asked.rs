//! What the player asks for.

use super::chosen::Chosen;
use super::climbing::Climb;
use super::{Conductor, Stage};
use crate::compare::judgement::TimingMode;
use crate::session::live::band::Order;
use crate::session::live::snapshot::Command;

/// A tempo is changed by this share of the written one.
const TEMPO_STEP: f64 = 0.05;
/// Slowest and fastest, as shares of the written tempo.
const TEMPO_LIMITS: (f64, f64) = (0.25, 2.0);

impl Conductor {
    /// Does what the player asked for; `Quit` is not for the conductor.
    pub(in crate::session::live) fn command(&mut self, command: Command) {
        let (first, last) = (
            self.settings.line.first_bar(),
            self.settings.line.last_bar(),
        );
        let (from, to) = self.chosen.bars;
        match command {
            Command::LoopHere => {
                let bar = self.current_bar();
                self.choose((bar, bar), None);
            }
            Command::FromHere => {
                let bar = self.current_bar();
                self.choose((bar.min(to), to), None);
            }
            // Around one join alone there are its bars first.
            Command::Widen | Command::WidenStart if self.chosen.join.is_some() => {
                self.choose((from, to), None);
            }
            Command::Widen if to < last => self.choose((from, to + 1), None),
            Command::Narrow if to > from => self.choose((from, to - 1), None),
            Command::WidenStart if from > first => {
                self.choose((from - 1, to), None);
            }
            Command::NarrowStart if to > from => {
                self.choose((from + 1, to), None);
            }
            Command::LoopWorst => self.loop_worst(),
            Command::CountIn => self.counts_in = !self.counts_in,
            Command::WholeLine => self.choose((first, last), None),
            Command::Slower => self.change_tempo(-TEMPO_STEP),
            Command::Faster => self.change_tempo(TEMPO_STEP),
            Command::Click => self.switch_click(),
            Command::Restart => self.restart(),
            Command::ListenBack => self.listen_back(),
            Command::Widen
            | Command::Narrow
            | Command::WidenStart
            | Command::NarrowStart
            | Command::Quit => {}
        }
    }

    /// The worst join alone; its bars where it is played alone already. Without a click too few notes
    /// would say where they lie, so that there its bars are played.
    fn loop_worst(&mut self) {
        let Some(worst) = self.history.worst().into_iter().next() else {
            self.extra_notice = Some("No join has left a gap yet.".to_owned());
            return;
        };
        let line = &self.settings.line;
        let notes = line.expected(line.instrument());
        let before = notes.iter().position(|note| {
            note.bar == worst.bar && note.beat == worst.beat && note.midi == worst.from_midi
        });
        let next = before.and_then(|at| notes.get(at + 1));
        let to = next.map_or(worst.bar, |note| note.bar);
        let is_alone = self.chosen.join.as_ref().map(|join| join.index) == before;
        let alone = before.filter(|_| self.click && self.has_band() && !is_alone);
        self.choose((worst.bar, to), alone);
    }

    /// Plays the same at another tempo, in whole steps, so that up and down lead back to where one was.
    fn change_tempo(&mut self, step: f64) {
        let from = self.climb.as_ref().map_or(self.chosen.share, Climb::share);
        let steps = ((from + step) / TEMPO_STEP).round() * TEMPO_STEP;
        let share = steps.clamp(TEMPO_LIMITS.0, TEMPO_LIMITS.1);
        let share = self.climb.as_mut().map_or(share, |climb| climb.set(share));
        let join = self.chosen.join.as_ref().map(|join| join.index);
        self.play_anew(self.chosen.bars, join, share);
    }

    pub(super) fn current_bar(&self) -> u32 {
        let place = self.place().or(self.expected_now()).unwrap_or(0);
        let notes = &self.chosen.piece.notes;
        notes
            .get(place.min(notes.len().saturating_sub(1)))
            .map_or(self.chosen.bars.0, |note| note.bar)
    }

    /// Plays other bars, or the join behind a note of them alone, from their beginning.
    fn choose(&mut self, bars: (u32, u32), join: Option<usize>) {
        let share = self.climb.as_ref().map_or(self.chosen.share, Climb::share);
        self.new_item();
        self.play_anew(bars, join, share);
    }

    fn play_anew(&mut self, bars: (u32, u32), join: Option<usize>, share: f64) {
        match Chosen::of(&self.settings.line, bars, join, share) {
            Ok(chosen) => {
                self.chosen = chosen;
                self.restart();
            }
            Err(error) => self.extra_notice = Some(error.to_string()),
        }
    }

    pub(super) fn switch_click(&mut self) {
        if !self.has_band() {
            self.extra_notice = Some("No click: there is no output device.".to_owned());
            return;
        }
        self.click = !self.click;
        self.orders.push(Order::ClickSounds(self.click));
        if !self.click && self.chosen.join.is_some() {
            self.extra_notice = Some("Without the click the whole bars are played.".to_owned());
            self.choose(self.chosen.bars, None);
            return;
        }
        // A pulse that runs is only silenced; one that does not must be counted in.
        if self.click && self.pass.mode == TimingMode::Free {
            self.restart();
        }
    }

    pub(super) fn restart(&mut self) {
        self.ahead = None;
        self.orders.push(Order::Stop);
        self.orders.push(Order::ClickSounds(true));
        self.begin(self.pass.number, self.position.at_s, None);
    }

    pub(super) fn listen_back(&mut self) {
        if matches!(self.stage, Stage::Replaying) {
            self.restart();
            return;
        }
        let (Some(path), true) = (self.settings.keep.clone(), self.has_band()) else {
            self.extra_notice = Some(
                "Nothing can be played back: it needs an output device and a take that is kept."
                    .to_owned(),
            );
            return;
        };
        let running = self.judged.as_ref().is_some_and(|j| j.heard() > 0);
        let (from_s, to_s) = match self.spans.last() {
            Some(span) if !running => (span.from_s, span.to_s.min(self.position.at_s)),
            _ => (self.pass.from_s, self.position.at_s),
        };
        self.stage = Stage::Replaying;
        self.ahead = None;
        self.orders.push(Order::Stop);
        self.orders.push(Order::Replay {
            path,
            from_s: from_s.max(0.0),
            to_s,
        });
    }
}
