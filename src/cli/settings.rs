//! The player's settings: a file in the place that the system has for such files, which says what holds
//! where no option is given. An option that is given wins.
//!
//! The values go to the commands as the defaults of their options, so that `--help` shows them and the
//! options' own checks hold for them.

use std::path::PathBuf;

use clap::Command;
use serde::Deserialize;

use super::failure::Failure;

/// Names the file instead; set and empty there is none.
const PLACE: &str = "SEAMLINE_SETTINGS";
/// Largest file of settings read, in bytes.
const BYTES_MAX: u64 = 1 << 20;

/// What may stand in the file.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub(super) struct Settings {
    player: Option<String>,
    instrument: Option<String>,
    host: Option<String>,
    device: Option<toml::Value>,
    output: Option<toml::Value>,
    channel: Option<u16>,
    rate: Option<u32>,
    click: Option<String>,
    count_in: Option<u8>,
    paper: Option<String>,
    record: Option<bool>,
    data: Option<String>,
    instruments: std::collections::BTreeMap<String, Owned>,
}

/// An instrument of the player's.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
struct Owned {
    tuning: Option<String>,
    a4: Option<f64>,
    strings: Option<String>,
}

/// A setting: its name, the option it is the default of, and the commands that have that option.
struct Known {
    name: &'static str,
    option: &'static str,
    commands: &'static [&'static str],
    what: &'static str,
}

const KNOWN: [Known; 11] = [
    Known {
        name: "player",
        option: "player",
        commands: &["score", "play", "log", "next"],
        what: "who plays",
    },
    Known {
        name: "instrument",
        option: "instrument",
        commands: &["score", "play"],
        what: "which instrument is played",
    },
    Known {
        name: "host",
        option: "host",
        commands: &["play", "tune", "sound", "hear"],
        what: "the sound host",
    },
    Known {
        name: "device",
        option: "device",
        commands: &["play", "tune", "sound"],
        what: "the input",
    },
    Known {
        name: "output",
        option: "output",
        commands: &["play", "tune", "sound", "hear"],
        what: "the output",
    },
    Known {
        name: "channel",
        option: "channel",
        commands: &["play", "tune", "sound"],
        what: "the channel of the input",
    },
    Known {
        name: "rate",
        option: "rate",
        commands: &["play", "tune", "sound"],
        what: "frames per second of the input",
    },
    Known {
        name: "click",
        option: "click",
        commands: &["play"],
        what: "the beats that click: all, 2-4, off",
    },
    Known {
        name: "count-in",
        option: "count_in",
        commands: &["play"],
        what: "bars of clicks before the line",
    },
    Known {
        name: "paper",
        option: "paper",
        commands: &["show"],
        what: "the size of printed pages",
    },
    Known {
        name: "record",
        option: "no_record",
        commands: &["score", "play"],
        what: "false keeps nothing in the record",
    },
];

/// The settings of an instrument that are options, with the commands that have them.
const OF_INSTRUMENT: [(&str, &[&str]); 3] = [
    (
        "tuning",
        &["score", "compare", "play", "show", "hear", "tune"],
    ),
    ("a4", &["score", "compare", "play", "hear", "tune"]),
    ("strings", &["score", "compare", "play"]),
];

/// Where the settings stand; `None` where there is no place for them.
pub(super) fn place() -> Option<PathBuf> {
    match std::env::var_os(PLACE) {
        Some(named) if named.is_empty() => None,
        Some(named) => Some(PathBuf::from(named)),
        None => dirs::config_dir().map(|folder| folder.join("seamline").join("settings.toml")),
    }
}

/// Reads them; those of nobody where there is no file.
pub(super) fn read() -> Result<Settings, Failure> {
    let Some(path) = place() else {
        return Ok(Settings::default());
    };
    let within = |what: String| Failure::new(format!("{}: {what}", path.display()));
    match std::fs::metadata(&path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Ok(Settings::default());
        }
        Ok(there) if there.len() > BYTES_MAX => {
            return Err(within("too large for a file of settings".to_owned()));
        }
        _ => {}
    }
    let text = std::fs::read_to_string(&path)
        .map_err(|error| within(format!("the settings cannot be read ({error})")))?;
    let settings: Settings = toml::from_str(&text).map_err(|error| {
        within(format!(
            "these settings cannot be used: {}",
            error.to_string().trim_end()
        ))
    })?;
    if let Some(name) = &settings.instrument
        && !settings.instruments.is_empty()
        && !settings.instruments.contains_key(name)
    {
        let there: Vec<String> = settings
            .instruments
            .keys()
            .map(|key| format!("{key:?}"))
            .collect();
        return Err(within(format!(
            "instrument: there is no [instruments.{name:?}] in this file; there are {}",
            there.join(", ")
        )));
    }
    Ok(settings)
}

impl Settings {
    /// The value of a setting as an option takes it; `None` where it is not set.
    fn value(&self, name: &str) -> Option<String> {
        let plain = |value: &toml::Value| match value {
            toml::Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        match name {
            "player" => self.player.clone(),
            "instrument" => self.instrument.clone(),
            "host" => self.host.clone(),
            "device" => self.device.as_ref().map(plain),
            "output" => self.output.as_ref().map(plain),
            "channel" => self.channel.map(|channel| channel.to_string()),
            "rate" => self.rate.map(|rate| rate.to_string()),
            "click" => self.click.clone(),
            "count-in" => self.count_in.map(|bars| bars.to_string()),
            "paper" => self.paper.clone(),
            "record" => self.record.map(|kept| (!kept).to_string()),
            _ => None,
        }
    }

    /// Whether it tells of instruments.
    pub(super) fn names_instruments(&self) -> bool {
        !self.instruments.is_empty()
    }

    /// The folder for data, where the settings name one.
    pub(super) fn data(&self) -> Option<PathBuf> {
        self.data.as_ref().map(PathBuf::from)
    }

    /// The commands with these settings as their defaults; `instrument` is the one that was asked for.
    pub(super) fn applied(&self, mut command: Command, instrument: Option<&str>) -> Command {
        for known in &KNOWN {
            if let Some(value) = self.value(known.name) {
                command = with_default(command, known.commands, known.option, &value);
            }
        }
        let owned = instrument.or(self.instrument.as_deref());
        let Some(owned) = owned.and_then(|name| self.instruments.get(name)) else {
            return command;
        };
        for (option, commands) in OF_INSTRUMENT {
            let value = match option {
                "tuning" => owned.tuning.clone(),
                "a4" => owned.a4.map(|hertz| hertz.to_string()),
                _ => owned.strings.clone(),
            };
            if let Some(value) = value {
                command = with_default(command, commands, option, &value);
            }
        }
        command
    }

    /// Every setting with its value, a line each.
    pub(super) fn told(&self) -> String {
        let mut page = String::new();
        let mut push = |name: &str, value: Option<String>, what: &str| {
            let value = value.unwrap_or_else(|| "-".to_owned());
            page.push_str(&format!("{name:<12} {value:<24} {what}\n"));
        };
        for known in &KNOWN {
            let value = match known.name {
                "record" => self.record.map(|kept| kept.to_string()),
                name => self.value(name),
            };
            push(known.name, value, known.what);
        }
        push(
            "data",
            self.data.clone(),
            "the folder for takes and the record",
        );
        for (name, owned) in &self.instruments {
            page.push_str(&format!("[instruments.{name:?}]\n"));
            let values = [
                ("tuning", owned.tuning.clone()),
                ("a4", owned.a4.map(|hertz| hertz.to_string())),
                ("strings", owned.strings.clone()),
            ];
            for (key, value) in values {
                if let Some(value) = value {
                    page.push_str(&format!("{key:<12} {value}\n"));
                }
            }
        }
        page
    }
}

/// Gives an option of some commands another default.
fn with_default(mut command: Command, commands: &[&str], option: &str, value: &str) -> Command {
    // A default lives as long as the commands do, which is as long as the program.
    let value: &'static str = Box::leak(value.to_owned().into_boxed_str());
    for name in commands {
        // Held by a test: every command named here has the option.
        let has = |command: &Command| {
            command
                .get_arguments()
                .any(|arg| arg.get_id().as_str() == option)
        };
        if !command.find_subcommand(name).is_some_and(has) {
            continue;
        }
        command = command.mut_subcommand(*name, |command| {
            command.mut_arg(option, |arg| arg.default_value(value))
        });
    }
    command
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory;

    use super::*;
    use crate::cli::Arguments;

    #[test]
    fn every_setting_is_the_default_of_an_option_that_is_there() {
        let program = Arguments::command();
        let known = KNOWN.iter().map(|known| (known.option, known.commands));
        for (option, commands) in known.chain(OF_INSTRUMENT) {
            for name in commands {
                let command = program.find_subcommand(name).expect(name);
                let has = command
                    .get_arguments()
                    .any(|arg| arg.get_id().as_str() == option);
                assert!(has, "{name} has no {option}");
            }
        }
    }
}
