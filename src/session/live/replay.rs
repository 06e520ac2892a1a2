//! The part of a take that is played back.

use std::path::Path;

use crate::session::live::band::turn_down;
use crate::sound::rate::at_rate;
use crate::units::SampleRate;

/// Part of a WAV file of 32-bit floats, at the output's rate, no louder than what else is played.
pub(super) fn read_part(
    path: &Path,
    from_s: f64,
    to_s: f64,
    rate: SampleRate,
) -> Result<Vec<f32>, String> {
    let mut reader = hound::WavReader::open(path).map_err(|e| e.to_string())?;
    let own = SampleRate(reader.spec().sample_rate);
    let from = (from_s.max(0.0) * own.hz()) as u32;
    reader.seek(from).map_err(|e| e.to_string())?;
    let wanted = ((to_s - from_s).max(0.0) * own.hz()) as usize;
    let samples: Vec<f32> = reader
        .samples::<f32>()
        .take(wanted)
        .collect::<Result<_, _>>()
        .map_err(|e| e.to_string())?;
    let mut played = at_rate(&samples, own, rate);
    turn_down(&mut played);
    Ok(played)
}
