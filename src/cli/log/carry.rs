//! The record as a whole: written out, read in, copied, checked, and taken out of.

use std::fs::File;
use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::LogArguments;
use crate::cli::failure::Failure;
use crate::cli::options::Target;
use crate::cli::{BELOW, DONE, FAILED, output};
use crate::progress::store::carry::Carried;
use crate::progress::store::{Removed, Store};
use crate::session::played::path_beside;
use crate::words;

/// What is done with the record as a whole, one at a time.
#[derive(Args, Debug)]
#[group(multiple = false)]
pub(super) struct CarryOptions {
    /// Write the whole record as text, one JSON object to a line; `-` is standard output
    #[arg(long, value_name = "PATH|-")]
    pub(super) export: Option<PathBuf>,

    /// Read an exported record in; what is there stays
    #[arg(long, value_name = "PATH")]
    pub(super) import: Option<PathBuf>,

    /// Write a whole copy of the record, also while somebody practises
    #[arg(long, value_name = "PATH")]
    copy: Option<PathBuf>,

    /// Read the whole record over and say what is damaged
    #[arg(long)]
    check: bool,

    /// Delete the take of this number (see --takes) from the record
    #[arg(long, value_name = "NUMBER")]
    delete: Option<i64>,

    /// Delete all takes of --line from the record
    #[arg(long, requires = "line")]
    delete_line: bool,

    /// Delete everything of the player from the record
    #[arg(long)]
    delete_all: bool,
}

/// Does what is to be done with the record.
pub(super) fn carry_out(
    store: &mut Store,
    arguments: &LogArguments,
    player: &str,
    content: Option<&str>,
    folder: &Path,
) -> Result<u8, Failure> {
    let carry = &arguments.carry;
    if let Some(to) = &carry.export {
        return export(store, to);
    }
    if let Some(to) = &carry.copy {
        store.copy(to).map_err(Failure::of)?;
        output::note(&format!("copied to {}", to.display()));
        return Ok(DONE);
    }
    if carry.check {
        return check(store);
    }
    let removed = match carry.delete {
        Some(number) => {
            let removed = store.remove_take(player, number).map_err(Failure::of)?;
            removed.ok_or_else(|| {
                Failure::new(format!(
                    "take {number} is not in the record{}; `seamline log --takes` lists those \
                     that are",
                    of(player)
                ))
            })?
        }
        None => {
            let which = content.filter(|_| carry.delete_line);
            store.remove_takes(player, which).map_err(Failure::of)?
        }
    };
    Ok(told_of(&removed, folder, arguments.with_sound))
}

impl CarryOptions {
    /// Whether anything but showing is asked for.
    pub(super) fn is_any(&self) -> bool {
        let paths = [&self.export, &self.import, &self.copy];
        paths.iter().any(|path| path.is_some())
            || self.check
            || self.delete.is_some()
            || self.delete_line
            || self.delete_all
    }
}

fn export(store: &Store, to: &Path) -> Result<u8, Failure> {
    let carried = match Target::new(to) {
        Target::Standard => {
            let carried = store.export(&mut std::io::stdout().lock());
            carried.map_err(|error| Failure::new(format!("standard output: {error}")))?
        }
        Target::File(path) => export_to(store, &path)?,
    };
    output::note(&format!("{} written", told(carried)));
    Ok(DONE)
}

/// Writes it beside the file first: what was there stays whole until all is written.
fn export_to(store: &Store, path: &Path) -> Result<Carried, Failure> {
    let mut part = path.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    let within = |what: String| Failure::new(format!("{}: {what}", path.display()));
    let refused =
        |error: std::io::Error| within(format!("cannot be written ({error}); name another file"));
    let write = || -> Result<Carried, Failure> {
        let mut out = std::io::BufWriter::new(File::create(&part).map_err(refused)?);
        let carried = store
            .export(&mut out)
            .map_err(|error| within(error.to_string()))?;
        out.flush().map_err(refused)?;
        std::fs::rename(&part, path).map_err(refused)?;
        Ok(carried)
    };
    let carried = write();
    if carried.is_err() {
        // What was begun is of no use to anybody.
        std::fs::remove_file(&part).ok();
    }
    carried
}

pub(super) fn import(from: &Path, folder: &Path) -> Result<u8, Failure> {
    let name = from.display();
    let file = File::open(from).map_err(|error| {
        Failure::new(format!(
            "{name}: cannot be read ({error}); check the path and that you may read it"
        ))
    })?;
    let mut store = Store::open(folder).map_err(Failure::of)?;
    let carried = store
        .import(&mut BufReader::new(file))
        .map_err(|error| Failure::new(format!("{name}: {error}")))?;
    output::note(&format!("{} read in", told(carried)));
    Ok(DONE)
}

/// "2 lines and 7 takes".
fn told(carried: Carried) -> String {
    format!(
        "{} and {}",
        words::count(carried.lines, "line"),
        words::count(carried.takes, "take")
    )
}

fn check(store: &Store) -> Result<u8, Failure> {
    let faults = store.check().map_err(Failure::of)?;
    let path = store.path().display();
    if faults.is_empty() {
        output::print(format!("{path}: whole\n").as_bytes())?;
        return Ok(DONE);
    }
    output::print(format!("{}\n", faults.join("\n")).as_bytes())?;
    output::note(&format!(
        "{path}: damaged; carry what can be read into a new one with --export and --import"
    ));
    Ok(BELOW)
}

/// Says what went, and removes the sound that lies in the data folder where that was asked for; gives
/// the exit code.
fn told_of(removed: &Removed, folder: &Path, with_sound: bool) -> u8 {
    output::note(&format!("{} deleted", words::count(removed.takes, "take")));
    let folder = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    let inside = |file: &&String| Path::new(file).starts_with(&folder);
    let all = removed.kept.iter().chain(&removed.files);
    let sounds: Vec<&String> = all.filter(inside).collect();
    if !with_sound {
        if !sounds.is_empty() {
            output::note("their sound is still in the data folder; --with-sound deletes it, too");
        }
        return DONE;
    }
    let mut code = DONE;
    for file in sounds {
        for path in [PathBuf::from(file), path_beside(Path::new(file))] {
            match std::fs::remove_file(&path) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                    output::note(&format!("{}: not deleted ({error})", path.display()));
                    code = FAILED;
                }
                _ => {}
            }
        }
    }
    if let Some(file) = removed.files.iter().find(|file| !inside(file)) {
        output::note(&format!(
            "sound outside of the data folder stays where it is, as {file}"
        ));
    }
    code
}

fn of(player: &str) -> String {
    match player {
        "" => String::new(),
        name => format!(" of {name}"),
    }
}
