//! The reasons and the advice of a plan in words, one sentence each.

use super::{Advice, Facts, Why};
use crate::progress::numbers::count;
use crate::progress::record::LineRecord;
use crate::words::{self, percent};

/// Silence from this many milliseconds on is told, as in the comparator's marks (`gap_ms`). Raising it
/// tells fewer gaps.
const GAP_MS: f64 = 40.0;

/// Why an item is on the plan: "faulty in 4 of 6 tries, 70 ms of silence; last played yesterday".
pub fn reason(why: &Why) -> String {
    match why {
        Why::Costs(facts) => told(facts),
        Why::Still { facts, days } => format!(
            "no better in {} practice days, so slower: {}",
            words_of(*days),
            told(facts)
        ),
        Why::Cold(facts) => format!("cold, to see what was kept: {}", told(facts)),
        Why::Due { facts, clean_days } => format!(
            "due again after {} clean {}; last played {}",
            words_of(*clean_days),
            words::plural(*clean_days, "day", "days"),
            ago(facts.days_ago)
        ),
        Why::Beside { facts, bar } => {
            format!(
                "from before to behind the shift in bar {bar}: {}",
                told(facts)
            )
        }
        Why::Whole(facts) => whole(facts),
    }
}

/// What is advised; `lines` are those the plan was made from.
pub fn advise(advice: &Advice, lines: &[LineRecord]) -> String {
    let title = |line: usize| {
        lines
            .get(line)
            .map_or("the line", |line| line.title.as_str())
    };
    match *advice {
        Advice::Rest { minutes, .. } => {
            format!("rest for {minutes:.0} minutes, hands off the strings")
        }
        Advice::Tired { line, first, later } => format!(
            "{}: {} of the first tries were faulty today, {} of the later ones: stop for today, and rest; \
             stop at once if anything hurts",
            title(line),
            percent(first),
            percent(later)
        ),
        Advice::Worse {
            line,
            from,
            to,
            days,
        } => format!(
            "{}: {} of the passes were not clean, {} {} practice days before: rest it for a day, or take \
             another line",
            title(line),
            percent(to),
            percent(from),
            words_of(days.saturating_sub(1))
        ),
        Advice::Still { line, join, days } => {
            let place = (lines.get(line).and_then(|line| line.joins.get(join)))
                .map_or_else(String::new, |join| {
                    format!(", {}", words::place(join.bar, join.beat))
                });
            format!(
                "{}{place}: no better in {} practice days: play it slower, or rest it for a day and take \
                 another line",
                title(line),
                words_of(days)
            )
        }
    }
}

fn told(facts: &Facts) -> String {
    let mut text = match (facts.faulty, facts.tries) {
        (0, tries) => format!(
            "clean in {tries} {}, but not at the target yet",
            words::plural(tries, "try", "tries")
        ),
        (faulty, tries) => format!("faulty in {faulty} of {tries} tries"),
    };
    if let Some(gap) = facts.gap_ms.filter(|gap| *gap >= GAP_MS) {
        text.push_str(&format!(", {gap:.0} ms of silence"));
    }
    text.push_str(&format!("; last played {}", ago(facts.days_ago)));
    if facts.not_clean > 0 {
        text.push_str(&format!(
            "; {} of {} passes were not clean",
            facts.not_clean, facts.passes
        ));
    }
    text
}

fn whole(facts: &Facts) -> String {
    match (facts.tries, facts.tries.saturating_sub(facts.faulty)) {
        (0, _) => "the whole line at the target: no take of all of it yet".to_owned(),
        (tries, clean) => {
            format!("the whole line at the target: {clean} of {tries} takes clean so far")
        }
    }
}

fn words_of(number: usize) -> String {
    count(u32::try_from(number).unwrap_or(u32::MAX))
}

/// "today", "yesterday", "four days ago".
fn ago(days: i64) -> String {
    match days {
        ..=0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        _ => format!(
            "{} days ago",
            count(u32::try_from(days).unwrap_or(u32::MAX))
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FACTS: Facts = Facts {
        tries: 6,
        faulty: 4,
        gap_ms: Some(70.4),
        days_ago: 1,
        passes: 9,
        not_clean: 7,
    };

    #[test]
    fn every_reason_is_a_sentence() {
        let calm = Facts {
            faulty: 0,
            gap_ms: Some(39.9),
            days_ago: 4,
            not_clean: 0,
            ..FACTS
        };
        let table = [
            (
                Why::Costs(FACTS),
                "faulty in 4 of 6 tries, 70 ms of silence; last played yesterday; 7 of 9 passes were not \
                 clean",
            ),
            (
                Why::Costs(calm),
                "clean in 6 tries, but not at the target yet; last played four days ago",
            ),
            (
                Why::Still {
                    facts: FACTS,
                    days: 4,
                },
                "no better in four practice days, so slower: faulty in 4 of 6 tries, 70 ms of silence; last \
                 played yesterday; 7 of 9 passes were not clean",
            ),
            (
                Why::Cold(Facts {
                    days_ago: 12,
                    not_clean: 0,
                    gap_ms: None,
                    ..FACTS
                }),
                "cold, to see what was kept: faulty in 4 of 6 tries; last played 12 days ago",
            ),
            (
                Why::Due {
                    facts: calm,
                    clean_days: 1,
                },
                "due again after one clean day; last played four days ago",
            ),
            (
                Why::Due {
                    facts: FACTS,
                    clean_days: 2,
                },
                "due again after two clean days; last played yesterday",
            ),
            (
                Why::Beside {
                    facts: Facts {
                        days_ago: 0,
                        not_clean: 0,
                        ..FACTS
                    },
                    bar: 3,
                },
                "from before to behind the shift in bar 3: faulty in 4 of 6 tries, 70 ms of silence; last \
                 played today",
            ),
            (
                Why::Whole(FACTS),
                "the whole line at the target: 2 of 6 takes clean so far",
            ),
            (
                Why::Whole(Facts {
                    tries: 0,
                    faulty: 0,
                    ..FACTS
                }),
                "the whole line at the target: no take of all of it yet",
            ),
        ];
        for (why, expected) in table {
            assert_eq!(reason(&why), expected);
        }
    }

    #[test]
    fn every_advice_is_a_sentence() {
        let lines = [super::super::tests::line("Paper Kites", 1)];
        let table = [
            (
                Advice::Rest {
                    before: 3,
                    minutes: 5.0,
                },
                "rest for 5 minutes, hands off the strings",
            ),
            (
                Advice::Tired {
                    line: 0,
                    first: 0.2,
                    later: 0.5,
                },
                "Paper Kites: 20 % of the first tries were faulty today, 50 % of the later ones: stop for \
                 today, and rest; stop at once if anything hurts",
            ),
            (
                Advice::Worse {
                    line: 0,
                    from: 0.3,
                    to: 0.6,
                    days: 3,
                },
                "Paper Kites: 60 % of the passes were not clean, 30 % two practice days before: rest it for \
                 a day, or take another line",
            ),
            (
                Advice::Still {
                    line: 0,
                    join: 0,
                    days: 4,
                },
                "Paper Kites, bar 1 beat 1: no better in four practice days: play it slower, or rest \
                 it for a day and take another line",
            ),
            (
                Advice::Still {
                    line: 7,
                    join: 0,
                    days: 4,
                },
                "the line: no better in four practice days: play it slower, or rest it for a day and take \
                 another line",
            ),
        ];
        for (advice, expected) in table {
            assert_eq!(advise(&advice, &lines), expected);
        }
    }
}
