//! The rules of the plan one by one, on records made by hand.

use super::*;
use crate::music::expected::JoinKind;
use crate::progress::record::{JoinDay, LineDay, PractisedJoin};

const TODAY: Day = Day(20_000);

/// A line of eight bars with a join at each of these many first beats, never played.
pub(super) fn line(title: &str, joins: u32) -> LineRecord {
    LineRecord {
        title: title.to_owned(),
        file: None,
        bars: (1, 8),
        tempo_bpm: 100.0,
        takes: 1,
        passes: 0,
        days: Vec::new(),
        joins: (0..joins)
            .map(|at| PractisedJoin {
                index: at as usize,
                bar: 1 + at,
                beat: 1.0,
                to_bar: 1 + at,
                kind: Some(JoinKind::Crossing),
                days: Vec::new(),
            })
            .collect(),
    }
}

/// A day of a join, some days ago.
fn day(ago: i64, tries: usize, faulty: usize, clean_share: Option<f64>) -> JoinDay {
    JoinDay {
        day: Day(TODAY.0 - ago),
        tries,
        faulty,
        first_faulty: faulty > 0,
        gap_ms: None,
        clean_share,
    }
}

fn line_day(ago: i64, passes: usize, clean: usize) -> LineDay {
    LineDay {
        day: Day(TODAY.0 - ago),
        passes,
        clean,
        whole: 0,
        whole_clean: 0,
        clean_share: None,
        minutes: 10.0,
    }
}

fn made(lines: &[LineRecord], minutes: f64) -> Plan {
    match plan(lines, TODAY, minutes, &PlanMarks::default()) {
        Ok(plan) => plan,
        Err(error) => panic!("{error}"),
    }
}

fn joins(plan: &Plan, of: impl Fn(&Why) -> bool) -> Vec<usize> {
    (plan.items.iter())
        .filter(|item| of(&item.why))
        .filter_map(|item| item.join)
        .collect()
}

fn costs(plan: &Plan) -> Vec<usize> {
    joins(plan, |why| matches!(why, Why::Costs(_)))
}

#[test]
fn nothing_known_is_an_empty_plan() {
    assert_eq!(made(&[], 20.0), Plan::default());
    // A line that was opened and never played: it may be played whole.
    let plan = made(&[line("Paper Kites", 3)], 20.0);
    assert_eq!(plan.items.len(), 1);
    assert!(plan.items[0].whole && plan.items[0].bars == (1, 8));
}

/// The costliest first, in turns, and the one that was left alone longest in the last place.
#[test]
fn the_costliest_joins_take_turns() {
    let mut of = line("Paper Kites", 6);
    for (at, faulty) in [9, 8, 7, 6, 5, 4].into_iter().enumerate() {
        of.joins[at].days = vec![day(0, 10, faulty, Some(0.8))];
    }
    // All were worked on today but the last.
    of.joins[5].days = vec![day(3, 10, 4, Some(0.8))];
    let plan = made(&[of], 40.0);
    // Six minutes each, then the next ones.
    assert_eq!(costs(&plan), [0, 1, 2, 5, 0, 1, 2, 5, 3, 4, 3, 4]);
    let turns: Vec<&Item> = (plan.items.iter())
        .filter(|item| matches!(item.why, Why::Costs(_)))
        .take(8)
        .collect();
    assert!(
        turns
            .iter()
            .all(|item| item.minutes <= 3.0 && item.minutes > 2.9)
    );
    assert_eq!(turns[0].bars, (1, 2));
    // Many faulty: a step down from the fastest clean try.
    assert!((turns[0].share - 0.8 * 0.91).abs() < 1e-9);
}

#[test]
fn a_gap_and_a_slow_tempo_cost() {
    let mut of = line("Paper Kites", 3);
    of.joins[0].days = vec![day(1, 10, 3, Some(1.0))];
    of.joins[1].days = vec![JoinDay {
        gap_ms: Some(70.0),
        ..day(1, 10, 3, Some(1.0))
    }];
    of.joins[2].days = vec![day(1, 10, 0, Some(0.5))];
    assert_eq!(costs(&made(&[of], 60.0))[..3], [2, 1, 0]);
}

/// Weak from a tenth on, no sooner.
#[test]
fn a_join_that_is_clean_at_the_target_is_left_alone() {
    let mut of = line("Paper Kites", 2);
    of.joins[0].days = vec![day(1, 100, 9, Some(1.0))];
    of.joins[1].days = vec![day(1, 100, 11, Some(1.0))];
    assert_eq!(costs(&made(&[of], 20.0)), [1, 1]);
}

/// Due again 1, 2, 4 and 7 days after clean days at the target; a fault begins anew.
#[test]
fn clean_joins_come_back_after_more_and_more_days() {
    // Days ago on which the join was clean, and whether it is due.
    for (ago, due) in [
        (&[1][..], true),
        (&[2, 1], false),
        (&[3, 2], true),
        (&[4, 3, 1], false),
        (&[7, 6, 4], true),
        (&[6, 5, 3], false),
        (&[14, 13, 11, 7], true),
        (&[13, 12, 10, 6], false),
    ] {
        let mut of = line("Paper Kites", 1);
        of.joins[0].days = ago.iter().map(|ago| day(*ago, 4, 0, Some(1.0))).collect();
        let plan = made(&[of.clone()], 20.0);
        let told = joins(&plan, |why| matches!(why, Why::Due { .. }));
        assert_eq!(!told.is_empty(), due, "{ago:?}: {:?}", plan.items);
        // With a fault on the last day it is no review, and at once due.
        if let Some(last) = of.joins[0].days.last_mut() {
            last.faulty = 1;
        }
        let plan = made(&[of], 20.0);
        assert_eq!(joins(&plan, |why| matches!(why, Why::Due { .. })), [0; 0]);
        assert_eq!(joins(&plan, |why| matches!(why, Why::Cold(_))), [0]);
    }
}

#[test]
fn yesterdays_joins_are_tested_first_and_todays_are_not() {
    let mut of = line("Paper Kites", 3);
    of.joins[0].days = vec![day(1, 10, 5, Some(0.9))];
    of.joins[1].days = vec![day(0, 10, 9, Some(0.9))];
    of.joins[2].days = vec![day(9, 10, 9, Some(0.9))];
    let plan = made(&[of], 20.0);
    assert!(matches!(plan.items[0].why, Why::Cold(_)));
    assert!((plan.items[0].share - 0.9).abs() < 1e-9);
    assert_eq!(joins(&plan, |why| matches!(why, Why::Cold(_))), [0]);
    assert!(
        plan.items
            .last()
            .is_some_and(|item| item.whole && item.share == 1.0)
    );
}

#[test]
fn a_shift_brings_its_neighbours() {
    let mut of = line("Paper Kites", 5);
    of.joins[2].kind = Some(JoinKind::Shift);
    of.joins[2].days = vec![day(0, 10, 9, Some(0.9))];
    let plan = made(&[of.clone()], 20.0);
    let turns: Vec<(u32, u32)> = (plan.items.iter())
        .filter(|item| !item.whole)
        .map(|item| item.bars)
        .collect();
    assert_eq!(turns, [(3, 4), (2, 5)]);
    assert!(matches!(plan.items[1].why, Why::Beside { bar: 3, .. }));
    // Joins that are not its neighbours in the line are not taken for them.
    of.joins[1].index = 0;
    of.joins[3].index = 9;
    let plan = made(&[of], 20.0);
    assert!(
        plan.items
            .iter()
            .all(|item| !matches!(item.why, Why::Beside { .. }))
    );
}

#[test]
fn the_loop_stays_within_the_line() {
    let mut of = line("Paper Kites", 9);
    of.joins[8].bar = 8;
    of.joins[8].to_bar = 8;
    of.joins[7].bar = 8;
    // Back to the first bar of a repeat.
    of.joins[7].to_bar = 3;
    of.joins[0].to_bar = u32::MAX;
    assert_eq!(turns::around(&of, 8), (8, 8));
    assert_eq!(turns::around(&of, 7), (8, 8));
    assert_eq!(turns::around(&of, 3), (4, 5));
    assert_eq!(turns::around(&of, 0), (1, 8));
    assert_eq!(turns::around(&of, 99), (1, 8));
}

/// From three times its length on, after a third of the playing.
#[test]
fn a_rest_comes_early() {
    let mut of = line("Paper Kites", 6);
    for join in &mut of.joins {
        join.days = vec![day(0, 10, 9, Some(0.9))];
    }
    let rest = |minutes: f64| {
        let plan = made(&[of.clone()], minutes);
        (plan.advice.iter()).find_map(|advice| match advice {
            Advice::Rest { before, .. } => Some(
                plan.items[..*before]
                    .iter()
                    .map(|item| item.minutes)
                    .sum::<f64>(),
            ),
            _ => None,
        })
    };
    assert_eq!(rest(14.9), None);
    for minutes in [15.0, 20.0, 40.0, 60.0] {
        let Some(before) = rest(minutes) else {
            panic!("no rest in {minutes} minutes");
        };
        let third = (minutes - 5.0) / 3.0;
        assert!(
            (third - 1e-6..third + 3.0).contains(&before),
            "{minutes}: {before}"
        );
    }
}

#[test]
fn standing_still_and_getting_worse_are_told() {
    let advice = |days: Vec<JoinDay>, passes: Vec<LineDay>| {
        let mut of = line("Paper Kites", 1);
        of.joins[0].days = days;
        of.days = passes;
        let mut advice = made(&[of], 10.0).advice;
        advice.retain(|advice| !matches!(advice, Advice::Rest { .. }));
        advice
    };
    let run = |faulty: [usize; 4], share: [f64; 4]| {
        let days = (0..4).map(|at| day(4 - at as i64, 10, faulty[at], Some(share[at])));
        !advice(days.collect(), Vec::new()).is_empty()
    };
    assert!(run([4, 4, 4, 4], [0.7; 4]));
    assert!(run([5, 5, 5, 5], [0.7, 0.7, 0.7, 0.71]));
    // Faster, fewer, or few at all: it gets better, or is not bad.
    assert!(!run([4, 4, 4, 4], [0.7, 0.7, 0.7, 0.73]));
    assert!(!run([4, 4, 4, 3], [0.7; 4]));
    assert!(run([4, 4, 4, 4], [0.7, 0.72, 0.7, 0.7]));
    assert!(!run([2, 2, 2, 2], [0.7; 4]));
    // Three days are too few.
    let three = (1..4).rev().map(|ago| day(ago, 10, 5, Some(0.7))).collect();
    assert_eq!(advice(three, Vec::new()), []);

    let days = |clean: [usize; 3]| {
        let days = (0..3).map(|at| line_day(3 - at as i64, 20, clean[at]));
        advice(Vec::new(), days.collect())
    };
    assert!(matches!(
        days([14, 10, 7])[..],
        [Advice::Worse { line: 0, .. }]
    ));
    assert_eq!(days([14, 10, 10]), []);
    assert_eq!(days([14, 13, 12]), []);
    assert_eq!(days([7, 10, 14]), []);
    // Nine of twenty against fifteen: not by chance.
    assert_eq!(days([11, 8, 6]), []);

    // The first tries of the day were clean, later ones were not.
    let later = |first_faulty, faulty| {
        let mut of = line("Paper Kites", 8);
        for join in &mut of.joins {
            join.days = vec![JoinDay {
                first_faulty,
                ..day(0, 9, faulty, Some(0.9))
            }];
        }
        let advice = made(&[of], 10.0).advice;
        (advice.iter()).any(|advice| matches!(advice, Advice::Tired { .. }))
    };
    assert!(later(false, 4));
    assert!(!later(false, 1));
    assert!(!later(true, 5));
}
