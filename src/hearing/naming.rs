//! *Soon*: which note it is, as early as one and a half periods allow.

use super::dsp::decimate::dot;
use super::dsp::history::History;

/// The sound is looked at from this long after the onset.
const SKIP_S: f64 = 0.002;
/// A lag is believed when the difference at it is below this share of the energy.
const BELIEVED: f64 = 0.10;
/// A shorter lag (an octave or a twelfth above) is preferred within this much of the deepest.
const SHORTER_WITHIN: f64 = 0.15;
/// Nothing is named earlier than this after the onset.
const EARLIEST_S: f64 = 0.008;

/// A note that has started and waits for its name.
#[derive(Clone, Copy, Debug)]
pub struct Waiting {
    /// Its onset as far as is known yet, in samples of the stream.
    pub onset: f64,
    /// How many periods must have been heard of the lag that is named.
    pub periods: f64,
}

/// The pitch in hertz of what began at `waiting.onset`, if the stream up to its end can tell.
pub fn name(
    stream: &History,
    rate_hz: f64,
    lowest_hz: f64,
    highest_hz: f64,
    waiting: Waiting,
    work: &mut Vec<f64>,
) -> Option<f64> {
    let from = (waiting.onset + SKIP_S * rate_hz).round() as i64;
    let x = stream.range(from, stream.end());
    if (x.len() as f64) < EARLIEST_S * rate_hz {
        return None;
    }
    let min_lag = ((rate_hz / highest_hz) as usize).max(3);
    let max_lag =
        ((rate_hz / lowest_hz) as usize + 1).min((x.len() as f64 / waiting.periods) as usize);
    if max_lag < min_lag + 2 {
        return None;
    }
    work.clear();
    work.push(0.0);
    let mut s = 0.0;
    for v in x {
        s += f64::from(*v) * f64::from(*v);
        work.push(s);
    }
    let n = x.len();
    let energy: Vec<f64> = std::mem::take(work);
    for lag in min_lag - 1..=max_lag.min(n - 2) {
        let w = n - lag;
        let own = energy[w];
        let other = energy[n] - energy[lag];
        let cross = f64::from(dot(&x[..w], &x[lag..]));
        work.push(((own + other - 2.0 * cross) / (own + other + 1e-20)).max(0.0));
    }
    let found = choose(work, min_lag - 1, rate_hz);
    *work = energy;
    found
}

fn choose(d: &[f64], first_lag: usize, rate_hz: f64) -> Option<f64> {
    let is_dip = |i: usize| d[i] <= d[i - 1] && d[i] < d[i + 1];
    let dips: Vec<usize> = (1..d.len().saturating_sub(1))
        .filter(|i| is_dip(*i))
        .collect();
    let deepest = dips.iter().map(|i| d[*i]).fold(f64::INFINITY, f64::min);
    if deepest > BELIEVED {
        return None;
    }
    let i = *dips.iter().find(|i| d[**i] < deepest + SHORTER_WITHIN)?;
    let (a, b, c) = (d[i - 1], d[i], d[i + 1]);
    let curve = a - 2.0 * b + c;
    let shift = if curve > 0.0 {
        (0.5 * (a - c) / curve).clamp(-0.5, 0.5)
    } else {
        0.0
    };
    Some(rate_hz / ((first_lag + i) as f64 + shift))
}
