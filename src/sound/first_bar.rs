//! Where bar 1 lies in a track, by its beat at a tempo that is known: said only when it is sure.

use std::path::Path;

use super::SoundError;
use super::block::Delivery;
use super::file::open;

/// Levels are taken in steps of this, in seconds: half of what a beat may be off.
const STEP_S: f64 = 0.005;
/// The moment is looked for this many steps around the beat that was found.
const NEAR: i32 = 6;
/// A beat begins in the first step that rises by this share of the most.
const RISEN: f64 = 0.3;
/// A level is held against this many steps before it.
const PERIOD: usize = 4;
/// This much of the track is listened to, in seconds.
const HEARD_S: f64 = 90.0;
/// Fewer beats than this say nothing.
const BEATS_MIN: f64 = 16.0;
/// The beat must rise above what is between the beats by this factor. Raised, fewer tracks are taken.
const BEAT_CLEAR: f64 = 3.0;
/// The first beat of the bar must rise above the next best by this factor. Raised, fewer are taken.
const BAR_CLEAR: f64 = 1.3;
/// The track has begun where it is this far under its loudest, in decibels.
const BEGUN_DB: f64 = 30.0;
/// A corner between low sound, which marks first beats, and all else, in hertz.
const LOW_HZ: f64 = 150.0;

/// Where bar 1 was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FirstBar {
    /// Its moment in the track, in seconds.
    pub at_s: f64,
    /// How far its beats rise above what is between them, as a factor.
    pub beat: f64,
    /// How far first beats rise above the next best of the bar, as a factor.
    pub bar: f64,
}

/// Looks for bar 1 of a track: the first beat of the first whole bar after it has begun.
///
/// Input:   `beat_s` is the length of a beat in the track in seconds, `beats` how many a bar has.
/// Output:  `None` where the beat or the bar is not clear enough to say.
///
/// # Errors
/// When the track cannot be read.
pub fn first_bar(path: &Path, beat_s: f64, beats: usize) -> Result<Option<FirstBar>, SoundError> {
    let rises = rises(path)?;
    Ok(found(&rises, beat_s, beats))
}

/// How far the level rises in each step, in all and in low sound, and the level.
struct Rises {
    /// The step, in seconds: whole frames.
    step_s: f64,
    all: Vec<f64>,
    low: Vec<f64>,
    level_db: Vec<f64>,
}

fn rises(path: &Path) -> Result<Rises, SoundError> {
    let mut source = open(path)?;
    let rate = source.format().rate.hz();
    let step = ((STEP_S * rate) as usize).max(1);
    let (mut whole, mut high, mut low) = (Vec::new(), Vec::new(), Vec::new());
    let turn = 1.0 - (-std::f64::consts::TAU * LOW_HZ / rate).exp();
    let (mut smooth, mut last) = (0.0f64, 0.0f64);
    let mut sums = [0.0f64; 3];
    let mut count = 0usize;
    let mut block = Vec::new();
    while (whole.len() as f64) < HEARD_S / STEP_S {
        let delivery = source.next_block(&mut block)?;
        if delivery == Delivery::End {
            break;
        }
        for x in &block {
            let x = f64::from(*x);
            smooth += turn * (x - smooth);
            sums[0] += x * x;
            sums[1] += (x - last).powi(2);
            sums[2] += smooth * smooth;
            last = x;
            count += 1;
            if count.is_multiple_of(step) {
                let level = |sum: f64| (sum / step as f64).sqrt();
                whole.push(20.0 * level(sums[0]).max(1e-5).log10());
                high.push(level(sums[1]));
                low.push(level(sums[2]));
                sums = [0.0; 3];
            }
        }
    }
    let rise = |levels: &[f64]| -> Vec<f64> {
        // A period of the lowest drum is longer than a step: nothing rises within it.
        let past = |n: usize| levels[n.saturating_sub(PERIOD)..n].iter().copied();
        let before = |n: usize| past(n).fold(0.0, f64::max);
        let steps = levels.iter().enumerate();
        steps
            .map(|(n, level)| (level - before(n)).max(0.0))
            .collect()
    };
    Ok(Rises {
        step_s: step as f64 / rate,
        all: rise(&high),
        low: rise(&low),
        level_db: whole,
    })
}

/// The mean of the steps at `first` and every `stride` behind it.
fn exact(levels: &[f64], first: f64, stride: f64) -> f64 {
    let count = ((levels.len() as f64 - first) / stride).floor().max(1.0) as usize;
    let places = (0..count).map(|k| (first + k as f64 * stride).round());
    let at = |place: f64| (place >= 0.0).then(|| levels.get(place as usize)).flatten();
    places.filter_map(at).sum::<f64>() / count as f64
}

fn found(rises: &Rises, beat_s: f64, beats: usize) -> Option<FirstBar> {
    let steps = rises.all.len() as f64;
    let beat = beat_s / rises.step_s;
    if beats == 0 || beat.is_nan() || beat <= 4.0 || steps / beat < BEATS_MIN {
        return None;
    }
    let loudest = rises
        .level_db
        .iter()
        .copied()
        .fold(f64::NEG_INFINITY, f64::max);
    let begun = rises
        .level_db
        .iter()
        .position(|db| *db > loudest - BEGUN_DB)?;
    let mean = |levels: &[f64], first: f64, stride: f64| {
        let count = ((steps - first) / stride).floor().max(1.0) as usize;
        let near = |at: f64| {
            let at = at.round() as usize;
            let near = at.saturating_sub(1).min(levels.len())..(at + 2).min(levels.len());
            levels[near].iter().copied().fold(0.0, f64::max)
        };
        let sum: f64 = (0..count).map(|k| near(first + k as f64 * stride)).sum();
        sum / count as f64
    };
    let from = begun as f64;
    let phases: Vec<f64> = (0..beat as usize)
        .map(|phase| mean(&rises.all, from + phase as f64, beat))
        .collect();
    let best = (0..phases.len()).max_by(|a, b| phases[*a].total_cmp(&phases[*b]))?;
    let mut sorted = phases.clone();
    sorted.sort_by(f64::total_cmp);
    let usual = sorted[sorted.len() / 2].max(1e-9);
    let clear = phases[best] / usual;
    let bar = beat * beats as f64;
    let firsts: Vec<f64> = (0..beats)
        .map(|k| mean(&rises.low, from + best as f64 + k as f64 * beat, bar))
        .collect();
    let first = (0..beats).max_by(|a, b| firsts[*a].total_cmp(&firsts[*b]))?;
    let others = (0..beats).filter(|k| *k != first).map(|k| firsts[k]);
    let bar_clear = firsts[first] / others.fold(1e-9, f64::max);
    let at = from + best as f64 + first as f64 * beat;
    // A bar that begins with the track was found a step before or behind it.
    let at = if at - bar > from - 3.0 { at - bar } else { at };
    // About there: the first step in which a good part of the rise has come.
    let near: Vec<f64> = (-NEAR..=NEAR)
        .map(|off| exact(&rises.all, at + f64::from(off), beat))
        .collect();
    let part = RISEN * near.iter().copied().fold(0.0, f64::max);
    let off = near.iter().position(|rise| *rise >= part)?;
    let at = at + off as f64 - f64::from(NEAR) + 0.5;
    (clear >= BEAT_CLEAR && bar_clear >= BAR_CLEAR).then_some(FirstBar {
        at_s: (at * rises.step_s).max(0.0),
        beat: clear,
        bar: bar_clear,
    })
}
