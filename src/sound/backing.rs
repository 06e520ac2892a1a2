//! A backing track: the recording that a line is played along with, cut to the bars that are played
//! and stretched to their tempo.

use std::path::PathBuf;

use super::SoundError;
use super::file::read_part;
use super::rate::at_rate;
use super::stretch::{StretchError, stretch};
use crate::units::{Decibels, SampleRate};

/// Longest part of the track that is held at once, in seconds: it bounds the memory of a pass to some
/// 300 MB. Raised, longer lines can be played to a track.
pub const PART_MAX_S: f64 = 900.0;

/// How the part begins and ends, in seconds: so short that no attack is lost, long enough that nothing
/// cracks.
const FADE_S: f64 = 0.005;

/// A track, and how it lies to the line.
#[derive(Clone, Debug, PartialEq)]
pub struct Backing {
    /// The file.
    pub path: PathBuf,
    /// Where the line's bar 1 begins in it, in seconds.
    pub start_s: f64,
    /// Seconds of the track to a second of the line at its written tempo: 1 where both have the same.
    pub stride: f64,
    /// How much it is turned up or down; minus is softer.
    pub level: Decibels,
}

/// Which part of it goes with a pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BackingPart {
    /// From here on, in seconds of the line at its written tempo, bar 1 at 0; a pick-up is below 0.
    pub from_s: f64,
    /// Up to here.
    pub to_s: f64,
    /// Where the pass's own bar 1 lies.
    pub bar1_s: f64,
    /// The tempo it is wanted at, relative to the written one.
    pub share: f64,
}

/// Why a track cannot be played to.
#[derive(Debug, thiserror::Error)]
pub enum BackingError {
    /// The file cannot be read.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// The tempo is out of reach.
    #[error("{file}: {cause}")]
    Tempo {
        /// The track.
        file: String,
        /// Why.
        cause: StretchError,
    },
    /// The pass is too long.
    #[error(
        "{file}: {given:.0} s of it are wanted at once, {PART_MAX_S} s are possible; choose fewer bars"
    )]
    Long {
        /// The track.
        file: String,
        /// How long.
        given: f64,
    },
}

impl Backing {
    /// The part that goes with a pass, stretched to its tempo, at `rate`.
    ///
    /// Output:  the sound from the part's first moment on; silence where the track has not begun or is
    ///          over, so that the length is that of the part.
    /// Memory:  that of the part, not of the track.
    ///
    /// # Errors
    /// When the track cannot be read, or tempo or length are out of reach.
    pub fn render(&self, part: &BackingPart, rate: SampleRate) -> Result<Vec<f32>, BackingError> {
        let file = self.path.display().to_string();
        let from_s = self.start_s + part.from_s * self.stride;
        let to_s = self.start_s + part.to_s * self.stride;
        if to_s - from_s > PART_MAX_S {
            return Err(BackingError::Long {
                file,
                given: to_s - from_s,
            });
        }
        let (samples, own) = read_part(&self.path, from_s, to_s)?;
        let tempo = self.stride * part.share;
        // A tempo that was rounded on the way is no other tempo.
        let tempo = if (tempo - 1.0).abs() < 1e-9 {
            1.0
        } else {
            tempo
        };
        let stretched =
            stretch(&samples, own, tempo).map_err(|cause| BackingError::Tempo { file, cause })?;
        drop(samples);
        let mut samples = at_rate(&stretched, own, rate);
        let gain = self.level.to_amplitude() as f32;
        let fade = ((FADE_S * rate.hz()) as usize).max(1);
        let frames = samples.len();
        for (n, x) in samples.iter_mut().enumerate() {
            let edge = n.min(frames - n) as f32 / fade as f32;
            *x *= gain * edge.min(1.0);
        }
        Ok(samples)
    }
}
