//! What is said of a session that is over, and its exit code.

use std::path::Path;

use super::{PlayArguments, inputs};
use crate::cli::failure::Failure;
use crate::cli::judged::JudgedTake;
use crate::cli::options::Target;
use crate::cli::{BELOW, DONE, below_mark, output};
use crate::progress::ladder::sentence;
use crate::report::text::Practise;
use crate::report::{json, text};
use crate::session::live::snapshot::PassView;
use crate::session::live::{EndedBy, LiveResult};
use crate::session::played::Played;
use crate::session::result::{LadderInfo, LiveInfo, TakeResult};
use crate::tui::plain::pass_lines;
use crate::units::Hertz;

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

/// Writes the page and the pictures that were asked for: those of `score` for the kept take.
pub(super) fn write_pages(
    arguments: &PlayArguments,
    result: &TakeResult,
    how: Option<&Played>,
) -> Result<(), Failure> {
    let practise = Practise {
        line: how.map_or_else(
            || arguments.line.display().to_string(),
            |how| how.line.clone(),
        ),
        share: how.map_or(1.0, |how| how.tempo_share),
    };
    let judged = JudgedTake {
        result,
        take: Path::new(&result.take.file),
        practise: &practise,
        a4: Hertz(arguments.a4),
    };
    let guarded = (&*inputs(arguments), arguments.replace);
    arguments.pages.write(judged, json::BY_PLAY, guarded)
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

    /// The page of a session is that of `score` for the kept take, but for who wrote it; the same files are written
    /// again, and no others are.
    #[test]
    fn the_page_is_that_of_score() {
        use clap::Parser;

        let folder = tempfile::tempdir().expect("a folder");
        let path = |name: &str| folder.path().join(name).display().to_string();
        let demo = |name: &str| format!("{}/demo-data/{name}", env!("CARGO_MANIFEST_DIR"));
        let line = demo("lantern-stairs.line");
        let take = demo("lantern-stairs-flawed.wav");
        let score = [
            "seamline",
            "--data",
            &path("data"),
            "score",
            &take,
            "--line",
            &line,
            "--html",
            &path("score.html"),
            "--no-record",
        ];
        let run = |words: &[&str]| crate::cli::Arguments::try_parse_from(words).expect("arguments");
        let scored = run(&score);
        let crate::cli::Command::Score(arguments) = &scored.command else {
            panic!("another command");
        };
        assert_eq!(crate::cli::score::run(arguments, &scored.data), DONE);
        let played = run(&[
            "seamline",
            "play",
            &line,
            "--html",
            &path("play.html"),
            "--svg",
            &path("svg"),
        ]);
        let crate::cli::Command::Play(arguments) = &played.command else {
            panic!("another command");
        };
        let text = std::fs::read_to_string(&line).expect("the line");
        let read = crate::music::line::read_text(&text).expect("a line");
        let mut source = crate::sound::file::open(Path::new(&take)).expect("the take");
        let settings = crate::session::offline::ScoreSettings::default();
        let result = crate::session::offline::score_take(&take, source.as_mut(), &read, &settings);
        let result = result.expect("a take");
        for _ in 0..2 {
            write_pages(arguments, &result, None).expect("written");
        }
        let page = |name: &str| std::fs::read_to_string(path(name)).expect("a page");
        let marked =
            page("score.html").replace("written by seamline score", "written by seamline play");
        assert!(page("play.html") == marked, "another page");
        assert!(page("play.html").contains("class=\"moves\""));
        std::fs::write(path("svg/bar-1.svg"), "<svg>mine</svg>").expect("written");
        let refused = write_pages(arguments, &result, None).expect_err("not its own");
        assert!(refused.to_string().contains("--replace"), "{refused}");
    }
}
