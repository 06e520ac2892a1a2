//! Which devices there are, and which one is meant.

use cpal::traits::{DeviceTrait, HostTrait};

use crate::sound::device::error::{DeviceError, Way};

/// What a device can do one way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ability {
    /// Channels, the fewest and the most.
    pub channels: (u16, u16),
    /// Frames per second, the fewest and the most.
    pub rates_hz: (u32, u32),
    /// Kinds of samples, as the system calls them, each once.
    pub formats: Vec<String>,
    /// What it runs at unless asked otherwise: channels, frames per second, kind of samples.
    pub usual: Option<(u16, u32, String)>,
    /// Whether it is the one that is taken when none is named.
    pub default: bool,
}

/// A device.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceInfo {
    /// Its number in the list, from 1.
    pub number: usize,
    /// The host by which it is reached.
    pub host: String,
    /// Its name.
    pub name: String,
    /// What the host calls it.
    pub id: String,
    /// As an input; `None` when it is none.
    pub input: Option<Ability>,
    /// As an output; `None` when it is none.
    pub output: Option<Ability>,
}

/// Which device is meant.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DeviceChoice {
    /// The host; the system's usual one when none is named.
    pub host: Option<String>,
    /// The device by number, name or part of a name; the host's default when none is named.
    pub device: Option<String>,
    /// Frames per second; the device's own when none are asked for.
    pub rate_hz: Option<u32>,
    /// The one channel that is listened to, from 1; the mean of all when none is named.
    pub channel: Option<u16>,
}

/// The hosts of this machine, the usual one first, and whether each answers.
pub fn hosts() -> Vec<(String, Result<(), String>)> {
    let usual = cpal::default_host().id();
    let mut hosts = vec![usual];
    hosts.extend(cpal::ALL_HOSTS.iter().copied().filter(|id| *id != usual));
    hosts
        .into_iter()
        .map(|id| {
            let answers = cpal::host_from_id(id)
                .and_then(|host| host.devices().map(|_| ()))
                .map_err(|error| error.to_string());
            (id.name().to_owned(), answers)
        })
        .collect()
}

/// All devices of all hosts that answer, the usual host's first.
pub fn devices() -> Vec<DeviceInfo> {
    let mut list = Vec::new();
    for (name, answers) in hosts() {
        if answers.is_err() {
            continue;
        }
        let Ok(host) = host(Some(&name)) else {
            continue;
        };
        for device in of_host(&host) {
            let number = list.len() + 1;
            list.push(DeviceInfo {
                number,
                ..describe(&host, &device)
            });
        }
    }
    list
}

fn of_host(host: &cpal::Host) -> Vec<cpal::Device> {
    host.devices()
        .map(|devices| devices.collect())
        .unwrap_or_default()
}

fn name_of(device: &cpal::Device) -> String {
    device
        .description()
        .map_or_else(|_| id_of(device), |told| told.name().to_owned())
}

fn id_of(device: &cpal::Device) -> String {
    device
        .id()
        .map_or_else(|_| "?".to_owned(), |id| id.id().to_owned())
}

fn describe(host: &cpal::Host, device: &cpal::Device) -> DeviceInfo {
    let default_in = host.default_input_device().map(|d| id_of(&d));
    let default_out = host.default_output_device().map(|d| id_of(&d));
    let id = id_of(device);
    let input = device.supported_input_configs().ok().and_then(|configs| {
        let usual = device.default_input_config().ok();
        ability(configs, usual, default_in.as_ref() == Some(&id))
    });
    let output = device.supported_output_configs().ok().and_then(|configs| {
        let usual = device.default_output_config().ok();
        ability(configs, usual, default_out.as_ref() == Some(&id))
    });
    DeviceInfo {
        number: 0,
        host: host.id().name().to_owned(),
        name: name_of(device),
        id,
        input,
        output,
    }
}

fn ability(
    configs: impl Iterator<Item = cpal::SupportedStreamConfigRange>,
    usual: Option<cpal::SupportedStreamConfig>,
    default: bool,
) -> Option<Ability> {
    let configs: Vec<_> = configs.collect();
    let first = configs.first()?;
    let mut ability = Ability {
        channels: (first.channels(), first.channels()),
        rates_hz: (first.min_sample_rate(), first.max_sample_rate()),
        formats: Vec::new(),
        usual: usual.map(|c| (c.channels(), c.sample_rate(), c.sample_format().to_string())),
        default,
    };
    for config in &configs {
        let channels = config.channels();
        ability.channels.0 = ability.channels.0.min(channels);
        ability.channels.1 = ability.channels.1.max(channels);
        ability.rates_hz.0 = ability.rates_hz.0.min(config.min_sample_rate());
        ability.rates_hz.1 = ability.rates_hz.1.max(config.max_sample_rate());
        let format = config.sample_format().to_string();
        if !ability.formats.contains(&format) {
            ability.formats.push(format);
        }
    }
    Some(ability)
}

/// The host of that name, or the usual one.
pub(super) fn host(name: Option<&str>) -> Result<cpal::Host, DeviceError> {
    let Some(name) = name else {
        return Ok(cpal::default_host());
    };
    let wanted = cpal::ALL_HOSTS
        .iter()
        .find(|id| id.name().eq_ignore_ascii_case(name.trim()))
        .ok_or_else(|| DeviceError::NoHost {
            given: name.to_owned(),
            there: cpal::ALL_HOSTS
                .iter()
                .map(|id| id.name())
                .collect::<Vec<_>>()
                .join(", "),
        })?;
    cpal::host_from_id(*wanted).map_err(|error| DeviceError::HostSilent {
        host: wanted.name().to_owned(),
        reason: error.to_string(),
    })
}

/// The device that is meant, with its name.
pub(super) fn find(choice: &DeviceChoice, way: Way) -> Result<(cpal::Device, String), DeviceError> {
    let by_number = choice
        .device
        .as_ref()
        .and_then(|given| given.trim().parse::<usize>().ok());
    // A number counts over all hosts, as the list does.
    let named = match (by_number, &choice.host) {
        (Some(number), None) => devices()
            .into_iter()
            .find(|d| d.number == number && serves(d, way))
            .map(|d| (d.host, d.id)),
        _ => None,
    };
    if let Some((host_name, id)) = named {
        let host = host(Some(&host_name))?;
        if let Some(device) = of_host(&host).into_iter().find(|d| id_of(d) == id) {
            let name = name_of(&device);
            return Ok((device, name));
        }
    }
    let host = host(choice.host.as_deref())?;
    let host_name = host.id().name().to_owned();
    let Some(given) = &choice.device else {
        let device = match way {
            Way::In => host.default_input_device(),
            Way::Out => host.default_output_device(),
        };
        return device
            .map(|device| (name_of(&device), device))
            .map(|(name, device)| (device, name))
            .ok_or(DeviceError::NoDevice {
                way,
                host: host_name,
            });
    };
    pick(host, given, way)
}

fn serves(device: &DeviceInfo, way: Way) -> bool {
    match way {
        Way::In => device.input.is_some(),
        Way::Out => device.output.is_some(),
    }
}

/// By identity or name, or by part of a name if only one has it.
fn pick(host: cpal::Host, given: &str, way: Way) -> Result<(cpal::Device, String), DeviceError> {
    let able = |device: &cpal::Device| match way {
        Way::In => device.supports_input(),
        Way::Out => device.supports_output(),
    };
    let there: Vec<(cpal::Device, String, String)> = of_host(&host)
        .into_iter()
        .filter(able)
        .map(|device| {
            let (name, id) = (name_of(&device), id_of(&device));
            (device, name, id)
        })
        .collect();
    let names = |list: &[&(cpal::Device, String, String)]| {
        list.iter()
            .map(|(_, name, id)| format!("{name} ({id})"))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let exact = there
        .iter()
        .find(|(_, name, id)| name == given || id == given);
    if let Some((device, name, _)) = exact {
        return Ok((device.clone(), name.clone()));
    }
    let part = given.to_lowercase();
    let like: Vec<_> = there
        .iter()
        .filter(|(_, name, id)| {
            name.to_lowercase().contains(&part) || id.to_lowercase().contains(&part)
        })
        .collect();
    match like.as_slice() {
        [(device, name, _)] => Ok((device.clone(), name.clone())),
        [] if there.is_empty() => Err(DeviceError::NoDevice {
            way,
            host: host.id().name().to_owned(),
        }),
        [] => Err(DeviceError::Unknown {
            way,
            given: given.to_owned(),
            there: names(&there.iter().collect::<Vec<_>>()),
        }),
        several => Err(DeviceError::Ambiguous {
            way,
            given: given.to_owned(),
            there: names(several),
        }),
    }
}
