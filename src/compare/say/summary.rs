//! About the take as a whole: whether it is that line at all, and its time.

use crate::compare::judge::extras;
use crate::compare::judge::scene::Scene;
use crate::compare::judgement::{Agreement, ExtraNote, JudgedNote, Timing, TimingMode, Verdict};
use crate::compare::lay::passes::Pass;
use crate::compare::lay::slots::Slot;
use crate::compare::median;

/// Share of right notes, of those written and of those heard over the stretch that was played,
/// from which a line is recognised. Another line in the same key and rhythm reaches a twentieth
/// by chance, running scales up to 0.59; a take with a third of errors keeps two thirds.
const RECOGNISED_SHARE: f64 = 0.6;
/// The same when a smaller share of the line was played right: where only a part fits, it must fit
/// better, because a part that fits somewhere is easily found by chance.
const PART_SHARE: f64 = 0.75;
/// The stretch must hold this share of the line as right notes, ...
const RECOGNISED_OF_LINE: f64 = 0.25;
/// ... or this many of them.
const RECOGNISED_NOTES: usize = 24;
/// Right notes that a jump is worth: running scales fit for half a bar after a jump by chance.
const RIGHTS_FOR_A_JUMP: f64 = 6.0;

/// Whether the take can be that line.
pub(crate) fn agreement(scene: &Scene, notes: &[JudgedNote], extras: &[ExtraNote]) -> Agreement {
    if notes.is_empty() {
        return Agreement::Recognised;
    }
    if scene.laid.passes.is_empty() && !scene.events.iter().any(|event| event.evidence >= 0.0) {
        return Agreement::NothingHeard(scene.settings.loudest_dbfs);
    }
    let proved = |note: &&JudgedNote| {
        note.verdict == Verdict::Right && note.heard.as_ref().is_some_and(|h| h.midi.is_some())
    };
    // Members of a chord that carry no pitch stand or fall with the one that does: count slots.
    let right = notes.iter().filter(proved).count() as f64;
    let of_line = right / scene.slots.len() as f64;
    let played = scene.laid.scored.iter().flatten().count();
    let needed = if of_line >= RECOGNISED_SHARE {
        RECOGNISED_SHARE
    } else {
        PART_SHARE
    };
    let stretch = right / played.max(1) as f64 >= needed;
    let heard = share_of_heard(scene, extras.len()) >= needed;
    let enough = of_line >= RECOGNISED_OF_LINE || right >= RECOGNISED_NOTES as f64;
    if stretch && heard && enough {
        Agreement::Recognised
    } else {
        Agreement::AnotherLine(of_line)
    }
}

/// Share of the clear notes, from where the grid has the first note of the line to where it has
/// the last, that have the written
/// pitch. Each jump takes some off, because a jump is a chance to find what fits.
fn share_of_heard(scene: &Scene, extras: usize) -> f64 {
    let passes = &scene.laid.passes;
    let pairs = || passes.iter().flat_map(|pass| &pass.pairs);
    let right = pairs()
        .filter(|&&(slot, event)| {
            scene
                .midi(slot, scene.events[event])
                .is_some_and(|(midi, _)| {
                    scene.slots[slot]
                        .midi
                        .iter()
                        .any(|&m| (midi - f64::from(m)).abs() < 0.7)
                })
        })
        .count() as f64;
    let from_s = edge_s(scene, passes.first(), scene.slots.first(), false);
    let to_s = edge_s(scene, passes.last(), scene.slots.last(), true);
    let clear = (0..scene.events.len())
        .filter(|&k| {
            let within = (from_s..=to_s).contains(&scene.events[k].onset_s);
            scene.matched[k] || (within && extras::is_pluck(scene.events[k]))
        })
        .count()
        .max(pairs().count() + extras);
    let jumps = passes.len().saturating_sub(1) as f64;
    (right - RIGHTS_FOR_A_JUMP * jumps) / clear.max(1) as f64
}

/// Where in the take a slot lies on the grid of a pass, in seconds, with some room outwards.
fn edge_s(scene: &Scene, pass: Option<&Pass>, slot: Option<&Slot>, last: bool) -> f64 {
    let Some((pass, slot)) = pass.zip(slot) else {
        return 0.0;
    };
    let room_s = 0.5 * scene.quarter_s;
    pass.grid.time_at(slot.at_s) + if last { room_s } else { -room_s }
}

/// The grid of the pass that most notes are scored in, and the spread about it.
pub(crate) fn timing(scene: &Scene, notes: &[JudgedNote]) -> Timing {
    let mode = scene.settings.mode;
    let mut timing = Timing {
        offset_s: None,
        tempo_bpm: None,
        tempo_from_to_bpm: None,
        mode,
        spread_ms: None,
        mean_ms: None,
    };
    let Some(pass) = main_pass(scene) else {
        return timing;
    };
    let offset_s = pass.grid.time_at(0.0);
    timing.offset_s = Some(offset_s);
    let (first, last) = (pass.pairs[0].0, pass.pairs[pass.pairs.len() - 1].0);
    timing.tempo_bpm = tempo_between(scene, pass, first, last);
    if pass.grid.moves() {
        timing.tempo_from_to_bpm =
            written_bpm(scene, first)
                .zip(written_bpm(scene, last))
                .map(|(from, to)| {
                    let slope = |slot: usize| pass.grid.slope_at(scene.slots[slot].at_s);
                    (from / slope(first), to / slope(last))
                });
    }
    let mut off: Vec<f64> = notes
        .iter()
        .filter_map(|note| note.heard.as_ref()?.timing_ms)
        .collect();
    timing.spread_ms = median(&mut off).and_then(|middle| {
        let mut sizes: Vec<f64> = off.iter().map(|ms| (ms - middle).abs()).collect();
        Some(1.4826 * median(&mut sizes)?)
    });
    timing.mean_ms = match mode {
        TimingMode::Free => Some(0.0),
        TimingMode::Click => scene
            .settings
            .click_at_s
            .map(|click_s| 1e3 * (offset_s - click_s)),
    };
    timing
}

/// The pass in which most slots are scored.
fn main_pass<'a>(scene: &Scene<'a>) -> Option<&'a Pass> {
    let mut counts = vec![0_usize; scene.laid.passes.len()];
    for scored in scene.laid.scored.iter().flatten() {
        counts[scored.pass] += 1;
    }
    let most = (0..counts.len()).max_by_key(|&k| counts[k])?;
    Some(&scene.laid.passes[most])
}

/// Mean played tempo between two slots, in quarters per minute.
fn tempo_between(scene: &Scene, pass: &Pass, first: usize, last: usize) -> Option<f64> {
    let time = |slot: usize| pass.grid.time_at(scene.slots[slot].at_s);
    if first == last {
        let slope = pass.grid.slope_at(scene.slots[first].at_s);
        return Some(60.0 / (scene.quarter_s * slope)).filter(|bpm| bpm.is_finite());
    }
    let quarters = quarters(scene, last) - quarters(scene, first);
    Some(60.0 * quarters / (time(last) - time(first))).filter(|bpm| bpm.is_finite() && *bpm > 0.0)
}

fn quarters(scene: &Scene, slot: usize) -> f64 {
    scene.expected[scene.slots[slot].members.start].onset_quarters
}

/// The written tempo about a slot, in quarters per minute.
fn written_bpm(scene: &Scene, slot: usize) -> Option<f64> {
    let (a, b) = if slot + 1 < scene.slots.len() {
        (slot, slot + 1)
    } else {
        (slot.checked_sub(1)?, slot)
    };
    let seconds = scene.slots[b].at_s - scene.slots[a].at_s;
    Some(60.0 * (quarters(scene, b) - quarters(scene, a)) / seconds).filter(|bpm| bpm.is_finite())
}
