//! Our spelling of chords, scales and intervals, held against tables that an independent library
//! wrote (`fixtures/theory/README.md`).

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use seamline::music::theory::{ChordSymbol, Degree, Scale};

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
