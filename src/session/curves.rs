//! How pitch and level move within each note of a judged take, for its page: the take is read once more.
//!
//! Only what is drawn is made here; no verdict rests on it. The verdicts' own pitch is f1 of a fitted string over the
//! whole note, which says nothing of how it moved.

use std::collections::BTreeMap;

use crate::compare::judgement::Verdict;
use crate::hearing::dsp::decimate::{Decimator, RUN_FRAMES};
use crate::hearing::dsp::low_pass::{filter, low_pass_taps};
use crate::hearing::dsp::power::level_db;
use crate::hearing::dsp::yin;
use crate::session::result::{Curves, NoteCurve, TakeResult};
use crate::sound::SoundError;
use crate::sound::block::{Delivery, Source};
use crate::units::{Hertz, MidiNote, SampleRate};

/// Lowest rate at which curves are taken, in frames per second: the period of a G3 (196 Hz) is 51 frames then, so
/// that a parabola through three lags is good to a cent. Raising it costs time with its square.
const RATE_MIN_HZ: u32 = 10_000;

/// Longest take that has curves, in seconds: at 10 kHz its samples are 48 MB. Raising it takes more memory.
const TAKE_S_MAX: f64 = 20.0 * 60.0;

/// From one point of a curve to the next, in seconds. Raising it makes smaller pages.
const STEP_S: f64 = 0.01;

/// Periods of the note within a window.
const PERIODS: f64 = 2.0;

/// How far the pitch is looked for to either side of the note, in octaves.
const REACH_OCTAVES: f64 = 0.25;

/// Above this aperiodicity (0 to 1) there is no pitch to draw.
///
/// # Source
/// Twice the absolute threshold of YIN's step 4 (de Cheveigné & Kawahara 2002), which is meant for picking a period
/// among octaves; here the octave is known.
const APERIODICITY_MAX: f64 = 0.2;

/// The passband and the stop band begin at these partials: the upper ones of a wound string lie sharp and would draw
/// the period with them.
const PARTIALS: (f64, f64) = (3.0, 4.5);

/// Half a window of the level, in seconds.
const LEVEL_HALF_S: f64 = 0.01;

/// The curves of every heard note of every judged pass; `None` of a take that is too long.
///
/// Input:   the take's source from its first frame on, the result of the same take, A4.
/// Memory:  the take at a low rate.
///
/// # Errors
/// When the source fails on the way.
pub fn curves(
    source: &mut dyn Source,
    result: &TakeResult,
    a4: Hertz,
) -> Result<Option<Curves>, SoundError> {
    if result.take.duration_s > TAKE_S_MAX {
        return Ok(None);
    }
    let full = source.format().rate;
    let factor = (full.0 / RATE_MIN_HZ).max(1);
    let rate_hz = full.hz() / f64::from(factor);
    let samples = low_rate(source, full, factor as usize)?;
    let mut notes = BTreeMap::new();
    for pass in result.judgement.passes.iter().filter(|pass| pass.judged) {
        for note in &pass.notes {
            let Some(heard) = &note.heard else { continue };
            let written = f64::from(note.expected.midi);
            // A wrong note is held against the semitone that it is, as in its cents.
            let meant = match (note.verdict, heard.midi) {
                (Verdict::Wrong, Some(midi)) => midi.round(),
                _ => written,
            };
            let near = MidiNote(heard.midi.unwrap_or(written)).to_hertz(a4).0;
            let meant = MidiNote(meant).to_hertz(a4).0;
            let span = (heard.onset_s, heard.release_s);
            let curve = curve(&samples, rate_hz, span, near, meant);
            notes.insert((pass.number, note.expected.index), curve);
        }
    }
    Ok(Some(Curves { notes }))
}

/// The whole take at a low rate; what was lost is silence.
fn low_rate(
    source: &mut dyn Source,
    rate: SampleRate,
    factor: usize,
) -> Result<Vec<f32>, SoundError> {
    /// Of the input rate over the factor: audible partials of a bass pass, what would fold back does not.
    const BAND: (f64, f64) = (0.38, 0.5);
    let share = 1.0 / factor as f64;
    let mut decimator = Decimator::new(factor, BAND.0 * share, BAND.1 * share);
    let tail = decimator.latency_frames() + factor;
    let mut out = Vec::new();
    let mut block = Vec::new();
    let mut run = |samples: &[f32], out: &mut Vec<f32>| {
        for part in samples.chunks(RUN_FRAMES) {
            decimator.run(part, out);
        }
    };
    loop {
        match source.next_block(&mut block)? {
            Delivery::Samples => run(&block, &mut out),
            Delivery::Gap(lost) => {
                let most = (TAKE_S_MAX * rate.hz()) as u64;
                run(&vec![0.0; lost.0.min(most) as usize], &mut out);
            }
            Delivery::Nothing => {}
            Delivery::End => break,
        }
    }
    // The filter still holds the last of it.
    run(&vec![0.0; tail], &mut out);
    Ok(out)
}

/// The curve of one note, whose pitch lies near `near_hz`, in cents from `meant_hz`.
fn curve(
    samples: &[f32],
    rate_hz: f64,
    (from_s, to_s): (f64, f64),
    near_hz: f64,
    meant_hz: f64,
) -> NoteCurve {
    let count = ((to_s - from_s) / STEP_S)
        .floor()
        .clamp(0.0, TAKE_S_MAX / STEP_S) as usize
        + 1;
    let at = |index: usize| from_s + STEP_S * index as f64;
    let window = (PERIODS * rate_hz / near_hz).ceil() as usize;
    let lags = (
        (rate_hz / near_hz / REACH_OCTAVES.exp2()).floor() as usize,
        (rate_hz / near_hz * REACH_OCTAVES.exp2()).ceil() as usize + 1,
    );
    let dark = darkened(samples, rate_hz, (from_s, to_s), near_hz, window + lags.1);
    let mut differences = Vec::new();
    let cents = (0..count).map(|index| {
        let middle = ((at(index) - dark.from_s) * rate_hz).round() as i64;
        let first = middle - (window + lags.1) as i64 / 2;
        // Before the onset sounds the note before.
        let first = first.max(((from_s - dark.from_s) * rate_hz).round() as i64);
        let x = dark.samples.get(usize::try_from(first).ok()?..)?;
        let x = x.get(..window + lags.1)?;
        yin::difference(x, window, lags.1, &mut differences);
        yin::normalise(&mut differences);
        let range = differences.get(lags.0..lags.1)?;
        let (lag, _) = range.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1))?;
        let (lag, aperiodicity) = yin::interpolate(&differences, lags.0 + lag);
        let cents = crate::units::cents(rate_hz / lag, meant_hz);
        (aperiodicity < APERIODICITY_MAX && cents.is_finite()).then_some(cents)
    });
    let cents: Vec<Option<f64>> = cents.collect();
    let level = |index: usize| {
        let first = ((at(index) - LEVEL_HALF_S) * rate_hz).round().max(0.0) as usize;
        let last = ((at(index) + LEVEL_HALF_S) * rate_hz).round().max(0.0) as usize;
        let db = level_db(samples.get(first..last.min(samples.len()))?);
        db.is_finite().then_some(db)
    };
    NoteCurve {
        step_s: STEP_S,
        cents,
        level_dbfs: (0..count).map(level).collect(),
    }
}

/// A stretch of sound of which only the lowest partials of a note are left.
struct Dark {
    samples: Vec<f32>,
    from_s: f64,
}

fn darkened(
    samples: &[f32],
    rate_hz: f64,
    (from_s, to_s): (f64, f64),
    near_hz: f64,
    beyond: usize,
) -> Dark {
    let edges = (
        PARTIALS.0 * near_hz / rate_hz,
        PARTIALS.1 * near_hz / rate_hz,
    );
    let place = |s: f64| ((s * rate_hz).round().max(0.0) as usize).min(samples.len());
    let first = place(from_s);
    let last = (place(to_s) + beyond).min(samples.len());
    let stretch = &samples[first.min(last)..last];
    let from_s = first as f64 / rate_hz;
    // Of a note so high that its partials leave the band all are kept.
    if edges.1 >= 0.5 {
        return Dark {
            samples: stretch.to_vec(),
            from_s,
        };
    }
    let mut out = Vec::new();
    let taps = low_pass_taps(edges.0, edges.1);
    let half = taps.len() / 2;
    // Silence on either side stands in for what is not looked at.
    let mut padded = vec![0.0; half];
    padded.extend_from_slice(stretch);
    padded.extend(std::iter::repeat_n(0.0, half));
    filter(&padded, &taps, &mut out);
    Dark {
        samples: out,
        from_s,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 11_025.0;

    /// Partials one to six of a string whose pitch at each moment is given, falling away.
    fn string(hz: impl Fn(f64) -> f64, length_s: f64) -> Vec<f32> {
        let mut phase = 0.0;
        let count = (length_s * RATE_HZ) as usize;
        (0..count)
            .map(|at| {
                let t = at as f64 / RATE_HZ;
                phase += std::f64::consts::TAU * hz(t) / RATE_HZ;
                let partials = (1..=6).map(|n| (f64::from(n) * phase).sin() / f64::from(n));
                (0.2 * (-t).exp() * partials.sum::<f64>()) as f32
            })
            .collect()
    }

    /// Closed form: steady strings of four pitches are drawn flat, to 3 cents: the lowest is 1.8 off where the filter still
    /// sees its start.
    #[test]
    fn steady_strings_are_flat() {
        for hz in [41.203, 55.0, 98.0, 196.0] {
            let sound = string(|_| hz * (7.0f64 / 1200.0).exp2(), 1.2);
            let curve = curve(&sound, RATE_HZ, (0.1, 1.0), hz, hz);
            let known: Vec<f64> = curve.cents.iter().flatten().copied().collect();
            assert!(known.len() > 75, "{hz}: {} points", known.len());
            for cents in &known[3..] {
                assert!((cents - 7.0).abs() < 3.0, "{hz}: {cents}");
            }
        }
    }

    /// Closed form: a pitch that rises by 60 cents in a second is drawn rising, at its window's middle.
    #[test]
    fn a_bent_string_is_drawn_bent() {
        let sound = string(|t| 98.0 * (60.0 * t / 1200.0).exp2(), 1.2);
        let curve = curve(&sound, RATE_HZ, (0.0, 1.0), 98.0, 98.0);
        for (at, cents) in curve.cents.iter().enumerate().skip(5) {
            let Some(cents) = cents else { continue };
            let true_cents = 60.0 * STEP_S * at as f64;
            assert!(
                (cents - true_cents).abs() < 3.0,
                "{at}: {cents}, {true_cents}"
            );
        }
        assert!(curve.cents.iter().flatten().count() > 80);
    }

    /// Closed form: an amplitude that falls by e in a second falls by 8.69 dB; silence and noise have no pitch.
    #[test]
    fn levels_fall_and_noise_has_no_pitch() {
        let sound = string(|_| 98.0, 1.2);
        let curve_of = |sound: &[f32]| curve(sound, RATE_HZ, (0.0, 1.0), 98.0, 98.0);
        let levels = curve_of(&sound).level_dbfs;
        let (from, to) = (levels[10].expect("known"), levels[90].expect("known"));
        assert!((from - to - 8.69 * 0.8).abs() < 0.3, "{from} {to}");
        let mut state = 1u32;
        let noise: Vec<f32> = (0..12_000)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / 16_777_216.0 - 0.5
            })
            .collect();
        let known = curve_of(&noise).cents.iter().flatten().count();
        assert!(known < 20, "{known} points of noise");
        assert_eq!(curve_of(&[0.0; 12_000]).cents.iter().flatten().count(), 0);
        assert_eq!(curve_of(&[]).cents.iter().flatten().count(), 0);
    }
}
