//! `seamline next`: what to practise today, from the record; and begin with it.

use std::path::{Path, PathBuf};

use clap::Args;

use super::clock;
use super::data::DataOptions;
use super::failure::Failure;
use super::options::Target;
use super::record::name;
use super::values;
use super::written::{self, Planned, ReplaceOption};
use super::{DONE, FAILED, output};
use crate::progress::plan::{Item, Plan, PlanMarks, USUAL_MINUTES, plan};
use crate::progress::record::{Day, LineRecord};
use crate::progress::store::Store;
use crate::report::{next, next_json};

/// Days of the record that a plan is made from: the longest spacing and some weeks of work before.
/// Raised, faults that were mended long ago count longer.
const DAYS: i64 = 60;

/// Propose what to practise today, from the record
///
/// The joins that cost most, in turns of three minutes; what was weak yesterday first, cold; what came clean
/// again after 1, 2, 4 and 7 days; a rest early; the whole line last. Each with the reason.
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  \
    seamline next --minutes 30\n  \
    seamline next --start\n\n\
    Exit code: 0 done, also when there is nothing to propose; 2 wrong usage, or a record that \
    cannot be read. With --start that of `seamline play`.")]
pub(super) struct NextArguments {
    /// Minutes at hand, 1 to 240
    #[arg(long, value_name = "N", default_value_t = USUAL_MINUTES)]
    minutes: f64,

    /// For this player
    #[arg(long, value_name = "NAME", value_parser = name)]
    player: Option<String>,

    /// Tempo to reach, relative to the written one
    #[arg(long, value_name = "N%", value_parser = values::share, default_value = "100%")]
    target: f64,

    /// Begin with the item of this number, the first when none is given
    #[arg(long, value_name = "ITEM", num_args = 0..=1, default_missing_value = "1",
          conflicts_with = "json", value_parser = clap::value_parser!(u32).range(1..))]
    start: Option<u32>,

    /// Write it as JSON; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    json: Option<PathBuf>,

    #[command(flatten)]
    replace: ReplaceOption,
}

/// Runs it; gives the exit code. `play` begins a session with these arguments of `seamline play`.
pub(super) fn run(
    arguments: &NextArguments,
    data: &DataOptions,
    play: impl FnOnce(Vec<String>) -> u8,
) -> u8 {
    let ready = || -> Result<Option<Vec<String>>, Failure> {
        let lines = lines(arguments, data)?;
        let plan = planned(arguments, &lines)?;
        match arguments.start {
            Some(number) => begin(arguments, &plan, &lines, number).map(Some),
            None => show(arguments, &plan, &lines).map(|()| None),
        }
    };
    match ready() {
        Ok(None) => DONE,
        Ok(Some(session)) => play(session),
        Err(failure) => {
            failure.say();
            FAILED
        }
    }
}

/// What is known of the player's lines.
fn lines(arguments: &NextArguments, data: &DataOptions) -> Result<Vec<LineRecord>, Failure> {
    let Some(store) = Store::open_there(&data.folder()?).map_err(Failure::of)? else {
        return Ok(Vec::new());
    };
    let player = arguments.player.as_deref().unwrap_or_default();
    let since = Day(clock::today().0 - DAYS);
    store.lines(player, None, Some(since)).map_err(Failure::of)
}

fn planned(arguments: &NextArguments, lines: &[LineRecord]) -> Result<Plan, Failure> {
    let mut marks = PlanMarks::default();
    marks.ladder.target_share = arguments.target;
    plan(lines, clock::today(), arguments.minutes, &marks).map_err(Failure::of)
}

fn show(arguments: &NextArguments, plan: &Plan, lines: &[LineRecord]) -> Result<(), Failure> {
    let player = arguments.player.as_deref().unwrap_or_default();
    let json = || next_json::object(plan, lines, player);
    match arguments.json.as_deref().map(Target::new) {
        Some(Target::Standard) => return output::print(json().as_bytes()),
        Some(Target::File(path)) => {
            let planned = [Planned::new(&path, next_json::BY_NEXT)];
            written::check(&planned, &[], arguments.replace)?;
            output::write_file(&path, json().as_bytes())?;
        }
        None => {}
    }
    let mut page = next::page(plan, lines, player, arguments.minutes, output::columns());
    if !plan.items.is_empty() {
        page.push_str("Begin with: seamline next --start\n");
    }
    output::print(page.as_bytes())
}

/// The arguments of `seamline play` for an item of the plan.
fn begin(
    arguments: &NextArguments,
    plan: &Plan,
    lines: &[LineRecord],
    number: u32,
) -> Result<Vec<String>, Failure> {
    let item = usize::try_from(number)
        .ok()
        .and_then(|at| plan.items.get(at - 1));
    let item = item.ok_or_else(|| {
        Failure::new(match plan.items.len() {
            0 => "there is nothing to begin with yet; play a line with `seamline play LINE`"
                .to_owned(),
            items => format!("item {number} is not on the plan; it has {items}"),
        })
    })?;
    let line = lines
        .get(item.line)
        .ok_or_else(|| Failure::new("the line is gone"))?;
    let file = line.file.as_deref().ok_or_else(|| {
        Failure::new(format!(
            "{}: its file is not known; play it by its file",
            line.title
        ))
    })?;
    if !Path::new(file).is_file() {
        return Err(Failure::new(format!(
            "{file}: the line is not there any more; play it from where it is now, and its practice goes on"
        )));
    }
    Ok(session(arguments, item, file))
}

fn session(arguments: &NextArguments, item: &Item, file: &str) -> Vec<String> {
    let per_cent = |share: f64| format!("{:.0}%", 100.0 * share);
    let mut session = vec![file.to_owned()];
    if item.whole {
        session.extend(["--tempo".to_owned(), per_cent(item.share)]);
    } else {
        // The ladder starts where these bars came out clean, by every pass in the record.
        let (from, to) = item.bars;
        session.extend([
            "--bars".to_owned(),
            format!("{from}-{to}"),
            "--ladder".to_owned(),
        ]);
        session.extend(["--target".to_owned(), per_cent(arguments.target)]);
    }
    if let Some(player) = &arguments.player {
        session.extend(["--player".to_owned(), player.clone()]);
    }
    session
}
