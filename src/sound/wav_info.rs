//! Which program wrote a WAV file, as the file itself says it.
//!
//! # Source
//! Microsoft/IBM, *Multimedia Programming Interface and Data Specifications 1.0* (1991), chapter 2:
//! a `LIST` chunk of the form `INFO` holds a chunk `ISFT` with the name of the software, a text that
//! ends in a zero byte; from memory.

use std::io::Read;

/// The longest `LIST` chunk that is looked into, in bytes: a hundred times ours. Raised, a file that
/// lies about its lengths costs more memory.
const LIST_BYTES_MAX: u32 = 1 << 12;

/// A WAV file's bytes with the name of the software put before the samples, so that a file that
/// breaks off still has it. Bytes that are no WAV file stay as they are.
pub(super) fn with_software(mut wav: Vec<u8>, software: &str) -> Vec<u8> {
    let Some(data_at) = data_chunk(&wav) else {
        return wav;
    };
    let mut text = software.as_bytes().to_vec();
    text.push(0);
    let text_bytes = text.len() as u32;
    if !text.len().is_multiple_of(2) {
        text.push(0); // A chunk of odd length is followed by one byte of padding.
    }
    let mut chunk = b"LIST".to_vec();
    chunk.extend((12 + text.len() as u32).to_le_bytes());
    chunk.extend(b"INFOISFT");
    chunk.extend(text_bytes.to_le_bytes());
    chunk.extend(text);
    let riff_bytes = u32_at(&wav, 4).saturating_add(chunk.len() as u32);
    wav[4..8].copy_from_slice(&riff_bytes.to_le_bytes());
    wav.splice(data_at..data_at, chunk);
    wav
}

/// Where the chunk of the samples begins.
fn data_chunk(wav: &[u8]) -> Option<usize> {
    let mut at = 12;
    while let Some(head) = wav.get(at..at + 8) {
        if &head[..4] == b"data" {
            return Some(at);
        }
        let bytes = u32_at(head, 4) as usize;
        at = at.checked_add(8 + bytes + (bytes & 1))?;
    }
    None
}

/// The name of the software that wrote a WAV file, where it stands before the samples; `None` when
/// it does not, or when this is no WAV file.
///
/// Input: the file from its first byte. Never fails, and reads no samples.
pub fn software(mut input: impl Read) -> Option<String> {
    let mut riff = [0u8; 12];
    input.read_exact(&mut riff).ok()?;
    if &riff[..4] != b"RIFF" || &riff[8..] != b"WAVE" {
        return None;
    }
    loop {
        let mut head = [0u8; 8];
        input.read_exact(&mut head).ok()?;
        let bytes = u32_at(&head, 4);
        match &head[..4] {
            b"data" => return None,
            b"LIST" if bytes <= LIST_BYTES_MAX => {
                let mut body = vec![0u8; padded(bytes)];
                input.read_exact(&mut body).ok()?;
                if let Some(name) = isft(&body) {
                    return Some(name);
                }
            }
            _ => {
                let skipped = padded(bytes) as u64;
                let passed = std::io::copy(&mut input.by_ref().take(skipped), &mut std::io::sink());
                if passed.ok()? < skipped {
                    return None;
                }
            }
        }
    }
}

/// The text of the chunk `ISFT` in the body of a `LIST` of the form `INFO`.
fn isft(list: &[u8]) -> Option<String> {
    let mut rest = list.strip_prefix(b"INFO")?;
    while let Some((head, body)) = rest.split_at_checked(8) {
        let bytes = u32_at(head, 4);
        if &head[..4] == b"ISFT" {
            let text = body.get(..bytes as usize)?;
            let text = text.split(|byte| *byte == 0).next()?;
            return String::from_utf8(text.to_vec()).ok();
        }
        rest = body.get(padded(bytes)..)?;
    }
    None
}

fn padded(bytes: u32) -> usize {
    bytes as usize + (bytes & 1) as usize
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::output::{WavSamples, wav_bytes};
    use crate::units::SampleRate;

    /// Oracle: `hound`, which knows nothing of our chunk, reads the same samples.
    #[test]
    fn the_name_is_there_and_the_samples_stay() {
        let sound = [0.5f32, -0.25, 0.125];
        for samples in [WavSamples::Integer16, WavSamples::Float32] {
            let plain = wav_bytes(SampleRate(48_000), samples, &sound).expect("bytes");
            assert_eq!(software(plain.as_slice()), None);
            for name in ["odd", "even"] {
                let named = with_software(plain.clone(), name);
                assert_eq!(software(named.as_slice()).as_deref(), Some(name));
                assert_eq!(u32_at(&named, 4) as usize, named.len() - 8);
                let mut read = hound::WavReader::new(named.as_slice()).expect("a WAV file");
                assert_eq!(read.duration(), 3);
                assert_eq!(read.spec().sample_rate, 48_000);
                if samples == WavSamples::Float32 {
                    let got: Vec<f32> = read.samples().collect::<Result<_, _>>().expect("read");
                    assert_eq!(got, sound);
                }
            }
        }
    }

    #[test]
    fn whatever_the_bytes_are_there_is_an_answer() {
        let named = with_software(
            wav_bytes(SampleRate(8_000), WavSamples::Float32, &[0.0; 4]).expect("bytes"),
            "name",
        );
        for end in 0..named.len() {
            let told = software(&named[..end]);
            assert!(told.is_none() || end > 44, "{end}: {told:?}");
        }
        for at in 0..named.len() {
            for value in [0, 1, 0x7f, 0xff] {
                let mut broken = named.clone();
                broken[at] = value;
                software(broken.as_slice());
            }
        }
        assert_eq!(with_software(b"no sound".to_vec(), "name"), b"no sound");
    }
}
