//! The ladder and the plan with simulated players: does the ladder settle, does the plan leave nothing
//! out, and does it help beside drilling the worst spot?

mod practice_support;

use practice_support::records::{any_line, day_of, line_day, line_of};
use practice_support::ways::{Way, follow, spend, takes};
use practice_support::{Chance, Learner};
use proptest::prelude::*;
use seamline::progress::ladder::{Ladder, LadderMarks, Outcome, Step, Tried, start_share};
use seamline::progress::plan::{Advice, Item, PlanMarks, Why, advise, plan, reason};
use seamline::progress::record::{Day, JoinDay};

/// Passes in which a player whose playing stays as it is, a logistic curve over the tempo, is led.
const LED: usize = 300;

/// One player led by the ladder: turns from up to down and back in each third, and the tempo of the last third
/// beside the player's limit.
fn led(seed: u64) -> ([usize; 3], f64) {
    let mut chance = Chance(seed);
    let limit = 0.5 + 0.4 * chance.unit();
    let width = 0.03 + 0.07 * chance.unit();
    let mut ladder = Ladder::new(LadderMarks::default(), 0.65).unwrap();
    let (mut turns, mut upward, mut sum) = ([0; 3], None, 0.0);
    for at in 0..LED {
        let third = at / (LED / 3);
        let share = ladder.next().share;
        if third == 2 {
            sum += share / limit;
        }
        let likely = 1.0 / (1.0 + ((share / limit).ln() / width).exp());
        let outcome = match chance.unit() < likely {
            true => Outcome::Clean,
            false => Outcome::Faulty,
        };
        let now = match ladder.pass(outcome, share) {
            Step::Up { .. } => true,
            Step::Down { .. } => false,
            _ => continue,
        };
        turns[third] += usize::from(upward == Some(!now));
        upward = Some(now);
    }
    (turns, sum / (LED / 3) as f64)
}

fn median(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of[of.len() / 2]
}

/// Against 200 steady players with chance in what they play: each third of the passes turns less often, nobody
/// turns more often than a wall would make them, and the tempo settles a little below the limit.
#[test]
fn the_ladder_settles_with_steady_players() {
    let led: Vec<_> = (0..200).map(|seed| led(0x5eed + seed)).collect();
    let sum = |third: usize| led.iter().map(|(turns, _)| turns[third]).sum::<usize>();
    let thirds = [0, 1, 2].map(sum);
    let most = led
        .iter()
        .map(|(turns, _)| turns.iter().sum::<usize>())
        .max();
    let tempo = median(led.iter().map(|(_, tempo)| *tempo).collect());
    println!(
        "seeds from 0x5eed, 200 players, {LED} passes: turns in each third {thirds:?}, at most {most:?} of one \
         player; tempo of the last third {tempo:.2} of the limit"
    );
    assert!(thirds[1] < thirds[0] && thirds[2] < thirds[1], "{thirds:?}");
    assert!(
        most <= Some(2 * (2.0 * LED as f64 / 3.0).sqrt() as usize),
        "{most:?}"
    );
    assert!((0.8..1.0).contains(&tempo), "{tempo}");
}

/// With a record of 40 passes around the limit, the start comes out clean in 80 to 90 % in the middle.
#[test]
fn the_start_is_where_most_passes_are_clean() {
    let clean = (0..200).map(|seed| {
        let mut chance = Chance(0x57a7 + seed);
        let limit = 0.6 + 0.3 * chance.unit();
        let curve = |share: f64| 1.0 / (1.0 + ((share / limit).ln() / 0.06).exp());
        let record: Vec<Tried> = (0..40)
            .map(|_| {
                let share = limit * (0.8 + 0.3 * chance.unit());
                let clean = chance.unit() < curve(share);
                Tried { share, clean }
            })
            .collect();
        curve(start_share(&record, &LadderMarks::default()))
    });
    let clean = median(clean.collect());
    println!("seeds from 0x57a7, 200 players: {clean:.3} clean at the start, in the middle");
    assert!((0.8..=0.9).contains(&clean), "{clean}");
}

/// Days, passes and bars until the whole line is clean at the target with 90 % the next day;
/// `None` where that never came.
fn until_it_holds(seed: u64, way: Way) -> Option<(usize, usize, usize)> {
    let mut learner = Learner::new(seed, true);
    // The first day everybody plays the line through slowly.
    takes(&mut learner, 5.0, 0.65);
    learner.sleep();
    for day in 1..=MOST_DAYS {
        spend(&mut learner, way);
        learner.sleep();
        if learner.whole_clean() >= 0.9 {
            return Some((day, learner.passes, learner.bars));
        }
    }
    None
}

/// Days after which a learner is given up.
const MOST_DAYS: usize = 40;

/// The plan against drilling, 100 learners each: passes until the whole line holds the next day. Two more ways
/// are printed beside them and not asked for anything.
#[test]
fn the_plan_reaches_the_target_in_fewer_passes_than_drilling_the_worst_spot() {
    let middle = |way: Way| {
        let of: Vec<_> = (0..100)
            .map(|seed| until_it_holds(0xba55 + seed, way))
            .collect();
        let reached = of.iter().flatten().count();
        // Those who never came there count as the slowest.
        let median = |pick: fn(&(usize, usize, usize)) -> usize| {
            let mut of: Vec<usize> = of
                .iter()
                .map(|of| of.as_ref().map_or(usize::MAX, pick))
                .collect();
            of.sort_unstable();
            Some(of[of.len() / 2]).filter(|of| *of != usize::MAX)
        };
        let (days, passes, bars) = (median(|of| of.0), median(|of| of.1), median(|of| of.2));
        println!(
            "seeds from 0xba55, {way:?}: {reached} of 100 reach it in {MOST_DAYS} days; in the middle {days:?} \
             days, {passes:?} passes, {bars:?} bars"
        );
        (reached, passes.unwrap_or(usize::MAX))
    };
    let planned = middle(Way::Plan);
    let worst = middle(Way::Worst);
    middle(Way::Mastered);
    middle(Way::Whole);
    assert!(planned.0 >= worst.0, "{planned:?} {worst:?}");
    assert!(planned.1 < worst.1, "{planned:?} {worst:?}");
}

/// Whether a plan for this learner says on some of the days that it stands still or gets worse.
fn warned(seed: u64, learns: bool, days: usize) -> usize {
    let mut learner = Learner::new(seed, learns);
    takes(&mut learner, 5.0, 0.65);
    learner.sleep();
    let mut warned = 0;
    for _ in 0..days {
        let advice = follow(&mut learner);
        learner.sleep();
        warned += usize::from(
            (advice.iter())
                .any(|advice| matches!(advice, Advice::Still { .. } | Advice::Worse { .. })),
        );
    }
    warned
}

/// Days that learners are looked at.
const LOOKED_AT: usize = 10;

/// Learners who do not learn are told so, learners who do are seldom told they stand still.
#[test]
fn who_stands_still_is_sent_to_rest() {
    let days = |learns: bool| -> Vec<usize> {
        (0..100)
            .map(|seed| warned(0x57111 + seed, learns, LOOKED_AT))
            .collect()
    };
    let (still, better) = (days(false), days(true));
    let told = |of: &[usize]| of.iter().filter(|days| **days > 0).count();
    println!(
        "seeds from 0x57111, {LOOKED_AT} days: of 100 who learn nothing {} are told, on {} days in all; of 100 \
         who learn {}, on {} days",
        told(&still),
        still.iter().sum::<usize>(),
        told(&better),
        better.iter().sum::<usize>()
    );
    assert!(told(&still) >= 95, "{still:?}");
    assert!(
        better.iter().sum::<usize>() * 20 <= 100 * LOOKED_AT,
        "{better:?}"
    );
}

proptest! {
    /// Whatever the record holds: no panic, never longer than asked, every item within its line and on the
    /// ladder, every reason and advice a sentence.
    #[test]
    fn a_plan_is_never_longer_than_asked(
        lines in prop::collection::vec(any_line(), 0..4),
        minutes in 1.0..240.0_f64,
        items in 1..8_usize,
        turn in 0.5..30.0_f64,
    ) {
        let marks = PlanMarks { items, turn_minutes: turn, ..PlanMarks::default() };
        let plan = plan(&lines, Day(20_000), minutes, &marks).unwrap();
        prop_assert!(plan.minutes() <= minutes + 1e-9, "{} of {}", plan.minutes(), minutes);
        for item in &plan.items {
            let bars = lines[item.line].bars;
            prop_assert!(item.bars.0 <= item.bars.1 && item.minutes > 0.0);
            prop_assert!(item.bars.0 >= bars.0.min(bars.1) && item.bars.1 <= bars.0.max(bars.1));
            prop_assert!((0.3..=1.0).contains(&item.share));
            prop_assert!(item.whole == item.join.is_none());
            prop_assert!(item.join.is_none_or(|at| at < lines[item.line].joins.len()));
            prop_assert!(!reason(&item.why).is_empty());
        }
        for advice in &plan.advice {
            prop_assert!(!advise(advice, &lines).is_empty());
        }
    }

    /// Joins that never get better: each weak one is in some loop within as many days as there are weak ones, twice
    /// as many where the time is too short for two items.
    #[test]
    fn no_weak_join_waits_for_ever(
        faulty in prop::collection::vec(0..=10_usize, 1..20),
        minutes in 4.0..60.0_f64,
    ) {
        let start = Day(20_000);
        let mut lines = [line_of(&faulty, start)];
        // Faulty in one of ten at 80 %, or clean at 80 %: weak both ways.
        let weak = faulty.len();
        let mut seen = vec![false; weak];
        for ahead in 1..=2 * weak as i64 {
            let today = Day(start.0 + ahead);
            let plan = plan(&lines, today, minutes, &PlanMarks::default()).unwrap();
            let turns = |item: &&Item| matches!(item.why, Why::Costs(_) | Why::Still { .. });
            let most = plan.items.iter().filter(turns).filter_map(|item| item.join)
                .collect::<std::collections::HashSet<_>>().len();
            lines[0].days.push(line_day(today));
            for (at, join) in lines[0].joins.iter_mut().enumerate() {
                let bar = join.bar;
                let looped = plan.items.iter().filter(turns)
                    .any(|item| item.bars.0 == bar || item.join == Some(at));
                seen[at] |= looped;
                // Whole passes reach every join; a loop reaches its own often.
                let tries = if looped { 10 } else { 3 };
                join.days.push(day_of(today, tries, (faulty[at] * tries).div_ceil(10)));
            }
            if ahead == weak as i64 && most > 1 {
                prop_assert!(seen.iter().all(|seen| *seen), "{:?} in {} minutes", seen, minutes);
            }
        }
        prop_assert!(seen.iter().all(|seen| *seen), "{:?} in {} minutes", seen, minutes);
    }

    /// A join whose tries stay as faulty and no faster is told to stand still, and starts slower; one that gets faster
    /// day by day, or less faulty, is not.
    #[test]
    fn standing_still_is_told_and_getting_better_is_not(
        tries in 4..30_usize,
        share in 0.4..0.8_f64,
        days in 4..12_i64,
        faster in 0.02..0.05_f64,
    ) {
        let run = |of: &dyn Fn(i64) -> (usize, f64)| {
            let mut lines = [line_of(&[0], Day(0))];
            lines[0].joins[0].days = (0..days)
                .map(|at| {
                    let (faulty, share) = of(at);
                    JoinDay { clean_share: Some(share), ..day_of(Day(20_000 + at), tries, faulty) }
                })
                .collect();
            let plan = plan(&lines, Day(20_000 + days), 20.0, &PlanMarks::default()).unwrap();
            let still = plan.advice.iter().any(|advice| matches!(advice, Advice::Still { .. }));
            let start = plan.items.iter()
                .find(|item| matches!(item.why, Why::Costs(_) | Why::Still { .. }))
                .map(|item| item.share);
            (still, start)
        };
        let half = tries.div_ceil(2);
        let (still, slower) = run(&|_| (half, share));
        prop_assert!(still);
        prop_assert!(slower.is_some_and(|slower| slower < share * 0.84));
        let (still, start) = run(&|at| (half, share + faster * at as f64));
        prop_assert!(!still);
        prop_assert!(start > slower);
        let fewer = |at: i64| (half * (days - 1 - at) as usize / days as usize, share);
        prop_assert!(!run(&fewer).0);
    }
}
