//! Findings about notes that are off: early, late, sharp, flat, and a tempo that drifts.

use std::collections::BTreeSet;

use crate::compare::judgement::{Finding, FindingKind, Flag, HeardPart, JudgedNote, Verdict};
use crate::compare::say::phrases::{figure, open_string, place};
use crate::compare::say::seen::{Seen, Shown, Take, middle, trend};
use crate::compare::say::weight;
use crate::music::expected::ExpectedNote;
use crate::units::median;
use crate::words::count;

/// Notes of one string that must be out of tune alike before the string is named, not the notes.
const STRING_NOTES: usize = 3;
/// A change of tempo worth a sentence, as a share. The just noticeable one is 1.5 to 3 % (Drake &
/// Botte 1993, from memory).
const DRIFT_SHARE: f64 = 0.03;

/// What is measured of a note, and one standard deviation of it.
type Measure = fn(&HeardPart) -> (Option<f64>, Option<f64>);

/// A note that is off by a measure in some passes.
struct Off<'a> {
    note: &'a ExpectedNote,
    shown: Shown,
    /// Size and doubt where it is flagged.
    flagged: Vec<(f64, Option<f64>)>,
    /// All that was measured, with whether it is flagged.
    measured: Vec<(f64, bool)>,
}

fn time(part: &HeardPart) -> (Option<f64>, Option<f64>) {
    (part.timing_ms, part.timing_uncertainty_ms)
}

fn tune(part: &HeardPart) -> (Option<f64>, Option<f64>) {
    (part.cents, part.cents_uncertainty)
}

fn level(part: &HeardPart) -> (Option<f64>, Option<f64>) {
    (part.level_db, part.level_uncertainty_db)
}

impl<'a> Off<'a> {
    /// `None` when no pass flags the note.
    fn of(take: &Take<'a>, note: &'a ExpectedNote, flag: Flag, measure: Measure) -> Option<Self> {
        let seen = take.seen(note.index);
        let size = |seen: &Seen| {
            let (value, doubt) = measure(seen.note.heard.as_ref()?);
            Some((value?.abs(), doubt, seen.note.flags.contains(&flag)))
        };
        let all: Vec<(f64, Option<f64>, bool)> = seen.iter().filter_map(size).collect();
        let flagged: Vec<_> = all.iter().filter(|m| m.2).map(|m| (m.0, m.1)).collect();
        (!flagged.is_empty()).then(|| Self {
            note,
            shown: Shown::of(&seen, |note| note.flags.contains(&flag)),
            flagged,
            measured: all.iter().map(|m| (m.0, m.2)).collect(),
        })
    }

    fn weight(&self, mark: f64) -> f64 {
        self.flagged
            .iter()
            .map(|(size, _)| weight::off(*size, mark))
            .sum()
    }

    /// "bar 2 beat 3: E2 (2:2) is 45 ms late, in 2 of 4 passes".
    fn finding(
        &self,
        take: &Take,
        kind: FindingKind,
        word: &str,
        unit: &str,
        mark: f64,
    ) -> Finding {
        let (size, doubt) = middle(&self.flagged).unwrap_or((0.0, None));
        Finding {
            size,
            weight: self.weight(mark),
            sentence: format!(
                "{}: {} is {}{}{}",
                place(self.note),
                take.written(self.note),
                figure(size, doubt, unit, word),
                take.told(&self.shown),
                trend(&self.measured, ("less", "more"))
            ),
            ..take.at(kind, Some(self.note), self.shown.clone())
        }
    }
}

/// Early and late notes; those of one bar, one direction and the same passes in one sentence.
pub(crate) fn timings(take: &Take) -> Vec<Finding> {
    let mark = take.settings.marks.timing_ms;
    let mut findings = Vec::new();
    for flag in [Flag::Early, Flag::Late] {
        let word = flag.word();
        let found: Vec<Off> = take
            .expected
            .iter()
            .filter_map(|note| Off::of(take, note, flag, time))
            .collect();
        let alike = |a: &Off, b: &Off| a.note.bar == b.note.bar && a.shown.passes == b.shown.passes;
        for group in found.chunk_by(alike) {
            let first = &group[0];
            if group.len() == 1 {
                findings.push(first.finding(take, FindingKind::Timing, word, "ms", mark));
                continue;
            }
            let sizes = || {
                group
                    .iter()
                    .flat_map(|off| &off.flagged)
                    .map(|(size, _)| *size)
            };
            let mean_ms = sizes().sum::<f64>() / sizes().count() as f64;
            findings.push(Finding {
                size: mean_ms,
                weight: group.iter().map(|off| off.weight(mark)).sum(),
                sentence: format!(
                    "bar {}: {} {word}, by {mean_ms:.0} ms on average{}",
                    first.note.bar_words(),
                    count(group.len(), "note"),
                    take.told(&first.shown)
                ),
                ..take.at(FindingKind::Timing, Some(first.note), first.shown.clone())
            });
        }
    }
    findings
}

/// Notes that stick out or fall away.
pub(crate) fn levels(take: &Take) -> Vec<Finding> {
    let marks = &take.settings.marks;
    let mut findings = Vec::new();
    for (flag, mark) in [(Flag::Loud, marks.loud_db), (Flag::Soft, marks.soft_db)] {
        let Some(mark) = mark else { continue };
        let word = format!("too {}", flag.word());
        for note in take.expected {
            let off = Off::of(take, note, flag, level);
            findings
                .extend(off.map(|off| off.finding(take, FindingKind::Level, &word, "dB", mark)));
        }
    }
    findings
}

/// Passes whose tempo drifts, the largest drift named.
pub(crate) fn drift(take: &Take) -> Option<Finding> {
    let share = |(from, to): (f64, f64)| (to / from - 1.0).abs();
    let drifts: Vec<(usize, (f64, f64))> = take
        .passes
        .iter()
        .filter_map(|pass| Some((pass.number, pass.timing.tempo_from_to_bpm?)))
        .filter(|(_, span)| share(*span) >= DRIFT_SHARE)
        .collect();
    let (_, (from, to)) = drifts
        .iter()
        .max_by(|a, b| share(a.1).total_cmp(&share(b.1)))?;
    let alike = drifts.iter().all(|(_, (f, t))| (t > f) == (to > from));
    let word = match (alike, to > from) {
        (true, true) => "rises",
        (true, false) => "falls",
        (false, _) => "moves",
    };
    let most = if drifts.len() > 1 { "most " } else { "" };
    let shown = Shown {
        passes: drifts.iter().map(|(pass, _)| *pass).collect(),
        of: take.passes.len(),
    };
    Some(Finding {
        weight: weight::DRIFT * drifts.len() as f64,
        sentence: format!(
            "the tempo {word}, {most}from {from:.0} to {to:.0} to the minute{}",
            take.told(&shown)
        ),
        ..take.at(FindingKind::Timing, None, shown)
    })
}

/// Sharp and flat notes: a string that is out as a whole is named once.
pub(crate) fn tuning(take: &Take) -> Vec<Finding> {
    let mark = take.settings.marks.out_of_tune_cents;
    let mut findings = Vec::new();
    let strings: BTreeSet<u8> = take
        .expected
        .iter()
        .filter_map(|note| Some(note.place?.string))
        .collect();
    for flag in [Flag::Sharp, Flag::Flat] {
        let word = flag.word();
        let mut told: BTreeSet<u8> = BTreeSet::new();
        for &string in &strings {
            if let Some(finding) = string_out(take, string, flag, word) {
                told.insert(string);
                findings.push(finding);
            }
        }
        for note in take.expected {
            let named = note.place.is_some_and(|place| told.contains(&place.string));
            let off = Off::of(take, note, flag, tune).filter(|_| !named);
            findings
                .extend(off.map(|off| off.finding(take, FindingKind::Tuning, word, "cents", mark)));
        }
    }
    findings
}

/// A string most of whose notes are out of tune alike.
fn string_out(take: &Take, string: u8, flag: Flag, word: &str) -> Option<Finding> {
    let on_string = |note: &&JudgedNote| {
        note.verdict == Verdict::Right && note.expected.place.is_some_and(|p| p.string == string)
    };
    let of_pass = |pass: usize| take.passes[pass].notes.iter().filter(on_string);
    let all = || (0..take.passes.len()).flat_map(of_pass);
    let out = all().filter(|note| note.flags.contains(&flag));
    let places: BTreeSet<usize> = out.clone().map(|note| note.expected.index).collect();
    let out = out.count();
    if places.len() < STRING_NOTES || 2 * out < all().count() {
        return None;
    }
    let mut cents: Vec<f64> = all()
        .filter_map(|note| note.heard.as_ref()?.cents)
        .collect();
    let middle = median(&mut cents).unwrap_or(0.0).abs();
    let name = open_string(&all().next()?.expected);
    let passes = (0..take.passes.len())
        .filter(|&pass| of_pass(pass).any(|note| note.flags.contains(&flag)))
        .map(|pass| take.passes[pass].number)
        .collect();
    let of = (0..take.passes.len()).filter(|&pass| of_pass(pass).next().is_some());
    let shown = Shown {
        passes,
        of: of.count(),
    };
    let weight = weight::off(middle, take.settings.marks.out_of_tune_cents) * out as f64;
    Some(Finding {
        size: middle,
        weight,
        sentence: format!(
            "{name} string: notes {middle:.0} cents {word}{}",
            take.told(&shown)
        ),
        ..take.at(FindingKind::Tuning, None, shown)
    })
}
