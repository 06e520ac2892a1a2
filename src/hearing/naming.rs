//! *Soon*: which note it is, as early as can be known for sure.
//!
//! A first reading needs a period and a half. It is said once the pitch by the whole series of partials, over
//! two periods and more, is clear, has no rival, and agrees with it: else with the reading after it.
//!
//! # Source
//! Square difference over all that has been heard, normalised by the energy of both stretches:
//! P. McLeod and G. Wyvill (2005), *A smarter way to find pitch*, ICMC (from memory); the
//! difference function itself is equation 6 of YIN (see `dsp::yin`). The parabola through a dip is
//! step 5 there. Departures: 0 is periodic here and 1 is noise; what is believed loosens with the
//! time that has passed, because a longer period might still explain the sound better; a shorter
//! lag is preferred within a margin. Expected effect: a few first names are an octave or a twelfth
//! off, and the settled pitch corrects them.

use super::dsp::history::History;
use super::dsp::power::dot;
use super::pitch::Pitch;
use crate::units::cents;

/// A note is looked at for its name from this long after its onset on, in seconds: two periods of the E
/// string. Chosen on recorded strings; raised, names come later and are right more often.
const FIRST_LOOK_S: f64 = 0.050;
/// A reading less periodic than this names nothing, 0 to 1. Chosen on recorded strings; raised, rough tones
/// are named late.
const NAMED_CLARITY: f64 = 0.85;
/// A reading to which a rival comes closer than this names nothing, in nats. Chosen on recorded strings;
/// raised, names come later.
const NAMED_NATS: f64 = 2.0;
/// So many readings in a row that agree name also what is not clear. Chosen on recorded strings; raised,
/// rough tones are named late.
const STEADY_READINGS: usize = 2;
/// Two readings this close are one, in cents.
const AGREES_CENTS: f64 = 50.0;
/// The sound is looked at from this long after the onset.
const SKIP_S: f64 = 0.002;
/// At first a lag is believed when the difference at it is below this share of the energy: 0 is
/// perfectly periodic, 1 is noise. Chosen on recorded strings; raised, notes are named sooner and
/// more of them wrongly.
const BELIEVED: f64 = 0.10;
/// How long after the onset [`BELIEVED`] holds, in seconds: a longer period could still explain the
/// sound better. Chosen on recorded strings; raised, names come later.
const STRICT_FOR_S: f64 = 0.020;
/// Time over which the limit then grows from [`BELIEVED`] to [`BELIEVED_LATE`], in seconds. Chosen
/// on recorded strings; raised, rough tones are named later.
const LOOSENS_OVER_S: f64 = 0.026;
/// The same share in the end, when two periods of the lowest string have been heard. Chosen on
/// recorded strings; raised, more rough tones are named, and more of them wrongly.
const BELIEVED_LATE: f64 = 0.33;
/// A tone that never gets as periodic as that is named by a lag that stays where it is, when the
/// difference at it is at most this share of the energy. Chosen on recorded strings; raised, noise
/// gets a name.
const STEADY_BELIEVED: f64 = 0.75;
/// Such a lag stays where it is while it moves by less than this share of itself from one look to
/// the next. Chosen on recorded strings; raised, lags that wander are named.
const STEADY_WITHIN: f64 = 0.02;
/// Looks in a row at which it must have stayed there. Chosen on recorded strings; raised, slapped
/// strings are named later.
const STEADY_LOOKS: usize = 11;
/// Periods of it that must have been heard. Chosen on recorded strings; raised, low slapped strings
/// are named later.
const STEADY_PERIODS: f64 = 2.5;
/// A shorter lag (an octave or a twelfth above) is preferred within this much of the deepest.
const SHORTER_WITHIN: f64 = 0.20;
/// Nothing is named earlier than this after the onset.
const EARLIEST_S: f64 = 0.008;

/// A note that has started and waits for its name.
#[derive(Clone, Copy, Debug)]
pub struct Waiting {
    /// Its onset as far as is known yet, in samples of the stream.
    pub onset: f64,
    /// How many periods must have been heard of the lag that is read.
    pub periods: f64,
    /// When it is looked at next, in seconds from its onset.
    pub look_at_s: f64,
    /// What was read last, in hertz.
    pub reading_hz: Option<f64>,
    /// How many readings in a row agreed with the one before.
    agreed: usize,
    /// The lag that was deepest at the last look, in samples, and at how many looks it was.
    lag: f64,
    looks: usize,
}

impl Waiting {
    /// A note that was not looked at yet.
    pub fn new(onset: f64, periods: f64) -> Self {
        Self {
            onset,
            periods,
            look_at_s: FIRST_LOOK_S,
            reading_hz: None,
            agreed: 0,
            lag: 0.0,
            looks: 0,
        }
    }
}

impl Waiting {
    /// The name in hertz, where a pitch confirms what was read before it; else it is what was read.
    pub fn confirmed(&mut self, pitch: &Pitch) -> Option<f64> {
        let before = self.reading_hz.replace(pitch.hz);
        let agrees = before.is_some_and(|hz| cents(hz, pitch.hz).abs() < AGREES_CENTS);
        self.agreed = if agrees { self.agreed + 1 } else { 0 };
        let rival = pitch.rivals[0].map_or(f64::INFINITY, |rival| rival.1);
        let clear = pitch.clarity >= NAMED_CLARITY && rival >= NAMED_NATS;
        let enough = if clear { 1 } else { STEADY_READINGS };
        (self.agreed >= enough).then_some(pitch.hz)
    }
}

/// Work space of [`name`], kept so that nothing is allocated while listening.
#[derive(Clone, Debug, Default)]
pub struct Work {
    energy: Vec<f64>,
    d: Vec<f64>,
}

/// A first reading of the pitch of what began at `waiting.onset`, in hertz, if the stream up to its end can
/// tell.
pub fn name(
    stream: &History,
    rate_hz: f64,
    lowest_hz: f64,
    highest_hz: f64,
    waiting: &mut Waiting,
    work: &mut Work,
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
    let Work { energy, d } = work;
    energy.clear();
    energy.push(0.0);
    let mut s = 0.0;
    for v in x {
        s += f64::from(*v) * f64::from(*v);
        energy.push(s);
    }
    let n = x.len();
    d.clear();
    for lag in min_lag - 1..=max_lag.min(n - 2) {
        let w = n - lag;
        let own = energy[w];
        let other = energy[n] - energy[lag];
        let cross = f64::from(dot(&x[..w], &x[lag..]));
        d.push(((own + other - 2.0 * cross) / (own + other + 1e-20)).max(0.0));
    }
    let elapsed_s = n as f64 / rate_hz;
    let late = ((elapsed_s - STRICT_FOR_S) / LOOSENS_OVER_S).clamp(0.0, 1.0);
    let believed = BELIEVED + late * (BELIEVED_LATE - BELIEVED);
    let (lag, depth) = choose(d, min_lag - 1)?;
    if depth <= believed {
        return Some(rate_hz / lag);
    }
    let same = depth <= STEADY_BELIEVED && (lag - waiting.lag).abs() < STEADY_WITHIN * lag;
    waiting.looks = if same { waiting.looks + 1 } else { 1 };
    waiting.lag = lag;
    let heard = n as f64 >= STEADY_PERIODS * lag;
    (waiting.looks >= STEADY_LOOKS && heard).then_some(rate_hz / lag)
}

/// The shortest lag that is close to the deepest, and how deep that one is.
fn choose(d: &[f64], first_lag: usize) -> Option<(f64, f64)> {
    let is_dip = |i: usize| d[i] <= d[i - 1] && d[i] < d[i + 1];
    let dips = || (1..d.len().saturating_sub(1)).filter(|i| is_dip(*i));
    let deepest = dips().map(|i| d[i]).fold(f64::INFINITY, f64::min);
    let i = dips().find(|i| d[*i] < deepest + SHORTER_WITHIN)?;
    let (a, b, c) = (d[i - 1], d[i], d[i + 1]);
    let curve = a - 2.0 * b + c;
    let shift = if curve > 0.0 {
        (0.5 * (a - c) / curve).clamp(-0.5, 0.5)
    } else {
        0.0
    };
    Some(((first_lag + i) as f64 + shift, deepest))
}
