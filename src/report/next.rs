//! Today's practice as text: what to play, in which order, how fast and why, and what to beware of.

use std::fmt::Write;

use super::page::{clean, wrap};
use crate::progress::plan::{Advice, Item, Plan, advise, reason};
use crate::progress::record::{LineRecord, PractisedJoin};
use crate::words;

/// Shown under every plan. Common practice, no source.
const CAUTION: &str =
    "Stop when something hurts, and rest before it does; what goes on hurting is for a doctor.";

/// Columns that an item's reason is indented by.
const INDENT: usize = 4;

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
            0,
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
    push(&mut page, &head, 0, columns);
    for advice in &plan.advice {
        if !matches!(advice, Advice::Rest { .. }) {
            push(&mut page, &sentence(&advise(advice, lines)), 0, columns);
        }
    }
    page.push('\n');
    for (at, item) in plan.items.iter().enumerate() {
        for advice in &plan.advice {
            if matches!(advice, Advice::Rest { before, .. } if *before == at) {
                push(
                    &mut page,
                    &format!("    {}", advise(advice, lines)),
                    INDENT,
                    columns,
                );
            }
        }
        let head = format!("{:>2}. {}", at + 1, heading(item, lines));
        push(&mut page, &head, INDENT, columns);
        push(
            &mut page,
            &format!("    {}", reason(&item.why)),
            INDENT,
            columns,
        );
    }
    page.push('\n');
    push(&mut page, CAUTION, 0, columns);
    page
}

/// What an item is: "3 min  Lantern stairs bars 2 to 3, shift at bar 2 beat 4.5, from 80 % of the tempo (67)".
fn heading(item: &Item, lines: &[LineRecord]) -> String {
    let mut text = format!("{:.0} min", item.minutes.max(1.0));
    let Some(line) = lines.get(item.line) else {
        return text;
    };
    let title = clean(&line.title);
    if item.whole {
        let _ = write!(text, "  {title}, the whole line");
    } else {
        let _ = write!(text, "  {title}, {}", words::bars(item.bars));
    }
    if let Some(join) = join_of(item, line) {
        let kind = join.kind.map_or(words::JOIN, |kind| kind.word());
        let _ = write!(
            text,
            ": the {kind} at {}",
            words::place(join.bar, join.beat)
        );
    }
    let bpm = item.share * line.tempo_bpm;
    let _ = write!(text, ", at {:.0} % ({bpm:.0} a minute)", 100.0 * item.share);
    if item.whole {
        text.push_str(", with the backing track where there is one");
    }
    text
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

fn push(page: &mut String, text: &str, indent: usize, columns: usize) {
    for line in wrap(text, indent, columns) {
        page.push_str(&line);
        page.push('\n');
    }
}
