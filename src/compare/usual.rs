//! What is usual for a player and an instrument: the silence the player leaves at each kind of join,
//! and how loudly each open string answers by itself when another one is played.

use crate::compare::judgement::JudgedNote;
use crate::music::expected::JoinKind;
use crate::units::{SPREAD_OF_MEDIAN, median};

/// Joins of a kind that tell what is usual.
pub const ENOUGH_JOINS: usize = 5;

/// The silence a player usually leaves at one kind of join.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UsualGap {
    /// Which kind of join.
    pub join: JoinKind,
    /// How many joins it was measured on.
    pub joins: usize,
    /// Median silence, in milliseconds.
    pub middle_ms: f64,
    /// Robust standard deviation, in milliseconds.
    pub spread_ms: f64,
}

/// What is known from before; nothing by default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Usual {
    /// One entry at most for each kind of join.
    pub gaps: Vec<UsualGap>,
    /// For each open string, the thinnest first: the loudest it answered in sympathy when another
    /// string was played, in decibels relative to that; `None` where nobody measured it.
    pub answers_db: Vec<Option<f64>>,
}

/// What is usual in these silences; `None` when there are too few to tell.
pub(crate) fn usual(join: JoinKind, mut silences_ms: Vec<f64>) -> Option<UsualGap> {
    let joins = silences_ms.len();
    if joins < ENOUGH_JOINS {
        return None;
    }
    let middle_ms = median(&mut silences_ms)?;
    let mut off: Vec<f64> = silences_ms.iter().map(|s| (s - middle_ms).abs()).collect();
    Some(UsualGap {
        join,
        joins,
        middle_ms,
        spread_ms: SPREAD_OF_MEDIAN * median(&mut off)?,
    })
}

/// What is usual at the joins of judged notes, in the order in which the kinds first come.
pub fn usual_gaps<'a>(notes: impl IntoIterator<Item = &'a JudgedNote>) -> Vec<UsualGap> {
    let mut kinds: Vec<(JoinKind, Vec<f64>)> = Vec::new();
    for note in notes {
        let silence_ms = note.heard.as_ref().and_then(|part| part.gap_ms);
        let (Some(join), Some(silence_ms)) = (note.expected.join, silence_ms) else {
            continue;
        };
        match kinds.iter_mut().find(|(kind, _)| *kind == join) {
            Some((_, silences)) => silences.push(silence_ms),
            None => kinds.push((join, vec![silence_ms])),
        }
    }
    kinds
        .into_iter()
        .filter_map(|(join, silences)| usual(join, silences))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: the median of 1 to 5 is 3, their distances from it are 0, 1, 1, 2, 2.
    #[test]
    fn the_middle_and_the_spread_are_medians() {
        let found = usual(JoinKind::Shift, vec![5.0, 1.0, 4.0, 2.0, 3.0]).expect("five joins");
        assert_eq!((found.joins, found.middle_ms), (5, 3.0));
        assert!((found.spread_ms - 1.4826).abs() < 1e-12);
    }

    #[test]
    fn four_joins_tell_nothing() {
        assert_eq!(usual(JoinKind::Open, vec![1.0; 4]), None);
    }
}
