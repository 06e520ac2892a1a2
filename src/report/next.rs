//! Today's practice as text: what to play, in which order, how fast and why, and what to beware of.

use std::fmt::Write;

use super::page::{clean, wrap};
use crate::progress::plan::{Advice, Item, Plan, Why, advise, reason};
use crate::progress::record::{LineRecord, PractisedJoin};
use crate::words;

/// Shown under every plan. Common practice, no source.
const CAUTION: &str =
    "Stop when something hurts, and rest before it does; what goes on hurting is for a doctor.";

/// Columns of an item's number.
const INDENT: usize = 5;

/// The page; ends with a line feed. `minutes` is what was asked for.
pub fn page(
    plan: &Plan,
    lines: &[LineRecord],
    player: &str,
    minutes: f64,
    columns: usize,
) -> String {
    let columns = columns.max(2 * INDENT + 20);
    let mut page = String::new();
    if plan.items.is_empty() {
        push(
            &mut page,
            "Nothing to propose yet: play a line with `seamline play LINE`, or judge a take of one \
             with `seamline score TAKE --line LINE`.",
            columns,
        );
        return page;
    }
    let whose = match player {
        "" => String::new(),
        name => format!(" for {}", clean(name)),
    };
    let head = format!(
        "Today{whose}: {:.0} of {minutes:.0} minutes",
        plan.minutes()
    );
    push(&mut page, &head, columns);
    for advice in &plan.advice {
        if !matches!(advice, Advice::Rest { .. }) {
            push(&mut page, &sentence(&advise(advice, lines)), columns);
        }
    }
    page.push('\n');
    let mut told: Vec<(usize, Option<usize>)> = Vec::new();
    for (at, item) in plan.items.iter().enumerate() {
        let rests =
            |advice: &&Advice| matches!(advice, Advice::Rest { before, .. } if *before == at);
        for advice in plan.advice.iter().filter(rests) {
            push_at(&mut page, &advise(advice, lines), INDENT, columns);
        }
        // Halves are told: the turns of a page add up to its minutes.
        let decimals = usize::from(item.minutes.fract() > 0.05);
        let _ = write!(page, "{:>3} {:>4.decimals$} min  ", at + 1, item.minutes);
        push_after(&mut page, &heading(item, lines), INDENT + 9, columns);
        // A turn that comes again needs no reason again.
        let again = told.contains(&(item.line, item.join));
        if !again || matches!(item.why, Why::Beside { .. }) {
            told.push((item.line, item.join));
            push_at(&mut page, &what(item, lines), INDENT + 9, columns);
        }
    }
    page.push('\n');
    push(&mut page, CAUTION, columns);
    page
}

/// What is played: "Lantern stairs, bars 2 to 3, at 80 % (67 a minute)".
fn heading(item: &Item, lines: &[LineRecord]) -> String {
    let Some(line) = lines.get(item.line) else {
        return String::new();
    };
    let bars = match item.whole {
        true => "the whole line".to_owned(),
        false => words::bars(item.bars),
    };
    let bpm = item.share * line.tempo_bpm;
    let share = 100.0 * item.share;
    format!(
        "{}, {bars}, at {share:.0} % ({bpm:.0} a minute)",
        clean(&line.title)
    )
}

/// What it is about and why: "shift at bar 2 beat 4.5: faulty in 4 of 6 tries".
fn what(item: &Item, lines: &[LineRecord]) -> String {
    let why = reason(&item.why);
    if item.whole {
        return format!("{why}; with the backing track, where there is one");
    }
    match lines.get(item.line).and_then(|line| join_of(item, line)) {
        Some(join) => {
            let kind = join.kind.map_or(words::JOIN, |kind| kind.word());
            format!("{kind} at {}: {why}", words::place(join.bar, join.beat))
        }
        None => why,
    }
}

/// The join that an item is about.
pub(super) fn join_of<'a>(item: &Item, line: &'a LineRecord) -> Option<&'a PractisedJoin> {
    line.joins.get(item.join?)
}

/// With a capital letter and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}

/// Puts a paragraph down.
fn push(page: &mut String, text: &str, columns: usize) {
    push_at(page, text, 0, columns);
}

/// Puts a paragraph down, all of it so far in.
fn push_at(page: &mut String, text: &str, indent: usize, columns: usize) {
    page.push_str(&" ".repeat(indent));
    push_after(page, text, indent, columns);
}

/// Goes on with a line that is begun, what comes below it so far in.
fn push_after(page: &mut String, text: &str, indent: usize, columns: usize) {
    let lines = wrap(text, 0, columns - indent);
    page.push_str(&lines.join(&format!("\n{}", " ".repeat(indent))));
    page.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::expected::JoinKind;
    use crate::progress::plan::Facts;

    #[test]
    fn the_page_says_what_how_fast_and_why() {
        let facts = Facts {
            tries: 6,
            faulty: 4,
            gap_ms: Some(86.0),
            days_ago: 1,
            passes: 6,
            not_clean: 5,
        };
        let lines = [LineRecord {
            title: "Lantern stairs".to_owned(),
            file: None,
            bars: (1, 8),
            tempo_bpm: 84.0,
            takes: 1,
            passes: 6,
            days: Vec::new(),
            joins: vec![PractisedJoin {
                index: 9,
                bar: 2,
                beat: 4.5,
                to_bar: 3,
                kind: Some(JoinKind::Shift),
                days: Vec::new(),
            }],
        }];
        let turn = Item {
            line: 0,
            bars: (2, 4),
            join: Some(0),
            why: Why::Costs(facts),
            minutes: 3.0,
            share: 0.8,
            whole: false,
        };
        let whole = Item {
            bars: (1, 8),
            join: None,
            why: Why::Whole(facts),
            share: 1.0,
            whole: true,
            ..turn
        };
        let plan = Plan {
            items: vec![
                turn,
                Item {
                    minutes: 1.5,
                    ..turn
                },
                whole,
            ],
            advice: vec![Advice::Rest {
                before: 1,
                minutes: 5.0,
            }],
        };
        let wanted = "\
Today for Ada: 12 of 20 minutes

  1    3 min  Lantern stairs, bars 2 to 4, at 80 % (67 a minute)
              shift at bar 2 beat 4.5: faulty in 4 of 6 tries, 86 ms of silence;
              last played yesterday; 5 of 6 passes were not clean
     rest for 5 minutes, hands off the strings
  2  1.5 min  Lantern stairs, bars 2 to 4, at 80 % (67 a minute)
  3    3 min  Lantern stairs, the whole line, at 100 % (84 a minute)
              the whole line at the target: 2 of 6 takes clean so far; with the
              backing track, where there is one

Stop when something hurts, and rest before it does; what goes on hurting is for
a doctor.
";
        let told = page(&plan, &lines, "Ada", 20.0, 80);
        assert_eq!(told, wanted, "\n{told}");
        let nothing = page(&Plan::default(), &[], "", 20.0, 80);
        assert!(nothing.starts_with("Nothing to propose yet"), "{nothing}");
    }
}
