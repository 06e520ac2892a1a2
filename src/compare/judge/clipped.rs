//! Notes cut short with no legato join after them.

use crate::compare::marks::Marks;
use crate::hearing::events::EndCause;

/// Whether a note was stopped well before its time.
///
/// Input: how it ended; how long it lasted and how long it should, in seconds.
pub(crate) fn is_clipped(end: EndCause, lasts_s: f64, written_s: f64, marks: &Marks) -> bool {
    end == EndCause::Damped
        && lasts_s < marks.clipped_share * written_s
        && 1e3 * (written_s - lasts_s) > marks.clipped_short_ms
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Just below and just above each limit: 65 % of the length, 60 ms less than it.
    #[test]
    fn clipped_begins_at_the_marks() {
        let marks = Marks::default();
        for (end, lasts_s, written_s, wanted) in [
            (EndCause::Damped, 0.651, 1.0, false),
            (EndCause::Damped, 0.649, 1.0, true),
            (EndCause::DiedAway, 0.3, 1.0, false),
            (EndCause::Damped, 0.0601, 0.12, false),
            (EndCause::Damped, 0.0599, 0.12, true),
        ] {
            let got = is_clipped(end, lasts_s, written_s, &marks);
            assert_eq!(got, wanted, "{end:?} {lasts_s} {written_s}");
        }
    }
}
