//! From timed notes to one voice of notes and chords.

use super::error::MidiError;
use super::events::Timed;
use super::grid::slack;
use super::layout::{Slot, slot_at};
use crate::music::line::length::Length;
use crate::music::theory::Key;

/// Notes that start and end together, with the times of the file.
#[derive(Clone, Debug)]
pub(super) struct Group {
    pub start: Length,
    pub end: Length,
    /// Rising, none twice.
    pub pitches: Vec<u8>,
}

/// Parts of a quarter within which notes count as struck together (16 ms at 120).
const TOGETHER_PARTS: i64 = 32;

/// How unequal the ends of a chord may be, as a share of its length: one finger leaves a little
/// before the other. Common practice, no source.
const CHORD_END_SHARE: f64 = 0.25;

#[derive(Clone, Copy)]
struct Span {
    start: Length,
    end: Length,
    midi: u8,
}

/// Makes one voice of `notes`.
///
/// # Errors
/// `TwoVoices` where one note sounds on for more than a 32nd note while another begins.
pub(super) fn one_voice(
    notes: &[Timed],
    per_quarter: u32,
    slots: &[Slot],
) -> Result<Vec<Group>, MidiError> {
    let mut spans: Vec<Span> = notes
        .iter()
        .map(|note| Span {
            start: Length::from_ticks(note.start, per_quarter),
            end: Length::from_ticks(note.end, per_quarter),
            midi: note.midi,
        })
        .collect();
    spans.sort_by_key(|span| (span.start, span.midi));
    let together = Length::quarter_over(TOGETHER_PARTS);
    let mut groups: Vec<(Group, Span)> = Vec::new();
    for span in spans {
        if let Some((group, first)) = groups.last_mut() {
            let shared = first.end.min(span.end) - span.start;
            let shorter = (first.end - first.start).min(span.end - span.start);
            let overlaps = shared.units() * 2 > shorter.units();
            if span.start - first.start <= together && overlaps {
                let unequal = (span.end - first.end).quarters().abs();
                let longer = (first.end - first.start).max(span.end - span.start);
                let allowed = slack().quarters().max(CHORD_END_SHARE * longer.quarters());
                if unequal > allowed {
                    return Err(two_voices(first.midi, span.midi, span.start, slots));
                }
                group.end = group.end.max(span.end);
                if !group.pitches.contains(&span.midi) {
                    group.pitches.push(span.midi);
                }
                continue;
            }
            let overlap = group.end - span.start;
            if overlap > slack() {
                return Err(two_voices(first.midi, span.midi, span.start, slots));
            }
            if overlap.is_positive() {
                group.end = span.start;
            }
        }
        let group = Group {
            start: span.start,
            end: span.end,
            pitches: vec![span.midi],
        };
        groups.push((group, span));
    }
    let mut groups: Vec<Group> = groups.into_iter().map(|(group, _)| group).collect();
    for group in &mut groups {
        group.pitches.sort_unstable();
    }
    Ok(groups)
}

fn two_voices(first: u8, second: u8, at: Length, slots: &[Slot]) -> MidiError {
    let name = |midi| Key::default().spell(midi).to_string();
    let (bar, beat) = slot_at(slots, at).map_or((0, 1.0), |slot| {
        let beat = 1.0 + slot.meter.beats_in(at - slot.start + slot.missing());
        (slot.number, (beat * 100.0).round() / 100.0)
    });
    MidiError::TwoVoices {
        bar,
        beat,
        first: name(first),
        second: name(second),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::line::meter::Meter;

    /// Bars of 4/4 at 480 ticks to the quarter.
    fn bars(count: u32) -> Vec<Slot> {
        let meter = Meter::default();
        let length = meter.bar_length();
        let start = |at: u32| Length::from_units(length.units() * i64::from(at));
        (0..count)
            .map(|at| Slot {
                number: at + 1,
                start: start(at),
                length,
                meter,
            })
            .collect()
    }

    fn voice(notes: &[(u64, u64, u8)]) -> Result<Vec<(f64, f64, Vec<u8>)>, MidiError> {
        let notes: Vec<Timed> = notes
            .iter()
            .map(|&(start, end, midi)| Timed { start, end, midi })
            .collect();
        let groups = one_voice(&notes, 480, &bars(4))?;
        let row = |g: Group| {
            (
                g.start.quarters() * 480.0,
                g.end.quarters() * 480.0,
                g.pitches,
            )
        };
        Ok(groups.into_iter().map(row).collect())
    }

    #[test]
    fn overlaps_up_to_a_32nd_are_cut_and_longer_ones_are_two_voices() {
        // A 32nd note is an eighth of a quarter: 60 ticks of 480.
        let cut = voice(&[(0, 540, 33), (480, 960, 35)]).unwrap();
        assert_eq!(cut, [(0.0, 480.0, vec![33]), (480.0, 960.0, vec![35])]);
        match voice(&[(1920, 2461, 33), (2400, 2880, 35)]) {
            Err(MidiError::TwoVoices {
                bar: 2,
                beat,
                first,
                second,
            }) => {
                assert_eq!((beat, first.as_str(), second.as_str()), (2.0, "A1", "B1"));
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn notes_struck_and_left_nearly_together_are_a_chord() {
        let chord = voice(&[(7, 470, 45), (0, 490, 33), (480, 960, 35)]).unwrap();
        assert_eq!(chord[0], (0.0, 480.0, vec![33, 45]));
        // One member held much longer is a voice of its own.
        assert!(voice(&[(0, 1920, 33), (0, 480, 45)]).is_err());
        // A doubled note is one note.
        assert_eq!(voice(&[(0, 480, 33), (3, 480, 33)]).unwrap()[0].2, [33]);
    }
}
