//! `seamline sound`: which devices there are, and how long the way from click to ear is.

use std::fmt::Write;

use clap::Args;

use super::clock;
use super::data::DataOptions;
use super::devices::{DeviceOptions, pair};
use super::failure::Failure;
use super::{DONE, FAILED, output, settings};
use crate::progress::store::Store;
use crate::session::live::latency;
use crate::sound::device::list::{Ability, DeviceInfo, devices, hosts};
use crate::sound::device::{Capture, DeviceError, Playback};

/// Said before anything is played.
pub(super) const CAUTION: &str = "Start with the volume turned all the way down, on headphones \
                                  above all, and raise it slowly.";

/// List sound devices, or measure the round trip
///
/// Without --measure it lists every input and output with what it can do. With --measure it plays
/// twelve soft clicks and finds them again in the input (by a cable from output to input, or a
/// microphone at the headphone), and keeps how long they took for these two devices.
#[derive(Args, Debug)]
#[command(after_help = "Example:\n  \
    seamline sound --measure --device 2\n\n\
    Exit code: 0 done, 2 wrong usage, no device, or the clicks were not heard.")]
pub(super) struct SoundArguments {
    /// Play clicks and measure how long they take to be heard
    #[arg(long)]
    measure: bool,

    /// Show the settings: where they stand, what holds, what can be set
    #[arg(long, conflicts_with = "measure")]
    settings: bool,

    #[command(flatten)]
    devices: DeviceOptions,
}

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &SoundArguments, data: &DataOptions) -> u8 {
    let done = if arguments.settings {
        show_settings(data)
    } else if arguments.measure {
        measure(arguments, data)
    } else {
        list(arguments)
    };
    match done {
        Ok(code) => code,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn show_settings(data: &DataOptions) -> Result<u8, Failure> {
    let place = match settings::place() {
        Some(path) if path.exists() => format!("Settings stand in {}\n", path.display()),
        Some(path) => format!("Settings go into {} (there is none)\n", path.display()),
        None => "There is no place for settings here\n".to_owned(),
    };
    let folder = data.folder()?;
    let told = settings::read()?.told();
    let page = format!(
        "{place}Takes and the record are in {}\n\n{told}",
        folder.display()
    );
    output::print(page.as_bytes())?;
    Ok(DONE)
}

fn list(arguments: &SoundArguments) -> Result<u8, Failure> {
    let mut page = String::new();
    let asked = arguments.devices.host();
    let list = devices();
    let mut hosts = hosts();
    if let Some(asked) = asked {
        if !hosts
            .iter()
            .any(|(name, _)| name.eq_ignore_ascii_case(asked))
        {
            let there: Vec<&str> = hosts.iter().map(|(name, _)| name.as_str()).collect();
            return Err(Failure::of(DeviceError::NoHost {
                given: asked.to_owned(),
                there: there.join(", "),
            }));
        }
        hosts.retain(|(name, _)| name.eq_ignore_ascii_case(asked));
    }
    for (name, answers) in hosts {
        let usual = if page.is_empty() {
            " (taken when none is named)"
        } else {
            ""
        };
        match answers {
            Ok(()) => writeln!(page, "Host {name}{usual}"),
            Err(reason) => writeln!(page, "Host {name}: does not answer ({reason})"),
        }
        .ok();
        for device in list.iter().filter(|d| d.host == name) {
            page.push_str(&describe(device));
        }
    }
    output::print(page.as_bytes())?;
    if list.iter().all(|d| d.input.is_none()) {
        return Err(Failure::new(
            "there is no input; plug a sound card in, or start the sound server",
        ));
    }
    Ok(DONE)
}

fn describe(device: &DeviceInfo) -> String {
    let mut text = format!("  {}  {}\n", device.number, device.name);
    if device.id != device.name {
        writeln!(text, "       {}", device.id).ok();
    }
    for (way, ability) in [("in", &device.input), ("out", &device.output)] {
        if let Some(ability) = ability {
            writeln!(text, "       {way:<4} {}", words(ability)).ok();
        }
    }
    text
}

fn words(ability: &Ability) -> String {
    let span = |from: String, to: String| {
        if from == to {
            from
        } else {
            format!("{from} to {to}")
        }
    };
    let (few, many) = ability.channels;
    let (slow, fast) = ability.rates_hz;
    let mut words = format!(
        "channels {}, {} Hz, {}",
        span(few.to_string(), many.to_string()),
        span(slow.to_string(), fast.to_string()),
        ability.formats.join(" ")
    );
    if let Some((channels, rate, format)) = &ability.usual {
        write!(words, "; runs at {rate} Hz, {channels} ch, {format}").ok();
    }
    if ability.default {
        words.push_str("; the default");
    }
    words
}

fn measure(arguments: &SoundArguments, data: &DataOptions) -> Result<u8, Failure> {
    let mut book = data.latencies()?;
    let mut input = Capture::open(&arguments.devices.input()).map_err(Failure::of)?;
    let mut playback = Playback::open(&arguments.devices.output()).map_err(Failure::of)?;
    let pair = pair(&input, &playback);
    output::note(CAUTION);
    output::note(&format!(
        "Clicks go out of {} and are looked for in {} ...",
        pair.output, pair.input
    ));
    let trip = latency::measure(&mut input, &mut playback).map_err(Failure::of)?;
    book.note(&pair, &trip);
    let path = data.keep_latencies(&book)?;
    let noted = Store::open(&data.folder()?)
        .and_then(|mut store| store.note_rig(&pair.name(), 1000.0 * trip.median_s, clock::now_s()));
    if let Err(error) = noted {
        output::note(&format!("not kept in the record: {error}"));
    }
    let ms = |s: f64| 1000.0 * s;
    output::print(
        format!(
            "Round trip {:.1} ms, spread {:.1} ms, {:.1} to {:.1} ms, {} of {} clicks heard\n\
             {} -> {}\nKept in {}\n",
            ms(trip.median_s),
            ms(trip.spread_s),
            ms(trip.from_to_s.0),
            ms(trip.from_to_s.1),
            trip.found,
            latency::CLICKS,
            pair.output,
            pair.input,
            path.display()
        )
        .as_bytes(),
    )?;
    Ok(DONE)
}
