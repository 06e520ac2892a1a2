//! Heard against expected: alignment, grid, verdicts and flags, tally, findings.
//!
//! Pure functions over values: no file, no clock, no device, no environment. Used by `session`
//! and everything above.
//!
//! The way through the room: `slots` folds the line into moments, `follow` (with `clock`) finds
//! the way through it, `passes` aligns (`align`) and fits the time (`grid`, `robust`) in turns,
//! `scene` holds what came out, `verdict` and `extras` judge, `summary` looks at the take as a
//! whole, `tally` counts, `findings` says it in `words`; `usual` is what is known from before. All costs of the alignment stand in
//! `costs`, all marks a player may set in [`marks`].

mod align;
mod bleed;
mod choked;
mod clock;
mod costs;
mod extras;
mod findings;
mod follow;
mod grid;
pub mod judgement;
pub mod marks;
mod passes;
mod robust;
mod scene;
mod slots;
mod summary;
mod tally;
#[cfg(test)]
mod test_support;
mod undecided;
pub mod usual;
mod verdict;
mod words;

use crate::compare::follow::Course;
use crate::compare::judgement::{Judgement, Tally, TimingMode};
use crate::compare::marks::Marks;
use crate::compare::passes::Laid;
use crate::compare::scene::Scene;
use crate::compare::usual::Usual;
use crate::hearing::events::{HeardNote, HeardRing};
use crate::music::expected::ExpectedNote;

/// What a take is judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The limits between fine and flagged.
    pub marks: Marks,
    /// Whether the take was played to a click at the written tempo.
    pub mode: TimingMode,
    /// Where bar 1 beat 1 of the click lies in the take, in seconds, when that is known. The
    /// grid's offset is fitted all the same; the difference is reported as the mean deviation.
    pub click_at_s: Option<f64>,
    /// Pitches of the open strings, the thinnest first, as MIDI notes.
    pub open_midi: Vec<u8>,
    /// What is usual for the player and the instrument, from before.
    pub usual: Usual,
    /// Loudest level of the take in decibels relative to full scale, for a take without notes.
    pub loudest_dbfs: f64,
}

/// A bass of four strings: G2, D2, A1, E1.
const BASS_OPEN_MIDI: [u8; 4] = [43, 38, 33, 28];

impl Default for Settings {
    fn default() -> Self {
        Self {
            marks: Marks::default(),
            mode: TimingMode::Free,
            click_at_s: None,
            open_midi: BASS_OPEN_MIDI.to_vec(),
            usual: Usual::default(),
            loudest_dbfs: f64::NEG_INFINITY,
        }
    }
}

/// Holds a take against a line.
///
/// Input:   the line in order of onset; the heard notes in any order, weak ones included.
/// Output:  one judged note for each expected note, in the order of the line.
/// Time:    about linear in the length of the take: the search keeps to a beam, the exact
///          alignment to a band.
///
/// Where the line starts in the take need not be known, nor the tempo within some 40 %. A player
/// who stops and goes back to the opening of a bar is scored on the last complete try at each
/// bar. Never fails; heard notes without a finite onset are left out, and a line with a place
/// that is no number is judged as not played.
pub fn judge(expected: &[ExpectedNote], heard: &[HeardNote], settings: &Settings) -> Judgement {
    judge_with_rings(expected, heard, None, settings)
}

/// The same, with what the ear heard ringing beside the played notes.
pub fn judge_with_rings(
    expected: &[ExpectedNote],
    heard: &[HeardNote],
    rings: Option<&[HeardRing]>,
    settings: &Settings,
) -> Judgement {
    let mut events: Vec<&HeardNote> = heard.iter().filter(|e| e.onset_s.is_finite()).collect();
    events.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
    let slots = slots::fold(expected);
    let quarter_s = quarter_s(expected);
    let laid = if slots.is_empty() || expected.iter().any(|note| !note.onset_s.is_finite()) {
        Laid {
            passes: Vec::new(),
            scored: vec![None; slots.len()],
        }
    } else {
        let course = Course {
            slots: &slots,
            events: &costs::listen(&events),
            mode: settings.mode,
            quarter_s,
        };
        passes::lay(&course)
    };
    let scene = Scene::new(expected, &slots, &events, &laid, settings, quarter_s);
    let mut notes = verdict::judge_notes(&scene);
    let mut extras = extras::find(&scene);
    let mut bleed = rings.map(|rings| bleed::find(&scene, &notes, rings));
    if let Some(bleed) = &mut bleed {
        bleed::part_from_extras(bleed, &mut extras);
        bleed::flag(&mut notes, bleed);
    }
    let undecided = bleed
        .as_deref()
        .map(|bleed| undecided::find(&notes, bleed))
        .unwrap_or_default();
    let agreement = summary::agreement(&scene, &notes, &extras);
    let timing = summary::timing(&scene, &notes);
    let findings = findings::find(
        &scene,
        &notes,
        &extras,
        bleed.as_deref().unwrap_or_default(),
        agreement,
        &timing,
    );
    let tally = Tally::count(&notes, &extras);
    Judgement {
        agreement,
        timing,
        notes,
        extras,
        bleed,
        undecided,
        findings,
        tally,
        marks: settings.marks.clone(),
    }
}

/// Mean length of a written quarter note in seconds; half a second when the line does not say.
fn quarter_s(expected: &[ExpectedNote]) -> f64 {
    let spans = match (expected.first(), expected.last()) {
        (Some(first), Some(last)) => (
            last.onset_s - first.onset_s,
            last.onset_quarters - first.onset_quarters,
        ),
        _ => (0.0, 0.0),
    };
    let (seconds, quarters) = match expected.first() {
        Some(first) if spans.1.is_nan() || spans.1 <= 0.0 => {
            (first.length_s, first.length_quarters)
        }
        _ => spans,
    };
    let mean = seconds / quarters;
    if mean.is_finite() && mean > 0.0 {
        mean
    } else {
        0.5
    }
}

/// The middle value; sorts what it is given. `None` of nothing.
fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let count = values.len();
    match count {
        0 => None,
        _ if count % 2 == 1 => Some(values[count / 2]),
        _ => Some((values[count / 2 - 1] + values[count / 2]) / 2.0),
    }
}
