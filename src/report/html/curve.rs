//! How pitch and level move within a note: two small curves, one above the other, over the same time.

use super::draw::{Drawing, exact};
use crate::session::result::NoteCurve;

/// Size of the picture, in its own unit.
const SIZE: (f64, f64) = (178.0, 90.0);
/// Left of what is drawn to scale: the scale's words.
const LEFT: f64 = 30.0;
/// Where pitch and level stand, from and to.
const PITCH: (f64, f64) = (4.0, 40.0);
const LEVEL: (f64, f64) = (51.0, 76.0);
/// Cents shown to either side; what lies beyond stands at the edge.
const REACH_CENTS: f64 = 50.0;
/// Decibels shown below the loudest point.
const REACH_DB: f64 = 40.0;
/// Points kept of a long note: more would not be seen.
const POINTS_MAX: usize = 120;

/// The picture of a note in pass `pass`; `tolerated` is how far it may be out of tune, in cents.
pub(super) fn curve(curve: &NoteCurve, pass: usize, tolerated: f64) -> String {
    let count = curve.cents.len().max(curve.level_dbfs.len());
    let length_ms = 1000.0 * curve.step_s * count.saturating_sub(1) as f64;
    let mut drawing = Drawing::default();
    let x = |at: usize| {
        LEFT + (SIZE.0 - LEFT - 4.0) * at as f64 / count.saturating_sub(1).max(1) as f64
    };
    let pitch_y = |cents: f64| {
        let middle = (PITCH.0 + PITCH.1) / 2.0;
        middle - (cents / REACH_CENTS).clamp(-1.0, 1.0) * (PITCH.1 - PITCH.0) / 2.0
    };
    for (cents, class) in [
        (0.0, "grid"),
        (tolerated, "band-edge"),
        (-tolerated, "band-edge"),
    ] {
        if cents.abs() < REACH_CENTS {
            drawing.line(
                class,
                (LEFT, pitch_y(cents)),
                (SIZE.0 - 4.0, pitch_y(cents)),
            );
        }
    }
    for (cents, label) in [(REACH_CENTS, "+50"), (0.0, "ct"), (-REACH_CENTS, "-50")] {
        drawing.word("small soft end", (LEFT - 4.0, pitch_y(cents) + 3.5), label);
    }
    let loudest = curve
        .level_dbfs
        .iter()
        .flatten()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let level_y =
        |db: f64| LEVEL.0 + ((loudest - db) / REACH_DB).clamp(0.0, 1.0) * (LEVEL.1 - LEVEL.0);
    drawing.line("grid", (LEFT, LEVEL.1), (SIZE.0 - 4.0, LEVEL.1));
    if loudest.is_finite() {
        drawing.word(
            "small soft end",
            (LEFT - 4.0, LEVEL.0 + 5.0),
            &format!("{loudest:.0}"),
        );
        drawing.word("small soft end", (LEFT - 4.0, LEVEL.1 + 1.0), "dB");
    }
    let every = count.div_ceil(POINTS_MAX).max(1);
    let points = |values: &[Option<f64>], y: &dyn Fn(f64) -> f64| -> Vec<Option<(f64, f64)>> {
        let kept = values.iter().enumerate().step_by(every);
        kept.map(|(at, value)| value.map(|value| (x(at), y(value))))
            .collect()
    };
    drawing.course("curve", &points(&curve.cents, &pitch_y));
    drawing.course("fall", &points(&curve.level_dbfs, &level_y));
    drawing.word("small soft", (LEFT, SIZE.1 - 3.0), "0");
    drawing.word(
        "small soft end",
        (SIZE.0 - 4.0, SIZE.1 - 3.0),
        &format!("{length_ms:.0} ms"),
    );
    let open = format!(
        "class=\"moves\" role=\"img\" data-pass=\"{pass}\" aria-label=\"{}\"",
        words(curve)
    );
    drawing.into_svg(&open, SIZE, "")
}

/// The same in words: pitch near the start, in the middle and near the end, and how far the level falls.
fn words(curve: &NoteCurve) -> String {
    let known: Vec<f64> = curve.cents.iter().flatten().copied().collect();
    let cents = |at: usize| exact(known.get(at).copied(), 0);
    let pitch = match known.len() {
        0 => "no clear pitch".to_owned(),
        count => format!(
            "pitch {} cents at first, {} in the middle, {} at the end",
            cents(0),
            cents(count / 2),
            cents(count - 1)
        ),
    };
    let levels: Vec<f64> = curve.level_dbfs.iter().flatten().copied().collect();
    let loudest = levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    match levels.last() {
        Some(last) => {
            let fall = exact(Some(loudest - last), 0);
            format!("{pitch}; the level falls by {fall} dB")
        }
        None => pitch,
    }
}

#[cfg(test)]
mod tests {
    use roxmltree::Document;

    use super::*;

    /// Closed form: a note 50 cents high lies at the upper edge, one in tune in the middle; where no pitch is
    /// known the line is broken.
    #[test]
    fn pitch_is_drawn_to_scale() {
        let note = NoteCurve {
            step_s: 0.01,
            cents: vec![Some(50.0), Some(0.0), None, Some(-80.0), Some(-50.0)],
            level_dbfs: vec![Some(-20.0), Some(-30.0), None, None, Some(-60.0)],
        };
        let svg = curve(&note, 2, 20.0);
        let document = Document::parse(&svg).expect("well-formed");
        let path = |class: &str| {
            let found = document
                .descendants()
                .find(|n| n.attribute("class") == Some(class));
            found
                .and_then(|n| n.attribute("d"))
                .expect("drawn")
                .to_owned()
        };
        assert_eq!(path("curve"), "M30 4L66 22M138 40L174 40");
        assert_eq!(path("fall").matches('M').count(), 2);
        let label = document
            .root_element()
            .attribute("aria-label")
            .expect("words");
        assert!(
            label.starts_with("pitch 50 cents at first") && label.ends_with("falls by 40 dB"),
            "{label}"
        );
        let nothing = curve(&NoteCurve::default(), 1, 20.0);
        assert!(Document::parse(&nothing).is_ok() && nothing.contains("no clear pitch"));
    }
}
