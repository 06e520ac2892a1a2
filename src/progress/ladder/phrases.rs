//! A step of the ladder in one sentence.

use super::{Next, Step};
use crate::progress::numbers::count;
use crate::words::percent;

/// From this many times on that the ladder went back from one tempo, rest is the better advice.
/// Raising it says so later. Common practice, no source.
const TIMES_TO_REST: u32 = 3;

/// What comes next and why: "next: 84 %, after three clean passes in a row".
pub fn sentence(step: &Step, next: &Next) -> String {
    let mut text = format!("next: {}, {}", percent(next.share), why(step));
    if next.probe {
        text.push_str("; a try at the target");
    }
    text
}

fn why(step: &Step) -> String {
    match *step {
        Step::Up { clean_in_a_row, .. } => format!("after {}", clean(clean_in_a_row)),
        Step::Down {
            from,
            faulty_in_a_row,
            times,
            ..
        } => {
            let mut text = format!("after {}", faulty(faulty_in_a_row));
            if times >= TIMES_TO_REST {
                text.push_str(&format!(
                    "; {} times back from {}: rest, or take another line",
                    count(times),
                    percent(from)
                ));
            }
            text
        }
        Step::Stay {
            clean_in_a_row,
            needed,
        } => format!(
            "the same again: {} of {} clean in a row",
            count(clean_in_a_row),
            count(needed)
        ),
        Step::Again {
            faulty_in_a_row,
            down_after,
        } => match down_after.saturating_sub(faulty_in_a_row) {
            0 | 1 => format!(
                "the same again: {}, one more leads down",
                faulty(faulty_in_a_row)
            ),
            more => format!(
                "the same again: {}, {} more lead down",
                faulty(faulty_in_a_row),
                count(more)
            ),
        },
        Step::Lowest { faulty_in_a_row } => format!(
            "the slowest there is, after {}: rest, or take fewer bars",
            faulty(faulty_in_a_row)
        ),
        Step::Reached { clean_in_a_row } => {
            format!("the target, held for {}", clean(clean_in_a_row))
        }
        Step::Probe {
            clean: true,
            to: Some(_),
        } => "half of the way up, after two clean tries at the target".to_owned(),
        Step::Probe { clean: true, .. } => "after a clean try at the target".to_owned(),
        Step::Probe { clean: false, .. } => {
            "after a try at the target that was not clean yet".to_owned()
        }
        Step::Aside { clean: true } => {
            "the same again: the last pass was clean, but slower".to_owned()
        }
        Step::Aside { clean: false } => {
            "the same again: the last pass was faster than asked".to_owned()
        }
        Step::Broken => "the same again: the last pass was broken off".to_owned(),
    }
}

/// "three clean passes in a row", "a clean pass".
fn clean(passes: u32) -> String {
    in_a_row(passes, "clean")
}

/// "two faulty passes in a row", "a faulty pass".
fn faulty(passes: u32) -> String {
    in_a_row(passes, "faulty")
}

fn in_a_row(passes: u32, word: &str) -> String {
    match passes {
        1 => format!("a {word} pass"),
        _ => format!("{} {word} passes in a row", count(passes)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_step_is_a_sentence() {
        let told = |step: Step, share: f64| {
            sentence(
                &step,
                &Next {
                    share,
                    probe: false,
                },
            )
        };
        let table = [
            (
                Step::Up {
                    from: 0.8,
                    to: 0.84,
                    clean_in_a_row: 3,
                },
                0.84,
                "next: 84 %, after three clean passes in a row",
            ),
            (
                Step::Up {
                    from: 0.8,
                    to: 0.84,
                    clean_in_a_row: 1,
                },
                0.84,
                "next: 84 %, after a clean pass",
            ),
            (
                Step::Down {
                    from: 0.84,
                    to: 0.7644,
                    faulty_in_a_row: 2,
                    times: 2,
                },
                0.7644,
                "next: 76 %, after two faulty passes in a row",
            ),
            (
                Step::Down {
                    from: 0.84,
                    to: 0.7644,
                    faulty_in_a_row: 2,
                    times: 3,
                },
                0.7644,
                "next: 76 %, after two faulty passes in a row; three times back from 84 %: rest, or \
                 take another line",
            ),
            (
                Step::Stay {
                    clean_in_a_row: 2,
                    needed: 12,
                },
                0.8,
                "next: 80 %, the same again: two of 12 clean in a row",
            ),
            (
                Step::Again {
                    faulty_in_a_row: 1,
                    down_after: 2,
                },
                0.8,
                "next: 80 %, the same again: a faulty pass, one more leads down",
            ),
            (
                Step::Again {
                    faulty_in_a_row: 2,
                    down_after: 4,
                },
                0.8,
                "next: 80 %, the same again: two faulty passes in a row, two more lead down",
            ),
            (
                Step::Lowest { faulty_in_a_row: 2 },
                0.3,
                "next: 30 %, the slowest there is, after two faulty passes in a row: rest, or take \
                 fewer bars",
            ),
            (
                Step::Reached { clean_in_a_row: 3 },
                1.0,
                "next: 100 %, the target, held for three clean passes in a row",
            ),
            (
                Step::Probe {
                    clean: true,
                    to: None,
                },
                0.8,
                "next: 80 %, after a clean try at the target",
            ),
            (
                Step::Probe {
                    clean: true,
                    to: Some(0.894),
                },
                0.894,
                "next: 89 %, half of the way up, after two clean tries at the target",
            ),
            (
                Step::Probe {
                    clean: false,
                    to: None,
                },
                0.8,
                "next: 80 %, after a try at the target that was not clean yet",
            ),
            (
                Step::Aside { clean: true },
                0.8,
                "next: 80 %, the same again: the last pass was clean, but slower",
            ),
            (
                Step::Aside { clean: false },
                0.8,
                "next: 80 %, the same again: the last pass was faster than asked",
            ),
            (
                Step::Broken,
                0.8,
                "next: 80 %, the same again: the last pass was broken off",
            ),
        ];
        for (step, share, expected) in table {
            assert_eq!(told(step, share), expected);
        }
        let probe = Next {
            share: 1.0,
            probe: true,
        };
        let step = Step::Up {
            from: 0.8,
            to: 0.84,
            clean_in_a_row: 3,
        };
        assert_eq!(
            sentence(&step, &probe),
            "next: 100 %, after three clean passes in a row; a try at the target"
        );
    }
}
