//! Early and late.

use crate::compare::judgement::Flag;
use crate::compare::marks::Marks;
use crate::hearing::events::HeardNote;

/// Two moments of an onset are a tie when they are this close, in nats; set on recorded strings.
const ONSET_TIE_NATS: f64 = 1.3;
/// Of two moments in a tie one this close to the note's place wins, in seconds.
const ON_PLACE_S: f64 = 0.010;
/// It wins over one that is further from the place than this, in seconds.
const OFF_PLACE_S: f64 = 0.018;

/// Early or late: off its place by more than the mark, its doubt (one standard deviation) taken off.
pub(crate) fn out_of_time(off_ms: f64, sd_ms: f64, marks: &Marks) -> Option<Flag> {
    (off_ms.abs() - sd_ms > marks.timing_ms).then_some(if off_ms > 0.0 {
        Flag::Late
    } else {
        Flag::Early
    })
}

/// The onset of a note and its standard deviation. Where the ear could not tell two moments
/// apart, the one nearer to the note's place is taken; where it could hardly, half the way between
/// them is doubt.
pub(crate) fn moment(heard: &HeardNote, place_s: f64) -> (f64, f64) {
    let sd = heard.onset_uncertainty_s;
    let sd = if sd.is_finite() { sd } else { 0.0 };
    let Some((other_s, nats)) = heard.other_onset.filter(|o| o.0.is_finite()) else {
        return (heard.onset_s, sd);
    };
    let tie = nats <= ONSET_TIE_NATS;
    let off_place = (heard.onset_s - place_s).abs() > OFF_PLACE_S;
    let on_place = (other_s - place_s).abs() < ON_PLACE_S;
    let onset_s = if tie && off_place && on_place {
        other_s
    } else {
        heard.onset_s
    };
    (onset_s, sd.hypot(doubt_s(heard)))
}

/// Standard deviation of an onset that may have been at another moment, in seconds.
pub(crate) fn doubt_s(heard: &HeardNote) -> f64 {
    let other = heard.other_onset.filter(|o| o.0.is_finite());
    other.map_or(0.0, |(other_s, nats)| {
        // The share of the other moment in the mixture of both.
        let share = 1.0 / (1.0 + nats.abs().exp());
        (share * (1.0 - share)).sqrt() * (other_s - heard.onset_s).abs()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::test_support::heard;

    /// Just below and just above the mark of 25 ms, with and without doubt.
    #[test]
    fn early_and_late_begin_at_the_mark() {
        let marks = Marks::default();
        for (off_ms, sd_ms, wanted) in [
            (24.9, 0.0, None),
            (25.1, 0.0, Some(Flag::Late)),
            (-24.9, 0.0, None),
            (-25.1, 0.0, Some(Flag::Early)),
            (30.1, 5.0, Some(Flag::Late)),
            (29.9, 5.0, None),
            (f64::NAN, 0.0, None),
        ] {
            assert_eq!(
                out_of_time(off_ms, sd_ms, &marks),
                wanted,
                "{off_ms} {sd_ms}"
            );
        }
    }

    /// The other moment wins only in a tie, near the place, over one off the place.
    #[test]
    fn the_place_breaks_a_tie_of_moments() {
        let place_s = 1.0;
        for (onset_s, other_s, nats, wanted_s) in [
            (1.0181, 1.0099, 1.29, 1.0099),
            (1.0179, 1.0099, 1.29, 1.0179),
            (1.0181, 1.0101, 1.29, 1.0181),
            (1.0181, 1.0099, 1.31, 1.0181),
        ] {
            let mut note = heard(onset_s, 40.0);
            note.other_onset = Some((other_s, nats));
            assert_eq!(
                moment(&note, place_s).0,
                wanted_s,
                "{onset_s} {other_s} {nats}"
            );
        }
    }
}
