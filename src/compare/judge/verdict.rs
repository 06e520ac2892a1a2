//! Verdicts and flags for each expected note.
//!
//! Chords: the member that is surest to sound carries timing, gap and flags; each member is judged
//! by what was heard of it alone. One that shares all its partials with another (an octave above
//! it) cannot be told and shares the verdict of its slot.
//!
//! A note without a stable pitch is not called wrong, because nobody can say what it was: it keeps
//! the verdict right, with the flag dead and no heard pitch, and it does not count towards
//! recognising the line.

use crate::compare::Settings;
use crate::compare::judge::extras;
use crate::compare::judge::scene::Scene;
use crate::compare::judgement::{Flag, HeardPart, JudgedNote, Verdict};
use crate::compare::lay::costs;
use crate::compare::lay::passes::Stretch;
use crate::compare::usual::UsualGap;
use crate::hearing::events::{EndCause, HeardNote};
use crate::music::expected::{ExpectedNote, JoinKind};

/// A flag of tuning needs the mark exceeded by so many standard deviations: one-sided 95 %.
const TUNING_SURENESS: f64 = 1.64;
/// A wrong note needs the mark exceeded by one standard deviation of the pitch, but never by more
/// than this, in cents, or a vague ear would make a wrong note right.
const WRONG_DOUBT_MAX_CENTS: f64 = 25.0;
/// No silence shorter than this is called a gap, in milliseconds: the filter of the ear hides it
/// (1/ERB at 41 to 100 Hz: 28 to 34 ms), and the plucking finger's own touch lasts up to 33 ms in
/// 99 of 100 measured joins.
const GAP_NEVER_BELOW_MS: f64 = 36.0;
/// A gap beyond the baseline must also stand out of the player's own spread by so many robust
/// standard deviations.
const BASELINE_SPREADS: f64 = 3.0;
/// A fall just after the attack below this is never dead, in decibels; measured on choked notes.
const DEAD_FALL_DB: f64 = 14.0;
/// Notes written shorter than this cannot be told from dead ones, in seconds.
const DEAD_FROM_S: f64 = 0.130;
/// The pitch of a dead note counts from this clarity on.
const DEAD_PITCH_CLARITY: f64 = 0.95;
/// A member of a chord is choked when it lasts less than this share of the longest one, where that
/// lasts so long, in seconds.
const CHOKED_SHARE: f64 = 0.5;
const CHOKED_FROM_S: f64 = 0.3;
/// One standard deviation of the pitch of a member of a chord, in cents.
const CHORD_CENTS: f64 = 8.0;
/// Two moments of an onset this close in nats are a tie ...
const ONSET_TIE_NATS: f64 = 1.3;
/// ... that a moment this close to the note's place wins over one this far from it, in seconds.
const ON_PLACE_S: f64 = 0.010;
const OFF_PLACE_S: f64 = 0.018;
/// A clipped note lacks at least this, in seconds: less is how people end notes.
const CLIPPED_FROM_S: f64 = 0.060;

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
                    part.release_s = scene.end(event, next_event(scene, slot)).0;
                    let (verdict, _) = pitch_verdict(scene, slot, carrier, heard);
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
        let sure = TUNING_SURENESS * CHORD_CENTS + scene.settings.marks.out_of_tune_cents;
        match part.cents {
            Some(cents) if cents > sure => note.flags.push(Flag::Sharp),
            Some(cents) if cents < -sure => note.flags.push(Flag::Flat),
            _ => {}
        }
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
fn carrier(scene: &Scene, slot: usize) -> usize {
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
    let (onset_s, onset_sd) = moment(heard, place_s);
    let off_s = onset_s - place_s;
    HeardPart {
        midi: None,
        cents: None,
        cents_uncertainty: None,
        onset_s,
        release_s: heard.release_s,
        level_dbfs: heard.level_dbfs,
        timing_ms: Some(1e3 * off_s),
        timing_uncertainty_ms: Some(1e3 * onset_sd.hypot(stretch.grid.sd_at(at_s))),
        gap_ms: None,
        gap_depth_db: None,
        heard_at_s: heard.heard_at_s,
        named_at_s: heard.named_at_s,
    }
}

/// The onset of a note and its standard deviation. Where the ear could not tell two moments
/// apart, the one nearer to the note's place is taken; where it could hardly, half the way between
/// them is doubt.
fn moment(heard: &HeardNote, place_s: f64) -> (f64, f64) {
    let sd = heard.onset_uncertainty_s;
    let sd = if sd.is_finite() { sd } else { 0.0 };
    let Some((other_s, nats)) = heard.other_onset.filter(|o| o.0.is_finite()) else {
        return (heard.onset_s, sd);
    };
    let tie = nats <= ONSET_TIE_NATS;
    let off_place = (heard.onset_s - place_s).abs() > OFF_PLACE_S;
    let on_place = (other_s - place_s).abs() < ON_PLACE_S;
    let onset_s = if tie && off_place && on_place {
        other_s
    } else {
        heard.onset_s
    };
    (onset_s, sd.hypot(doubt_s(heard)))
}

/// Standard deviation of an onset that may have been at another moment, in seconds.
fn doubt_s(heard: &HeardNote) -> f64 {
    let other = heard.other_onset.filter(|o| o.0.is_finite());
    other.map_or(0.0, |(other_s, nats)| {
        // The share of the other moment in the mixture of both.
        let share = 1.0 / (1.0 + nats.abs().exp());
        (share * (1.0 - share)).sqrt() * (other_s - heard.onset_s).abs()
    })
}

/// The verdict by pitch, with the cents and their uncertainty: from the written pitch for a right
/// note, from the nearest semitone for a wrong one.
fn pitch_verdict(
    scene: &Scene,
    slot: usize,
    member: usize,
    heard: &HeardNote,
) -> (Verdict, Option<(f64, f64)>) {
    let Some((midi, sd)) = scene.midi(slot, heard) else {
        return (Verdict::Right, None);
    };
    let cents = 100.0 * (midi - f64::from(scene.expected[member].midi));
    let limit = scene.settings.marks.wrong_cents + sd.min(WRONG_DOUBT_MAX_CENTS);
    if cents.abs() >= limit {
        (Verdict::Wrong, Some((100.0 * (midi - midi.round()), sd)))
    } else {
        (Verdict::Right, Some((cents, sd)))
    }
}

/// The judged note that carries what was heard of its slot; gaps come later.
fn carried(
    scene: &Scene,
    slot: usize,
    expected: &ExpectedNote,
    (event, heard, stretch): (usize, &HeardNote, &Stretch),
) -> JudgedNote {
    let marks = &scene.settings.marks;
    let mut part = heard_part(scene, slot, heard, stretch);
    let mut flags = Vec::new();
    let (release_s, end, _) = scene.end(event, next_event(scene, slot));
    part.release_s = release_s;
    let lasts_s = release_s - heard.onset_s;
    let written_s = expected.length_s * stretch.grid.slope_at(scene.slots[slot].at_s);
    let dead = is_dead(heard, written_s, scene.habits.fall_db, marks.dead_fall_db);
    // What a choked note leaves to hear is too short to call it another note by.
    let vague = dead && heard.pitch.is_none_or(|p| p.clarity < DEAD_PITCH_CLARITY);
    let (verdict, cents) = if vague {
        (Verdict::Right, None)
    } else {
        part.midi = scene.midi(slot, heard).map(|(midi, _)| midi);
        pitch_verdict(scene, slot, carrier(scene, slot), heard)
    };
    part.cents = cents.map(|c| c.0);
    part.cents_uncertainty = cents.map(|c| c.1);
    if let (Verdict::Right, Some((cents, sd))) = (verdict, cents)
        && cents.abs() - TUNING_SURENESS * sd > marks.out_of_tune_cents
    {
        flags.push(if cents > 0.0 { Flag::Sharp } else { Flag::Flat });
    }
    if let (Some(off), Some(sd)) = (part.timing_ms, part.timing_uncertainty_ms)
        && off.abs() - sd > marks.timing_ms
    {
        flags.push(if off > 0.0 { Flag::Late } else { Flag::Early });
    }
    if dead {
        flags.push(Flag::Dead);
    } else if !expected.legato_next
        && !expected.staccato
        && end == EndCause::Damped
        && lasts_s < marks.clipped_share * written_s
        && written_s - lasts_s > CLIPPED_FROM_S
    {
        flags.push(Flag::Clipped);
    }
    JudgedNote {
        expected: expected.clone(),
        verdict,
        heard: Some(part),
        flags,
    }
}

/// The event after which a slot's note is over in any case: the next one that is a note.
fn next_event(scene: &Scene, slot: usize) -> usize {
    let Some((event, _, _)) = scene.heard(slot) else {
        return scene.events.len();
    };
    (event + 1..scene.events.len())
        .find(|&k| scene.matched[k] || extras::is_pluck(scene.events[k]))
        .unwrap_or(scene.events.len())
}

/// Choked, muffled or without a stable pitch.
fn is_dead(heard: &HeardNote, written_s: f64, usual_fall_db: f64, beyond_db: f64) -> bool {
    if heard.pitch.is_none() {
        return true;
    }
    written_s > DEAD_FROM_S
        && heard
            .early_fall_db
            .is_some_and(|fall| fall > DEAD_FALL_DB.max(usual_fall_db + beyond_db))
}

/// Measures the silence at every legato join of a pass. Output: for each note how far its join's
/// silence is in doubt, in milliseconds.
pub(crate) fn measure_gaps(scene: &Scene, notes: &mut [JudgedNote]) -> Vec<f64> {
    let mut doubts_ms = vec![0.0; notes.len()];
    for slot in 0..scene.slots.len() {
        let member = carrier(scene, slot);
        if let Some((gap_ms, depth_db)) = gap(scene, slot, &notes[member].expected)
            && let Some(part) = &mut notes[member].heard
        {
            part.gap_ms = Some(gap_ms);
            part.gap_depth_db = Some(depth_db);
            let next = scene.heard(slot + 1).map_or(0.0, |(_, h, _)| doubt_s(h));
            doubts_ms[member] = 1e3 * next;
        }
    }
    doubts_ms
}

/// Flags the silences of a pass that stand out. `here` is what the player usually leaves in this
/// take; a take too short to tell is held against what was usual before.
pub(crate) fn flag_gaps(
    settings: &Settings,
    here: &[UsualGap],
    notes: &mut [JudgedNote],
    doubts_ms: &[f64],
) {
    let before = &settings.usual.gaps;
    let usual = |kind: JoinKind| {
        let of_kind = |u: &&UsualGap| u.join == kind;
        here.iter()
            .find(of_kind)
            .or(before.iter().find(of_kind))
            .copied()
    };
    let marks = &settings.marks;
    for (note, &doubt_ms) in notes.iter_mut().zip(doubts_ms) {
        let Some((gap_ms, depth_db)) = note
            .heard
            .as_ref()
            .and_then(|part| Some((part.gap_ms?, part.gap_depth_db?)))
        else {
            continue;
        };
        let limit = note
            .expected
            .join
            .and_then(usual)
            .map_or(marks.gap_ms, |u| {
                let beyond = marks
                    .gap_over_baseline_ms
                    .max(BASELINE_SPREADS * u.spread_ms);
                (u.middle_ms + beyond).min(marks.gap_ms)
            });
        let dead = note.flags.contains(&Flag::Dead);
        // The next note may have begun sooner than it seems.
        let sure_ms = gap_ms - doubt_ms;
        if !dead && sure_ms >= limit.max(GAP_NEVER_BELOW_MS) && depth_db >= marks.gap_depth_db {
            note.flags.push(Flag::Gap);
        }
    }
}

/// Silence in milliseconds, and its depth in decibels, between a slot's note and the next one.
///
/// Output: `None` where the line asks for no legato, where the next note was missed or belongs to
/// another try, where a note of its own stands between, and where the note died away by itself.
fn gap(scene: &Scene, slot: usize, expected: &ExpectedNote) -> Option<(f64, f64)> {
    if !expected.legato_next {
        return None;
    }
    let (event, heard, _) = scene.heard(slot)?;
    let (next, following, _) = scene.heard(slot + 1)?;
    if next <= event || scene.interrupted(event, next) {
        return None;
    }
    let (release_s, end, depth_db) = scene.end(event, next);
    let silence_ms = 1e3 * (following.onset_s - release_s);
    let counts = match end {
        EndCause::Damped => true,
        EndCause::NextOnset => silence_ms < heard.onset_uncertainty_s.max(0.0) * 1e3 + 8.0,
        EndCause::DiedAway | EndCause::TakeEnded => false,
    };
    (counts && silence_ms.is_finite()).then_some((silence_ms, depth_db))
}
