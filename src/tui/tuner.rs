//! The tuner's screen: what sounds and how far off it is in letters to be read from afar, and each
//! string in a line.

use std::io;
use std::time::Duration;

use crossbeam_channel::{Receiver, TryRecvError};
use ratatui::Frame;
use ratatui::layout::{Constraint, Layout};
use ratatui::text::Line;
use ratatui::widgets::{Paragraph, Widget};

use crate::session::live::snapshot::Command;
use crate::session::live::tuner::TunerSnapshot;
use crate::session::tuning::StringCheck;
use crate::tui::keys::{Does, Pressed, pressed};
use crate::tui::panels::level_words;
use crate::tui::run::{LeftBy, await_action};
use crate::tui::state::Action;
use crate::tui::terminal::{Screen, actions, is_broken};
use crate::tui::theme::Theme;
use crate::tui::{big, phrases};

/// Columns for the name of the note.
const NOTE_COLUMNS: u16 = 26;
/// A note is shown as sounding for this long after it began, in seconds.
const SHOWN_S: f64 = 8.0;

/// Draws the tuner.
pub fn view(snapshot: Option<&TunerSnapshot>, theme: Theme, frame: &mut Frame) {
    let area = frame.area();
    let buffer = frame.buffer_mut();
    buffer.set_style(area, theme.text());
    let Some(s) = snapshot else {
        Paragraph::new("Opening the device ...").render(area, buffer);
        return;
    };
    let [title, _, now, cents, _, table, level, keys] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Length(big::ROWS),
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Min(0),
        Constraint::Length(1),
        Constraint::Length(1),
    ])
    .areas(area);
    let (text, style) = match &s.lost {
        Some(message) => (format!(" NO SOUND: {message}; waiting. "), theme.marked()),
        None => (
            "Pluck each open string alone, let it ring for two seconds, stop it, wait.".to_owned(),
            theme.strong(),
        ),
    };
    Paragraph::new(Line::styled(text, style)).render(title, buffer);
    if let Some(tone) = s.tone.filter(|tone| s.at_s - tone.onset_s < SHOWN_S) {
        big::draw(&phrases::pitch(tone.midi), 1, theme.strong(), now, buffer);
        let off = 100.0 * (tone.midi - tone.midi.round());
        let right = now.intersection(ratatui::layout::Rect {
            x: now.x.saturating_add(NOTE_COLUMNS),
            ..now
        });
        let sign = if off.round() < 0.0 { "-" } else { "" };
        let number = format!("{sign}{}", off.abs().round());
        if off.is_finite() {
            big::draw(&number, 1, theme.text(), right, buffer);
        }
        let doubt = match tone.uncertainty_cents {
            Some(sd) if sd.is_finite() => format!(", give or take {sd:.1}"),
            _ => ", first look".to_owned(),
        };
        let line = format!("{}{doubt}", phrases::cents(off));
        Paragraph::new(Line::styled(line, theme.strong())).render(cents, buffer);
    }
    let mut lines = vec![Line::styled(
        "string  open  off, cents     12th fret  stopped  still sounds",
        theme.strong(),
    )];
    lines.extend(
        s.check
            .strings
            .iter()
            .map(|string| Line::styled(row(string, s), theme.text())),
    );
    Paragraph::new(lines).render(table, buffer);
    Paragraph::new(Line::styled(level_words(&s.level), theme.text())).render(level, buffer);
    Paragraph::new(Line::styled(
        "q end, and keep what was measured",
        theme.faint(),
    ))
    .render(keys, buffer);
}

fn row(s: &StringCheck, all: &TunerSnapshot) -> String {
    let off = s.cents.map_or_else(
        || "not heard yet".to_owned(),
        |(cents, sd)| format!("{cents:+.1} \u{b1}{sd:.1}"),
    );
    let twelfth = s
        .twelfth_cents
        .map_or_else(|| "-".to_owned(), |c| format!("{c:+.1}"));
    let stopped = s
        .stopped_after_s
        .map_or_else(|| "-".to_owned(), |t| format!("{t:.1} s"));
    let name = |string: u8| {
        let other = all.check.strings.iter().find(|o| o.string == string);
        other.map_or_else(
            || "?".to_owned(),
            |o| phrases::pitch_class(f64::from(o.open_midi)),
        )
    };
    let still = match s.still.as_deref() {
        None => "-".to_owned(),
        Some([]) => "nothing".to_owned(),
        Some(still) => still
            .iter()
            .map(|(string, db)| format!("{} {db:.0} dB", name(*string)))
            .collect::<Vec<_>>()
            .join(", "),
    };
    format!(
        "{:<7} {:<5} {off:<14} {twelfth:<10} {stopped:<8} {still}",
        s.string,
        phrases::pitch(f64::from(s.open_midi))
    )
}

/// Lines for what is new: a measured string, said once more when it has changed by a cent.
#[derive(Debug, Default)]
pub struct TunerTeller {
    told: Vec<(u8, i64, bool)>,
    lost: bool,
}

impl TunerTeller {
    /// The lines for what is new in `next`.
    pub fn lines(&mut self, next: &TunerSnapshot) -> Vec<String> {
        let mut lines = Vec::new();
        if next.lost.is_some() != self.lost {
            self.lost = next.lost.is_some();
            lines.push(match &next.lost {
                Some(message) => format!("no sound: {message}"),
                None => "the device is back".to_owned(),
            });
        }
        for string in &next.check.strings {
            let Some((cents, sd)) = string.cents else {
                continue;
            };
            let now = (string.string, cents.round() as i64, string.still.is_some());
            if self.told.contains(&now) {
                continue;
            }
            self.told.retain(|told| told.0 != string.string);
            self.told.push(now);
            lines.push(format!(
                "string {}, {}: {}, give or take {sd:.1}",
                string.string,
                phrases::pitch(f64::from(string.open_midi)),
                phrases::cents(cents)
            ));
        }
        lines
    }
}

/// Shows the tuner until it is over or left.
///
/// # Errors
/// When the terminal cannot be taken, or is gone.
pub fn run(snapshots: &Receiver<Box<TunerSnapshot>>, theme: Theme) -> io::Result<LeftBy> {
    let mut screen = Screen::take()?;
    let actions = actions()?;
    let mut newest = None;
    loop {
        if let Some(Action::Key(key)) = await_action(&actions, Duration::from_millis(60)) {
            match pressed(key) {
                Pressed::Interrupt => return Ok(LeftBy::Interrupt),
                Pressed::Key(Does::Ask(Command::Quit)) => return Ok(LeftBy::End),
                _ => {}
            }
        }
        loop {
            match snapshots.try_recv() {
                Ok(snapshot) => newest = Some(snapshot),
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => return Ok(LeftBy::End),
            }
        }
        if is_broken() {
            return Ok(LeftBy::End);
        }
        screen.draw(|frame| view(newest.as_deref(), theme, frame))?;
    }
}
