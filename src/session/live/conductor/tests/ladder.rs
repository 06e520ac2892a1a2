//! The tempo ladder in whole sessions: up, down, at the target, broken off, in time and counted in.

use super::*;
use crate::progress::ladder::{LadderMarks, Outcome, Step};
use crate::session::live::snapshot::{Ahead, Rest};

/// How a pass is played.
#[derive(Clone, Copy, PartialEq)]
enum Played {
    Clean,
    /// Its fourth note is another one.
    Wrong,
    /// It ends after five of eight notes.
    Broken,
    /// Nothing is played.
    Silent,
}

use Played::{Broken, Clean, Silent, Wrong};

/// A session over bar 1 of [`ALIKE`] with a ladder from 80 % on, and the eight notes of that bar.
fn climbing(marks: LadderMarks, straight_on: bool) -> (Run, Vec<ExpectedNote>) {
    let line = line(ALIKE);
    let mut notes = line.expected(line.instrument());
    notes.retain(|note| note.bar == 1);
    let mut settings = settings(&line, Beats::All);
    settings.bars = Some((1, 1));
    settings.tempo_share = 0.8;
    settings.loops.ladder = Some(marks);
    settings.loops.straight_on = straight_on;
    (Run::new(settings), notes)
}

impl Run {
    /// The tempo of the pass that was ordered last.
    fn ordered_share(&self) -> f64 {
        let ahead = self.conductor.ahead.as_ref();
        let chosen = ahead.and_then(|ahead| ahead.chosen.as_ref());
        chosen.unwrap_or(&self.conductor.chosen).share
    }

    /// Plays passes, each at the tempo of its click; gives those tempi.
    fn climb(&mut self, notes: &[ExpectedNote], passes: &[Played]) -> Vec<f64> {
        let mut shares = Vec::new();
        // What was asked for before is ordered by now.
        self.until(self.at_s + 0.05);
        let first = self.bars1_s.len().saturating_sub(1);
        for (at, played) in passes.iter().enumerate() {
            let bar1_s = self.bar1_s(first + at);
            let share = self.ordered_share();
            shares.push(share);
            let count = match played {
                Clean | Wrong => notes.len(),
                Broken => 5,
                Silent => 0,
            };
            if count > 0 {
                self.play(&notes[..count], bar1_s, share);
            }
            if *played == Wrong {
                let at = self.notes.len() - notes.len() + 3;
                self.notes[at].pitch.as_mut().expect("a pitch").midi += 2.0;
            }
            // Up to just before what follows is ordered.
            self.until(bar1_s + 4.0 * 0.6 / share - 0.65);
        }
        shares
    }

    /// Lets the session end as soon as its last pass is told.
    fn told(&mut self, passes: usize) {
        while self.passes().len() < passes {
            self.until(self.at_s + 0.05);
        }
    }

    fn outcomes(&self) -> Vec<Outcome> {
        let passes = self.passes().into_iter();
        passes
            .map(|pass| pass.ladder.as_ref().expect("a ladder").outcome)
            .collect()
    }
}

fn are(shares: &[f64], wanted: &[f64]) {
    assert_eq!(shares.len(), wanted.len());
    for (share, wanted) in shares.iter().zip(wanted) {
        assert!((share - wanted).abs() < 1e-9, "{shares:?} for {wanted:?}");
    }
}

/// Closed form: 80 % times 1.05 is 84 %, times 1.05 again 88.2 %. Where the tempo may change the click
/// waits for the judgement, and counts a bar in at the new tempo; else the loop goes on in time.
#[test]
fn clean_passes_lead_up() {
    let (mut run, notes) = climbing(LadderMarks::default(), false);
    let shares = run.climb(&notes, &[Clean; 7]);
    are(&shares, &[0.8, 0.8, 0.8, 0.84, 0.84, 0.84, 0.882]);
    run.told(7);
    run.was_flawless(7, notes.len());
    let bar_s = |share: f64| 4.0 * 0.6 / share;
    for (pass, pair) in run.bars1_s[..7].windows(2).enumerate() {
        let in_time_s = bar_s(shares[pass]) + bar_s(shares[pass + 1]);
        let apart_s = pair[1] - pair[0];
        if pass % 3 == 2 {
            assert!(
                (in_time_s + 0.5..in_time_s + 1.5).contains(&apart_s),
                "{apart_s}"
            );
        } else {
            assert!(
                (apart_s - in_time_s).abs() < 2e-3,
                "{apart_s} for {in_time_s}"
            );
        }
    }
    let clicks = run.conductor.clicks(false);
    let apart_s = clicks[3].clicks_s[1] - clicks[3].clicks_s[0];
    assert!(
        (apart_s - 0.6 / 0.84).abs() < 1e-4,
        "counted in at {apart_s}"
    );
    let third = run.passes()[2].ladder.expect("a ladder");
    assert!(
        matches!(
            third.step,
            Step::Up {
                clean_in_a_row: 3,
                ..
            }
        ),
        "{third:?}"
    );
    run.end(run.at_s + 10.0);
    run.is_the_same_from_its_file();
}

/// Closed form: 80 % times 0.91 is 72.8 %, and 5 % more is 76.44 %.
#[test]
fn faulty_passes_lead_down_and_a_broken_one_nowhere() {
    let (mut run, notes) = climbing(LadderMarks::default(), false);
    let played = [
        Clean, Wrong, Broken, Wrong, Clean, Broken, Clean, Clean, Clean,
    ];
    let shares = run.climb(&notes, &played);
    are(
        &shares,
        &[0.8, 0.8, 0.8, 0.8, 0.728, 0.728, 0.728, 0.728, 0.7644],
    );
    run.told(9);
    let wanted = played.map(|played| match played {
        Clean => Outcome::Clean,
        Wrong => Outcome::Faulty,
        Broken | Silent => Outcome::Broken,
    });
    assert_eq!(run.outcomes(), wanted);
    let view = run.conductor.snapshot().ladder.expect("a ladder");
    let counts = view.counts;
    assert_eq!((counts.clean, counts.faulty, counts.broken), (5, 2, 2));
    run.end(run.at_s + 10.0);
    run.is_the_same_from_its_file();
}

/// A click to which nobody plays is no pass, and its tempo stays.
#[test]
fn silence_is_no_pass() {
    let (mut run, notes) = climbing(LadderMarks::default(), false);
    let shares = run.climb(&notes, &[Clean, Silent, Silent, Clean, Clean, Clean]);
    are(&shares, &[0.8, 0.8, 0.8, 0.8, 0.8, 0.84]);
    run.told(4);
    assert_eq!(run.outcomes(), [Outcome::Clean; 4]);
}

/// Every third pass is played at the target; one that is faulty there changes nothing.
#[test]
fn a_probe_is_played_at_the_target_and_counts_apart() {
    for straight_on in [false, true] {
        let marks = LadderMarks {
            probe_every: Some(3),
            up_after: 5,
            target_share: 0.95,
            ..LadderMarks::default()
        };
        let (mut run, notes) = climbing(marks, straight_on);
        let shares = run.climb(&notes, &[Clean, Clean, Wrong, Clean, Clean, Clean, Clean]);
        are(&shares, &[0.8, 0.8, 0.95, 0.8, 0.8, 0.95, 0.8]);
        run.told(7);
        let probes = run.passes().into_iter();
        let probes: Vec<bool> = probes
            .map(|pass| pass.ladder.expect("a ladder").probe)
            .collect();
        assert_eq!(probes, [false, false, true, false, false, true, false]);
        let counts = run.conductor.snapshot().ladder.expect("a ladder").counts;
        assert_eq!((counts.probes, counts.clean_probes), (2, 1));
        assert!(run.snapshots.iter().any(|s| {
            let probe = s.ladder.as_ref().is_some_and(|ladder| ladder.probe);
            probe && s.piece.tempo_share == 0.95 && matches!(s.phase, Phase::Playing)
        }));
        run.end(run.at_s + 10.0);
        run.is_the_same_from_its_file();
    }
}

/// Without a count-in the tempo changes at the bar line, a pass after it was decided: what is told as
/// next while a pass runs is what comes.
#[test]
fn in_time_the_tempo_changes_at_the_bar_line_and_is_told_before() {
    let (mut run, notes) = climbing(LadderMarks::default(), true);
    let played = [
        Clean, Clean, Clean, Clean, Clean, Wrong, Wrong, Clean, Clean,
    ];
    let shares = run.climb(&notes, &played);
    // The fourth pass was ordered before the third one was judged, and the eighth before the seventh.
    are(
        &shares,
        &[0.8, 0.8, 0.8, 0.8, 0.84, 0.84, 0.84, 0.84, 0.7644],
    );
    run.told(9);
    for (pass, pair) in run.bars1_s[..9].windows(2).enumerate() {
        let apart_s = pair[1] - pair[0];
        let length_s = 4.0 * 0.6 / shares[pass];
        assert!(
            (apart_s - length_s).abs() < 2e-3,
            "{apart_s} for {length_s}"
        );
    }
    // While the fourth pass runs it is said that the next one is faster.
    let told = run.snapshots.iter().find_map(|s| {
        let ladder = s.ladder.as_ref().filter(|_| s.pass == 4)?;
        ladder.decided.filter(|_| matches!(s.phase, Phase::Playing))
    });
    let (step, next) = told.expect("told");
    assert!(matches!(step, Step::Up { .. }), "{step:?}");
    assert!((next.share - 0.84).abs() < 1e-9);
    let last = run.passes()[8].ladder.expect("a ladder");
    assert_eq!(last.outcome, Outcome::Clean);
    run.end(run.at_s + 10.0);
    run.is_the_same_from_its_file();
}

/// While the last bar runs it is told what comes if it ends clean, and what else; once a fault is known
/// the one thing that comes.
#[test]
fn what_comes_next_is_told_while_the_last_bar_runs() {
    let marks = LadderMarks {
        up_after: 1,
        down_after: 1,
        ..LadderMarks::default()
    };
    let (mut run, _) = climbing(marks, false);
    run.conductor.command(Command::Widen);
    let line = line(ALIKE);
    let mut notes = line.expected(line.instrument());
    notes.retain(|note| note.bar <= 2);
    let bar1_s = run.bar1_s(1);
    let end_s = run.play(&notes, bar1_s, 0.8);
    run.notes[3].pitch.as_mut().expect("a pitch").midi += 2.0;
    let ahead = |s: &Snapshot| s.ladder.as_ref().and_then(|ladder| ladder.ahead);
    run.until(bar1_s + 0.9 * 4.0 * 0.6 / 0.8);
    assert!(run.snapshots.iter().all(|s| ahead(s).is_none()), "too soon");
    run.until(end_s);
    let mut told: Vec<Ahead> = run.snapshots.iter().filter_map(ahead).collect();
    told.dedup();
    let shares = |ahead: &Ahead| match ahead {
        Ahead::IfClean { clean, otherwise } => vec![clean.share, otherwise.share],
        Ahead::Known(next) => vec![next.share],
        other => panic!("{other:?}"),
    };
    let last = told.last().expect("told");
    are(&shares(last), &[0.728]);
    if let [first, _] = told.as_slice() {
        are(&shares(first), &[0.84, 0.728]);
    }
    run.told(1);
    let decided = run.conductor.snapshot().ladder.expect("a ladder").decided;
    assert!(
        matches!(decided, Some((Step::Down { .. }, _))),
        "{decided:?}"
    );
}

/// The keys move the ladder's own tempo; other bars begin it anew there.
#[test]
fn the_player_moves_the_ladder() {
    let (mut run, notes) = climbing(LadderMarks::default(), false);
    run.climb(&notes, &[Clean, Clean]);
    run.told(2);
    run.conductor.command(Command::Faster);
    are(&[run.conductor.chosen.share], &[0.85]);
    let shares = run.climb(&notes, &[Clean, Clean, Clean, Clean]);
    are(&shares, &[0.85, 0.85, 0.85, 0.8925]);
    for _ in 0..4 {
        run.conductor.command(Command::Faster);
    }
    are(&[run.conductor.chosen.share], &[1.0]);
    run.conductor.command(Command::Slower);
    run.conductor.command(Command::Widen);
    let view = run.conductor.snapshot().ladder.expect("a ladder");
    assert_eq!((view.counts.passes, view.decided), (0, None));
    are(&[run.conductor.chosen.share], &[0.95]);
}

/// At the slowest tempo three faulty passes in a row are enough, and eight minutes of the same bars are;
/// told once.
#[test]
fn a_rest_is_advised_once() {
    let marks = LadderMarks {
        floor_share: 0.8,
        ..LadderMarks::default()
    };
    let (mut run, notes) = climbing(marks, false);
    let shares = run.climb(&notes, &[Wrong; 5]);
    are(&shares, &[0.8; 5]);
    run.told(5);
    let mut told: Vec<_> = run.snapshots.iter().map(|s| s.rest).collect();
    told.dedup();
    assert_eq!(told, [None, Some(Rest::AtTheLowest(3)), None]);

    // Three passes without a click; the second one ends eight minutes after these bars were begun.
    let (mut run, notes) = session(Beats::None);
    let mut at_s = 1.0;
    for pass in 0..3 {
        at_s = run.play(&notes, at_s, 1.0) + 4.0;
        run.until(at_s - 8.0);
        if pass == 1 {
            run.conductor.item_since_s = run.at_s - 479.0;
        }
    }
    run.end(at_s + 5.0);
    let mut told: Vec<_> = run.snapshots.iter().map(|s| (s.pass, s.rest)).collect();
    told.dedup();
    let rest = Some(Rest::LongEnough(8));
    assert_eq!(told, [(1, None), (2, None), (3, rest), (4, None)]);
}
