//! Keys and snapshots in, commands out, until it is over.

use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, TryRecvError};

use crate::session::live::snapshot::{Command, Phase, Snapshot};
use crate::tui::state::{Action, App, Outcome, update};
use crate::tui::terminal::{Screen, actions, is_broken};
use crate::tui::theme::{Theme, Tone};
use crate::tui::view::view;

/// How the dashboard is to run.
#[derive(Clone, Copy, Debug, Default)]
pub struct Options {
    /// How it looks.
    pub theme: Theme,
    /// Leaves by itself when the session is over, instead of waiting for a key.
    pub unattended: bool,
}

/// How it was left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeftBy {
    /// The session was over.
    End,
    /// Ctrl-C: everything is to end.
    Interrupt,
}

/// The screen is drawn no more often than this: what moves is still followed by eye, and a slow
/// machine has the time to listen.
const DRAW_EVERY: Duration = Duration::from_millis(70);
/// Keys are waited for this long at a time.
const WAIT: Duration = Duration::from_millis(35);

/// Shows a session until it is over; one that is ended from outside (`stop`) waits for no key.
///
/// # Errors
/// When the terminal cannot be taken, or is gone.
pub fn run(
    snapshots: &Receiver<Box<Snapshot>>,
    commands: &Sender<Command>,
    stop: &AtomicBool,
    options: Options,
) -> io::Result<LeftBy> {
    let mut app = App {
        theme: options.theme,
        usual: if options.theme.tone == Tone::Dim {
            Tone::Normal
        } else {
            options.theme.tone
        },
        ..App::default()
    };
    let mut screen = Screen::take()?;
    let actions = actions()?;
    let mut drawn = None::<Instant>;
    let mut changed = true;
    let mut closed = false;
    loop {
        let mut next = await_action(&actions, WAIT);
        while let Some(action) = next.take() {
            next = without_repeats(&action, &actions);
            changed = true;
            match update(&mut app, action) {
                Outcome::None => {}
                Outcome::Ask(command) => {
                    // A session that is behind is not waited for, and what is held down does not
                    // queue up; the key can be pressed again.
                    if commands.is_empty() || command == Command::Quit {
                        commands.try_send(command).ok();
                    }
                }
                Outcome::Leave => return Ok(LeftBy::End),
                Outcome::Interrupt => return Ok(LeftBy::Interrupt),
            }
        }
        loop {
            match snapshots.try_recv() {
                Ok(snapshot) => {
                    changed = true;
                    update(&mut app, Action::Snapshot(snapshot));
                }
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    closed = true;
                    break;
                }
            }
        }
        if is_broken() {
            return Ok(LeftBy::End);
        }
        let now = Instant::now();
        if changed && drawn.is_none_or(|at| now.duration_since(at) >= DRAW_EVERY) {
            screen.draw(|frame| view(&app, frame))?;
            drawn = Some(now);
            changed = false;
        }
        if closed && !changed {
            let ended = app
                .snapshot
                .as_ref()
                .is_some_and(|s| matches!(s.phase, Phase::Ended { .. }));
            let wanted = app.quitting || options.unattended || stop.load(Ordering::Relaxed);
            if wanted || !ended {
                return Ok(LeftBy::End);
            }
        }
    }
}

/// The next action that is there already; the same key again is passed over, so that a key that is
/// held down acts once for each look.
fn without_repeats(action: &Action, actions: &Receiver<Action>) -> Option<Action> {
    let same = |next: &Action| match (action, next) {
        (Action::Key(a), Action::Key(b)) => a.code == b.code && a.modifiers == b.modifiers,
        _ => false,
    };
    actions.try_iter().find(|next| !same(next))
}

/// The next action within `wait`, if there is one. A terminal that is gone gives none, and lets the
/// time pass all the same.
pub(super) fn await_action(actions: &Receiver<Action>, wait: Duration) -> Option<Action> {
    match actions.recv_timeout(wait) {
        Ok(action) => Some(action),
        Err(RecvTimeoutError::Timeout) => None,
        Err(RecvTimeoutError::Disconnected) => {
            std::thread::sleep(wait);
            None
        }
    }
}
