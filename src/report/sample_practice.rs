//! A hand-built take of practice for the tests of this room: a false start, two bars four times,
//! the whole of eight bars once.

use super::sample::{heard, of_passes, pass};
use crate::compare::judgement::{Agreement, Beginning, Flag, JudgedNote, Stumble, Verdict};
use crate::music::expected::{ExpectedNote, JoinKind, Place};
use crate::music::theory::{Key, Mode};
use crate::session::line_info::{BarSpan, LineInfo, NoteSign, Reached};
use crate::session::result::TakeResult;

/// Bars of the line.
const BARS: u32 = 8;
/// Quarters in each of them.
const IN_A_BAR: usize = 4;

/// A line of quarters in A major: from fret 4 of the E string (G sharp) up and down two strings.
fn expected() -> Vec<ExpectedNote> {
    let count = BARS as usize * IN_A_BAR;
    (0..count)
        .map(|index| {
            let fret = [4, 5, 7, 4][index % IN_A_BAR];
            let string = if index % IN_A_BAR == 3 { 3 } else { 4 };
            let last = index + 1 == count;
            ExpectedNote {
                index,
                bar: 1 + (index / IN_A_BAR) as u32,
                printed_bar: 1 + (index / IN_A_BAR) as u32,
                beat: 1.0 + (index % IN_A_BAR) as f64,
                onset_quarters: index as f64,
                length_quarters: 1.0,
                onset_s: index as f64 * 0.625,
                length_s: 0.625,
                midi: if string == 3 { 33 + fret } else { 28 + fret },
                place: Some(Place { string, fret }),
                legato_next: !last,
                join: (!last).then_some(
                    [
                        JoinKind::SamePlace,
                        JoinKind::Shift,
                        JoinKind::Crossing,
                        JoinKind::Crossing,
                    ][index % IN_A_BAR],
                ),
                staccato: false,
                slurred_into: index == 5,
                slid_into: false,
                with_previous: false,
                swings: false,
                ghost: false,
                accent: false,
                graces: Vec::new(),
            }
        })
        .collect()
}

fn line() -> LineInfo {
    let bar = |number: u32| BarSpan {
        number,
        printed: None,
        start_quarters: f64::from(number - 1) * 4.0,
        length_quarters: 4.0,
        chords: vec![(0.0, "A".into())],
        beat_quarters: 1.0,
        first_beat: 1.0,
        key: Key::new(3, Mode::Major),
        rests: Vec::new(),
        signs: vec![NoteSign {
            at: 1.0,
            midi: 33,
            finger: Some(2),
            reached: if number == 2 {
                Reached::Slur
            } else {
                Reached::Pluck
            },
            triplet: false,
        }],
    };
    LineInfo {
        title: Some("Two strings".into()),
        tempo_bpm: 96.0,
        strings: ["G", "D", "A", "E"].map(String::from).to_vec(),
        bars: (1..=BARS).map(bar).collect(),
        part: false,
    }
}

/// The notes of some bars as a faultless player would play them, `from_s` into the take.
fn played(bars: (u32, u32), from_s: f64) -> Vec<JudgedNote> {
    let own = expected()
        .into_iter()
        .filter(|n| (bars.0..=bars.1).contains(&n.bar));
    own.map(|expected| {
        let mut part = heard(&expected);
        part.onset_s += from_s;
        part.release_s += from_s;
        JudgedNote {
            verdict: Verdict::Right,
            heard: Some(part),
            flags: Vec::new(),
            expected,
        }
    })
    .collect()
}

/// Flags a note and sets what is measured of it.
fn flag(notes: &mut [JudgedNote], index: usize, flag: Flag, value: f64) {
    let note = notes.iter_mut().find(|note| note.expected.index == index);
    let note = note.expect("the note is in the pass");
    note.flags.push(flag);
    let part = note.heard.as_mut().expect("it was heard");
    match flag {
        Flag::Gap => part.gap_ms = Some(value),
        Flag::Late | Flag::Early => part.timing_ms = Some(value),
        _ => part.cents = Some(value),
    }
}

/// Passes of practice: bar 1 broken off, bars 3 and 4 four times with a gap at the shift that
/// shrinks and a late note that goes, the whole line with faults in half of its bars.
pub(crate) fn practice() -> TakeResult {
    let mut begun = played((1, 1), 0.0);
    begun.truncate(3);
    let mut first = pass(1, begun);
    first.complete = false;
    let mut passes = vec![first];
    for (k, gap_ms) in [140.0, 110.0, 85.0, 62.0].into_iter().enumerate() {
        let mut notes = played((3, 4), 5.0 * (1.0 + k as f64));
        flag(&mut notes, 9, Flag::Gap, gap_ms);
        if k < 2 {
            flag(&mut notes, 13, Flag::Late, 60.0 - 20.0 * k as f64);
        }
        passes.push(pass(2 + k, notes));
    }
    let mut notes = played((1, BARS), 30.0);
    flag(&mut notes, 9, Flag::Gap, 55.0);
    flag(&mut notes, 5, Flag::Gap, 90.0);
    flag(&mut notes, 17, Flag::Gap, 44.0);
    notes[20].verdict = Verdict::Wrong;
    notes[20].heard.as_mut().expect("heard").midi = Some(33.0);
    notes[26].verdict = Verdict::Missed;
    notes[26].heard = None;
    flag(&mut notes, 29, Flag::Early, -38.0);
    flag(&mut notes, 30, Flag::Dead, 0.0);
    let mut last = pass(6, notes);
    last.began = Beginning::WentBack;
    last.stumbles = vec![Stumble {
        index: 24,
        bar: 7,
        beat: 1.0,
        pause_s: 0.61,
    }];
    passes.push(last);
    let mut odd = pass(7, played((2, 3), 60.0));
    odd.judged = false;
    odd.notes.clear();
    passes.push(odd);
    of_passes(
        "practice.wav",
        line(),
        &expected(),
        passes,
        Agreement::Recognised,
    )
}
