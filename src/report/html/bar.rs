//! The picture of one bar: as it is written on top, as tab over time, and every pass that reached it
//! below, one under the other, each laid over its own grid.

use super::clock::Clock;
use super::draw::{Drawing, escaped};
use super::strip::strip;
use crate::compare::judgement::{JudgedNote, PassJudgement, Verdict};
use crate::session::line_info::BarSpan;
use crate::session::result::TakeResult;
use crate::words;

/// Width of a picture, in its own unit: what a phone shows at its size (390 less the edges).
pub(super) const WIDTH: f64 = 372.0;
/// Left of the music: names of strings and rows.
pub(super) const LEFT: f64 = 40.0;
/// Right of the music.
const RIGHT: f64 = 4.0;
/// Shown before the bar line, in quarter notes: an early first note.
const BEFORE_QUARTERS: f64 = 0.15;
/// Shown behind the next bar line, in quarter notes: the join that leads over it.
const BEHIND_QUARTERS: f64 = 0.4;
/// Height of a string's row where the line is written.
const WRITTEN_ROW: f64 = 16.0;
/// Height of a written note.
const WRITTEN_NOTE: f64 = 12.0;
/// Above the written strings: chord symbols.
const HEAD: f64 = 16.0;
/// Beneath them: the beats.
const BEATS: f64 = 15.0;
/// A beat this close to the end of a bar is the next bar's first, in quarter notes.
const SAME_PLACE: f64 = 1e-6;

/// Where things stand in the picture of a bar.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame<'a> {
    pub result: &'a TakeResult,
    pub bar: &'a BarSpan,
    /// Whether notes lead to their words on the page.
    pub linked: bool,
    /// What stands before the number of a pass: which take it is of, where there are several.
    pub take: &'a str,
}

impl Frame<'_> {
    /// The place at the left edge, in quarter notes from bar 1.
    fn first_quarters(&self) -> f64 {
        self.bar.start_quarters - BEFORE_QUARTERS
    }

    /// Units to a quarter note.
    pub fn per_quarter(&self) -> f64 {
        let shown = self.bar.length_quarters + BEFORE_QUARTERS + BEHIND_QUARTERS;
        (WIDTH - LEFT - RIGHT) / shown
    }

    /// Where a place of the line stands, held within the picture.
    pub fn x(&self, quarters: f64) -> f64 {
        let x = LEFT + (quarters - self.first_quarters()) * self.per_quarter();
        x.clamp(LEFT, WIDTH - RIGHT)
    }

    /// Whether anything between two places of the line is to be seen.
    pub fn shows(&self, from: f64, to: f64) -> bool {
        let end = self.bar.start_quarters + self.bar.length_quarters + BEHIND_QUARTERS;
        to > self.first_quarters() && from < end
    }

    /// Whether a note begins in this bar, and not in one beside it.
    pub fn is_own(&self, note: &JudgedNote) -> bool {
        note.expected.bar == self.bar.number
    }

    /// Names of the strings, string 1 on top; at least one.
    pub fn strings(&self) -> &[String] {
        &self.result.line.strings
    }
}

/// A picture that is done.
#[derive(Clone, Debug)]
pub(super) struct Drawn {
    pub drawing: Drawing,
    pub size: (f64, f64),
    /// What it shows, in a sentence.
    pub title: String,
}

/// The passes that show something of a bar, each with its grid.
pub(super) fn passes<'a>(result: &'a TakeResult, bar: &BarSpan) -> Vec<(&'a PassJudgement, Clock)> {
    let judged = result.judgement.passes.iter().filter(|pass| pass.judged);
    let reached = |pass: &&PassJudgement| {
        let of_bar =
            |n: &JudgedNote| n.expected.bar == bar.number && n.verdict != Verdict::Unreached;
        pass.notes.iter().any(of_bar)
    };
    judged
        .filter(reached)
        .filter_map(|pass| Some((pass, Clock::of(pass, result.line.tempo_bpm)?)))
        .collect()
}

/// Draws a bar.
pub(super) fn bar(result: &TakeResult, bar: &BarSpan, linked: bool) -> Drawn {
    of_takes(result, &[("", result)], bar, linked)
}

/// Draws a bar with the passes of several takes of the line one below the other, each take with what its
/// passes are named by. `leading` says how the bar is written.
pub(super) fn of_takes(
    leading: &TakeResult,
    takes: &[(&str, &TakeResult)],
    bar: &BarSpan,
    linked: bool,
) -> Drawn {
    let frame = Frame {
        result: leading,
        bar,
        linked,
        take: "",
    };
    let mut drawing = Drawing::default();
    let top = HEAD + WRITTEN_ROW * frame.strings().len() as f64 + BEATS;
    let mut below = Drawing::default();
    let mut y = top;
    let mut count = 0;
    for &(take, result) in takes {
        let frame = Frame {
            result,
            take,
            ..frame
        };
        for (pass, clock) in &passes(result, bar) {
            y = strip(&mut below, &frame, pass, clock, y);
            count += 1;
        }
    }
    if count == 0 {
        below.word(
            "small soft",
            (LEFT, y + 10.0),
            "no judged pass reached this bar",
        );
        y += 16.0;
    }
    beats(&mut drawing, &frame, top, y);
    written(&mut drawing, &frame);
    // A screen reader is told the same in the list beside the picture.
    drawing.markup("<g aria-hidden=\"true\">\n");
    drawing.add(&below);
    drawing.markup("</g>\n");
    let number = words::bar_number(bar.number, bar.printed.unwrap_or(bar.number));
    let shown = words::count_of(count, "pass", "passes");
    Drawn {
        drawing,
        size: (WIDTH, y + 2.0),
        title: format!("Bar {number}: as written, and below it {shown}"),
    }
}

/// Bar lines, and the beats with their numbers, through everything.
fn beats(drawing: &mut Drawing, frame: &Frame, top: f64, bottom: f64) {
    let bar = frame.bar;
    let end = bar.start_quarters + bar.length_quarters;
    if bar.beat_quarters > 0.0 {
        let count = (bar.length_quarters / bar.beat_quarters - SAME_PLACE)
            .ceil()
            .max(0.0);
        // No meter has more beats than can be told apart.
        for beat in 0..count.min(WIDTH) as u32 {
            let x = frame.x(bar.start_quarters + f64::from(beat) * bar.beat_quarters);
            drawing.line("beat", (x, HEAD), (x, bottom));
            let number = words::beat(bar.first_beat + f64::from(beat));
            drawing.word("small soft middle", (x, top - 4.0), &number);
        }
    }
    for place in [bar.start_quarters, end] {
        let x = frame.x(place);
        drawing.line("barline", (x, HEAD - 2.0), (x, bottom));
    }
}

/// The line as it is written: strings, and each note as long as written with its fret in it.
fn written(drawing: &mut Drawing, frame: &Frame) {
    let bar = frame.bar;
    for (at, symbol) in &bar.chords {
        drawing.word("chord", (frame.x(bar.start_quarters + at), 11.0), symbol);
    }
    for (row, name) in frame.strings().iter().enumerate() {
        let y = HEAD + WRITTEN_ROW * (row as f64 + 0.5);
        drawing.line("string", (LEFT, y), (WIDTH - RIGHT, y));
        drawing.word("small soft", (2.0, y + 3.5), name);
    }
    for note in &frame.result.judgement.notes {
        let expected = &note.expected;
        let end = expected.onset_quarters + expected.length_quarters;
        if !frame.shows(expected.onset_quarters, end) {
            continue;
        }
        let own = frame.is_own(note);
        let (row, fret) = match expected.place {
            Some(place) => (place.string, place.fret.to_string()),
            None => (1, "?".to_owned()),
        };
        let row = f64::from(row.max(1)) - 0.5;
        let y = HEAD + WRITTEN_ROW * row - WRITTEN_NOTE / 2.0;
        let (from, to) = (frame.x(expected.onset_quarters), frame.x(end));
        let class = if own { "written" } else { "written beside" };
        let is_link = frame.linked && own;
        if is_link {
            drawing.markup(&format!(
                "<a href=\"#n{0}\" class=\"of-note\" data-note=\"{0}\" aria-label=\"{1}\">\n",
                expected.index,
                escaped(&super::notes::summary(frame.result, note))
            ));
        }
        drawing.block(class, (from, y), (to - from, WRITTEN_NOTE));
        let is_held_over = expected.onset_quarters < bar.start_quarters && !own;
        if !is_held_over {
            drawing.word("fret", (from + 2.0, y + WRITTEN_NOTE - 2.0), &fret);
        }
        if is_link {
            drawing.markup("</a>\n");
        }
    }
}
