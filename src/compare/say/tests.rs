//! Findings over several passes, built by hand: what stands first, where to start, which tempo
//! holds. Closed form: each pass is put together note by note.

use crate::compare::Settings;
use crate::compare::judgement::{
    Agreement, Beginning, FindingKind, Flag, HeardPart, JudgedNote, Judgement, PassJudgement,
    Stumble, Tally, Timing, TimingMode, Verdict,
};
use crate::compare::whole::put_together;
use crate::music::expected::{ExpectedNote, JoinKind, Place};

/// Eight bars of quarters on the fifth to the eighth fret of the lowest string.
fn line() -> Vec<ExpectedNote> {
    (0..32)
        .map(|index| ExpectedNote {
            index,
            bar: 1 + index as u32 / 4,
            printed_bar: 1 + index as u32 / 4,
            beat: 1.0 + (index % 4) as f64,
            onset_quarters: index as f64,
            length_quarters: 1.0,
            onset_s: index as f64 * 0.6,
            length_s: 0.6,
            midi: 33 + (index % 4) as u8,
            place: Some(Place {
                string: 4,
                fret: 5 + (index % 4) as u8,
            }),
            legato_next: index < 31,
            join: (index < 31).then_some(JoinKind::Shift),
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

/// A faultless pass through some bars at a tempo.
fn pass(number: usize, bars: (u32, u32), bpm: f64) -> PassJudgement {
    let own = line()
        .into_iter()
        .filter(|n| (bars.0..=bars.1).contains(&n.bar));
    let notes: Vec<JudgedNote> = own
        .map(|expected| JudgedNote {
            heard: Some(HeardPart {
                midi: Some(f64::from(expected.midi)),
                cents: Some(0.0),
                cents_uncertainty: Some(1.0),
                onset_s: expected.onset_s,
                release_s: expected.onset_s + 0.6,
                level_dbfs: -20.0,
                loudness_db: Some(-20.0),
                level_db: None,
                level_uncertainty_db: None,
                brightness: None,
                buzz_nats: None,
                timing_ms: Some(0.0),
                timing_uncertainty_ms: Some(1.0),
                gap_ms: Some(0.0),
                gap_uncertainty_ms: None,
                gap_depth_db: Some(0.0),
                heard_at_s: expected.onset_s,
                named_at_s: None,
                named_midi: None,
            }),
            verdict: Verdict::Right,
            flags: Vec::new(),
            expected,
        })
        .collect();
    PassJudgement {
        number,
        bars,
        from_s: 0.0,
        to_s: 1.0,
        began: Beginning::Loop,
        complete: true,
        judged: true,
        stumbles: Vec::new(),
        timing: Timing {
            offset_s: Some(0.0),
            tempo_bpm: Some(bpm),
            tempo_from_to_bpm: None,
            mode: TimingMode::Free,
            spread_ms: Some(5.0),
            mean_ms: Some(0.0),
            offbeats_ms: None,
        },
        evenness: None,
        tally: Tally::default(),
        notes,
        extras: Vec::new(),
        bleed: None,
        undecided: Vec::new(),
    }
}

fn note(pass: &mut PassJudgement, index: usize) -> &mut JudgedNote {
    let found = pass.notes.iter_mut().find(|n| n.expected.index == index);
    found.expect("a note of the pass")
}

fn gap(pass: &mut PassJudgement, index: usize, ms: f64) {
    let note = note(pass, index);
    note.flags.push(Flag::Gap);
    note.heard.as_mut().expect("heard").gap_ms = Some(ms);
}

fn late(pass: &mut PassJudgement, index: usize, ms: f64, doubt_ms: f64) {
    let note = note(pass, index);
    note.flags.push(Flag::Late);
    let part = note.heard.as_mut().expect("heard");
    part.timing_ms = Some(ms);
    part.timing_uncertainty_ms = Some(doubt_ms);
}

fn wrong(pass: &mut PassJudgement, index: usize) {
    let note = note(pass, index);
    note.verdict = Verdict::Wrong;
    note.heard.as_mut().expect("heard").midi = Some(40.0);
}

fn judged(passes: Vec<PassJudgement>) -> Judgement {
    let line = line();
    let settings = Settings::default();
    put_together(
        &line,
        passes,
        (Agreement::Recognised, None),
        false,
        &settings,
    )
}

/// A fault is told once for all passes, with how many show it and how it went.
#[test]
fn a_fault_of_several_passes_is_one_finding() {
    let mut passes: Vec<PassJudgement> = (1..=4).map(|k| pass(k, (1, 2), 100.0)).collect();
    for (pass, ms) in passes.iter_mut().zip([120.0, 90.0, 70.0]) {
        gap(pass, 3, ms);
    }
    let judgement = judged(passes);
    let [only] = judgement.findings.as_slice() else {
        panic!("{:#?}", judgement.findings);
    };
    assert_eq!(
        (only.kind, only.index, only.of),
        (FindingKind::Gap, Some(3), 4)
    );
    assert_eq!(
        (only.passes.as_slice(), only.size),
        ([1, 2, 3].as_slice(), 90.0)
    );
    assert_eq!(
        only.sentence,
        "bar 1 beat 4, shift from C2 (4:8) to A1 (4:5): a clear gap, usually 90 ms, in 3 of 4 \
         passes, shorter each time"
    );
}

/// What spoils the line most stands first, whatever its kind; how many passes show it counts.
#[test]
fn findings_stand_in_the_order_of_their_weight() {
    let mut one = pass(1, (1, 8), 100.0);
    gap(&mut one, 3, 45.0);
    late(&mut one, 9, 30.0, 1.0);
    wrong(&mut one, 14);
    note(&mut one, 20).flags.push(Flag::Dead);
    let kinds = |judgement: &Judgement| -> Vec<FindingKind> {
        judgement
            .findings
            .iter()
            .map(|finding| finding.kind)
            .collect()
    };
    use FindingKind::{Dead, Gap, Timing, Wrong};
    assert_eq!(
        kinds(&judged(vec![one.clone()])),
        [Wrong, Dead, Gap, Timing]
    );
    // The slight gap in five passes weighs 7.5, the wrong note in one 6.
    let mut passes = vec![one];
    for k in 2..=5 {
        let mut again = pass(k, (1, 2), 100.0);
        gap(&mut again, 3, 45.0);
        passes.push(again);
    }
    assert_eq!(kinds(&judged(passes)), [Gap, Wrong, Dead, Timing]);
}

/// The join that holds most of its bar is named by itself, with the bars on both sides of it.
#[test]
fn the_start_is_a_join_or_a_bar() {
    let mut one = pass(1, (1, 8), 100.0);
    gap(&mut one, 7, 100.0);
    late(&mut one, 5, 40.0, 1.0);
    wrong(&mut one, 14);
    let start = judged(vec![one.clone()]).start_here().expect("a passage");
    assert_eq!(start.bars, (2, 3));
    assert!(
        start.sentence.starts_with("bar 2 beat 4, shift"),
        "{}",
        start.sentence
    );
    // At eight tenths of the tempo it was played at.
    assert!((start.tempo_bpm.expect("a tempo") - 80.0).abs() < 1e-9);
    wrong(&mut one, 13);
    let start = judged(vec![one]).start_here().expect("a passage");
    assert_eq!((start.bars, start.finding), ((4, 4), None));
    assert_eq!(start.sentence, "bar 4: 2 wrong notes");
    assert_eq!(judged(vec![pass(1, (1, 8), 100.0)]).start_here(), None);
}

/// A pass that was broken off is told, but is no passage to start with; a stumble is.
#[test]
fn breaking_off_is_no_place_to_start() {
    let mut first = pass(1, (1, 1), 100.0);
    first.complete = false;
    first.notes.truncate(3);
    let mut second = pass(2, (1, 8), 100.0);
    second.began = Beginning::WentBack;
    let judgement = judged(vec![first.clone(), second.clone()]);
    assert_eq!(
        judgement.findings[0].sentence,
        "stopped at bar 1 beat 3, then went back to bar 1, only in pass 1"
    );
    assert_eq!(judgement.start_here(), None);
    second.stumbles.push(Stumble {
        index: 9,
        bar: 3,
        beat: 2.0,
        pause_s: 0.62,
    });
    let judgement = judged(vec![first, second]);
    assert_eq!(
        judgement.findings[0].sentence,
        "a stumble at bar 3 beat 2, 0.6 s, in pass 2"
    );
    assert_eq!(judgement.start_here().expect("a passage").bars, (3, 3));
}

/// A number whose doubt is more than a quarter of it says so.
#[test]
fn a_doubtful_number_says_so() {
    let mut one = pass(1, (1, 8), 100.0);
    late(&mut one, 9, 45.0, 11.5);
    assert_eq!(
        judged(vec![one]).findings[0].sentence,
        "bar 3 beat 2: Bb1 (4:6) is late by about 45 ms, give or take 12"
    );
}

/// A pass that could not be judged says so and shows nothing else.
#[test]
fn a_pass_that_was_not_judged_is_told() {
    let mut odd = pass(2, (2, 3), 100.0);
    odd.judged = false;
    odd.notes.clear();
    let judgement = judged(vec![pass(1, (1, 8), 100.0), odd]);
    assert_eq!(
        judgement.findings[0].sentence,
        "pass 2, bars 2 to 3: too little of it was recognised to judge it"
    );
}

#[test]
fn the_tempo_that_holds_is_told() {
    let limit = |passes: Vec<PassJudgement>| judged(passes).tempo_limit();
    let clean = |number, bpm| pass(number, (1, 8), bpm);
    assert_eq!(limit(vec![clean(1, 84.0), clean(2, 86.0)]), None);
    assert_eq!(
        limit(vec![clean(1, 92.0), clean(2, 70.0), clean(3, 84.0)]).as_deref(),
        Some("clean at every tempo, from 70 to 92")
    );
    let mut fast = clean(3, 92.0);
    gap(&mut fast, 7, 80.0);
    assert_eq!(
        limit(vec![clean(1, 70.0), clean(2, 84.0), fast.clone()]).as_deref(),
        Some("clean to 84; at 92 the shift into bar 3 opens")
    );
    let mut slow = clean(1, 70.0);
    wrong(&mut slow, 9);
    assert_eq!(
        limit(vec![slow, clean(2, 84.0)]).as_deref(),
        Some("not clean yet at 70, the slowest of its tempos: bar 3 beat 2 goes wrong")
    );
    // Bars that were only ever played fast say nothing about the tempo.
    assert_eq!(
        limit(vec![pass(1, (5, 6), 70.0), fast]).as_deref(),
        Some("clean at every tempo, from 70 to 92")
    );
}
