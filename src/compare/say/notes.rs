//! Findings about single notes and joins: gaps, wrong, missed, dead and clipped notes.

use crate::compare::judgement::{Finding, FindingKind, Flag, HeardPart, JudgedNote, Verdict};
use crate::compare::say::phrases::{bars_and_beats, beside_a_mark, place};
use crate::compare::say::seen::{Seen, Shown, Take, middle, trend};
use crate::compare::say::weight;
use crate::music::expected::{ExpectedNote, JoinKind};
use crate::words::{self, count};

/// Joins that leave a gap.
pub(crate) fn gaps(take: &Take) -> Vec<Finding> {
    let marks = &take.settings.marks;
    let clear_ms = marks.gap_clear_ms;
    let gap_of = |seen: &Seen| {
        let part = seen.note.heard.as_ref()?;
        let doubt_ms = part.gap_uncertainty_ms;
        Some((part.gap_ms?, doubt_ms, seen.note.flags.contains(&Flag::Gap)))
    };
    each(take, |note, seen| {
        let all: Vec<(f64, Option<f64>, bool)> = seen.iter().filter_map(gap_of).collect();
        let measured: Vec<(f64, bool)> = all.iter().map(|gap| (gap.0, gap.2)).collect();
        let flagged: Vec<(f64, Option<f64>)> = all
            .iter()
            .filter(|(_, _, flagged)| *flagged)
            .map(|(gap_ms, doubt_ms, _)| (*gap_ms, *doubt_ms))
            .collect();
        let (gap_ms, doubt_ms) = middle(&flagged)?;
        let length = beside_a_mark(gap_ms, doubt_ms, "ms", marks.gap_ms);
        let shown = Shown::of(seen, |note| note.flags.contains(&Flag::Gap));
        let size = if gap_ms < clear_ms { "slight" } else { "clear" };
        let usually = if flagged.len() > 1 { "usually " } else { "" };
        let to = take
            .next(note)
            .map_or(String::new(), |next| format!(" to {}", take.written(next)));
        let join = note.join.map_or(words::JOIN, JoinKind::word);
        let sentence = format!(
            "{}, {join} from {}{to}: a {size} gap, {usually}{length}{}{}",
            place(note),
            take.written(note),
            take.told(&shown),
            trend(&measured, ("shorter", "longer"))
        );
        Some(Finding {
            size: gap_ms,
            weight: flagged
                .iter()
                .map(|(ms, _)| weight::gap(*ms, clear_ms))
                .sum(),
            sentence,
            ..take.at(FindingKind::Gap, Some(note), shown)
        })
    })
}

/// Makes a finding of every expected note for which `say` has one.
fn each<'a>(
    take: &Take<'a>,
    say: impl Fn(&'a ExpectedNote, &[Seen<'a>]) -> Option<Finding>,
) -> Vec<Finding> {
    take.expected
        .iter()
        .filter_map(|note| say(note, &take.seen(note.index)))
        .collect()
}

/// Notes of another pitch; two neighbours in each other's place are one finding.
pub(crate) fn wrong(take: &Take) -> Vec<Finding> {
    let swaps = swaps(take);
    let in_swap = |index: usize, pass: usize| {
        swaps
            .iter()
            .any(|(at, passes)| (*at == index || at + 1 == index) && passes.contains(&pass))
    };
    let mut findings = each(take, |note, seen| {
        let alone: Vec<&Seen> = seen
            .iter()
            .filter(|seen| seen.note.verdict == Verdict::Wrong && !in_swap(note.index, seen.pass))
            .collect();
        if alone.is_empty() {
            return None;
        }
        let shown = Shown {
            passes: alone.iter().map(|seen| seen.pass).collect(),
            of: seen.len(),
        };
        let mut names: Vec<String> = alone.iter().map(|seen| played(take, seen.note)).collect();
        names.sort_unstable();
        names.dedup();
        Some(Finding {
            weight: weight::WRONG * alone.len() as f64,
            sentence: format!(
                "{}: played {} for {}{}",
                place(note),
                names.join(" or "),
                take.written(note),
                take.told(&shown)
            ),
            ..take.at(FindingKind::Wrong, Some(note), shown)
        })
    });
    for (index, passes) in &swaps {
        let (Some(a), Some(b)) = (take.expected_at(*index), take.expected_at(index + 1)) else {
            continue;
        };
        let shown = Shown {
            passes: passes.clone(),
            of: take.seen(*index).len(),
        };
        findings.push(Finding {
            weight: 2.0 * weight::WRONG * passes.len() as f64,
            sentence: format!(
                "{}: {} and {} played in each other's place{}",
                place(a),
                take.written(a),
                take.written(b),
                take.told(&shown)
            ),
            ..take.at(FindingKind::Wrong, Some(a), shown)
        });
    }
    findings
}

/// What was played instead of a note: "Eb2", "E3, an octave high".
fn played(take: &Take, note: &JudgedNote) -> String {
    let Some(midi) = note.heard.as_ref().and_then(|part| part.midi) else {
        return "no clear pitch".to_owned();
    };
    let octaves = (midi - f64::from(note.expected.midi)) / 12.0;
    let octave = match octaves {
        o if (o.abs() - 1.0).abs() < 0.05 && o > 0.0 => ", an octave high,",
        o if (o.abs() - 1.0).abs() < 0.05 => ", an octave low,",
        _ => "",
    };
    format!("{}{octave}", take.name(midi, note.expected.bar))
}

/// Neighbours that were played in each other's place, by the first of them, with the passes.
fn swaps(take: &Take) -> Vec<(usize, Vec<usize>)> {
    let mut found: Vec<(usize, Vec<usize>)> = Vec::new();
    for pass in &take.passes {
        let mut k = 0;
        while k + 1 < pass.notes.len() {
            if swapped(&pass.notes[k], &pass.notes[k + 1]) {
                let index = pass.notes[k].expected.index;
                match found.iter_mut().find(|(at, _)| *at == index) {
                    Some((_, passes)) => passes.push(pass.number),
                    None => found.push((index, vec![pass.number])),
                }
                k += 1;
            }
            k += 1;
        }
    }
    found
}

fn swapped(a: &JudgedNote, b: &JudgedNote) -> bool {
    let midi = |note: &JudgedNote| Some(note.heard.as_ref()?.midi?.round());
    a.verdict == Verdict::Wrong
        && b.verdict == Verdict::Wrong
        && midi(a) == Some(f64::from(b.expected.midi))
        && midi(b) == Some(f64::from(a.expected.midi))
}

/// Missed notes; neighbours that the same passes miss are one finding.
pub(crate) fn missed(take: &Take) -> Vec<Finding> {
    let missing: Vec<(&ExpectedNote, Shown)> = take
        .expected
        .iter()
        .map(|note| {
            let seen = take.seen(note.index);
            (*note, Shown::of(&seen, |n| n.verdict == Verdict::Missed))
        })
        .filter(|(_, shown)| !shown.passes.is_empty())
        .collect();
    missing
        .chunk_by(|a, b| a.0.index + 1 == b.0.index && a.1.passes == b.1.passes)
        .map(|group| {
            let (first, shown) = &group[0];
            let told = take.told(shown);
            let sentence = match group {
                [_] => format!(
                    "{}: {} was not heard{told}",
                    place(first),
                    take.written(first)
                ),
                _ => {
                    let span = bars_and_beats(first, group[group.len() - 1].0);
                    format!(
                        "{span}: {} were not heard{told}",
                        count(group.len(), "note")
                    )
                }
            };
            Finding {
                weight: weight::MISSED * (shown.passes.len() * group.len()) as f64,
                sentence,
                ..take.at(FindingKind::Missed, Some(first), shown.clone())
            }
        })
        .collect()
}

/// Dead notes.
pub(crate) fn dead(take: &Take) -> Vec<Finding> {
    flagged(take, Flag::Dead, FindingKind::Dead, weight::DEAD, |_| {
        "is dead, it hardly rings".to_owned()
    })
}

/// Notes that end long before their time.
pub(crate) fn clipped(take: &Take) -> Vec<Finding> {
    let lasts = |parts: &[&HeardPart]| {
        let lengths: Vec<(f64, Option<f64>)> = parts
            .iter()
            .map(|part| (1e3 * (part.release_s - part.onset_s), None))
            .collect();
        let ms = middle(&lengths).map_or(0.0, |(ms, _)| ms);
        format!("is clipped, it lasts {ms:.0} ms")
    };
    flagged(
        take,
        Flag::Clipped,
        FindingKind::Clipped,
        weight::CLIPPED,
        lasts,
    )
}

/// Notes whose string sounds against a fret.
pub(crate) fn buzzes(take: &Take) -> Vec<Finding> {
    flagged(take, Flag::Buzzes, FindingKind::Buzz, weight::BUZZ, |_| {
        "buzzes, the string sounds against a fret".to_owned()
    })
}

/// One finding for each note with a flag in some pass.
fn flagged(
    take: &Take,
    flag: Flag,
    kind: FindingKind,
    weight: f64,
    say: impl Fn(&[&HeardPart]) -> String,
) -> Vec<Finding> {
    each(take, |note, seen| {
        let parts: Vec<&HeardPart> = seen
            .iter()
            .filter(|seen| seen.note.flags.contains(&flag))
            .filter_map(|seen| seen.note.heard.as_ref())
            .collect();
        if parts.is_empty() {
            return None;
        }
        let shown = Shown::of(seen, |note| note.flags.contains(&flag));
        Some(Finding {
            weight: weight * parts.len() as f64,
            sentence: format!(
                "{}: {} {}{}",
                place(note),
                take.written(note),
                say(&parts),
                take.told(&shown)
            ),
            ..take.at(kind, Some(note), shown)
        })
    })
}
