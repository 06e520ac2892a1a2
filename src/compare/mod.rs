//! Heard against expected: alignment, grid, verdicts and flags, tally, findings.
//!
//! Pure functions over values: no file, no clock, no device, no environment. Used by `session`
//! and everything above.
//!
//! The way through the room: `lay` finds which heard note is which written one, `judge` says what
//! is right and what is flagged, `say` counts and puts it into sentences. What may be set by a
//! player stands in [`marks`], what is known from before in [`usual`], what comes out in
//! [`judgement`]. What differs between takes that were judged is told by [`across`].

pub mod across;
mod judge;
pub mod judgement;
mod lay;
pub mod marks;
mod named;
mod say;
#[cfg(test)]
pub(crate) mod test_support;
pub mod usual;
pub(crate) mod whole;

use crate::compare::judge::scene::{Habits, Scene};
use crate::compare::judge::{bleed, buzz, extras, gap, loudness, scene, undecided, verdict};
use crate::compare::judgement::{
    Evenness, JudgedNote, Judgement, Loudness, PassJudgement, Stumble, Tally, TimingMode,
};
pub use crate::compare::lay::clicks;
use crate::compare::lay::clicks::{ClickedPass, without_clicks};
pub(crate) use crate::compare::lay::clock;
pub(crate) use crate::compare::lay::ends;
use crate::compare::lay::passes::Pass;
use crate::compare::lay::slots::Slot;
use crate::compare::lay::{audible, clip, costs, segments, slid, slots, swing};
use crate::compare::marks::Marks;
use crate::compare::say::{summary, uneven};
use crate::compare::usual::{Usual, usual_gaps};
use crate::hearing::events::{HeardNote, HeardRing};
use crate::hearing::ringing;
use crate::music::expected::ExpectedNote;
use crate::music::theory::Key;

/// What a take is judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// The limits between fine and flagged.
    pub marks: Marks,
    /// Whether the take was played to a click at the written tempo.
    pub mode: TimingMode,
    /// The stretches of the take whose click is known, in order of time and without overlap: each
    /// is held against its own click, whatever `mode` says. A grid's offset is fitted all the same;
    /// the difference is reported as the mean deviation.
    pub clicks: Vec<ClickedPass>,
    /// Pitches of the open strings, the thinnest first, as MIDI notes.
    pub open_midi: Vec<u8>,
    /// What is usual for the player and the instrument, from before.
    pub usual: Usual,
    /// First and last bar asked for; `None` for the whole line. The line is looked for as a whole
    /// all the same: what lies outside of these bars is told of no more.
    pub bars: Option<(u32, u32)>,
    /// The stretches asked for where they do not touch, as where a repeat plays them several times;
    /// empty when all of `bars` was asked for.
    pub stretches: Vec<(u32, u32)>,
    /// Loudest level of the take in decibels relative to full scale, for a take without notes.
    pub loudest_dbfs: f64,
    /// The keys of the line, each with the bar from which on it holds, in order: they spell the
    /// pitches in the findings. Empty when none is known.
    pub keys: Vec<(u32, Key)>,
    /// Written tempo at the start of the line in quarters per minute: what was played is told as this
    /// times how fast it went, so that a tempo change in the line is none of the player's. `None`
    /// takes the mean of the line.
    pub opening_bpm: Option<f64>,
}

/// A bass of four strings: G2, D2, A1, E1.
const BASS_OPEN_MIDI: [u8; 4] = [43, 38, 33, 28];

impl Default for Settings {
    fn default() -> Self {
        Self {
            marks: Marks::default(),
            mode: TimingMode::Free,
            clicks: Vec::new(),
            open_midi: BASS_OPEN_MIDI.to_vec(),
            usual: Usual::default(),
            bars: None,
            stretches: Vec::new(),
            loudest_dbfs: f64::NEG_INFINITY,
            keys: Vec::new(),
            opening_bpm: None,
        }
    }
}

impl Settings {
    /// The stretches of bars asked for; `None` for the whole line.
    pub(crate) fn asked(&self) -> Option<Vec<(u32, u32)>> {
        let bars = self.bars?;
        Some(if self.stretches.is_empty() {
            vec![bars]
        } else {
            self.stretches.clone()
        })
    }
}

/// Holds a take against a line.
///
/// Input:   the whole line in order of onset; the heard notes in any order, weak ones included.
/// Output:  every pass in the take, and one judged note for each expected note asked for.
/// Time:    about linear in the length of the take: the search keeps to a beam, the exact
///          alignment to a band.
///
/// Where a pass starts in the take need not be known, nor its tempo within some 40 %. Never fails;
/// heard notes without a finite onset are left out, and a line with a place that is no number is
/// judged as not played.
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
    let mut heard: Vec<HeardNote> = heard
        .iter()
        .filter(|e| e.onset_s.is_finite())
        .cloned()
        .collect();
    heard.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
    let top_midi = expected.iter().map(|note| note.midi).max().unwrap_or(127);
    let clicks = settings.clicks.iter().flat_map(|pass| &pass.clicks_s);
    let mut clicks_s: Vec<f64> = clicks.copied().filter(|s| s.is_finite()).collect();
    clicks_s.sort_by(f64::total_cmp);
    if !clicks_s.is_empty() {
        let kept = without_clicks(heard.iter().collect(), &clicks_s, top_midi);
        heard = kept.into_iter().cloned().collect();
    }
    let rings: Option<Vec<HeardRing>> = rings.map(|rings| {
        let weighed = |ring: &HeardRing| HeardRing {
            evidence: ringing::nats(ring, &heard),
            ..*ring
        };
        rings.iter().map(weighed).collect()
    });
    let rings = rings.as_deref();
    ends::disbelieve(&mut heard);
    let mut slots = slots::fold(expected);
    let quarter_s = quarter_s(expected);
    let (mut found, mut decided) = lay(expected, &slots, &heard, settings);
    // Where the first laying shows written slides, a click in the sound, or swung eighths, the take is
    // laid once more with what is known of them.
    let listens = settings.mode == TimingMode::Click && settings.clicks.is_empty();
    let mut clicks = Vec::new();
    if listens {
        clicks = audible::find(&slots, &heard, &found);
    }
    let first_dbfs = audible::loudest_dbfs(&clicks);
    let mut changed = audible::disbelieve(&slots, &mut heard, &found, &clicks);
    let swing = swing::measure(&slots, quarter_s, &heard, &found);
    if let Some((_, moved_s)) = swing.filter(|swing| swing.1 != 0.0) {
        slots = swing::moved(&slots, moved_s);
        changed = true;
    }
    // Last, because it may change the order of the events.
    changed |= slid::arrive(&slots, &mut heard, &found);
    if changed {
        (found, decided) = lay(expected, &slots, &heard, settings);
    }
    if changed && listens {
        clicks = audible::find(&slots, &heard, &found);
        // Swung off-beats may have drawn the first grid so far away that no click was near a beat.
        let late = first_dbfs.is_none();
        if late && audible::disbelieve(&slots, &mut heard, &found, &clicks) {
            (found, decided) = lay(expected, &slots, &heard, settings);
            clicks = audible::find(&slots, &heard, &found);
        }
    }
    let click_dbfs = first_dbfs.or(audible::loudest_dbfs(&clicks));
    for (pass, click) in found.iter_mut().zip(clicks) {
        pass.click_behind_s = click.map(|click| click.behind_s);
    }
    let events: Vec<&HeardNote> = heard.iter().collect();
    let asked: Vec<Pass> = match settings.asked() {
        None => found.clone(),
        Some(stretches) => found
            .iter()
            .flat_map(|pass| stretches.iter().map(move |&bars| (pass, bars)))
            .filter_map(|(pass, bars)| clip::clip(pass, &slots, bars))
            .collect(),
    };
    let notes = asked.iter().flat_map(|pass| {
        let own = &events[pass.events.clone()];
        scene::matched(pass).map(|event| own[event])
    });
    let habits = Habits::of(notes);
    let scenes: Vec<Scene> = asked
        .iter()
        .map(|pass| {
            Scene::new(
                expected, &slots, &events, pass, &habits, settings, quarter_s,
            )
        })
        .collect();
    let (judged, loudness) = judge_passes(&scenes, rings, &events, settings);
    let clear = events.iter().filter(|event| ends::is_pluck(event)).count();
    let proved: Vec<_> = found
        .iter()
        .map(|pass| summary::Proof {
            recognised: pass.recognised,
            right: pass.right,
            slots: pass.slots.clone(),
        })
        .collect();
    let agreement = summary::agreement(slots.len(), clear, &proved, settings.loudest_dbfs);
    let decided_s = decided.map(|event| events[event].onset_s);
    let click_db = click_dbfs.map(|click| click - settings.loudest_dbfs);
    let heard_beside = (agreement, click_db);
    let listened = rings.is_some();
    let mut judgement = whole::put_together(expected, judged, heard_beside, listened, settings);
    judgement.loudness = loudness;
    judgement.decided_s = decided_s;
    judgement.swing = swing.map(|swing| swing.0);
    let steadily = swing.filter(|swing| swing.1 != 0.0).map(|swing| swing.0);
    judgement
        .findings
        .extend(steadily.map(|swing| uneven::finding(&swing)));
    judgement
}

/// Lays what was heard over the line; nothing over a line with a place that is no number.
fn lay(
    expected: &[ExpectedNote],
    slots: &[Slot],
    heard: &[HeardNote],
    settings: &Settings,
) -> (Vec<Pass>, Option<usize>) {
    if slots.is_empty() || expected.iter().any(|note| !note.onset_s.is_finite()) {
        return (Vec::new(), None);
    }
    let events: Vec<&HeardNote> = heard.iter().collect();
    let sounds = costs::listen(&events);
    segments::lay(slots, &sounds, settings.mode, &settings.clicks)
}

/// Judges every pass, each by itself but for what is usual in the whole take.
fn judge_passes(
    scenes: &[Scene],
    rings: Option<&[HeardRing]>,
    events: &[&HeardNote],
    settings: &Settings,
) -> (Vec<PassJudgement>, Loudness) {
    let mut measured: Vec<(Vec<JudgedNote>, Vec<f64>)> = scenes
        .iter()
        .map(|scene| {
            let mut notes = verdict::judge_notes(scene);
            let doubts_ms = gap::measure(scene, &mut notes);
            (notes, doubts_ms)
        })
        .collect();
    let usual = usual_gaps(measured.iter().flat_map(|(notes, _)| notes));
    for (notes, doubts_ms) in &mut measured {
        gap::flag(settings, &usual, notes, doubts_ms);
    }
    let mut of_passes: Vec<&mut Vec<JudgedNote>> =
        measured.iter_mut().map(|(notes, _)| notes).collect();
    buzz::tell(&mut of_passes, &settings.marks);
    let loudness = loudness::learn(&mut of_passes, events, &settings.marks);
    let passes = scenes.iter().zip(measured).enumerate();
    let passes = passes
        .map(|(k, (scene, (notes, _)))| judge_pass(k + 1, scene, notes, rings))
        .collect();
    (passes, loudness)
}

/// Judges one pass, whose notes are judged already.
fn judge_pass(
    number: usize,
    scene: &Scene,
    mut notes: Vec<JudgedNote>,
    rings: Option<&[HeardRing]>,
) -> PassJudgement {
    let timing = summary::timing(scene, &notes);
    let heard = |note: &JudgedNote| note.heard.as_ref().map(|h| (h.onset_s, h.release_s));
    let spans = || notes.iter().filter_map(heard);
    let (from_s, to_s) = spans().fold((f64::INFINITY, f64::NEG_INFINITY), |span, note| {
        (span.0.min(note.0), span.1.max(note.1))
    });
    let bar = |note: Option<&JudgedNote>| note.map_or(0, |note| note.expected.bar);
    let bars = (bar(notes.first()), bar(notes.last()));
    let mut extras = Vec::new();
    let mut bleed = rings.map(|_| Vec::new());
    let mut undecided = Vec::new();
    if scene.pass.recognised {
        extras = extras::find(scene);
        bleed = rings.map(|rings| bleed::find(scene, &notes, rings));
        if let Some(bleed) = &mut bleed {
            bleed::part_from_extras(bleed, &mut extras);
            bleed::flag(&mut notes, bleed);
            undecided = undecided::find(&notes, bleed);
        }
    } else {
        notes.clear();
    }
    for note in &mut notes {
        note.flags.sort_unstable();
        note.flags.dedup();
    }
    PassJudgement {
        number,
        bars,
        from_s,
        to_s,
        began: scene.pass.began,
        complete: scene.pass.complete,
        judged: scene.pass.recognised,
        stumbles: stumbles(scene),
        timing,
        evenness: Evenness::of(notes.iter()),
        tally: Tally::count(&notes, &extras),
        notes,
        extras,
        bleed,
        undecided,
    }
}

/// Where the player stopped within a pass and went on.
fn stumbles(scene: &Scene) -> Vec<Stumble> {
    let stretches = scene.pass.stretches.windows(2);
    stretches
        .filter_map(|pair| {
            let &(slot, event) = pair[1].pairs.first()?;
            let due_s = pair[0].grid.time_at(scene.slots[slot].at_s);
            let note = &scene.expected[scene.slots[slot].members.start];
            Some(Stumble {
                index: note.index,
                bar: note.bar,
                beat: note.beat,
                pause_s: scene.events[event].onset_s - due_s,
            })
        })
        .collect()
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
