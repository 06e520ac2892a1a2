//! What each note of a line is to the chord above it.

use crate::music::expected::ExpectedNote;
use crate::music::line::{Bar, Length, Line};
use crate::music::theory::{ChordSymbol, Key, NoteDegree};

/// Places closer than this many quarter notes are one place: far below any written length.
const TOGETHER: f64 = 1e-6;

/// The degree of each of `notes` in the chord in force where it begins, in their order; `None` before
/// the first chord symbol and from `N.C.` to the next one. A symbol holds until the next, over any
/// number of bars.
///
/// Input:   the notes that [`Line::expected`] gives for `line`, or some of them in their order.
pub fn degrees(line: &Line, notes: &[ExpectedNote]) -> Vec<Option<NoteDegree>> {
    let mut marks: Vec<(f64, &ChordSymbol)> = Vec::new();
    let mut keys: Vec<(f64, Key)> = Vec::new();
    let mut start = Length::ZERO - line.pickup_length();
    for bar in line.bars() {
        keys.push((start.quarters(), bar.key));
        let placed = |mark: &crate::music::line::ChordMark| (start + mark.at).quarters();
        marks.extend(bar.chords.iter().map(|mark| (placed(mark), &mark.symbol)));
        start += Bar::length(bar);
    }
    notes
        .iter()
        .map(|note| {
            let symbol = in_force(&marks, note.onset_quarters)?;
            let key = in_force(&keys, note.onset_quarters).copied();
            symbol.degree_of(note.midi, key.unwrap_or_default())
        })
        .collect()
}

/// The last entry at or before a place.
fn in_force<T>(list: &[(f64, T)], at: f64) -> Option<&T> {
    let after = list.partition_point(|(from, _)| *from <= at + TOGETHER);
    list.get(after.checked_sub(1)?).map(|(_, value)| value)
}
