//! Sentences a player can act on, made from verdicts and flags: grouped, and ranked within their
//! kind with the worst first.

use std::collections::BTreeSet;

use crate::compare::judgement::{
    Agreement, Beginning, Bleed, BleedKind, ExtraNote, Finding, FindingKind, Flag, HeardPart,
    JudgedNote, PassJudgement, Timing, Verdict,
};
use crate::compare::say::words::{
    bars_and_beats, beat, count, open_string, pitch_class, pitch_name, place, seconds,
};
use crate::compare::{Settings, median};

/// Notes of one string that must be out of tune alike before the string is named, not the notes.
const STRING_NOTES: usize = 3;
/// A change of tempo worth a sentence, as a share. The just noticeable one is 1.5 to 3 % (Drake &
/// Botte 1993, from memory).
const DRIFT_SHARE: f64 = 0.03;
/// Share of wrong notes that lie the same distance off before the tuning is suspected.
const TRANSPOSED_SHARE: f64 = 0.8;
/// Fewest wrong notes for that.
const TRANSPOSED_NOTES: usize = 5;

/// All findings, in the order of their kinds, worst first within each.
pub(crate) fn find(
    settings: &Settings,
    passes: &[PassJudgement],
    notes: &[JudgedNote],
    extras: &[ExtraNote],
    bleed: &[Bleed],
    agreement: Agreement,
    timing: &Timing,
) -> Vec<Finding> {
    let mut findings = take(passes, notes, agreement);
    if matches!(agreement, Agreement::NothingHeard(_)) {
        return findings;
    }
    findings.extend(gaps(settings, notes));
    findings.extend(wrong(notes));
    findings.extend(missed(notes));
    findings.extend(extra(notes, extras));
    findings.extend(rings(settings, notes, bleed));
    findings.extend(each(notes, Flag::Dead, FindingKind::Dead, |note, _| {
        format!(
            "{}: {} is dead, it hardly rings",
            place(&note.expected),
            written(note)
        )
    }));
    findings.extend(each(
        notes,
        Flag::Clipped,
        FindingKind::Clipped,
        |note, part| {
            format!(
                "{}: {} is clipped, it lasts {} ms",
                place(&note.expected),
                written(note),
                (1e3 * (part.release_s - part.onset_s)).round()
            )
        },
    ));
    findings.extend(timings(notes, timing));
    findings.extend(tuning(notes));
    findings
}

fn finding(kind: FindingKind, index: Option<usize>, size: f64, sentence: String) -> Finding {
    Finding {
        kind,
        index,
        size,
        sentence,
    }
}

fn written(note: &JudgedNote) -> String {
    pitch_name(f64::from(note.expected.midi))
}

/// The worst first; equals in the order of the line.
fn ranked(mut findings: Vec<Finding>) -> Vec<Finding> {
    findings.sort_by(|a, b| b.size.total_cmp(&a.size).then(a.index.cmp(&b.index)));
    findings
}

/// One sentence for each note with a flag, in the order of the line.
fn each(
    notes: &[JudgedNote],
    flag: Flag,
    kind: FindingKind,
    say: impl Fn(&JudgedNote, &HeardPart) -> String,
) -> Vec<Finding> {
    notes
        .iter()
        .filter(|note| note.flags.contains(&flag))
        .filter_map(|note| {
            let part = note.heard.as_ref()?;
            Some(finding(
                kind,
                Some(note.expected.index),
                0.0,
                say(note, part),
            ))
        })
        .collect()
}

/// About the take as a whole.
fn take(passes: &[PassJudgement], notes: &[JudgedNote], agreement: Agreement) -> Vec<Finding> {
    let say =
        |index: Option<usize>, sentence: String| finding(FindingKind::Take, index, 0.0, sentence);
    let mut findings = Vec::new();
    match agreement {
        Agreement::NothingHeard(level_dbfs) => {
            let level = if level_dbfs.is_finite() {
                format!("; the loudest moment of the take is at {level_dbfs:.0} dBFS")
            } else {
                String::new()
            };
            return vec![say(None, format!("no note was heard{level}"))];
        }
        Agreement::AnotherLine(share) => findings.push(say(
            None,
            format!(
                "this does not sound like the line: {:.0} % of its notes were heard",
                100.0 * share
            ),
        )),
        Agreement::Recognised => {}
    }
    if let Some(sentence) = transposed(notes) {
        findings.push(say(None, sentence));
    }
    for (k, pass) in passes.iter().enumerate().filter(|(_, pass)| pass.judged) {
        for stumble in &pass.stumbles {
            let of = if passes.len() > 1 {
                format!(" in pass {}", pass.number)
            } else {
                String::new()
            };
            let sentence = format!(
                "a stumble at bar {} beat {}{of}, {}",
                stumble.bar,
                beat(stumble.beat),
                seconds(stumble.pause_s)
            );
            findings.push(say(Some(stumble.index), sentence));
        }
        let stopped = pass.notes.last().filter(|_| !pass.complete);
        let Some(last) = stopped else { continue };
        let next = passes.get(k + 1).map(|next| match next.began {
            Beginning::WentOn => format!(", then went on to bar {}", next.bars.0),
            _ => format!(", then went back to bar {}", next.bars.0),
        });
        let sentence = format!(
            "stopped at {}{}",
            place(&last.expected),
            next.unwrap_or_default()
        );
        findings.push(say(Some(last.expected.index), sentence));
    }
    findings
}

/// A click louder than this in the recording, against the take in decibels, may hide notes.
const LOUD_CLICK_DB: f64 = -20.0;

/// That the click is too loud in the recording.
pub(crate) fn loud_click(click_db: Option<f64>) -> Option<Finding> {
    let loud = click_db.filter(|&db| db > LOUD_CLICK_DB)?;
    let sentence = format!(
        "the click is loud in the recording, about {loud:.0} dB under the bass: soft notes on a beat \
         may be missed; wear headphones"
    );
    Some(finding(FindingKind::Take, None, 0.0, sentence))
}

/// A bass tuned differently from the line makes all notes wrong by the same distance.
fn transposed(notes: &[JudgedNote]) -> Option<String> {
    let mut off: Vec<f64> = notes
        .iter()
        .filter_map(|note| {
            Some((note.heard.as_ref()?.midi? - f64::from(note.expected.midi)).round())
        })
        .collect();
    let middle = median(&mut off)?;
    let alike = off.iter().filter(|o| **o == middle).count();
    let enough = alike >= TRANSPOSED_NOTES && alike as f64 >= TRANSPOSED_SHARE * off.len() as f64;
    (middle != 0.0 && enough).then(|| {
        let way = if middle > 0.0 { "above" } else { "below" };
        format!(
            "nearly every note sounds {} {way} the written one: is the bass tuned as the line says?",
            count(middle.abs() as usize, "semitone")
        )
    })
}

fn gaps(settings: &Settings, notes: &[JudgedNote]) -> Vec<Finding> {
    let clear_ms = settings.marks.gap_clear_ms;
    let found = notes
        .iter()
        .enumerate()
        .filter(|(_, note)| note.flags.contains(&Flag::Gap));
    ranked(
        found
            .filter_map(|(k, note)| {
                let gap_ms = note.heard.as_ref()?.gap_ms?;
                let size = if gap_ms < clear_ms { "slight" } else { "clear" };
                let next = notes[k + 1..]
                    .iter()
                    .find(|next| !next.expected.with_previous);
                let to = next.map_or(String::new(), |next| format!(" to {}", written(next)));
                let join = note.expected.join.map_or("join", |join| join.word());
                let sentence = format!(
                    "{}, {join} from {}{to}: {gap_ms:.0} ms of silence, a {size} gap",
                    place(&note.expected),
                    written(note)
                );
                Some(finding(
                    FindingKind::Gap,
                    Some(note.expected.index),
                    gap_ms,
                    sentence,
                ))
            })
            .collect(),
    )
}

fn wrong(notes: &[JudgedNote]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut k = 0;
    while k < notes.len() {
        let note = &notes[k];
        if note.verdict == Verdict::Wrong
            && let Some(midi) = note.heard.as_ref().and_then(|part| part.midi)
        {
            let at = place(&note.expected);
            let sentence = if notes.get(k + 1).is_some_and(|next| swapped(note, next)) {
                let next = written(&notes[k + 1]);
                k += 1;
                format!(
                    "{at}: {} and {next} played in each other's place",
                    written(note)
                )
            } else {
                let octaves = (midi - f64::from(note.expected.midi)) / 12.0;
                let octave = match octaves {
                    o if (o.abs() - 1.0).abs() < 0.05 && o > 0.0 => ", an octave high",
                    o if (o.abs() - 1.0).abs() < 0.05 => ", an octave low",
                    _ => "",
                };
                format!(
                    "{at}: played {} for {}{octave}",
                    pitch_name(midi),
                    written(note)
                )
            };
            findings.push(finding(
                FindingKind::Wrong,
                Some(note.expected.index),
                0.0,
                sentence,
            ));
        }
        k += 1;
    }
    findings
}

fn swapped(a: &JudgedNote, b: &JudgedNote) -> bool {
    let midi = |note: &JudgedNote| Some(note.heard.as_ref()?.midi?.round());
    b.verdict == Verdict::Wrong
        && midi(a) == Some(f64::from(b.expected.midi))
        && midi(b) == Some(f64::from(a.expected.midi))
}

/// Missed notes, neighbours in one sentence.
fn missed(notes: &[JudgedNote]) -> Vec<Finding> {
    notes
        .chunk_by(|a, b| (a.verdict == Verdict::Missed) == (b.verdict == Verdict::Missed))
        .filter(|group| group[0].verdict == Verdict::Missed)
        .map(|group| {
            let first = &group[0].expected;
            let sentence = match group {
                [note] => format!("{}: {} was not heard", place(first), written(note)),
                _ => {
                    let span = bars_and_beats(first, &group[group.len() - 1].expected);
                    format!("{span}: {} were not heard", count(group.len(), "note"))
                }
            };
            finding(FindingKind::Missed, Some(first.index), 0.0, sentence)
        })
        .collect()
}

fn extra(notes: &[JudgedNote], extras: &[ExtraNote]) -> Vec<Finding> {
    extras
        .iter()
        .map(|extra| {
            let name = extra.midi.map_or("an extra note".to_owned(), |midi| {
                format!("an extra note, {}", pitch_name(midi))
            });
            let after = extra
                .after_index
                .and_then(|index| notes.iter().find(|note| note.expected.index == index));
            let sentence = match after {
                Some(note) => format!("{}: after {} {name}", place(&note.expected), written(note)),
                None => format!("before the first note: {name}"),
            };
            finding(FindingKind::Extra, extra.after_index, 0.0, sentence)
        })
        .collect()
}

/// Rings, those of one string and one pitch in one sentence, the loudest first.
fn rings(settings: &Settings, notes: &[JudgedNote], bleed: &[Bleed]) -> Vec<Finding> {
    let slight_db = -settings.marks.bleed_slight_below_db;
    let key = |b: &Bleed| (b.string, b.kind, b.midi.round() as i64);
    let mut keys: Vec<_> = bleed.iter().map(key).collect();
    keys.sort_unstable();
    keys.dedup();
    let expected = |index: usize| notes.iter().find(|n| n.expected.index == index);
    let string_name = |string: u8| {
        let open = settings.open_midi.get(usize::from(string) - 1);
        open.map(|&midi| pitch_class(f64::from(midi)))
    };
    let mut findings = Vec::new();
    for which in keys {
        let group: Vec<&Bleed> = bleed.iter().filter(|b| key(b) == which).collect();
        let under: Vec<&JudgedNote> = group
            .iter()
            .flat_map(|b| &b.during)
            .filter_map(|&index| expected(index))
            .collect();
        let bars = under.iter().map(|n| n.expected.bar);
        let place = match (bars.clone().min(), bars.max()) {
            (Some(a), Some(b)) if a == b => format!("under bar {a}"),
            (Some(a), Some(b)) => format!("under bars {a} to {b}"),
            _ => "where nothing should sound".to_owned(),
        };
        let loudest = group.iter().map(|b| b.level_db).fold(f64::MIN, f64::max);
        let what = match which.1 {
            BleedKind::OpenString => format!("open {} rings", pitch_class(group[0].midi)),
            BleedKind::LeftRinging => format!("{} is left ringing", pitch_name(group[0].midi)),
            BleedKind::StruckAlong => {
                format!("open {} is struck along", pitch_class(group[0].midi))
            }
        };
        let times = match group.len() {
            1 => String::new(),
            n => format!(", {}", count(n, "time")),
        };
        let slight = if loudest < slight_db { ", slight" } else { "" };
        // Where every ring follows the same way from string to string, that is the habit to mend.
        let ways: BTreeSet<_> = group
            .iter()
            .map(|b| {
                let next = b.during.first().and_then(|&i| expected(i));
                let to = next.and_then(|n| n.expected.place).map(|p| p.string);
                (b.after.and(b.string), to)
            })
            .collect();
        let way = match (ways.len(), ways.first()) {
            (1, Some(&(Some(from), Some(to)))) if from != to => {
                let always = if group.len() > 1 { "always " } else { "" };
                match (string_name(from), string_name(to)) {
                    (Some(from), Some(to)) => {
                        format!(", {always}after leaving the {from} string for the {to} string")
                    }
                    _ => String::new(),
                }
            }
            _ => String::new(),
        };
        findings.push(finding(
            FindingKind::Bleed,
            under.first().map(|n| n.expected.index),
            loudest,
            format!("{what} {place}, {loudest:.0} dB{slight}{times}{way}"),
        ));
    }
    ranked(findings)
}

/// Early and late notes, those of one bar and one direction in one sentence, and the drift.
fn timings(notes: &[JudgedNote], timing: &Timing) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (flag, word) in [(Flag::Early, "early"), (Flag::Late, "late")] {
        let found: Vec<&JudgedNote> = notes.iter().filter(|n| n.flags.contains(&flag)).collect();
        for group in found.chunk_by(|a, b| a.expected.bar == b.expected.bar) {
            let off = |note: &&JudgedNote| {
                note.heard
                    .as_ref()
                    .and_then(|part| part.timing_ms)
                    .unwrap_or(0.0)
                    .abs()
            };
            let mean_ms = group.iter().map(off).sum::<f64>() / group.len() as f64;
            let first = &group[0].expected;
            let sentence = if group.len() == 1 {
                format!(
                    "{}: {} is {mean_ms:.0} ms {word}",
                    place(first),
                    written(group[0])
                )
            } else {
                format!(
                    "bar {}: {} {word}, by {mean_ms:.0} ms on average",
                    first.bar,
                    count(group.len(), "note")
                )
            };
            findings.push(finding(
                FindingKind::Timing,
                Some(first.index),
                mean_ms,
                sentence,
            ));
        }
    }
    let mut findings = ranked(findings);
    if let Some((from, to)) = timing.tempo_from_to_bpm
        && (to / from - 1.0).abs() >= DRIFT_SHARE
    {
        let word = if to > from { "rises" } else { "falls" };
        let sentence = format!("the tempo {word} from {from:.0} to {to:.0} to the minute");
        findings.push(finding(FindingKind::Timing, None, 0.0, sentence));
    }
    findings
}

/// Sharp and flat notes: a string that is out as a whole is named once.
fn tuning(notes: &[JudgedNote]) -> Vec<Finding> {
    let mut findings = Vec::new();
    let mut told = vec![false; notes.len()];
    let strings: BTreeSet<u8> = notes
        .iter()
        .filter_map(|note| Some(note.expected.place?.string))
        .collect();
    for (flag, word) in [(Flag::Sharp, "sharp"), (Flag::Flat, "flat")] {
        for &string in &strings {
            let on_string = |note: &&JudgedNote| {
                note.verdict == Verdict::Right
                    && note
                        .expected
                        .place
                        .is_some_and(|place| place.string == string)
            };
            let all: Vec<&JudgedNote> = notes.iter().filter(on_string).collect();
            let out = all.iter().filter(|note| note.flags.contains(&flag)).count();
            if out < STRING_NOTES || 2 * out < all.len() {
                continue;
            }
            let mut cents: Vec<f64> = all
                .iter()
                .filter_map(|note| note.heard.as_ref()?.cents)
                .collect();
            let middle = median(&mut cents).unwrap_or(0.0).abs();
            let name = open_string(&all[0].expected);
            let sentence = format!("{name} string: notes {middle:.0} cents {word}");
            findings.push(finding(FindingKind::Tuning, None, middle, sentence));
            for (k, note) in notes.iter().enumerate() {
                told[k] |= on_string(&note) && note.flags.contains(&flag);
            }
        }
        for (k, note) in notes.iter().enumerate() {
            let cents = note
                .heard
                .as_ref()
                .and_then(|part| part.cents)
                .unwrap_or(0.0)
                .abs();
            if note.flags.contains(&flag) && !told[k] {
                let sentence = format!(
                    "{}: {} is {cents:.0} cents {word}",
                    place(&note.expected),
                    written(note)
                );
                let index = Some(note.expected.index);
                findings.push(finding(FindingKind::Tuning, index, cents, sentence));
            }
        }
    }
    ranked(findings)
}
