//! WAV files that are cut, lie, or are something else: what is there is read, what was noticed
//! is said, and what cannot be read is refused by name.

mod sound_support;

use seamline::sound::block::{Container, SampleFormat};
use seamline::sound::{SoundError, SoundNote};
use seamline::units::{FrameCount, FrameIndex};
use sound_support::{Whole, chunk, fmt_chunk, ramp, read_bytes, riff, try_read};

/// 16-bit samples of the shared ramp, as bytes and as what must be read.
fn samples(frames: usize) -> (Vec<u8>, Vec<f32>) {
    let values: Vec<i16> = ramp(frames).iter().map(|x| (x * 32768.0) as i16).collect();
    let bytes = values.iter().flat_map(|x| x.to_le_bytes()).collect();
    (
        bytes,
        values.iter().map(|x| f32::from(*x) / 32768.0).collect(),
    )
}

/// A mono 16-bit file whose data chunk declares `declared` bytes, with `after` behind the samples.
fn with_length(declared: u32, frames: usize, after: &[u8]) -> (Vec<u8>, Vec<f32>) {
    let (data, wanted) = samples(frames);
    let mut bytes = riff(&[fmt_chunk(1, 1, 48_000, 16), chunk(b"data", &[])]);
    let at = bytes.len() - 4;
    bytes[at..].copy_from_slice(&declared.to_le_bytes());
    bytes.extend(data);
    bytes.extend(after);
    (bytes, wanted)
}

/// Lengths that recorders leave when they are killed or write to a pipe: 0, all ones, and the
/// whole pages below 2 GiB.
#[test]
fn an_open_length_reads_to_the_end() {
    for declared in [0, u32::MAX, 0x7fff_f000, 0x7fff_f024] {
        let (bytes, wanted) = with_length(declared, 5_000, &[]);
        let (format, got, notes) = read_bytes(bytes);
        assert_eq!(format.frames, None, "{declared:#x}");
        assert_eq!(got, wanted, "{declared:#x}");
        assert_eq!(notes, [], "{declared:#x}");
    }
}

#[test]
fn a_cut_file_gives_what_is_there_and_says_so() {
    for block_frames in [1, 7, 4096] {
        let (mut bytes, wanted) = with_length(20_000, 5_000, &[]);
        bytes.pop();
        let (format, got, notes) = try_read(bytes, block_frames).unwrap();
        assert_eq!(format.frames, Some(10_000));
        assert_eq!(got, wanted[..4_999]);
        let truncated = SoundNote::TruncatedAt {
            frames: FrameCount(4_999),
            declared: FrameCount(10_000),
        };
        assert_eq!(notes, [truncated, SoundNote::TrailingBytes { bytes: 1 }]);
    }
}

#[test]
fn a_length_that_is_too_small_loses_nothing() {
    for block_frames in [1, 100, 4096] {
        let (bytes, wanted) = with_length(2_000, 5_000, &[]);
        let (_, got, notes) = try_read(bytes, block_frames).unwrap();
        assert_eq!(got, wanted);
        let lies = SoundNote::HeaderLies {
            declared: FrameCount(1_000),
            found: FrameCount(5_000),
        };
        assert_eq!(notes, [lies]);
    }
}

/// A length that ends inside a frame: the frame is put together again, every sample is exact.
#[test]
fn a_length_that_cuts_a_frame_in_two_loses_nothing() {
    for declared in [1, 3, 2_001] {
        for block_frames in [1, 100, 4096] {
            let (bytes, wanted) = with_length(declared, 5_000, &[]);
            let (_, got, notes) = try_read(bytes, block_frames).unwrap();
            assert_eq!(got, wanted, "{declared} bytes, blocks of {block_frames}");
            let lies = SoundNote::HeaderLies {
                declared: FrameCount(u64::from(declared) / 2),
                found: FrameCount(5_000),
            };
            assert_eq!(notes, [lies], "{declared} bytes, blocks of {block_frames}");
        }
    }
}

/// What is left of the frame in a file that ends there, too, is no sample; it is counted once,
/// and only when it is there.
#[test]
fn a_frame_that_is_cut_at_the_end_is_told() {
    for block_frames in [1, 7, 4096] {
        for (declared, after, trailing) in [
            (2_001, &[5u8][..], 1),
            (2_001, &[], 0),
            (2_001, &[5; 40], 40),
        ] {
            let (bytes, wanted) = with_length(declared, 1_000, after);
            let (_, got, notes) = try_read(bytes, block_frames).unwrap();
            assert_eq!(got, wanted, "{after:?}");
            let told: &[SoundNote] = match trailing {
                0 => &[],
                bytes => &[SoundNote::TrailingBytes { bytes }],
            };
            assert_eq!(notes, told, "{after:?} behind");
        }
    }
}

#[test]
fn chunks_and_tags_behind_the_samples_are_no_sound() {
    let list = chunk(b"LIST", b"INFOISFT\x04\0\0\0test");
    let (bytes, wanted) = with_length(2_000, 1_000, &list);
    let (_, got, notes) = read_bytes(bytes);
    assert_eq!((got, notes), (wanted, vec![]));

    let tag = [b"TAG".to_vec(), vec![0; 125]].concat();
    let (bytes, wanted) = with_length(2_000, 1_000, &tag);
    let (_, got, notes) = read_bytes(bytes);
    assert_eq!(
        (got, notes),
        (wanted, vec![SoundNote::TrailingBytes { bytes: 128 }])
    );
}

/// RIFF 1.0: unknown chunks are passed over; a chunk of odd length is followed by a padding byte.
#[test]
fn unknown_chunks_and_odd_padding_are_passed_over() {
    let (data, wanted) = samples(100);
    let bytes = riff(&[
        chunk(b"JUNK", &[1, 2, 3]),
        chunk(b"bext", &[7; 602]),
        fmt_chunk(1, 1, 44_100, 16),
        chunk(b"LIST", b"INFO!"),
        chunk(b"data", &data),
    ]);
    let (_, got, notes) = read_bytes(bytes);
    assert_eq!((got, notes), (wanted, vec![]));

    // An odd number of 8-bit samples, padded, with a chunk behind the padding.
    let bytes = riff(&[
        fmt_chunk(1, 1, 8_000, 8),
        chunk(b"data", &[0, 128, 192]),
        chunk(b"LIST", b"INFO"),
    ]);
    let (_, got, notes) = read_bytes(bytes);
    assert_eq!((got, notes), (vec![-1.0, 0.0, 0.5], vec![]));
}

/// `WAVEFORMATEXTENSIBLE` as Microsoft describes it: 24 bits that count in 32, upper bits used.
#[test]
fn the_extended_format_chunk() {
    let guid = |code: u8| {
        [
            vec![code, 0, 0, 0],
            vec![0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71],
        ]
        .concat()
    };
    let extended = |code: u8, bits: u16, valid: u16| {
        let mut body = fmt_chunk(0xfffe, 1, 48_000, bits)[8..].to_vec();
        body.extend(22u16.to_le_bytes());
        body.extend(valid.to_le_bytes());
        body.extend([4, 0, 0, 0]);
        body.extend(guid(code));
        chunk(b"fmt ", &body)
    };
    let data: Vec<u8> = [i32::MIN, 0x4000_0000, -256]
        .iter()
        .flat_map(|x| x.to_le_bytes())
        .collect();
    let (format, got, _) = read_bytes(riff(&[extended(1, 32, 24), chunk(b"data", &data)]));
    assert_eq!(format.samples, SampleFormat::Integer { bits: 24 });
    assert_eq!(got, [-1.0, 0.5, -256.0 / 2_147_483_648.0]);

    let data: Vec<u8> = [0.25f64, -0.5]
        .iter()
        .flat_map(|x| x.to_le_bytes())
        .collect();
    let (format, got, _) = read_bytes(riff(&[extended(3, 64, 64), chunk(b"data", &data)]));
    assert_eq!(format.samples, SampleFormat::Float { bits: 64 });
    assert_eq!(got, [0.25, -0.5]);

    let refused = try_read(riff(&[extended(2, 4, 4), chunk(b"data", &[0; 8])]), 64);
    assert!(refused.is_err_and(|e| e.to_string().contains("Microsoft ADPCM")));
}

/// EBU Tech 3306: sizes of all ones in the RIFF and data chunks, the true ones in `ds64`.
#[test]
fn long_lengths() {
    let (data, wanted) = samples(3_000);
    let mut ds64 = Vec::new();
    ds64.extend(0u64.to_le_bytes());
    ds64.extend((data.len() as u64).to_le_bytes());
    ds64.extend(3_000u64.to_le_bytes());
    ds64.extend(0u32.to_le_bytes());
    let mut bytes = riff(&[
        chunk(b"ds64", &ds64),
        fmt_chunk(1, 1, 48_000, 16),
        chunk(b"data", &data),
        chunk(b"LIST", b"INFO"),
    ]);
    bytes[..4].copy_from_slice(b"RF64");
    bytes[4..8].fill(0xff);
    let at = bytes.len() - 12 - data.len() - 4;
    bytes[at..at + 4].fill(0xff);
    let (format, got, notes) = read_bytes(bytes);
    assert_eq!(
        (format.container, format.frames),
        (Container::Rf64, Some(3_000))
    );
    assert_eq!((got, notes), (wanted, vec![]));
}

#[test]
fn what_is_no_number_is_silence() {
    let values = [0.5f32, f32::NAN, f32::INFINITY, -0.25];
    let data: Vec<u8> = values.iter().flat_map(|x| x.to_le_bytes()).collect();
    let (_, got, notes) = read_bytes(riff(&[fmt_chunk(3, 1, 48_000, 32), chunk(b"data", &data)]));
    assert_eq!(got, [0.5, 0.0, 0.0, -0.25]);
    assert_eq!(
        notes,
        [SoundNote::NonFinite {
            count: 2,
            first: FrameIndex(1)
        }]
    );
}

#[test]
fn a_64_bit_float_too_large_for_32_bits_is_no_number_either() {
    let data = [1e300f64.to_le_bytes(), 0.5f64.to_le_bytes()].concat();
    let (_, got, notes) = read_bytes(riff(&[fmt_chunk(3, 1, 48_000, 64), chunk(b"data", &data)]));
    assert_eq!(got, [0.0, 0.5]);
    assert_eq!(
        notes,
        [SoundNote::NonFinite {
            count: 1,
            first: FrameIndex(0)
        }]
    );
}

fn refusal(bytes: Vec<u8>) -> SoundError {
    match try_read(bytes, 4096) {
        Err(e) => e,
        Ok((format, samples, _)) => panic!("taken as {format} with {} frames", samples.len()),
    }
}

/// Format codes: RFC 2361, appendix A.
#[test]
fn packings_that_are_not_read_are_refused_by_name() {
    for (code, bits, name) in [
        (2, 4, "Microsoft ADPCM"),
        (6, 8, "A-law"),
        (7, 8, "mu-law"),
        (0x11, 4, "IMA ADPCM"),
        (0x55, 0, "MP3"),
        (0x1234, 16, "0x1234"),
        (1, 64, "64-bit integers"),
        (3, 16, "16-bit floats"),
    ] {
        let bytes = riff(&[fmt_chunk(code, 1, 44_100, bits), chunk(b"data", &[0; 64])]);
        let error = refusal(bytes);
        assert!(
            matches!(error, SoundError::UnsupportedCodec { .. }),
            "{code}: {error:?}"
        );
        let message = error.to_string();
        assert!(message.contains(name), "{code}: {message}");
        assert!(message.contains("byte 12"), "{code}: {message}");
    }
}

#[test]
fn broken_headers_say_what_and_where() {
    let (data, _) = samples(10);
    let fmt = || fmt_chunk(1, 1, 48_000, 16);
    let mut odd_frame = fmt();
    odd_frame[20] = 3;
    let cases: [(Vec<u8>, u64, &str); 6] = [
        (riff(&[]), 12, "before a \"fmt \""),
        (riff(&[fmt()]), 36, "before a \"data\""),
        (riff(&[chunk(b"data", &data), fmt()]), 12, "stands before"),
        (
            riff(&[chunk(b"fmt ", &[1, 0, 1, 0]), chunk(b"data", &data)]),
            12,
            "4 bytes",
        ),
        (
            riff(&[fmt_chunk(1, 0, 48_000, 16), chunk(b"data", &data)]),
            12,
            "0 channels",
        ),
        (
            riff(&[odd_frame, chunk(b"data", &data)]),
            12,
            "frame of 3 bytes",
        ),
    ];
    for (bytes, wanted_at, wanted_what) in cases {
        let error = refusal(bytes);
        let SoundError::Malformed { at_byte, what, .. } = &error else {
            panic!("{error:?}")
        };
        assert_eq!(*at_byte, wanted_at, "{error}");
        assert!(what.contains(wanted_what), "{error}");
    }
    for rate in [0, 7_999, 192_001, u32::MAX] {
        let mut fmt = fmt();
        fmt[12..16].copy_from_slice(&rate.to_le_bytes());
        let error = refusal(riff(&[fmt, chunk(b"data", &data)]));
        assert!(matches!(error, SoundError::RateOutOfRange { given_hz, .. } if given_hz == rate));
    }
}

#[test]
fn nothing_in_it() {
    assert!(matches!(refusal(Vec::new()), SoundError::Empty { .. }));
    let list = chunk(b"LIST", b"INFO");
    for tail in [vec![], list] {
        let bytes = riff(&[fmt_chunk(1, 1, 48_000, 16), chunk(b"data", &[]), tail]);
        assert!(matches!(refusal(bytes), SoundError::NoSamples { .. }));
    }
}

/// A header that claims 4 GB for a file of a few bytes, or 65535 channels, asks for no memory.
#[test]
fn great_claims_cost_nothing() {
    let (bytes, wanted) = with_length(0xffff_eff0, 50, &[]);
    let (_, got, _): Whole = read_bytes(bytes);
    assert_eq!(got, wanted);
    let mut fmt = fmt_chunk(1, 1, 48_000, 8);
    fmt[10..12].copy_from_slice(&u16::MAX.to_le_bytes());
    fmt[20..22].copy_from_slice(&u16::MAX.to_le_bytes());
    let (format, got, _) = read_bytes(riff(&[fmt, chunk(b"data", &vec![192; 65_535 * 2])]));
    assert_eq!((format.channels, got.len()), (65_535, 2));
    assert!((got[0] - 0.5).abs() < 1e-3, "{}", got[0]);
}
