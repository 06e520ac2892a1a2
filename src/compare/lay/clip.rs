//! The part of a pass that lies within the bars asked for.

use crate::compare::lay::passes::{Pass, Scored, Stretch};
use crate::compare::lay::slots::Slot;

/// The part of a pass that lies within some bars; `None` when nothing of them was played.
pub(crate) fn clip(pass: &Pass, slots: &[Slot], bars: (u32, u32)) -> Option<Pass> {
    let own = &slots[pass.slots.clone()];
    let inside = |slot: &Slot| (bars.0..=bars.1).contains(&slot.bar);
    let from = own.iter().position(inside)?;
    let to = own.iter().rposition(inside)? + 1;
    if (from, to) == (0, own.len()) {
        return Some(pass.clone());
    }
    let pairs = || pass.stretches.iter().flat_map(|stretch| &stretch.pairs);
    let kept = || pairs().filter(|pair| (from..to).contains(&pair.0));
    let first = kept().next()?.1;
    let start = if from == 0 { 0 } else { first };
    let end = pairs()
        .find(|pair| pair.0 >= to)
        .map_or(pass.events.len(), |pair| pair.1);
    let stretches: Vec<Stretch> = pass
        .stretches
        .iter()
        .map(|stretch| Stretch {
            pairs: stretch
                .pairs
                .iter()
                .filter(|pair| (from..to).contains(&pair.0))
                .map(|&(slot, event)| (slot - from, event - start))
                .collect(),
            grid: stretch.grid.clone(),
            from_slot: stretch.from_slot.saturating_sub(from),
        })
        .filter(|stretch| !stretch.pairs.is_empty())
        .collect();
    Some(Pass {
        slots: pass.slots.start + from..pass.slots.start + to,
        events: pass.events.start + start..pass.events.start + end,
        scored: pass.scored[from..to]
            .iter()
            .map(|scored| {
                let scored = (*scored)?;
                let grid = &pass.stretches[scored.stretch].grid;
                Some(Scored {
                    stretch: stretches.iter().position(|s| s.grid == *grid)?,
                    event: scored.event.and_then(|event| event.checked_sub(start)),
                })
            })
            .collect(),
        stretches,
        complete: pass.complete || to < own.len(),
        ..pass.clone()
    })
}
