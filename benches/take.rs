//! What a whole take costs: listening alone, judging alone, and both with a report.
//!
//! Throughput is in frames of the take at 48 kHz: 48 Melem/s are a thousand times real time. The
//! take is played by the plucked-string synth and lies in memory; reading a file is measured in
//! `decode`.

#[path = "../tests/support/long_take.rs"]
mod long_take;

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use seamline::compare::{Settings, judge};
use seamline::hearing::events::{Event, HeardNote};
use seamline::hearing::listener::{Listener, ListenerConfig};
use seamline::music::line::read_text;
use seamline::report::{json, text};
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::sound::block::{Container, Delivery, SampleFormat, Source, SourceFormat};
use seamline::sound::{SoundError, SoundNote};

use long_take::RATE;

/// Frames a device delivers at once.
const BLOCK_FRAMES: usize = 512;

/// Samples in memory as a source.
struct Samples<'a> {
    format: SourceFormat,
    blocks: std::slice::Chunks<'a, f32>,
}

impl<'a> Samples<'a> {
    fn new(samples: &'a [f32]) -> Self {
        Self {
            format: SourceFormat {
                rate: RATE,
                channels: 1,
                samples: SampleFormat::Float { bits: 32 },
                container: Container::Wav,
                frames: Some(samples.len() as u64),
            },
            blocks: samples.chunks(BLOCK_FRAMES),
        }
    }
}

impl Source for Samples<'_> {
    fn format(&self) -> &SourceFormat {
        &self.format
    }

    fn next_block(&mut self, into: &mut Vec<f32>) -> Result<Delivery, SoundError> {
        into.clear();
        Ok(match self.blocks.next() {
            Some(block) => {
                into.extend_from_slice(block);
                Delivery::Samples
            }
            None => Delivery::End,
        })
    }

    fn notes(&self) -> Vec<SoundNote> {
        Vec::new()
    }
}

fn listen(samples: &[f32]) -> Vec<HeardNote> {
    let mut listener = Listener::new(ListenerConfig::bass(RATE)).expect("a usual rate");
    let mut notes = Vec::new();
    let mut say = |event: Event| {
        if let Event::Settled(note) = event {
            notes.push(note);
        }
    };
    for block in samples.chunks(BLOCK_FRAMES) {
        listener.push(block, &mut say);
    }
    listener.finish(&mut say);
    notes
}

fn whole(c: &mut Criterion) {
    let samples = long_take::samples();
    let line = long_take::line();
    let expected = line.expected(line.instrument());
    let heard = listen(&samples);
    assert!(heard.len() >= expected.len(), "{} notes", heard.len());
    let mut group = c.benchmark_group("a take, frames of it");
    group.sample_size(20);
    group.throughput(Throughput::Elements(samples.len() as u64));
    group.bench_function("listening", |b| b.iter(|| black_box(listen(&samples))));
    group.bench_function("judging what was heard", |b| {
        b.iter(|| black_box(judge(&expected, &heard, &Settings::default())));
    });
    group.bench_function("scoring, with both reports", |b| {
        let settings = ScoreSettings::default();
        b.iter(|| {
            let result = score_take("take", &mut Samples::new(&samples), &line, &settings)
                .expect("a result");
            black_box((json::object(&result), text::report(&result, false)))
        });
    });
    group.finish();
}

/// How often the bars of the line are repeated in the long ones.
const REPEATS: [usize; 2] = [6, 24];

/// A line of equal bars, each of which every note might be. The time for a note grows with the copies
/// until they fill the beam of the search (72 states), and must not grow beyond that.
fn long_lines(c: &mut Criterion) {
    let mut group = c.benchmark_group("judging a long line of equal bars, its notes");
    group.sample_size(10);
    for repeats in REPEATS {
        let line = read_text(&long_take::repeated_line(repeats)).expect("a long line");
        let expected = line.expected(line.instrument());
        let heard = listen(&long_take::repeated_samples(repeats));
        assert!(heard.len() >= expected.len(), "{} notes", heard.len());
        group.throughput(Throughput::Elements(expected.len() as u64));
        group.bench_function(format!("{repeats} times"), |b| {
            b.iter(|| black_box(judge(&expected, &heard, &Settings::default())));
        });
    }
    group.finish();
}

criterion_group!(benches, whole, long_lines);
criterion_main!(benches);
