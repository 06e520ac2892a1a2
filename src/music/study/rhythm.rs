//! Notes laid into full bars.

use super::parts::{hold, note, rest};
use super::{Item, Pitch, Settings, StudyError};
use crate::music::line::{Event, Length, Meter};

/// Notes of one length in bars of one meter.
pub(super) struct Grid {
    meter: Meter,
    value: Length,
    per_bar: usize,
}

impl Grid {
    pub(super) fn new(settings: &Settings) -> Result<Self, StudyError> {
        let (meter, value) = (settings.meter, settings.notes.length());
        let bar = meter.bar_length();
        // A beat that is shorter than a note, or no multiple of it, would be written across.
        let fits = bar.is_multiple_of(value)
            && (meter.is_in_quarters()
                || value <= meter.beat_length() && meter.beat_length().is_multiple_of(value));
        if !fits {
            return Err(StudyError::Uneven {
                meter,
                notes: settings.notes.word(),
            });
        }
        Ok(Self {
            meter,
            value,
            per_bar: (bar.units() / value.units()) as usize,
        })
    }

    /// The bars of one chord: its notes, the last held to the end of its bar. With more bars than
    /// it needs it is played again while it fits, and rests fill what is left.
    pub(super) fn bars(
        &self,
        notes: &[Pitch],
        bars: Option<u32>,
        item: &Item,
    ) -> Result<Vec<Vec<Event>>, StudyError> {
        let once = self.once(notes);
        let needed = once.len().max(1);
        let Some(bars) = bars else { return Ok(once) };
        let wanted = bars as usize;
        if needed > wanted {
            return Err(StudyError::TooFewBars {
                chord: item.to_string(),
                needed,
                bars,
            });
        }
        let mut all: Vec<Vec<Event>> = (0..wanted / needed).flat_map(|_| once.clone()).collect();
        all.resize_with(wanted, || vec![rest(self.meter.bar_length())]);
        Ok(all)
    }

    fn once(&self, notes: &[Pitch]) -> Vec<Vec<Event>> {
        let mut bars: Vec<Vec<Event>> = Vec::new();
        for chunk in notes.chunks(self.per_bar) {
            let mut events: Vec<Event> = Vec::new();
            for (at, &pitch) in chunk.iter().enumerate() {
                if at + 1 < chunk.len() || chunk.len() == self.per_bar {
                    events.push(note(self.value, pitch));
                    continue;
                }
                let mut pieces = self.pieces(at).into_iter();
                events.extend(pieces.next().map(|length| note(length, pitch)));
                events.extend(pieces.map(hold));
            }
            bars.push(events);
        }
        bars
    }

    /// The lengths that a note at place `at` of a bar is tied together from to last to its end: up
    /// to the next beat first, then whole beats in as few plain or dotted lengths as will do.
    fn pieces(&self, at: usize) -> Vec<Length> {
        let beat = self.meter.beat_length().units();
        let from = self.value.units() * at as i64;
        let mut left = self.meter.bar_length().units() - from;
        let mut pieces = Vec::new();
        let to_beat = (beat - from % beat) % beat;
        if to_beat > 0 {
            pieces.push(to_beat);
            left -= to_beat;
        }
        while left > 0 {
            // Beats are powers of two, so these are 1, 1., 2, 2. and so on of them.
            let longest = (0..)
                .map(|power| beat << power)
                .flat_map(|plain| [plain, plain + plain / 2])
                .filter(|length| length % beat == 0)
                .take_while(|length| *length <= left)
                .last();
            let piece = longest.unwrap_or(left);
            pieces.push(piece);
            left -= piece;
        }
        pieces.into_iter().map(Length::from_units).collect()
    }
}
