//! The rules a line obeys, checked when it is made.

use super::error::{FaultKind, LineFault};
use super::length::{Length, MAX_QUARTERS, UNITS_PER_QUARTER};
use super::model::{Bar, EventKind, LineParts, MAX_CHORD_NOTES, Note, Start};
use super::place::chord_places;
use crate::music::instrument::Instrument;
use crate::music::theory::Key;

/// Highest number the first bar may have, so that bar numbers stay far from overflow.
pub(super) const MAX_FIRST_BAR: u32 = 1_000_000;

/// What stood before an event, as far as ties and slurs care.
#[derive(Clone, Copy, PartialEq)]
enum Before {
    Silence,
    Sound,
}

/// Puts the parts in order (title, chord members from the lowest up, a tempo mark at the very
/// start becomes the opening tempo) and checks them.
pub(super) fn checked(mut parts: LineParts) -> Result<LineParts, LineFault> {
    tidy(&mut parts);
    if parts.first_bar > MAX_FIRST_BAR {
        return Err(FaultKind::TooLong.anywhere());
    }
    let mut before = Before::Silence;
    let mut total = Length::ZERO;
    let last = parts.bars.len().saturating_sub(1);
    let mut notes = 0;
    for (index, bar) in parts.bars.iter().enumerate() {
        let at = |event: Option<usize>, kind: FaultKind| LineFault {
            bar_index: Some(index),
            bar: Some(parts.first_bar.saturating_add(index as u32)),
            event,
            kind,
        };
        for (event_index, event) in bar.events.iter().enumerate() {
            let fault = |kind| at(Some(event_index), kind);
            if !event.length.is_positive() {
                return Err(fault(FaultKind::NoLength));
            }
            before = check_event(&event.kind, before, &parts.instrument, bar.key).map_err(fault)?;
            notes += usize::from(matches!(event.kind, EventKind::Notes { .. }));
        }
        check_bar_length(&parts, index, last)
            .map_err(|kind| at(event_at_fault(bar, &kind), kind))?;
        check_marks(bar).map_err(|kind| at(None, kind))?;
        total += bar.length();
        if total.units() > MAX_QUARTERS * UNITS_PER_QUARTER {
            return Err(FaultKind::TooLong.anywhere());
        }
    }
    check_swing(&parts)?;
    if notes == 0 {
        return Err(FaultKind::NoNotes.anywhere());
    }
    Ok(parts)
}

/// Swing is counted in pairs of eighths to a quarter; other meters have none.
fn check_swing(parts: &LineParts) -> Result<(), LineFault> {
    let other = parts
        .bars
        .iter()
        .position(|bar| !bar.meter.is_in_quarters());
    let (Some(index), Some(_)) = (other, parts.swing) else {
        return Ok(());
    };
    Err(LineFault {
        bar_index: Some(index),
        bar: Some(parts.first_bar.saturating_add(index as u32)),
        event: None,
        kind: FaultKind::SwingMeter {
            meter: parts.bars[index].meter,
        },
    })
}

/// A title on one line: runs of white space and control characters become one space.
fn tidy_title(title: &str) -> String {
    let plain: String = title
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn tidy(parts: &mut LineParts) {
    parts.title = tidy_title(&parts.title);
    if parts.pickup {
        parts.first_bar = 0;
    }
    parts.swing = parts.swing.filter(|swing| !swing.is_straight());
    for event in parts.bars.iter_mut().flat_map(|bar| &mut bar.events) {
        match &mut event.kind {
            EventKind::Notes { notes, .. } => notes.sort_by_key(|note| note.midi),
            EventKind::Rest => event.breath_after = false,
            EventKind::Hold => {}
        }
    }
    if let Some(first) = parts.bars.first_mut()
        && first
            .tempos
            .first()
            .is_some_and(|mark| mark.at == Length::ZERO)
    {
        parts.tempo = first.tempos.remove(0).tempo;
    }
}

fn check_event(
    kind: &EventKind,
    before: Before,
    instrument: &Instrument,
    key: Key,
) -> Result<Before, FaultKind> {
    match kind {
        EventKind::Rest => Ok(Before::Silence),
        EventKind::Hold if before == Before::Silence => Err(FaultKind::NothingToHold),
        EventKind::Hold => Ok(Before::Sound),
        EventKind::Notes { notes, start, .. } => {
            if *start != Start::Plucked && before == Before::Silence {
                return Err(FaultKind::NothingToSlurFrom);
            }
            check_notes(notes, instrument, key)?;
            Ok(Before::Sound)
        }
    }
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
    if notes.len() > 1 && chord_places(notes, instrument).is_empty() {
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
/// be short by just the pick-up's length (common practice of engraving).
fn check_bar_length(parts: &LineParts, index: usize, last: usize) -> Result<(), FaultKind> {
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
    if found > full {
        return Err(FaultKind::BarTooLong {
            found,
            meter: bar.meter,
        });
    }
    let completes_pickup = parts.pickup && index == last && found + parts.bars[0].length() == full;
    if found < full && !completes_pickup {
        return Err(FaultKind::BarTooShort {
            found,
            meter: bar.meter,
        });
    }
    Ok(())
}

/// The event to point at when a bar is not full: the first that reaches beyond it, or the last.
fn event_at_fault(bar: &Bar, kind: &FaultKind) -> Option<usize> {
    let full = bar.meter.bar_length();
    let mut end = Length::ZERO;
    let ends = bar.events.iter().map(|event| {
        end += event.length;
        end
    });
    match kind {
        FaultKind::BarTooLong { .. } => ends.into_iter().position(|end| end > full),
        FaultKind::PickupTooLong { .. } => ends.into_iter().position(|end| end >= full),
        _ => bar.events.len().checked_sub(1),
    }
}

fn check_marks(bar: &Bar) -> Result<(), FaultKind> {
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
