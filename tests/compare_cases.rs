//! Single cases of the comparison, each built by hand: what was done is known, so that what must
//! be said is known (closed form).

mod compare_support;

use compare_support::{Chance, Kind, Player, event, exactly, line, play};
use seamline::compare::judgement::{Agreement, BleedKind, Flag, JudgedNote, TimingMode, Verdict};
use seamline::compare::marks::Marks;
use seamline::compare::usual::{Usual, UsualGap};
use seamline::compare::{Settings, judge, judge_with_rings};
use seamline::hearing::events::{EndCause, HeardNote, HeardRing, RingFeatures};
use seamline::music::expected::{ExpectedNote, JoinKind};

fn scale(bars: u32) -> Vec<ExpectedNote> {
    line(Kind::Scale, bars, 100.0, &mut Chance(5))
}

#[test]
fn a_played_line_is_right_and_nothing_is_found() {
    let line = scale(4);
    let judgement = judge(&line, &exactly(&line, 3.0), &Settings::default());
    assert_eq!(judgement.tally.right, line.len());
    assert!(judgement.findings.is_empty(), "{:#?}", judgement.findings);
    assert!((judgement.timing.offset_s.unwrap() - 3.0).abs() < 1e-3);
    assert!((judgement.timing.tempo_bpm.unwrap() - 100.0).abs() < 0.05);
}

#[test]
fn silence_is_said_to_be_silence() {
    let line = scale(4);
    let settings = Settings {
        loudest_dbfs: -71.0,
        ..Settings::default()
    };
    let hum = [event(0.2, Some(34.2), -3.0), event(1.9, None, -2.0)];
    for heard in [&hum[..], &[]] {
        let judgement = judge(&line, heard, &settings);
        assert_eq!(judgement.agreement, Agreement::NothingHeard(-71.0));
        let unreached = |note: &JudgedNote| note.verdict == Verdict::Unreached;
        assert!(judgement.notes.len() == line.len() && judgement.notes.iter().all(unreached));
        assert_eq!(judgement.findings.len(), 1);
        assert!(judgement.extras.is_empty() && judgement.timing.offset_s.is_none());
    }
    let judgement = judge(&[], &exactly(&line, 1.0), &settings);
    assert!(judgement.notes.is_empty() && judgement.extras.is_empty());
}

/// Figures that are no numbers, notes at one moment, and times without order do no harm.
#[test]
fn no_input_makes_it_panic() {
    let line = scale(2);
    let mut heard = exactly(&line, 1.0);
    for (k, note) in heard.iter_mut().enumerate() {
        match k % 5 {
            0 => note.onset_s = f64::NAN,
            1 => note.evidence = f64::NAN,
            2 => note.pitch.as_mut().unwrap().midi = f64::INFINITY,
            3 => note.release_s = f64::NAN,
            _ => note.onset_s = 1.0,
        }
    }
    heard.reverse();
    assert_eq!(
        judge(&line, &heard, &Settings::default()).notes.len(),
        line.len()
    );
    let mut broken = line.clone();
    broken[3].onset_s = f64::NAN;
    let judgement = judge(&broken, &exactly(&line, 1.0), &Settings::default());
    assert_eq!((judgement.tally.missed, judgement.passes.len()), (0, 0));
    let together: Vec<ExpectedNote> = line
        .iter()
        .map(|n| ExpectedNote {
            onset_s: 0.0,
            ..n.clone()
        })
        .collect();
    assert_eq!(
        judge(&together, &exactly(&line, 1.0), &Settings::default())
            .notes
            .len(),
        line.len()
    );
}

/// Two neighbours in each other's place are two wrong notes, told in one sentence.
#[test]
fn a_swap_is_two_wrong_notes() {
    let line = scale(4);
    let k = (4..line.len())
        .find(|&k| line[k].midi != line[k + 1].midi)
        .unwrap();
    let mut heard = exactly(&line, 2.0);
    let (a, b) = (heard[k].pitch, heard[k + 1].pitch);
    (heard[k].pitch, heard[k + 1].pitch) = (b, a);
    let judgement = judge(&line, &heard, &Settings::default());
    assert_eq!(
        (
            judgement.tally.wrong,
            judgement.tally.missed,
            judgement.tally.extra
        ),
        (2, 0, 0)
    );
    assert_eq!(judgement.notes[k].verdict, Verdict::Wrong);
    assert_eq!(judgement.findings.len(), 1);
    assert!(
        judgement.findings[0]
            .sentence
            .contains("each other's place")
    );
}

/// Damps a note some milliseconds before the next one.
fn damp(note: &mut HeardNote, silence_ms: f64, depth_db: f64) {
    note.release_s -= silence_ms / 1e3;
    note.end = EndCause::Damped;
    note.depth_db = depth_db;
}

#[test]
fn gaps_are_measured_and_ranked() {
    let mut line = scale(4);
    line[5].join = Some(JoinKind::Shift);
    let mut heard = exactly(&line, 2.0);
    damp(&mut heard[5], 84.0, 20.0);
    damp(&mut heard[9], 45.0, 14.0);
    damp(&mut heard[12], 20.0, 20.0); // a touch
    damp(&mut heard[14], 60.0, 4.0); // not deep enough
    let judgement = judge(&line, &heard, &Settings::default());
    let flagged: Vec<usize> = (0..line.len())
        .filter(|&k| judgement.notes[k].flags.contains(&Flag::Gap))
        .collect();
    assert_eq!(flagged, [5, 9]);
    let gap_ms = judgement.notes[5].heard.as_ref().unwrap().gap_ms.unwrap();
    assert!((gap_ms - 84.0).abs() < 1e-6);
    let said: Vec<&str> = judgement
        .findings
        .iter()
        .map(|f| f.sentence.as_str())
        .collect();
    assert!(
        said[0].contains("shift from") && said[0].contains("84 ms"),
        "{said:?}"
    );
    assert!(
        said[0].contains("a clear gap") && said[1].contains("a slight gap"),
        "{said:?}"
    );
}

/// A player who touches the string 35 ms before every pluck has that as a baseline: what counts
/// then is only what goes beyond the mark, and a join of 38 ms among joins of 2 ms stands out.
#[test]
fn the_baseline_is_the_players_own() {
    let line = scale(4);
    let mut heard = exactly(&line, 2.0);
    let last = heard.len() - 1;
    for note in &mut heard[..last] {
        damp(note, 35.0, 20.0);
    }
    assert_eq!(judge(&line, &heard, &Settings::default()).tally.gaps, 0);
    let mut heard = exactly(&line, 2.0);
    for note in &mut heard[..last] {
        damp(note, 2.0, 20.0);
    }
    damp(&mut heard[7], 38.0, 0.0);
    let judgement = judge(&line, &heard, &Settings::default());
    assert_eq!(judgement.tally.gaps, 0, "not deep");
    heard[7].depth_db = 20.0;
    assert_eq!(judge(&line, &heard, &Settings::default()).tally.gaps, 1);
}

/// A take with too few joins to tell is held against what the player usually leaves: 38 ms stand
/// out from a usual 2 ms, and from nothing else that is known.
#[test]
fn a_short_take_is_held_against_what_is_usual() {
    let mut line = scale(1);
    line.truncate(5);
    line.iter_mut().for_each(|n| n.join = Some(JoinKind::Shift));
    let mut heard = exactly(&line, 2.0);
    damp(&mut heard[1], 38.0, 20.0);
    let gaps = |usual: Vec<UsualGap>| {
        let settings = Settings {
            usual: Usual {
                gaps: usual,
                ..Usual::default()
            },
            ..Settings::default()
        };
        judge(&line, &heard, &settings).tally.gaps
    };
    let shift = UsualGap {
        join: JoinKind::Shift,
        joins: 30,
        middle_ms: 2.0,
        spread_ms: 1.0,
    };
    assert_eq!(gaps(vec![]), 0);
    assert_eq!(gaps(vec![shift]), 1);
    let (join, middle_ms) = (JoinKind::Open, 35.0);
    assert_eq!(gaps(vec![UsualGap { join, ..shift }]), 0, "another kind");
    assert_eq!(gaps(vec![UsualGap { middle_ms, ..shift }]), 0, "usual");
}

/// An open string that begins with a note, far louder than it was heard to answer, was hit; one that
/// is as loud as it answers, or comes later, or was never measured, is not accused of that.
#[test]
fn a_string_hit_along_is_told_from_one_that_answers() {
    let line = scale(4);
    let heard = exactly(&line, 2.0);
    let played = heard[4].pitch.expect("a pitch").midi;
    let open = [43u8, 38, 33, 28];
    // One without a partial in common with what is played, as far as that goes.
    let k = (0..4)
        .find(|k| [1.0, 2.0, 6.0].contains(&(played - f64::from(open[*k])).rem_euclid(12.0)))
        .expect("a string");
    let kind = |later_s: f64, answers_db: Option<f64>| {
        let ring = HeardRing {
            midi: f64::from(open[k]),
            source_onset_s: None,
            from_s: heard[4].onset_s + later_s,
            to_s: heard[4].onset_s + later_s + 0.25,
            level_db: -15.0,
            evidence: 6.0,
            features: RingFeatures {
                first_db: -15.0,
                level_db: -15.0,
                clear_db: 25.0,
                share: 0.9,
                own: 6.0,
                scatter_db: 1.0,
                carried: None,
                at_onset: true,
            },
        };
        let mut answers = vec![None; 4];
        answers[k] = answers_db;
        let settings = Settings {
            usual: Usual {
                answers_db: answers,
                ..Usual::default()
            },
            ..Settings::default()
        };
        let bleed = judge_with_rings(&line, &heard, Some(&[ring]), &settings).bleed;
        bleed.expect("listened for").first().map(|b| b.kind)
    };
    assert_eq!(kind(0.0, Some(-40.0)), Some(BleedKind::StruckAlong));
    assert_eq!(
        kind(0.0, Some(-20.0)),
        Some(BleedKind::OpenString),
        "its answer"
    );
    assert_eq!(kind(0.0, None), Some(BleedKind::OpenString), "not measured");
    assert_eq!(kind(0.1, Some(-40.0)), Some(BleedKind::OpenString), "later");
}

/// A ripple that the ear cuts off from a note does not hide the note's end, and a missed note or
/// an extra leaves nothing to say about the join.
#[test]
fn joins_are_only_judged_where_both_sides_are_known() {
    let line = scale(4);
    let mut heard = exactly(&line, 2.0);
    let ripple_s = heard[6].onset_s + 0.1;
    let mut ripple = event(ripple_s, None, -4.0);
    ripple.release_s = heard[6].release_s - 0.07;
    (ripple.end, ripple.depth_db) = (EndCause::Damped, 18.0);
    heard[6].release_s = ripple_s;
    heard.push(ripple);
    heard.remove(12); // note 12 is missed
    let judgement = judge(&line, &heard, &Settings::default());
    let gap = |k: usize| {
        judgement.notes[k]
            .heard
            .as_ref()
            .and_then(|part| part.gap_ms)
    };
    assert!((gap(6).unwrap() - 70.0).abs() < 1e-6);
    assert!(judgement.notes[6].flags.contains(&Flag::Gap));
    assert_eq!(
        (gap(11), judgement.notes[12].verdict),
        (None, Verdict::Missed)
    );
}

#[test]
fn tuning_needs_to_be_clear() {
    let line = scale(4);
    let mut heard = exactly(&line, 2.0);
    let mut set = |k: usize, cents: f64, sd: f64| {
        let pitch = heard[k].pitch.as_mut().unwrap();
        pitch.midi += cents / 100.0;
        pitch.uncertainty_cents = sd;
    };
    set(3, 24.0, 8.0); // within its doubt
    set(4, 35.0, 3.0);
    set(5, -45.0, 3.0);
    set(6, 100.0, 12.0);
    let notes = judge(&line, &heard, &Settings::default()).notes;
    assert_eq!(notes[3].flags, []);
    assert_eq!(notes[4].flags, [Flag::Sharp]);
    assert_eq!(notes[5].flags, [Flag::Flat]);
    assert_eq!(
        (notes[6].verdict, &notes[6].flags[..]),
        (Verdict::Wrong, &[][..])
    );
}

#[test]
fn dead_and_clipped_notes_are_flagged() {
    let mut line = scale(4);
    line[8].legato_next = false;
    line[10].legato_next = false;
    line[10].staccato = true;
    let mut heard = exactly(&line, 2.0);
    heard[4].early_fall_db = Some(25.0);
    heard[6].pitch = None;
    for k in [8, 10] {
        heard[k].release_s = heard[k].onset_s + 0.05;
        heard[k].end = EndCause::Damped;
    }
    let judgement = judge(&line, &heard, &Settings::default());
    let flagged: Vec<(usize, Vec<Flag>)> = (0..line.len())
        .map(|k| (k, judgement.notes[k].flags.clone()))
        .filter(|(_, flags)| !flags.is_empty())
        .collect();
    assert_eq!(
        flagged,
        [
            (4, vec![Flag::Dead]),
            (6, vec![Flag::Dead]),
            (8, vec![Flag::Clipped])
        ]
    );
}

/// With a click the tempo is the written one: who drifts by 1 % is late in the end.
#[test]
fn a_click_is_a_click() {
    let line = line(Kind::Scale, 8, 100.0, &mut Chance(5));
    let player = Player {
        stretch: (1.01, 1.01),
        jitter_s: 0.0,
        ..Player::good()
    };
    let heard = play(&line, &player, &mut Chance(1)).heard;
    let click = Settings {
        mode: TimingMode::Click,
        marks: Marks::default(),
        ..Settings::default()
    };
    assert_eq!(judge(&line, &heard, &Settings::default()).tally.late, 0);
    let judgement = judge(&line, &heard, &click);
    assert!(
        judgement.tally.late > 5 && judgement.tally.early > 5,
        "{:?}",
        judgement.tally
    );
    assert_eq!(judgement.tally.right, line.len());
    assert_eq!(judgement.timing.tempo_bpm.map(f64::round), Some(100.0));
}

/// Members of a chord stand or fall together, and one pluck is enough for them.
#[test]
fn a_chord_is_judged_by_the_note_that_was_heard() {
    let mut line = scale(4);
    let mut upper = line[line.len() - 1].clone();
    upper.index += 1;
    upper.midi += 10;
    upper.with_previous = true;
    line.push(upper);
    let heard = exactly(&line[..line.len() - 1], 2.0);
    let judgement = judge(&line, &heard, &Settings::default());
    assert_eq!(
        (judgement.tally.right, judgement.tally.extra),
        (line.len(), 0)
    );
    assert!(
        judgement.notes[line.len() - 1]
            .heard
            .as_ref()
            .unwrap()
            .midi
            .is_none()
    );
}

/// The doubt of a gap is the release's and the next onset's; where both are one moment, the release's.
#[test]
fn the_doubt_of_a_gap_is_that_of_both_its_ends() {
    let line = scale(4);
    let mut heard = exactly(&line, 2.0);
    damp(&mut heard[5], 84.0, 20.0);
    for (k, sd_s) in [(5, Some(0.003)), (6, Some(0.005)), (7, None)] {
        heard[k].release_uncertainty_s = sd_s;
        heard[k + 1].onset_uncertainty_s = 0.004;
    }
    let judgement = judge(&line, &heard, &Settings::default());
    for (k, wanted_ms) in [(5, Some(5.0)), (6, Some(5.0)), (7, None)] {
        let part = judgement.notes[k].heard.as_ref().unwrap();
        let got_ms = part.gap_uncertainty_ms.map(|ms| (1e6 * ms).round() / 1e6);
        assert_eq!(got_ms, wanted_ms, "{k}");
    }
}

/// A muted string is a thump: it has a time, a pitch that means nothing, and dies at once. Where the
/// line writes a ghost note it is right and nothing of it is a fault; the same thump at a written
/// pitch is dead. A ghost note of which nothing is heard is missed.
#[test]
fn ghost_notes_are_heard_as_such() {
    let mut line = scale(4);
    for at in [3, 9] {
        line[at].ghost = true;
        line[at].legato_next = false;
        line[at - 1].legato_next = false;
    }
    let thump = |heard: &mut HeardNote, midi: f64| {
        let mut pitch = heard.pitch.expect("a pitch");
        pitch.midi = midi;
        pitch.clarity = 0.5;
        heard.pitch = Some(pitch);
        heard.early_fall_db = Some(30.0);
        heard.release_s = heard.onset_s + 0.05;
        heard.end = EndCause::Damped;
    };
    let mut heard = exactly(&line, 1.0);
    let written = f64::from(line[3].midi);
    thump(&mut heard[3], written + 5.0);
    let judgement = judge(&line, &heard, &Settings::default());
    assert_eq!(judgement.notes[3].verdict, Verdict::Right);
    assert!(
        judgement.notes[3].flags.is_empty(),
        "{:?}",
        judgement.notes[3].flags
    );
    assert_eq!(judgement.tally.right, line.len());

    line[3].ghost = false;
    let judgement = judge(&line, &heard, &Settings::default());
    assert!(judgement.notes[3].flags.contains(&Flag::Dead));

    heard.remove(9);
    let judgement = judge(&line, &heard, &Settings::default());
    assert_eq!(judgement.notes[9].verdict, Verdict::Missed);
}

/// A grace note that the line writes is no extra; another pitch there, or the same one without the
/// line writing it, is.
#[test]
fn written_grace_notes_are_not_judged() {
    let mut line = scale(4);
    let (at, grace) = (6, line[6].midi + 2);
    line[at].graces = vec![grace];
    let mut heard = exactly(&line, 1.0);
    let onset_s = heard[at].onset_s - 0.07;
    heard.insert(at, event(onset_s, Some(f64::from(grace)), 6.0));
    let extras = |line: &[ExpectedNote], heard: &[HeardNote]| {
        judge(line, heard, &Settings::default()).extras.len()
    };
    assert_eq!(extras(&line, &heard), 0);
    let mut other = heard.clone();
    other[at] = event(onset_s, Some(f64::from(grace) + 5.0), 6.0);
    assert_eq!(extras(&line, &other), 1);
    line[at].graces.clear();
    assert_eq!(extras(&line, &heard), 1);
}
