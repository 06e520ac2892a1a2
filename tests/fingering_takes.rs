//! The kinds of joins held against takes whose strings, frets and shifts are known.
//!
//! `SEAMLINE_TAKES` names a folder with `truth/NAME.json`, made by another program, with its own
//! rule for where the hand is. Without it nothing is compared, and that is said.

use std::path::PathBuf;

use seamline::music::expected::{JoinKind, Place};
use seamline::music::fingering::{Begun, Group, Hand, Wanted, lay};
use seamline::music::instrument::Instrument;
use serde_json::Value;

/// Share of the joins that must agree.
const AGREE: f64 = 0.95;

fn whole(value: &Value) -> u8 {
    u8::try_from(value.as_u64().expect("a whole number")).expect("a small number")
}

fn place(note: &Value) -> Place {
    Place {
        string: whole(&note["string"]),
        fret: whole(&note["fret"]),
    }
}

/// Whether `kind` is what the truth of two notes says of their join.
fn agrees(kind: JoinKind, from: &Value, to: &Value) -> bool {
    let (a, b) = (place(from), place(to));
    if a == b {
        return kind == JoinKind::Repeat;
    }
    if a.fret == 0 || b.fret == 0 {
        return kind == JoinKind::Open;
    }
    if to["shift"].as_bool().expect("a shift or none") {
        return kind == JoinKind::Shift;
    }
    if a.string == b.string {
        return kind == JoinKind::SamePlace;
    }
    let neighbours = a.fret == b.fret && a.string.abs_diff(b.string) == 1;
    kind == JoinKind::Crossing || neighbours && kind == JoinKind::Roll
}

#[test]
fn kinds_of_joins_agree_with_what_was_played() {
    let Some(folder) = std::env::var_os("SEAMLINE_TAKES") else {
        eprintln!("SEAMLINE_TAKES is not set: no joins were compared");
        return;
    };
    let mut truths: Vec<PathBuf> = std::fs::read_dir(PathBuf::from(folder).join("truth"))
        .expect("SEAMLINE_TAKES holds truth/")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .collect();
    truths.sort();
    assert!(!truths.is_empty(), "no truth/*.json");
    let neck = Instrument::default();
    let (mut all, mut agreed) = (0, 0);
    let mut others = Vec::new();
    for path in truths {
        let text = std::fs::read_to_string(&path).expect("a truth that can be read");
        let truth: Value = serde_json::from_str(&text).expect("JSON");
        let notes = truth["notes"].as_array().expect("notes");
        let mut bar = None;
        let groups: Vec<Group> = notes
            .iter()
            .map(|note| Group {
                notes: vec![Wanted {
                    midi: whole(&note["expected_midi"]),
                    place: Some(place(note)),
                    finger: None,
                }],
                begun: Begun::Plucked,
                onset_s: note["nominal_onset_s"].as_f64().expect("seconds"),
                let_go: !note["legato_next"].as_bool().expect("legato or not"),
                first_of_bar: bar.replace(note["bar"].as_u64()) != Some(note["bar"].as_u64()),
            })
            .collect();
        let laid = lay(&groups, &neck, &Hand::default());
        for (pair, kind) in notes.windows(2).zip(laid.joins) {
            let kind = kind.expect("every note has a place");
            all += 1;
            if agrees(kind, &pair[0], &pair[1]) {
                agreed += 1;
            } else {
                let (a, b) = (place(&pair[0]), place(&pair[1]));
                let name = path.file_stem().unwrap_or_default().to_string_lossy();
                others.push(format!(
                    "{name} note {}: {}:{} to {}:{} is {}, shift {}",
                    pair[1]["id"],
                    a.string,
                    a.fret,
                    b.string,
                    b.fret,
                    kind.word(),
                    pair[1]["shift"]
                ));
            }
        }
    }
    let share = f64::from(agreed) / f64::from(all);
    println!(
        "{agreed} of {all} joins agree ({share:.4})\n{}",
        others.join("\n")
    );
    assert!(
        share >= AGREE,
        "{agreed} of {all} agree\n{}",
        others.join("\n")
    );
}
