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

/// How well the sound at `from` repeats `lag` samples later, over `frames` samples: 1 whole, 0 not at all, -1
/// turned over.
fn repeats(x: &[f32], lag: usize, frames: usize) -> f64 {
    let (Some(a), Some(b)) = (x.get(..frames), x.get(lag..lag + frames)) else {
        return 0.0;
    };
    let power = 0.5 * (mean_square(a) + mean_square(b)) * frames as f64;
    f64::from(dot(a, b)) / (power + 1e-20)
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

    /// Closed form: a glide is over where it was made to end, to within the 8 ms that are asked for at 41 Hz
    /// and less above; a note without one has no arrival.
    #[test]
    fn a_slide_arrives_where_it_ends() {
        for hz in [41.2, 55.0, 98.0, 196.0] {
            for glide_s in [0.06, 0.10, 0.15] {
                let at = arrival(&slid(hz, glide_s), RATE_HZ, 0.0, 3500.0, hz);
                let off_s = at.map(|at| at / RATE_HZ - glide_s);
                assert!(
                    off_s.is_some_and(|off_s| off_s.abs() < 0.025),
                    "{hz} {glide_s}: {off_s:?}"
                );
            }
            assert_eq!(arrival(&slid(hz, 0.0), RATE_HZ, 0.0, 3500.0, hz), None);
        }
    }
}
