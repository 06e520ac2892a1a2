//! Bleed: strings that sounded while they should not, laid over the line.
//!
//! The ear says which pitch rang and when; the line says on which string that was and what was
//! played meanwhile. How sure a ring is says one fitted model ([`crate::hearing::ringing`]). No string
//! rings at a pitch while that is played, two rings of one pitch are one, and a ring a whole number of
//! harmonics above a surer one is that one's partials. A fingering that was guessed vetoes nothing.

use crate::compare::judge::scene::Scene;
use crate::compare::judgement::{Bleed, BleedKind, ExtraNote, Flag, JudgedNote, Verdict};
use crate::hearing::events::HeardRing;

/// A note left ringing must be this sure, in nats ([`ringing`](crate::hearing::ringing)): where each
/// instrument, left out of the fit, had at most three false ones in a thousand clean notes. Raised,
/// fewer are told.
const LEFT_NATS: f64 = 0.3;
/// An open string must be this sure, in nats: a little below even, since strings that sound in the
/// recordings of a note were counted as none. Raised, fewer are told.
const OPEN_NATS: f64 = -0.5;
/// A ring must lie under a note for this long to be held against it, in seconds.
const UNDER_S: f64 = 0.050;
/// An open string was hit with a note when it begins this close to it, in seconds, and is louder
/// than it answers by itself ([`BEYOND_ANSWER_DB`]). Raised, more strings that were set off are
/// told as hit.
const STRUCK_TOGETHER_S: f64 = 0.050;
/// How much louder than its measured answer such a string must be, in decibels: a fretted note may
/// set a string off more than the open ones did by which the answer was measured. Common practice,
/// no source. Raised, fewer strings are told as hit.
const BEYOND_ANSWER_DB: f64 = 12.0;
/// However softly a string answered when it was measured, some notes set it off at this level, in
/// decibels relative to the note; common practice, no source. Raised, fewer strings are told as
/// hit.
const LEAST_ANSWER_DB: f64 = -40.0;
/// A note and the ring it left begin and end together within this, in seconds.
const TOGETHER_S: f64 = 0.030;
/// Two rings that share this much of the shorter one are at the same time.
const SAME_TIME_SHARE: f64 = 0.3;
/// Harmonics of a ring in which it is heard a second time, in semitones.
const HARMONICS: [f64; 6] = [12.0, 19.0, 24.0, 28.0, 31.0, 34.0];
/// Two pitches this close are one, in semitones.
const SAME_SEMITONES: f64 = 0.7;

/// A pluck and a ring this close in pitch may be the same sound, in semitones. Raised, more extras
/// stand for a ring.
const NEAR_SEMITONES: f64 = 1.2;
/// Such a pluck is part of the ring when it comes this soon after the ring's beginning, in seconds,
/// but not at it. Raised, more plucked extras are told as rings alone.
const SET_OFF_S: f64 = 0.1;
/// It is part of the ring only when the ring lasts longer than this, in seconds. Raised, more rings
/// are told as plucked extras.
const RINGS_S: f64 = 0.3;

/// A note as it was played: when its string was held, by which note of the line.
struct Held {
    from_s: f64,
    to_s: f64,
    /// `None` when it was not the written note, so that nobody knows where it was played.
    string: Option<u8>,
    midi: f64,
    /// Index of the expected note.
    index: usize,
}

/// The rings that count, in order of time.
pub(crate) fn find(scene: &Scene, notes: &[JudgedNote], rings: &[HeardRing]) -> Vec<Bleed> {
    let held = held(notes);
    let mut found: Vec<(f64, Bleed)> = rings
        .iter()
        .filter_map(|ring| Some((ring.evidence, one(scene, &held, ring)?)))
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<Bleed> = Vec::new();
    for (_, bleed) in found {
        let again = kept.iter().any(|other| {
            let shared = other.to_s.min(bleed.to_s) - other.from_s.max(bleed.from_s);
            let shorter = (other.to_s - other.from_s).min(bleed.to_s - bleed.from_s);
            let above = bleed.midi - other.midi;
            shared > SAME_TIME_SHARE * shorter
                && (above.abs() < SAME_SEMITONES || is_harmonic(above))
        });
        if !again {
            kept.push(bleed);
        }
    }
    kept.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    kept
}

/// Keeps one of the two where a sound was heard both as a string that rings and as an extra note. It
/// was plucked, so the ring goes; but where the pluck comes shortly after the ring's beginning it is
/// only part of what set the string off, and the extra note goes.
pub(crate) fn part_from_extras(bleed: &mut Vec<Bleed>, extras: &mut Vec<ExtraNote>) {
    let same = |b: &Bleed, e: &ExtraNote| {
        e.midi
            .is_some_and(|midi| (midi - b.midi).abs() < NEAR_SEMITONES)
            && e.onset_s > b.from_s - TOGETHER_S
            && e.onset_s < b.to_s
    };
    let rings = |b: &Bleed, e: &ExtraNote| {
        (b.from_s + TOGETHER_S..b.from_s + SET_OFF_S).contains(&e.onset_s)
            && b.to_s - b.from_s > RINGS_S
    };
    extras.retain(|e| !bleed.iter().any(|b| same(b, e) && rings(b, e)));
    bleed.retain(|b| !extras.iter().any(|e| same(b, e)));
}

/// Marks the notes that were played over a ring.
pub(crate) fn flag(notes: &mut [JudgedNote], bleed: &[Bleed]) {
    for note in notes {
        let under = bleed
            .iter()
            .any(|b| b.during.contains(&note.expected.index));
        if under && note.verdict != Verdict::Missed && !note.flags.contains(&Flag::Bleed) {
            note.flags.push(Flag::Bleed);
            note.flags.sort_unstable();
        }
    }
}

/// True when a note has no partial of its own beside another one that lies `above` semitones below.
pub(crate) fn is_masked(above: f64) -> bool {
    above.abs() < SAME_SEMITONES || is_harmonic(above)
}

/// True for a distance at which every partial is shared, in semitones.
fn is_harmonic(semitones: f64) -> bool {
    let near = |h: &f64| (semitones - h).abs() < SAME_SEMITONES;
    HARMONICS.iter().any(near)
}

fn held(notes: &[JudgedNote]) -> Vec<Held> {
    let mut held: Vec<Held> = notes
        .iter()
        .filter_map(|note| {
            let part = note.heard.as_ref()?;
            let written = note.verdict == Verdict::Right;
            Some(Held {
                from_s: part.onset_s,
                to_s: part.release_s,
                string: note.expected.place.filter(|_| written).map(|p| p.string),
                midi: part.midi.unwrap_or(f64::from(note.expected.midi)),
                index: note.expected.index,
            })
        })
        .collect();
    held.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    held
}

fn one(scene: &Scene, held: &[Held], ring: &HeardRing) -> Option<Bleed> {
    let marks = &scene.settings.marks;
    let open = scene
        .settings
        .open_midi
        .iter()
        .position(|&m| (f64::from(m) - ring.midi).abs() < 0.5)
        .and_then(|k| u8::try_from(k + 1).ok());
    let source = ring
        .source_onset_s
        .and_then(|at| held.iter().find(|h| (h.from_s - at).abs() < TOGETHER_S));
    let string = match ring.source_onset_s {
        Some(_) => source.and_then(|s| s.string),
        None => open,
    };
    let sure_nats = match ring.source_onset_s {
        Some(_) => LEFT_NATS,
        None => OPEN_NATS,
    };
    let (from_s, to_s) = free_of(held, source, ring);
    if 1e3 * (to_s - from_s) < marks.bleed_ms
        || ring.level_db < -marks.bleed_below_db
        || ring.evidence < sure_nats
    {
        return None;
    }
    // What is silent again when the line begins is no part of it: a string tried out, the hum of a
    // cable that is plugged in.
    if held.first().is_some_and(|first| to_s <= first.from_s) {
        return None;
    }
    // Nor is what begins when the pass is over.
    if held.iter().all(|h| h.to_s <= from_s) {
        return None;
    }
    let under = |h: &&Held| h.to_s.min(to_s) - h.from_s.max(from_s) >= UNDER_S;
    let during: Vec<&Held> = held
        .iter()
        .filter(under)
        .filter(|h| source.is_none_or(|s| s.index != h.index))
        .collect();
    if during.is_empty() && ring.source_onset_s.is_some() {
        // A note that rings on into a silence is longer than written, and no bleed.
        return None;
    }
    // Where every partial is shared, nothing can be told.
    let masked = |h: &&Held| is_masked(ring.midi - h.midi);
    if !during.is_empty() && during.iter().all(masked) {
        return None;
    }
    // Where the string was played meanwhile, it was not the one the fingering says: what was heard
    // corrects that, never the other way round.
    let string = string.filter(|string| during.iter().all(|h| h.string != Some(*string)));
    Some(Bleed {
        midi: ring.midi,
        string,
        kind: match ring.source_onset_s {
            Some(_) => BleedKind::LeftRinging,
            None if is_struck_along(scene, held, ring) => BleedKind::StruckAlong,
            None => BleedKind::OpenString,
        },
        from_s,
        to_s,
        level_db: ring.level_db,
        during: during.iter().map(|h| h.index).collect(),
        after: source.map(|s| s.index),
        evidence: ring.evidence,
    })
}

/// Whether an open string was hit together with a note: it begins with it, far louder than it was
/// heard to answer by itself. Where that was not measured nobody can tell, and no string is accused.
fn is_struck_along(scene: &Scene, held: &[Held], ring: &HeardRing) -> bool {
    let open = scene.settings.open_midi.iter();
    let string = open
        .clone()
        .position(|&m| (f64::from(m) - ring.midi).abs() < 0.5);
    let answers_db = string.and_then(|k| *scene.settings.usual.answers_db.get(k)?);
    let with_a_note = held
        .iter()
        .any(|h| (h.from_s - ring.from_s).abs() < STRUCK_TOGETHER_S);
    with_a_note
        && answers_db.is_some_and(|db| ring.level_db > db.max(LEAST_ANSWER_DB) + BEYOND_ANSWER_DB)
}

/// The longest part of a ring in which its pitch is not played.
fn free_of(held: &[Held], source: Option<&Held>, ring: &HeardRing) -> (f64, f64) {
    let (from_s, to_s) = (ring.from_s, ring.to_s);
    let mut best = (from_s, from_s);
    let mut start = from_s;
    let itself = |h: &&Held| {
        source.is_none_or(|s| s.index != h.index) && (h.midi - ring.midi).abs() < SAME_SEMITONES
    };
    for h in held.iter().filter(itself) {
        if h.to_s <= from_s + TOGETHER_S || h.from_s >= to_s {
            continue;
        }
        if h.from_s - start > best.1 - best.0 {
            best = (start, h.from_s);
        }
        start = start.max(h.to_s);
    }
    if to_s - start > best.1 - best.0 {
        best = (start, to_s);
    }
    best
}
