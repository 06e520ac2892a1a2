//! Small words for findings: names of pitches, places in the line, counts.

use crate::music::expected::ExpectedNote;

/// Names of the twelve pitches, with the spelling that is more common for each black key. Common
/// practice, no source; a line's own spelling belongs to the room of music.
const NAMES: [&str; 12] = [
    "C", "C sharp", "D", "E flat", "E", "F", "F sharp", "G", "A flat", "A", "B flat", "B",
];

/// The name of the nearest pitch with its octave (scientific, middle C is C4): "G1", "F sharp 1".
pub(crate) fn pitch_name(midi: f64) -> String {
    let nearest = midi.clamp(-1e6, 1e6).round() as i64;
    let (octave, name) = (
        nearest.div_euclid(12) - 1,
        NAMES[nearest.rem_euclid(12) as usize],
    );
    let space = if name.len() > 1 { " " } else { "" };
    format!("{name}{space}{octave}")
}

/// The name of the nearest pitch without its octave: "G", "F sharp".
pub(crate) fn pitch_class(midi: f64) -> &'static str {
    NAMES[(midi.clamp(-1e6, 1e6).round() as i64).rem_euclid(12) as usize]
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: MIDI note 60 is middle C, C4 in the scientific count; the open strings of the
    /// bass are E1 28, A1 33, D2 38, G2 43.
    #[test]
    fn pitches_are_named() {
        let named = [28.0, 33.2, 38.0, 43.0, 30.0, 34.4, 60.0, 0.0].map(pitch_name);
        assert_eq!(
            named,
            ["E1", "A1", "D2", "G2", "F sharp 1", "B flat 1", "C4", "C-1"]
        );
        assert_eq!(pitch_name(f64::NAN), "C-1");
    }

    #[test]
    fn beats_are_short() {
        assert_eq!(
            [1.0, 2.5, 3.25, 4.0 + 1.0 / 3.0].map(beat),
            ["1", "2.5", "3.25", "4.33"]
        );
    }
}
