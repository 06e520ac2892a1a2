//! Rests, drawn from lines and dots.

use super::rhythm::Value;
use super::shapes::{Page, Shade};

/// A rest around a middle; without a value an empty stroke of its width.
pub(super) fn draw_rest(page: &mut Page, (x, y): (f64, f64), value: Option<Value>) {
    let Some(value) = value else {
        page.line((x - 1.5, y), (x + 1.5, y), 0.6, Shade::Black);
        return;
    };
    match value.of_whole {
        // Hanging from a line, and lying on one.
        1 => {
            page.line((x - 2.0, y - 1.0), (x + 2.0, y - 1.0), 0.2, Shade::Black);
            page.block((x - 1.2, y - 1.0), (x + 1.2, y + 0.2), Shade::Black);
        }
        2 => {
            page.line((x - 2.0, y + 0.2), (x + 2.0, y + 0.2), 0.2, Shade::Black);
            page.block((x - 1.2, y - 1.0), (x + 1.2, y + 0.2), Shade::Black);
        }
        4 => quarter(page, (x, y)),
        _ => hooked(page, (x, y), value.flags()),
    }
    for dot in 0..value.dots {
        page.dot((x + 2.2 + f64::from(dot), y - 0.8), 0.35);
    }
}

fn quarter(page: &mut Page, (x, y): (f64, f64)) {
    let at = |dx: f64, dy: f64| (x + dx, y + dy);
    let body = [
        (-0.6, -3.2),
        (0.9, -1.4),
        (0.2, -0.2),
        (1.0, 1.4),
        (0.7, 1.4),
        (-0.8, -0.3),
        (0.0, -1.6),
        (-0.9, -3.0),
    ];
    page.shapes.push(super::shapes::Shape::Area {
        points: body.map(|(dx, dy)| at(dx, dy)).to_vec(),
        shade: Shade::Black,
    });
    page.curve(
        [at(0.9, 1.4), at(-1.4, 0.6), at(-1.2, 2.2), at(0.2, 3.0)],
        0.45,
    );
}

/// Eighths and shorter: a slanted stroke with a hook for each flag.
fn hooked(page: &mut Page, (x, y): (f64, f64), flags: u8) {
    let flags = f64::from(flags.clamp(1, 4));
    let top = y - 1.0 - (flags - 1.0) * 0.8;
    let foot = (x - 0.4, top + 3.2 + (flags - 1.0) * 1.6);
    page.line((x + 1.1, top - 0.4), foot, 0.3, Shade::Black);
    for hook in 0..flags as u8 {
        let down = f64::from(hook) * 1.6;
        // Further hooks follow the slant of the stroke.
        let left = -down * 0.42;
        let at = |dx: f64, dy: f64| (x + dx + left, top + down + dy);
        page.dot(at(-0.8, -0.1), 0.5);
        page.curve(
            [at(-0.8, 0.3), at(0.0, 0.6), at(0.7, 0.2), at(1.1, -0.4)],
            0.3,
        );
    }
}
