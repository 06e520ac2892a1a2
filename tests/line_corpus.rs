//! Real scores held against what another library reads of them, note for note.
//!
//! `SEAMLINE_CORPUS` names a file that `tests/tools/music21_parts.py` wrote: parts of the scores that
//! come with music21, an independent library for notation, with the notes that it reads, repeats played
//! out. Without it nothing is compared, and that is said.

use seamline::music::line::{PartChoice, read_part};
use serde::Deserialize;

#[derive(Deserialize)]
struct Entry {
    file: String,
    part: usize,
    repeats: bool,
    /// Onset and length in quarters, each as numerator and denominator; MIDI note number.
    notes: Vec<(i64, i64, i64, i64, u8)>,
}

/// Fewest parts that must agree: half of the 24 that are asked for by default.
const PARTS_MIN: usize = 12;

/// Onsets and lengths that another program rounded: a 512th note.
const NEAR_QUARTERS: f64 = 1.0 / 128.0;

/// Parts that are read otherwise here, each looked up in its score: file, part, why.
const KNOWN: [(&str, usize, &str); 11] = [
    (
        "haydn/opus74no1/movement1.mxl",
        3,
        "the score ties an E to a D; music21 makes one note of them",
    ),
    (
        "beethoven/opus59no3/movement2.mxl",
        4,
        "music21 leaves out five eighths of bar 136",
    ),
    (
        "schumann_robert/opus41no1/movement2.mxl",
        1,
        "one note of a chord is tied on; here it is struck anew, and that is said",
    ),
    (
        "beethoven/opus18no1/movement3.mxl",
        1,
        "music21 ends a tie over four bars after the first",
    ),
    (
        "beethoven/opus18no1/movement3.mxl",
        2,
        "music21 ends a tie over bars early",
    ),
    (
        "beethoven/opus18no1/movement3.mxl",
        3,
        "music21 ends a tie over bars early",
    ),
    (
        "mozart/k155/movement3.mxl",
        3,
        "music21 moves bar 1 behind a pick-up of rest",
    ),
    (
        "mozart/k80/movement4.mxl",
        1,
        "music21 fills up the bar before a repeat that begins with a pick-up",
    ),
    (
        "mozart/k80/movement4.mxl",
        3,
        "music21 fills up the bar before a repeat that begins with a pick-up",
    ),
    (
        "mozart/k80/movement4.mxl",
        4,
        "music21 fills up the bar before a repeat that begins with a pick-up",
    ),
    (
        "trecento/PMFC_06_10-I senti gia come l_arco.xml",
        3,
        "a tie that ends without having begun; here it counts",
    ),
];

#[test]
fn parts_of_real_scores_have_the_notes_that_another_library_reads() {
    let Some(path) = std::env::var_os("SEAMLINE_CORPUS") else {
        eprintln!("SEAMLINE_CORPUS is not set: no real scores were compared");
        return;
    };
    let text = std::fs::read_to_string(path).unwrap();
    let entries: Vec<Entry> = serde_json::from_str(&text).unwrap();
    let (mut agree, mut notes, mut repeated) = (0, 0, 0);
    let mut faults = Vec::new();
    for entry in &entries {
        let known = |(file, part, _): &&(&str, usize, &str)| {
            entry.file.ends_with(file) && entry.part == *part
        };
        if let Some((file, part, why)) = KNOWN.iter().find(known) {
            eprintln!("left out: {file} part {part}: {why}");
            continue;
        }
        let bytes = std::fs::read(&entry.file).unwrap();
        let part: PartChoice = entry.part.to_string().parse().unwrap();
        match read_part(&entry.file, &bytes, Some(&part)) {
            Ok(read) => match difference(entry, &read.line) {
                None => {
                    agree += 1;
                    notes += entry.notes.len();
                    repeated += usize::from(entry.repeats);
                }
                Some(what) => faults.push(format!(
                    "{} part {}: {what} {:?}",
                    entry.file, entry.part, read.notes
                )),
            },
            Err(error) => faults.push(format!("part {}: {error}", entry.part)),
        }
    }
    eprintln!(
        "{agree} of {} parts agree, {repeated} of them with repeats, {notes} notes",
        entries.len()
    );
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    assert!(agree >= PARTS_MIN, "{agree} parts are too few");
}

/// The first note that differs.
fn difference(entry: &Entry, line: &seamline::music::line::Line) -> Option<String> {
    let notes = line.expected(line.instrument());
    let before = line.pickup_length().quarters();
    for (at, (found, wanted)) in notes.iter().zip(&entry.notes).enumerate() {
        let onset = wanted.0 as f64 / wanted.1 as f64;
        let length = wanted.2 as f64 / wanted.3 as f64;
        let same = found.midi == wanted.4
            && (found.onset_quarters + before - onset).abs() < NEAR_QUARTERS
            && (found.length_quarters - length).abs() < NEAR_QUARTERS;
        if !same {
            return Some(format!(
                "note {at}, bar {}: {} at {} for {} instead of {} at {onset} for {length}",
                found.printed_bar,
                found.midi,
                found.onset_quarters + before,
                found.length_quarters,
                wanted.4
            ));
        }
    }
    (notes.len() != entry.notes.len())
        .then(|| format!("{} notes instead of {}", notes.len(), entry.notes.len()))
}
