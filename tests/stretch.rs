//! Sound stretched in time: the pitch stays and every attack lies where the tempo asks for it.
//!
//! Both are measured twice, by the program's own ear and by something that shares no code with it:
//! the pitch by the peak of one long Fourier transform (RustFFT), the place of a click by where its
//! energy is largest.

mod ear_support;

use std::f64::consts::TAU;

use ear_support::{add, click, midi, notes};
use rustfft::FftPlanner;
use rustfft::num_complex::Complex64;
use seamline::hearing::events::HeardNote;
use seamline::sound::stretch::{StretchError, TEMPO_MAX, TEMPO_MIN, stretch, stretch_stereo};
use seamline::units::SampleRate;

/// Frames per second.
const RATE: SampleRate = SampleRate(48_000);
/// The tempos that are practised at, relative to the written one.
const TEMPOS: [f64; 7] = [0.5, 0.6, 0.75, 0.9, 1.0, 1.1, 1.2];
/// The pitch may be off by this, in cents: a tenth of what a trained ear tells apart.
const CENTS: f64 = 2.0;
/// An attack may be off by this, in milliseconds: a fifth of what is told as late.
const OFF_MS: f64 = 5.0;

/// Silence before a note, in seconds.
const LEAD_IN_S: f64 = 0.5;
/// A soft note may be off by this as the ear hears it, in milliseconds: what the ear takes for the
/// moment of a slow start moves when the start is laid beside other sound. Measured: 15 ms at half the
/// tempo.
const NOTE_OFF_MS: f64 = 18.0;

/// A note of `hz` with eight partials that starts at once and dies away slowly, as a string does.
fn tone(hz: f64, seconds: f64) -> Vec<f32> {
    let frames = (seconds * RATE.hz()) as usize;
    (0..frames)
        .map(|n| {
            let t = n as f64 / RATE.hz() - LEAD_IN_S;
            if t < 0.0 {
                return 0.0;
            }
            let partials = (1..=8).map(|k| (TAU * hz * f64::from(k) * t).sin() / f64::from(k));
            (0.2 * (-t / 3.0).exp() * partials.sum::<f64>()) as f32
        })
        .collect()
}

/// The frequency near `hz` with the most energy: the peak of a padded, windowed transform, with a
/// parabola through its logarithm.
fn peak_hz(samples: &[f32], hz: f64) -> f64 {
    let size = (8 * samples.len()).next_power_of_two();
    let mut spectrum: Vec<Complex64> = samples
        .iter()
        .enumerate()
        .map(|(n, x)| {
            let hann = 0.5 - 0.5 * (TAU * n as f64 / samples.len() as f64).cos();
            Complex64::new(hann * f64::from(*x), 0.0)
        })
        .collect();
    spectrum.resize(size, Complex64::new(0.0, 0.0));
    FftPlanner::new()
        .plan_fft_forward(size)
        .process(&mut spectrum);
    let bin = |hz: f64| (hz * size as f64 / RATE.hz()) as usize;
    let level = |n: usize| spectrum[n].norm_sqr().ln();
    let peak = (bin(0.95 * hz)..bin(1.05 * hz))
        .max_by(|a, b| level(*a).total_cmp(&level(*b)))
        .expect("a peak");
    let (a, b, c) = (level(peak - 1), level(peak), level(peak + 1));
    let off = 0.5 * (a - c) / (a - 2.0 * b + c);
    (peak as f64 + off) * RATE.hz() / size as f64
}

fn cents(hz: f64, wanted: f64) -> f64 {
    1200.0 * (hz / wanted).log2()
}

/// Open strings of basses with four to six strings, and two high notes.
const HERTZ: [f64; 8] = [
    30.868, 41.203, 55.0, 73.416, 97.999, 130.813, 196.0, 391.995,
];

#[test]
fn the_pitch_stays() {
    for hz in HERTZ {
        let sound = tone(hz, 6.0);
        for tempo in TEMPOS {
            let slow = stretch(&sound, RATE, tempo).expect("in reach");
            let middle = &slow[slow.len() / 3..slow.len() / 3 + 96_000];
            let independent = cents(peak_hz(middle, hz), hz);
            // The ear against itself: what it says of the same sound unstretched.
            let by_ear = loudest(&notes(&slow, RATE)) - loudest(&notes(&sound, RATE));
            println!(
                "pitch {hz} Hz at {tempo}: {independent:.3}, ear {:.3} cents",
                100.0 * by_ear
            );
            assert!(
                independent.abs() <= CENTS,
                "{hz} Hz at {tempo}: {independent} cents"
            );
            assert!(
                100.0 * by_ear.abs() <= CENTS,
                "{hz} Hz at {tempo}: {by_ear}, by ear"
            );
        }
    }
}

fn loudest(notes: &[HeardNote]) -> f64 {
    let loudest = notes
        .iter()
        .max_by(|a, b| a.level_dbfs.total_cmp(&b.level_dbfs));
    midi(loudest.expect("a note"))
}

/// Moments that fall on no grid, in seconds.
fn moments() -> Vec<f64> {
    (0..40).map(|k| 0.5 + 0.4567 * f64::from(k)).collect()
}

/// Clicks at these moments over a soft low tone.
fn clicks() -> Vec<f32> {
    let mut sound: Vec<f32> = tone(55.0, 19.5).iter().map(|x| 0.25 * x).collect();
    for at_s in moments() {
        add(&mut sound, &click(RATE, 1500.0, -6.0), at_s, RATE);
    }
    sound
}

/// Where the energy above the tone is largest within 60 ms of a moment, in seconds: of the
/// difference of neighbours, over 1 ms.
fn loudest_s(samples: &[f32], near_s: f64) -> f64 {
    let from = ((near_s - 0.06) * RATE.hz()) as usize;
    let to = (((near_s + 0.06) * RATE.hz()) as usize).min(samples.len());
    let rises: Vec<f64> = samples[from..to]
        .windows(2)
        .map(|pair| f64::from(pair[1] - pair[0]).powi(2))
        .collect();
    let power: Vec<f64> = rises.windows(48).map(|part| part.iter().sum()).collect();
    let at = (0..power.len()).max_by(|a, b| power[*a].total_cmp(&power[*b]));
    (from + at.expect("sound")) as f64 / RATE.hz()
}

#[test]
fn attacks_lie_where_the_tempo_asks_for_them() {
    let sound = clicks();
    // What the click is like at its own tempo: its energy is largest a little behind its beginning.
    let own: Vec<f64> = moments()
        .iter()
        .map(|at| loudest_s(&sound, *at) - at)
        .collect();
    for tempo in TEMPOS {
        let slow = stretch(&sound, RATE, tempo).expect("in reach");
        let off = moments().into_iter().zip(&own);
        let off: Vec<f64> = off
            .map(|(at, own)| 1000.0 * (loudest_s(&slow, at / tempo) - at / tempo - own))
            .collect();
        let worst = off.iter().fold(0.0f64, |worst, off| worst.max(off.abs()));
        println!("clicks at {tempo}: worst {worst:.2} ms by energy");
        assert!(worst <= OFF_MS, "at {tempo}: {off:?} ms");
    }
}

/// Plucked notes, as the ear hears their onsets in the sound and in the stretched one.
#[test]
fn notes_begin_where_the_tempo_asks_for_them() {
    let sound = ear_support::take(1.0, RATE);
    let before: Vec<f64> = sure(&sound);
    assert_eq!(before.len(), ear_support::LINE.len());
    for tempo in TEMPOS {
        let slow = stretch(&sound, RATE, tempo).expect("in reach");
        let after = sure(&slow);
        assert_eq!(after.len(), before.len(), "at {tempo}: {after:?}");
        let off = before.iter().zip(&after);
        let off: Vec<f64> = off.map(|(b, a)| 1000.0 * (a - b / tempo)).collect();
        let mut sizes: Vec<f64> = off.iter().map(|off| off.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let (median, worst) = (sizes[sizes.len() / 2], sizes[sizes.len() - 1]);
        println!("notes at {tempo}: median {median:.2}, worst {worst:.2} ms by ear");
        assert!(
            median <= OFF_MS && worst <= NOTE_OFF_MS,
            "at {tempo}: {off:?} ms"
        );
    }
}

fn sure(samples: &[f32]) -> Vec<f64> {
    let all = notes(samples, RATE);
    let clear = all
        .iter()
        .filter(|n| n.pitch.is_some_and(|pitch| pitch.clarity > 0.9));
    clear.map(|note| note.onset_s).collect()
}

#[test]
fn lengths_limits_and_both_channels() {
    let sound = tone(98.0, 1.0);
    for rate in [8_000, 22_050, 44_100, 96_000].map(SampleRate) {
        for tempo in [TEMPO_MIN, 0.5, 0.77, 1.3, TEMPO_MAX] {
            for frames in [0, 1, 2, 63, 4_000] {
                let slow = stretch(&sound[..frames], rate, tempo).expect("in reach");
                assert_eq!(slow.len(), (frames as f64 / tempo).round() as usize);
                assert!(slow.iter().all(|x| x.is_finite()));
            }
        }
    }
    assert_eq!(stretch(&sound, RATE, 1.0).as_deref(), Ok(sound.as_slice()));
    for given in [0.0, 0.29, 2.01, -1.0, f64::INFINITY] {
        assert_eq!(
            stretch(&sound, RATE, given),
            Err(StretchError::Tempo { given })
        );
    }
    assert!(stretch(&sound, RATE, f64::NAN).is_err());
    let broken = [f32::NAN, f32::INFINITY, 1.0, f32::MAX].repeat(2_000);
    assert!(stretch(&broken, RATE, 0.5).expect("in reach").len() == 16_000);
    let silent = vec![0.0; sound.len()];
    let (left, right) = stretch_stereo(&sound, &silent, RATE, 0.5).expect("in reach");
    let power = |x: &[f32]| x.iter().map(|x| f64::from(x * x)).sum::<f64>();
    // What was on the left stays there: less than a thousandth of it comes from the right.
    assert!(
        power(&right) < 1e-3 * power(&left),
        "{} of {}",
        power(&right),
        power(&left)
    );
}
