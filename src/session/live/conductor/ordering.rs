//! How a pass begins, and what the band is asked to play for it.

use std::sync::Arc;

use super::chosen::Chosen;
use super::{Ahead, Conductor, Stage, free_pass};
use crate::compare::judgement::TimingMode;
use crate::music::line::Line;
use crate::session::live::band::{Beat, Guide, Music, Order, turn_down};
use crate::sound::backing::BackingPart;
use crate::sound::click::{Beats, ClickPattern};
use crate::sound::synth::{Excerpt, Performance, Player, Voice, graces_lead_s, render};
use crate::units::{Hertz, SampleRate};

/// What follows a pass is ordered this long before its end, in seconds: four times what the band
/// keeps ready. Raising it makes a loop that is left play on for longer.
const AHEAD_S: f64 = 0.6;
impl Conductor {
    /// Begins pass `number`; nothing before `from_s` belongs to it. `after` is the frame of the
    /// output at which what came before ends.
    pub(super) fn begin(&mut self, number: u32, from_s: f64, after: Option<u64>) {
        self.judged = None;
        self.views.clear();
        self.starts_since.clear();
        self.bar1_frame = None;
        // What was ordered ahead plays already; its clicks are known.
        let mut ahead = self.ahead.take().filter(|_| after.is_some());
        if let Some(chosen) = ahead.as_mut().and_then(|ahead| ahead.chosen.take()) {
            self.chosen = chosen;
        }
        if let (Some(climb), Some(ahead)) = (&mut self.climb, &ahead) {
            climb.probe = ahead.probe;
        }
        self.pass = free_pass(number, from_s, &self.chosen);
        self.passes_changed = true;
        self.stage = Stage::Waiting;
        let (music, frame) = match ahead {
            Some(ahead) => (ahead.music, ahead.frame),
            None => {
                let Some(music) = self.music(None, after) else {
                    return;
                };
                self.orders.push(Order::Play(music.clone()));
                (music, None)
            }
        };
        self.order_id = music.id;
        self.stage = Stage::Running;
        // Whatever comes before bar 1 is known to have come is no part of the pass: the count-in
        // itself may be heard.
        self.pass.from_s = f64::INFINITY;
        if self.click {
            self.pass.mode = TimingMode::Click;
        }
        self.pass.ticks_s = music.beats.iter().map(|beat| beat.at_s).collect();
        if frame.is_some() {
            self.bar1_frame = frame;
            self.place_click();
        }
    }

    /// Orders what follows a clicked pass shortly before it ends, so that no click comes late.
    pub(super) fn order_ahead(&mut self) {
        let more = self
            .settings
            .passes
            .is_none_or(|wanted| self.spans.len() + 1 < wanted as usize);
        let (Some(click_s), Some(bar1), Some(rate)) =
            (self.pass.click_at_s, self.bar1_frame, self.out_rate)
        else {
            return;
        };
        let left_s = click_s + self.chosen.length_s - self.position.at_s;
        let is_due = self.click && self.pass.mode == TimingMode::Click && left_s < AHEAD_S;
        if !more || !is_due || self.ahead.is_some() {
            return;
        }
        let Ok(next) = self.next_unjudged() else {
            return;
        };
        let end = bar1 + (self.chosen.length_s * rate.hz()) as u64;
        let chosen = next.and_then(|next| self.at_tempo(next));
        if let Some(music) = self.music(chosen.as_ref(), Some(end)) {
            self.orders.push(Order::Play(music.clone()));
            self.ahead = Some(Ahead {
                music,
                chosen,
                probe: next.is_some_and(|next| next.probe),
                frame: None,
            });
        }
    }

    /// What the band is to play for a pass of what is chosen, or of `other`; `after` is the frame of the
    /// output at which what came before ends. `None` when nothing is to be heard.
    fn music(&mut self, other: Option<&Chosen>, after: Option<u64>) -> Option<Music> {
        let pattern = ClickPattern {
            beats: match self.settings.click.beats {
                _ if !self.click => Beats::None,
                Beats::None => Beats::All,
                chosen => chosen,
            },
            count_in: match after {
                Some(_) if !self.counts_in => 0,
                None if !self.counts_in && !self.click => 0,
                // A bar of click between passes is all that a running pulse needs.
                Some(_) if self.click => 1,
                // A new tempo of the ladder is counted in, whatever else is.
                None if self.climb.is_some() && !self.spans.is_empty() => {
                    self.settings.click.count_in.max(1)
                }
                _ => self.settings.click.count_in,
            },
            ..self.settings.click
        };
        let along = self.settings.guide || self.settings.backing.is_some();
        let wanted = pattern.beats != Beats::None || pattern.count_in > 0 || along;
        if !wanted || !self.has_band() {
            return None;
        }
        let chosen = other.unwrap_or(&self.chosen);
        let before_s = -chosen.pickup_s() - 1e-6;
        let ticks = chosen.ticks(&pattern).into_iter();
        let guide = self.guide(chosen);
        let backing = self.backing(chosen);
        let beats: Vec<Beat> = ticks
            .map(|tick| Beat {
                at_s: tick.at_s,
                weight: tick.weight,
                in_line: tick.at_s >= before_s,
            })
            .collect();
        let opening_s = beats.first().map_or(0.0, |beat| beat.at_s.min(0.0));
        let rate = self.out_rate.map_or(0.0, |rate| rate.hz());
        self.last_id += 1;
        Some(Music {
            id: self.last_id,
            bar1: after.map(|frame| frame + (-opening_s * rate).round() as u64),
            beats,
            guide,
            backing,
        })
    }

    /// The part of the backing track that goes with what is chosen.
    fn backing(&self, chosen: &Chosen) -> Option<BackingPart> {
        self.settings.backing.as_ref()?;
        let share = chosen.share;
        Some(BackingPart {
            from_s: (chosen.start_s - chosen.pickup_s()) * share,
            to_s: (chosen.start_s + chosen.length_s) * share,
            bar1_s: chosen.start_s * share,
            share,
        })
    }

    fn guide(&self, chosen: &Chosen) -> Option<Arc<Guide>> {
        let rate = self.out_rate.filter(|_| self.settings.guide)?;
        let a4 = self.settings.a4;
        Some(Arc::new(match &chosen.join {
            None => guide_of(&chosen.line, a4, rate),
            Some(join) => guide_of_join(&self.settings.line, &join.excerpt, a4, rate),
        }))
    }
}

/// One join as the player hears it along; what still sounds dies away on its last beat.
fn guide_of_join(line: &Line, excerpt: &Excerpt, a4: Hertz, rate: SampleRate) -> Guide {
    let graces = line.graces(&line.expected(line.instrument()));
    let player = Player {
        a4,
        lead_in_s: 0.0,
        tail_s: 0.0,
        ..Player::exact()
    };
    let mut performance =
        Performance::of_line(&excerpt.notes, &player).with_ornaments(&excerpt.notes, &graces);
    excerpt.end_on_beat(&mut performance);
    played_softly(&performance, rate)
}

/// The line as the player hears it along: what `seamline hear` plays, grace notes and slides included.
fn guide_of(line: &Line, a4: Hertz, rate: SampleRate) -> Guide {
    let notes = line.expected(line.instrument());
    let graces = line.graces(&notes);
    let player = Player {
        a4,
        lead_in_s: graces_lead_s(&graces),
        ..Player::exact()
    };
    let performance = Performance::of_line(&notes, &player).with_ornaments(&notes, &graces);
    played_softly(&performance, rate)
}

/// A performance as it is heard along.
fn played_softly(performance: &Performance, rate: SampleRate) -> Guide {
    let mut samples = render(performance, &Voice::fingered(), rate);
    turn_down(&mut samples);
    Guide {
        samples,
        bar1_s: performance.bar1_s,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::line::read_text;
    use crate::units::STANDARD_A4;

    const RATE: SampleRate = SampleRate(22_050);

    fn guide(bar: &str) -> Guide {
        let line = read_text(&format!("tempo: 90\n\n{bar}\n")).expect("a line");
        guide_of(&line, STANDARD_A4, RATE)
    }

    /// Root of the mean square of what sounds between two moments from bar 1 on, in seconds.
    fn level(guide: &Guide, from_s: f64, to_s: f64) -> f64 {
        let at = |s: f64| ((guide.bar1_s + s) * RATE.hz()) as usize;
        let part = &guide.samples[at(from_s)..at(to_s)];
        let power: f64 = part.iter().map(|x| f64::from(*x).powi(2)).sum();
        (power / part.len() as f64).sqrt()
    }

    /// A grace note before the first beat has room, and sounds before it.
    #[test]
    fn a_grace_note_is_heard_before_its_note() {
        let plain = guide("1/2 3:5 2:5");
        assert_eq!(plain.bar1_s, 0.0);
        let graced = guide("1/2 g3:3 3:5 2:5");
        assert!(graced.bar1_s > 0.05, "{}", graced.bar1_s);
        assert!(level(&graced, -0.05, 0.0) > 0.01);
    }

    /// A slide passes the frets between, and arrives when its note is written: the sound differs from
    /// that of two plucked notes on the way alone.
    #[test]
    fn a_slide_is_heard_on_its_way() {
        let plucked = guide("1/2 3:3 3:10");
        let slid = guide("1/2 3:3 >>3:10");
        let apart = |from_s: f64, to_s: f64| {
            let at = |s: f64| (s * RATE.hz()) as usize;
            let pairs = plucked.samples[at(from_s)..at(to_s)]
                .iter()
                .zip(&slid.samples[at(from_s)..at(to_s)]);
            // Each guide is turned down to its own peak.
            let scale = (level(&slid, 0.1, 1.0) / level(&plucked, 0.1, 1.0)) as f32;
            pairs
                .map(|(a, b)| (a * scale - b).abs())
                .fold(0.0f32, f32::max)
        };
        // Two quarters at 90 are 1.333 s; seven frets take 84 ms.
        assert!(apart(0.0, 1.2) < 1e-4, "{}", apart(0.0, 1.2));
        assert!(apart(1.26, 1.33) > 0.01, "{}", apart(1.26, 1.33));
    }
}
