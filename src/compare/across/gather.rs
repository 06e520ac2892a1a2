//! The numbers of every judged pass, sorted by matter and place.

use std::collections::BTreeMap;

use super::chance::Share;
use super::{Change, Compared, Matter, Measured, Samples, Sides, Spot};
use crate::compare::judgement::{Flag, JudgedNote, Judgement, PassJudgement, Verdict};
use crate::compare::marks::Marks;

/// The relative doubt of a robust spread of n numbers is this over the root of n.
///
/// # Source
/// The asymptotic variance of the median distance of normal numbers is 1.361 of their variance over n, an
/// efficiency of 37 % (Rousseeuw & Croux 1993, J. Am. Stat. Assoc. 88, 1273-1283).
const SPREAD_DOUBT: f64 = 1.167;

/// Judged passes of either side, in order of time.
#[derive(Clone, Debug, Default)]
pub(super) struct Passes<'a> {
    pub before: Vec<&'a PassJudgement>,
    pub after: Vec<&'a PassJudgement>,
}

/// The passes of either side: the first `before` takes, or of a single take the first `before` passes.
pub(super) fn sides<'a>(takes: &[&'a Judgement], before: usize) -> Passes<'a> {
    let judged = |take: &&'a Judgement| take.passes.iter().filter(|pass| pass.judged);
    if let [only] = takes {
        let passes: Vec<&PassJudgement> = judged(only).collect();
        let (earlier, later) = passes.split_at(before.min(passes.len()));
        return Passes {
            before: earlier.to_vec(),
            after: later.to_vec(),
        };
    }
    let (earlier, later) = takes.split_at(before.min(takes.len()));
    Passes {
        before: earlier.iter().flat_map(judged).collect(),
        after: later.iter().flat_map(judged).collect(),
    }
}

/// The marks that the last take was judged by; the usual ones of no take.
pub(super) fn marks(takes: &[&Judgement]) -> Marks {
    takes
        .last()
        .map_or_else(Marks::default, |take| take.marks.clone())
}

/// What is told of both sides, without verdicts yet, in the order of [`Matter`] and of the line.
pub(super) fn compared(passes: &Passes) -> Vec<Compared> {
    let mut all = Vec::new();
    for (matter, number) in [
        (Matter::Gap, gap as fn(&JudgedNote) -> Option<Measured>),
        (Matter::Timing, timing),
    ] {
        for (spot, samples) in places(passes, number, matter == Matter::Gap) {
            all.push(new(matter, Some(spot), Sides::Numbers(samples)));
        }
    }
    for (matter, number) in [
        (
            Matter::Spread,
            spread as fn(&&PassJudgement) -> Option<Measured>,
        ),
        (Matter::Drift, drift),
    ] {
        let samples = Samples {
            before: passes.before.iter().filter_map(number).collect(),
            after: passes.after.iter().filter_map(number).collect(),
        };
        if is_on_both(&samples) {
            all.push(new(matter, None, Sides::Numbers(samples)));
        }
    }
    for (matter, happened) in [
        (Matter::Failed, failed as fn(&JudgedNote) -> bool),
        (Matter::Rings, rings),
    ] {
        all.extend(counted_places(passes, matter, happened));
    }
    for (matter, happened) in [
        (Matter::AllWrong, wrong as fn(&JudgedNote) -> bool),
        (Matter::AllMissed, missed),
        (Matter::AllRings, rings),
    ] {
        let share = |side: &[&PassJudgement]| {
            let notes = || {
                side.iter()
                    .flat_map(|pass| &pass.notes)
                    .filter(|n| reached(n))
            };
            Share {
                of: notes().filter(|n| happened(n)).count(),
                all: notes().count(),
            }
        };
        all.push(new(
            matter,
            None,
            counts(share(&passes.before), share(&passes.after)),
        ));
    }
    let extras = |side: &[&PassJudgement]| Share {
        of: side.iter().map(|pass| pass.extras.len()).sum(),
        all: side
            .iter()
            .flat_map(|pass| &pass.notes)
            .filter(|n| reached(n))
            .count(),
    };
    all.push(new(
        Matter::AllExtras,
        None,
        counts(extras(&passes.before), extras(&passes.after)),
    ));
    all
}

fn new(matter: Matter, spot: Option<Spot>, sides: Sides) -> Compared {
    Compared {
        matter,
        spot,
        sides,
        change: None,
        change_sd: None,
        p: None,
        q: None,
        verdict: Change::CannotTell,
        more_passes: None,
    }
}

fn counts(before: Share, after: Share) -> Sides {
    Sides::Counts { before, after }
}

/// A number of each note in each pass, by place; of places that both sides reached.
fn places(
    passes: &Passes,
    number: fn(&JudgedNote) -> Option<Measured>,
    is_join: bool,
) -> Vec<(Spot, Samples)> {
    let mut places: BTreeMap<usize, (Spot, Samples)> = BTreeMap::new();
    for (later, side) in [(false, &passes.before), (true, &passes.after)] {
        for pass in side {
            for (at, note) in pass.notes.iter().enumerate() {
                let Some(measured) = number(note).filter(|m| m.value.is_finite()) else {
                    continue;
                };
                let (_, samples) = places
                    .entry(note.expected.index)
                    .or_insert_with(|| (spot(&pass.notes, at, is_join), Samples::default()));
                if later {
                    samples.after.push(measured);
                } else {
                    samples.before.push(measured);
                }
            }
        }
    }
    let all = places.into_values();
    all.filter(|(_, samples)| is_on_both(samples)).collect()
}

fn is_on_both(samples: &Samples) -> bool {
    !samples.before.is_empty() && !samples.after.is_empty()
}

/// Where the note at `at` lies, and where its join leads to.
fn spot(notes: &[JudgedNote], at: usize, is_join: bool) -> Spot {
    let note = &notes[at].expected;
    let next = notes[at + 1..]
        .iter()
        .find(|next| !next.expected.with_previous);
    Spot {
        note: note.clone(),
        to_midi: next.filter(|_| is_join).map(|next| next.expected.midi),
        join: note.join.filter(|_| is_join),
    }
}

/// How often something happened to each note; of notes to which it happened at all, reached on both sides.
fn counted_places(
    passes: &Passes,
    matter: Matter,
    happened: fn(&JudgedNote) -> bool,
) -> Vec<Compared> {
    let mut places: BTreeMap<usize, (Spot, Share, Share)> = BTreeMap::new();
    for (later, side) in [(false, &passes.before), (true, &passes.after)] {
        for pass in side {
            for (at, note) in pass.notes.iter().enumerate().filter(|(_, n)| reached(n)) {
                let (_, before, after) = places.entry(note.expected.index).or_insert_with(|| {
                    (
                        spot(&pass.notes, at, false),
                        Share::default(),
                        Share::default(),
                    )
                });
                let share = if later { after } else { before };
                share.all += 1;
                share.of += usize::from(happened(note));
            }
        }
    }
    let all = places.into_values();
    all.filter(|(_, before, after)| before.of + after.of > 0 && before.all.min(after.all) > 0)
        .map(|(spot, before, after)| new(matter, Some(spot), counts(before, after)))
        .collect()
}

fn reached(note: &JudgedNote) -> bool {
    note.verdict != Verdict::Unreached
}

fn gap(note: &JudgedNote) -> Option<Measured> {
    let heard = note.heard.as_ref()?;
    Some(Measured {
        // What overlaps leaves no silence.
        value: heard.gap_ms?.max(0.0),
        sd: heard.gap_uncertainty_ms,
    })
}

fn timing(note: &JudgedNote) -> Option<Measured> {
    let heard = note.heard.as_ref()?;
    Some(Measured {
        value: heard.timing_ms?.abs(),
        sd: heard.timing_uncertainty_ms,
    })
}

fn spread(pass: &&PassJudgement) -> Option<Measured> {
    let value = pass.timing.spread_ms?;
    let timed = |note: &&JudgedNote| note.heard.as_ref().is_some_and(|h| h.timing_ms.is_some());
    let count = pass.notes.iter().filter(timed).count().max(1);
    Some(Measured {
        value,
        sd: Some(SPREAD_DOUBT * value / (count as f64).sqrt()),
    })
}

fn drift(pass: &&PassJudgement) -> Option<Measured> {
    let tempo = pass.timing.tempo_bpm?;
    // Where the player did not move the tempo nothing is told of it.
    let moved = pass
        .timing
        .tempo_from_to_bpm
        .map_or(0.0, |(from, to)| (to - from).abs() / tempo);
    Some(Measured {
        value: moved,
        sd: None,
    })
    .filter(|m| m.value.is_finite())
}

fn failed(note: &JudgedNote) -> bool {
    wrong(note) || missed(note)
}

fn wrong(note: &JudgedNote) -> bool {
    note.verdict == Verdict::Wrong
}

fn missed(note: &JudgedNote) -> bool {
    note.verdict == Verdict::Missed
}

fn rings(note: &JudgedNote) -> bool {
    note.flags.contains(&Flag::Bleed)
}
