//! Where moments of a take lie in the line, so that passes at other tempos stand one below the other.

use crate::compare::judgement::PassJudgement;

/// A stop ends a piece of time: what is played within this many quarter notes before the place
/// where the player went on belongs to what follows. Raising it moves more of a stop behind it.
const BEFORE_QUARTERS: f64 = 0.5;

/// The grid of a pass: from seconds of the take to quarter notes of the line.
///
/// Made from what the judgement says of each note: its onset less its lateness is its place on the
/// grid. Between these places time runs evenly.
#[derive(Clone, Debug)]
pub(super) struct Clock {
    /// Places on the grid as (seconds, quarter notes), both rising; a new list after each stop.
    pieces: Vec<Vec<(f64, f64)>>,
    quarters_per_s: f64,
    /// Whether lateness is known, and not only onsets.
    fitted: bool,
}

impl Clock {
    /// Of a judged pass; `None` when nothing was heard of it. `tempo_bpm` (quarters per minute) is
    /// used where the pass has no tempo of its own.
    pub fn of(pass: &PassJudgement, tempo_bpm: f64) -> Option<Self> {
        let fitted = places(pass, true);
        let is_fitted = !fitted.is_empty();
        let pieces = if is_fitted {
            fitted
        } else {
            places(pass, false)
        };
        let first = pieces.first()?.first()?;
        // The tempo of the longest piece: one that is cut short by a stop says less.
        let longest = pieces.iter().max_by_key(|piece| piece.len());
        let slope = longest.and_then(|piece| {
            let (from, to) = (piece.first()?, piece.last()?);
            let slope = (to.1 - from.1) / (to.0 - from.0);
            (slope.is_finite() && slope > 0.0).then_some(slope)
        });
        let told = pass.timing.tempo_bpm.unwrap_or(tempo_bpm) / 60.0;
        let quarters_per_s = slope.unwrap_or(told);
        let usable = quarters_per_s.is_finite() && quarters_per_s > 0.0 && first.0.is_finite();
        usable.then_some(Self {
            pieces,
            quarters_per_s,
            fitted: is_fitted,
        })
    }

    /// Whether notes lie early or late in it; if not, each stands at its written place.
    pub fn is_fitted(&self) -> bool {
        self.fitted
    }

    /// How fast the line goes by, in quarter notes for each second.
    pub fn quarters_per_s(&self) -> f64 {
        self.quarters_per_s
    }

    /// The place in the line of a moment of the take, in quarter notes from bar 1.
    pub fn quarters(&self, at_s: f64) -> f64 {
        let before_s = BEFORE_QUARTERS / self.quarters_per_s;
        let reached = |piece: &&Vec<(f64, f64)>| {
            piece
                .first()
                .is_some_and(|(from_s, _)| at_s >= from_s - before_s)
        };
        let piece = self
            .pieces
            .iter()
            .rev()
            .find(reached)
            .or(self.pieces.first());
        let piece = piece.map_or(&[][..], Vec::as_slice);
        let after = piece.partition_point(|(s, _)| *s <= at_s);
        match (piece.get(after.wrapping_sub(1)), piece.get(after)) {
            (Some(a), Some(b)) => a.1 + (at_s - a.0) * (b.1 - a.1) / (b.0 - a.0),
            (Some(near), None) | (None, Some(near)) => {
                near.1 + (at_s - near.0) * self.quarters_per_s
            }
            (None, None) => 0.0,
        }
    }
}

/// The places of a pass's notes on its grid; without a grid their onsets.
fn places(pass: &PassJudgement, with_grid: bool) -> Vec<Vec<(f64, f64)>> {
    let mut pieces: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
    for note in &pass.notes {
        let stopped = pass.stumbles.iter().any(|s| s.index == note.expected.index);
        if stopped && pieces.last().is_some_and(|piece| !piece.is_empty()) {
            pieces.push(Vec::new());
        }
        let Some(heard) = &note.heard else { continue };
        let late_ms = match (heard.timing_ms, with_grid) {
            (Some(late_ms), true) => late_ms,
            (None, true) => continue,
            (_, false) => 0.0,
        };
        let place = (
            heard.onset_s - late_ms / 1000.0,
            note.expected.onset_quarters,
        );
        if !(place.0.is_finite() && place.1.is_finite()) {
            continue;
        }
        let Some(piece) = pieces.last_mut() else {
            continue;
        };
        if piece
            .last()
            .is_none_or(|last| place.0 > last.0 && place.1 > last.1)
        {
            piece.push(place);
        }
    }
    pieces.retain(|piece| !piece.is_empty());
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::{sample, sample_practice};

    /// Closed form: the sample's notes lie 2.345 ms before a grid of 0.625 s to the quarter that
    /// begins at 2.031 s.
    #[test]
    fn a_moment_lies_where_the_grid_says() {
        let result = sample::clean();
        let clock = Clock::of(&result.judgement.passes[0], 96.0).expect("a clock");
        assert!(clock.is_fitted());
        assert!((clock.quarters_per_s() - 1.6).abs() < 1e-9);
        for (at_s, quarters) in [
            (2.033_345, 0.0),
            (2.031, -0.002_345 * 1.6),
            (2.033_345 + 0.625 * 2.5, 2.5),
            (2.033_345 + 0.625 * 9.0, 9.0),
            (1.0, -1.033_345 * 1.6),
        ] {
            let got = clock.quarters(at_s);
            assert!(
                (got - quarters).abs() < 1e-6,
                "{at_s}: {got}, not {quarters}"
            );
        }
    }

    /// Behind a stop the line goes on where it was left.
    #[test]
    fn time_stands_still_in_a_stop() {
        let mut result = sample::clean();
        let pass = &mut result.judgement.passes[0];
        for note in &mut pass.notes[4..] {
            let heard = note.heard.as_mut().expect("heard");
            heard.onset_s += 3.0;
            heard.release_s += 3.0;
        }
        pass.stumbles = vec![crate::compare::judgement::Stumble {
            index: 4,
            bar: 2,
            beat: 1.0,
            pause_s: 3.0,
        }];
        let clock = Clock::of(pass, 96.0).expect("a clock");
        let grid_s = 2.033_345;
        assert!((clock.quarters(grid_s + 0.625 * 3.5) - 3.5).abs() < 1e-6);
        assert!((clock.quarters(grid_s + 0.625 * 4.0 + 3.0) - 4.0).abs() < 1e-6);
    }

    #[test]
    fn what_was_not_heard_has_no_clock() {
        let result = sample_practice::practice();
        let unknown = result.judgement.passes.last().expect("passes");
        assert!(Clock::of(unknown, 96.0).is_none());
        let mut pass = result.judgement.passes[1].clone();
        for note in &mut pass.notes {
            if let Some(heard) = &mut note.heard {
                heard.timing_ms = None;
            }
        }
        let clock = Clock::of(&pass, 96.0).expect("onsets are known");
        assert!(!clock.is_fitted());
    }
}
