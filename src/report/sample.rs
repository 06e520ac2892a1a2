//! Hand-built results for the snapshot tests of this room, and the tests' golden files.
//!
//! Nothing here was ever played: the figures are chosen so that each mark appears once or twice.

use std::path::PathBuf;

use crate::compare::Settings;
use crate::compare::judgement::{
    Agreement, Beginning, Bleed, BleedKind, Evenness, ExtraNote, Flag, HeardPart, JudgedNote,
    PassJudgement, Tally, Timing, TimingMode, Verdict,
};
use crate::compare::whole;
use crate::music::expected::{ExpectedNote, JoinKind, Place};
use crate::music::theory::{Key, Mode};
use crate::session::line_info::{BarSpan, LineInfo};
use crate::session::result::{TakeInfo, TakeResult};

/// Compares `got` with the golden file of that name, or writes it when `SEAMLINE_REMAKE` is set.
pub(crate) fn check_golden(name: &str, got: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/golden")
        .join(name);
    if std::env::var_os("SEAMLINE_REMAKE").is_some() {
        std::fs::write(&path, got).expect("the golden file can be written");
        return;
    }
    let golden = std::fs::read_to_string(&path).unwrap_or_else(|error| {
        panic!("{}: {error}; see fixtures/golden/README.md", path.display())
    });
    assert!(
        golden == got,
        "{} differs from what is made now.\nIf the change is meant, remake it with\n    \
         SEAMLINE_REMAKE=1 cargo test golden\n--- now ---\n{got}",
        path.display()
    );
}

/// Eight quarters over two bars: string, fret, MIDI note and the join after each.
const NOTES: [(u8, u8, u8, Option<JoinKind>); 8] = [
    (3, 0, 33, Some(JoinKind::Open)),
    (3, 3, 36, Some(JoinKind::Crossing)),
    (2, 2, 40, Some(JoinKind::SamePlace)),
    (2, 5, 43, Some(JoinKind::Shift)),
    (2, 12, 50, Some(JoinKind::Crossing)),
    (1, 11, 54, Some(JoinKind::Roll)),
    (2, 11, 49, Some(JoinKind::Stretch)),
    (3, 10, 43, None),
];

fn line() -> LineInfo {
    LineInfo {
        title: Some("Two bars up the stairs".into()),
        tempo_bpm: 96.0,
        strings: ["G", "D", "A", "E"].map(String::from).to_vec(),
        bars: vec![
            BarSpan {
                number: 1,
                start_quarters: 0.0,
                length_quarters: 4.0,
                chords: vec![(0.0, "Am7".into())],
                beat_quarters: 1.0,
                first_beat: 1.0,
                key: Some(Key::default()),
                ..BarSpan::default()
            },
            BarSpan {
                number: 2,
                start_quarters: 4.0,
                length_quarters: 4.0,
                chords: vec![(0.0, "D7/F#".into()), (2.0, "Bm".into())],
                beat_quarters: 1.0,
                first_beat: 1.0,
                key: Key::new(2, Mode::Major),
                ..BarSpan::default()
            },
        ],
        part: false,
    }
}

fn expected() -> Vec<ExpectedNote> {
    NOTES
        .iter()
        .enumerate()
        .map(|(index, &(string, fret, midi, join))| ExpectedNote {
            index,
            bar: 1 + index as u32 / 4,
            printed_bar: 1 + index as u32 / 4,
            beat: 1.0 + (index % 4) as f64,
            onset_quarters: index as f64,
            length_quarters: 1.0,
            onset_s: index as f64 * 0.625,
            length_s: 0.625,
            midi,
            place: Some(Place { string, fret }),
            legato_next: join.is_some(),
            join,
            staccato: false,
            slurred_into: false,
            slid_into: false,
            with_previous: false,
            swings: false,
            ghost: false,
            accent: false,
            graces: Vec::new(),
        })
        .collect()
}

/// What a faultless player would have been heard to play.
pub(crate) fn heard(note: &ExpectedNote) -> HeardPart {
    let onset_s = 2.031 + note.onset_s;
    HeardPart {
        midi: Some(f64::from(note.midi) + 0.021),
        cents: Some(2.1),
        cents_uncertainty: Some(0.8),
        onset_s,
        release_s: onset_s + 0.607,
        level_dbfs: -18.24,
        loudness_db: Some(-17.93),
        level_db: Some(0.4),
        level_uncertainty_db: Some(1.1),
        brightness: None,
        buzz_nats: Some(-4.2),
        timing_ms: Some(-2.345),
        timing_uncertainty_ms: Some(1.1),
        gap_ms: note.legato_next.then_some(18.0),
        gap_uncertainty_ms: note.legato_next.then_some(4.2),
        gap_depth_db: note.legato_next.then_some(3.25),
        heard_at_s: onset_s + 0.009,
        named_at_s: Some(onset_s + 0.047),
        named_midi: Some(f64::from(note.midi) + 0.13),
    }
}

fn clean_notes() -> Vec<JudgedNote> {
    expected()
        .into_iter()
        .map(|expected| JudgedNote {
            verdict: Verdict::Right,
            heard: Some(heard(&expected)),
            flags: Vec::new(),
            expected,
        })
        .collect()
}

fn take(file: &str) -> TakeInfo {
    TakeInfo {
        file: file.into(),
        sample_rate: 48_000,
        duration_s: 8.25,
        dropped_frames: 0,
        loudest_dbfs: Some(-6.02),
        sound_notes: Vec::new(),
    }
}

/// The grid of a take that was played well.
fn timing() -> Timing {
    Timing {
        offset_s: Some(2.031),
        tempo_bpm: Some(95.7),
        tempo_from_to_bpm: None,
        mode: TimingMode::Free,
        spread_ms: Some(7.412_34),
        mean_ms: Some(0.0),
        offbeats_ms: None,
    }
}

/// A judged pass of these notes.
pub(crate) fn pass(number: usize, notes: Vec<JudgedNote>) -> PassJudgement {
    let bar = |note: Option<&JudgedNote>| note.map_or(0, |note| note.expected.bar);
    let heard = |note: &JudgedNote| note.heard.as_ref().map(|h| (h.onset_s, h.release_s));
    PassJudgement {
        number,
        bars: (bar(notes.first()), bar(notes.last())),
        from_s: notes
            .iter()
            .find_map(heard)
            .map_or(0.0, |(onset_s, _)| onset_s),
        to_s: notes
            .iter()
            .rev()
            .find_map(heard)
            .map_or(0.0, |(_, release_s)| release_s),
        began: if number == 1 {
            Beginning::Start
        } else {
            Beginning::Loop
        },
        complete: true,
        judged: true,
        stumbles: Vec::new(),
        timing: timing(),
        evenness: Evenness::of(notes.iter()),
        tally: Tally::count(&notes, &[]),
        notes,
        extras: Vec::new(),
        bleed: None,
        undecided: Vec::new(),
    }
}

/// A take of these passes, put together as a real one is.
pub(crate) fn of_passes(
    file: &str,
    line: LineInfo,
    expected: &[ExpectedNote],
    passes: Vec<PassJudgement>,
    agreement: Agreement,
) -> TakeResult {
    let listened = passes.iter().any(|pass| pass.bleed.is_some());
    let settings = Settings {
        keys: line
            .bars
            .iter()
            .filter_map(|bar| Some((bar.number, bar.key?)))
            .collect(),
        ..Settings::default()
    };
    TakeResult {
        take: take(file),
        judgement: whole::put_together(expected, passes, (agreement, None), listened, &settings),
        line,
    }
}

/// A take without a fault.
pub(crate) fn clean() -> TakeResult {
    let passes = vec![pass(1, clean_notes())];
    of_passes(
        "clean.wav",
        line(),
        &expected(),
        passes,
        Agreement::Recognised,
    )
}

/// A take with one of nearly everything.
pub(crate) fn flawed() -> TakeResult {
    let mut notes = clean_notes();
    let mut change = |index: usize, verdict, flags: &[Flag], edit: fn(&mut HeardPart)| {
        let note: &mut JudgedNote = &mut notes[index];
        note.verdict = verdict;
        note.flags = flags.to_vec();
        if verdict == Verdict::Missed {
            note.heard = None;
        } else if let Some(heard) = &mut note.heard {
            edit(heard);
        }
    };
    change(1, Verdict::Wrong, &[], |h| h.midi = Some(37.01));
    change(2, Verdict::Right, &[Flag::Late], |h| {
        h.timing_ms = Some(41.3);
        h.timing_uncertainty_ms = Some(11.2);
    });
    change(3, Verdict::Right, &[Flag::Early, Flag::Gap], |h| {
        h.timing_ms = Some(-31.6);
        h.gap_ms = Some(84.2);
        h.gap_depth_db = Some(24.5);
    });
    change(4, Verdict::Right, &[Flag::Bleed, Flag::Sharp], |h| {
        h.cents = Some(27.4)
    });
    change(5, Verdict::Missed, &[], |_| {});
    change(6, Verdict::Right, &[Flag::Dead], |h| {
        h.midi = None;
        h.cents = None;
        h.cents_uncertainty = None;
    });
    change(7, Verdict::Right, &[Flag::Clipped], |_| {});
    let mut pass = pass(1, notes);
    pass.timing.tempo_from_to_bpm = Some((96.4, 94.9));
    pass.extras = vec![ExtraNote {
        onset_s: 3.7,
        midi: Some(38.1),
        release_s: 3.78,
        level_dbfs: -30.0,
        after_index: Some(2),
    }];
    pass.bleed = Some(vec![Bleed {
        midi: 38.02,
        string: Some(3),
        kind: BleedKind::LeftRinging,
        from_s: 4.531,
        to_s: 5.102,
        level_db: -18.04,
        during: vec![4],
        after: Some(3),
        evidence: 12.3,
    }]);
    pass.tally = Tally::count(&pass.notes, &pass.extras);
    let mut result = of_passes(
        "flawed.wav",
        line(),
        &expected(),
        vec![pass],
        Agreement::Recognised,
    );
    result.take.dropped_frames = 480;
    result.take.sound_notes =
        vec!["The take is overdriven in 3 places: turn the input down.".into()];
    result
}

/// A take of some other music.
pub(crate) fn another_line() -> TakeResult {
    let mut pass = pass(1, clean_notes());
    pass.judged = false;
    pass.notes.clear();
    pass.timing.spread_ms = None;
    pass.tally = Tally::default();
    let agreement = Agreement::AnotherLine(0.25);
    of_passes("other.wav", line(), &expected(), vec![pass], agreement)
}

/// A take in which nobody plays.
pub(crate) fn nothing_heard() -> TakeResult {
    let agreement = Agreement::NothingHeard(-71.26);
    let mut result = of_passes("silent.wav", line(), &expected(), Vec::new(), agreement);
    result.take.loudest_dbfs = Some(-71.26);
    result
}

/// A bar of sixteenths, all late and with gaps, and a bar so full that it must be cut; the last
/// notes lie beyond the last bar, one has no place, and two sound together.
pub(crate) fn dense() -> TakeResult {
    let template = clean_notes().swap_remove(0);
    let mut notes = Vec::new();
    for index in 0..60 {
        let mut note = template.clone();
        let onset_quarters = match index {
            0..16 => index as f64 / 4.0,
            16..56 => 4.0 + (index - 16) as f64 / 10.0,
            _ => 8.0 + (index - 56) as f64,
        };
        note.expected.index = index;
        note.expected.onset_quarters = onset_quarters;
        note.expected.beat = 1.0 + onset_quarters % 4.0;
        note.expected.bar = 1 + (onset_quarters / 4.0) as u32;
        note.expected.place = (index != 20).then_some(Place {
            string: 1 + (index % 4) as u8,
            fret: (index % 13) as u8,
        });
        if index < 16 {
            note.flags = vec![Flag::Late, Flag::Gap];
            if let Some(heard) = &mut note.heard {
                heard.timing_ms = Some(100.0 + index as f64);
                heard.gap_ms = Some(200.0 + index as f64);
            }
        }
        notes.push(note);
    }
    notes[57].expected.onset_quarters = 8.0;
    let expected: Vec<ExpectedNote> = notes.iter().map(|note| note.expected.clone()).collect();
    let extra = |onset_s: f64, midi: Option<f64>, after_index: Option<usize>| ExtraNote {
        onset_s,
        midi,
        release_s: onset_s + 0.1,
        level_dbfs: -30.0,
        after_index,
    };
    let mut pass = pass(1, notes);
    pass.extras = vec![extra(1.0, None, None), extra(9.0, Some(45.0), Some(59))];
    pass.tally = Tally::count(&pass.notes, &pass.extras);
    let agreement = Agreement::Recognised;
    of_passes("dense.wav", line(), &expected, vec![pass], agreement)
}
