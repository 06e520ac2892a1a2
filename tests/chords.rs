//! Chords in the line: each member is judged by what was heard of it alone.

mod source_support;

use seamline::compare::judgement::{Flag, JudgedNote, Verdict};
use seamline::music::line::{Line, read_text};
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::sound::synth::{Performance, Player, Voice, render};
use seamline::units::SampleRate;
use source_support::Samples;

/// Frames per second of the takes.
const RATE: SampleRate = SampleRate(44_100);

/// Tenths, fifths, sixths and a chord of three between single notes.
fn line() -> Line {
    read_text(
        "tempo: 96\nmeter: 4/4\nkey: C major\n\n\
         1/4 4:3 3:2 1/2 4:3&2:4\n1/4 3:3 3:5 1/2 3:3&2:5\n\
         1/2 4:5&2:5&1:4 1/4 3:0 2:2\n1/2 3:5&1:4 4:0&3:2\n",
    )
    .expect("a line")
}

/// Plays the line, each note of the performance as `change` leaves it.
fn played(
    change: impl Fn(usize, &mut seamline::sound::synth::PlayedNote) -> bool,
) -> Vec<JudgedNote> {
    let line = line();
    let mut performance =
        Performance::of_line(&line.expected(line.instrument()), &Player::steady(5));
    performance
        .notes
        .retain_mut(|note| note.index.is_none_or(|index| change(index, note)));
    let samples = render(&performance, &Voice::fingered(), RATE);
    let mut source = Samples::new(RATE, vec![Ok(samples)]);
    score_take("chords", &mut source, &line, &ScoreSettings::default())
        .expect("a result")
        .judgement
        .notes
}

/// Indices of the notes that stand in chords.
fn in_chords(notes: &[JudgedNote]) -> Vec<usize> {
    (0..notes.len())
        .filter(|&k| {
            notes[k].expected.with_previous
                || notes.get(k + 1).is_some_and(|n| n.expected.with_previous)
        })
        .collect()
}

fn shown(notes: &[JudgedNote]) -> String {
    notes
        .iter()
        .map(|n| {
            format!(
                "{} bar {} beat {} midi {}: {:?} {:?} {:?} {:?}\n",
                n.expected.index,
                n.expected.bar,
                n.expected.beat,
                n.expected.midi,
                n.verdict,
                n.heard.as_ref().and_then(|h| h.midi),
                n.heard.as_ref().map(|h| h.release_s - h.onset_s),
                n.flags
            )
        })
        .collect()
}

#[test]
fn every_member_of_a_clean_chord_is_right_and_in_tune() {
    let notes = played(|_, _| true);
    for note in &notes {
        assert_eq!(note.verdict, Verdict::Right, "{}", shown(&notes));
        assert!(note.flags.is_empty(), "{}", shown(&notes));
    }
    let told = in_chords(&notes);
    assert!(told.len() >= 11);
    for k in told {
        let heard = notes[k].heard.as_ref().and_then(|h| h.midi);
        let midi = heard.unwrap_or_else(|| panic!("no pitch\n{}", shown(&notes)));
        let cents = 100.0 * (midi - f64::from(notes[k].expected.midi));
        assert!(cents.abs() < 15.0, "{}", shown(&notes));
    }
}

/// Whichever member is left out, it is missed and the others are right.
#[test]
fn a_member_that_is_not_played_is_missed_alone() {
    let clean = played(|_, _| true);
    for out in in_chords(&clean) {
        let index = clean[out].expected.index;
        let notes = played(|k, _| k != index);
        for (k, note) in notes.iter().enumerate() {
            let want = if k == out {
                Verdict::Missed
            } else {
                Verdict::Right
            };
            assert_eq!(note.verdict, want, "without {out}:\n{}", shown(&notes));
        }
    }
}

/// A member that is choked is named; the others ring on.
#[test]
fn a_choked_member_is_dead() {
    let clean = played(|_, _| true);
    for out in in_chords(&clean) {
        let index = clean[out].expected.index;
        let notes = played(|k, note| {
            if k == index {
                note.release_s = note.onset_s + 0.2;
            }
            true
        });
        for (k, note) in notes.iter().enumerate() {
            assert_eq!(
                note.verdict,
                Verdict::Right,
                "{out} choked:\n{}",
                shown(&notes)
            );
            let dead = note.flags.contains(&Flag::Dead);
            assert_eq!(dead, k == out, "{out} choked:\n{}", shown(&notes));
        }
    }
}
