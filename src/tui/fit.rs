//! Lines that fit where they are shown: what is cut says so.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Widget};

/// What stands at the end of a line that is cut.
pub(super) const CUT: &str = "…";

/// The line in at most `columns`, with a mark where it was cut.
pub(super) fn fitted(line: Line<'static>, columns: u16) -> Line<'static> {
    let columns = usize::from(columns);
    if line.width() <= columns {
        return line;
    }
    let mut room = columns.saturating_sub(1);
    let style = line.style;
    let mut spans: Vec<Span> = Vec::new();
    for span in line.spans {
        let wide = span.width();
        if wide <= room {
            room -= wide;
            spans.push(span);
            continue;
        }
        let mut text = span.content.into_owned();
        while Span::raw(text.as_str()).width() > room {
            text.pop();
        }
        spans.push(Span::styled(text + CUT, span.style));
        break;
    }
    Line::from(spans).style(style)
}

/// Shows lines in `area`; where there are more than fit, the last row says how many.
pub(super) fn show(mut lines: Vec<Line<'static>>, area: Rect, buffer: &mut Buffer) {
    let rows = usize::from(area.height);
    if rows > 0 && lines.len() > rows {
        let kept = rows.saturating_sub(1).max(1);
        let mark = format!("  {CUT} {} more", lines.len() - kept);
        let style = lines.last().map(|line| line.style).unwrap_or_default();
        lines.truncate(kept);
        if kept < rows {
            lines.push(Line::styled(mark, style));
        } else if let Some(only) = lines.pop() {
            let columns = u16::try_from(mark.chars().count()).unwrap_or(0);
            let mut only = fitted(only, area.width.saturating_sub(columns));
            only.push_span(Span::styled(mark, style));
            lines.push(only);
        }
    }
    let lines: Vec<Line> = lines
        .into_iter()
        .map(|line| fitted(line, area.width))
        .collect();
    Paragraph::new(lines).render(area, buffer);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(line: &Line) -> String {
        line.spans
            .iter()
            .map(|span| span.content.as_ref())
            .collect()
    }

    #[test]
    fn what_is_cut_says_so() {
        let line = Line::from(vec![Span::raw("one "), Span::raw("two three")]);
        assert_eq!(text(&fitted(line.clone(), 13)), "one two three");
        assert_eq!(text(&fitted(line.clone(), 12)), "one two thr…");
        assert_eq!(text(&fitted(line.clone(), 3)), "on…");
        assert_eq!(text(&fitted(line, 0)), "…");
        let mut buffer = Buffer::empty(Rect::new(0, 0, 12, 2));
        let lines = ["a", "b", "c"].map(Line::raw).to_vec();
        show(lines, Rect::new(0, 0, 12, 2), &mut buffer);
        let row: String = (0..12)
            .map(|x| buffer[(x, 1)].symbol().to_owned())
            .collect();
        assert_eq!(row.trim(), "… 2 more");
        let lines = ["a line", "b", "c"].map(Line::raw).to_vec();
        show(lines, Rect::new(0, 0, 12, 1), &mut buffer);
        let row: String = (0..12)
            .map(|x| buffer[(x, 0)].symbol().to_owned())
            .collect();
        assert_eq!(row, "a…  … 2 more");
    }
}
