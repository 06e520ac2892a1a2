//! What the program says of itself: `seamline completions`, `seamline man`, the build in
//! `--version`. All of it is made from the commands as they are, so that it cannot differ from them.

use clap::{Args, Command};
use clap_complete::Shell;

use super::failure::Failure;
use super::{DONE, FAILED, output};

/// What `--version` says: the version, and what the program was built for. No date, path or host, so
/// that the same sources give the same program.
pub(super) const BUILD: &str = concat!(
    env!("CARGO_PKG_VERSION"),
    "\ntarget: ",
    env!("SEAMLINE_TARGET"),
    "\nprofile: ",
    env!("SEAMLINE_PROFILE"),
    "\nfeatures: ",
    env!("SEAMLINE_FEATURES"),
);

/// Print completions for a shell
///
/// Put them where the shell looks for them, or read them in at its start.
#[derive(Args, Debug)]
#[command(after_help = "Example:\n  \
    seamline completions bash > ~/.local/share/bash-completion/completions/seamline")]
pub(super) struct CompletionsArguments {
    /// The shell
    #[arg(value_name = "SHELL")]
    shell: Shell,
}

/// Print the man page, or that of a command
#[derive(Args, Debug)]
#[command(after_help = "Example:\n  seamline man study > seamline-study.1")]
pub(super) struct ManArguments {
    /// The command; the whole program without
    #[arg(value_name = "COMMAND")]
    command: Option<String>,
}

/// Prints completions of `program`; gives the exit code.
pub(super) fn completions(arguments: &CompletionsArguments, mut program: Command) -> u8 {
    let mut text = Vec::new();
    clap_complete::generate(arguments.shell, &mut program, "seamline", &mut text);
    ended(output::print(&text))
}

/// Prints a man page of `program`; gives the exit code.
pub(super) fn man(arguments: &ManArguments, program: Command) -> u8 {
    ended(page(arguments, program).and_then(|text| output::print(&text)))
}

fn page(arguments: &ManArguments, mut program: Command) -> Result<Vec<u8>, Failure> {
    program.build();
    let command = match &arguments.command {
        None => program,
        Some(name) => {
            let known = program
                .get_subcommands()
                .find(|command| command.get_name() == name);
            known.cloned().ok_or_else(|| {
                let all: Vec<&str> = program.get_subcommands().map(Command::get_name).collect();
                Failure::new(format!(
                    "there is no command `{name}`; there are {}",
                    all.join(", ")
                ))
            })?
        }
    };
    let mut text = Vec::new();
    clap_mangen::Man::new(command)
        .date("")
        .source(concat!("seamline ", env!("CARGO_PKG_VERSION")))
        .manual("Seamline")
        .render(&mut text)
        .map_err(Failure::of)?;
    Ok(text)
}

fn ended(done: Result<(), Failure>) -> u8 {
    match done {
        Ok(()) => DONE,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}
