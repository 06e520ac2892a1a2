//! Samples in memory as a source.
#![allow(dead_code, reason = "each test file uses its own part")]

use seamline::sound::block::{Container, Delivery, SampleFormat, Source, SourceFormat};
use seamline::sound::{SoundError, SoundNote};
use seamline::units::{FrameCount, SampleRate};

/// Samples in memory, cut as the test wants them: pieces, and stretches that were lost.
pub struct Samples {
    format: SourceFormat,
    deliveries: std::vec::IntoIter<Result<Vec<f32>, FrameCount>>,
    notes: Vec<SoundNote>,
}

impl Samples {
    /// A source that delivers these.
    pub fn new(rate: SampleRate, deliveries: Vec<Result<Vec<f32>, FrameCount>>) -> Self {
        Self {
            format: SourceFormat {
                rate,
                channels: 1,
                samples: SampleFormat::Float { bits: 32 },
                container: Container::Wav,
                frames: None,
            },
            deliveries: deliveries.into_iter(),
            notes: Vec::new(),
        }
    }

    /// The same with something to be said of the recording.
    pub fn with_notes(self, notes: Vec<SoundNote>) -> Self {
        Self { notes, ..self }
    }
}

impl Source for Samples {
    fn format(&self) -> &SourceFormat {
        &self.format
    }

    fn next_block(&mut self, into: &mut Vec<f32>) -> Result<Delivery, SoundError> {
        into.clear();
        Ok(match self.deliveries.next() {
            Some(Ok(samples)) => {
                into.extend(samples);
                Delivery::Samples
            }
            Some(Err(lost)) => Delivery::Gap(lost),
            None => Delivery::End,
        })
    }

    fn notes(&self) -> Vec<SoundNote> {
        self.notes.clone()
    }
}
