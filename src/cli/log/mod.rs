//! `seamline log`: the record of practice shown, carried, copied, checked, and taken out of.

mod carry;

use std::path::{Path, PathBuf};

use clap::Args;

use crate::cli::clock;
use crate::cli::data::DataOptions;
use crate::cli::failure::Failure;
use crate::cli::options::{LineOptions, Target};
use crate::cli::pages::{PagesOptions, mark};
use crate::cli::record::name;
use crate::cli::written::{self, Planned, ReplaceOption};
use crate::cli::{DONE, FAILED, output};
use crate::progress::record::Day;
use crate::progress::rows;
use crate::progress::store::{self, Store};
use crate::report::log::{LogSettings, Shown};
use crate::report::{html, log, log_json};

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
    Exit code: 0 done, also when nothing is in the record; 1 when --check finds damage; \
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
    #[arg(long, conflicts_with_all = ["json", "html", "svg"])]
    takes: bool,

    /// Write it as JSON; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    json: Option<PathBuf>,

    #[command(flatten)]
    pages: PagesOptions,

    #[command(flatten)]
    replace: ReplaceOption,

    #[command(flatten)]
    carry: carry::CarryOptions,

    /// Delete the sound in the data folder as well
    #[arg(long)]
    with_sound: bool,
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
        return carry::import(from, &folder);
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
        return carry::carry_out(&mut store, arguments, player, content, &folder);
    }
    if arguments.takes {
        let most = if arguments.all { usize::MAX } else { TAKES };
        let takes = store.takes(player, content, most);
        let page = log::takes(&takes.map_err(Failure::of)?);
        output::print(page.as_bytes())?;
        return Ok(DONE);
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
        (&arguments.carry.export, store::carry::WRITTEN_BY),
    ] {
        let file = path.as_deref().filter(|path| *path != Path::new("-"));
        planned.extend(file.map(|path| Planned::new(path, by)));
    }
    let json = arguments.json.as_deref().map(Target::new);
    arguments.pages.check_beside(json.as_ref())?;
    planned.extend(arguments.pages.planned(log_json::BY_LOG));
    written::check(&planned, &inputs(arguments), arguments.replace)
}

/// The files that are read and never written.
fn inputs(arguments: &LogArguments) -> Vec<&Path> {
    arguments.line.as_deref().into_iter().collect()
}

/// What tells the line apart.
fn content(path: &Path) -> Result<String, Failure> {
    let part = LineOptions::default().read_whole(path)?;
    Ok(rows::content(&part.line))
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
    let target = arguments.json.as_deref().map(Target::new);
    let json = || log_json::object(&player, lines);
    match &target {
        Some(Target::Standard) => output::print(json().as_bytes())?,
        Some(Target::File(path)) => output::write_file(path, json().as_bytes())?,
        None => {}
    }
    let settings = LogSettings {
        player: player.clone(),
        today: clock::today(),
        all: arguments.all,
        columns: output::columns(),
    };
    let by = log_json::BY_LOG;
    let page = || Ok(html::practice::page(lines, &settings, &mark(by)));
    let pictures = || html::practice::pictures(lines, &mark(by));
    let guarded = (&*inputs(arguments), arguments.replace);
    arguments.pages.write(page, pictures, by, guarded)?;
    if matches!(target, Some(Target::Standard)) || arguments.pages.is_to_standard() {
        return Ok(());
    }
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
