//! The bars of a file, from its time signatures.

use super::error::MidiError;
use super::events::Song;
use crate::music::line::length::Length;
use crate::music::line::meter::{Meter, MeterError};

/// Most bars read from a file: thirteen hours of 4/4 at 120.
pub(super) const MAX_BARS: usize = 24_000;

/// A bar to be filled.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slot {
    /// As the player counts; a pick-up is 0.
    pub number: u32,
    pub start: Length,
    pub length: Length,
    pub meter: Meter,
}

impl Slot {
    /// What a pick-up lacks of a full bar.
    pub fn missing(&self) -> Length {
        self.meter.bar_length() - self.length
    }
}

/// The bar in which a position lies; the last one for positions beyond it.
pub(super) fn slot_at(slots: &[Slot], at: Length) -> Option<&Slot> {
    let after = slots.partition_point(|slot| slot.start <= at);
    slots.get(after.saturating_sub(1))
}

/// The meters in order, the last of several at one tick; 4/4 until the first.
fn meters(song: &Song) -> Result<Vec<(u64, Meter)>, MidiError> {
    let mut list: Vec<(u64, Meter)> = vec![(0, Meter::default())];
    for &(tick, beats, power) in &song.meters {
        let unit = 1_u8.checked_shl(u32::from(power)).unwrap_or(0);
        let given = || MeterError {
            given: format!("{beats}/2^{power}"),
        };
        let meter = Meter::new(beats, unit).map_err(|error| MidiError::Meter {
            tick,
            cause: if unit > 0 { error } else { given() },
        })?;
        if let Some(last) = list.last_mut().filter(|last| last.0 == tick) {
            last.1 = meter;
        } else {
            list.push((tick, meter));
        }
    }
    Ok(list)
}

/// Lays bars from the start to at least `end`.
///
/// A first bar that is the only one of its meter and shorter than the next is taken for a
/// pick-up, which is how notation programs save one; it gets the next bar's meter and number 0.
pub(super) fn lay_bars(song: &Song, end: Length) -> Result<Vec<Slot>, MidiError> {
    let meters: Vec<(u64, Length, Meter)> = meters(song)?
        .into_iter()
        .map(|(tick, meter)| (tick, Length::from_ticks(tick, song.per_quarter), meter))
        .collect();
    // Half a tick: what a resolution that divides a bar unevenly may be off.
    let near = Length::from_ticks(1, song.per_quarter.saturating_mul(2));
    let is_at = |a: Length, b: Length| (a - b).units().abs() <= near.units();

    let mut slots: Vec<Slot> = Vec::new();
    let mut start = Length::ZERO;
    let mut current = 0;
    while start < end || slots.is_empty() {
        while meters
            .get(current + 1)
            .is_some_and(|next| next.1 <= start + near)
        {
            current += 1;
        }
        let meter = meters[current].2;
        let length = meter.bar_length();
        let number = slots.len() as u32 + 1;
        if let Some(next) = meters.get(current + 1)
            && next.1 < start + length
            && !is_at(next.1, start + length)
        {
            return Err(MidiError::MeterInsideBar {
                bar: number,
                tick: next.0,
            });
        }
        slots.push(Slot {
            number,
            start,
            length,
            meter,
        });
        if slots.len() > MAX_BARS {
            return Err(MidiError::TooLong { limit: MAX_BARS });
        }
        start += length;
    }
    let next_meter = meters
        .get(1)
        .filter(|next| is_at(next.1, slots[0].length))
        .map(|m| m.2);
    if let Some(meter) = next_meter.filter(|meter| meter.bar_length() > slots[0].length) {
        slots[0].meter = meter;
        for slot in &mut slots {
            slot.number -= 1;
        }
    }
    Ok(slots)
}
