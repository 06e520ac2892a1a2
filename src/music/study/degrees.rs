//! What each note of a line is to the chord above it.

use crate::music::expected::ExpectedNote;
use crate::music::line::{Bar, ChordMark, Length, Line};
use crate::music::theory::{ChordSymbol, Key, NoteDegree};

/// Places closer than this many quarter notes are one place: far below any written length.
const TOGETHER: f64 = 1e-6;

/// The chord symbol in force where each of `notes` begins, in their order; `None` before the first
/// one. A symbol holds until the next, over any number of bars.
///
/// Input:   the notes that [`Line::expected`] gives for `line`, or some of them in their order.
pub fn chords_in_force<'a>(line: &'a Line, notes: &[ExpectedNote]) -> Vec<Option<&'a ChordSymbol>> {
    let mut marks: Vec<(f64, &ChordSymbol)> = Vec::new();
    for (start, bar) in placed(line) {
        let at = |mark: &ChordMark| (start + mark.at).quarters();
        marks.extend(bar.chords.iter().map(|mark| (at(mark), &mark.symbol)));
    }
    let here = |note: &ExpectedNote| in_force(&marks, note.onset_quarters).copied();
    notes.iter().map(here).collect()
}

/// The degree of each of `notes` in the chord in force where it begins, in their order; `None` before
/// the first chord symbol and from `N.C.` to the next one.
///
/// Input:   the notes that [`Line::expected`] gives for `line`, or some of them in their order.
pub fn degrees(line: &Line, notes: &[ExpectedNote]) -> Vec<Option<NoteDegree>> {
    let keys: Vec<(f64, Key)> = placed(line)
        .into_iter()
        .map(|(start, bar)| (start.quarters(), bar.key))
        .collect();
    notes
        .iter()
        .zip(chords_in_force(line, notes))
        .map(|(note, symbol)| {
            let key = in_force(&keys, note.onset_quarters).copied();
            symbol?.degree_of(note.midi, key.unwrap_or_default())
        })
        .collect()
}

/// The bars of a line with their places from the start of bar 1.
fn placed(line: &Line) -> Vec<(Length, &Bar)> {
    let mut start = Length::ZERO - line.pickup_length();
    let mut list = Vec::new();
    for bar in line.bars() {
        list.push((start, bar));
        start += bar.length();
    }
    list
}

/// The last entry at or before a place.
fn in_force<T>(list: &[(f64, T)], at: f64) -> Option<&T> {
    let after = list.partition_point(|(from, _)| *from <= at + TOGETHER);
    list.get(after.checked_sub(1)?).map(|(_, value)| value)
}
