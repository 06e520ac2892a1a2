//! Whether eighths were swung: the line is written straight and at several ratios, and the cheapest
//! is taken.

use super::candidates::Candidate;
use super::clockwork::Clockwork;
use super::places::{Division, Places, STEPS};
use super::quantise::{Pulse, Way, quantise};
use crate::music::line::{Meter, SwingRatio};
use crate::units::median;

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

#[cfg(test)]
mod tests {
    use super::super::candidates::test_support::played;
    use super::*;

    /// What is written of notes at these places in quarters, at 110 quarters a minute.
    fn written(quarters: &[f64], meter: &str) -> (Option<f64>, Vec<i64>) {
        let meter: Meter = meter.parse().unwrap();
        let places = Places::new(meter).unwrap();
        let pulse = Pulse {
            bpm: 111.0,
            sd: 0.03,
            swing: None,
            zero_s: None,
        };
        let notes = played(quarters, 60.0 / 110.0);
        let (pulse, way) = straight_or_swung(&notes, places, pulse, 0, meter);
        let ratio = pulse
            .swing
            .map(|swing| swing.off_beat() / (1.0 - swing.off_beat()));
        (ratio, way.notes.iter().map(|note| note.step).collect())
    }

    /// Eighths whose off-beats lie at a share of their beats.
    fn eighths(share: f64) -> Vec<f64> {
        (0..24)
            .flat_map(|beat| [f64::from(beat), f64::from(beat) + share])
            .collect()
    }

    /// Closed form: at a ratio of r to 1 the off-beat lies at r / (r + 1) of its beat.
    #[test]
    fn the_ratio_that_was_played_is_measured() {
        let straight: Vec<i64> = (0..48).map(|k| 6 * k).collect();
        for ratio in [1.5, 1.8, 2.0, 2.5] {
            let (found, steps) = written(&eighths(ratio / (ratio + 1.0)), "4/4");
            let found = found.expect("a swing");
            assert!((found - ratio).abs() < 0.1, "{ratio}: {found}");
            assert_eq!(steps, straight, "{ratio}");
        }
    }

    #[test]
    fn even_eighths_are_straight() {
        let (found, steps) = written(&eighths(0.5), "4/4");
        assert_eq!(found, None);
        assert_eq!(steps, (0..48).map(|k| 6 * k).collect::<Vec<i64>>());
    }

    /// Three notes to a beat are triplets, not swing.
    #[test]
    fn triplets_are_no_swing() {
        let thirds: Vec<f64> = (0..36).map(|k| f64::from(k) / 3.0).collect();
        let (found, steps) = written(&thirds, "4/4");
        assert_eq!(found, None);
        assert_eq!(steps, (0..36).map(|k| 4 * k).collect::<Vec<i64>>());
    }

    /// Three off-beats are too few to tell a swing by, four are enough.
    #[test]
    fn few_off_beats_are_no_swing() {
        let with = |off_beats: usize| {
            let mut places: Vec<f64> = (0..16).map(f64::from).collect();
            places.extend((0..off_beats).map(|k| 3.0 * k as f64 + 1.0 + 2.0 / 3.0));
            places.sort_by(f64::total_cmp);
            written(&places, "4/4").0
        };
        assert_eq!(with(OFF_BEATS_MIN - 1), None);
    }

    #[test]
    fn meters_in_eighths_are_never_swung() {
        let (found, _) = written(&eighths(2.0 / 3.0), "6/8");
        assert_eq!(found, None);
    }
}
