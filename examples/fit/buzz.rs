//! Notes of takes on which buzzes were laid, as rows of features.

use std::path::Path;

use seamline::hearing::buzz::{self, Usual};
use seamline::hearing::events::{Brightness, HeardNote};
use serde_json::Value;

use super::takes::{Row, listen, text_of, truths};

/// A heard note counts as a true one within this many seconds of it.
const NEAR_S: f64 = 0.040;
/// A buzz softer than this beside its note is neither asked for nor forbidden, in decibels.
const FAINT_DB: f64 = -30.0;

/// Listens to every take of a folder and adds a row for each plucked note on which a buzz could be told.
pub fn rows_of(folder: &Path, rows: &mut Vec<Row>) -> Result<(), String> {
    for take in truths(folder)? {
        let (heard, _) = listen(folder, &take)?;
        take_rows(&take, &heard, rows);
    }
    Ok(())
}

fn take_rows(take: &Value, heard: &[HeardNote], rows: &mut Vec<Row>) {
    let empty = Vec::new();
    let notes = take["notes"].as_array().unwrap_or(&empty);
    let mut found: Vec<(Brightness, f64, Option<f64>)> = Vec::new();
    for played in notes.iter().map(|note| &note["played"]) {
        let plain = text_of(&played["kind"]) == "normal" && played["slur"].is_null();
        let at = (played["onset_s"].as_f64(), played["midi"].as_f64());
        let (Some(onset_s), Some(midi)) = at else {
            continue;
        };
        let far = |note: &&HeardNote| (note.onset_s - onset_s).abs();
        let near = heard
            .iter()
            .filter(|note| note.evidence > 0.0 && far(note) < NEAR_S)
            .min_by(|a, b| far(a).total_cmp(&far(b)));
        if let Some(brightness) = near.filter(|_| plain).and_then(|note| note.brightness) {
            found.push((brightness, midi, played["buzz"]["level_db"].as_f64()));
        }
    }
    let plain: Vec<(Brightness, f64)> = found.iter().map(|note| (note.0, note.1)).collect();
    let Some(usual) = Usual::of(&plain) else {
        return;
    };
    for (brightness, midi, buzz_db) in found {
        if buzz_db.is_some_and(|db| db < FAINT_DB) {
            continue;
        }
        if let Some(features) = buzz::row(&brightness, midi, &usual) {
            rows.push(Row::of(take, buzz_db.is_some(), &features));
        }
    }
}
