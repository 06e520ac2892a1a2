//! Whether eighths were swung: the line is written straight and at several ratios, and the cheapest
//! is taken.

use super::candidates::Candidate;
use super::clockwork::Clockwork;
use super::places::{Division, Places, STEPS};
use super::quantise::{Pulse, Way, quantise};
use crate::compare::median;
use crate::music::line::{Meter, SwingRatio};

/// Ratios that are tried, long to short; between them the clock's tolerance reaches. Below the first
/// nobody hears a swing: Friberg and Sundström (2002), Music Perception 19, 333-349, from memory.
const RATIOS: [f64; 4] = [1.35, 1.7, 2.0, 2.5];
/// A swung line must be cheaper by this, in nats. Raised, fewer lines are swung.
const SWUNG: f64 = 8.0;
/// Off-beats that must be there for a line to be swung.
const OFF_BEATS_MIN: usize = 4;

/// The cheapest way, straight or swung, with the pulse that it was laid by.
pub(crate) fn straight_or_swung(
    candidates: &[Candidate],
    places: Places,
    pulse: Pulse,
    first: i64,
    meter: Meter,
) -> (Pulse, Way) {
    let straight = quantise(candidates, places, pulse, first);
    if !meter.is_in_quarters() {
        return (pulse, straight);
    }
    let mut best = (pulse, straight);
    let limit = best.1.cost - SWUNG;
    let mut cheapest = limit;
    for ratio in RATIOS
        .iter()
        .filter_map(|&ratio| SwingRatio::new(ratio).ok())
    {
        let swung = Pulse {
            swing: Some(ratio),
            ..pulse
        };
        let way = quantise(candidates, places, swung, first);
        if way.cost < cheapest && off_beats(&way, places).count() >= OFF_BEATS_MIN {
            cheapest = way.cost;
            best = (swung, way);
        }
    }
    if best.0.swing.is_some()
        && let Some(exact) = measured(&best.1, candidates, places, best.0)
    {
        let swung = Pulse {
            swing: Some(exact),
            ..pulse
        };
        let way = quantise(candidates, places, swung, first);
        if way.cost <= best.1.cost {
            best = (swung, way);
        }
    }
    best
}

/// The notes on the second eighth of a beat.
fn off_beats(way: &Way, places: Places) -> impl Iterator<Item = (usize, i64)> {
    let half = move |step: i64| {
        places.division(step) == Some(Division::Halves) && step.rem_euclid(STEPS) == STEPS / 2
    };
    let notes = way.notes.iter().map(|note| (note.at, note.step));
    notes.filter(move |&(_, step)| half(step))
}

/// The ratio that was played: where the off-beats lie in their beats, in the middle.
fn measured(
    way: &Way,
    candidates: &[Candidate],
    places: Places,
    pulse: Pulse,
) -> Option<SwingRatio> {
    let clockwork = Clockwork::new(&way.notes, candidates, places, pulse)?;
    let mut shares: Vec<f64> = off_beats(way, places)
        .map(|(at, step)| {
            let beat_s = clockwork.at(step - STEPS / 2);
            let next_s = clockwork.at(step + STEPS / 2);
            (candidates[at].onset_s - beat_s) / (next_s - beat_s)
        })
        .filter(|share| share.is_finite())
        .collect();
    let share = median(&mut shares)?;
    SwingRatio::new(share / (1.0 - share)).ok()
}
