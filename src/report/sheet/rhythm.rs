//! How lengths are written: note values, dots, tuplets, and which notes share a beam.

use std::ops::Range;

use crate::music::line::{Length, Meter, UNITS_PER_QUARTER};

/// A written length: a note value with its dots, maybe one of a tuplet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Value {
    /// 1 for a whole note, 2 for a half, 4 for a quarter, and so on to 64.
    pub of_whole: u8,
    /// Dots behind it, at most two.
    pub dots: u8,
    /// `(3, 2)`: three in the time of two; `None` outside of tuplets.
    pub tuplet: Option<(u8, u8)>,
}

impl Value {
    /// Flags on a stem of its own: one for an eighth.
    pub fn flags(self) -> u8 {
        (self.of_whole.max(4).ilog2() - 2) as u8
    }
}

/// Tuplets that are looked for, the commonest first. Common practice, no source.
const TUPLETS: [(u8, u8); 7] = [(3, 2), (5, 4), (6, 4), (7, 4), (9, 8), (11, 8), (13, 8)];

/// The value that is exactly as long; `None` where no single note is (five eighths, say).
pub(super) fn value(length: Length) -> Option<Value> {
    let plain = [(1, 1)];
    for (at, &(many, time)) in plain.iter().chain(&TUPLETS).enumerate() {
        let units = length.units().checked_mul(i64::from(many))?;
        if units % i64::from(time) != 0 {
            continue;
        }
        let units = units / i64::from(time);
        for of_whole in [1_u8, 2, 4, 8, 16, 32, 64] {
            let base = UNITS_PER_QUARTER * 4 / i64::from(of_whole);
            for dots in 0..=2_u8 {
                // Each dot adds half of what came before.
                if units == base * 2 - (base >> dots) {
                    return Some(Value {
                        of_whole,
                        dots,
                        tuplet: (at > 0).then_some((many, time)),
                    });
                }
            }
        }
    }
    None
}

/// What stands in a bar, as far as beams care.
#[derive(Clone, Copy, Debug)]
pub(super) struct Entry {
    /// From the start of a full bar.
    pub at: Length,
    pub length: Length,
    pub value: Option<Value>,
    pub is_rest: bool,
}

/// The length that beams are grouped by: a quarter, three eighths in 6/8, 9/8 and 12/8.
fn beam_length(meter: Meter) -> Length {
    let beat = meter.beat_length();
    if meter.unit() >= 8 && meter.beats().is_multiple_of(3) {
        Length::from_units(beat.units() * 3)
    } else if meter.unit() != 4 {
        // Also 7/8, whose threes nobody wrote down.
        Length::QUARTER
    } else {
        beat
    }
}

/// Runs of notes under one beam, two and more.
pub(super) fn beams(entries: &[Entry], meter: Meter) -> Vec<Range<usize>> {
    let group = beam_length(meter).units().max(1);
    let mut runs: Vec<Range<usize>> = Vec::new();
    let mut run: Option<(usize, i64)> = None;
    for (index, entry) in entries.iter().enumerate() {
        let beat = entry.at.units().div_euclid(group);
        let beamed = !entry.is_rest && entry.value.is_some_and(|value| value.flags() > 0);
        match run {
            Some((_, same)) if beamed && same == beat => {}
            _ => {
                close(&mut runs, run, index);
                run = beamed.then_some((index, beat));
            }
        }
    }
    close(&mut runs, run, entries.len());
    runs
}

fn close(runs: &mut Vec<Range<usize>>, run: Option<(usize, i64)>, end: usize) {
    if let Some((start, _)) = run
        && end - start > 1
    {
        runs.push(start..end);
    }
}

/// Runs of notes and rests that make up a tuplet, with how many it counts.
pub(super) fn tuplets(entries: &[Entry]) -> Vec<(Range<usize>, u8)> {
    let mut runs = Vec::new();
    let mut start: Option<(usize, (u8, u8), Length)> = None;
    for (index, entry) in entries.iter().enumerate() {
        let Some(tuplet) = entry.value.and_then(|value| value.tuplet) else {
            if let Some((from, (many, _), _)) = start.take() {
                runs.push((from..index, many));
            }
            continue;
        };
        let (from, sum) = match start.take() {
            Some((from, same, sum)) if same == tuplet => (from, sum),
            Some((from, (many, _), _)) => {
                runs.push((from..index, many));
                (index, Length::ZERO)
            }
            None => (index, Length::ZERO),
        };
        let sum = sum + entry.length;
        // Whole again in halves, quarters, eighths: the tuplet is full.
        let (_, parts) = sum.fraction_of_whole();
        if parts.unsigned_abs().is_power_of_two() {
            runs.push((from..index + 1, tuplet.0));
        } else {
            start = Some((from, tuplet, sum));
        }
    }
    if let Some((from, (many, _), _)) = start {
        runs.push((from..entries.len(), many));
    }
    runs
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entries(lengths: &[(u64, u64)]) -> Vec<Entry> {
        let mut at = Length::ZERO;
        lengths
            .iter()
            .map(|&(over, under)| {
                let length = Length::of_whole(over, under).unwrap();
                let entry = Entry {
                    at,
                    length,
                    value: value(length),
                    is_rest: false,
                };
                at += length;
                entry
            })
            .collect()
    }

    #[test]
    fn lengths_are_written_as_values() {
        // Closed form: a dot adds half, a triplet takes two thirds.
        let of = |over, under| {
            value(Length::of_whole(over, under).unwrap())
                .map(|value| (value.of_whole, value.dots, value.tuplet))
        };
        assert_eq!(of(1, 1), Some((1, 0, None)));
        assert_eq!(of(3, 8), Some((4, 1, None)));
        assert_eq!(of(7, 16), Some((4, 2, None)));
        assert_eq!(of(1, 12), Some((8, 0, Some((3, 2)))));
        assert_eq!(of(1, 6), Some((4, 0, Some((3, 2)))));
        assert_eq!(of(1, 20), Some((16, 0, Some((5, 4)))));
        assert_eq!(of(5, 8), None);
        assert_eq!(value(Length::of_whole(1, 16).unwrap()).unwrap().flags(), 2);
        assert_eq!(value(Length::QUARTER).unwrap().flags(), 0);
    }

    #[test]
    fn beams_hold_the_notes_of_a_beat() {
        // Common practice, no source.
        let eighths = entries(&[(1, 8); 8]);
        assert_eq!(beams(&eighths, Meter::default()), [0..2, 2..4, 4..6, 6..8]);
        let seven = Meter::new(7, 8).unwrap();
        assert_eq!(beams(&entries(&[(1, 8); 7]), seven), [0..2, 2..4, 4..6]);
        let six = Meter::new(6, 8).unwrap();
        assert_eq!(beams(&entries(&[(1, 8); 6]), six), [0..3, 3..6]);
        let dotted = entries(&[(3, 16), (1, 16), (1, 8), (1, 4), (1, 8), (1, 8), (1, 8)]);
        assert_eq!(beams(&dotted, Meter::default()), [0..2, 5..7]);
        let mut rest = entries(&[(1, 8); 6]);
        rest[1].is_rest = true;
        assert_eq!(beams(&rest, Meter::default()), [2..4, 4..6]);
    }

    #[test]
    fn tuplets_end_where_the_beat_is_whole() {
        let two = entries(&[(1, 12), (1, 12), (1, 12), (1, 6), (1, 12), (1, 4)]);
        assert_eq!(tuplets(&two), [(0..3, 3), (3..5, 3)]);
        assert_eq!(tuplets(&entries(&[(1, 6), (1, 6), (1, 6)]))[0].0, 0..3);
        assert_eq!(tuplets(&entries(&[(1, 8), (1, 8)])), []);
    }
}
