//! The line laid out flat: its expected notes, their times, their places and joins.

use super::error::{FaultKind, LineFault};
use super::length::{Length, UNITS_PER_QUARTER};
use super::model::{Bar, Event, EventKind, Lacks, LineParts, Note, Start};
use super::swing::{Swung, after_beat};
use super::tempo::Tempo;
use super::whole::Line;
use crate::music::expected::ExpectedNote;
use crate::music::fingering::{Begun, Group, Hand, Position, Wanted, lay};
use crate::music::instrument::Instrument;

/// A stretch of the line at one tempo.
#[derive(Clone, Copy, Debug)]
struct Stretch {
    /// From the start of bar 1 (of the first bar of a part).
    from: Length,
    from_s: f64,
    tempo: Tempo,
}

/// The tempo map: stretches in order; the first also counts backwards, before its start.
#[derive(Clone, Debug)]
struct TempoMap {
    stretches: Vec<Stretch>,
}

impl TempoMap {
    fn new(line: &Line) -> Self {
        let origin = -line.pickup_length().units();
        let mut from = Length::from_units(origin);
        let mut stretches = vec![Stretch {
            from,
            from_s: 0.0,
            tempo: line.tempo(),
        }];
        let mut bar_start = from;
        for bar in line.bars() {
            for mark in &bar.tempos {
                let last = stretches[stretches.len() - 1];
                from = bar_start + mark.at;
                let from_s = last.from_s + last.tempo.seconds(from - last.from);
                stretches.push(Stretch {
                    from,
                    from_s,
                    tempo: mark.tempo,
                });
            }
            bar_start += bar.length();
        }
        let mut map = Self { stretches };
        let zero_s = map.seconds(Length::ZERO);
        for stretch in &mut map.stretches {
            stretch.from_s -= zero_s;
        }
        map
    }

    fn seconds(&self, at: Length) -> f64 {
        let after = self.stretches.partition_point(|stretch| stretch.from <= at);
        let stretch = self.stretches[after.saturating_sub(1)];
        stretch.from_s + stretch.tempo.seconds(at - stretch.from)
    }
}

/// A note or chord of the line with its ties added up.
struct Sounding<'a> {
    bar: u32,
    printed_bar: u32,
    beat: f64,
    /// Its bar as played and its event in that bar, both from 0.
    event: (usize, usize),
    onset: Length,
    length: Length,
    /// Where its beat of a quarter note starts, when it begins at exactly the half of one.
    halved_beat: Option<Length>,
    notes: &'a [Note],
    start: Start,
    staccato: bool,
    accent: bool,
    /// Pitches of the grace notes before it.
    graces: Vec<u8>,
    /// False when a rest or a breath follows, or nothing.
    continues: bool,
}

/// The pitches of the grace notes before an event.
fn graces(event: &Event) -> Vec<u8> {
    let notes = event.graces.iter().flat_map(|grace| &grace.notes);
    notes.map(|note| note.midi).collect()
}

/// Beats before the first event of a bar as played: a pick-up is counted as the end of a full bar.
pub(super) fn first_beat_offset(line: &Line, index: usize, bar: &Bar) -> Length {
    if index == 0 && line.has_pickup() || bar.lacks == Lacks::Beginning {
        bar.meter.bar_length() - bar.length()
    } else {
        Length::ZERO
    }
}

fn soundings(line: &Line) -> Vec<Sounding<'_>> {
    let mut list: Vec<Sounding<'_>> = Vec::new();
    let mut bar_start = Length::ZERO - line.pickup_length();
    for (index, bar) in line.bars().iter().enumerate() {
        let offset = first_beat_offset(line, index, bar);
        let mut at = Length::ZERO;
        for (place, event) in bar.events.iter().enumerate() {
            match &event.kind {
                EventKind::Rest => {
                    if let Some(last) = list.last_mut() {
                        last.continues = false;
                    }
                }
                EventKind::Hold => {
                    if let Some(last) = list.last_mut() {
                        last.length += event.length;
                        last.continues =
                            !event.breath_after && !last.notes.iter().all(|note| note.ghost);
                    }
                }
                EventKind::Notes {
                    notes,
                    start,
                    staccato,
                } => {
                    let within = after_beat(at + offset);
                    let at_half = within.units() * 2 == UNITS_PER_QUARTER;
                    let beat_start = bar_start + at - within;
                    let bar_number = line.first_bar() + index as u32;
                    // Of a muted string nothing lasts until the next note.
                    let muted = notes.iter().all(|note| note.ghost);
                    list.push(Sounding {
                        bar: bar_number,
                        printed_bar: line.printed_bar(bar_number),
                        beat: 1.0 + bar.meter.beats_in(at + offset),
                        event: (index, place),
                        onset: bar_start + at,
                        length: event.length,
                        halved_beat: (at_half && bar.meter.is_in_quarters()).then_some(beat_start),
                        notes,
                        start: *start,
                        staccato: *staccato,
                        accent: event.accent,
                        graces: graces(event),
                        continues: !event.breath_after && !staccato && !muted,
                    });
                }
            }
            at += event.length;
        }
        bar_start += at;
    }
    for sounding in &mut list {
        sounding.continues &= !sounding.staccato;
    }
    if let Some(last) = list.last_mut() {
        last.continues = false;
    }
    list
}

impl Line {
    /// The notes to be played, flat and in order, laid on the neck of `instrument`.
    ///
    /// Output:  tied notes are one note; chord members follow each other from the lowest up, all
    ///          with the join of their chord to the next note or chord.
    /// Time:    `onset_s` and `onset_quarters` count from the start of bar 1; for a part of a
    ///          line (see [`Line::bars_range`]) from the start of its first bar. Notes of a
    ///          pick-up are negative; their beats are counted as the end of a full bar.
    /// Swing:   `onset_s` and `length_s` are swung when the line is; `beat`, `onset_quarters` and
    ///          `length_quarters` stay as written. A note that ends on a swung place ends with it.
    /// Places:  those of the line where they give the pitch on `instrument`, else the cheapest
    ///          way of a usual hand ([`fingering`](crate::music::fingering)). `place` and the joins on both sides are `None` for notes
    ///          that `instrument` does not have: see [`Line::with_instrument`] to be told.
    pub fn expected(&self, instrument: &Instrument) -> Vec<ExpectedNote> {
        let soundings = soundings(self);
        let tempo_map = TempoMap::new(self);
        let swung = Swung::new(self);
        let seconds = |sounding: &Sounding<'_>| tempo_map.seconds(swung.place(sounding.onset));
        let (_, to_finger): (Vec<Position>, Vec<Group>) =
            groups(&soundings, seconds).into_iter().unzip();
        let laid = lay(&to_finger, instrument, &Hand::default());

        let mut expected = Vec::with_capacity(self.note_count());
        for (at, sounding) in soundings.iter().enumerate() {
            let onset_s = tempo_map.seconds(swung.place(sounding.onset));
            let end_s = tempo_map.seconds(swung.place(sounding.onset + sounding.length));
            let swings = sounding
                .halved_beat
                .is_some_and(|start| swung.is_paired(start));
            for (member, note) in sounding.notes.iter().enumerate() {
                expected.push(ExpectedNote {
                    index: expected.len(),
                    bar: sounding.bar,
                    printed_bar: sounding.printed_bar,
                    beat: sounding.beat,
                    onset_quarters: sounding.onset.quarters(),
                    length_quarters: sounding.length.quarters(),
                    onset_s,
                    length_s: end_s - onset_s,
                    midi: note.midi,
                    place: laid.places[at]
                        .as_ref()
                        .and_then(|places| places.get(member).copied()),
                    legato_next: sounding.continues,
                    join: laid.joins.get(at).copied().flatten(),
                    staccato: sounding.staccato,
                    slurred_into: sounding.start != Start::Plucked,
                    slid_into: sounding.start == Start::Slid,
                    with_previous: member > 0,
                    swings,
                    ghost: note.ghost,
                    accent: sounding.accent,
                    graces: sounding.graces.clone(),
                });
            }
        }
        expected
    }

    /// What is to be fingered, in order: each note or chord with where it stands. Ties are added up,
    /// times are at the written tempo.
    pub(crate) fn groups(&self) -> Vec<(Position, Group)> {
        let tempo_map = TempoMap::new(self);
        let swung = Swung::new(self);
        let seconds = |sounding: &Sounding<'_>| tempo_map.seconds(swung.place(sounding.onset));
        groups(&soundings(self), seconds)
    }

    /// Where a position, in quarter notes from the start of bar 1, lies in seconds at the written
    /// tempo. Positions beyond either end go on at the tempo of that end. Swing is left out: it
    /// moves no beat (see [`SwingRatio::moved`](super::SwingRatio::moved) for what lies between).
    pub fn quarters_to_seconds(&self, quarters: f64) -> f64 {
        let map = TempoMap::new(self);
        let after = map
            .stretches
            .partition_point(|stretch| stretch.from.quarters() <= quarters);
        let stretch = map.stretches[after.saturating_sub(1)];
        let beyond = quarters - stretch.from.quarters();
        stretch.from_s + beyond * 60.0 / stretch.tempo.quarters_per_minute()
    }

    /// The line's end in quarter notes from the start of bar 1.
    pub fn end_quarters(&self) -> f64 {
        let total: Length = self.bars().iter().map(Bar::length).sum();
        (total - self.pickup_length()).quarters()
    }

    /// The line with its opening tempo at `bpm` beats (of the opening tempo's own unit) a minute;
    /// later tempos keep their proportion to it.
    ///
    /// # Errors
    /// A fault of kind `Tempo` when a tempo comes out of range.
    pub fn with_tempo(&self, bpm: f64) -> Result<Self, LineFault> {
        let opening = self.tempo();
        let factor = bpm / opening.bpm();
        let mut parts = self.scaled_parts(factor)?;
        // Exactly what was asked for, whatever the division rounds to.
        parts.tempo = Tempo::new(bpm, opening.beat()).map_err(tempo_fault)?;
        Ok(Self::of_checked(parts))
    }

    /// The line with all tempos `factor` times as fast.
    ///
    /// # Errors
    /// A fault of kind `Tempo` when a tempo comes out of range; a factor of 0 always does.
    pub fn with_tempo_scale(&self, factor: f64) -> Result<Self, LineFault> {
        self.scaled_parts(factor).map(Self::of_checked)
    }

    fn scaled_parts(&self, factor: f64) -> Result<LineParts, LineFault> {
        let mut parts = self.parts().clone();
        parts.tempo = parts.tempo.scaled(factor).map_err(tempo_fault)?;
        for mark in parts.bars.iter_mut().flat_map(|bar| &mut bar.tempos) {
            mark.tempo = mark.tempo.scaled(factor).map_err(tempo_fault)?;
        }
        Ok(parts)
    }
}

fn tempo_fault(error: super::tempo::TempoError) -> LineFault {
    FaultKind::Tempo(error).anywhere()
}

/// The soundings as the fingering takes them.
fn groups(
    soundings: &[Sounding<'_>],
    seconds: impl Fn(&Sounding<'_>) -> f64,
) -> Vec<(Position, Group)> {
    let mut bar = None;
    soundings
        .iter()
        .map(|sounding| {
            let position = Position {
                bar: sounding.printed_bar,
                beat: sounding.beat,
                event: sounding.event,
            };
            let first_of_bar = bar.replace(sounding.bar) != Some(sounding.bar);
            let group = Group {
                notes: sounding.notes.iter().map(Wanted::from).collect(),
                begun: match sounding.start {
                    Start::Plucked => Begun::Plucked,
                    Start::Slid => Begun::Slid,
                    _ => Begun::Slurred,
                },
                onset_s: seconds(sounding),
                let_go: !sounding.continues,
                first_of_bar,
            };
            (position, group)
        })
        .collect()
}

impl From<&Note> for Wanted {
    fn from(note: &Note) -> Self {
        Self {
            midi: note.midi,
            place: note.place,
            finger: note.finger,
        }
    }
}
