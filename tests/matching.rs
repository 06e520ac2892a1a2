//! Matching of heard with true notes against worked examples.
//!
//! The examples were worked by hand from the definitions of Raffel et al. (2014), ISMIR; the
//! published implementation, mir_eval 0.8.2, gives the same figures for every one of them.

#[path = "support/metrics.rs"]
mod metrics;

use metrics::{TimedNote, Tolerance, agreed, match_notes, match_onsets, mean_overlap};

fn note(onset_s: f64, offset_s: f64, hertz: f64) -> TimedNote {
    TimedNote {
        onset_s,
        offset_s,
        hertz,
    }
}

/// Onset tolerance, pitch tolerance and offset tolerance each decide one note; 50 ms exactly is
/// inside although 1.05 - 1.0 exceeds 0.05 in binary.
#[test]
fn each_tolerance_decides() {
    let truth = [
        note(0.0, 0.5, 41.203),
        note(1.0, 2.0, 55.0),
        note(2.0, 2.2, 73.416),
        note(3.0, 4.0, 97.999),
    ];
    let heard = [
        note(0.0512, 0.5, 41.203), // 51.2 ms late: out
        note(1.05, 2.2, 55.0),     // 50 ms late, 200 ms long of 200 allowed: in
        note(2.0, 2.26, 73.416),   // 60 ms long of 50 allowed: in only without ends
        note(3.0, 4.0, 100.95),    // 51.4 cents sharp: out
    ];
    let all = Tolerance::default();
    assert_eq!(match_notes(&truth, &heard, &all), [(1, 1)]);
    let no_ends = Tolerance {
        offset_share: None,
        ..all
    };
    let matches = match_notes(&truth, &heard, &no_ends);
    assert_eq!(matches, [(1, 1), (2, 2)]);
    let figures = agreed(matches.len(), truth.len(), heard.len());
    assert_eq!(
        (figures.precision, figures.recall, figures.f1),
        (0.5, 0.5, 0.5)
    );
    // Overlaps by hand: 0.95 of 1.2 s and 0.2 of 0.26 s.
    let overlap = mean_overlap(&truth, &heard, &matches);
    assert!((overlap - (0.95 / 1.2 + 0.2 / 0.26) / 2.0).abs() < 1e-12);
}

/// Taking the nearest first would pair 1.02 with 1.03 and leave one over; the largest matching
/// pairs both. The onset at 1.00 exactly and the one at 1.11 are within 50 ms of one only.
#[test]
fn the_matching_is_as_large_as_possible() {
    let matches = match_onsets(&[1.0, 1.02, 5.0], &[1.03, 1.065, 9.0], 0.05);
    assert_eq!(matches, [(0, 0), (1, 1)]);
    let figures = agreed(2, 3, 3);
    assert!((figures.f1 - 2.0 / 3.0).abs() < 1e-12);
    let chain_truth = [0.0, 0.06, 0.12, 0.18];
    let chain_heard = [0.04, 0.10, 0.16, 0.22];
    let matches = match_onsets(&chain_truth, &chain_heard, 0.05);
    assert_eq!(matches.len(), 4);
}

/// By definition: nothing on either side gives zeros.
#[test]
fn nothing_gives_zeros() {
    assert_eq!(match_onsets(&[], &[1.0], 0.05), []);
    assert_eq!(agreed(0, 0, 1).f1, 0.0);
    assert_eq!(mean_overlap(&[], &[], &[]), 0.0);
}
