//! A device as a source of sound.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;

use cpal::traits::{DeviceTrait, StreamTrait};
use ringbuf::HeapCons;
use ringbuf::HeapRb;
use ringbuf::traits::{Consumer, Observer, Split};

use crate::sound::block::{
    Container, Delivery, RATE_MAX, RATE_MIN, SampleFormat, Source, SourceFormat,
};
use crate::sound::device::callback::{CaptureEnd, Counters, Lost, Stamp, take_block};
use crate::sound::device::clock::StreamClock;
use crate::sound::device::error::{DeviceError, Way};
use crate::sound::device::list::{DeviceChoice, find};
use crate::sound::device::losses::LossWatch;
use crate::sound::device::stream::{self, Health, Running, within_limit};
use crate::sound::error::SoundError;
use crate::sound::health;
use crate::sound::notes::SoundNote;
use crate::units::{FrameCount, SampleRate};

/// How much the ring holds, in seconds: the listening thread may be held up for as much, by a disk or
/// by other work, without losing a frame. Raised, it takes more memory.
const RING_S: f64 = 10.0;
/// Records of losses that may wait to be read.
const RECORDS: usize = 256;
/// Stamps of callbacks that may wait to be read; of those that come when there is no room nothing
/// is learnt of the clock.
const STAMPS: usize = 4096;
/// Frames delivered at once, at most.
const BLOCK_FRAMES: usize = 4096;
/// Frames the device is asked to deliver at once, in seconds: short against what it takes to hear
/// a note, long against what a busy machine can serve.
const PERIOD_S: f64 = 0.010;

/// A running capture.
pub struct Capture {
    name: String,
    host: String,
    id: String,
    format: SourceFormat,
    running: Running,
    ring: HeapCons<f32>,
    records: HeapCons<Lost>,
    stamps: HeapCons<Stamp>,
    clock: StreamClock,
    watch: LossWatch,
    channel: Option<usize>,
    /// Frames taken out of the ring.
    read: u64,
    /// Frames of the stream that were handed out, as samples or as lost in the ring.
    passed: u64,
    next_lost: Option<Lost>,
    interleaved: Vec<f32>,
    cleaner: health::Health,
}

impl Capture {
    /// Opens the device that is meant and lets it run.
    ///
    /// # Errors
    /// When there is none, or it cannot be opened that way: see [`DeviceError`].
    pub fn open(choice: &DeviceChoice) -> Result<Self, DeviceError> {
        let wanted = choice.clone();
        let label = choice
            .device
            .clone()
            .unwrap_or_else(|| "the default device".to_owned());
        within_limit(&label, Way::In, move || open_now(&wanted))
    }

    /// The device's name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What the host calls it.
    pub fn id(&self) -> &str {
        &self.id
    }

    /// The host by which it is reached.
    pub fn host(&self) -> &str {
        &self.host
    }

    /// Frames lost since the start: those that found no room in the ring, and those that the device
    /// dropped by itself.
    pub fn lost(&self) -> FrameCount {
        FrameCount(self.running.counters.lost.load(Ordering::Relaxed) + self.watch.lost())
    }

    /// Whether sound still comes. To be asked several times a second.
    pub fn health(&mut self, now: Instant) -> Health {
        self.running.health(now)
    }

    /// Whether the system refused to run the audio thread ahead of others.
    pub fn priority_refused(&self) -> bool {
        self.running.priority_refused()
    }

    /// The stream's clock, with what has come since it was last asked for; moments are seconds
    /// from `zero`.
    pub fn clock(&mut self, zero: Instant) -> &StreamClock {
        self.read_stamps();
        let shift_s = stream::moment_s(self.running.origin, 0, zero);
        self.clock.shift(shift_s);
        &self.clock
    }

    /// Takes in when callbacks came.
    fn read_stamps(&mut self) {
        while let Some(stamp) = self.stamps.try_pop() {
            let at_s = stamp.at_ns as f64 * 1e-9;
            self.watch.add(at_s, &stamp);
            // While something is missing the count says nothing of the time.
            if !self.watch.in_doubt() {
                let frames = stamp.frames + stamp.block + self.watch.lost();
                self.clock.add(at_s, frames);
            }
        }
    }

    fn lost_here(&mut self) -> Option<Lost> {
        if self.next_lost.is_none() {
            self.next_lost = self.records.try_pop();
        }
        self.next_lost
    }
}

impl Source for Capture {
    fn format(&self) -> &SourceFormat {
        &self.format
    }

    fn next_block(&mut self, into: &mut Vec<f32>) -> Result<Delivery, SoundError> {
        into.clear();
        let channels = usize::from(self.format.channels);
        // The samples first, the records second: whatever was lost among these samples was
        // written down before them.
        let ready = self.ring.occupied_len() / channels;
        let lost = self.lost_here();
        // A callback is stamped before its samples are put into the ring: all that are ready have
        // been looked at.
        self.read_stamps();
        if let Some(lost) = lost.filter(|lost| lost.at <= self.read) {
            self.next_lost = None;
            self.passed += lost.frames;
            return Ok(Delivery::Gap(FrameCount(lost.frames)));
        }
        if let Some(frames) = self.watch.due(self.passed) {
            return Ok(Delivery::Gap(FrameCount(frames)));
        }
        let in_ring = lost.map_or(u64::MAX, |lost| lost.at - self.read);
        let in_stream = self.watch.until().unwrap_or(u64::MAX);
        let until = in_ring.min(in_stream.saturating_sub(self.passed));
        let frames = ready
            .min(BLOCK_FRAMES)
            .min(usize::try_from(until).unwrap_or(usize::MAX));
        if frames == 0 {
            return Ok(Delivery::Nothing);
        }
        self.interleaved.resize(frames * channels, 0.0);
        self.ring.pop_slice(&mut self.interleaved);
        self.read += frames as u64;
        self.passed += frames as u64;
        self.cleaner.clean(&mut self.interleaved);
        match self.channel {
            Some(channel) => into.extend(
                self.interleaved
                    .chunks_exact(channels)
                    .map(|frame| frame[channel]),
            ),
            None => {
                let scale = 1.0 / channels as f32;
                into.extend(
                    self.interleaved
                        .chunks_exact(channels)
                        .map(|frame| frame.iter().sum::<f32>() * scale),
                );
            }
        }
        Ok(Delivery::Samples)
    }

    fn notes(&self) -> Vec<SoundNote> {
        self.cleaner.notes().collect()
    }
}

/// What a device is asked for.
pub(super) fn config_for(
    device: &cpal::Device,
    name: &str,
    way: Way,
    rate_hz: Option<u32>,
    period_s: f64,
) -> Result<(cpal::StreamConfig, cpal::SampleFormat), DeviceError> {
    let failed = |error: cpal::Error| DeviceError::Open {
        device: name.to_owned(),
        way,
        reason: error.to_string(),
    };
    let usual = match way {
        Way::In => device.default_input_config(),
        Way::Out => device.default_output_config(),
    }
    .map_err(failed)?;
    let of_rate = |wanted: u32| DeviceError::Rate {
        device: name.to_owned(),
        way,
        rate_hz: wanted,
    };
    let chosen = match rate_hz {
        Some(wanted) if wanted != usual.sample_rate() => {
            let configs: Vec<cpal::SupportedStreamConfigRange> = match way {
                Way::In => device.supported_input_configs().map_err(failed)?.collect(),
                Way::Out => device.supported_output_configs().map_err(failed)?.collect(),
            };
            let same = |c: &cpal::SupportedStreamConfigRange| {
                (
                    c.channels() == usual.channels(),
                    c.sample_format() == usual.sample_format(),
                )
            };
            configs
                .iter()
                .filter(|c| c.contains_rate(wanted))
                .max_by_key(|c| same(c))
                .map(|c| c.with_sample_rate(wanted))
                .ok_or_else(|| of_rate(wanted))?
        }
        _ => usual,
    };
    let rate = chosen.sample_rate();
    if !(RATE_MIN.0..=RATE_MAX.0).contains(&rate) {
        return Err(of_rate(rate));
    }
    let mut config = chosen.config();
    let period = (period_s * f64::from(rate)) as u32;
    config.buffer_size = match chosen.buffer_size() {
        cpal::SupportedBufferSize::Range { min, max } => {
            cpal::BufferSize::Fixed(period.clamp((*min).max(1), (*max).max(1)))
        }
        cpal::SupportedBufferSize::Unknown => cpal::BufferSize::Default,
    };
    Ok((config, chosen.sample_format()))
}

fn open_now(choice: &DeviceChoice) -> Result<Capture, DeviceError> {
    let (device, name) = find(choice, Way::In)?;
    let (host, id) = device.id().map_or_else(
        |_| ("?".to_owned(), name.clone()),
        |id| (id.host().name().to_owned(), id.id().to_owned()),
    );
    let (config, samples) = config_for(&device, &name, Way::In, choice.rate_hz, PERIOD_S)?;
    if let Some(given) = choice.channel
        && !(1..=config.channels).contains(&given)
    {
        return Err(DeviceError::Channel {
            device: name,
            given,
            channels: config.channels,
        });
    }
    let rate = f64::from(config.sample_rate);
    let room = (RING_S * rate) as usize * usize::from(config.channels);
    let (into_ring, ring) = HeapRb::new(room).split();
    let (into_records, records) = HeapRb::new(RECORDS).split();
    let (into_stamps, stamps) = HeapRb::new(STAMPS).split();
    let counters = Arc::new(Counters::default());
    let end = CaptureEnd {
        ring: into_ring,
        records: into_records,
        stamps: into_stamps,
        counters: Arc::clone(&counters),
        channels: u64::from(config.channels),
        delivered: 0,
        pending: Lost { at: 0, frames: 0 },
    };
    let (stream, bits) = build(&device, &name, config, samples, end)?;
    stream.play().map_err(|error| DeviceError::Open {
        device: name.clone(),
        way: Way::In,
        reason: error.to_string(),
    })?;
    let format = SourceFormat {
        rate: SampleRate(config.sample_rate),
        channels: config.channels,
        samples: bits,
        container: Container::Device,
        frames: None,
    };
    Ok(Capture {
        name,
        host,
        id,
        running: Running::new(stream, counters),
        ring,
        records,
        stamps,
        clock: StreamClock::new(rate),
        watch: LossWatch::new(rate),
        channel: choice.channel.map(|given| usize::from(given) - 1),
        read: 0,
        passed: 0,
        next_lost: None,
        interleaved: Vec::with_capacity(BLOCK_FRAMES * usize::from(config.channels)),
        cleaner: health::Health::new(config.channels, format.samples),
        format,
    })
}

fn build(
    device: &cpal::Device,
    name: &str,
    config: cpal::StreamConfig,
    samples: cpal::SampleFormat,
    mut end: CaptureEnd,
) -> Result<(cpal::Stream, SampleFormat), DeviceError> {
    let told = Arc::clone(&end.counters);
    let on_error = move |error: cpal::Error| stream::note_error(&told, &error);
    macro_rules! built {
        ($sample:ty) => {
            device.build_input_stream(
                config,
                move |block: &[$sample], info: &cpal::InputCallbackInfo| {
                    let at = stream::nanoseconds(info.timestamp().callback);
                    take_block(&mut end, block, cpal::Sample::to_sample::<f32>, at);
                },
                on_error,
                None,
            )
        };
    }
    let (stream, bits) = match samples {
        cpal::SampleFormat::U8 => (built!(u8), SampleFormat::Integer { bits: 8 }),
        cpal::SampleFormat::I8 => (built!(i8), SampleFormat::Integer { bits: 8 }),
        cpal::SampleFormat::I16 => (built!(i16), SampleFormat::Integer { bits: 16 }),
        cpal::SampleFormat::U16 => (built!(u16), SampleFormat::Integer { bits: 16 }),
        cpal::SampleFormat::I24 => (built!(cpal::I24), SampleFormat::Integer { bits: 24 }),
        cpal::SampleFormat::I32 => (built!(i32), SampleFormat::Integer { bits: 32 }),
        cpal::SampleFormat::U32 => (built!(u32), SampleFormat::Integer { bits: 32 }),
        cpal::SampleFormat::F32 => (built!(f32), SampleFormat::Float { bits: 32 }),
        cpal::SampleFormat::F64 => (built!(f64), SampleFormat::Float { bits: 64 }),
        other => {
            return Err(DeviceError::Format {
                device: name.to_owned(),
                format: other.to_string(),
            });
        }
    };
    stream
        .map(|stream| (stream, bits))
        .map_err(|error| DeviceError::Open {
            device: name.to_owned(),
            way: Way::In,
            reason: error.to_string(),
        })
}
