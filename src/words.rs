//! The names of things, once for the report, the screen, the lines of text and the findings:
//! pitches, beats and bars, verdicts, flags, joins, and why a string rang.
//!
//! Plain words and numbers alone. Which word goes with which value is said where the value's type
//! lives: `word()` of a verdict, a flag, a kind of bleed, a kind of join. How a key spells a pitch is said
//! by [`music::theory`](crate::music::theory).

/// The written pitch was played.
pub const RIGHT: &str = "right";
/// Another pitch was played.
pub const WRONG: &str = "wrong";
/// Nothing was played.
pub const MISSED: &str = "missed";
/// A note nobody wrote.
pub const EXTRA: &str = "extra";

/// Ahead of the grid.
pub const EARLY: &str = "early";
/// Behind the grid.
pub const LATE: &str = "late";
/// Silence at a legato join.
pub const GAP: &str = "gap";
/// Ended well before its time.
pub const CLIPPED: &str = "clipped";
/// Another string sounds underneath.
pub const BLEED: &str = "bleed";
/// No clear tone.
pub const DEAD: &str = "dead";
/// Above the written pitch.
pub const SHARP: &str = "sharp";
/// Below the written pitch.
pub const FLAT: &str = "flat";
/// Louder than the notes around it.
pub const LOUD: &str = "loud";
/// Softer than the notes around it.
pub const SOFT: &str = "soft";
/// The string sounds against a fret.
pub const BUZZES: &str = "buzzes";
/// How loud notes are.
pub const LEVEL: &str = "level";

/// A string rang that was never played.
pub const OPEN_STRING: &str = "open string";
/// A note was not damped when its time was over.
pub const LEFT_RINGING: &str = "left ringing";
/// A string was hit together with a played note.
pub const STRUCK_ALONG: &str = "struck along";

/// A join whose kind is not known.
pub const JOIN: &str = "join";
/// One and several joins within one place.
pub const SAME_PLACE: (&str, &str) = ("same place", "joins within one place");
/// One and several joins to another string with the hand still.
pub const CROSSING: (&str, &str) = ("crossing", "crossings");
/// One and several joins by one finger flattened over two strings.
pub const ROLL: (&str, &str) = ("roll", "rolls");
/// One and several joins by a finger that leaves the frame of the hand.
pub const STRETCH: (&str, &str) = ("stretch", "stretches");
/// One and several joins by moving the hand.
pub const SHIFT: (&str, &str) = ("shift", "shifts");
/// One and several joins with an open string on either side.
pub const OPEN: (&str, &str) = ("open", "joins with an open string");
/// One and several joins that strike the same place again.
pub const REPEAT: (&str, &str) = ("repeat", "repeats");

/// What stands for a pitch or a beat that is no number.
pub const UNKNOWN: &str = "?";

/// Names of the twelve pitches where no key is known. Each black key goes by the name it most often
/// has in the keys up to four accidentals. Common practice, no source.
const NAMES: [&str; 12] = [
    "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
];

/// The MIDI note nearest to a fractional one; `None` for what is no number or outside of 0 to 127.
pub fn nearest(midi: f64) -> Option<u8> {
    let nearest = midi.round();
    (0.0..=127.0).contains(&nearest).then_some(nearest as u8)
}

/// The name of the pitch nearest to a fractional MIDI note, without its octave: "G", "F#"; "?" for
/// what is no pitch.
pub fn pitch_class(midi: f64) -> &'static str {
    nearest(midi).map_or(UNKNOWN, |midi| NAMES[usize::from(midi) % 12])
}

/// The same with its octave (scientific, middle C is C4): "G1", "F#1".
pub fn pitch(midi: f64) -> String {
    nearest(midi).map_or_else(
        || UNKNOWN.to_owned(),
        |midi| {
            let octave = i32::from(midi) / 12 - 1;
            format!("{}{octave}", NAMES[usize::from(midi) % 12])
        },
    )
}

/// A beat as it is counted, with as many decimals as it needs, at most two: `3`, `3.5`; "?" for
/// what is no number.
pub fn beat(beat: f64) -> String {
    if !beat.is_finite() {
        return UNKNOWN.to_owned();
    }
    let text = format!("{beat:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A place in the line: "bar 2 beat 3".
pub fn place(bar: u32, at: f64) -> String {
    format!("bar {bar} beat {}", beat(at))
}

/// "bar 3", "bars 3 to 5".
pub fn bars((from, to): (u32, u32)) -> String {
    if from == to {
        format!("bar {from}")
    } else {
        format!("bars {from} to {to}")
    }
}

/// The number of a bar as it is played, with the printed one where the line's repeats make it another:
/// "3", "7 (printed 3)".
pub fn bar_number(played: u32, printed: u32) -> String {
    if played == printed {
        played.to_string()
    } else {
        format!("{played} (printed {printed})")
    }
}

/// The same of a row of bars: "bars 3 to 5", "bars 7 to 9 (printed 3 to 5)".
pub fn bars_printed(played: (u32, u32), printed: (u32, u32)) -> String {
    let (from, to) = printed;
    match bars(played) {
        same if played == printed => same,
        other if from == to => format!("{other} (printed {from})"),
        other => format!("{other} (printed {from} to {to})"),
    }
}

/// A tempo or another share in whole per cent: "84 %"; "?" for what is no number.
pub fn percent(share: f64) -> String {
    if share.is_finite() {
        format!("{:.0} %", (100.0 * share).clamp(0.0, 9_999.0))
    } else {
        UNKNOWN.to_owned()
    }
}

/// `one` or `many`, as the count asks.
pub fn plural<'a>(count: usize, one: &'a str, many: &'a str) -> &'a str {
    if count == 1 { one } else { many }
}

/// "1 pass", "4 passes".
pub fn count_of(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", plural(number, one, many))
}

/// "1 note", "4 notes".
pub fn count(number: usize, thing: &str) -> String {
    format!("{number} {thing}{}", plural(number, "", "s"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: MIDI note 60 is middle C (MIDI 1.0 Detailed Specification), C4 in the scientific
    /// count; the open strings of the bass are E1 28, A1 33, D2 38, G2 43.
    #[test]
    fn pitches_are_named() {
        for (midi, class, name) in [
            (28.0, "E", "E1"),
            (33.2, "A", "A1"),
            (38.0, "D", "D2"),
            (43.0, "G", "G2"),
            (30.0, "F#", "F#1"),
            (34.4, "Bb", "Bb1"),
            (60.0, "C", "C4"),
            (0.0, "C", "C-1"),
            (-0.4, "C", "C-1"),
            (f64::NAN, "?", "?"),
            (-3.0, "?", "?"),
        ] {
            assert_eq!(pitch_class(midi), class, "midi {midi}");
            assert_eq!(pitch(midi), name, "midi {midi}");
        }
    }

    #[test]
    fn beats_are_short() {
        assert_eq!(
            [1.0, 2.5, 3.25, 4.0 + 1.0 / 3.0, f64::INFINITY].map(beat),
            ["1", "2.5", "3.25", "4.33", "?"]
        );
        assert_eq!(place(2, 3.0), "bar 2 beat 3");
        assert_eq!([0.844, f64::NAN].map(percent), ["84 %", "?"]);
        assert_eq!([bars((3, 3)), bars((3, 5))], ["bar 3", "bars 3 to 5"]);
        assert_eq!([count(1, "note"), count(4, "note")], ["1 note", "4 notes"]);
    }

    #[test]
    fn a_printed_bar_is_named_where_it_is_another_one() {
        assert_eq!(bar_number(3, 3), "3");
        assert_eq!(bar_number(7, 3), "7 (printed 3)");
        assert_eq!(bars_printed((3, 5), (3, 5)), "bars 3 to 5");
        assert_eq!(bars_printed((7, 7), (3, 3)), "bar 7 (printed 3)");
        assert_eq!(bars_printed((7, 9), (3, 5)), "bars 7 to 9 (printed 3 to 5)");
    }
}
