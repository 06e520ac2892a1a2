//! The rule of the ladder step by step, and what holds for every player.

use super::*;
use proptest::prelude::*;

fn ladder(start: f64) -> Ladder {
    made(LadderMarks::default(), start)
}

fn made(marks: LadderMarks, start: f64) -> Ladder {
    match Ladder::new(marks, start) {
        Ok(ladder) => ladder,
        Err(error) => panic!("{error}"),
    }
}

/// Plays a pass at the tempo that was asked for.
fn play(ladder: &mut Ladder, outcome: Outcome) -> Step {
    let share = ladder.next().share;
    ladder.pass(outcome, share)
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-9
}

#[test]
fn three_clean_passes_lead_up_and_two_faulty_ones_down() {
    let mut ladder = ladder(0.8);
    for (outcome, expected) in [
        (Outcome::Clean, (1, 3)),
        (Outcome::Broken, (0, 0)),
        (Outcome::Clean, (2, 3)),
    ] {
        match play(&mut ladder, outcome) {
            Step::Stay {
                clean_in_a_row,
                needed,
            } => assert_eq!((clean_in_a_row, needed), expected),
            Step::Broken => assert_eq!(expected, (0, 0)),
            other => panic!("{other:?}"),
        }
    }
    let up = play(&mut ladder, Outcome::Clean);
    assert!(
        matches!(up, Step::Up { from, to, clean_in_a_row: 3 } if close(from, 0.8) && close(to, 0.84)),
        "{up:?}"
    );
    assert_eq!(
        play(&mut ladder, Outcome::Faulty),
        Step::Again {
            faulty_in_a_row: 1,
            down_after: 2
        }
    );
    let down = play(&mut ladder, Outcome::Faulty);
    assert!(
        matches!(down, Step::Down { to, faulty_in_a_row: 2, times: 1, .. } if close(to, 0.84 * 0.91)),
        "{down:?}"
    );
    let counts = ladder.counts();
    assert_eq!(
        (counts.passes, counts.clean, counts.faulty, counts.broken),
        (6, 3, 2, 1)
    );
}

#[test]
fn a_slip_between_clean_passes_begins_the_row_anew() {
    let mut ladder = ladder(0.8);
    for outcome in [Outcome::Clean, Outcome::Clean, Outcome::Faulty] {
        play(&mut ladder, outcome);
    }
    for _ in 0..2 {
        assert!(matches!(
            play(&mut ladder, Outcome::Clean),
            Step::Stay { .. }
        ));
    }
    // The two faulty passes are not in a row.
    assert!(matches!(
        play(&mut ladder, Outcome::Faulty),
        Step::Again {
            faulty_in_a_row: 1,
            ..
        }
    ));
}

#[test]
fn the_target_and_the_slowest_tempo_are_the_ends() {
    let mut fast = ladder(5.0);
    assert!(close(fast.next().share, 1.0));
    for _ in 0..2 {
        assert!(matches!(play(&mut fast, Outcome::Clean), Step::Stay { .. }));
    }
    for row in 3..6 {
        assert_eq!(
            play(&mut fast, Outcome::Clean),
            Step::Reached {
                clean_in_a_row: row
            }
        );
    }
    let mut slow = ladder(0.01);
    play(&mut slow, Outcome::Faulty);
    assert_eq!(
        play(&mut slow, Outcome::Faulty),
        Step::Lowest { faulty_in_a_row: 2 }
    );
    assert!(close(slow.next().share, 0.3));
}

/// The same tempo is tried again only after three more clean passes for each time it was left, and the
/// way up does not skip it.
#[test]
fn a_tempo_that_was_left_asks_for_more() {
    let mut ladder = ladder(0.8);
    let mut asked = Vec::new();
    for times in 1..=3 {
        play(&mut ladder, Outcome::Faulty);
        let down = play(&mut ladder, Outcome::Faulty);
        assert!(
            matches!(down, Step::Down { from, times: told, .. } if close(from, 0.8) && told == times),
            "{down:?}"
        );
        let mut clean = 0;
        while ladder.next().share < 0.79 {
            asked.push(ladder.needed());
            clean += ladder.needed();
            for _ in 0..ladder.needed() {
                play(&mut ladder, Outcome::Clean);
            }
        }
        assert!(close(ladder.next().share, 0.8), "{:?}", ladder.next());
        assert_eq!(clean, 3 + 3 * (times + 1));
    }
    assert_eq!(asked, [3, 6, 3, 9, 3, 12]);
    // Held for the usual three, it is forgotten.
    for _ in 0..3 {
        play(&mut ladder, Outcome::Clean);
    }
    assert!(ladder.left.is_empty());
}

#[test]
fn passes_at_another_tempo_count_where_they_tell_something() {
    let mut ladder = ladder(0.8);
    assert_eq!(
        ladder.pass(Outcome::Clean, 0.7),
        Step::Aside { clean: true }
    );
    assert_eq!(
        ladder.pass(Outcome::Faulty, 0.9),
        Step::Aside { clean: false }
    );
    assert!(matches!(
        ladder.pass(Outcome::Clean, 0.9),
        Step::Stay {
            clean_in_a_row: 1,
            ..
        }
    ));
    assert!(matches!(
        ladder.pass(Outcome::Faulty, 0.7),
        Step::Again {
            faulty_in_a_row: 1,
            ..
        }
    ));
    assert!(matches!(
        ladder.pass(Outcome::Clean, f64::NAN),
        Step::Stay {
            clean_in_a_row: 1,
            ..
        }
    ));
}

#[test]
fn the_player_may_set_the_tempo() {
    let mut ladder = ladder(0.8);
    for _ in 0..2 {
        play(&mut ladder, Outcome::Faulty);
    }
    ladder.set(f64::NAN);
    assert!(close(ladder.next().share, 0.8 * 0.91));
    ladder.set(0.8);
    assert!(close(ladder.next().share, 0.8));
    assert!(ladder.left.is_empty());
    ladder.set(9.0);
    assert!(close(ladder.next().share, 1.0));
}

#[test]
fn probes_count_apart() {
    let marks = LadderMarks {
        probe_every: Some(4),
        ..LadderMarks::default()
    };
    let mut ladder = made(marks, 0.64);
    let mut probe = |before: &[Outcome], outcome| {
        for &outcome in before {
            assert!(!ladder.next().probe);
            play(&mut ladder, outcome);
        }
        let next = ladder.next();
        assert!(next.probe && close(next.share, 1.0), "{next:?}");
        let step = play(&mut ladder, outcome);
        (step, ladder.next().share)
    };
    use Outcome::{Broken, Clean, Faulty};
    let stays = |clean| Step::Probe { clean, to: None };
    // A broken pass is no turn; one faulty pass before the probe and one after lead down together.
    assert_eq!(
        probe(&[Clean, Broken, Clean, Faulty], Faulty),
        (stays(false), 0.64)
    );
    assert_eq!(probe(&[Clean, Faulty, Clean], Clean), (stays(true), 0.64));
    // The second clean one in a row leads half of the way up: the square root of 0.64 * 1.
    let (step, share) = probe(&[Clean, Faulty, Clean], Clean);
    assert!(
        matches!(step, Step::Probe { clean: true, to: Some(to) } if close(to, 0.8)),
        "{step:?}"
    );
    assert!(close(share, 0.8));
    assert_eq!(ladder.counts().probes, 3);
    assert_eq!(ladder.counts().clean_probes, 2);

    // Not past a tempo that the ladder went back from.
    for _ in 0..2 {
        play(&mut ladder, Faulty);
    }
    let low = ladder.next().share;
    assert!(close(low, 0.8 * 0.91));
    for _ in 0..2 {
        while !ladder.next().probe {
            play(&mut ladder, Faulty);
            if !ladder.next().probe {
                play(&mut ladder, Clean);
            }
        }
        assert!(matches!(
            play(&mut ladder, Clean),
            Step::Probe { to: None, .. }
        ));
    }
}

fn any_marks() -> impl Strategy<Value = LadderMarks> {
    (
        (0.01..0.5_f64, 1..6_u32, 0.01..0.5_f64, 1..5_u32),
        (prop::option::of(2..9_u32), 0.5..1.5_f64, 0.05..0.5_f64),
    )
        .prop_map(
            |((up_share, up_after, down_share, down_after), (probe_every, target, floor))| {
                LadderMarks {
                    up_share,
                    up_after,
                    down_share,
                    down_after,
                    probe_every,
                    target_share: target,
                    floor_share: floor,
                    clean_share: 0.95,
                }
            },
        )
}

proptest! {
    /// Whatever is played: no panic, every tempo lies on the ladder, every pass is counted, and every step
    /// tells where the ladder stands.
    #[test]
    fn any_row_of_passes_stays_on_the_ladder(
        marks in any_marks(),
        start in 0.01..3.0_f64,
        passes in prop::collection::vec((0..3_u8, prop::option::of(-1.0..3.0_f64)), 0..200),
    ) {
        let mut ladder = made(marks, start);
        for (at, (outcome, share)) in passes.iter().enumerate() {
            let outcome = [Outcome::Clean, Outcome::Faulty, Outcome::Broken][usize::from(*outcome)];
            let before = ladder.share;
            let share = share.unwrap_or(ladder.next().share);
            let step = ladder.pass(outcome, share);
            prop_assert!(ladder.share >= marks.floor_share && ladder.share <= marks.target_share);
            match step {
                Step::Up { from, to, .. } => {
                    prop_assert!(from == before && to == ladder.share && to > from);
                }
                Step::Down { from, to, .. } => {
                    prop_assert!(from == before && to == ladder.share && to < from);
                }
                Step::Probe { to: Some(to), .. } => prop_assert!(to == ladder.share && to > before),
                _ => prop_assert_eq!(before, ladder.share),
            }
            let counts = ladder.counts();
            prop_assert_eq!(counts.passes as usize, at + 1);
            prop_assert_eq!(counts.passes, counts.clean + counts.faulty + counts.broken);
        }
    }

    /// A player who is clean up to a wall and faulty above, with any marks: the ladder comes to the tempos
    /// below the wall, each time it goes back from a tempo took more clean passes than the time before, and
    /// so the turns from up to down grow no faster than the square root of the passes.
    #[test]
    fn a_wall_is_run_against_more_and_more_seldom(
        marks in any_marks(),
        start in 0.3..1.0_f64,
        wall in 0.3..1.4_f64,
    ) {
        let marks = LadderMarks { probe_every: None, floor_share: 0.2, ..marks };
        let passes = 400;
        let mut ladder = made(marks, start);
        let mut clean_since: u32 = 0;
        let mut falls: Vec<(f64, u32, u32)> = Vec::new();
        let (mut turns, mut upward) = (0, None);
        for _ in 0..passes {
            let clean = ladder.next().share <= wall;
            clean_since += u32::from(clean);
            let outcome = if clean { Outcome::Clean } else { Outcome::Faulty };
            match play(&mut ladder, outcome) {
                Step::Down { from, times, .. } => {
                    turns += usize::from(upward == Some(true));
                    upward = Some(false);
                    falls.push((from, times, clean_since));
                    clean_since = 0;
                }
                Step::Up { .. } => {
                    turns += usize::from(upward == Some(false));
                    upward = Some(true);
                }
                _ => (),
            }
        }
        let mut left: Vec<f64> = falls.iter().map(|fall| fall.0).collect();
        left.sort_by(f64::total_cmp);
        left.dedup_by(|a, b| *a / *b - 1.0 <= SAME);
        for (share, times, clean) in &falls {
            prop_assert!(
                *times == 1 || *clean >= times * marks.up_after,
                "{}: {} times, after {} clean", share, times, clean
            );
        }
        // Tempo by tempo, k falls took at least up_after * (2 + ... + k) clean passes.
        let most = falls.iter().map(|fall| fall.1).max().unwrap_or(0);
        let bound = (2.0 * f64::from(passes) / f64::from(marks.up_after)).sqrt() + 1.0;
        prop_assert!(f64::from(most) <= bound, "{} times, at most {}", most, bound);
        prop_assert!(turns <= 2 * left.len() * most as usize, "{} turns", turns);
        // It ends below the wall, or within a step above it, where it is found to be too fast.
        if wall >= marks.floor_share {
            prop_assert!(ladder.share <= (wall * (1.0 + marks.up_share) * (1.0 + SAME)).max(start));
        }
    }
}
