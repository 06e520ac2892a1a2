//! Which heard events may be notes, how sure each is, and which pitch it has.

use crate::compare::ends;
use crate::hearing::beside::{self, Around};
use crate::hearing::choked;
use crate::hearing::events::{EndCause, HeardNote};
use crate::units::median;

/// An event less likely than this to be a pluck is none, in nats: no rhythm makes a note of it.
const HOPELESS_NATS: f64 = -4.0;
/// What is heard this soon beside a sure note is that note once more, in seconds.
const SAME_PLUCK_S: f64 = 0.040;
/// Most of what one event can say for itself, in nats.
const SUREST_NATS: f64 = 12.0;
/// Periodicity below which a sound that dies at once has no pitch, 0 to 1. Raised, short notes of an
/// upright are taken for muted ones.
const TONE_CLARITY: f64 = 0.6;
/// A muted string has died away after this, in seconds: the muffled notes of the ground last 30 to 60 ms.
const MUTED_S: f64 = 0.150;

/// What lies this far below the take's notes is none, in decibels: hum, or what leaks from headphones, that
/// was heard to begin. Of 927 notes of takes with a leak (the ground, seed 45003) the softest is 4.5 dB
/// below the middle, of 18 such sounds before the first note the loudest 19. Lowered, soft notes go.
const FAR_UNDER_DB: f64 = 18.0;
/// A sound over a ringing string of the same pitch that adds less than this share to it is none: a drum,
/// a click. Of 219 notes struck again on their pitch (as above) the least adds 0.02, of nine drums the
/// most. Raised, soft repeated notes go.
const NOTHING_NEW: f64 = 0.015;
/// Two pitches this close are one, in semitones.
const SAME_PITCH: f64 = 0.6;

/// An event that may be a note.
#[derive(Clone, Debug)]
pub(crate) struct Candidate {
    /// When the string was let go, in seconds.
    pub onset_s: f64,
    /// One standard deviation of it.
    pub onset_sd_s: f64,
    /// How sure it is that it is a note, in nats.
    pub nats: f64,
    /// The pitch, corrected by how the whole bass is tuned, as a fractional MIDI note.
    pub midi: Option<f64>,
    /// Another reading of the pitch, and how much worse it is in nats.
    pub rival: Option<(f64, f64)>,
    /// Where the sound ends.
    pub release_s: f64,
    /// Why.
    pub end: EndCause,
    /// True for a muted string: struck, without a pitch.
    pub ghost: bool,
    /// True where the left hand alone seems to have begun it.
    pub soft_start: bool,
    /// True where a finger slid along the string to it.
    pub slid: bool,
}

/// What may be a note among what was heard, in order of time.
///
/// `glides` are for how long the pitch was under way to a note, with its onset; `lowest_midi` is the
/// lowest open string.
pub(crate) fn candidates(
    heard: &[HeardNote],
    glides: &[(f64, f64)],
    lowest_midi: u8,
) -> Vec<Candidate> {
    let mut heard: Vec<HeardNote> = heard
        .iter()
        .filter(|event| event.onset_s.is_finite() && event.release_s.is_finite())
        .cloned()
        .collect();
    heard.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
    ends::disbelieve(&mut heard);
    let sure: Vec<bool> = heard.iter().map(ends::is_pluck).collect();
    let levels = heard.iter().zip(&sure).filter(|(_, sure)| **sure);
    let mut levels: Vec<f64> = levels
        .map(|(event, _)| event.level_dbfs)
        .filter(|level| level.is_finite())
        .collect();
    let usual_dbfs = median(&mut levels).unwrap_or(-20.0);
    let off = tuned_off(&heard, &sure);
    let mut found = Vec::new();
    for (k, event) in heard.iter().enumerate() {
        let before = (0..k).rev().find(|&k| sure[k]);
        let next = (k + 1..heard.len()).find(|&k| sure[k]);
        let since_s = before.map(|b| event.onset_s - heard[b].onset_s);
        let until_s = next.map(|n| heard[n].onset_s - event.onset_s);
        let around = Around {
            ringing_midi: before.and_then(|b| heard[b].pitch).map(|p| p.midi),
            since_s,
            until_s,
            lowest_midi: f64::from(lowest_midi),
            usual_dbfs,
        };
        let twice = |apart: Option<f64>| apart.is_some_and(|s| s < SAME_PLUCK_S);
        if event.evidence <= ends::NO_NOTE || (!sure[k] && (twice(since_s) || twice(until_s))) {
            continue;
        }
        let nats = if sure[k] {
            event.evidence
        } else {
            beside::nats(event, &around)
        };
        if nats < HOPELESS_NATS || is_of_no_string(event, sure[k], &around) {
            continue;
        }
        let slid = glides
            .iter()
            .any(|&(onset_s, s)| onset_s == event.onset_s && s >= SLID_S);
        let mut found_one = candidate(event, nats.min(SUREST_NATS), &around, off);
        found_one.slid = slid && is_step(event, &around, SLIDE_STEPS);
        found.push(found_one);
    }
    found
}

fn candidate(event: &HeardNote, nats: f64, around: &Around, off: f64) -> Candidate {
    let pitch = event.pitch.filter(|pitch| pitch.midi.is_finite());
    let toneless = pitch.is_none_or(|pitch| pitch.clarity < TONE_CLARITY);
    let rival = pitch.and_then(|pitch| pitch.rivals[0]);
    Candidate {
        onset_s: event.onset_s,
        onset_sd_s: event.onset_uncertainty_s.clamp(0.0, 0.05),
        nats,
        midi: pitch.map(|pitch| pitch.midi - off),
        rival: rival.map(|(midi, nats)| (midi - off, nats)),
        release_s: event.release_s.max(event.onset_s),
        end: event.end,
        ghost: choked::dies(event) && toneless && event.release_s - event.onset_s < MUTED_S,
        soft_start: is_soft_start(event, around),
        slid: false,
    }
}

/// Whether a sound is no string's: far below the notes, nothing but what rings already, or without a
/// tone where it is not sure to be a pluck and does not die as a muted string does.
fn is_of_no_string(event: &HeardNote, sure: bool, around: &Around) -> bool {
    let pitch = event.pitch.filter(|pitch| pitch.midi.is_finite());
    let far_under = event.level_dbfs < around.usual_dbfs - FAR_UNDER_DB;
    let same = pitch
        .zip(around.ringing_midi)
        .is_some_and(|(pitch, ringing)| (pitch.midi - ringing).abs() < SAME_PITCH);
    let new = event.features.fresh_share.max(event.features.new_share);
    let toneless = pitch.is_none_or(|pitch| pitch.clarity < TONE_CLARITY);
    far_under || (same && new < NOTHING_NEW) || (!sure && toneless && !choked::dies(event))
}

/// Rise of the level below which nothing was plucked anew, in decibels.
const SOFT_RISE_DB: f64 = 0.0;
/// Height of the novelty below which nothing was plucked anew, in decibels.
const SOFT_NOVELTY_DB: f64 = 4.0;
/// Smallest and furthest step that one hand makes on one string while it rings, in semitones.
const SLUR_STEPS: (f64, f64) = (0.5, 4.5);
/// Smallest and furthest slide that is heard as one, in semitones: to the next fret it sounds like a
/// hammered note.
const SLIDE_STEPS: (f64, f64) = (1.5, 12.5);
/// A pitch that is under way for this long slid there, in seconds. Of the takes of the ground (seed 45004)
/// two frets and more apart, 40 hammered and pulled notes have 16 ms at most, of 145 plucked ones one more
/// than 12, six slides 16 to 84. Raised, quick slides are written as slurs.
const SLID_S: f64 = 0.022;

/// Whether the pitch differs from what rang by a step between these, in semitones.
fn is_step(event: &HeardNote, around: &Around, (least, most): (f64, f64)) -> bool {
    let step = event.pitch.zip(around.ringing_midi);
    step.is_some_and(|(pitch, before)| {
        let step = (pitch.midi - before).abs();
        step > least && step < most
    })
}

/// Whether the pitch turned while the string rang on, without the noise of a pluck.
fn is_soft_start(event: &HeardNote, around: &Around) -> bool {
    let near = is_step(event, around, SLUR_STEPS);
    near && event.features.level_rise_db < SOFT_RISE_DB && event.novelty_db < SOFT_NOVELTY_DB
}

/// How far the whole bass is tuned off, in semitones: the median over the sure notes. 0 when there
/// are few, or when they do not agree.
fn tuned_off(heard: &[HeardNote], sure: &[bool]) -> f64 {
    let pitches = heard.iter().zip(sure).filter(|(_, sure)| **sure);
    let mut offs: Vec<f64> = pitches
        .filter_map(|(event, _)| event.pitch)
        .map(|pitch| pitch.midi - pitch.midi.round())
        .filter(|off| off.is_finite())
        .collect();
    let count = offs.len();
    // Near a quarter tone the nearest note itself is in doubt, and the mean means nothing.
    let off = median(&mut offs).unwrap_or(0.0);
    if count < 8 || off.abs() > 0.4 {
        0.0
    } else {
        off
    }
}

#[cfg(test)]
pub(crate) mod test_support {
    use super::*;

    /// A note that surely was plucked and rings up to the next.
    pub(crate) fn plucked(onset_s: f64, midi: f64) -> Candidate {
        Candidate {
            onset_s,
            onset_sd_s: 0.002,
            nats: 8.0,
            midi: Some(midi),
            rival: None,
            release_s: onset_s + 10.0,
            end: EndCause::NextOnset,
            ghost: false,
            soft_start: false,
            slid: false,
        }
    }

    /// Such notes at these places in quarters, a quarter so long in seconds, from half a second on.
    pub(crate) fn played(quarters: &[f64], quarter_s: f64) -> Vec<Candidate> {
        let onsets = quarters.iter().map(|place| 0.5 + place * quarter_s);
        onsets.map(|onset_s| plucked(onset_s, 40.0)).collect()
    }
}
