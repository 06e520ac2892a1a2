//! Takes that do not run straight through the line: restarts, stops, parts, long warm-ups.
//!
//! Closed form: each take is put together from played parts, so that what must be said is known.

mod compare_support;

use compare_support::{Chance, KINDS, Kind, Player, event, exactly, finish, line, play};
use seamline::compare::judgement::{Agreement, FindingKind, Verdict};
use seamline::compare::{Settings, judge};
use seamline::hearing::events::HeardNote;

/// The player breaks off in bar 4, waits, goes back to bar 3 and plays to the end: bars 3 and 4
/// are scored on the second try, a slip in the first try is forgotten, and nothing is extra.
#[test]
fn a_restart_is_scored_on_the_last_try() {
    for seed in 0..30 {
        let mut chance = Chance(600 + seed);
        let kind = [Kind::Scale, Kind::Broken, Kind::Fast][seed as usize % 3];
        let line = line(kind, 6, 96.0, &mut chance);
        let first = |bar| line.iter().position(|note| note.bar == bar).unwrap();
        let (third, fourth) = (first(3), first(4));
        let mut heard = play(&line[..fourth + 2], &Player::good(), &mut chance).heard;
        // The slip: the last note before breaking off.
        heard[fourth + 1].pitch.as_mut().unwrap().midi += 1.0;
        let pause_s = chance.between(1.3, 3.0);
        let again_s = heard[fourth + 1].onset_s + pause_s - line[third].onset_s;
        let again = Player {
            starts_s: again_s,
            stretch: (0.98, 0.98),
            ..Player::good()
        };
        let rest: Vec<HeardNote> = play(&line[third..], &again, &mut chance).heard;
        heard.extend(rest);
        finish(&mut heard);
        let judgement = judge(&line, &heard, &Settings::default());
        assert_eq!(
            judgement.tally.right,
            line.len(),
            "{kind:?} {seed}: {:?}",
            judgement.tally
        );
        assert_eq!(
            (judgement.tally.extra, judgement.tally.late),
            (0, 0),
            "{kind:?} {seed}"
        );
        let told = judgement
            .findings
            .iter()
            .find(|f| f.kind == FindingKind::Take);
        assert!(
            told.is_some_and(|f| f.sentence.contains("back to bar 3")),
            "{told:?}"
        );
    }
}

/// The line played twice over: the second time counts, and the first is not extra.
#[test]
fn the_second_time_through_counts() {
    for kind in KINDS {
        let mut chance = Chance(31);
        let line = line(kind, 4, 100.0, &mut chance);
        let mut heard = play(&line, &Player::good(), &mut chance).heard;
        let slip = line.len() / 2;
        heard[slip].pitch.as_mut().unwrap().midi += 1.0;
        let again = Player {
            starts_s: 2.0 + 4.0 * 2.4 + 2.5,
            ..Player::good()
        };
        heard.extend(play(&line, &again, &mut chance).heard);
        finish(&mut heard);
        let judgement = judge(&line, &heard, &Settings::default());
        assert_eq!(
            (judgement.tally.right, judgement.tally.extra),
            (line.len(), 0),
            "{kind:?}"
        );
    }
}

/// A pause of a second in the middle of a bar is one finding and not a line of late notes.
#[test]
fn a_stop_is_a_stop() {
    for kind in [Kind::Scale, Kind::Broken, Kind::Fast] {
        let mut chance = Chance(32);
        let line = line(kind, 6, 100.0, &mut chance);
        let stop = line.iter().position(|note| note.bar == 4).unwrap() + 2;
        let mut heard = play(&line, &Player::good(), &mut chance).heard;
        for note in &mut heard[stop..] {
            note.onset_s += 1.1;
        }
        finish(&mut heard);
        let judgement = judge(&line, &heard, &Settings::default());
        let tally = judgement.tally;
        assert_eq!(
            (tally.right, tally.late, tally.early, tally.extra),
            (line.len(), 0, 0, 0)
        );
        let told: Vec<&str> = judgement
            .findings
            .iter()
            .filter(|f| f.kind == FindingKind::Take)
            .map(|f| f.sentence.as_str())
            .collect();
        assert!(
            told.len() == 1 && told[0].contains("stumble at bar 4"),
            "{told:?}"
        );
    }
}

/// Half a minute of other notes before the line, and noodling after it, are no part of it.
#[test]
fn a_warm_up_is_not_the_line() {
    let mut unlike = 0;
    for kind in KINDS {
        for seed in 0..10 {
            let mut chance = Chance(3300 + seed);
            let asked = line(kind, 8, 100.0, &mut chance);
            let warm_up = line(Kind::Broken, 12, 90.0, &mut chance);
            let mut heard = exactly(&warm_up, 1.0);
            let player = Player {
                starts_s: 36.0,
                wrong: 0.05,
                missed: 0.05,
                ..Player::good()
            };
            let played = play(&asked, &player, &mut chance);
            heard.extend(played.heard.clone());
            heard.extend(exactly(&warm_up[..12], 36.0 + 8.0 * 2.4 + 2.0));
            finish(&mut heard);
            let judgement = judge(&asked, &heard, &Settings::default());
            let verdicts: Vec<Verdict> = judgement.notes.iter().map(|n| n.verdict).collect();
            // A weak event of the noise may show the pitch of a missed note at its very place.
            let off = verdicts
                .iter()
                .zip(&played.verdicts)
                .filter(|(a, b)| a != b);
            unlike += off.count();
            assert_eq!(
                (judgement.tally.extra, judgement.agreement),
                (0, Agreement::Recognised)
            );
        }
    }
    assert!(unlike <= 1, "{unlike} notes of forty takes");
}

/// The second half alone is recognised as such: what was played is right, the rest is missed.
#[test]
fn a_part_is_a_part() {
    for kind in [Kind::Scale, Kind::Broken, Kind::Repeated] {
        let line = line(kind, 8, 100.0, &mut Chance(34));
        let half = line.iter().position(|note| note.bar == 5).unwrap();
        for (from, to) in [(half, line.len()), (0, half)] {
            let shift_s = 2.0 - line[from].onset_s;
            let heard = exactly(&line[from..to], shift_s);
            let judgement = judge(&line, &heard, &Settings::default());
            let right = |k: usize| judgement.notes[k].verdict == Verdict::Right;
            assert!(
                (0..line.len()).all(|k| right(k) == (from..to).contains(&k)),
                "{kind:?} {from}"
            );
            assert_eq!(
                judgement.agreement,
                Agreement::Recognised,
                "{kind:?} {from}"
            );
        }
    }
}

/// A bass tuned a semitone low makes every note wrong, and the reason is named.
#[test]
fn another_tuning_is_suspected() {
    let line = line(Kind::Broken, 8, 100.0, &mut Chance(35));
    let mut heard: Vec<HeardNote> = exactly(&line, 3.0);
    for note in &mut heard {
        note.pitch.as_mut().unwrap().midi -= 1.0;
    }
    let judgement = judge(&line, &heard, &Settings::default());
    assert_eq!(
        (judgement.tally.wrong, judgement.tally.missed),
        (line.len(), 0)
    );
    let told = |f: &seamline::compare::judgement::Finding| f.sentence.contains("1 semitone below");
    assert!(
        judgement.findings.iter().any(told),
        "{:#?}",
        judgement.findings
    );
}

/// Two thousand notes, five minutes, with a tempo that drifts: a verdict in a thousand may differ.
#[test]
fn a_long_take_stays_on_course() {
    let mut chance = Chance(36);
    let line = line(Kind::Fast, 125, 100.0, &mut chance);
    let player = Player {
        stretch: (1.03, 0.97),
        ..Player::erring()
    };
    let played = play(&line, &player, &mut chance);
    let judgement = judge(&line, &played.heard, &Settings::default());
    let differ = judgement
        .notes
        .iter()
        .zip(&played.verdicts)
        .filter(|(n, v)| n.verdict != **v)
        .count();
    assert!(differ <= 2, "{differ} of {}", line.len());
    // A ripple beside a soft note of the same pitch may be taken for it, and be early or late.
    assert!(judgement.tally.late + judgement.tally.early <= 2);
    let lone = event(1.0, Some(40.0), 5.0);
    assert!(matches!(
        judge(&line, &[lone], &Settings::default()).agreement,
        Agreement::AnotherLine(_)
    ));
}

/// A bar whose notes are hardly heard, or not at all, is no jump to the next one when that comes
/// in time: the faint notes are found, the silent ones are missed, and nobody went anywhere.
#[test]
fn a_faint_bar_in_time_is_no_jump() {
    for seed in 0..20 {
        let mut chance = Chance(900 + seed);
        let kind = KINDS[seed as usize % KINDS.len()];
        let line = line(kind, 5, 110.0, &mut chance);
        let third: Vec<usize> = (0..line.len()).filter(|&k| line[k].bar == 3).collect();
        let mut heard = play(&line, &Player::good(), &mut chance).heard;
        for &k in &third {
            heard[k].evidence = -0.9;
        }
        finish(&mut heard);
        let judgement = judge(&line, &heard, &Settings::default());
        let told = |judgement: &seamline::compare::judgement::Judgement| {
            judgement
                .findings
                .iter()
                .find(|f| f.kind == FindingKind::Take)
                .map(|f| f.sentence.clone())
        };
        assert_eq!(told(&judgement), None, "{kind:?} {seed}");
        assert_eq!(judgement.tally.right, line.len(), "{kind:?} {seed}");
        // The same bar not played at all, its time kept.
        let mut heard: Vec<HeardNote> = play(&line, &Player::good(), &mut chance).heard;
        let silent = heard[third[0]].onset_s - 0.05..heard[third[third.len() - 1]].onset_s + 0.05;
        heard.retain(|h| !silent.contains(&h.onset_s));
        finish(&mut heard);
        let judgement = judge(&line, &heard, &Settings::default());
        assert_eq!(told(&judgement), None, "{kind:?} {seed}");
        assert_eq!(judgement.tally.missed, third.len(), "{kind:?} {seed}");
    }
}
