//! A take is a row of passes: repeats, stops, skips and what is played beside the line.
//!
//! The states and jumps are those of Nakamura, Nakamura, Saito, Ono & Sagayama (2014), J. New Music
//! Research 43, 183-201 (from memory): from any note of the score the player may stop, and resume
//! at any other, with a probability of its own for each of both. Each performance below is one path
//! through those states, put together from played parts, so that what must be found is closed form.

mod compare_support;

use compare_support::{Chance, Kind, event, exactly, finish, line};
use seamline::compare::judgement::{Beginning, Judgement};
use seamline::compare::{Settings, judge};
use seamline::hearing::events::HeardNote;
use seamline::music::expected::ExpectedNote;

/// A part of a performance: bars from and to, played at a stretch, its first note at a moment.
fn part(line: &[ExpectedNote], bars: (u32, u32), stretch: f64, at_s: f64) -> Vec<HeardNote> {
    let notes: Vec<ExpectedNote> = line
        .iter()
        .filter(|note| (bars.0..=bars.1).contains(&note.bar))
        .map(|note| ExpectedNote {
            onset_s: note.onset_s * stretch,
            length_s: note.length_s * stretch,
            ..note.clone()
        })
        .collect();
    let from_s = notes[0].onset_s;
    exactly(&notes, at_s - from_s)
}

fn rows(judgement: &Judgement) -> Vec<((u32, u32), Beginning, bool)> {
    let row =
        |pass: &seamline::compare::judgement::PassJudgement| (pass.bars, pass.began, pass.complete);
    judgement.passes.iter().map(row).collect()
}

/// Six bars in four, quarter = 0.6 s: a bar lasts 2.4 s.
fn six_bars() -> Vec<ExpectedNote> {
    line(Kind::Broken, 6, 100.0, &mut Chance(77))
}

#[test]
fn each_path_through_the_states_is_found() {
    use Beginning::{Loop, Start, WentBack, WentOn};
    let line = six_bars();
    let bar_s = 2.4;
    type Rows = Vec<((u32, u32), Beginning, bool)>;
    let cases: Vec<(&str, Vec<HeardNote>, Rows)> = vec![
        (
            "straight through",
            part(&line, (1, 6), 1.0, 2.0),
            vec![((1, 6), Start, true)],
        ),
        (
            "two bars three times in time",
            [0.0, 1.0, 2.0]
                .iter()
                .flat_map(|k| part(&line, (3, 4), 1.0, 1.0 + 2.0 * bar_s * k))
                .collect(),
            vec![
                ((3, 4), Start, true),
                ((3, 4), Loop, true),
                ((3, 4), Loop, true),
            ],
        ),
        (
            "stopped behind bar 4, back to bar 3 after two seconds",
            [
                part(&line, (1, 4), 1.0, 1.0),
                part(&line, (3, 6), 1.0, 1.0 + 4.0 * bar_s + 2.0),
            ]
            .concat(),
            vec![((1, 4), Start, true), ((3, 6), WentBack, true)],
        ),
        (
            "bar 3 left out after a long rest",
            [
                part(&line, (1, 2), 1.0, 1.0),
                part(&line, (4, 6), 1.0, 1.0 + 2.0 * bar_s + 7.0),
            ]
            .concat(),
            vec![((1, 2), Start, true), ((4, 6), WentOn, true)],
        ),
        (
            "slowly, then nearly at tempo",
            [
                part(&line, (2, 3), 1.6, 1.0),
                part(&line, (1, 6), 1.05, 1.0 + 3.2 * bar_s + 3.0),
            ]
            .concat(),
            vec![((2, 3), Start, true), ((1, 6), Start, true)],
        ),
    ];
    for (what, mut heard, wanted) in cases {
        finish(&mut heard);
        let judgement = judge(&line, &heard, &Settings::default());
        assert_eq!(rows(&judgement), wanted, "{what}");
        let tally = |pass: &seamline::compare::judgement::PassJudgement| {
            let tally = pass.tally;
            pass.judged && tally.right == pass.notes.len() && tally.late + tally.early == 0
        };
        assert!(judgement.passes.iter().all(tally), "{what}");
    }
}

/// A stop after which the player goes on is one pass with one remark, whatever its length between
/// 0.35 and 3 s, and nothing behind it is late.
#[test]
fn a_stumble_is_one_remark() {
    let line = six_bars();
    for (pause_s, note) in [(0.35, 5), (0.6, 9), (1.4, 12), (3.0, 7)] {
        let mut heard = exactly(&line, 1.0);
        for later in &mut heard[note..] {
            later.onset_s += pause_s;
            later.release_s += pause_s;
        }
        finish(&mut heard);
        let judgement = judge(&line, &heard, &Settings::default());
        assert_eq!(rows(&judgement), [((1, 6), Beginning::Start, true)]);
        let stumbles = &judgement.passes[0].stumbles;
        assert_eq!(stumbles.len(), 1, "{pause_s}");
        assert_eq!(stumbles[0].index, line[note].index);
        assert!((stumbles[0].pause_s - pause_s).abs() < 0.02, "{stumbles:?}");
        let tally = judgement.tally;
        assert_eq!(
            (tally.right, tally.late, tally.early, tally.extra),
            (line.len(), 0, 0, 0)
        );
    }
}

/// A slip that is corrected at once: the note is right, the slip is extra, it stays one pass.
#[test]
fn a_slip_corrected_at_once_is_one_remark() {
    let line = six_bars();
    let at = 10;
    let mut heard = exactly(&line, 1.0);
    let slip_s = heard[at].onset_s;
    for later in &mut heard[at..] {
        later.onset_s += 0.8;
        later.release_s += 0.8;
    }
    heard.push(event(slip_s, Some(f64::from(line[at].midi) + 1.0), 6.0));
    finish(&mut heard);
    let judgement = judge(&line, &heard, &Settings::default());
    assert_eq!(rows(&judgement), [((1, 6), Beginning::Start, true)]);
    assert_eq!(judgement.tally.right, line.len());
    assert_eq!(judgement.extras.len(), 1);
    assert!((judgement.extras[0].onset_s - slip_s).abs() < 1e-6);
    assert_eq!(judgement.passes[0].stumbles.len(), 1);
}

/// Broken off in the middle of a bar: the pass ends there, and nothing behind it is missed.
#[test]
fn what_was_not_reached_is_not_missed() {
    let line = six_bars();
    let stop = line.iter().position(|note| note.bar == 4).unwrap() + 2;
    let heard = exactly(&line[..stop], 1.0);
    let judgement = judge(&line, &heard, &Settings::default());
    assert_eq!(rows(&judgement), [((1, 4), Beginning::Start, false)]);
    assert_eq!(judgement.passes[0].notes.len(), stop);
    assert_eq!((judgement.tally.right, judgement.tally.missed), (stop, 0));
}

/// Bars asked for are picked out of a whole pass and out of a loop; the rest is left alone.
#[test]
fn bars_asked_for_are_picked_out() {
    let line = six_bars();
    let whole = exactly(&line, 1.0);
    let bars = Some((3, 4));
    let settings = Settings {
        bars,
        ..Settings::default()
    };
    let judgement = judge(&line, &whole, &settings);
    let asked: Vec<usize> = line
        .iter()
        .filter(|note| (3..=4).contains(&note.bar))
        .map(|note| note.index)
        .collect();
    let got: Vec<usize> = judgement.notes.iter().map(|n| n.expected.index).collect();
    assert_eq!(got, asked);
    assert_eq!(rows(&judgement), [((3, 4), Beginning::Start, true)]);
    assert_eq!(
        (judgement.tally.right, judgement.tally.extra),
        (asked.len(), 0)
    );
    let first_s = line[asked[0]].onset_s + 1.0;
    assert!((judgement.passes[0].from_s - first_s).abs() < 1e-6);
}

/// Eighths swung at 1.6 : 1 over a straight line are one remark, not a row of early and late notes.
#[test]
fn swung_eighths_are_one_remark() {
    let line = line(Kind::Scale, 6, 100.0, &mut Chance(5));
    for (ratio, told) in [(1.0, false), (1.6, true), (2.0, true)] {
        let place: f64 = ratio / (1.0 + ratio);
        let mut heard = exactly(&line, 1.0);
        for (note, written) in heard.iter_mut().zip(&line) {
            if written.swings {
                note.onset_s += (place - 0.5) * 0.6;
            }
        }
        finish(&mut heard);
        let judgement = judge(&line, &heard, &Settings::default());
        let tally = judgement.tally;
        assert_eq!((tally.right, tally.early, tally.late), (line.len(), 0, 0));
        let swing = judgement.swing.expect("enough off-beats");
        assert!((swing.ratio - ratio).abs() < 0.02, "{swing:?}");
        let remark =
            |f: &&seamline::compare::judgement::Finding| f.sentence.contains("eighths lie");
        assert_eq!(judgement.findings.iter().filter(remark).count() == 1, told);
    }
}
