//! Takes with truth as rows of features, for each model of the ear.

use std::path::Path;

use seamline::hearing::beside::{self, Around};
use seamline::hearing::choked;
use seamline::hearing::events::{HeardNote, HeardRing};
use seamline::hearing::listener::{Listener, ListenerConfig};
use seamline::hearing::pluck;
use seamline::session::offline;
use seamline::sound::file;
use serde_json::Value;

/// An onset counts as a true one within this many seconds of it.
const NEAR_S: f64 = 0.060;
/// An onset this close to a note of the line is that note heard twice, in seconds.
const SAME_PLUCK_S: f64 = 0.040;
/// A pluck softer than this below the note over which it sounds is neither asked for nor forbidden,
/// in decibels.
const SOFT_DB: f64 = -9.5;
/// An onset this long before a slide arrives may be where it left, in seconds: neither a pluck nor none.
const SLIDE_S: f64 = 0.400;
/// The lowest open string of the basses that the takes were played on, as a MIDI note.
const LOWEST_MIDI: f64 = 28.0;
/// Evidence of a sure note, in nats; such notes tell the usual level.
const SURE_EVIDENCE: f64 = 2.0;

/// One onset.
pub struct Row {
    /// The take it is from.
    pub take: String,
    /// What it was played on.
    pub instrument: String,
    /// The kind of take.
    pub kind: String,
    /// Whether a string was plucked.
    pub is_pluck: bool,
    /// What the model sees.
    pub features: Vec<f64>,
}

impl Row {
    /// A row of a take.
    pub fn of(take: &Value, is_pluck: bool, features: &[f64]) -> Self {
        Self {
            take: text_of(&take["take"]).to_owned(),
            instrument: text_of(&take["instrument"]).to_owned(),
            kind: text_of(&take["group"]).to_owned(),
            is_pluck,
            features: features.to_vec(),
        }
    }
}

/// The rows of each model.
#[derive(Default)]
pub struct Rows {
    /// All onsets: plucks of any kind, hammered and pulled notes, or not.
    pub pluck: Vec<Row>,
    /// Onsets within a pass that are no notes of the line: accidental plucks or not.
    pub beside: Vec<Row>,
    /// Sounds that die at once: plucks, choked or short, or not.
    pub choked: Vec<Row>,
}

/// What the truth says of a time.
#[derive(Clone, Copy, PartialEq)]
enum Label {
    Note,
    Choked,
    Pluck,
    Soft,
    Slide,
    Other,
}

/// Listens to every take of a folder and adds its rows.
pub fn rows_of(folder: &Path, rows: &mut Rows) -> Result<(), String> {
    for take in truths(folder)? {
        let (heard, _) = listen(folder, &take)?;
        take_rows(&take, &heard, rows);
    }
    Ok(())
}

/// What is true of every take of a folder.
pub fn truths(folder: &Path) -> Result<Vec<Value>, String> {
    let truth = folder.join("truth");
    let entries = std::fs::read_dir(&truth).map_err(|e| format!("{}: {e}", truth.display()))?;
    let mut paths: Vec<_> = entries.flatten().map(|entry| entry.path()).collect();
    paths.sort();
    let read = |path: std::path::PathBuf| {
        let named = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
        let text = std::fs::read_to_string(&path).map_err(|e| named(&e))?;
        serde_json::from_str(&text).map_err(|e| named(&e))
    };
    paths.into_iter().map(read).collect()
}

/// A text of the truth; empty where there is none.
pub fn text_of(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}

/// What is heard in a take of a folder, with the ear of a bass.
pub fn listen(folder: &Path, take: &Value) -> Result<(Vec<HeardNote>, Vec<HeardRing>), String> {
    let path = folder.join("audio").join(text_of(&take["file"]));
    let named = |e: &dyn std::fmt::Display| format!("{}: {e}", path.display());
    let mut source = file::open(&path).map_err(|e| named(&e))?;
    let config = ListenerConfig::bass(source.format().rate);
    let ear = Listener::new(config).map_err(|e| named(&e))?;
    offline::hear_with_rings(source.as_mut(), ear).map_err(|e| named(&e))
}

/// Adds the rows of one take.
fn take_rows(take: &Value, heard: &[HeardNote], rows: &mut Rows) {
    let alone = [take.clone()];
    let passes = take["passes"].as_array().map_or(&alone[..], Vec::as_slice);
    let list = |pass: &Value, name: &str| pass[name].as_array().cloned().unwrap_or_default();
    let mut labels = vec![Label::Other; heard.len()];
    let mut spans = Vec::new();
    let mut slides = Vec::new();
    for pass in passes {
        let played: Vec<Value> = list(pass, "notes")
            .iter()
            .map(|note| note["played"].clone())
            .filter(|played| !played.is_null())
            .collect();
        let times = |name: &str| {
            played
                .iter()
                .filter_map(|p| p[name].as_f64())
                .collect::<Vec<_>>()
        };
        let (onsets, ends) = (times("onset_s"), times("release_s"));
        for (&onset_s, played) in onsets.iter().zip(&played) {
            let label = match (text_of(&played["kind"]), text_of(&played["slur"])) {
                ("dead", _) => Label::Choked,
                (_, "slide") => Label::Slide,
                _ => Label::Note,
            };
            if label == Label::Slide {
                slides.push(onset_s);
            }
            claim(heard, &mut labels, onset_s, label);
        }
        if let (Some(&from), Some(&to)) = (onsets.first(), ends.last()) {
            spans.push((from, to));
        }
    }
    for extra in passes.iter().flat_map(|pass| list(pass, "extras")) {
        let soft = extra["level_db"].as_f64().is_some_and(|db| db < SOFT_DB);
        let label = if soft { Label::Soft } else { Label::Pluck };
        if let Some(onset_s) = extra["onset_s"].as_f64() {
            claim(heard, &mut labels, onset_s, label);
        }
    }
    let mut levels: Vec<f64> = heard
        .iter()
        .zip(&labels)
        .filter(|(note, label)| **label == Label::Note && note.evidence >= SURE_EVIDENCE)
        .map(|(note, _)| note.level_dbfs)
        .collect();
    levels.sort_by(f64::total_cmp);
    let usual_dbfs = levels.get(levels.len() / 2).copied().unwrap_or(0.0);
    let is_played = |label: Label| !matches!(label, Label::Other);
    let line_note = |label: Label| matches!(label, Label::Note | Label::Choked | Label::Slide);
    let new_row = |is_pluck: bool, features: &[f64]| Row::of(take, is_pluck, features);
    for (k, note) in heard.iter().enumerate() {
        let within = spans
            .iter()
            .any(|&(from, to)| (from..=to).contains(&note.onset_s));
        let slid = slides
            .iter()
            .any(|arrives_s| (arrives_s - SLIDE_S..=*arrives_s).contains(&note.onset_s));
        // Around passes a player does as they like.
        let told = within || take["passes"].is_null();
        let neither = matches!(labels[k], Label::Soft | Label::Slide);
        if slid && labels[k] == Label::Other {
            continue;
        }
        if choked::dies(note) {
            let features = choked::row(note, usual_dbfs);
            rows.choked.push(new_row(is_played(labels[k]), &features));
        }
        if told && !neither {
            let features = pluck::row(&note.features);
            rows.pluck.push(new_row(is_played(labels[k]), &features));
        }
        if !within || !matches!(labels[k], Label::Pluck | Label::Other) {
            continue;
        }
        let before = (0..k).rev().find(|&j| is_played(labels[j]));
        let next = (k + 1..heard.len()).find(|&j| line_note(labels[j]));
        let around = Around {
            ringing_midi: before.and_then(|j| heard[j].pitch).map(|pitch| pitch.midi),
            since_s: before.map(|j| note.onset_s - heard[j].onset_s),
            until_s: next.map(|j| heard[j].onset_s - note.onset_s),
            lowest_midi: LOWEST_MIDI,
            usual_dbfs,
        };
        let close = |s: Option<f64>| s.is_some_and(|s| s < SAME_PLUCK_S);
        if close(around.since_s) || close(around.until_s) {
            continue;
        }
        let features = beside::row(note, &around);
        rows.beside
            .push(new_row(labels[k] == Label::Pluck, &features));
    }
}

/// Labels the heard note nearest to a true time that has no label yet.
fn claim(heard: &[HeardNote], labels: &mut [Label], onset_s: f64, label: Label) {
    // Of two the one that is surely a note.
    let far = |note: &HeardNote| {
        let off_s = (note.onset_s - onset_s).abs();
        (off_s < NEAR_S).then_some(off_s - if note.evidence > 0.0 { 0.020 } else { 0.0 })
    };
    let nearest = (0..heard.len())
        .filter(|&k| labels[k] == Label::Other)
        .filter_map(|k| Some((far(&heard[k])?, k)))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((_, k)) = nearest {
        labels[k] = label;
    }
}
