//! Ways to spend a day's practice.

use seamline::progress::ladder::{Ladder, LadderMarks, Outcome, Step};
use seamline::progress::plan::{Advice, Plan, PlanMarks, plan};

use super::{JOINS, Learner};

fn today(learner: &Learner, minutes: f64) -> Plan {
    let lines = std::slice::from_ref(&learner.record);
    plan(lines, learner.today(), minutes, &PlanMarks::default()).unwrap()
}

/// Minutes of practice a day.
const MINUTES: f64 = 20.0;

/// Plays a loop for some minutes, led by the ladder, until it `reached` the target when that is asked for; minutes
/// that were needed.
fn work(learner: &mut Learner, bars: (u32, u32), minutes: f64, share: f64, until: bool) -> f64 {
    let mut ladder = Ladder::new(LadderMarks::default(), share).unwrap();
    let mut played = 0.0;
    loop {
        let share = ladder.next().share;
        let takes = Learner::pass_minutes(bars, share);
        if played + takes > minutes {
            return played;
        }
        played += takes;
        let outcome = match learner.play(bars, share) {
            true => Outcome::Clean,
            false => Outcome::Faulty,
        };
        if until && matches!(ladder.pass(outcome, share), Step::Reached { .. }) {
            return played;
        }
        if !until {
            ladder.pass(outcome, share);
        }
    }
}

/// Takes of the whole line at a tempo, for some minutes.
pub fn takes(learner: &mut Learner, minutes: f64, share: f64) {
    let bars = learner.record.bars;
    let count = (minutes / Learner::pass_minutes(bars, share)) as usize;
    for _ in 0..count {
        learner.play(bars, share);
    }
}

/// Follows the plan for a day; what it advised.
pub fn follow(learner: &mut Learner) -> Vec<Advice> {
    let plan = today(learner, MINUTES);
    for (at, item) in plan.items.iter().enumerate() {
        for advice in &plan.advice {
            if let Advice::Rest { before, minutes } = advice
                && *before == at
            {
                learner.rest(*minutes);
            }
        }
        if item.whole {
            takes(learner, item.minutes, item.share);
        } else {
            work(learner, item.bars, item.minutes, item.share, false);
        }
    }
    plan.advice
}

/// Bars around the joins, the one with the most faulty tries on its last two days first; the loop as the plan
/// would make it, and the tempo of its fastest clean try.
fn worst_first(learner: &Learner) -> Vec<((u32, u32), f64)> {
    let faulty = |at: usize| {
        let days = &learner.record.joins[at].days;
        let days = &days[days.len().saturating_sub(2)..];
        let tries: usize = days.iter().map(|day| day.tries).sum();
        let faulty: usize = days.iter().map(|day| day.faulty).sum();
        let share = days
            .iter()
            .filter_map(|day| day.clean_share)
            .reduce(f64::max);
        (faulty as f64 / tries.max(1) as f64, share.unwrap_or(0.65))
    };
    let mut order: Vec<usize> = (0..JOINS).collect();
    order.sort_by(|a, b| faulty(*b).0.total_cmp(&faulty(*a).0));
    (order.into_iter())
        .map(|at| {
            let join = &learner.record.joins[at];
            let bars = (join.bar, (join.to_bar + 1).min(JOINS as u32));
            (bars, faulty(at).1)
        })
        .collect()
}

/// Ways to spend the day.
#[derive(Clone, Copy, Debug)]
pub enum Way {
    /// The plan.
    Plan,
    /// One take of the whole line to see, then the worst spot all day.
    Worst,
    /// The same, but on to the next worst spot when the target is held three times in a row.
    Mastered,
    /// The whole line over and over.
    Whole,
}

pub fn spend(learner: &mut Learner, way: Way) {
    let once = Learner::pass_minutes(learner.record.bars, 1.0);
    match way {
        Way::Plan => {
            follow(learner);
        }
        Way::Whole => takes(learner, MINUTES, 1.0),
        Way::Worst => {
            takes(learner, once, 1.0);
            let (bars, share) = worst_first(learner)[0];
            work(learner, bars, MINUTES - once, share, false);
        }
        Way::Mastered => {
            takes(learner, once, 1.0);
            let mut left = MINUTES - once;
            for (bars, share) in worst_first(learner) {
                left -= work(learner, bars, left, share, true);
            }
        }
    }
}
