//! A click that can be heard in the take: where it lies, how loud it is, and which events are
//! nothing else.
//!
//! To a click the tempo is known, so a pass that is laid says where the beats are. Sounds that die
//! at once on beats before its first note are the click. Where it is heard, an event on a beat that
//! adds nothing to what rings is the click; a note on a beat adds its own.

use crate::compare::lay::ends::NO_NOTE;
use crate::compare::lay::passes::Pass;
use crate::compare::lay::slots::Slot;
use crate::hearing::choked::dies;
use crate::hearing::events::HeardNote;
use crate::units::median;

/// Beats before the first note that are looked at: two bars of four.
const BEATS_BEFORE: i32 = 8;
/// How far from a beat a click may lie, in seconds: a player may be ahead of it or behind it by as
/// much. Raised, other noises are taken for it.
const NEAR_S: f64 = 0.050;
/// How many clicks must be found before a pass. Raised, a click is heard less often.
const CLICKS: usize = 3;
/// How far the clicks may lie apart from each other on their beats, in seconds: people do not tap
/// as evenly. Raised, tapping is taken for a click.
const APART_S: f64 = 0.008;
/// An event this close to a click, in seconds, may be the click.
const AT_CLICK_S: f64 = 0.020;
/// An event that adds less than this share to what sounds adds nothing. Measured on the ground:
/// clicks over a ringing note add up to 0.04, notes from 0.1 on.
const NEW_SHARE: f64 = 0.08;

/// The click of a pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Click {
    /// How much later than the pass's own beats it lies, in seconds.
    pub behind_s: f64,
    /// Its level over 100 ms, in decibels relative to full scale.
    pub level_dbfs: f64,
}

/// How far a click of some milliseconds is above its level over 100 ms with its loudest sample, in
/// decibels; closed form for a decay of 6 ms.
const PEAK_OVER_LEVEL_DB: f64 = 18.0;

impl Click {
    /// Its loudest sample, about, in decibels relative to full scale.
    pub fn peak_dbfs(&self) -> f64 {
        self.level_dbfs + PEAK_OVER_LEVEL_DB
    }
}

/// The click of each pass, where it can be heard.
pub(crate) fn find(slots: &[Slot], events: &[HeardNote], passes: &[Pass]) -> Vec<Option<Click>> {
    passes
        .iter()
        .map(|pass| of_pass(slots, events, pass))
        .collect()
}

/// The loudest sample of the loudest of some clicks, about, in decibels relative to full scale; `None`
/// where none was heard.
pub(crate) fn loudest_dbfs(clicks: &[Option<Click>]) -> Option<f64> {
    let peaks = clicks.iter().flatten().map(Click::peak_dbfs);
    peaks.reduce(f64::max)
}

fn of_pass(slots: &[Slot], events: &[HeardNote], pass: &Pass) -> Option<Click> {
    let first = &slots[pass.slots.start];
    let grid = &pass.stretches.first()?.grid;
    let opening = pass.stretches.first()?.pairs.first()?.1 + pass.events.start;
    let mut found: Vec<(f64, f64)> = Vec::new();
    for beat in 1..=BEATS_BEFORE {
        let at_s = grid.time_at(first.bar_s - f64::from(beat) * first.beat_s);
        let nearest = events[..opening]
            .iter()
            .filter(|event| dies(event))
            .map(|event| (event.onset_s - at_s, event.level_dbfs))
            .filter(|(off_s, _)| off_s.abs() < NEAR_S)
            .min_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
        found.extend(nearest);
    }
    let mut offs: Vec<f64> = found.iter().map(|found| found.0).collect();
    let behind_s = median(&mut offs)?;
    found.retain(|(off_s, _)| (off_s - behind_s).abs() < APART_S);
    let mut levels: Vec<f64> = found.iter().map(|found| found.1).collect();
    (found.len() >= CLICKS).then_some(Click {
        behind_s,
        level_dbfs: median(&mut levels)?,
    })
}

/// Takes the evidence away from events that are nothing but the click. Where it was heard before
/// one pass it sounds in the others, too. Output: whether there were any.
pub(crate) fn disbelieve(
    slots: &[Slot],
    events: &mut [HeardNote],
    passes: &[Pass],
    clicks: &[Option<Click>],
) -> bool {
    let mut behind: Vec<f64> = clicks
        .iter()
        .flatten()
        .map(|click| click.behind_s)
        .collect();
    let Some(usual_s) = median(&mut behind) else {
        return false;
    };
    let mut any = false;
    for (pass, click) in passes.iter().zip(clicks) {
        let behind_s = click.map_or(usual_s, |click| click.behind_s);
        for stretch in &pass.stretches {
            let (Some(first), Some(last)) = (stretch.pairs.first(), stretch.pairs.last()) else {
                continue;
            };
            let slot = &slots[pass.slots.start + first.0];
            let range = pass.events.start + first.1..=pass.events.start + last.1;
            for event in &mut events[range] {
                // Where in the line it lies, by the grid, which has the line's own tempo.
                let here_s = stretch.grid.time_at(slot.bar_s);
                let beats = (event.onset_s - behind_s - here_s) / slot.beat_s;
                let off_s = (beats - beats.round()) * slot.beat_s;
                let new = event.features.fresh_share.max(event.features.new_share);
                if off_s.abs() < AT_CLICK_S && new < NEW_SHARE {
                    event.evidence = NO_NOTE;
                    any = true;
                }
            }
        }
    }
    any
}
