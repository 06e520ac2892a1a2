//! Values for the tests of this room.

use crate::compare::judgement::HeardPart;
use crate::hearing::events::{EndCause, HeardNote, HeardPitch, OnsetFeatures, STRINGS};

/// A clear note at a time and a pitch.
pub(crate) fn heard(onset_s: f64, midi: f64) -> HeardNote {
    HeardNote {
        onset_s,
        onset_uncertainty_s: 0.001,
        arrived: None,
        other_onset: None,
        evidence: 6.0,
        novelty_db: 8.0,
        pitch: Some(HeardPitch {
            midi,
            uncertainty_cents: 2.0,
            moves_cents: 0.0,
            clarity: 0.98,
            rivals: [None; 3],
        }),
        level_dbfs: -20.0,
        loudness_db: Some(-20.0),
        quiet_rise_db: None,
        brightness: None,
        clipped: false,
        release_s: onset_s + 0.4,
        release_uncertainty_s: None,
        end: EndCause::NextOnset,
        depth_db: 0.0,
        early_fall_db: Some(2.0),
        heard_at_s: onset_s + 0.01,
        named_at_s: Some(onset_s + 0.05),
        named_midi: Some(midi),
        features: OnsetFeatures::default(),
        chords: Vec::new(),
        still: None,
        answers: [None; STRINGS],
    }
}

/// What is told of a heard note before anything is judged.
pub(crate) fn part(note: &HeardNote) -> HeardPart {
    HeardPart {
        midi: note.pitch.map(|pitch| pitch.midi),
        cents: None,
        cents_uncertainty: None,
        onset_s: note.onset_s,
        release_s: note.release_s,
        level_dbfs: note.level_dbfs,
        loudness_db: note.loudness_db,
        level_db: None,
        level_uncertainty_db: None,
        brightness: note.brightness,
        buzz_nats: None,
        timing_ms: None,
        timing_uncertainty_ms: None,
        gap_ms: None,
        gap_uncertainty_ms: None,
        gap_depth_db: None,
        heard_at_s: note.heard_at_s,
        named_at_s: note.named_at_s,
        named_midi: note.named_midi,
    }
}
