//! Records of practice, made by hand and at random.

use proptest::prelude::*;
use seamline::progress::record::{Day, JoinDay, LineDay, LineRecord};

use super::Learner;

/// A line of joins with these faulty tries of ten on one day, one join to a bar.
pub fn line_of(faulty: &[usize], day: Day) -> LineRecord {
    let mut line = Learner::new(1, false).record;
    line.bars = (1, faulty.len() as u32);
    let join = line.joins[1].clone();
    line.joins = (faulty.iter().enumerate())
        .map(|(at, &faulty)| {
            let mut join = join.clone();
            (join.index, join.bar, join.to_bar) = (at, 1 + at as u32, 1 + at as u32);
            join.days = vec![day_of(day, 10, faulty)];
            join
        })
        .collect();
    line.days = vec![line_day(day)];
    line
}

pub fn day_of(day: Day, tries: usize, faulty: usize) -> JoinDay {
    JoinDay {
        day,
        tries,
        faulty,
        first_faulty: faulty > 0,
        gap_ms: None,
        clean_share: (faulty < tries).then_some(0.8),
    }
}

pub fn line_day(day: Day) -> LineDay {
    LineDay {
        day,
        passes: 12,
        clean: 4,
        whole: 3,
        whole_clean: 1,
        clean_share: Some(0.8),
        minutes: 10.0,
    }
}

fn any_day() -> impl Strategy<Value = JoinDay> {
    (
        (
            prop_oneof![19_980..20_010_i64, Just(i64::MIN), Just(i64::MAX)],
            0..50_usize,
            0..60_usize,
        ),
        (
            any::<bool>(),
            prop::option::of(any::<f64>()),
            prop::option::of(any::<f64>()),
        ),
    )
        .prop_map(
            |((day, tries, faulty), (first_faulty, gap_ms, clean_share))| JoinDay {
                day: Day(day),
                tries,
                faulty,
                first_faulty,
                gap_ms,
                clean_share,
            },
        )
}

pub fn any_line() -> impl Strategy<Value = LineRecord> {
    let join = (
        any::<u32>(),
        any::<u32>(),
        any::<usize>(),
        0..3_u8,
        prop::collection::vec(any_day(), 0..8),
    );
    (
        (0..40_u32, 0..40_u32),
        prop::collection::vec(join, 0..12),
        prop::collection::vec((19_980..20_010_i64, 0..40_usize, 0..60_usize), 0..8),
    )
        .prop_map(|(bars, joins, days)| {
            let mut line = Learner::new(1, false).record;
            line.bars = bars;
            let model = line.joins[0].clone();
            line.joins = joins
                .into_iter()
                .map(|(bar, to_bar, index, kind, days)| {
                    let mut join = model.clone();
                    // Most lie within a line, some anywhere.
                    (join.bar, join.to_bar) = if kind == 0 {
                        (bar, to_bar)
                    } else {
                        (bar % 40, to_bar % 40)
                    };
                    join.index = if kind == 0 { index } else { index % 20 };
                    join.days = days;
                    join
                })
                .collect();
            line.days = days
                .into_iter()
                .map(|(day, passes, clean)| LineDay {
                    passes,
                    clean,
                    ..line_day(Day(day))
                })
                .collect();
            line
        })
}
