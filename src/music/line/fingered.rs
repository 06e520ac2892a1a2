//! A line with the strings, frets and fingers of a way written on every note.

use super::error::LineFault;
use super::model::{EventKind, Note};
use super::whole::Line;
use crate::music::fingering::{Step, Way};

/// Why a way cannot be written into a line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FingeringError {
    /// The way was planned for other notes.
    #[error(
        "bar {bar}: this fingering belongs to another line; plan one for the line as it is now"
    )]
    OtherLine {
        /// The bar of the first note that differs.
        bar: u32,
    },
    /// A place does not exist on the line's instrument.
    #[error(transparent)]
    Fault(#[from] LineFault),
}

impl Line {
    /// The line with string, fret and finger of `way` on every note. A bar that is played several
    /// times takes the fingers of the first time. Notes that the way leaves empty stay as they are.
    ///
    /// # Errors
    /// `OtherLine` when the way's notes are not this line's; `Fault` when it was planned for another
    /// instrument.
    ///
    /// ```
    /// use seamline::music::fingering::{Hand, plan};
    /// use seamline::music::line::{read_text, write_text};
    ///
    /// let line = read_text("1/4 C2 D2 E2 F2\n").unwrap();
    /// let hand = Hand::default();
    /// let way = &plan(&line, line.instrument(), &hand)[0];
    /// let fingered = line.with_fingering(way).unwrap();
    /// assert!(write_text(&fingered).contains("3:3("));
    /// ```
    pub fn with_fingering(&self, way: &Way) -> Result<Self, FingeringError> {
        let mut parts = self.parts().clone();
        let order = self.order();
        let mut written = std::collections::HashSet::new();
        for step in way.steps.iter().filter(|step| !step.notes.is_empty()) {
            let (bar, event) = step.position.event;
            let other = FingeringError::OtherLine {
                bar: step.position.bar,
            };
            let Some(&bar) = order.get(bar) else {
                return Err(other);
            };
            if !written.insert((bar, event)) {
                continue;
            }
            let event = parts
                .bars
                .get_mut(bar)
                .and_then(|bar| bar.events.get_mut(event));
            let Some(EventKind::Notes { notes, .. }) = event.map(|event| &mut event.kind) else {
                return Err(other);
            };
            if !same_pitches(notes, step) {
                return Err(other);
            }
            for (note, fingered) in notes.iter_mut().zip(&step.notes) {
                note.place = Some(fingered.place);
                note.finger = fingered.finger;
            }
        }
        Ok(Self::new(parts)?)
    }
}

fn same_pitches(notes: &[Note], step: &Step) -> bool {
    let pitches = step.notes.iter().map(|note| note.midi);
    notes.iter().map(|note| note.midi).eq(pitches)
}

#[cfg(test)]
mod tests {
    use super::super::read_text;
    use super::*;
    use crate::music::fingering::{Hand, plan};
    use crate::music::instrument::{Instrument, Tuning};

    const TEXT: &str = "title: Up\n1/4 C2 D2 = 1/8 E2 >F2\n1/4 3:7(1) r 1/2 A1&C#3\n";

    #[test]
    fn every_note_gets_its_finger_and_what_was_given_stays() {
        let line = read_text(TEXT).unwrap();
        for way in plan(&line, line.instrument(), &Hand::default()) {
            let fingered = line.with_fingering(&way).unwrap();
            let notes = |line: &Line| -> Vec<Note> {
                let events = line.bars().iter().flat_map(|bar| &bar.events);
                events
                    .filter_map(|event| match &event.kind {
                        EventKind::Notes { notes, .. } => Some(notes.clone()),
                        _ => None,
                    })
                    .flatten()
                    .collect()
            };
            for (new, old) in notes(&fingered).iter().zip(notes(&line)) {
                let place = new.place.expect("a place");
                assert_eq!(new.finger.is_none(), place.fret == 0);
                assert!(old.place.is_none() || old.place == new.place);
                assert!(old.finger.is_none() || old.finger == new.finger);
            }
            // Planning it again changes nothing.
            let again = plan(&fingered, line.instrument(), &Hand::default());
            assert_eq!(again.len(), 1);
            assert_eq!(fingered.with_fingering(&again[0]).unwrap(), fingered);
        }
    }

    #[test]
    fn a_repeated_bar_is_fingered_once() {
        let line = read_text("|: 1/4 C2 D2 E2 F2 :| 1/1 G2\n").unwrap();
        let way = &plan(&line, line.instrument(), &Hand::default())[0];
        assert_eq!(way.steps.len(), 9);
        let fingered = line.with_fingering(way).unwrap();
        assert_eq!(fingered.written_bars().len(), 2);
        let places = fingered.expected(line.instrument());
        assert!((0..4).all(|at| places[at].place == places[at + 4].place));
    }

    #[test]
    fn a_way_of_another_line_is_refused() {
        let line = read_text(TEXT).unwrap();
        let other = read_text("1/4 C2 D2 E2 F2\n1/1 G2\n").unwrap();
        let way = &plan(&other, other.instrument(), &Hand::default())[0];
        assert_eq!(
            line.with_fingering(way),
            Err(FingeringError::OtherLine { bar: 1 })
        );
        let five = Instrument::with_tuning(Tuning::guitar());
        let way = &plan(&other, &five, &Hand::default())[0];
        // A guitar has none of these notes below E2 and others elsewhere.
        assert!(matches!(
            other.with_fingering(way),
            Err(FingeringError::Fault(_))
        ));
    }
}
