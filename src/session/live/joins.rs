//! The joins of a session with what became of them in each pass.

use std::collections::BTreeMap;

use crate::compare::judgement::{Flag, JudgedNote};
use crate::session::live::pass::{BEAT_PARTS, Judged};
use crate::session::live::snapshot::JoinView;

/// The joins of a session with what became of them in each pass.
#[derive(Clone, Debug, Default)]
pub(super) struct JoinHistory {
    joins: BTreeMap<JoinKey, JoinView>,
}

/// A join by bar, beat (in 960ths, so that it can be compared) and pitch of the note before it.
pub(super) type JoinKey = (u32, i64, u8);

/// The legato joins of a pass whose first note was heard, each with the notes on either side.
pub(super) fn played(judged: &Judged) -> impl Iterator<Item = (JoinKey, &JudgedNote, &JudgedNote)> {
    let notes = &judged.played;
    let pairs = notes.iter().zip(notes.iter().skip(1));
    let joined = pairs.filter(|(note, _)| note.expected.legato_next && note.heard.is_some());
    joined.map(|(note, next)| {
        let written = &note.expected;
        let beat = (written.beat * BEAT_PARTS).round() as i64;
        ((written.bar, beat, written.midi), note, next)
    })
}

/// Joins with gaps that are shown at most.
const WORST: usize = 12;

impl JoinHistory {
    /// Takes in a pass that is over.
    pub fn add(&mut self, judged: &Judged) {
        for (key, note, next) in played(judged) {
            let written = &note.expected;
            let join = self.joins.entry(key).or_insert_with(|| JoinView {
                bar: written.bar,
                beat: written.beat,
                from_midi: written.midi,
                to_midi: next.expected.midi,
                kind: written.join,
                gaps_ms: Vec::new(),
                flagged: 0,
            });
            join.gaps_ms
                .push(note.heard.as_ref().and_then(|h| h.gap_ms));
            join.flagged += usize::from(note.flags.contains(&Flag::Gap));
        }
    }

    /// The joins that were flagged, the worst first: those that are flagged most often, and of
    /// these the longest.
    pub fn worst(&self) -> Vec<JoinView> {
        let mut worst: Vec<&JoinView> = self.joins.values().filter(|j| j.flagged > 0).collect();
        let share = |j: &JoinView| j.flagged as f64 / j.gaps_ms.len().max(1) as f64;
        let longest = |j: &JoinView| j.gaps_ms.iter().flatten().fold(0.0f64, |a, b| a.max(*b));
        worst.sort_by(|a, b| {
            share(b)
                .total_cmp(&share(a))
                .then(longest(b).total_cmp(&longest(a)))
        });
        worst.into_iter().take(WORST).cloned().collect()
    }
}
