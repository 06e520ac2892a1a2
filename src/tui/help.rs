//! The page of keys, made from the table of keys.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Widget};

use crate::tui::fit::show;
use crate::tui::keys::KEYS;
use crate::tui::theme::Theme;

/// The help page.
pub(super) struct Help {
    pub theme: Theme,
}

/// What the marks under the tab mean, and the caution.
const BELOW: [&str; 5] = [
    "Under the tab: heard: . as written, a name what sounded instead, -- nothing,",
    "x dead, cut let go too soon, * corrected; gap: ms of silence before the next",
    "note; time: ms early (-) or late (+); under: ~ another string rings.",
    "Keep the level low, on headphones above all. Stop when something hurts, and rest",
    "before you are tired.",
];

impl Widget for &Help {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let mut lines = vec![Line::styled("Keys", self.theme.strong())];
        for key in &KEYS {
            lines.push(Line::from(vec![
                Span::styled(format!("  {:<7}", key.name), self.theme.strong()),
                Span::styled(key.words, self.theme.text()),
            ]));
        }
        lines.extend(BELOW.map(|line| Line::styled(line, self.theme.text())));
        show(lines, area, buffer);
    }
}

/// The bottom line: the keys in a word each.
pub(super) struct Bottom {
    pub theme: Theme,
}

impl Widget for &Bottom {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let mut spans = Vec::new();
        let mut room = usize::from(area.width);
        // The way to the rest stands first, the others as far as there is room.
        let first = |key: &&crate::tui::keys::Key| key.name == "?";
        let order = KEYS
            .iter()
            .filter(first)
            .chain(KEYS.iter().filter(|k| k.name != "?"));
        for key in order {
            let text = format!("{} ", key.short);
            let wide = key.name.len() + 1 + text.len() + 1;
            if wide > room {
                break;
            }
            room -= wide;
            spans.push(Span::styled(key.name, self.theme.strong()));
            spans.push(Span::styled(format!(" {text} "), self.theme.faint()));
        }
        Paragraph::new(Line::from(spans)).render(area, buffer);
    }
}
