//! One packet to samples. Symphonia does the work; nothing it says leaves this file.

use symphonia::core::codecs::audio::well_known::{
    CODEC_ID_AAC, CODEC_ID_ALAC, CODEC_ID_MP3, CODEC_ID_VORBIS,
};
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::packet::PacketRef;
use symphonia::core::units::{Duration, Timestamp};
use symphonia::default::codecs::{AacDecoder, AlacDecoder, MpaDecoder, VorbisDecoder};

/// What packs the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Packing {
    /// MPEG audio layer III.
    Mp3,
    /// Vorbis.
    Vorbis,
    /// Advanced audio coding, low complexity.
    Aac,
    /// Apple lossless.
    Alac,
}

/// A decoder with the samples of the last packet.
pub(super) struct Coder {
    inner: Box<dyn AudioDecoder>,
    channels: usize,
    rate: u32,
    interleaved: Vec<f32>,
}

impl Coder {
    /// A decoder for streams with this setup (the coder's own bytes, empty for MP3).
    ///
    /// # Errors
    /// What the decoder says about a setup it does not take.
    pub(super) fn new(packing: Packing, setup: &[u8]) -> Result<Self, String> {
        let mut params = AudioCodecParameters::new();
        params.for_codec(match packing {
            Packing::Mp3 => CODEC_ID_MP3,
            Packing::Vorbis => CODEC_ID_VORBIS,
            Packing::Aac => CODEC_ID_AAC,
            Packing::Alac => CODEC_ID_ALAC,
        });
        if !setup.is_empty() {
            params.with_extra_data(setup.into());
        }
        // No packet given to it carries anything to drop; gapless, a Vorbis decoder also withholds
        // the half block that stands before the first whole one (Vorbis I, section 4.3.8).
        let options = AudioDecoderOptions::default().gapless(true);
        let inner = match packing {
            Packing::Mp3 => boxed(MpaDecoder::try_new(&params, &options)),
            Packing::Vorbis => boxed(VorbisDecoder::try_new(&params, &options)),
            Packing::Aac => boxed(AacDecoder::try_new(&params, &options)),
            Packing::Alac => boxed(AlacDecoder::try_new(&params, &options)),
        }?;
        let said = inner.codec_params();
        let channels = said.channels.as_ref().map_or(0, |c| c.count());
        let rate = said.sample_rate.unwrap_or(0);
        Ok(Self {
            inner,
            channels,
            rate,
            interleaved: Vec::new(),
        })
    }

    /// Holds every packet to this many channels and this rate.
    pub(super) fn expect(&mut self, channels: u16, rate: u32) {
        self.channels = usize::from(channels);
        self.rate = rate;
    }

    /// Channels and frames per second as the setup gives them; 0 where it does not.
    pub(super) fn shape(&self) -> (usize, u32) {
        (self.channels, self.rate)
    }

    /// The packet's samples, interleaved; `None` when it is damaged or of another shape.
    pub(super) fn decode(&mut self, packet: &[u8]) -> Option<&[f32]> {
        let packet = PacketRef::new(0, Timestamp::ZERO, Duration::ZERO, packet);
        let decoded = self.inner.decode_ref(&packet).ok()?;
        let spec = decoded.spec();
        if spec.channels().count() != self.channels || spec.rate() != self.rate {
            return None;
        }
        self.interleaved.clear();
        decoded.copy_to_vec_interleaved(&mut self.interleaved);
        Some(&self.interleaved)
    }

    /// Forgets what came before, after sound was lost.
    pub(super) fn forget(&mut self) {
        self.inner.reset();
    }
}

fn boxed<D: AudioDecoder + 'static>(
    made: symphonia::core::errors::Result<D>,
) -> Result<Box<dyn AudioDecoder>, String> {
    match made {
        Ok(decoder) => Ok(Box::new(decoder)),
        Err(e) => Err(e.to_string()),
    }
}
