//! What of the line is played now, and at what tempo.

use std::sync::Arc;

use crate::music::line::Line;
use crate::session::line_info::LineInfo;
use crate::session::live::LiveError;
use crate::session::live::pass::Whole;
use crate::session::live::snapshot::{JoinPlace, Piece};
use crate::sound::click::{ClickPattern, Tick, Weight, beat_quarters, ticks};
use crate::sound::synth::{Excerpt, around_note};

/// Moments closer than this are the same, in seconds: far below any written length.
const SAME_S: f64 = 1e-6;

/// The line as it is played now. All its moments count from bar 1 of its bars, or from the beat where
/// its join begins.
pub(super) struct Chosen {
    pub bars: (u32, u32),
    /// The join that is played alone.
    pub join: Option<Join>,
    pub share: f64,
    /// Its bars, at its tempo.
    pub line: Line,
    pub piece: Arc<Piece>,
    /// What it is held against.
    pub whole: Whole,
    /// Where it begins in the whole line at its tempo, in seconds.
    pub start_s: f64,
    /// Seconds from its beginning to its end.
    pub length_s: f64,
}

/// One join alone, with two notes on either side.
pub(super) struct Join {
    /// The note before it, by index in the whole line.
    pub index: usize,
    /// Its notes as they are numbered in the whole line, their moments from its first beat on.
    pub excerpt: Excerpt,
    /// Where its first beat lies in its bars, in seconds and in quarter notes from their bar 1.
    from_s: f64,
    from_quarters: f64,
}

impl Chosen {
    /// These bars of the line, or of them the join behind note `join` alone, at a tempo relative to
    /// the written one. With a join the bars are those of its notes.
    ///
    /// # Errors
    /// When there are no such bars or is no such join, or the tempo is out of range.
    pub fn of(
        whole: &Line,
        bars: (u32, u32),
        join: Option<usize>,
        share: f64,
    ) -> Result<Self, LiveError> {
        let fault = |fault: &dyn std::fmt::Display| LiveError::Line(fault.to_string());
        let all = whole.with_tempo_scale(share).map_err(|e| fault(&e))?;
        let excerpt = match join {
            None => None,
            Some(index) => Some((
                index,
                around_note(&all, index)
                    .ok_or_else(|| fault(&"no join follows that note; choose another one"))?,
            )),
        };
        let bars = match &excerpt {
            None => bars,
            Some((_, excerpt)) => {
                let bar = |at: usize| excerpt.notes.get(at).map_or(bars.0, |note| note.bar);
                (bar(0), bar(excerpt.notes.len().saturating_sub(1)))
            }
        };
        let line = whole
            .played_range(bars.0..=bars.1)
            .and_then(|line| line.with_tempo_scale(share))
            .map_err(|e| fault(&e))?;
        let start = LineInfo::of(&all)
            .bars
            .iter()
            .find(|bar| bar.number == bars.0 && bars.0 > whole.first_bar())
            .map_or(0.0, |bar| bar.start_quarters);
        let bars_s = all.quarters_to_seconds(start);
        let join = excerpt.map(|(index, excerpt)| Join {
            index,
            from_s: excerpt.from_s - bars_s,
            from_quarters: excerpt.from_quarters - start,
            excerpt,
        });
        let notes = match &join {
            None => line.expected(line.instrument()),
            Some(join) => {
                let mut notes = join.excerpt.notes.clone();
                for (at, note) in notes.iter_mut().enumerate() {
                    note.index = at;
                    note.onset_quarters -= start;
                }
                notes
            }
        };
        let piece = Arc::new(Piece {
            info: LineInfo::of(&line),
            notes,
            line_bars: (whole.first_bar(), whole.last_bar()),
            tempo_share: share,
            join: join.as_ref().map(Join::place),
        });
        Ok(Self {
            bars,
            share,
            whole: Whole::new(all.expected(all.instrument()), bars, &piece.notes),
            start_s: bars_s + join.as_ref().map_or(0.0, |join| join.from_s),
            length_s: match &join {
                None => line.quarters_to_seconds(line.end_quarters()),
                Some(join) => join.excerpt.length_s(),
            },
            line,
            piece,
            join,
        })
    }

    /// First and last of its notes, by index in the whole line; `None` where they are all those of
    /// its bars.
    pub fn notes(&self) -> Option<(usize, usize)> {
        let notes = &self.join.as_ref()?.excerpt.notes;
        Some((notes.first()?.index, notes.last()?.index))
    }

    /// Seconds of the pick-up bar.
    pub fn pickup_s(&self) -> f64 {
        match self.join {
            Some(_) => 0.0,
            None => -self
                .line
                .quarters_to_seconds(-self.line.pickup_length().quarters()),
        }
    }

    /// Where its last bar begins, in seconds; a join is played from its beginning on.
    pub fn last_bar_s(&self) -> f64 {
        match (&self.join, self.line.bars().last()) {
            (None, Some(last)) => {
                let start = self.line.end_quarters() - last.length().quarters();
                self.line.quarters_to_seconds(start)
            }
            _ => 0.0,
        }
    }

    /// The beat of its bar, from 0, on which it begins.
    pub fn first_beat(&self) -> usize {
        self.join.as_ref().map_or(0, |join| {
            let (beat, _, in_bar) = self.beat_at(join.from_quarters);
            (in_bar / beat).round() as usize
        })
    }

    /// The clicks of a pattern over it.
    pub fn ticks(&self, pattern: &ClickPattern) -> Vec<Tick> {
        let Some(join) = &self.join else {
            return ticks(&self.line, pattern);
        };
        let own = ClickPattern {
            count_in: 0,
            ..*pattern
        };
        let end_s = join.from_s + self.length_s;
        let mut all = self.counted_in(join, pattern);
        all.extend(
            ticks(&self.line, &own)
                .into_iter()
                .filter(|tick| tick.at_s > join.from_s - SAME_S && tick.at_s < end_s - SAME_S)
                .map(|tick| Tick {
                    at_s: tick.at_s - join.from_s,
                    ..tick
                }),
        );
        all
    }

    /// Length of a beat and of the bar at a place of the line, and how far it lies behind the bar's
    /// start, all in quarter notes.
    fn beat_at(&self, quarters: f64) -> (f64, f64, f64) {
        let mut start = -self.line.pickup_length().quarters();
        let mut found = (1.0, 4.0, 0.0);
        for bar in self.line.bars() {
            if start > quarters + SAME_S {
                break;
            }
            let whole = bar.meter.bar_length().quarters();
            // What a pick-up bar leaves out lies before it.
            let left_out = whole - bar.length().quarters();
            let late = if start < 0.0 { left_out } else { 0.0 };
            found = (beat_quarters(bar.meter), whole, quarters - start + late);
            start += bar.length().quarters();
        }
        found
    }

    /// The beats before a join: as many bars as are counted in, the first beat of a bar where it lies.
    fn counted_in(&self, join: &Join, pattern: &ClickPattern) -> Vec<Tick> {
        let (beat, whole, in_bar) = self.beat_at(join.from_quarters);
        let parts = u32::from(pattern.parts.max(1));
        let beats = (whole / beat).round().max(1.0) as i64;
        let first = (in_bar / beat).round() as i64;
        let steps = beats * i64::from(pattern.count_in) * i64::from(parts);
        let step = beat / f64::from(parts);
        (1..=steps)
            .rev()
            .map(|back| {
                let at = join.from_quarters - back as f64 * step;
                let number = first * i64::from(parts) - back;
                let part = number.rem_euclid(i64::from(parts));
                let on = number.div_euclid(i64::from(parts)).rem_euclid(beats);
                Tick {
                    at_s: self.line.quarters_to_seconds(at) - join.from_s,
                    weight: match (on, part) {
                        (0, 0) => Weight::Accent,
                        (_, 0) => Weight::Beat,
                        _ => Weight::Between,
                    },
                }
            })
            .collect()
    }
}

impl Join {
    /// Where it is, as the screen names it.
    fn place(&self) -> JoinPlace {
        let note = self.excerpt.notes.get(self.excerpt.before);
        JoinPlace {
            bar: note.map_or(0, |note| note.bar),
            beat: note.map_or(1.0, |note| note.beat),
        }
    }
}
