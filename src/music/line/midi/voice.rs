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
