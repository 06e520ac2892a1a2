//! How things stand out: by weight and by reverse first, by colour only besides.

use ratatui::style::{Color, Modifier, Style};

/// How the screen looks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// The terminal's own colours, a few of them.
    #[default]
    Normal,
    /// For a dark room: little contrast.
    Dim,
    /// No colour at all.
    Mono,
}

/// How the screen looks, and how large.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Theme {
    /// The colours.
    pub tone: Tone,
    /// Far fewer things, larger.
    pub large: bool,
}

impl Theme {
    /// What is read as it stands.
    pub fn text(self) -> Style {
        match self.tone {
            Tone::Normal | Tone::Mono => Style::new(),
            Tone::Dim => Style::new().fg(Color::DarkGray),
        }
    }

    /// What is read first.
    pub fn strong(self) -> Style {
        match self.tone {
            Tone::Normal | Tone::Mono => Style::new().add_modifier(Modifier::BOLD),
            Tone::Dim => Style::new()
                .fg(Color::DarkGray)
                .add_modifier(Modifier::BOLD),
        }
    }

    /// What is only looked up.
    pub fn faint(self) -> Style {
        match self.tone {
            Tone::Normal => Style::new().fg(Color::DarkGray),
            Tone::Dim => Style::new().fg(Color::DarkGray).add_modifier(Modifier::DIM),
            Tone::Mono => Style::new().add_modifier(Modifier::DIM),
        }
    }

    /// What went wrong.
    pub fn alert(self) -> Style {
        match self.tone {
            Tone::Normal => Style::new().fg(Color::Magenta).add_modifier(Modifier::BOLD),
            Tone::Dim => Style::new()
                .fg(Color::DarkGray)
                .add_modifier(Modifier::UNDERLINED),
            Tone::Mono => Style::new().add_modifier(Modifier::BOLD),
        }
    }

    /// The place in the line, and a banner that must not be overlooked.
    pub fn marked(self) -> Style {
        match self.tone {
            Tone::Normal | Tone::Mono => {
                Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD)
            }
            Tone::Dim => Style::new()
                .fg(Color::DarkGray)
                .add_modifier(Modifier::REVERSED),
        }
    }
}
