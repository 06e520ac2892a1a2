//! Tuning while somebody plays: each string's pitch with its doubt, the twelfth fret against the
//! open string, what still sounds after a stop, level and hum.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, TrySendError, bounded};

use crate::hearing::events::{EndCause, Event, HeardNote};
use crate::music::instrument::Tuning;
use crate::session::heard::Heard;
use crate::session::live::input::OpenInput;
use crate::session::live::listening::{self, Listening};
use crate::session::live::said::{Ending, Said};
use crate::session::live::snapshot::Level;
use crate::session::live::{LiveError, spawn};
use crate::session::tuning::{InstrumentCheck, Strings};
use crate::units::{Decibels, Hertz};

/// A note as it sounds now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tone {
    /// Its pitch as a fractional MIDI note.
    pub midi: f64,
    /// One standard deviation, in cents; `None` while only its name is known.
    pub uncertainty_cents: Option<f64>,
    /// When it began, in seconds of the stream.
    pub onset_s: f64,
}

/// What can be shown while strings are tuned.
#[derive(Clone, Debug, PartialEq)]
pub struct TunerSnapshot {
    /// Length of the stream so far, in seconds.
    pub at_s: f64,
    /// What sounds, or sounded last.
    pub tone: Option<Tone>,
    /// What is known of each string by now.
    pub check: InstrumentCheck,
    /// How loud it comes in.
    pub level: Level,
    /// The device is gone: a whole sentence.
    pub lost: Option<String>,
}

/// A tuner that runs.
pub struct TunerSession {
    /// The newest of what can be shown; closed when it is over.
    pub snapshots: Receiver<Box<TunerSnapshot>>,
    leading: JoinHandle<Result<InstrumentCheck, LiveError>>,
    listening: JoinHandle<()>,
}

/// A snapshot is made this often.
const SNAPSHOT_EVERY: Duration = Duration::from_millis(60);
/// A measured pitch whose onset lies up to this long before the onset of the tone that is shown
/// is that tone's, in seconds: the settled onset may be a little earlier than the first one.
const SAME_NOTE_S: f64 = 0.04;

impl TunerSession {
    /// Opens the input and begins; `stop` ends it from outside, `most` by itself.
    ///
    /// # Errors
    /// When the input cannot be opened, or not be listened to.
    pub fn begin(
        tuning: &Tuning,
        a4: Hertz,
        mut open: OpenInput,
        most: Option<Duration>,
        stop: Arc<AtomicBool>,
    ) -> Result<Self, LiveError> {
        let input = open(None)?;
        let strings = Strings::new(&input.name(), tuning, a4);
        let ear = strings
            .ear(input.format().rate)
            .map_err(|cause| LiveError::Listen {
                device: input.name(),
                cause,
            })?;
        let (say, said) = bounded(8192);
        let enough = Arc::new(AtomicBool::new(false));
        let setup = Listening {
            listener: ear,
            keeper: None,
            open,
            stop: Arc::clone(&enough),
            zero: Instant::now(),
            wait: Some(Duration::from_secs(60)),
        };
        let listening = spawn("listen", move || listening::listen(setup, input, &say))?;
        let (show, snapshots) = bounded(1);
        let leading = spawn("lead", move || {
            lead(&strings, &said, &show, most, (&stop, &enough))
        })?;
        Ok(Self {
            snapshots,
            leading,
            listening,
        })
    }

    /// Waits for the end and gives what was measured.
    ///
    /// # Errors
    /// When a part of the program broke down on the way.
    pub fn finish(self) -> Result<InstrumentCheck, LiveError> {
        drop(self.snapshots);
        let led = self.leading.join();
        match (led, self.listening.join()) {
            (_, Err(_)) => Err(LiveError::Broke("listening")),
            (Err(_), _) => Err(LiveError::Broke("tuning")),
            (Ok(check), Ok(())) => check,
        }
    }
}

/// What is known by now.
struct Known {
    heard: Heard,
    tone: Option<Tone>,
    level: Level,
    at_s: f64,
    lost: Option<String>,
    peak_dbfs: f64,
}

fn lead(
    strings: &Strings,
    said: &Receiver<Said>,
    show: &Sender<Box<TunerSnapshot>>,
    most: Option<Duration>,
    (stop, enough): (&AtomicBool, &AtomicBool),
) -> Result<InstrumentCheck, LiveError> {
    let began = Instant::now();
    let mut shown = began;
    let mut known = Known {
        heard: Heard::default(),
        tone: None,
        level: Level::silent(),
        at_s: 0.0,
        lost: None,
        peak_dbfs: f64::NEG_INFINITY,
    };
    let ending: Ending = loop {
        match said.recv_timeout(Duration::from_millis(20)) {
            Ok(Said::Over(ending)) => break ending,
            Ok(other) => known.take(other),
            Err(crossbeam_channel::RecvTimeoutError::Timeout) => {}
            Err(crossbeam_channel::RecvTimeoutError::Disconnected) => {
                return Err(LiveError::Broke("listening"));
            }
        }
        let now = Instant::now();
        if stop.load(Ordering::Relaxed) || most.is_some_and(|most| now - began >= most) {
            enough.store(true, Ordering::Relaxed);
        }
        if now - shown >= SNAPSHOT_EVERY {
            shown = now;
            match show.try_send(Box::new(known.snapshot(strings))) {
                Ok(()) | Err(TrySendError::Full(_)) => {}
                // Nobody looks any longer.
                Err(TrySendError::Disconnected(_)) => enough.store(true, Ordering::Relaxed),
            }
        }
    };
    let loudest = Decibels::from_amplitude(f64::from(ending.counted.peak)).0;
    Ok(strings.check(&known.settled(), ending.strings, loudest))
}

impl Known {
    fn take(&mut self, said: Said) {
        match said {
            Said::Event(Event::Started { .. } | Event::Rang(_)) => {}
            Said::Event(Event::Named { onset_s, midi, .. }) => {
                self.tone = Some(Tone {
                    midi,
                    uncertainty_cents: None,
                    onset_s,
                });
            }
            Said::Event(event) => {
                self.measured(&event);
                self.heard.take(event);
            }
            Said::SoFar(events) => {
                events.iter().for_each(|event| self.measured(event));
                self.heard.take_so_far(events);
            }
            Said::Position(position) => {
                self.at_s = position.at_s;
                self.level = position.level;
                self.peak_dbfs = self.peak_dbfs.max(position.level.peak_dbfs);
            }
            Said::Lost(message) => self.lost = Some(message),
            Said::Back(_) => self.lost = None,
            Said::Take(_) | Said::Over(_) => {}
        }
    }

    /// A measured pitch is better than a first name.
    fn measured(&mut self, event: &Event) {
        let Event::Settled(note) = event else { return };
        let Some(pitch) = &note.pitch else { return };
        let newest = self
            .tone
            .is_none_or(|tone| note.onset_s > tone.onset_s - SAME_NOTE_S);
        if newest && note.evidence > 0.0 {
            self.tone = Some(Tone {
                midi: pitch.midi,
                uncertainty_cents: Some(pitch.uncertainty_cents),
                onset_s: note.onset_s,
            });
        }
    }

    /// The settled notes that are sure.
    fn settled(&self) -> Vec<HeardNote> {
        let sure = |note: &&HeardNote| note.evidence > 0.0;
        self.heard.notes.iter().filter(sure).cloned().collect()
    }

    fn snapshot(&self, strings: &Strings) -> TunerSnapshot {
        let mut notes = self.settled();
        let soon = &self.heard.soon_notes;
        notes.extend(
            soon.iter()
                .filter(|note| note.evidence > 0.0)
                .map(|note| HeardNote {
                    // It still sounds: where it ends is not known yet.
                    end: EndCause::TakeEnded,
                    still: None,
                    ..note.clone()
                }),
        );
        TunerSnapshot {
            at_s: self.at_s,
            tone: self.tone,
            check: strings.check(&notes, Vec::new(), self.peak_dbfs),
            level: self.level,
            lost: self.lost.clone(),
        }
    }
}
