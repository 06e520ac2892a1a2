//! Small words for findings: names of pitches, places in the line, counts.

use crate::music::expected::ExpectedNote;
use crate::music::theory::Key;

/// Names of the twelve pitches where no key is known, with the spelling that is more common for
/// each black key. Common practice, no source.
const NAMES: [&str; 12] = [
    "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
];

/// The nearest MIDI note, from 0 to 127; 0 for what is no number.
fn nearest(midi: f64) -> u8 {
    midi.round().clamp(0.0, 127.0) as u8
}

/// The name of the nearest pitch with its octave (scientific, middle C is C4), spelled as in
/// `key`: "G1", "F#1".
pub(crate) fn pitch_name(midi: f64, key: Option<Key>) -> String {
    let midi = nearest(midi);
    match key {
        Some(key) => key.spell(midi).to_string(),
        None => format!(
            "{}{}",
            NAMES[usize::from(midi) % 12],
            i32::from(midi) / 12 - 1
        ),
    }
}

/// The name of an open string, without its octave: "G", "F#". Strings go by their common names,
/// whatever the key of the line.
pub(crate) fn string_name(midi: f64) -> &'static str {
    NAMES[usize::from(nearest(midi)) % 12]
}

/// Name of the open string a note is played on, without octave; its number when the place does
/// not fit the pitch.
pub(crate) fn open_string(note: &ExpectedNote) -> String {
    match note.place {
        Some(place) if place.fret <= note.midi => {
            NAMES[usize::from(note.midi - place.fret) % 12].to_owned()
        }
        Some(place) => format!("{}.", place.string),
        None => "one".to_owned(),
    }
}

/// "bar 2 beat 3", with as many decimals as the beat needs, at most two.
pub(crate) fn place(note: &ExpectedNote) -> String {
    format!("bar {} beat {}", note.bar, beat(note.beat))
}

/// A beat as it is counted: `3`, `3.5`.
pub(crate) fn beat(beat: f64) -> String {
    let text = format!("{beat:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// From one note to another: "bar 3 beats 1 to 2", "bar 3 beat 1 to bar 4 beat 2".
pub(crate) fn bars_and_beats(first: &ExpectedNote, last: &ExpectedNote) -> String {
    if first.bar == last.bar {
        format!(
            "bar {} beats {} to {}",
            first.bar,
            beat(first.beat),
            beat(last.beat)
        )
    } else {
        format!("{} to {}", place(first), place(last))
    }
}

/// "bar 3", "bars 3 to 5".
pub(crate) fn bars((from, to): (u32, u32)) -> String {
    if from == to {
        format!("bar {from}")
    } else {
        format!("bars {from} to {to}")
    }
}

/// "1 note", "4 notes".
pub(crate) fn count(number: usize, thing: &str) -> String {
    if number == 1 {
        format!("1 {thing}")
    } else {
        format!("{number} {thing}s")
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
    use crate::music::theory::Mode;

    /// Published: MIDI note 60 is middle C, C4 in the scientific count; the open strings of the
    /// bass are E1 28, A1 33, D2 38, G2 43.
    #[test]
    fn pitches_are_named() {
        let named = [28.0, 33.2, 38.0, 43.0, 30.0, 34.4, 60.0, 0.0].map(|m| pitch_name(m, None));
        assert_eq!(named, ["E1", "A1", "D2", "G2", "F#1", "Bb1", "C4", "C-1"]);
        assert_eq!(pitch_name(f64::NAN, None), "C-1");
    }

    /// Published: A major has three sharps, the third of them G sharp; E flat major has three
    /// flats, the third of them A flat.
    #[test]
    fn the_key_spells() {
        let key = |fifths| Key::new(fifths, Mode::Major);
        assert_eq!(pitch_name(32.0, key(3)), "G#1");
        assert_eq!(pitch_name(32.0, key(-3)), "Ab1");
    }

    #[test]
    fn beats_are_short() {
        assert_eq!(
            [1.0, 2.5, 3.25, 4.0 + 1.0 / 3.0].map(beat),
            ["1", "2.5", "3.25", "4.33"]
        );
    }

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
