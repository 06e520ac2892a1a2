//! A click that can be heard in a take: how fast it is and when it falls.
//!
//! Between the notes and before the first a click is a sound that dies at once and is no pluck. Those
//! that lie on one even comb are the click.

use super::places::{Places, STEPS};
use crate::compare::ends;
use crate::hearing::choked::dies;
use crate::hearing::events::HeardNote;

/// Slowest and fastest click that is looked for, in clicks a minute.
const RANGE: (f64, f64) = (38.0, 240.0);
/// The periods that are tried lie this far apart, as a ratio: over a hundred clicks neighbours differ by
/// a tenth of a period.
const STEP: f64 = 1.001;
/// A click lies this close to its place, in seconds: a machine's is even, its onset is found within 5 ms.
const NEAR_S: f64 = 0.010;
/// Fewer clicks than this are none.
const CLICKS_MIN: usize = 4;
/// How many times more clicks must be found than would lie on the comb by chance. Raised, faint clicks
/// with many notes between them are not found.
const OVER_CHANCE: f64 = 3.0;
/// A tempo given is right within this share.
const GIVEN: f64 = 0.06;
/// An event this close to a click, in seconds, that adds less than this share to what sounds is the
/// click. As in the comparator: clicks over a ringing note add up to 0.04, notes from 0.1 on.
const AT_CLICK: (f64, f64) = (0.020, 0.08);

/// The click of a take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Click {
    /// Seconds from one click to the next.
    pub period_s: f64,
    /// When one of them falls, in seconds.
    pub at_s: f64,
    /// Steps of the grid to a click.
    pub steps: i64,
    /// How many were heard.
    pub heard: usize,
    /// How many of them from the first to the last were heard, as a share, 0 to 1: half of the period
    /// would have every second one alone.
    pub share: f64,
}

impl Click {
    /// Quarters a minute.
    pub fn bpm(&self) -> f64 {
        60.0 / self.period_s * self.steps as f64 / STEPS as f64
    }

    /// How far a moment is from the nearest click, in seconds, later above 0.
    pub fn off_s(&self, at_s: f64) -> f64 {
        let clicks = (at_s - self.at_s) / self.period_s;
        (clicks - clicks.round()) * self.period_s
    }

    /// Takes the evidence away from what is nothing but the click.
    pub fn disbelieve(&self, heard: &mut [HeardNote]) {
        for event in heard {
            let new = event.features.fresh_share.max(event.features.new_share);
            let only = (dies(event) && !ends::is_pluck(event)) || new < AT_CLICK.1;
            if only && self.off_s(event.onset_s).abs() < AT_CLICK.0 {
                event.evidence = ends::NO_NOTE;
            }
        }
    }
}

/// The click that is heard; `None` where there is none. `bpm` is the tempo in quarters a minute where it
/// is known within 6 %.
pub(crate) fn find(heard: &[HeardNote], places: Places, bpm: Option<f64>) -> Option<Click> {
    let is_click = |event: &&HeardNote| dies(event) && !ends::is_pluck(event);
    let sounds = heard.iter().filter(is_click).map(|event| event.onset_s);
    let mut times: Vec<f64> = sounds.filter(|s| s.is_finite()).collect();
    times.sort_by(f64::total_cmp);
    if times.len() < CLICKS_MIN {
        return None;
    }
    // Clicked is the beat, or the quarter; in a tempo given also the eighths of a dotted beat.
    let mut units = vec![places.beat];
    if bpm.is_some() && places.beat != STEPS {
        units.extend([STEPS, STEPS / 2]);
    }
    let mut best: Option<(f64, Click)> = None;
    for steps in units {
        let quarter = STEPS as f64 / steps as f64;
        let (slow, fast) = match bpm {
            Some(bpm) => (bpm * quarter * (1.0 - GIVEN), bpm * quarter * (1.0 + GIVEN)),
            None => RANGE,
        };
        let mut rate = slow;
        while rate <= fast {
            let period_s = 60.0 / rate;
            if let Some((at_s, heard, share)) = comb(&times, period_s) {
                let worth = heard as f64 * share;
                let click = Click {
                    period_s,
                    at_s,
                    steps,
                    heard,
                    share,
                };
                if best.is_none_or(|best| worth > best.0) {
                    best = Some((worth, click));
                }
            }
            rate *= STEP;
        }
    }
    best.map(|(_, click)| refined(click, &times))
}

/// Where a comb of a period lies, how many sounds lie on it, and on which share of its teeth from the first
/// to the last one does; `None` where that may be chance.
fn comb(times: &[f64], period_s: f64) -> Option<(f64, usize, f64)> {
    let (mut x, mut y) = (0.0, 0.0);
    for at in times {
        let turn = at / period_s * std::f64::consts::TAU;
        x += turn.cos();
        y += turn.sin();
    }
    let at_s = y.atan2(x) / std::f64::consts::TAU * period_s;
    let mut slots: Vec<i64> = Vec::new();
    for at in times {
        let clicks = (at - at_s) / period_s;
        if (clicks - clicks.round()).abs() * period_s < NEAR_S {
            slots.push(clicks.round() as i64);
        }
    }
    slots.dedup();
    let chance = times.len() as f64 * 2.0 * NEAR_S / period_s;
    let (first, last) = (slots.first()?, slots.last()?);
    if slots.len() < CLICKS_MIN || (slots.len() as f64) < OVER_CHANCE * chance {
        return None;
    }
    let full = slots.len() as f64 / (last - first + 1) as f64;
    Some((at_s, slots.len(), full.min(1.0)))
}

/// The click with period and moment fitted to what lies on it: a line by least squares.
fn refined(click: Click, times: &[f64]) -> Click {
    let on: Vec<(f64, f64)> = times
        .iter()
        .filter(|&&at| click.off_s(at).abs() < NEAR_S)
        .map(|&at| (((at - click.at_s) / click.period_s).round(), at))
        .collect();
    let count = on.len().max(1) as f64;
    let x = on.iter().map(|point| point.0).sum::<f64>() / count;
    let y = on.iter().map(|point| point.1).sum::<f64>() / count;
    let sxx: f64 = on.iter().map(|point| (point.0 - x).powi(2)).sum();
    let sxy: f64 = on.iter().map(|point| (point.0 - x) * (point.1 - y)).sum();
    if sxx < 1.0 {
        return click;
    }
    let period_s = sxy / sxx;
    Click {
        period_s,
        at_s: y - period_s * x,
        ..click
    }
}
