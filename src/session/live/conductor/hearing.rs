//! What was heard, and what the band said.

use super::{AROUND_S, Conductor, FAINT_DBFS, Stage};
use crate::compare::clicks::{is_above_line, is_at_click};
use crate::hearing::events::{Event, HeardNote};
use crate::session::live::band::Told;
use crate::session::live::pass::Judged;
use crate::session::live::said::Said;
use crate::session::live::snapshot::Sounding;

/// A name is steady when it was not changed for this long, in seconds: two periods of the lowest
/// string. Raising it makes the screen calmer and later.
const STEADY_S: f64 = 0.050;
/// Two moments this close speak of one onset, in seconds.
const SAME_ONSET_S: f64 = 0.001;

impl Conductor {
    /// Takes in what the listening thread said.
    pub(in crate::session::live) fn hear(&mut self, said: Said) {
        match said {
            Said::Event(event) => self.event(event),
            Said::SoFar(events) => {
                self.heard.take_so_far(events);
                self.refine_sounding();
                self.stale = true;
            }
            Said::Position(position) => {
                if position.level.peak_dbfs > FAINT_DBFS {
                    self.heard_anything_s = position.at_s;
                }
                self.position = position;
                self.steady();
                self.place_click();
            }
            Said::Lost(message) => self.lost = Some(message),
            Said::Back(gone_s) => {
                self.lost = None;
                self.extra_notice = Some(format!(
                    "The device was gone for {gone_s:.1} s; silence stands there in the take."
                ));
                if self.click {
                    self.restart();
                }
            }
            Said::Take(news) => self.extra_notice = Some(news.to_string()),
            Said::Over(_) => {
                self.heard.forget_so_far();
                self.stale = true;
            }
        }
    }

    pub(super) fn event(&mut self, event: Event) {
        match event {
            Event::Started { onset_s, .. } => {
                self.note_began(onset_s);
                self.last_start_s = self.last_start_s.max(onset_s);
                let starting = Sounding {
                    midi: None,
                    index: None,
                    onset_s,
                };
                self.forming = Some((starting, f64::INFINITY));
                if matches!(self.stage, Stage::Waiting) {
                    self.stage = Stage::Running;
                }
            }
            Event::Named {
                onset_s,
                midi,
                at_s,
            } => {
                if let Some((forming, since_s)) = &mut self.forming
                    && (forming.onset_s - onset_s).abs() < SAME_ONSET_S
                {
                    let other = forming.midi.is_none_or(|m| (m - midi).abs() > 0.5);
                    *since_s = if other { at_s } else { *since_s };
                    forming.midi = Some(midi);
                } else if let Some(sounding) = &mut self.sounding
                    && (sounding.onset_s - onset_s).abs() < SAME_ONSET_S
                {
                    sounding.midi = Some(midi);
                }
            }
            Event::Settled(_) | Event::Rang(_) => {
                self.heard.take(event);
                self.stale = true;
            }
        }
    }

    /// A note that has kept its name for a while sounds; the one that is wanted moves with it.
    fn steady(&mut self) {
        let Some((forming, _)) = self
            .forming
            .take_if(|(_, since_s)| self.position.at_s - *since_s >= STEADY_S)
        else {
            return;
        };
        if self.is_click(&forming) {
            return;
        }
        self.starts_since.push(forming.onset_s);
        self.sounding = Some(Sounding {
            index: self.place().and(self.expected_now()),
            ..forming
        });
    }

    /// Whether a start is the program's own click.
    fn is_click(&self, start: &Sounding) -> bool {
        let top = self.chosen.piece.notes.iter().map(|note| note.midi).max();
        let (Some(click_s), Some(top), Some(midi)) = (self.pass.click_at_s, top, start.midi) else {
            return false;
        };
        is_above_line(midi, top) && is_at_click(start.onset_s - click_s, &self.pass.ticks_s)
    }

    /// The settled pitch of what sounds is better than the first name.
    pub(super) fn refine_sounding(&mut self) {
        let Some(sounding) = &mut self.sounding else {
            return;
        };
        let near = |n: &&HeardNote| (n.onset_s - sounding.onset_s).abs() < 0.04;
        let pitch = self.heard.soon_notes.iter().rev().find(near);
        if let Some(pitch) = pitch.and_then(|n| n.pitch.as_ref()) {
            sounding.midi = Some(pitch.midi);
        }
    }

    /// The note that a start heard now is taken for.
    pub(super) fn expected_now(&self) -> Option<usize> {
        let after = self.judged.as_ref().and_then(Judged::last_heard);
        let last_s = self.last_judged_s();
        let since = self
            .starts_since
            .iter()
            .filter(|s| **s > last_s + 0.03)
            .count();
        let index = after.map_or(0, |a| a + 1) + since;
        index
            .checked_sub(1)
            .filter(|i| *i < self.chosen.piece.notes.len())
    }

    pub(super) fn last_judged_s(&self) -> f64 {
        let judged = self.judged.as_ref();
        judged
            .and_then(Judged::last_onset_s)
            .unwrap_or(f64::NEG_INFINITY)
    }

    /// Takes in what the band said.
    pub(in crate::session::live) fn told(&mut self, told: Told) {
        match told {
            Told::Bar1 { id, frame } => {
                if id == self.order_id {
                    self.bar1_frame = Some(frame);
                    self.place_click();
                } else if let Some(ahead) = &mut self.ahead
                    && ahead.music.id == id
                {
                    ahead.frame = Some(frame);
                }
            }
            Told::Clock {
                began_s, drift_ppm, ..
            } => {
                self.began = Some((began_s, drift_ppm));
                self.place_click();
            }
            Told::Backing(reason) => self.extra_notice = Some(reason),
            Told::ReplayOver(failed) => {
                self.replay_failed = failed;
                if matches!(self.stage, Stage::Replaying) {
                    self.begin(self.pass.number, self.position.at_s, None);
                }
            }
            Told::Lost(message) => {
                self.out_lost = Some(message);
                self.ahead = None;
                self.bar1_frame = None;
                if self.pass.from_s == f64::INFINITY {
                    self.begin(self.pass.number, self.position.at_s, None);
                }
            }
            Told::Back => {
                self.out_lost = None;
                self.began = None;
                self.restart();
            }
        }
    }

    /// Works out where bar 1 of the click lies in what is heard.
    pub(super) fn place_click(&mut self) {
        let (Some(frame), Some((out_s, _)), Some(in_s), Some(rate)) = (
            self.bar1_frame,
            self.began,
            self.position.began_s,
            self.out_rate,
        ) else {
            return;
        };
        let at_s = out_s + frame as f64 / rate.hz() - in_s + self.settings.latency_s.unwrap_or(0.0);
        self.passes_changed |= self.pass.click_at_s.is_none();
        self.pass.click_at_s = Some(at_s);
        let from_s = at_s - self.chosen.pickup_s() - AROUND_S;
        let before_s = self
            .spans
            .last()
            .map_or(f64::NEG_INFINITY, |span| span.to_s);
        self.pass.from_s = from_s.max(before_s.min(at_s));
    }
}
