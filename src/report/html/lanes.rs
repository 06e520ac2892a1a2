//! Two rows beneath the strings of a pass: how early or late each note is, within or beyond the
//! tolerance, and how loud it is beside the usual note.

use super::bar::{Frame, LEFT, WIDTH};
use super::draw::Drawing;
use crate::compare::judgement::{JudgedNote, PassJudgement};

/// Height of the row of timing.
const TIMING_ROW: f64 = 30.0;
/// Shown of lateness, as a multiple of the tolerance; what lies beyond stands at the edge.
const SHOWN: f64 = 2.0;
/// Height of the row of levels.
const LEVEL_ROW: f64 = 20.0;
/// Shown of a level, in decibels either way; what lies beyond stands at the edge.
const LEVEL_DB: f64 = 4.0;
/// Half the size of a mark.
const MARK: f64 = 3.0;

/// Notes of this bar, each with where it stands.
fn own<'a>(
    frame: &'a Frame,
    pass: &'a PassJudgement,
) -> impl Iterator<Item = (f64, &'a JudgedNote)> {
    let notes = pass.notes.iter().filter(|note| frame.is_own(note));
    notes.map(|note| (frame.x(note.expected.onset_quarters), note))
}

/// How early or late: late is above, early below; gives where the row ends. Nothing is drawn where
/// nothing is known.
pub(super) fn timing(drawing: &mut Drawing, frame: &Frame, pass: &PassJudgement, y: f64) -> f64 {
    let known =
        own(frame, pass).any(|(_, n)| n.heard.as_ref().is_some_and(|h| h.timing_ms.is_some()));
    let mark_ms = frame.result.judgement.marks.timing_ms;
    if !known || !mark_ms.is_finite() || mark_ms <= 0.0 {
        return y;
    }
    let middle = y + TIMING_ROW / 2.0;
    let reach = TIMING_ROW / 2.0 - 2.0;
    let per_ms = reach / (SHOWN * mark_ms);
    let at = |ms: f64| middle - (ms * per_ms).clamp(-reach, reach);
    let band = 2.0 * mark_ms * per_ms;
    drawing.block("band", (LEFT, at(mark_ms)), (WIDTH - 4.0 - LEFT, band));
    for ms in [mark_ms, -mark_ms] {
        drawing.line("band-edge", (LEFT, at(ms)), (WIDTH - 4.0, at(ms)));
    }
    drawing.line("grid", (LEFT, middle), (WIDTH - 4.0, middle));
    drawing.word("small soft", (2.0, y + 9.0), "late");
    drawing.word("small soft", (2.0, y + TIMING_ROW - 3.0), "early");
    for (x, note) in own(frame, pass) {
        let Some(heard) = &note.heard else { continue };
        let Some(ms) = heard.timing_ms.filter(|ms| ms.is_finite()) else {
            continue;
        };
        let here = at(ms);
        let doubt = heard.timing_uncertainty_ms.filter(|sd| sd.is_finite());
        if let Some(sd) = doubt {
            drawing.line("doubt", (x, at(ms + sd)), (x, at(ms - sd)));
        }
        // Beyond the tolerance the mark points to where the note lies.
        if ms.abs() <= mark_ms {
            drawing.dot("ontime", (x, here), MARK - 0.5);
        } else {
            let tip = if ms > 0.0 { here - MARK } else { here + MARK };
            let foot = if ms > 0.0 { here + MARK } else { here - MARK };
            drawing.area("offtime", &[(x - MARK, foot), (x + MARK, foot), (x, tip)]);
        }
    }
    y + TIMING_ROW
}

/// How loud beside the usual note: louder is above, softer below; gives where the row ends.
pub(super) fn level(drawing: &mut Drawing, frame: &Frame, pass: &PassJudgement, y: f64) -> f64 {
    let known =
        own(frame, pass).any(|(_, n)| n.heard.as_ref().is_some_and(|h| h.level_db.is_some()));
    if !known {
        return y;
    }
    let middle = y + LEVEL_ROW / 2.0;
    let reach = LEVEL_ROW / 2.0 - 1.0;
    drawing.line("grid", (LEFT, middle), (WIDTH - 4.0, middle));
    drawing.word("small soft", (2.0, middle + 3.0), "level");
    for (x, note) in own(frame, pass) {
        let heard = note.heard.as_ref();
        let Some(db) = heard.and_then(|h| h.level_db).filter(|db| db.is_finite()) else {
            continue;
        };
        let end = middle - (db / LEVEL_DB).clamp(-1.0, 1.0) * reach;
        drawing.line("stick", (x, middle), (x, end));
        drawing.block("level", (x - 2.5, end - 1.25), (5.0, 2.5));
    }
    y + LEVEL_ROW
}
