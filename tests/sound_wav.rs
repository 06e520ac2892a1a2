//! WAV files made in code, whole and broken, through the public door of the room.

mod sound_support;

use std::io::Cursor;

use hound::{SampleFormat, WavSpec, WavWriter};
use seamline::sound::block::Container;
use seamline::units::SampleRate;
use sound_support::{ramp, read_bytes};

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
