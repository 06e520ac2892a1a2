//! WAV files made in code, whole and broken, through the public door of the room.

mod sound_support;

use std::io::{Cursor, Read};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use hound::{SampleFormat, WavSpec, WavWriter};
use seamline::sound::SoundError;
use seamline::sound::block::{Container, Delivery};
use seamline::sound::file::{FileConfig, from_reader};
use seamline::units::SampleRate;
use sound_support::{chunk, fmt_chunk, ramp, read_bytes, riff};

/// Every packing at several rates and channel counts, written by `hound` (oracle). Equal exactly:
/// an integer divided by a power of two is exact in f32 up to 24 bits, and conversion from 32 bits
/// rounds to nearest in both ways of writing it.
#[test]
fn what_hound_writes_is_read_back_exactly() {
    for (bits, kind) in [
        (8, SampleFormat::Int),
        (16, SampleFormat::Int),
        (24, SampleFormat::Int),
        (32, SampleFormat::Int),
        (32, SampleFormat::Float),
    ] {
        for (rate, channels) in [
            (8_000, 1),
            (44_100, 2),
            (48_000, 2),
            (96_000, 3),
            (192_000, 1),
            (48_000, 8),
        ] {
            let what = format!("{bits} bits {kind:?}, {rate} Hz, {channels} channels");
            let full = f64::from(bits - 1).exp2();
            let spec = WavSpec {
                channels,
                sample_rate: rate,
                bits_per_sample: bits,
                sample_format: kind,
            };
            let mut bytes = Cursor::new(Vec::new());
            let mut writer = WavWriter::new(&mut bytes, spec).unwrap();
            let values = ramp(300);
            // The same sample in all channels: their mean is the sample, whatever the plan.
            for x in values
                .iter()
                .flat_map(|x| std::iter::repeat_n(*x, usize::from(channels)))
            {
                match kind {
                    SampleFormat::Float => writer.write_sample(x as f32).unwrap(),
                    SampleFormat::Int => writer.write_sample((x * full) as i32).unwrap(),
                }
            }
            writer.finalize().unwrap();
            let (format, got, notes) = read_bytes(bytes.into_inner());
            assert_eq!(format.rate, SampleRate(rate), "{what}");
            assert_eq!(format.channels, channels, "{what}");
            assert_eq!(format.frames, Some(300), "{what}");
            assert_eq!(format.container, Container::Wav, "{what}");
            assert_eq!(notes, [], "{what}");
            assert_eq!(got.len(), values.len(), "{what}");
            for (i, (got, x)) in got.iter().zip(&values).enumerate() {
                let wanted = match kind {
                    SampleFormat::Float => *x as f32,
                    SampleFormat::Int => ((x * full).trunc() / full) as f32,
                };
                // The mean of more than two equal floats may round in the last places.
                let tolerance = if channels <= 2 { 0.0 } else { 3e-7 };
                assert!(
                    (got - wanted).abs() <= tolerance,
                    "{what}, {i}: {got} not {wanted}"
                );
            }
        }
    }
}

/// A stream without end is delivered block by block, no block longer than was asked for, and what
/// is held back before the first block is bounded: twelve seconds at most.
#[test]
fn a_stream_without_end_is_delivered_as_it_comes() {
    let mut header = riff(&[fmt_chunk(1, 2, 8_000, 16), chunk(b"data", &[])]);
    let at = header.len() - 4;
    header[at..].fill(0xff);
    let bytes_taken = Arc::new(AtomicU64::new(0));
    let taken = Arc::clone(&bytes_taken);
    let endless = Cursor::new(header).chain(Noise { state: 1, taken });
    let config = FileConfig { block_frames: 512 };
    let mut source = from_reader(endless, "endless", &config).unwrap();
    let mut block = Vec::new();
    let mut frames = 0;
    for _ in 0..2_000 {
        assert_eq!(source.next_block(&mut block).unwrap(), Delivery::Samples);
        assert!((1..=512).contains(&block.len()), "{}", block.len());
        frames += block.len() as u64;
    }
    let held = bytes_taken.load(Ordering::Relaxed) / 4 - frames;
    assert!(held <= 12 * 8_000, "{held} frames taken and not delivered");
}

/// Endless noise that counts the bytes it gives.
struct Noise {
    state: u32,
    taken: Arc<AtomicU64>,
}

impl Read for Noise {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        for byte in &mut *into {
            self.state = self
                .state
                .wrapping_mul(1_664_525)
                .wrapping_add(1_013_904_223);
            *byte = (self.state >> 24) as u8;
        }
        self.taken.fetch_add(into.len() as u64, Ordering::Relaxed);
        Ok(into.len())
    }
}

/// Reading that breaks off in the middle is an error with its place, and then the end.
#[test]
fn a_disk_that_fails() {
    struct Fails;
    impl Read for Fails {
        fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
            Err(std::io::Error::other("the disk is gone"))
        }
    }
    let mut bytes = riff(&[fmt_chunk(1, 1, 48_000, 16), chunk(b"data", &[1; 8_000])]);
    bytes.truncate(6_044);
    let config = FileConfig {
        block_frames: 1_000,
    };
    let mut source = from_reader(Cursor::new(bytes).chain(Fails), "take", &config).unwrap();
    let mut block = Vec::new();
    for _ in 0..3 {
        assert_eq!(source.next_block(&mut block).unwrap(), Delivery::Samples);
    }
    let error = source.next_block(&mut block).unwrap_err();
    assert!(
        matches!(error, SoundError::Read { at_byte: 6_044, .. }),
        "{error:?}"
    );
    assert_eq!(source.next_block(&mut block).unwrap(), Delivery::End);
}
