//! The thread that leads: hands on what was heard and asked for, and judges the take in the end.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, TrySendError};

use crate::compare::clicks::ClickedPass;
use crate::compare::judgement::TimingMode;
use crate::music::line::Line;
use crate::session::judging::{Asked, Taken};
use crate::session::live::band::{Order, Told};
use crate::session::live::conductor::Conductor;
use crate::session::live::said::{Ending, Said};
use crate::session::live::snapshot::{Command, Phase, Snapshot};
use crate::session::live::{EndedBy, HEARD_WAITING, LiveError, LiveResult, LiveSettings};
use crate::session::played;

/// A snapshot is made this often.
const SNAPSHOT_EVERY: Duration = Duration::from_millis(40);
/// Whoever leads looks up this often when nothing is heard.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// The thread that leads.
pub(super) struct Leader {
    pub conductor: Conductor,
    pub settings: LiveSettings,
    pub line: Line,
    pub input_name: String,
    pub rate: crate::units::SampleRate,
    pub said: Receiver<Said>,
    pub told: Receiver<Told>,
    pub asked: Receiver<Command>,
    pub orders: Sender<Order>,
    pub show: Sender<Box<Snapshot>>,
    pub enough: Arc<AtomicBool>,
    pub stop: Arc<AtomicBool>,
    pub by: Option<EndedBy>,
    /// The clicks that were last written beside the take.
    pub written: Option<Vec<ClickedPass>>,
    pub not_written: Option<String>,
}

impl Leader {
    /// Writes beside the take how it is played, whenever that has changed.
    fn write_played(&mut self, running: bool) {
        let (Some(keep), Some(played)) = (&self.settings.keep, &self.settings.played) else {
            return;
        };
        let clicks = self.conductor.clicks(running);
        if self.written.as_ref() == Some(&clicks) {
            return;
        }
        let mut played = played.clone();
        played.bars = self.conductor.bars();
        played.set_clicks(&clicks);
        if let Err(error) = played.write_beside(keep) {
            let path = played::path_beside(keep);
            self.not_written = Some(format!(
                "{}: how the take was played cannot be written ({error})",
                path.display()
            ));
        }
        self.written = Some(clicks);
    }

    /// Leads until the listening is over.
    pub fn lead(mut self) -> Result<LiveResult, LiveError> {
        let mut shown = Instant::now();
        let ending = loop {
            match self.said.recv_timeout(LOOK_EVERY) {
                Ok(Said::Over(ending)) => break ending,
                Ok(said) => self.conductor.hear(said),
                Err(crossbeam_channel::RecvTimeoutError::Timeout) => {}
                Err(crossbeam_channel::RecvTimeoutError::Disconnected) => {
                    return Err(LiveError::Broke("listening"));
                }
            }
            while let Ok(told) = self.told.try_recv() {
                self.conductor.told(told);
            }
            while let Ok(command) = self.asked.try_recv() {
                match command {
                    Command::Quit => self.end(EndedBy::Player),
                    other => self.conductor.command(other),
                }
            }
            if self.stop.load(Ordering::Relaxed) {
                self.end(EndedBy::Stopped);
            }
            // While much is waiting to be heard there is nothing new to look at.
            let now = Instant::now();
            if self.said.len() < HEARD_WAITING / 2 {
                self.conductor.tick(now);
            }
            for order in self.conductor.orders() {
                // A band that is gone has said so.
                self.orders.try_send(order).ok();
            }
            if self.conductor.changed_passes() {
                self.write_played(true);
            }
            if self.conductor.is_over() {
                self.end(EndedBy::Passes);
            }
            if now.duration_since(shown) >= SNAPSHOT_EVERY {
                shown = now;
                let snapshot = Box::new(self.conductor.snapshot());
                match self.show.try_send(snapshot) {
                    Ok(()) | Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {}
                }
            }
        };
        self.conductor.hear(Said::Over(Ending::default()));
        self.conductor.close();
        self.write_played(false);
        Ok(self.result(ending))
    }

    fn end(&mut self, by: EndedBy) {
        self.by.get_or_insert(by);
        self.enough.store(true, Ordering::Relaxed);
    }

    /// The whole take held against the line, as a recorded file would be.
    fn result(self, ending: Ending) -> LiveResult {
        let clicks = self.conductor.clicks(false);
        let clicked = !clicks.is_empty();
        let asked = Asked {
            mode: TimingMode::Free,
            clicks,
            bars: self.conductor.bars(),
            stretches: Vec::new(),
        };
        let keep = self.settings.keep.as_ref();
        let taken = Taken {
            file: keep.map_or_else(
                || self.input_name.clone(),
                |path| path.display().to_string(),
            ),
            rate: self.rate,
            counted: ending.counted,
            notes: ending.notes.clone(),
        };
        let judging = self.settings.judging(&self.line);
        let result = judging.result(asked, self.conductor.heard(), taken);
        let by = match (self.by.clone(), &ending.input) {
            (Some(by), _) => by,
            (None, Some(reason)) => EndedBy::InputGone(reason.clone()),
            (None, None) => EndedBy::Passes,
        };
        let mut last = self.conductor.snapshot();
        last.phase = Phase::Ended {
            message: match &by {
                EndedBy::InputGone(reason) => format!("{reason}. The take is safe."),
                _ => "The session is over.".to_owned(),
            },
        };
        // The last word must arrive; a dashboard that is gone has closed its end.
        self.show
            .send_timeout(Box::new(last), Duration::from_secs(2))
            .ok();
        LiveResult {
            result,
            passes: self
                .conductor
                .passes()
                .map(|(view, span)| (view.clone(), span.from_s, span.to_s))
                .collect(),
            played_along: clicked || self.settings.guide,
            not_written: self.not_written,
            latency_ms: self.settings.latency_s.map(|s| 1000.0 * s),
            ending,
            by,
        }
    }
}
