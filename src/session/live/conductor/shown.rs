//! What is shown.

use std::sync::Arc;

use super::{Conductor, FAINT_DBFS, Stage};
use crate::compare::judgement::TimingMode;
use crate::session::live::pass::Judged;
use crate::session::live::snapshot::{LatencyView, Phase, Snapshot};

/// Digital silence for this long is told, in seconds.
const DEAD_AFTER_S: f64 = 4.0;

impl Conductor {
    /// The note to be played next, or being played.
    pub(super) fn place(&self) -> Option<usize> {
        let notes = &self.chosen.piece.notes;
        if let (TimingMode::Click, Some(click_s)) = (self.pass.mode, self.pass.click_at_s) {
            let at = self.position.at_s - click_s;
            let next = notes.partition_point(|note| note.onset_s <= at);
            return next.checked_sub(1).filter(|i| *i < notes.len());
        }
        self.expected_now()
    }

    pub(super) fn phase(&self) -> Phase {
        if let Some(message) = &self.lost {
            let message = format!("{message}. The take is safe; waiting.");
            return Phase::DeviceLost { message };
        }
        match self.stage {
            Stage::Waiting => Phase::Waiting,
            Stage::Replaying => Phase::ListeningBack,
            Stage::Over => Phase::Ended {
                message: "The session is over.".to_owned(),
            },
            Stage::Running => match self.pass.click_at_s {
                None if self.pass.from_s == f64::INFINITY => self.count_in(f64::NEG_INFINITY),
                Some(click_s) => {
                    let at_s = self.position.at_s - click_s;
                    if at_s < -self.chosen.pickup_s() {
                        self.count_in(at_s)
                    } else {
                        Phase::Playing
                    }
                }
                _ => Phase::Playing,
            },
        }
    }

    /// The count at a moment in seconds from the first of the chosen bars: upwards, as it is
    /// counted in, beat by beat of the bar.
    fn count_in(&self, at_s: f64) -> Phase {
        let before = -self.chosen.pickup_s() - 1e-6;
        let clicks = || self.pass.ticks_s.iter().filter(|s| **s < before);
        let meter = self.chosen.line.bars().first().map(|bar| bar.meter);
        let beat = meter.map_or(1.0, crate::sound::click::beat_quarters);
        let bar = meter.map_or(4.0, |meter| meter.bar_length().quarters());
        let beats = (bar / beat).round().max(1.0) as u32;
        let sounded = clicks().filter(|s| **s <= at_s).count() as u32;
        let parts = u32::from(self.settings.click.parts.max(1));
        // A join that begins within a bar is counted in by the beats before it.
        let from = u32::try_from(self.chosen.first_beat()).unwrap_or(0);
        let click = match sounded.div_ceil(parts) {
            0 => 0,
            clicks => clicks + from,
        };
        Phase::CountIn {
            click: if click == 0 {
                0
            } else {
                (click - 1) % beats + 1
            },
            of: beats,
        }
    }

    pub(super) fn click_quarters(&self) -> Option<f64> {
        let at_s = self.position.at_s - self.pass.click_at_s?;
        self.bar1_frame?;
        let bpm = self.chosen.piece.info.tempo_bpm;
        // Backwards and forwards from the notes about: the tempo may change within the line.
        let mut spans = self.chosen.piece.notes.windows(2);
        let within = spans.find(|pair| pair[0].onset_s <= at_s && at_s < pair[1].onset_s);
        Some(match within {
            Some([a, b]) => {
                let share = (at_s - a.onset_s) / (b.onset_s - a.onset_s);
                a.onset_quarters + share * (b.onset_quarters - a.onset_quarters)
            }
            _ => at_s * bpm / 60.0,
        })
    }

    pub(super) fn notices(&self) -> Vec<String> {
        let mut notices = Vec::new();
        let at_s = self.position.at_s;
        let silent_s = at_s - self.heard_anything_s;
        if silent_s > DEAD_AFTER_S && self.lost.is_none() {
            if self.position.level.peak_dbfs == f64::NEG_INFINITY {
                notices.push(
                    "The input is digital silence: check the cable and the input's switch, or \
                     choose another with --device or --channel."
                        .to_owned(),
                );
            } else if silent_s > 3.0 * DEAD_AFTER_S && self.heard.notes.is_empty() {
                notices.push(format!(
                    "Nothing above {FAINT_DBFS:.0} dBFS comes in: turn the instrument or the \
                     input up."
                ));
            }
        }
        notices.extend(self.out_lost.clone());
        notices.extend(self.replay_failed.clone());
        notices.extend(self.extra_notice.clone());
        notices
    }

    /// What is to be shown now.
    pub(in crate::session::live) fn snapshot(&self) -> Snapshot {
        let judged = self.judged.as_ref();
        Snapshot {
            at_s: self.position.at_s,
            phase: self.phase(),
            piece: Arc::clone(&self.chosen.piece),
            pass: self.pass.number,
            notes_of: self.views_of,
            passes_wanted: self.settings.passes,
            place: self.place(),
            click_quarters: self.click_quarters(),
            click: self.click,
            sounding: self.sounding,
            notes: if self.views.len() == self.chosen.piece.notes.len() {
                self.views.clone()
            } else {
                vec![None; self.chosen.piece.notes.len()]
            },
            rings: judged.map(Judged::rings).unwrap_or_default(),
            level: self.position.level,
            dropped_frames: self.position.lost.0,
            worst: self.history.worst(),
            last_pass: self.passes.last().cloned(),
            latency: match (self.out_rate, self.settings.latency_s) {
                (None, _) => LatencyView::None,
                _ if !self.click => LatencyView::None,
                (_, None) => LatencyView::Unmeasured,
                (_, Some(s)) => LatencyView::Measured(1000.0 * s),
            },
            drift_ppm: self
                .began
                .and_then(|(_, out)| Some(out? - self.position.drift_ppm?)),
            take: self
                .settings
                .keep
                .as_ref()
                .map_or_else(String::new, |path| path.display().to_string()),
            ladder: self.ladder_view(),
            rest: self.rest,
            notices: self.notices(),
        }
    }
}
