//! The expected notes folded into slots: one slot for each moment at which something is plucked.
//!
//! The members of a chord are one slot, because the ear hears one note at a time. Everything that
//! aligns works on slots; the verdicts unfold them again.

use std::ops::Range;

use crate::music::expected::ExpectedNote;

/// One moment of the line at which one note, or the members of a chord, should start.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Slot {
    /// Positions of its notes in the list of expected notes.
    pub members: Range<usize>,
    /// Onset in seconds at the written tempo.
    pub at_s: f64,
    /// The shorter of the two neighbouring written intervals between onsets, in seconds.
    pub interval_s: f64,
    /// The written pitches, one for each member.
    pub midi: Vec<u8>,
    /// The bar it starts in.
    pub bar: u32,
    /// True when no slot before it starts in the same bar.
    pub opens_bar: bool,
    /// Index of the first slot of its bar.
    pub opening: usize,
    /// Where its bar begins, in seconds at the written tempo.
    pub bar_s: f64,
    /// Where its bar ends.
    pub bar_end_s: f64,
    /// How long a beat is, in seconds at the written tempo.
    pub beat_s: f64,
    /// True when it is an off-beat eighth, which swing moves.
    pub swings: bool,
    /// True when its pitch differs from everything in the slot before.
    pub new_pitch: bool,
    /// True when all of its notes are ghost notes: muted, without a pitch.
    pub ghost: bool,
    /// True when the line slides into it.
    pub slid: bool,
}

/// How many slots of the same bar stand behind a slot.
pub(crate) fn left_in_bar(slots: &[Slot], slot: usize) -> usize {
    let bar = slots[slot].bar;
    let behind = slots[slot + 1..].iter();
    behind.take_while(|next| next.bar == bar).count()
}

/// Whether a slot is the last one of its bar.
pub(crate) fn closes_bar(slots: &[Slot], slot: usize) -> bool {
    slots.get(slot + 1).is_none_or(|next| next.opens_bar)
}

/// Interval assumed around a single note, in seconds: a quarter note at 120 to the minute.
const LONE_INTERVAL_S: f64 = 0.5;

/// Folds the expected notes into slots, in order of onset.
///
/// Input: notes in the order of the line. A note that claims to sound with the note before it, or
/// that starts at the same moment to a tenth of a millisecond, joins that note's slot.
pub(crate) fn fold(expected: &[ExpectedNote]) -> Vec<Slot> {
    let mut slots: Vec<Slot> = Vec::with_capacity(expected.len());
    for (position, note) in expected.iter().enumerate() {
        let joins = slots
            .last()
            .is_some_and(|slot| note.with_previous || (note.onset_s - slot.at_s).abs() < 1e-4);
        match slots.last_mut() {
            Some(slot) if joins => {
                slot.members.end = position + 1;
                slot.midi.push(note.midi);
                slot.ghost &= note.ghost;
                slot.slid &= note.slid_into;
            }
            _ => slots.push(Slot {
                members: position..position + 1,
                at_s: note.onset_s,
                interval_s: LONE_INTERVAL_S,
                midi: vec![note.midi],
                bar: note.bar,
                opens_bar: false,
                opening: 0,
                bar_s: note.onset_s,
                bar_end_s: note.onset_s + note.length_s,
                beat_s: LONE_INTERVAL_S,
                swings: note.swings,
                new_pitch: true,
                ghost: note.ghost,
                slid: note.slid_into,
            }),
        }
    }
    for k in 0..slots.len() {
        let before = (k > 0).then(|| slots[k].at_s - slots[k - 1].at_s);
        let after = slots.get(k + 1).map(|next| next.at_s - slots[k].at_s);
        let shorter = match (before, after) {
            (Some(a), Some(b)) => a.min(b),
            (Some(a), None) | (None, Some(a)) => a,
            (None, None) => LONE_INTERVAL_S,
        };
        let opens_bar = k == 0 || slots[k - 1].bar != slots[k].bar;
        let new_pitch = k == 0
            || !slots[k]
                .midi
                .iter()
                .any(|midi| slots[k - 1].midi.contains(midi));
        let slot = &mut slots[k];
        slot.interval_s = shorter.max(0.02);
        slot.opens_bar = opens_bar;
        slot.new_pitch = new_pitch;
        slots[k].opening = if opens_bar { k } else { slots[k - 1].opening };
    }
    place_bars(expected, &mut slots);
    slots
}

/// Says where the bars lie. A bar begins its first note's beats before that note; how long a beat
/// is, the notes themselves tell.
fn place_bars(expected: &[ExpectedNote], slots: &mut [Slot]) {
    let note = |slot: &Slot| &expected[slot.members.start];
    let beat_s = expected.windows(2).find_map(|pair| {
        let (beats, seconds) = (
            pair[1].beat - pair[0].beat,
            pair[1].onset_s - pair[0].onset_s,
        );
        (pair[0].bar == pair[1].bar && beats > 1e-6 && seconds > 1e-6).then(|| seconds / beats)
    });
    let beat_s = beat_s.unwrap_or(LONE_INTERVAL_S);
    let openings: Vec<usize> = (0..slots.len()).filter(|&k| slots[k].opens_bar).collect();
    let start_s = |k: usize| slots[k].at_s - (note(&slots[k]).beat - 1.0) * beat_s;
    let starts_s: Vec<f64> = openings.iter().map(|&k| start_s(k)).collect();
    let numbers: Vec<u32> = openings.iter().map(|&k| slots[k].bar).collect();
    let bars = |k: usize| f64::from(numbers[k + 1].saturating_sub(numbers[k]));
    let usual_s = (0..openings.len().saturating_sub(1))
        .map(|k| (starts_s[k + 1] - starts_s[k]) / bars(k).max(1.0))
        .next_back();
    for (k, &opening) in openings.iter().enumerate() {
        let to = openings.get(k + 1).copied().unwrap_or(slots.len());
        let last = &expected[slots[to - 1].members.start];
        let sounds_to_s = last.onset_s + last.length_s;
        let end_s = match starts_s.get(k + 1) {
            Some(&next_s) => starts_s[k] + (next_s - starts_s[k]) / bars(k).max(1.0),
            None => usual_s.map_or(sounds_to_s, |length_s| starts_s[k] + length_s),
        };
        for slot in &mut slots[opening..to] {
            slot.bar_s = starts_s[k];
            slot.bar_end_s = end_s;
            slot.beat_s = beat_s;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(onset_s: f64, midi: u8, bar: u32, with_previous: bool) -> ExpectedNote {
        ExpectedNote {
            index: 0,
            bar,
            printed_bar: bar,
            beat: 1.0,
            onset_quarters: onset_s * 2.0,
            length_quarters: 1.0,
            onset_s,
            length_s: 0.5,
            midi,
            place: None,
            legato_next: true,
            join: None,
            staccato: false,
            slurred_into: false,
            slid_into: false,
            with_previous,
            swings: false,
            ghost: false,
            accent: false,
            graces: Vec::new(),
        }
    }

    /// Closed form: four notes, of which the last two are one chord.
    #[test]
    fn a_chord_is_one_slot() {
        let line = [
            note(0.0, 40, 1, false),
            note(0.5, 40, 1, false),
            note(2.0, 33, 2, false),
            note(2.0, 40, 2, true),
        ];
        let slots = fold(&line);
        assert_eq!(slots.len(), 3);
        assert_eq!(slots[2].members, 2..4);
        assert_eq!(slots[2].midi, [33, 40]);
        assert_eq!(
            slots
                .iter()
                .map(|slot| (slot.opens_bar, slot.new_pitch))
                .collect::<Vec<_>>(),
            [(true, true), (false, false), (true, false)]
        );
        assert_eq!(slots[1].interval_s, 0.5);
        assert_eq!(slots[2].interval_s, 1.5);
    }
}
