//! The screen laid out. Changes nothing, reads no clock.

use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::widgets::{Paragraph, Widget};

use crate::session::live::snapshot::Snapshot;
use crate::tui::big;
use crate::tui::head::{LastJoin, Notice, Now, Stand, Title};
use crate::tui::help::{Bottom, Help};
use crate::tui::panels::{Joins, LastPass, Status, Strings, Timing};
use crate::tui::state::{App, Page};
use crate::tui::tab::Tab;
use crate::tui::theme::Theme;

/// Columns from which the joins and the last pass stand side by side with the strings.
const WIDE: u16 = 72;

/// Columns of the last join in large letters: `GAP 84`.
const JOIN_COLUMNS: u16 = 36;
/// Columns from which it stands beside the sounding note.
const BESIDE: u16 = 118;
/// Rows from which it stands below it.
const TALL: u16 = 36;

/// Draws everything.
pub fn view(app: &App, frame: &mut Frame) {
    let area = frame.area();
    let buffer = frame.buffer_mut();
    let theme = app.theme;
    buffer.set_style(area, theme.text());
    if app.page == Page::Help {
        (&Help { theme }).render(area, buffer);
        return;
    }
    let Some(snapshot) = &app.snapshot else {
        Paragraph::new("Opening the devices ...").render(area, buffer);
        return;
    };
    if theme.large {
        large(snapshot, theme, area, buffer);
    } else {
        usual(snapshot, theme, area, buffer);
    }
}

fn usual(snapshot: &Snapshot, theme: Theme, area: Rect, buffer: &mut ratatui::buffer::Buffer) {
    let system = Tab::system_rows(snapshot);
    // Title, stand, large letters with a row below them, timing, status, keys.
    let beside = area.width >= BESIDE;
    let tall = !beside && area.height >= TALL;
    let join_rows = if tall { big::ROWS + 1 } else { 0 };
    let fixed = 2 + big::ROWS + 1 + 3 + join_rows;
    let left = area.height.saturating_sub(fixed);
    // A second system and more once the panels have what they need.
    let more = left.saturating_sub(system + PANEL_ROWS) / (system + 1);
    // Rows that the line does not need belong to the panels.
    let needed = Tab::systems_of(snapshot, area.width, theme).saturating_sub(1);
    let more = more.min(u16::try_from(needed).unwrap_or(u16::MAX));
    let tab_rows = (system + more * (system + 1)).min(left);
    let [
        title,
        stand,
        now,
        notice,
        join,
        tab,
        timing,
        panels,
        status,
        keys,
    ] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Length(big::ROWS),
        Constraint::Length(1),
        Constraint::Length(join_rows),
        Constraint::Length(tab_rows),
        Constraint::Length(1),
        Constraint::Min(0),
        Constraint::Length(1),
        Constraint::Length(1),
    ])
    .areas(area);
    (&Title { snapshot, theme }).render(title, buffer);
    (&Stand { snapshot, theme }).render(stand, buffer);
    (&Now { snapshot, theme }).render(now, buffer);
    (&Notice { snapshot, theme }).render(notice, buffer);
    if beside {
        let right = Rect {
            x: now.right() - JOIN_COLUMNS,
            width: JOIN_COLUMNS,
            ..now
        };
        (&LastJoin { snapshot, theme }).render(right, buffer);
    }
    if tall {
        (&LastJoin { snapshot, theme }).render(join, buffer);
    }
    (&Tab { snapshot, theme }).render(tab, buffer);
    (&Timing { snapshot, theme }).render(timing, buffer);
    let pass = snapshot.last_pass.as_ref();
    let (piece, joins) = (&snapshot.piece, &snapshot.worst);
    let figures = panels.height.min(if pass.is_some() { 1 } else { 0 });
    let spare = panels.height.saturating_sub(PANEL_ROWS);
    let [beside, last] = Layout::vertical([
        Constraint::Min(0),
        Constraint::Length((figures + spare).min(panels.height)),
    ])
    .areas(panels);
    if area.width >= WIDE {
        let [left, right] =
            Layout::horizontal([Constraint::Percentage(42), Constraint::Min(0)]).areas(beside);
        (&Strings { snapshot, theme }).render(left, buffer);
        (&Joins {
            piece,
            joins,
            theme,
        })
            .render(right, buffer);
    } else {
        (&Joins {
            piece,
            joins,
            theme,
        })
            .render(beside, buffer);
    }
    (&LastPass { pass, theme }).render(last, buffer);
    (&Status { snapshot, theme }).render(status, buffer);
    (&Bottom { theme }).render(keys, buffer);
}

/// Rows the panels below the tab need for four strings and as many joins.
const PANEL_ROWS: u16 = 5;

fn large(snapshot: &Snapshot, theme: Theme, area: Rect, buffer: &mut ratatui::buffer::Buffer) {
    let [title, stand, notice, now, last, status, keys] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Min(0),
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Length(1),
    ])
    .areas(area);
    (&Title { snapshot, theme }).render(title, buffer);
    (&Stand { snapshot, theme }).render(stand, buffer);
    (&Notice { snapshot, theme }).render(notice, buffer);
    (&Now { snapshot, theme }).render(now, buffer);
    let pass = snapshot.last_pass.as_ref();
    (&LastPass { pass, theme }).render(last, buffer);
    (&Status { snapshot, theme }).render(status, buffer);
    (&Bottom { theme }).render(keys, buffer);
}
