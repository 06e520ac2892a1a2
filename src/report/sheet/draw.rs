//! One system drawn: strings, bar lines, numbers, and what stands above them.

use super::bars::{
    CHORD_SIZE, GRACE_WIDTH, Item, METER_WIDTH, Mark, REPEAT_WIDTH, Reached, SheetBar,
};
use super::repeats::{draw_signs, has_words};
use super::rests::draw_rest;
use super::shapes::{Anchor, Cut, Page, Shade, word_width};
use super::stems::draw_rhythm;
use super::systems::tempo_mark;
use crate::music::line::Meter;

/// Millimetres between two strings.
const STRING_GAP: f64 = 3.0;
/// Size of the numbers on the strings, in millimetres.
const NUMBER_SIZE: f64 = 3.3;
/// Size of grace notes.
const GRACE_SIZE: f64 = 2.3;
/// Size of the fingers above the staff.
const FINGER_SIZE: f64 = 2.5;
/// Millimetres that words beneath the notes take.
const BENEATH: f64 = 3.4;
/// Width of a string and of a bar line.
const THIN: f64 = 0.15;
/// Width of the last bar line.
const THICK: f64 = 0.8;

/// The rows of a system, one above the other, in millimetres from its top.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rows {
    strings: u8,
    /// Base line of tempos and keys.
    pub words: f64,
    /// Base line of chord symbols.
    pub chords: f64,
    /// Base line of the hand's place.
    pub hands: f64,
    /// Base line of the fingers.
    pub fingers: f64,
    /// The uppermost string.
    pub staff: f64,
    /// True when words stand beneath the notes.
    beneath: bool,
}

impl Rows {
    /// Rows for what the bars of a system hold.
    pub fn new(strings: u8, bars: &[SheetBar]) -> Self {
        let any = |has: &dyn Fn(&SheetBar) -> bool| bars.iter().any(has);
        let items = |has: &dyn Fn(&Item) -> bool| bars.iter().flat_map(|bar| &bar.items).any(has);
        let mut y = 0.0;
        let mut row = |is_used: bool, height: f64| {
            if is_used {
                y += height;
            }
            y
        };
        let words = row(
            any(&|bar| !bar.words.is_empty() || !bar.tempos.is_empty() || has_words(&bar.signs)),
            5.0,
        );
        let chords = row(any(&|bar| !bar.chords.is_empty()), 5.0);
        let hands = row(items(&|item| item.hand.is_some()), 4.2);
        let fingers_of = |item: &Item| {
            item.marks
                .iter()
                .filter(|mark| mark.finger.is_some())
                .count()
        };
        let all = bars.iter().flat_map(|bar| &bar.items);
        let most = all.map(fingers_of).max().unwrap_or(0);
        let above = FINGER_SIZE * most.saturating_sub(1) as f64;
        let fingers = row(most > 0, 3.6 + above);
        Self {
            strings,
            words,
            chords,
            hands,
            fingers,
            staff: fingers + 3.4,
            beneath: items(&|item| item.beneath.is_some()),
        }
    }

    /// The lowest string, from the system's top.
    pub fn staff_end(&self) -> f64 {
        self.staff + f64::from(self.strings.saturating_sub(1)) * STRING_GAP
    }

    /// The whole system.
    pub fn height(&self) -> f64 {
        self.staff_end() + 12.0 + if self.beneath { BENEATH } else { 0.0 }
    }

    fn string(&self, string: u8) -> f64 {
        self.staff + f64::from(string.clamp(1, self.strings) - 1) * STRING_GAP
    }
}

/// A system and where it goes.
pub(super) struct System<'a> {
    pub bars: &'a [SheetBar],
    pub is_last: bool,
    pub factor: f64,
    /// Its first bar line.
    pub left: f64,
    /// Its upper edge.
    pub top: f64,
    pub names: &'a [String],
}

/// The note before, for bows and slides.
#[derive(Clone, Debug)]
pub(super) struct Last {
    x: f64,
    /// The upper edge of its system, which tells whether it is the same one.
    top: f64,
    marks: Vec<Mark>,
}

/// Draws a system; `last` is the note before it, and the last one of it afterwards.
pub(super) fn draw_system(page: &mut Page, system: &System, rows: &Rows, last: &mut Option<Last>) {
    let width: f64 = system
        .bars
        .iter()
        .map(|bar| bar.spread(bar.width, system.factor))
        .sum();
    let right = system.left + width;
    let (upper, lower) = (system.top + rows.staff, system.top + rows.staff_end());
    for string in 1..=rows.strings {
        let y = system.top + rows.string(string);
        page.line((system.left, y), (right, y), THIN, Shade::Grey);
        if let Some(name) = system.names.get(usize::from(string) - 1) {
            let at = (system.left - 1.6, y + 0.9);
            page.shaded(at, name, 2.6, Cut::Plain, Anchor::End, Shade::Grey);
        }
    }
    bar_line(page, system.left, (upper, lower), THIN);
    let mut left = system.left;
    for bar in system.bars {
        draw_bar(page, bar, left, system, rows, last);
        let end = left + bar.spread(bar.width, system.factor);
        let words = system.top + rows.words - 1.0;
        draw_signs(page, &bar.signs, (left, end), (upper, lower), words);
        left = end;
        bar_line(page, left, (upper, lower), THIN);
    }
    if system.is_last {
        bar_line(page, right - 1.4, (upper, lower), THIN);
        bar_line(page, right - THICK / 2.0, (upper, lower), THICK);
    }
}

fn bar_line(page: &mut Page, x: f64, (upper, lower): (f64, f64), width: f64) {
    // With one string alone a bar line would have no height.
    let (upper, lower) = if upper == lower {
        (upper - STRING_GAP / 2.0, lower + STRING_GAP / 2.0)
    } else {
        (upper, lower)
    };
    page.line((x, upper), (x, lower), width.max(THIN), Shade::Black);
}

fn draw_bar(
    page: &mut Page,
    bar: &SheetBar,
    left: f64,
    system: &System,
    rows: &Rows,
    last: &mut Option<Last>,
) {
    let place = |x: f64| left + bar.spread(x, system.factor);
    let top = system.top;
    if bar.number > 0 {
        // Over the bar line: beside it, two digits would run into the first note of the top string.
        let at = (left, top + rows.staff - 1.0);
        let number = bar.number.to_string();
        page.shaded(at, &number, 2.3, Cut::Slanted, Anchor::Middle, Shade::Grey);
    }
    if let Some(meter) = bar.meter {
        let repeat = if bar.signs.repeat_start {
            REPEAT_WIDTH
        } else {
            0.0
        };
        draw_meter(page, meter, left + repeat + BEFORE_METER, top, rows);
    }
    let mut x = left + 0.4;
    for word in &bar.words {
        page.word(
            (x, top + rows.words - 1.0),
            word,
            3.2,
            Cut::Slanted,
            Anchor::Start,
        );
        x += word_width(word, 3.2) + 3.0;
    }
    for (at, tempo) in &bar.tempos {
        x = tempo_mark(page, (place(*at).max(x), top + rows.words - 1.0), *tempo) + 3.0;
    }
    for (at, chord) in &bar.chords {
        let at = (place(*at) - 1.0, top + rows.chords - 1.0);
        page.word(at, chord, CHORD_SIZE, Cut::Bold, Anchor::Start);
    }
    let xs: Vec<f64> = bar.items.iter().map(|item| place(item.x)).collect();
    let middle = top + (rows.staff + rows.staff_end()) / 2.0;
    for (item, &x) in bar.items.iter().zip(&xs) {
        if item.entry.is_rest {
            draw_rest(page, (x, middle), item.entry.value);
        } else {
            draw_note(page, item, x, top, rows, last.as_ref());
            *last = Some(Last {
                x,
                top,
                marks: item.marks.clone(),
            });
        }
        if item.breath {
            let at = (x + 2.6, top + rows.staff - 0.2);
            page.word(at, ",", 5.0, Cut::Bold, Anchor::Start);
        }
    }
    let words = top + rows.staff_end() + 11.0 + BENEATH;
    for (item, &x) in bar.items.iter().zip(&xs) {
        if let Some(word) = &item.beneath {
            page.word((x, words), word, FINGER_SIZE, Cut::Plain, Anchor::Middle);
        }
    }
    draw_rhythm(page, bar, &xs, top + rows.staff_end());
}

/// Millimetres from the bar line to the middle of the meter.
const BEFORE_METER: f64 = METER_WIDTH / 2.0 + 1.0;

fn draw_meter(page: &mut Page, meter: Meter, x: f64, top: f64, rows: &Rows) {
    let middle = top + (rows.staff + rows.staff_end()) / 2.0;
    for (text, y) in [
        (meter.beats().to_string(), middle - 0.5),
        (meter.unit().to_string(), middle + 4.1),
    ] {
        page.word((x, y), &text, 5.6, Cut::Bold, Anchor::Middle);
    }
}

fn draw_note(page: &mut Page, item: &Item, x: f64, top: f64, rows: &Rows, last: Option<&Last>) {
    let before = last.map(|last| {
        // From another system only the second half of a bow is seen.
        let from = if last.top == top { last.x } else { x - 5.0 };
        (from, last)
    });
    for mark in &item.marks {
        let y = top + rows.string(mark.string);
        let fret = mark
            .fret
            .map_or_else(|| "?".to_owned(), |fret| fret.to_string());
        let text = match item.reached {
            Reached::Held => format!("({fret})"),
            _ if mark.ghost => "x".to_owned(),
            _ => fret,
        };
        let half = word_width(&text, NUMBER_SIZE) / 2.0 + 0.3;
        page.block((x - half, y - 1.35), (x + half, y + 1.35), Shade::White);
        let at = (x, y + NUMBER_SIZE * 0.36);
        page.word(at, &text, NUMBER_SIZE, Cut::Bold, Anchor::Middle);
        if let Some((from, last)) = before
            && let Some(other) = last.marks.iter().find(|other| other.string == mark.string)
        {
            reach(page, item.reached, (from, x), y, (other.fret, mark.fret));
        }
    }
    for (before, grace) in (1..).zip(item.graces.iter().rev()) {
        let x = x - 0.6 - GRACE_WIDTH * f64::from(before);
        let y = top + rows.string(grace.string);
        let text = grace
            .fret
            .map_or_else(|| "?".to_owned(), |fret| fret.to_string());
        let half = word_width(&text, GRACE_SIZE) / 2.0 + 0.2;
        page.block((x - half, y - 1.0), (x + half, y + 1.0), Shade::White);
        let at = (x, y + GRACE_SIZE * 0.36);
        page.word(at, &text, GRACE_SIZE, Cut::Plain, Anchor::Middle);
    }
    if item.accent {
        // Beneath the stems, where no number is.
        let y = top + rows.staff_end() + 9.4;
        let points = vec![(x - 1.0, y - 0.6), (x + 1.0, y), (x - 1.0, y + 0.6)];
        page.shapes.push(super::shapes::Shape::Stroke {
            points,
            width: 0.25,
            shade: Shade::Black,
        });
    }
    if item.staccato {
        let lowest = item.marks.iter().map(|mark| mark.string).min().unwrap_or(1);
        page.dot((x, top + rows.string(lowest) - 2.0), 0.4);
    }
    let mut held: Vec<&Mark> = item.marks.iter().collect();
    held.sort_by_key(|mark| std::cmp::Reverse(mark.string));
    let fingers = held.iter().filter_map(|mark| mark.finger);
    // As the strings lie: the finger on the thinnest stands on top.
    for (at, finger) in (0_u8..).zip(fingers) {
        let y = top + rows.fingers - 0.2 - FINGER_SIZE * f64::from(at);
        let text = finger.to_string();
        page.word((x, y), &text, FINGER_SIZE, Cut::Slanted, Anchor::Middle);
    }
    if let Some((hand, side)) = item.hand {
        draw_hand(page, (x, top + rows.hands - 0.8), hand, side);
    }
}

/// What leads from one number to the next on a string.
fn reach(
    page: &mut Page,
    reached: Reached,
    (from, to): (f64, f64),
    y: f64,
    frets: (Option<u8>, Option<u8>),
) {
    match reached {
        Reached::Plucked => {}
        Reached::Slurred | Reached::Hammered | Reached::Pulled | Reached::Held => {
            let above = y - 1.7;
            let bend = above - 1.2 - (to - from).min(20.0) * 0.05;
            let (a, b) = (from + 0.6, to - 0.6);
            page.curve(
                [(a, above), (a + 1.2, bend), (b - 1.2, bend), (b, above)],
                0.3,
            );
            let letter = match reached {
                Reached::Hammered => "h",
                Reached::Pulled => "p",
                _ => return,
            };
            let at = ((a + b) / 2.0, bend - 0.1);
            page.word(at, letter, 2.3, Cut::Slanted, Anchor::Middle);
        }
        Reached::Slid => {
            let up = frets.1 >= frets.0;
            let lean = if up { 0.9 } else { -0.9 };
            page.line(
                (from + 2.4, y + lean),
                (to - 2.4, y - lean),
                0.35,
                Shade::Black,
            );
        }
    }
}

/// A Roman numeral for the fret of finger 1, with an arrow where the hand came from elsewhere.
fn draw_hand(page: &mut Page, (x, y): (f64, f64), hand: u8, side: i8) {
    let mut x = x - 1.0;
    if side != 0 {
        let (foot, tip) = if side > 0 { (y, y - 2.0) } else { (y - 2.0, y) };
        let points = vec![(x - 0.2, foot), (x + 1.6, foot), (x + 0.7, tip)];
        page.shapes.push(super::shapes::Shape::Area {
            points,
            shade: Shade::Black,
        });
        x += 2.2;
    }
    page.word((x, y), &roman(hand), 2.9, Cut::Plain, Anchor::Start);
}

/// A Roman numeral.
fn roman(number: u8) -> String {
    let mut left = number;
    let mut text = String::new();
    for (value, sign) in [(10, "X"), (9, "IX"), (5, "V"), (4, "IV"), (1, "I")] {
        while left >= value {
            text.push_str(sign);
            left -= value;
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::roman;

    #[test]
    fn numerals_are_roman() {
        // Common knowledge: subtractive notation up to 39.
        let list = [1, 4, 5, 9, 12, 14, 19, 24, 36].map(roman);
        assert_eq!(
            list,
            ["I", "IV", "V", "IX", "XII", "XIV", "XIX", "XXIV", "XXXVI"]
        );
    }
}
