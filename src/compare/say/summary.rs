//! About the take as a whole: whether it is that line at all, and its time.

use crate::compare::judge::scene::Scene;
use crate::compare::judge::timing as moments;
use std::collections::BTreeSet;
use std::ops::Range;

use crate::compare::judgement::{Agreement, JudgedNote, Timing, TimingMode};
use crate::compare::lay::passes::Stretch;
use crate::compare::lay::swing::OFF_BEATS;
use crate::units::{SPREAD_OF_MEDIAN, median};

/// Share of the clear notes of a take that must be right notes of its passes before the line is
/// recognised. Another line in the same key and rhythm reaches a twentieth by chance, running scales
/// up to 0.59.
const RECOGNISED_SHARE: f64 = 0.75;
/// The same where passes begin at one place again and again: nothing does so by chance.
const REPEATED_SHARE: f64 = 0.5;
/// Or one pass must hold this share of the line as right notes: where a
/// player noodles for minutes between two passes the line is still the line.
const RECOGNISED_OF_LINE: f64 = 0.6;
/// Passes that begin at this many places at most are one way through the line.
const PLACES_OF_ONE_LINE: usize = 2;
/// Right notes that a place is worth at which passes begin: running scales fit for a bar
/// somewhere by chance, but not at the same place again.
const RIGHTS_FOR_A_PLACE: f64 = 12.0;

/// What a pass proves of the line.
pub(crate) struct Proof {
    /// Whether enough of it was recognised to judge it note by note.
    pub recognised: bool,
    /// Matches of the written pitch.
    pub right: usize,
    /// The slots of the line it went through.
    pub slots: Range<usize>,
}

/// Whether the take can be that line. `clear` notes were heard in all.
pub(crate) fn agreement(
    slots: usize,
    clear: usize,
    passes: &[Proof],
    loudest_dbfs: f64,
) -> Agreement {
    if slots == 0 {
        return Agreement::Recognised;
    }
    if passes.is_empty() && clear == 0 {
        return Agreement::NothingHeard(loudest_dbfs);
    }
    let recognised = || passes.iter().filter(|pass| pass.recognised);
    let best = recognised().map(|pass| pass.right).max().unwrap_or(0);
    let of_line = best as f64 / slots as f64;
    let right: usize = recognised().map(|pass| pass.right).sum();
    let places: BTreeSet<usize> = recognised().map(|pass| pass.slots.start).collect();
    let proved = right as f64 - RIGHTS_FOR_A_PLACE * places.len().saturating_sub(1) as f64;
    // A player who goes back once has played the line all the same.
    let reached: BTreeSet<usize> = recognised().flat_map(|pass| pass.slots.clone()).collect();
    let of_line = match places.len() {
        0..=PLACES_OF_ONE_LINE => of_line.max(reached.len() as f64 / slots as f64),
        _ => of_line,
    };
    let share = proved / clear.max(1) as f64;
    let needed = if recognised().count() >= 2 * places.len() && !places.is_empty() {
        REPEATED_SHARE
    } else {
        RECOGNISED_SHARE
    };
    if share >= needed || of_line >= RECOGNISED_OF_LINE {
        Agreement::Recognised
    } else {
        let any = passes.iter().map(|pass| pass.right).max().unwrap_or(0);
        Agreement::AnotherLine(any as f64 / slots as f64)
    }
}

/// The grid of the stretch that most notes are scored in, and the spread about it.
pub(crate) fn timing(scene: &Scene, notes: &[JudgedNote]) -> Timing {
    let mode = scene.pass.mode;
    let mut timing = Timing {
        offset_s: None,
        tempo_bpm: None,
        tempo_from_to_bpm: None,
        mode,
        spread_ms: None,
        mean_ms: None,
        offbeats_ms: None,
    };
    let Some(stretch) = main_stretch(scene) else {
        return timing;
    };
    let offset_s = stretch.grid.time_at(0.0);
    timing.offset_s = Some(offset_s);
    let (first, last) = (stretch.pairs[0].0, stretch.pairs[stretch.pairs.len() - 1].0);
    timing.tempo_bpm = tempo_between(scene, stretch, first, last);
    if stretch.grid.moves() {
        let bpm = |slot: usize| opening_bpm(scene) / stretch.grid.slope_at(scene.slots[slot].at_s);
        timing.tempo_from_to_bpm = Some((bpm(first), bpm(last)));
    }
    let mut off: Vec<f64> = notes
        .iter()
        .filter_map(|note| note.heard.as_ref()?.timing_ms)
        .collect();
    timing.spread_ms = median(&mut off).and_then(|middle| {
        let mut sizes: Vec<f64> = off.iter().map(|ms| (ms - middle).abs()).collect();
        Some(SPREAD_OF_MEDIAN * median(&mut sizes)?)
    });
    // How much later than the click the pass's own beats lie.
    let known_s = scene.pass.click_at_s.map(|click_s| offset_s - click_s);
    let heard_s = scene.pass.click_behind_s.map(|behind_s| -behind_s);
    let beats_late_s = known_s.or(heard_s);
    match mode {
        TimingMode::Free => timing.mean_ms = Some(0.0),
        TimingMode::Click => {
            timing.mean_ms = beats_late_s.map(|late_s| 1e3 * late_s);
            timing.offbeats_ms =
                beats_late_s.and_then(|late_s| Some(1e3 * (late_s + offbeats_s(scene, stretch)?)));
        }
    }
    timing
}

/// How far the off-beat eighths of a stretch lie off their written places on its grid (middle), in
/// seconds; `None` of too few. Where they were swung their places in the slots have moved, those of
/// the line have not.
fn offbeats_s(scene: &Scene, stretch: &Stretch) -> Option<f64> {
    let mut off: Vec<f64> = (0..scene.slots.len())
        .filter_map(|slot| {
            let (_, heard, own) = scene.heard(slot)?;
            let note = &scene.expected[scene.slots[slot].members.start];
            let here = own.from_slot == stretch.from_slot && note.swings;
            let place_s = own.grid.time_at(scene.slots[slot].at_s);
            let (onset_s, _) = moments::moment(heard, place_s);
            here.then(|| onset_s - own.grid.time_at(note.onset_s))
        })
        .collect();
    (off.len() >= OFF_BEATS).then(|| median(&mut off)).flatten()
}

/// The stretch in which most slots are scored.
fn main_stretch<'a>(scene: &Scene<'a>) -> Option<&'a Stretch> {
    let mut counts = vec![0_usize; scene.pass.stretches.len()];
    for scored in scene.pass.scored.iter().flatten() {
        counts[scored.stretch] += 1;
    }
    let most = (0..counts.len()).max_by_key(|&k| counts[k])?;
    Some(&scene.pass.stretches[most])
}

/// The written tempo at the start of the line, in quarters per minute.
fn opening_bpm(scene: &Scene) -> f64 {
    scene.settings.opening_bpm.unwrap_or(60.0 / scene.quarter_s)
}

/// How fast the line was played between two slots, told as its opening tempo in quarters per minute:
/// what the line itself speeds up or slows down on the way does not count.
fn tempo_between(scene: &Scene, stretch: &Stretch, first: usize, last: usize) -> Option<f64> {
    let at_s = |slot: usize| scene.slots[slot].at_s;
    let time = |slot: usize| stretch.grid.time_at(at_s(slot));
    let slope = if first == last {
        stretch.grid.slope_at(at_s(first))
    } else {
        (time(last) - time(first)) / (at_s(last) - at_s(first))
    };
    Some(opening_bpm(scene) / slope).filter(|bpm| bpm.is_finite() && *bpm > 0.0)
}
