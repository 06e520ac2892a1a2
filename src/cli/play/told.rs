//! What is said of a session that is over, and its exit code.

use super::PlayArguments;
use crate::cli::failure::Failure;
use crate::cli::options::Target;
use crate::cli::{BELOW, DONE, below_mark, output};
use crate::progress::ladder::sentence;
use crate::report::{json, text};
use crate::session::live::snapshot::PassView;
use crate::session::live::{EndedBy, LiveResult};
use crate::session::result::{LadderInfo, LiveInfo, TakeResult};
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
        ladder: live
            .passes
            .iter()
            .filter_map(|pass| climbed(&pass.0))
            .collect(),
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
        EndedBy::Passes | EndedBy::Player => Ok(pass(&live.result, arguments.pass_mark)),
    }
}

/// What the tempo ladder made of a pass.
fn climbed(pass: &PassView) -> Option<LadderInfo> {
    let ladder = pass.ladder.as_ref()?;
    Some(LadderInfo {
        pass: pass.number,
        tempo_share: pass.tempo_share,
        probe: ladder.probe,
        outcome: ladder.outcome.word(),
        next_share: ladder.next.share,
        why: sentence(&ladder.step, &ladder.next),
    })
}

/// The exit code by the pass mark over all judged passes, as `score` has it, with a word on standard
/// error when it was not reached.
fn pass(result: &TakeResult, mark: Option<f64>) -> u8 {
    match below_mark(result.judgement.right_of_passes(), mark) {
        None => DONE,
        Some(below) => {
            output::note(&below);
            BELOW
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::scoring;
    use crate::report::sample::nothing_heard;
    use crate::report::sample_practice::practice;

    /// Closed form: of six judged passes 3 of 3, four times 8 of 8, and 30 of 32 notes are right,
    /// which are 65 of 67, or 97.01 %. Of the notes as the passes that count have them 30 of 32 are
    /// right, which is less.
    #[test]
    fn the_pass_mark_counts_all_passes_as_score_does() {
        let result = practice();
        assert_eq!(result.judgement.notes.len(), 32);
        assert_eq!(result.judgement.tally.right, 30);
        for (mark, code) in [
            (None, DONE),
            (Some(94.0), DONE),
            (Some(97.0), DONE),
            (Some(97.1), BELOW),
        ] {
            assert_eq!(pass(&result, mark), code, "{mark:?}");
            assert_eq!(scoring::pass(&result, mark), code, "{mark:?}");
        }
        let below =
            below_mark(result.judgement.right_of_passes(), Some(97.1)).expect("it is below");
        assert!(below.starts_with("65 of 67 notes right"), "{below}");
    }

    /// Nothing right is below any mark, and no fault where none was asked for.
    #[test]
    fn a_session_in_which_nothing_was_judged_is_below_any_mark() {
        let result = nothing_heard();
        assert_eq!(pass(&result, Some(0.1)), BELOW);
        assert_eq!(pass(&result, None), DONE);
    }
}
