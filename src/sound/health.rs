//! Samples that are no numbers, and clipping.

use crate::sound::block::SampleFormat;
use crate::sound::notes::SoundNote;
use crate::units::FrameIndex;

/// Samples in a row at full scale that make a clipped run. A single peak may touch full scale
/// honestly, two rarely, three hardly ever. Common practice, no source; raising it misses short
/// clips of bright attacks.
pub const CLIPPED_RUN_SAMPLES: u32 = 3;

/// Replaces what is no number and counts what is clipped.
///
/// Input:   interleaved samples, whole frames, in blocks of any length.
/// Output:  the same samples, all finite; the same notes however the stream is cut.
pub struct Health {
    channels: usize,
    /// Bits of the smallest magnitude that counts as full scale.
    full_scale_bits: u32,
    /// A float file may hold values beyond full scale honestly; only a flat top is clipped.
    flat_only: bool,
    frames: u64,
    runs: Vec<Run>,
    non_finite: Option<(u64, FrameIndex)>,
    clipped: Option<(u64, FrameIndex)>,
}

/// A run of samples at full scale in one channel.
#[derive(Clone, Copy, Default)]
struct Run {
    length: u32,
    value: f32,
}

/// The bits of a 32-bit float without its sign (IEEE 754).
const MAGNITUDE: u32 = 0x7fff_ffff;
/// The bits of an infinite 32-bit float; larger ones are no numbers (IEEE 754).
const INFINITE: u32 = 0x7f80_0000;

impl Health {
    /// For a stream of `channels` channels whose samples are written down as `samples`.
    pub fn new(channels: u16, samples: SampleFormat) -> Self {
        let (full_scale, flat_only) = match samples {
            SampleFormat::Integer { bits } => {
                (1.0 - (1.0 - f32::from(bits.clamp(2, 24))).exp2(), false)
            }
            SampleFormat::Float { .. } | SampleFormat::Lossy => (1.0, true),
        };
        Self {
            channels: usize::from(channels).max(1),
            full_scale_bits: full_scale.to_bits(),
            flat_only,
            frames: 0,
            runs: vec![Run::default(); usize::from(channels).max(1)],
            non_finite: None,
            clipped: None,
        }
    }

    /// Cleans the next whole frames in place.
    pub fn clean(&mut self, interleaved: &mut [f32]) {
        // As integers the magnitudes of floats keep their order, infinities and NaN on top, so
        // one maximum tells whether anything at all is to be done.
        let top = interleaved
            .iter()
            .fold(0, |top, x| top.max(x.to_bits() & MAGNITUDE));
        if top >= self.full_scale_bits {
            self.look_closely(interleaved);
        } else {
            self.runs.fill(Run::default());
        }
        self.frames += (interleaved.len() / self.channels) as u64;
    }

    fn look_closely(&mut self, interleaved: &mut [f32]) {
        for (i, frame) in interleaved.chunks_mut(self.channels).enumerate() {
            let at = FrameIndex(self.frames + i as u64);
            for (sample, run) in frame.iter_mut().zip(&mut self.runs) {
                let magnitude = sample.to_bits() & MAGNITUDE;
                if magnitude >= INFINITE {
                    *sample = 0.0;
                    self.non_finite.get_or_insert((0, at)).0 += 1;
                    *run = Run::default();
                } else if magnitude < self.full_scale_bits {
                    *run = Run::default();
                } else {
                    let goes_on = if self.flat_only {
                        run.value == *sample
                    } else {
                        run.value * *sample > 0.0
                    };
                    let length = if goes_on {
                        run.length.saturating_add(1)
                    } else {
                        1
                    };
                    *run = Run {
                        length,
                        value: *sample,
                    };
                    if length == CLIPPED_RUN_SAMPLES {
                        let first = FrameIndex((at.0 + 1).saturating_sub(u64::from(length)));
                        self.clipped.get_or_insert((0, first)).0 += 1;
                    }
                }
            }
        }
    }

    /// What was found so far.
    pub fn notes(&self) -> impl Iterator<Item = SoundNote> {
        let non_finite = self
            .non_finite
            .map(|(count, first)| SoundNote::NonFinite { count, first });
        let clipped = self
            .clipped
            .map(|(runs, first)| SoundNote::Clipped { runs, first });
        non_finite.into_iter().chain(clipped)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn notes_of(samples: SampleFormat, x: &[f32], cut: usize) -> Vec<SoundNote> {
        let mut health = Health::new(1, samples);
        for block in x.to_vec().chunks_mut(cut) {
            health.clean(block);
            assert!(block.iter().all(|x| x.is_finite()));
        }
        health.notes().collect()
    }

    /// Closed form: runs counted by hand, the same for every cut.
    #[test]
    fn runs_at_full_scale() {
        let top = 32767.0 / 32768.0;
        let x = [
            0.1, top, top, 0.2, top, top, top, top, 0.3, -1.0, -1.0, -1.0, top, top, 0.0,
        ];
        let wanted = SoundNote::Clipped {
            runs: 2,
            first: FrameIndex(4),
        };
        for cut in 1..=x.len() {
            let got = notes_of(SampleFormat::Integer { bits: 16 }, &x, cut);
            assert_eq!(got, std::slice::from_ref(&wanted), "cut {cut}");
        }
    }

    #[test]
    fn floats_beyond_full_scale_are_not_clipped_unless_flat() {
        let float = SampleFormat::Float { bits: 32 };
        assert_eq!(notes_of(float, &[1.0, 1.2, 1.4, 1.3, 1.1], 2), []);
        let flat = SoundNote::Clipped {
            runs: 1,
            first: FrameIndex(1),
        };
        assert_eq!(notes_of(float, &[0.5, 1.2, 1.2, 1.2, 0.5], 2), [flat]);
    }

    #[test]
    fn what_is_no_number_becomes_silence_and_is_counted() {
        let x = [0.0, 0.5, f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.5];
        let wanted = SoundNote::NonFinite {
            count: 3,
            first: FrameIndex(2),
        };
        for cut in 1..=x.len() {
            let got = notes_of(SampleFormat::Float { bits: 32 }, &x, cut);
            assert_eq!(got, std::slice::from_ref(&wanted), "cut {cut}");
        }
    }
}
