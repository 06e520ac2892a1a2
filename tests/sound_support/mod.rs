//! What the tests of the sound room share: files made in code, and reading to the end.
#![allow(dead_code, reason = "each test file uses its own part")]

use std::io::Cursor;

use seamline::sound::block::{Delivery, Source, SourceFormat};
use seamline::sound::file::{FileConfig, from_reader};
use seamline::sound::{SoundError, SoundNote};

/// What a whole file gives.
pub type Whole = (SourceFormat, Vec<f32>, Vec<SoundNote>);

/// A sequence without symmetry, within ±0.9.
pub fn ramp(frames: usize) -> Vec<f64> {
    (0..frames)
        .map(|i| ((i * 37 + 11) % 181) as f64 / 100.0 - 0.9)
        .collect()
}

/// A chunk with its padding.
pub fn chunk(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut bytes = name.to_vec();
    bytes.extend((body.len() as u32).to_le_bytes());
    bytes.extend(body);
    if body.len() % 2 == 1 {
        bytes.push(0);
    }
    bytes
}

/// The plain format chunk of 16 bytes.
pub fn fmt_chunk(code: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
    let frame = channels * bits.div_ceil(8);
    let mut body = Vec::new();
    body.extend(code.to_le_bytes());
    body.extend(channels.to_le_bytes());
    body.extend(rate.to_le_bytes());
    body.extend((rate * u32::from(frame)).to_le_bytes());
    body.extend(frame.to_le_bytes());
    body.extend(bits.to_le_bytes());
    chunk(b"fmt ", &body)
}

/// A RIFF file of these chunks.
pub fn riff(chunks: &[Vec<u8>]) -> Vec<u8> {
    let body: Vec<u8> = chunks.concat();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((body.len() as u32 + 4).to_le_bytes());
    bytes.extend(b"WAVE");
    bytes.extend(body);
    bytes
}

/// Reads a source to its end and checks what every source promises.
pub fn read(mut source: Box<dyn Source>) -> Result<Whole, SoundError> {
    let mut all = Vec::new();
    let mut block = vec![9.0; 3];
    loop {
        match source.next_block(&mut block)? {
            Delivery::Samples => {
                assert!(!block.is_empty(), "an empty block of samples");
                assert!(
                    block.iter().all(|x| x.is_finite()),
                    "a sample that is no number"
                );
                all.extend_from_slice(&block);
            }
            Delivery::Gap(frames) => panic!("a file has no gaps, but {frames:?} came"),
            Delivery::Nothing => panic!("a file has nothing to wait for"),
            Delivery::End => break,
        }
    }
    assert!(block.is_empty(), "the block at the end is not empty");
    assert_eq!(
        source.next_block(&mut block)?,
        Delivery::End,
        "after the end"
    );
    Ok((source.format().clone(), all, source.notes()))
}

/// Reads the bytes of a file with the given block length.
pub fn try_read(bytes: Vec<u8>, block_frames: usize) -> Result<Whole, SoundError> {
    read(from_reader(
        Cursor::new(bytes),
        "take",
        &FileConfig { block_frames },
    )?)
}

/// Reads the bytes of a file that must be readable.
pub fn read_bytes(bytes: Vec<u8>) -> Whole {
    try_read(bytes, 4096).unwrap()
}
