//! Sound out through a device: whatever is written, in time with the stream.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;

use cpal::traits::{DeviceTrait, StreamTrait};
use ringbuf::traits::{Consumer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};

use crate::sound::device::callback::{Counters, PlaybackEnd, Stamp, give_block};
use crate::sound::device::capture::config_for;
use crate::sound::device::clock::StreamClock;
use crate::sound::device::error::{DeviceError, Way};
use crate::sound::device::list::{DeviceChoice, find};
use crate::sound::device::stream::{self, Health, Running, within_limit};
use crate::units::SampleRate;

/// The ring holds this much, in seconds; whoever fills it keeps far less ahead.
const RING_S: f64 = 2.0;
/// Stamps of callbacks that may wait to be read.
const STAMPS: usize = 4096;
/// Frames asked for at once, in seconds: on a busy machine an output that is served too late
/// stutters, and its delay is measured anyway.
const PERIOD_S: f64 = 0.020;

/// A running playback.
pub struct Playback {
    name: String,
    host: String,
    id: String,
    rate: SampleRate,
    running: Running,
    ring: HeapProd<f32>,
    stamps: HeapCons<Stamp>,
    clock: StreamClock,
    written: u64,
}

impl Playback {
    /// Opens the device that is meant and lets it run; silence until something is written.
    ///
    /// # Errors
    /// When there is none, or it cannot be opened that way: see [`DeviceError`].
    pub fn open(choice: &DeviceChoice) -> Result<Self, DeviceError> {
        let wanted = choice.clone();
        let label = choice
            .device
            .clone()
            .unwrap_or_else(|| "the default device".to_owned());
        within_limit(&label, Way::Out, move || open_now(&wanted))
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

    /// Frames per second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Frames written so far: the number of the next one.
    pub fn written(&self) -> u64 {
        self.written
    }

    /// Frames the device has asked for so far.
    pub fn played(&self) -> u64 {
        self.running.counters.frames.load(Ordering::Relaxed)
    }

    /// Frames of silence the device was given because nothing was ready.
    pub fn late(&self) -> u64 {
        self.running.counters.lost.load(Ordering::Relaxed)
    }

    /// Writes what there is room for; gives how many frames that were.
    pub fn write(&mut self, mono: &[f32]) -> usize {
        let frames = self.ring.push_slice(mono);
        self.written += frames as u64;
        frames
    }

    /// Whether the device still asks for sound. To be asked several times a second.
    pub fn health(&mut self, now: Instant) -> Health {
        self.running.health(now)
    }

    /// The stream's clock, with what has come since it was last asked for; moments are seconds
    /// from `zero`.
    pub fn clock(&mut self, zero: Instant) -> &StreamClock {
        while let Some(stamp) = self.stamps.try_pop() {
            let at = stream::moment_s(self.running.origin, stamp.at_ns, zero);
            self.clock.add(at, stamp.frames);
        }
        &self.clock
    }
}

fn open_now(choice: &DeviceChoice) -> Result<Playback, DeviceError> {
    let (device, name) = find(choice, Way::Out)?;
    let (host, id) = device.id().map_or_else(
        |_| ("?".to_owned(), name.clone()),
        |id| (id.host().name().to_owned(), id.id().to_owned()),
    );
    let (config, samples) = config_for(&device, &name, Way::Out, choice.rate_hz, PERIOD_S)?;
    let rate = f64::from(config.sample_rate);
    let (mut ring, out) = HeapRb::new((RING_S * rate) as usize).split();
    let (into_stamps, stamps) = HeapRb::new(STAMPS).split();
    let counters = Arc::new(Counters::default());
    let end = PlaybackEnd {
        ring: out,
        stamps: into_stamps,
        counters: Arc::clone(&counters),
        channels: usize::from(config.channels),
        owed: 0,
    };
    // The first callbacks come in a burst, before anybody can write.
    let ahead = (RING_S / 4.0 * rate) as usize;
    let written = ring.push_iter(std::iter::repeat_n(0.0, ahead)) as u64;
    let stream = build(&device, &name, config, samples, end)?;
    stream.play().map_err(|error| DeviceError::Open {
        device: name.clone(),
        way: Way::Out,
        reason: error.to_string(),
    })?;
    Ok(Playback {
        name,
        host,
        id,
        rate: SampleRate(config.sample_rate),
        running: Running::new(stream, counters),
        ring,
        stamps,
        clock: StreamClock::new(rate),
        written,
    })
}

fn build(
    device: &cpal::Device,
    name: &str,
    config: cpal::StreamConfig,
    samples: cpal::SampleFormat,
    mut end: PlaybackEnd,
) -> Result<cpal::Stream, DeviceError> {
    let told = Arc::clone(&end.counters);
    let on_error = move |error: cpal::Error| stream::note_error(&told, &error);
    macro_rules! built {
        ($sample:ty) => {
            device.build_output_stream(
                config,
                move |block: &mut [$sample], info: &cpal::OutputCallbackInfo| {
                    let at = stream::nanoseconds(info.timestamp().callback);
                    give_block(&mut end, block, cpal::Sample::to_sample::<$sample>, at);
                },
                on_error,
                None,
            )
        };
    }
    let stream = match samples {
        cpal::SampleFormat::U8 => built!(u8),
        cpal::SampleFormat::I8 => built!(i8),
        cpal::SampleFormat::I16 => built!(i16),
        cpal::SampleFormat::U16 => built!(u16),
        cpal::SampleFormat::I24 => built!(cpal::I24),
        cpal::SampleFormat::I32 => built!(i32),
        cpal::SampleFormat::U32 => built!(u32),
        cpal::SampleFormat::F32 => built!(f32),
        cpal::SampleFormat::F64 => built!(f64),
        other => {
            return Err(DeviceError::Format {
                device: name.to_owned(),
                format: other.to_string(),
            });
        }
    };
    stream.map_err(|error| DeviceError::Open {
        device: name.to_owned(),
        way: Way::Out,
        reason: error.to_string(),
    })
}
