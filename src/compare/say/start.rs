//! Where to start: the one passage of the line that is most worth work.

use crate::compare::judgement::{Finding, FindingKind, Judgement, PassJudgement};
use crate::music::expected::ExpectedNote;
use crate::words::{self, count};

/// A join is named instead of its bar when it holds this share of what the bar weighs. Raising it
/// names bars more often. Common practice, no source.
const JOIN_SHARE: f64 = 0.5;

/// Share of the tempo it was played at to practise a passage at. Raising it leaves less room for
/// what has to change. Common practice, no source.
const PRACTISE_SHARE: f64 = 0.8;

/// The passage to start with.
#[derive(Clone, Debug, PartialEq)]
pub struct Passage {
    /// First and last bar to practise.
    pub bars: (u32, u32),
    /// Position in [`Judgement::findings`] of the finding that it is, when it is only one.
    pub finding: Option<usize>,
    /// What it is, as a sentence without its full stop.
    pub sentence: String,
    /// What its findings weigh together.
    pub weight: f64,
    /// A tempo to practise it at, in quarters per minute; `None` when no tempo was heard.
    pub tempo_bpm: Option<f64>,
}

impl Judgement {
    /// The join or bar whose findings weigh most over all passes; `None` when none has a place.
    pub fn start_here(&self) -> Option<Passage> {
        let mut bars: Vec<(u32, f64, Vec<usize>)> = Vec::new();
        for (at, finding) in self.findings.iter().enumerate() {
            // A pass that was broken off is no fault of the place where it was.
            if finding.kind == FindingKind::Take && finding.size == 0.0 {
                continue;
            }
            let Some(note) = finding.index.and_then(|index| self.written(index)) else {
                continue;
            };
            match bars.iter_mut().find(|(bar, _, _)| *bar == note.bar) {
                Some((_, weight, own)) => {
                    *weight += finding.weight;
                    own.push(at);
                }
                None => bars.push((note.bar, finding.weight, vec![at])),
            }
        }
        // Of two bars that weigh the same the first in the list, which has the heavier finding.
        let (bar, weight, own) = bars
            .into_iter()
            .reduce(|best, next| if next.1 > best.1 { next } else { best })?;
        let first = &self.findings[own[0]];
        let alone = own.len() == 1
            || (first.kind == FindingKind::Gap && first.weight >= JOIN_SHARE * weight);
        let bars = if alone && first.kind == FindingKind::Gap {
            let next = first.index.and_then(|index| self.next(index));
            (bar, next.map_or(bar, |next| next.bar.max(bar)))
        } else {
            (bar, bar)
        };
        let found: Vec<&Finding> = own.iter().map(|&at| &self.findings[at]).collect();
        Some(Passage {
            bars,
            finding: alone.then_some(own[0]),
            sentence: if alone {
                first.sentence.clone()
            } else {
                let printed = self.printed_bar(bar);
                format!(
                    "bar {}: {}",
                    words::bar_number(bar, printed),
                    contents(&found)
                )
            },
            weight,
            tempo_bpm: self.played_bpm(bar).map(|bpm| PRACTISE_SHARE * bpm),
        })
    }

    /// The number printed for a bar; its own where no note of it was asked for.
    fn printed_bar(&self, bar: u32) -> u32 {
        let of_bar = self.notes.iter().find(|note| note.expected.bar == bar);
        of_bar.map_or(bar, |note| note.expected.printed_bar)
    }

    pub(super) fn written(&self, index: usize) -> Option<&ExpectedNote> {
        let at = self
            .notes
            .binary_search_by_key(&index, |note| note.expected.index)
            .ok()?;
        Some(&self.notes[at].expected)
    }

    /// The note or chord after a note.
    pub(super) fn next(&self, index: usize) -> Option<&ExpectedNote> {
        let after = self.notes.partition_point(|n| n.expected.index <= index);
        let mut rest = self.notes[after..].iter().map(|note| &note.expected);
        rest.find(|note| !note.with_previous)
    }

    /// The tempo of the last pass through a bar.
    fn played_bpm(&self, bar: u32) -> Option<f64> {
        let through = |pass: &&PassJudgement| (pass.bars.0..=pass.bars.1).contains(&bar);
        let mut passes = self.passes.iter().filter(|pass| pass.judged);
        let pass = passes.rfind(through)?;
        pass.timing.tempo_bpm
    }
}

/// "a wrong note, 2 gaps and a stumble".
fn contents(found: &[&Finding]) -> String {
    let mut kinds: Vec<FindingKind> = Vec::new();
    for finding in found {
        if !kinds.contains(&finding.kind) {
            kinds.push(finding.kind);
        }
    }
    let parts: Vec<String> = kinds
        .iter()
        .map(|&kind| {
            let number = found.iter().filter(|finding| finding.kind == kind).count();
            let thing = match kind {
                FindingKind::Take => "stumble",
                FindingKind::Gap => "gap",
                FindingKind::Wrong => "wrong note",
                FindingKind::Missed if number == 1 => return "something missing".to_owned(),
                FindingKind::Missed => "place with missing note",
                FindingKind::Extra => "extra note",
                FindingKind::Bleed => "ringing string",
                FindingKind::Dead => "dead note",
                FindingKind::Clipped => "clipped note",
                FindingKind::Timing => "slip of time",
                FindingKind::Tuning => "note out of tune",
                FindingKind::Level => "uneven note",
                FindingKind::Buzz => "buzzing note",
            };
            match (kind, number) {
                (FindingKind::Tuning, 1) => "1 note out of tune".to_owned(),
                (FindingKind::Tuning, n) => format!("{n} notes out of tune"),
                (FindingKind::Missed, n) => format!("{n} places with missing notes"),
                (FindingKind::Timing, 2..) => format!("{number} slips of time"),
                _ => count(number, thing),
            }
        })
        .collect();
    match parts.as_slice() {
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
        [] => String::new(),
    }
}
