//! What is right and wrong within one bar.

use super::check::Doubts;
use super::error::FaultKind;
use super::length::Length;
use super::model::{
    Bar, Event, EventKind, Lacks, LineParts, MAX_CHORD_NOTES, MAX_GRACES, Note, Start,
};
use crate::music::fingering::can_be_held;
use crate::music::instrument::Instrument;
use crate::music::theory::Key;

/// What stood before an event, as far as ties and slurs care.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Before {
    Silence,
    Sound,
    /// Something that was not understood: it may sound.
    Unknown,
}

pub(super) fn is_notes(kind: &EventKind) -> bool {
    matches!(kind, EventKind::Notes { .. })
}

/// Checks the events of a bar; gives what stands before the next bar.
pub(super) fn check_events(
    parts: &LineParts,
    bar: &Bar,
    doubt: &Doubts,
    mut before: Before,
    add: &mut impl FnMut(Option<usize>, FaultKind),
) -> Before {
    let mut doubtful = doubt.before.iter().copied().peekable();
    for (index, event) in bar.events.iter().enumerate() {
        if doubtful.next_if_eq(&index).is_some() {
            before = Before::Unknown;
        }
        if !event.length.is_positive() {
            add(Some(index), FaultKind::NoLength);
        }
        before = match check_event(event, before, &parts.instrument, bar.key) {
            Ok(before) => before,
            Err(kind) => {
                add(Some(index), kind);
                // What follows is not to blame for it.
                Before::Unknown
            }
        };
    }
    if doubtful.next().is_some() {
        before = Before::Unknown;
    }
    before
}

fn check_event(
    event: &Event,
    mut before: Before,
    instrument: &Instrument,
    key: Key,
) -> Result<Before, FaultKind> {
    check_graces(event, &mut before, instrument, key)?;
    match &event.kind {
        EventKind::Rest => Ok(Before::Silence),
        EventKind::Hold if before == Before::Silence => Err(FaultKind::NothingToHold),
        EventKind::Hold => Ok(before),
        EventKind::Notes { notes, start, .. } => {
            if *start != Start::Plucked && before == Before::Silence {
                return Err(FaultKind::NothingToSlurFrom);
            }
            check_notes(notes, instrument, key)?;
            Ok(Before::Sound)
        }
    }
}

/// Checks the grace notes before an event; they may be slurred into.
fn check_graces(
    event: &Event,
    before: &mut Before,
    instrument: &Instrument,
    key: Key,
) -> Result<(), FaultKind> {
    let given = event.graces.len();
    if given > MAX_GRACES {
        return Err(FaultKind::TooManyGraces { given });
    }
    if given > 0 && !is_notes(&event.kind) {
        return Err(FaultKind::GraceWithoutNote);
    }
    for grace in &event.graces {
        if grace.start != Start::Plucked && *before == Before::Silence {
            return Err(FaultKind::NothingToSlurFrom);
        }
        check_notes(&grace.notes, instrument, key)?;
        *before = Before::Sound;
    }
    Ok(())
}

fn check_notes(notes: &[Note], instrument: &Instrument, key: Key) -> Result<(), FaultKind> {
    if notes.is_empty() || notes.len() > MAX_CHORD_NOTES {
        return Err(FaultKind::ChordSize { given: notes.len() });
    }
    for note in notes {
        check_note(note, instrument, key)?;
    }
    if notes.windows(2).any(|pair| pair[0].midi == pair[1].midi) {
        return Err(FaultKind::ChordSamePitch);
    }
    if notes.len() > 1 && !can_be_held(notes, instrument) {
        return Err(FaultKind::ChordUnplayable);
    }
    Ok(())
}

fn check_note(note: &Note, instrument: &Instrument, key: Key) -> Result<(), FaultKind> {
    let name = |midi| key.spell(midi).to_string();
    if let Some(place) = note.place {
        match instrument.midi_at(place) {
            None => {
                return Err(FaultKind::NoSuchPlace {
                    place,
                    strings: instrument.strings(),
                    frets: instrument.frets(),
                });
            }
            Some(found) if found != note.midi => {
                return Err(FaultKind::PlaceGivesOther {
                    place,
                    found: name(found),
                    note: name(note.midi),
                });
            }
            Some(_) => {}
        }
    }
    if instrument.places(note.midi).is_empty() {
        let (lowest, highest) = instrument.range();
        let (tuning, frets) = (instrument.tuning(), instrument.frets());
        let range = format!(
            "{} to {} (tuning {tuning}, {frets} frets)",
            name(lowest),
            name(highest)
        );
        return Err(FaultKind::Unplayable {
            note: name(note.midi),
            range,
        });
    }
    match note.finger {
        Some(given) if !(1..=4).contains(&given) => Err(FaultKind::Finger { given }),
        Some(_) if note.place.is_none_or(|place| place.fret == 0) => {
            Err(FaultKind::FingerWithoutFret)
        }
        _ => Ok(()),
    }
}

/// Bars are full. A pick-up is shorter than a bar, and the last bar of a line with a pick-up may
/// be short by just the pick-up's length (common practice of engraving), whatever that is while
/// the first bar is in doubt.
pub(super) fn check_bar_length(
    parts: &LineParts,
    index: usize,
    first_in_doubt: bool,
) -> Result<(), FaultKind> {
    let is_last = index + 1 == parts.bars.len();
    let bar = &parts.bars[index];
    let (found, full) = (bar.length(), bar.meter.bar_length());
    if index == 0 && parts.pickup {
        if found >= full {
            return Err(FaultKind::PickupTooLong {
                found,
                meter: bar.meter,
            });
        }
        if !found.is_positive() {
            return Err(FaultKind::BarTooShort {
                found,
                meter: bar.meter,
            });
        }
        return Ok(());
    }
    if bar.lacks != Lacks::Nothing && found.is_positive() {
        return if found < full {
            Ok(())
        } else {
            let meter = bar.meter;
            Err(FaultKind::ShortBarFull { found, meter })
        };
    }
    if found > full {
        return Err(FaultKind::BarTooLong {
            found,
            meter: bar.meter,
        });
    }
    let completes_pickup =
        parts.pickup && is_last && (first_in_doubt || found + parts.bars[0].length() == full);
    if found < full && !completes_pickup {
        return Err(FaultKind::BarTooShort {
            found,
            meter: bar.meter,
        });
    }
    Ok(())
}

/// The event to point at when a bar is not full: the first that reaches beyond it, or the last.
pub(super) fn event_at_fault(bar: &Bar, kind: &FaultKind) -> Option<usize> {
    let full = bar.meter.bar_length();
    let mut end = Length::ZERO;
    let ends = bar.events.iter().map(|event| {
        end += event.length;
        end
    });
    match kind {
        FaultKind::BarTooLong { .. } => ends.into_iter().position(|end| end > full),
        FaultKind::PickupTooLong { .. } | FaultKind::ShortBarFull { .. } => {
            ends.into_iter().position(|end| end >= full)
        }
        _ => bar.events.len().checked_sub(1),
    }
}

pub(super) fn check_marks(bar: &Bar) -> Result<(), FaultKind> {
    let length = bar.length();
    let chords: Vec<Length> = bar.chords.iter().map(|mark| mark.at).collect();
    let tempos: Vec<Length> = bar.tempos.iter().map(|mark| mark.at).collect();
    for places in [chords, tempos] {
        if places.iter().any(|&at| at < Length::ZERO || at >= length) {
            return Err(FaultKind::MarkOutside);
        }
        if places.windows(2).any(|pair| pair[0] >= pair[1]) {
            return Err(FaultKind::MarksCollide);
        }
    }
    Ok(())
}
