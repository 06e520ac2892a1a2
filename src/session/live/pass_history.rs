//! The passes of the same bars in a session, so that each can be held against those before it.

use std::collections::BTreeMap;

use crate::compare::judgement::{Flag, JudgedNote};
use crate::music::expected::JoinKind;
use crate::session::live::joins::{JoinKey, played};
use crate::session::live::loops::SAME_SHARE;
use crate::session::live::pass::Judged;
use crate::session::live::snapshot::{Compared, JoinCompared, JoinPlace, PassView};

/// Earlier passes that are told at most. Raised, the sentence grows too long to be read while playing.
const TOLD: usize = 3;

/// What became of a join in a pass.
#[derive(Clone, Copy, Debug)]
struct JoinPast {
    beat: f64,
    kind: Option<JoinKind>,
    gap_ms: Option<f64>,
    flagged: bool,
    /// The note before it, by index in the whole line.
    index: usize,
}

/// A pass that is over.
#[derive(Clone, Debug)]
struct Past {
    share: f64,
    right: usize,
    joins: BTreeMap<JoinKey, JoinPast>,
}

/// First and last bar of a pass, and the join that was played alone.
type What = ((u32, u32), Option<usize>);

/// The recognised passes of a session, by what was played in them.
#[derive(Clone, Debug, Default)]
pub(super) struct PassHistory {
    passes: BTreeMap<What, Vec<Past>>,
}

impl PassHistory {
    /// Takes in a pass that is over; gives what the same bars were like before: at the same tempo where
    /// they were played so, else at the one they were played at last.
    ///
    /// `join` is the join that was played alone, `share` the tempo relative to the written one.
    pub fn add(
        &mut self,
        judged: &Judged,
        view: &PassView,
        join: Option<usize>,
        share: f64,
    ) -> Option<Compared> {
        if !view.recognised {
            return None;
        }
        let now = Past {
            share,
            right: view.right,
            joins: joins(judged),
        };
        let passes = self.passes.entry((view.bars, join)).or_default();
        let is_at = |share: f64| move |past: &&Past| (past.share - share).abs() < SAME_SHARE;
        let (told_share, other) = match passes.iter().rev().find(is_at(share)) {
            Some(_) => (share, None),
            None => {
                let last = passes.last().map_or(share, |past| past.share);
                (last, Some(last))
            }
        };
        let mut before: Vec<&Past> = passes
            .iter()
            .rev()
            .filter(is_at(told_share))
            .take(TOLD)
            .collect();
        before.reverse();
        let compared = (!before.is_empty()).then(|| Compared {
            right: before.iter().map(|past| past.right).collect(),
            tempo_share: other,
            join: told_join(&now, &before, join),
        });
        passes.push(now);
        compared
    }
}

/// The legato joins of a pass.
fn joins(judged: &Judged) -> BTreeMap<JoinKey, JoinPast> {
    let past = |note: &JudgedNote| JoinPast {
        beat: note.expected.beat,
        kind: note.expected.join,
        gap_ms: note.heard.as_ref().and_then(|heard| heard.gap_ms),
        flagged: note.flags.contains(&Flag::Gap),
        index: note.expected.index,
    };
    played(judged)
        .map(|(key, note, _)| (key, past(note)))
        .collect()
}

/// The join that is played alone, or the one that left gaps most often, and of these the longest now.
fn told_join(now: &Past, before: &[&Past], alone: Option<usize>) -> Option<JoinCompared> {
    let flagged = |key: &JoinKey| {
        let all = before.iter().copied().chain([now]);
        all.filter(|past| past.joins.get(key).is_some_and(|join| join.flagged))
            .count()
    };
    let gap_ms = |join: &JoinPast| join.gap_ms.unwrap_or(0.0);
    let (key, join) = match alone {
        Some(index) => now.joins.iter().find(|(_, join)| join.index == index)?,
        None => now
            .joins
            .iter()
            .filter(|(key, _)| flagged(key) > 0)
            .max_by(|a, b| {
                let often = flagged(a.0).cmp(&flagged(b.0));
                often.then(gap_ms(a.1).total_cmp(&gap_ms(b.1)))
            })?,
    };
    Some(JoinCompared {
        place: JoinPlace {
            bar: key.0,
            beat: join.beat,
        },
        kind: join.kind,
        gap_ms: join.gap_ms,
        before_ms: before
            .iter()
            .map(|past| past.joins.get(key).and_then(|join| join.gap_ms))
            .collect(),
    })
}
