//! Slots that are alike: what an event costs at one of them it costs at all, so that it is priced once
//! for each kind and not for each slot of a long line.

use std::collections::HashMap;

use crate::compare::lay::costs::{self, Sound};
use crate::compare::lay::course::pitch;
use crate::compare::lay::slots::Slot;

/// What taking an event for a slot of some kind costs, in nats, and whether it has its pitch.
#[derive(Clone, Copy)]
pub(super) struct Price {
    pub pitch: f64,
    pub weakness: f64,
    pub same_pitch: bool,
}

/// The kinds of a line's slots, and the prices of the newest event for each.
pub(super) struct Kinds {
    /// The kind of each slot.
    of: Vec<usize>,
    /// One price for each kind, of the event beside it.
    prices: Vec<Option<(usize, Price)>>,
}

impl Kinds {
    /// Tells slots apart by all that `costs` asks of them besides their time.
    pub fn new(slots: &[Slot]) -> Self {
        let mut known = HashMap::new();
        let of: Vec<usize> = slots
            .iter()
            .map(|slot| {
                let next = known.len();
                *known
                    .entry((&slot.midi, slot.ghost, slot.new_pitch))
                    .or_insert(next)
            })
            .collect();
        let prices = vec![None; known.len()];
        Self { of, prices }
    }

    /// The kind of a slot.
    pub fn of(&self, slot: usize) -> usize {
        self.of[slot]
    }

    /// What it costs to take the event of this index for this slot, or for any other of its kind.
    pub fn price(&mut self, slots: &[Slot], slot: usize, event: usize, sound: &Sound) -> Price {
        let kept = &mut self.prices[self.of[slot]];
        if let Some((of, price)) = *kept
            && of == event
        {
            return price;
        }
        let target = &slots[slot];
        let price = Price {
            pitch: pitch(target, sound),
            weakness: costs::weakness(target, sound),
            same_pitch: costs::same_pitch(target, sound),
        };
        *kept = Some((event, price));
        price
    }
}

/// Gathers slots under what they have in common, each group in order of the line and the groups in
/// order of their first slots.
pub(super) fn grouped<K: Copy + Eq + std::hash::Hash>(
    slots: impl Iterator<Item = (K, usize)>,
) -> Vec<(K, Vec<usize>)> {
    let mut places = HashMap::new();
    let mut groups: Vec<(K, Vec<usize>)> = Vec::new();
    for (key, slot) in slots {
        let place = *places.entry(key).or_insert(groups.len());
        if place == groups.len() {
            groups.push((key, Vec::new()));
        }
        groups[place].1.push(slot);
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_keep_the_order_of_the_line() {
        let slots = [(7, 0), (3, 1), (7, 2), (3, 5), (1, 6)];
        assert_eq!(
            grouped(slots.into_iter()),
            [(7, vec![0, 2]), (3, vec![1, 5]), (1, vec![6])]
        );
    }
}
