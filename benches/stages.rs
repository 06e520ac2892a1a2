//! What each stage of the ear costs, over the same take played by the plucked-string synth.
//!
//! Throughput is in frames of the take at 48 kHz: 48 Melem/s are a thousand times real time, and a
//! stage at that rate takes 0.1 % of one core while somebody plays. A stage that runs once for each
//! note is given all the notes of the take in one go, so the same holds for it.

#[path = "../tests/support/long_take.rs"]
mod long_take;

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use seamline::hearing::dsp::decimate::{Decimator, RUN_FRAMES};
use seamline::hearing::dsp::envelope;
use seamline::hearing::dsp::history::History;
use seamline::hearing::dsp::novelty::Novelty;
use seamline::hearing::jump::JumpFinder;
use seamline::hearing::listener::ListenerConfig;
use seamline::hearing::naming::{Waiting, Work, name};
use seamline::hearing::pitch::PitchMeter;

use long_take::RATE;

/// The listener's first step down at 48 kHz, to 24 kHz.
const TO_HIGH: usize = 2;
/// Its second step down, to 6 kHz.
const TO_LOW: usize = 4;
/// The rate after both, in hertz.
const LOW_HZ: f64 = 6_000.0;
/// Steps of the level traces.
const TRACE_STEP_S: f64 = 0.002;

/// The take at the rates the stages work at.
struct Take {
    frames: Vec<f32>,
    high: Vec<f32>,
    low: History,
    /// Onset and end of each note, in samples of `low`.
    notes: Vec<(f64, f64)>,
    lowest_hz: f64,
    highest_hz: f64,
}

fn decimator(factor: usize) -> Decimator {
    Decimator::new(factor, 0.41 / factor as f64, 0.59 / factor as f64)
}

fn decimated(samples: &[f32], factor: usize) -> Vec<f32> {
    let mut decimator = decimator(factor);
    let mut out = Vec::with_capacity(samples.len() / factor + 1);
    for run in samples.chunks(RUN_FRAMES) {
        decimator.run(run, &mut out);
    }
    out
}

impl Take {
    fn new() -> Self {
        let frames = long_take::samples();
        let high = decimated(&frames, TO_HIGH);
        let low = decimated(&high, TO_LOW);
        let mut history = History::new(low.len());
        for sample in low {
            history.push(sample);
        }
        let ratio = LOW_HZ / RATE.hz();
        let notes = long_take::performance()
            .truth(RATE)
            .iter()
            .map(|note| (note.onset.0 as f64 * ratio, note.release.0 as f64 * ratio))
            .collect();
        let config = ListenerConfig::bass(RATE);
        Self {
            frames,
            high,
            low: history,
            notes,
            lowest_hz: config.lowest.0,
            highest_hz: config.highest.0,
        }
    }
}

fn stages(c: &mut Criterion) {
    let take = Take::new();
    let mut group = c.benchmark_group("stages, frames of the take");
    group.sample_size(20);
    group.throughput(Throughput::Elements(take.frames.len() as u64));
    group.bench_function("decimation to 24 kHz", |b| {
        b.iter(|| black_box(decimated(&take.frames, TO_HIGH)));
    });
    group.bench_function("decimation from 24 to 6 kHz", |b| {
        b.iter(|| black_box(decimated(&take.high, TO_LOW)));
    });
    group.bench_function("novelty", |b| {
        b.iter(|| {
            let mut novelty = Novelty::new(RATE.hz() / TO_HIGH as f64);
            let rises = take.high.iter().filter_map(|s| novelty.push(*s));
            black_box(rises.fold(0.0, f32::max))
        });
    });
    group.bench_function("onsets refined, one for each note", |b| {
        let mut jumps = JumpFinder::new(LOW_HZ);
        b.iter(|| {
            for (onset, _) in &take.notes {
                black_box(jumps.find(&take.low, onset.round() as i64));
            }
        });
    });
    group.bench_function("pitches measured, one for each note", |b| {
        let mut meter = PitchMeter::new(LOW_HZ, take.lowest_hz, take.highest_hz);
        b.iter(|| {
            for (onset, end) in &take.notes {
                black_box(meter.measure(&take.low, *onset, *end));
            }
        });
    });
    group.bench_function("ends found, one for each note", |b| {
        b.iter(|| ends(&take));
    });
    group.finish();
    naming(c, &take);
}

/// The level trace of each note and where its release lies.
fn ends(take: &Take) {
    let step = (TRACE_STEP_S * LOW_HZ) as usize;
    let (mut trace, mut work) = (Vec::new(), envelope::Work::default());
    for (onset, end) in &take.notes {
        let sound = take.low.range(*onset as i64, *end as i64);
        envelope::level_db(sound, (0.02 * LOW_HZ) as usize, step, &mut work, &mut trace);
        black_box(envelope::release(
            &trace,
            (TRACE_STEP_S, 0.02),
            -70.0,
            &mut work,
        ));
    }
}

/// A note that is named 40 ms after it began: the last of the tries that were made until then.
fn naming(c: &mut Criterion, take: &Take) {
    let onset = take.notes[0].0.round() as i64;
    let mut stream = History::new(take.low.end() as usize);
    for sample in take.low.range(0, onset + (0.040 * LOW_HZ) as i64) {
        stream.push(*sample);
    }
    let waiting = Waiting::new(onset as f64, 1.6);
    c.bench_function("one try at a name, 40 ms in", |b| {
        let mut work = Work::default();
        b.iter(|| {
            let (lowest, highest) = (take.lowest_hz, take.highest_hz);
            let mut waiting = waiting;
            black_box(name(
                &stream,
                LOW_HZ,
                lowest,
                highest,
                &mut waiting,
                &mut work,
            ))
        });
    });
}

criterion_group!(benches, stages);
criterion_main!(benches);
