//! A take that needs no file from outside: a demo line played by the plucked-string synth, and a
//! file of any length made by repeating it.

#![allow(dead_code, reason = "tests and benches use a part each")]

use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::Path;

use seamline::music::line::{Line, read_text};
use seamline::sound::synth::{Performance, Player, Voice, render};
use seamline::units::SampleRate;

/// The rate that sound cards run at.
pub const RATE: SampleRate = SampleRate(48_000);

/// Eight bars of crotchets and quavers, some 13 s.
pub fn line() -> Line {
    read_text(include_str!("../../demo-data/harbour-walk.line")).expect("a demo line")
}

/// A steady player's way through [`line`].
pub fn performance() -> Performance {
    let line = line();
    Performance::of_line(&line.expected(line.instrument()), &Player::steady(5))
}

/// The sound of it at [`RATE`], mono.
pub fn samples() -> Vec<f32> {
    render(&performance(), &Voice::fingered(), RATE)
}

/// The text of a line that repeats [`line`]'s bars `times` times.
pub fn repeated_line(times: usize) -> String {
    let text = include_str!("../../demo-data/harbour-walk.line");
    let bars = text.find("\n\n").expect("an empty line after the header") + 2;
    let (header, bars) = text.split_at(bars);
    let mut whole = header.to_owned();
    for _ in 0..times {
        whole.push_str(bars.trim_end());
        whole.push('\n');
    }
    whole
}

/// The sound of that line at [`RATE`], mono.
pub fn repeated_samples(times: usize) -> Vec<f32> {
    let take = samples();
    let lead = (performance().bar1_s * RATE.hz()).round() as usize;
    let period = bar_frames() * line().bars().len();
    let mut whole = take[..lead].to_vec();
    for _ in 0..times {
        whole.extend_from_slice(&take[lead..lead + period]);
    }
    whole
}

/// How often [`line`] is played in `seconds`.
pub fn times_in(seconds: u32) -> usize {
    let frames = bar_frames() * line().bars().len();
    seconds as usize * RATE.0 as usize / frames
}

/// Frames of one bar of four crotchets at the line's tempo.
fn bar_frames() -> usize {
    (4.0 * 60.0 / line().tempo().quarters_per_minute() * RATE.hz()).round() as usize
}

/// Writes `seconds` of the line played over and over as 16-bit stereo, a repeat at a time.
///
/// Memory: one repeat, whatever the length.
pub fn write_wav(path: &Path, seconds: u32) -> std::io::Result<()> {
    let take = samples();
    let lead = (performance().bar1_s * RATE.hz()).round() as usize;
    let period = bar_frames() * line().bars().len();
    let frames = seconds as usize * RATE.0 as usize;
    let mut out = BufWriter::new(File::create(path)?);
    let bytes = u32::try_from(frames * 4).expect("a WAV file of less than 4 GiB");
    out.write_all(&header(bytes))?;
    for at in 0..frames {
        // The lead-in once, then the bars over and over, without the tail.
        let from = if at < lead {
            at
        } else {
            lead + (at - lead) % period
        };
        let sample = take.get(from).copied().unwrap_or(0.0);
        let value = ((sample * 32_767.0).round() as i16).to_le_bytes();
        out.write_all(&[value[0], value[1], value[0], value[1]])?;
    }
    out.flush()
}

/// The head of a WAV file: 16 bits, two channels, [`RATE`].
fn header(bytes: u32) -> Vec<u8> {
    let mut head = b"RIFF".to_vec();
    head.extend((bytes + 36).to_le_bytes());
    head.extend(b"WAVEfmt ");
    head.extend(16u32.to_le_bytes());
    for value in [1u16, 2] {
        head.extend(value.to_le_bytes());
    }
    head.extend(RATE.0.to_le_bytes());
    head.extend((RATE.0 * 4).to_le_bytes());
    for value in [4u16, 16] {
        head.extend(value.to_le_bytes());
    }
    head.extend(b"data");
    head.extend(bytes.to_le_bytes());
    head
}
