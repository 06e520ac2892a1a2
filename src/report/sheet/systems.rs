//! Bars to systems, systems to pages, and what stands around them.

use std::ops::Range;

use super::bars::{SheetBar, bars};
use super::draw::{Rows, System, draw_system};
use super::shapes::{Anchor, Cut, Page, Shade};
use super::{Paper, SheetOptions};
use crate::music::fingering::Way;
use crate::music::line::{Line, Tempo};
use crate::music::theory::Key;

/// Millimetres left free on each side: what every printer can print within, and room for a pencil.
const MARGIN: f64 = 15.0;
/// Millimetres for the names of the strings before the first bar line.
const NAMES_WIDTH: f64 = 6.0;
/// How much more than its place the bars of a system may want: they are drawn closer. Sixteenths lie
/// 5 mm apart then; raising it crowds them.
const CROWDED: f64 = 1.25;
/// How far a last, short system is spread at most.
const LAST_SPREAD: f64 = 1.2;
/// Most bars in a system, so that the eye finds its way. Common practice, no source.
const MOST_BARS: usize = 6;
/// Millimetres between two systems.
const BETWEEN_SYSTEMS: f64 = 7.0;
/// Millimetres the title, and what stands beneath it, take on the first page.
const TITLE_HEIGHT: f64 = 20.0;
/// Millimetres the title takes on further pages.
const RUNNING_HEIGHT: f64 = 8.0;

/// The pages of a line.
pub(super) fn pages(line: &Line, way: &Way, options: &SheetOptions) -> Vec<Page> {
    let list = bars(line, way, options);
    let (width, height) = options.paper.millimetres();
    let left = MARGIN + NAMES_WIDTH;
    let room = width - MARGIN - left;
    let systems = systems(&list, room);
    let names = string_names(line);

    let mut pages = vec![first_page(line, options.paper)];
    let mut y = MARGIN + TITLE_HEIGHT;
    let mut slurred_from = None;
    for (range, factor) in systems {
        let rows = Rows::new(line.instrument().strings(), &list[range.clone()]);
        if y + rows.height() > height - MARGIN {
            pages.push(further_page(line, options.paper));
            y = MARGIN + RUNNING_HEIGHT;
        }
        let Some(page) = pages.last_mut() else { break };
        let system = System {
            bars: &list[range.clone()],
            is_last: range.end == list.len(),
            factor,
            left,
            top: y,
            names: &names,
        };
        draw_system(page, &system, &rows, &mut slurred_from);
        y += rows.height() + BETWEEN_SYSTEMS;
    }
    let count = pages.len();
    if count > 1 {
        for (number, page) in (1..).zip(&mut pages) {
            let at = (width / 2.0, height - MARGIN / 2.0);
            let text = format!("{number} of {count}");
            page.shaded(at, &text, 2.8, Cut::Plain, Anchor::Middle, Shade::Grey);
        }
    }
    pages
}

/// Which bars share a system, and how far their notes are spread.
fn systems(bars: &[SheetBar], room: f64) -> Vec<(Range<usize>, f64)> {
    let mut systems = Vec::new();
    let mut start = 0;
    while start < bars.len() {
        let mut end = start;
        let mut width = 0.0;
        while end < bars.len()
            && end - start < MOST_BARS
            && (end == start || width + bars[end].width <= room * CROWDED)
        {
            width += bars[end].width;
            end += 1;
        }
        let lead: f64 = bars[start..end].iter().map(|bar| bar.lead).sum();
        let full = (room - lead).max(1.0) / (width - lead).max(1.0);
        let factor = if end == bars.len() {
            full.min(LAST_SPREAD)
        } else {
            full
        };
        systems.push((start..end, factor));
        start = end;
    }
    systems
}

/// The names of the open strings, string 1 first, without octaves.
fn string_names(line: &Line) -> Vec<String> {
    line.instrument()
        .tuning()
        .open_strings()
        .iter()
        .map(|&midi| {
            let name = Key::default().spell(midi).to_string();
            name.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-')
                .to_owned()
        })
        .collect()
}

fn first_page(line: &Line, paper: Paper) -> Page {
    let (width, _) = paper.millimetres();
    let mut page = Page::default();
    let title = (width / 2.0, MARGIN + 6.0);
    let size = fitting(line.title(), 7.0, width - 2.0 * MARGIN);
    page.word(title, line.title(), size, Cut::Bold, Anchor::Middle);
    let y = MARGIN + 15.0;
    let mut x = tempo_mark(&mut page, (MARGIN, y), line.tempo()) + 5.0;
    let mut words = vec![line.key().to_string()];
    if let Some(ratio) = line.swing() {
        words.push(format!("swung {ratio}"));
    }
    for word in words {
        page.word((x, y), &word, 3.6, Cut::Plain, Anchor::Start);
        x += super::shapes::word_width(&word, 3.6) + 5.0;
    }
    let strings = format!("Strings {}", line.instrument().tuning());
    let at = (width - MARGIN, y);
    page.shaded(at, &strings, 3.2, Cut::Plain, Anchor::End, Shade::Grey);
    page
}

fn further_page(line: &Line, paper: Paper) -> Page {
    let (width, _) = paper.millimetres();
    let mut page = Page::default();
    let at = (width / 2.0, MARGIN);
    let size = fitting(line.title(), 3.2, width - 2.0 * MARGIN);
    page.shaded(
        at,
        line.title(),
        size,
        Cut::Plain,
        Anchor::Middle,
        Shade::Grey,
    );
    page
}

/// A note and the beats a minute; gives back where it ends.
pub(super) fn tempo_mark(page: &mut Page, (x, y): (f64, f64), tempo: Tempo) -> f64 {
    let value = super::rhythm::value(tempo.beat());
    let whole = value.map_or(4, |value| value.of_whole);
    let mut end = x + 2.0;
    super::stems::note_head(page, (x + 0.9, y - 0.7), whole);
    for _ in 0..value.map_or(0, |value| value.dots) {
        page.dot((end + 0.9, y - 0.7), 0.3);
        end += 1.0;
    }
    if whole >= 8 {
        end += 1.2;
    }
    end += 0.6;
    let text = format!("= {}", crate::words::beat(tempo.bpm()));
    page.word((end, y), &text, 3.6, Cut::Plain, Anchor::Start);
    end + super::shapes::word_width(&text, 3.6)
}

/// The size at which a word is no wider than `room`, at most `size`. Bold letters are up to a
/// tenth wider than the plain ones that are measured.
fn fitting(text: &str, size: f64, room: f64) -> f64 {
    let width = 1.1 * super::shapes::word_width(text, size);
    if width > room {
        size * room / width
    } else {
        size
    }
}
