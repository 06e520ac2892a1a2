//! How much a finding weighs: what spoils a line most stands first. A weight is counted once for
//! each pass that shows the fault, and has no unit. All of these are common practice, no source.

use crate::compare::judgement::Finding;

/// About the take as a whole: another line, nothing heard. Above everything else.
pub(crate) const WHOLE: f64 = 1e6;
/// A wrong note. Raising it puts wrong notes further up.
pub(crate) const WRONG: f64 = 6.0;
/// A missed note; a row of them counts each. Raising it puts missed notes further up.
pub(crate) const MISSED: f64 = 6.0;
/// A clear gap at its mark; a longer one weighs more, up to [`GAP_GROWTH`] times. Raising it puts
/// gaps further up.
const CLEAR_GAP: f64 = 5.0;
/// A clear gap that is longer than its mark weighs at most this many times as much. Raising it
/// lets long gaps stand before wrong notes.
const GAP_GROWTH: f64 = 1.5;
/// A slight gap. Raising it puts slight gaps before dead and extra notes.
const SLIGHT_GAP: f64 = 1.5;
/// A stop within a pass after which the player went on. Raising it puts stumbles further up.
pub(crate) const STUMBLE: f64 = 4.0;
/// A dead note. Raising it puts dead notes further up.
pub(crate) const DEAD: f64 = 3.0;
/// A note nobody wrote. Raising it puts extra notes further up.
pub(crate) const EXTRA: f64 = 3.0;
/// A pass that was not judged: a player must know, but it spoils nothing.
pub(crate) const NOT_JUDGED: f64 = 3.0;
/// A string that rings underneath. Raising it puts rings further up.
pub(crate) const RING: f64 = 2.5;
/// A ring that is slight. Raising it puts slight rings further up.
pub(crate) const SLIGHT_RING: f64 = 0.75;
/// A clipped note. Raising it puts clipped notes further up.
pub(crate) const CLIPPED: f64 = 2.0;
/// A pass that was broken off: most often on purpose. Raising it puts false starts further up.
pub(crate) const BROKEN_OFF: f64 = 1.0;
/// An early, late, sharp or flat note at its mark; one further off weighs more in proportion, up
/// to [`OFF_GROWTH`] times. Raising it puts time and tuning before sound.
const OFF: f64 = 1.0;
/// A note far out of time or tune weighs at most this many times as much as one at its mark.
const OFF_GROWTH: f64 = 4.0;
/// A note whose string sounds against a fret. Raising it puts buzzes further up.
pub(crate) const BUZZ: f64 = 2.0;
/// A tempo that drifts. Raising it puts drifts further up.
pub(crate) const DRIFT: f64 = 1.0;

/// The weight of a gap of `gap_ms` in one pass, where it is clear from `clear_ms` on.
pub(crate) fn gap(gap_ms: f64, clear_ms: f64) -> f64 {
    if gap_ms < clear_ms {
        SLIGHT_GAP
    } else {
        CLEAR_GAP * (gap_ms / clear_ms).clamp(1.0, GAP_GROWTH)
    }
}

/// The weight of a note in one pass that is `off` by a measure whose mark is `mark`.
pub(crate) fn off(off: f64, mark: f64) -> f64 {
    let marks = off.abs() / mark;
    // A mark of 0 flags everything and ranks nothing.
    if marks.is_finite() {
        OFF * marks.clamp(1.0, OFF_GROWTH)
    } else {
        OFF
    }
}

/// Puts the findings in order, the heaviest first; among equals those of an earlier kind, then
/// the larger ones, then those earlier in the line.
pub(crate) fn in_order(findings: &mut [Finding]) {
    findings.sort_by(|a, b| {
        b.weight
            .total_cmp(&a.weight)
            .then(a.kind.cmp(&b.kind))
            .then(b.size.total_cmp(&a.size))
            .then(a.index.cmp(&b.index))
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Missed and wrong notes and clear gaps weigh most, slight things least.
    #[test]
    fn the_order_is_that_of_a_teacher() {
        let clear = gap(60.0, 60.0);
        let slight = gap(59.0, 60.0);
        let just_late = off(25.0, 25.0);
        assert!(WRONG >= clear && MISSED >= clear && clear > STUMBLE);
        assert!(clear > DEAD && DEAD > slight && EXTRA > slight);
        assert!(RING > slight && slight > just_late && just_late > SLIGHT_RING);
        assert!(gap(300.0, 60.0) > gap(70.0, 60.0) && gap(300.0, 60.0) == gap(900.0, 60.0));
        assert_eq!(off(50.0, 25.0), 2.0 * just_late);
        assert_eq!(off(-500.0, 25.0), OFF_GROWTH);
        assert_eq!(off(5.0, 0.0), OFF);
    }
}
