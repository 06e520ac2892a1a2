//! The rules a line obeys, checked when it is made.

use super::error::{FaultKind, LineFault};
use super::length::{Length, MAX_QUARTERS, UNITS_PER_QUARTER};
use super::model::{Bar, EventKind, LineParts, MAX_CHORD_NOTES, Note, Start};
use crate::music::fingering::can_be_held;
use crate::music::instrument::Instrument;
use crate::music::theory::Key;

/// Highest number the first bar may have, so that bar numbers stay far from overflow.
pub(super) const MAX_FIRST_BAR: u32 = 1_000_000;

/// What stood before an event, as far as ties and slurs care.
#[derive(Clone, Copy, PartialEq)]
enum Before {
    Silence,
    Sound,
    /// Something that was not understood: it may sound.
    Unknown,
}

/// What a reader did not understand of a bar, so that nothing else is blamed for it.
#[derive(Clone, Debug, Default)]
pub(super) struct Doubts {
    /// True when the bar's written length cannot be told.
    pub length: bool,
    /// Events (from 0) with something before them that was not understood and may sound; the
    /// number of events stands for the end of the bar.
    pub before: Vec<usize>,
    /// The bar, from 0, of which this one is a copy: its faults are not told again.
    pub copy_of: Option<usize>,
}

/// The parts in order and without a fault, or the first fault.
pub(super) fn checked(parts: LineParts) -> Result<LineParts, LineFault> {
    let parts = tidied(parts);
    match faults(&parts, &[], 1).into_iter().next() {
        Some(fault) => Err(fault),
        None => Ok(parts),
    }
}

/// The faults of `parts` (see [`tidied`]), a bar after the other, at most `limit` and those of one
/// bar. `doubts` has an entry for each bar, or none at all when everything was understood.
pub(super) fn faults(parts: &LineParts, doubts: &[Doubts], limit: usize) -> Vec<LineFault> {
    if parts.first_bar > MAX_FIRST_BAR {
        return vec![FaultKind::TooLong.anywhere()];
    }
    let mut found: Vec<LineFault> = Vec::new();
    let mut before = Before::Silence;
    let mut total = Length::ZERO;
    let mut notes = 0;
    let understood = Doubts::default();
    for (index, bar) in parts.bars.iter().enumerate() {
        if found.len() >= limit {
            return found;
        }
        let doubt = doubts.get(index).unwrap_or(&understood);
        let mut add = |event: Option<usize>, kind: FaultKind| {
            let known = doubt.copy_of.is_some_and(|first| {
                let same = |fault: &LineFault| {
                    fault.bar_index == Some(first) && fault.event == event && fault.kind == kind
                };
                found.iter().any(same)
            });
            if !known {
                found.push(at_bar(parts, index, event, kind));
            }
        };
        before = check_events(parts, bar, doubt, before, &mut add);
        notes += bar
            .events
            .iter()
            .filter(|event| is_notes(&event.kind))
            .count();
        if !doubt.length {
            let first_in_doubt = doubts.first().is_some_and(|first| first.length);
            match check_bar_length(parts, index, first_in_doubt) {
                Err(kind) => add(event_at_fault(bar, &kind), kind),
                Ok(()) => {
                    if let Err(kind) = check_marks(bar) {
                        add(None, kind);
                    }
                }
            }
        }
        total += bar.length();
        if total.units() > MAX_QUARTERS * UNITS_PER_QUARTER {
            found.push(FaultKind::TooLong.anywhere());
            return found;
        }
    }
    found.extend(swing_fault(parts));
    if notes == 0 {
        found.push(FaultKind::NoNotes.anywhere());
    }
    found
}

fn at_bar(parts: &LineParts, index: usize, event: Option<usize>, kind: FaultKind) -> LineFault {
    LineFault {
        bar_index: Some(index),
        bar: Some(parts.first_bar.saturating_add(index as u32)),
        event,
        kind,
    }
}

fn is_notes(kind: &EventKind) -> bool {
    matches!(kind, EventKind::Notes { .. })
}

/// Checks the events of a bar; gives what stands before the next bar.
fn check_events(
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
        before = match check_event(&event.kind, before, &parts.instrument, bar.key) {
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

/// Swing is counted in pairs of eighths to a quarter; the first bar of another meter.
fn swing_fault(parts: &LineParts) -> Option<LineFault> {
    parts.swing?;
    let index = parts
        .bars
        .iter()
        .position(|bar| !bar.meter.is_in_quarters())?;
    let meter = parts.bars[index].meter;
    Some(at_bar(parts, index, None, FaultKind::SwingMeter { meter }))
}

/// A title on one line: runs of white space and control characters become one space.
fn tidy_title(title: &str) -> String {
    let plain: String = title
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect();
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The parts in order: one title line, chord members from the lowest up, a tempo mark at the very
/// start as the opening tempo, 1:1 as no swing.
pub(super) fn tidied(mut parts: LineParts) -> LineParts {
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
    parts
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
fn check_bar_length(
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
