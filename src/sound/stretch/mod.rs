//! Slower or faster without another pitch: sound stretched in time.
//!
//! What goes on (strings, voices) is stretched by a phase vocoder with long windows, what is struck
//! (drums, clicks, attacks) is laid anew in short pieces, and around each attack the sound runs at its
//! own speed, so that it stays as sharp as it was and lies where the tempo asks for it.
//!
//! # Source
//! Parted into what lasts and what is struck: Fitzgerald (2010), DAFx; each stretched in its own way:
//! Driedger, Müller & Ewert (2014), IEEE Signal Processing Letters 21. Phases locked around each peak:
//! Laroche & Dolson (1999), IEEE Trans. Speech and Audio Processing 7; carried on by the phase that
//! turned within one hop of the output: Puckette (1995), IEEE ASSP Workshop. New partials begin with
//! their own phase, after Röbel (2003), DAFx; here a partial is new when it has doubled within a hop.

mod anchors;
mod vocoder;

use crate::units::SampleRate;

/// Slowest, as a share of the sound's own tempo. Below it there is too little sound to fill the time.
pub const TEMPO_MIN: f64 = 0.3;

/// Fastest, as a share of the sound's own tempo. Above it attacks run into one another.
pub const TEMPO_MAX: f64 = 2.0;

/// Why sound cannot be stretched.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum StretchError {
    /// Slower or faster than can be.
    #[error(
        "{:.0} % of the tempo it was played at is out of reach; choose {:.0} to {:.0} %",
        100.0 * given, 100.0 * TEMPO_MIN, 100.0 * TEMPO_MAX
    )]
    Tempo {
        /// The tempo asked for, as a share of the sound's own.
        given: f64,
    },
}

/// Stretches mono samples.
///
/// Input:   `samples` at full scale ±1, `tempo` relative to their own, [`TEMPO_MIN`] to
///          [`TEMPO_MAX`]; 0.5 is half as fast. Samples that are no numbers count as silence.
/// Output:  `samples.len() / tempo` samples, rounded, of the same pitch; at tempo 1 the samples
///          themselves. The same for the same input.
/// Memory:  some three times the input and the output.
///
/// # Errors
/// When the tempo is out of reach.
///
/// ```
/// use seamline::sound::stretch::stretch;
/// use seamline::units::SampleRate;
///
/// let second: Vec<f32> = (0..48_000).map(|n| (0.036 * n as f32).sin()).collect();
/// let slow = stretch(&second, SampleRate(48_000), 0.75)?;
/// assert_eq!(slow.len(), 64_000);
/// # Ok::<(), seamline::sound::stretch::StretchError>(())
/// ```
pub fn stretch(samples: &[f32], rate: SampleRate, tempo: f64) -> Result<Vec<f32>, StretchError> {
    if !(TEMPO_MIN..=TEMPO_MAX).contains(&tempo) {
        return Err(StretchError::Tempo { given: tempo });
    }
    if tempo == 1.0 {
        return Ok(samples.to_vec());
    }
    let finite = |x: &f32| if x.is_finite() { *x } else { 0.0 };
    let samples: Vec<f32> = samples.iter().map(finite).collect();
    let frames = (samples.len() as f64 / tempo).round() as usize;
    let map = anchors::Map::new(
        &anchors::attacks(&samples, rate),
        samples.len(),
        tempo,
        rate,
    );
    Ok(vocoder::stretched(&samples, frames, &map, rate))
}

/// Stretches two channels by the same map, so that what was in both stays in the middle.
///
/// Input:   both of the same length, otherwise as [`stretch`].
/// Output:  left and right.
///
/// # Errors
/// As [`stretch`].
pub fn stretch_stereo(
    left: &[f32],
    right: &[f32],
    rate: SampleRate,
    tempo: f64,
) -> Result<(Vec<f32>, Vec<f32>), StretchError> {
    let mix = |sign: f32| -> Vec<f32> {
        let pairs = left.iter().zip(right);
        pairs.map(|(l, r)| 0.5 * (l + sign * r)).collect()
    };
    let middle = stretch(&mix(1.0), rate, tempo)?;
    let side = stretch(&mix(-1.0), rate, tempo)?;
    let both = |sign: f32| -> Vec<f32> {
        let pairs = middle.iter().zip(&side);
        pairs.map(|(m, s)| m + sign * s).collect()
    };
    Ok((both(1.0), both(-1.0)))
}

/// A Hann window without its last zero, so that shifted copies add up.
fn hann(frames: usize) -> Vec<f32> {
    (0..frames)
        .map(|n| {
            let turn = std::f64::consts::TAU * n as f64 / frames as f64;
            (0.5 - 0.5 * turn.cos()) as f32
        })
        .collect()
}
