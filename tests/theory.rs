//! Our spelling of chords, scales and intervals, held against tables that an independent library
//! wrote (`fixtures/theory/README.md`).

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use proptest::prelude::*;
use seamline::music::study::{Settings, read_items, study};
use seamline::music::theory::{ChordSymbol, Degree, NameError, Scale};

/// The rows of a table, split at tabs.
fn rows(name: &str) -> Vec<Vec<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/theory")
        .join(name);
    let text = fs::read_to_string(path).expect("a table");
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split('\t').map(str::to_owned).collect())
        .collect()
}

#[test]
fn chords_have_the_tones_the_library_gives_them() {
    let rows = rows("chords.tsv");
    assert!(rows.len() >= 6 * 60, "{}", rows.len());
    for row in rows {
        let chord: ChordSymbol = row[0].parse().unwrap_or_else(|error| panic!("{error}"));
        let mut ours: Vec<String> = chord
            .tones()
            .iter()
            .map(|tone| tone.name.to_string())
            .collect();
        ours.sort();
        assert_eq!(ours.join(" "), row[1], "{}", row[0]);
        for tone in chord.tones() {
            let root = chord.root().expect("a root");
            assert_eq!(tone.degree.above(root), tone.name, "{}", row[0]);
        }
    }
}

#[test]
fn scales_have_the_tones_the_library_gives_them() {
    let rows = rows("scales.tsv");
    assert!(rows.len() >= 100, "{}", rows.len());
    for row in rows {
        let scale: Scale = row[0].parse().unwrap_or_else(|error| panic!("{error}"));
        let degrees = match row[1].as_str() {
            "up" => scale.degrees_up(),
            _ => scale.degrees_down(),
        };
        let ours: Vec<String> = degrees
            .into_iter()
            .map(|degree| degree.above(scale.tonic()).to_string())
            .collect();
        assert_eq!(ours.join(" "), row[2], "{} {}", row[0], row[1]);
    }
}

#[test]
fn intervals_are_as_wide_as_the_library_says() {
    let rows = rows("intervals.tsv");
    let mut ours: BTreeMap<String, i32> = BTreeMap::new();
    for number in 1..=15 {
        for alter in -3..=2 {
            let degree = Degree::new(number, alter).expect("within the range");
            ours.insert(degree.interval(), degree.semitones());
        }
    }
    assert_eq!(rows.len(), 80);
    for row in rows {
        let name = row[0].replace("double octave", "fifteenth");
        let wanted: i32 = row[1].parse().expect("a number");
        assert_eq!(ours.get(&name), Some(&wanted), "{name}");
    }
}

/// Pieces that symbols are made of, and some that they are not.
const PIECES: [&str; 44] = [
    "C", "Db", "F#", "B♭", "H", "m", "-", "mi", "min", "maj", "M", "Δ", "°", "ø", "o", "dim", "+",
    "aug", "sus", "sus2", "sus4", "add", "no", "omit", "alt", "2", "3", "4", "5", "6", "7", "9",
    "11", "13", "b", "#", "♯", "(", ")", ",", "/", " ", "dorian", "N.C.",
];

fn symbols() -> impl Strategy<Value = String> {
    let piece = prop_oneof![
        9 => (0..PIECES.len()).prop_map(|at| PIECES[at].to_owned()),
        1 => any::<char>().prop_map(String::from),
    ];
    prop::collection::vec(piece, 0..8).prop_map(|pieces| pieces.concat())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// Whatever is typed is a chord with tones in order, each spelled by its degree, or is refused
    /// with the place from which it is not understood.
    #[test]
    fn every_text_is_a_chord_or_is_refused_with_the_place(text in symbols()) {
        match text.parse::<ChordSymbol>() {
            Ok(chord) => {
                prop_assert_eq!(chord.text(), &text);
                let tones = chord.tones().iter();
                let steps: Vec<i32> = tones.map(|tone| tone.degree.semitones()).collect();
                prop_assert!(steps.windows(2).all(|pair| pair[0] <= pair[1]), "{:?}", steps);
                if let Some(root) = chord.root() {
                    prop_assert!(steps.len() >= 2, "{:?}", chord);
                    for tone in chord.tones() {
                        prop_assert_eq!(tone.degree.above(root), tone.name);
                    }
                }
                let moved = chord.moved(-5);
                prop_assert_eq!(moved.text().parse(), Ok(moved.clone()));
            }
            Err(NameError::Chord { unread, column, .. }) => {
                prop_assert!(text.ends_with(&unread));
                let before = text.chars().count() - unread.chars().count();
                prop_assert_eq!(before + 1, column);
            }
            Err(other) => prop_assert!(false, "{:?}", other),
        }
    }

    /// No text of chords and scales makes a study break down.
    #[test]
    fn no_text_breaks_a_study(words in prop::collection::vec(symbols(), 0..5)) {
        let text = words.join(" ");
        match read_items(&text) {
            Ok(items) => {
                let told = study(&items, &Settings::default()).map_err(|error| error.to_string());
                prop_assert!(told.map_or_else(|error| !error.is_empty(), |study| study.line.note_count() > 0));
            }
            Err(error) => {
                prop_assert!((1..=text.chars().count().max(1)).contains(&error.column));
                prop_assert!(error.to_string().lines().count() >= 2);
            }
        }
    }
}
