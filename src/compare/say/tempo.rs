//! Up to which tempo the line holds, where it was played at several.

use crate::compare::judgement::{Flag, JudgedNote, Judgement, PassJudgement, Verdict};
use crate::compare::say::phrases::place;
use crate::music::expected::JoinKind;
use crate::words;

/// Passes are at one tempo when the fastest is less than this many times as fast as the slowest.
/// Well above the drift of a steady player. Common practice, no source.
const ONE_TEMPO: f64 = 1.05;

/// Passes at about one tempo.
struct Group<'a> {
    bpm: f64,
    passes: Vec<&'a PassJudgement>,
}

/// What breaks a note or the join after it; the worse ones first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Break {
    Wrong,
    Missed,
    Gap,
}

impl Judgement {
    /// Up to which tempo the passes are without wrong or missed notes and gaps, as a sentence
    /// without its full stop; `None` when all were played at about one tempo.
    ///
    /// Only places that were played at a slower tempo, too, can end what holds: where the line
    /// grew longer with the tempo, what is new says nothing about the tempo.
    pub fn tempo_limit(&self) -> Option<String> {
        let groups = groups(&self.passes);
        let (slowest, fastest) = (groups.first()?, groups.last()?);
        if groups.len() < 2 {
            return None;
        }
        let mut clean_bpm: Option<f64> = None;
        for (k, group) in groups.iter().enumerate() {
            let slower = || groups[..k].iter();
            let known = |index: usize| k == 0 || slower().any(|other| other.reached(index));
            let Some((what, index)) = group.broken().into_iter().find(|(_, at)| known(*at)) else {
                clean_bpm = Some(group.bpm);
                continue;
            };
            let told = self.told(what, index)?;
            return Some(match clean_bpm {
                Some(bpm) => format!("clean to {bpm:.0}; at {:.0} {told}", group.bpm),
                None => format!(
                    "not clean yet at {:.0}, the slowest of its tempos: {told}",
                    group.bpm
                ),
            });
        }
        Some(format!(
            "clean at every tempo, from {:.0} to {:.0}",
            slowest.bpm, fastest.bpm
        ))
    }

    fn told(&self, what: Break, index: usize) -> Option<String> {
        let note = self.written(index)?;
        let at = place(note);
        Some(match what {
            Break::Wrong => format!("{at} goes wrong"),
            Break::Missed => format!("{at} goes missing"),
            Break::Gap => {
                let join = note.join.map_or(words::JOIN, JoinKind::word);
                match self.next(index).filter(|next| next.bar != note.bar) {
                    Some(next) => format!("the {join} into bar {} opens", next.bar_words()),
                    None => format!("the {join} at {at} opens"),
                }
            }
        })
    }
}

impl Group<'_> {
    fn of(&self, index: usize) -> impl Iterator<Item = &JudgedNote> {
        self.passes.iter().filter_map(move |pass| {
            let at = pass
                .notes
                .binary_search_by_key(&index, |note| note.expected.index);
            pass.notes.get(at.ok()?)
        })
    }

    fn reached(&self, index: usize) -> bool {
        self.of(index).next().is_some()
    }

    /// What is broken in half of the passes that reached it or more: the worst first.
    fn broken(&self) -> Vec<(Break, usize)> {
        let notes = self.passes.iter().flat_map(|pass| &pass.notes);
        let mut indices: Vec<usize> = notes.map(|note| note.expected.index).collect();
        indices.sort_unstable();
        indices.dedup();
        let mut broken = Vec::new();
        for index in indices {
            let all = self.of(index).count();
            for what in [Break::Wrong, Break::Missed, Break::Gap] {
                let times = self.of(index).filter(|note| breaks(note, what)).count();
                if 2 * times >= all && times > 0 {
                    broken.push((what, index));
                }
            }
        }
        broken.sort_unstable();
        broken
    }
}

fn breaks(note: &JudgedNote, what: Break) -> bool {
    match what {
        Break::Wrong => note.verdict == Verdict::Wrong,
        Break::Missed => note.verdict == Verdict::Missed,
        Break::Gap => note.flags.contains(&Flag::Gap),
    }
}

/// The judged passes by tempo, the slowest first.
fn groups(passes: &[PassJudgement]) -> Vec<Group<'_>> {
    let mut timed: Vec<(f64, &PassJudgement)> = passes
        .iter()
        .filter(|pass| pass.judged)
        .filter_map(|pass| Some((pass.timing.tempo_bpm.filter(|bpm| *bpm > 0.0)?, pass)))
        .collect();
    timed.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut groups: Vec<(f64, Vec<(f64, &PassJudgement)>)> = Vec::new();
    for (bpm, pass) in timed {
        match groups.last_mut() {
            Some((slowest, own)) if bpm < ONE_TEMPO * *slowest => own.push((bpm, pass)),
            _ => groups.push((bpm, vec![(bpm, pass)])),
        }
    }
    groups
        .into_iter()
        .map(|(_, own)| Group {
            bpm: own[own.len() / 2].0,
            passes: own.into_iter().map(|(_, pass)| pass).collect(),
        })
        .collect()
}
