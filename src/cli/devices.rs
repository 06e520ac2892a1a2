//! Which sound card is meant, as several commands ask for it.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use clap::Args;

use super::FAILED;
use super::failure::Failure;

use crate::session::live::band::{OpenOutput, Output};
use crate::session::live::input::{Input, OpenInput};
use crate::session::live::latency_book::DevicePair;
use crate::sound::block::{RATE_MAX, RATE_MIN, Source};
use crate::sound::device::{Capture, DeviceChoice, DeviceError, Playback};

/// The devices to be used.
#[derive(Args, Debug, Clone)]
pub(super) struct DeviceOptions {
    /// The sound host, as `seamline sound` calls it
    #[arg(long, value_name = "NAME")]
    host: Option<String>,

    /// The input: its number in `seamline sound`, its name, or part of it
    #[arg(long, value_name = "NAME|NUMBER")]
    device: Option<String>,

    /// The output, the same way
    #[arg(long, value_name = "NAME|NUMBER")]
    output: Option<String>,

    /// Listen to this channel alone, from 1; the mean of all otherwise
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    channel: Option<u16>,

    /// Frames per second of the input; the device's own otherwise
    #[arg(long, value_name = "HZ",
          value_parser = clap::value_parser!(u32).range(i64::from(RATE_MIN.0)..=i64::from(RATE_MAX.0)))]
    rate: Option<u32>,
}

/// The output to be used.
#[derive(Args, Debug, Clone)]
pub(super) struct OutputOptions {
    /// The sound host, as `seamline sound` calls it
    #[arg(long, value_name = "NAME")]
    host: Option<String>,

    /// The output: its number in `seamline sound`, its name, or part of it
    #[arg(long, value_name = "NAME|NUMBER")]
    output: Option<String>,
}

impl OutputOptions {
    /// The output that is meant.
    pub(super) fn output(&self) -> DeviceChoice {
        DeviceChoice {
            host: self.host.clone(),
            device: self.output.clone(),
            ..DeviceChoice::default()
        }
    }
}

impl DeviceOptions {
    /// The host that is asked for.
    pub(super) fn host(&self) -> Option<&str> {
        self.host.as_deref()
    }

    /// The input that is meant.
    pub(super) fn input(&self) -> DeviceChoice {
        DeviceChoice {
            host: self.host.clone(),
            device: self.device.clone(),
            rate_hz: self.rate,
            channel: self.channel,
        }
    }

    /// The output that is meant.
    pub(super) fn output(&self) -> DeviceChoice {
        DeviceChoice {
            host: self.host.clone(),
            device: self.output.clone(),
            rate_hz: None,
            channel: None,
        }
    }

    /// Opens the input, and opens it again when it was lost.
    pub(super) fn open_input(&self) -> OpenInput {
        let choice = self.input();
        Box::new(move |rate| {
            let again = DeviceChoice {
                rate_hz: rate.map(|rate| rate.0).or(choice.rate_hz),
                ..choice.clone()
            };
            Ok(Box::new(Capture::open(&again)?) as Box<dyn Input>)
        })
    }

    /// Opens the output, and opens it again when it was lost; `first` is what is open already.
    pub(super) fn open_output(&self, first: Playback) -> OpenOutput {
        let choice = self.output();
        let mut first = Some(first);
        let rate = first.as_ref().map(Playback::rate);
        Box::new(move || {
            let playback = match first.take() {
                Some(first) => first,
                None => Playback::open(&DeviceChoice {
                    rate_hz: rate.map(|rate| rate.0),
                    ..choice.clone()
                })?,
            };
            Ok(Box::new(playback) as Box<dyn Output>)
        })
    }
}

/// What the book of round trips calls an input and an output.
pub(super) fn pair(capture: &Capture, playback: &Playback) -> DevicePair {
    DevicePair {
        input: format!("{}: {} ({})", capture.host(), capture.name(), capture.id()),
        output: format!(
            "{}: {} ({})",
            playback.host(),
            playback.name(),
            playback.id()
        ),
        input_rate: capture.format().rate,
        output_rate: playback.rate(),
    }
}

/// A device's own message, with what the command can do without it.
pub(super) fn without_output(error: &DeviceError) -> Failure {
    Failure::new(format!(
        "{error}. To play without a click: --click off --count-in 0"
    ))
}

/// A flag that is set when the program is asked to end.
pub(super) fn stop_on_signals() -> Result<Arc<AtomicBool>, Failure> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let stop = Arc::new(AtomicBool::new(false));
    let failed =
        |error: std::io::Error| Failure::new(format!("signals cannot be watched ({error})"));
    for signal in [SIGINT, SIGTERM] {
        // Asked a second time it ends at once; the take is kept as far as it was written.
        signal_hook::flag::register_conditional_shutdown(
            signal,
            i32::from(FAILED),
            Arc::clone(&stop),
        )
        .map_err(failed)?;
    }
    // A terminal that is closed may say so twice, itself and by its shell: that is no second asking.
    for signal in [SIGINT, SIGTERM, SIGHUP] {
        signal_hook::flag::register(signal, Arc::clone(&stop)).map_err(failed)?;
    }
    Ok(stop)
}
