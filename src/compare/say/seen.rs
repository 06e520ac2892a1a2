//! The notes of a line as every pass of a take shows them, and the words for in how many.

use crate::compare::Settings;
use crate::compare::judgement::{Finding, FindingKind, JudgedNote, PassJudgement};
use crate::music::expected::ExpectedNote;
use crate::music::theory::pitch_in;
use crate::units::median;
use crate::words::bars_printed;

/// What findings are made from.
pub(crate) struct Take<'a> {
    /// What the take was judged by.
    pub(crate) settings: &'a Settings,
    /// The notes asked for, in the order of the line.
    pub(crate) expected: &'a [&'a ExpectedNote],
    /// The passes that were judged, in order of time.
    pub(crate) passes: Vec<&'a PassJudgement>,
}

/// A note as one pass shows it.
#[derive(Clone, Copy)]
pub(crate) struct Seen<'a> {
    /// The number of the pass.
    pub(crate) pass: usize,
    /// The note.
    pub(crate) note: &'a JudgedNote,
}

/// In which passes something shows.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Shown {
    /// Their numbers, in order of time.
    pub(crate) passes: Vec<usize>,
    /// How many passes reached the place.
    pub(crate) of: usize,
}

impl<'a> Take<'a> {
    /// A note in every pass that reached it, in order of time.
    pub(crate) fn seen(&self, index: usize) -> Vec<Seen<'a>> {
        self.passes
            .iter()
            .filter_map(|pass| {
                let at = pass
                    .notes
                    .binary_search_by_key(&index, |note| note.expected.index)
                    .ok()?;
                Some(Seen {
                    pass: pass.number,
                    note: &pass.notes[at],
                })
            })
            .collect()
    }

    /// The expected note of that number, when it was asked for.
    pub(crate) fn expected_at(&self, index: usize) -> Option<&'a ExpectedNote> {
        let at = self
            .expected
            .binary_search_by_key(&index, |note| note.index)
            .ok()?;
        Some(self.expected[at])
    }

    /// The note or chord after a note, when it was asked for.
    pub(crate) fn next(&self, note: &ExpectedNote) -> Option<&'a ExpectedNote> {
        let after = self.expected.partition_point(|n| n.index <= note.index);
        self.expected[after..]
            .iter()
            .find(|next| !next.with_previous)
            .copied()
    }

    /// Bars by their numbers as played, with the printed ones where those are others.
    pub(crate) fn bars(&self, (from, to): (u32, u32)) -> String {
        let printed = |bar: u32| {
            let note = self.expected.iter().find(|note| note.bar == bar);
            note.map_or(bar, |note| note.printed_bar)
        };
        bars_printed((from, to), (printed(from), printed(to)))
    }

    /// The name of a pitch as the key of `bar` spells it.
    pub(crate) fn name(&self, midi: f64, bar: u32) -> String {
        let keys = &self.settings.keys;
        let key = keys.iter().rev().find(|(from, _)| *from <= bar);
        pitch_in(midi, key.map(|(_, key)| *key))
    }

    /// A written note with its string and fret, as a line writes them: "E3 (2:14)".
    pub(crate) fn written(&self, note: &ExpectedNote) -> String {
        let name = self.name(f64::from(note.midi), note.bar);
        match note.place {
            Some(place) => format!("{name} ({}:{})", place.string, place.fret),
            None => name,
        }
    }

    /// The words for in which passes something shows, with the comma before them; nothing where
    /// the take is one pass.
    pub(crate) fn told(&self, shown: &Shown) -> String {
        match (shown.passes.as_slice(), shown.of) {
            _ if self.passes.len() < 2 => String::new(),
            ([], _) => String::new(),
            ([pass], 1) => format!(", in pass {pass}"),
            ([pass], _) => format!(", only in pass {pass}"),
            ([_, _], 2) => ", in both passes".to_owned(),
            (all, of) if all.len() == of => format!(", in all {of} passes"),
            (some, of) => format!(", in {} of {of} passes", some.len()),
        }
    }

    /// A finding at a note, without its sentence.
    pub(crate) fn at(
        &self,
        kind: FindingKind,
        note: Option<&ExpectedNote>,
        shown: Shown,
    ) -> Finding {
        Finding {
            kind,
            index: note.map(|note| note.index),
            size: 0.0,
            weight: 0.0,
            passes: shown.passes,
            of: shown.of,
            place: note.and_then(|note| note.place),
            sentence: String::new(),
        }
    }
}

impl Shown {
    /// In which of the passes that reached a note it `shows`.
    pub(crate) fn of(seen: &[Seen], shows: impl Fn(&JudgedNote) -> bool) -> Self {
        Self {
            passes: seen
                .iter()
                .filter(|seen| shows(seen.note))
                .map(|seen| seen.pass)
                .collect(),
            of: seen.len(),
        }
    }
}

/// Fewest measurements in a row before they are said to grow or to shrink.
const TREND_FROM: usize = 3;

/// How a measure went over the passes, with the comma before it. `sizes` are the measured ones,
/// the oldest first, each with whether it was flagged; `words` stand for smaller and larger.
pub(crate) fn trend(sizes: &[(f64, bool)], words: (&str, &str)) -> String {
    let flagged = sizes.iter().filter(|(_, flagged)| *flagged).count();
    let quiet = sizes
        .iter()
        .rev()
        .take_while(|(_, flagged)| !flagged)
        .count();
    let steps = |step: fn(f64, f64) -> bool| sizes.windows(2).all(|w| step(w[0].0, w[1].0));
    let enough = sizes.len() >= TREND_FROM;
    if enough && flagged > 1 && steps(|a, b| a > b) {
        format!(", {} each time", words.0)
    } else if enough && flagged > 1 && steps(|a, b| a < b) {
        format!(", {} each time", words.1)
    } else if flagged > 1 && quiet == 1 {
        ", gone in the last".to_owned()
    } else if flagged > 1 && quiet > 1 {
        format!(", gone in the last {quiet}")
    } else {
        String::new()
    }
}

/// The middle of some measurements with the doubt of the one that lies nearest to it.
pub(crate) fn middle(measured: &[(f64, Option<f64>)]) -> Option<(f64, Option<f64>)> {
    let mut values: Vec<f64> = measured.iter().map(|(value, _)| *value).collect();
    let middle = median(&mut values)?;
    let nearest = measured
        .iter()
        .min_by(|a, b| (a.0 - middle).abs().total_cmp(&(b.0 - middle).abs()))?;
    Some((middle, nearest.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trend_is_told_when_it_is_one() {
        let words = ("shorter", "longer");
        let told = |sizes: &[(f64, bool)]| trend(sizes, words);
        let all = |sizes: &[f64]| -> Vec<(f64, bool)> {
            sizes.iter().map(|s| (*s, *s >= 40.0)).collect()
        };
        assert_eq!(told(&all(&[120.0, 80.0, 50.0])), ", shorter each time");
        assert_eq!(
            told(&all(&[120.0, 80.0, 50.0, 10.0])),
            ", shorter each time"
        );
        assert_eq!(told(&all(&[50.0, 80.0, 120.0])), ", longer each time");
        assert_eq!(told(&all(&[120.0, 80.0])), "");
        assert_eq!(told(&all(&[120.0, 130.0, 10.0])), ", gone in the last");
        assert_eq!(
            told(&all(&[120.0, 130.0, 10.0, 12.0])),
            ", gone in the last 2"
        );
        assert_eq!(told(&all(&[120.0, 10.0, 12.0])), "");
    }
}
