//! Exact alignment of the events of one run with its slots, on a known grid.
//!
//! An edit distance over events: each slot is matched or missed, each event is matched or left
//! out, two neighbouring notes may be swapped. The grid keeps it to a band in time, so that it is
//! linear in the length of the take.
//!
//! # Source
//! Recurrence: Wagner & Fischer (1974), J. ACM 21, 168-173; the swap: Lowrance & Wagner (1975),
//! J. ACM 22, 177-183. Departures: costs in nats, a timing term, cheap ends.

use std::ops::Range;

use crate::compare::lay::costs::{self, Sound};
use crate::compare::lay::grid::Grid;
use crate::compare::lay::slots::Slot;

/// The alignment of one run.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Alignment {
    /// Slot and event of each match, both rising.
    pub pairs: Vec<(usize, usize)>,
    /// Total cost in nats.
    pub cost: f64,
}

#[derive(Clone, Copy, PartialEq)]
enum Step {
    /// Nothing matched yet.
    Outside,
    Missed,
    Left,
    Match,
    /// This slot and the one before were played in each other's place.
    Swap,
}

/// One row of the table: after one more slot, for `low..` events used up.
struct Row {
    low: usize,
    costs: Vec<f64>,
    steps: Vec<Step>,
}

/// The table and what it is made from. Events are counted from the start of `within`.
struct Table<'a> {
    slots: &'a [Slot],
    events: &'a [Sound<'a>],
    grid: &'a Grid,
    /// Cost of leaving out the first k events.
    skipped: Vec<f64>,
    /// The same when nothing is matched before them, or after them.
    outside: Vec<f64>,
    rows: Vec<Row>,
}

/// Aligns the slots `line` with the events `within` on the grid. Slots from `due` on, counted like
/// `line`, need not have been played.
pub(crate) fn align(
    slots: &[Slot],
    line: Range<usize>,
    due: usize,
    events: &[Sound],
    within: Range<usize>,
    grid: &Grid,
) -> Alignment {
    let (slots, events) = (&slots[line.clone()], &events[within.clone()]);
    let (mut skipped, mut outside) = (vec![0.0], vec![0.0]);
    let span = span(slots, grid);
    for (k, event) in events.iter().enumerate() {
        let cost = event.skip;
        let within = span.contains(&event.heard.onset_s);
        let share = if within {
            costs::OUTSIDE_SHARE_WITHIN
        } else {
            costs::OUTSIDE_SHARE
        };
        skipped.push(skipped[k] + cost);
        outside.push(outside[k] + share * cost);
    }
    let rows = Vec::with_capacity(slots.len());
    let mut table = Table {
        slots,
        events,
        grid,
        skipped,
        outside,
        rows,
    };
    for slot in 0..slots.len() {
        table.add_row(slot);
    }
    let mut alignment = table.best(due.saturating_sub(line.start));
    for pair in &mut alignment.pairs {
        pair.0 += line.start;
        pair.1 += within.start;
    }
    alignment
}

/// From where to where in the take the notes of the slots lie, in seconds, with some room.
fn span(slots: &[Slot], grid: &Grid) -> Range<f64> {
    let edge = |slot: Option<&Slot>, way: f64| {
        slot.map_or(0.0, |slot| {
            let room = 0.5 * slot.interval_s * grid.slope_at(slot.at_s).max(0.0);
            grid.time_at(slot.at_s) + way * room
        })
    };
    edge(slots.first(), -1.0)..edge(slots.last(), 1.0)
}

impl Table<'_> {
    /// Cost of having matched nothing after `slots` slots and `events` events.
    fn outside(&self, slots: usize, events: usize) -> f64 {
        costs::MISSED * slots as f64 + self.outside[events]
    }

    /// Cost after the first `slots` slots and `events` events, in or above the band of that row.
    fn cost(&self, slots: usize, events: usize) -> f64 {
        let Some(row) = slots.checked_sub(1).map(|k| &self.rows[k]) else {
            return self.outside(0, events);
        };
        if events < row.low {
            return f64::INFINITY;
        }
        let last = row.costs.len() - 1;
        let offset = events - row.low;
        if offset <= last {
            row.costs[offset]
        } else {
            row.costs[last] + self.skipped[events] - self.skipped[row.low + last]
        }
    }

    fn match_cost(&self, slot: usize, event: usize) -> f64 {
        let pitch = costs::pitch(&self.slots[slot], &self.events[event]);
        pitch
            + costs::weakness(&self.slots[slot], &self.events[event])
            + self.timing_cost(slot, event, pitch)
    }

    /// Cost of the event's time for the slot; infinite out of reach.
    fn timing_cost(&self, slot: usize, event: usize, pitch: f64) -> f64 {
        let target = &self.slots[slot];
        let stretch = self.grid.slope_at(target.at_s).clamp(0.2, 5.0);
        let off = self.events[event].heard.onset_s - self.grid.time_at(target.at_s);
        if off.abs() > costs::reach_at_pitch_s(target, stretch, pitch) {
            return f64::INFINITY;
        }
        costs::timing(off, costs::timing_sd_s(target, stretch))
    }

    /// Cost of a swap that ends with this slot and this event.
    fn swap_cost(&self, slot: usize, event: usize) -> f64 {
        if slot == 0 || event == 0 {
            return f64::INFINITY;
        }
        let crossed = self.slots[slot].new_pitch
            && costs::same_pitch(&self.slots[slot], &self.events[event - 1])
            && costs::same_pitch(&self.slots[slot - 1], &self.events[event]);
        if !crossed {
            return f64::INFINITY;
        }
        costs::SWAP
            + self.timing_cost(slot - 1, event - 1, costs::SWAP)
            + self.timing_cost(slot, event, costs::SWAP)
            + costs::weakness(&self.slots[slot - 1], &self.events[event - 1])
            + costs::weakness(&self.slots[slot], &self.events[event])
    }

    fn add_row(&mut self, slot: usize) {
        let target = &self.slots[slot];
        let stretch = self.grid.slope_at(target.at_s).clamp(0.2, 5.0);
        let place = self.grid.time_at(target.at_s);
        let reach = costs::reach_s(target, stretch);
        let floor = self.rows.last().map_or(0, |row| row.low);
        let low = self
            .events
            .partition_point(|e| e.heard.onset_s < place - reach)
            .max(floor);
        let high = self
            .events
            .partition_point(|e| e.heard.onset_s <= place + reach)
            .max(low);
        let mut row = Row {
            low,
            costs: Vec::new(),
            steps: Vec::new(),
        };
        for used in low..=high {
            let mut best = (self.outside(slot + 1, used), Step::Outside);
            let mut consider = |cost: f64, step: Step| {
                if cost < best.0 {
                    best = (cost, step);
                }
            };
            consider(self.cost(slot, used) + costs::MISSED, Step::Missed);
            if let Some(&left) = row.costs.last() {
                consider(left + self.events[used - 1].skip, Step::Left);
            }
            if used > 0 {
                consider(
                    self.cost(slot, used - 1) + self.match_cost(slot, used - 1),
                    Step::Match,
                );
            }
            if used > 1 && slot > 0 {
                let swap = self.swap_cost(slot, used - 1);
                consider(self.cost(slot - 1, used - 2) + swap, Step::Swap);
            }
            row.costs.push(best.0);
            row.steps.push(best.1);
        }
        self.rows.push(row);
    }

    /// The cheapest alignment. Events after the last match cost what sound outside of the line costs,
    /// and slots behind the first `due` ones may be missed at no cost.
    fn best(&self, due: usize) -> Alignment {
        let all = self.events.len();
        let mut best = (self.outside(due, all), 0, 0);
        for (slot, row) in self.rows.iter().enumerate() {
            for (offset, &cost) in row.costs.iter().enumerate() {
                let used = row.low + offset;
                let rest = costs::MISSED * due.saturating_sub(slot + 1) as f64 + self.outside[all]
                    - self.outside[used];
                if cost + rest < best.0 {
                    best = (cost + rest, slot + 1, used);
                }
            }
        }
        let mut pairs = Vec::new();
        let (mut slots, mut used) = (best.1, best.2);
        while let Some(slot) = slots.checked_sub(1) {
            let row = &self.rows[slot];
            // Above the band of the row events can only have been left out.
            used = used.min(row.low + row.costs.len() - 1);
            match row.steps[used - row.low] {
                Step::Outside => break,
                Step::Missed => slots -= 1,
                Step::Left => used -= 1,
                Step::Match => {
                    pairs.push((slot, used - 1));
                    slots -= 1;
                    used -= 1;
                }
                Step::Swap => {
                    pairs.push((slot, used - 1));
                    pairs.push((slot - 1, used - 2));
                    slots -= 2;
                    used -= 2;
                }
            }
        }
        pairs.reverse();
        Alignment {
            pairs,
            cost: best.0,
        }
    }
}
