//! When to rest, when it gets worse, what stands still.

use super::{Advice, Item, Standing};
use crate::progress::record::{Day, LineRecord};

/// The rest comes after this share of the time of playing: early. Source: Cash (2009). Raising it rests later.
const REST_AFTER: f64 = 1.0 / 3.0;

/// Practice days over which it must get worse from day to day. Raising it waits longer. Common practice, no
/// source.
const WORSE_DAYS: usize = 3;

/// Passes that a day must have to say anything. Raising it leaves out more days. Common practice, no source.
const PASSES: usize = 4;

/// A share of faulty tries or passes rises when it does so by at least this much. Raising it says so more
/// seldom. Common practice, no source.
const RISE: f64 = 0.15;

/// And by this many standard deviations of the difference of two counted shares: by chance in one of forty
/// cases. Raising it says so more seldom.
const SURE: f64 = 1.96;

/// Tries of a join on one day that tell how a day went on. Raising it leaves out more joins. Common practice,
/// no source.
const TRIES: usize = 4;

/// Whether the share of faulty ones rose from one count to another, each as faulty out of all.
fn rose(before: (usize, usize), after: (usize, usize)) -> Option<(f64, f64)> {
    let (n, m) = (before.1 as f64, after.1 as f64);
    if before.1 == 0 || after.1 == 0 {
        return None;
    }
    let (from, to) = (before.0 as f64 / n, after.0 as f64 / m);
    let pooled = (before.0 + after.0) as f64 / (n + m);
    let spread = (pooled * (1.0 - pooled) * (1.0 / n + 1.0 / m)).sqrt();
    (to >= from + RISE && to - from >= SURE * spread).then_some((from, to))
}

/// What is to be said of the lines: of each line at most one thing of a kind.
pub(super) fn all(lines: &[LineRecord], standings: &[Standing], today: Day) -> Vec<Advice> {
    let mut advice = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        if let Some((first, later)) = tired(line, today) {
            advice.push(Advice::Tired {
                line: at,
                first,
                later,
            });
        }
        if let Some((from, to)) = worse(line, today) {
            advice.push(Advice::Worse {
                line: at,
                from,
                to,
                days: WORSE_DAYS,
            });
        }
        let still = (standings.iter())
            .filter(|of| of.line == at)
            .filter_map(|of| Some((of, of.still?)))
            .max_by(|a, b| a.0.cost.total_cmp(&b.0.cost));
        if let Some((of, days)) = still {
            advice.push(Advice::Still {
                line: at,
                join: of.join,
                days,
            });
        }
    }
    advice
}

/// Today's first tries against the later ones.
fn tired(line: &LineRecord, today: Day) -> Option<(f64, f64)> {
    let (mut first, mut later) = ((0, 0), (0, 0));
    for day in line.joins.iter().flat_map(|join| &join.days) {
        if day.day == today && day.tries >= TRIES {
            let was = usize::from(day.first_faulty);
            first = (first.0 + was, first.1 + 1);
            let faulty = day.faulty.min(day.tries).saturating_sub(was);
            later = (later.0 + faulty, later.1 + day.tries - 1);
        }
    }
    rose(first, later)
}

/// Passes that were not clean, day by day.
fn worse(line: &LineRecord, today: Day) -> Option<(f64, f64)> {
    let days: Vec<(usize, usize)> = (line.days.iter())
        .filter(|day| day.day <= today && day.passes >= PASSES)
        .map(|day| (day.passes.saturating_sub(day.clean), day.passes))
        .collect();
    let days = days.get(days.len().checked_sub(WORSE_DAYS)?..)?;
    let rising = days
        .windows(2)
        .all(|pair| pair[0].0 as f64 / (pair[0].1 as f64) < pair[1].0 as f64 / pair[1].1 as f64);
    if !rising {
        return None;
    }
    rose(*days.first()?, *days.last()?)
}

/// The early rest, before the first item that begins after a third of the time of playing.
pub(super) fn rest(items: &[Item], playing: f64, minutes: f64) -> Option<Advice> {
    if minutes <= 0.0 {
        return None;
    }
    let mut played = 0.0;
    for (at, item) in items.iter().enumerate() {
        if at > 0 && played >= REST_AFTER * playing - 1e-9 {
            return Some(Advice::Rest {
                before: at,
                minutes,
            });
        }
        played += item.minutes;
    }
    None
}
