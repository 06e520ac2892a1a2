//! Studies, held against what a teacher writes on the board. Common practice, no source.

use super::*;
use crate::music::instrument::Tuning;
use crate::music::line::{read_text, write_text};

fn built(text: &str, settings: &Settings) -> Line {
    let items = read_items(text).unwrap_or_else(|error| panic!("{error}"));
    let line = study(&items, settings).unwrap_or_else(|error| panic!("{text}: {error}"));
    let line = line.line;
    let again = read_text(&write_text(&line)).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(again, line, "{text}");
    line
}

/// The bars of a study as text.
fn bars(text: &str, settings: &Settings) -> Vec<String> {
    let written = write_text(&built(text, settings));
    let (_, bars) = written.split_once("\n\n").unwrap();
    bars.lines().map(str::to_owned).collect()
}

/// The names of the notes of a study, by the key of each bar.
fn names(text: &str, settings: &Settings) -> String {
    let words = bars(text, settings);
    let words = words.iter().flat_map(|bar| bar.split(' '));
    let notes = words.filter(|word| word.starts_with(|c: char| c.is_ascii_uppercase()));
    notes.collect::<Vec<_>>().join(" ")
}

fn with(change: impl FnOnce(&mut Settings)) -> Settings {
    let mut settings = Settings::default();
    change(&mut settings);
    settings
}

fn refused(text: &str, settings: &Settings) -> StudyError {
    let items = read_items(text).unwrap_or_else(|error| panic!("{error}"));
    study(&items, settings).unwrap_err()
}

#[test]
fn by_default_every_tone_up_and_down_in_full_bars() {
    let line = built("C", &Settings::default());
    assert_eq!(line.tempo().bpm(), 90.0);
    assert_eq!(
        bars("C Dm7 G9", &Settings::default()),
        [
            "@C 1/8 C2 E2 G2 C3 G2 E2 1/4 C2",
            "@Dm7 1/8 D2 F2 A2 C3 D3 C3 A2 F2",
            "1/1 D2",
            "@G9 1/8 G1 B1 D2 F2 A2 B2 D3 F3",
            "G3 F3 D3 B2 A2 F2 D2 B1",
            "1/1 G1",
        ]
    );
    // Stacked thirds up to the thirteenth, closed by the root.
    let up = with(|s| s.direction = Direction::Up);
    assert_eq!(names("C13", &up), "C2 E2 G2 Bb2 D3 F3 A3 Bb3 C4");
    assert_eq!(names("Cadd9", &up), "C2 E2 G2 D3 E3 G3 C4");
    assert_eq!(names("E5", &up), "E1 B1 E2");
    assert_eq!(names("Gb7", &up), "Gb1 Bb1 Db2 Fb2 Gb2");
}

#[test]
fn inversions_start_on_any_tone() {
    let from = |degree: &str| {
        let degree = degree.parse().unwrap();
        with(|s| {
            s.direction = Direction::Up;
            s.from = From::Degree(degree);
        })
    };
    assert_eq!(names("Dm7", &from("3")), "F1 A1 C2 D2 F2");
    assert_eq!(names("Dm7", &from("b3")), "F1 A1 C2 D2 F2");
    assert_eq!(names("Dm7", &from("7")), "C2 D2 F2 A2 C3");
    assert_eq!(names("C9", &from("9")), "D2 E2 G2 Bb2 C3 E3 G3 Bb3 D4");
    let up = with(|s| s.direction = Direction::Up);
    assert_eq!(names("G7/B", &up), "B1 D2 F2 G2 B2");
    assert_eq!(names("C/D", &up), "D2 E2 G2 C3 D3");
    let each = with(|s| {
        s.direction = Direction::Up;
        s.from = From::Each;
    });
    assert_eq!(
        bars("C", &each),
        [
            "@C 1/8 C2 E2 G2 C3 1/2 =",
            "@C/E 1/8 E1 G1 C2 E2 1/2 =",
            "@C/G 1/8 G1 C2 E2 G2 1/2 =",
        ]
    );
    let error = refused("Csus4", &from("3")).to_string();
    assert_eq!(error, "`Csus4` has no 3; its tones are R 4 5");
}

#[test]
fn ranges_directions_and_sequences() {
    let with = |octaves, direction, sequence| {
        with(|s| {
            s.octaves = Some(octaves);
            s.direction = direction;
            s.sequence = sequence;
        })
    };
    let two = with(Octaves::Two, Direction::Up, None);
    assert_eq!(names("F", &two), "F1 A1 C2 F2 A2 C3 F3");
    let one = with(Octaves::One, Direction::Up, None);
    assert_eq!(names("C9", &one), "C2 D2 E2 G2 Bb2 C3");
    let down = with(Octaves::One, Direction::Down, None);
    assert_eq!(names("F", &down), "F2 C2 A1 F1");
    let down_up = with(Octaves::One, Direction::DownUp, None);
    assert_eq!(names("F", &down_up), "F2 C2 A1 F1 A1 C2 F2");
    let neck = with(Octaves::Neck, Direction::Up, None);
    assert_eq!(names("Dm", &neck), "F1 A1 D2 F2 A2 D3 F3 A3 D4 F4");
    let threes = with(Octaves::One, Direction::Up, Some(3));
    assert_eq!(names("C7", &threes), "C2 E2 G2 E2 G2 Bb2 G2 Bb2 C3");
    let turned = with(Octaves::One, Direction::UpDown, Some(3));
    assert_eq!(names("C", &turned), "C2 E2 G2 E2 G2 C3 C3 G2 E2 G2 E2 C2");
    let fours = with(Octaves::One, Direction::Up, Some(4));
    assert_eq!(names("C7", &fours), "C2 E2 G2 Bb2 E2 G2 Bb2 C3");
    let error = refused("C5", &fours).to_string();
    assert!(error.contains("3 tones in that range"), "{error}");
}

#[test]
fn note_values_and_meters_fill_their_bars() {
    let with = |notes, meter: &str, bars| {
        let meter = meter.parse().unwrap();
        with(|s| {
            s.notes = notes;
            s.meter = meter;
            s.bars = bars;
        })
    };
    let triplets = with(NoteValue::Triplets, "4/4", None);
    assert_eq!(
        bars("C7", &triplets),
        ["@C7 1/8t C2 E2 G2 Bb2 C3 Bb2 G2 E2 C2 1/4 ="]
    );
    let sixteenths = with(NoteValue::Sixteenths, "4/4", None);
    assert_eq!(
        bars("C", &sixteenths),
        ["@C 1/16 C2 E2 G2 C3 G2 E2 1/8 C2 1/2 ="]
    );
    let waltz = with(NoteValue::Eighths, "3/4", None);
    assert_eq!(bars("C", &waltz), ["@C 1/8 C2 E2 G2 C3 G2 E2", "1/2. C2"]);
    let six = with(NoteValue::Eighths, "6/8", None);
    assert_eq!(
        bars("Dm7", &six),
        ["@Dm7 1/8 D2 F2 A2 C3 D3 C3", "A2 F2 1/2 D2"]
    );
    let five = with(NoteValue::Quarters, "5/4", None);
    assert_eq!(bars("C", &five), ["@C C2 E2 G2 C3 G2", "E2 1/1 C2"]);
    let twice = with(NoteValue::Eighths, "4/4", Some(3));
    assert_eq!(
        bars("Dm7 C", &twice),
        [
            "@Dm7 1/8 D2 F2 A2 C3 D3 C3 A2 F2",
            "1/1 D2",
            "r",
            "@C 1/8 C2 E2 G2 C3 G2 E2 1/4 C2",
            "1/8 C2 E2 G2 C3 G2 E2 1/4 C2",
            "1/8 C2 E2 G2 C3 G2 E2 1/4 C2",
        ]
    );
    let short = with(NoteValue::Eighths, "4/4", Some(1));
    assert!(matches!(
        refused("C7", &short),
        StudyError::TooFewBars { needed: 2, .. }
    ));
    for (notes, meter) in [
        (NoteValue::Triplets, "6/8"),
        (NoteValue::Eighths, "7/16"),
        (NoteValue::Quarters, "7/8"),
    ] {
        assert!(matches!(
            refused("C", &with(notes, meter, None)),
            StudyError::Uneven { .. }
        ));
    }
}

#[test]
fn a_linked_chord_begins_on_the_nearest_tone_and_turns() {
    let linked = with(|s| s.linked = true);
    assert_eq!(
        names("Dm7 G7 Cmaj7", &linked),
        "D2 F2 A2 C3 D3 D3 B2 G2 F2 D2 C2 E2 G2 B2 C3"
    );
    // The neck ends below E1: what cannot go down goes up again.
    let down = with(|s| {
        s.linked = true;
        s.direction = Direction::Down;
    });
    assert_eq!(
        names("F Bb F", &down),
        "F2 C2 A1 F1 F1 Bb1 D2 F2 F2 C2 A1 F1"
    );
    let line = built("Am7 D7 Gmaj7 Cmaj7 F#m7b5 B7 Em7", &linked);
    let notes = line.expected(line.instrument());
    for (note, degree) in notes.iter().zip(degrees(&line, &notes)) {
        assert!(degree.unwrap().in_chord, "{note:?}");
    }
}

#[test]
fn scales_and_modes_likewise() {
    let up = with(|s| s.direction = Direction::Up);
    assert_eq!(names("D dorian", &up), "D2 E2 F2 G2 A2 B2 C3 D3");
    let usual = Settings::default();
    assert_eq!(
        names("A melodic minor", &usual),
        "A1 B1 C2 D2 E2 F#2 G#2 A2 G2 F2 E2 D2 C2 B1 A1"
    );
    assert_eq!(names("G minor pentatonic", &up), "G1 Bb1 C2 D2 F2 G2");
    assert_eq!(
        bars("D dorian", &usual)[0],
        "@Dm7 1/8 D2 E2 F2 G2 A2 B2 C3 D3"
    );
    let line = built("D dorian", &up);
    let notes = line.expected(line.instrument());
    let told: Vec<String> = degrees(&line, &notes)
        .into_iter()
        .map(|degree| degree.unwrap().degree.to_string())
        .collect();
    assert_eq!(told.join(" "), "R 2 b3 4 5 6 b7 R");
}

/// Major thirds and minor thirds, the same shape on the same strings.
#[test]
fn symmetric_chords_go_up_the_neck() {
    let settings = with(|s| {
        s.up_the_neck = true;
        s.direction = Direction::Up;
    });
    for (chord, step, tones) in [("C+", 4, 4), ("C°7", 3, 5)] {
        let line = built(chord, &settings);
        let notes = line.expected(line.instrument());
        assert!(notes.len() >= 3 * tones, "{chord}");
        for (one, next) in notes.iter().zip(&notes[tones..]) {
            let (one_at, next_at) = (one.place.unwrap(), next.place.unwrap());
            assert_eq!(next_at.string, one_at.string, "{chord}");
            assert_eq!(next_at.fret, one_at.fret + step, "{chord}");
            assert_eq!(next.midi, one.midi + step, "{chord}");
        }
    }
    for text in ["C", "C°", "C7", "C whole tone"] {
        assert!(
            matches!(refused(text, &settings), StudyError::NotSymmetric { .. }),
            "{text}"
        );
    }
}

#[test]
fn a_study_moves_to_another_key_and_round_all_keys() {
    let key = |key: &str, round| {
        let key = key.parse().unwrap();
        with(|s| {
            s.key = Some(key);
            s.round = round;
        })
    };
    let symbols = |text: &str, settings: &Settings| -> Vec<String> {
        let line = built(text, settings);
        let marks = line.bars().iter().flat_map(|bar| &bar.chords);
        marks.map(|mark| mark.symbol.to_string()).collect()
    };
    let moved = symbols("Dm7 G7/B Cmaj7", &key("Eb major", None));
    assert_eq!(moved, ["Fm7", "Bb7/D", "Ebmaj7"]);
    let fourths = symbols("C", &key("C major", Some(Round::Fourths)));
    assert_eq!(fourths.join(" "), "C F Bb Eb Ab Db Gb B E A D G");
    let fifths = symbols("C", &key("C major", Some(Round::Fifths)));
    assert_eq!(fifths.join(" "), "C G D A E B Gb Db Ab Eb Bb F");
    let steps = symbols("Am7", &key("A minor", Some(Round::Semitones)));
    assert_eq!(
        steps.join(" "),
        "Am7 Bbm7 Bm7 Cm7 C#m7 Dm7 Ebm7 Em7 Fm7 F#m7 Gm7 G#m7"
    );
    let keys = built("C", &key("C major", Some(Round::Fourths)));
    assert_eq!(keys.bars()[3].key.to_string(), "Eb major");
    assert!(matches!(
        refused("C", &key("A minor", None)),
        StudyError::OtherMode { .. }
    ));
}

#[test]
fn what_is_neither_chord_nor_scale_is_shown_where_it_stands() {
    for (text, column, width, words) in [
        ("Dm7 Hm7 C", 5, 3, "`Hm7` is not a chord symbol"),
        ("Dm7 C7# C", 7, 1, "`#` is not understood"),
        ("D dorain", 1, 8, "`D dorain` is not a scale"),
        ("C  13", 4, 2, "`13` is not a chord symbol"),
    ] {
        let error = read_items(text).unwrap_err();
        assert_eq!((error.column, error.width), (column, width), "{text}");
        assert!(error.to_string().contains(words), "{error}");
    }
    assert_eq!(
        read_items("Dm7 C7#")
            .unwrap_err()
            .to_string()
            .lines()
            .nth(2),
        Some("        ^")
    );
    assert_eq!(study(&[], &Settings::default()), Err(StudyError::Nothing));
    assert!(matches!(
        refused("N.C.", &Settings::default()),
        StudyError::NoTones { .. }
    ));
}

#[test]
fn what_does_not_fit_the_neck_is_said() {
    let short = with(|s| {
        let tuning: Tuning = "E1".parse().unwrap();
        s.instrument = crate::music::instrument::Instrument::new(tuning, 12, 863.6).unwrap();
    });
    assert_eq!(names("E", &short), "E1 G#1 B1 E2 B1 G#1 E1");
    let error = refused("F", &short).to_string();
    assert!(
        error.contains("one octave up from its root") && error.contains("E2"),
        "{error}"
    );
}

/// Every kind of chord and scale, on every tuning, in every direction: bars are full and all can be
/// played, for the line checks that when it is made.
#[test]
fn all_combinations_give_lines() {
    let text = "C Gb7 F#m9 B13 E°7 Abmaj7/C D/E Bbsus4 A7alt C# locrian Eb blues F chromatic";
    let mut made = 0;
    for tuning in ["4", "5", "6", "guitar"] {
        for octaves in [None, Some(Octaves::One), Some(Octaves::Neck)] {
            for direction in [
                Direction::Up,
                Direction::Down,
                Direction::UpDown,
                Direction::DownUp,
            ] {
                for (sequence, linked) in [(None, false), (Some(3), false), (None, true)] {
                    let settings = with(|s| {
                        let tuning: Tuning = tuning.parse().unwrap();
                        s.instrument = crate::music::instrument::Instrument::with_tuning(tuning);
                        s.octaves = octaves;
                        s.direction = direction;
                        s.sequence = sequence;
                        s.linked = linked;
                        s.from = From::Bass;
                    });
                    made += built(text, &settings).bars().len();
                }
            }
        }
    }
    assert!(made > 3000, "{made}");
}
