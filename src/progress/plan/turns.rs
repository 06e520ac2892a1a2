//! Loops around joins, and turns on several of them.

use super::{Facts, Item, PlanMarks, Standing, Why};
use crate::music::expected::JoinKind;
use crate::progress::ladder::start_share;
use crate::progress::record::{Day, LineRecord};

/// Rounds of turns on the same items: two of three minutes are six, and after five to eight minutes on one
/// thing the next brings more. Raising it drills longer. Common practice, no source.
const ROUNDS: usize = 2;

/// Turns are shortened down to this many minutes so that more items fit in. Raising it interleaves fewer items
/// in a short session. Common practice, no source.
const SHORTEST_TURN: f64 = 1.0;

/// Above this share of faulty tries the loop starts a step down the ladder from the fastest clean try. Raising
/// it starts faster. Common practice: 80 to 90 % are to come out clean.
const MANY_FAULTY: f64 = 0.2;

/// A whole line gets at least this many minutes. Raising it plays fewer lines whole. Common practice, no
/// source.
const SHORTEST_WHOLE: f64 = 1.0;

/// The loop around a join: from its bar on, over the bar of the note behind it, to the next downbeat, so that
/// one more bar is in it; within the line.
///
/// # Source
/// Pieces that overlap: chunks taught apart leave slow joins between them (Verwey 1996; Cohen & Sekuler 2010).
pub(super) fn around(line: &LineRecord, join: usize) -> (u32, u32) {
    let (first, last) = (line.bars.0.min(line.bars.1), line.bars.1.max(line.bars.0));
    let Some(join) = line.joins.get(join) else {
        return (first, last);
    };
    // The way back of a repeat: the printed bar behind it lies before it.
    let to = join.to_bar.max(join.bar).saturating_add(1).min(last);
    let from = join.bar.clamp(first, last);
    (from, to.max(from))
}

/// Cold tests: what was played on the last practice day and is weak or due, the costliest first; then what
/// came clean and is due again. No bars twice.
pub(super) fn cold(
    lines: &[LineRecord],
    standings: &[Standing],
    today: Day,
    minutes: f64,
    marks: &PlanMarks,
) -> Vec<Item> {
    let most = (minutes / marks.test_minutes).floor() as usize;
    // Warm joins make no cold test.
    let mut due: Vec<&Standing> = (standings.iter())
        .filter(|of| of.facts.days_ago > 0 && of.due <= today)
        .collect();
    due.sort_by(|a, b| b.cost.total_cmp(&a.cost));
    let last = due.iter().map(|of| of.facts.days_ago).min();
    let yesterdays = |of: &&&Standing| of.clean_days == 0 && Some(of.facts.days_ago) == last;
    let reviews = |of: &&&Standing| of.clean_days > 0;
    let reviewed: Vec<&Standing> = {
        let mut of: Vec<&Standing> = due.iter().filter(reviews).copied().collect();
        of.sort_by_key(|of| of.due);
        of
    };
    let tests = most.saturating_sub(reviewed.len().min(most / 2));
    let mut items: Vec<Item> = Vec::new();
    let add = |of: &Standing, items: &mut Vec<Item>, most: usize| {
        let bars = around(&lines[of.line], of.join);
        if items.len() >= most
            || items
                .iter()
                .any(|item| item.line == of.line && item.bars == bars)
        {
            return;
        }
        let (why, share) = match of.clean_days {
            0 => (
                Why::Cold(of.facts),
                of.clean_share.unwrap_or_else(|| start(of, marks)),
            ),
            clean_days => (
                Why::Due {
                    facts: of.facts,
                    clean_days,
                },
                marks.ladder.target_share,
            ),
        };
        items.push(Item {
            line: of.line,
            bars,
            join: Some(of.join),
            why,
            minutes: marks.test_minutes,
            share: on_the_ladder(share, marks),
            whole: false,
        });
    };
    for of in due.iter().filter(yesterdays) {
        add(of, &mut items, tests);
    }
    for of in reviewed {
        add(of, &mut items, most);
    }
    items
}

/// Turns on the weak joins, A B C A B C, in at most `minutes`.
pub(super) fn interleaved(
    lines: &[LineRecord],
    standings: &[Standing],
    today: Day,
    minutes: f64,
    marks: &PlanMarks,
) -> Vec<Item> {
    let mut weak: Vec<&Standing> = standings.iter().filter(|of| of.is_weak(marks)).collect();
    weak.sort_by(|a, b| b.cost.total_cmp(&a.cost));
    let (mut left, mut items) = (minutes, Vec::new());
    while !weak.is_empty() {
        let shortest = SHORTEST_TURN.min(marks.turn_minutes);
        let fit = (left / (ROUNDS as f64 * shortest)) as usize;
        let (places, rounds) = match fit {
            0 if left >= shortest && items.is_empty() => (1, 1),
            0 => break,
            fit => (fit.min(marks.items), ROUNDS),
        };
        let chosen = choose(lines, &mut weak, places, today);
        let turn = (left / (rounds * chosen.len()) as f64).min(marks.turn_minutes);
        for round in 0..rounds {
            for of in &chosen {
                items.push(item(lines, of, round, turn, marks));
                left -= turn;
            }
        }
    }
    items
}

/// Takes `places` joins out of `weak`, which is sorted by cost: the costliest, and in the last place the one
/// that was left alone longest. With a single place both take turns, day by day. What lies in the same bars as a
/// chosen one is worked on with it, and taken out, too.
fn choose<'a>(
    lines: &[LineRecord],
    weak: &mut Vec<&'a Standing>,
    places: usize,
    today: Day,
) -> Vec<&'a Standing> {
    let mut chosen: Vec<&Standing> = Vec::new();
    while chosen.len() < places && !weak.is_empty() {
        let last_place = chosen.len() + 1 == places && (places > 1 || today.0.rem_euclid(2) == 1);
        let at = if last_place {
            // The first of those that waited longest: the costliest of them.
            let longest = weak.iter().map(|of| of.worked).min().flatten();
            weak.iter().position(|of| of.worked == longest)
        } else {
            None
        };
        let of = weak.remove(at.unwrap_or(0));
        let bars = around(&lines[of.line], of.join);
        weak.retain(|other| {
            other.line != of.line || around(&lines[other.line], other.join) != bars
        });
        chosen.push(of);
    }
    chosen
}

/// One turn on a join; of a shift the second one goes to its neighbours, where they are known.
fn item(
    lines: &[LineRecord],
    of: &Standing,
    round: usize,
    minutes: f64,
    marks: &PlanMarks,
) -> Item {
    let line = &lines[of.line];
    let mut item = Item {
        line: of.line,
        bars: around(line, of.join),
        join: Some(of.join),
        why: match of.still {
            Some(days) => Why::Still {
                facts: of.facts,
                days,
            },
            None => Why::Costs(of.facts),
        },
        minutes,
        share: start(of, marks),
        whole: false,
    };
    let join = &line.joins[of.join];
    if round % 2 == 0 || join.kind != Some(JoinKind::Shift) {
        return item;
    }
    let beside = |at: Option<usize>, index: Option<usize>| {
        let at = at?;
        (Some(line.joins.get(at)?.index) == index).then_some(at)
    };
    let before = beside(of.join.checked_sub(1), join.index.checked_sub(1));
    let after = beside(of.join.checked_add(1), join.index.checked_add(1));
    if before.or(after).is_some() {
        let from = before.map_or(item.bars, |at| around(line, at));
        let to = after.map_or(item.bars, |at| around(line, at));
        item.bars = (from.0.min(item.bars.0), to.1.max(item.bars.1));
        item.why = Why::Beside {
            facts: of.facts,
            bar: join.bar,
        };
    }
    item
}

/// Takes of the lines that were worked on, of all lines when none was, in `minutes` together.
pub(super) fn whole(
    lines: &[LineRecord],
    items: &[Item],
    today: Day,
    minutes: f64,
    marks: &PlanMarks,
) -> Vec<Item> {
    let mut order: Vec<usize> = Vec::new();
    for line in items.iter().map(|item| item.line).chain(0..lines.len()) {
        let worked = items.is_empty() || items.iter().any(|item| item.line == line);
        if worked && !order.contains(&line) {
            order.push(line);
        }
    }
    if minutes <= 0.0 {
        return Vec::new();
    }
    order.truncate(((minutes / SHORTEST_WHOLE) as usize).max(1));
    let each = minutes / order.len().max(1) as f64;
    (order.into_iter())
        .map(|at| {
            let line = &lines[at];
            let days = || line.days.iter().filter(|day| day.day <= today);
            let tries = days().map(|day| day.whole).sum();
            let passes = days().map(|day| day.passes).sum();
            let clean: usize = days().map(|day| day.clean.min(day.passes)).sum();
            let whole_clean: usize = days().map(|day| day.whole_clean.min(day.whole)).sum();
            let last = days().map(|day| day.day).max();
            Item {
                line: at,
                bars: (line.bars.0.min(line.bars.1), line.bars.1.max(line.bars.0)),
                join: None,
                why: Why::Whole(Facts {
                    tries,
                    faulty: tries - whole_clean,
                    gap_ms: None,
                    days_ago: last.map_or(0, |last| today.since(last)),
                    passes,
                    not_clean: passes - clean,
                }),
                minutes: each,
                share: marks.ladder.target_share,
                whole: true,
            }
        })
        .collect()
}

/// The tempo to start with: that of the fastest clean try, a step down when many tries were faulty, and one more
/// when the join stands still. Of a join that was never clean, where a player of whom nothing is known starts.
fn start(of: &Standing, marks: &PlanMarks) -> f64 {
    let down = 1.0 - marks.ladder.down_share;
    let mut share = match of.clean_share {
        Some(share) if of.facts.faulty as f64 > MANY_FAULTY * of.facts.tries as f64 => share * down,
        Some(share) => share,
        None => start_share(&[], &marks.ladder),
    };
    if of.still.is_some() {
        share *= down;
    }
    on_the_ladder(share, marks)
}

fn on_the_ladder(share: f64, marks: &PlanMarks) -> f64 {
    share
        .max(marks.ladder.floor_share)
        .min(marks.ladder.target_share)
}
