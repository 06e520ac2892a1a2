//! How fast a take is read: the time for a minute of sound. Real time is 60 s.

use std::hint::black_box;
use std::io::Cursor;

use criterion::{Criterion, criterion_group, criterion_main};
use hound::{SampleFormat, WavReader, WavSpec, WavWriter};
use seamline::sound::block::Delivery;
use seamline::sound::file::{FileConfig, from_reader};

/// Length of the sound: a minute at 48 kHz.
const FRAMES: usize = 60 * 48_000;

/// A minute of two different saw waves.
fn minute(bits: u16, kind: SampleFormat) -> Vec<u8> {
    let spec = WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: bits,
        sample_format: kind,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = WavWriter::new(&mut bytes, spec).expect("a header can be written");
    for i in 0..FRAMES as i32 {
        for sample in [i % 1_001 - 500, i % 777 - 388] {
            let written = match kind {
                SampleFormat::Float => writer.write_sample(sample as f32 / 1_024.0),
                SampleFormat::Int => writer.write_sample(sample << (bits - 12)),
            };
            written.expect("a sample can be written");
        }
    }
    writer.finalize().expect("the lengths can be written");
    bytes.into_inner()
}

fn through_source(bytes: &[u8], block_frames: usize) -> f32 {
    let reader = Cursor::new(bytes.to_vec());
    let mut source =
        from_reader(reader, "minute", &FileConfig { block_frames }).expect("it is a WAV");
    let mut block = Vec::new();
    let mut sum = 0.0;
    while source.next_block(&mut block).expect("it can be read") == Delivery::Samples {
        sum += block[0];
    }
    sum
}

fn decode(c: &mut Criterion) {
    let mut group = c.benchmark_group("a minute of 48 kHz stereo");
    group.sample_size(20);
    let int16 = minute(16, SampleFormat::Int);
    for block_frames in [512, 4_096, 16_384] {
        group.bench_function(format!("16 bits, blocks of {block_frames}"), |b| {
            b.iter(|| black_box(through_source(&int16, block_frames)));
        });
    }
    let int24 = minute(24, SampleFormat::Int);
    group.bench_function("24 bits", |b| {
        b.iter(|| black_box(through_source(&int24, 4_096)))
    });
    let float = minute(32, SampleFormat::Float);
    group.bench_function("32-bit float", |b| {
        b.iter(|| black_box(through_source(&float, 4_096)))
    });
    group.bench_function("16 bits, one sample at a time through hound", |b| {
        b.iter(|| {
            let mut reader = WavReader::new(Cursor::new(int16.clone())).expect("it is a WAV");
            black_box(
                reader
                    .samples::<i16>()
                    .map_while(Result::ok)
                    .map(i64::from)
                    .sum::<i64>(),
            )
        });
    });
    group.finish();

    // 9000 frames at 44.1 kHz: 0.204 s of real time.
    let flac = include_bytes!("../fixtures/sound/stereo-16.flac");
    c.bench_function("0.204 s of 44.1 kHz stereo FLAC", |b| {
        b.iter(|| black_box(through_source(flac, 4_096)));
    });
}

/// A second and a quarter of mono at 44.1 kHz in each packed format, read over and over.
fn unpack(c: &mut Criterion) {
    let mut group = c.benchmark_group("1.25 s of 44.1 kHz mono");
    let files: [(&str, &[u8]); 3] = [
        (
            "MP3",
            include_bytes!("../fixtures/sound/packed/mono-44.mp3"),
        ),
        (
            "Ogg",
            include_bytes!("../fixtures/sound/packed/mono-44.ogg"),
        ),
        (
            "M4A",
            include_bytes!("../fixtures/sound/packed/mono-44.m4a"),
        ),
    ];
    for (name, bytes) in files {
        group.bench_function(name, |b| {
            b.iter(|| black_box(through_source(bytes, 4_096)));
        });
    }
    group.finish();
}

criterion_group!(benches, decode, unpack);
criterion_main!(benches);
