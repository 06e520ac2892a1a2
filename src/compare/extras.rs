//! Heard notes that nobody wrote: unmatched events that are clearly plucked notes and lie within
//! the span of the line. Touches, squeaks, damping noises and ripples are none.

use crate::compare::costs;
use crate::compare::judgement::ExtraNote;
use crate::compare::passes::Pass;
use crate::compare::scene::Scene;
use crate::hearing::events::HeardNote;

/// Evidence from which an unmatched event is believed to be a plucked note, in nats. Extras are
/// rare, so that the evidence must be clear; raising it forgives soft accidental plucks.
const EXTRA_EVIDENCE: f64 = 2.0;
/// An extra softer than this below the middle level of the take changes nothing, in decibels.
const EXTRA_BELOW_DB: f64 = 20.0;
/// An event this close to a matched onset is the same pluck heard twice, in seconds.
const SAME_PLUCK_S: f64 = 0.040;
/// How long before the first and after the last matched note an extra belongs to the line, in
/// written quarter notes: a false start is one, tuning up is none.
const AROUND_QUARTERS: f64 = 0.5;

/// True when an event is clearly a plucked note.
pub(crate) fn is_pluck(event: &HeardNote) -> bool {
    event.evidence >= EXTRA_EVIDENCE && !is_noise_over_note(event)
}

/// A noise over a note that rings on: the string's own low partials were left alone, and the same
/// note sounds after it as before. A finger that slides along the string is heard like that.
fn is_noise_over_note(event: &HeardNote) -> bool {
    let f = &event.features;
    f.error_rise_db[0] < UNTOUCHED_DB
        && f.turn < TURNED
        && f.pitch_step_cents < SAME_NOTE_CENTS
        && f.level_rise_db < UNTOUCHED_LEVEL_DB
}

/// A soft pluck on another string while the note before rings on: what it added must be at least
/// this share of the sound, ...
const ADDED_SHARE: f64 = 0.10;
/// ... one series must explain it so well, ...
const ADDED_SCORE: f64 = 0.15;
/// ... it must lie within this distance of a semitone, ...
const ADDED_OFF_SEMITONE: f64 = 0.25;
/// (or this one, when the series explains it so well), ...
const ADDED_SURE_OFF_SEMITONE: f64 = 0.45;
const ADDED_SURE_SCORE: f64 = 0.5;
/// ... stand out by so many decibels, and have this much evidence otherwise.
const ADDED_NOVELTY_DB: f64 = 1.0;
const ADDED_EVIDENCE: f64 = -2.5;

/// The pitch of an event that added a note of its own to the one that rings on; `None` when it
/// did not.
fn added(scene: &Scene, event: usize) -> Option<f64> {
    let heard = scene.events[event];
    let f = &heard.features;
    let before = (0..event).rev().find(|&k| scene.matched[k])?;
    let ringing = scene.events[before].pitch?.midi;
    let fresh = f.added_midi > 0.0
        && costs::HARMONICS
            .iter()
            .chain(&[-12.0, 28.0, 31.0])
            .all(|h| (f.added_midi - ringing - h).abs() > 0.6);
    let off = if f.added_score >= ADDED_SURE_SCORE {
        ADDED_SURE_OFF_SEMITONE
    } else {
        ADDED_OFF_SEMITONE
    };
    let clear = f.fresh_share >= ADDED_SHARE
        && f.added_score >= ADDED_SCORE
        && (f.added_midi - f.added_midi.round()).abs() < off
        && heard.novelty_db >= ADDED_NOVELTY_DB
        && heard.evidence >= ADDED_EVIDENCE;
    (fresh && clear).then_some(f.added_midi)
}

/// A low prediction error that rises less than this has not been touched, in decibels ...
const UNTOUCHED_DB: f64 = 3.0;
/// ... nor has a level that rises less than this.
const UNTOUCHED_LEVEL_DB: f64 = 3.0;
/// From here on a turn of pitch is one.
const TURNED: f64 = 0.85;
/// Pitches this close are one note, in cents.
const SAME_NOTE_CENTS: f64 = 50.0;

/// The notes nobody wrote, in order of time.
pub(crate) fn find(scene: &Scene) -> Vec<ExtraNote> {
    let floor_dbfs = middle_level(scene) - EXTRA_BELOW_DB;
    let mut extras = Vec::new();
    for (k, event) in scene.events.iter().enumerate() {
        let added = added(scene, k);
        let clear = (is_pluck(event) || added.is_some())
            && !scene.matched[k]
            && event.level_dbfs >= floor_dbfs;
        if !clear || same_pluck(scene, k) {
            continue;
        }
        if let Some(after) = place(scene, k) {
            extras.push(ExtraNote {
                onset_s: event.onset_s,
                midi: added
                    .or(event.pitch.map(|p| p.midi))
                    .filter(|midi| midi.is_finite()),
                release_s: event.release_s,
                level_dbfs: event.level_dbfs,
                after_index: after
                    .map(|slot| scene.expected[scene.slots[slot].members.start].index),
            });
        }
    }
    extras
}

/// The slot an event follows, `Some(None)` just before the line, `None` when it lies outside of
/// what is scored.
fn place(scene: &Scene, event: usize) -> Option<Option<usize>> {
    let passes = &scene.laid.passes;
    for (k, pass) in passes.iter().enumerate() {
        let (first, last) = (*pass.pairs.first()?, *pass.pairs.last()?);
        if (first.1..=last.1).contains(&event) {
            let before = pass.pairs.partition_point(|pair| pair.1 < event);
            let slot = pass.pairs[before.checked_sub(1)?].0;
            return scored_in(scene, slot, k).then_some(Some(slot));
        }
    }
    let onset_s = scene.events[event].onset_s;
    let first = passes.first()?;
    let around = |pass: &Pass, slot: usize| {
        AROUND_QUARTERS * scene.quarter_s * pass.grid.slope_at(scene.slots[slot].at_s)
    };
    let &(slot, opening) = first.pairs.first()?;
    let lead_s = scene.events[opening].onset_s - onset_s;
    if lead_s > 0.0 {
        return (lead_s <= around(first, slot) && scored_in(scene, slot, 0)).then_some(None);
    }
    let last = passes.last()?;
    let &(slot, closing) = last.pairs.last()?;
    let end = scene.slots[slot]
        .members
        .clone()
        .map(|m| scene.expected[m].length_s);
    let length_s = end.fold(0.0, f64::max) * last.grid.slope_at(scene.slots[slot].at_s);
    let tail_s = onset_s - scene.events[closing].onset_s;
    (tail_s > 0.0
        && tail_s <= length_s + around(last, slot)
        && scored_in(scene, slot, passes.len() - 1))
    .then_some(Some(slot))
}

fn scored_in(scene: &Scene, slot: usize, pass: usize) -> bool {
    scene.laid.scored[slot].is_some_and(|scored| scored.pass == pass)
}

fn same_pluck(scene: &Scene, event: usize) -> bool {
    let onset_s = scene.events[event].onset_s;
    let near = |k: &usize| (scene.events[*k].onset_s - onset_s).abs() < SAME_PLUCK_S;
    let before = (0..event).rev().take_while(near).any(|k| scene.matched[k]);
    let after = (event + 1..scene.events.len())
        .take_while(near)
        .any(|k| scene.matched[k]);
    before || after
}

/// Median level of the matched events in decibels relative to full scale.
fn middle_level(scene: &Scene) -> f64 {
    let mut levels: Vec<f64> = (0..scene.events.len())
        .filter(|&k| scene.matched[k] && scene.events[k].level_dbfs.is_finite())
        .map(|k| scene.events[k].level_dbfs)
        .collect();
    super::median(&mut levels).unwrap_or(f64::NEG_INFINITY)
}
