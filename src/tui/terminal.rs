//! The one file that touches the terminal: it is taken, drawn on, and given back whatever happens.

use std::fs::OpenOptions;
use std::io::{self, Stdout, stdout};
use std::mem::ManuallyDrop;
use std::os::fd::OwnedFd;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use crossbeam_channel::{Receiver, bounded};
use crossterm::event::{self, Event, KeyEventKind};
use crossterm::{cursor, execute, terminal};
use ratatui::backend::CrosstermBackend;
use ratatui::{Frame, Terminal};

use crate::tui::state::Action;

/// Whether the screen is ours.
static TAKEN: AtomicBool = AtomicBool::new(false);
/// Set when some thread has broken down: its message stands on the screen that was given back.
static BROKEN: AtomicBool = AtomicBool::new(false);
/// Where standard error went before it was hushed.
static STDERR: Mutex<Option<OwnedFd>> = Mutex::new(None);

/// The terminal while it is ours; given back when dropped.
pub struct Screen {
    /// Never dropped: its end would write to standard error when the terminal is gone, and break
    /// down where that is the same terminal.
    terminal: ManuallyDrop<Terminal<CrosstermBackend<Stdout>>>,
}

impl Screen {
    /// Takes the terminal: raw keys, the other screen, and no stray words of C libraries on it.
    ///
    /// # Errors
    /// When it is none, or cannot be taken.
    pub fn take() -> io::Result<Self> {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            // The message must land on the screen that stays.
            BROKEN.store(true, Ordering::Relaxed);
            give_back();
            usual(info);
        }));
        terminal::enable_raw_mode()?;
        TAKEN.store(true, Ordering::Relaxed);
        hush();
        let taken = execute!(stdout(), terminal::EnterAlternateScreen, cursor::Hide)
            .and_then(|()| Terminal::new(CrosstermBackend::new(stdout())));
        match taken {
            Ok(terminal) => Ok(Self {
                terminal: ManuallyDrop::new(terminal),
            }),
            Err(error) => {
                give_back();
                Err(error)
            }
        }
    }

    /// Draws.
    ///
    /// # Errors
    /// When the terminal is gone.
    pub fn draw(&mut self, view: impl FnOnce(&mut Frame)) -> io::Result<()> {
        self.terminal.draw(view).map(|_| ())
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        give_back();
    }
}

/// Whether some thread has broken down since the screen was taken.
pub fn is_broken() -> bool {
    BROKEN.load(Ordering::Relaxed)
}

/// Gives the terminal back, once.
fn give_back() {
    if !TAKEN.swap(false, Ordering::Relaxed) {
        return;
    }
    // There is nobody to tell when any of this fails: the terminal is what would tell it.
    execute!(stdout(), terminal::LeaveAlternateScreen, cursor::Show).ok();
    terminal::disable_raw_mode().ok();
    if let Ok(mut saved) = STDERR.lock()
        && let Some(fd) = saved.take()
    {
        rustix::stdio::dup2_stderr(&fd).ok();
    }
}

/// Sends standard error nowhere: sound libraries write there as they please.
fn hush() {
    let Ok(nowhere) = OpenOptions::new().write(true).open("/dev/null") else {
        return;
    };
    if let (Ok(mut saved), Ok(copy)) = (
        STDERR.lock(),
        rustix::io::fcntl_dupfd_cloexec(rustix::stdio::stderr(), 3),
    ) && rustix::stdio::dup2_stderr(&nowhere).is_ok()
    {
        *saved = Some(copy);
    }
}

/// What is done at the terminal, read by a thread of its own: on a terminal that was closed the
/// reading never returns, and nobody may wait for it.
///
/// # Errors
/// When no thread can be had.
pub fn actions() -> io::Result<Receiver<Action>> {
    let (done, actions) = bounded(64);
    std::thread::Builder::new()
        .name("keys".to_owned())
        .spawn(move || {
            while let Ok(event) = event::read() {
                let action = match event {
                    Event::Key(key) if key.kind != KeyEventKind::Release => Action::Key(key),
                    Event::Resize(..) => Action::Resize,
                    _ => continue,
                };
                if done.send(action).is_err() {
                    return;
                }
            }
        })?;
    Ok(actions)
}
