//! The record of practice as text: each line with its days, its tempos and the joins that cost most.

use std::fmt::Write;

use super::page::{clean, wrap};
use crate::progress::record::{Day, LineDay, LineRecord, PractisedJoin, moment};
use crate::progress::store::read::{AtTempo, TakeEntry};
use crate::words;

/// Joins shown of each line where not all are asked for.
const JOINS_SHOWN: usize = 6;
/// Days shown of each line where not all are asked for.
const DAYS_SHOWN: usize = 7;
/// Lines shown where not all are asked for.
const LINES_SHOWN: usize = 5;
/// Cells of a bar that shows a share.
const BAR_CELLS: usize = 10;
/// Days that fit into the small plot of a join.
const PLOT_DAYS: usize = 14;
/// The steps of a small plot, from none to all.
const STEPS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// What the page is to show.
#[derive(Clone, Debug, Default)]
pub struct LogSettings {
    /// Who played; empty where nobody was named.
    pub player: String,
    /// Today.
    pub today: Day,
    /// Every line, day and join.
    pub all: bool,
    /// Columns of the page.
    pub columns: usize,
}

/// A line as it is shown, with its passes by tempo where these were asked for.
pub type Shown = (LineRecord, Vec<AtTempo>);

/// The page. Ends with a line feed.
pub fn page(lines: &[Shown], settings: &LogSettings) -> String {
    let mut page = String::new();
    if lines.is_empty() {
        let whose = whose(&settings.player);
        let text = format!(
            "Nothing is in the record{whose} yet. What `seamline play` hears goes in, and a take that \
             is given to `seamline score`."
        );
        push_wrapped(&mut page, &text, settings.columns);
        return page;
    }
    let takes: usize = lines.iter().map(|(line, _)| line.takes).sum();
    let passes: usize = lines.iter().map(|(line, _)| line.passes).sum();
    let head = format!(
        "Practice{}: {}, {}, {}",
        whose(&settings.player),
        words::count(lines.len(), "line"),
        words::count(takes, "take"),
        of_passes(passes),
    );
    push_wrapped(&mut page, &head, settings.columns);
    let shown = if settings.all {
        lines.len()
    } else {
        LINES_SHOWN
    };
    for (line, tempos) in lines.iter().take(shown) {
        page.push('\n');
        push_line(&mut page, line, tempos, settings);
    }
    if lines.len() > shown {
        let more = lines.len() - shown;
        let _ = writeln!(page, "\n{} more with --all", words::count(more, "line"));
    }
    page
}

/// The takes as a list with their numbers, each line ending with a line feed.
pub fn takes(takes: &[TakeEntry]) -> String {
    let line = |take: &TakeEntry| {
        format!(
            "{:>6}  {}  {:<20}  {:<14}  {}\n",
            take.number,
            moment(take.at_s, take.ahead_s),
            clean(&take.title),
            format!("{} of {} clean", take.clean, take.passes),
            clean(take.file.as_deref().unwrap_or("(no file)")),
        )
    };
    takes.iter().map(line).collect()
}

fn push_line(page: &mut String, line: &LineRecord, tempos: &[AtTempo], settings: &LogSettings) {
    let title = clean(&line.title);
    let mut head = format!(
        "{title}: {}, {}",
        words::count(line.takes, "take"),
        of_passes(line.passes)
    );
    if let Some(last) = line.days.last() {
        let _ = write!(head, ", last {}", ago(last.day, settings.today));
    }
    push_wrapped(page, &head, settings.columns);
    let best = line
        .days
        .iter()
        .filter_map(|day| day.clean_share.map(|share| (share, day.day)));
    match best.max_by(|a, b| a.0.total_cmp(&b.0)) {
        Some((share, day)) => {
            let _ = writeln!(
                page,
                "  the whole line clean at {} of its tempo, {}",
                words::percent(share),
                ago(day, settings.today)
            );
        }
        None => page.push_str("  the whole line not clean yet\n"),
    }
    push_days(page, &line.days, settings);
    push_tempos(page, tempos);
    push_joins(page, line, settings);
}

fn push_days(page: &mut String, days: &[LineDay], settings: &LogSettings) {
    let shown = if settings.all { days.len() } else { DAYS_SHOWN };
    let days = &days[days.len().saturating_sub(shown)..];
    if days.is_empty() {
        return;
    }
    page.push_str("  day         minutes  passes  not clean\n");
    for day in days {
        let faulty = day.passes - day.clean.min(day.passes);
        let _ = writeln!(
            page,
            "  {:<10}  {:>7.0}  {:>6}  {:>9}  {}",
            day.day.to_string(),
            day.minutes,
            day.passes,
            faulty,
            bar(faulty, day.passes),
        );
    }
}

fn push_tempos(page: &mut String, tempos: &[AtTempo]) {
    if tempos.is_empty() {
        return;
    }
    page.push_str("  tempo       passes  clean\n");
    for at in tempos {
        let _ = writeln!(
            page,
            "  {:<10}  {:>6}  {:>5}  {}",
            words::percent(at.share),
            at.passes,
            at.clean,
            bar(at.clean, at.passes),
        );
    }
}

fn push_joins(page: &mut String, line: &LineRecord, settings: &LogSettings) {
    let mut joins: Vec<&PractisedJoin> = line
        .joins
        .iter()
        .filter(|join| faults(join).0 > 0)
        .collect();
    // Those that cost most first; of equal ones the order of the line.
    joins.sort_by_key(|join| std::cmp::Reverse(faults(join).0));
    let shown = if settings.all {
        joins.len()
    } else {
        JOINS_SHOWN
    };
    if joins.is_empty() {
        return;
    }
    page.push_str("  joins                        faults      gap    day by day\n");
    for join in joins.iter().take(shown) {
        let (faulty, tries) = faults(join);
        let kind = join.kind.map_or(words::JOIN, |kind| kind.word());
        let name = format!("{} {kind}", words::place(join.bar, join.beat));
        let gap = mean_gap(join).map_or_else(|| "-".to_owned(), |gap| format!("{gap:.0} ms"));
        let _ = writeln!(
            page,
            "  {name:<27}  {:>8}  {gap:>7}    {}",
            format!("{faulty} of {tries}"),
            plot(join),
        );
    }
    if joins.len() > shown {
        let more = joins.len() - shown;
        let _ = writeln!(page, "  {} more with --all", words::count(more, "join"));
    }
}

/// How often a join had a fault, of how many tries.
pub(super) fn faults(join: &PractisedJoin) -> (usize, usize) {
    let faulty = join.days.iter().map(|day| day.faulty).sum();
    (faulty, join.days.iter().map(|day| day.tries).sum())
}

/// Mean silence at a join over its days, in milliseconds.
pub(super) fn mean_gap(join: &PractisedJoin) -> Option<f64> {
    let gaps = join
        .days
        .iter()
        .filter_map(|day| Some((day.gap_ms?, day.tries as f64)));
    let (sum, tries) = gaps.fold((0.0, 0.0), |(sum, all), (gap, tries)| {
        (sum + gap * tries, all + tries)
    });
    (tries > 0.0).then(|| sum / tries)
}

/// The share of faulty tries of each of the last days, one sign each, the oldest first.
fn plot(join: &PractisedJoin) -> String {
    let days = &join.days[join.days.len().saturating_sub(PLOT_DAYS)..];
    let step = |faulty: usize, tries: usize| {
        let top = STEPS.len() - 1;
        STEPS[(faulty * top).div_ceil(tries.max(1)).min(top)]
    };
    days.iter().map(|day| step(day.faulty, day.tries)).collect()
}

/// A share as a bar of a fixed width.
fn bar(part: usize, whole: usize) -> String {
    let full = (part * BAR_CELLS + whole / 2)
        .checked_div(whole)
        .unwrap_or(0)
        .min(BAR_CELLS);
    format!("{}{}", "█".repeat(full), "·".repeat(BAR_CELLS - full))
}

/// "today", "yesterday", "4 days ago", and a date where it is longer ago.
pub(super) fn ago(day: Day, today: Day) -> String {
    match today.since(day) {
        0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        days @ 2..=13 => format!("{days} days ago"),
        _ => format!("on {day}"),
    }
}

pub(super) fn of_passes(passes: usize) -> String {
    format!("{passes} {}", words::plural(passes, "pass", "passes"))
}

pub(super) fn whose(player: &str) -> String {
    match player {
        "" => String::new(),
        name => format!(" of {}", clean(name)),
    }
}

fn push_wrapped(page: &mut String, text: &str, columns: usize) {
    for line in wrap(text, 0, columns.max(20)) {
        page.push_str(&line);
        page.push('\n');
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::expected::JoinKind;
    use crate::progress::record::JoinDay;

    fn record() -> LineRecord {
        let line_day = |day, passes, clean, share| LineDay {
            day: Day(day),
            passes,
            clean,
            whole: passes,
            whole_clean: clean,
            clean_share: share,
            minutes: 12.4,
        };
        let join_day = |day, tries, faulty, gap_ms| JoinDay {
            day: Day(day),
            tries,
            faulty,
            first_faulty: faulty > 0,
            gap_ms: Some(gap_ms),
            clean_share: None,
        };
        let join = |bar, beat, kind, days| PractisedJoin {
            index: 4,
            bar,
            beat,
            to_bar: bar,
            kind: Some(kind),
            days,
        };
        LineRecord {
            title: "Lantern stairs".to_owned(),
            file: None,
            bars: (1, 6),
            tempo_bpm: 92.0,
            takes: 3,
            passes: 14,
            days: vec![
                line_day(20_780, 8, 2, None),
                line_day(20_784, 6, 4, Some(0.85)),
            ],
            joins: vec![
                join(
                    1,
                    2.0,
                    JoinKind::Crossing,
                    vec![join_day(20_780, 8, 0, 2.0)],
                ),
                join(
                    2,
                    4.5,
                    JoinKind::Shift,
                    vec![join_day(20_780, 8, 8, 92.0), join_day(20_784, 6, 1, 41.0)],
                ),
            ],
        }
    }

    #[test]
    fn the_page_says_what_was_practised() {
        let settings = LogSettings {
            today: Day(20_785),
            columns: 80,
            ..LogSettings::default()
        };
        let tempos = [AtTempo {
            share: 0.85,
            passes: 6,
            clean: 4,
        }];
        let told = page(&[(record(), tempos.to_vec())], &settings);
        let wanted = "\
Practice: 1 line, 3 takes, 14 passes

Lantern stairs: 3 takes, 14 passes, last yesterday
  the whole line clean at 85 % of its tempo, yesterday
  day         minutes  passes  not clean
  2026-11-23       12       8          6  ████████··
  2026-11-27       12       6          2  ███·······
  tempo       passes  clean
  85 %             6      4  ███████···
  joins                        faults      gap    day by day
  bar 2 beat 4.5 shift          9 of 14    70 ms    █▃
";
        assert_eq!(told, wanted, "\n{told}");
        let empty = page(&[], &settings);
        assert!(
            empty.starts_with("Nothing is in the record yet."),
            "{empty}"
        );
    }

    /// None is the lowest sign, all the highest, and what lies between never looks like either.
    #[test]
    fn plots_tell_none_some_and_all_apart() {
        for (faulty, tries, sign) in [
            (0, 5, '▁'),
            (1, 100, '▂'),
            (1, 2, '▅'),
            (99, 100, '█'),
            (5, 5, '█'),
        ] {
            let mut join = record().joins.remove(0);
            join.days[0].faulty = faulty;
            join.days[0].tries = tries;
            assert_eq!(plot(&join), sign.to_string(), "{faulty} of {tries}");
        }
    }

    #[test]
    fn days_are_told_as_people_do() {
        let today = Day(100);
        for (day, told) in [
            (100, "today"),
            (99, "yesterday"),
            (96, "4 days ago"),
            (80, "on 1970-03-22"),
        ] {
            assert_eq!(ago(Day(day), today), told);
        }
    }
}
