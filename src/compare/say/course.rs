//! Findings about the way a take went: whether it is the line, stops, passes broken off, passes
//! that could not be judged.

use std::collections::BTreeMap;

use crate::compare::judgement::{
    Agreement, Beginning, Finding, FindingKind, JudgedNote, PassJudgement,
};
use crate::compare::say::phrases::{place, seconds};
use crate::compare::say::seen::{Shown, Take};
use crate::compare::say::weight;
use crate::units::median;
use crate::words::count;

/// Share of wrong notes that lie the same distance off before the tuning is suspected.
const TRANSPOSED_SHARE: f64 = 0.8;
/// Fewest wrong notes for that.
const TRANSPOSED_NOTES: usize = 5;

/// Whether the take is the line at all, and why it may not be.
pub(crate) fn agreement(notes: &[JudgedNote], agreement: Agreement) -> Vec<Finding> {
    let say = |sentence: String| Finding {
        kind: FindingKind::Take,
        index: None,
        size: 0.0,
        weight: weight::WHOLE,
        passes: Vec::new(),
        of: 0,
        place: None,
        sentence,
    };
    let mut findings = Vec::new();
    match agreement {
        Agreement::NothingHeard(level_dbfs) => {
            let level = if level_dbfs.is_finite() {
                format!("; the loudest moment of the take is at {level_dbfs:.0} dBFS")
            } else {
                String::new()
            };
            return vec![say(format!("no note was heard{level}"))];
        }
        Agreement::AnotherLine(share) => findings.push(say(format!(
            "this does not sound like the line: {:.0} % of its notes were heard",
            100.0 * share
        ))),
        Agreement::Recognised => {}
    }
    findings.extend(transposed(notes).map(say));
    findings
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

/// Stumbles, passes broken off, and passes that were not judged.
pub(crate) fn of_passes(take: &Take, passes: &[PassJudgement]) -> Vec<Finding> {
    let mut findings = stumbles(take);
    findings.extend(broken_off(take, passes));
    findings.extend(passes.iter().filter(|pass| !pass.judged).map(|pass| {
        let shown = Shown {
            passes: vec![pass.number],
            of: passes.len(),
        };
        Finding {
            weight: weight::NOT_JUDGED,
            sentence: format!(
                "pass {}, {}: too little of it was recognised to judge it",
                pass.number,
                take.bars(pass.bars)
            ),
            ..take.at(FindingKind::Take, None, shown)
        }
    }));
    findings
}

fn stumbles(take: &Take) -> Vec<Finding> {
    let mut at: BTreeMap<usize, Vec<(usize, f64)>> = BTreeMap::new();
    for pass in &take.passes {
        for stumble in &pass.stumbles {
            let own = at.entry(stumble.index).or_default();
            own.push((pass.number, stumble.pause_s));
        }
    }
    at.into_iter()
        .filter_map(|(index, found)| {
            let note = take.expected_at(index)?;
            let mut pauses_s: Vec<f64> = found.iter().map(|(_, pause_s)| *pause_s).collect();
            let pause_s = median(&mut pauses_s)?;
            let mut numbers: Vec<usize> = found.iter().map(|(pass, _)| *pass).collect();
            numbers.dedup();
            let shown = Shown {
                passes: numbers,
                of: take.seen(index).len(),
            };
            Some(Finding {
                size: 1e3 * pause_s,
                weight: weight::STUMBLE * found.len() as f64,
                sentence: format!(
                    "a stumble at {}, {}{}",
                    place(note),
                    seconds(pause_s),
                    take.told(&shown)
                ),
                ..take.at(FindingKind::Take, Some(note), shown)
            })
        })
        .collect()
}

/// Where passes ended before their bar did, each place once.
fn broken_off(take: &Take, passes: &[PassJudgement]) -> Vec<Finding> {
    let mut at: BTreeMap<usize, Vec<(usize, String)>> = BTreeMap::new();
    let first = |pass: &PassJudgement| take.bars((pass.bars.0, pass.bars.0));
    for (k, pass) in passes.iter().enumerate() {
        let last = pass.notes.last().filter(|_| pass.judged && !pass.complete);
        let Some(last) = last else { continue };
        let then = passes
            .get(k + 1)
            .map_or(String::new(), |next| match next.began {
                Beginning::WentOn => format!(", then went on to {}", first(next)),
                _ => format!(", then went back to {}", first(next)),
            });
        let own = at.entry(last.expected.index).or_default();
        own.push((pass.number, then));
    }
    at.into_iter()
        .filter_map(|(index, found)| {
            let note = take.expected_at(index)?;
            let then = &found[0].1;
            let then = if found.iter().all(|(_, other)| other == then) {
                then.as_str()
            } else {
                ""
            };
            let shown = Shown {
                passes: found.iter().map(|(pass, _)| *pass).collect(),
                of: take.seen(index).len(),
            };
            Some(Finding {
                weight: weight::BROKEN_OFF * found.len() as f64,
                sentence: format!("stopped at {}{then}{}", place(note), take.told(&shown)),
                ..take.at(FindingKind::Take, Some(note), shown)
            })
        })
        .collect()
}
