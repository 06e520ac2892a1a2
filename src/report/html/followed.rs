//! The picture of one matter followed over all passes: a mark for each with its doubt, the earlier side left of a
//! line, the later one right of it, and the middle of either.

use super::bar::{Drawn, WIDTH};
use super::draw::{Drawing, exact};
use crate::compare::across::{Compared, Matter, Measured, Sides};
use crate::report::across::{numbers, what};
use crate::report::json::{DECIMALS_MS, DECIMALS_SHARE};
use crate::session::line_info::LineInfo;
use crate::words;

/// Left and right of what is drawn to scale.
const EDGES: (f64, f64) = (44.0, 8.0);
/// Height of what is drawn to scale, above it, and beneath it.
const PLOT: f64 = 62.0;
const HEAD: f64 = 20.0;
const FOOT: f64 = 16.0;
/// Widest distance between two passes.
const APART_MAX: f64 = 26.0;
/// Room on either side of the line between earlier and later.
const BETWEEN: f64 = 12.0;
/// Half the size of a mark.
const MARK: f64 = 3.2;
/// The least that the scale reaches to, in milliseconds and in per cent: smaller numbers are not to look large.
const LEAST_MS: f64 = 40.0;
const LEAST_PERCENT: f64 = 10.0;

/// Draws it; `None` of counts, of which there is one number alone.
pub(super) fn followed(one: &Compared, line: &LineInfo) -> Option<Drawn> {
    let Sides::Numbers(samples) = &one.sides else {
        return None;
    };
    let (scale, unit, decimals, least) = match one.matter {
        Matter::Drift => (100.0, "%", DECIMALS_SHARE, LEAST_PERCENT),
        _ => (1.0, "ms", DECIMALS_MS, LEAST_MS),
    };
    let all = || samples.before.iter().chain(&samples.after);
    let top = all()
        .map(|m| scale * (m.value + m.sd.unwrap_or(0.0)))
        .filter(|value| value.is_finite())
        .fold(least, f64::max);
    let y = |value: f64| HEAD + PLOT * (1.0 - (scale * value / top).clamp(0.0, 1.0));
    let count = all().count();
    let room = WIDTH - EDGES.0 - EDGES.1 - 2.0 * BETWEEN;
    let apart = (room / count.max(1) as f64).min(APART_MAX);
    let mut drawing = Drawing::default();
    let right = EDGES.0 + apart * count as f64 + 2.0 * BETWEEN;
    for (value, label) in [
        (0.0, "0".to_owned()),
        (top / scale, format!("{top:.0} {unit}")),
    ] {
        drawing.line("grid", (EDGES.0, y(value)), (right, y(value)));
        drawing.word("small soft end", (EDGES.0 - 4.0, y(value) + 3.5), &label);
    }
    let mut x = EDGES.0;
    let (from, to) = samples.middles();
    for (side, middle, name, is_first) in [
        (&samples.before, from, "before", true),
        (&samples.after, to, "after", false),
    ] {
        let start = x + BETWEEN / 2.0;
        for (at, measured) in side.iter().enumerate() {
            let center = start + apart * (at as f64 + 0.5);
            drawing.markup(&format!(
                "<g class=\"of-pass\" data-side=\"{name}\" data-pass=\"{}\" data-value=\"{}\"><title>{name}, pass {}: {:.0} {unit}</title>\n",
                at + 1,
                exact(Some(measured.value), decimals),
                at + 1,
                scale * measured.value
            ));
            mark(&mut drawing, measured, center, &y);
            drawing.markup("</g>\n");
        }
        let end = start + apart * side.len() as f64;
        if let Some(middle) = middle {
            drawing.line("spread", (start, y(middle)), (end, y(middle)));
        }
        drawing.word("small soft", (start, HEAD + PLOT + 12.0), name);
        x = end + BETWEEN / 2.0;
        if is_first {
            drawing.line("barline", (x, HEAD - 4.0), (x, HEAD + PLOT + FOOT));
        }
    }
    let place = one.spot.as_ref().map_or_else(String::new, |spot| {
        let bar = words::bar_number(spot.note.bar, line.printed_bar(spot.note.bar));
        format!("bar {bar} beat {}, ", words::beat(spot.note.beat))
    });
    let title = format!("{place}{}: {}", what(one, line), numbers(one));
    Some(Drawn {
        drawing,
        size: (WIDTH, HEAD + PLOT + FOOT + 2.0),
        title,
    })
}

/// A pass: its number with its doubt.
fn mark(drawing: &mut Drawing, measured: &Measured, x: f64, y: &impl Fn(f64) -> f64) {
    if let Some(sd) = measured.sd.filter(|sd| *sd > 0.0) {
        drawing.line(
            "doubt",
            (x, y(measured.value - sd)),
            (x, y(measured.value + sd)),
        );
    }
    drawing.dot("ontime", (x, y(measured.value)), MARK);
}
