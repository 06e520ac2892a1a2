//! How a join stands: what it costs, when it is due again, when it was last worked on, whether it stands
//! still.

use super::{Facts, PlanMarks};
use crate::progress::record::{Day, JoinDay, LineDay, LineRecord, PractisedJoin};

/// Days after which a join that came clean is due again, one after the other. Raising them tests more
/// seldom. Common practice; that sessions a day apart keep more than those minutes apart is Simmons (2012,
/// J. Res. Music Educ. 59:357).
pub(super) const SPACING: [i64; 4] = [1, 2, 4, 7];

/// Days of practice that are looked at. Raising it remembers old faults longer. Common practice, no source.
const LOOKED_AT: usize = 3;

/// What a day counts beside the practice day after it. Raising it remembers old faults longer. Common
/// practice, no source.
const OLDER: f64 = 0.5;

/// Silence in milliseconds that doubles the cost of a join: where a gap is clear to hear, see
/// `gap_clear_ms` in the comparator's marks. Raising it makes gaps count less.
const GAP_MS: f64 = 60.0;

/// Tries beyond those within whole passes that say a join was worked on that day. Raising it comes back
/// to a join sooner. Common practice, no source.
const WORKED_TRIES: usize = 3;

/// Practice days after which a join that got no better stands still. Raising it waits longer before
/// it is said. Common practice, no source.
const STILL_DAYS: usize = 4;

/// A join stands still only where at least this share of its last tries was faulty. Raising it says
/// so more seldom. Common practice, no source.
const STILL_FAULTY: f64 = 0.25;

/// A join got better when the share of faulty tries fell by this much. Raising it takes more for standing
/// still. Common practice, no source.
const BETTER_FAULTY: f64 = 0.05;

/// A join got better when its fastest clean try got faster by this share of the written tempo: what is just
/// heard as another tempo (2 %, Drake & Botte 1993). Raising it takes more for standing still.
const BETTER_SHARE: f64 = 0.02;

/// Tries in each half of the days that are held against each other. Raising it asks for more certainty.
/// Common practice, no source.
const HALF_TRIES: usize = 6;

/// How a join stands today.
#[derive(Clone, Debug)]
pub(super) struct Standing {
    /// Index of its line.
    pub line: usize,
    /// Index into the joins of that line.
    pub join: usize,
    /// What was measured of it.
    pub facts: Facts,
    /// What it costs: 0 for a join that is clean at the target, about 1 for one that never is, more with a gap.
    pub cost: f64,
    /// Clean days in a row at the target tempo, as the spacing counts them.
    pub clean_days: usize,
    /// The day on which it is due again.
    pub due: Day,
    /// The last day on which it was worked on by itself.
    pub worked: Option<Day>,
    /// Practice days on which it got no better, when it stands still.
    pub still: Option<usize>,
    /// Fastest clean try of the days that are looked at, relative to the written tempo.
    pub clean_share: Option<f64>,
}

impl Standing {
    /// How the join stands; `None` for one that was never played.
    pub(super) fn of(
        lines: &[LineRecord],
        at: (usize, usize),
        today: Day,
        marks: &PlanMarks,
    ) -> Option<Self> {
        let line = lines.get(at.0)?;
        let join = line.joins.get(at.1)?;
        let played: Vec<&JoinDay> = (join.days.iter())
            .filter(|day| day.tries > 0 && day.day <= today)
            .collect();
        let last = played.last()?.day;
        let looked_at = &played[played.len().saturating_sub(LOOKED_AT)..];
        let clean_share = fastest(looked_at);
        let (clean_days, due) = spacing(&played, marks);
        let facts = facts(looked_at, &line.days, today);
        Some(Self {
            line: at.0,
            join: at.1,
            cost: cost(looked_at, clean_share, marks),
            facts,
            clean_days,
            due: due.unwrap_or(last),
            worked: worked(join, &line.days, today),
            still: still(&played),
            clean_share,
        })
    }

    /// It needs work.
    pub(super) fn is_weak(&self, marks: &PlanMarks) -> bool {
        self.cost >= marks.weak
    }
}

fn fastest(days: &[&JoinDay]) -> Option<f64> {
    (days.iter())
        .filter_map(|day| day.clean_share.filter(|share| share.is_finite()))
        .reduce(f64::max)
}

fn faulty_share(days: &[&JoinDay]) -> Option<f64> {
    let tries: usize = days.iter().map(|day| day.tries).sum();
    let faulty: usize = days.iter().map(|day| day.faulty.min(day.tries)).sum();
    (tries > 0).then(|| faulty as f64 / tries as f64)
}

/// The mean of the gaps that were measured, each day as it has tries.
fn gap_ms(days: &[&JoinDay]) -> Option<f64> {
    let (mut sum, mut tries) = (0.0, 0.0);
    for day in days {
        if let Some(gap) = day.gap_ms.filter(|gap| gap.is_finite()) {
            sum += gap.max(0.0) * day.tries as f64;
            tries += day.tries as f64;
        }
    }
    (tries > 0.0).then(|| sum / tries)
}

fn facts(looked_at: &[&JoinDay], line: &[LineDay], today: Day) -> Facts {
    let from = looked_at.first().map_or(today, |day| day.day);
    let days = || {
        line.iter()
            .filter(|day| day.day >= from && day.day <= today)
    };
    let sum = |of: fn(&LineDay) -> usize| days().map(of).sum::<usize>();
    Facts {
        tries: looked_at.iter().map(|day| day.tries).sum(),
        faulty: (looked_at.iter())
            .map(|day| day.faulty.min(day.tries))
            .sum(),
        gap_ms: gap_ms(looked_at),
        days_ago: looked_at.last().map_or(0, |day| today.since(day.day)),
        passes: sum(|day| day.passes),
        not_clean: sum(|day| day.passes.saturating_sub(day.clean)),
    }
}

/// Share of faulty tries, later days first; what is clean yet slower than the target lacks the rest; a
/// gap that is clear to hear doubles it.
fn cost(looked_at: &[&JoinDay], clean_share: Option<f64>, marks: &PlanMarks) -> f64 {
    let (mut faulty, mut tries, mut weight) = (0.0, 0.0, 1.0);
    for day in looked_at.iter().rev() {
        faulty += weight * day.faulty.min(day.tries) as f64;
        tries += weight * day.tries as f64;
        weight *= OLDER;
    }
    let faulty: f64 = if tries > 0.0 { faulty / tries } else { 0.0 };
    let lacks = clean_share.map_or(1.0, |share| {
        (1.0 - share / marks.ladder.target_share).clamp(0.0, 1.0)
    });
    let gap = gap_ms(looked_at).map_or(0.0, |gap| (gap / GAP_MS).min(1.0));
    (faulty + (1.0 - faulty) * lacks) * (1.0 + faulty * gap)
}

/// Clean days at the target, each at or after the day on which the join was due, and the day on which
/// it is due again. A day with a fault begins anew and leaves it due at once; one that was clean but
/// slower leaves it due the day after.
fn spacing(played: &[&JoinDay], marks: &PlanMarks) -> (usize, Option<Day>) {
    let (mut clean_days, mut due) = (0, None);
    for day in played {
        if day.faulty > 0 {
            (clean_days, due) = (0, Some(day.day));
            continue;
        }
        let at_target =
            (day.clean_share).is_some_and(|share| share * 1.005 >= marks.ladder.target_share);
        if !at_target {
            due = Some(Day(day.day.0.saturating_add(1)));
        } else if due.is_none_or(|due| day.day >= due) {
            let wait = SPACING[clean_days.min(SPACING.len() - 1)];
            due = Some(Day(day.day.0.saturating_add(wait)));
            clean_days += 1;
        }
    }
    (clean_days, due)
}

/// The last day on which the join was tried more often than whole passes alone would.
fn worked(join: &PractisedJoin, line: &[LineDay], today: Day) -> Option<Day> {
    (join.days.iter().rev())
        .filter(|day| day.day <= today)
        .find(|day| {
            let whole = (line.iter())
                .find(|of| of.day == day.day)
                .map_or(0, |of| of.whole);
            day.tries >= whole.saturating_add(WORKED_TRIES)
        })
        .map(|day| day.day)
}

/// Whether the join got no better over its last four practice days: as many faulty tries, no faster clean
/// one. How many days that are.
fn still(played: &[&JoinDay]) -> Option<usize> {
    let days = played.get(played.len().checked_sub(STILL_DAYS)?..)?;
    let (before, after) = days.split_at(STILL_DAYS / 2);
    let tries = |days: &[&JoinDay]| days.iter().map(|day| day.tries).sum::<usize>();
    if tries(before) < HALF_TRIES || tries(after) < HALF_TRIES {
        return None;
    }
    let (was, is) = (faulty_share(before)?, faulty_share(after)?);
    let faster = match (fastest(before), fastest(after)) {
        (Some(before), Some(after)) => after >= before + BETTER_SHARE,
        (None, Some(_)) => true,
        _ => false,
    };
    (is >= STILL_FAULTY && is > was - BETTER_FAULTY && !faster).then_some(STILL_DAYS)
}
