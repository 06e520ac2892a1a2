//! Takes with truth as rows of features of the strings that were heard beside the notes.

use std::path::Path;

use seamline::hearing::events::{HeardNote, HeardRing};
use seamline::hearing::ringing::{left_row, open_row, usual_db};
use serde_json::Value;

use super::takes::{Row, listen, text_of, truths};

/// Rings shorter or softer than this are not told, in seconds and decibels; they are no rows.
const SHORTEST_S: f64 = 0.15;
const SOFTEST_DB: f64 = -30.0;
/// Two pitches closer than this are one, in semitones.
const SAME_SEMITONES: f64 = 0.6;
/// Two spans that share this are at the same time, in seconds.
const SHARED_S: f64 = 0.05;
/// An onset is that of a note within this, in seconds.
const NEAR_S: f64 = 0.05;
/// A recording with more than this besides its own partials rings by itself, in decibels.
const OWN_RING_DB: f64 = -32.0;
/// An open string in such a recording does sound, though nobody rang it: one in this many is a row.
const OWN_EVERY: usize = 3;
/// Distances at which every partial is shared, in semitones.
const MASKED: [i64; 8] = [0, 12, 19, 24, 28, 31, 34, 36];

/// The rows of both models.
#[derive(Default)]
pub struct RingRows {
    /// Notes that may have been left ringing.
    pub left: Vec<Row>,
    /// Open strings.
    pub open: Vec<Row>,
    own: usize,
}

/// Listens to every take of a folder and adds its rows.
pub fn rows_of(folder: &Path, rows: &mut RingRows) -> Result<(), String> {
    for take in truths(folder)? {
        let (notes, rings) = listen(folder, &take)?;
        for ring in &rings {
            let audible = ring.to_s - ring.from_s >= SHORTEST_S && ring.level_db >= SOFTEST_DB;
            if let Some(is_ring) = label(&take, ring).filter(|_| audible) {
                rows.add(&take, ring, &notes, is_ring);
            }
        }
    }
    Ok(())
}

/// What the truth says of a ring.
#[derive(Clone, Copy, PartialEq)]
enum Label {
    Rings,
    Not,
    /// The recorded note rings by itself.
    Own,
}

impl RingRows {
    fn add(&mut self, take: &Value, ring: &HeardRing, notes: &[HeardNote], label: Label) {
        if label == Label::Own {
            self.own += 1;
            if !self.own.is_multiple_of(OWN_EVERY) {
                return;
            }
        }
        let row = |features: &[f64]| Row::of(take, label == Label::Rings, features);
        if ring.source_onset_s.is_some() {
            self.left.push(row(&left_row(ring)));
        } else {
            self.open.push(row(&open_row(ring, usual_db(ring, notes))));
        }
    }
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or(f64::NAN)
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// `None` where a ring is neither asked for nor forbidden.
fn label(take: &Value, ring: &HeardRing) -> Option<Label> {
    let shared = |from_s: f64, to_s: f64| ring.to_s.min(to_s) - ring.from_s.max(from_s);
    let meanwhile = |bleed: &&Value| shared(number(&bleed["from_s"]), number(&bleed["to_s"]));
    let pitch = |value: &Value| (number(&value["midi"]) - ring.midi).abs() < SAME_SEMITONES;
    let hits: Vec<&Value> = list(&take["bleed"])
        .iter()
        .filter(|bleed| meanwhile(bleed) > SHARED_S && pitch(bleed))
        .collect();
    let from_s = |played: &Value| number(&played["onset_s"]);
    let itself = |played: &Value| {
        let off_s = |at_s: f64| (from_s(played) - at_s).abs();
        ring.source_onset_s.is_some_and(|at_s| off_s(at_s) < NEAR_S)
    };
    let under: Vec<&Value> = list(&take["notes"])
        .iter()
        .map(|note| &note["played"])
        .filter(|p| !p.is_null() && shared(from_s(p), number(&p["release_s"])) > SHARED_S)
        .collect();
    let over: Vec<&&Value> = under.iter().filter(|p| !itself(p)).collect();
    let masked = |p: &&&Value| MASKED.contains(&((ring.midi - number(&p["midi"])).round() as i64));
    if !over.is_empty() && over.iter().all(masked) {
        return None;
    }
    let carried = |bleed: &Value| {
        let source = list(&take["notes"])
            .iter()
            .find(|note| note["id"] == bleed["source_id"]);
        text_of(&bleed["kind"]) == "ringover" && source.is_some_and(|n| itself(&n["played"]))
    };
    let left = ring.source_onset_s.is_some();
    let other = |bleed: &Value| text_of(&bleed["kind"]) != "ringover";
    if !hits.is_empty() {
        let loud = hits.iter().any(|b| number(&b["level_db"]) >= SOFTEST_DB);
        let rings = loud.then_some(Label::Rings);
        return match left {
            true if hits.iter().any(|b| carried(b)) => rings,
            true => Some(Label::Not),
            false if hits.iter().any(|b| other(b)) => rings,
            false => None,
        };
    }
    let plucked = |e: &Value| {
        pitch(e)
            && ring.from_s < number(&e["release_s"]) + 0.3
            && ring.to_s > number(&e["onset_s"]) - SHARED_S
    };
    let another = list(&take["bleed"]).iter().any(|b| meanwhile(&b) > 0.0);
    if list(&take["extras"]).iter().any(plucked) || over.is_empty() || another {
        return None;
    }
    let rings_itself = |p: &&Value| number(&p["own_ring_db"]) > OWN_RING_DB;
    let own = !left && under.iter().any(rings_itself);
    Some(if own { Label::Own } else { Label::Not })
}
