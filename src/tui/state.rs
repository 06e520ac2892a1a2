//! What is shown, and what a key or a snapshot changes in it. Nothing here draws.

use crossterm::event::KeyEvent;

use crate::session::live::snapshot::{Command, Phase, Snapshot};
use crate::tui::keys::{Does, Pressed, pressed};
use crate::tui::theme::{Theme, Tone};

/// Which page is up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Page {
    /// The session.
    #[default]
    Session,
    /// The keys.
    Help,
}

/// All that is shown.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct App {
    /// The newest snapshot; none before the first has come.
    pub snapshot: Option<Box<Snapshot>>,
    /// Which page is up.
    pub page: Page,
    /// How it looks.
    pub theme: Theme,
    /// What the theme goes back to from dim.
    pub usual: Tone,
    /// The player has asked for the end: nothing more is waited for.
    pub quitting: bool,
}

/// What can happen.
#[derive(Clone, Debug)]
pub enum Action {
    /// A key was pressed.
    Key(KeyEvent),
    /// The session has something new.
    Snapshot(Box<Snapshot>),
    /// The terminal has another size.
    Resize,
}

/// What is to be done about it, outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// Nothing.
    None,
    /// The session is to be asked for this.
    Ask(Command),
    /// The dashboard is to be left: the session is over and has been looked at.
    Leave,
    /// Everything is to end at once.
    Interrupt,
}

/// Takes in what happened.
pub fn update(app: &mut App, action: Action) -> Outcome {
    match action {
        Action::Snapshot(snapshot) => {
            app.snapshot = Some(snapshot);
            Outcome::None
        }
        Action::Resize => Outcome::None,
        Action::Key(event) => key(app, event),
    }
}

fn key(app: &mut App, event: KeyEvent) -> Outcome {
    let pressed = pressed(event);
    if pressed == Pressed::Interrupt {
        return Outcome::Interrupt;
    }
    if app.page == Page::Help {
        app.page = Page::Session;
        return Outcome::None;
    }
    let over = app
        .snapshot
        .as_ref()
        .is_some_and(|s| matches!(s.phase, Phase::Ended { .. }));
    match pressed {
        Pressed::Key(Does::Help) => app.page = Page::Help,
        Pressed::Key(Does::Dim) => {
            app.theme.tone = if app.theme.tone == Tone::Dim {
                app.usual
            } else {
                Tone::Dim
            };
        }
        Pressed::Key(Does::Large) => app.theme.large = !app.theme.large,
        _ if over => return Outcome::Leave,
        Pressed::Key(Does::Ask(command)) => {
            app.quitting |= command == Command::Quit;
            return Outcome::Ask(command);
        }
        Pressed::Other | Pressed::Interrupt => {}
    }
    Outcome::None
}
