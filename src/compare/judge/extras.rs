//! Heard notes that nobody wrote: unmatched events that are clearly plucked notes and lie within
//! the span of the line. Touches, squeaks, damping noises and ripples are none.

use crate::compare::judge::scene::Scene;
use crate::compare::judgement::ExtraNote;
use crate::compare::lay::ends::is_pluck;
use crate::compare::lay::passes::Stretch;
use crate::hearing::beside::{self, Around};
use crate::hearing::events::HeardNote;

/// An unmatched event is told as an extra from this on, in nats: extras are rare, so that it must be
/// clearly more likely than not. Raising it forgives soft accidental plucks.
const EXTRA_NATS: f64 = 0.25;
/// A series that explains this much of what is new tells its pitch, 0 to 1; the rest is noise.
const SERIES_SCORE: f64 = 0.15;
/// An event this close to a matched onset is the same pluck heard twice, in seconds.
const SAME_PLUCK_S: f64 = 0.040;
/// How long before the first note of a pass an extra belongs to it, in written quarter notes: a grace
/// is one, tuning up is none. Behind the last note it is as long as that note.
const AROUND_QUARTERS: f64 = 0.5;

/// What comes this soon before a note of the same pitch, in semitones, belongs to it.
const COMING_S: f64 = 0.1;
const SAME_SEMITONES: f64 = 0.7;

/// A grace note is heard no longer before its note than this, in seconds: longer, it is a note of its
/// own. Common practice, no source. Raised, more accidental plucks are taken for grace notes.
const GRACE_S: f64 = 0.2;

/// Whether an event is a grace note that the line writes before the note that follows it.
fn is_grace(scene: &Scene, event: usize) -> bool {
    let heard = scene.events[event];
    let next = (event + 1..scene.events.len()).find(|&k| scene.matched[k]);
    let slot = next
        .filter(|&k| scene.events[k].onset_s - heard.onset_s < GRACE_S)
        .and_then(|k| {
            let pairs = scene
                .pass
                .stretches
                .iter()
                .flat_map(|stretch| &stretch.pairs);
            pairs.copied().find(|pair| pair.1 == k).map(|pair| pair.0)
        });
    let Some(slot) = slot else { return false };
    let note = &scene.expected[scene.slots[slot].members.start];
    let near = |&grace: &u8| {
        heard
            .pitch
            .is_none_or(|pitch| (pitch.midi - f64::from(grace)).abs() < SAME_SEMITONES)
    };
    note.graces.iter().any(near)
}

/// What is known around an event from the notes that surround it: those of the line, and the last
/// that was told as an extra.
fn around(scene: &Scene, event: usize, told: Option<usize>) -> Around {
    let onset_s = scene.events[event].onset_s;
    let before = (0..event).rev().find(|&k| scene.matched[k]).max(told);
    let next = (event + 1..scene.events.len()).find(|&k| scene.matched[k]);
    let open = scene.settings.open_midi.iter().min();
    Around {
        ringing_midi: before.and_then(|k| scene.events[k].pitch).map(|p| p.midi),
        since_s: before.map(|k| onset_s - scene.events[k].onset_s),
        until_s: next.map(|k| scene.events[k].onset_s - onset_s),
        lowest_midi: open.map_or(f64::NEG_INFINITY, |&midi| f64::from(midi)),
        usual_dbfs: scene.habits.level_dbfs,
    }
}

/// The pitch of an accidental pluck: its own where that is another note than the one that rings,
/// else that of what it added, where one series explains it.
fn pitch(event: &HeardNote, around: &Around) -> Option<f64> {
    let own = event
        .pitch
        .map(|pitch| pitch.midi)
        .filter(|m| m.is_finite());
    let f = &event.features;
    let told = |midi: f64, score: f64| {
        (score >= SERIES_SCORE && beside::is_other(midi, around)).then_some(midi)
    };
    own.filter(|&midi| beside::is_other(midi, around))
        .or_else(|| told(f.added_midi, f.added_score))
        .or_else(|| told(f.gained_midi, f.gained_score))
        .or(own)
}

/// The notes nobody wrote, in order of time.
pub(crate) fn find(scene: &Scene) -> Vec<ExtraNote> {
    let mut extras = Vec::new();
    let mut told = None;
    for (k, event) in scene.events.iter().enumerate() {
        if scene.matched[k] || same_pluck(scene, k) || is_grace(scene, k) {
            continue;
        }
        let around = around(scene, k, told);
        if beside::nats(event, &around) < EXTRA_NATS {
            continue;
        }
        let midi = pitch(event, &around);
        // What was found faintly twice is one pluck.
        let again = extras.last().is_some_and(|last: &ExtraNote| {
            let same = last
                .midi
                .zip(midi)
                .is_none_or(|(a, b)| (a - b).abs() < SAME_SEMITONES);
            same && event.onset_s - last.onset_s < COMING_S && !is_pluck(event)
        });
        if again {
            continue;
        }
        if let Some(after) = place(scene, k) {
            told = Some(k);
            extras.push(ExtraNote {
                onset_s: event.onset_s,
                midi,
                release_s: event.release_s,
                level_dbfs: event.level_dbfs,
                after_index: after
                    .map(|slot| scene.expected[scene.slots[slot].members.start].index),
            });
        }
    }
    extras
}

/// The slot an event follows, `Some(None)` just before the pass, `None` when it lies outside of it.
fn place(scene: &Scene, event: usize) -> Option<Option<usize>> {
    let stretches = &scene.pass.stretches;
    let (first, last) = (stretches.first()?, stretches.last()?);
    let (&(slot, opening), &(end, closing)) = (first.pairs.first()?, last.pairs.last()?);
    if (opening..=closing).contains(&event) {
        // A stretch, or the stop behind it: a slip that is corrected is told.
        let k = stretches.partition_point(|s| s.pairs[0].1 <= event);
        let pairs = &stretches[k.checked_sub(1)?].pairs;
        let before = pairs.partition_point(|pair| pair.1 < event);
        return Some(Some(pairs[before.checked_sub(1)?].0));
    }
    let onset_s = scene.events[event].onset_s;
    let around = |stretch: &Stretch, slot: usize| {
        AROUND_QUARTERS * scene.quarter_s * stretch.grid.slope_at(scene.slots[slot].at_s)
    };
    let lead_s = scene.events[opening].onset_s - onset_s;
    if lead_s > 0.0 {
        return (lead_s <= around(first, slot)).then_some(None);
    }
    let lengths = scene.slots[end].members.clone();
    let written_s = lengths
        .map(|m| scene.expected[m].length_s)
        .fold(0.0, f64::max);
    let length_s = written_s * last.grid.slope_at(scene.slots[end].at_s);
    // Whoever breaks off may play or say anything next.
    if !scene.pass.complete {
        return None;
    }
    let tail_s = onset_s - scene.events[closing].onset_s;
    (tail_s > 0.0 && tail_s <= length_s).then_some(Some(end))
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
