//! Rhythm marks beneath the staff: stems, flags, beams, dots, tuplets.

use super::bars::SheetBar;
use super::rhythm::Value;
use super::shapes::{Anchor, Cut, Page, Shade};

/// Millimetres from the lowest string to where stems begin.
const STEM_START: f64 = 2.2;
/// Millimetres from the lowest string to where stems end.
const STEM_END: f64 = 8.0;
/// The same for half notes: a short stem tells them from quarters.
const HALF_END: f64 = 5.0;
/// Width of a stem.
const STEM: f64 = 0.25;
/// Thickness of a beam, and from one beam to the next.
const BEAM: (f64, f64) = (0.7, 1.2);
/// Length of a beam that leads to no note.
const STUB: f64 = 1.8;

/// Draws the rhythm of a bar whose lowest string lies at `staff_end` and whose notes lie at `xs`.
pub(super) fn draw_rhythm(page: &mut Page, bar: &SheetBar, xs: &[f64], staff_end: f64) {
    let foot = staff_end + STEM_END;
    let beamed = |at: usize| bar.beams.iter().any(|run| run.contains(&at));
    for (at, (item, &x)) in bar.items.iter().zip(xs).enumerate() {
        if item.entry.is_rest {
            continue;
        }
        let Some(value) = item.entry.value else {
            // Five eighths and the like: the length in figures.
            let (over, under) = item.entry.length.fraction_of_whole();
            let text = format!("{over}/{under}");
            let at = (x, staff_end + 5.0);
            page.shaded(at, &text, 2.4, Cut::Plain, Anchor::Middle, Shade::Grey);
            continue;
        };
        let end = staff_end
            + if value.of_whole == 2 {
                HALF_END
            } else {
                STEM_END
            };
        if value.of_whole > 1 {
            let stem = (x, staff_end + STEM_START);
            page.line(stem, (x, end), STEM, Shade::Black);
        }
        if !beamed(at) {
            for flag in 0..value.flags() {
                draw_flag(page, (x, foot - f64::from(flag) * BEAM.1));
            }
        }
        let dots = match value.of_whole {
            1 => staff_end + STEM_START,
            2 => end - 0.4,
            _ => staff_end + STEM_START + 1.6,
        };
        for dot in 0..value.dots {
            page.dot((x + 1.1 + f64::from(dot) * 0.9, dots), 0.35);
        }
    }
    for run in &bar.beams {
        draw_beams(page, bar, run.clone(), xs, foot);
    }
    for (run, count) in &bar.tuplets {
        let is_beamed = bar.beams.iter().any(|beam| beam == run);
        draw_tuplet(page, xs, run.clone(), *count, foot + 0.6, is_beamed);
    }
}

fn draw_flag(page: &mut Page, (x, y): (f64, f64)) {
    page.curve(
        [
            (x, y),
            (x + 0.3, y - 1.3),
            (x + 2.0, y - 1.6),
            (x + 1.5, y - 3.4),
        ],
        0.45,
    );
}

fn draw_beams(page: &mut Page, bar: &SheetBar, run: std::ops::Range<usize>, xs: &[f64], foot: f64) {
    let flags = |at: usize| {
        let value: Option<Value> = bar.items[at].entry.value;
        value.map_or(0, Value::flags)
    };
    for level in 1..=4_u8 {
        let y = foot - f64::from(level - 1) * BEAM.1;
        let mut at = run.start;
        while at < run.end {
            let start = at;
            while at < run.end && flags(at) >= level {
                at += 1;
            }
            let half = STEM / 2.0;
            match at - start {
                0 => at += 1,
                1 => {
                    // Towards the note before it, unless it is the first.
                    let x = xs[start];
                    let (from, to) = if start > run.start {
                        (x - STUB, x + half)
                    } else {
                        (x - half, x + STUB)
                    };
                    page.block((from, y - BEAM.0), (to, y), Shade::Black);
                }
                _ => {
                    let (from, to) = (xs[start] - half, xs[at - 1] + half);
                    page.block((from, y - BEAM.0), (to, y), Shade::Black);
                }
            }
        }
    }
}

fn draw_tuplet(
    page: &mut Page,
    xs: &[f64],
    run: std::ops::Range<usize>,
    count: u8,
    y: f64,
    is_beamed: bool,
) {
    let (from, to) = (xs[run.start] - 0.8, xs[run.end - 1] + 0.8);
    let middle = (from + to) / 2.0;
    if !is_beamed && run.len() > 1 {
        for (a, b) in [(from, middle - 1.4), (middle + 1.4, to)] {
            page.line((a, y + 1.4), (b.max(a), y + 1.4), 0.2, Shade::Black);
        }
        for x in [from, to] {
            page.line((x, y + 0.5), (x, y + 1.4), 0.2, Shade::Black);
        }
    }
    let text = count.to_string();
    page.word((middle, y + 2.3), &text, 2.6, Cut::Slanted, Anchor::Middle);
}

/// A small note for tempo marks: head and, from the half note on, a stem.
pub(super) fn note_head(page: &mut Page, (x, y): (f64, f64), of_whole: u8) {
    let hollow = of_whole <= 2;
    let ring: Vec<(f64, f64)> = (0..24)
        .map(|step| {
            let turn = f64::from(step) * std::f64::consts::TAU / 24.0;
            let (across, up) = (0.95 * turn.cos(), 0.65 * turn.sin());
            // Leaning by twenty degrees.
            let (sin, cos) = 20.0_f64.to_radians().sin_cos();
            (x + across * cos - up * sin, y - across * sin - up * cos)
        })
        .collect();
    if hollow {
        let mut points = ring;
        points.push(points[0]);
        page.shapes.push(super::shapes::Shape::Stroke {
            points,
            width: 0.3,
            shade: Shade::Black,
        });
    } else {
        page.shapes.push(super::shapes::Shape::Area {
            points: ring,
            shade: Shade::Black,
        });
    }
    if of_whole > 1 {
        page.line((x + 0.85, y - 0.2), (x + 0.85, y - 3.6), 0.2, Shade::Black);
    }
    if of_whole >= 8 {
        page.curve(
            [
                (x + 0.85, y - 3.6),
                (x + 1.1, y - 2.8),
                (x + 2.2, y - 2.6),
                (x + 1.9, y - 1.2),
            ],
            0.35,
        );
    }
}
