//! Which heard events may be notes, how sure each is, and which pitch it has.

use crate::compare::{ends, median};
use crate::hearing::beside::{self, Around};
use crate::hearing::choked;
use crate::hearing::events::{EndCause, HeardNote};

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
}

/// What may be a note among what was heard, in order of time.
///
/// `lowest_midi` is the lowest open string.
pub(crate) fn candidates(heard: &[HeardNote], lowest_midi: u8) -> Vec<Candidate> {
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
        if nats < HOPELESS_NATS {
            continue;
        }
        found.push(candidate(event, nats.min(SUREST_NATS), &around, off));
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
    }
}

/// Rise of the level below which nothing was plucked anew, in decibels.
const SOFT_RISE_DB: f64 = 0.0;
/// Height of the novelty below which nothing was plucked anew, in decibels.
const SOFT_NOVELTY_DB: f64 = 4.0;
/// Furthest step that one hand makes on one string while it rings, in semitones.
const SLUR_STEP: f64 = 4.5;

/// Whether the pitch turned while the string rang on, without the noise of a pluck.
fn is_soft_start(event: &HeardNote, around: &Around) -> bool {
    let step = event.pitch.zip(around.ringing_midi);
    let near = step.is_some_and(|(pitch, before)| {
        let step = (pitch.midi - before).abs();
        step > 0.5 && step < SLUR_STEP
    });
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
