//! What to practise today: items in the order in which they are played, and what to beware of.
//!
//! | file | what lives there |
//! |---|---|
//! | here | [`plan`]: the day's items; [`Item`], [`Why`], [`Advice`] |
//! | [`marks`] | [`PlanMarks`]: its limits |
//! | `standing` | how a join stands: cost, when it is due, whether it stands still |
//! | `turns` | loops around joins, and turns on several of them |
//! | `advice` | when to rest, when it gets worse, what stands still |
//! | [`phrases`] | the reasons and the advice in words |
//!
//! # The day
//! First cold tests: what was weak on the last practice day and what is due after 1, 2, 4 and 7 days, before
//! anything is warm. Then the joins that cost most, in turns of three minutes, A B C A B C; one place of the
//! turns goes to the weak join that was left alone longest, so that none waits for ever. A shift's second turn
//! goes to the joins on either side of it. Last, takes of the whole line at the target. A rest after the first
//! third. All of it in the minutes that were asked for, the rest among them.
//!
//! # What is not there
//! Nothing keeps two lines that look alike apart: from what is recorded nobody can tell whether they do.

mod advice;
pub mod marks;
pub mod phrases;
mod standing;
#[cfg(test)]
mod tests;
mod turns;

use super::record::{Day, LineRecord};
pub use marks::{PlanError, PlanMarks, USUAL_MINUTES};
pub use phrases::{advise, reason};
use standing::Standing;

/// What was measured of a join, or of a line, on the last days it was played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Facts {
    /// How often it was played.
    pub tries: usize,
    /// How often it had a fault.
    pub faulty: usize,
    /// Mean silence in milliseconds; `None` where it was not measured.
    pub gap_ms: Option<f64>,
    /// Days since it was last played.
    pub days_ago: i64,
    /// Passes over its line on those days.
    pub passes: usize,
    /// Those that were not clean.
    ///
    /// # Source
    /// They foretell better than minutes or passes what is kept overnight (Duke, Simmons & Cash 2009, J. Res.
    /// Music Educ. 56:310: rank the next day with the number of incorrect trials, r = .48; seventeen players).
    pub not_clean: usize,
}

/// Why an item is on the plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// A join that costs much.
    Costs(Facts),
    /// A join that got no better over some practice days: slower than before.
    Still {
        /// What was measured.
        facts: Facts,
        /// Practice days.
        days: usize,
    },
    /// A join of the last practice day, cold: what was kept?
    Cold(Facts),
    /// A join that came clean and is due again.
    Due {
        /// What was measured.
        facts: Facts,
        /// Clean days in a row, as the spacing counts them.
        clean_days: usize,
    },
    /// The joins on either side of a shift.
    Beside {
        /// What was measured of the shift.
        facts: Facts,
        /// Bar of the shift.
        bar: u32,
    },
    /// The whole line; tries are takes of all of it.
    Whole(Facts),
}

/// One turn on one thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Item {
    /// Index of its line in the record.
    pub line: usize,
    /// First and last bar of the loop, by their printed numbers.
    pub bars: (u32, u32),
    /// Index into the joins of the line; `None` for a whole line.
    pub join: Option<usize>,
    /// Why it is here.
    pub why: Why,
    /// How long, in minutes.
    pub minutes: f64,
    /// Tempo to start with, relative to the written one.
    pub share: f64,
    /// Takes of the whole line.
    pub whole: bool,
}

/// What to beware of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Advice {
    /// A rest early in the session.
    Rest {
        /// Index of the item before which it comes.
        before: usize,
        /// How long, in minutes.
        minutes: f64,
    },
    /// The longer it was played today, the more was faulty: stop for today.
    Tired {
        /// Index of the line.
        line: usize,
        /// Share of first tries that were faulty.
        first: f64,
        /// Share of later tries that were.
        later: f64,
    },
    /// More and more passes are not clean, day by day.
    Worse {
        /// Index of the line.
        line: usize,
        /// Share of passes that were not clean on the first of the days.
        from: f64,
        /// On the last of them.
        to: f64,
        /// Practice days.
        days: usize,
    },
    /// A join got no better: slower, or rest it and take another line.
    Still {
        /// Index of the line.
        line: usize,
        /// Index into its joins.
        join: usize,
        /// Practice days.
        days: usize,
    },
}

/// A day's practice.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// What is played, in this order; empty when nothing was practised yet.
    pub items: Vec<Item>,
    /// What to beware of.
    pub advice: Vec<Advice>,
}

impl Plan {
    /// Minutes of all items and the rest: never more than were asked for.
    pub fn minutes(&self) -> f64 {
        let rest = self.advice.iter().map(|advice| match advice {
            Advice::Rest { minutes, .. } => *minutes,
            _ => 0.0,
        });
        self.items.iter().map(|item| item.minutes).chain(rest).sum()
    }
}

/// Share of the time of playing that goes to cold tests at most. Raising it leaves less for the turns. Common
/// practice, no source.
const TESTS_SHARE: f64 = 0.2;

/// Share of the time of playing that goes to whole lines at most. Raising it leaves less for the turns. Common
/// practice, no source.
const WHOLE_SHARE: f64 = 0.25;

/// A rest is planned when the session is at least this many times as long. Raising it rests in longer
/// sessions only. Common practice, no source.
const RESTS: f64 = 3.0;

/// The plan for `today` from what is known of the lines that were practised: `minutes` long at most, the
/// rest included. Days behind today are left out. The same record gives the same plan.
///
/// # Errors
/// Minutes or marks that make no plan.
///
/// # Example
/// ```
/// use seamline::progress::plan::{PlanMarks, USUAL_MINUTES, plan};
/// use seamline::progress::record::Day;
///
/// let nothing_yet = plan(&[], Day(20_000), USUAL_MINUTES, &PlanMarks::default())?;
/// assert!(nothing_yet.items.is_empty());
/// # Ok::<(), seamline::progress::plan::PlanError>(())
/// ```
pub fn plan(
    lines: &[LineRecord],
    today: Day,
    minutes: f64,
    marks: &PlanMarks,
) -> Result<Plan, PlanError> {
    marks.check(minutes)?;
    let standings: Vec<Standing> = (lines.iter().enumerate())
        .flat_map(|(at, line)| (0..line.joins.len()).map(move |join| (at, join)))
        .filter_map(|at| Standing::of(lines, at, today, marks))
        .collect();
    let rest = if minutes >= RESTS * marks.rest_minutes {
        marks.rest_minutes
    } else {
        0.0
    };
    let playing = minutes - rest;
    let whole_minutes = marks.whole_minutes.min(WHOLE_SHARE * playing);

    let mut items = turns::cold(lines, &standings, today, TESTS_SHARE * playing, marks);
    let tests: f64 = items.iter().map(|item| item.minutes).sum();
    let left = playing - tests - whole_minutes;
    items.extend(turns::interleaved(lines, &standings, today, left, marks));
    items.extend(turns::whole(lines, &items, today, whole_minutes, marks));

    let mut advice = advice::all(lines, &standings, today);
    advice.extend(advice::rest(&items, playing, rest));
    Ok(Plan { items, advice })
}
