//! When a sound that slides comes to rest on its pitch.
//!
//! A note that is slid into has no pluck where it begins: the hand leaves, the pitch glides, and the note is
//! there when the glide is over. Looking ahead from a moment, what follows repeats after a whole number of
//! its last periods only from where the glide has ended.
//!
//! # Source
//! The normalised square difference: P. McLeod and G. Wyvill (2005), *A smarter way to find pitch*, ICMC
//! (from memory). That a slid note begins where the slide arrives is common practice, no source.

use super::dsp::history::History;
use super::dsp::power::{dot, mean_square};

/// What repeats is looked for after about this long, in seconds: a fret's worth of pitch has then turned the
/// lowest partials by a quarter and more. Raised, short notes say nothing.
const LAG_S: f64 = 0.040;
/// Over how long it must repeat, in seconds, and in periods at least. Raised, arrivals are told less finely.
const WINDOW_S: f64 = 0.012;
const WINDOW_PERIODS: f64 = 1.0;
/// Step of the moments looked at, in seconds.
const STEP_S: f64 = 0.002;
/// Step of a first look, in seconds.
const GLANCE_S: f64 = 0.020;
/// The attack of a pluck may hide its period for this long, in seconds: a shorter glide is none.
const ATTACK_S: f64 = 0.035;
/// How long a slide may last, in seconds; longer, it is another note.
const LONGEST_S: f64 = 0.400;
/// How well what follows repeats once the pitch is reached, -1 to 1. Raised, arrivals are told late.
const REPEATS: f64 = 0.85;
/// A sound that glides repeats less well than this somewhere before, -1 to 1. Raised, notes that swell are
/// taken for slides.
const GLIDES: f64 = 0.6;

/// How well the first `frames` samples of a sound repeat `lag` samples later: 1 whole, 0 not at all, -1 turned
/// over.
fn repeats(x: &[f32], lag: usize, frames: usize) -> f64 {
    x.get(..frames)
        .map_or(0.0, |head| repeats_of(head, mean_square(head), x, lag))
}

/// The same of a beginning whose power is known, for several lags.
fn repeats_of(head: &[f32], own: f64, x: &[f32], lag: usize) -> f64 {
    let frames = head.len();
    let Some(later) = x.get(lag..lag + frames) else {
        return 0.0;
    };
    let power = 0.5 * (own + mean_square(later)) * frames as f64;
    f64::from(dot(head, later)) / (power + 1e-20)
}

/// Whether the sound between `onset` and `end` may glide: somewhere behind its attack it does not repeat at
/// `hz`, its pitch as a whole. A cheap look that spares the other one.
pub fn glides(stream: &History, rate_hz: f64, onset: f64, end: f64, hz: f64) -> bool {
    let (lag, frames) = lag_and_window(rate_hz, hz);
    let from = onset + 0.5 * ATTACK_S * rate_hz;
    let last = (end - (lag + frames) as f64).min(onset + LONGEST_S * rate_hz);
    let step = GLANCE_S * rate_hz;
    let mut at = from;
    while at < last {
        let place = at.round() as i64;
        let x = stream.range(place, place + (lag + frames) as i64);
        if repeats(x, lag, frames) < GLIDES {
            return true;
        }
        at += step;
    }
    false
}

/// After how many samples a sound of `hz` must repeat, and over how many.
fn lag_and_window(rate_hz: f64, hz: f64) -> (usize, usize) {
    let period = rate_hz / hz;
    let lag = ((LAG_S * hz).round().max(1.0) * period).round() as usize;
    let frames = (WINDOW_S * rate_hz).max(WINDOW_PERIODS * period) as usize;
    (lag, frames)
}

/// When the sound between `onset` and `end`, samples of a stream of `rate_hz`, comes to rest at `hz`, its pitch
/// in the end; `None` where it has that pitch from the start, or never.
pub fn arrival(stream: &History, rate_hz: f64, onset: f64, end: f64, hz: f64) -> Option<f64> {
    let (lag, frames) = lag_and_window(rate_hz, hz);
    let last = (end - (lag + frames) as f64).min(onset + LONGEST_S * rate_hz);
    let step = STEP_S * rate_hz;
    let at = |k: usize| onset + k as f64 * step;
    let looked_at = ((last - onset) / step).floor();
    if looked_at < 4.0 {
        return None;
    }
    let score = |k: usize| {
        let from = at(k).round() as i64;
        let x = stream.range(from, from + (lag + frames) as i64);
        repeats(x, lag, frames)
    };
    let attack = (ATTACK_S / STEP_S) as usize;
    let count = looked_at as usize;
    // From the end backwards, while it repeats.
    let mut k = count;
    while k > 0 && score(k) >= REPEATS {
        k -= 1;
    }
    let arrived = k + 1;
    if k <= attack || k >= count {
        return None;
    }
    let glides = (attack / 2..k).any(|k| score(k) < GLIDES);
    glides.then(|| at(arrived))
}

/// How far around a pitch it is looked for in either half of a sound, as a share of its period: a semitone.
const AROUND: f64 = 0.06;
/// Periods that either half must hold.
const HALF_PERIODS: f64 = 2.5;
/// The attack is left out, in seconds.
const MOVES_AFTER_S: f64 = 0.015;
/// More of a sound than this is not looked at, in seconds: later on it may be bent on purpose.
const MOVES_WITHIN_S: f64 = 0.500;

/// How far the pitch of the sound between `onset` and `end` lies apart in its two halves, in cents, near `hz`;
/// `None` where there is too little of it. Above 0 it rises.
pub fn moves_cents(stream: &History, rate_hz: f64, onset: f64, end: f64, hz: f64) -> Option<f64> {
    let from = onset + MOVES_AFTER_S * rate_hz;
    let to = end.min(onset + MOVES_WITHIN_S * rate_hz);
    let half = 0.5 * (to - from);
    let period = rate_hz / hz;
    if half < HALF_PERIODS * period {
        return None;
    }
    let place = |at: f64| at.round() as i64;
    let first = period_near(stream.range(place(from), place(from + half)), period)?;
    let second = period_near(stream.range(place(to - half), place(to)), period)?;
    Some(1200.0 * (first / second).log2())
}

/// The period of `x` nearest to `period` at which it repeats best, in samples; `None` where that is at the edge
/// of what was looked at.
fn period_near(x: &[f32], period: f64) -> Option<f64> {
    let longest = (period * (1.0 + AROUND)).ceil() as usize + 1;
    let shortest = (period * (1.0 - AROUND)).floor() as usize;
    let head = &x[..x.len().checked_sub(longest)?];
    let own = mean_square(head);
    let mut best = (f64::NEG_INFINITY, 0);
    for lag in shortest..=longest {
        let score = repeats_of(head, own, x, lag);
        if score > best.0 {
            best = (score, lag);
        }
    }
    let lag = best.1;
    if lag == shortest || lag == longest {
        return None;
    }
    let [a, b, c] = [lag - 1, lag, lag + 1].map(|lag| repeats_of(head, own, x, lag));
    let curve = a - 2.0 * b + c;
    let shift = if curve < 0.0 {
        0.5 * (a - c) / curve
    } else {
        0.0
    };
    Some(lag as f64 + shift.clamp(-0.5, 0.5))
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 5512.5;

    /// A tone of four partials that rises two semitones to `hz` within `glide_s`.
    fn slid(hz: f64, glide_s: f64) -> History {
        let mut history = History::new(8000);
        let mut phase = 0.0;
        for i in 0..4000 {
            let t = f64::from(i) / RATE_HZ;
            let off = if glide_s > 0.0 {
                (1.0 - t / glide_s).max(0.0)
            } else {
                0.0
            };
            phase += std::f64::consts::TAU * hz * (-2.0 * off / 12.0).exp2() / RATE_HZ;
            let x: f64 = (1..=4)
                .map(|k| (f64::from(k) * phase).sin() / f64::from(k))
                .sum();
            history.push((0.2 * x) as f32);
        }
        history
    }

    /// Closed form: a steady tone moves by nothing, one that rises two semitones within 150 ms by most of the
    /// half of it that lies in the first half.
    #[test]
    fn a_pitch_that_moves_is_seen_to_move() {
        for hz in [55.0, 98.0, 196.0] {
            let steady = moves_cents(&slid(hz, 0.0), RATE_HZ, 0.0, 1500.0, hz);
            assert!(
                steady.is_some_and(|cents| cents.abs() < 3.0),
                "{hz}: {steady:?}"
            );
            let moves = moves_cents(&slid(hz, 0.15), RATE_HZ, 0.0, 1500.0, hz);
            assert!(moves.is_none_or(|cents| cents > 30.0), "{hz}: {moves:?}");
        }
    }

    /// Closed form: a glide has arrived before it was made to end, since its last part is no longer told from
    /// its goal, and behind its half; a note without one has no arrival.
    #[test]
    fn a_slide_arrives_where_it_ends() {
        for hz in [55.0, 98.0, 196.0] {
            for glide_s in [0.10, 0.15, 0.20] {
                let at = arrival(&slid(hz, glide_s), RATE_HZ, 0.0, 3500.0, hz);
                let off_s = at.map(|at| at / RATE_HZ - glide_s);
                assert!(
                    off_s.is_some_and(|off_s| (-0.5 * glide_s..0.010).contains(&off_s)),
                    "{hz} {glide_s}: {off_s:?}"
                );
            }
            assert_eq!(arrival(&slid(hz, 0.0), RATE_HZ, 0.0, 3500.0, hz), None);
        }
    }
}
