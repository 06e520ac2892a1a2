//! What is said of a session that is over, and its exit code.

use super::PlayArguments;
use crate::cli::failure::Failure;
use crate::cli::options::Target;
use crate::cli::{BELOW, DONE, below_mark, output};
use crate::report::{json, text};
use crate::session::live::{EndedBy, LiveResult};
use crate::session::result::LiveInfo;
use crate::tui::plain::pass_lines;

/// Says what came out of it; gives the exit code.
pub(super) fn tell(
    arguments: &PlayArguments,
    live: &LiveResult,
    target: Option<&Target>,
    plain: bool,
) -> Result<u8, Failure> {
    let result = &live.result;
    let info = LiveInfo {
        ended_by: match &live.by {
            EndedBy::Passes => "passes",
            EndedBy::Player => "player",
            EndedBy::Stopped => "stopped",
            EndedBy::InputGone(_) => "input gone",
        },
        latency_ms: live.latency_ms,
        worst_block_ms: 1000.0 * live.ending.cost.worst_s,
        worst_block_share: live.ending.cost.worst_share,
        listening_share: live.ending.cost.total_s / result.take.duration_s.max(1e-3),
    };
    // Whatever of this fails, the rest is done; the first failure is told at the end.
    let reported = match target {
        Some(Target::Standard) => output::print(json::live_object(result, &info).as_bytes()),
        Some(Target::File(path)) => {
            output::write_file(path, json::live_object(result, &info).as_bytes())
        }
        None => Ok(()),
    };
    let mut page = String::new();
    if plain && !matches!(target, Some(Target::Standard)) {
        page = text::report(result, output::colour_wanted());
        if live.played_along && live.latency_ms.is_none() {
            page.push_str(
                "The way from click to ear was not measured (`seamline sound --measure`), so the \
                 mean\nlateness was taken out.\n",
            );
        }
    }
    if !plain {
        let lines = live.passes.iter().flat_map(|(pass, _, _)| pass_lines(pass));
        page = lines.map(|line| format!("{line}\n")).collect();
    }
    let printed = output::print(page.as_bytes());
    let take = &result.take.file;
    output::note(&format!(
        "The take is {take}; judge it again with: seamline score {take}"
    ));
    if let Some(what) = &live.not_written {
        output::note(&format!(
            "{what}; judging it again needs --line and its options"
        ));
    }
    if live.ending.priority_refused {
        output::note(&format!(
            "the system refused real-time priority; {} frames were lost",
            result.take.dropped_frames
        ));
    }
    reported?;
    printed?;
    if let Some(error) = &live.ending.take {
        return Err(Failure::of(error));
    }
    match &live.by {
        EndedBy::InputGone(reason) => Err(Failure::new(format!(
            "{reason} and did not come back; the take is kept up to there"
        ))),
        EndedBy::Stopped => Err(Failure::new(
            "stopped from outside; the take is kept up to there",
        )),
        EndedBy::Passes | EndedBy::Player => Ok(pass(arguments, live)),
    }
}

fn pass(arguments: &PlayArguments, live: &LiveResult) -> u8 {
    let total = live.result.judgement.notes.len();
    let right = live.result.judgement.tally.right;
    match below_mark(right, total, arguments.pass_mark) {
        None => DONE,
        Some(below) => {
            output::note(&below);
            BELOW
        }
    }
}
