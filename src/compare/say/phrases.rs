//! Phrases of findings: where a note stands, which string it is on, how far something is off.

use crate::music::expected::ExpectedNote;
use crate::words::{beat, pitch_class};

/// Name of the open string a note is played on, without octave; its number when the place does
/// not fit the pitch.
pub(crate) fn open_string(note: &ExpectedNote) -> String {
    match note.place {
        Some(place) if place.fret <= note.midi => {
            pitch_class(f64::from(note.midi - place.fret)).to_owned()
        }
        Some(place) => format!("{}.", place.string),
        None => "one".to_owned(),
    }
}

/// Where a note stands: "bar 2 beat 3", "bar 7 (printed 3) beat 2".
pub(crate) fn place(note: &ExpectedNote) -> String {
    note.place_words()
}

/// From one note to another: "bar 3 beats 1 to 2", "bar 3 beat 1 to bar 4 beat 2".
pub(crate) fn bars_and_beats(first: &ExpectedNote, last: &ExpectedNote) -> String {
    if first.bar == last.bar {
        format!(
            "bar {} beats {} to {}",
            first.bar_words(),
            beat(first.beat),
            beat(last.beat)
        )
    } else {
        format!("{} to {}", place(first), place(last))
    }
}

/// "1.4 s".
pub(crate) fn seconds(seconds: f64) -> String {
    format!("{seconds:.1} s")
}

/// A number is called doubtful when one standard deviation is more than this share of it. Raising
/// it names fewer doubts. Common practice, no source.
const DOUBT_SHARE: f64 = 0.25;

/// How far something is off; a figure whose doubt (one standard deviation) is more than a quarter
/// of it says so: "45 ms late", "late by about 45 ms, give or take 12".
pub(crate) fn figure(value: f64, doubt: Option<f64>, unit: &str, word: &str) -> String {
    match doubt.filter(|doubt| *doubt > DOUBT_SHARE * value.abs()) {
        Some(doubt) => format!(
            "{word} by about {value:.0} {unit}, give or take {:.0}",
            doubt.ceil()
        ),
        None => format!("{value:.0} {unit} {word}"),
    }
}

/// A figure that was held against a mark; one whose doubt (one standard deviation) is more than a
/// quarter of it, or reaches over the mark, says so: "72 ms", "about 45 ms, give or take 8".
pub(crate) fn beside_a_mark(value: f64, doubt: Option<f64>, unit: &str, mark: f64) -> String {
    let least = (DOUBT_SHARE * value.abs()).min((value - mark).abs());
    match doubt.filter(|doubt| *doubt > least) {
        Some(doubt) => format!("about {value:.0} {unit}, give or take {:.0}", doubt.ceil()),
        None => format!("{value:.0} {unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_doubtful_figure_says_so() {
        let told = |doubt| figure(45.2, doubt, "ms", "late");
        assert_eq!(told(Some(11.4)), "late by about 45 ms, give or take 12");
        assert_eq!(told(Some(11.2)), "45 ms late");
        assert_eq!(told(None), "45 ms late");
    }

    /// Just below and just above a quarter of the figure, and the way to the mark.
    #[test]
    fn a_figure_whose_doubt_reaches_over_the_mark_says_so() {
        let told = |value, doubt| beside_a_mark(value, doubt, "ms", 40.0);
        assert_eq!(told(45.0, Some(5.1)), "about 45 ms, give or take 6");
        assert_eq!(told(45.0, Some(4.9)), "45 ms");
        assert_eq!(told(37.0, Some(3.1)), "about 37 ms, give or take 4");
        assert_eq!(told(37.0, Some(2.9)), "37 ms");
        assert_eq!(told(100.0, Some(25.1)), "about 100 ms, give or take 26");
        assert_eq!(told(100.0, Some(24.9)), "100 ms");
        assert_eq!(told(45.0, None), "45 ms");
    }
}
