//! One run while somebody plays: the same source, ear and comparator as for a file, with a clock.
//!
//! | file | what lives there |
//! |---|---|
//! | this one | the threads, and how a session begins and ends |
//! | [`snapshot`] | what can be shown meanwhile, and what can be asked for |
//! | [`listening`] | the thread that listens and keeps the take |
//! | [`input`] | what it listens to |
//! | [`said`] | what it says |
//! | `meter` | how loud the input is |
//! | [`band`] | the thread that plays click, guide and the take played back |
//! | `output` | what it plays through |
//! | `tracks` | the backing track, made ahead |
//! | `replay` | the part of a take that is played back |
//! | [`latency`] | from a click to where it is heard |
//! | [`latency_book`] | the same, kept for each pair of devices |
//! | [`tuner`] | the same ear on open strings |
//! | `leader` | the thread that leads, and the judgement in the end |
//! | `conductor` | who leads: passes, loop, tempo, what is shown; pure, told everything |
//! | `pass` | one pass held against the line |
//! | [`loops`] | what goes round, and how |
//! | `pass_history` | the passes of the same bars, one against the other |
//! | `joins` | the joins and their history |
//!
//! Three threads beside those of the devices: one listens, one plays, one leads. They share
//! channels and a flag; whoever shows something takes the newest snapshot and is never waited for.
//! Used by `tui` (its snapshots alone) and `cli`.

pub mod band;
mod conductor;
pub mod input;
mod joins;
pub mod latency;
pub mod latency_book;
mod leader;
pub mod listening;
pub mod loops;
mod meter;
mod output;
mod pass;
mod pass_history;
mod replay;
pub mod said;
pub mod snapshot;
mod tracks;
pub mod tuner;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded};

use crate::compare::marks::Marks;
use crate::hearing::listener::ListenError;
use crate::music::line::Line;
use crate::session::judging::Judging;
use crate::session::known::KnownInstrument;
use crate::session::live::band::OpenOutput;
use crate::session::live::conductor::Conductor;
use crate::session::live::input::OpenInput;
use crate::session::live::leader::Leader;
use crate::session::live::listening::Listening;
use crate::session::live::loops::Loops;
use crate::session::live::said::Ending;
use crate::session::live::snapshot::{Command, PassView, Snapshot};
use crate::session::played::{self, Played};
use crate::session::result::TakeResult;
use crate::sound::SoundError;
use crate::sound::backing::Backing;
use crate::sound::click::ClickPattern;
use crate::sound::device::DeviceError;
use crate::sound::keep::Keeper;
use crate::units::Hertz;

/// How a session is to run.
#[derive(Clone, Debug)]
pub struct LiveSettings {
    /// The whole line, at its written tempo, on the player's instrument.
    pub line: Line,
    /// First and last bar to begin with; all when none are chosen.
    pub bars: Option<(u32, u32)>,
    /// Tempo to begin with, relative to the written one.
    pub tempo_share: f64,
    /// Frequency of A4.
    pub a4: Hertz,
    /// The limits between fine and flagged.
    pub marks: Marks,
    /// What was measured of the instrument and its player before.
    pub known: KnownInstrument,
    /// The session is over after this many passes; `None` when the player ends it.
    pub passes: Option<u32>,
    /// What goes round, and how.
    pub loops: Loops,
    /// What is clicked.
    pub click: ClickPattern,
    /// Whether the line is played along.
    pub guide: bool,
    /// The track that is played along, if there is one.
    pub backing: Option<Backing>,
    /// From a click to where it is heard, in seconds, as it was measured for these devices.
    pub latency_s: Option<f64>,
    /// Where the take is kept; `None` keeps none.
    pub keep: Option<PathBuf>,
    /// Whether the file there was made for this take, empty, to keep its name.
    pub reserved: bool,
    /// How long a lost input is waited for; `None` for ever.
    pub wait: Option<Duration>,
    /// What is written beside the kept take, as far as it is known before.
    pub played: Option<Played>,
}

impl LiveSettings {
    /// What `line`, which is the whole one at some tempo, is judged by.
    fn judging<'a>(&'a self, line: &'a Line) -> Judging<'a> {
        Judging {
            line,
            a4: self.a4,
            marks: &self.marks,
            known: &self.known,
        }
    }
}

/// Why a session cannot begin, or broke off.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LiveError {
    /// A device cannot be used.
    #[error(transparent)]
    Device(#[from] DeviceError),
    /// The take cannot be kept.
    #[error(transparent)]
    Take(#[from] SoundError),
    /// The input cannot be listened to.
    #[error("{device}: {cause}")]
    Listen {
        /// The device's name.
        device: String,
        /// Why.
        cause: ListenError,
    },
    /// The chosen part of the line, or its tempo, is not possible.
    #[error("{0}")]
    Line(String),
    /// A part of the program broke down; the take is as far as it was kept.
    #[error(
        "the program broke down while {0}; the take is kept up to there. Please report this with \
         what stands above"
    )]
    Broke(&'static str),
    /// The system gives no more threads.
    #[error("no thread can be had ({0}); close other programs and try again")]
    Thread(std::io::Error),
}

/// Why a session ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EndedBy {
    /// All passes that were asked for are over, or the input has come to its end.
    Passes,
    /// The player ended it.
    Player,
    /// The program was asked to end.
    Stopped,
    /// The input is gone and did not come back.
    InputGone(String),
}

/// What a session gives.
#[derive(Debug)]
pub struct LiveResult {
    /// The whole take held against the line as it was asked for, as for a recorded file.
    pub result: TakeResult,
    /// Every pass, with its first and last second in the take.
    pub passes: Vec<(PassView, f64, f64)>,
    /// How the listening ended, and what it cost.
    pub ending: Ending,
    /// Why it could not be written down how the take was played.
    pub not_written: Option<String>,
    /// Why the session ended.
    pub by: EndedBy,
    /// From a click to where it is heard, in milliseconds; `None` when it was not measured.
    pub latency_ms: Option<f64>,
    /// Whether anything was clicked or played along.
    pub played_along: bool,
}

/// The devices of a session.
pub struct Devices {
    /// Opens the input.
    pub input: OpenInput,
    /// Opens the output, if anything is to be played.
    pub output: Option<OpenOutput>,
}

/// A session that runs.
pub struct Session {
    /// The newest of what can be shown; closed when the session is over.
    pub snapshots: Receiver<Box<Snapshot>>,
    /// What the player asks for.
    pub commands: Sender<Command>,
    /// Where an older take of the same name was put.
    pub moved: Option<PathBuf>,
    leading: JoinHandle<Result<LiveResult, LiveError>>,
    listening: JoinHandle<()>,
}

/// Events that may wait to be judged: some minutes of dense playing.
const HEARD_WAITING: usize = 8192;

impl Session {
    /// Opens the devices and begins. `stop` ends the session from outside.
    ///
    /// # Errors
    /// When a device cannot be opened, or the take cannot be kept.
    pub fn begin(
        settings: LiveSettings,
        mut devices: Devices,
        stop: Arc<AtomicBool>,
    ) -> Result<Self, LiveError> {
        let zero = Instant::now();
        let input = (devices.input)(None)?;
        let input_name = input.name();
        let rate = input.format().rate;
        let ear = settings
            .judging(&settings.line)
            .ear(rate)
            .map_err(|cause| LiveError::Listen {
                device: input_name.clone(),
                cause,
            })?;
        let output = match &mut devices.output {
            Some(open) => Some(open()?),
            None => None,
        };
        let keeper = match &settings.keep {
            Some(path) if settings.reserved => Some(Keeper::begin_reserved(path, rate)?),
            Some(path) => Some(Keeper::begin(path, rate)?),
            None => None,
        };
        let moved = keeper.as_ref().and_then(|k| k.moved().map(PathBuf::from));
        if let (Some(moved), Some(keep)) = (&moved, &settings.keep) {
            // What says how the older take was played stays with it, where there is any.
            std::fs::rename(played::path_beside(keep), played::path_beside(moved)).ok();
        }
        let line = settings
            .line
            .with_tempo_scale(settings.tempo_share)
            .map_err(|fault| LiveError::Line(fault.to_string()))?;
        let conductor = Conductor::new(settings.clone(), output.as_ref().map(|o| o.rate()))?;

        let (say, said) = bounded(HEARD_WAITING);
        let enough = Arc::new(AtomicBool::new(false));
        let setup = Listening {
            listener: ear,
            keeper,
            open: devices.input,
            stop: Arc::clone(&enough),
            zero,
            wait: settings.wait,
        };
        let listening = spawn("listen", move || listening::listen(setup, input, &say))?;

        let backing = settings.backing.clone();
        let (orders, to_do) = bounded(256);
        let (band_says, told) = bounded(256);
        if let (Some(open), Some(output)) = (devices.output, output) {
            spawn("play", move || {
                band::play(open, output, backing, &to_do, &band_says, zero);
            })?;
        }

        let (show, snapshots) = bounded(1);
        let (commands, asked) = bounded(64);
        let leader = Leader {
            conductor,
            settings,
            line,
            input_name,
            rate,
            said,
            told,
            asked,
            orders,
            show,
            enough,
            stop,
            by: None,
            written: None,
            not_written: None,
        };
        let leading = spawn("lead", move || leader.lead())?;
        Ok(Self {
            snapshots,
            commands,
            moved,
            leading,
            listening,
        })
    }

    /// Waits for the end and gives what came out.
    ///
    /// # Errors
    /// When a part of the program broke down on the way.
    pub fn finish(self) -> Result<LiveResult, LiveError> {
        drop(self.snapshots);
        drop(self.commands);
        let led = self.leading.join();
        let listened = self.listening.join();
        match (led, listened) {
            (_, Err(_)) => Err(LiveError::Broke("listening")),
            (Err(_), _) => Err(LiveError::Broke("judging")),
            (Ok(result), Ok(())) => result,
        }
    }
}

fn spawn<T: Send + 'static>(
    name: &str,
    run: impl FnOnce() -> T + Send + 'static,
) -> Result<JoinHandle<T>, LiveError> {
    std::thread::Builder::new()
        .name(name.to_owned())
        .spawn(run)
        .map_err(LiveError::Thread)
}
