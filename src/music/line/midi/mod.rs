//! Standard MIDI Files: the reader, formats 0 and 1, and the writer (`writer`).
//!
//! What is taken from a file: the title (name of the first track), tempos, meters, keys, and the
//! notes of the one track and channel that has any. Velocities, controllers, programs and pitch
//! bends are not: a line says which notes, not how loud.
//!
//! | file | step |
//! |---|---|
//! | `events` | bytes to timed notes and changes |
//! | `layout` | time signatures to bars |
//! | `voice` | timed notes to one voice of notes and chords |
//! | `grid` | played times to written ones |
//!
//! A MIDI file knows no tuning. The line gets the first of the common tunings that has all its
//! notes: 4, 5, 6 strings, guitar; any but the first is said in [`Read::notes`], and
//! `Line::with_instrument` gives it another.

mod error;
mod events;
mod grid;
mod layout;
mod voice;
mod writer;

pub use error::MidiError;
pub(super) use grid::is_written_place;
pub(super) use writer::is_too_fine;
pub use writer::write_midi;

use super::Read;
use super::length::Length;
use super::model::{Bar, Event, EventKind, LineParts, Note, Start, TempoMark};
use super::part::{PartChoice, instrument_for};
use super::tempo::Tempo;
use super::whole::Line;
use crate::music::theory::{Key, Mode};
use events::{Part, Song};
use grid::Written;
use layout::Slot;

/// Reads a line from the bytes of a MIDI file.
///
/// Notes that start together are chords. Overlaps up to a 32nd note are taken for sloppy legato
/// and cut; gaps shorter than a 32nd note, or up to a tenth of the time to the next onset, are
/// filled; longer ones are rests. The module's documentation says what else is read.
///
/// # Errors
/// See [`MidiError`]. No bytes make it panic.
pub fn read_midi(bytes: &[u8]) -> Result<Line, MidiError> {
    read_midi_part(bytes, None).map(|read| read.line)
}

/// Reads one part of a MIDI file (a track and channel with notes), and what is to be said of it;
/// else as [`read_midi`].
///
/// # Errors
/// See [`MidiError`]. No bytes make it panic.
pub fn read_midi_part(bytes: &[u8], choice: Option<&PartChoice>) -> Result<Read, MidiError> {
    let song = events::read_song(bytes)?;
    let part = the_part(&song, choice)?;
    let last_tick = part.notes.iter().map(|note| note.end).max().unwrap_or(0);
    let slots = layout::lay_bars(&song, Length::from_ticks(last_tick, song.per_quarter))?;
    let groups = voice::one_voice(&part.notes, song.per_quarter, &slots)?;
    let written = grid::write(&groups, &slots)?;
    let last_end = written.last().map_or(Length::ZERO, |last| last.end);
    // A last onset just before a bar line may have been moved beyond it.
    let mut slots = layout::lay_bars(&song, last_end)?;
    slots.truncate(slots.partition_point(|slot| slot.start < last_end).max(1));

    let mut bars = empty_bars(&song, &slots)?;
    fill_bars(&mut bars, &slots, &written);
    let tempo = set_tempos(&mut bars, &song, &slots)?;
    let pickup = slots[0].number == 0;
    let groups: Vec<Vec<u8>> = written.iter().map(|group| group.pitches.clone()).collect();
    let (instrument, said) = instrument_for(&groups);
    let title = song.title.clone();
    let parts = LineParts {
        title,
        instrument,
        tempo,
        pickup,
        bars,
        ..LineParts::default()
    };
    Ok(Read {
        line: Line::new(parts)?,
        notes: said.into_iter().collect(),
    })
}

/// The part that was asked for, or the only one that has notes.
fn the_part<'a>(song: &'a Song, choice: Option<&PartChoice>) -> Result<&'a Part, MidiError> {
    let listed = || {
        let parts = song.parts.iter().enumerate();
        parts.map(|(at, part)| {
            let (track, channel) = (part.track, part.channel + 1);
            let (name, notes) = (part.name.trim(), part.notes.len());
            format!(
                "{} `{name}`, track {track} channel {channel} ({notes} notes)",
                at + 1
            )
        })
    };
    if let Some(choice) = choice {
        let names: Vec<&str> = song.parts.iter().map(|part| part.name.trim()).collect();
        let chosen = choice.find(&names).map(|at| &song.parts[at]);
        return chosen.ok_or_else(|| MidiError::NoSuchPart {
            given: choice.to_string(),
            parts: listed().collect(),
        });
    }
    match song.parts.as_slice() {
        [] => Err(MidiError::NoNotes),
        [part] => Ok(part),
        _ => Err(MidiError::SeveralParts {
            parts: listed().collect(),
        }),
    }
}

/// The bars with their meters and keys and nothing in them. A key counts from the bar line at or
/// before which it stands.
fn empty_bars(song: &Song, slots: &[Slot]) -> Result<Vec<Bar>, MidiError> {
    let mut keys: Vec<(Length, Key)> = Vec::new();
    for &(tick, fifths, minor) in &song.keys {
        let mode = if minor { Mode::Minor } else { Mode::Major };
        let key = Key::new(fifths, mode).ok_or(MidiError::Key { tick, fifths })?;
        keys.push((Length::from_ticks(tick, song.per_quarter), key));
    }
    let key_at = |slot: &Slot| {
        let after = keys.partition_point(|&(at, _)| at <= slot.start);
        after
            .checked_sub(1)
            .map(|at| keys[at].1)
            .unwrap_or_default()
    };
    Ok(slots
        .iter()
        .map(|slot| Bar::new(slot.meter, key_at(slot)))
        .collect())
}

/// Lays notes and rests into the bars, tied over bar lines.
fn fill_bars(bars: &mut [Bar], slots: &[Slot], written: &[Written]) {
    let mut groups = written.iter().peekable();
    for (bar, slot) in bars.iter_mut().zip(slots) {
        let bar_end = slot.start + slot.length;
        let mut at = slot.start;
        while at < bar_end {
            // Groups that ended by now are done with.
            while groups.next_if(|group| group.end <= at).is_some() {}
            let (end, kind) = match groups.peek() {
                Some(group) if group.start == at => (group.end, notes_of(group)),
                Some(group) if group.start < at => (group.end, EventKind::Hold),
                Some(group) => (group.start, EventKind::Rest),
                None => (bar_end, EventKind::Rest),
            };
            let length = end.min(bar_end) - at;
            bar.events.push(Event::new(length, kind));
            at += length;
        }
    }
}

fn notes_of(group: &Written) -> EventKind {
    EventKind::Notes {
        notes: group.pitches.iter().copied().map(Note::new).collect(),
        start: Start::Plucked,
        staccato: false,
    }
}

/// Puts the tempos into the bars; gives the opening one.
fn set_tempos(bars: &mut [Bar], song: &Song, slots: &[Slot]) -> Result<Tempo, MidiError> {
    let mut opening = Tempo::default();
    for &(tick, microseconds) in &song.tempos {
        if microseconds == 0 {
            return Err(MidiError::NoTempo { tick });
        }
        let tempo = Tempo::from_microseconds(microseconds)
            .map_err(|cause| MidiError::Tempo { tick, cause })?;
        let at = Length::from_ticks(tick, song.per_quarter);
        if at == Length::ZERO {
            opening = tempo;
            continue;
        }
        let index = slots
            .partition_point(|slot| slot.start <= at)
            .saturating_sub(1);
        let (slot, bar) = (&slots[index], &mut bars[index]);
        if at >= slot.start + slot.length {
            break;
        }
        let at = at - slot.start;
        bar.tempos.retain(|mark| mark.at != at);
        bar.tempos.push(TempoMark { at, tempo });
    }
    Ok(opening)
}
