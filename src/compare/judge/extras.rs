//! Heard notes that nobody wrote: unmatched events that are clearly plucked notes and lie within
//! the span of the line. Touches, squeaks, damping noises and ripples are none.

use crate::compare::judge::scene::Scene;
use crate::compare::judgement::ExtraNote;
use crate::compare::lay::costs;
use crate::compare::lay::ends::is_toneless;
use crate::compare::lay::passes::Stretch;
use crate::hearing::events::HeardNote;

/// Evidence from which an unmatched event is believed to be a plucked note, in nats. Extras are
/// rare, so that the evidence must be clear; raising it forgives soft accidental plucks.
const EXTRA_EVIDENCE: f64 = 2.0;
/// An extra softer than this below the middle level of the take changes nothing, in decibels.
const EXTRA_BELOW_DB: f64 = 20.0;
/// An event this close to a matched onset is the same pluck heard twice, in seconds.
const SAME_PLUCK_S: f64 = 0.040;
/// How long before the first note of a pass an extra belongs to it, in written quarter notes: a grace
/// is one, tuning up is none. Behind the last note it is as long as that note.
const AROUND_QUARTERS: f64 = 0.5;

/// True when an event is clearly a plucked note.
pub(crate) fn is_pluck(event: &HeardNote) -> bool {
    event.evidence >= EXTRA_EVIDENCE && !is_toneless(event)
}

/// A soft pluck on another string while the note before rings on: the amplitude that grew must be
/// at least this share of the sound, ...
const GAINED_SHARE: f64 = 0.10;
/// ... one series must explain it so well, ...
const GAINED_SCORE: f64 = 0.15;
/// ... it must lie within this distance of a semitone, ...
const GAINED_OFF_SEMITONE: f64 = 0.25;
/// (or this one, when the series explains it so well), ...
const GAINED_SURE_OFF_SEMITONE: f64 = 0.45;
const GAINED_SURE_SCORE: f64 = 0.5;
/// ... stand out by so many decibels, and have this much evidence otherwise.
const GAINED_NOVELTY_DB: f64 = 1.0;
const GAINED_EVIDENCE: f64 = -2.5;
/// Or the series that grew and the one that remains when the old sound is taken out are the same
/// note, ...
const AGREE_SEMITONES: f64 = 0.5;
/// ... explain what is new so well, the latter alone and both together, ...
const AGREE_ADDED_SCORE: f64 = 0.2;
const AGREE_SCORES: f64 = 0.5;
/// (or so well, when the moment itself shows nothing new), ...
const AGREE_LATER_SCORES: f64 = 0.8;
/// ... are this share of the sound, and this loud in it, in decibels.
const AGREE_SHARE: f64 = 0.04;
const AGREE_DB: f64 = -16.5;
/// (a softer one than this must be more of the sound), ...
const AGREE_SOFT_DB: f64 = -13.0;
const AGREE_SOFT_SHARE: f64 = 0.10;
/// ... and lie within this distance of a semitone.
const AGREE_OFF_SEMITONE: f64 = 0.3;
/// Or what remains is a clear series and so much of the sound.
const ADDED_SCORE: f64 = 0.5;
const ADDED_SHARE: f64 = 0.15;
/// Or so much of the sound is new, and stands out by so many decibels: what rang before and
/// ripples has nothing new, and what is damped has less. There is no pitch to it.
const NEW_SHARE: f64 = 0.25;
const NEW_NOVELTY_DB: f64 = 2.5;
const NEW_EVIDENCE: f64 = -3.0;
/// What falls by more than this, in decibels, is damped: all that is new of it is its noise.
const NEW_RISE_DB: f64 = -4.0;
/// Or the sound swells by so much where its low partials stop being foretold, both in decibels: a
/// beat swells, too, but is foretold.
const SWELL_DB: f64 = 5.0;
const SWELL_STRUCK_DB: f64 = 6.0;

/// What comes this soon before a note of the same pitch, in semitones, belongs to it.
const COMING_S: f64 = 0.1;
const SAME_SEMITONES: f64 = 0.7;

/// The pitch of an event that added a note of its own to the one that rings on, `Some(None)` when
/// it did and the pitch cannot be told; `None` when it did not.
fn added(scene: &Scene, event: usize) -> Option<Option<f64>> {
    let heard = scene.events[event];
    let f = &heard.features;
    let before = (0..event).rev().find(|&k| scene.matched[k])?;
    let ringing = scene.events[before].pitch?.midi;
    let open = scene.settings.open_midi.iter();
    let lowest = open.min().map_or(f64::NEG_INFINITY, |&m| f64::from(m));
    let other = |midi: f64| {
        midi > lowest - AGREE_SEMITONES
            && costs::HARMONICS
                .iter()
                .chain(&[-12.0, 28.0, 31.0])
                .all(|h| (midi - ringing - h).abs() > 0.6)
    };
    let off = |midi: f64| (midi - midi.round()).abs();
    let within = if f.gained_score >= GAINED_SURE_SCORE {
        GAINED_SURE_OFF_SEMITONE
    } else {
        GAINED_OFF_SEMITONE
    };
    let gained = other(f.gained_midi)
        && f.fresh_share >= GAINED_SHARE
        && f.gained_score >= GAINED_SCORE
        && off(f.gained_midi) < within
        && heard.novelty_db >= GAINED_NOVELTY_DB
        && heard.evidence >= GAINED_EVIDENCE;
    let remains = other(f.added_midi) && off(f.added_midi) < GAINED_SURE_OFF_SEMITONE;
    // Where the moment itself shows nothing new, what is around it must be clear.
    let least = if f.fresh_share >= AGREE_SHARE {
        AGREE_SCORES
    } else {
        AGREE_LATER_SCORES
    };
    let agree = remains
        && (f.gained_midi - f.added_midi).abs() < AGREE_SEMITONES
        && f.added_score >= AGREE_ADDED_SCORE
        && f.added_score + f.gained_score >= least
        && off(0.5 * (f.gained_midi + f.added_midi)) < AGREE_OFF_SEMITONE
        && f.new_share >= AGREE_SHARE
        && f.added_db >= AGREE_DB
        && (f.added_db >= AGREE_SOFT_DB || f.new_share >= AGREE_SOFT_SHARE);
    let clear = remains && f.added_score >= ADDED_SCORE && f.fresh_share >= ADDED_SHARE;
    let stands_out = heard.novelty_db >= NEW_NOVELTY_DB && f.level_rise_db >= NEW_RISE_DB;
    let swells = f.level_rise_db >= SWELL_DB && f.error_rise_db[0] >= SWELL_STRUCK_DB;
    let new =
        f.fresh_share >= NEW_SHARE && heard.evidence >= NEW_EVIDENCE && (stands_out || swells);
    let midi = if agree || clear {
        f.added_midi
    } else {
        f.gained_midi
    };
    // The note that is struck next was touched, or slid to, before.
    let coming = (event + 1..scene.events.len())
        .take_while(|&k| scene.events[k].onset_s < heard.onset_s + COMING_S)
        .filter(|&k| scene.matched[k])
        .filter_map(|k| scene.events[k].pitch)
        .any(|next| (next.midi - midi).abs() < SAME_SEMITONES);
    if coming {
        return None;
    }
    if agree || clear {
        Some(Some(f.added_midi))
    } else if gained {
        Some(Some(f.gained_midi))
    } else {
        new.then_some(None)
    }
}

/// The notes nobody wrote, in order of time.
pub(crate) fn find(scene: &Scene) -> Vec<ExtraNote> {
    let floor_dbfs = scene.habits.level_dbfs - EXTRA_BELOW_DB;
    let mut extras = Vec::new();
    for (k, event) in scene.events.iter().enumerate() {
        let added = added(scene, k);
        let clear = (is_pluck(event) || added.is_some())
            && !scene.matched[k]
            && event.level_dbfs >= floor_dbfs;
        if !clear || same_pluck(scene, k) {
            continue;
        }
        let midi = added
            .unwrap_or(None)
            .or(event.pitch.map(|p| p.midi))
            .filter(|midi| midi.is_finite());
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
