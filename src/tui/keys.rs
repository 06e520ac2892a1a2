//! One table of keys: what each does, and the words by which the help page says it.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use crate::session::live::snapshot::Command;

/// What a key does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Does {
    /// The session is asked for something.
    Ask(Command),
    /// The help page comes or goes.
    Help,
    /// Dim or not.
    Dim,
    /// Large print or not.
    Large,
}

/// A key.
pub struct Key {
    /// Which.
    pub code: KeyCode,
    /// As it is written.
    pub name: &'static str,
    /// What it does.
    pub does: Does,
    /// In a word or two, for the bottom line.
    pub short: &'static str,
    /// In a sentence, for the help page.
    pub words: &'static str,
}

const fn key(
    code: KeyCode,
    name: &'static str,
    does: Does,
    short: &'static str,
    words: &'static str,
) -> Key {
    Key {
        code,
        name,
        does,
        short,
        words,
    }
}

/// All keys, in the order of the help page.
pub const KEYS: [Key; 18] = [
    key(
        KeyCode::Char(' '),
        "space",
        Does::Ask(Command::Restart),
        "again",
        "Again from the first chosen bar, counted in anew",
    ),
    key(
        KeyCode::Enter,
        "enter",
        Does::Ask(Command::FromHere),
        "from here",
        "Again from the bar you are in",
    ),
    key(
        KeyCode::Char('b'),
        "b",
        Does::Ask(Command::LoopHere),
        "this bar",
        "Only the bar you are in, over and over",
    ),
    key(
        KeyCode::Char('.'),
        ".",
        Does::Ask(Command::Widen),
        "bar more",
        "One bar more at the end (also: right arrow)",
    ),
    key(
        KeyCode::Char(','),
        ",",
        Does::Ask(Command::Narrow),
        "bar less",
        "One bar less at the end (also: left arrow)",
    ),
    key(
        KeyCode::Char('['),
        "[",
        Does::Ask(Command::WidenStart),
        "start earlier",
        "One bar more at the start",
    ),
    key(
        KeyCode::Char(']'),
        "]",
        Does::Ask(Command::NarrowStart),
        "start later",
        "One bar less at the start",
    ),
    key(
        KeyCode::Char('j'),
        "j",
        Does::Ask(Command::LoopWorst),
        "worst join",
        "Only the worst join, over and over; again: its bars",
    ),
    key(
        KeyCode::Char('n'),
        "n",
        Does::Ask(Command::CountIn),
        "no count-in",
        "Go round without counting in; again: counted in",
    ),
    key(
        KeyCode::Char('w'),
        "w",
        Does::Ask(Command::WholeLine),
        "whole line",
        "The whole line again",
    ),
    key(
        KeyCode::Char('-'),
        "-",
        Does::Ask(Command::Slower),
        "slower",
        "5 % of the written tempo slower (also: down arrow)",
    ),
    key(
        KeyCode::Char('+'),
        "+",
        Does::Ask(Command::Faster),
        "faster",
        "5 % faster (also: up arrow, =)",
    ),
    key(
        KeyCode::Char('c'),
        "c",
        Does::Ask(Command::Click),
        "click",
        "Click on or off",
    ),
    key(
        KeyCode::Char('h'),
        "h",
        Does::Ask(Command::ListenBack),
        "hear it",
        "Hear the last pass as it was played; again: stop",
    ),
    key(
        KeyCode::Char('d'),
        "d",
        Does::Dim,
        "dim",
        "Dim, for a dark room; again: as before",
    ),
    key(
        KeyCode::Char('l'),
        "l",
        Does::Large,
        "large",
        "Large print; again: as before",
    ),
    key(
        KeyCode::Char('?'),
        "?",
        Does::Help,
        "keys",
        "This page; any key leaves it",
    ),
    key(
        KeyCode::Char('q'),
        "q",
        Does::Ask(Command::Quit),
        "quit",
        "End; the take is kept (also: Esc)",
    ),
];

/// What was pressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pressed {
    /// A key of the table.
    Key(Does),
    /// Ctrl-C: the program is to end at once.
    Interrupt,
    /// Another key.
    Other,
}

/// What a key event means.
pub fn pressed(event: KeyEvent) -> Pressed {
    if event.modifiers.contains(KeyModifiers::CONTROL) {
        return match event.code {
            KeyCode::Char('c' | 'C') => Pressed::Interrupt,
            _ => Pressed::Other,
        };
    }
    let code = match event.code {
        KeyCode::Right => KeyCode::Char('.'),
        KeyCode::Left => KeyCode::Char(','),
        KeyCode::Down | KeyCode::Char('_') => KeyCode::Char('-'),
        KeyCode::Up | KeyCode::Char('=') => KeyCode::Char('+'),
        KeyCode::Esc => KeyCode::Char('q'),
        KeyCode::F(1) => KeyCode::Char('?'),
        KeyCode::Char(c) => KeyCode::Char(c.to_ascii_lowercase()),
        other => other,
    };
    KEYS.iter()
        .find(|key| key.code == code)
        .map_or(Pressed::Other, |key| Pressed::Key(key.does))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_stands_once_and_is_found() {
        for (n, key) in KEYS.iter().enumerate() {
            let event = KeyEvent::new(key.code, KeyModifiers::NONE);
            assert_eq!(pressed(event), Pressed::Key(key.does), "{}", key.name);
            let again = KEYS[n + 1..].iter().any(|other| other.code == key.code);
            assert!(!again, "{} stands twice", key.name);
        }
        let interrupt = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        assert_eq!(pressed(interrupt), Pressed::Interrupt);
        let other = KeyEvent::new(KeyCode::Char('#'), KeyModifiers::NONE);
        assert_eq!(pressed(other), Pressed::Other);
    }
}
