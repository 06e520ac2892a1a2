//! Verdicts and flags for each expected note, put together from the rules beside it.
//!
//! Chords: the member that is surest to sound carries timing, gap and flags; each member is judged
//! by what was heard of it alone. One that shares all its partials with another (an octave above
//! it) cannot be told and shares the verdict of its slot.
//!
//! A note without a stable pitch is not called wrong, because nobody can say what it was: it keeps
//! the verdict right, with the flag dead and no heard pitch, and it does not count towards
//! recognising the line.

use crate::compare::judge::scene::Scene;
use crate::compare::judge::{clipped, dead, pitch, timing};
use crate::compare::judgement::{Flag, HeardPart, JudgedNote, Verdict};
use crate::compare::lay::passes::Stretch;
use crate::compare::lay::{costs, ends};
use crate::hearing::events::HeardNote;
use crate::music::expected::ExpectedNote;

/// The pitch of a dead note counts from this clarity on, 0 to 1; measured on choked notes.
const DEAD_PITCH_CLARITY: f64 = 0.95;
/// A member of a chord is choked when it lasts less than this share of the longest one; measured on
/// chords of sampled basses.
const CHOKED_SHARE: f64 = 0.5;
/// Shorter chords than this, in seconds, say nothing of it.
const CHOKED_FROM_S: f64 = 0.3;
/// One standard deviation of the pitch of a member of a chord, in cents.
const CHORD_CENTS: f64 = 8.0;
/// How far a pitch that moves may be off without being out of tune, as a share of what lies between its two
/// halves, one standard deviation: it is known no better than by the half of its way.
const MOVED_SHARE: f64 = 0.5;

/// Judges every expected note, in the order of the line.
pub(crate) fn judge_notes(scene: &Scene) -> Vec<JudgedNote> {
    let mut notes = Vec::with_capacity(scene.expected.len());
    for (slot, content) in scene.slots.iter().enumerate() {
        let carrier = carrier(scene, slot);
        for member in content.members.clone() {
            let expected = &scene.expected[member];
            notes.push(match scene.heard(slot) {
                None => missed(expected),
                Some((event, heard, stretch)) if member == carrier => {
                    let note = carried(scene, slot, expected, (event, heard, stretch));
                    of_chord(scene, slot, heard, note)
                }
                Some((event, heard, stretch)) => {
                    let mut part = heard_part(scene, slot, heard, stretch);
                    part.release_s = scene.end(event, next_event(scene, slot)).at_s;
                    let (verdict, _) = pitch::verdict(scene, slot, carrier, heard);
                    let note = JudgedNote {
                        expected: expected.clone(),
                        verdict,
                        heard: Some(part),
                        flags: vec![],
                    };
                    of_chord(scene, slot, heard, note)
                }
            });
        }
    }
    notes
}

/// Judges a member of a chord by what was heard of it alone: whether it sounds, how high, and how
/// long beside the others. What cannot be told apart keeps the verdict of the slot.
fn of_chord(scene: &Scene, slot: usize, heard: &HeardNote, mut note: JudgedNote) -> JudgedNote {
    let Some(chord) = costs::chord(&scene.slots[slot], heard) else {
        return note;
    };
    let written = f64::from(note.expected.midi);
    let Some(member) = chord.member(written) else {
        return note;
    };
    if member.evidence <= 0.0 {
        return missed(&note.expected);
    }
    note.verdict = Verdict::Right;
    note.flags
        .retain(|flag| !matches!(flag, Flag::Sharp | Flag::Flat | Flag::Dead));
    let longest_s = chord
        .members
        .iter()
        .flatten()
        .filter(|m| m.evidence > 0.0)
        .map(|m| m.release_s - heard.onset_s)
        .fold(0.0, f64::max);
    let lasts_s = member.release_s - heard.onset_s;
    if longest_s > CHOKED_FROM_S && lasts_s < CHOKED_SHARE * longest_s {
        note.flags.push(Flag::Dead);
    }
    if let Some(part) = &mut note.heard {
        part.release_s = member.release_s.min(part.release_s);
        part.midi = member.midi;
        part.cents = member.midi.map(|midi| 100.0 * (midi - written));
        part.cents_uncertainty = part.cents.map(|_| CHORD_CENTS);
        let flag = part
            .cents
            .and_then(|cents| pitch::out_of_tune(cents, CHORD_CENTS, &scene.settings.marks));
        note.flags.extend(flag);
    }
    note
}

fn missed(expected: &ExpectedNote) -> JudgedNote {
    JudgedNote {
        expected: expected.clone(),
        verdict: Verdict::Missed,
        heard: None,
        flags: vec![],
    }
}

/// The member of a slot that is nearest to the heard pitch; the first when there is none.
pub(super) fn carrier(scene: &Scene, slot: usize) -> usize {
    let members = scene.slots[slot].members.clone();
    let first = members.start;
    // Of a chord, the member that is surest to sound.
    let chord = scene
        .heard(slot)
        .and_then(|(_, heard, _)| costs::chord(&scene.slots[slot], heard));
    if let Some(chord) = chord {
        let sure = |member: usize| {
            let written = f64::from(scene.expected[member].midi);
            chord
                .member(written)
                .map_or(f64::NEG_INFINITY, |m| m.evidence)
        };
        return members
            .max_by(|&a, &b| sure(a).total_cmp(&sure(b)).then(b.cmp(&a)))
            .unwrap_or(first);
    }
    let heard = scene
        .heard(slot)
        .and_then(|(_, heard, _)| scene.midi(slot, heard));
    let Some((midi, _)) = heard else { return first };
    let distance = |k: usize| (midi - f64::from(scene.expected[k].midi)).abs();
    members
        .min_by(|&a, &b| distance(a).total_cmp(&distance(b)))
        .unwrap_or(first)
}

/// What is common to all members of a slot.
fn heard_part(scene: &Scene, slot: usize, heard: &HeardNote, stretch: &Stretch) -> HeardPart {
    let at_s = scene.slots[slot].at_s;
    let place_s = stretch.grid.time_at(at_s);
    let (onset_s, onset_sd) = timing::moment(heard, place_s);
    let off_s = onset_s - place_s;
    HeardPart {
        midi: None,
        cents: None,
        cents_uncertainty: None,
        onset_s,
        release_s: heard.release_s,
        level_dbfs: heard.level_dbfs,
        loudness_db: heard.loudness_db,
        level_db: None,
        level_uncertainty_db: None,
        brightness: heard.brightness,
        buzz_nats: None,
        timing_ms: Some(1e3 * off_s),
        timing_uncertainty_ms: Some(1e3 * onset_sd.hypot(stretch.grid.sd_at(at_s))),
        gap_ms: None,
        gap_uncertainty_ms: None,
        gap_depth_db: None,
        heard_at_s: heard.heard_at_s,
        named_at_s: heard.named_at_s,
        named_midi: heard.named_midi,
    }
}

/// The judged note that carries what was heard of its slot; gaps come later.
fn carried(
    scene: &Scene,
    slot: usize,
    expected: &ExpectedNote,
    (event, heard, stretch): (usize, &HeardNote, &Stretch),
) -> JudgedNote {
    if expected.ghost {
        return muted(scene, slot, expected, (heard, stretch));
    }
    let marks = &scene.settings.marks;
    let mut part = heard_part(scene, slot, heard, stretch);
    let mut flags = Vec::new();
    let ending = scene.end(event, next_event(scene, slot));
    part.release_s = ending.at_s;
    let lasts_s = ending.at_s - heard.onset_s;
    let written_s = expected.length_s * stretch.grid.slope_at(scene.slots[slot].at_s);
    let dead = dead::is_dead(heard, written_s, scene.habits.fall_db, marks);
    // What a choked note leaves to hear is too short to call it another note by.
    let vague = dead && heard.pitch.is_none_or(|p| p.clarity < DEAD_PITCH_CLARITY);
    let (verdict, cents) = if vague {
        (Verdict::Right, None)
    } else {
        part.midi = scene.midi(slot, heard).map(|(midi, _)| midi);
        pitch::verdict(scene, slot, carrier(scene, slot), heard)
    };
    part.cents = cents.map(|c| c.0);
    part.cents_uncertainty = cents.map(|c| c.1);
    if let (Verdict::Right, Some((cents, sd))) = (verdict, cents) {
        let moves = heard.pitch.map_or(0.0, |p| MOVED_SHARE * p.moves_cents);
        flags.extend(pitch::out_of_tune(cents, sd.hypot(moves), marks));
    }
    if let (Some(off_ms), Some(sd_ms)) = (part.timing_ms, part.timing_uncertainty_ms) {
        flags.extend(timing::out_of_time(off_ms, sd_ms, marks));
    }
    let ends_freely = !expected.legato_next && !expected.staccato;
    if dead {
        flags.push(Flag::Dead);
    } else if ends_freely && clipped::is_clipped(ending.cause, lasts_s, written_s, marks) {
        flags.push(Flag::Clipped);
    }
    JudgedNote {
        expected: expected.clone(),
        verdict,
        heard: Some(part),
        flags,
    }
}

/// A ghost note that was heard: it has a time, and nothing else of it can be a fault.
fn muted(
    scene: &Scene,
    slot: usize,
    expected: &ExpectedNote,
    (heard, stretch): (&HeardNote, &Stretch),
) -> JudgedNote {
    let part = heard_part(scene, slot, heard, stretch);
    let flag = part
        .timing_ms
        .zip(part.timing_uncertainty_ms)
        .and_then(|(off_ms, sd_ms)| timing::out_of_time(off_ms, sd_ms, &scene.settings.marks));
    JudgedNote {
        expected: expected.clone(),
        verdict: Verdict::Right,
        heard: Some(part),
        flags: flag.into_iter().collect(),
    }
}

/// The event after which a slot's note is over in any case: the next one that is a note.
fn next_event(scene: &Scene, slot: usize) -> usize {
    let Some((event, _, _)) = scene.heard(slot) else {
        return scene.events.len();
    };
    (event + 1..scene.events.len())
        .find(|&k| scene.matched[k] || ends::is_pluck(scene.events[k]))
        .unwrap_or(scene.events.len())
}
