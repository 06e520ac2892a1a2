//! How unevenly the eighths were played.
//!
//! Swung eighths lie behind the middle of their beats, all by about the same. Held against a straight
//! grid half of a line would be early and half of it late; so where the off-beats as a class lie
//! apart from the rest, their places are moved by that much and the take is laid again.
//!
//! # Source
//! The ratio of the first to the second eighth of a beat as the measure: Friberg & Sundström (2002),
//! Music Perception 19, 333-349 (3.5 : 1 at slow tempi down to 1 : 1 at fast ones).

use crate::compare::judgement::PlayedSwing;
use crate::compare::lay::passes::Pass;
use crate::compare::lay::slots::Slot;
use crate::hearing::events::HeardNote;
use crate::units::{SPREAD_OF_MEDIAN, median};

/// Fewest off-beats that tell a habit.
pub(crate) const OFF_BEATS: usize = 6;
/// Off-beats that lie closer to their places than this, as a share of a beat, are where they are
/// written: a ratio of 1.13 : 1. Raising it leaves lightly swung eighths late.
const MOVED_SHARE: f64 = 0.03;
/// A habit is steadier than this share of what it moves the notes by.
const STEADY_SHARE: f64 = 0.6;

/// The swing that was played, and by how much, in written seconds, it lies off the written places;
/// `None` of too few off-beats. `beat_s` is a quarter of the line, in written seconds.
pub(crate) fn measure(
    slots: &[Slot],
    beat_s: f64,
    events: &[HeardNote],
    passes: &[Pass],
) -> Option<(PlayedSwing, f64)> {
    let (mut on, mut off) = (Vec::new(), Vec::new());
    for pass in passes.iter().filter(|pass| pass.recognised) {
        for stretch in &pass.stretches {
            let notes: Vec<(f64, bool, f64)> = stretch
                .pairs
                .iter()
                .map(|&(slot, event)| {
                    let slot = &slots[pass.slots.start + slot];
                    let onset_s = events[pass.events.start + event].onset_s;
                    (slot.at_s, slot.swings, onset_s)
                })
                .collect();
            let Some((start_s, slope)) = pulse_apart(&notes) else {
                continue;
            };
            for (at_s, swings, onset_s) in notes {
                let late_s = (onset_s - start_s) / slope - at_s;
                if swings {
                    off.push(late_s);
                } else {
                    on.push(late_s);
                }
            }
        }
    }
    if off.len() < OFF_BEATS || on.is_empty() {
        return None;
    }
    let slot = slots.iter().find(|slot| slot.swings)?;
    let moved_s = median(&mut off)? - median(&mut on)?;
    let middle_s = median(&mut off)?;
    let mut apart: Vec<f64> = off.iter().map(|late_s| (late_s - middle_s).abs()).collect();
    let spread_s = SPREAD_OF_MEDIAN * median(&mut apart)?;
    let written = ((slot.at_s - slot.bar_s) / beat_s).rem_euclid(1.0);
    let place = (written + moved_s / beat_s).clamp(0.3, 0.9);
    let ratio = |place: f64| place / (1.0 - place);
    let steady = spread_s < STEADY_SHARE * moved_s.abs();
    let moves = moved_s.abs() > MOVED_SHARE * beat_s && steady;
    Some((
        PlayedSwing {
            ratio: ratio(place),
            spread: spread_s / beat_s / (1.0 - place).powi(2),
            notes: off.len(),
            written: ratio(written),
        },
        if moves { moved_s } else { 0.0 },
    ))
}

/// The pulse of a stretch whose off-beats may lie apart from the rest: where the line begins, in
/// seconds, and played seconds per written second, by least squares with both classes each at a
/// place of its own. `None` of fewer than two notes in each.
fn pulse_apart(notes: &[(f64, bool, f64)]) -> Option<(f64, f64)> {
    let mean = |swings: bool, of: fn(&(f64, bool, f64)) -> f64| {
        let class: Vec<f64> = notes.iter().filter(|n| n.1 == swings).map(of).collect();
        (class.len() > 1).then(|| class.iter().sum::<f64>() / class.len() as f64)
    };
    let at = [mean(false, |n| n.0)?, mean(true, |n| n.0)?];
    let t = [mean(false, |n| n.2)?, mean(true, |n| n.2)?];
    let (mut product, mut square) = (0.0, 0.0);
    for &(at_s, swings, onset_s) in notes {
        let class = usize::from(swings);
        product += (at_s - at[class]) * (onset_s - t[class]);
        square += (at_s - at[class]).powi(2);
    }
    let slope = product / square;
    (slope.is_finite() && slope > 0.0).then(|| (t[0] - slope * at[0], slope))
}

/// The slots with the places of the off-beats moved by some written seconds.
pub(crate) fn moved(slots: &[Slot], moved_s: f64) -> Vec<Slot> {
    let mut slots = slots.to_vec();
    for slot in slots.iter_mut().filter(|slot| slot.swings) {
        slot.at_s += moved_s;
    }
    slots
}
