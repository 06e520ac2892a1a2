//! Chords that divide the octave evenly: one shape, moved up the neck from tone to tone.

use super::ladder::Ladder;
use super::parts::{bar, line, note};
use super::{Direction, Pitch, Settings, StudyError};
use crate::music::expected::Place;
use crate::music::theory::Degree;

/// The shapes of an augmented chord a major third apart, or of a diminished seventh a minor third
/// apart, from the lowest on the root (on another tone where that needs an open string) to the last
/// that fits the neck; each one octave in the direction asked for, with its places.
pub(super) fn shapes(
    ladder: &Ladder<'_>,
    settings: &Settings,
) -> Result<Vec<Vec<Pitch>>, StudyError> {
    let degrees = ladder.degrees();
    let step = 12 / degrees.len().max(1) as i32;
    let even = |(at, degree): (usize, &Degree)| degree.semitones() == step * at as i32;
    if !matches!(degrees.len(), 3 | 4) || !degrees.iter().enumerate().all(even) {
        return Err(StudyError::NotSymmetric {
            chord: ladder.name(),
        });
    }
    let tones = ladder.whole_neck().up;
    let octave = degrees.len() + 1;
    let class = |notes: &[u8]| notes.first().map(|midi| midi % 12);
    let root = class(&ladder.span()?.up);
    // From the lowest root if its shape needs no open string, else from the lowest tone.
    let from_root = tones.windows(octave).find(|notes| class(notes) == root);
    for start in from_root.into_iter().chain(tones.windows(octave)) {
        let mut notes = match settings.direction {
            Direction::Up | Direction::UpDown => start.to_vec(),
            Direction::Down | Direction::DownUp => start.iter().rev().copied().collect(),
        };
        if matches!(settings.direction, Direction::UpDown | Direction::DownUp) {
            let back: Vec<u8> = notes.iter().rev().skip(1).copied().collect();
            notes.extend(back);
        }
        let Some(places) = fretted_places(&notes, settings)? else {
            continue;
        };
        let moved = |by: u8| -> Option<Vec<Pitch>> {
            let pairs = notes.iter().zip(&places);
            pairs
                .map(|(&midi, &place)| {
                    let place = Place {
                        fret: place.fret.checked_add(by)?,
                        ..place
                    };
                    let midi = midi.checked_add(by)?;
                    (settings.instrument.midi_at(place) == Some(midi))
                        .then_some((midi, Some(place)))
                })
                .collect()
        };
        return Ok((0..).map_while(|shape| moved(shape * step as u8)).collect());
    }
    Err(ladder.off_the_neck(Degree::ROOT))
}

/// Where the notes lie on the neck, if none of them is an open string.
fn fretted_places(notes: &[u8], settings: &Settings) -> Result<Option<Vec<Place>>, StudyError> {
    let length = settings.meter.bar_length();
    let bars = notes.iter().map(|&midi| {
        let events = vec![note(length, (midi, None))];
        bar(settings.meter, Default::default(), None, events)
    });
    let trial = line(settings, bars.collect())?;
    let expected = trial.expected(trial.instrument());
    let places = expected
        .iter()
        .map(|note| note.place.filter(|place| place.fret > 0));
    Ok(places.collect())
}
