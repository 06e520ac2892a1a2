//! Repeats, endings and jumps, around and above a bar.

use super::shapes::{Anchor, Cut, Page, Shade};
use crate::music::line::{Jump, JumpTo, Signs, Until};

/// Width of the heavy line of a repeat.
const HEAVY: f64 = 0.8;
/// Size of the words.
const SIZE: f64 = 3.2;

/// True when the signs print words above the bar.
pub(super) fn has_words(signs: &Signs) -> bool {
    let start = signs.segno || signs.coda || !signs.ending.is_empty();
    start || signs.ending_end || !at_end(signs).is_empty()
}

/// The words at the end of a bar.
pub(in crate::report) fn at_end(signs: &Signs) -> String {
    let mut words = Vec::new();
    if signs.to_coda {
        words.push("To Coda".to_owned());
    }
    if signs.fine {
        words.push("Fine".to_owned());
    }
    if let Some(jump) = signs.jump {
        words.push(jump_told(jump));
    }
    if let Some(times) = signs.repeat_end.filter(|&times| times > 2) {
        words.push(format!("{times} times"));
    }
    if signs.repeat_again {
        words.push("again after the jump".to_owned());
    }
    words.join(", ")
}

fn jump_told(jump: Jump) -> String {
    let from = match jump.to {
        JumpTo::Start => "D.C.",
        JumpTo::Segno => "D.S.",
    };
    let until = match jump.until {
        Some(Until::Fine) => " al Fine",
        Some(Until::Coda) => " al Coda",
        None => "",
    };
    format!("{from}{until}")
}

/// Draws the signs of a bar between two bar lines; `words` is the base line of the words above it.
pub(super) fn draw_signs(
    page: &mut Page,
    signs: &Signs,
    (left, right): (f64, f64),
    (upper, lower): (f64, f64),
    words: f64,
) {
    if signs.repeat_start {
        repeat(page, left + HEAVY / 2.0, 1.0, (upper, lower));
    }
    if signs.repeat_end.is_some() {
        repeat(page, right - HEAVY / 2.0, -1.0, (upper, lower));
    }
    let mut x = left + 0.4;
    if signs.segno {
        x = word(page, (x, words), "Segno") + 3.0;
    }
    if signs.coda {
        x = word(page, (x, words), "Coda") + 3.0;
    }
    if !signs.ending.is_empty() {
        let times: Vec<String> = signs.ending.iter().map(|time| format!("{time}.")).collect();
        let roof = words - 3.4;
        page.line((left + 0.3, roof), (right - 0.6, roof), 0.25, Shade::Black);
        page.line(
            (left + 0.3, roof),
            (left + 0.3, words + 0.4),
            0.25,
            Shade::Black,
        );
        word(page, (x.max(left + 1.2), words), &times.join(" "));
    }
    if signs.ending_end {
        let roof = words - 3.4;
        if signs.ending.is_empty() {
            page.line((left + 0.3, roof), (right - 0.6, roof), 0.25, Shade::Black);
        }
        page.line(
            (right - 0.6, roof),
            (right - 0.6, words + 0.4),
            0.25,
            Shade::Black,
        );
    }
    let end = at_end(signs);
    if !end.is_empty() {
        page.word((right - 1.2, words), &end, SIZE, Cut::Slanted, Anchor::End);
    }
}

fn word(page: &mut Page, at: (f64, f64), text: &str) -> f64 {
    page.word(at, text, SIZE, Cut::Slanted, Anchor::Start);
    at.0 + super::shapes::word_width(text, SIZE)
}

/// A heavy and a thin line with two dots on the side of the music: `side` 1 is to the right.
fn repeat(page: &mut Page, x: f64, side: f64, (upper, lower): (f64, f64)) {
    page.line((x, upper), (x, lower), HEAVY, Shade::Black);
    let thin = x + side * 1.0;
    page.line((thin, upper), (thin, lower), 0.15, Shade::Black);
    let middle = (upper + lower) / 2.0;
    for y in [middle - 1.5, middle + 1.5] {
        page.dot((x + side * 2.0, y), 0.4);
    }
}
