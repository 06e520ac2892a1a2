//! `seamline log`: the record of practice shown, carried, copied, checked, and taken out of.

use std::fs::File;
use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::clock;
use super::data::DataOptions;
use super::failure::Failure;
use super::options::{LineOptions, Target};
use super::record::name;
use super::written::{self, Planned, ReplaceOption};
use super::{BELOW, DONE, FAILED, output};
use crate::progress::record::Day;
use crate::progress::rows::LineRow;
use crate::progress::store::carry::Carried;
use crate::progress::store::read::TakeEntry;
use crate::progress::store::{Removed, Store, carry};
use crate::report::log::{LogSettings, Shown};
use crate::report::{log, log_json};
use crate::session::played::path_beside;
use crate::words;

/// Days before the last practice of which joins and days are shown, unless another number is asked for.
const DAYS: u32 = 30;
/// Takes listed.
const TAKES: usize = 50;
/// Show what was practised: lines, joins, tempos, over days
///
/// What `play` hears goes into the record, and a take that is given to `score`. It stays on this machine, in
/// the data folder.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline log\n  \
    seamline log --line demo-data/lantern-stairs.line --all\n  \
    seamline log --export practice.jsonl\n\n\
    Exit code: 0 done, also when nothing is in the record; 1 when --check finds damage;\n\
    2 wrong usage, or a record that cannot be read.")]
pub(super) struct LogArguments {
    /// Only this line, with its tempos
    #[arg(long, value_name = "LINE")]
    line: Option<PathBuf>,

    /// This player's practice
    #[arg(long, value_name = "NAME", value_parser = name)]
    player: Option<String>,

    /// Days up to the last practice that are shown
    #[arg(long, value_name = "N", default_value_t = DAYS, value_parser = clap::value_parser!(u32).range(1..))]
    days: u32,

    /// Show every line, day and join
    #[arg(long)]
    all: bool,

    /// List the takes with their numbers, the newest first
    #[arg(long, conflicts_with = "json")]
    takes: bool,

    /// Write it as JSON; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    json: Option<PathBuf>,

    #[command(flatten)]
    replace: ReplaceOption,

    #[command(flatten)]
    carry: CarryOptions,

    /// Delete the sound in the data folder as well
    #[arg(long)]
    with_sound: bool,
}

/// What is done with the record as a whole, one at a time.
#[derive(Args, Debug)]
#[group(multiple = false)]
struct CarryOptions {
    /// Write the whole record as text, one JSON object to a line; `-` is standard output
    #[arg(long, value_name = "PATH|-")]
    export: Option<PathBuf>,

    /// Read an exported record in; what is there stays
    #[arg(long, value_name = "PATH")]
    import: Option<PathBuf>,

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

/// Runs it; gives the exit code.
pub(super) fn run(arguments: &LogArguments, data: &DataOptions) -> u8 {
    match run_it(arguments, data) {
        Ok(code) => code,
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

fn run_it(arguments: &LogArguments, data: &DataOptions) -> Result<u8, Failure> {
    let folder = data.folder()?;
    if let Some(from) = &arguments.carry.import {
        return import(from, &folder);
    }
    check_files(arguments)?;
    // The line is read first: what is wrong with it is said also when nothing is in the record.
    let content = arguments.line.as_deref().map(content).transpose()?;
    let content = content.as_deref();
    let player = arguments.player.as_deref().unwrap_or_default();
    let Some(mut store) = Store::open_there(&folder).map_err(Failure::of)? else {
        if arguments.carry.is_any() {
            return Err(Failure::new(format!(
                "{}: there is no record yet; name another folder with --data DIR",
                folder.display()
            )));
        }
        show(arguments, &[])?;
        return Ok(DONE);
    };
    if arguments.carry.is_any() {
        return carry_out(&mut store, arguments, player, content, &folder);
    }
    if arguments.takes {
        let most = if arguments.all { usize::MAX } else { TAKES };
        let takes = store.takes(player, content, most);
        return list(&takes.map_err(Failure::of)?);
    }
    let lines = lines(&store, arguments, player, content)?;
    show(arguments, &lines)?;
    if lines.is_empty() {
        tell_players(&store, player)?;
    }
    Ok(DONE)
}

/// What can be known to be wrong before anything is read.
fn check_files(arguments: &LogArguments) -> Result<(), Failure> {
    let mut planned: Vec<Planned> = Vec::new();
    for (path, by) in [
        (&arguments.json, log_json::BY_LOG),
        (&arguments.carry.export, carry::WRITTEN_BY),
    ] {
        let file = path.as_deref().filter(|path| *path != Path::new("-"));
        planned.extend(file.map(|path| Planned::new(path, by)));
    }
    let inputs: Vec<&Path> = arguments.line.as_deref().into_iter().collect();
    written::check(&planned, &inputs, arguments.replace)
}

/// Does what is to be done with the record.
fn carry_out(
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
    fn is_any(&self) -> bool {
        let paths = [&self.export, &self.import, &self.copy];
        paths.iter().any(|path| path.is_some())
            || self.check
            || self.delete.is_some()
            || self.delete_line
            || self.delete_all
    }
}

/// What tells the line apart.
fn content(path: &Path) -> Result<String, Failure> {
    let part = LineOptions::default().read_whole(path)?;
    let tempo_bpm = part.line.tempo().quarters_per_minute();
    Ok(LineRow::of(&part.line, tempo_bpm, None, None).content)
}

/// The lines to be shown.
fn lines(
    store: &Store,
    arguments: &LogArguments,
    player: &str,
    content: Option<&str>,
) -> Result<Vec<Shown>, Failure> {
    let last = store.last_day(player).map_err(Failure::of)?;
    let since = last.map(|last| Day(last.0 - i64::from(arguments.days) + 1));
    let lines = store.lines(player, content, since).map_err(Failure::of)?;
    let tempos = match content {
        Some(content) => store.tempos(player, content).map_err(Failure::of)?,
        None => Vec::new(),
    };
    Ok(lines
        .into_iter()
        .map(|line| (line, tempos.clone()))
        .collect())
}

fn show(arguments: &LogArguments, lines: &[Shown]) -> Result<(), Failure> {
    let player = arguments.player.clone().unwrap_or_default();
    let json = || log_json::object(&player, lines);
    match arguments.json.as_deref().map(Target::new) {
        Some(Target::Standard) => return output::print(json().as_bytes()),
        Some(Target::File(path)) => output::write_file(&path, json().as_bytes())?,
        None => {}
    }
    let settings = LogSettings {
        player: player.clone(),
        today: clock::today(),
        all: arguments.all,
        columns: output::columns(),
    };
    output::print(log::page(lines, &settings).as_bytes())
}

/// Says who has something in the record where this player has nothing.
fn tell_players(store: &Store, player: &str) -> Result<(), Failure> {
    let players = store.players().map_err(Failure::of)?;
    let others = players.iter().filter(|name| *name != player);
    let named: Vec<String> = others
        .map(|name| match name.as_str() {
            "" => "one without a name".to_owned(),
            name => format!("--player {name:?}"),
        })
        .collect();
    if !named.is_empty() {
        output::note(&format!("In the record are: {}", named.join(", ")));
    }
    Ok(())
}

fn list(takes: &[TakeEntry]) -> Result<u8, Failure> {
    let mut page = String::new();
    for take in takes {
        let passes = format!("{} of {} clean", take.clean, take.passes);
        let file = take.file.as_deref().unwrap_or("(no file)");
        page.push_str(&format!(
            "{:>6}  {}  {:<20}  {passes:<14}  {}\n",
            take.number,
            clock::shown(take.at_s, take.ahead_s),
            log::clean_title(&take.title),
            log::clean_title(file),
        ));
    }
    output::print(page.as_bytes())?;
    Ok(DONE)
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

fn import(from: &Path, folder: &Path) -> Result<u8, Failure> {
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
