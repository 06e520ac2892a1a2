//! Whether what sounded before a moment goes on through it as it was.
//!
//! A string that is plucked again begins anew: its partials lose their phase. A drum, a click, a knock, a
//! ripple or a finger on another string leave the partials that sound where they were, whatever noise they
//! lay over them. So each of the strongest partials before the moment is continued in its own phase beyond
//! it and held against what is there.
//!
//! # Source
//! Phases continued over an onset: J. P. Bello, C. Duxbury, M. Davies and M. Sandler (2004), *On the use of
//! phase and energy for musical onset detection in the complex domain*, IEEE Signal Processing Letters 11,
//! 553-556. The frequency of a partial from the turn of its phase: J. L. Flanagan and R. M. Golden (1966),
//! *Phase vocoder*, Bell System Technical Journal 45, 1493-1509. Departures: single partials in place of all
//! bins, over windows as long as bass strings need; both from memory.

use rustfft::num_complex::Complex;

use super::dsp::history::History;
use super::dsp::spectrum::{Peak, Spectrum};

/// Length of the stretches before and after the moment, in seconds. Raised, close partials are told apart
/// better, and the next note stands in the later one.
const SPAN_S: f64 = 0.090;
/// Shortest stretch before the moment, in seconds: less says nothing of a low string. Raised, nothing is told
/// of fast notes.
const LEAST_S: f64 = 0.045;
/// Shortest stretch behind the moment, in seconds: the next onset may be close.
const AFTER_LEAST_S: f64 = 0.030;
/// How far both keep from the moment, in seconds: it may lie a little off.
const SKIP_S: f64 = 0.005;
/// Partials between these are looked at, in hertz: below lies rumble, above a partial is too quick for its
/// phase to be foretold so far.
const FROM_HZ: f64 = 28.0;
const TO_HZ: f64 = 1200.0;
/// Partials this far below the strongest are looked at, in decibels.
const RANGE_DB: f64 = 25.0;
/// How many of them at most. Raised, it costs more.
const PARTIALS: usize = 6;
/// The frequency of a partial is told by its phase in the first and in the last of this share of the stretch
/// before the moment.
const PART: f64 = 2.0 / 3.0;

/// Continues partials over a moment; keeps its work space.
#[derive(Clone)]
pub struct Continuity {
    rate_hz: f64,
    spectrum: Spectrum,
    peaks: Vec<Peak>,
}

impl Continuity {
    /// For a stream of `rate_hz`.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            spectrum: Spectrum::new(),
            peaks: Vec::new(),
        }
    }

    /// How much of what sounded between `since` and `at` goes on between `at` and `until` in its own phase:
    /// 1 all of it, about 0 nothing, below 0 what sounds there is opposed to it. Places are samples of the
    /// stream.
    ///
    /// Output: `None` where too little of the sound before or after is there, or nothing sounded.
    pub fn goes_on(
        &mut self,
        stream: &History,
        (since, until): (f64, f64),
        at: f64,
    ) -> Option<f64> {
        let r = self.rate_hz;
        let longest = SPAN_S * r;
        let past = (at - SKIP_S * r - since).min(longest);
        if past < LEAST_S * r {
            return None;
        }
        let place = |x: f64| x.round() as i64;
        let before_to = place(at - SKIP_S * r);
        let before_from = before_to - past as i64;
        let after_from = place(at + SKIP_S * r);
        let frames = (until - at - SKIP_S * r).min(longest).max(0.0) as usize;
        let before = stream.range(before_from, before_to);
        let after = stream.range(after_from, after_from + frames as i64);
        let least = (AFTER_LEAST_S * r) as usize;
        if before.len() < past as usize || after.len() < frames || frames < least {
            return None;
        }
        self.spectrum.analyse_below(before, r, TO_HZ);
        let top = self.spectrum.peak_between(FROM_HZ, TO_HZ)?.db;
        self.spectrum
            .peaks(FROM_HZ, TO_HZ, top - RANGE_DB, &mut self.peaks);
        self.peaks.sort_by(|a, b| b.db.total_cmp(&a.db));
        self.peaks.truncate(PARTIALS);
        let middle = |from: i64, frames: usize| from as f64 + 0.5 * (frames as f64 - 1.0);
        let apart = middle(after_from, frames) - middle(before_from, before.len());
        let (mut agree, mut all) = (0.0, 1e-20);
        for peak in &self.peaks {
            let turn = exact_turn(before, std::f64::consts::TAU * peak.hz / r);
            let old = tone(before, turn) * Complex::cis(turn * apart);
            let new = tone(after, turn);
            agree += (new * old.conj()).re;
            all += new.norm() * old.norm();
        }
        Some(agree / all)
    }
}

/// The turn of a partial's phase in a sample, in radians, from the turn near which it was seen: what its phase
/// gained between the first and the last part of the stretch.
fn exact_turn(x: &[f32], near: f64) -> f64 {
    let part = (PART * x.len() as f64) as usize;
    let apart = x.len() - part;
    let first = tone(&x[..part], near);
    let last = tone(&x[apart..], near);
    let gained = (last * first.conj() * Complex::cis(-near * apart as f64)).arg();
    near + gained / apart.max(1) as f64
}

/// Amplitude and phase of a partial under a Hann window, the phase counted from the middle of the stretch;
/// `turn` is its turn in a sample, in radians.
fn tone(x: &[f32], turn: f64) -> Complex<f64> {
    let n = x.len().max(1) as f64;
    let (step, wide) = (Complex::cis(-turn), Complex::cis(std::f64::consts::TAU / n));
    let mut phase = Complex::cis(turn * 0.5 * (n - 1.0));
    let mut window = Complex::cis(std::f64::consts::PI / n);
    let mut sum = Complex::new(0.0, 0.0);
    for sample in x {
        sum += phase * (f64::from(*sample) * (1.0 - window.re));
        phase *= step;
        window *= wide;
    }
    sum / n
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 5512.5;

    /// Two partials of a low string, from a phase each, with noise of `noise` between `at` and 30 ms later.
    fn stream(at_s: f64, shift: f64, noise: f64) -> History {
        let mut history = History::new(12_000);
        let mut seed = 1u32;
        for i in 0..6000 {
            let t = f64::from(i) / RATE_HZ;
            let moved = if t < at_s { 0.0 } else { shift };
            let tau = std::f64::consts::TAU;
            let mut x =
                0.3 * (tau * 55.3 * t + moved).sin() + 0.2 * (tau * 110.9 * t + 2.0 * moved).cos();
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            if (at_s..at_s + 0.030).contains(&t) {
                x += noise * (f64::from(seed >> 8) / f64::from(1u32 << 23) - 1.0);
            }
            history.push(x as f32);
        }
        history
    }

    /// Closed form: partials left alone go on whole, also under noise of their own level; half a turn later the
    /// first is opposed and the second goes on; a quarter of a turn leaves nothing of the first.
    #[test]
    fn what_is_left_alone_goes_on() {
        let at = 0.5 * RATE_HZ;
        let mut continuity = Continuity::new(RATE_HZ);
        let pi = std::f64::consts::PI;
        for (shift, noise, least, most) in [
            (0.0, 0.0, 0.99, 1.01),
            (0.0, 0.5, 0.97, 1.01),
            (pi, 0.0, -0.5, -0.2),
            (0.5 * pi, 0.0, -0.5, -0.2),
            (1.0 * pi / 3.0, 0.0, -0.1, 0.3),
        ] {
            let got = continuity.goes_on(&stream(0.5, shift, noise), (0.0, f64::INFINITY), at);
            let got = got.expect("there is enough of it");
            assert!((least..most).contains(&got), "{shift} {noise}: {got}");
        }
    }

    /// Where there is too little before or after nothing is told.
    #[test]
    fn too_little_says_nothing() {
        let mut continuity = Continuity::new(RATE_HZ);
        let stream = stream(0.5, 0.0, 0.0);
        let at = 0.5 * RATE_HZ;
        assert!(
            continuity
                .goes_on(&stream, (at - 200.0, f64::INFINITY), at)
                .is_none()
        );
        assert!(
            continuity
                .goes_on(&stream, (0.0, f64::INFINITY), 5_900.0)
                .is_none()
        );
    }
}
