//! The right note or another one, sharp and flat.

use crate::compare::judge::scene::Scene;
use crate::compare::judgement::{Flag, Verdict};
use crate::compare::marks::Marks;
use crate::hearing::events::HeardNote;

/// A flag of tuning needs the mark exceeded by this many standard deviations: one-sided 95 %.
const TUNING_SURENESS: f64 = 1.64;
/// The verdict by pitch, with the cents and their uncertainty: from the written pitch for a right
/// note, from the nearest semitone for a wrong one. A pitch that is in doubt says nothing: the note is
/// right by its place, without cents.
pub(crate) fn verdict(
    scene: &Scene,
    slot: usize,
    member: usize,
    heard: &HeardNote,
) -> (Verdict, Option<(f64, f64)>) {
    let Some((midi, sd)) = scene.midi(slot, heard) else {
        return (Verdict::Right, None);
    };
    if is_unclear(sd, &scene.settings.marks) {
        return (Verdict::Right, None);
    }
    let cents = 100.0 * (midi - f64::from(scene.expected[member].midi));
    if is_wrong(cents, sd, &scene.settings.marks) {
        (Verdict::Wrong, Some((100.0 * (midi - midi.round()), sd)))
    } else {
        (Verdict::Right, Some((cents, sd)))
    }
}

/// Whether a pitch is too much in doubt to say which note it is.
fn is_unclear(sd: f64, marks: &Marks) -> bool {
    sd > marks.unclear_cents
}

/// Whether a pitch this far off the written one is another note: surely, by one standard deviation.
fn is_wrong(cents: f64, sd: f64, marks: &Marks) -> bool {
    cents.abs() >= marks.wrong_cents + sd
}

/// Sharp or flat: off the written pitch by more than the mark, surely.
pub(crate) fn out_of_tune(cents: f64, sd: f64, marks: &Marks) -> Option<Flag> {
    (cents.abs() - TUNING_SURENESS * sd > marks.out_of_tune_cents).then_some(if cents > 0.0 {
        Flag::Sharp
    } else {
        Flag::Flat
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Just below and just above the mark of 70 cents, and the doubt beyond which nothing is said.
    #[test]
    fn another_note_begins_at_the_mark() {
        let marks = Marks::default();
        for (cents, sd, wanted) in [
            (69.9, 0.0, false),
            (70.1, 0.0, true),
            (-70.1, 0.0, true),
            (79.9, 10.0, false),
            (80.1, 10.0, true),
        ] {
            assert_eq!(is_wrong(cents, sd, &marks), wanted, "{cents} {sd}");
        }
        assert!(!is_unclear(20.0, &marks));
        assert!(is_unclear(20.1, &marks));
    }

    /// Just below and just above the mark of 20 cents, with a doubt of 10: 1.64 times that.
    #[test]
    fn sharp_and_flat_begin_at_the_mark() {
        let marks = Marks::default();
        for (cents, sd, wanted) in [
            (19.9, 0.0, None),
            (20.1, 0.0, Some(Flag::Sharp)),
            (-20.1, 0.0, Some(Flag::Flat)),
            (36.3, 10.0, None),
            (36.5, 10.0, Some(Flag::Sharp)),
        ] {
            assert_eq!(out_of_tune(cents, sd, &marks), wanted, "{cents} {sd}");
        }
    }
}
