//! What can go wrong with a sound device, and how to mend it.

use crate::sound::block::{RATE_MAX, RATE_MIN};

/// Which way the sound goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Into the program.
    In,
    /// Out of it.
    Out,
}

impl std::fmt::Display for Way {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::In => "input",
            Self::Out => "output",
        })
    }
}

/// Why a device cannot be used. Each message says how to mend it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DeviceError {
    /// No such way of reaching sound cards on this machine.
    #[error(
        "there is no sound host `{given}` here; there are: {there}. `seamline sound` lists them"
    )]
    NoHost {
        /// As it was asked for.
        given: String,
        /// Names of those there are.
        there: String,
    },
    /// The host does not answer.
    #[error(
        "the sound host {host} does not answer ({reason}); start the sound server, or name another \
         host with --host"
    )]
    HostSilent {
        /// The host's name.
        host: String,
        /// What the system said.
        reason: String,
    },
    /// No device at all that way.
    #[error(
        "there is no {way} device on {host}; plug one in, or name another host with --host \
         (`seamline sound` lists what there is)"
    )]
    NoDevice {
        /// In or out.
        way: Way,
        /// The host's name.
        host: String,
    },
    /// No device of that name or number.
    #[error("there is no {way} device `{given}`; there are: {there}")]
    Unknown {
        /// In or out.
        way: Way,
        /// As it was asked for.
        given: String,
        /// Those there are.
        there: String,
    },
    /// Several devices have that in their names.
    #[error("`{given}` can mean several {way} devices: {there}; name one by its number")]
    Ambiguous {
        /// In or out.
        way: Way,
        /// As it was asked for.
        given: String,
        /// Those it can mean.
        there: String,
    },
    /// The device cannot do what was asked for.
    #[error(
        "{device}: cannot run at {rate_hz} Hz as {way}; `seamline sound` tells what it can. Rates \
         from {} to {} are taken",
        RATE_MIN.0, RATE_MAX.0
    )]
    Rate {
        /// The device's name.
        device: String,
        /// In or out.
        way: Way,
        /// Frames per second asked for.
        rate_hz: u32,
    },
    /// No such channel.
    #[error("{device}: there is no channel {given}; it has {channels}")]
    Channel {
        /// The device's name.
        device: String,
        /// As it was asked for, from 1.
        given: u16,
        /// How many there are.
        channels: u16,
    },
    /// The samples come in a form that is not read.
    #[error("{device}: its samples are {format}, which is not taken; choose another device")]
    Format {
        /// The device's name.
        device: String,
        /// What the system calls it.
        format: String,
    },
    /// It cannot be opened.
    #[error(
        "{device}: cannot be opened as {way} ({reason}); check that it is plugged in and that no \
         other program holds it"
    )]
    Open {
        /// The device's name.
        device: String,
        /// In or out.
        way: Way,
        /// What the system said.
        reason: String,
    },
    /// It did not answer in time.
    #[error("{device}: did not answer within {seconds} s as {way}; unplug it and plug it in again")]
    Hangs {
        /// The device's name.
        device: String,
        /// In or out.
        way: Way,
        /// How long it was waited for.
        seconds: u64,
    },
}
