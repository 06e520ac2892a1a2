//! A performance and a voice to samples.

use std::f64::consts::TAU;

use crate::sound::synth::performance::Performance;
use crate::sound::synth::random::Random;
use crate::sound::synth::string::{Span, add_note};
use crate::sound::synth::voice::Voice;
use crate::units::{Decibels, SampleRate};

/// The peak of a rendered take: −6 dBFS, the level at which a careful player records.
pub const PEAK: f32 = 0.501;

/// The peak that hum and hiss on top may reach before all is turned down.
const PEAK_MAX: f32 = 0.95;

/// Renders a performance, mono, full scale ±1.
///
/// Input:   any values; a note with a time, pitch or strength that is no finite number is silent.
/// Output:  up to the last release and the tail, two hours at most; the notes' peak is
///          [`PEAK`], and nothing clips. The same for the same arguments.
/// Time:    the first frame of a note is its onset rounded to the nearest frame; before it, the
///          note gives nothing but the touch of the finger, if there is one.
/// Memory:  the take, once.
pub fn render(performance: &Performance, voice: &Voice, rate: SampleRate) -> Vec<f32> {
    let mut take = vec![0.0f32; performance.frames(rate)];
    let frame = |at_s| Performance::frame(rate, at_s);
    for (at, note) in performance.notes.iter().enumerate() {
        if !note.is_finite() {
            continue;
        }
        let span = Span {
            onset: frame(note.onset_s),
            release: frame(note.release_s),
            stopped: frame(note.stopped_s),
            cut: performance.next_on_string(at).map_or(usize::MAX, frame),
        };
        // Each note has noises of its own, so that a fault in one leaves the others as they were.
        let own = note
            .index
            .map_or(at as u64 + (1 << 32), |index| index as u64);
        let mut noise = Random::new(performance.seed ^ own.wrapping_mul(0x9e37_79b9));
        add_note(
            note,
            voice,
            (performance.a4, rate),
            span,
            &mut noise,
            &mut take,
        );
    }
    scale_to(&mut take, PEAK);
    add_hum_and_hiss(performance, rate, &mut take);
    if peak(&take) > PEAK_MAX {
        scale_to(&mut take, PEAK_MAX);
    }
    take
}

fn peak(take: &[f32]) -> f32 {
    take.iter().fold(0.0, |top, x| top.max(x.abs()))
}

fn scale_to(take: &mut [f32], wanted: f32) {
    let top = peak(take);
    if top > 0.0 && top.is_finite() {
        let scale = wanted / top;
        take.iter_mut().for_each(|x| *x *= scale);
    }
}

/// Hum with its second and third harmonic, 6 and 10 dB weaker, as rectified mains gives; hiss
/// evenly spread over all frequencies.
fn add_hum_and_hiss(performance: &Performance, rate: SampleRate, take: &mut [f32]) {
    if let Some((hz, level)) = performance.hum {
        let step = TAU * hz.0 / rate.hz();
        for (harmonic, weaker_db) in [(1.0, 0.0), (2.0, -6.0), (3.0, -10.0)] {
            let amplitude = Decibels(level.0 + weaker_db).to_amplitude();
            for (i, sample) in take.iter_mut().enumerate() {
                *sample += (amplitude * (step * harmonic * i as f64).sin()) as f32;
            }
        }
    }
    if let Some(level) = performance.hiss {
        let mut noise = Random::new(performance.seed.wrapping_add(0x5151));
        // An even spread over ±a has a root of the mean square of a / sqrt(3).
        let reach = level.to_amplitude() * 3f64.sqrt();
        for sample in take {
            *sample += noise.between(-reach, reach) as f32;
        }
    }
}
